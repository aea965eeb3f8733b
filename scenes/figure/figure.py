"""A figure: a shot and its construction in a picture, at its projected place, from above or as an eye sees it.

What a figure is placed in are panes; everything about a pixel comes from their cameras, so that a plan view, a
plan view broken in two and a player's eye are the same to what draws. A figure may stand in further panes at once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from aimgeo import construct as construction
from aimgeo.camera import depth
from aimgeo.construct import Construction, Position, Step, position
from aimgeo.shot import Shot
from aimgeo.vectors import Array, cross, dot
from scenes.board import Pane, Pixel, Rect, Text
from scenes.board.brief import Brief
from scenes.board.motion import Sheet, frames_of
from scenes.board.rects import part_in_circle, part_inside
from scenes.figure.eye_view import cannot_be_seen, seen_ball, whole_ball
from scenes.figure.labels import Disc, Obstacles, Stroke
from scenes.frame.layout import Layout
from scenes.look.roles import MARK_KIND, line_style

ARROW_WIDTHS = 3.9
"""Length of an arrowhead in widths of its line."""
AT_CUE_BALL = frozenset({"contact_cue", "cue_centre", "cue_mark", "sight_start"})
"""Points on the cue ball."""
PLAYED_RIGHT = "own.played_right"
"""What is said where the shot is played with the true aim after another one was drawn."""
AIMS_TRUE_SINE = 1e-6
"""An aim turned by less is the true one: a micrometre in a metre."""
FRACTIONS = frozenset({"fixed_mark", "mark_half", "mark_edge"})
"""Points on the object ball that are told as fractions of the way to its edge."""
ON_BALL = FRACTIONS | {"mark_centre", "sight_point", "aim_point", "object_centre"}
"""Points that are shown on the object ball seen along the aim."""
OFF_CENTRE, BESIDE = 0.1, 2.1
"""A point so far from the object ball's middle and no farther, in radii, lies on one side of it."""
SMALL_BALL_PX = 30.0
"""On an object ball of a smaller radius marks would hide what they mark."""

Piece = tuple[tuple[str, ...], Position, Position]
"""Panes, and the ends of what they show of a line."""


@dataclass(frozen=True, slots=True)
class Magnifier:
    """A round pane over a place of a window, from one step up to another.

    `at_px` is the place in the picture, `roles` what stands apart in it. `is_open`: it shows lines on even ground.
    It `takes_spare`: something that was to spare gives way to it.
    """

    pane: Pane
    window: Pane
    at_px: Pixel
    times: int
    first_step: int
    end_step: int
    roles: frozenset[str]
    is_open: bool
    takes_spare: bool = False

    @property
    def centre_px(self) -> Pixel:
        """Its middle."""
        x, y, w, h = self.pane.rect_px
        return x + w / 2, y + h / 2

    @property
    def radius_px(self) -> float:
        """Its radius."""
        return self.pane.rect_px[2] / 2

    @property
    def side(self) -> int:
        """On which side of its place it stands: +1 right, -1 left."""
        return 1 if self.centre_px[0] > self.at_px[0] else -1

    def seen(self, a_px: Pixel, b_px: Pixel) -> tuple[Pixel, Pixel] | None:
        """The ends of what it shows of a segment given in its own pixels; None where it shows nothing of it."""
        lo, hi = part_in_circle(a_px, b_px, self.centre_px, self.radius_px)
        if lo >= hi:
            return None
        (ax, ay), (bx, by) = a_px, b_px
        return (ax + (bx - ax) * lo, ay + (by - ay) * lo), (ax + (bx - ax) * hi, ay + (by - ay) * hi)


@dataclass(frozen=True, slots=True)
class Front:
    """The object ball seen along the aim: the pane, its words, and the steps [first, end) in which it is there.

    `radius_px` is the ball's. It `takes_spare`: something that was to spare gives way to it.
    """

    pane: Pane
    radius_px: float
    heading: Text
    ticks: tuple[Text, ...]
    first_step: int
    end_step: int
    takes_spare: bool


