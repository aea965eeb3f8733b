"""Where shots go on a table: one object-ball spot from which every wanted cut, side and distance can be set.

A spot serves when the object ball's straight way to the middle of the pocket's mouth touches neither point, and
when the object ball, every ghost ball and every cue ball lie clear of the cushions and of the corner mouths.
Seen from a spot, the cue balls of one cut lie on a ray back from the ghost ball, so each cut has a longest
distance there: the search asks only whether it is long enough.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache, reduce
from typing import Any

import numpy as np

from aimgeo.pocket import is_in_mouth
from aimgeo.shot import BALL_DIAMETER_MM
from aimgeo.tables import POCKET_NAMES, TABLES, Pocket, Table
from aimgeo.vectors import Array, ArrayLike, BoolArray, angle_rad, dot, length, turned, unit

CUSHION_GAP_BALLS = 0.1
"""Least air between a ball and a cushion or the line of a corner mouth, in ball diameters."""
FINE_STEP_MM = 10.0
_TOLERANCE_MM = 1e-6


@dataclass(frozen=True, slots=True)
class Unset:
    """A combination that cannot be set at the spot found: signed cut, distance, and the longest that would fit.

    `longest_mm` is 0 where no distance fits: the ghost ball itself would lie in a cushion.
    """

    cut_rad: float
    distance_mm: float
    longest_mm: float


@dataclass(frozen=True, slots=True)
class Setup:
    """The spot found, and what cannot be set from it.

    With `unset` empty everything fits. Otherwise `object_ball_mm` is the spot that needs the least shortening
    in all, and every combination fits there once it is no longer than its `longest_mm`; `pockets` and `tables`
    name the others at which everything fits as it is, and `other_spot_mm` does so when the spot was given.
    `object_ball_mm` is None where no spot (or not the given one) serves the pocket at all.
    """

    object_ball_mm: tuple[float, float] | None
    unset: tuple[Unset, ...] = ()
    pockets: tuple[str, ...] = ()
    tables: tuple[str, ...] = ()
    other_spot_mm: tuple[float, float] | None = None

    @property
    def fits(self) -> bool:
        """True when every combination can be set."""
        return self.object_ball_mm is not None and not self.unset


def find_spot(
    table: Table,
    pocket_name: str,
    shots: Sequence[tuple[float, float]],
    ball_diameter_mm: float = BALL_DIAMETER_MM,
    spot_mm: tuple[float, float] | None = None,
) -> Setup:
    """The spot for shots of (signed cut in radians, centre distance in mm), or the given spot judged.

    Spots at quarters of a sight's spacing come first, the straightest, roundest and most natural of those that
    fit; then a grid of 10 mm. The same question always has the same answer.

    >>> from aimgeo.tables import TABLES
    >>> find_spot(TABLES["9ft"], "foot-left", [(0.5, 800.0), (-0.5, 800.0)]).object_ball_mm
    (635.0, 317.5)
    """
    return _found(table, pocket_name, tuple(shots), ball_diameter_mm, spot_mm)


@lru_cache(maxsize=32)
def _found(
    table: Table,
    pocket_name: str,
    shots: tuple[tuple[float, float], ...],
    d: float,
    spot_mm: tuple[float, float] | None,
) -> Setup:
    """As `find_spot`. Kept: a lesson of which only words have changed asks the same again."""
    needs = _needs(shots)
    spot = _natural_spot(table, pocket_name, needs, d, spot_mm)
    if spot is not None:
        return Setup(spot)
    nearest, unset = _least_shortened(table, table.pocket(pocket_name), shots, d, spot_mm)
    others = (t for t in TABLES.values() if t.length_mm > table.length_mm and t.ball_mm == table.ball_mm)
    return Setup(
        nearest,
        unset,
        tuple(n for n in POCKET_NAMES if n != pocket_name and _natural_spot(table, n, needs, d, spot_mm)),
        tuple(t.name for t in sorted(others, key=_length) if _natural_spot(t, pocket_name, needs, d)),
        _natural_spot(table, pocket_name, needs, d) if spot_mm is not None else None,
    )


def find_given(
    table: Table,
    target: Pocket,
    shots: Sequence[tuple[float, float]],
    ball_diameter_mm: float,
    spot_mm: tuple[float, float],
) -> Setup:
    """A given spot judged for shots at a target: balls may touch cushions here, as a frozen ball does."""
    spot, d = np.array([spot_mm], float), ball_diameter_mm
    if not (is_clear(table, spot, d, 0.0)[0] and accepts(target, spot, d)[0]):
        return Setup(None)
    cuts = [cut for cut, _ in shots]
    longest = longest_distances(table, target, spot, cuts, d, 0.0)[0].tolist()
    short = ((cut, mm, fits) for (cut, mm), fits in zip(shots, longest, strict=True) if mm > fits + _TOLERANCE_MM)
    return Setup(_plain(spot[0]), tuple(Unset(*one) for one in short))


def allowed_target(
    table: Table, spot_mm: tuple[float, float], target_mm: tuple[float, float], ball_diameter_mm: float
) -> tuple[float, float]:
    """The target of a ball near a cushion: where the ghost ball would lie in it, the way along it instead.

    >>> allowed_target(TABLES["9ft"], (600.0, 606.425), (1229.0, 594.0), 57.15)
    (1229.0, 606.425)
    """
    O, T = np.array(spot_mm, float), np.array(target_mm, float)
    G = O - ball_diameter_mm * unit(T - O)
    room = np.array([table.length_mm, table.width_mm]) / 2 - ball_diameter_mm / 2
    inside = np.abs(G) > room + _TOLERANCE_MM
    x, y = np.where(inside, O, T).tolist()
    return (x, y)


def is_frozen(table: Table, spot_mm: tuple[float, float], ball_diameter_mm: float) -> bool:
    """True for a spot nearer to a cushion than where balls are usually put, with the ball on the bed."""
    spot = np.array(spot_mm, float)
    is_usual = bool(is_clear(table, spot, ball_diameter_mm))
    return not is_usual and bool(is_clear(table, spot, ball_diameter_mm, 0.0))


def accepts(pocket: Pocket, object_ball: ArrayLike, ball_diameter_mm: float = BALL_DIAMETER_MM) -> BoolArray:
    """True where the straight way from (..., 2) to the middle of the mouth touches neither point, (...).

    >>> accepts(TABLES["9ft"].pocket("side-left"), [[0.0, 0.0], [900.0, 500.0]]).tolist()
    [True, False]
    """
    way = unit(np.asarray(pocket.centre_mm) - np.asarray(object_ball, float))
    if not np.isfinite(pocket.mouth_mm):  # a place of the bed takes every ball
        return np.asarray(np.isfinite(way).all(axis=-1))
    return np.asarray(pocket.mouth_mm * dot(way, pocket.outward) > ball_diameter_mm)


def longest_distances(
    table: Table,
    pocket: Pocket,
    object_ball: ArrayLike,
    cuts_rad: ArrayLike,
    ball_diameter_mm: float = BALL_DIAMETER_MM,
    gap_balls: float = CUSHION_GAP_BALLS,
) -> Array:
    """The longest centre distance of every signed cut (m) at every spot (n, 2): (n, m), 0 where none fits.

    >>> table = TABLES["9ft"]
    >>> longest_distances(table, table.pocket("side-left"), [[0.0, 0.0]], [0.0]).round(2).tolist()
    [[600.71]]
    """
    O, cuts, d = np.asarray(object_ball, float), np.asarray(cuts_rad, float), ball_diameter_mm
    u = unit(np.asarray(pocket.centre_mm) - O)[:, None, :]
    a = turned(u, -cuts)
    normals, halves = _strips(table, d, gap_balls)
    G = (O[:, None, :] - d * u) @ normals.T
    speed = a @ normals.T
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        # back from G along -a to the first border; a border that runs along the ray is never met
        to_border = np.where(speed == 0, np.inf, (halves + np.sign(speed) * G) / np.abs(speed))
        is_ghost_inside = _over_strips(np.logical_and, np.abs(G) <= halves + _TOLERANCE_MM)
        q = np.where(is_ghost_inside, _over_strips(np.minimum, to_border), np.nan)
        return np.nan_to_num(np.sqrt(d * d + q * q + 2 * d * q * np.cos(cuts)))


def _needs(shots: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Each signed cut with its longest wanted distance, the most demanding first: shorter ones then fit too."""
    longest: dict[float, float] = {}
    for cut, distance in shots:
        longest[cut] = max(distance, longest.get(cut, 0.0))
    return sorted(longest.items(), key=lambda need: (-need[1], need[0]))


