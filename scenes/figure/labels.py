"""Where labels go: each finds a place of its own that covers nothing. Pure geometry in pixels, no Manim.

A label is a plate with, mostly, a leader to what it names. Candidates are laid out around what is named; those
that cover a ball, a line, a mark, a text or another label, or whose leader crosses a line, are thrown away; the
cheapest that is left wins. Everything that will ever be drawn is an obstacle from the start, so that no label has
to move later.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from aimgeo.vectors import Array, IntArray
from scenes.board import Pixel, Rect

Points = tuple[Pixel, ...]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Disc:
    """A ball (or a mark) as an obstacle. A ghost ball may be crossed by a leader, a solid one only at a price."""

    at_px: Pixel
    radius_px: float
    is_solid: bool = True
    name: str = ""


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight line as an obstacle: `name` is what it belongs to."""

    name: str
    start_px: Pixel
    end_px: Pixel
    half_width_px: float


@dataclass(frozen=True, slots=True)
class Obstacles:
    """Everything in the picture that a label keeps clear of."""

    balls: tuple[Disc, ...] = ()
    marks: tuple[Disc, ...] = ()
    strokes: tuple[Stroke, ...] = ()
    rects: tuple[Rect, ...] = ()


NOTHING = Obstacles()


def merged(parts: Sequence[Obstacles]) -> Obstacles:
    """Several pictures' obstacles as one."""
    return Obstacles(
        tuple(ball for part in parts for ball in part.balls),
        tuple(mark for part in parts for mark in part.marks),
        tuple(stroke for part in parts for stroke in part.strokes),
        tuple(rect for part in parts for rect in part.rects),
    )


@dataclass(frozen=True, slots=True)
class Port:
    """A place where a leader may end: it arrives from `side` (-1 left, +1 right), or from above or below it.

    `lift`: -1 when the leader's last leg comes down from above, +1 from below, 0 when it is one level line.
    """

    at_px: Pixel
    side: int
    lift: int = 0
    cost: float = 0.0


@dataclass(frozen=True, slots=True)
class Wanted:
    """A label that seeks its place. `name` is what it names; `around` a ball beside which it may stand unled.

    One that `insists` has a leader, and stands on the side that it prefers if there is any place. One that
    `keeps_side` stands on no other, with a leader or close by. The leader of one that `is_straight` may come
    straight from above or below, without a corner.
    """

    id: str
    name: str
    text: str
    width_px: float
    height_px: float
    ports: tuple[Port, ...] = ()
    around: Disc | None = None
    near_px: Pixel | None = None
    prefer: int = 1
    sample: str | None = None
    second: str = ""
    is_point: bool = False
    insists: bool = False
    keeps_side: bool = False
    is_straight: bool = False

    @property
    def other_side(self) -> float:
        """What it costs to stand on the other side."""
        return INSISTS if self.insists else NOT_PREFERRED


@dataclass(frozen=True, slots=True)
class Placed:
    """A label in its place, with the corners of its leader from the plate to what it names (or none)."""

    wanted: Wanted
    rect_px: Rect
    leader_px: Points = ()

    @property
    def is_on_its_side(self) -> bool:
        """False for a label that insists on a side, and stands on the other one of what it names."""
        want, (x, _, w, _) = self.wanted, self.rect_px
        return not want.insists or want.near_px is None or (x + w / 2 - want.near_px[0]) * want.prefer > 0


@dataclass(frozen=True, slots=True)
class Spacing:
    """Least distances in px."""

    gap: float = 10.0
    ball_gap: float = 28.0
    leader_gap: float = 8.0
    leader: tuple[float, ...] = (26, 44, 64, 90, 120, 155, 195, 240, 300, 370, 450)
    lift: tuple[float, ...] = (30, 54, 84, 120, 165, 220)

    def scaled(self, k: float) -> Spacing:
        """The same for a frame of another size."""
        return Spacing(
            self.gap * k,
            self.ball_gap * k,
            self.leader_gap * k,
            tuple(v * k for v in self.leader),
            tuple(v * k for v in self.lift),
        )


