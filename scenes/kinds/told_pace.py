"""How fast a step is shown, said in its picture where a lesson slows or quickens it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from scenes.board import Board, Element, Move, Plate, StepSpan, Track
from scenes.board.brief import Brief
from scenes.board.timing import TIMING
from scenes.frame.layout import layout
from scenes.judge.legible import faults_at
from scenes.look.scale import plate_sizes, plate_width_px

ROWS = 8
"""At so many heights a place is looked for, where the corners are taken."""


def with_pace(board: Board, brief: Brief) -> Board:
    """The board with a small label in each step that has a pace of its own; where the kind says it, no second one.

    It stands in a corner of the frame, or where else nothing is.
    """
    spans = {span.name: span for span in board.steps}
    for n, step in enumerate(brief.steps):
        words, span = brief.labels.get(f"pace.{step.name}"), spans.get(step.name)
        if words is None or span is None or _is_told(board, span):
            continue
        board = _put_free(board, [_put(board, n, plate, span) for plate in _corners(words, brief)], span)
    return board


def _put_free(board: Board, tried: list[Board], span: StepSpan) -> Board:
    """The first of the boards that hides no more than the one without the words, or the one that hides least."""
    least = _wrong(board, span)
    counts = []
    for one in tried:
        counts.append(_wrong(one, span))
        if counts[-1] <= least:
            return one
    return tried[counts.index(min(counts))]


def _is_told(board: Board, span: StepSpan) -> bool:
    frames = range(span.first_frame, span.end_frame)
    return any(e.id.endswith("half_speed") and any(map(e.is_visible, frames)) for e in board.elements)


def _corners(words: str, brief: Brief) -> Iterator[Plate]:
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    x, y, w, h = frame.title_safe
    wide, high = plate_width_px(words, frame.scale, None), plate_sizes(frame.scale).height_px
    for top in (y + h - high, y, *(y + (h - high) * k / ROWS for k in range(ROWS - 1, 0, -1))):
        for left in (x + w - wide, x, x + (w - wide) / 2):
            yield Plate(words, (left, top, wide, high))


def _put(board: Board, n: int, plate: Plate, span: StepSpan) -> Board:
    fade = min(round(TIMING.fade_s * board.rate[0] / board.rate[1]), (span.end_frame - span.first_frame) // 3)
    first, end = span.first_frame, span.end_frame
    goes = (Move(end, end + fade, (0.0,)),) if end < board.frames else ()
    shown = Track((0.0,), (Move(first, first + fade, (1.0,)), *goes))
    return replace(
        board, elements=(*board.elements, Element(f"pace.{n}", "words", plate, layer="text", opacity=shown))
    )


def _wrong(board: Board, span: StepSpan) -> int:
    """How much stands on something else in the step."""
    first, end = span.first_frame, span.end_frame
    return sum(len(faults_at(board, first + (end - first) * k // 5)) for k in range(1, 5))
