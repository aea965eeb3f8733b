"""The points of a real table that a picture shows: pockets' points, sights and spots, as functions of its
measures.

Every place is linear in the measures, so that a table that is not known exactly can be solved for. Names as in the
glossary; sights are counted from the head along the long rails (4 is the side pocket), and from the left along the
short ones, for someone looking from head to foot.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from aimgeo.tables import Table
from aimgeo.vectors import Array

MEASURES = (
    "length", "width", "corner_mouth", "side_mouth", "nose_height", "rail_top", "sights", "cushion",
    "head_spot_x", "head_spot_y", "centre_spot_x", "centre_spot_y", "foot_spot_x", "foot_spot_y",
)  # fmt: skip
"""What a table's points depend on, in mm: bed between the noses, mouths, heights above the cloth, distances of the
sights and of the cushion's back edge from the nose, and how far each spot lies from where it should."""


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known of a measure before it is looked at: its value and one standard error, in mm."""

    mm: float
    error_mm: float


def measures_of(table: Table, ball_diameter_mm: float = 57.15) -> dict[str, Prior]:
    """What is known of a table of a named size, by measure.

    Bed and sights follow the published tolerances (World Pool-Billiard Association, equipment specifications: bed
    +-1/8 in, sights 3 11/16 +-1/8 in from the noses) taken as two standard errors. The height of the nose is
    62.5 to
    64.5 % of the ball; rail and cushion are common practice.
    """
    return {
        "length": Prior(table.length_mm, 1.6),
        "width": Prior(table.width_mm, 1.6),
        "corner_mouth": Prior(table.corner_mouth_mm, 3.0),
        "side_mouth": Prior(table.side_mouth_mm, 3.0),
        "nose_height": Prior(0.635 * ball_diameter_mm, 0.004 * ball_diameter_mm),
        "rail_top": Prior(41.0, 2.5),
        "sights": Prior(93.66, 1.6),
        "cushion": Prior(50.8, 4.0),
        **{f"{spot}_spot_{axis}": Prior(0.0, 3.0) for spot in ("head", "centre", "foot") for axis in "xy"},
    }


def _at(x: dict[str, float], y: dict[str, float], z: dict[str, float]) -> Array:
    return np.array([[part.get(name, 0.0) for name in MEASURES] for part in (x, y, z)])


def _named() -> dict[str, Array]:
    found: dict[str, Array] = {}
    nose, top = {"nose_height": 1.0}, {"rail_top": 1.0}
    root = 1 / sqrt(2)
    for end, sx in (("foot", 1.0), ("head", -1.0)):
        for side, sy in (("left", 1.0), ("right", -1.0)):
            x, y = {"length": sx / 2}, {"width": sy / 2}
            found[f"{end}-{side}-long"] = _at(x | {"corner_mouth": -sx * root}, y, nose)
            found[f"{end}-{side}-short"] = _at(x, y | {"corner_mouth": -sy * root}, nose)
    for side, sy in (("left", 1.0), ("right", -1.0)):
        for end, sx in (("head", -1.0), ("foot", 1.0)):
            found[f"side-{side}-{end}"] = _at({"side_mouth": sx / 2}, {"width": sy / 2}, nose)
    for side, sy in (("left", 1.0), ("right", -1.0)):
        for i in (1, 2, 3, 5, 6, 7):
            found[f"sight-{side}-{i}"] = _at({"length": i / 8 - 0.5}, {"width": sy / 2, "sights": sy}, top)
    for end, sx in (("head", -1.0), ("foot", 1.0)):
        for i in (1, 2, 3):
            found[f"sight-{end}-{i}"] = _at({"length": sx / 2, "sights": sx}, {"width": (2 - i) / 4}, top)
    for name, part in (("head", -0.25), ("centre", 0.0), ("foot", 0.25)):
        found[f"spot-{name}"] = _at({"length": part, f"{name}_spot_x": 1.0}, {f"{name}_spot_y": 1.0}, {})
    return found


NAMED: dict[str, Array] = _named()
"""By name the matrix (3, len(MEASURES)) that gives a point's place from the table's measures."""

SIGHTS = tuple(name for name in NAMED if name.startswith("sight-"))

RAIL_OF = {
    name: next(
        rail
        for rail, tests in {
            "left": ("sight-left", "side-left", "-left-long"),
            "right": ("sight-right", "side-right", "-right-long"),
            "foot": ("sight-foot", "foot-left-short", "foot-right-short"),
            "head": ("sight-head", "head-left-short", "head-right-short"),
        }.items()
        if any(test in name for test in tests)
    )
    for name in NAMED
    if not name.startswith("spot")
}
"""The rail that a point lies along: left, right, foot or head; spots lie along none."""


def half_turned(name: str) -> str:
    """The point that stands in a point's place once the table is turned by half a turn.

    >>> half_turned("sight-left-3"), half_turned("foot-left-long"), half_turned("sight-head-1")
    ('sight-right-5', 'head-right-long', 'sight-foot-3')
    """
    other = {"left": "right", "right": "left", "head": "foot", "foot": "head"}
    kind, *parts = (other.get(part, part) for part in name.split("-"))
    if kind == "sight":
        parts[1] = str((8 if parts[0] in ("left", "right") else 4) - int(parts[1]))
    return "-".join([kind, *parts])


def noses(places: int) -> dict[str, Array]:
    """The six noses, each by so many evenly spaced places between its points, as matrices (places, 3,
    measures).
    """
    ends = {
        f"{side}-{end}": (f"side-{side}-{end}", f"{end}-{side}-long")
        for side in ("left", "right")
        for end in ("head", "foot")
    } | {end: (f"{end}-left-short", f"{end}-right-short") for end in ("head", "foot")}
    along = np.linspace(0.0, 1.0, places)[:, None, None]
    return {name: (1 - along) * NAMED[a] + along * NAMED[b] for name, (a, b) in ends.items()}


def backs(places: int) -> dict[str, Array]:
    """The six lines behind the noses along which cloth meets wood, each by so many places, as matrices like those
    of noses.
    """
    outward = {"left": (0, 1), "right": (0, -1), "foot": (1, 0), "head": (-1, 0)}
    behind = MEASURES.index("cushion")
    made: dict[str, Array] = {}
    for name, nose in noses(places).items():
        back = nose.copy()
        back[:, :2, behind] = outward[name.partition("-")[0]]
        back[:, 2] = np.arange(len(MEASURES)) == MEASURES.index("rail_top")
        made[name] = back
    return made


def cushion_corners() -> dict[str, Array]:
    """The corners of cloth and cushions together, where cloth meets wood, as matrices like those of NAMED."""
    return {
        f"{end}-{side}": _at(
            {"length": sx / 2, "cushion": sx}, {"width": sy / 2, "cushion": sy}, {"rail_top": 1.0}
        )
        for end, sx in (("foot", 1.0), ("head", -1.0))
        for side, sy in (("left", 1.0), ("right", -1.0))
    }


def places_mm(names: tuple[str, ...], measures_mm: Array) -> Array:
    """Places (..., N, 3) of named points on a table with measures (..., len(MEASURES)).

    >>> measures = np.array([2540.0, 1270, 116, 129, 36, 41, 93.66, 51] + [0.0] * 6)
    >>> places_mm(("sight-left-2", "spot-foot"), measures).tolist()
    [[-635.0, 728.66, 41.0], [635.0, 0.0, 0.0]]
    """
    return np.einsum("nij,...j->...ni", np.stack([NAMED[name] for name in names]), measures_mm)
