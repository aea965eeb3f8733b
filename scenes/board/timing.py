"""Seconds of the house's motion: the same in every look, so that a lesson's clips keep their frames."""

from __future__ import annotations

from dataclasses import dataclass


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
