"""The bending of a lens: two radial terms (Brown-Conrady), one centre. Picture coordinates (..., 2) are (X/Z, Y/Z)
of the camera's right, down and forward; bent ones are times 1 + k1 r^2 + k2 r^4, r being the straight radius.
"""

from __future__ import annotations

import numpy as np

from aimgeo.vectors import Array, ArrayLike


def bent(straight: ArrayLike, k1: ArrayLike, k2: ArrayLike) -> Array:
    """Where the lens puts straight picture coordinates (..., 2); nan beyond where the bending turns back.

    >>> bent([[0.5, 0.0]], -0.1, 0.0).tolist()
    [[0.4875, 0.0]]
    """
    xy = np.asarray(straight, float)
    r2 = xy[..., 0] ** 2 + xy[..., 1] ** 2
    k1, k2 = np.asarray(k1, float), np.asarray(k2, float)
    with np.errstate(invalid="ignore", over="ignore"):
        factor = np.where(r2 <= turning_radius(k1, k2) ** 2, 1 + r2 * (k1 + k2 * r2), np.nan)
    return xy * factor[..., None]


def straightened(seen: ArrayLike, k1: ArrayLike, k2: ArrayLike) -> Array:
    """Straight picture coordinates (..., 2) of bent ones: the inverse of `bent`, by Newton on the radius.

    nan where no straight point is seen.

    >>> bent(straightened([[0.4, 0.3]], -0.2, 0.05), -0.2, 0.05).round(15).tolist()
    [[0.4, 0.3]]
    """
    xy = np.asarray(seen, float)
    radius = np.hypot(xy[..., 0], xy[..., 1])
    k1, k2 = np.asarray(k1, float), np.asarray(k2, float)
    limit = np.broadcast_to(turning_radius(k1, k2), radius.shape)
    low, high = np.zeros_like(radius), np.minimum(limit, 1e3)
    r = np.clip(radius, low, high)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        # Newton, kept within a bracket that halves: near the turning radius the slope vanishes
        for _ in range(60):
            r2 = r * r
            excess = r * (1 + r2 * (k1 + k2 * r2)) - radius
            high, low = np.where(excess > 0, r, high), np.where(excess > 0, low, r)
            step = r - excess / (1 + r2 * (3 * k1 + 5 * k2 * r2))
            inside = (step > low) & (step < high)
            r = np.where(inside, step, np.where(excess == 0, r, (low + high) / 2))
        reach = limit * (1 + limit**2 * (k1 + k2 * limit**2))
        found = np.where(np.isfinite(limit) & (radius > reach), np.nan, r)
        scale = np.where(radius > 0, found / np.where(radius > 0, radius, 1.0), 1.0)
    return xy * scale[..., None]


def turning_radius(k1: ArrayLike, k2: ArrayLike) -> Array:
    """The straight radius beyond which larger radii are seen nearer to the middle again; inf where there is none.

    The smallest positive root of 1 + 3 k1 r^2 + 5 k2 r^4.

    >>> float(turning_radius(-0.1, 0.0)), float(turning_radius(0.1, 0.0))
    (1.8257418583505536, inf)
    """
    k1, k2 = np.asarray(k1, float), np.asarray(k2, float)
    with np.errstate(invalid="ignore", divide="ignore"):
        root = np.sqrt(9 * k1 * k1 - 20 * k2)
        # 2 / (-3 k1 +- root) has no cancellation at the smaller root, and stands where k2 is 0
        roots = np.stack([2 / (-3 * k1 + root), 2 / (-3 * k1 - root)])
        roots = np.where(roots > 0, roots, np.inf)
    return np.asarray(np.sqrt(np.min(np.where(np.isnan(roots), np.inf, roots), axis=0)))
