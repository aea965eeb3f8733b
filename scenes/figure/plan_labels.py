"""What a build-up's labels want: a place beside lines and balls, a leader to points and bars."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Position
from scenes.board import Pixel
from scenes.figure.figure import AT_CUE_BALL, Figure, Piece, disc_of, in_reach, own_side, pieces_of, visible
from scenes.figure.labels import NOTHING, Disc, Obstacles, Placed, Port, Wanted, merged
from scenes.figure.magnified import name_inside, wanted_bar, wanted_line, wanted_point
from scenes.figure.placer import BALL_RANK, BAR_RANK, LINE_RANK, POINT_RANK, Labels, plate_size
from scenes.figure.plan import PlanBar, obstacles_of
from scenes.look.roles import MARK_KIND, OWN, UNLABELLED, line_style

MOST_LABELS = 6
SIDED = frozenset({"mark_half", "mark_edge", "sight_point", "aim_point", "contact_object"})
"""Points beside the middle of the object ball: their labels stand on their side."""


def plan_labels(figure: Figure, beside: Obstacles = NOTHING) -> Labels:
    """The labels of a build-up: on the stage, else anywhere free, and clear of what stands `beside` the figure."""
    x, y, w, h = figure.frame.label_zone
    sx, _, sw, _ = figure.frame.title_safe
    first = figure.magnifiers[0] if figure.magnifiers else None
    return Labels(figure, obstacles_of(figure, first, beside), ((x, y, w, h), (sx, y, sw, h)), MOST_LABELS, True)


def wanted_in_plan(
    figure: Figure, labels: Labels, index: int, step: construction.Step, bars: Sequence[PlanBar]
) -> list[tuple[Wanted, int]]:
    """The labels that a step brings, the most important first, each with its rank for giving way."""
    words = figure.brief.labels
    out: list[tuple[Wanted, int]] = []

    def is_new(role: str) -> bool:
        return role not in UNLABELLED and labels.is_new(role)

    for line in step.lines:
        pieces = pieces_of(figure, in_reach(figure, line))
        if pieces and is_new(line.role):
            sample = line_style(line.role)
            out.append((line_label(figure, line.role, words[line.role], sample, pieces, figure.balls), LINE_RANK))
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
    for one in bars:
        label = (
            _bar_label(figure, one)
            if one.within is None
            else wanted_bar(figure, one.within, one.id, one.text, one.bar)
        )
        out.append((label, BAR_RANK))
    for circle in step.circles:
        if circle.radius_mm < figure.radius_mm / 2:
            if is_new(circle.role):
                radius_px = circle.radius_mm * figure.px_per_mm
                want = _point_label(figure, circle.role, words[circle.role], [circle.centre_mm], radius_px)
                out.append((want, POINT_RANK))
        elif is_new(circle.role):
            disc = disc_of(figure, circle.role, circle.centre_mm, circle.radius_mm, False)
            if disc is not None:
                out.append((_ball_label(figure, circle.role, words[circle.role], disc), BALL_RANK))
    if index == 0:
        for role, at in (("object_ball", figure.shot.object_ball_mm), ("cue_ball", figure.shot.cue_ball_mm)):
            disc = disc_of(figure, role, at, figure.radius_mm)
            if is_new(role) and disc is not None:
                out.append((_ball_label(figure, role, words[role], disc), BALL_RANK))
    return out


def moved_into_magnifier(
    figure: Figure, labels: Labels, index: int, wanted: Sequence[tuple[Wanted, int]]
) -> tuple[list[tuple[Wanted, int]], list[Placed]]:
    """A step's labels with those of what a magnifier shows apart at the magnifier, and the names that stand within
    it; when it opens also those of what it shows of earlier steps."""
    closer = figure.magnifier(index)
    if closer is None:
        return list(wanted), []
    steps = figure.plan.steps[: index + 1]
    # what is new comes first
    fresh = steps[::-1] if index == closer.first_step else steps[index:]
    lines = dict.fromkeys(line.role for step in fresh for line in step.lines if line.role in closer.roles)
    points = {p.role: p.at_mm for step in fresh for p in step.points if p.role in closer.roles}
    out = [(want, rank) for want, rank in wanted if want.name not in lines and want.name not in points]
    kept = merged(obstacles_of(figure, closer))
    within: list[Placed] = []
    for role in lines:
        found = name_inside(figure, closer, role, figure.plan.steps, kept, [one.rect_px for one in within])
        if found is not None:
            within.append(found)
        elif (want := wanted_line(figure, closer, role, steps)) is not None:
            out.append((want, LINE_RANK))
    for role, at in points.items():
        if role not in UNLABELLED and (want := wanted_point(figure, closer, role, at)) is not None:
            out.append((want, POINT_RANK))
    labels.named |= {*lines, *points}
    return out, within


def left_without_name(figure: Figure, labels: Labels, index: int) -> list[tuple[Wanted, int]]:
    """Of the lines that a magnifier shows apart those whose names found no room at it: named where they stand."""
    closer = figure.magnifier(index)
    if closer is None:
        return []
    words = figure.brief.labels
    lines = {
        line.role: line
        for step in figure.plan.steps[: index + 1]
        for line in step.lines
        if line.role in closer.roles and line.role in words and not labels.is_labelled(line.role)
    }
    balls = figure.balls
    return [
        (
            line_label(
                figure, role, words[role], line_style(role), pieces_of(figure, in_reach(figure, line)), balls
            ),
            LINE_RANK,
        )
        for role, line in lines.items()
        if role not in UNLABELLED
    ]


def _ball_label(figure: Figure, role: str, text: str, disc: Disc) -> Wanted:
    w, h = plate_size(figure, text, None)
    return Wanted(role, role, text, w, h, around=disc, prefer=figure.aim_side)


def line_label(
    figure: Figure, role: str, text: str, sample: str, pieces: list[Piece], balls: Sequence[Disc]
) -> Wanted:
    """A line's label: ports all along what is seen of the line, rather not within balls, and beyond its end."""
    w, h = plate_size(figure, text, sample)
    ports: list[Port] = []
    near: Pixel | None = None
    for piece in pieces:
        ends = visible(figure, piece)
        if ends is None or (length := math.dist(*ends)) < 1:
            continue
        a, b = ends
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
    return Wanted(role, role, text, w, h, tuple(ports), near_px=near, prefer=-figure.aim_side, sample=sample)


