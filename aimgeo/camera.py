"""The pinhole: where points and balls appear to an eye. Positions (..., 3) mm, z up; pixels x right, y down.

Pixel (0, 0) is the outer corner of the top-left pixel. A picture without a lens is told by its projection P,
(3, 4): (u, v, w) = P (x, y, z, 1), pixel (u/w, v/w), w > 0 in front. Plan views have such a P too, with w = 1.
What takes a P works for both, and for many at once: points (N, K, 3) with P (N, 3, 4).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from operator import mul
from typing import Any

import numpy as np

from aimgeo.vectors import Array, ArrayLike, BoolArray

PLUMB_MM = 1e-9
"""A look-at point within this of the eye's plumb line is straight below (or above) it."""


@dataclass(frozen=True, slots=True)
class Lens:
    """Radial distortion: a place at r focal lengths from the principal point moves out by 1 + k1 r^2 + k2 r^4.

    The first two radial terms of D. C. Brown, Decentering distortion of lenses, Photogrammetric Engineering 32
    (1966), with the signs that OpenCV gives them; negative k1 is the barrel of a wide lens.
    """

    k1: float
    k2: float = 0.0

    def bent(self, places: ArrayLike) -> Array:
        """Where the lens puts places (..., 2), given in focal lengths from the principal point.

        nan beyond the turning radius, where the polynomial would fold the picture back.
        """
        p = np.asarray(places, float)
        rr = np.sum(p * p, axis=-1, keepdims=True)
        with np.errstate(invalid="ignore", over="ignore"):
            factor = np.where(rr <= self.turning_radius**2, 1 + rr * (self.k1 + rr * self.k2), np.nan)
            return np.asarray(p * factor, float)

    def straightened(self, places: ArrayLike) -> Array:
        """The places (..., 2) that the lens puts here: the inverse of `bent`; nan where it puts none.

        >>> lens = Lens(-0.2, 0.05)
        >>> lens.bent(lens.straightened([[0.4, 0.3]])).round(15).tolist()
        [[0.4, 0.3]]
        """
        p = np.asarray(places, float)
        k1, k2, limit = self.k1, self.k2, self.turning_radius
        seen = np.hypot(p[..., 0], p[..., 1])
        low, high = np.zeros_like(seen), np.full_like(seen, min(limit, 1e3))
        r = np.clip(seen, low, high)
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            # Newton within a bracket: near the turning radius the slope vanishes
            for _ in range(60):
                rr = r * r
                excess = r * (1 + rr * (k1 + k2 * rr)) - seen
                high, low = np.where(excess > 0, r, high), np.where(excess > 0, low, r)
                step = r - excess / (1 + rr * (3 * k1 + 5 * k2 * rr))
                moved = np.where((step > low) & (step < high), step, np.where(excess == 0, r, (low + high) / 2))
                if np.array_equal(moved, r):
                    break
                r = moved
            beyond = seen > self.reach if np.isfinite(limit) else np.zeros(seen.shape, bool)
            scale = np.where(seen > 0, np.where(beyond, np.nan, r) / np.where(seen > 0, seen, 1.0), 1.0)
        return np.asarray(p * scale[..., None])

    @property
    def turning_radius(self) -> float:
        """The radius beyond which larger ones are seen nearer to the middle again; inf where there is none.

        The smallest positive root of 1 + 3 k1 r^2 + 5 k2 r^4.

        >>> Lens(-0.1).turning_radius.__round__(6), Lens(0.1).turning_radius
        (1.825742, inf)
        """
        under = 9 * self.k1 * self.k1 - 20 * self.k2
        if under < 0:
            return math.inf
        # 2 / (-3 k1 +- root) has no cancellation at the smaller root, and stands where k2 is 0
        parts = (-3 * self.k1 + math.sqrt(under), -3 * self.k1 - math.sqrt(under))
        return min((math.sqrt(2 / part) for part in parts if part > 0), default=math.inf)

    @property
    def reach(self) -> float:
        """How far from the principal point the lens shows anything, in focal lengths; inf where there is no
        end.
        """
        r = self.turning_radius
        return r * (1 + r * r * (self.k1 + self.k2 * r * r)) if math.isfinite(r) else math.inf


