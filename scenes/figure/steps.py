"""Drawing a figure: its balls, and its construction step after step."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Step, position
from aimgeo.tables import Table
from scenes.board import Ball, Line, Mark, Ring, Span, TableTop
from scenes.board.brief import BriefStep
from scenes.board.clauses import Part, Words, placed
from scenes.board.timing import TIMING, drawing_s
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

CIRCLE_S = 0.45
"""A circle comes in so long."""
ALIKE_S = 0.25
"""From one of several points of one role to the next."""
CUE_BACK_MM = 420.0
"""The cue comes in from so far behind."""
TURNS_TO_INK = frozenset({"aim_line", "sight_line"})
"""White lines, in a plan: ink within the cue ball."""


@dataclass(frozen=True, slots=True)
class StepSpans:
    """When the parts of a step are drawn: `dim` old lines; each part by its role or name, labels with them; `hold`
    is the rest of the step."""

    dim: Span
    parts: Mapping[str, Span]
    fade: int
    hold: Span

    def of(self, name: str) -> Span:
        """When something is drawn; at the end of all the others where it is no part of the step."""
        return self.parts.get(name, self.last)

    @property
    def last(self) -> Span:
        """As long as a fade, when all is drawn."""
        end = max((end for _, end in self.parts.values()), default=self.dim[1])
        end = min(end, max(self.hold[1] - self.fade, self.dim[0]))
        return end, min(end + self.fade, max(self.hold[1], end + 1))

    def number(self, name: str) -> Span:
        """When a number comes: as what it measures is drawn to its end."""
        first, end = self.of(name)
        return max(first, end - self.fade), end

    def label(self, name: str) -> Span:
        """When the label of something comes: with it, or with a line when half of it is drawn."""
        if name not in self.parts:
            return self.last
        first, end = self.parts[name]
        first += (end - first) // 2 if end - first > 2 * self.fade else 0
        return first, min(first + self.fade, max(self.hold[1], first + 1))


def step_spans(
    figure: Figure,
    step: Step,
    span: Span,
    words: BriefStep | None = None,
    *,
    more: Mapping[str, tuple[tuple[str, ...], float]] | None = None,
    hold_s: float = TIMING.hold_s,
    lead_s: float = 0.0,
) -> StepSpans:
    """A step's parts, each with the clause that speaks of it; without words in turn.

    `more` are the kind's own: what the words may call each, and its seconds. `lead_s` more pass before the first.
    """
    before = points_before(step)
    parts: dict[str, Part] = {}
    for circle in step.circles:
        parts[circle.role] = Part((circle.role,), CIRCLE_S)
    for point in before:
        parts.setdefault(point.role, Part((point.role,), TIMING.fade_s))
    for line in step.lines:
        seconds = drawing_s(drawing_px(figure, line) / figure.frame.height_px)
        known = parts.get(line.role)
        parts[line.role] = Part((line.role,), max(seconds, known.seconds if known else 0.0), grows=True)
    for point in step.points:
        alike = sum(p.role == point.role for p in step.points)
        parts.setdefault(point.role, Part((point.role,), max(TIMING.fade_s, ALIKE_S * (alike - 1))))
    for name, (names, seconds) in (more or {}).items():
        parts[name] = Part(names, seconds)
    heard = Words(words or BriefStep(step.name, "", "", span[1] - span[0]), span, figure.brief.labels)
    lead = lead_s + (TIMING.fade_s if heard.are_spoken else TIMING.fade_s + TIMING.rest_s)
    # silent or spoken, the look at the end gives way last
    rest = hold_s if not heard.are_spoken else min(hold_s, TIMING.fade_s)
    spans = placed(heard, list(parts.values()), figure.rate, lead, rest)
    found = dict(zip(parts, spans, strict=True))
    end = max((b for _, b in spans), default=span[0])
    return StepSpans(
        (span[0], span[0] + figure.frames(TIMING.dim_s)), found, figure.frames(TIMING.fade_s), (end, span[1])
    )


def draw_step(figure: Figure, index: int, step: Step, when: StepSpans, kept: frozenset[str] = frozenset()) -> None:
    """What the step adds: circles, the points from which its lines start, lines, the other points.

    Lines of earlier steps go back, but for those of the roles `kept`.
    """
    dim_old(figure, {line.role for line in step.lines} | kept, when.dim)
    put_circles(figure, index, step.circles, when.of)
    put_lines(figure, index, step.lines, when.of)
    for n, point in enumerate(step.points):
        alike = [p for p in step.points if p.role == point.role]
        put_point(figure, index, n, point, _turn(when.of(point.role), alike.index(point), len(alike)))


def _turn(span: Span, k: int, count: int) -> Span:
    """The k-th of several that come one after the other."""
    first, end = span
    return first + k * (end - first) // count, first + (k + 1) * (end - first) // count


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

When = Span | Callable[[str], Span]
"""When something is drawn: all of it at once, or each by its role."""


def _at(when: When, role: str) -> Span:
    return when(role) if callable(when) else when


def put_circles(figure: Figure, index: int, circles: Sequence[construction.Circle], when: When) -> None:
    """Ghost balls, and rings on the cloth."""
    for n, c in enumerate(circles):
        id = figure.id(f"{c.role}.{index}.{n}")
        panes = (*figure.panes, *figure.front_panes)
        if c.role == "ghost_ball":
            figure.sheet.put(id, Ball(c.centre_mm, c.radius_mm, "ghost"), "ghost", c.role, panes)
        else:
            figure.sheet.put(id, Ring(c.centre_mm, c.radius_mm, "thin_line"), "line", c.role, figure.line_panes)
        figure.sheet.show(id, _at(when, c.role))


def put_lines(figure: Figure, index: int, lines: Sequence[construction.Line], when: When) -> None:
    """Lines drawn from their causes, piece after piece."""
    sheet, is_plan = figure.sheet, figure.eye_mm is None
    for n, line in enumerate(lines):
        style = line_style(line.role)
        style = style if style in figure.frame.look.lines else "thin_line"
        pieces = pieces_of(figure, in_reach(figure, line))
        span = _at(when, line.role)
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
                ink_in=("cue_ball",) if is_plan and style in TURNS_TO_INK else (),
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
