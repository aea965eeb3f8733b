"""Fixed marks: know by heart, for each cut of a known set, the mark on the object ball that the aim line meets.

Sentence keys in the order of their steps, measures in brackets:
fixed_marks.target_line [cut], .object_ball_line, .marks, .known_mark or .between_marks [aim_offset],
.aim_line.
Own values, all but the first step: `mark` (count: eighths of the radius from the centre), `mark_part`
(the same as a ratio of the radius), `how_far` (the same as a name, out.0 to out.8), `past_mark` (how far this
cut's mark lies past that one), `past_way` (name: outward, inward)
"""

from __future__ import annotations

import numpy as np

from aimgeo.aim_frame import AimFrame
from aimgeo.construct import Construction, Point, Quantity, Step, position
from aimgeo.methods.figure import (
    between_offsets,
    direction,
    on_front,
    parallel,
    shot_values,
    target_line_step,
)
from aimgeo.methods.method import Method, Reading
from aimgeo.shot import BALL_DIAMETER_MM, Shot, at_height
from aimgeo.side import side_of
from aimgeo.vectors import Array, ArrayLike, left

SIN_LIMIT = 0.5
"""At 30 degrees the mark is the object ball's edge; beyond, there is no ball to mark."""
SHOWN_PAST_MM = 0.05
"""A cut this near to a known mark is on it: the difference would be shown as 0.0 mm."""
KNOWN_SIXTEENTHS = tuple(range(9))
"""The known set: sin(cut) in sixteenths, whose marks divide the radius into eighths."""


def mark_offset_mm(cut_rad: ArrayLike, ball_diameter_mm: ArrayLike = BALL_DIAMETER_MM) -> Array:
    """How far a cut's mark lies from the object ball's centre: d sin(cut), the doubled-offset aim point, (...).

    Signed like the cut; nan beyond 30 degrees, where the mark would be off the ball.

    >>> float(mark_offset_mm(np.radians(30)).round(3))
    28.575
    """
    sine = np.sin(cut_rad)
    on_ball = np.abs(sine) <= SIN_LIMIT + 1e-9
    return np.where(on_ball, np.asarray(ball_diameter_mm, float) * sine, np.nan)


def aim_point_mm(shot: Shot) -> Array:
    """The cut's mark on the object ball's front, at the height of its centre, (..., 3); nan beyond 30 degrees."""
    R, aside = shot.radius_mm, mark_offset_mm(shot.cut_rad, shot.ball_diameter_mm)
    with np.errstate(invalid="ignore"):
        ahead = np.sqrt(np.maximum((R - aside) * (R + aside), 0.0))
    # a cut to the left aims at the ball's right: the mark's offset is signed like the cut
    step = ahead[..., None] * shot.aim_direction + aside[..., None] * left(shot.aim_direction)
    return at_height(shot.object_ball_mm[..., :2] - step, R)


def construct(shot: Shot) -> Construction:
    """The construction for one shot (scalar fields) within reach.

    The marks of the known set on the side of the aim, then this cut's own mark. A cut that is not in the set
    gets its exact mark between two known ones, and the values say which is nearest and how far it is.

    >>> from aimgeo.shot import place_shot
    >>> [step.name for step in construct(place_shot([0, 0], [900, 0], 0.3, 500)).steps]
    ['target line', 'centre line', 'known marks', "this cut's mark", 'aim line']
    """
    C = position(shot.cue_ball_mm)
    d, offset = float(np.asarray(shot.ball_diameter_mm)), float(shot.aim_offset_mm)
    nearest = round(16 * offset / d)
    past_mm = offset - nearest * d / 16
    mark = position(aim_point_mm(shot))
    is_known = abs(past_mm) < SHOWN_PAST_MM
    values = (
        *shot_values(shot),
        ("mark", Quantity(nearest, "count")),
        ("mark_part", Quantity(nearest / 8, "ratio")),
        ("how_far", Quantity(f"out.{nearest}", "name")),
        ("past_mark", Quantity(abs(past_mm), "length_mm")),
        ("past_way", Quantity("outward" if past_mm > 0 else "inward", "name")),
    )
    aim_line = parallel(shot, "aim_line", offset, C)
    return Construction(
        method="fixed_marks",
        steps=(
            target_line_step(shot, "fixed_marks"),
            Step(
                "centre line",
                "fixed_marks.object_ball_line",
                values,
                lines=(parallel(shot, "object_ball_line", 0.0),),
            ),
            Step(
                "known marks",
                "fixed_marks.marks",
                values,
                points=tuple(Point("fixed_mark", on_front(shot, k * d / 16)) for k in KNOWN_SIXTEENTHS),
            ),
            Step(
                "this cut's mark",
                "fixed_marks.known_mark" if is_known else "fixed_marks.between_marks",
                values,
                points=(Point("aim_point", mark),),
                measures=(between_offsets(shot, "aim_offset", 0.0, offset),),
            ),
            Step("aim line", "fixed_marks.aim_line", values, lines=(aim_line,)),
        ),
        aim_direction=direction(C, mark),
        aim_point_mm=mark,
        cue_line=aim_line,
    )


def memorised_mark_turn_rad(frame: AimFrame, mark_cut_rad: Array) -> Array:
    """The aim passes the object ball's centre at 2 R sin(the mark's cut), on the side of this shot's aim.

    nan for a straight shot with another cut's mark, which has no side, and where the distance is too short.
    """
    side = side_of(frame.sin_cut)
    passing = side * frame.diameter_mm * np.sin(mark_cut_rad)
    turn = np.arctan2(frame.object_y_mm, frame.object_x_mm) - np.arctan2(
        passing, np.sqrt((frame.distance_mm - passing) * (frame.distance_mm + passing))
    )
    return np.where((side == 0) & (np.sin(mark_cut_rad) >= 1e-12), np.nan, turn)


METHOD = Method(
    "fixed_marks",
    "Fixed marks work up to 30 degrees, where the mark leaves the object ball.",
    SIN_LIMIT,
    construct,
    {
        "memorised_mark": Reading(
            "The mark memorised for one cut is used as it is, so the ball is cut by that much.",
            lambda frame, eye, mark: memorised_mark_turn_rad(frame, mark),
        ),
    },
    aim_point_mm=aim_point_mm,
    counts_eighths=True,
)
