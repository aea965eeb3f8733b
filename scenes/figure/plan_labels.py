"""The labels of a build-up's figure: what each step names, and which label gives way to which."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Position
from scenes.board import (
    Bar,
    Leader,
    Pixel,
    Plate,
    Rect,
)
from scenes.board.brief import MeasureText
from scenes.board.motion import Span
from scenes.figure.labels import (
    NOTHING,
    Disc,
    Obstacles,
    Placed,
    Port,
    Spacing,
    Wanted,
    is_in_the_way,
    merged,
    place,
)
from scenes.figure.plan import (
    Figure,
    Piece,
    disc_of,
    discs,
    obstacles_of,
    point_px,
    visible,
)
from scenes.look.roles import LINE_STYLE, MARK_KIND, UNLABELLED
from scenes.look.scale import plate_sizes, plate_width_px

MOST_LABELS = 6


@dataclass(slots=True)
class _Standing:
    """A label in the picture: what it is for, how much it is needed, since which step, and its elements."""

    placed: Placed
    rank: int
    since: int
    ids: list[str]


class Labels:
    """The labels of the figure so far: each finds its place when it appears, and keeps it while nothing new comes
    in its way."""

    def __init__(self, figure: Figure) -> None:
        self.figure = figure
        self.standing: list[_Standing] = []
        self.named: set[str] = set()
        self.gone: set[str] = set()
        self.bars: list[str] = []
        self.measures: list[MeasureText] = []
        self.measure_ids: list[str] = []
        self.obstacles = obstacles_of(figure)
        self.spacing = Spacing().scaled(figure.frame.scale.k * figure.frame.scale.gain)
        self.count = 0

    def add(
        self,
        index: int,
        step: construction.Step,
        lines: dict[str, tuple[construction.Line, list[Piece]]],
        bars: list[tuple[str, Bar, str, str]],
        shown: Span,
        turn: Span,
        more: Sequence[tuple[Wanted, int]] = (),
    ) -> None:
        """Place the labels of a step, and `more`. Older ones in their way move, or go where there is no room."""
        self.age(turn)
        now, later = merged(self.obstacles[: index + 1]), merged(self.obstacles[index + 1 :])
        new = self.obstacles[index] if index else NOTHING
        moved = [s for s in self.standing if is_in_the_way(s.placed, new, self.spacing)]
        for standing in moved:
            self.remove(standing, turn)
        wanted = [*_wanted(self.figure, index, step, lines, bars, self.named), *more]
        self.make_room(index, wanted, turn)
        for want, rank in wanted:
            found = self.seek(want, now, later)
            while found is None and (least := self.least(index)):
                self.remove(least, turn)
                found = self.seek(want, now, later)
            found = found or self.seek_plain(want, now, later)
            if found is not None:
                self.put(found, rank, index, shown, is_new=True)
        for standing in moved:
            want = standing.placed.wanted
            while len(self.standing) >= MOST_LABELS and (least := self.least(index, standing.rank)):
                self.remove(least, turn)
            found = self.seek(want, now, later) if len(self.standing) < MOST_LABELS else None
            # what stands apart from its point could be taken for another's
            is_sure = not want.is_point and (want.sample or want.around)
            if found is not None and (found.leader_px or is_sure):
                self.put(
                    found, standing.rank, standing.since, (turn[1], turn[1] + turn[1] - turn[0]), is_new=False
                )

    def make_room(self, index: int, wanted: Sequence[tuple[Wanted, int]], turn: Span) -> None:
        """Take away what says the same again, what names the same place, what stands apart from its point, and
        the least needed of too many."""
        texts = {want.text for want, _ in wanted}
        points = [want.near_px for want, _ in wanted if want.is_point and want.near_px]
        same_px = self.figure.frame.scale.stroke_px(4)
        for standing in list(self.standing):
            want = standing.placed.wanted
            is_apart = not (standing.placed.leader_px or want.around) and (want.is_point or not want.sample)
            is_at_new = want.is_point and any(
                want.near_px and math.dist(want.near_px, p) < same_px for p in points
            )
            if want.text in texts or is_apart or is_at_new:
                self.remove(standing, turn)
        while len(self.standing) + len(wanted) > MOST_LABELS and (least := self.least(index)):
            self.remove(least, turn)

    def seek(self, want: Wanted, now: Obstacles, later: Obstacles) -> Placed | None:
        """A place among the labels that stand."""
        now = replace(now, strokes=tuple(s for s in now.strokes if s.name not in self.gone))
        return place(want, now, self.zones(), [s.placed for s in self.standing], self.spacing, later)

    def seek_plain(self, want: Wanted, now: Obstacles, later: Obstacles) -> Placed | None:
        """A place for a shorter plate: rather than go missing, a label does without its sample."""
        w, _ = plate_size(self.figure, want.text, None)
        return self.seek(replace(want, width_px=w, sample=None), now, later) if want.sample else None

    def zones(self) -> tuple[Rect, ...]:
        """Where labels may stand: the stage, else anywhere free."""
        frame = self.figure.frame
        x, y, w, h = frame.label_zone
        sx, _, sw, _ = frame.title_safe
        return ((x, y, w, h), (sx, y, sw, h))

    def put(self, found: Placed, rank: int, since: int, shown: Span, is_new: bool) -> None:
        """Write a label and its leader down."""
        sheet, want = self.figure.sheet, found.wanted
        self.count += 1
        fresh, strength = (1.0, 1.0) if is_new else (0.0, self.figure.frame.look.old_label)
        id = f"label.{want.id}.{self.count}"
        plate = Plate(want.text, found.rect_px, want.sample)
        sheet.put(id, plate, "label", "label", fresh=fresh, strength=strength, names=want.name)
        ids = [id]
        if found.leader_px:
            leader = f"leader.{want.id}.{self.count}"
            ids.append(leader)
            sheet.put(leader, Leader(found.leader_px), "leader", "leader", strength=strength, names=want.name)
        for each in ids:
            sheet.show(each, shown)
        self.standing.append(_Standing(found, rank, since, ids))

    def age(self, turn: Span) -> None:
        """What was new is old now."""
        for standing in self.standing:
            self.figure.sheet.move(standing.ids[0], "fresh", turn, 0.0)
            for id in standing.ids:
                self.figure.sheet.move(id, "strength", turn, self.figure.frame.look.old_label)

    def least(self, index: int, below: float = math.inf) -> _Standing | None:
        """The older label that is needed least, of those of a rank below: ball names first, then bars and points,
        then the oldest line."""
        old = [s for s in self.standing if s.since < index and s.rank < below]
        return min(old, key=lambda s: (s.rank, s.since)) if old else None

    def remove(self, standing: _Standing, turn: Span) -> None:
        """Take a label away."""
        self.standing.remove(standing)
        for id in standing.ids:
            self.figure.sheet.hide(id, turn)

    def remove_named(self, name: str, turn: Span) -> None:
        """Take away the labels of something that goes."""
        for standing in [s for s in self.standing if s.placed.wanted.name == name]:
            self.remove(standing, turn)

    def clear(self, span: Span) -> None:
        """All labels off."""
        for standing in list(self.standing):
            self.remove(standing, span)


BALL_RANK, BAR_RANK, POINT_RANK, LINE_RANK = 0, 1, 2, 3


def _wanted(
    figure: Figure,
    index: int,
    step: construction.Step,
    lines: dict[str, tuple[construction.Line, list[Piece]]],
    bars: list[tuple[str, Bar, str, str]],
    named: set[str],
) -> list[tuple[Wanted, int]]:
    """The labels that a step brings, the most important first, each with its rank for giving way."""
    words = figure.brief.labels
    out: list[tuple[Wanted, int]] = []

    def is_new(role: str) -> bool:
        if role in named or role in UNLABELLED or role not in words:
            return False
        named.add(role)
        return True

    for line, pieces in lines.values():
        if is_new(line.role):
            sample = LINE_STYLE.get(line.role, line.role)
            out.append((line_label(figure, line.role, words[line.role], sample, pieces, discs(figure)), LINE_RANK))
    for point in step.points:
        if is_new(point.role):
            out.append(
                (
                    _point_label(
                        figure,
                        point.role,
                        words[point.role],
                        [p.at_mm for p in step.points if p.role == point.role],
                    ),
                    POINT_RANK,
                )
            )
    for id, bar, text, _ in bars:
        out.append((_bar_label(figure, id, text, bar), BAR_RANK))
    for circle in step.circles:
        if circle.radius_mm < figure.radius_mm / 2:
            if is_new(circle.role):
                radius_px = circle.radius_mm * figure.stage.main.px_per_mm
                want = _point_label(figure, circle.role, words[circle.role], [circle.centre_mm], radius_px)
                out.append((want, POINT_RANK))
        elif is_new(circle.role):
            disc = disc_of(figure, circle.role, circle.centre_mm, circle.radius_mm, False)
            if disc is not None:
                out.append((_ball_label(figure, circle.role, words[circle.role], disc), BALL_RANK))
    if index == 0:
        for role, at in (("object_ball", figure.shot.object_ball_mm), ("cue_ball", figure.shot.cue_ball_mm)):
            disc = disc_of(figure, role, construction.position(at), figure.radius_mm, True)
            if is_new(role) and disc is not None:
                out.append((_ball_label(figure, role, words[role], disc), BALL_RANK))
    return out


def plate_size(figure: Figure, text: str, sample: str | None) -> tuple[float, float]:
    return plate_width_px(text, figure.frame.scale, sample), plate_sizes(figure.frame.scale).height_px


def _ball_label(figure: Figure, role: str, text: str, disc: Disc) -> Wanted:
    w, h = plate_size(figure, text, None)
    return Wanted(role, role, text, w, h, around=disc, prefer=-figure.side)


def line_label(
    figure: Figure, role: str, text: str, sample: str, pieces: list[Piece], balls: Sequence[Disc]
) -> Wanted:
    """A line's label: ports all along what is seen of the line, rather not within balls, and beyond its end."""
    w, h = plate_size(figure, text, sample)
    ports: list[Port] = []
    near: Pixel | None = None
    for piece in pieces:
        a, b = visible(figure, piece)
        length = math.dist(a, b)
        if length < 1:
            continue
        rise = abs(b[1] - a[1]) / length
        near = near or ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        count = max(int(length / (18 * figure.frame.scale.k)), 3)
        for t in np.linspace(0.05, 0.95, count).tolist():
            at = (a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t)
            cost = 30 * abs(t - 0.5)
            cost += 40.0 * any(math.dist(at, ball.at_px) < ball.radius_px for ball in balls if ball.is_solid)
            if rise > 0.4:
                ports += [Port(at, side, 0, cost) for side in (-1, 1)]
            if rise < 0.85:
                ports += [Port(at, 0, lift, cost) for lift in (-1, 1)]
        if role != "target_line" and rise > 0.4:
            top = min((a, b), key=lambda p: p[1])
            ports.append(Port(top, 0, -1, 10.0))
    return Wanted(role, role, text, w, h, tuple(ports), near_px=near, prefer=figure.side, sample=sample)


