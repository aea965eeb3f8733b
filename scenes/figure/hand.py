"""A shot under the hand: what the eye sees above, beside it the eye from the side, the table below.

It is a board of a single frame, drawn by the same functions as every clip's. While the hand moves, the eye's
picture neither grows nor shrinks, and labels keep their offset from what they name; when it rests, both are chosen
anew.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Construction, position
from aimgeo.shot import Shot
from aimgeo.tables import Table
from aimgeo.vectors import Array
from scenes.board import (
    Area,
    Ball,
    Board,
    EyeCamera,
    Leader,
    Line,
    Mark,
    Pane,
    Pixel,
    PlanCamera,
    Plate,
    Rect,
    Shade,
    TableTop,
    constant,
)
from scenes.board.brief import Brief, EyeSpec, Output, Subject
from scenes.board.motion import Sheet
from scenes.figure.eye_labels import eye_labels, wanted_in_eye
from scenes.figure.eye_view import EYE, EyeLayout, eye_camera, eye_mm, focal_px, shows_target
from scenes.figure.figure import Figure, eye_figure, in_reach, pieces_of, visible
from scenes.figure.labels import Placed, place
from scenes.figure.others import with_balls
from scenes.figure.steps import put_balls, put_circles, put_ghost, put_lines, put_point
from scenes.frame.layout import layout
from scenes.look.look import Look
from scenes.look.roles import MARK_KIND, line_style

TABLE, SIDE = "table", "side"
AROUND_MM = 190.0
"""So much of rails and room is seen around the bed."""
GAP_PX = 8
SHAPES = {"wide": (1280, 430, 668, 240), "tall": (1080, 700, 572, 300), "eye": (1280, 720, 0, 0)}
"""Width, heights of the eye's and of the table's picture, width of the side's, by the room that there is.

`eye` is the eye's picture alone."""
SIDE_MM, SIDE_AHEAD_MM, BELOW_MM = 1200.0, 330.0, 130.0
"""Seen from the side: so much of the aim's line, of it before the cue ball, and so much below the cloth."""
LIKE = 1.25
"""A lens is kept while it is no more than so much longer or shorter than the best."""
NOW = (0, 1)


@dataclass(frozen=True, slots=True)
class Named:
    """A label in its place, and where what it names stood when it was put there."""

    placed: Placed
    at_px: Pixel


@dataclass(frozen=True, slots=True)
class Manner:
    """How a shot was shown: what stays while the hand moves."""

    lens_px: float
    labels: tuple[Named, ...]


@dataclass(frozen=True, slots=True)
class HandBoard:
    """The board, the places on it that a hand can take, in pixels, and how it is shown.

    Names of places are those of `aimgeo`'s requests; `eye_side` is the eye from the side.
    """

    board: Board
    grips_px: dict[str, Pixel]
    manner: Manner


def mm_at(px: Pixel, table: Table, shape: str) -> tuple[float, float]:
    """The place on the bed that stands at a pixel of the table's picture, x and y in mm."""
    return _place_at(px, _plan_pane(table, shape))


def side_at(px: Pixel, shape: str) -> tuple[float, float]:
    """How far before the cue ball along the aim, and how high, a pixel of the side's picture lies, in mm."""
    return _place_at(px, _side_pane(shape))


def _place_at(px: Pixel, pane: Pane) -> tuple[float, float]:
    P = pane.projection(0)
    x, y = np.linalg.solve(P[:2, :2], np.array(px) - P[:2, 3]).tolist()
    return (x, y)


def _plan_pane(table: Table, shape: str) -> Pane:
    width, high, low, _ = SHAPES[shape]
    below: Rect = (0, high + GAP_PX, width, low)
    scale = min(width / (table.length_mm + 2 * AROUND_MM), low / (table.width_mm + 2 * AROUND_MM))
    # the foot rail on the right, the long rail on the left of the player at the top
    camera = PlanCamera(constant(0.0, 0.0, math.pi / 2, math.log(scale)))
    return Pane(TABLE, below, "table", camera, "cloth")


def _side_pane(shape: str) -> Pane:
    """The plane of the aim: to the right the way of the cue ball, upwards the height above the cloth."""
    _, high, _, side = SHAPES[shape]
    camera = PlanCamera(constant(SIDE_AHEAD_MM, -BELOW_MM, math.pi / 2, math.log(side / SIDE_MM)), (1.0, 1.0))
    return Pane(SIDE, (0, 0, side, high), "side", camera)