@dataclass(frozen=True, slots=True)
class _Candidates:
    """Places that a label may take, one a row.

    `rects` (n, 4): x, y, width, height of the plate. `corners` (n, 3, 2): of the leader, from the plate to what it
    names; a straight one has its end twice, and nan stands for none. `costs` (n,). `order`: the rows that may be
    looked at, the cheapest first.
    """

    rects: Array
    corners: Array
    costs: Array
    order: IntArray | None = None

    def leader(self, row: int) -> Points:
        """The corners of a row's leader, each once."""
        points = [(x, y) for x, y in self.corners[row].tolist() if x == x]
        return tuple(points[:2]) if points[1:] and points[1] == points[2] else tuple(points)


NOT_PREFERRED, INSISTS = 60.0, 600.0
ELBOW = 25.0
STRAIGHT_AT = (0.5, 0.12, 0.88)
"""Where along its plate's edge a straight leader may begin."""
UNLED = 160.0
OVER_BALL = 220.0
OVER_GHOST = 25.0
OUT_OF_ZONE = 140.0
IN_THE_WAY = 90.0
APART = 5.0
"""A label without a leader stands at most so many of its heights from what it names."""
CHUNK, GROWTH = 256, 4
"""So many places are looked at first, and so many times as many each time after."""


def place(
    wanted: Wanted,
    obstacles: Obstacles,
    zones: Sequence[Rect],
    placed: Sequence[Placed],
    spacing: Spacing,
    later: Obstacles = NOTHING,
) -> Placed | None:
    """The best place for one label among those already placed; None when there is none.

    `zones`: where it may stand, the best first; each later one costs more. `later`: what will come; to be in its
    way is allowed at a price, since the label can give way then.
    """
    return _placed(wanted, obstacles, tuple(zones), tuple(placed), spacing, later)


@lru_cache(maxsize=512)
def _placed(
    wanted: Wanted,
    obstacles: Obstacles,
    zones: tuple[Rect, ...],
    placed: tuple[Placed, ...],
    spacing: Spacing,
    later: Obstacles,
) -> Placed | None:
    """As `place`. Kept: a picture of which only other things have changed finds its labels at once."""
    found = _candidates(wanted, spacing, zones)
    best, cost = _cheapest(found, wanted, obstacles, placed, spacing, later)
    if wanted.near_px is not None and not wanted.insists and cost > UNLED:
        unled = _ordered(_anywhere(wanted, wanted.near_px, zones[-1]), wanted, zones)
        other, other_cost = _cheapest(unled, wanted, obstacles, placed, spacing, later)
        if other_cost < cost:
            found, best, cost = unled, other, other_cost
    if not np.isfinite(cost):
        return None
    x, y, w, h = found.rects[best].tolist()
    return Placed(wanted, (x, y, w, h), found.leader(best))


def _cheapest(
    found: _Candidates,
    wanted: Wanted,
    obstacles: Obstacles,
    placed: Sequence[Placed],
    spacing: Spacing,
    later: Obstacles,
) -> tuple[int, float]:
    """The best of some candidates and its cost, infinite when none is free.

    The cheapest are looked at first, and none that costs more than what is found by then.
    """
    rects, costs = found.rects, found.costs
    assert found.order is not None
    walls, bars = _walls(obstacles, placed, spacing), _bars(wanted, obstacles, placed, spacing)
    later_walls, later_bars = _walls(later, (), spacing), _bars(wanted, later, (), spacing)
    best = (np.inf, np.inf, 0)
    for chunk in chunks(found.order):
        if costs[chunk[0]] > best[0]:
            break
        chunk = chunk[~_covers(rects[chunk], walls)]
        if len(chunk):
            chunk = chunk[~_crosses(found.corners[chunk], bars)]
        if not len(chunk):
            continue
        corners = found.corners[chunk]
        base = costs[chunk] + IN_THE_WAY * _covers(rects[chunk], later_walls)
        extra = _over_balls(corners, wanted.name, obstacles.balls)
        extra += IN_THE_WAY * _crosses(corners, later_bars)
        total = base + extra
        least = np.lexsort((chunk, base, total))[0]
        best = min(best, (float(total[least]), float(base[least]), int(chunk[least])))
    return best[2], best[0]


