"""Plane vectors for arrays of shots: every function takes points of shape (..., 2)."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]
ArrayLike = Any


def dot(a: ArrayLike, b: ArrayLike) -> Array:
    """Scalar product over the last axis; shapes (..., n) broadcast, the answer is (...)."""
    products = np.asarray(a, float) * np.asarray(b, float)
    total = products[..., 0]
    for k in range(1, products.shape[-1]):  # np.sum over so short an axis takes several times as long
        total = total + products[..., k]
    return total


def cross(a: ArrayLike, b: ArrayLike) -> Array:
    """The z part of a x b for plane vectors (..., 2): positive when b is counter-clockwise from a."""
    a, b = np.asarray(a, float), np.asarray(b, float)
    return a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]


def left(a: ArrayLike) -> Array:
    """The vector turned a quarter counter-clockwise, shape (..., 2).

    >>> left([1.0, 0.0]).tolist()
    [-0.0, 1.0]
    """
    a = np.asarray(a, float)
    return np.stack([-a[..., 1], a[..., 0]], axis=-1)


def length(a: ArrayLike) -> Array:
    """Euclidean length over the last axis without overflow, shape (..., 2) to (...)."""
    a = np.asarray(a, float)
    return np.hypot(a[..., 0], a[..., 1])


def unit(a: ArrayLike) -> Array:
    """The unit vector along a, shape (..., 2); nan where a has no length.

    >>> unit([3.0, 4.0]).tolist()
    [0.6, 0.8]
    """
    a = np.asarray(a, float)
    size = length(a)
    with np.errstate(invalid="ignore", divide="ignore"):
        return a / np.where(size > 0, size, np.nan)[..., None]


def turned(a: ArrayLike, angle_rad: ArrayLike) -> Array:
    """The vector (..., 2) turned counter-clockwise by an angle (...) in radians."""
    a = np.asarray(a, float)
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.stack([c * a[..., 0] - s * a[..., 1], s * a[..., 0] + c * a[..., 1]], axis=-1)


def angle_rad(a: ArrayLike, b: ArrayLike) -> Array:
    """Signed angle from a to b in (-pi, pi], counter-clockwise positive.

    atan2 of the cross and dot products keeps full accuracy near 0 and near 90 degrees,
    where an arc cosine would lose half of the digits.
    """
    return np.arctan2(cross(a, b), dot(a, b))


def direction(bearing_deg: ArrayLike) -> Array:
    """The unit vector (..., 2) at a bearing in degrees, counter-clockwise from +x.

    Takes degrees, since whole quarter turns then come out exactly.

    >>> direction(90.0).tolist()
    [0.0, 1.0]
    """
    bearing = np.asarray(bearing_deg, float)
    quarter = np.round(bearing / 90)
    rest = np.radians(bearing - 90 * quarter)
    c, s = np.cos(rest), np.sin(rest)
    turn = np.mod(quarter, 4)
    x = np.select([turn == 0, turn == 1, turn == 2], [c, -s, -c], s)
    y = np.select([turn == 0, turn == 1, turn == 2], [s, c, -s], -c)
    return np.stack([x, y], axis=-1) + 0.0


def wrapped_rad(angle: ArrayLike) -> Array:
    """The same angle in (-pi, pi]."""
    angle = np.asarray(angle, float)
    return np.where(np.abs(angle) > np.pi, angle - 2 * np.pi * np.ceil(angle / (2 * np.pi) - 0.5), angle)


def arcsine_rad(part: ArrayLike, whole: ArrayLike) -> Array:
    """asin(part / whole), keeping its digits where part is just below whole; nan beyond."""
    part, whole = np.asarray(part, float), np.asarray(whole, float)
    with np.errstate(invalid="ignore"):
        return np.arctan2(part, np.sqrt((whole - part) * (whole + part)))