@dataclass(frozen=True, slots=True, eq=False)
class Camera:
    """A pinhole at `eye_mm` (..., 3), its axes right, down, forward as rows (..., 3, 3), and the picture it makes.

    `axes` is the rotation from table to camera. Focal length (...) and principal point (..., 2) in pixels of a
    picture of `size_px` (..., 2); the principal point may stand anywhere. A lens bends what the pinhole shows.
    """

    eye_mm: Array
    axes: Array
    focal_px: Array
    principal_px: Array
    size_px: Array
    lens: Lens | None = None

    def matrix(self) -> Array:
        """P (..., 3, 4) of the pinhole, before its lens; w is the depth in mm."""
        forward = self.axes[..., 2, :]
        rows = self.axes * np.asarray(self.focal_px)[..., None, None]
        rows[..., 2, :] = forward
        rows[..., :2, :] += self.principal_px[..., :, None] * forward[..., None, :]
        return np.concatenate([rows, -(rows @ self.eye_mm[..., :, None])], axis=-1)


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """The outline ellipse of a ball or a circle in the picture: centre (..., 2) + axes (..., 2, 2) times the unit
    circle; nan where it is none.

    `axes_px` is symmetric, so that points of the unit circle keep their direction: dashes do not turn while the
    picture moves.
    """

    centre_px: Array
    axes_px: Array

    @property
    def is_seen(self) -> BoolArray:
        """True (...) where there is one."""
        return np.isfinite(self.axes_px[..., 0, 0])

    @property
    def semi_major_px(self) -> Array:
        """The longer half-axis (...)."""
        a, b, d = self.axes_px[..., 0, 0], self.axes_px[..., 0, 1], self.axes_px[..., 1, 1]
        return np.asarray((a + d) / 2 + np.hypot((a - d) / 2, b))

    @property
    def semi_minor_px(self) -> Array:
        """The shorter half-axis (...)."""
        a, b, d = self.axes_px[..., 0, 0], self.axes_px[..., 0, 1], self.axes_px[..., 1, 1]
        return np.asarray((a * d - b * b) / self.semi_major_px)

    @property
    def rotation_rad(self) -> Array:
        """The major axis (...) from +x towards +y, in (-pi/2, pi/2]; 0 for a circle."""
        a, b, d = self.axes_px[..., 0, 0], self.axes_px[..., 0, 1], self.axes_px[..., 1, 1]
        is_round = np.hypot(a - d, 2 * b) <= 1e-12 * (a + d)
        turn = np.where(is_round, 0.0, np.arctan2(2 * b, a - d) / 2)
        return np.where(turn <= -np.pi / 2, np.pi / 2, turn)

    @property
    def mean_radius_px(self) -> float:
        """Radius of the circle of the same area, for one outline."""
        (a, b), (c, d) = self.axes_px.tolist()
        return float(np.sqrt(a * d - b * c))

    def grown(self, by_px: float) -> Outline:
        """Both half-axes longer by so many pixels."""
        return Outline(self.centre_px, self.axes_px + by_px * np.eye(2))

    def scaled(self, by: float) -> Outline:
        """Both half-axes times a factor."""
        return Outline(self.centre_px, self.axes_px * by)

    def half_box_px(self) -> Array:
        """Half the width and height (..., 2) of the box around it."""
        return np.asarray(np.hypot(self.axes_px[..., 0], self.axes_px[..., 1]))

    def box_px(self) -> tuple[float, float, float, float]:
        """x, y, width and height of the box around one outline."""
        half = self.half_box_px()
        (x, y), (w, h) = (self.centre_px - half).tolist(), (2 * half).tolist()
        return x, y, w, h

    def inside(self, a_px: Array, b_px: Array) -> tuple[float, float] | None:
        """The part (from, to) of the segment a-b within one ellipse, as fractions of it, or None."""
        inverse = np.linalg.inv(self.axes_px)
        p, d = inverse @ (a_px - self.centre_px), inverse @ (b_px - a_px)
        dd, pd, pp = d @ d, p @ d, p @ p - 1
        root = pd * pd - dd * pp
        if dd == 0 or root <= 0:
            return None
        low, high = float((-pd - np.sqrt(root)) / dd), float((-pd + np.sqrt(root)) / dd)
        low, high = max(low, 0.0), min(high, 1.0)
        return (low, high) if low < high else None


