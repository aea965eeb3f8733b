"""What balls hide from the eye: parts of lines, points, and rims, exactly, from the projection alone.

A point p is hidden by a ball when the way from the eye to p enters the ball. The points so hidden, with the ball
itself, are all e + s (b - e) with b in the ball and s >= 1: a convex set, so a ball hides one piece of a segment.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from aimgeo.vectors import Array, ArrayLike, BoolArray

SURFACE_MM = 1e-6
"""A point this near to a ball's surface lies on it, and is hidden by it only when it faces away."""


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """A ball that light does not pass: the element's id, centre (3,) and radius in mm."""

    name: str
    centre_mm: Array
    radius_mm: float


def eye_of(P: Array) -> Array:
    """The eye (3,) of a pinhole's projection P (3, 4)."""
    return np.asarray(-np.linalg.solve(P[:, :3], P[:, 3]), float)


def hidden_span(eye_mm: Array, a_mm: Array, b_mm: Array, body: Body) -> tuple[float, float] | None:
    """The part (from, to) of the segment a-b behind or within a ball, as fractions of it, or None."""
    A, d = a_mm - eye_mm, b_mm - a_mm
    C = body.centre_mm - eye_mm
    CC, RR = float(C @ C), body.radius_mm**2
    tangent = CC - RR
    # within the cone of rays that meet the ball: (p C)^2 >= p^2 (C^2 - R^2), with p = A + t d
    cone = (
        float(d @ C) ** 2 - d @ d * tangent,
        2 * (A @ C * (d @ C) - A @ d * tangent),
        (A @ C) ** 2 - A @ A * tangent,
    )
    M = A - C
    ball = (-float(d @ d), -2 * float(M @ d), RR - float(M @ M))
    cuts = [0.0, 1.0, *_roots(*cone), *_roots(*ball)]
    if abs(d @ C) > 0:
        cuts.append(float((tangent - A @ C) / (d @ C)))  # the plane of the circle where rays touch the ball
    at = np.unique([t for t in cuts if 0.0 <= t <= 1.0])
    middle = (at[:-1] + at[1:]) / 2
    p = A + middle[:, None] * d
    beyond = (p @ C >= tangent) & ((p @ C) ** 2 >= np.sum(p * p, -1) * tangent)
    within = np.sum((p - C) ** 2, -1) <= RR
    held = np.flatnonzero(beyond | within)
    return (float(at[held[0]]), float(at[held[-1] + 1])) if len(held) else None


def _roots(a: ArrayLike, b: ArrayLike, c: ArrayLike) -> Sequence[float]:
    """Real roots of a t^2 + b t + c, without cancellation."""
    a, b, c = float(a), float(b), float(c)
    disc = b * b - 4 * a * c
    if disc <= 0:
        return ()
    q = -0.5 * (b + np.copysign(np.sqrt(disc), b))
    return tuple(float(t) for t in ((q / a) if a else np.inf, (c / q) if q else np.inf) if np.isfinite(t))


def is_hidden(eye_mm: Array, points_mm: Array, bodies: Iterable[Body]) -> BoolArray:
    """True (...) for points (..., 3) that a ball hides from the eye, or that lie within one.

    A point on a ball's surface is hidden by that ball when its tangent plane turns away from the eye.
    """
    points = np.asarray(points_mm, float)
    way = points - eye_mm
    out = np.zeros(points.shape[:-1], bool)
    for body in bodies:
        M = eye_mm - body.centre_mm
        from_centre = points - body.centre_mm
        size = np.linalg.norm(from_centre, axis=-1)
        on_surface = np.abs(size - body.radius_mm) < SURFACE_MM
        turned = np.sum(from_centre * way, axis=-1) > 0
        # the nearest point of the way to the centre, and whether it lies inside the ball
        s = np.clip(-(way @ M) / np.sum(way * way, axis=-1), 0.0, 1.0)
        near = np.linalg.norm(M + s[..., None] * way, axis=-1)
        out |= np.where(on_surface, turned, near < body.radius_mm - SURFACE_MM)
    return out


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