def _point_label(
    figure: Figure, role: str, text: str, at_mm: Sequence[Position], radius_px: float = 0.0
) -> Wanted:
    """The label of a point, or of one of several of the same role, led to it from any side."""
    kind = MARK_KIND.get(role, "target")
    sample = None if radius_px else kind
    w, h = plate_size(figure, text, sample)
    r = max(radius_px, figure.frame.scale.stroke_px(figure.frame.look.marks[kind].reach_px))
    places = [point_px(figure, at) for at in at_mm]
    ports = [Port((x + side * r, y), side) for x, y in places for side in (-1, 1)]
    ports += [Port((x, y + lift * r), 0, lift) for x, y in places for lift in (-1, 1)]
    near = places[len(places) // 2]
    return Wanted(
        role, role, text, w, h, tuple(ports), near_px=near, prefer=-figure.side, sample=sample, is_point=True
    )


def _bar_label(figure: Figure, id: str, text: str, bar: Bar) -> Wanted:
    w, h = plate_size(figure, text, None)
    ends = sorted(point_px(figure, p) for p in bar.points_mm)
    # clear of the line that ends there
    gap = figure.frame.scale.stroke_px(12.5)
    ports = (Port((ends[0][0] - gap, ends[0][1]), -1), Port((ends[1][0] + gap, ends[1][1]), 1))
    return Wanted(id, id, text, w, h, ports, near_px=ends[1], prefer=-figure.side)
