"""A construction in an eye's picture: balls, lines, circles, points, and labels that find their place.

A figure may stand in several panes at once: everything is drawn at its projected place in each of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Construction, Step, position
from aimgeo.shot import Shot
from aimgeo.tables import Table
from aimgeo.vectors import Array
from scenes.board import Ball, Leader, Line, Mark, Pane, Pixel, Plate, Rect, Ring, TableTop
from scenes.board.motion import Sheet, Span
from scenes.board.rects import part_inside
from scenes.board.timing import TIMING
from scenes.figure.eye_view import cannot_be_seen, cue_at, pixel, seen_ball
from scenes.figure.labels import Disc, Obstacles, Placed, Port, Spacing, Stroke, Wanted, place
from scenes.frame.layout import Layout
from scenes.look.roles import LINE_STYLE, MARK_KIND, UNLABELLED
from scenes.look.scale import plate_sizes, plate_width_px

CUE_BACK_MM = 420.0
"""The cue comes in from so far behind."""
AT_CUE_BALL = frozenset({"contact_cue", "cue_centre", "cue_mark", "sight_start"})
"""Points on the cue ball."""
SMALL_BALL_PX = 30.0
"""On an object ball of a smaller radius marks would hide what they mark."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A shot and its construction in a picture. `pane` is the one in which lengths and labels are measured.

    `panes` show the balls and circles, `line_panes` the lines. Lines end above the picture's part `top`. `prefix`
    goes before the ids of the elements.
    """

    sheet: Sheet
    frame: Layout
    shot: Shot
    plan: Construction
    pane: Pane
    eye_mm: Array
    panes: tuple[str, ...]
    line_panes: tuple[str, ...]
    top: float
    prefix: str = ""

    @property
    def radius_mm(self) -> float:
        """Ball radius."""
        return float(self.shot.radius_mm)

    @property
    def aim_side(self) -> int:
        """On which side of the object ball the aim passes in the picture: +1 right, -1 left."""
        return -int(self.shot.outward)

    @property
    def has_ghost(self) -> bool:
        """True when the construction itself draws the ghost ball."""
        return any(circle.role == "ghost_ball" for step in self.plan.steps for circle in step.circles)

    def id(self, name: str) -> str:
        """An element's id."""
        return self.prefix + name


def bare(shot: Shot) -> Construction:
    """A construction without steps, for a picture that draws its own lines."""
    aim = construction.Line("aim_line", position(shot.cue_ball_mm), position(shot.ghost_ball_mm))
    a = shot.aim_direction
    return Construction("", (), (float(a[0]), float(a[1])), position(shot.ghost_ball_mm), aim)


def put_balls(figure: Figure, table: Table | None, cue: bool, shown: bool = True) -> None:
    """Table and balls; the cue is put down hidden."""
    sheet, shot = figure.sheet, figure.shot
    opacity = 1.0 if shown else 0.0
    if table is not None:
        top = TableTop(table)
        sheet.put(figure.id("table"), top, "table", "table", figure.panes, opacity=1.0)
    for role, at, look in (
        ("object_ball", shot.object_ball_mm, "object"),
        ("cue_ball", shot.cue_ball_mm, "cue"),
    ):
        ball = Ball(position(at), figure.radius_mm, look)
        sheet.put(figure.id(role), ball, "ball", role, figure.panes, opacity=opacity)
    if cue:
        sheet.put(figure.id("cue"), cue_at(shot), "ball", "cue", figure.panes)


def put_circles(figure: Figure, index: int, step: Step, shown: Span) -> None:
    """The step's circles: ghost balls, and rings on the cloth."""
    for n, c in enumerate(step.circles):
        id = figure.id(f"{c.role}.{index}.{n}")
        if c.role == "ghost_ball":
            ball = Ball(c.centre_mm, c.radius_mm, "ghost")
            figure.sheet.put(id, ball, "ghost", c.role, figure.panes)
        else:
            ring = Ring(c.centre_mm, c.radius_mm, "thin_line")
            figure.sheet.put(id, ring, "line", c.role, figure.line_panes)
        figure.sheet.show(id, shown)