def chunks(order: IntArray) -> Iterator[IntArray]:
    """What is looked at one after the other, first a few and then ever more at a time."""
    start, count = 0, CHUNK
    while start < len(order):
        yield order[start : start + count]
        start, count = start + count, GROWTH * count


def is_clear(rect: Rect, obstacles: Obstacles, spacing: Spacing) -> bool:
    """True when a rectangle covers nothing."""
    return bool(are_clear(np.array([rect]), obstacles, spacing)[0])


def are_clear(rects: Array, obstacles: Obstacles, spacing: Spacing) -> Flags:
    """Which rectangles (n, 4) cover nothing."""
    return are_free(rects, walls(obstacles, spacing))


def are_free(rects: Array, kept: Walls) -> Flags:
    """Which rectangles (n, 4) cover none of these."""
    return ~_covers(rects, kept)


def walls(obstacles: Obstacles, spacing: Spacing) -> Walls:
    """What no plate may cover, for many questions."""
    return _walls(obstacles, (), spacing)


def is_in_the_way(placed: Placed, obstacles: Obstacles, spacing: Spacing) -> bool:
    """True when a label that stands already covers one of these, or its leader crosses one."""
    rects = np.array([placed.rect_px])
    return bool(
        _covers(rects, _walls(obstacles, (), spacing))[0]
        or _crosses(_corners([placed.leader_px]), _bars(placed.wanted, obstacles, (), spacing))[0]
    )


# ------------------------------------------------------------------ candidates


@lru_cache(maxsize=32)
def _candidates(wanted: Wanted, spacing: Spacing, zones: tuple[Rect, ...]) -> _Candidates:
    parts = [_led(wanted, spacing)] if wanted.ports else []
    if wanted.is_straight:
        parts += [_over(wanted, port, spacing) for port in wanted.ports if port.lift]
    if wanted.around is not None:
        parts.append(_beside(wanted, wanted.around, spacing))
    found = _Candidates(
        np.concatenate([np.zeros((0, 4)), *(part.rects for part in parts)]),
        np.concatenate([np.zeros((0, 3, 2)), *(part.corners for part in parts)]),
        np.concatenate([np.zeros(0), *(part.costs for part in parts)]),
    )
    return _ordered(found, wanted, zones)


def _ordered(found: _Candidates, wanted: Wanted, zones: Sequence[Rect]) -> _Candidates:
    """With an order of those that stand in a zone, and on their side where that must be, and what a zone costs."""
    rects = found.rects
    costs = found.costs + OUT_OF_ZONE * ~_inside(rects, zones[0])
    is_in = np.any([_inside(rects, zone) for zone in zones], axis=0)
    if wanted.keeps_side and wanted.near_px is not None:
        is_in &= (rects[:, 0] + rects[:, 2] / 2 - wanted.near_px[0]) * wanted.prefer > 0
    order = np.flatnonzero(is_in)
    return replace(found, costs=costs, order=order[np.argsort(costs[order], kind="stable")])


def _unled(rects: Array, costs: Array) -> _Candidates:
    return _Candidates(rects, np.full((len(rects), 3, 2), np.nan), costs)


def _led(wanted: Wanted, spacing: Spacing) -> _Candidates:
    """Plates at the ends of the ports' leaders: level ones, or such with a corner above or below the port."""
    w, h = wanted.width_px, wanted.height_px
    ways = [_ways(spacing, 0 if port.lift else port.side) for port in wanted.ports]
    told = [(*port.at_px, port.lift, port.cost + (ELBOW if port.lift else 0.0)) for port in wanted.ports]
    x, y, lift, cost = np.repeat(np.array(told, float), [len(way) for way in ways], axis=0).T
    rise, side, length = np.concatenate(ways).T
    edge, level = x + side * length, y + lift * rise
    costs = cost + 100.0 * (length + rise) / spacing.leader[-1]
    costs += (side != wanted.prefer) * wanted.other_side
    sizes = np.full_like(edge, w), np.full_like(edge, h)
    rects = np.stack([np.where(side > 0, edge, edge - w), level - h / 2, *sizes], axis=1)
    corners = np.stack([edge, level, x, level, x, y], axis=1).reshape(-1, 3, 2)
    return _Candidates(rects, corners, costs)