def hand_board(
    shot: Shot,
    table: Table,
    plan: Construction,
    steps: int,
    eye: EyeSpec,
    look: Look,
    shape: str = "wide",
    words: Mapping[str, str] | None = None,
    before: Manner | None = None,
    is_moving: bool = False,
    like: Subject | None = None,
) -> HandBoard:
    """The shot with the first steps of its construction and the labels that have words.

    Other balls and their paint are those of `like`. `before` is how it was shown; while it `is_moving` it is shown
    so. Raises ValueError where the eye is too near to see the shot.
    """
    width, high, low, side = SHAPES[shape]
    gap, is_alone = (GAP_PX if side else 0), not side
    full: Rect = (side + gap, 0, width - side - gap, high)
    high_in_all = high + gap + low
    frame = layout(width, high_in_all, look)
    places = EyeLayout(
        full[0] + full[2] / 2,
        0.30 * high,
        0.74 * high,
        full,
        (0, 0, 0, 0),
        full,
        (0.0, 0.0),
        "left",
        (0.0, 0.0),
        0.0,
    )
    main = _eye_pane(places, shot, eye, before, is_moving)
    sheet = Sheet()
    brief = Brief(
        "hand",
        _subject(like, table=table, shot=shot, construction=plan, eye=eye),
        Output(width, high_in_all, (30, 1)),
        (),
        labels=dict(words or {}),
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
    labels = _moved_labels(figure, steps, before) if before and is_moving else _labels(figure, steps)
    _put_labels(sheet, labels, full)
    assert isinstance(main.camera, EyeCamera)
    manner = Manner(focal_px(full, main.camera), labels)
    if is_alone:
        board = Board(width, high, (30, 1), 1, (main,), sheet.elements(), (), look)
        return HandBoard(with_balls(board, brief.subject), {}, manner)
    plan_pane, side_pane = _plan_pane(table, shape), _side_pane(shape)
    _put_side(sheet, shot, eye, look)
    _put_table(sheet, shot, table, plan.steps[:steps], look)
    for name, between in (("gap", (0, high, width, gap)), ("side gap", (side, 0, gap, high))):
        sheet.put(name, Shade(between, "gutter"), "area", opacity=1.0)
    panes = main, plan_pane, side_pane
    board = Board(width, high_in_all, (30, 1), 1, panes, sheet.elements(), (), look)
    at = {
        "cue_ball": shot.cue_ball_mm,
        "object_ball": shot.object_ball_mm,
        "target": shot.target_mm,
        "eye": np.array([*_within(eye_mm(shot, eye)[:2], table), 0.0]),
    }
    grips = {name: _pixel(plan_pane, where) for name, where in at.items()}
    grips["eye_side"] = _within_side(_pixel(side_pane, np.array([-eye.back_mm, eye.height_mm])), shape)
    return HandBoard(with_balls(board, brief.subject), grips, manner)


def _subject(like: Subject | None, **about: Any) -> Subject:
    """What is under the hand, with the other balls and the paint of a clip's subject."""
    if like is None:
        return Subject("hand", **about)
    return Subject("hand", others=like.others, object_paint=like.object_paint, has_marks=like.has_marks, **about)


def _eye_pane(places: EyeLayout, shot: Shot, eye: EyeSpec, before: Manner | None, is_moving: bool) -> Pane:
    """The eye's picture, through the lens that it had where that will do."""
    kept = eye_camera(places, shot, eye, before.lens_px) if before is not None else None
    if kept is not None and is_moving:
        return Pane(EYE, places.full_px, "eye", kept, "plate")
    best = eye_camera(places, shot, eye)
    if kept is not None and before is not None:
        ratio = before.lens_px / focal_px(places.full_px, best)
        if 1 / LIKE < ratio < LIKE and shows_target(places, shot, kept) >= shows_target(places, shot, best):
            best = kept
    return Pane(EYE, places.full_px, "eye", best, "plate")


def _labels(figure: Figure, steps: int) -> tuple[Named, ...]:
    """The labels of the first steps, each in a place of its own."""
    x, y, w, h = figure.pane.rect_px
    edge = figure.frame.scale.px(24)
    labels = eye_labels(figure, (x + edge, y + edge, w - 2 * edge, h - 2 * edge), ())
    found: list[Placed] = []
    for index, step in enumerate(figure.plan.steps[:steps]):
        for want, _ in wanted_in_eye(figure, labels, index, step):
            placed = place(want, labels.steps[0], labels.zones, found, labels.spacing)
            if placed is not None and len(found) < labels.most:
                found.append(placed)
    at = _named_px(figure, steps)
    return tuple(Named(one, at[one.wanted.name]) for one in found if one.wanted.name in at)


def _moved_labels(figure: Figure, steps: int, before: Manner) -> tuple[Named, ...]:
    """Labels that were there, moved with what they name; without those whose things can't be seen."""
    at, out = _named_px(figure, steps), []
    for named in before.labels:
        if (now := at.get(named.placed.wanted.name)) is None:
            continue
        dx, dy = now[0] - named.at_px[0], now[1] - named.at_px[1]
        x, y, w, h = named.placed.rect_px
        leader = tuple((a + dx, b + dy) for a, b in named.placed.leader_px)
        out.append(Named(replace(named.placed, rect_px=(x + dx, y + dy, w, h), leader_px=leader), now))
    return tuple(out)


def _named_px(figure: Figure, steps: int) -> dict[str, Pixel]:
    """Where what has a label stands, by role: points, middles of circles, and of what is seen of lines."""
    out: dict[str, Pixel] = {}
    for step in figure.plan.steps[:steps]:
        for line in step.lines:
            if line.role in figure.brief.labels:
                (piece,) = pieces_of(figure, in_reach(figure, line))
                ends = visible(figure, piece)
                if ends is not None:
                    out.setdefault(line.role, ((ends[0][0] + ends[1][0]) / 2, (ends[0][1] + ends[1][1]) / 2))
        for role, where in (
            *((c.role, c.centre_mm) for c in step.circles),
            *((p.role, p.at_mm) for p in step.points),
        ):
            if role in figure.brief.labels:
                out.setdefault(role, figure.px(where))
    return {role: at for role, at in out.items() if all(map(math.isfinite, at))}


def _put_labels(sheet: Sheet, labels: Sequence[Named], rect: Rect) -> None:
    """Labels that lie within a rectangle."""
    x, y, w, h = rect
    for named in labels:
        placed, name = named.placed, named.placed.wanted.name
        a, b, c, d = placed.rect_px
        if not (x <= a and a + c <= x + w and y <= b and b + d <= y + h):
            continue
        plate = Plate(placed.wanted.text, placed.rect_px, placed.wanted.sample)
        sheet.put(f"label.{name}", plate, "label", "label", opacity=1.0, names=name)
        if placed.leader_px:
            sheet.put(f"leader.{name}", Leader(placed.leader_px), "leader", "leader", opacity=1.0, names=name)


def _put_side(sheet: Sheet, shot: Shot, eye: EyeSpec, look: Look) -> None:
    """The eye from the side: how high it stands and how far behind the cue ball, and what it looks at."""
    here, R = (SIDE,), float(shot.radius_mm)
    ends = SIDE_AHEAD_MM - SIDE_MM, SIDE_AHEAD_MM
    slate = tuple(
        (s, z, 0.0) for s, z in ((ends[0], 0.0), (ends[1], 0.0), (ends[1], -BELOW_MM), (ends[0], -BELOW_MM))
    )
    sheet.put("side.slate", Area(slate, "wood"), "area", "slate", here, opacity=1.0)
    ahead = float((shot.object_ball_mm - shot.cue_ball_mm)[:2] @ shot.aim_direction)
    at, foot = (-eye.back_mm, eye.height_mm, 0.0), (-eye.back_mm, 0.0, 0.0)
    sight = "sight_line" if "sight_line" in look.lines else "thin_line"
    for name, run, style in (
        ("cloth", ((ends[0], 0.0, 0.0), (ends[1], 0.0, 0.0)), "thin_line"),
        ("height", (foot, at), "thin_line"),
        ("sight", (at, (ahead, R, 0.0)), sight),
    ):
        sheet.put(f"side.{name}", Line(run, style), "line", name, here, opacity=1.0)
    for role, where, kind in (("object_ball", ahead, "object"), ("cue_ball", 0.0, "cue")):
        sheet.put(f"side.{role}", Ball((where, R, 0.0), R, kind), "ball", role, here, opacity=1.0)


def _within_side(at: Pixel, shape: str) -> Pixel:
    """The eye may stand beyond the picture: its grip stays at the picture's edge."""
    _, high, _, side = SHAPES[shape]
    edge = side / 5
    return min(max(at[0], edge), side - edge), min(max(at[1], edge), high - edge / 2)


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


def _pixel(pane: Pane, at: Array) -> Pixel:
    P = pane.projection(0)
    x, y = (P[:2, :2] @ np.asarray(at, float)[:2] + P[:2, 3]).tolist()
    return (x, y)
