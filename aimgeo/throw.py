"""Throw: friction between the balls drags the object ball off the line of centres, towards the cue ball's way.

The model, with its fit of friction to slip speed, is in docs/geometry.md; restitution is 1, the balls are equal,
and sidespin is not modelled. The friction of real balls differs from set to set and day to day.
"""

from __future__ import annotations

import numpy as np

from aimgeo.vectors import Array, ArrayLike

FRICTION_FLOOR = 9.951e-3
FRICTION_RISE = 0.108
FRICTION_PER_MPS = 1.088
BAND = (0.6, 1.4)
"""Illustrative factors on the friction: a set of clean and polished, and of dirty and worn balls."""


def friction(slip_mps: ArrayLike) -> Array:
    """Coefficient of friction between two balls at a slip speed in m/s, (...)."""
    return FRICTION_FLOOR + FRICTION_RISE * np.exp(-FRICTION_PER_MPS * np.asarray(slip_mps, float))


def throw_rad(cut_rad: ArrayLike, speed_mps: ArrayLike, roll: ArrayLike = 0.0, factor: ArrayLike = 1.0) -> Array:
    """Throw of an unsigned cut (...) below 90 degrees: the object ball's cut gets smaller by so much.

    speed: of the cue ball at impact, m/s, above 0; roll: 0 stun to 1 natural roll; factor: on the friction.
    The tangential impulse is min(friction x normal impulse, slip / 7); the part of the slip that comes from roll
    is vertical and throws nothing sideways.

    >>> round(float(np.degrees(throw_rad(np.radians(30), 1.0))), 3)
    4.154
    """
    c, V, r = (np.asarray(v, float) for v in (cut_rad, speed_mps, roll))
    sin, cos = np.sin(c), np.cos(c)
    slip = np.hypot(sin, r * cos)
    with np.errstate(invalid="ignore", divide="ignore"):
        sliding = np.asarray(factor, float) * friction(V * slip) * np.where(slip > 0, sin / slip, 0.0)
        gripping = sin / (7 * cos)
    return np.arctan(np.minimum(sliding, gripping))


def cut_needed_rad(
    cut_rad: ArrayLike, speed_mps: ArrayLike, roll: ArrayLike = 0.0, factor: ArrayLike = 1.0
) -> Array:
    """The cut whose thrown result is the wanted one: c' - throw(c') = cut, (...); nan if none is below 90.

    Throw grows by less than a third of the cut's growth, so repeating c' = cut + throw(c') closes in on the one
    solution by at least that factor a round.
    """
    wanted = np.asarray(cut_rad, float)
    needed = wanted + throw_rad(wanted, speed_mps, roll, factor)
    for _ in range(60):
        below = np.minimum(needed, np.pi / 2)
        following = wanted + throw_rad(below, speed_mps, roll, factor)
        moving = np.abs(following - needed) > 4e-16
        if not moving.any():
            break
        needed = np.where(moving, following, needed)  # so that a shot's answer does not hang on its neighbours
    return np.where(needed < np.pi / 2, needed, np.nan)