@lru_cache(maxsize=64)
def _ways(spacing: Spacing, side: int) -> Array:
    """How far leaders rise, to which side they go and how far, a row (3) each: level to a side, or (0) with a
    corner to either."""
    rises, sides = ((0.0,), (side,)) if side else (spacing.lift, (-1, 1))
    axes = np.meshgrid(rises, sides, spacing.leader, indexing="ij")
    return np.stack([axis.ravel() for axis in axes], axis=1)


def _over(wanted: Wanted, port: Port, spacing: Spacing) -> _Candidates:
    """Plates right above or below a port, with a straight leader that meets them anywhere along their edge."""
    w, h = wanted.width_px, wanted.height_px
    (x, y), lift = port.at_px, port.lift
    rises = np.arange(spacing.leader[0], spacing.leader[-1], spacing.gap / 2)
    share, rise = (axis.ravel() for axis in np.meshgrid(STRAIGHT_AT, rises, indexing="ij"))
    edge = y + lift * rise
    costs = port.cost + 100.0 * rise / spacing.leader[-1] + 20.0 * np.abs(share - 0.5)
    sizes = np.full_like(edge, w), np.full_like(edge, h)
    rects = np.stack([x - share * w, np.where(lift > 0, edge, edge - h), *sizes], axis=1)
    xs, ys = np.full_like(edge, x), np.full_like(edge, y)
    corners = np.stack([xs, edge, xs, ys, xs, ys], axis=1).reshape(-1, 3, 2)
    return _Candidates(rects, corners, costs)


def _beside(wanted: Wanted, ball: Disc, spacing: Spacing) -> _Candidates:
    """Plates a fixed gap off the ball's edge, level with it or somewhat above or below; then over and under it."""
    w, h = wanted.width_px, wanted.height_px
    (cx, cy), r = ball.at_px, ball.radius_px
    rects: list[Rect] = []
    costs: list[float] = []
    for factor, further in ((1.0, 0.0), (1.7, 30.0), (2.6, 60.0)):
        reach = r + spacing.ball_gap * factor
        for shift in np.linspace(-1.25, 1.25, 21).tolist():
            y = cy + shift * r
            off = max(abs(y - cy) - h / 2, 0.0)
            if off >= reach:
                continue
            dx = float(np.sqrt(reach * reach - off * off))
            cost = further + 40 * abs(shift)
            for side in (-1, 1):
                x = cx + side * dx
                rects.append((x if side > 0 else x - w, y - h / 2, w, h))
                costs.append(cost + (side != wanted.prefer) * wanted.other_side)
        for above in (-1, 1):
            y = cy + above * (reach + h / 2)
            for shift in (-0.8, -0.4, 0.0, 0.4, 0.8):
                rects.append((cx + shift * w - w / 2, y - h / 2, w, h))
                costs.append(further + 90 + 20 * abs(shift))
    return _unled(np.array(rects), np.array(costs))


def _anywhere(wanted: Wanted, near: Pixel, zone: Rect) -> _Candidates:
    """Places around a point without a leader: the plate's sample, or nearness, must do; the nearer the better."""
    w, h = wanted.width_px, wanted.height_px
    ys = np.arange(near[1] - APART * h, near[1] + (APART - 1) * h + 1, h / 3)
    xs = np.arange(near[0] - w - APART * h, near[0] + APART * h + 1, h / 3)
    y, x = (axis.ravel() for axis in np.meshgrid(ys, xs, indexing="ij"))
    gap = np.hypot(
        np.maximum(np.maximum(x - near[0], near[0] - x - w), 0),
        np.maximum(np.maximum(y - near[1], near[1] - y - h), 0),
    )
    x, y, gap = x[gap < APART * h], y[gap < APART * h], gap[gap < APART * h]
    kept = np.minimum(np.maximum(x, zone[0]), zone[0] + zone[2] - w)
    rects = np.stack([kept, y, np.full_like(x, w), np.full_like(x, h)], axis=1)
    return _unled(rects, UNLED + 48 * gap / h)


# ------------------------------------------------------------------ tests of many rectangles at once


def _inside(rects: Array, zone: Rect) -> Flags:
    x, y, w, h = zone
    e = 1e-6
    return (
        (rects[:, 0] >= x - e)
        & (rects[:, 1] >= y - e)
        & (rects[:, 0] + rects[:, 2] <= x + w + e)
        & (rects[:, 1] + rects[:, 3] <= y + h + e)
    )


