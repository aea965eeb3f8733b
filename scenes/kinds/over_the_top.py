"""Over the top: from behind the object ball up, and from straight above down to the player's eye.

The lines stay on the table. Sentences: over_the_top.behind, over_the_top.above, over_the_top.down and
over_the_top.eye (values eye_back, eye_height, eye_offset, eye_side).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from aimgeo.construct import Circle, Construction, Line, Point, Step, position
from aimgeo.shot import Shot
from scenes.board import Board, EyeCamera, Move, Pane, Rect, Ring, Track, eased
from scenes.board.brief import Brief, EyeSpec, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span, frames_of, in_turn
from scenes.board.timing import TIMING
from scenes.figure.eye_labels import eye_labels, pocket_label, pocket_ring, ring_box, ring_discs, wanted_in_eye
from scenes.figure.eye_view import (
    EYE,
    EyeLayout,
    above_camera,
    behind_camera,
    eye_camera,
    eye_layout,
    eye_mm,
    line_top,
    through_two,
)
from scenes.figure.figure import Figure, bare, eye_figure, in_reach
from scenes.figure.labels import Obstacles, merged
from scenes.figure.placer import POINT_RANK, plate_size
from scenes.figure.steps import bring_cue, put_balls, put_circles, put_lines, put_point
from scenes.frame.eye_words import put_heading, put_scrim, put_titles, title_lines
from scenes.frame.layout import layout
from scenes.kinds.kind import Kind
from scenes.kinds.players_eye import eye_values
from scenes.look.roles import MARK_KIND

BEHIND = "over_the_top.behind"
ABOVE, DOWN, SEEN = "over_the_top.above", "over_the_top.down", "over_the_top.eye"
MOVE_S = 5.0
UP_S = 3.0
POCKET = "pocket"
NO_PANE: Rect = (0.0, 0.0, 0.0, 0.0)
AT = {"wide": (0.36, 0.74), "square": (0.36, 0.68), "tall": (0.32, 0.62)}
"""Heights of object and cue ball in the player's picture, of the frame's."""


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """From above, the move, and what the eye sees."""
    _, eye = _asked(subject)
    values = eye_values(eye)
    return (
        OutlineStep("behind", BEHIND, values, draws_s=6.0),
        OutlineStep("above", ABOVE, values, draws_s=UP_S + 4.5),
        OutlineStep("down", DOWN, values, draws_s=MOVE_S + 1.0),
        OutlineStep("eye", SEEN, values, draws_s=4.0),
    )


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    shot, eye = _asked(brief.subject)
    brief.check_steps(outline(brief.subject), "an over-the-top clip")
    spans = brief.spans
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    rate = brief.output.rate
    places = eye_layout(frame, 0, brief.steps)
    _, rising, _ = in_turn(*spans[1], (0.3, UP_S, 4.0), rate)
    moving = _goes_down(Words(brief.steps[2], spans[2]), rate)
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
    low, high = AT[frame.shape]
    middle_px, H = frame.width_px / 2, frame.height_px
    places = replace(places, pane_px=NO_PANE, axis_px=middle_px, object_y_px=low * H, cue_y_px=high * H)
    end = eye_camera(places, shot, eye)
    pane = Pane(EYE, full, "eye", _camera(end, places, shot, rising, moving), "plate")
    sheet = Sheet()
    seen = Pane(EYE, full, "eye", end)
    figure = eye_figure(brief, sheet, frame, shot, bare(shot), seen, eye_mm(shot, eye), line_top(places))
    above, behind = (replace(seen, camera=camera) for camera in _starts(end, places, shot))
    plan = _picture(figure, above, behind)
    put_balls(figure, brief.subject.table, True)
    ring = pocket_ring(brief.subject.table, brief.subject.target_name)
    if ring is not None:
        sheet.put(POCKET, ring, "line_under", POCKET, (EYE,), opacity=1.0)
    parts = Part(("target_line",), 1.4, grows=True), Part(("contact_object",), TIMING.fade_s)
    first, touch = placed(Words(brief.steps[0], spans[0]), parts, rate, 0.8, 2.5)
    target, aim = plan.steps[0].lines
    put_lines(figure, 0, (target,), first)
    contact = Point("contact_object", position(shot.contact_object_mm))
    put_point(figure, 0, 9, contact, touch)
    fade = frames_of(TIMING.fade_s, rate)
    starts = (spans[0][0] + fade, spans[0][0] + 2 * fade)
    step = replace(plan.steps[0], points=(contact,), circles=(), lines=(target,))
    named = _Named(figure, places, starts, (spans[1][0], spans[1][0] + fade))
    _put_names(named, "behind", behind, step, ring, {"target_line": _after(first, fade), "contact_object": touch})
    aims = Part(("ghost_ball",), 0.4), Part(("aim_line",), 1.2), Part(("aim_line",), TIMING.fade_s)
    risen_s = (rising[1] - spans[1][0]) * rate[1] / rate[0] + 0.2
    ghost, line, mark = placed(Words(brief.steps[1], spans[1]), aims, rate, risen_s, 1.0)
    put_circles(figure, 0, plan.steps[0].circles, ghost)
    put_lines(figure, 1, (aim,), line)
    for n, point in enumerate(plan.steps[0].points):
        put_point(figure, 0, n, point, mark)
    step = replace(plan.steps[0], points=())
    risen = (rising[1], rising[1] + fade)
    drawn = {"ghost_ball": _after(ghost, fade), "aim_line": _after(line, fade)}
    named = _Named(figure, places, risen, (max(moving[0] - fade, risen[1]), max(moving[0], risen[1] + 1)))
    _put_names(named, "above", above, step, ring, drawn)
    there = (spans[3][0] + fade, spans[3][0] + 2 * fade)
    _put_names(_Named(figure, places, there, None), "down", seen, step, ring, {})
    bring_cue(figure, in_turn(*spans[3], (0.3, 0.8, 2.0), rate)[1])
    put_scrim(sheet, frame)
    put_titles(sheet, frame, brief.steps, spans, rate, places.title_room_px)
    put_heading(sheet, brief.labels, places.heading_px, places.heading_align)
    if "heading" in brief.labels:  # from above the table's far rail stands there
        sheet.hide("heading", (spans[1][0], spans[1][0] + fade))
        sheet.show("heading", (spans[3][0], spans[3][0] + fade))
    return sheet.board(brief, (pane,))


@dataclass(frozen=True, slots=True)
class _Named:
    """What is named in a resting picture: from when on, and while it goes (None: never)."""

    figure: Figure
    places: EyeLayout
    shown: Span
    gone: Span | None


def _after(drawn: Span, fade: int) -> Span:
    return drawn[1], drawn[1] + fade


def _put_names(
    named: _Named,
    prefix: str,
    seen: Pane,
    step: Step,
    ring: Ring | None,
    drawn: Mapping[str, Span],
) -> None:
    """The names of the pocket, the lines and the ghost ball while the picture rests; each after it is drawn."""
    plan = replace(named.figure.plan, steps=(step,))
    figure = replace(named.figure, windows=(seen,), plan=plan, prefix=f"{prefix}.")
    frame, words = figure.frame, figure.brief.labels
    x, _, w, _ = frame.title_safe
    room = frame.width_px - 2 * frame.title_px[0]
    lines = max(len(title_lines(one.title, frame, room)) for one in figure.brief.steps)
    last = max(frame.title_px[1] + (lines - 1) * frame.title_pitch_px, named.places.heading_px[1])
    top, bottom = last + 0.03 * frame.scale.short_px, 0.885 * frame.height_px
    labels = eye_labels(figure, (x, top, w, bottom - top), ())
    wanted = [
        (replace(want, sample=kind, width_px=plate_size(figure, want.text, kind)[0]), rank)
        if (kind := MARK_KIND.get(want.name))
        else (want, rank)
        for want, rank in wanted_in_eye(figure, labels, 0, step)
    ]
    if ring is not None:
        ringed = Obstacles(marks=ring_discs(seen, ring, POCKET))
        labels.steps = [merged([labels.steps[0], ringed]), *labels.steps[1:]]
    if ring is not None and "target" in words:
        px, py, pw, ph = ring_box(seen, ring)
        if px > 0 and px + pw < frame.width_px and top < py + ph and py + ph / 2 < bottom:
            wanted = [(pocket_label(figure, POCKET, ring, words["target"]), POINT_RANK), *wanted]
    labels.add(0, wanted, lambda name: drawn.get(name, named.shown), named.shown)
    if named.gone is not None:
        labels.clear(named.gone)


def _goes_down(words: Words, rate: tuple[int, int]) -> Span:
    """The way down, until the words ask to look at the ghost ball, and up to half as long again as it needs."""
    _, moving, _ = in_turn(*words.span, (0.5, MOVE_S, 0.5), rate)
    looks = words.of(("ghost_ball",))
    most = moving[0] + 3 * (moving[1] - moving[0]) // 2
    return moving if looks is None else (moving[0], max(moving[1], min(looks[0], most)))


def _asked(subject: Subject) -> tuple[Shot, EyeSpec]:
    if subject.shot is None or subject.eye is None:
        raise ValueError("an over-the-top clip needs a shot and an eye")
    return subject.shot, subject.eye


def _starts(end: EyeCamera, places: EyeLayout, shot: Shot) -> tuple[EyeCamera, EyeCamera]:
    """From above, and from behind the object ball; the middle of the picture stays where the eye has it."""
    return above_camera(places, shot, end.anchor), behind_camera(places, shot, end.anchor, 0.80, 0.29)


def _camera(end: EyeCamera, places: EyeLayout, shot: Shot, rising: Span, moving: Span) -> EyeCamera:
    """From behind the object ball up, and down to the eye, both balls going straight to their places."""
    above, behind = _starts(end, places, shot)
    balls = (shot.cue_ball_mm, shot.object_ball_mm)
    px = [Pane(EYE, places.full_px, "eye", camera).px(np.stack(balls))[:, 1] for camera in (above, end)]
    heights = [(y - places.full_px[1]) / places.full_px[3] for y in px]
    eyes = [np.array(camera.track.start[:3]) for camera in (above, end)]
    way = []
    frames = moving[1] - moving[0]
    for k in range(1, frames + 1):
        t = eased(k / frames, "quintic")
        at, (low, high) = ((1 - t) * both[0] + t * both[1] for both in (eyes, heights))
        way.append(through_two(at, shot.aim_direction, balls, (float(low), float(high)), end.anchor[1]))
    rise = Move(*rising, above.track.start, "quintic")
    return EyeCamera(Track(behind.track.start, (rise, Move(*moving, way[-1], "linear", tuple(way)))), end.anchor)


def _picture(figure: Figure, *others: Pane) -> Construction:
    """What lies on the table while the eye moves: target line, ghost ball, aim line, aim point.

    The target line goes as far as all pictures have room for it.
    """
    shot = figure.shot
    C, O, G, T = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm, shot.target_mm))
    aim = Line("aim_line", C, G)
    whole = Line("target_line", O, T)
    ends = [in_reach(replace(figure, windows=(one,)), whole).end_mm for one in (figure.pane, *others)]
    target = Line("target_line", O, min(ends, key=lambda end: math.dist(O, end)))
    step = Step(
        "all",
        "",
        points=(Point("aim_point", G),),
        lines=(target, aim),
        circles=(Circle("ghost_ball", G, float(shot.radius_mm)),),
    )
    a = shot.aim_direction
    return Construction("", (step,), (float(a[0]), float(a[1])), G, aim)


KIND = Kind(
    "over-the-top",
    "from above to the player's eye in one move",
    outline,
    board,
    axes=("cut", "side", "distance", "eye"),
)