def put_ghost(figure: Figure, panes: tuple[str, ...], shown: Span) -> None:
    """The ghost ball where the construction itself draws none."""
    ghost = Ball(position(figure.shot.ghost_ball_mm), figure.radius_mm, "ghost")
    id = figure.sheet.put(figure.id("ghost_ball"), ghost, "ghost", "ghost_ball", panes)
    figure.sheet.show(id, shown)


def put_lines(figure: Figure, index: int, step: Step, span: Span) -> None:
    """The step's lines, drawn from their causes."""
    for n, line in enumerate(step.lines):
        one = in_reach(figure, line)
        style = LINE_STYLE.get(one.role, one.role)
        shape = Line(
            (one.start_mm, one.end_mm),
            style if style in figure.frame.look.lines else "thin_line",
            arrow=one.role == "target_line",
            faint_after_mm=_faint_after(figure, one),
        )
        id = figure.id(f"{one.role}.{index}.{n}")
        figure.sheet.put(id, shape, "line", one.role, figure.line_panes, opacity=1.0, drawn=0.0)
        figure.sheet.move(id, "drawn", span, 1.0)


def put_point(figure: Figure, index: int, n: int, point: construction.Point, shown: Span) -> str:
    """A mark, hollow where it can't be seen from here; its kind."""
    kind = MARK_KIND.get(point.role, "target")
    hollow = cannot_be_seen(point.at_mm, figure.shot, figure.eye_mm)
    panes = _point_panes(figure, point.role)
    id = figure.id(f"{point.role}.{index}.{n}")
    figure.sheet.put(id, Mark(point.at_mm, kind, hollow), "mark", point.role, panes)
    figure.sheet.show(id, shown)
    return kind


def _point_panes(figure: Figure, role: str) -> tuple[str, ...]:
    """Where a point is marked."""
    ball = seen_ball(figure.pane, figure.shot.object_ball_mm, figure.radius_mm)
    others = tuple(p for p in figure.panes if p not in figure.line_panes)
    if role in AT_CUE_BALL:
        return figure.line_panes
    if ball.mean_radius_px < figure.frame.scale.px(SMALL_BALL_PX) and role != "aim_point":
        return others or figure.panes
    return figure.panes


def points_before(step: Step) -> tuple[construction.Point, ...]:
    """The points from which the step's lines start: they are there before the lines."""
    starts = {line.start_mm for line in step.lines}
    return tuple(p for p in step.points if p.at_mm in starts)


def dim_old(figure: Figure, step: Step, span: Span) -> None:
    """Lines of earlier steps go back to an old line's strength, but for those that this step starts from."""
    needed = {line.role for line in step.lines}
    roles = {line.role for s in figure.plan.steps for line in s.lines} - needed
    for id in figure.sheet.ids():
        own = id.startswith(figure.prefix) and isinstance(figure.sheet.shape(id), Line)
        if own and figure.sheet.role(id) in roles:
            figure.sheet.move(id, "strength", span, figure.frame.look.old_strength)


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


def drawing_s(figure: Figure, step: Step) -> float:
    """Seconds that the step's longest line takes to draw."""
    if not step.lines:
        return 0.0
    longest = max(_length_px(figure, in_reach(figure, line)) for line in step.lines)
    return TIMING.draw_s + TIMING.draw_per_height_s * longest / figure.frame.height_px


def _length_px(figure: Figure, line: construction.Line) -> float:
    a, b = pixel(figure.pane, line.start_mm), pixel(figure.pane, line.end_mm)
    length = math.dist(a, b)
    return min(length, figure.frame.height_px) if math.isfinite(length) else float(figure.frame.height_px)


