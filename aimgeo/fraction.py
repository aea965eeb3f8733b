"""Aiming one point of the cue ball at one point of the object ball: the cut that two offsets give."""

from __future__ import annotations

import numpy as np

from aimgeo.roll import rolled_cut_rad
from aimgeo.vectors import Array, ArrayLike


def fraction_cut_rad(
    object_offset_mm: ArrayLike,
    cue_offset_mm: ArrayLike,
    distance_mm: ArrayLike,
    ball_diameter_mm: ArrayLike,
    by_line_of_centres: ArrayLike,
) -> tuple[Array, Array]:
    """The cut from a centre distance, and the cut if all lines were parallel, asin((t - s) / d), (...) each.

    t on the object ball and s on the cue ball are offsets to the left; the cuts are positive when the aim passes
    left of the object ball's centre, and nan when it misses the ball. Measured by the aim line, the sighting line
    is parallel to the aim and the aim passes the centre at t - s. Measured by the line of centres, the cue ball
    travels parallel to a sighting line that is turned by atan((t - s) / D), and passes at D times its sine.
    """
    e = np.asarray(object_offset_mm, float) - np.asarray(cue_offset_mm, float)
    D, d = np.asarray(distance_mm, float), np.asarray(ball_diameter_mm, float)
    parallel = rolled_cut_rad(e, d)
    passing = np.where(by_line_of_centres, e * D / np.hypot(D, e), e)
    grazed = np.abs(passing) >= d
    return np.where(grazed, np.nan, rolled_cut_rad(passing, d)), parallel
