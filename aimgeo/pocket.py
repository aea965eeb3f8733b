"""The window of a pocket: which straight paths of the object ball pass between the two points of its mouth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aimgeo.aim_frame import AimFrame
from aimgeo.tables import Pocket
from aimgeo.vectors import (
    Array,
    ArrayLike,
    BoolArray,
    angle_rad,
    arcsine_rad,
    dot,
    left,
    length,
    turned,
    unit,
    wrapped_rad,
)

LEAST_WINDOW_RAD = np.radians(1e-9)
"""A narrower window is none."""
INSIDE_PART = 0.01
"""How far inside its range the nearest playable direction is offered, as a part of the range: its very edge
touches a point or a cushion."""
EDGE_RAD = 1e-6
"""How far from touching a cushion the nearest direction is offered where no pocket bounds it."""


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """Bearings of the window's edges from the join of object ball and mouth centre, left positive, (N,).

    nan where no straight path is clean. `towards` (N, 2): the unit direction from object ball to mouth centre;
    `distance_mm` (N,): its length.
    """

    low_rad: Array
    high_rad: Array
    towards: Array
    distance_mm: Array

    @property
    def is_clean(self) -> BoolArray:
        """True where some straight path passes between the points touching neither."""
        return np.isfinite(self.low_rad)


def mouth_tips(
    object_ball: ArrayLike, mouth_centre: ArrayLike, mouth_mm: ArrayLike, approach_rad: ArrayLike
) -> tuple[Array, Array]:
    """The mouth's two points (..., 2): right and left as the object ball comes, square to its normal.

    The normal is the direction from object ball to mouth centre turned counter-clockwise by the approach.
    """
    T = np.asarray(mouth_centre, float)
    along = left(turned(unit(T - np.asarray(object_ball, float)), approach_rad))
    half = np.asarray(mouth_mm, float)[..., None] / 2
    return T - half * along, T + half * along


def pocket_window(
    object_ball: ArrayLike, mouth_centre: ArrayLike, tip_a: ArrayLike, tip_b: ArrayLike, radius_mm: ArrayLike
) -> Window:
    """The window of clean paths from the object ball; points (..., 2), tips in either order.

    A path at bearing b passes a tip at bearing t and distance s at s sin|t - b|; the tangent paths,
    b = t -+ asin(R/s), are the edges. Tips are bare points: the cushions beside them need no look of their own,
    since a path that clears the tip has cleared its cushion.

    >>> w = pocket_window([0.0, 0.0], [1000.0, 0.0], [1000.0, 60.0], [1000.0, -60.0], 28.575)
    >>> [round(float(np.degrees(v)), 4) for v in (w.low_rad, w.high_rad)]
    [-1.7991, 1.7991]
    """
    O, T, A, B = (np.asarray(p, float) for p in (object_ball, mouth_centre, tip_a, tip_b))
    R = np.asarray(radius_mm, float)
    towards = unit(T - O)
    a, b = angle_rad(towards, A - O), angle_rad(towards, B - O)
    free_a, free_b = arcsine_rad(R, length(A - O)), arcsine_rad(R, length(B - O))
    a_is_left = a > b
    high = np.where(a_is_left, a - free_a, b - free_b)
    low = np.where(a_is_left, b + free_b, a + free_a)
    with np.errstate(invalid="ignore"):
        clean = high - low >= LEAST_WINDOW_RAD
    return Window(np.where(clean, low, np.nan), np.where(clean, high, np.nan), towards, length(T - O))


def window_into(pocket: Pocket, object_ball: ArrayLike, radius_mm: ArrayLike) -> Window:
    """The window of a table's pocket, from object balls (N, 2)."""
    O = np.asarray(object_ball, float)
    centre, tip_a, tip_b = (np.broadcast_to(p, O.shape) for p in (pocket.centre_mm, *pocket.points_mm))
    return pocket_window(O, centre, tip_a, tip_b, radius_mm)


def is_in_mouth(object_ball: ArrayLike, tip_a: ArrayLike, tip_b: ArrayLike, radius_mm: ArrayLike) -> BoolArray:
    """True where the ball touches a point or reaches into the line between them, (...)."""
    O, A, B = (np.asarray(p, float) for p in (object_ball, tip_a, tip_b))
    return segment_distance_mm(O, A, B) <= np.asarray(radius_mm, float)


def segment_distance_mm(point: ArrayLike, start: ArrayLike, end: ArrayLike) -> Array:
    """Distance of points (..., 2) from the segments between two points (..., 2)."""
    p, s, e = (np.asarray(v, float) for v in (point, start, end))
    along = e - s
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.nan_to_num(np.clip(dot(p - s, along) / dot(along, along), 0.0, 1.0), nan=0.0)
    return length(p - s - part[..., None] * along)


def passes(window: Window, bearing_rad: ArrayLike) -> BoolArray:
    """True where the object ball, leaving at a bearing (N,) or (K, N), goes clean through."""
    bearing = wrapped_rad(bearing_rad)
    with np.errstate(invalid="ignore"):
        return (bearing > window.low_rad) & (bearing < window.high_rad)


