"""The holes behind the pockets, into which a ball falls: proportions are common practice, nobody's table."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aimgeo.tables import Pocket, Table

CUSHION_MM = 50.0
"""Depth of a cushion from its nose."""
FALL_MM = -115.0
"""Where a fallen ball lies, below the cloth."""


@dataclass(frozen=True, slots=True)
class Hole:
    """The round hole behind a pocket's mouth."""

    centre_mm: tuple[float, float]
    radius_mm: float
    outward_rad: float
    half_arc_rad: float
    """Half of the arc, about the outward direction, along which the hole cuts into the rail."""


def hole_of(pocket: Pocket, table: Table) -> Hole:
    out = np.array(pocket.outward)
    angle = float(np.arctan2(out[1], out[0]))
    if pocket.name.startswith("side"):
        radius = 50.0 * pocket.mouth_mm / 128.6
        centre = np.array(pocket.centre_mm) + (CUSHION_MM + 2) * out
        return Hole((float(centre[0]), float(centre[1])), radius, angle, np.pi / 2 + 0.04)
    radius = 57.0 * pocket.mouth_mm / 115.9
    centre = np.array(pocket.centre_mm) + (radius + 45.0) * out
    # where the cushion's back line, 50 mm behind the nose, meets the circle
    beyond = abs(centre[1]) - table.width_mm / 2
    back = np.arcsin(np.clip((CUSHION_MM - beyond) / radius, -1, 1))
    return Hole((float(centre[0]), float(centre[1])), radius, angle, float(3 * np.pi / 4 - back))