def _on_discs(rects: Array, at: Array, radii: Array) -> Flags:
    """Which rectangle comes nearer to which point (m, 2) than its radius (m,), as (n, m)."""
    x, y, w, h = (column[:, None] for column in rects.T)
    dx = np.maximum(np.maximum(x - at[:, 0], at[:, 0] - x - w), 0)
    dy = np.maximum(np.maximum(y - at[:, 1], at[:, 1] - y - h), 0)
    hit = (dx < radii) & (dy < radii)
    row, column = np.nonzero(hit)
    hit[row, column] = np.hypot(dx[row, column], dy[row, column]) < radii[column]
    return np.asarray(hit)


def _on_rects(rects: Array, others: Array, margin: float) -> Flags:
    """Which rectangles (n,) come nearer than the margin to one of the others (m, 4)."""
    if not len(others):
        return np.zeros(len(rects), bool)
    x, y, w, h = (column[:, None] for column in rects.T)
    a, b, c, d = others.T
    hit = (x < a + c + margin) & (a - margin < x + w) & (y < b + d + margin) & (b - margin < y + h)
    return np.asarray(hit.any(axis=1))


def _on_strokes(rects: Array, ends: Array, margins: Array) -> Flags:
    """Which rectangles (n,), grown by the margins (m,), a segment (m, 2, 2) enters (slabs)."""
    if not len(ends):
        return np.zeros(len(rects), bool)
    start, step = ends[:, 0].T[:, None], (ends[:, 1] - ends[:, 0]).T[:, None]
    near, size = rects.T[:2, :, None], rects.T[2:, :, None]
    lo, hi = near - margins, near + size + margins
    is_flat = np.abs(step) < 1e-9
    slope = np.where(is_flat, 1.0, step)
    t0, t1 = (lo - start) / slope, (hi - start) / slope
    low, high = np.minimum(t0, t1), np.maximum(t0, t1)
    if is_flat.any():
        within = (start > lo) & (start < hi)
        low = np.where(is_flat, np.where(within, -np.inf, np.inf), low)
        high = np.where(is_flat, np.inf, high)
    first, last = np.maximum(np.maximum(*low), 0), np.minimum(np.minimum(*high), 1)
    return np.asarray((first < last).any(axis=1))


def _discs(found: Sequence[Disc]) -> tuple[Array, Array]:
    """Centres (m, 2) and radii (m,)."""
    rows = np.array([(*one.at_px, one.radius_px) for one in found], float).reshape(-1, 3)
    return rows[:, :2], rows[:, 2]


def _strokes(found: Sequence[Stroke]) -> tuple[Array, Array]:
    """Ends (m, 2, 2) and half widths (m,)."""
    rows = np.array([(*one.start_px, *one.end_px, one.half_width_px) for one in found], float).reshape(-1, 5)
    return rows[:, :4].reshape(-1, 2, 2), rows[:, 4]


@dataclass(frozen=True, slots=True, eq=False)
class Walls:
    """What a plate or a leader keeps clear of, as arrays: discs at (m, 2) with radii (m,), segments (s, 2, 2) with
    half their breadth (s,), each with its margin, and rectangles (r, 4) with one for all."""

    at: Array
    radii: Array
    ends: Array
    half_widths: Array
    rects: Array
    margin: float
    ends_anywhere: bool = False


def _walls(obstacles: Obstacles, placed: Sequence[Placed], spacing: Spacing) -> Walls:
    """What no plate may cover."""
    kept = _standing(obstacles, spacing)
    if not placed:
        return kept
    legs = [leg for other in placed for leg in zip(other.leader_px, other.leader_px[1:], strict=False)]
    ends = np.concatenate([kept.ends, np.array(legs, float).reshape(-1, 2, 2)])
    margins = np.concatenate([kept.half_widths, np.zeros(len(legs)) + spacing.gap])
    rects = np.concatenate([kept.rects, np.array([other.rect_px for other in placed])])
    return replace(kept, ends=ends, half_widths=margins, rects=rects)


