"""Where labels go: each finds a place of its own that covers nothing. Pure geometry in pixels, no Manim.

A label is a plate with, mostly, a leader to what it names. Candidates are laid out around what is named; those
that cover a ball, a line, a mark, a text or another label, or whose leader crosses a line, are thrown away; the
cheapest that is left wins. Everything that will ever be drawn is an obstacle from the start, so that no label has
to move later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from aimgeo.vectors import Array
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

    One that `insists` has a leader, and stands on the side that it prefers if there is any place.
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
    is_point: bool = False
    insists: bool = False

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


@dataclass(slots=True)
class _Candidates:
    rects: list[Rect] = field(default_factory=list)
    leaders: list[Points] = field(default_factory=list)
    costs: list[float] = field(default_factory=list)

    def add(self, rect: Rect, leader: Points, cost: float) -> None:
        self.rects.append(rect)
        self.leaders.append(leader)
        self.costs.append(cost)


NOT_PREFERRED, INSISTS = 60.0, 600.0
ELBOW = 25.0
UNLED = 160.0
OVER_BALL = 220.0
OVER_GHOST = 25.0
OUT_OF_ZONE = 140.0
IN_THE_WAY = 90.0
APART = 5.0
"""A label without a leader stands at most so many of its heights from what it names."""
CHUNK = 96


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
    found = _candidates(wanted, spacing)
    best, cost = _cheapest(found, wanted, obstacles, zones, placed, spacing, later)
    if wanted.near_px is not None and not wanted.insists and cost > UNLED:
        unled = _Candidates()
        _anywhere(wanted, wanted.near_px, zones[-1], unled)
        other, other_cost = _cheapest(unled, wanted, obstacles, zones, placed, spacing, later)
        if other_cost < cost:
            found, best, cost = unled, other, other_cost
    return Placed(wanted, found.rects[best], found.leaders[best]) if np.isfinite(cost) else None


def _cheapest(
    found: _Candidates,
    wanted: Wanted,
    obstacles: Obstacles,
    zones: Sequence[Rect],
    placed: Sequence[Placed],
    spacing: Spacing,
    later: Obstacles,
) -> tuple[int, float]:
    """The best of some candidates and its cost, infinite when none is free. The cheapest are looked at first."""
    if not found.rects:
        return 0, np.inf
    rects = np.array(found.rects)
    costs = np.array(found.costs)
    costs[~_inside(rects, zones[0])] += OUT_OF_ZONE
    costs[_covers(rects, later, (), spacing)] += IN_THE_WAY
    bad = ~np.any([_inside(rects, zone) for zone in zones], axis=0)
    bad |= _covers(rects, obstacles, placed, spacing)
    order = np.flatnonzero(~bad)
    order = order[np.argsort(costs[order], kind="stable")]
    best, best_cost = 0, np.inf
    for start in range(0, len(order), CHUNK):
        chunk = order[start : start + CHUNK]
        if costs[chunk[0]] >= best_cost:
            break
        leaders = [found.leaders[i] for i in chunk]
        crosses = _crosses(leaders, wanted, obstacles, placed, spacing)
        extra = _over_balls(leaders, wanted.name, obstacles.balls)
        extra += IN_THE_WAY * _crosses(leaders, wanted, later, (), spacing)
        total = np.where(crosses, np.inf, costs[chunk] + extra)
        if total.min() < best_cost:
            best, best_cost = int(chunk[int(np.argmin(total))]), float(total.min())
    return best, best_cost


def is_clear(rect: Rect, obstacles: Obstacles, spacing: Spacing) -> bool:
    """True when a rectangle covers nothing."""
    return not _covers(np.array([rect]), obstacles, (), spacing)[0]


def is_in_the_way(placed: Placed, obstacles: Obstacles, spacing: Spacing) -> bool:
    """True when a label that stands already covers one of these, or its leader crosses one."""
    rects = np.array([placed.rect_px])
    return bool(
        _covers(rects, obstacles, (), spacing)[0]
        or _crosses([placed.leader_px], placed.wanted, obstacles, (), spacing)[0]
    )


# ------------------------------------------------------------------ candidates


def _candidates(wanted: Wanted, spacing: Spacing) -> _Candidates:
    out = _Candidates()
    w, h = wanted.width_px, wanted.height_px
    for port in wanted.ports:
        x, y = port.at_px
        if port.lift == 0:
            for length in spacing.leader:
                edge = x + port.side * length
                cost = port.cost + _length_cost(length, spacing) + (port.side != wanted.prefer) * wanted.other_side
                out.add((edge if port.side > 0 else edge - w, y - h / 2, w, h), ((edge, y), (x, y)), cost)
            continue
        for rise in spacing.lift:
            corner = (x, y + port.lift * rise)
            for side in (-1, 1):
                for length in spacing.leader:
                    edge = x + side * length
                    cost = port.cost + ELBOW + _length_cost(length + rise, spacing)
                    cost += (side != wanted.prefer) * wanted.other_side
                    rect = (edge if side > 0 else edge - w, corner[1] - h / 2, w, h)
                    out.add(rect, ((edge, corner[1]), corner, (x, y)), cost)
    if wanted.around is not None:
        _beside(wanted, wanted.around, spacing, out)
    return out


def _beside(wanted: Wanted, ball: Disc, spacing: Spacing, out: _Candidates) -> None:
    """Plates a fixed gap off the ball's edge, level with it or somewhat above or below; then over and under it."""
    w, h = wanted.width_px, wanted.height_px
    (cx, cy), r = ball.at_px, ball.radius_px
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
                rect = (x if side > 0 else x - w, y - h / 2, w, h)
                out.add(rect, (), cost + (side != wanted.prefer) * wanted.other_side)
        for above in (-1, 1):
            y = cy + above * (reach + h / 2)
            for shift in (-0.8, -0.4, 0.0, 0.4, 0.8):
                out.add((cx + shift * w - w / 2, y - h / 2, w, h), (), further + 90 + 20 * abs(shift))