def _point_label(
    figure: Figure, role: str, text: str, at_mm: Sequence[Position], radius_px: float = 0.0
) -> Wanted:
    """The label of a point, or of one of several of the same role, led to it from any side, rather its own."""
    kind = MARK_KIND.get(role, "target")
    sample = None if radius_px else kind
    w, h = plate_size(figure, text, sample)
    r = max(radius_px, figure.frame.scale.stroke_px(figure.frame.look.marks[kind].reach_px))
    places = [figure.px(at) for at in at_mm]
    ports = [Port((x + side * r, y), side) for x, y in places for side in (-1, 1)]
    ports += [Port((x, y + lift * r), 0, lift) for x, y in places for lift in (-1, 1)]
    near = places[len(places) // 2]
    if role in AT_CUE_BALL:
        # nothing else is named there: on the side where it lies
        cue = figure.px(figure.shot.cue_ball_mm)
        side = 1 if near[0] > cue[0] else -1
        beside = 0
    else:
        beside = own_side(figure, at_mm)
        side = beside or figure.aim_side
    want = Wanted(role, role, text, w, h, tuple(ports), near_px=near, prefer=side, sample=sample, is_point=True)
    return replace(want, insists=role in SIDED or (role.startswith(OWN) and beside != 0))


def _bar_label(figure: Figure, one: PlanBar) -> Wanted:
    w, h = plate_size(figure, one.text, None)
    ends = sorted(figure.px(p) for p in one.bar.points_mm)
    # clear of the line that ends there
    gap = figure.frame.scale.stroke_px(12.5)
    (x0, y0), (x1, y1) = ends
    # a number never stands apart from what it measures
    ports = [Port((x0 - gap, y0), -1), Port((x1 + gap, y1), 1)]
    ports += [Port(((x0 + x1) / 2, (y0 + y1) / 2 + lift * gap), 0, lift, 20.0) for lift in (-1, 1)]
    return Wanted(one.id, one.id, one.text, w, h, tuple(ports), prefer=figure.aim_side)
