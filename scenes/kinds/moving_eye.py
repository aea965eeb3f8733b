"""The moving eye: it slides from one of a lesson's eyes to the next while the true line stays where it is.

At each stop the line is drawn that this eye would take for the aim: the level direction from the eye through the
cue ball's centre (the plane reading of docs/geometry.md), with how far it is off, and by how much the ball misses.
Sentences: moving_eye.start, moving_eye.stop, moving_eye.true where it is not off (values eye_back, eye_height,
eye_offset, eye_side, judged_off, judged_side). Measures: judged_off, judged_miss
(judged_result, the name no_hit, where nothing is hit).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from aimgeo.aim_frame import AimFrame, aim_frame
from aimgeo.camera import project
from aimgeo.construct import Quantity, position
from aimgeo.eye import plane_turn_rad
from aimgeo.judging import outcome
from aimgeo.shot import Shot, one_of_many
from aimgeo.stops import stops_mm
from aimgeo.tables import Table
from aimgeo.vectors import turned
from scenes.board import (
    Ball,
    Board,
    EyeCamera,
    Halo,
    Line,
    Mark,
    Move,
    Pane,
    Shade,
    Text,
    Track,
)
from scenes.board.brief import Brief, BriefStep, EyeSpec, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span, frames_of
from scenes.board.timing import TIMING
from scenes.figure.eye_view import (
    EYE,
    TARGET,
    EyeLayout,
    eye_camera,
    eye_cameras,
    eye_layout,
    eye_mm,
    line_top,
    target_pane,
)
from scenes.figure.figure import bare, eye_figure
from scenes.figure.steps import put_balls
from scenes.frame.column import joined
from scenes.frame.eye_words import put_heading, put_scrim, put_titles
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.kinds.players_eye import HALO_RADII, eye_values
from scenes.look.dusk import DUSK

START, STOP, TRUE = "moving_eye.start", "moving_eye.stop", "moving_eye.true"
SHOWN_RAD = math.radians(0.05)
"""Less would be shown as 0.0 degrees."""
SMOOTH_PX = 0.2
"""Second difference of the balls' centres in a 1080p picture at 60 frames a second, at most."""
LEAST_MOVE_S = 2.0
MOST_EYES = 12
"""Stops of one clip: more would be longer than anybody watches, and its pips wider than a tall picture."""


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """One step a stop: the eye moves there, and the line that it takes for the aim is drawn."""
    shot, eyes = _asked(subject)
    frame = layout(1920, 1080, DUSK)
    places = eye_layout(frame, -int(shot.outward))
    steps = []
    for n, eye in enumerate(eyes):
        move_s = _move_s(places, shot, eyes[n - 1], eye) if n else 0.0
        turn = _turn_rad(shot, eye)
        values = (
            *eye_values(eye),
            ("judged_off", Quantity(abs(turn), "angle_rad")),
            ("judged_side", Quantity("left" if turn > 0 else "right", "name")),
        )
        steps.append(
            OutlineStep(
                "start" if n == 0 else f"stop {n}",
                STOP if abs(turn) > SHOWN_RAD else TRUE if n else START,
                values,
                _judged(shot, turn),
                draws_s=move_s + 0.6 + TIMING.draw_s + 2 * TIMING.fade_s + 1.8,
            )
        )
    return tuple(steps)


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    shot, eyes = _asked(brief.subject)
    if len(brief.steps) != len(eyes):
        raise ValueError(f"a moving-eye clip of these eyes has {len(eyes)} steps, one a stop")
    spans = brief.spans
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    places = eye_layout(frame, -int(shot.outward), brief.steps)
    sheet = Sheet()
    moves = [_moving(brief, spans[n], places, eyes, n) for n in range(len(eyes))]
    main, target = _panes(frame, places, shot, eyes, moves)
    _put_picture(brief, frame, places, shot, sheet, main)
    put_titles(sheet, frame, brief.steps, spans, brief.output.rate, places.title_room_px)
    put_heading(sheet, brief.labels, places.heading_px, places.heading_align)
    for n, (eye, step, span) in enumerate(zip(eyes, brief.steps, spans, strict=True)):
        _put_stop(
            sheet,
            frame,
            places,
            shot,
            brief.subject.table,
            eye,
            step,
            span,
            moves[n][1],
            brief.output.rate,
            n,
        )
    return sheet.board(brief, (main, target))


def _asked(subject: Subject) -> tuple[Shot, tuple[EyeSpec, ...]]:
    eyes = tuple(one.eye for one in subject.companions if one.eye is not None)
    if subject.shot is None or len(eyes) < 2:
        raise ValueError("a moving-eye clip needs a shot and two eyes or more")
    return subject.shot, eyes


