"""Ball fractions: a few targets on the object ball, small parallel shifts at the cue ball, and the cuts they give.

The shooter sights from a point of the cue ball to a point of the object ball and then moves the cue, parallel,
into the cue ball's centre. With the object-ball point `t` and the cue-ball point `s` to the left of their
centres, square to the aim, the aim passes t - s to the left of the object ball: sin(cut) = (t - s)/d, and the
object ball goes right when that is positive. docs/geometry.md derives it.

Offsets are counted in sixteenths of the ball's diameter: one sixteenth is one step of sin(cut).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aimgeo.roll import rolled_cut_rad
from aimgeo.shot import BALL_DIAMETER_MM
from aimgeo.vectors import Array, ArrayLike, BoolArray

TARGETS = {"centre": 0, "halfway": 4, "edge": 8}
"""Where to look on the object ball, in sixteenths of the diameter from its centre (either side)."""
SHIFTS = (-2, -1, 0, 1, 2)
"""Taught shifts of the aim in sixteenths of the diameter: outward is positive and makes the cut bigger."""
MAX_SIXTEENTHS = 10
"""The thinnest hit: the edge with the largest outward shift."""
TIP_MM = 13.0
"""A usual cue tip's width (common practice); its quarter and half stand for one and two sixteenths."""
TIP_PARTS = ("tip.none", "tip.quarter", "tip.half")
"""Names of the parts of a tip's width that stand for none, one and two sixteenths."""
_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True)
class Combination:
    """A target and a taught shift, and how near they come to the wanted cut.

    `target` is a key of TARGETS. `shift_sixteenths` is outward positive. `cut_rad` is the cut that the two give
    and `lost_rad` what it lacks (wanted minus given); `left_over_mm` is the further outward shift that gives
    the wanted cut exactly. All on the side of the wanted cut.
    """

    target: str
    shift_sixteenths: int
    left_over_mm: float
    cut_rad: float
    lost_rad: float


def fraction_cut_rad(
    object_offset_mm: ArrayLike,
    cue_offset_mm: ArrayLike,
    distance_mm: ArrayLike,
    ball_diameter_mm: ArrayLike = BALL_DIAMETER_MM,
    by_line_of_centres: ArrayLike = False,
) -> tuple[Array, Array]:
    """The cut from a centre distance, and the cut if all lines were parallel, asin((t - s)/d), (...) each.

    t on the object ball and s on the cue ball are offsets to the left; the cuts are positive when the aim passes
    left of the object ball's centre, and nan when it misses the ball. Measured by the aim line, the sighting line
    is parallel to the aim and the aim passes the centre at t - s. Measured by the line of centres, the cue ball
    travels parallel to a sighting line that is turned by atan((t - s)/D), and passes at D times its sine.

    >>> cut, _ = fraction_cut_rad(57.15 / 2, 0.0, 400.0)
    >>> round(float(np.degrees(cut)), 9)
    30.0
    """
    e = np.asarray(object_offset_mm, float) - np.asarray(cue_offset_mm, float)
    D, d = np.asarray(distance_mm, float), np.asarray(ball_diameter_mm, float)
    parallel = rolled_cut_rad(e, d)
    passing = np.where(by_line_of_centres, e * D / np.hypot(D, e), e)
    grazed = np.abs(passing) >= d
    return np.where(grazed, np.nan, rolled_cut_rad(passing, d)), parallel


def is_reachable(cut_rad: ArrayLike) -> BoolArray:
    """True up to and including sin(cut) = 10/16, (...)."""
    return np.asarray(np.abs(np.sin(cut_rad)) <= MAX_SIXTEENTHS / 16 + _TOLERANCE)


def combinations(cut_rad: float, ball_diameter_mm: float = BALL_DIAMETER_MM) -> tuple[Combination, ...]:
    """All combinations that give the cut, or come nearest to it, the preferred one first; none beyond 10/16.

    Every target takes part whose nearest taught shift leaves no more than half a step. The preferred one
    leaves least over, then shifts least, then looks at a point that can be seen (centre or edge, not halfway).

    >>> [(c.target, c.shift_sixteenths) for c in combinations(float(np.arcsin(6 / 16)))]
    [('edge', -2), ('halfway', 2)]
    """
    if not bool(is_reachable(cut_rad)):
        return ()
    wanted = 16 * abs(float(np.sin(cut_rad)))
    found = []
    for target, sixteenths in TARGETS.items():
        shift = min(SHIFTS, key=lambda k: abs(wanted - sixteenths - k))
        left_over = wanted - sixteenths - shift
        if abs(left_over) <= 0.5 + _TOLERANCE:
            given = float(np.arcsin((sixteenths + shift) / 16))
            lost = abs(float(cut_rad)) - given
            found.append(Combination(target, shift, left_over * ball_diameter_mm / 16, given, lost))
    return tuple(sorted(found, key=_preference))


def exact_shift_mm(target: str, cut_rad: ArrayLike, ball_diameter_mm: ArrayLike = BALL_DIAMETER_MM) -> Array:
    """The outward shift that makes a target give a cut exactly: d sin(cut) minus the target's offset, (...).

    Unlike the taught shifts it may have any size: whether it is small enough to be seen is the caller's question.

    >>> round(float(exact_shift_mm("edge", np.arcsin(9 / 16))), 3)
    3.572
    """
    d = np.asarray(ball_diameter_mm, float)
    return d * (np.abs(np.sin(cut_rad)) - TARGETS[target] / 16)


def tip_shift_mm(shift_sixteenths: int, tip_mm: float = TIP_MM) -> float:
    """What a tip shows of its own width for a taught shift: a quarter for 1/16 of a ball, half for 2/16."""
    return shift_sixteenths * tip_mm / 4


def tip_lost_rad(
    target: str, shift_sixteenths: int, ball_diameter_mm: float = BALL_DIAMETER_MM, tip_mm: float = TIP_MM
) -> float:
    """The cut that is lost when the shift is measured by the tip: exact combination minus the tip's (rad).

    A 13 mm tip shows 3.25 and 6.5 mm where a sixteenth and an eighth of a 57.15 mm ball are 3.57 and 7.14.

    >>> round(float(np.degrees(tip_lost_rad("edge", 2))), 2)
    0.82
    """
    offset = TARGETS[target] / 16
    by_tip = offset + tip_shift_mm(shift_sixteenths, tip_mm) / ball_diameter_mm
    return float(np.arcsin(offset + shift_sixteenths / 16) - np.arcsin(by_tip))


def _preference(combination: Combination) -> tuple[float, int, bool]:
    # rounded, because two combinations of one cut differ in their left-over by rounding errors alone
    left_over = round(abs(combination.left_over_mm), 6)
    return left_over, abs(combination.shift_sixteenths), combination.target == "halfway"
