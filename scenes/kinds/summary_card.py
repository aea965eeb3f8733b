"""The summary card: a table of cuts, the hit first; each row is lit while it is spoken.

`brief.rows` holds the header and then a row for each companion of the subject; the first column is the hit, whose
cells are left empty, since its glyph stands there. At most six rows stand on a card; more make further cards.
Sentences: summary.card for each card, summary.row for each row (values of the shot).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import accumulate, pairwise

import numpy as np

from aimgeo.methods.figure import shot_values
from aimgeo.shot import Shot
from scenes.board import Board, HitGlyph, Pane, PlanCamera, Rect, Shade, Text, constant
from scenes.board.brief import Brief, BriefStep, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span, frames_of
from scenes.board.timing import TIMING
from scenes.frame.column import even_lines
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.look.fonts import CAP_HEIGHT
from scenes.look.look import Layer

MOST_ROWS = 6
HEAD_PITCH = 1.2
CARD_S, ROW_S = 3.0, 3.0
DIM, TOLD = 0.55, 0.85
"""How strong a row's words are before and after it is spoken."""
OPTICAL_MIDDLE = 0.485
SENTENCE, ROW = "summary.card", "summary.row"
CALLED = ("cut", "overlap", "contact_offset", "aim_offset")
"""What the words call the columns after the first."""
SPOKEN = ("cut", "overlap", "aim_offset")
"""The columns up to which a row is lit, one after the other, as its words speak of them."""
MOST_S = 3.5
"""The longest that a column takes to come, or the light to reach the next one."""


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """For each card one step, and one for each of its rows."""
    steps, told = [], iter(enumerate(subject.companions, 1))
    for page, count in enumerate(_pages(len(subject.companions))):
        steps.append(OutlineStep("card" if page == 0 else f"card {page + 1}", SENTENCE, draws_s=CARD_S))
        for _ in range(count):
            n, one = next(told)
            values = () if one.shot is None else shot_values(one.shot)
            steps.append(OutlineStep(f"row {n}", ROW, values, draws_s=ROW_S))
    return tuple(steps)


def board(brief: Brief) -> Board:
    """The cards, one after the other. ValueError when the rows are not one for each companion, under a header."""
    shots = [c.shot for c in brief.subject.companions]
    if not brief.rows or len(brief.rows) != len(shots) + 1 or len({len(row) for row in brief.rows}) != 1:
        raise ValueError(
            f"a summary of {len(shots)} shots needs a header and {len(shots)} rows of the same length"
        )
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet = Sheet()
    spans = brief.spans
    pages = _pages(len(shots))
    starts = list(accumulate(pages, initial=0))
    header, rows = brief.rows[0], brief.rows[1:]
    for page, (start, stop) in enumerate(pairwise(starts)):
        first = start + page  # a card's own step stands before those of its rows
        _card(
            sheet,
            frame,
            page,
            brief.steps[first : first + 1 + stop - start],
            header,
            [(row, shot) for row, shot in zip(rows[start:stop], shots[start:stop], strict=True)],
            spans[first : first + 1 + stop - start],
            brief.output.rate,
            is_last=page == len(pages) - 1,
        )
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
    camera = PlanCamera(constant(0.0, 0.0, math.pi / 2, 0.0))
    return sheet.board(brief, (Pane("card", full, "plan", camera, "cloth"),))


