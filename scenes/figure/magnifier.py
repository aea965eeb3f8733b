"""A magnifier: a round inset that shows apart what stands a few pixels apart in a plan, and what it is put over.

Where it is needed is found by distance in the picture, not by kind or cut: two parallel lines that would run into
one, two marks that would lie on each other, a bar too short to be seen. How many times as large it is, is a whole
number, so that its words are exact. Pure geometry in pixels; the panes' cameras place what is drawn.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import combinations

import numpy as np

from aimgeo.construct import Measure, Step
from aimgeo.vectors import Array, BoolArray, IntArray, cross, dot
from scenes.board import ONE, Pane, Pixel, Rect, Text
from scenes.figure.figure import Figure, Magnifier, in_reach, mark_kind, piece_px, pieces_of
from scenes.figure.labels import Obstacles, Spacing, Walls, are_free, chunks, merged, walls
from scenes.frame.column import band_words, even_lines, text_rect
from scenes.frame.framing import View
from scenes.frame.layout import Layout
from scenes.look.fonts import CAP_HEIGHT
from scenes.look.roles import OWN, is_bar
from scenes.look.scale import Scale, plate_sizes

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
    along: Array | None = field(init=False)

    def __post_init__(self) -> None:
        run = self.ends[1] - self.ends[0]
        object.__setattr__(self, "along", run / np.linalg.norm(run) if run.any() else None)

    @property
    def is_line(self) -> bool:
        return self.along is not None


Pair = tuple[_Thing, _Thing, float]
"""Two things too near to each other, and how far apart they are in px."""


def magnifiers_of(
    figure: Figure,
    steps: Sequence[Step],
    near: Sequence[Sequence[Pair]],
    shown: Sequence[Obstacles],
    spare: tuple[Rect, ...],
    apart: frozenset[str],
) -> tuple[Magnifier, ...]:
    """The magnifiers that a construction needs in a plan, one after the other.

    `near` is what each step adds too near to something else, `shown` what it adds to the picture without them; of
    that the rectangles `spare` go where one needs their place. Things of the roles `apart` are told apart in
    another way.
    """
    wanted = ([pair for pair in pairs if apart.isdisjoint({one.role for one in pair[:2]})] for pairs in near)
    needs = [_in_one_window(figure, pairs) for pairs in wanted]
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


def _things(figure: Figure, step: Step) -> Iterator[_Thing]:
    stroke = figure.frame.scale.stroke_px
    for line in step.lines:
        for piece in pieces_of(figure, in_reach(figure, line)):
            window = next(w for w in figure.windows if w.id in piece[0])
            yield _Thing(line.role, window, np.array(piece_px(figure, piece)), 0.0)
    places = [(p.role, p.at_mm, float(figure.frame.look.marks[mark_kind(p.role)].reach_px)) for p in step.points]
    for measure in step.measures:
        if (measure.key in FIXED_BARS or measure.key.startswith(OWN)) and measure.between_mm is not None:
            places += [(f"{measure.key}.{n}", at, END_PX) for n, at in enumerate(measure.between_mm)]
    for role, at, reach in places:
        window_of = figure.window(at)
        if window_of is not None:
            yield _Thing(role, window_of, np.array([figure.px(at)] * 2), stroke(reach))


def too_near(figure: Figure, steps: Sequence[Step]) -> list[list[Pair]]:
    """What each step adds that stands too near to something else in the picture."""
    out: list[list[Pair]] = []
    old: list[_Thing] = []
    for step in steps:
        new = list(_things(figure, step))
        pairs = [*combinations(new, 2), *((a, b) for a in new for b in old)]
        found = ((a, b, _gap(figure, a, b)) for a, b in pairs if a.window.id == b.window.id and a.role != b.role)
        out.append([(a, b, gap) for a, b, gap in found if gap is not None and gap > SAME_PX])
        old += new
    return out


def _gap(figure: Figure, a: _Thing, b: _Thing) -> float | None:
    """How far apart two things are that stand too near to each other; None for others."""
    stroke = figure.frame.scale.stroke_px
    if a.along is None and b.along is None:
        gap = float(np.linalg.norm(a.ends[0] - b.ends[0]))
        return gap if gap < a.reach_px + b.reach_px + stroke(MARKS_PX) else None
    if a.along is None or b.along is None or abs(float(cross(a.along, b.along))) > PARALLEL_SINE:
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
    assert along is not None
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
    grounds = [ground_of(figure.frame, kept) for kept in ((shown, less) if spare else (shown,))]
    radii = [before.radius_px] if before else [part * figure.frame.scale.short_px for part in RADII]
    crammed: set[float] = set()
    for radius, has_air in [*((radius, True) for radius in radii), *((radius, False) for radius in radii)]:
        times, at = next(iter(_times(figure, pairs, radius)), 0), spread.middle
        if not times or radius in crammed:
            continue
        if is_open:
            levels = (
                (n, _open_level(figure, spread, window, radius / n, grounds[0]))
                for n in _times(figure, pairs, radius)
            )
            times, at = next(((n, level) for n, level in levels if level is not None), (times, at))
        asked = _Asked(at, radius, times, roles, has_air)
        # beside the figure with all that stands there, or where something gives way
        there = before and _room(figure, asked, grounds[-1], before.centre_px)
        if not there and has_air and _room(figure, replace(asked, has_air=False), grounds[-1]) is None:
            crammed.add(radius)  # what is asked beyond that would find none either
            continue
        rooms = [there] if there else [_room(figure, asked, ground) for ground in grounds]
        if best := min((room for room in rooms if room is not None), default=None):
            (x, y), takes_spare = best[1], _room(figure, asked, grounds[0], best[1]) is None
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


def _open_level(figure: Figure, spread: _Spread, window: Pane, field_px: float, ground: Ground) -> Array | None:
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
    away = _apart(levels[:, None] - ground.at)
    is_within = (away < ground.radii - field_px - gap) & ~ground.is_solid
    inside &= ((away > ground.radii + field_px + gap) | is_within).all(axis=1)
    off = np.where(inside, np.linalg.norm(levels - middle, axis=1), np.inf)
    return levels[np.argmin(off)] if inside.any() else None


def words_px(figure: Figure, times: int, rect: Rect, side: int) -> list[Text]:
    """How many times as large it is, in two lines at its lower left or right: the side away from its place, so
    that what leaves it below may have its name there."""
    x, y, w, h = rect
    lines, drop = _told(figure.brief.labels.get("times_as_large", ""), times, w / 2, figure.frame.scale)
    size = figure.frame.scale.text_px("small")
    first = y + h / 2 + drop + CAP_HEIGHT * size + figure.frame.scale.px(WORDS_PX)
    at, align = (x, "left") if side < 0 else (x + w, "right")
    return [Text(line, (at, first + 1.15 * k * size), "small", align) for k, line in enumerate(lines)]


@lru_cache(maxsize=256)
def _told(words: str, times: int, radius_px: float, scale: Scale) -> tuple[tuple[str, ...], float]:
    """How many times as large a circle shows, in as even lines as can be where they are two, and how far below its
    middle its round corner lets them begin."""

    def wide(text: str) -> float:
        return scale.text_width_px(text, "small")

    told = " ".join(words.replace("{times}", str(times)).split())
    halves = (even_lines(told, wide(told) * part, wide) for part in np.linspace(0.4, 1, 13).tolist())
    lines = next((one for one in halves if len(one) <= 2), ())
    aside = max(radius_px - wide(lines[0]), 0.0) if lines else 0.0
    return lines, math.sqrt(max(radius_px * radius_px - aside * aside, 0.0))


@dataclass(frozen=True, slots=True)
class _Asked:
    """A magnifier that seeks its room: the place that it shows, its radius, how many times as large, the roles
    that it shows apart, and whether there must be air for a label above it."""

    at: Array
    radius: float
    times: int
    roles: frozenset[str]
    has_air: bool


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What a magnifier keeps clear of: discs at (m, 2) with radii (m,), rectangles (r, 4), segments (s, 2, 2) with
    their lengths squared and half their widths (s,), and as `walls` all that its words keep clear of.

    `fits_px` (rows, columns) is the radius that has room about the middle of each cell, `step_px` wide and high,
    of the zone for labels, from its `corner` on.
    """

    at: Array
    radii: Array
    is_solid: BoolArray
    rects: Array
    ends: Array
    squares: Array
    half_widths: Array
    names: tuple[str, ...]
    walls: Walls
    gap: float
    corner: Array
    step_px: float
    fits_px: Array

    def may_fit(self, xs: Array, ys: Array, radius: float) -> Array:
        """Of the places at all xs and ys, row by row, those where a circle may have room: from the middle of its
        cell, which is less than 3/4 of the step away, that far a larger one has."""
        columns = ((xs - self.corner[0]) // self.step_px).astype(int)
        rows = ((ys - self.corner[1]) // self.step_px).astype(int)
        fits = (self.fits_px + 0.75 * self.step_px > radius)[np.ix_(rows, columns)]
        row, column = np.nonzero(fits)
        return np.stack([xs[column], ys[row]], axis=1)

    def has_room(self, px: Array, radius: float) -> BoolArray:
        """About which places (n, 2) a circle covers nothing."""
        clear = (_apart(px[:, None] - self.at) > radius + self.radii + self.gap).all(axis=1)
        clear &= (_from_rects(px, self.rects) > radius + self.gap / 2).all(axis=1)
        off = _from_segments(px, self.ends, self.squares)
        return np.asarray(clear & (off > radius + self.half_widths + self.gap).all(axis=1))


@lru_cache(maxsize=16)
def ground_of(frame: Layout, kept: Obstacles) -> Ground:
    """What a magnifier keeps clear of, ready for many questions."""
    s, gap = frame.scale, frame.scale.px(GAP_PX)
    round_ones = (*kept.balls, *kept.marks)
    discs = np.array([(*one.at_px, one.radius_px) for one in round_ones], float).reshape(-1, 3)
    rects = np.array(kept.rects, float).reshape(-1, 4)
    ends = np.array([(one.start_px, one.end_px) for one in kept.strokes], float).reshape(-1, 2, 2)
    squares = np.array([max(float(run @ run), 1e-9) for run in ends[:, 1] - ends[:, 0]])
    half_widths = np.array([one.half_width_px for one in kept.strokes])
    x, y, w, h = frame.label_zone
    step = s.px(40)
    xs, ys = (np.arange(low + step / 2, low + long + step, step) for low, long in ((x, w), (y, h)))
    places: Array = np.stack([axis.ravel() for axis in np.meshgrid(xs, ys)], axis=1)
    fits = np.concatenate(
        [
            _apart(places[:, None] - discs[:, :2]) - discs[:, 2] - gap,
            _from_rects(places, rects) - gap / 2,
            _from_segments(places, ends, squares) - half_widths - gap,
        ],
        axis=1,
    ).min(axis=1, initial=np.inf)
    return Ground(
        discs[:, :2],
        discs[:, 2],
        np.array([one.is_solid for one in round_ones], bool),
        rects,
        ends,
        squares,
        half_widths,
        tuple(stroke.name for stroke in kept.strokes),
        walls(kept, Spacing().scaled(s.k * s.gain)),
        gap,
        np.array([x, y]),
        step,
        fits.reshape(len(ys), len(xs)),
    )


def _room(figure: Figure, asked: _Asked, ground: Ground, only: Pixel | None = None) -> tuple[float, Pixel] | None:
    """What it costs, and the best middle for a circle that covers nothing, with its words below; None where there
    is none. `only` one may be asked about.

    Nor does the leader to it cross words. The cheapest places are looked at first, and none that costs more than
    what is found by then.
    """
    at, radius = asked.at, asked.radius
    s = figure.frame.scale
    x, y, w, h = figure.frame.label_zone
    _, safe_y, _, safe_h = figure.frame.title_safe
    own: Rect = (-radius, -radius, 2 * radius, 2 * radius)
    words = {side: [text_rect(t, s) for t in words_px(figure, asked.times, own, side)] for side in (-1, 1)}
    low = max((top + high for _, top, _, high in words[1]), default=radius)
    if only is None:
        xs = np.arange(x + radius, x + w - radius + 1, s.px(10))
        ys = np.arange(y + radius, min(y + h, safe_y + safe_h) - low + 1, s.px(10))
        grid = ground.may_fit(xs, ys, radius)
    else:
        grid = np.array([only])
    away = np.linalg.norm(grid - at, axis=1)
    least = away / s.k + AIM_SIDE * (np.sign(grid[:, 0] - at[0]) == figure.aim_side)
    order = np.argsort(least, kind="stable")
    best = (math.inf, 0)
    for chunk in chunks(order):
        if least[chunk[0]] > best[0]:
            break
        chunk = chunk[~_crosses_band(figure, asked, grid[chunk])]
        chunk = chunk[ground.has_room(grid[chunk], radius)]
        if len(chunk):
            chunk = chunk[_is_told(figure, asked, ground, grid[chunk], words)]
        if len(chunk):
            costs = least[chunk] + CROSSES * _crossed(figure, asked, ground, grid[chunk])
            best = min([best, *zip(costs.tolist(), chunk.tolist(), strict=True)])
    found, row = best
    return (found, (float(grid[row, 0]), float(grid[row, 1]))) if math.isfinite(found) else None


def _leads(figure: Figure, asked: _Asked, places: Array) -> Array:
    """Where the leaders to circles about these places (n, 2) begin."""
    run = places - asked.at
    way = run / np.maximum(np.linalg.norm(run, axis=1), 1.0)[:, None]
    return np.asarray(asked.at + (asked.radius / asked.times + figure.frame.scale.stroke_px(4)) * way)


def _crossed(figure: Figure, asked: _Asked, ground: Ground, places: Array) -> IntArray:
    """How many lines the leader to each place (n, 2) crosses."""
    others = ground.ends[[name not in asked.roles for name in ground.names]]
    starts = _leads(figure, asked, places)
    return np.asarray(_meet(starts[:, None], places[:, None], others[:, 0], others[:, 1]).sum(axis=1))


def _crosses_band(figure: Figure, asked: _Asked, places: Array) -> BoolArray:
    """To which places (n, 2) the leader crosses the words in the break of a broken plan."""
    told = band_words(figure.frame, figure.brief.labels) if figure.is_broken else None
    if told is None:
        return np.zeros(len(places), bool)
    return _cross_rect(_leads(figure, asked, places), places, np.array(text_rect(told, figure.frame.scale)))


def _is_told(
    figure: Figure, asked: _Asked, ground: Ground, places: Array, words: Mapping[int, Sequence[Rect]]
) -> IntArray:
    """About which places (n, 2) its words, and the air above it, cover nothing, nor its leader words."""
    s, (safe_x, _, safe_w, _) = figure.frame.scale, figure.frame.title_safe
    left = np.arange(len(places))
    if asked.has_air:
        high = plate_sizes(s).height_px
        wide = AIR * high
        corner = places - (wide / 2, asked.radius + 1.5 * Spacing().scaled(s.k * s.gain).gap + high)
        left = left[corner[:, 1] >= figure.frame.label_zone[1]]
        left = left[are_free(_rects(corner[left], (wide, high)), ground.walls)]
    for first, second in zip(words[-1], words[1], strict=True):
        is_right = places[left, 0] > asked.at[0]
        corner = places[left] + np.where(is_right[:, None], second[:2], first[:2])
        is_safe = (corner[:, 0] >= safe_x) & (corner[:, 0] + first[2] <= safe_x + safe_w)
        corner, left = corner[is_safe], left[is_safe]
        rects = _rects(corner, first[2:])
        is_free = are_free(rects, ground.walls)
        rects, left = rects[is_free], left[is_free]
        left = left[~_cross_rect(_leads(figure, asked, places[left]), places[left], rects)]
    return left


def _rects(corner: Array, size: tuple[float, float]) -> Array:
    """Rectangles (n, 4) of one size at some corners (n, 2)."""
    return np.concatenate([corner, np.tile(size, (len(corner), 1))], axis=1)


def _cross_rect(starts: Array, ends: Array, rects: Array) -> BoolArray:
    """Which segments from starts to ends (n, 2) cross a rectangle (n, 4) or (4,): one of its diagonals."""
    x, y, w, h = (rects[..., k] for k in range(4))
    first, second = ((np.stack([x, a], -1), np.stack([x + w, b], -1)) for a, b in ((y, y + h), (y + h, y)))
    return np.asarray(_meet(starts, ends, *first) | _meet(starts, ends, *second))


def _meet(a: Array, b: Array, c: Array, d: Array) -> BoolArray:
    """Which segments a-b and c-d, (..., 2) each, meet."""
    sides = [np.sign(np.asarray(cross(b - a, p - a))) for p in (c, d)]
    others = [np.sign(np.asarray(cross(d - c, p - c))) for p in (a, b)]
    return np.asarray((sides[0] != sides[1]) & (others[0] != others[1]))


def _apart(run: Array) -> Array:
    """How long vectors (..., 2) are."""
    return np.asarray(np.sqrt(dot(run, run)))


def _from_rects(px: Array, rects: Array) -> Array:
    """How far places (n, 2) lie from each rectangle (r, 4), as (n, r)."""
    (x, y), (left, top, wide, high) = (axis[:, None] for axis in px.T), rects.T
    across = np.maximum(np.maximum(left - x, x - left - wide), 0)
    return np.asarray(np.hypot(across, np.maximum(np.maximum(top - y, y - top - high), 0)))


def _from_segments(px: Array, ends: Array, squares: Array) -> Array:
    """How far places (n, 2) lie from each segment (s, 2, 2), of these squared lengths, as (n, s)."""
    away, run = px[:, None] - ends[:, 0], ends[:, 1] - ends[:, 0]
    t = np.clip(dot(away, run) / squares, 0, 1)
    return _apart(away - t[..., None] * run)
