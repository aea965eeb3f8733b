"""Throw: the same shot without friction between the balls and with it, at three speeds, and what makes up for it.

Seen straight from above and large: a stunned cue ball arrives, friction drags the object ball towards its way.
Each speed shows a band, friction times 0.6 to 1.4, never one certain line. The last step turns the cut thicker so
that the thrown ball goes where it must, as the parallel shift of the cue that does it. Sentences: throw.without,
throw.speed (values speed, thrown, low, high), throw.shift (value shift). Measures: thrown, band_low, band_high;
shift, its band shift_low and shift_high.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from aimgeo.construct import Position, Quantity, position
from aimgeo.shot import Shot
from aimgeo.throw import BAND, cut_needed_rad, throw_rad
from aimgeo.vectors import turned
from scenes.board import Area, Ball, Board, Line, Mark, Pane, PlanCamera, Rect, Text, constant
from scenes.board.brief import Brief, BriefStep, OutlineStep, Subject
from scenes.board.motion import Sheet, Span, frames_of, in_turn
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.frame.column import joined
from scenes.frame.eye_words import put_heading, put_titles
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind

WITHOUT, SPEED, SHIFT = "throw.without", "throw.speed", "throw.shift"
SPEEDS_MPS = (0.5, 1.0, 2.0)
SHIFT_SPEED_MPS = 1.0
PATH_BALLS = 3.8
"""How far the object ball's paths are drawn, in balls."""


@dataclass(frozen=True, slots=True)
class ThrowSettings(Settings):
    """What may be set of a throw clip."""

    roll: float = setting(
        0.0, "roll of the cue ball at impact: 0 is stun, 1 natural roll", least=0.0, greatest=1.0
    )


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """No throw, three speeds, and the shift that makes up for it."""
    shot = _asked(subject)
    roll = ThrowSettings.of(subject).roll
    steps = [OutlineStep("without", WITHOUT, (), (), 4.0)]
    for speed in SPEEDS_MPS:
        middle, low, high = (Quantity(_throw(shot, speed, roll, factor), "angle_rad") for factor in (1.0, *BAND))
        values = (("speed", Quantity(speed, "speed_mps")), ("thrown", middle), ("low", low), ("high", high))
        measures = (("thrown", middle), ("band_low", low), ("band_high", high))
        steps.append(OutlineStep(f"{speed:g} m/s", SPEED, values, measures, 4.5))
    shift, low, high = (
        Quantity(abs(shift_mm(shot, SHIFT_SPEED_MPS, roll, factor)), "half_mm") for factor in (1.0, *BAND)
    )
    spoken = (("shift", shift), ("speed", Quantity(SHIFT_SPEED_MPS, "speed_mps")))
    steps.append(
        OutlineStep("shift", SHIFT, spoken, (("shift", shift), ("shift_low", low), ("shift_high", high)), 5.0)
    )
    return tuple(steps)


def shift_mm(shot: Shot, speed_mps: float, roll: float, factor: float = 1.0) -> float:
    """The parallel shift of the cue's line, left positive, that makes the thrown ball go where it must.

    A shift keeps the aim's direction, so the geometric cut must be the needed one seen from that direction: the
    line then passes the object ball's centre at d sin(needed cut) instead of d sin(cut). nan if none does it.
    """
    cut = abs(float(shot.cut_rad))
    needed = float(cut_needed_rad(cut, speed_mps, roll, factor))
    d = float(np.asarray(shot.ball_diameter_mm))
    return int(shot.outward) * d * (math.sin(needed) - math.sin(cut))


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    expected = [step.name for step in outline(brief.subject)]
    if [step.name for step in brief.steps] != expected:
        raise ValueError(f"a throw clip has the steps {', '.join(expected)}")
    shot = _asked(brief.subject)
    spans = brief.spans
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet = Sheet()
    rate = brief.output.rate
    pane = _pane(frame, shot)
    put_titles(sheet, frame, brief.steps, spans, rate, frame.title_width_px)
    put_heading(sheet, brief.labels, frame.heading_px, frame.heading_align)
    _put_shot(sheet, shot, brief)
    roll = ThrowSettings.of(brief.subject).roll
    for n, (speed, span) in enumerate(zip(SPEEDS_MPS, spans[1:4], strict=True)):
        _put_speed(sheet, shot, speed, roll, n, span, rate)
    _put_shift(sheet, shot, roll, spans[-1], rate)
    for n, (step, span) in enumerate(zip(brief.steps, spans, strict=True)):
        _put_measures(sheet, frame, step, n, span, rate, n == len(spans) - 1)
    return sheet.board(brief, (pane,))


