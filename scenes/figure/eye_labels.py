"""What an eye view's labels want: for lines a place beside them, for points and circles a leader."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Step
from aimgeo.holes import hole_of
from aimgeo.landmarks import MEASURES, NAMED, SIGHTS, measures_of
from aimgeo.tables import Table
from scenes.board import Pane, Pixel, Rect, Ring
from scenes.figure.eye_view import seen_ball
from scenes.figure.figure import (
    Figure,
    disc_of,
    in_reach,
    marks_of,
    other_discs,
    own_side,
    pieces_of,
    point_panes,
    strokes_of,
    visible,
)
from scenes.figure.labels import NOTHING, Disc, Obstacles, Port, Stroke, Wanted
from scenes.figure.placer import BALL_RANK, LINE_RANK, POINT_RANK, Labels, plate_size
from scenes.look.roles import UNLABELLED, line_style

MOST_LABELS = 8
RAIL_MM, RAIL_PIECES = 130.0, 12
"""About how wide cushion and rail are together, judged; a side is taken in so many pieces."""

SIGHT_MM = 8.0
"""About half a sight's size, judged."""

RING_PIECES = 5


def eye_labels(
    figure: Figure,
    zone: Rect,
    rects: Sequence[Rect],
    strokes: Sequence[Stroke] = (),
    spared: Obstacles = NOTHING,
) -> Labels:
    """The labels of an eye's figure, which keep clear of all that it will ever draw and of what else is there.

    `spared` is covered only where there is no other room.
    """
    everything = eye_obstacles(figure, rects, strokes)
    return Labels(
        figure, [everything, *(NOTHING for _ in figure.plan.steps[1:]), spared], (zone,), MOST_LABELS, False
    )


def eye_obstacles(figure: Figure, rects: Sequence[Rect], strokes: Sequence[Stroke] = ()) -> Obstacles:
    """All that an eye's figure will ever draw, and what else is there."""
    steps = figure.plan.steps
    shot, R = figure.shot, figure.radius_mm
    balls = [
        disc_of(figure, "object_ball", shot.object_ball_mm, R),
        disc_of(figure, "cue_ball", shot.cue_ball_mm, R),
    ]
    balls += [
        disc_of(figure, "ghost_ball", c.centre_mm, R, False)
        for step in steps
        for c in step.circles
        if c.role == "ghost_ball"
    ]
    drawn = [stroke for step in steps for line in step.lines for stroke in strokes_of(figure, line)]
    return Obstacles(
        (*(ball for ball in balls if ball is not None), *other_discs(figure)),
        tuple(mark for step in steps for mark in marks_of(figure, step)),
        (*strokes, *drawn),
        tuple(rects),
    )


def wanted_in_eye(figure: Figure, labels: Labels, index: int, step: Step) -> list[tuple[Wanted, int]]:
    """The labels that a step brings, each with its rank for giving way."""
    out = []
    marked = [p for p in step.points if figure.pane.id in point_panes(figure, p.role)]
    for role, ports, sample, rank in (
        *((n.role, _line_ports(figure, n), line_style(n.role), LINE_RANK) for n in step.lines),
        *((c.role, _circle_ports(figure, c), None, BALL_RANK) for c in step.circles),
        *((p.role, _around(figure.px(p.at_mm)), None, POINT_RANK) for p in marked),
    ):
        if role in UNLABELLED or not ports or not labels.is_new(role):
            continue
        words, sample = figure.brief.labels[role], sample if sample in figure.frame.look.lines else None
        # a line's label carries its sample, so it may stand beside the line without a leader
        near = ports[len(ports) // 2].at_px if sample else None
        size = plate_size(figure, words, sample)
        beside = own_side(figure, [p.at_mm for p in marked if p.role == role]) if rank == POINT_RANK else 0
        want = Wanted(
            f"{role}.{index}", role, words, *size, ports, None, near, beside or -figure.aim_side, sample,
            insists=beside != 0,
        )  # fmt: skip
        out.append((want, rank))
    return out


def pocket_ring(table: Table | None, name: str | None) -> Ring | None:
    """A ring around a pocket's hole; None where the name is no pocket's."""
    if table is None or name not in {pocket.name for pocket in table.pockets()}:
        return None
    hole = hole_of(table.pocket(str(name)), table)
    return Ring((*hole.centre_mm, 0.0), hole.radius_mm, "target_line")


def ring_box(pane: Pane, ring: Ring) -> Rect:
    """The rectangle around a ring in the picture; empty far out where part of it lies behind the eye."""
    turn = np.linspace(0, 2 * np.pi, 37)
    round_mm = np.array(ring.centre_mm) + ring.radius_mm * np.stack([np.cos(turn), np.sin(turn), 0 * turn], -1)
    at = pane.px(round_mm)
    if not np.isfinite(at).all():
        return (-1e6, -1e6, 0.0, 0.0)
    (x, y), (right, bottom) = at.min(axis=0).tolist(), at.max(axis=0).tolist()
    return (x, y, right - x, bottom - y)


def pocket_label(figure: Figure, name: str, ring: Ring, text: str) -> Wanted:
    """A ringed pocket's name, led to its ring from beside it or from below, or close by without a leader."""
    x, y, w, h = ring_box(figure.pane, ring)
    ports = [Port((x + w / 2 + side * w / 2, y + h / 2), side) for side in (-1, 1)]
    for share, cost in ((0.5, 30.0), (0.85, 40.0), (0.15, 40.0)):
        # where the ring's outline is, beside its middle
        rise = h * math.sqrt(share * (1 - share))
        ports += [Port((x + share * w, y + h / 2 + lift * rise), 0, lift, cost) for lift in (-1, 1)]
    size = plate_size(figure, text, None)
    below = (x + w / 2, y + h)
    return Wanted(name, name, text, *size, tuple(ports), near_px=below, prefer=figure.aim_side)


def ring_discs(pane: Pane, ring: Ring, name: str) -> tuple[Disc, ...]:
    """A ring in the picture, flat as it looks, as marks that labels keep clear of."""
    x, y, w, h = ring_box(pane, ring)
    if not w:
        return ()
    r = min(w, h) / 2
    places = np.linspace(x + r, x + w - r, RING_PIECES) if w > h else np.full(1, x + w / 2)
    return tuple(Disc((at, y + h / 2), r, True, name) for at in places.tolist())


def rails_of(figure: Figure, table: Table, name: str) -> list[Stroke]:
    """The cushions and rails as the eye sees them, as strokes that belong to `name`."""
    corners = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]) * [table.length_mm / 2, table.width_mm / 2]
    out = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = (end - start) / np.linalg.norm(end - start)
        outwards = np.array([along[1], -along[0]]) * RAIL_MM
        marks = np.linspace(start, end, RAIL_PIECES + 1)
        foot = figure.pane.px(np.column_stack([marks, np.zeros(len(marks))]))
        back = figure.pane.px(np.column_stack([marks + outwards, np.full(len(marks), table.nose_mm)]))
        for (a, b), reach in zip(pairwise(((foot + back) / 2).tolist()), pairwise(back - foot), strict=True):
            half = float(np.linalg.norm(reach, axis=1).max()) / 2
            if math.isfinite(half):
                out.append(Stroke(name, tuple(a), tuple(b), half))
    return out


