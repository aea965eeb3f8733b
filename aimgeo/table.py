"""Pool tables: bed between the cushion noses, pockets, sights, strings and spots."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aimgeo.vectors import Array

POCKET_NAMES = ("foot-left", "foot-right", "head-left", "head-right", "side-left", "side-right")


@dataclass(frozen=True, slots=True)
class Pocket:
    """A pocket's mouth: the segment between its two points, and the direction out of the table."""

    name: str
    points_mm: tuple[tuple[float, float], tuple[float, float]]
    centre_mm: tuple[float, float]
    outward: tuple[float, float]
    mouth_mm: float


@dataclass(frozen=True, slots=True)
class Table:
    """A bed of length x width between the noses (mm), with the mouths of its pockets."""

    name: str
    length_mm: float
    width_mm: float
    corner_mouth_mm: float
    side_mouth_mm: float

    def pocket(self, name: str) -> Pocket:
        """The named pocket. A corner's points lie on the two nose lines, mouth/sqrt(2) from their meeting."""
        end, side = name.split("-")
        sy = 1.0 if side == "left" else -1.0
        W = self.width_mm / 2
        if end == "side":
            m = self.side_mouth_mm
            return Pocket(name, ((-m / 2, sy * W), (m / 2, sy * W)), (0.0, sy * W), (0.0, sy), m)
        sx, L, m = (1.0 if end == "foot" else -1.0), self.length_mm / 2, self.corner_mouth_mm
        k = m / np.sqrt(2)
        a, b = (sx * (L - k), sy * W), (sx * L, sy * (W - k))
        centre = (sx * (L - k / 2), sy * (W - k / 2))
        r = float(np.sqrt(0.5))
        return Pocket(name, (a, b), centre, (sx * r, sy * r), m)

    def pockets(self) -> tuple[Pocket, ...]:
        """All six."""
        return tuple(self.pocket(name) for name in POCKET_NAMES)

    def sights_mm(self) -> Array:
        """The eighteen sights (18, 2) on the nose lines, at eighths of the length and quarters of the width."""
        L, W = self.length_mm / 2, self.width_mm / 2
        long = [(x * L, s * W) for s in (1, -1) for x in (-0.75, -0.5, -0.25, 0.25, 0.5, 0.75)]
        short = [(s * L, y * W) for s in (1, -1) for y in (-0.5, 0.0, 0.5)]
        return np.array(long + short)


TABLES: dict[str, Table] = {
    "9ft": Table("9ft", 2540.0, 1270.0, 115.9, 128.6),
    "8ft": Table("8ft", 2235.2, 1117.6, 115.9, 128.6),
    "7ft": Table("7ft", 1981.2, 990.6, 115.9, 128.6),
}