@dataclass(slots=True)
class Figure:
    """What every part of a figure needs; `sheet` is written to.

    `windows` are the panes in which lengths and labels are measured: the parts of a plan, or the one of an eye.
    `panes` show the balls and circles, `line_panes` the lines. `room_px`: where the target line may run, and
    `reach_mm` how far. `eye_mm` (3,): the eye that may not see a point, None for a plan. `prefix` goes before the
    ids of the elements; `lines` are those of the lines drawn so far. `magnifiers` show parts of a plan larger,
    `front` the object ball along the aim. `brings` is what each step adds with these, once it is worked out.
    """

    brief: Brief
    sheet: Sheet
    frame: Layout
    shot: Shot
    plan: Construction
    windows: tuple[Pane, ...]
    panes: tuple[str, ...]
    line_panes: tuple[str, ...]
    room_px: Rect
    eye_mm: Array | None = None
    prefix: str = ""
    reach_mm: float = math.inf
    lines: list[str] = field(default_factory=list)
    magnifiers: tuple[Magnifier, ...] = ()
    front: Front | None = None
    brings: tuple[tuple[Magnifier, ...], Front | None, list[Obstacles]] | None = None
    _balls: tuple[Disc, ...] | None = field(default=None, init=False)
    _radius_px: float | None = field(default=None, init=False)

    @property
    def pane(self) -> Pane:
        """The window with the object ball."""
        return self.windows[0]

    @property
    def is_broken(self) -> bool:
        """True when the plan shows two parts of a long shot."""
        return len(self.windows) > 1

    @property
    def rate(self) -> tuple[int, int]:
        """Frames a second."""
        return self.brief.output.rate

    @property
    def radius_mm(self) -> float:
        """Ball radius."""
        return float(self.shot.radius_mm)

    @property
    def radius_px(self) -> float:
        """The object ball's radius in the picture."""
        if self._radius_px is None:
            self._radius_px = seen_ball(self.pane, self.shot.object_ball_mm, self.radius_mm).mean_radius_px
        return self._radius_px

    @property
    def balls(self) -> tuple[Disc, ...]:
        """The two balls and the ghost ball, as far as they are shown."""
        if self._balls is None:
            shot, R = self.shot, self.radius_mm
            found = [
                disc_of(self, "object_ball", shot.object_ball_mm, R),
                disc_of(self, "cue_ball", shot.cue_ball_mm, R),
                disc_of(self, "ghost_ball", shot.ghost_ball_mm, R, False),
            ]
            self._balls = tuple(disc for disc in found if disc is not None)
        return self._balls

    @property
    def px_per_mm(self) -> float:
        """At the object ball; everywhere, in a plan."""
        return self.radius_px / self.radius_mm

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

    @property
    def front_panes(self) -> tuple[str, ...]:
        """The pane in which the object ball is seen along the aim, if there is one."""
        return () if self.front is None else (self.front.pane.id,)

    def magnifier(self, step: int) -> Magnifier | None:
        """The magnifier that is there in a step."""
        return next((one for one in self.magnifiers if one.first_step <= step < one.end_step), None)

    def frames(self, seconds: float) -> int:
        """Frames that last about so long."""
        return frames_of(seconds, self.rate)

    def window(self, at: Position | Array) -> Pane | None:
        """The window in which a point stands; an only one shows all."""
        if not self.is_broken:
            return self.pane
        for window in self.windows:
            _, y, _, h = window.rect_px
            if y <= float(window.px(at)[1]) <= y + h:
                return window
        return None

    def px(self, at: Position | Array) -> Pixel:
        """Where a point stands in the picture."""
        x, y = (self.window(at) or self.windows[-1]).px(at).tolist()
        return (x, y)


def eye_figure(
    brief: Brief,
    sheet: Sheet,
    frame: Layout,
    shot: Shot,
    plan: Construction,
    pane: Pane,
    eye_mm: Array,
    top: float,
    *,
    panes: tuple[str, ...] = (),
    line_panes: tuple[str, ...] = (),
    prefix: str = "",
) -> Figure:
    """The figure of a shot as an eye sees it in a pane; lines end above the part `top` of its height."""
    panes = panes or (pane.id,)
    room = eye_room(frame, pane, top)
    return Figure(
        brief, sheet, frame, shot, plan, (pane,), panes, line_panes or panes, room, eye_mm=eye_mm, prefix=prefix
    )


def eye_room(frame: Layout, pane: Pane, top: float) -> Rect:
    """Where lines may run in an eye's pane: within the frame's action-safe columns, below its part `top`."""
    sx, _, sw, _ = frame.action_safe
    x, y, w, h = pane.rect_px
    left, right = max(sx, x), min(sx + sw, x + w)
    return (left, y + top * h, right - left, h - top * h)