def _natural_spot(
    table: Table,
    pocket_name: str,
    needs: Sequence[tuple[float, float]],
    d: float,
    spot_mm: tuple[float, float] | None = None,
) -> tuple[float, float] | None:
    """The most natural spot at which all needs fit; None when there is none."""
    pocket = table.pocket(pocket_name)
    for spots in (_served(table, pocket, step, d, spot_mm) for step in _steps(table, spot_mm)):
        # the most demanding one leaves few spots to ask about the others
        for some in (needs[:1], needs[1:]):
            cuts, distances = np.array(some, float).reshape(-1, 2).T
            longest = longest_distances(table, pocket, spots, cuts, d)
            spots = spots[(longest >= distances - _TOLERANCE_MM).all(axis=-1)]
            if not len(spots):
                break
        if len(spots):
            cuts, distances = np.array(needs, float).reshape(-1, 2).T
            spare = longest_distances(table, pocket, spots, cuts, d) - distances
            return _plain(spots[np.argmin(_cost(table, pocket, spots, spare.min(axis=-1, initial=np.inf)))])
    return None


def _least_shortened(
    table: Table,
    pocket: Pocket,
    shots: Sequence[tuple[float, float]],
    d: float,
    spot_mm: tuple[float, float] | None,
) -> tuple[tuple[float, float] | None, tuple[Unset, ...]]:
    """The spot that needs the least shortening in all, to the millimetre, and what must be shortened there."""
    cuts, which = np.unique([cut for cut, _ in shots], return_inverse=True)
    spots = _served(table, pocket, _steps(table, spot_mm)[-1], d, spot_mm)
    if not len(spots):
        return None, ()
    longest = longest_distances(table, pocket, spots, cuts, d)[:, which]
    short = np.maximum(np.array([distance for _, distance in shots]) - longest, 0.0)
    best = int(np.argmin(short.sum(axis=-1).round()))
    at_best = zip(shots, longest[best].tolist(), strict=True)
    unset = (Unset(cut, distance, fits) for (cut, distance), fits in at_best if distance > fits + _TOLERANCE_MM)
    return _plain(spots[best]), tuple(unset)