def aim_window_rad(frame: AimFrame, window: Window) -> Array:
    """The width of the range of aim directions whose object-ball path is clean, (N,); 0 for none.

    Directions that would need a cut of 90 degrees or more cannot be played and bound the range.
    """
    centres = frame.from_table(frame.object_ball_mm)
    towards = frame.cue_ball_mm + window.towards
    base = angle_rad(centres, frame.from_table(towards))
    D, d = frame.distance_mm, frame.diameter_mm
    reach = np.pi / 2 - arcsine_rad(d, D)
    low, high = (np.clip(wrapped_rad(base + edge), -reach, reach) for edge in (window.low_rad, window.high_rad))
    # the ghost ball for a line at w from the line of centres stands at (D - d cos w, -d sin w)
    aim_low, aim_high = (np.arctan2(-d * np.sin(w), D - d * np.cos(w)) for w in (low, high))
    return np.where(window.is_clean & (high > low), aim_low - aim_high, 0.0)


def playable_bearing_rad(
    window: Window, object_ball: ArrayLike, half_bed_mm: ArrayLike, ball_diameter_mm: ArrayLike
) -> Array:
    """The bearing in the window nearest to the mouth's centre that leaves the ghost ball on the bed, (N,).

    0 where the centre itself can be taken; nan where nothing can. half_bed_mm (N, 2): inf for an endless cloth.
    Of a range whose edge is the nearest, a hundredth is kept clear of the edge.
    """
    rails = _forbidden_rad(window.towards, object_ball, half_bed_mm, ball_diameter_mm)
    with np.errstate(invalid="ignore"):
        straight = (window.low_rad < 0) & (window.high_rad > 0)
        for middle, spread in rails:
            straight &= np.abs(middle) >= spread
    found = np.where(straight, 0.0, np.nan)
    at = np.flatnonzero(~straight & window.is_clean)
    if at.size:  # few, as a rule
        low, high = window.low_rad[at], window.high_rad[at]
        left_of = _first_free_rad([(middle[at], spread[at]) for middle, spread in rails], low, high)
        right_of = -_first_free_rad([(-middle[at], spread[at]) for middle, spread in rails], -high, -low)
        found[at] = np.where(np.isnan(right_of) | (np.abs(left_of) <= np.abs(right_of)), left_of, right_of)
    return found


def cushion_bearing_rad(
    towards: ArrayLike, object_ball: ArrayLike, half_bed_mm: ArrayLike, ball_diameter_mm: ArrayLike
) -> Array:
    """The bearing nearest to the direction `towards` (N, 2) that leaves the ghost ball on the bed, (N,).

    Counted from that direction, left positive. An edge of the free bearings is kept by EDGE_RAD, so that the
    digits of a direction that is written down suffice. nan where every bearing is forbidden.
    """
    rails = _forbidden_rad(np.asarray(towards, float), object_ball, half_bed_mm, ball_diameter_mm)
    up, down = _past_rad(rails, 0.0), -_past_rad([(-centre, spread) for centre, spread in rails], 0.0)
    nearer = np.where(up <= -down, up, down)
    return np.where(
        nearer == 0, 0.0, np.where(np.abs(nearer) < np.pi, nearer + np.sign(nearer) * EDGE_RAD, np.nan)
    )


def _forbidden_rad(
    towards: Array, object_ball: ArrayLike, half_bed_mm: ArrayLike, ball_diameter_mm: ArrayLike
) -> list[tuple[Array, Array]]:
    """The bearings that each of the four rails forbids: the middle of a range and half its width, (N,) each.

    A rail at a gap g from the object ball, its outward normal n, needs u.n >= -g/d: it forbids bearings within
    acos(g/d) of the way straight out from it.
    """
    O, bed = np.asarray(object_ball, float), np.asarray(half_bed_mm, float)
    d = np.asarray(ball_diameter_mm, float)
    found = []
    for axis in (0, 1):
        for sign in (1.0, -1.0):
            gap = bed[..., axis] - d / 2 - sign * O[..., axis]
            out = np.zeros(2)
            out[axis] = -sign
            middle = angle_rad(towards, np.broadcast_to(out, towards.shape))
            found.append((middle, np.arccos(np.clip(gap / d, 0.0, 1.0))))
    return found


def _past_rad(rails: list[tuple[Array, Array]], start: ArrayLike) -> Array:
    """The first bearing from `start` (N,) on, counter-clockwise, that no rail forbids."""
    bearing = np.asarray(start, float)
    for _ in rails:  # each may hand on to another
        for middle, spread in rails:
            ahead = wrapped_rad(bearing - middle)
            bearing = np.where(np.abs(ahead) < spread, bearing + (spread - ahead), bearing)
    return bearing


def _first_free_rad(rails: list[tuple[Array, Array]], low: Array, high: Array) -> Array:
    """Inside the first range of a window (N,) from 0 on that is free; nan where there is none."""
    start = np.maximum(low, 0.0)
    first, end = _past_rad(rails, start), high
    for middle, spread in rails:
        ahead = np.mod(middle - spread - first, 2 * np.pi)
        end = np.where(spread > 0, np.minimum(end, first + ahead), end)
    return np.where(end - first >= LEAST_WINDOW_RAD, first + INSIDE_PART * (end - first), np.nan)


def playable_target_mm(window: Window, object_ball: ArrayLike, bearing_rad: ArrayLike) -> Array:
    """A target for the object ball at a bearing from the mouth's centre and at the centre's distance, (N, 2)."""
    way = turned(window.towards, bearing_rad)
    return np.asarray(object_ball, float) + window.distance_mm[..., None] * way