def pockets_of(figure: Figure, table: Table) -> list[Rect]:
    """The boxes around the pockets' holes that are in the picture."""
    x, y, w, h = figure.pane.rect_px
    turns = np.linspace(0, 2 * math.pi, 25)[:-1]
    rim = np.stack([np.cos(turns), np.sin(turns), np.zeros(len(turns))], axis=-1)
    out: list[Rect] = []
    for pocket in table.pockets():
        hole = hole_of(pocket, table)
        at = figure.pane.px(np.array([*hole.centre_mm, 0.0]) + hole.radius_mm * rim)
        if np.isfinite(at).all():
            low, high = np.maximum(at.min(axis=0), (x, y)), np.minimum(at.max(axis=0), (x + w, y + h))
            if (low < high).all():
                out.append((*low.tolist(), *(high - low).tolist()))
    return out


def sights_of(figure: Figure, table: Table) -> tuple[Disc, ...]:
    """The rails' sights that are in the picture."""
    measures = measures_of(table, 2 * figure.radius_mm)
    mean = np.array([measures[name].mm for name in MEASURES])
    places = np.stack([NAMED[name] for name in SIGHTS]) @ mean
    reach = SIGHT_MM * np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0]])
    at = figure.pane.px(places[:, None] + reach)
    radii = np.linalg.norm(at[:, 1:] - at[:, :1], axis=-1).max(axis=1)
    return tuple(
        Disc((x, y), radius)
        for (x, y), radius in zip(at[:, 0].tolist(), radii.tolist(), strict=True)
        if math.isfinite(x + y + radius)
    )


def _line_ports(figure: Figure, line: construction.Line) -> tuple[Port, ...]:
    (piece,) = pieces_of(figure, in_reach(figure, line))
    ends = visible(figure, piece)
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
        return _around(figure.px(circle.centre_mm))
    x, y, w, h = seen_ball(figure.pane, np.array(circle.centre_mm), circle.radius_mm).box_px()

    def rim(side: int, t: float) -> Pixel:
        return (x + w / 2 + side * w / 2 * math.cos(t), y + h / 2 + h / 2 * math.sin(t))

    level = [Port(rim(side, t), side, cost=40 * abs(t)) for side in (-1, 1) for t in (0.0, 0.5, -0.5, 0.9, -0.9)]
    # from below or above where there is no room beside it
    raised = [Port(rim(side, lift * 0.8), side, lift, 40.0) for side in (-1, 1) for lift in (1, -1)]
    return (*level, *raised)


def _around(at: Pixel) -> tuple[Port, ...]:
    level = [Port(at, side) for side in (-1, 1)]
    return (*level, *(Port(at, side, lift, 20.0) for side in (-1, 1) for lift in (-1, 1)))
