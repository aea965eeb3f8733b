"""A magnifier: a round inset that shows apart what stands a few pixels apart in a plan, and what it is put over.

Where it is needed is found by distance in the picture, not by kind or cut: two parallel lines that would run into
one, two marks that would lie on each other, a bar too short to be seen. How many times as large it is, is a whole
number, so that its words are exact. Pure geometry in pixels; the panes' cameras place what is drawn.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from aimgeo.construct import Measure, Step
from aimgeo.vectors import Array, BoolArray, cross, dot
from scenes.board import ONE, Pane, Pixel, Rect, Text
from scenes.figure.figure import Figure, Magnifier, in_reach, mark_kind, piece_px, pieces_of
from scenes.figure.labels import Obstacles, Spacing, Stroke, are_clear, merged
from scenes.frame.column import band_words, even_lines, text_rect
from scenes.frame.framing import View
from scenes.look.fonts import CAP_HEIGHT
from scenes.look.roles import OWN, is_bar
from scenes.look.scale import plate_sizes

LINES_PX, MARKS_PX, BAR_PX = 24.0, 6.0, 24.0
"""Nearer parallel lines run into one; marks with less between them lie on each other; a bar's shorter piece is a
speck. For a 1080 px frame."""
END_PX = 9.0
"""How far the end of a measure reaches."""
SAME_PX = 0.05
"""What is nearer is the same place."""
PARALLEL_SINE = 0.01
APART_PX, LEAST_APART_PX = 46.0, 26.0
"""So far apart the magnifier shows what is nearest, and at least so far."""
SPREAD = 0.56
"""What belongs together stands within this part of the magnifier's radius."""
LEAST_TIMES, MOST_TIMES = 3, 60
MOST_MORE = 1.5
"""What a later step adds is shown in the same magnifier where that need not show so many times more closely."""
RADII = tuple(np.linspace(0.235, 0.12, 16).tolist())
"""Of the frame's short side, the largest that finds room."""
GAP_PX = 26.0
"""Between the magnifier and what stands beside it."""
WORDS_PX = 10.0
"""Between its rim and its words."""
AIM_SIDE, CROSSES = 260.0, 700.0
"""What it costs to stand on the aim's side, where points have their labels, and to be led to across a line."""
AIR = 3.0
"""So wide is the room above it, in a label's heights: its number stands there."""
FIXED_BARS = frozenset({"cue_shift", "left_over"})
"""Measures between two points, not between two lines: where they stand is part of what they say."""


@dataclass(frozen=True, slots=True)
class _Thing:
    """A line, or a point (whose ends are one place), in a window's pixels, and how far its mark reaches."""

    role: str
    window: Pane
    ends: Array
    reach_px: float

    @property
    def is_line(self) -> bool:
        return bool(np.ptp(self.ends, axis=0).any())

    @property
    def along(self) -> Array:
        run = self.ends[1] - self.ends[0]
        return np.asarray(run / np.linalg.norm(run))


Pair = tuple[_Thing, _Thing, float]
"""Two things too near to each other, and how far apart they are in px."""


def magnifiers_of(
    figure: Figure,
    steps: Sequence[Step],
    shown: Sequence[Obstacles],
    spare: tuple[Rect, ...],
    apart: frozenset[str],
) -> tuple[Magnifier, ...]:
    """The magnifiers that a construction needs in a plan, one after the other.

    `shown` is what each step adds to the picture without them; of it the rectangles `spare` go where one needs
    their place. Things of the roles `apart` are told apart in another way.
    """
    needs = [_in_one_window(figure, _too_near(figure, steps, k, apart)) for k in range(len(steps))]
    groups: list[tuple[list[int], list[Pair]]] = []
    for k, pairs in enumerate(needs):
        if pairs and not _fits(figure, pairs):
            pairs = [min(pairs, key=lambda pair: pair[2])]
        if not pairs or not _fits(figure, pairs):
            continue
        together = _in_one_window(figure, [*groups[-1][1], *pairs]) if groups else []
        if groups and (shared := _fits(figure, together)) and shared <= MOST_MORE * _fits(figure, groups[-1][1]):
            groups[-1] = ([*groups[-1][0], k], together)
        else:
            groups.append(([k], pairs))
    out: list[Magnifier] = []
    firsts = [shown_in[0] for shown_in, _ in groups]
    for n, ((shown_in, pairs), following) in enumerate(zip(groups, [*firsts, len(steps)][1:], strict=True)):
        first = shown_in[0]
        measured = [k for k in range(first, following) if _measures_specks(figure, steps[k], apart)]
        for end in dict.fromkeys(
            (max([*shown_in, *measured]) + 1, first + 1)
        ):  # what comes later may leave no room for it
            found = _placed(figure, n, pairs, merged(shown[:end]), spare, out[-1] if out else None)
            if found is not None:
                out.append(replace(found, first_step=first, end_step=end))
                break
    return tuple(out)


