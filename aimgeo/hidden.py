"""What a ball hides from an eye: its own far side, points behind it, parts of lines. Positions (..., 3) mm.

A point is hidden by a ball when the way from the eye to it enters the ball. The points so hidden, with the ball
itself, are all e + s (b - e) with b in the ball and s >= 1: a convex set, so a ball hides one piece of a segment.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from aimgeo.vectors import Array, ArrayLike, BoolArray, dot

SURFACE_MM = 1e-6
"""A point this near to a ball's surface lies on it, and is hidden by it only when it faces away."""


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
    """True (...) where a ball hides a point from the eye, or holds it; on its surface, where it faces away."""
    E, p, c = (np.asarray(v, float) for v in (eye_mm, point_mm, centre_mm))
    R = np.asarray(radius_mm, float)
    way, to_centre, out = p - E, c - E, p - c
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.clip(dot(way, to_centre) / dot(way, way), 0.0, 1.0)
    gap = to_centre - part[..., None] * way
    on_surface = np.abs(np.sqrt(dot(out, out)) - R) < SURFACE_MM
    return np.where(on_surface, dot(out, way) > 0, np.sqrt(dot(gap, gap)) < R - SURFACE_MM)


def hidden_span(
    eye_mm: ArrayLike, a_mm: ArrayLike, b_mm: ArrayLike, centre_mm: ArrayLike, radius_mm: ArrayLike
) -> Array:
    """The part (from, to) (..., 2) of segments a-b behind or within balls, as fractions of them; nan for none.

    A segment that only touches a ball is not hidden by it.
    """
    E, a, b, c = (np.asarray(v, float) for v in (eye_mm, a_mm, b_mm, centre_mm))
    A, d, C, M = a - E, b - a, c - E, a - c
    RR = (np.asarray(radius_mm, float) - SURFACE_MM) ** 2
    # each with a last axis for the pieces of the segment
    AA, Ad, dd, AC, dC, MM, Md = (
        dot(p, q)[..., None] for p, q in ((A, A), (A, d), (d, d), (A, C), (d, C), (M, M), (M, d))
    )
    tangent, RR = (dot(C, C) - RR)[..., None], RR[..., None]
    with np.errstate(invalid="ignore", divide="ignore"):
        cuts = (
            # the cone of rays that meet the ball: (p C)^2 >= p^2 (C^2 - R^2), with p = A + t d
            *_roots(dC * dC - dd * tangent, 2 * (AC * dC - Ad * tangent), AC * AC - AA * tangent),
            # the ball itself: (p - C)^2 <= R^2
            *_roots(-dd, -2 * Md, RR - MM),
            # the plane of the circle where rays touch the ball
            (tangent - AC) / dC,
        )
        # from 0 by the cuts that lie within the segment to 1
        at = np.zeros((*np.broadcast_shapes(AC.shape, AA.shape, MM.shape)[:-1], 7))
        at[..., 6] = 1.0
        for k, cut in enumerate(cuts, 1):
            at[..., k] = cut[..., 0]
        inner = at[..., 1:6]
        inner[~((inner >= 0) & (inner <= 1))] = 0.0
        inner.sort(axis=-1)
        first, end = at[..., :-1], at[..., 1:]
        t = (first + end) / 2
        pC = AC + t * dC
        beyond = (pC >= tangent) & (pC * pC >= (AA + t * (2 * Ad + t * dd)) * tangent)
        within = MM + t * (2 * Md + t * dd) <= RR
    held = (beyond | within) & (end > first)
    low, high = np.where(held, first, np.inf).min(axis=-1), np.where(held, end, -np.inf).max(axis=-1)
    span = np.stack([low, high], axis=-1)
    span[high < low] = np.nan
    return span


def _roots(a: Array, b: Array, c: Array) -> tuple[Array, Array]:
    """Real roots of a t^2 + b t + c, without cancellation; nan or infinite for none."""
    q = -0.5 * (b + np.copysign(np.sqrt(b * b - 4 * a * c), b))
    return q / a, c / q


def rest(spans: Iterable[tuple[float, float]], length: float = 1.0) -> list[tuple[float, float]]:
    """What the spans leave over of [0, length]; the spans may overlap.

    >>> rest([(0.2, 0.4), (0.3, 0.5)])
    [(0.0, 0.2), (0.5, 1.0)]
    """
    out, at = [], 0.0
    for low, high in sorted(spans):
        if low > at:
            out.append((at, low))
        at = max(at, high)
    return [*out, (at, length)] if at < length else out
