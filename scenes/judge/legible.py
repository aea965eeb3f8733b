"""Whether a board can be read: no word covers what it must not, in any picture that stands still.

Independent of how the words found their places: this looks at the finished board, as a viewer would.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from aimgeo.camera import Outline, ball_outline, pixels
from aimgeo.vectors import Array
from scenes.board import (
    Ball,
    Bar,
    Board,
    Element,
    HitGlyph,
    Leader,
    Line,
    Mark,
    Pane,
    Photo,
    Pips,
    Pixel,
    Plate,
    Rect,
    Shade,
    Text,
)
from scenes.board.rects import part_in_circle, part_inside
from scenes.frame.column import text_rect
from scenes.frame.layout import TITLE_SAFE
from scenes.look.fonts import CAP_HEIGHT
from scenes.look.scale import Scale, plate_width_px

SEEN = 0.05
"""What is fainter than this is not seen."""
LEAST_CAPITAL = 0.025
"""Height of the smallest capitals over the frame's short side."""
MOST_LINE_KINDS = 4
MARK_PX, MOST_MARK_PX = 8.0, 22.0
"""A mark's core, and a little more than the outer radius of the largest one, for a 1080 px frame."""
BAR_HALF_PX = 11.0
SLACK_PX = 0.75
END_PX = 3.0
"""A leader ends on what it names to within this, beyond the half width of a line."""
SMALL_PANE = 0.3
"""A pane that fills less of the frame is one to be seen whole."""
MOST_PICTURE = 0.6
GROUNDS = frozenset({"scrim", "scrim_top", "surround", "gutter"})
"""Shades on which words may stand."""
UNCOUNTED = frozenset({"thin_line"})
"""Hairlines for measuring are no kind of line to be told apart."""


@dataclass(frozen=True, slots=True)
class _Word:
    """Something to be read: what to call it, its rectangle, its element."""

    called: str
    rect: Rect
    element: Element


@dataclass(frozen=True, slots=True)
class _Stroke:
    """A drawn piece of a line in pixels, and the picture that it is part of."""

    element: Element
    picture: str
    start: Array
    end: Array
    half_px: float


@dataclass(frozen=True, slots=True)
class _Round:
    """A ball's outline, or a mark as a small circle, and the part of the frame in which it shows."""

    element: Element
    outline: Outline
    window: Rect
    is_round: bool = False


def faults(board: Board) -> list[str]:
    """One sentence for each fault of legibility, with the first still frame that shows it."""
    found: dict[str, int] = {}
    for first, _ in board.still_stretches():
        for fault in faults_at(board, first):
            found.setdefault(fault, first)
    return [f"frame {frame}: {fault}" for fault, frame in found.items()]


def faults_at(board: Board, frame: int) -> list[str]:
    """The faults of one frame."""
    scale = Scale(board.width_px, board.height_px, board.look)
    words = list(_words(board, frame, scale))
    strokes = list(_strokes(board, frame, scale))
    rounds = list(_rounds(board, frame, scale))
    return [
        *_outside(words, scale),
        *_too_small(board, frame, scale),
        *_on_words(words),
        *_on_insets(board, frame, words),
        *_on_rims(board, frame, words),
        *(
            f"{word.called} covers the line {s.element.id}"
            for word in words
            for s in strokes
            if stroke_enters(word.rect, s.start, s.end, s.half_px - SLACK_PX)
        ),
        *(
            f"{word.called} covers {r.element.id}"
            for word in words
            for r in rounds
            if (part := _common(word.rect, r.window))
            and not (r.is_round and _misses_circle(word.rect, r.window))
            and _enters(part, r.outline)
        ),
        *_leaders(board, frame, words, strokes, rounds, scale),
        *_too_many_kinds(strokes),
    ]


