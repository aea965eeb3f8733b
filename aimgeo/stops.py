"""Where a straight way of a ball ends on a table: at a pocket's point, or at a cushion."""

from __future__ import annotations

import math

import numpy as np

from aimgeo.tables import Table
from aimgeo.vectors import Array


def stops_mm(table: Table, start: Array, way: Array, radius_mm: float) -> float:
    """How far a ball runs along a straight way (unit, 2) until it touches a pocket's point or a cushion; mm."""
    found = [math.inf]
    half = np.array([table.length_mm, table.width_mm]) / 2
    points = np.array([p for pocket in table.pockets() for p in pocket.points_mm])
    for w in start - points:
        b = float(w @ way)
        root = b * b - float(w @ w) + radius_mm * radius_mm
        if root >= 0 and -b - math.sqrt(root) > 0:
            found.append(-b - math.sqrt(root))
    for axis in (0, 1):
        if abs(way[axis]) < 1e-12:
            continue
        side = math.copysign(1.0, way[axis])
        t = (side * (half[axis] - radius_mm) - start[axis]) / way[axis]
        touched = float((start + t * way)[1 - axis])
        if t > 0 and not _in_a_mouth(table, axis, side, touched):
            found.append(t)
    return min(found)


def _in_a_mouth(table: Table, axis: int, side: float, along: float) -> bool:
    """True when there is no nose at a place along the rail at the end `side` of an axis: a mouth, or beyond."""
    half = np.array([table.length_mm, table.width_mm]) / 2
    if abs(along) > half[1 - axis]:
        return True
    for pocket in table.pockets():
        ends = [p[1 - axis] for p in pocket.points_mm if abs(p[axis] - side * half[axis]) < 1.0]
        if len(ends) == 2 and min(ends) < along < max(ends):
            return True
        if len(ends) == 1 and along * ends[0] > 0 and abs(along) > abs(ends[0]):
            return True
    return False
