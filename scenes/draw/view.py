"""What a drawing function is told besides the shape: the projection, the sizes, and how much of it to show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from aimgeo.vectors import Array
from scenes.board import project
from scenes.draw.hidden import Body
from scenes.draw.outline import Outline
from scenes.look.look import LineStyle, Look
from scenes.look.scale import Scale


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """A pane on one frame as one element sees it.

    `P` (3, 4) includes the element's own offset. `kind` is the pane's view, 'frame' for shapes in frame pixels.
    `rendered` is True where the pane's background already shows table and balls; there `bodies` tells the balls
    that hide what is behind them. `outline` finds the outline of a ball element by its id in the same pane.
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

    @property
    def look(self) -> Look:
        """The look that is drawn."""
        return self.scale.look

    def px(self, points_mm: Array) -> Array:
        """Pixels (..., 2) of table points (..., 3)."""
        return project(self.P, points_mm)

    def line_px(self, width: float) -> float:
        """A line's width here, given for a 1080 px frame of the plan view."""
        return self.scale.line_px(width, self.kind)

    def line_style(self, role: str) -> LineStyle:
        """The look's line style for a role. Raises ValueError for an unknown one."""
        if role not in self.look.lines:
            raise ValueError(f"no line style {role!r}; there are {', '.join(self.look.lines)}")
        return self.look.lines[role]

    def segment_px(self, a_mm: Array, b_mm: Array) -> Array | None:
        """The two ends (2, 2) in pixels of the part of a-b in front of the camera, or None."""
        ends = np.array([a_mm, b_mm], float)
        depth = ends @ self.P[2, :3] + self.P[2, 3]
        near = 1e-3 * max(1.0, float(np.abs(depth).max()))
        if (depth <= near).all():
            return None
        for i in (0, 1):
            if depth[i] <= near:
                t = (near - depth[i]) / (depth[1 - i] - depth[i])
                ends[i] += t * (ends[1 - i] - ends[i])
        return self.px(ends)