def taken(board: Board, frame: int) -> Callable[[Rect], bool]:
    """Whether a rectangle of the frame touches words, labels, lines, balls, marks, pictures or small panes."""
    scale = Scale(board.width_px, board.height_px, board.look)
    strokes, rounds = list(_strokes(board, frame, scale)), list(_rounds(board, frame, scale))
    rects = [word.rect for word in _words(board, frame, scale)]
    legs: list[tuple[Pixel, Pixel]] = []
    for element in _seen(board, frame):
        shape = element.shape
        if isinstance(shape, Leader):
            legs += _legs(shape)
        elif isinstance(shape, Photo) or (isinstance(shape, Shade) and shape.style not in GROUNDS):
            # a film or a picture that fills the frame is a ground too
            if shape.rect_px[2] * shape.rect_px[3] < MOST_PICTURE * board.width_px * board.height_px:
                rects.append(shape.rect_px)
        elif isinstance(shape, HitGlyph):
            r = 3 * shape.radius_px
            rects.append((shape.at_px[0] - r, shape.at_px[1] - r, 2 * r, 2 * r))
    whole = board.width_px * board.height_px
    rects += [
        pane.rect_px
        for pane in board.panes
        if pane.opacity.at(frame)[0] > SEEN and pane.rect_px[2] * pane.rect_px[3] < SMALL_PANE * whole
    ]

    def is_taken(rect: Rect) -> bool:
        return (
            any(_common(rect, other) for other in rects)
            or any(stroke_enters(rect, np.array(a), np.array(b), 2.0) for a, b in legs)
            or any(stroke_enters(rect, s.start, s.end, s.half_px) for s in strokes)
            or any((part := _common(rect, r.window)) and _enters(part, r.outline) for r in rounds)
        )

    return is_taken


# ------------------------------------------------------------------ what is to be seen


def _seen(board: Board, frame: int) -> Iterator[Element]:
    for element in board.elements:
        if element.is_visible(frame) and element.opacity.at(frame)[0] > SEEN:
            yield element


def _panes(board: Board, element: Element, frame: int) -> Iterator[Pane]:
    for pane in board.panes:
        if pane.id in element.panes and pane.opacity.at(frame)[0] > SEEN:
            yield pane


def _words(board: Board, frame: int, scale: Scale) -> Iterator[_Word]:
    for element in _seen(board, frame):
        if element.panes:
            continue
        shape = element.shape
        if isinstance(shape, Text):
            yield _Word(f"text '{shape.text}'", text_rect(shape, scale), element)
        elif isinstance(shape, Plate):
            yield _Word(f"label '{shape.text}'", shape.rect_px, element)
        elif isinstance(shape, Pips):
            left, width = scale.pips_px(shape.count, shape.now)[-1]
            x, y, high = *shape.at_px, scale.px(12)
            yield _Word("the step pips", (x, y - high / 2, left + width, high), element)


def _band(board: Board, frame: int) -> Rect | None:
    """The gap of a broken stage: nothing shows under it."""
    for element in _seen(board, frame):
        if isinstance(element.shape, Shade) and element.shape.style == "band":
            return element.shape.rect_px
    return None


def _windows(pane: Pane, band: Rect | None) -> Rect:
    """The part of a pane that can be seen: without the break's band."""
    x, y, w, h = pane.rect_px
    if band is None or pane.view != "plan":
        return pane.rect_px
    if y < band[1] < y + h:
        return (x, y, w, band[1] - y)
    if y < band[1] + band[3] < y + h:
        return (x, band[1] + band[3], w, y + h - band[1] - band[3])
    return pane.rect_px


def _strokes(board: Board, frame: int, scale: Scale) -> Iterator[_Stroke]:
    """Lines and bars in the stage's panes, as far as they are drawn and seen."""
    band = _band(board, frame)
    for element in _seen(board, frame):
        shape = element.shape
        if not isinstance(shape, Line | Bar):
            continue
        for pane in _panes(board, element, frame):
            if pane.view == "inset":
                continue
            ends = np.array(shape.points_mm, float) + np.array(element.offset_mm.at(frame))
            ends[1] = ends[0] + (ends[1] - ends[0]) * element.drawn.at(frame)[0]
            a, b = pane.px(ends, frame)
            low, high = _part_seen(a, b, pane, band)
            if low > high or not np.isfinite([a, b]).all():
                continue
            if isinstance(shape, Bar):
                half = scale.stroke_px(BAR_HALF_PX)
            else:
                style = board.look.lines[shape.style]
                half = (scale.line_px(style.width_px, pane.view) + scale.stroke_px(style.casing_px)) / 2
            # a broken stage's panes are one picture, each eye's pane is its own
            yield _Stroke(
                element, pane.id if pane.view == "eye" else pane.view, a + (b - a) * low, a + (b - a) * high, half
            )


