"""A clip's board cut and paced: steps taken out, and steps shown slower or faster than they are drawn.

What a step that is taken out has changed has changed all the same: the picture after it starts from there.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from dataclasses import replace

from scenes.board import Board, Element, Move, Pips, Track, Values

Span = tuple[int, int]


def without(board: Board, names: frozenset[str]) -> Board:
    """The board without the frames of the steps of these names; its pips count the steps that are left."""
    for step in reversed(board.steps):
        if step.name in names:
            board = _changed(board, (step.first_frame, step.end_frame), 0)
    kept = tuple(step for step in board.steps if step.name not in names)
    return replace(_with_pips(board), steps=kept)


def paced(board: Board, frames: Mapping[str, int]) -> Board:
    """The board with the steps of these names lasting so many frames, all that moves in them slower or faster."""
    for step in reversed(board.steps):
        if step.name in frames:
            board = _changed(board, (step.first_frame, step.end_frame), frames[step.name])
    return board


def _changed(board: Board, span: Span, count: int) -> Board:
    """The board with the frames [first, end) shown in another count of frames; 0 takes them out."""
    first, end = span
    more = count - (end - first)
    if not more:
        return board

    def track(one: Track) -> Track:
        moved = _track(one, span, count)
        # what began only in the steps that are gone from the end is never seen
        return replace(moved, moves=tuple(move for move in moved.moves if move.first_frame < board.frames + more))

    def at(frame: int) -> int:
        return (
            frame
            if frame <= first
            else frame + more
            if frame >= end
            else first + (frame - first) * count // (end - first)
        )

    return board.retimed(board.frames + more, track, at)


def _track(track: Track, span: Span, count: int) -> Track:
    first, end = span
    more, scale = count - (end - first), (end - first) / count if count else 0.0
    last = max(end, *(move.end_frame for move in track.moves)) + more + 1 if track.moves else 0

    def was(frame: int) -> float:
        """The frame of before that a frame shows; the last of the span shows what its last one showed."""
        if frame < first:
            return frame
        return frame - more if frame >= first + count else first + (frame - first + 1) * scale - 1

    def seen(frame: float) -> Values:
        low = math.floor(frame)
        a, part = track.at(low), frame - low
        return tuple(x + (y - x) * part for x, y in zip(a, track.at(low + 1), strict=True)) if part else a

    moves = []
    for move in track.moves:
        if move.end_frame <= first:
            moves.append(move)
        elif move.first_frame >= end:
            moves.append(replace(move, first_frame=move.first_frame + more, end_frame=move.end_frame + more))
        else:
            start = bisect_right(range(last), move.first_frame - 1 + 1e-9, key=was)
            stop = bisect_left(range(last), move.end_frame - 1 - 1e-9, key=was) + 1
            through = tuple(seen(was(frame)) for frame in range(start, max(stop, start + 1)))
            if not count and move.end_frame <= end:  # it has come to its end, whatever moves by then
                through = (*through[:-1], move.to)
            moves.append(Move(start, start + len(through), through[-1], "linear", through))
    return replace(track, moves=tuple(moves))


def _with_pips(board: Board) -> Board:
    """The pips that can be seen at some time, counted again."""
    seen = {e.shape.now for e in board.elements if isinstance(e.shape, Pips) and _is_ever_seen(e, board.frames)}
    rank = {now: k for k, now in enumerate(sorted(seen))}

    def again(element: Element) -> Element:
        pips = element.shape
        if not isinstance(pips, Pips):
            return element
        return replace(element, shape=replace(pips, count=len(rank), now=rank.get(pips.now, 0)))

    return replace(board, elements=tuple(map(again, board.elements)))


def _is_ever_seen(element: Element, frames: int) -> bool:
    """True where it is visible on the first frame, or once one of its changes is done, for longer than a frame."""
    ends = [0, *(move.end_frame for move in element.opacity.moves)]
    return any(element.is_visible(frame) for frame in ends if frame < frames)