def camera(
    eye_mm: ArrayLike,
    look_at_mm: ArrayLike,
    vertical_fov_rad: ArrayLike,
    width_px: ArrayLike,
    height_px: ArrayLike,
    up_when_plumb: ArrayLike = (1.0, 0.0),
    principal_px: ArrayLike | None = None,
) -> Camera:
    """The camera at an eye that looks at a point (..., 3), level with the horizon.

    The field of view is that of a picture with the principal point in its middle; `principal_px` (..., 2) puts it
    elsewhere. `up_when_plumb` (..., 2): the table direction that is up in the picture when it looks straight down.
    nan where the eye is at the point looked at.

    >>> cam = camera([0.0, 0.0, 300.0], [1000.0, 0.0, 300.0], np.radians(90), 200, 100)
    >>> project(cam, [[1000.0, -500.0, 300.0]]).tolist()
    [[125.0, 50.0]]
    """
    E, look, up = np.broadcast_arrays(
        *(np.asarray(v, float) for v in (eye_mm, look_at_mm, _lifted(up_when_plumb)))
    )
    w = look - E
    ground = np.hypot(w[..., 0], w[..., 1])
    distance = np.hypot(ground, w[..., 2])
    plumb = ground <= PLUMB_MM
    with np.errstate(invalid="ignore", divide="ignore"):
        forward = w / np.where(distance > 0, distance, np.nan)[..., None]
        level = w / np.where(plumb, np.nan, ground)[..., None]
    # right is level: the horizontal heading turned clockwise; looking straight down, the heading is `up` itself
    hx, hy = np.where(plumb, up[..., 0], level[..., 0]), np.where(plumb, up[..., 1], level[..., 1])
    forward = np.where(plumb[..., None] & np.isfinite(forward), _plumb(w[..., 2]), forward)
    turn = np.where(plumb & (w[..., 2] > 0), -1.0, 1.0)
    right = np.stack([turn * hy, -turn * hx, np.zeros_like(hx)], axis=-1)
    focal = np.asarray(height_px, float) / 2 / np.tan(np.asarray(vertical_fov_rad, float) / 2)
    size = np.stack(np.broadcast_arrays(np.asarray(width_px, float), np.asarray(height_px, float)), axis=-1)
    principal = size / 2 if principal_px is None else np.asarray(principal_px, float)
    axes = np.stack([right, np.cross(forward, right), forward], axis=-2)
    return Camera(E, axes, focal, principal, size)


def project(view: Camera, points_mm: ArrayLike) -> Array:
    """Pixels (..., 2) of points (..., 3), through the lens; nan where they are not in front of the camera."""
    px = pixels(view.matrix(), points_mm)
    if view.lens is None:
        return px
    middle, focal = view.principal_px, np.asarray(view.focal_px)[..., None]
    if np.ndim(middle) > 1:
        middle, focal = middle[..., None, :], focal[..., None, :]
    return np.asarray(middle + focal * view.lens.bent((px - middle) / focal))


def pixels(P: Array, points_mm: ArrayLike) -> Array:
    """Pixels (..., 2) of points (..., 3) under P; nan where they are not in front.

    >>> pixels(np.array([[2.0, 0, 0, 50], [0, -2, 0, 40], [0, 0, 0, 1]]), [10.0, 5.0, 28.0]).tolist()
    [70.0, 30.0]
    """
    points = np.asarray(points_mm, float)
    if points.ndim == 1 and P.ndim == 2:
        u, v, w = _single(P, points)
        return np.array([u / w, v / w] if w > 0 else [np.nan, np.nan])
    uvw = _homogeneous(P, points)
    return np.asarray(uvw[..., :2] / np.where(uvw[..., 2:] > 0, uvw[..., 2:], np.nan))


def depth(P: Array, points_mm: ArrayLike) -> Array:
    """w (...) of points (..., 3) under one P: the depth along the view axis in mm, 1 everywhere in a plan view."""
    return np.asarray(np.asarray(points_mm, float) @ P[2, :3] + P[2, 3])


def eye_of(P: Array) -> Array:
    """The eye (3,) of a pinhole's P."""
    return np.asarray(-np.linalg.solve(P[:, :3], P[:, 3]), float)


def rays(P: Array, px: Array) -> Array:
    """Unit directions (n, 3) in which a pinhole's pixels (n, 2) lie from its eye."""
    way = np.concatenate([px, np.ones((len(px), 1))], -1) @ np.linalg.inv(P[:, :3]).T
    return np.asarray(way / np.linalg.norm(way, axis=-1, keepdims=True), float)


def ball_outline(P: Array, centres_mm: ArrayLike, radius_mm: ArrayLike) -> Outline:
    """The exact outlines of balls at (..., 3) with radius (...) under P; derived in docs/geometry.md.

    A ball that reaches the plane through the eye, or lies behind it, has none.
    """
    return _outline(P, centres_mm, radius_mm, 3)


def circle_outline(P: Array, centres_mm: ArrayLike, radius_mm: ArrayLike) -> Outline:
    """The pictures of level circles about (..., 3) with radius (...) under P, as for balls."""
    return _outline(P, centres_mm, radius_mm, 2)