def aims_true(plan: Construction, shot: Shot) -> bool:
    """False for a method of a lesson's own whose aim is another than the one that pots the ball."""
    return abs(float(cross(shot.aim_direction, np.array(plan.aim_direction)))) < AIMS_TRUE_SINE


def bare(shot: Shot) -> Construction:
    """A construction without steps, for a picture that draws its own lines."""
    aim = construction.Line("aim_line", position(shot.cue_ball_mm), position(shot.ghost_ball_mm))
    a = shot.aim_direction
    return Construction("", (), (float(a[0]), float(a[1])), position(shot.ghost_ball_mm), aim)


# ------------------------------------------------------------------ lines


def in_reach(figure: Figure, line: construction.Line) -> construction.Line:
    """Lines to the target, or past it, cut off where their room ends."""
    if line.role not in ("target_line", "given_path"):
        return line
    a, b = np.array(line.start_mm), np.array(line.end_mm)
    b = a + (b - a) * min(1.0, figure.reach_mm / float(np.linalg.norm(b - a)))
    w = depth(figure.pane.projection(0), np.stack([a, b])).tolist()
    if w[1] <= 1e-3 * w[0]:  # it runs past the eye
        b = a + (b - a) * (0.999 * w[0] / (w[0] - w[1]))
        w[1] = 1e-3 * w[0]
    s = part_inside(figure.pane.px(a), figure.pane.px(b), figure.room_px)[1]
    # equal parts of the line are not equal parts of the picture
    return replace(line, end_mm=position(a + (b - a) * (s * w[0] / (s * w[0] + (1 - s) * w[1]))))


def pieces_of(figure: Figure, line: construction.Line) -> list[Piece]:
    """What is drawn of a line, in the order in which it runs: all of it before an eye, in a plan what each window
    shows."""
    if figure.eye_mm is not None:
        return [(figure.line_panes, line.start_mm, line.end_mm)]
    a, b = np.array(line.start_mm), np.array(line.end_mm)
    out = []
    for window in figure.windows:
        lo, hi = part_inside(window.px(a), window.px(b), window.rect_px)
        if lo < hi:
            also = tuple(one.pane.id for one in figure.magnifiers if one.window.id == window.id)
            out.append((lo, ((window.id, *also), position(a + (b - a) * lo), position(a + (b - a) * hi))))
    return [piece for _, piece in sorted(out)]


def piece_px(figure: Figure, piece: Piece) -> tuple[Pixel, Pixel]:
    """The ends of a piece in pixels."""
    window = next((w for w in figure.windows if w.id in piece[0]), figure.pane)
    (ax, ay), (bx, by) = window.px(np.array(piece[1:])).tolist()
    return (ax, ay), (bx, by)


def visible(figure: Figure, piece: Piece) -> tuple[Pixel, Pixel] | None:
    """The ends of what is seen of a piece, in pixels: nothing that a break covers or that lies behind the eye."""
    a, b = piece_px(figure, piece)
    if not all(map(math.isfinite, (*a, *b))):
        return None
    rect = figure.pane.rect_px
    if figure.is_broken:
        _, y, _, h = figure.frame.band_px
        rect = (-1e6, -1e6, 2e6, 1e6 + y) if figure.pane.id in piece[0] else (-1e6, y + h, 2e6, 1e6)
    lo, hi = part_inside(a, b, rect)
    if lo >= hi:
        return None
    run = (b[0] - a[0], b[1] - a[1])
    return (a[0] + run[0] * lo, a[1] + run[1] * lo), (a[0] + run[0] * hi, a[1] + run[1] * hi)


def faint_after(shot: Shot, a: Position, b: Position) -> float | None:
    """Where a line along the aim passes the ghost ball's centre, from a; None when it does not."""
    aim, run = shot.aim_direction, np.subtract(b, a)[:2]
    length = float(np.hypot(*run))
    if length < 1e-6 or float(dot(run, aim)) < 0.999999 * length:
        return None
    level = float(dot(shot.ghost_ball_mm[:2] - np.array(a[:2]), aim))
    return max(level, 0.0) if level < length - 1e-6 else None