@lru_cache(maxsize=32)
def _served(
    table: Table, pocket: Pocket, step_mm: float, d: float, spot_mm: tuple[float, float] | None = None
) -> Array:
    """The spots (n, 2), read-only, on which an object ball may lie and from which the pocket accepts it: of a
    grid, or the given one alone. Kept: all that is asked of a table, time and again, begins with them."""
    spots = _grid(table, step_mm) if spot_mm is None else np.array([spot_mm], float)
    spots = spots[is_clear(table, spots, d) & accepts(pocket, spots, d)]
    spots.flags.writeable = False
    return spots


def _plain(spot: Array) -> tuple[float, float]:
    x, y = spot.round(6).tolist()
    return (x, y)


def _length(table: Table) -> float:
    return table.length_mm


def _cost(table: Table, pocket: Pocket, spots: Array, spare_mm: Array) -> Array:
    """How far a spot is from a natural one: crooked to the pocket, too near or far, tight, not round, (n).

    Natural, by common practice: within some degrees of straight into the mouth, two to three sights out, with
    a sight's spacing to spare behind the farthest cue ball. Each is about 1 when it begins to disturb; a
    tight cue ball counts twice, since the cue must then be raised over the cushion.
    """
    sight = table.length_mm / 8
    way = np.asarray(pocket.centre_mm) - spots
    crooked = np.abs(angle_rad(way, pocket.outward)) / np.radians(20)
    away = np.abs(length(way) / sight - 2.5)
    tight = np.maximum(0.0, 1 - spare_mm / sight)
    off_halves, off_wholes = (
        np.any(np.abs(spots / step - np.round(spots / step)) > 1e-6, axis=-1) for step in (sight / 2, sight)
    )
    # rounded, so that mirrored spots tie exactly and the first one is taken on every machine
    return np.round(crooked + away + 2 * tight + 0.3 * off_halves + 0.3 * off_wholes, 6)


def _steps(table: Table, spot_mm: tuple[float, float] | None) -> tuple[float, ...]:
    """How fine to look, in this order: the given spot alone, or quarters of a sight's spacing and then 10 mm."""
    return (0.0,) if spot_mm is not None else (table.length_mm / 32, FINE_STEP_MM)


def _grid(table: Table, step: float) -> Array:
    x, y = (
        step * np.arange(-n, n + 1) for n in (int(size / 2 / step) for size in (table.length_mm, table.width_mm))
    )
    return np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)


def _strips(table: Table, d: float, gap_balls: float = CUSHION_GAP_BALLS) -> tuple[Array, Array]:
    """Where a ball's centre may lie: |normal . p| <= half for four strips, normals (4, 2) and halves (4).

    Along and across the table, and across both diagonals, which keeps balls out of the corner mouths.
    """
    r = np.sqrt(0.5)
    normals = np.array([[1.0, 0.0], [0.0, 1.0], [r, r], [r, -r]])
    L, W = table.length_mm / 2, table.width_mm / 2
    corner = (L + W) * r - table.corner_mouth_mm / 2
    return normals, np.array([L, W, corner, corner]) - (0.5 + gap_balls) * d


def _over_strips(combine: np.ufunc, each: Array | BoolArray) -> Any:
    """What comes of the four strips (..., 4) together: one by one, several times as quick as numpy's own."""
    return reduce(combine, (each[..., k] for k in range(4)))


def is_clear(table: Table, p: Array, d: float, gap_balls: float = CUSHION_GAP_BALLS) -> BoolArray:
    """True where a ball at (..., 2) lies clear of the cushions and of all mouths, (...).

    With a gap of 0 it may touch a cushion, but not the line between a pocket's points: it would lie in the mouth.
    """
    normals, halves = _strips(table, d, gap_balls)
    on_bed = _over_strips(np.logical_and, np.abs(p @ normals.T) <= halves + _TOLERANCE_MM)
    if gap_balls * d > _TOLERANCE_MM:  # then the strips keep it off the mouths too
        return np.asarray(on_bed)
    in_mouth = [is_in_mouth(p, *pocket.points_mm, d / 2 + _TOLERANCE_MM) for pocket in table.pockets()]
    return np.asarray(on_bed & ~np.any(in_mouth, axis=0))
