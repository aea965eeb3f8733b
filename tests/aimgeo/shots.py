"""Shots for tests: hypothesis strategies, and a collision found without the project's own geometry."""

from __future__ import annotations

import math

from hypothesis import strategies as st
from scipy.optimize import brentq

from aimgeo.shot import Shot, place_shot


def placed(
    object_ball: tuple[float, float], bearing_rad: float, cut_rad: float, distance_mm: float, diameter_mm: float
) -> Shot:
    """A shot whose object ball must travel 900 mm along a bearing."""
    target = (object_ball[0] + 900 * math.cos(bearing_rad), object_ball[1] + 900 * math.sin(bearing_rad))
    return place_shot(object_ball, target, cut_rad, distance_mm, diameter_mm)


def sizes() -> st.SearchStrategy[tuple[tuple[float, float], float, float, float]]:
    """Object ball, bearing, centre distance in diameters, and diameter."""
    return st.tuples(
        st.tuples(st.floats(-1200, 1200), st.floats(-600, 600)),
        st.floats(-math.pi, math.pi),
        st.floats(1.2, 45),
        st.floats(45, 70),
    )


@st.composite
def shots(draw: st.DrawFn, least_cut_deg: float = 0.0, most_cut_deg: float = 85.0) -> Shot:
    """Any shot with an unsigned cut in the range, left or right, near or far, and several sizes of ball."""
    object_ball, bearing, diameters, d = draw(sizes())
    cut = math.radians(draw(st.floats(least_cut_deg, most_cut_deg))) * draw(st.sampled_from([1, -1]))
    return placed(object_ball, bearing, cut, diameters * d, d)


def collide(
    cue_ball: tuple[float, float],
    object_ball: tuple[float, float],
    direction: tuple[float, float],
    diameter_mm: float,
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Where the rolling cue ball's centre is when it first touches, and the way the object ball leaves.

    Found by stepping along the path until the distance of the centres falls below a diameter, and then by
    bracketing that moment: no closed form. Without friction and between equal balls the object ball leaves
    along the line of centres at that moment. None where the balls never touch.
    """

    def gap(rolled_mm: float) -> float:
        return math.dist(along(rolled_mm), object_ball) - diameter_mm

    def along(rolled_mm: float) -> tuple[float, float]:
        return (cue_ball[0] + rolled_mm * direction[0], cue_ball[1] + rolled_mm * direction[1])

    rolled = before = 0.0
    while gap(rolled) > 0:
        # within the gap nothing can touch, so a long free way takes one step
        before, rolled = rolled, rolled + max(diameter_mm / 400, gap(rolled))
        if rolled > math.dist(cue_ball, object_ball) + 2 * diameter_mm:
            return None
    touch = along(brentq(gap, before, rolled, xtol=1e-12))
    away = (object_ball[0] - touch[0], object_ball[1] - touch[1])
    size = math.hypot(*away)
    return touch, (away[0] / size, away[1] / size)
