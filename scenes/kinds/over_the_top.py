"""Over the top: from straight above down to the player's eye, in one move, with the lines left on the table.

Sentences: over_the_top.above, over_the_top.down, over_the_top.eye (values eye_back, eye_height, eye_offset,
eye_side). Measures of the last step: contact_seen and aim_seen, as parts of the visible half-width.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from aimgeo.construct import Circle, Construction, Line, Point, Step, position
from aimgeo.shot import Shot
from scenes.board import Board, EyeCamera, Move, Pane, Rect, Track
from scenes.board.brief import Brief, EyeSpec, OutlineStep, Subject
from scenes.board.motion import Sheet, Span, frames_of, in_turn
from scenes.board.timing import TIMING
from scenes.figure.eye_view import (
    EYE,
    EyeLayout,
    above_camera,
    eye_camera,
    eye_layout,
    eye_mm,
    line_top,
    viewing_distance,
)
from scenes.figure.figure import Figure, bare, eye_figure, in_reach
from scenes.figure.steps import bring_cue, put_balls, put_circles, put_lines, put_point
from scenes.frame.eye_words import put_heading, put_note, put_scrim, put_titles
from scenes.frame.layout import layout
from scenes.kinds.kind import Kind
from scenes.kinds.players_eye import eye_values

ABOVE, DOWN, SEEN = "over_the_top.above", "over_the_top.down", "over_the_top.eye"
MOVE_S = 5.0
BEYOND = 0.6
"""So much of the table is seen past the object ball from above, of the distance between the balls."""
AT = {"wide": (0.36, 0.74), "square": (0.36, 0.68), "tall": (0.32, 0.62)}
"""Heights of object and cue ball in the player's picture, of the frame's."""


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """From above, the move, and what the eye sees."""
    _, eye = _asked(subject)
    values = eye_values(eye)
    return (
        OutlineStep("above", ABOVE, values, draws_s=5.0),
        OutlineStep("down", DOWN, values, draws_s=MOVE_S + 1.0),
        OutlineStep("eye", SEEN, values, draws_s=4.0),
    )


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    shot, eye = _asked(brief.subject)
    if [step.name for step in brief.steps] != ["above", "down", "eye"]:
        raise ValueError("an over-the-top clip has the steps above, down, eye")
    spans = brief.spans
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    rate = brief.output.rate
    places = eye_layout(frame, 0)
    _, moving, _ = in_turn(*spans[1], (0.5, MOVE_S, 0.5), rate)
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
    low, high = AT[frame.shape]
    places = replace(
        places, axis_px=frame.width_px / 2, object_y_px=low * frame.height_px, cue_y_px=high * frame.height_px
    )
    end = eye_camera(places, shot, eye)
    pane = Pane(EYE, full, "eye", _camera(end, places, shot, moving), "plate")
    sheet = Sheet()
    seen = Pane(EYE, full, "eye", end)
    figure = eye_figure(brief, sheet, frame, shot, bare(shot), seen, eye_mm(shot, eye), line_top(places))
    plan = _picture(figure, replace(seen, camera=_above(places, shot)))
    put_balls(figure, brief.subject.table, True)
    _, ghost, line, mark, _ = in_turn(*spans[0], (1.0, 0.4, 1.4, TIMING.fade_s, 1.2), rate)
    put_circles(figure, 0, plan.steps[0].circles, ghost)
    put_lines(figure, 0, plan.steps[0].lines, line)
    for n, point in enumerate(plan.steps[0].points):
        put_point(figure, 0, n, point, mark)
    bring_cue(figure, in_turn(*spans[2], (0.3, 0.8, 2.0), rate)[1])
    put_scrim(sheet, frame)
    put_titles(sheet, frame, brief.steps, spans, rate, places.title_room_px)
    put_heading(sheet, brief.labels, places.heading_px, places.heading_align)
    fade = frames_of(TIMING.fade_s, rate)
    widths = viewing_distance(Pane(EYE, full, "eye", end), frame)
    note = put_note(sheet, brief.labels, widths, places.note_px, places.heading_align, on=False)
    if note is not None:
        sheet.show(note, (spans[2][0], spans[2][0] + fade))
    return sheet.board(brief, (pane,))


def _asked(subject: Subject) -> tuple[Shot, EyeSpec]:
    if subject.shot is None or subject.eye is None:
        raise ValueError("an over-the-top clip needs a shot and an eye")
    return subject.shot, subject.eye


def _above(places: EyeLayout, shot: Shot) -> EyeCamera:
    """From above, with room for a piece of the target line."""
    to_target = float(np.linalg.norm(shot.target_mm - shot.object_ball_mm))
    return above_camera(places, shot, min(to_target, BEYOND * float(shot.distance_mm)))


def _camera(end: EyeCamera, places: EyeLayout, shot: Shot, moving: Span) -> EyeCamera:
    """From above the middle of the shot to the eye; both look towards the middle."""
    values = np.array(end.track.start)
    at, way = values[:3], values[3:6] - values[:3]
    middle = (shot.cue_ball_mm + shot.object_ball_mm) / 2
    reach = float(np.linalg.norm(middle - at))
    look = at + reach * way / np.linalg.norm(way)
    stop = (*at.tolist(), *look.tolist(), float(values[6]))
    start = _above(places, shot).track.start
    return EyeCamera(Track(start, (Move(*moving, stop, "quintic"),)), end.anchor)


def _picture(figure: Figure, above: Pane) -> Construction:
    """What lies on the table while the eye moves: target line, ghost ball, aim line, aim point.

    The target line goes as far as both pictures have room for it.
    """
    shot = figure.shot
    C, O, G, T = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm, shot.target_mm))
    aim = Line("aim_line", C, G)
    ends = [
        in_reach(replace(figure, windows=(one,)), Line("target_line", O, T)).end_mm for one in (figure.pane, above)
    ]
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