# ------------------------------------------------------------------ what the eye takes for the aim


def _frame_of(shot: Shot) -> AimFrame:
    return aim_frame(one_of_many(shot))


def _turn_rad(shot: Shot, eye: EyeSpec) -> float:
    """How far the judged line is turned from the aim, left positive."""
    at = np.array([[-eye.back_mm, eye.offset_mm, eye.height_mm]])
    return float(plane_turn_rad(_frame_of(shot), at)[0])


def _judged(shot: Shot, turn_rad: float) -> tuple[tuple[str, Quantity], ...]:
    found = outcome(_frame_of(shot), np.array([turn_rad]))
    miss = float(found.miss_mm[0])
    off = ("judged_off", Quantity(abs(turn_rad), "angle_rad"))
    if not found.hit[0]:
        return off, ("judged_result", Quantity("no_hit", "name"))
    return (off,) if math.isnan(miss) else (off, ("judged_miss", Quantity(abs(miss), "distance_mm")))


# ------------------------------------------------------------------ the eye's way


def _move_s(places: EyeLayout, shot: Shot, start: EyeSpec, end: EyeSpec) -> float:
    """Seconds for a move so slow that the balls' centres change their speed by less than SMOOTH_PX."""
    cameras = [eye_camera(places, shot, eye) for eye in (start, end)]
    seconds = LEAST_MOVE_S
    while seconds < 12:
        frames = round(60 * seconds)
        track = Track(cameras[0].track.start, (Move(0, frames, cameras[1].track.start, "cubic"),))
        camera = EyeCamera(track, cameras[0].anchor)
        balls = np.stack([shot.cue_ball_mm, shot.object_ball_mm])
        px = project(camera.on(places.full_px, *range(frames)), balls)
        if np.abs(np.diff(px, 2, axis=0)).max() < SMOOTH_PX:
            return seconds
        seconds *= 1.15
    return seconds


def _moving(brief: Brief, span: Span, places: EyeLayout, eyes: tuple[EyeSpec, ...], n: int) -> Span:
    """The frames in which the eye moves to its n-th stop."""
    first, end = span
    if n == 0:
        return (first, first)
    needed = round(_reference_move_s(brief.subject, n) * brief.output.fps)
    start = first + frames_of(TIMING.fade_s + TIMING.rest_s, brief.output.rate)
    return (start, min(start + needed, end - 2))


def _reference_move_s(subject: Subject, n: int) -> float:
    shot, eyes = _asked(subject)
    return _move_s(eye_layout(layout(1920, 1080, DUSK), -int(shot.outward)), shot, eyes[n - 1], eyes[n])


def _panes(
    frame: Layout, places: EyeLayout, shot: Shot, eyes: tuple[EyeSpec, ...], spans: list[Span]
) -> tuple[Pane, Pane]:
    """The eye's picture, and the target as the same eye sees it, larger: both follow the eye."""
    cameras = eye_cameras(places, shot, eyes)
    stops = [camera.track.start for camera in cameras]
    track = Track(stops[0], tuple(Move(*span, stop) for span, stop in zip(spans[1:], stops[1:], strict=True)))
    main = Pane(EYE, places.full_px, "eye", EyeCamera(track, cameras[0].anchor), "plate")
    middle = (shot.object_ball_mm + shot.ghost_ball_mm) / 2
    closer = []
    for eye, camera in zip(eyes, cameras, strict=True):
        still = target_pane(replace(main, camera=camera), places, frame, shot)
        assert isinstance(still.camera, EyeCamera)
        closer.append((*eye_mm(shot, eye).tolist(), *middle.tolist(), still.camera.track.start[6]))
    follow = Track(closer[0], tuple(Move(*span, stop) for span, stop in zip(spans[1:], closer[1:], strict=True)))
    return main, Pane(TARGET, places.picture_px, "eye", EyeCamera(follow), "plate")


# ------------------------------------------------------------------ what is drawn