def is_speck(figure: Figure, measure: Measure) -> bool:
    """True for a measure between two points whose bar would be too short in the picture to be read."""
    if measure.between_mm is None:
        return False
    length = math.dist(*measure.between_mm) * figure.px_per_mm
    halves = any(one.key == "contact_offset" for step in figure.plan.steps for one in step.measures)
    return length < figure.frame.scale.stroke_px(BAR_PX * (2 if halves and measure.key == "aim_offset" else 1))


def _measures_specks(figure: Figure, step: Step, apart: frozenset[str]) -> bool:
    told = ("aim_offset",) if "aim_line" in apart else ()
    return any(is_bar(m.key) and m.key not in told and is_speck(figure, m) for m in step.measures)


def _in_one_window(figure: Figure, pairs: Sequence[Pair]) -> list[Pair]:
    """Of pairs in both parts of a broken plan those with points, or else those beside the object ball."""
    windows = [pair[0].window.id for pair in pairs if not pair[0].is_line]
    windows += [window.id for window in figure.windows if any(pair[0].window.id == window.id for pair in pairs)]
    return [pair for pair in pairs if pair[0].window.id == windows[0]]


# ------------------------------------------------------------------ what is too near


def _things(figure: Figure, step: Step, apart: frozenset[str]) -> Iterator[_Thing]:
    stroke = figure.frame.scale.stroke_px
    for line in step.lines:
        for piece in pieces_of(figure, in_reach(figure, line)) if line.role not in apart else ():
            window = next(w for w in figure.windows if w.id in piece[0])
            yield _Thing(line.role, window, np.array(piece_px(figure, piece)), 0.0)
    places = [(p.role, p.at_mm, float(figure.frame.look.marks[mark_kind(p.role)].reach_px)) for p in step.points]
    for measure in step.measures:
        if (measure.key in FIXED_BARS or measure.key.startswith(OWN)) and measure.between_mm is not None:
            places += [(f"{measure.key}.{n}", at, END_PX) for n, at in enumerate(measure.between_mm)]
    for role, at, reach in places:
        window_of = figure.window(at)
        if window_of is not None and role not in apart:
            yield _Thing(role, window_of, np.array([figure.px(at)] * 2), stroke(reach))


def _too_near(figure: Figure, steps: Sequence[Step], index: int, apart: frozenset[str]) -> list[Pair]:
    """What a step adds that stands too near to something else in the picture."""
    new = list(_things(figure, steps[index], apart))
    old = [thing for step in steps[:index] for thing in _things(figure, step, apart)]
    pairs = [*combinations(new, 2), *((a, b) for a in new for b in old)]
    found = ((a, b, _gap(figure, a, b)) for a, b in pairs if a.window.id == b.window.id and a.role != b.role)
    return [(a, b, gap) for a, b, gap in found if gap is not None and gap > SAME_PX]


def _gap(figure: Figure, a: _Thing, b: _Thing) -> float | None:
    """How far apart two things are that stand too near to each other; None for others."""
    stroke = figure.frame.scale.stroke_px
    if a.is_line != b.is_line:
        return None
    if not a.is_line:
        gap = float(np.linalg.norm(a.ends[0] - b.ends[0]))
        return gap if gap < a.reach_px + b.reach_px + stroke(MARKS_PX) else None
    if abs(float(cross(a.along, b.along))) > PARALLEL_SINE:
        return None
    level_a, level_b = (sorted((thing.ends @ a.along).tolist()) for thing in (a, b))
    beside = min(level_a[1], level_b[1]) - max(level_a[0], level_b[0])
    gap = abs(float(cross(a.along, b.ends[0] - a.ends[0])))
    return gap if beside > gap and gap < stroke(LINES_PX) else None


# ------------------------------------------------------------------ where it stands, and how large it shows


@dataclass(frozen=True, slots=True)
class _Spread:
    """The middle of what belongs together and how far it reaches from there, the direction of its lines (None: it
    has none) and whether it has points."""

    middle: Array
    reach_px: float
    along: Array | None
    has_points: bool