def _anywhere(wanted: Wanted, near: Pixel, zone: Rect, out: _Candidates) -> None:
    """Places around a point without a leader: the plate's sample, or nearness, must do; the nearer the better."""
    w, h = wanted.width_px, wanted.height_px
    for y in np.arange(near[1] - APART * h, near[1] + (APART - 1) * h + 1, h / 3).tolist():
        for x in np.arange(near[0] - w - APART * h, near[0] + APART * h + 1, h / 3).tolist():
            gap = np.hypot(max(x - near[0], near[0] - x - w, 0), max(y - near[1], near[1] - y - h, 0))
            if gap < APART * h:
                kept = min(max(x, zone[0]), zone[0] + zone[2] - w)
                out.add((kept, y, w, h), (), UNLED + 48 * float(gap) / h)


def _length_cost(length: float, spacing: Spacing) -> float:
    return 100.0 * length / spacing.leader[-1]


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


def _rect_disc(rects: Array, at: Pixel) -> Array:
    """Distance from a point to each rectangle."""
    dx = np.maximum(np.maximum(rects[:, 0] - at[0], at[0] - rects[:, 0] - rects[:, 2]), 0)
    dy = np.maximum(np.maximum(rects[:, 1] - at[1], at[1] - rects[:, 1] - rects[:, 3]), 0)
    return np.hypot(dx, dy)


def _rect_rect(rects: Array, other: Rect, margin: float) -> Flags:
    x, y, w, h = other
    return (
        (rects[:, 0] < x + w + margin)
        & (x - margin < rects[:, 0] + rects[:, 2])
        & (rects[:, 1] < y + h + margin)
        & (y - margin < rects[:, 1] + rects[:, 3])
    )


def _rect_stroke(rects: Array, a: Pixel, b: Pixel, margin: float) -> Flags:
    """True where the segment a-b enters the rectangle grown by the margin (slabs)."""
    low, high = np.zeros(len(rects)), np.ones(len(rects))
    hit: Flags = np.ones(len(rects), bool)
    for axis in (0, 1):
        lo, hi = rects[:, axis] - margin, rects[:, axis] + rects[:, axis + 2] + margin
        step = b[axis] - a[axis]
        if abs(step) < 1e-9:
            hit &= (a[axis] > lo) & (a[axis] < hi)
            continue
        t0, t1 = (lo - a[axis]) / step, (hi - a[axis]) / step
        low = np.maximum(low, np.minimum(t0, t1))
        high = np.minimum(high, np.maximum(t0, t1))
    return hit & (low < high)


