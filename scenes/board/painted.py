"""Which way up a ball's paint lies: its number faces whoever looks, its marks lie as the ball has turned."""

from __future__ import annotations

import numpy as np

from aimgeo.camera import eye_of
from aimgeo.turning import matrix
from aimgeo.vectors import Array
from scenes.board import Ball, Element, Pane, PlanCamera

DISC_PART, STRIPE_PART, DOT_PART = 0.46, 0.62, 0.2
"""Of a ball's radius: the disc of its number, where the white above and below its band begins, a rolling mark."""
STRIPED_FROM = 9
MARKS_LIE = matrix(np.array([0.88, 0.28, -0.36, 0.14]))
"""How the six marks of a cue ball lie before it has turned: no mark on top, three to be seen from anywhere."""


def paint_axes(element: Element, pane: Pane, frame: int) -> Array:
    """The paint's axes (3, 3) as columns, turned with the ball: the number at the first, the band around the last.

    A number faces the pane's camera as it stood on frame 0, and from above it is upright in the picture.
    """
    ball = element.shape
    assert isinstance(ball, Ball)
    lies = MARKS_LIE if ball.marks else _facing(pane, ball, frame)
    return np.asarray(matrix(element.turn.at(frame)) @ lies)


def _facing(pane: Pane, ball: Ball, frame: int) -> Array:
    is_plan = isinstance(pane.camera, PlanCamera)
    P = pane.projection(frame if is_plan else 0)
    forward = P[2, :3] / max(float(np.linalg.norm(P[2, :3])), 1e-12)
    toward = np.array([0.0, 0.0, 1.0]) if is_plan else _unit(eye_of(P) - ball.centre_mm)
    up = -(P[1, :3] - (P[1, :3] @ forward) * forward)
    up = _unit(up - (up @ toward) * toward)
    return np.stack([toward, np.cross(up, toward), up], axis=-1)


def _unit(v: Array) -> Array:
    return np.asarray(v / np.linalg.norm(v))
