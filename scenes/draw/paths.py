"""Paths in pixels: what every drawing comes down to. Plain values, no Manim."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from aimgeo.vectors import Array

RGBA = tuple[float, float, float, float]
DOT_PX = 0.05
"""A dot is a line this long with round caps: Manim closes shorter ones, and Cairo drops them."""


@dataclass(frozen=True, slots=True)
class Gradient:
    """A radial gradient from a focus to a circle: colour stops from 0 (focus) to 1 (circle)."""

    focus_px: tuple[float, float]
    centre_px: tuple[float, float]
    radius_px: float
    stops: tuple[tuple[float, RGBA], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """Pixels (height, width, 4), red green blue alpha, premultiplied, with their top-left corner at `at_px`.

    `key` tells two pictures apart without looking at their pixels. Opaque ones are copied, not blended.
    """

    rgba: np.ndarray
    at_px: tuple[float, float]
    key: tuple[object, ...]
    is_opaque: bool = False

    def shown(self, opacity: float) -> Picture:
        """The same picture that much more transparent."""
        return Picture((self.rgba * opacity).astype(np.uint8), self.at_px, (*self.key, opacity))


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """Cubic curves (n, 4, 2) in pixels, filled, stroked, or filled with a gradient or a picture.

    Curves that join end to start are one piece; a piece that ends where it began is closed.
    """

    curves: Array
    fill: RGBA | None = None
    stroke: RGBA | None = None
    width_px: float = 0.0
    cap: str = "round"
    gradient: Gradient | None = None
    picture: Picture | None = None

    def looks_like(self, other: Path) -> bool:
        """True when the two paint the same pixels."""
        if (self.picture is None) != (other.picture is None):
            return False
        return (
            (self.fill, self.stroke, self.width_px, self.cap)
            == (other.fill, other.stroke, other.width_px, other.cap)
            and self.gradient == other.gradient
            and (self.picture is None or other.picture is None or self.picture.key == other.picture.key)
            and (self.curves is other.curves or np.array_equal(self.curves, other.curves))
        )

    def shown(self, opacity: float) -> Path:
        """The same path with everything that much more transparent."""
        if opacity >= 1:
            return self
        if self.picture is not None:
            return replace(self, picture=self.picture.shown(opacity))
        gradient = self.gradient and replace(
            self.gradient, stops=tuple((at, faded(colour, opacity)) for at, colour in self.gradient.stops)
        )
        return replace(
            self,
            fill=self.fill and faded(self.fill, opacity),
            stroke=self.stroke and faded(self.stroke, opacity),
            gradient=gradient,
        )


@lru_cache(maxsize=4096)
def rgba(colour: str, alpha: float = 1.0) -> RGBA:
    """A colour from its hex digits.

    >>> rgba("#FF0000", 0.5)
    (1.0, 0.0, 0.0, 0.5)
    """
    value = int(colour.lstrip("#"), 16)
    return (value >> 16) / 255, (value >> 8 & 255) / 255, (value & 255) / 255, alpha


def faded(colour: RGBA, by: float) -> RGBA:
    """The colour with its alpha times `by`."""
    return (*colour[:3], colour[3] * by)


def toned(colour: RGBA, by: float) -> RGBA:
    """Lighter (`by` above 0, towards white) or darker (below 0, towards black) by a fraction."""
    towards = 1.0 if by > 0 else 0.0
    r, g, b = (c + abs(by) * (towards - c) for c in colour[:3])
    return (r, g, b, colour[3])


_RUN = np.linspace(0, 1, 4)[:, None]
_LEFT = 1 - _RUN


def straight(points_px: Array) -> Array:
    """Curves (..., 4, 2) of straight pieces: points (..., 2, 2) give each piece's two ends."""
    points_px = np.asarray(points_px, float)
    return points_px[..., :1, :] * _LEFT + points_px[..., 1:, :] * _RUN


def polyline(points_px: Sequence[Any] | Array, closed: bool = False) -> Array:
    """Curves (n, 4, 2) through points (m, 2) by straight pieces."""
    points = np.asarray(points_px, float)
    if closed:
        points = np.concatenate([points, points[:1]])
    return straight(np.stack([points[:-1], points[1:]], axis=1))


def ellipse(centre_px: Array, axes_px: Array, start: float = 0.0, end: float = 2 * np.pi) -> Array:
    """Curves of an ellipse or a part of it: centre (2,) + axes (2, 2) times (cos t, sin t), t from start to end.

    The columns of `axes_px` are two conjugate half-axes. Eight pieces a turn: the radius is right within 5e-6.
    """
    return _arc(start, end) @ np.asarray(axes_px, float).T + np.asarray(centre_px, float)


@lru_cache(maxsize=4096)
def _arc(start: float, end: float) -> Array:
    """Curves of a part of the unit circle, read-only."""
    pieces = max(1, int(np.ceil(abs(end - start) / (np.pi / 4) - 1e-9)))
    t = np.linspace(start, end, pieces + 1)
    h = 4 / 3 * np.tan((end - start) / pieces / 4)
    on, along = np.stack([np.cos(t), np.sin(t)], -1), np.stack([-np.sin(t), np.cos(t)], -1)
    if end - start == 2 * np.pi:
        on[-1] = on[0]
    unit = np.stack([on[:-1], on[:-1] + h * along[:-1], on[1:] - h * along[1:], on[1:]], axis=1)
    unit.setflags(write=False)
    return unit