def _asked(subject: Subject) -> Shot:
    if subject.shot is None:
        raise ValueError("a throw clip needs a shot")
    return subject.shot


def _throw(shot: Shot, speed_mps: float, roll: float, factor: float) -> float:
    return float(throw_rad(abs(float(shot.cut_rad)), speed_mps, roll, factor))


def _thrown_way(shot: Shot, thrown_rad: float) -> np.ndarray:
    """The object ball's direction when it is thrown: its cut gets smaller by so much."""
    return turned(shot.object_direction, int(shot.outward) * thrown_rad)


def _pane(frame: Layout, shot: Shot) -> Pane:
    """The balls large, the aim straight up, as in a build-up."""
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
    d = float(np.asarray(shot.ball_diameter_mm))
    H = frame.height_px
    bottom = 0.93 * H if frame.shape == "wide" else 0.60 * H
    top = 0.10 * H if frame.shape == "wide" else 0.26 * H
    scale = (bottom - top) / ((PATH_BALLS + 3.2) * d)
    turn = math.atan2(float(shot.aim_direction[1]), float(shot.aim_direction[0]))
    x = frame.axis_px + -int(shot.outward) * 0.10 * H
    y = bottom - 2.6 * d * scale
    O = shot.object_ball_mm
    track = constant(float(O[0]), float(O[1]), turn, math.log(scale))
    return Pane("stage", full, "plan", PlanCamera(track, (x / full[2], y / full[3])), None)


def _end(shot: Shot, way: np.ndarray, balls: float = PATH_BALLS) -> Position:
    d = float(np.asarray(shot.ball_diameter_mm))
    return position(shot.object_ball_mm + balls * d * np.array([*way, 0.0]))


def _put_shot(sheet: Sheet, shot: Shot, brief: Brief) -> None:
    """Object ball, the cue ball as it arrives, the aim line and the line on which the ball must go."""
    R = float(shot.radius_mm)
    G, O = position(shot.ghost_ball_mm), position(shot.object_ball_mm)
    sheet.put("object_ball", Ball(O, R, "object"), "ball", panes=("stage",), opacity=1.0)
    sheet.put("cue_ball", Ball(G, R, "cue"), "ball", panes=("stage",), opacity=1.0)
    back = shot.ghost_ball_mm - 1.9 * 2 * R * np.array([*shot.aim_direction, 0.0])
    aim = Line((position(back), G), "aim_line", ink_in=("cue_ball",))
    sheet.put("aim_line", aim, "line", panes=("stage",), opacity=1.0)
    target = Line((O, _end(shot, shot.object_direction)), "target_line", arrow=True)
    sheet.put("target_line", target, "line", panes=("stage",), opacity=1.0)
    contact = Mark(position(shot.contact_object_mm), "contact")
    sheet.put("contact_object", contact, "mark", panes=("stage",), opacity=1.0)


def _band(shot: Shot, speed_mps: float, roll: float) -> Area:
    """The wedge of paths that the friction of real balls may give."""
    low, high = (_thrown_way(shot, _throw(shot, speed_mps, roll, factor)) for factor in BAND)
    middle = _thrown_way(shot, _throw(shot, speed_mps, roll, 1.0))
    corners = [position(shot.object_ball_mm), _end(shot, low), _end(shot, middle), _end(shot, high)]
    return Area(tuple(corners), "band")


