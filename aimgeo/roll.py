"""A rolled ball: what it meets, and the cut that this makes."""

from __future__ import annotations

import numpy as np

from aimgeo.shot import BALL_DIAMETER_MM, Shot, shot_of
from aimgeo.vectors import Array, ArrayLike, BoolArray, arcsine_rad, cross, dot, length, turned

BED_SLACK_MM = 1e-9
"""A ball may touch a cushion; rounding must not push it off the bed."""


def meets(along_mm: ArrayLike, aside_mm: ArrayLike, ball_diameter_mm: ArrayLike) -> BoolArray:
    """True where a ball rolling along +x from the origin meets an equal ball at (along, aside), (...).

    False when it passes, starts inside the other ball, rolls away from it, or grazes it at exactly one
    diameter (within the rounding of the distance).
    """
    x, y, d = (np.asarray(v, float) for v in (along_mm, aside_mm, ball_diameter_mm))
    distance = np.hypot(x, y)
    slack = 8 * np.finfo(float).eps * np.maximum(distance, d)
    return (x > 0) & (np.abs(y) < d - slack) & (distance >= d - slack)


def rolled_cut_rad(aside_mm: ArrayLike, ball_diameter_mm: ArrayLike) -> Array:
    """Signed cut of a ball that passes with the other's centre `aside` to the left of its line; nan beyond d.

    >>> round(float(np.degrees(rolled_cut_rad(28.575, 57.15))), 9)
    30.0
    """
    return arcsine_rad(aside_mm, ball_diameter_mm)


def is_on_bed(centre_mm: ArrayLike, half_bed_mm: ArrayLike, radius_mm: ArrayLike) -> BoolArray:
    """True where a ball centred at (..., 2) lies wholly between the nose lines, pocket mouths included.

    half_bed_mm (..., 2): half the bed's length and width, inf for an endless cloth.
    """
    room = np.asarray(half_bed_mm, float) - np.asarray(radius_mm, float)[..., None] + BED_SLACK_MM
    fits: BoolArray = np.abs(np.asarray(centre_mm, float)[..., :2]) <= room
    return fits[..., 0] & fits[..., 1]


def rolled_shot(
    cue_ball: ArrayLike,
    aim_direction: ArrayLike,
    object_ball: ArrayLike,
    target: ArrayLike = (np.nan, np.nan),
    ball_diameter_mm: ArrayLike = BALL_DIAMETER_MM,
    half_bed_mm: ArrayLike = (np.inf, np.inf),
) -> Shot:
    """The shot that happens when the cue ball is rolled along a direction (..., 2) from (..., 2).

    What concerns the impact is nan where the ball misses: it passes, grazes, or meets a cushion first.
    The bed is convex and the cue ball stands on it, so a cushion comes first just when the ghost ball would
    stand off the bed. The target (nan when there is none) changes nothing about the roll.

    >>> shot = rolled_shot([0, 0], [1, 0], [500, 28.575])
    >>> round(float(np.degrees(shot.cut_rad)), 9)
    30.0
    """
    C, O, a = (np.asarray(v, float) for v in (cue_ball, object_ball, aim_direction))
    d = np.asarray(ball_diameter_mm, float)
    w = O - C
    along, aside, D = dot(w, a), cross(a, w), length(w)
    with np.errstate(invalid="ignore"):
        cut = np.where(meets(along, aside, d), rolled_cut_rad(aside, d), np.nan)
        # along - sqrt(d^2 - aside^2), written so that nothing cancels when the balls nearly touch
        q = (D - d) * (D + d) / (along + np.sqrt((d - aside) * (d + aside)))
        u = turned(a, cut)
        hit = is_on_bed(O - d[..., None] * u, half_bed_mm, d / 2)
    return shot_of(C, O, target, a, np.where(hit[..., None], u, np.nan), np.where(hit, cut, np.nan), D,
                   np.where(hit, q, np.nan), d)  # fmt: skip
