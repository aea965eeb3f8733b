"""What a drawing function is told besides the shape: the projection, the sizes, and how much of it to show."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from aimgeo.camera import Outline, pixels
from aimgeo.hidden import hidden_span, is_hidden_by
from aimgeo.vectors import Array, BoolArray
from scenes.board import Pixel
from scenes.look.look import LineStyle, Look
from scenes.look.scale import Scale

LEAST_CASING = 0.45
"""Of a casing's usual width, under the finest pen."""


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """A ball that light does not pass: the element's id, centre (3,) and radius in mm."""

    name: str
    centre_mm: Array
    radius_mm: float

    def hides(self, eye_mm: Array, points_mm: Array) -> BoolArray:
        """True (...) for points (..., 3) that it hides from the eye, or holds."""
        return is_hidden_by(eye_mm, points_mm, self.centre_mm, self.radius_mm)


def hidden_spans(
    eyes_mm: Array, a_mm: Array, b_mm: Array, bodies: Sequence[Body]
) -> list[list[tuple[float, float]]]:
    """The parts (from, to) of segments a-b (n, 3) that bodies hide from an eye (3,) or (n, 3), or hold: of each
    segment one a body that does."""
    a, b = np.asarray(a_mm, float), np.asarray(b_mm, float)
    if not bodies or not len(a):
        return [[] for _ in a]
    centres, radii = np.array([body.centre_mm for body in bodies]), np.array([body.radius_mm for body in bodies])
    eyes = np.asarray(eyes_mm, float)
    spans = hidden_span(eyes[..., None, :], a[:, None], b[:, None], centres, radii).tolist()
    return [[(low, high) for low, high in one if not math.isnan(low)] for one in spans]


def behind_noses(
    eye_mm: Array, a_mm: Array, b_mm: Array, noses_mm: Sequence[tuple[Sequence[float], Sequence[float]]]
) -> list[tuple[float, float]]:
    """The parts (from, to) of the segment a-b that are seen only through a cushion: the way from the eye
    passes below
    its nose. Known to a five-hundredth of the segment.
    """
    t = np.linspace(0, 1, 501)
    points = a_mm + t[:, None] * (b_mm - a_mm)
    spans = []
    for start, end in noses_mm:
        p, along = np.array(start), np.subtract(end, start)[:2]
        across = np.array([-along[1], along[0]])
        # where the way from the eye to each point crosses the nose's upright plane
        here, there = float((eye_mm[:2] - p[:2]) @ across), (points[:, :2] - p[:2]) @ across
        with np.errstate(divide="ignore", invalid="ignore"):
            part = here / (here - there)
            crossing = eye_mm + part[:, None] * (points - eye_mm)
            place = (crossing[:, :2] - p[:2]) @ along / float(along @ along)
        hidden = (part > 0) & (part < 1) & (place > 0) & (place < 1) & (crossing[:, 2] < p[2])
        for run in np.split(np.flatnonzero(hidden), np.flatnonzero(np.diff(np.flatnonzero(hidden)) > 1) + 1):
            if len(run):
                spans.append((float(t[run[0]]), float(t[run[-1]])))
    return spans


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """A pane on one frame as one element sees it.

    `P` (3, 4) includes the element's own offset. `kind` is the pane's view, 'frame' for shapes in frame pixels.
    `rendered` is True where the pane's background already shows table and balls; there `bodies` tells the balls
    that hide what is behind them. `ball_mm` is the radius of the smallest ball of a plan, 0 without one. `outline`
    finds the outline of a ball element by its id in the same pane. `axes` are those of a ball's paint, `hidden`
    the parts of a line that balls and cushions hide, as fractions of it.
    """

    P: Array
    kind: str
    scale: Scale
    rendered: bool
    outline: Callable[[str], Outline | None]
    drawn: float = 1.0
    strength: float = 1.0
    fresh: float = 0.0
    bodies: tuple[Body, ...] = ()
    pen: tuple[float, float] = (1.0, 1.0)
    size: float = 1.0
    ball_mm: float = 0.0
    axes: Array | None = None
    hidden: tuple[tuple[float, float], ...] = ()

    @property
    def look(self) -> Look:
        """The look that is drawn."""
        return self.scale.look

    def px(self, points_mm: Array) -> Array:
        """Pixels (..., 2) of table points (..., 3)."""
        return pixels(self.P, points_mm)

    def line_px(self, width: float) -> float:
        """A line's width here, given for a 1080 px frame of the plan view."""
        return self.pen[0] * self.scale.line_px(width, self.kind)

    def casing_px(self, width: float) -> float:
        """A casing's width here, given for a 1080 px frame: a fine pen has a finer one, wide enough to be seen."""
        return max(self.pen[0], LEAST_CASING) * self.scale.stroke_px(width)

    def line_style(self, role: str) -> LineStyle:
        """The look's line style for a role. Raises ValueError for an unknown one."""
        if role not in self.look.lines:
            raise ValueError(f"no line style {role!r}; there are {', '.join(self.look.lines)}")
        return self.look.lines[role]

    def segment_px(self, a_mm: Sequence[float], b_mm: Sequence[float]) -> tuple[Pixel, Pixel] | None:
        """The two ends in pixels of the part of a-b in front of the camera, or None."""
        f, g, k = self.P.tolist()
        ends = [(_at(k, p), p) for p in (a_mm, b_mm)]
        near = 1e-3 * max(1.0, abs(ends[0][0]), abs(ends[1][0]))
        if ends[0][0] <= near and ends[1][0] <= near:
            return None
        for i in (0, 1):
            (w, (x, y, z)), (other, (u, v, r)) = ends[i], ends[1 - i]
            if w <= near:
                t = (near - w) / (other - w)
                ends[i] = near, (x + t * (u - x), y + t * (v - y), z + t * (r - z))
        (w0, p), (w1, q) = ends
        return (_at(f, p) / w0, _at(g, p) / w0), (_at(f, q) / w1, _at(g, q) / w1)


def _at(row: Sequence[float], point: Sequence[float]) -> float:
    """What a row of a projection makes of a point."""
    a, b, c, d = row
    x, y, z = point
    return a * x + b * y + c * z + d
