"""Pool tables: bed between the cushion noses, pockets, sights, strings and spots.

Sizes and mouths with a published specification follow it: World Pool-Billiard Association, tournament table and
equipment specifications (playing surface 100 x 50 in and 92 x 46 in; corner mouth 4.5 to 4.625 in, side mouth 5 to
5.125 in, of which the middle is used). The other sizes of pool tables are common practice, with the same mouths.
The 12 ft table's bed and balls follow the official rules of snooker of the WPBSA, section 1 (3569 x 1778 mm within
the cushion faces, from public reprints; balls of 52.5 mm, from memory). Its pockets are cut to templates that are
not published: mouths and noses here are common practice, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from aimgeo.units import INCH_MM
from aimgeo.vectors import Array

Jaws = Literal["straight", "rounded"]
Basis = Literal["published", "common practice", "given"]

DIAMONDS_LONG, DIAMONDS_WIDE = 8, 4
"""The sights divide the length into eighths and the width into quarters."""

BALL_MM, NOSE_MM = 57.15, 36.3
NOSE_PART = NOSE_MM / BALL_MM
"""How high noses are, in parts of a ball: the middle of the WPA's range."""

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
class FromRail:
    """How far a place lies from the nose of a rail: 'foot', 'head', 'left' or 'right', in mm and in diamonds.

    Diamonds are those of the rail along which it is measured: eighths of the length, quarters of the width.
    `nose_mm` is the nearest point of that nose.
    """

    rail: str
    away_mm: float
    diamonds: float
    nose_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Table:
    """A bed of length x width between the noses (mm), with the mouths of its pockets.

    Its balls are `ball_mm` wide and its noses `nose_mm` high. `jaws` tells how the noses turn into the pockets: at
    a point, or rounded; the mouth lies between the points all the same, where the lines of nose and facing meet.

    `basis` tells where the bed's size comes from: a published specification, common practice, or its author.
    """

    name: str
    length_mm: float
    width_mm: float
    corner_mouth_mm: float
    side_mouth_mm: float
    basis: Basis = "given"
    ball_mm: float = BALL_MM
    nose_mm: float = NOSE_MM
    has_sights: bool = True
    jaws: Jaws = "straight"

    def pocket(self, name: str) -> Pocket:
        """The named pocket. A corner's points lie on the two nose lines, mouth/sqrt(2) from their meeting.

        >>> TABLES["9ft"].pocket("side-left").points_mm
        ((-64.3, 635.0), (64.3, 635.0))
        """
        end, side = name.split("-")
        sy = 1.0 if side == "left" else -1.0
        W = self.width_mm / 2
        if end == "side":
            m = self.side_mouth_mm
            return Pocket(name, ((-m / 2, sy * W), (m / 2, sy * W)), (0.0, sy * W), (0.0, sy), m)
        sx, L, m = (1.0 if end == "foot" else -1.0), self.length_mm / 2, self.corner_mouth_mm
        k = float(m / np.sqrt(2))
        a, b = (sx * (L - k), sy * W), (sx * L, sy * (W - k))
        centre = (sx * (L - k / 2), sy * (W - k / 2))
        r = float(np.sqrt(0.5))
        return Pocket(name, (a, b), centre, (sx * r, sy * r), m)

    def mark(self, place_mm: tuple[float, float]) -> Pocket:
        """A place of the bed as a target: as wide as the bed is long, so that every ball that comes is taken."""
        x, y = place_mm
        far = 2 * self.length_mm
        return Pocket("", ((x, y - far), (x, y + far)), (x, y), (0.0, 0.0), float("inf"))

    def pockets(self) -> tuple[Pocket, ...]:
        """All six."""
        return tuple(self.pocket(name) for name in POCKET_NAMES)

    @property
    def diamond_mm(self) -> float:
        """A diamond as a unit of length: an eighth of the bed's length."""
        return self.length_mm / DIAMONDS_LONG

    def from_rails(self, place_mm: ArrayLike) -> tuple[FromRail, FromRail]:
        """A place counted from the noses of the nearer end rail and of the nearer long rail.

        Midway the foot rail and the left rail count.

        >>> [(f.rail, f.away_mm, f.diamonds) for f in TABLES["9ft"].from_rails((635.0, -317.5))]
        [('foot', 635.0, 2.0), ('right', 317.5, 1.0)]
        """
        x, y = (float(v) for v in np.asarray(place_mm, float)[:2])
        L, W = self.length_mm / 2, self.width_mm / 2
        end, flank = ("foot", 1.0) if x >= 0 else ("head", -1.0), ("left", 1.0) if y >= 0 else ("right", -1.0)
        along, across = L - abs(x), W - abs(y)
        return (
            FromRail(end[0], along, along / self.diamond_mm, (end[1] * L, y)),
            FromRail(flank[0], across, across / (self.width_mm / DIAMONDS_WIDE), (x, flank[1] * W)),
        )

    def sights_mm(self) -> Array:
        """The eighteen sights (18, 2) on the nose lines, at eighths of the length and quarters of the width.

        (0, 2) on a table that has none.
        """
        if not self.has_sights:
            return np.zeros((0, 2))
        L, W = self.length_mm / 2, self.width_mm / 2
        long = [(x * L, s * W) for s in (1, -1) for x in (-0.75, -0.5, -0.25, 0.25, 0.5, 0.75)]
        short = [(s * L, y * W) for s in (1, -1) for y in (-0.5, 0.0, 0.5)]
        return np.array(long + short)

    def strings_mm(self) -> dict[str, tuple[tuple[float, float], tuple[float, float]]]:
        """Head, centre and foot string (across, right to left) and long string (head to foot), by name."""
        L, W = self.length_mm / 2, self.width_mm / 2
        across = {"head": -L / 2, "centre": 0.0, "foot": L / 2}
        return {name: ((x, -W), (x, W)) for name, x in across.items()} | {"long": ((-L, 0.0), (L, 0.0))}

    def spots_mm(self) -> dict[str, tuple[float, float]]:
        """Head, centre and foot spot: where those strings cross the long string."""
        return {name: (start[0], 0.0) for name, (start, _) in self.strings_mm().items() if name != "long"}


CORNER_MOUTH_MM = 115.9
SIDE_MOUTH_MM = 128.6


def _table(name: str, length_in: float, basis: Basis) -> Table:
    size_mm = round(length_in * INCH_MM, 3)
    return Table(name, size_mm, size_mm / 2, CORNER_MOUTH_MM, SIDE_MOUTH_MM, basis)


TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        _table("9ft", 100, "published"),
        _table("8ft-pro", 92, "published"),
        _table("8ft", 88, "common practice"),
        _table("7ft", 78, "common practice"),
        _table("10ft", 112, "common practice"),
        Table("12ft", 3569.0, 1778.0, 89.0, 104.0, "published", 52.5, 52.5 * NOSE_PART, False, "rounded"),
    )
}
"""The named sizes: pool tables, whose beds are twice as long as wide, and the snooker table."""