def _spread(things: Sequence[_Thing]) -> _Spread:
    lines = [thing for thing in things if thing.is_line]
    points = np.array([thing.ends[0] for thing in things if not thing.is_line]).reshape(-1, 2)
    if not lines:
        middle = (points.min(axis=0) + points.max(axis=0)) / 2
        return _Spread(middle, float(np.linalg.norm(points - middle, axis=1).max()), None, True)
    along = lines[0].along
    across = np.array([-along[1], along[0]])
    places = np.concatenate([points, *(line.ends[:1] for line in lines)])
    off = places @ across
    ends = np.concatenate([line.ends @ along for line in lines]).reshape(-1, 2)
    # lines are seen together between the later of their starts and the earlier of their ends
    shared = float(ends.min(axis=1).max()), float(ends.max(axis=1).min())
    level = points @ along if len(points) else np.array(shared)
    middle = (off.min() + off.max()) / 2 * across + (level.min() + level.max()) / 2 * along
    reach = [float(np.ptp(off)) / 2, *np.linalg.norm(points - middle, axis=1).tolist()]
    return _Spread(middle, max(reach), along, bool(len(points)))


def _times(figure: Figure, pairs: Sequence[Pair], radius_px: float) -> range:
    """How many times as large what belongs together may be shown, from just enough on; none where no size would
    tell it apart."""
    stroke = figure.frame.scale.stroke_px
    gap = min(pair[2] for pair in pairs)
    reach = _spread([thing for pair in pairs for thing in pair[:2]]).reach_px
    most = min(int(SPREAD * radius_px / max(reach, 1e-9)), MOST_TIMES)
    times = min(max(math.ceil(stroke(APART_PX) / gap), LEAST_TIMES), most)
    return range(times, most + 1) if times >= LEAST_TIMES and times * gap >= stroke(LEAST_APART_PX) else range(0)


def _fits(figure: Figure, pairs: Sequence[Pair]) -> int:
    """How many times as large the smallest magnifier shows them; 0 where it would not tell them apart."""
    return next(iter(_times(figure, pairs, RADII[-1] * figure.frame.scale.short_px)), 0)


def _placed(
    figure: Figure,
    n_th: int,
    pairs: Sequence[Pair],
    shown: Obstacles,
    spare: tuple[Rect, ...],
    before: Magnifier | None,
) -> Magnifier | None:
    """Where it finds room beside the figure; it stays where the one before it stood."""
    things = [thing for pair in pairs for thing in pair[:2]]
    roles, window, spread = frozenset(thing.role for thing in things), things[0].window, _spread(things)
    is_open = spread.along is not None and not spread.has_points
    less = replace(shown, rects=tuple(rect for rect in shown.rects if rect not in spare))
    radii = [before.radius_px] if before else [part * figure.frame.scale.short_px for part in RADII]
    crammed: set[float] = set()
    for radius, has_air in [*((radius, True) for radius in radii), *((radius, False) for radius in radii)]:
        times, at = next(iter(_times(figure, pairs, radius)), 0), spread.middle
        if not times or radius in crammed:
            continue
        if is_open:
            levels = (
                (n, _open_level(figure, spread, window, radius / n, shown)) for n in _times(figure, pairs, radius)
            )
            times, at = next(((n, level) for n, level in levels if level is not None), (times, at))
        asked = _Asked(at, radius, times, roles, has_air)
        # beside the figure with all that stands there, or where something gives way
        there = before and _room(figure, asked, less, before.centre_px)
        if not there and has_air and _room(figure, replace(asked, has_air=False), less) is None:
            crammed.add(radius)  # what is asked beyond that would find none either
            continue
        rooms = (
            [there] if there else [_room(figure, asked, kept) for kept in ((shown, less) if spare else (shown,))]
        )
        if best := min((room for room in rooms if room is not None), default=None):
            (x, y), takes_spare = best[1], _room(figure, asked, shown, best[1]) is None
            rect: Rect = (x - radius, y - radius, 2 * radius, 2 * radius)
            px: Pixel = (float(at[0]), float(at[1]))
            pane = _pane(f"magnifier.{n_th}", window, px, times, rect)
            return Magnifier(pane, window, px, times, 0, 0, roles, is_open, takes_spare)
    return None


def _pane(id: str, window: Pane, at_px: Pixel, times: int, rect: Rect) -> Pane:
    """The window's picture about a pixel, so many times as large, about the middle of a rectangle."""
    view = _view(window)
    middle = (rect[0] + rect[2] / 2, rect[1] + rect[3] / 2)
    mm = view.to_mm(at_px)
    closer = View((mm[0], mm[1]), middle, view.turn_rad, times * view.px_per_mm)
    return Pane(id, rect, window.view, closer.camera(rect), None, ONE, is_round=True)


