"""Exact outlines of balls and circles in a picture, from the projection alone.

The contour of a quadric with dual Q* under a projection P is the conic with dual P Q* P^T (Hartley and Zisserman,
Multiple View Geometry, 2nd ed., result 8.9; from memory). For plan and pinhole projections alike it is an ellipse,
as long as the whole ball lies in front.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aimgeo.vectors import Array
from scenes.board import Rect


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """An ellipse in pixels: centre (2,) + axes (2, 2) times the unit circle.

    `axes_px` is symmetric, so that points of the unit circle keep their direction: dashes do not turn while the
    picture moves.
    """

    centre_px: Array
    axes_px: Array

    def grown(self, by_px: float) -> Outline:
        """Both half-axes longer by so many pixels."""
        sizes, turns = np.linalg.eigh(self.axes_px)
        return Outline(self.centre_px, turns * (sizes + by_px) @ turns.T)

    def scaled(self, by: float) -> Outline:
        """Both half-axes times a factor."""
        return Outline(self.centre_px, self.axes_px * by)

    @property
    def mean_radius_px(self) -> float:
        """Radius of the circle of the same area."""
        return float(np.sqrt(abs(np.linalg.det(self.axes_px))))

    def box_px(self) -> Rect:
        """x, y, width and height of the box around it."""
        half = np.linalg.norm(self.axes_px, axis=1)
        x, y = self.centre_px - half
        return float(x), float(y), float(2 * half[0]), float(2 * half[1])

    def inside(self, a_px: Array, b_px: Array) -> tuple[float, float] | None:
        """The part (from, to) of the segment a-b within the ellipse, as fractions of it, or None."""
        inverse = np.linalg.inv(self.axes_px)
        p, d = inverse @ (a_px - self.centre_px), inverse @ (b_px - a_px)
        dd, pd, pp = d @ d, p @ d, p @ p - 1
        root = pd * pd - dd * pp
        if dd == 0 or root <= 0:
            return None
        low, high = float((-pd - np.sqrt(root)) / dd), float((-pd + np.sqrt(root)) / dd)
        low, high = max(low, 0.0), min(high, 1.0)
        return (low, high) if low < high else None


def ball_outline(P: Array, centre_mm: Array, radius_mm: float) -> Outline | None:
    """The outline of a ball under P (3, 4); None when part of it lies behind the camera."""
    moved = np.eye(4)
    moved[:3, 3] = centre_mm
    M = P @ moved
    if M[2, 3] <= 0:
        return None
    return _ellipse(M @ np.diag([1.0, 1.0, 1.0, -1 / radius_mm**2]) @ M.T)


def circle_outline(P: Array, centre_mm: Array, radius_mm: float) -> Outline | None:
    """The image of a horizontal circle under P (3, 4); None when part of it lies behind the camera."""
    x, y, z = centre_mm
    M = P @ np.array([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, z], [0.0, 0.0, 1.0]])
    if M[2, 2] <= 0:
        return None
    return _ellipse(M @ np.diag([1.0, 1.0, -1 / radius_mm**2]) @ M.T)


def _ellipse(dual: Array) -> Outline | None:
    if dual[2, 2] >= 0:
        return None
    dual = dual / dual[2, 2]
    centre = dual[:2, 2]
    # the dual of (x - c)^T E^-1 (x - c) = 1 is [c c^T - E, c; c^T, 1]
    sizes, turns = np.linalg.eigh(np.outer(centre, centre) - dual[:2, :2])
    if sizes[0] <= 0:
        return None
    return Outline(centre, turns * np.sqrt(sizes) @ turns.T)