def _rounds(board: Board, frame: int, scale: Scale) -> Iterator[_Round]:
    """Balls and marks in the stage's panes."""
    band = _band(board, frame)
    for element in _seen(board, frame):
        shape = element.shape
        if not isinstance(shape, Ball | Mark):
            continue
        for pane in _panes(board, element, frame):
            if pane.view == "inset":
                continue
            P = pane.projection(frame)
            offset = np.array(element.offset_mm.at(frame))
            if isinstance(shape, Ball):
                outline = ball_outline(P, np.array(shape.centre_mm) + offset, shape.radius_mm)
                if pane.is_round and _fills(outline, pane.rect_px):
                    continue  # no ball to be seen, but the ground of all that is shown there
            else:
                at = pixels(P, np.array(shape.at_mm) + offset)
                radius = scale.stroke_px(MARK_PX * board.look.view_width.get(pane.view, 1.0))
                outline = Outline(at, radius * np.eye(2))
            if np.isfinite(outline.centre_px).all():
                yield _Round(element, outline, _windows(pane, band), pane.is_round)


# ------------------------------------------------------------------ the rules


def _outside(words: Iterable[_Word], scale: Scale) -> Iterator[str]:
    """Everything that is read stands in the title-safe area."""
    W, H = scale.width_px, scale.height_px
    left, top = (1 - TITLE_SAFE) / 2 * W - SLACK_PX, (1 - TITLE_SAFE) / 2 * H - SLACK_PX
    for word in words:
        x, y, w, h = word.rect
        if x < left or y < top or x + w > W - left or y + h > H - top:
            yield f"{word.called} leaves the title-safe area"


def _too_small(board: Board, frame: int, scale: Scale) -> Iterator[str]:
    """Capitals keep their least height, and a plate is as wide as its text."""
    for element in _seen(board, frame):
        shape = element.shape
        style = shape.style if isinstance(shape, Text) else "label"
        if isinstance(shape, Text | Plate) and scale.text_px(style) * CAP_HEIGHT < LEAST_CAPITAL * scale.short_px:
            yield f"'{shape.text}' has capitals below {LEAST_CAPITAL:.1%} of the short side"
        if isinstance(shape, Plate):
            needed = plate_width_px(shape.text, scale, shape.sample)
            if needed > shape.rect_px[2] + SLACK_PX:
                yield f"label '{shape.text}' is wider than its plate"


def _on_words(words: list[_Word]) -> Iterator[str]:
    """No word covers another."""
    for i, one in enumerate(words):
        for other in words[i + 1 :]:
            if _common(one.rect, other.rect, SLACK_PX):
                yield f"{one.called} covers {other.called}"


def _on_insets(board: Board, frame: int, words: Iterable[_Word]) -> Iterator[str]:
    """No word covers the table inset."""
    for pane in board.panes:
        if pane.view == "inset" and pane.opacity.at(frame)[0] > SEEN:
            for word in words:
                if _common(word.rect, pane.rect_px, SLACK_PX):
                    yield f"{word.called} covers the table inset"


def _on_rims(board: Board, frame: int, words: Iterable[_Word]) -> Iterator[str]:
    """A word stands within a round pane or outside of it, never on its rim."""
    for pane in board.panes:
        if not pane.is_round or pane.opacity.at(frame)[0] <= SEEN:
            continue
        x, y, w, _ = pane.rect_px
        for word in words:
            left, top, wide, high = word.rect
            far = max(
                np.hypot(left + i * wide - x - w / 2, top + j * high - y - w / 2) for i in (0, 1) for j in (0, 1)
            )
            if far > w / 2 and not _misses_circle(word.rect, pane.rect_px, SLACK_PX):
                yield f"{word.called} covers the rim of {pane.id}"


