"""The lower third: who speaks, and a second line, on a plate that comes in with a step and goes again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from scenes.board import Board, Element, Move, Rect, Shade, Text, Track
from scenes.board.brief import LOWER_THIRD, LowerThird
from scenes.look.scale import Scale

COMES_S, GROWS_S, FADES_S = 0.4, 0.35, 0.3
"""After its step has begun; how long it grows, and fades in and out: judged by eye."""
LOWEST = {False: 0.88, True: 0.80}
"""How far down it may reach, of the height, in wide and square and in tall frames: captions and signs of programs
on a phone stand below."""
GAP_PX = 14.0
STYLES = ("heading", "label")
ACROSS, DOWN = 24, 40
"""Places that are tried."""


def with_lower_third(board: Board, told: LowerThird | None) -> Board:
    """The board with the lower third where it covers nothing while it stands; without it where none is."""
    if told is None:
        return board
    span = _span(board, told)
    found = None if span is None else place(board, told, span)
    if span is None or found is None:
        return board
    (first, end), (rect, style) = span, found
    scale = Scale(board.width_px, board.height_px, board.look)
    fps = board.rate[0] / board.rate[1]
    grown, fade = first + max(round(GROWS_S * fps), 1), max(round(FADES_S * fps), 1)
    x, y, _, h = rect
    pad, bar = _pad(scale), scale.stroke_px(7)
    gone = Move(end - fade, end, (0.0,))
    there = Track((0.0,), (Move(first, first + 1, (1.0,)), gone))
    drawn = Track((0.0,), (Move(first, grown, (1.0,)),))
    words = Track((0.0,), (Move((first + grown) // 2, grown + fade // 2, (1.0,)), gone))
    base = y + pad + 0.78 * scale.text_px(style)
    at = (x + bar + pad, base)
    put = [
        Element(LOWER_THIRD, LOWER_THIRD, Shade(rect, "plate", scale.stroke_px(9)), (), "label", there, drawn),
        Element(f"{LOWER_THIRD}.bar", LOWER_THIRD, Shade((x, y, bar, h), "row_bar"), (), "text", there, drawn),
        Element(
            f"{LOWER_THIRD}.name",
            LOWER_THIRD,
            Text(told.name, at, style),
            (),
            "text",
            words,
        ),
    ]
    if told.under:
        below = (x + bar + pad, base + 1.3 * scale.text_px("small"))
        put.append(
            Element(f"{LOWER_THIRD}.under", LOWER_THIRD, Text(told.under, below, "small"), (), "text", words)
        )
    return replace(board, elements=(*board.elements, *put))


def has_place(board: Board) -> bool:
    """True where the lower third has found its place."""
    return any(element.id == LOWER_THIRD for element in board.elements)


def place(board: Board, told: LowerThird, span: tuple[int, int]) -> tuple[Rect, str] | None:
    """The place nearest to the lower left that is free on all frames [first, end), and the type style of the name:
    smaller where it finds none otherwise. None when there is no place.
    """
    from scenes.judge.legible import taken  # few clips need it, and it takes a while to import

    scale = Scale(board.width_px, board.height_px, board.look)
    gap = scale.px(GAP_PX)
    looks = [taken(board, frame) for frame in (*range(span[0], span[1], 2), span[1] - 1)]
    for style in STYLES:
        for rect in _places(board, told, style, scale):
            x, y, w, h = rect
            around = (x - gap, y - gap, w + 2 * gap, h + 2 * gap)
            if not any(is_taken(around) for is_taken in looks):
                return rect, style
    return None


def _places(board: Board, told: LowerThird, style: str, scale: Scale) -> Iterator[Rect]:
    W, H = board.width_px, board.height_px
    left, low, high = 0.05 * W, LOWEST[H > 1.2 * W] * H, 0.10 * H
    pad, width = _pad(scale), scale.text_width_px
    w = max(width(told.name, style), width(told.under, "small")) + 3 * pad + scale.stroke_px(7)
    h = 2 * pad + 0.85 * scale.text_px(style) + (1.3 * scale.text_px("small") if told.under else 0.0)
    rows = [low - h - k * (low - h - high) / DOWN for k in range(DOWN + 1)]
    columns = [left + k * (0.95 * W - w - left) / ACROSS for k in range(ACROSS + 1)]
    if columns[-1] < left - 1e-9:  # wider than the frame
        return
    order = sorted((low - y + 0.6 * (x - left), x, y) for x in columns for y in rows)
    yield from ((x, y, w, h) for _, x, y in order)


def _pad(scale: Scale) -> float:
    return scale.stroke_px(16)


def _span(board: Board, told: LowerThird) -> tuple[int, int] | None:
    """The frames on which it is to be seen, within the clip's steps."""
    step = next((step for step in board.steps if step.name == told.step), None)
    if step is None:
        return None
    fps = board.rate[0] / board.rate[1]
    last = board.steps[-1].end_frame
    first = min(step.first_frame + round(COMES_S * fps), max(last - round(told.seconds * fps), step.first_frame))
    return first, min(first + round(told.seconds * fps), last)
