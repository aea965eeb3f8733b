"""Drawing a figure: its balls, and its construction step after step."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Step, position
from aimgeo.tables import Table
from scenes.board import Ball, Line, Mark, Ring, TableTop
from scenes.board.motion import Span, in_turn
from scenes.board.timing import TIMING
from scenes.figure.eye_view import cue_at
from scenes.figure.figure import (
    Figure,
    aims_true,
    drawing_px,
    faint_after,
    in_reach,
    is_hollow,
    mark_kind,
    piece_px,
    pieces_of,
    point_panes,
    points_before,
)
from scenes.look.roles import line_style

CUE_BACK_MM = 420.0
"""The cue comes in from so far behind."""
TURNS_TO_INK = frozenset({"aim_line", "sight_line"})
"""White lines, in a plan: ink within the cue ball."""


@dataclass(frozen=True, slots=True)
class StepSpans:
    """When the parts of a step are drawn: `dim` old lines, then the others in this order; `more` and `number` are
    the kind's own, `hold` is the rest of the step."""

    dim: Span
    circle: Span
    mark: Span
    line: Span
    mark_after: Span
    label: Span
    more: Span
    number: Span
    hold: Span


CUED = (1, 2, 3, 4, 6)
"""Of a step's spans, those that wait for their words."""


def step_spans(
    figure: Figure,
    step: Step,
    span: Span,
    *,
    more_s: float = 0.0,
    label_s: float = TIMING.fade_s,
    number_s: float = 0.0,
    hold_s: float = TIMING.hold_s,
    cues: Sequence[float] = (),
) -> StepSpans:
    """A step's parts in turn, as long as there is something of theirs.

    `cues`: when the words come to circles, marks, lines, marks after them and the kind's own, as parts of the
    step; one for each of these that it has. None begins before its words, as long as there is time for the rest.
    """
    before = points_before(step)
    line_s = 0.0
    if step.lines:
        longest = max(drawing_px(figure, line) for line in step.lines)
        line_s = TIMING.draw_s + TIMING.draw_per_height_s * longest / figure.frame.height_px
    times = (
        TIMING.fade_s + TIMING.rest_s,
        0.45 if step.circles else 0.0,
        TIMING.fade_s if before else 0.0,
        line_s,
        TIMING.fade_s if len(step.points) > len(before) else 0.0,
        label_s,
        more_s,
        number_s,
        hold_s,
    )
    rest, *others = _on_cue(in_turn(*span, times, figure.rate), cues, span)
    return StepSpans((rest[0], rest[0] + figure.frames(TIMING.dim_s)), *others)


def _on_cue(parts: list[Span], cues: Sequence[float], span: Span) -> list[Span]:
    """Parts of a step moved back to where their words begin; the hold at the end gives what time it has."""
    first, end = span
    waits = iter(cues)
    free = end - parts[-1][1]
    out, late = [], 0
    for n, (a, b) in enumerate(parts):
        if n in CUED and b > a:
            said = first + round(next(waits, 0.0) * (end - first))
            late = min(max(late, said - a), free)
        out.append((a + late, b + late))
    return out


def draw_step(figure: Figure, index: int, step: Step, when: StepSpans, kept: frozenset[str] = frozenset()) -> None:
    """What the step adds: circles, the points from which its lines start, lines, the other points.

    Lines of earlier steps go back, but for those of the roles `kept`.
    """
    dim_old(figure, {line.role for line in step.lines} | kept, when.dim)
    put_circles(figure, index, step.circles, when.circle)
    put_lines(figure, index, step.lines, when.line)
    before = points_before(step)
    for n, point in enumerate(step.points):
        put_point(figure, index, n, point, when.mark if point in before else when.mark_after)


# ------------------------------------------------------------------ balls and the cue


def put_balls(figure: Figure, table: Table | None, cue: bool, shown: bool = True) -> None:
    """Table and balls; the cue is put down hidden. It lies along the true aim: beside another there is none."""
    sheet, shot = figure.sheet, figure.shot
    opacity = 1.0 if shown else 0.0
    if table is not None:
        sheet.put(figure.id("table"), TableTop(table), "table", "table", figure.panes, opacity=1.0)
    for role, at, look in (
        ("object_ball", shot.object_ball_mm, "object"),
        ("cue_ball", shot.cue_ball_mm, "cue"),
    ):
        ball = Ball(position(at), figure.radius_mm, look)
        sheet.put(figure.id(role), ball, "ball", role, figure.panes, opacity=opacity)
    if cue and aims_true(figure.plan, shot):
        sheet.put(figure.id("cue"), cue_at(shot), "ball", "cue", figure.panes)


