"""Which side, seen along the aim: +1 left, -1 right, 0 straight. Numbers that have a side are left positive."""

from __future__ import annotations

import numpy as np

from aimgeo.vectors import ArrayLike, IntArray

STRAIGHT_SIN_CUT = 1e-12
"""A cut of a smaller sine is none."""
SIDES = {"left": 1, "right": -1, "straight": 0}
NAMES = {sign: name for name, sign in SIDES.items()}


def side_of(sin_cut: ArrayLike) -> IntArray:
    """Where the object ball departs from the aim, (...).

    >>> side_of([0.5, -0.5, 1e-15]).tolist()
    [1, -1, 0]
    """
    s = np.asarray(sin_cut, float)
    return (s >= STRAIGHT_SIN_CUT).astype(int) - (s <= -STRAIGHT_SIN_CUT)


def outward(sin_cut: ArrayLike) -> IntArray:
    """On which side the aim passes the object ball's centre, (...): the other one; right for a straight shot.

    >>> outward([0.5, -0.5, 0.0]).tolist()
    [-1, 1, -1]
    """
    return np.where(side_of(sin_cut) < 0, 1, -1)