def _view(window: Pane) -> View:
    """The view of a resting plan."""
    x, y, turn, log_scale = window.camera.track.start
    left, top, w, h = window.rect_px
    anchor = window.camera.anchor  # type: ignore[union-attr]
    return View((x, y), (left + anchor[0] * w, top + anchor[1] * h), turn, math.exp(log_scale))


def _open_level(figure: Figure, spread: _Spread, window: Pane, field_px: float, kept: Obstacles) -> Array | None:
    """Where along its lines, on the cue ball's side, a field of this radius shows nothing but lines and cloth, or
    the ghost ball's inside; the nearest to the middle of the way. None where it does nowhere."""
    assert spread.along is not None
    gap = figure.frame.scale.stroke_px(4)
    x, y, w, h = window.rect_px
    if figure.is_broken:
        _, top, _, high = figure.frame.band_px
        y, h = (y, top - y) if window.id == figure.pane.id else (top + high, y + h - top - high)
    ball, cue = (np.array(figure.px(at)) for at in (figure.shot.object_ball_mm, figure.shot.cue_ball_mm))
    middle = (ball + cue) / 2
    levels = spread.middle + (np.arange(-400, 401) * figure.frame.scale.px(2))[:, None] * spread.along
    inside = (x + field_px < levels[:, 0]) & (levels[:, 0] < x + w - field_px)
    inside &= (y + field_px < levels[:, 1]) & (levels[:, 1] < y + h - field_px)
    inside &= (levels - ball) @ (cue - ball) > 0
    # no farther than the lines run: from the cue ball's centre, or from beside it
    inside &= (levels - cue) @ (ball - cue) > field_px * float(np.linalg.norm(ball - cue))
    for one in (*kept.balls, *kept.marks):
        away = np.linalg.norm(levels - one.at_px, axis=1)
        is_within = (away < one.radius_px - field_px - gap) & (not one.is_solid)
        inside &= (away > one.radius_px + field_px + gap) | is_within
    off = np.where(inside, np.linalg.norm(levels - middle, axis=1), np.inf)
    return levels[np.argmin(off)] if inside.any() else None


def words_px(figure: Figure, times: int, rect: Rect, side: int) -> list[Text]:
    """How many times as large, in two lines at its lower left or right: the side away from its place, so that what
    leaves it below may have its name there."""
    told, s = figure.brief.labels.get("times_as_large", ""), figure.frame.scale
    x, y, w, h = rect
    words = told.replace("{times}", str(times)).split()
    size, r = s.text_px("small"), w / 2

    def wide(text: str) -> float:
        return s.text_width_px(text, "small")

    whole = wide(" ".join(words))
    halves = (even_lines(" ".join(words), whole * part, wide) for part in np.linspace(0.4, 1, 13).tolist())
    lines = next((one for one in halves if len(one) <= 2), ())
    # as near to the rim as its round corner allows
    aside = max(r - wide(lines[0]), 0.0) if lines else 0.0
    first = y + h / 2 + math.sqrt(max(r * r - aside * aside, 0.0)) + CAP_HEIGHT * size + s.px(WORDS_PX)
    at, align = (x, "left") if side < 0 else (x + w, "right")
    return [Text(line, (at, first + 1.15 * k * size), "small", align) for k, line in enumerate(lines)]


@dataclass(frozen=True, slots=True)
class _Asked:
    """A magnifier that seeks its room: the place that it shows, its radius, how many times as large, the roles
    that it shows apart, and whether there must be air for a label above it."""

    at: Array
    radius: float
    times: int
    roles: frozenset[str]
    has_air: bool