@lru_cache(maxsize=512)
def unit_arcs(count: int, part: float) -> Array:
    """Curves of so many equal arcs around the unit circle, each of that part of its share; read-only."""
    starts = np.arange(count) * 2 * np.pi / count
    arcs = np.concatenate([_arc(t, t + part * 2 * np.pi / count) for t in starts.tolist()])
    arcs.setflags(write=False)
    return arcs


def bent(paths: Sequence[Path], by: Callable[[Array], Array], longest_px: float = 24.0) -> list[Path]:
    """Paths with every curve cut into short pieces whose four points are moved by a smooth map of pixels (..., 2).

    A cubic through a smooth map is off by the fourth power of its length: some 1e-4 px for 24 px and a strong
    lens.
    Pieces that the map puts nowhere (nan) are left out.
    """
    out = []
    for path in paths:
        size = np.linalg.norm(np.diff(path.curves, axis=1), axis=-1).sum(-1) if len(path.curves) else np.zeros(0)
        pieces = [
            _cut(curve, max(1, int(np.ceil(length / longest_px))))
            for curve, length in zip(path.curves, size.tolist(), strict=True)
        ]
        if not pieces:
            continue
        # through the map go places on the curve; its handles follow from them
        curves = _through(by(_on_curve(np.concatenate(pieces))))
        curves = curves[np.isfinite(curves).all(axis=(1, 2))]
        if len(curves):
            out.append(replace(path, curves=curves))
    return out


def _cut(curve: Array, pieces: int) -> Array:
    """A cubic (4, 2) as so many cubics (pieces, 4, 2), by blossoms."""
    edges = np.linspace(0, 1, pieces + 1)
    a, b = edges[:-1, None], edges[1:, None]

    def blossom(r: Array, s: Array, t: Array) -> Array:
        level = [curve[k] * (1 - r) + curve[k + 1] * r for k in range(3)]
        level = [level[k] * (1 - s) + level[k + 1] * s for k in range(2)]
        return np.asarray(level[0] * (1 - t) + level[1] * t)

    return np.stack([blossom(a, a, a), blossom(a, a, b), blossom(a, b, b), blossom(b, b, b)], axis=1)


_BERNSTEIN = np.array(
    [[(1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3] for t in (0, 1 / 3, 2 / 3, 1)]
)


def _on_curve(curves: Array) -> Array:
    """Places (n, 4, 2) at 0, 1/3, 2/3 and 1 of cubics (n, 4, 2)."""
    return np.asarray(_BERNSTEIN @ curves)


def _through(places: Array) -> Array:
    """The cubics (n, 4, 2) that pass places (n, 4, 2) at 0, 1/3, 2/3 and 1."""
    return np.asarray(np.linalg.inv(_BERNSTEIN) @ places)


def circle(centre_px: Sequence[Any] | Array, radius_px: float) -> Array:
    """Curves of a circle."""
    return _arc(0.0, 2 * np.pi) * radius_px + np.asarray(centre_px, float)


def reversed_curves(curves: Array) -> Array:
    """The same curves run backwards: a hole, when filled together with a shape around it."""
    return curves[::-1, ::-1]


def rounded_rect(x: float, y: float, width: float, height: float, radius: float = 0.0) -> Array:
    """Curves of a rectangle with round corners."""
    r = min(radius, width / 2, height / 2)
    if r <= 0:
        return polyline([(x, y), (x + width, y), (x + width, y + height), (x, y + height)], closed=True)
    corners = [
        ((x + width - r, y + r), -np.pi / 2),
        ((x + width - r, y + height - r), 0.0),
        ((x + r, y + height - r), np.pi / 2),
        ((x + r, y + r), np.pi),
    ]
    arcs = [ellipse(np.array(c), r * np.eye(2), a, a + np.pi / 2) for c, a in corners]
    out = []
    for this, following in zip(arcs, arcs[1:] + arcs[:1], strict=True):
        out += [this, straight(np.array([[this[-1, -1], following[0, 0]]]))]
    return np.concatenate(out)


def dashes(length: float, pattern: Sequence[float], start: float = 0.0) -> list[tuple[float, float]]:
    """The drawn pieces (from, to) of a pattern (drawn, blank, drawn, ...) along [start, length].

    A piece that would begin within the last blank is left out; a cut piece keeps what fits.

    >>> dashes(10, (3, 2))
    [(0.0, 3.0), (5.0, 8.0), (10.0, 10.0)]
    """
    if not pattern:
        return [(start, length)]
    out, at, i = [], start, 0
    while at <= length:
        on, off = pattern[i % len(pattern)], pattern[(i + 1) % len(pattern)]
        out.append((float(at), float(min(at + on, length))))
        at, i = at + on + off, i + 2
    return out