@lru_cache(maxsize=32)
def _standing(obstacles: Obstacles, spacing: Spacing) -> Walls:
    """What no plate may cover, without other labels."""
    at, radii = _discs((*obstacles.balls, *obstacles.marks))
    gaps = np.repeat([spacing.gap, spacing.gap / 2], [len(obstacles.balls), len(obstacles.marks)])
    ends, half_widths = _strokes(obstacles.strokes)
    rects = np.array(obstacles.rects, float).reshape(-1, 4)
    return Walls(at, radii + gaps, ends, half_widths + spacing.gap, rects, spacing.gap)


def _bars(wanted: Wanted, obstacles: Obstacles, placed: Sequence[Placed], spacing: Spacing) -> Walls:
    """What a label's leader may not cross: a line or mark not its own, words, another label.

    A leader to a point may end at any mark there.
    """
    gap = spacing.leader_gap
    ends, half_widths = _strokes([one for one in obstacles.strokes if one.name != wanted.name])
    at, radii = _discs([one for one in obstacles.marks if one.name != wanted.name])
    others = (*obstacles.rects, *(other.rect_px for other in placed))
    led = [other.leader_px for other in placed if other.leader_px]
    rects = np.concatenate([np.array(others, float).reshape(-1, 4), _legs(_corners(led)).reshape(-1, 4)])
    may_end = wanted.is_point or wanted.sample is None
    return Walls(at, radii + gap / 2, ends, half_widths + gap / 2, rects, gap, may_end)


def _covers(rects: Array, walls: Walls) -> Flags:
    """Which plates (n,) cover, or come too near to, an obstacle or another label.

    What is quickly told goes first, and what it rules out is looked at no more.
    """
    left = np.flatnonzero(~_on_rects(rects, walls.rects, walls.margin))
    left = left[~_on_discs(rects[left], walls.at, walls.radii).any(axis=1)]
    if len(left):
        left = left[~_on_strokes(rects[left], walls.ends, walls.half_widths)]
    covers = np.ones(len(rects), bool)
    covers[left] = False
    return covers


def _crosses(corners: Array, bars: Walls) -> Flags:
    """Which leaders (n, 3, 2) cross what none may cross.

    Legs are level or upright, hence rectangles without breadth.
    """
    legs = np.concatenate([*_legs(corners).transpose(1, 0, 2)])
    hit = _on_discs(legs, bars.at, bars.radii)
    if bars.ends_anywhere and len(bars.at):
        is_beyond = bars.radii + bars.margin / 2 < np.hypot(*(corners[:, 2, None] - bars.at).T).T
        hit &= np.concatenate([is_beyond, is_beyond])
    bad = hit.any(axis=1) | _on_strokes(legs, bars.ends, bars.half_widths)
    bad |= _on_rects(legs, bars.rects, bars.margin)
    return np.asarray(bad[: len(corners)] | bad[len(corners) :])


def _over_balls(corners: Array, name: str, balls: Sequence[Disc]) -> Array:
    """What it costs each leader (n, 3, 2) to run over balls that it neither names nor ends in."""
    others = [ball for ball in balls if ball.name != name]
    if not others:
        return np.zeros(len(corners))
    at, radii = _discs(others)
    first, last = _legs(corners).transpose(1, 0, 2)
    over = _on_discs(first, at, radii) | _on_discs(last, at, radii)
    # what lies within the ball can be reached in no other way
    over &= 0.97 * radii < np.hypot(*(corners[:, 2, None] - at).T).T
    prices = np.array([OVER_BALL if ball.is_solid else OVER_GHOST for ball in others])
    return np.asarray((over * prices).sum(axis=1))


def _corners(leaders: Sequence[Points]) -> Array:
    """Leaders as corners (n, 3, 2): a straight one has its end twice, nan stands for none."""
    none: Points = ((np.nan, np.nan),) * 3
    return np.array([(*points, points[-1])[:3] if points else none for points in leaders], float).reshape(-1, 3, 2)


def _legs(corners: Array) -> Array:
    """The two legs of each leader as x, y, width, height (n, 2, 4); nan where there is no leader."""
    a, b = corners[:, :2], corners[:, 1:]
    return np.concatenate([np.minimum(a, b), np.abs(b - a)], axis=2)