def in_reach(figure: Figure, line: construction.Line) -> construction.Line:
    """The target line, cut off where the picture ends or the title stands."""
    if line.role != "target_line":
        return line
    sx, _, sw, _ = figure.frame.action_safe
    px, py, pw, ph = figure.pane.rect_px
    left, right = max(sx, px), min(sx + sw, px + pw)
    a, b = np.array(line.start_mm), np.array(line.end_mm)
    # in steps, since equal parts of the line are not equal parts of the picture
    t = np.linspace(0, 1, 400)
    at = figure.pane.px(a + t[:, None] * (b - a))
    inside = (at[:, 0] > left) & (at[:, 0] < right) & (at[:, 1] > py + figure.top * ph) & (at[:, 1] < py + ph)
    outside = np.flatnonzero(~inside)
    return line if not len(outside) else replace(line, end_mm=position(a + t[max(outside[0] - 1, 1)] * (b - a)))


def _faint_after(figure: Figure, line: construction.Line) -> float | None:
    """Where a line along the aim passes the ghost ball's centre; None when it does not."""
    aim = figure.shot.aim_direction
    run = np.subtract(line.end_mm, line.start_mm)[:2]
    length = float(np.hypot(*run))
    if length < 1e-6 or float(run @ aim) < 0.999999 * length:
        return None
    level = float((figure.shot.ghost_ball_mm[:2] - np.array(line.start_mm[:2])) @ aim)
    return max(level, 0.0) if level < length - 1e-6 else None


# ------------------------------------------------------------------ labels