def _room(figure: Figure, asked: _Asked, kept: Obstacles, only: Pixel | None = None) -> tuple[float, Pixel] | None:
    """What it costs, and the best middle for a circle that covers nothing, with its words below; None where there
    is none. `only` one may be asked about.

    Nor does the leader to it cross words.
    """
    at, radius, times, roles = asked.at, asked.radius, asked.times, asked.roles
    s = figure.frame.scale
    x, y, w, h = figure.frame.label_zone
    safe_x, safe_y, safe_w, safe_h = figure.frame.title_safe
    gap = s.px(GAP_PX)
    own: Rect = (-radius, -radius, 2 * radius, 2 * radius)
    words = {side: [text_rect(t, s) for t in words_px(figure, times, own, side)] for side in (-1, 1)}
    low = max((top + high for _, top, _, high in words[1]), default=radius)
    xs = np.arange(x + radius, x + w - radius + 1, s.px(10))
    ys = np.arange(y + radius, min(y + h, safe_y + safe_h) - low + 1, s.px(10))
    grid: Array = np.stack([axis.ravel() for axis in np.meshgrid(xs, ys)], axis=1)
    if only is not None:
        grid = np.array([only])
    # the cheapest goes first, and what it rules out is looked at no more
    for disc in (*kept.balls, *kept.marks):
        grid = grid[np.linalg.norm(grid - disc.at_px, axis=1) > radius + disc.radius_px + gap]
    for left, top, wide, high in kept.rects:
        off = np.hypot(
            np.maximum(np.maximum(left - grid[:, 0], grid[:, 0] - left - wide), 0),
            np.maximum(np.maximum(top - grid[:, 1], grid[:, 1] - top - high), 0),
        )
        grid = grid[off > radius + gap / 2]
    for stroke in kept.strokes:
        grid = grid[_from_segment(grid, stroke) > radius + stroke.half_width_px + gap]
    if not len(grid):
        return None
    clear = np.ones(len(grid), bool)
    beyond, crossed = radius / times + s.stroke_px(4), np.zeros(len(grid))
    way = (grid - at) / np.maximum(np.linalg.norm(grid - at, axis=1), 1.0)[:, None]
    for stroke in kept.strokes:
        if stroke.name not in roles:
            crossed += _cross(at + beyond * way, grid, stroke)
    is_right = grid[:, 0] > at[0]
    for first, second in zip(words[-1], words[1], strict=True):
        corner = grid + np.where(is_right[:, None], second[:2], first[:2])
        rects = np.concatenate([corner, np.tile(first[2:], (len(grid), 1))], axis=1)
        clear &= ~_cross_rect(at + beyond * way, grid, rects)
        clear &= are_clear(rects, kept, Spacing().scaled(s.k * s.gain))
        clear &= (corner[:, 0] >= safe_x) & (corner[:, 0] + first[2] <= safe_x + safe_w)
    if figure.is_broken and (told := band_words(figure.frame, figure.brief.labels)):
        clear &= ~_cross_rect(at + beyond * way, grid, np.array(text_rect(told, s)))
    if asked.has_air:
        high = plate_sizes(s).height_px
        wide, spacing = AIR * high, Spacing().scaled(s.k * s.gain)
        corner = grid - (wide / 2, radius + 1.5 * spacing.gap + high)
        clear &= are_clear(np.concatenate([corner, np.tile((wide, high), (len(grid), 1))], axis=1), kept, spacing)
        clear &= corner[:, 1] >= y
    costs = np.linalg.norm(grid - at, axis=1) / s.k + AIM_SIDE * (np.sign(grid[:, 0] - at[0]) == figure.aim_side)
    costs += CROSSES * crossed
    costs[~clear] = np.inf
    best = int(np.argmin(costs))
    found = float(costs[best])
    return (found, (float(grid[best, 0]), float(grid[best, 1]))) if math.isfinite(found) else None


def _cross(starts: Array, ends: Array, stroke: Stroke) -> BoolArray:
    """Which segments from starts to ends (n, 2) a stroke crosses."""
    return _meet(starts, ends, np.array(stroke.start_px), np.array(stroke.end_px))


def _cross_rect(starts: Array, ends: Array, rects: Array) -> BoolArray:
    """Which segments from starts to ends (n, 2) cross a rectangle (n, 4) or (4,): one of its diagonals."""
    x, y, w, h = (rects[..., k] for k in range(4))
    first, second = ((np.stack([x, a], -1), np.stack([x + w, b], -1)) for a, b in ((y, y + h), (y + h, y)))
    return np.asarray(_meet(starts, ends, *first) | _meet(starts, ends, *second))


def _meet(a: Array, b: Array, c: Array, d: Array) -> BoolArray:
    """Which segments a-b and c-d, (n, 2) each or one, meet."""
    sides = [np.sign(np.asarray(cross(b - a, p - a))) for p in (c, d)]
    others = [np.sign(np.asarray(cross(d - c, p - c))) for p in (a, b)]
    return np.asarray((sides[0] != sides[1]) & (others[0] != others[1]))


def _from_segment(px: Array, stroke: Stroke) -> Array:
    a, b = np.array(stroke.start_px), np.array(stroke.end_px)
    run = b - a
    t = np.clip(np.asarray(dot(px - a, run)) / max(float(run @ run), 1e-9), 0, 1)
    return np.asarray(np.linalg.norm(px - a - t[:, None] * run, axis=1))
