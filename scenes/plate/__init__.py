"""The plate: the table and its balls as the eye sees them, painted with OpenGL under the clip's lines."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from aimgeo.construct import Position
from aimgeo.tables import Table
from aimgeo.vectors import Array
from scenes.board import Ball, Board, Cue, Element, Pane, TableTop
from scenes.board.painted import STRIPED_FROM, paint_axes
from scenes.look.look import Look
from scenes.look.scale import Scale
from scenes.plate.cue import CueStick
from scenes.plate.painter import NoOpenGLError, PlatePainter, renderer_name
from scenes.plate.values import BallBody, Painted

__all__ = ["BallBody", "CueStick", "NoOpenGLError", "PlatePainter", "pane_picture", "renderer_name", "shown_in"]

RIM_PX = 4.0
"""Of a cue ball, where its look gives it a rim."""


def pane_picture(pane: Pane, board: Board, frame: int, zoom: float = 1.0) -> NDArray[np.uint8]:
    """A pane's plate on a frame, RGBA (height, width, 4): what its table, ball and cue elements say.

    Without a table element the cloth has no end. `zoom` makes it so much larger. Raises NoOpenGLError.
    """
    x, y, width, height = (round(v) for v in pane.rect_px)
    table, balls, cue = shown_in(pane, board, frame, zoom)
    P = np.array([[1.0, 0, -x], [0, 1, -y], [0, 0, 1]]) @ pane.projection(frame)
    if zoom != 1:
        P = np.diag([zoom, zoom, 1.0]) @ P
        width, height = max(round(width * zoom), 1), max(round(height * zoom), 1)
    return _painter(table, width, height, board.look).paint(P, balls, cue).copy()


def shown_in(
    pane: Pane, board: Board, frame: int, zoom: float = 1.0
) -> tuple[Table | None, list[BallBody], CueStick | None]:
    """Table, balls and cue that a pane's plate shows on a frame, for `zoom` pixels for one of the board's."""
    shown = [e for e in board.elements if pane.id in e.panes and e.is_visible(frame)]
    table = next((e.shape.table for e in shown if isinstance(e.shape, TableTop)), None)
    assert table is None or isinstance(table, Table)
    rim_px = Scale(board.width_px, board.height_px, board.look).stroke_px(RIM_PX) * zoom
    cue = next((_stick(e, frame) for e in shown if isinstance(e.shape, Cue)), None)
    return table, [_body(e, e.shape, pane, frame, rim_px) for e in shown if isinstance(e.shape, Ball)], cue


@lru_cache(maxsize=6)
def _painter(table: Table | None, width_px: int, height_px: int, look: Look) -> PlatePainter:
    return PlatePainter(table, width_px, height_px, look)


def _body(element: Element, ball: Ball, pane: Pane, frame: int, rim_px: float) -> BallBody:
    x, y, z = np.add(ball.centre_mm, element.offset_mm.at(frame)).tolist()
    radius_mm, opacity = ball.radius_mm * element.size.at(frame)[0], element.opacity.at(frame)[0]
    body = BallBody((x, y, z), radius_mm, ball.look, opacity, rim_px, ball.colour)
    if not ball.number and not ball.marks:
        return body
    axes = paint_axes(element, pane, frame)
    paint = Painted(
        "marks" if ball.marks else "striped" if ball.number >= STRIPED_FROM else "numbered", *_columns(axes)
    )
    return replace(body, paint=paint)


def _columns(axes: Array) -> tuple[Position, Position]:
    (facing, _, upright) = axes.T.tolist()
    return (facing[0], facing[1], facing[2]), (upright[0], upright[1], upright[2])


def _stick(element: Element, frame: int) -> CueStick:
    assert isinstance(element.shape, Cue)
    x, y, z = np.add(element.shape.tip_mm, element.offset_mm.at(frame)).tolist()
    return CueStick((x, y, z), element.shape.direction)
