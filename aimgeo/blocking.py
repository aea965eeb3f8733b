"""Balls in the way of a rolling ball, and balls that lie in one another."""

from __future__ import annotations

import numpy as np

from aimgeo.pocket import segment_distance_mm
from aimgeo.vectors import Array, ArrayLike, IntArray


def clearance_mm(other: ArrayLike, start: ArrayLike, end: ArrayLike, ball_diameter_mm: ArrayLike) -> Array:
    """The gap left by a ball rolling from start to end past another ball, all (..., 2); negative inside its way.

    >>> float(clearance_mm([500.0, 60.0], [0.0, 0.0], [1000.0, 0.0], 57.0))
    3.0
    """
    return segment_distance_mm(other, start, end) - np.asarray(ball_diameter_mm, float)


FEW = 8
"""Up to so many balls are compared each with each."""


def overlapping(balls: ArrayLike, owner: IntArray, ball_diameter_mm: ArrayLike, slack_mm: float = 0.0) -> IntArray:
    """Pairs (P, 2) of balls (M, 2) of one owner (M,) that overlap by more than the slack, the lower place first.

    Every pair of an owner with FEW balls or less; of another at least one, if there is any. For that the bed is
    cut into strips two diameters wide, once more with the cuts moved by one, so that two balls that overlap share
    a strip. Along a strip, among eight balls within a diameter of each other two of the nearest six neighbours
    overlap: a rectangle of two diameters by one falls into six cells, none of which holds two balls a diameter
    apart. So however many balls there are, looking six ahead is enough.

    >>> overlapping([[0.0, 0.0], [300.0, 0.0], [20.0, 20.0]], np.array([0, 0, 0]), np.array([57.0] * 3)).tolist()
    [[0, 2]]
    """
    p, d = np.asarray(balls, float), np.asarray(ball_diameter_mm, float)
    count = np.bincount(owner)[owner]
    few, many = np.flatnonzero(count <= FEW), np.flatnonzero(count > FEW)
    orders = [few[np.argsort(owner[few], kind="stable")]]
    for shift in (0.0, 0.5) if many.size else ():
        strip = np.floor(p[many, 0] / (2 * d[many]) + shift)
        orders.append(many[np.lexsort((p[many, 1], strip, owner[many]))])
    found = []
    for order in orders:
        x, y, whose, reach = p[order, 0], p[order, 1], owner[order], d[order] - slack_mm
        for ahead in range(1, FEW):
            apart2 = (x[ahead:] - x[:-ahead]) ** 2 + (y[ahead:] - y[:-ahead]) ** 2
            close = np.flatnonzero((apart2 < reach[ahead:] ** 2) & (whose[ahead:] == whose[:-ahead]))
            found.append(np.stack([order[close], order[close + ahead]], axis=-1))
    return np.unique(np.sort(np.concatenate(found), axis=-1), axis=0)
