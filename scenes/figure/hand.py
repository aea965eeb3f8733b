"""A shot under the hand: what the eye sees above, the table below, and where on it things are taken hold of.

It is a board of a single frame, drawn by the same functions as every clip's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Construction, position
from aimgeo.shot import Shot
from aimgeo.tables import Table
from aimgeo.vectors import Array
from scenes.board import Ball, Board, Line, Mark, Pane, PlanCamera, Rect, Shade, TableTop, constant
from scenes.board.brief import Brief, EyeSpec, Output, Subject
from scenes.board.motion import Sheet
from scenes.figure.eye_view import EYE, EyeLayout, eye_mm, eye_pane
from scenes.figure.figure import eye_figure
from scenes.figure.steps import put_balls, put_circles, put_ghost, put_lines, put_point
from scenes.frame.layout import layout
from scenes.look.look import Look
from scenes.look.roles import MARK_KIND, line_style

TABLE = "table"
AROUND_MM = 190.0
"""So much of rails and room is seen around the bed."""
GAP_PX = 8
SHAPES = {"wide": (1280, 430, 668), "tall": (1080, 700, 572)}
"""Width, and heights of the eye's and of the table's picture, by the room that there is."""
NOW = (0, 1)


@dataclass(frozen=True, slots=True)
class HandBoard:
    """The board, and the places on it that a hand can take, in pixels: names as in `aimgeo`'s requests."""

    board: Board
    grips_px: dict[str, tuple[float, float]]


def mm_at(px: tuple[float, float], table: Table, shape: str) -> tuple[float, float]:
    """The place on the bed that stands at a pixel of the table's picture, x and y in mm."""
    P = _plan_pane(table, shape).projection(0)
    x, y = np.linalg.solve(P[:2, :2], np.array(px) - P[:2, 3]).tolist()
    return (x, y)


def _plan_pane(table: Table, shape: str) -> Pane:
    width, high, low = SHAPES[shape]
    below: Rect = (0, high + GAP_PX, width, low)
    scale = min(width / (table.length_mm + 2 * AROUND_MM), low / (table.width_mm + 2 * AROUND_MM))
    # the foot rail on the right, the long rail on the left of the player at the top
    camera = PlanCamera(constant(0.0, 0.0, math.pi / 2, math.log(scale)))
    return Pane(TABLE, below, "table", camera, "cloth")


def hand_board(
    shot: Shot, table: Table, plan: Construction, steps: int, eye: EyeSpec, look: Look, shape: str = "wide"
) -> HandBoard:
    """The shot with the first steps of its construction. Raises ValueError where the eye is too near to see it."""
    width, high, low = SHAPES[shape]
    full: Rect = (0, 0, width, high)
    frame = layout(width, high + GAP_PX + low, look)
    middle = (width / 2, 0.30 * high, 0.74 * high)
    places = EyeLayout(*middle, full, full, full, (0.0, 0.0), "left", (0.0, 0.0), 0.0)
    main = eye_pane(places, shot, eye)
    plan_pane = _plan_pane(table, shape)
    sheet = Sheet()
    high_in_all = high + GAP_PX + low
    brief = Brief(
        "hand",
        Subject("hand", table, shot=shot, construction=plan, eye=eye),
        Output(width, high_in_all, (30, 1)),
        (),
        look=look,
    )
    figure = eye_figure(brief, sheet, frame, shot, plan, main, eye_mm(shot, eye), 0.02)
    put_balls(figure, table, cue=False)
    for index, step in enumerate(plan.steps[:steps]):
        put_circles(figure, index, step.circles, NOW)
        put_lines(figure, index, step.lines, NOW)
        for n, point in enumerate(step.points):
            put_point(figure, index, n, point, NOW)
    if not figure.has_ghost:
        put_ghost(figure, (EYE,), NOW)
    _put_table(sheet, shot, table, plan.steps[:steps], look)
    sheet.put("gap", Shade((0, high, width, GAP_PX), "gutter"), "area", opacity=1.0)
    board = Board(width, high + GAP_PX + low, (30, 1), 1, (main, plan_pane), sheet.elements(), (), look)
    at = {
        "cue_ball": shot.cue_ball_mm,
        "object_ball": shot.object_ball_mm,
        "target": shot.target_mm,
        "eye": np.array([*_within(eye_mm(shot, eye)[:2], table), 0.0]),
    }
    return HandBoard(board, {name: _pixel(plan_pane, where) for name, where in at.items()})


def _put_table(sheet: Sheet, shot: Shot, table: Table, steps: tuple[construction.Step, ...], look: Look) -> None:
    """The same from above, where lines run as far as they go."""
    here, R = (TABLE,), float(shot.radius_mm)
    sheet.put("plan.table", TableTop(table), "table", "table", here, opacity=1.0)
    for role, where, kind in (
        ("object_ball", shot.object_ball_mm, "object"),
        ("cue_ball", shot.cue_ball_mm, "cue"),
        ("ghost_ball", shot.ghost_ball_mm, "ghost"),
    ):
        layer = "ghost" if kind == "ghost" else "ball"
        sheet.put(f"plan.{role}", Ball(position(where), R, kind), layer, role, here, opacity=1.0)  # type: ignore[arg-type]
    lines = [line for step in steps for line in step.lines]
    if not any(line.role == "aim_line" for line in lines):
        aim = position(shot.cue_ball_mm), position(shot.ghost_ball_mm)
        lines.append(construction.Line("aim_line", *aim))
    if not any(line.role == "target_line" for line in lines):
        way = position(shot.object_ball_mm), position(shot.target_mm)
        lines.append(construction.Line("target_line", *way))
    for n, line in enumerate(lines):
        style = line_style(line.role)
        shape = Line(
            (line.start_mm, line.end_mm),
            style if style in look.lines else "thin_line",
            arrow=line.role == "target_line",
        )
        sheet.put(f"plan.{line.role}.{n}", shape, "line", line.role, here, opacity=1.0)
    for n, point in enumerate(point for step in steps for point in step.points):
        if point.role == "aim_point":
            mark = Mark(point.at_mm, MARK_KIND.get(point.role, "target"))
            sheet.put(f"plan.{point.role}.{n}", mark, "mark", point.role, here, opacity=1.0)


def _within(at: Array, table: Table) -> Array:
    """The eye may stand beyond the picture: its grip stays at the picture's edge."""
    half = np.array([table.length_mm, table.width_mm]) / 2 + 0.8 * AROUND_MM
    return np.asarray(np.clip(at, -half, half))


def _pixel(pane: Pane, at: Array) -> tuple[float, float]:
    P = pane.projection(0)
    x, y = (P[:2, :2] @ np.asarray(at, float)[:2] + P[:2, 3]).tolist()
    return (x, y)
