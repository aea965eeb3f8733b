"""Balls in the way of a rolling ball."""

from __future__ import annotations

import numpy as np

from aimgeo.pocket import segment_distance_mm
from aimgeo.vectors import Array, ArrayLike


def clearance_mm(other: ArrayLike, start: ArrayLike, end: ArrayLike, ball_diameter_mm: ArrayLike) -> Array:
    """The gap left by a ball rolling from start to end past another ball, all (..., 2); negative inside its way.

    >>> float(clearance_mm([500.0, 60.0], [0.0, 0.0], [1000.0, 0.0], 57.0))
    3.0
    """
    return segment_distance_mm(other, start, end) - np.asarray(ball_diameter_mm, float)