def _covers(rects: Array, obstacles: Obstacles, placed: Sequence[Placed], spacing: Spacing) -> Flags:
    """Which plates (n,) cover, or come too near to, an obstacle or another label."""
    bad = np.zeros(len(rects), bool)
    for ball in obstacles.balls:
        bad |= _rect_disc(rects, ball.at_px) < ball.radius_px + spacing.gap
    for mark in obstacles.marks:
        bad |= _rect_disc(rects, mark.at_px) < mark.radius_px + spacing.gap / 2
    for stroke in obstacles.strokes:
        bad |= _rect_stroke(rects, stroke.start_px, stroke.end_px, stroke.half_width_px + spacing.gap)
    for rect in obstacles.rects:
        bad |= _rect_rect(rects, rect, spacing.gap)
    for other in placed:
        bad |= _rect_rect(rects, other.rect_px, spacing.gap)
        for a, b in zip(other.leader_px, other.leader_px[1:], strict=False):
            bad |= _rect_stroke(rects, a, b, spacing.gap)
    return bad


def _crosses(
    leaders: list[Points], wanted: Wanted, obstacles: Obstacles, placed: Sequence[Placed], spacing: Spacing
) -> Flags:
    """Which leaders (n,) cross what none may cross: a line or mark that is not their own, words, another label.

    Legs are level or upright, hence rectangles without breadth. A leader to a point may end at any mark there.
    """
    name = wanted.name
    bad = np.zeros(len(leaders), bool)
    ends = np.array([points[-1] if points else (np.nan, np.nan) for points in leaders]).reshape(-1, 2)
    for legs in (_leg_rects(leaders, 0), _leg_rects(leaders, 1)):
        for stroke in obstacles.strokes:
            if stroke.name != name:
                gap = stroke.half_width_px + spacing.leader_gap / 2
                bad |= _rect_stroke(legs, stroke.start_px, stroke.end_px, gap)
        for mark in obstacles.marks:
            if mark.name == name:
                continue
            hit = _rect_disc(legs, mark.at_px) < mark.radius_px + spacing.leader_gap / 2
            if wanted.is_point or wanted.sample is None:
                hit &= np.hypot(*(ends - mark.at_px).T) > mark.radius_px + spacing.leader_gap
            bad |= hit
        for rect in obstacles.rects:
            bad |= _rect_rect(legs, rect, spacing.leader_gap)
        for other in placed:
            bad |= _rect_rect(legs, other.rect_px, spacing.leader_gap)
            for leg in (0, 1):
                for x, y, w, h in _leg_rects([other.leader_px], leg).tolist():
                    bad |= _rect_rect(legs, (x, y, w, h), spacing.leader_gap)
    return bad


def _over_balls(leaders: list[Points], name: str, balls: Sequence[Disc]) -> Array:
    """What it costs each leader (n,) to run over balls that it neither names nor ends in."""
    cost = np.zeros(len(leaders))
    both = (_leg_rects(leaders, 0), _leg_rects(leaders, 1))
    ends = np.array([points[-1] if points else (np.nan, np.nan) for points in leaders]).reshape(-1, 2)
    for ball in balls:
        if ball.name != name:
            over = np.any([_rect_disc(legs, ball.at_px) < ball.radius_px for legs in both], axis=0)
            # what lies within the ball can be reached in no other way
            over &= np.hypot(*(ends - ball.at_px).T) > 0.97 * ball.radius_px
            cost += over * (OVER_BALL if ball.is_solid else OVER_GHOST)
    return cost


def _leg_rects(leaders: list[Points], leg: int) -> Array:
    """The first or last leg of each leader as x, y, width, height (n, 4); nan where there is no leader."""
    out = np.full((len(leaders), 4), np.nan)
    for i, points in enumerate(leaders):
        if len(points) >= 2:
            (ax, ay), (bx, by) = points[:2] if leg == 0 else points[-2:]
            out[i] = min(ax, bx), min(ay, by), abs(bx - ax), abs(by - ay)
    return out
