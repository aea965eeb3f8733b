"""The pinhole: where points and balls appear to an eye. Positions (..., 3) mm, z up; pixels x right, y down.

Pixel (0, 0) is the outer corner of the top-left pixel; the principal point is the middle of the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aimgeo.vectors import Array, ArrayLike, BoolArray, dot

PLUMB_MM = 1e-9
"""A look-at point within this of the eye's plumb line is straight below (or above) it."""


@dataclass(frozen=True, slots=True, eq=False)
class Camera:
    """A pinhole at `eye_mm` (..., 3), unit axes right, down, forward (..., 3), focal length and middle in px."""

    eye_mm: Array
    right: Array
    down: Array
    forward: Array
    focal_px: Array
    middle_px: Array

    @property
    def axes(self) -> Array:
        """Right, down and forward as rows, (..., 3, 3)."""
        return np.stack([self.right, self.down, self.forward], axis=-2)

    def matrix(self) -> Array:
        """P (..., 3, 4): (u, v, w) = P (x, y, z, 1), pixel (u/w, v/w); w > 0 in front, in mm of depth."""
        f, m = self.focal_px[..., None], self.middle_px
        rows = np.stack(
            [
                f * self.right + m[..., :1] * self.forward,
                f * self.down + m[..., 1:] * self.forward,
                self.forward,
            ],
            axis=-2,
        )
        shift = -np.sum(rows * self.eye_mm[..., None, :], axis=-1)
        return np.concatenate([rows, shift[..., None]], axis=-1)


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """The outline ellipse of a ball in the picture; nan where it is none.

    centre_px (..., 2), semi-axes (...), rotation_rad (...) of the major axis from +x towards +y, in (-pi/2, pi/2].
    """

    centre_px: Array
    semi_major_px: Array
    semi_minor_px: Array
    rotation_rad: Array


def camera(
    eye_mm: ArrayLike,
    look_at_mm: ArrayLike,
    vertical_fov_rad: ArrayLike,
    width_px: ArrayLike,
    height_px: ArrayLike,
    up_when_plumb: ArrayLike = (1.0, 0.0),
) -> Camera:
    """The camera at an eye that looks at a point (..., 3), level with the horizon.

    `up_when_plumb` (..., 2): the table direction that is up in the picture when it looks straight down. nan where
    the eye is at the point looked at.

    >>> cam = camera([0.0, 0.0, 300.0], [1000.0, 0.0, 300.0], np.radians(90), 200, 100)
    >>> project(cam, [[1000.0, -500.0, 300.0]]).tolist()
    [[125.0, 50.0]]
    """
    E, look, up = np.broadcast_arrays(
        *(np.asarray(v, float) for v in (eye_mm, look_at_mm, _lifted(up_when_plumb)))
    )
    w = look - E
    ground = np.hypot(w[..., 0], w[..., 1])
    size = np.hypot(ground, w[..., 2])
    plumb = ground <= PLUMB_MM
    with np.errstate(invalid="ignore", divide="ignore"):
        forward = w / np.where(size > 0, size, np.nan)[..., None]
        level = w / np.where(plumb, np.nan, ground)[..., None]
    # right is level: the horizontal heading turned clockwise; looking straight down, the heading is `up` itself
    hx, hy = np.where(plumb, up[..., 0], level[..., 0]), np.where(plumb, up[..., 1], level[..., 1])
    forward = np.where(plumb[..., None] & np.isfinite(forward), _plumb(w[..., 2]), forward)
    turn = np.where(plumb & (w[..., 2] > 0), -1.0, 1.0)
    right = np.stack([turn * hy, -turn * hx, np.zeros_like(hx)], axis=-1)
    focal = np.asarray(height_px, float) / 2 / np.tan(np.asarray(vertical_fov_rad, float) / 2)
    middle = np.stack(
        np.broadcast_arrays(np.asarray(width_px, float) / 2, np.asarray(height_px, float) / 2), axis=-1
    )
    return Camera(E, right, np.cross(forward, right), forward, focal, middle)


def in_camera(view: Camera, points_mm: ArrayLike) -> Array:
    """Points (..., P, 3) as right, down and depth from the eye, (..., P, 3) mm."""
    w = np.asarray(points_mm, float) - view.eye_mm[..., None, :]
    return np.stack([dot(w, axis[..., None, :]) for axis in (view.right, view.down, view.forward)], axis=-1)


