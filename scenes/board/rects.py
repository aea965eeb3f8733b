"""Rectangles (x, y, width, height) of the frame, in pixels."""

from __future__ import annotations

from aimgeo.vectors import Array
from scenes.board import Pixel, Rect


def part_inside(a_px: Pixel | Array, b_px: Pixel | Array, rect: Rect) -> tuple[float, float]:
    """The part (from, to) of the segment a-b inside a rectangle, as fractions of it; from > to when there is none.

    >>> part_inside((0.0, 5.0), (10.0, 5.0), (2.0, 0.0, 6.0, 10.0))
    (0.2, 0.8)
    """
    lo, hi = 0.0, 1.0
    for axis in (0, 1):
        step = float(b_px[axis] - a_px[axis])
        low, high = rect[axis] - float(a_px[axis]), rect[axis] + rect[axis + 2] - float(a_px[axis])
        if abs(step) < 1e-12:
            if low > 0 or high < 0:
                return 1.0, 0.0
            continue
        t0, t1 = sorted((low / step, high / step))
        lo, hi = max(lo, t0), min(hi, t1)
    return (lo, hi) if lo <= hi else (1.0, 0.0)


def part_in_circle(a_px: Pixel | Array, b_px: Pixel | Array, centre: Pixel, radius: float) -> tuple[float, float]:
    """The part (from, to) of the segment a-b inside a circle, as fractions of it; from > to when there is none.

    >>> part_in_circle((0.0, 3.0), (10.0, 3.0), (5.0, 0.0), 5.0)
    (0.1, 0.9)
    """
    x, y = float(a_px[0]) - centre[0], float(a_px[1]) - centre[1]
    dx, dy = float(b_px[0] - a_px[0]), float(b_px[1] - a_px[1])
    size, towards, off = dx * dx + dy * dy, x * dx + y * dy, x * x + y * y - radius * radius
    root = towards * towards - size * off
    if size == 0 or root < 0:
        return (0.0, 1.0) if size == 0 and off <= 0 else (1.0, 0.0)
    lo, hi = max((-towards - root**0.5) / size, 0.0), min((-towards + root**0.5) / size, 1.0)
    return (lo, hi) if lo <= hi else (1.0, 0.0)
