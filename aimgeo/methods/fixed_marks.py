"""Fixed marks: know by heart, for each cut of a known set, the mark on the object ball that the aim line meets."""

from __future__ import annotations

import numpy as np

from aimgeo.construct import Construction, Limit, Point, Quantity, Step, position
from aimgeo.methods.figure import (
    between_offsets,
    direction,
    on_front,
    parallel,
    reach_limit,
    reaches,
    refuse_beyond,
    shot_values,
    target_line_step,
)
from aimgeo.shot import BALL_DIAMETER_MM, Shot, at_height
from aimgeo.vectors import Array, ArrayLike, BoolArray, left

REACH = "Fixed marks work up to 30 degrees, where the mark leaves the object ball."
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


def is_usable(shot: Shot) -> BoolArray:
    """True up to and including 30 degrees, (...)."""
    return reaches(shot, SIN_LIMIT)


def limit(shot: Shot) -> Limit | None:
    """None up to and including 30 degrees; beyond, the mark would leave the object ball."""
    return reach_limit(shot, "fixed_marks", SIN_LIMIT)


def aim_point_mm(shot: Shot) -> Array:
    """The cut's mark on the object ball's front, at the height of its centre, (..., 3); nan beyond 30 degrees."""
    R, aside = shot.radius_mm, mark_offset_mm(shot.cut_rad, shot.ball_diameter_mm)
    with np.errstate(invalid="ignore"):
        ahead = np.sqrt(np.maximum((R - aside) * (R + aside), 0.0))
    # a cut to the left aims at the ball's right: the mark's offset is signed like the cut
    step = ahead[..., None] * shot.aim_direction + aside[..., None] * left(shot.aim_direction)
    return at_height(shot.object_ball_mm[..., :2] - step, R)


def construct(shot: Shot) -> Construction:
    """The construction for one shot (scalar fields). ValueError where `limit` gives a reason.

    The marks of the known set on the side of the aim, then this cut's own mark. A cut that is not in the set
    gets its exact mark between two known ones, and the values say which is nearest and how far it is.

    >>> from aimgeo.shot import place_shot
    >>> [step.name for step in construct(place_shot([0, 0], [900, 0], 0.3, 500)).steps]
    ['target line', 'centre line', 'known marks', "this cut's mark", 'aim line']
    """
    refuse_beyond(limit, shot)
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
