"""Where the cue ball goes after the hit."""

from __future__ import annotations

import numpy as np

from aimgeo.vectors import Array, ArrayLike, left


def deflection_rad(cut_rad: ArrayLike, roll: ArrayLike) -> Array:
    """Unsigned turn of the cue ball's way, once it rolls again, for an unsigned cut and a roll in [0, 1], (...).

    The hit takes the part of the velocity along the line of centres; the spin of the roll stays, and the cloth
    turns both into rolling: 5/7 of the velocity left plus 2/7 of the spin's share. nan where a stunned ball stops.

    >>> round(float(np.degrees(deflection_rad(np.radians(30), 1.0))), 2)
    33.67
    """
    c, r = np.asarray(cut_rad, float), np.asarray(roll, float)
    sin, cos = np.sin(c), np.cos(c)
    ahead = sin * sin + 2 * r / 5
    return np.where((ahead > 0) & (np.abs(sin) >= 1e-12) | (r > 0), np.arctan2(sin * cos, ahead), np.nan)


def tangent_direction(object_direction: ArrayLike, cut_rad: ArrayLike) -> Array:
    """The direction (..., 2) square to the object ball's, in which the cue ball leaves; nan for a straight hit.

    cut: signed, left positive. A cut to the left sends the cue ball to the right.
    """
    c = np.asarray(cut_rad, float)
    away = np.where(np.abs(np.sin(c)) < 1e-12, np.nan, -np.sign(c))
    return away[..., None] * left(object_direction)