def _put_picture(brief: Brief, frame: Layout, places: EyeLayout, shot: Shot, sheet: Sheet, main: Pane) -> None:
    at = shot.cue_ball_mm
    figure = eye_figure(
        brief, sheet, frame, shot, bare(shot), main, at, line_top(places), panes=(EYE, TARGET), line_panes=(EYE,)
    )
    put_balls(figure, brief.subject.table, False)
    put_scrim(sheet, frame)
    R = float(shot.radius_mm)
    ghost = Ball(position(shot.ghost_ball_mm), R, "ghost")
    sheet.put("ghost_ball", ghost, "ghost", panes=(EYE, TARGET), opacity=1.0)
    aim = Line((position(shot.cue_ball_mm), position(shot.ghost_ball_mm)), "aim_line")
    sheet.put("aim_line", aim, "line", panes=(EYE, TARGET), opacity=1.0)
    sheet.put("aim_point", Mark(position(shot.ghost_ball_mm), "aim"), "mark", panes=(EYE, TARGET), opacity=1.0)
    halo = Halo(position(shot.object_ball_mm), HALO_RADII * R)
    sheet.put("halo", halo, "line_under", panes=(EYE,), opacity=1.0)
    x, y, w, h = places.pane_px
    _, py, _, ph = places.picture_px
    sheet.put("pane.strip", Shade((x, py + ph, w, y + h - py - ph), "gutter"), "area", opacity=1.0)
    sheet.put("pane.edge", Shade(places.pane_px, "window_edge"), "break", opacity=1.0)


def _put_stop(
    sheet: Sheet,
    frame: Layout,
    places: EyeLayout,
    shot: Shot,
    table: Table | None,
    eye: EyeSpec,
    words: BriefStep,
    span: Span,
    first: int,
    rate: tuple[int, int],
    n: int,
) -> None:
    """The judged line and its numbers while the eye rests."""
    end = span[1]
    fade = frames_of(TIMING.fade_s, rate)
    still_s = (first - span[0]) * rate[1] / rate[0] + 0.4
    parts = (
        Part(("judged_line",), TIMING.draw_s + 0.3),
        Part(("judged_off",), TIMING.fade_s),
        Part(("given_path",), 0.9),
    )
    drawn, number, lands = placed(Words(words, span), parts, rate, still_s, 1.2)
    missed = (lands[1], lands[1] + fade)  # the number after its way
    turn = _turn_rad(shot, eye)
    way = turned(shot.aim_direction, turn)
    reach = float(shot.travel_mm)
    C = shot.cue_ball_mm
    judged = Line((position(C), position(C + reach * np.array([*way, 0.0]))), "error_line")
    if abs(turn) > SHOWN_RAD:
        id = sheet.put(f"judged.{n}", judged, "line_under", "judged_line", (EYE, TARGET), opacity=1.0, drawn=0.0)
        sheet.move(id, "drawn", drawn, 1.0)
        sheet.hide(id, (end, end + fade))
        _put_landing(sheet, shot, table, turn, (lands, (end, end + fade)), n)
    x, y, w, h = places.pane_px
    strip = places.picture_px[1] + places.picture_px[3]
    pitch = (y + h - strip) / 2
    for k, measure in enumerate(words.measures):
        style = "heading" if measure.number[:1].isdigit() else "small"  # words take more room than a number
        needed = frame.scale.text_width_px(f"{measure.name} ", "small")
        needed += frame.scale.text_width_px(joined(measure), style)
        above, below = (0.72, 0.72) if needed < 0.92 * w else (0.42, 0.88)
        name = Text(measure.name, (x + 0.04 * w, strip + (k + above) * pitch), "small")
        value = Text(joined(measure), (x + 0.96 * w, strip + (k + below) * pitch), style, "right")
        for part, text in (("name", name), ("value", value)):
            id = sheet.put(f"judged.{n}.{k}.{part}", text, "text", "readout")
            sheet.show(id, missed if measure.key == "judged_miss" else number)
            sheet.hide(id, (end, end + fade))


def _put_landing(
    sheet: Sheet, shot: Shot, table: Table | None, turn_rad: float, when: tuple[Span, Span], n: int
) -> None:
    """The way that the object ball then takes, to where a cushion or a pocket's point stops it."""
    error = float(outcome(_frame_of(shot), np.array([turn_rad])).object_error_rad[0])
    if table is None or math.isnan(error):
        return
    O, R = shot.object_ball_mm, float(shot.radius_mm)
    way = turned(shot.object_direction, error)
    far = stops_mm(table, O[:2], way, R)
    if not math.isfinite(far):
        return
    end = position(O + far * np.array([*way, 0.0]))
    line = Line((position(O), end), "error_line")
    runs = sheet.put(f"lands.{n}.line", line, "line_under", "given_path", (EYE,), opacity=1.0, drawn=0.0)
    sheet.move(runs, "drawn", when[0], 1.0)
    cross = sheet.put(f"lands.{n}", Mark(end, "miss"), "mark", "path_end", (EYE,))
    sheet.show(cross, (when[0][1], when[0][1] + when[1][1] - when[1][0]))
    for id in (runs, cross):
        sheet.hide(id, when[1])


KIND = Kind(
    "moving-eye",
    "the eye slides from each eye to the next",
    outline,
    board,
    axes=("cut", "side", "distance"),
    spans=("eye",),
    least=2,
    most=MOST_EYES,
)