class Labels:
    """The labels of a figure so far: each found its place when it appeared; the oldest give way to new ones."""

    def __init__(
        self,
        figure: Figure,
        words: dict[str, str],
        zone: Rect,
        rects: Sequence[Rect],
        strokes: Sequence[Stroke] = (),
    ) -> None:
        self.figure, self.words, self.zone = figure, words, zone
        self.placed: list[tuple[Placed, list[str]]] = []
        self.named: set[str] = set()
        self.obstacles = _obstacles(figure, rects, strokes)
        self.spacing = Spacing().scaled(figure.frame.scale.k * figure.frame.scale.gain)

    def add(self, index: int, step: Step, shown: Span, turn: Span) -> None:
        """Name what a step adds; what was new is old now."""
        sheet = self.figure.sheet
        for _, ids in self.placed:
            if sheet.is_shown_at_end(ids[0]):
                sheet.move(ids[0], "fresh", turn, 0.0)
                sheet.move(ids[0], "strength", turn, self.figure.frame.look.old_label)
        for want in self._wanted(index, step):
            for gone in range(len(self.placed) + 1):
                kept = [p for p, _ in self.placed[gone:]]
                found = place(want, self.obstacles, (self.zone,), kept, self.spacing)
                if found is not None:
                    self._drop(gone, turn)
                    self._put(found, shown)
                    break

    def _drop(self, count: int, turn: Span) -> None:
        for _, ids in self.placed[:count]:
            for id in ids:
                self.figure.sheet.hide(id, turn)
        del self.placed[:count]

    def _put(self, found: Placed, shown: Span) -> None:
        sheet, want = self.figure.sheet, found.wanted
        ids = [self.figure.id(f"label.{want.id}")]
        plate = Plate(want.text, found.rect_px, want.sample)
        sheet.put(ids[0], plate, "label", "label", fresh=1.0, names=want.name)
        if found.leader_px:
            ids.append(self.figure.id(f"leader.{want.id}"))
            sheet.put(ids[1], Leader(found.leader_px), "leader", "leader", names=want.name)
        for id in ids:
            sheet.show(id, shown)
        self.placed.append((found, ids))

    def _is_marked(self, point: construction.Point) -> bool:
        return self.figure.pane.id in _point_panes(self.figure, point.role)

    def _wanted(self, index: int, step: Step) -> list[Wanted]:
        figure, out = self.figure, []
        for role, ports, sample in (
            *((line.role, _line_ports(figure, line), LINE_STYLE.get(line.role, line.role)) for line in step.lines),
            *((c.role, _circle_ports(figure, c), None) for c in step.circles),
            *((p.role, _around(pixel(figure.pane, p.at_mm)), None) for p in step.points if self._is_marked(p)),
        ):
            if role in UNLABELLED or role in self.named or role not in self.words or not ports:
                continue
            self.named.add(role)
            words, sample = self.words[role], sample if sample in figure.frame.look.lines else None
            width = plate_width_px(words, figure.frame.scale, sample is not None)
            height = plate_sizes(figure.frame.scale).height_px
            # a line's label carries its sample, so it may stand beside the line without a leader
            near = ports[len(ports) // 2].at_px if sample else None
            name = f"{role}.{index}"
            out.append(Wanted(name, role, words, width, height, ports, None, near, -figure.aim_side, sample))
        return out


def _visible_ends(figure: Figure, line: construction.Line) -> tuple[Pixel, Pixel] | None:
    one = in_reach(figure, line)
    a, b = pixel(figure.pane, one.start_mm), pixel(figure.pane, one.end_mm)
    if not all(map(math.isfinite, (*a, *b))):
        return None
    lo, hi = part_inside(a, b, figure.pane.rect_px)
    if lo >= hi:
        return None
    return (
        (a[0] + (b[0] - a[0]) * lo, a[1] + (b[1] - a[1]) * lo),
        (a[0] + (b[0] - a[0]) * hi, a[1] + (b[1] - a[1]) * hi),
    )


def _line_ports(figure: Figure, line: construction.Line) -> tuple[Port, ...]:
    ends = _visible_ends(figure, line)
    if ends is None:
        return ()
    (x0, y0), (x1, y1) = ends
    ports = []
    for t in np.linspace(0.12, 0.88, 20).tolist():
        at = (x0 + (x1 - x0) * t, y0 + (y1 - y0) * t)
        ports += [Port(at, side, cost=30 * abs(t - 0.5)) for side in (-1, 1)]
    return tuple(ports)


def _circle_ports(figure: Figure, circle: construction.Circle) -> tuple[Port, ...]:
    if circle.role != "ghost_ball":
        return _around(pixel(figure.pane, circle.centre_mm))
    x, y, w, h = seen_ball(figure.pane, np.array(circle.centre_mm), circle.radius_mm).box_px()
    return tuple(
        Port((x + w / 2 + side * w / 2 * math.cos(t), y + h / 2 + h / 2 * math.sin(t)), side, cost=40 * abs(t))
        for side in (-1, 1)
        for t in (0.0, 0.5, -0.5, 0.9, -0.9)
    )


def _around(at: Pixel) -> tuple[Port, ...]:
    level = [Port(at, side) for side in (-1, 1)]
    return (*level, *(Port(at, side, lift, 20.0) for side in (-1, 1) for lift in (-1, 1)))


def _obstacles(figure: Figure, rects: Sequence[Rect], strokes: Sequence[Stroke]) -> Obstacles:
    """Everything that the figure will ever draw, and what else stands in the frame."""
    s, shot, R = figure.frame.scale, figure.shot, figure.radius_mm
    drawn, marks = list(strokes), []
    balls = [_disc(figure, "object_ball", shot.object_ball_mm, R), _disc(figure, "cue_ball", shot.cue_ball_mm, R)]
    for step in figure.plan.steps:
        for line in step.lines:
            ends = _visible_ends(figure, line)
            style = figure.frame.look.line(LINE_STYLE.get(line.role, line.role))
            if ends is not None:
                half = s.stroke_px(0.75 * style.width_px + style.casing_px) / 2
                drawn.append(Stroke(line.role, *ends, half))
        for circle in step.circles:
            if circle.role == "ghost_ball":
                balls.append(_disc(figure, "ghost_ball", np.array(circle.centre_mm), R, False))
        for point in step.points:
            radius = s.stroke_px(figure.frame.look.marks[MARK_KIND.get(point.role, "target")].reach_px)
            marks.append(Disc(pixel(figure.pane, point.at_mm), radius, True, point.role))
    return Obstacles(tuple(balls), tuple(marks), tuple(drawn), tuple(rects))


def _disc(figure: Figure, name: str, centre: Array, radius_mm: float, is_solid: bool = True) -> Disc:
    ball = seen_ball(figure.pane, centre, radius_mm)
    x, y = ball.centre_px.tolist()
    return Disc((x, y), ball.mean_radius_px, is_solid, name)