def _pages(count: int) -> tuple[int, ...]:
    """Rows of each card, as even as can be.

    >>> _pages(8), _pages(6), _pages(0)
    ((4, 4), (6,), (0,))
    """
    cards = max(-(-count // MOST_ROWS), 1)
    return tuple(count * (i + 1) // cards - count * i // cards for i in range(cards))


def _card(
    sheet: Sheet,
    frame: Layout,
    page: int,
    steps: Sequence[BriefStep],
    header: Sequence[str],
    rows: Sequence[tuple[Sequence[str], Shot | None]],
    spans: Sequence[Span],
    rate: tuple[int, int],
    is_last: bool,
) -> None:
    """One card: title and hits stand, the columns come with their clauses; then each row is lit from left to right
    as it is spoken."""
    scale, title = frame.scale, steps[0].title
    first, end = spans[0][0], spans[-1][1]
    fade = frames_of(TIMING.fade_s, rate)
    gone = None if is_last else (end, end + max(fade // 2, 1))
    came: Span | None = (first + fade // 2, first + fade) if page else None
    x, w = frame.title_px[0], frame.width_px - 2 * frame.title_px[0]
    heads, rights = _columns(frame, header, [row for row, _ in rows], x, w)
    lines = even_lines(title, w, lambda text: scale.text_width_px(text, "title"))
    head_size = scale.text_px("table_head")
    head_px = (
        0.030 * scale.short_px + HEAD_PITCH * head_size * (max(len(names) for names in heads) - 1) + head_size
    )
    title_px = 0.045 * scale.short_px * scale.gain + frame.title_pitch_px * len(lines)
    top, pitch = _rows_at(frame, head_px + title_px, len(rows))

    named = [Part((name,), 0.6, grows=True, most_s=MOST_S) for name in CALLED]
    columns = placed(Words(steps[0], spans[0]), named, rate, TIMING.fade_s, 0.3)

    def turn(column: int, row: int) -> Span:
        """When a row's cell of a column comes."""
        begin, last = columns[min(column, len(columns)) - 1]
        at = begin + round(row * (last - begin) / max(len(rows), 1))
        return at, at + fade

    def put(
        id: str,
        shape: Text | Shade | HitGlyph,
        layer: Layer = "text",
        strength: float = 1.0,
        at: Span | None = came,
    ) -> str:
        name = sheet.put(f"{id}.{page}", shape, layer, "card", opacity=0.0 if at else 1.0, strength=strength)
        if at:
            sheet.show(name, at)
        if gone:
            sheet.hide(name, gone)
        return name

    baseline = top - head_px - title_px + frame.title_pitch_px
    for i, line in enumerate(lines):
        put(f"title.{i}", Text(line, (x, baseline + i * frame.title_pitch_px), "title"))
    for n, (names, right) in enumerate(zip(heads, rights, strict=True)):
        for i, name in enumerate(names if n else ()):
            at = (right, top - 0.030 * scale.short_px - (len(names) - 1 - i) * HEAD_PITCH * head_size)
            put(f"head.{n}.{i}", Text(name, at, "table_head", "right"), at=turn(n, 0))
    radius = 0.34 * pitch if frame.shape != "tall" else 0.30 * pitch
    cell_size = scale.text_px("table_cell")
    spoken = [Part((name,), 0.6, grows=True, most_s=MOST_S) for name in SPOKEN]
    for i, ((row, shot), step, when) in enumerate(zip(rows, steps[1:], spans[1:], strict=True)):
        middle = top + (i + 0.5) * pitch
        shown = (when[0], when[0] + fade)
        past = (when[1], when[1] + fade)
        lit: Rect = (x, middle - 0.46 * pitch, w, 0.92 * pitch)
        for id, shape in (
            (f"row.{i}", Shade(lit, "row", scale.px(10))),
            (f"row_bar.{i}", Shade((x, lit[1], scale.stroke_px(8), lit[3]), "row_bar")),
        ):
            name = sheet.put(f"{id}.{page}", shape, "area", "card", drawn=0.0 if id.startswith("row.") else 1.0)
            sheet.show(name, shown)
            sheet.hide(name, past)
        reached = placed(Words(step, when), spoken, rate, 0.0, TIMING.fade_s)
        until = [CALLED.index(name) + 1 for name in SPOKEN]
        for n, span in zip(until, reached, strict=True):
            part = (rights[n] + scale.px(16) - x) / w if n < len(rights) - 1 else 1.0
            sheet.move(f"row.{i}.{page}", "drawn", span, min(part, 1.0), easing="linear")
        if i:
            put(f"line.{i}", Shade((x, middle - pitch / 2, w, max(scale.px(2), 1.0)), "hairline"), "area")
        if shot is not None:
            offset = 2 * math.sin(float(np.asarray(shot.cut_rad)))
            glyph = HitGlyph((x + (rights[0] - x) / 2 - radius * offset / 2, middle), radius, offset)
            put(f"hit.{i}", glyph)  # from the first frame on, so that it can be cut to
        for n, (cell, right) in enumerate(zip(row, rights, strict=True)):
            if n and cell:
                at = (right, middle + CAP_HEIGHT * cell_size / 2)
                name = put(f"cell.{i}.{n}", Text(cell, at, "table_cell", "right"), strength=DIM, at=turn(n, i))
                lit_at = next((span[0] for k, span in zip(until, reached, strict=True) if k >= n), when[0])
                sheet.move(name, "strength", (lit_at, lit_at + fade), 1.0)
                sheet.move(name, "strength", past, TOLD)


def _rows_at(frame: Layout, above_px: float, count: int) -> tuple[float, float]:
    """The upper edge of the first row, below title and head, and the pitch of the rows.

    The whole block, title and all, stands a little above the frame's middle.
    """
    H, s = frame.height_px, frame.scale.short_px
    _, y, _, h = frame.title_safe
    pitch = {"wide": 0.113 * H, "square": 0.105 * H, "tall": 0.135 * s}[frame.shape]
    pitch = min(pitch, (h - above_px) / MOST_ROWS)
    top = OPTICAL_MIDDLE * H - (above_px + count * pitch) / 2 + above_px
    return max(top, y + above_px), pitch


def _columns(
    frame: Layout, header: Sequence[str], rows: Sequence[Sequence[str]], x: float, w: float
) -> tuple[list[tuple[str, ...]], list[float]]:
    """The lines of each column's head, and the columns' right edges, the space between them shared evenly.

    The heads are broken where they would not fit beside each other.
    """
    scale = frame.scale

    def head_px(text: str) -> float:
        return scale.text_width_px(text, "table_head")

    cells = [
        max((scale.text_width_px(row[n], "table_cell") for row in rows), default=0.0) for n in range(len(header))
    ]
    glyph = (0.13 if frame.shape == "wide" else 0.2) * w
    inner = 0.0 if frame.shape == "tall" else scale.px(24)
    room = w - glyph - inner
    least = scale.px(28)
    heads: list[tuple[str, ...]] = [(name,) for name in header]
    widths = [max(cell, head_px(name)) for cell, name in zip(cells, header, strict=True)]
    if sum(widths[1:]) + least * (len(widths) - 1) > room:
        widths = [
            max([cell, *(head_px(word) for word in name.split())])
            for cell, name in zip(cells, header, strict=True)
        ]
        heads = [even_lines(name, width, head_px) or ("",) for name, width in zip(header, widths, strict=True)]
    gap = (room - sum(widths[1:])) / max(len(widths) - 1, 1)
    edges = [x + glyph]
    for width in widths[1:]:
        edges.append(edges[-1] + gap + width)
    return heads, edges


KIND = Kind(
    "summary",
    "a table of cuts on one card",
    outline,
    board,
    spans=("cut",),
    texts=("title",),
)