def _outline(P: Array, centres_mm: ArrayLike, radius_mm: ArrayLike, directions: int) -> Outline:
    """The outlines of what reaches its radius in the first so many directions."""
    centres = np.asarray(centres_mm, float)
    if centres.ndim == 1 and P.ndim == 2 and np.ndim(radius_mm) == 0:
        found = _single_ellipse(P, centres, float(radius_mm), directions)
        if found is not None:
            return found
    return _ellipse(_homogeneous(P, centres), P[..., :directions], radius_mm)


def _homogeneous(P: Array, points_mm: ArrayLike) -> Array:
    shift = P[..., 3] if P.ndim == 2 else P[..., None, :, 3]
    return np.asarray(np.asarray(points_mm, float) @ np.swapaxes(P[..., :3], -1, -2) + shift)


def _ellipse(uvw: Array, M: Array, radius_mm: ArrayLike) -> Outline:
    """The conic whose dual is p p' - R^2 M M' (Hartley and Zisserman, Multiple View Geometry, 2nd ed., 8.3).

    p = `uvw` is the centre under P, M what P does to directions. Taken about the pixel of the centre, so that
    small and distant balls keep their digits.
    """
    H = M @ np.swapaxes(M, -1, -2)
    R = np.asarray(radius_mm, float)
    if M.ndim > 2:
        H, R = H[..., None, :, :], R[..., None] if R.ndim else R
    h = (H[..., 0, 0], H[..., 0, 1], H[..., 0, 2], H[..., 1, 1], H[..., 1, 2], H[..., 2, 2])
    w, RR = uvw[..., 2], R * R
    with np.errstate(invalid="ignore", divide="ignore"):
        span = w * w - RR * h[-1]
        part = np.where((w > 0) & (span > 0), RR / span, np.nan)
        x, y, a, b, d = _spread(uvw[..., 0] / w, uvw[..., 1] / w, part, h, np.sqrt)
    axes = np.stack([a, b, b, d], axis=-1)
    return Outline(np.stack([x, y], axis=-1), axes.reshape(*axes.shape[:-1], 2, 2))


def _spread(
    x: Any, y: Any, part: Any, h: tuple[Any, Any, Any, Any, Any, Any], sqrt: Callable[[Any], Any]
) -> tuple[Any, Any, Any, Any, Any]:
    """An ellipse's centre, and the symmetric root of the spread E of (p - c)' E^-1 (p - c) = 1: numbers or arrays.

    `x` and `y` is where the centre of the ball stands, `part` R^2 / (w^2 - R^2 h22), `h` M M' row by row.
    """
    h00, h01, h02, h11, h12, h22 = h
    gx, gy = h02 - x * h22, h12 - y * h22
    dx, dy = -part * gx, -part * gy
    a = dx * dx + part * (h00 - x * (h02 + gx))
    b = dx * dy + part * (h01 - x * h12 - y * gx)
    d = dy * dy + part * (h11 - y * (h12 + gy))
    area = a * d - b * b
    root = sqrt(area * (area > 0))
    size = sqrt(a + d + 2 * root)
    return x + dx, y + dy, (a + root) / size, b / size, (d + root) / size


# numpy takes ten times as long over a single point as its arithmetic does, and pictures ask for many


def _single(P: Array, at: Array) -> tuple[float, float, float]:
    """(u, v, w) of a point (3,) under one P."""
    x, y, z = at.tolist()
    u, v, w = (a * x + b * y + c * z + d for a, b, c, d in P.tolist())
    return u, v, w


def _single_ellipse(P: Array, at: Array, radius_mm: float, directions: int) -> Outline | None:
    """As `_ellipse`, for one P and one ball or circle; None where it has no outline."""
    u, v, w = _single(P, at)
    f, g, k = (row[:directions] for row in P.tolist())
    h = tuple(sum(map(mul, p, q)) for p, q in ((f, f), (f, g), (f, k), (g, g), (g, k), (k, k)))
    span = w * w - radius_mm * radius_mm * h[-1]
    if not (w > 0 and span > 0 and radius_mm > 0):
        return None
    x, y, a, b, d = _spread(u / w, v / w, radius_mm * radius_mm / span, h, math.sqrt)
    return Outline(np.array([x, y]), np.array([[a, b], [b, d]]))


def _lifted(direction: ArrayLike) -> Array:
    flat = np.asarray(direction, float)
    return np.concatenate([flat, np.zeros((*flat.shape[:-1], 1))], axis=-1)


def _plumb(rise: Array) -> Array:
    zero = np.zeros_like(rise)
    return np.stack([zero, zero, np.sign(rise)], axis=-1)