def project(view: Camera, points_mm: ArrayLike) -> Array:
    """Pixels (..., P, 2) of points (..., P, 3); nan where they are not in front of the camera."""
    return _pixels(view, in_camera(view, points_mm))


def _pixels(view: Camera, seen: Array) -> Array:
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = np.where(seen[..., 2] > 0, view.focal_px[..., None] / seen[..., 2], np.nan)
    return view.middle_px[..., None, :] + scale[..., None] * seen[..., :2]


def outline(view: Camera, centres_mm: ArrayLike, radius_mm: ArrayLike) -> Outline:
    """The exact outlines of balls at (..., P, 3) with radius (...), as ellipses; derived in docs/geometry.md.

    A ball at (X, Y, Z) in the camera is seen within the cone (p.v)^2 = (|p|^2 - R^2) |v|^2, which the picture
    cuts in an ellipse about f (X, Y) Z / (Z^2 - R^2), stretched along (X, Y). A ball that reaches the plane of the
    camera (Z <= R) or holds the eye has none.
    """
    seen = in_camera(view, centres_mm)
    X, Y, Z = seen[..., 0], seen[..., 1], seen[..., 2]
    R, f = np.asarray(radius_mm, float)[..., None], view.focal_px[..., None]
    off = np.hypot(X, Y)
    with np.errstate(invalid="ignore", divide="ignore"):
        depth = np.where(Z > R, (Z - R) * (Z + R), np.nan)
        centre = view.middle_px[..., None, :] + (f * Z / depth)[..., None] * seen[..., :2]
        major = f * R * np.sqrt(off * off + depth) / depth
        minor = f * R / np.sqrt(depth)
        turn = np.arctan2(Y, X)
    turn = np.where(turn > np.pi / 2, turn - np.pi, np.where(turn <= -np.pi / 2, turn + np.pi, turn))
    turn = np.where(off <= 1e-12 * np.abs(Z), 0.0, turn)
    return Outline(centre, major, minor, np.where(np.isnan(depth), np.nan, turn + 0.0))


def horizon(eye_mm: ArrayLike, centre_mm: ArrayLike, radius_mm: ArrayLike) -> tuple[Array, Array, Array]:
    """The circle in which the visible part of a ball ends: its centre (..., 3), radius (...), unit axis (..., 3).

    The axis points to the eye. nan for an eye inside the ball.

    >>> centre, radius, axis = horizon([0.0, 0.0, 50.0], [0.0, 0.0, 0.0], 30.0)
    >>> centre.tolist(), float(radius), axis.tolist()
    ([0.0, 0.0, 18.0], 24.0, [0.0, 0.0, 1.0])
    """
    E, c, R = (np.asarray(v, float) for v in (eye_mm, centre_mm, radius_mm))
    w = E - c
    distance = np.sqrt(dot(w, w))
    with np.errstate(invalid="ignore", divide="ignore"):
        axis = w / distance[..., None]
        ahead = np.where(distance >= R, R * R / distance, np.nan)
        radius = R * np.sqrt((distance - R) * (distance + R)) / distance
    return c + ahead[..., None] * axis, radius, axis


def faces(eye_mm: ArrayLike, point_mm: ArrayLike, outward: ArrayLike) -> BoolArray:
    """True where a ball's surface point (..., 3) with outward normal (..., 3) is not hidden by its own ball."""
    return dot(np.asarray(eye_mm, float) - point_mm, outward) > 0


def is_hidden_by(eye_mm: ArrayLike, point_mm: ArrayLike, centre_mm: ArrayLike, radius_mm: ArrayLike) -> BoolArray:
    """True where a ball stands between the eye and a point, all (..., 3)."""
    E, p, c = (np.asarray(v, float) for v in (eye_mm, point_mm, centre_mm))
    w, to_centre = p - E, c - E
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.clip(dot(w, to_centre) / dot(w, w), 0.0, 1.0)
    gap = to_centre - part[..., None] * w
    return dot(gap, gap) < np.asarray(radius_mm, float) ** 2


def _lifted(direction: ArrayLike) -> Array:
    flat = np.asarray(direction, float)
    return np.concatenate([flat, np.zeros((*flat.shape[:-1], 1))], axis=-1)


def _plumb(rise: Array) -> Array:
    zero = np.zeros_like(rise)
    return np.stack([zero, zero, np.sign(rise)], axis=-1)