def _leaders(
    board: Board, frame: int, words: list[_Word], strokes: list[_Stroke], rounds: list[_Round], scale: Scale
) -> Iterator[str]:
    """A leader ends on what it names, and crosses no other line, no word and no other leader."""
    leaders = [e for e in _seen(board, frame) if isinstance(e.shape, Leader) and not e.panes]
    for n, leader in enumerate(leaders):
        assert isinstance(leader.shape, Leader)
        legs = list(_legs(leader.shape))
        called = f"the leader to {leader.names}"
        end = np.array(leader.shape.points_px[-1])
        if leader.names is not None:
            reach = scale.stroke_px(END_PX)
            named = [s for s in strokes if _is_named(s.element, leader)]
            on_line = any(_distance(end, s.start, s.end) < s.half_px + reach for s in named)
            on_round = any(_is_at(end, r, scale) for r in rounds if _is_named(r.element, leader))
            is_bar = any(isinstance(s.element.shape, Bar) for s in named)
            near_bar = is_bar and any(_distance(end, s.start, s.end) < scale.stroke_px(16) for s in named)
            known = named or any(_is_named(r.element, leader) for r in rounds)
            if known and not (on_line or on_round or near_bar):
                yield f"{called} does not end on it"
        for a, b in legs:
            # what is shown larger may lie between two lines
            for s in strokes if leader.role != "magnifier" else ():
                if not _is_named(s.element, leader) and _crosses(a, b, s.start, s.end):
                    yield f"{called} crosses the line {s.element.id}"
            for word in words:
                x, y, w, h = word.rect
                inner = (x + SLACK_PX, y + SLACK_PX, w - 2 * SLACK_PX, h - 2 * SLACK_PX)
                if stroke_enters(inner, np.array(a), np.array(b), 0.0):
                    yield f"{called} crosses {word.called}"
            for other in leaders[n + 1 :]:
                assert isinstance(other.shape, Leader)
                if any(_crosses(a, b, np.array(c), np.array(d)) for c, d in _legs(other.shape)):
                    yield f"{called} crosses the leader to {other.names}"


def _is_at(end: Array, there: _Round, scale: Scale) -> bool:
    """True when a leader's end touches a ball, or a mark's outermost ring."""
    reach = scale.stroke_px(MOST_MARK_PX - MARK_PX if isinstance(there.element.shape, Mark) else END_PX)
    at = np.linalg.inv(there.outline.grown(reach).axes_px) @ (end - there.outline.centre_px)
    return float(at @ at) <= 1


def _too_many_kinds(strokes: Iterable[_Stroke]) -> Iterator[str]:
    """At most four kinds of line at a time in a picture."""
    pictures: dict[str, set[str]] = {}
    for s in strokes:
        if isinstance(s.element.shape, Line) and s.element.shape.style not in UNCOUNTED:
            pictures.setdefault(s.picture, set()).add(s.element.shape.style)
    for kinds in pictures.values():
        if len(kinds) > MOST_LINE_KINDS:
            yield f"{len(kinds)} kinds of line at once: {', '.join(sorted(kinds))}"


# ------------------------------------------------------------------ geometry


def _is_named(element: Element, label: Element) -> bool:
    """True when a label names an element: by id, by the stem of its id, or by role."""
    return label.names in (element.id, element.role) or element.id.startswith(f"{label.names}.")


def _legs(leader: Leader) -> Iterator[tuple[Pixel, Pixel]]:
    yield from zip(leader.points_px, leader.points_px[1:], strict=False)


