"""Seconds of the house's motion: the same in every look, so that a lesson's clips keep their frames."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Timing:
    """How long things take."""

    fade_s: float = 0.25
    rest_s: float = 0.2
    draw_s: float = 0.6
    draw_per_height_s: float = 0.5
    hold_s: float = 1.2
    dim_s: float = 0.4
    camera_s: float = 1.9
    camera_rest_s: float = 0.6
    contact_s: float = 0.5
    end_s: float = 1.5


TIMING = Timing()