def _put_speed(
    sheet: Sheet, shot: Shot, speed_mps: float, roll: float, n: int, span: Span, rate: tuple[int, int]
) -> None:
    fade = frames_of(TIMING.fade_s, rate)
    _, band, line, _ = in_turn(*span, (TIMING.fade_s + TIMING.rest_s, 0.5, TIMING.draw_s + 0.4, 2.0), rate)
    area = sheet.put(f"band.{n}", _band(shot, speed_mps, roll), "area", "friction_band", ("stage",))
    sheet.show(area, band)
    sheet.hide(area, (span[1], span[1] + fade))
    way = _thrown_way(shot, _throw(shot, speed_mps, roll, 1.0))
    path = Line((position(shot.object_ball_mm), _end(shot, way)), "error_line")
    id = sheet.put(f"thrown.{n}", path, "line_under", "thrown_line", ("stage",), opacity=1.0, drawn=0.0)
    sheet.move(id, "drawn", line, 1.0)
    sheet.hide(id, (span[1], span[1] + fade))


def _put_shift(sheet: Sheet, shot: Shot, roll: float, span: Span, rate: tuple[int, int]) -> None:
    """The cue ball arrives beside its old line; the thrown ball now goes along the target line."""
    R = float(shot.radius_mm)
    shift = shift_mm(shot, SHIFT_SPEED_MPS, roll)
    if not math.isfinite(shift):
        return
    _, move, line, _ = in_turn(*span, (TIMING.fade_s + TIMING.rest_s, 0.8, TIMING.draw_s + 0.4, 2.0), rate)
    needed = float(cut_needed_rad(abs(float(shot.cut_rad)), SHIFT_SPEED_MPS, roll))
    hit_way = turned(shot.aim_direction, -int(shot.outward) * needed)
    new_ghost = shot.object_ball_mm - 2 * R * np.array([*hit_way, 0.0])
    back = new_ghost - 1.9 * 2 * R * np.array([*shot.aim_direction, 0.0])
    moved = (new_ghost - shot.ghost_ball_mm).tolist()
    sheet.move("cue_ball", "offset_mm", move, *moved)
    sheet.move("contact_object", "opacity", move, 0.0)
    sheet.move("aim_line", "strength", move, 0.66)
    aim = Line((position(back), position(new_ghost)), "aim_line", ink_in=("cue_ball",))
    id = sheet.put("new_aim_line", aim, "line", "aim_line_shifted", ("stage",), opacity=1.0, drawn=0.0)
    sheet.move(id, "drawn", line, 1.0)
    mark = sheet.put(
        "new_contact",
        Mark(position(shot.object_ball_mm - R * np.array([*hit_way, 0.0])), "contact"),
        "mark",
        "contact_object_shifted",
        ("stage",),
    )
    sheet.show(mark, line)
    centres = Line((position(shot.object_ball_mm), _end(shot, hit_way, 2.2)), "line_of_centres")
    id = sheet.put("centres", centres, "line_under", "line_of_centres", ("stage",), opacity=1.0, drawn=0.0)
    sheet.move(id, "drawn", line, 1.0)


def _put_measures(
    sheet: Sheet, frame: Layout, words: BriefStep, n: int, span: Span, rate: tuple[int, int], last: bool
) -> None:
    """The number, and beneath it the band from low to high."""
    if not words.measures:
        return
    middle, *band = words.measures
    x, y = frame.measures_px
    size = frame.scale.text_px("measure_name")
    fade = frames_of(TIMING.fade_s, rate)
    texts = [
        Text(middle.name, (x, y), "measure_name"),
        Text(joined(middle), (x, y + 1.8 * size), "measure"),
    ]
    if len(band) == 2:
        texts.append(Text(f"{band[0].number}–{joined(band[1])}", (x, y + 3.3 * size), "small"))
    for k, text in enumerate(texts):
        id = sheet.put(f"measure.{n}.{k}", text, "text", "measure")
        sheet.show(id, (span[0] + fade, span[0] + 2 * fade))
        if not last:
            sheet.hide(id, (span[1], span[1] + fade))


KIND = Kind(
    "throw",
    "the same shot with and without throw, at three speeds",
    outline,
    board,
    axes=("cut", "side"),
    settings=ThrowSettings,
)