def _common(a: Rect, b: Rect, slack: float = 0.0) -> Rect | None:
    """What two rectangles share, when it is more than the slack."""
    x0, y0 = max(a[0], b[0]), max(a[1], b[1])
    x1, y1 = min(a[0] + a[2], b[0] + b[2]), min(a[1] + a[3], b[1] + b[3])
    return (x0, y0, x1 - x0, y1 - y0) if x1 - x0 > slack and y1 - y0 > slack else None


def _part_seen(a: Array, b: Array, pane: Pane, band: Rect | None) -> tuple[float, float]:
    """The part of the segment a-b that a pane shows, as fractions of it; from > to when there is none."""
    x, y, w, h = pane.rect_px
    if pane.is_round:
        return part_in_circle(a, b, (x + w / 2, y + h / 2), w / 2)
    return part_inside(a, b, _windows(pane, band))


def _fills(outline: Outline, around: Rect) -> bool:
    """True when an outline holds the whole circle in a square."""
    x, y, w, h = around
    turn = np.linspace(0, 2 * np.pi, 33)
    rim = np.array([x + w / 2, y + h / 2]) + w / 2 * np.stack([np.cos(turn), np.sin(turn)], -1)
    inside = (rim - outline.centre_px) @ np.linalg.inv(outline.axes_px).T
    return bool((np.linalg.norm(inside, axis=1) < 1).all())


def _misses_circle(rect: Rect, around: Rect, slack: float = 0.0) -> bool:
    """True when a rectangle lies outside of the circle in a square, but for the slack."""
    x, y, w, h = rect
    cx, cy, r = around[0] + around[2] / 2, around[1] + around[3] / 2, around[2] / 2
    dx, dy = max(x - cx, 0.0, cx - x - w), max(y - cy, 0.0, cy - y - h)
    return float(np.hypot(dx, dy)) > r - slack


def _misses(a: Array, b: Array, rect: Rect) -> bool:
    low, high = part_inside(a, b, rect)
    return low > high


def stroke_enters(rect: Rect, a: Array, b: Array, half_px: float) -> bool:
    """True when a stroke of this half width enters a rectangle."""
    if _misses(a, b, (rect[0] - half_px, rect[1] - half_px, rect[2] + 2 * half_px, rect[3] + 2 * half_px)):
        return False
    if not _misses(a, b, rect):
        return True
    corners = [np.array([rect[0] + i * rect[2], rect[1] + j * rect[3]]) for i in (0, 1) for j in (0, 1)]
    edges = [
        (corners[0], corners[1]),
        (corners[2], corners[3]),
        (corners[0], corners[2]),
        (corners[1], corners[3]),
    ]
    near = [_distance(corner, a, b) for corner in corners]
    near += [_distance(end, *edge) for end in (a, b) for edge in edges]
    return min(near) < half_px


def _enters(rect: Rect, outline: Outline) -> bool:
    """True when a rectangle reaches into an ellipse by more than the slack."""
    if _common(rect, outline.box_px()) is None:
        return False
    inverse = np.linalg.inv(outline.grown(-SLACK_PX).axes_px)
    x, y, w, h = rect
    corners = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
    if (corners[0] <= outline.centre_px).all() and (outline.centre_px <= corners[2]).all():
        return True
    at = (corners - outline.centre_px) @ inverse.T
    return any(_distance(np.zeros(2), at[i], at[(i + 1) % 4]) < 1 for i in range(4))


def _distance(point: Array, a: Array, b: Array) -> float:
    run = b - a
    size = float(run @ run)
    t = 0.0 if size == 0 else min(max(float((point - a) @ run) / size, 0.0), 1.0)
    return float(np.hypot(*(point - a - t * run)))


def _crosses(a: Pixel, b: Pixel, c: Array, d: Array) -> bool:
    """True when two segments meet."""
    p, q = np.array(a, float), np.array(b, float)

    def turn(o: Array, s: Array, t: Array) -> float:
        return float((s[0] - o[0]) * (t[1] - o[1]) - (s[1] - o[1]) * (t[0] - o[0]))

    return turn(p, q, c) * turn(p, q, d) < 0 and turn(c, d, p) * turn(c, d, q) < 0
