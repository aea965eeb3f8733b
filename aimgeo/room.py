"""Room on the table: how near a ball lies to a cushion, and how much cloth the cue has behind the cue ball."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from aimgeo.shot import Shot
from aimgeo.tables import Table
from aimgeo.vectors import Array

BRIDGE_MM = 50.0
"""With less cloth behind the cue ball a level cue has no room: the hand lies on the rail and raises the cue.
Common practice: about two inches."""


def at_tip_mm(off_rad: ArrayLike, bridge_mm: float) -> Array:
    """How far the cue's tip goes aside when the cue turns about the hand, so far behind the tip.

    >>> round(float(at_tip_mm(np.radians(1.0), 300.0)), 3)
    5.237
    """
    found: Array = np.tan(np.asarray(off_rad, float)) * bridge_mm
    return found


def air_mm(table: Table, place_mm: ArrayLike, radius_mm: float) -> Array:
    """How far a ball's edge is from the nearest nose, for centres (..., 2) or (..., 3); 0 touches.

    >>> from aimgeo.tables import TABLES
    >>> round(float(air_mm(TABLES["9ft"], (1000.0, 0.0), 28.575)), 3)
    241.425
    """
    half = np.array([table.length_mm, table.width_mm]) / 2
    found: Array = (half - np.abs(np.asarray(place_mm, float)[..., :2])).min(axis=-1) - radius_mm
    return found


def behind_mm(table: Table, shot: Shot) -> float:
    """Cloth behind the cue ball's edge, backwards along the aim to the first nose.

    >>> from aimgeo.shot import solve_shot
    >>> from aimgeo.tables import TABLES
    >>> round(behind_mm(TABLES["9ft"], solve_shot((-1000, 0), (0, 0), (1000, 0), 57.15)), 3)
    241.425
    """
    half = np.array([table.length_mm, table.width_mm]) / 2
    at, back = np.asarray(shot.cue_ball_mm, float)[:2], -np.asarray(shot.aim_direction, float)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        ways = np.where(back > 0, half - at, half + at) / np.abs(back)
    return float(np.nanmin(ways)) - float(shot.radius_mm)
