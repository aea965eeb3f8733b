"""Seconds of the house's motion: the same in every look, so that a lesson's clips keep their frames."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

from scenes.board import Span


@dataclass(frozen=True, slots=True)
class Timing:
    """How long things take."""

    fade_s: float = 0.25
    rest_s: float = 0.2
    draw_s: float = 0.6
    draw_per_height_s: float = 1.2
    draw_least_s: float = 0.8
    draw_most_s: float = 2.5
    hold_s: float = 1.2
    dim_s: float = 0.4
    camera_s: float = 1.9
    camera_rest_s: float = 0.6
    contact_s: float = 0.5
    end_s: float = 1.5


TIMING = Timing()


def drawing_s(length: float) -> float:
    """Seconds in which a line grows whose length is this part of the frame's height.

    >>> drawing_s(0.05), drawing_s(1.0), drawing_s(4.0)
    (0.8, 1.8, 2.5)
    """
    wanted = TIMING.draw_s + TIMING.draw_per_height_s * length
    return min(max(wanted, TIMING.draw_least_s), TIMING.draw_most_s)


def frames_of(seconds: float, rate: tuple[int, int]) -> int:
    """Whole frames nearest to a duration, at least one."""
    return max(round(seconds * rate[0] / rate[1]), 1)


def in_turn(first_frame: int, end_frame: int, seconds: Sequence[float], rate: tuple[int, int]) -> list[Span]:
    """Spans one after the other from the first frame; squeezed alike when they would run past the end.

    >>> in_turn(100, 130, (0.5, 1.0), (30, 1))
    [(100, 110), (110, 130)]
    """
    fps = rate[0] / rate[1]
    squeeze = min(1.0, (end_frame - first_frame) / max(sum(seconds) * fps, 1e-9))
    edges = [first_frame + round(t * fps * squeeze) for t in accumulate(seconds, initial=0.0)]
    return list(pairwise(edges))
