"""What an aiming method hands over: an ordered construction, each step with what it adds to the picture.

Positions are table millimetres (x, y, z). Sentences are keys with values; the words are chosen elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from aimgeo.vectors import ArrayLike

Position = tuple[float, float, float]
QuantityKind = Literal[
    "length_mm",
    "half_mm",
    "ball_mm",
    "distance_mm",
    "angle_rad",
    "overlap",
    "overlap_words",
    "ratio",
    "part",
    "count",
    "diamonds",
    "quarters",
    "diamond_quarters",
    "set_mm",
    "speed_mps",
    "limit_mm",
    "limit_rad",
    "times",
    "seconds",
    "name",
]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value to be worded: lengths in mm, angles in radians, overlaps, ratios and parts bare, names as keys.

    A ratio is told as a fraction where it is one (3/8), a part of something seen in percent.
    Diamonds are counted along a rail: an eighth of the bed's length, a quarter of its width. A half is a length
    that is doubled beside it: told a digit finer, so that twice what is read rounds to what is read of the whole.
    Quarters are diamonds told to the nearest quarter, `set_mm` a length that a person sets with a rule.
    `beside` is the value in a second picture beside the first, told after it where the two differ.
    """

    value: float | str
    kind: QuantityKind
    beside: float | None = None


@dataclass(frozen=True, slots=True)
class Point:
    """A marked point."""

    role: str
    at_mm: Position


@dataclass(frozen=True, slots=True)
class Line:
    """A straight piece, drawn from start to end."""

    role: str
    start_mm: Position
    end_mm: Position


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle in the plane of its centre (a ghost ball, a base spot on the cloth)."""

    role: str
    centre_mm: Position
    radius_mm: float


@dataclass(frozen=True, slots=True)
class Measure:
    """A measured quantity, and the two points between which it can be shown (None: number only)."""

    key: str
    quantity: Quantity
    between_mm: tuple[Position, Position] | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a construction: its sentence (key and values) and what it adds."""

    name: str
    sentence: str
    values: tuple[tuple[str, Quantity], ...] = ()
    points: tuple[Point, ...] = ()
    lines: tuple[Line, ...] = ()
    circles: tuple[Circle, ...] = ()
    measures: tuple[Measure, ...] = ()


@dataclass(frozen=True, slots=True)
class Construction:
    """A method's construction for one shot. `cue_line`: where the cue ends up, from the cue ball along the aim."""

    method: str
    steps: tuple[Step, ...]
    aim_direction: tuple[float, float]
    aim_point_mm: Position
    cue_line: Line


@dataclass(frozen=True, slots=True)
class Limit:
    """Why a method cannot be used for a shot: the key of the sentence and its values."""

    sentence: str
    values: tuple[tuple[str, Quantity], ...] = ()


def position(p: ArrayLike) -> Position:
    """A point (3,) as a plain tuple of floats."""
    x, y, z = np.asarray(p, float).tolist()
    return (x, y, z)
