"""A filmed picture the other way round: where what is seen at a pixel lies on the table, and balls' rims in it."""

from __future__ import annotations

import numpy as np

from aimgeo.camera import Camera, project
from aimgeo.hidden import horizon
from aimgeo.vectors import Array, ArrayLike


def directions(view: Camera, px: ArrayLike) -> Array:
    """Directions (..., 3) in which pixels (..., 2) are seen, through the lens; nan where the lens shows
    nothing.
    """
    flat = (np.asarray(px, float) - view.principal_px) / view.focal_px
    if view.lens is not None:
        flat = view.lens.straightened(flat)
    return np.asarray(np.concatenate([flat, np.ones((*flat.shape[:-1], 1))], -1) @ view.axes)


def on_plane(view: Camera, px: ArrayLike, z_mm: float) -> Array:
    """Points (..., 3) of a level plane that are seen at pixels (..., 2); nan above the horizon."""
    way = directions(view, px)
    with np.errstate(divide="ignore", invalid="ignore"):
        along = (z_mm - view.eye_mm[2]) / way[..., 2]
    return np.asarray(view.eye_mm + np.where(along > 0, along, np.nan)[..., None] * way)


def rim_mm(eye_mm: Array, centre_mm: Array, radius_mm: float, angles: Array) -> Array:
    """Points (..., K, 3) of the circle in which the visible part of a ball ends; angle 0 is level, to one side."""
    middle, radius, axis = horizon(eye_mm, centre_mm, radius_mm)
    level = np.stack([-axis[..., 1], axis[..., 0], np.zeros_like(axis[..., 0])], -1)
    size = np.linalg.norm(level, axis=-1, keepdims=True)
    level = np.where(size > 1e-9, level / np.maximum(size, 1e-9), np.array([0.0, 1.0, 0.0]))
    up = np.cross(axis, level)
    around = np.cos(angles)[:, None] * level[..., None, :] + np.sin(angles)[:, None] * up[..., None, :]
    return np.asarray(middle[..., None, :] + radius[..., None, None] * around)


def rim_px(view: Camera, centre_mm: ArrayLike, radius_mm: float, angles: Array) -> Array:
    """Pixels (..., K, 2) of balls' outlines, centres (..., 3), through the lens.

    >>> from aimgeo.camera import camera
    >>> straight_down = camera([0.0, 0.0, 1000.0], [0.0, 0.0, 0.0], np.radians(90), 200, 200)
    >>> rim_px(straight_down, [0.0, 0.0, 0.0], 600.0, np.array([0.0])).round(9).tolist()
    [[25.0, 100.0]]
    """
    return project(view, rim_mm(view.eye_mm, np.asarray(centre_mm, float), radius_mm, angles))