def drawing_px(figure: Figure, line: construction.Line) -> float:
    """How far the pen goes in the picture; before an eye no farther than the frame is high."""
    length = sum(math.dist(*piece_px(figure, piece)) for piece in pieces_of(figure, in_reach(figure, line)))
    high = float(figure.frame.height_px)
    return length if figure.eye_mm is None else min(length, high) if math.isfinite(length) else high


# ------------------------------------------------------------------ points and balls


def own_side(figure: Figure, at_mm: Sequence[Position]) -> int:
    """On which side of the object ball some points lie in the picture: +1 right, -1 left, 0 on none.

    Of points on both sides those on the aim's are meant.
    """
    ball = seen_ball(figure.pane, figure.shot.object_ball_mm, figure.radius_mm)
    off = np.array([(np.array(figure.px(at)) - ball.centre_px) / ball.mean_radius_px for at in at_mm])
    beside = (np.abs(off[:, 0]) > OFF_CENTRE) & (np.hypot(*off.T) < BESIDE)
    sides = set(np.sign(off[beside, 0]).astype(int).tolist())
    return figure.aim_side if figure.aim_side in sides else next(iter(sides), 0)


def mark_kind(role: str) -> str:
    """How a point of this role is marked."""
    return MARK_KIND.get(role, "target")


def is_hollow(figure: Figure, at: Position) -> bool:
    """True when the eye cannot see the point."""
    return figure.eye_mm is not None and cannot_be_seen(at, figure.shot, figure.eye_mm)


def point_panes(figure: Figure, role: str) -> tuple[str, ...]:
    """Where a point is marked."""
    if figure.eye_mm is None:
        return (*figure.panes, *figure.front_panes) if role in ON_BALL else figure.panes
    others = tuple(p for p in figure.panes if p not in figure.line_panes)
    if role in AT_CUE_BALL:
        return figure.line_panes
    if figure.radius_px < figure.frame.scale.px(SMALL_BALL_PX) and role != "aim_point":
        return others or figure.panes
    return figure.panes


def points_before(step: Step) -> tuple[construction.Point, ...]:
    """The points from which the step's lines start: they are there before the lines."""
    starts = {line.start_mm for line in step.lines}
    return tuple(p for p in step.points if p.at_mm in starts)


def disc_of(
    figure: Figure, name: str, centre: Position | Array, radius_mm: float, is_solid: bool = True
) -> Disc | None:
    """A ball or circle in the picture; None where no window shows it, or where it reaches behind the eye."""
    window = figure.window(centre)
    ball = None if window is None else whole_ball(window, np.asarray(centre, float), radius_mm)
    if ball is None:
        return None
    x, y = ball.centre_px.tolist()
    return Disc((x, y), ball.mean_radius_px, is_solid, name)


def other_discs(figure: Figure) -> list[Disc]:
    """The other balls on the table, as far as they are shown: labels keep off them."""
    others = figure.brief.subject.others
    found = (disc_of(figure, f"other.{n}", one.centre_mm, figure.radius_mm) for n, one in enumerate(others))
    return [disc for disc in found if disc is not None]


# ------------------------------------------------------------------ what labels keep clear of


def marks_of(figure: Figure, step: Step) -> tuple[Disc, ...]:
    """The marks of a step's points."""
    marks, scale = figure.frame.look.marks, figure.frame.scale
    return tuple(
        Disc(figure.px(p.at_mm), scale.stroke_px(marks[mark_kind(p.role)].reach_px), True, p.role)
        for p in step.points
    )


def strokes_of(figure: Figure, line: construction.Line) -> list[Stroke]:
    """A line as it is seen: its casing, and the target line's arrowhead."""
    s = figure.frame.scale
    style = figure.frame.look.line(line_style(line.role))
    width = s.line_px(style.width_px, figure.pane.view)
    half = (width + s.stroke_px(style.casing_px)) / 2
    out = []
    for piece in pieces_of(figure, in_reach(figure, line)):
        ends = visible(figure, piece)
        if ends is None:
            continue
        a, b = ends
        out.append(Stroke(line.role, a, b, half))
        if line.role == "target_line":
            head = ARROW_WIDTHS * width
            back = max(1 - head / max(math.dist(a, b), 1.0), 0.0)
            neck = (a[0] + (b[0] - a[0]) * back, a[1] + (b[1] - a[1]) * back)
            out.append(Stroke(line.role, neck, b, 0.42 * head + s.stroke_px(3)))
    return out