def put_ghost(figure: Figure, panes: tuple[str, ...], shown: Span) -> None:
    """The ghost ball where the construction itself draws none."""
    ghost = Ball(position(figure.shot.ghost_ball_mm), figure.radius_mm, "ghost")
    id = figure.sheet.put(figure.id("ghost_ball"), ghost, "ghost", "ghost_ball", panes)
    figure.sheet.show(id, shown)


def bring_cue(figure: Figure, span: Span) -> None:
    """The cue slides up to the ball along its own line."""
    id = figure.id("cue")
    if id not in figure.sheet.ids():
        return
    away = -CUE_BACK_MM * np.array(cue_at(figure.shot).direction)
    first, end = span
    figure.sheet.move(id, "offset_mm", (first, first + 1), *away.tolist(), easing="linear")
    figure.sheet.move(id, "opacity", (first, first + 1), 1.0, easing="linear")
    figure.sheet.move(id, "offset_mm", (first + 1, end), 0.0, 0.0, 0.0)


# ------------------------------------------------------------------ a step's parts


def put_circles(figure: Figure, index: int, circles: Sequence[construction.Circle], shown: Span) -> None:
    """Ghost balls, and rings on the cloth."""
    for n, c in enumerate(circles):
        id = figure.id(f"{c.role}.{index}.{n}")
        if c.role == "ghost_ball":
            figure.sheet.put(id, Ball(c.centre_mm, c.radius_mm, "ghost"), "ghost", c.role, figure.panes)
        else:
            figure.sheet.put(id, Ring(c.centre_mm, c.radius_mm, "thin_line"), "line", c.role, figure.line_panes)
        figure.sheet.show(id, shown)


def put_lines(figure: Figure, index: int, lines: Sequence[construction.Line], span: Span) -> None:
    """Lines drawn from their causes, piece after piece."""
    sheet, is_plan = figure.sheet, figure.eye_mm is None
    for n, line in enumerate(lines):
        style = line_style(line.role)
        style = style if style in figure.frame.look.lines else "thin_line"
        pieces = pieces_of(figure, in_reach(figure, line))
        parts = [span]
        if len(pieces) > 1:
            lengths = [math.dist(*piece_px(figure, piece)) for piece in pieces]
            ends = [span[0] + (span[1] - span[0]) * t / sum(lengths) for t in accumulate(lengths, initial=0.0)]
            parts = list(pairwise(round(end) for end in ends))
        for k, ((panes, a, b), part) in enumerate(zip(pieces, parts, strict=False)):
            shape = Line(
                (a, b),
                style,
                arrow=line.role == "target_line",
                ink_in=(figure.id("cue_ball"),) if is_plan and style in TURNS_TO_INK else (),
                faint_after_mm=faint_after(figure.shot, a, b),
            )
            id = figure.id(f"{line.role}.{index}.{n}.{k}")
            sheet.put(id, shape, "line", line.role, panes, opacity=1.0, drawn=0.0)
            sheet.move(id, "drawn", part, 1.0)
            figure.lines.append(id)


def put_point(figure: Figure, index: int, n: int, point: construction.Point, shown: Span) -> None:
    """A mark, hollow where it can't be seen from here."""
    mark = Mark(point.at_mm, mark_kind(point.role), is_hollow(figure, point.at_mm))
    id = figure.id(f"{point.role}.{index}.{n}")
    figure.sheet.put(id, mark, "mark", point.role, point_panes(figure, point.role))
    figure.sheet.show(id, shown)


def dim_old(figure: Figure, needed: set[str] | frozenset[str], span: Span) -> None:
    """Lines drawn so far go back to an old line's strength, but for those of the roles needed."""
    for id in figure.lines:
        strength = 1.0 if figure.sheet.role(id) in needed else figure.frame.look.old_strength
        if figure.sheet.end_of(id, "strength") != (strength,):
            figure.sheet.move(id, "strength", span, strength)
