"""What a magnifier adds to a picture: its rim, the ring around its place, names and numbers at what it shows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from aimgeo.construct import Position, Step, position
from scenes.board import Bar, Halo, Leader, Move, Pane, Pixel, Rect, Shade, Track, eased
from scenes.board.motion import Sheet, Span
from scenes.figure.figure import Figure, Magnifier, in_reach, mark_kind
from scenes.figure.labels import Disc, Obstacles, Placed, Port, Spacing, Stroke, Wanted, is_clear
from scenes.figure.magnifier import words_px
from scenes.figure.placer import plate_size
from scenes.frame.column import text_rect
from scenes.look.roles import MARK_KIND, line_style

SHORT = {"object_ball_line": "ruler_centre", "contact_line": "contact_offset", "aim_line": "aim_offset"}
"""Lines whose names stand beside them within the magnifier, and the words for it."""
LEVELS = (0.3, 0.0, 0.15, 0.45, -0.15, 0.6)
"""Where along its line a name may stand there, in the magnifier's radii."""
RIM_PX = 8.0
BAR_LEVEL = 0.42
"""How far above its middle a bar stands, in its radii: its number is led to it from above."""
GROW_S = 0.4
"""A frame grows out of its ring in so long."""


def grow(
    sheet: Sheet, id: str, ring: Rect, frame: Rect, start: int, count: int, stays: int, corner: float
) -> None:
    """A pane's frame grows out of the ring around its place; its last one stands until the pane has come.

    `corner`: of a round one, half of its width.
    """
    for k in range(count):
        t = eased((k + 1) / count, "cubic")
        x, y, w, h = (float(a) + t * (b - float(a)) for a, b in zip(ring, frame, strict=True))
        one = sheet.put(f"{id}.{k}", Shade((x, y, w, h), "window_edge", corner and w / 2), "break")
        sheet.show(one, (start + k, start + k + 1))
        gone = start + k + 1 + (stays if k == count - 1 else 0)
        sheet.hide(one, (gone, gone + 1))


def put_magnifier(figure: Figure, magnifier: Magnifier, starts: int) -> None:
    """The ring, the leader from it, and the rim that grows out of it; then how many times as large it is."""
    sheet, id = figure.sheet, magnifier.pane.id
    grown, fade = starts + figure.frames(GROW_S), figure.frames(0.25)
    ring = _ring(figure, magnifier)
    sheet.put(f"{id}.ring", ring, "mark", "magnifier", (magnifier.window.id,))
    sheet.show(f"{id}.ring", (starts, starts + 1))
    x, y = magnifier.at_px
    r = magnifier.radius_px / magnifier.times
    grow(
        sheet,
        f"{id}.grows",
        (x - r, y - r, 2 * r, 2 * r),
        magnifier.pane.rect_px,
        starts,
        grown - starts,
        fade,
        1.0,
    )
    edge = Shade(magnifier.pane.rect_px, "window_edge", magnifier.radius_px)
    sheet.put(f"{id}.edge", edge, "break", "magnifier")
    sheet.put(f"{id}.leader", Leader(leader_px(magnifier)), "leader", "magnifier")
    ids = [f"{id}.edge", f"{id}.leader"]
    for n, text in enumerate(words_px(figure, magnifier.times, magnifier.pane.rect_px, magnifier.side)):
        ids.append(sheet.put(f"{id}.words.{n}", text, "text", "magnifier"))
    for one in ids:
        sheet.show(one, (grown, grown + fade))


def hide_magnifier(figure: Figure, magnifier: Magnifier, gone: Span) -> None:
    """It goes, with its ring and its words."""
    for id in figure.sheet.ids():
        if id.startswith(f"{magnifier.pane.id}.") and figure.sheet.is_shown_at_end(id):
            figure.sheet.hide(id, gone)


def shown_pane(magnifier: Magnifier, shown: Span, gone: Span) -> Pane:
    """Its pane, which comes and goes."""
    return replace(magnifier.pane, opacity=Track((0.0,), (Move(*shown, (1.0,)), Move(*gone, (0.0,)))))


def _ring(figure: Figure, magnifier: Magnifier) -> Halo:
    """What it shows, encircled in the picture."""
    mm = magnifier.radius_px / magnifier.times / figure.px_per_mm
    return Halo(_at_mm(magnifier), mm)


def _at_mm(magnifier: Magnifier) -> Position:
    x, y, _, _ = magnifier.pane.camera.track.start
    return (x, y, 0.0)


def leader_px(magnifier: Magnifier) -> tuple[Pixel, Pixel]:
    """From the ring to the rim, between their middles."""
    (ax, ay), (bx, by) = magnifier.at_px, magnifier.centre_px
    away, r = math.dist((ax, ay), (bx, by)), magnifier.radius_px
    dx, dy = (bx - ax) / away, (by - ay) / away
    start = r / magnifier.times
    return (ax + start * dx, ay + start * dy), (bx - r * dx, by - r * dy)


# ------------------------------------------------------------------ names and numbers


def obstacles_in(figure: Figure, magnifier: Magnifier, steps: Sequence[Step]) -> list[Obstacles]:
    """What each step adds within the magnifier, and with its first one the magnifier itself: labels keep clear."""
    s = figure.frame.scale
    out = []
    for index, step in enumerate(steps):
        strokes: list[Stroke] = []
        for line in step.lines:
            style = figure.frame.look.line(line_style(line.role))
            half = (s.line_px(style.width_px, magnifier.pane.view) + s.stroke_px(style.casing_px)) / 2
            ends = _line_px(figure, magnifier, line.role, [step])
            strokes += [Stroke(line.role, *one, half) for one in ends]
        marks = tuple(
            Disc(at, s.stroke_px(figure.frame.look.marks[mark_kind(p.role)].reach_px), True, p.role)
            for p in step.points
            if math.dist(at := _px(magnifier, p.at_mm), magnifier.centre_px) < magnifier.radius_px
        )
        if index < magnifier.first_step:
            out.append(Obstacles((), marks, tuple(strokes)))
            continue
        balls: tuple[Disc, ...] = ()
        rects: tuple[Rect, ...] = ()
        if index == magnifier.first_step:
            balls = (Disc(magnifier.centre_px, magnifier.radius_px, False, "magnifier"),)
            rects = tuple(
                text_rect(text, s)
                for text in words_px(figure, magnifier.times, magnifier.pane.rect_px, magnifier.side)
            )
            strokes.append(Stroke("magnifier", *leader_px(magnifier), s.stroke_px(3)))
            strokes += [one for old in out for one in old.strokes]
            marks += tuple(mark for old in out for mark in old.marks)
            out = [Obstacles() for _ in out]
        out.append(Obstacles(balls, marks, tuple(strokes), rects))
    return out


def _px(magnifier: Magnifier, at: Position) -> Pixel:
    x, y = magnifier.pane.px(at).tolist()
    return (x, y)


def _line_px(figure: Figure, magnifier: Magnifier, role: str, steps: Sequence[Step]) -> list[tuple[Pixel, Pixel]]:
    """The ends of what the magnifier shows of a role's lines."""
    lines = (in_reach(figure, line) for step in steps for line in step.lines if line.role == role)
    found = (magnifier.seen(_px(magnifier, one.start_mm), _px(magnifier, one.end_mm)) for one in lines)
    return [ends for ends in found if ends is not None]


def _short(figure: Figure, role: str) -> str:
    """A line's short name, or its own where that is no longer; nothing for a line that has none."""
    words = figure.brief.labels
    short, own = words.get(SHORT.get(role, ""), ""), words.get(role, "")
    return own if own and short and len(own) <= len(short) else short


def name_inside(
    figure: Figure, magnifier: Magnifier, role: str, steps: Sequence[Step], kept: Obstacles, beside: Sequence[Rect]
) -> Placed | None:
    """A line's short name beside it within the magnifier, clear of all that it shows and will show there."""
    text = _short(figure, role)
    lines = _line_px(figure, magnifier, role, steps)
    if not text or not lines or not magnifier.is_open:
        return None
    s, (cx, cy), r = figure.frame.scale, magnifier.centre_px, magnifier.radius_px
    w, h = plate_size(figure, text, None)
    (ax, ay), (bx, by) = lines[0]
    if abs(by - ay) < r:  # it is no upright line
        return None
    half = next(one.half_width_px for one in kept.strokes if one.name == role)
    spacing = Spacing().scaled(s.k * s.gain)
    gap = half + spacing.gap
    others = Obstacles((), kept.marks, kept.strokes, tuple(beside))
    for level in LEVELS:
        y = cy + level * r
        x = ax + (y - ay) / (by - ay) * (bx - ax)
        for side in sorted((-1, 1), key=lambda side: -side * (x - cx)):
            left = x + gap if side > 0 else x - gap - w
            rect: Rect = (left, y - h / 2, w, h)
            corners = [(left + i * w, y + j * h - h / 2) for i in (0, 1) for j in (0, 1)]
            is_in = all(math.dist(corner, (cx, cy)) < r - s.stroke_px(RIM_PX) for corner in corners)
            if is_in and is_clear(rect, others, spacing):
                return Placed(Wanted(role, role, text, w, h), rect)
    return None


def wanted_line(figure: Figure, magnifier: Magnifier, role: str, steps: Sequence[Step]) -> Wanted | None:
    """A line's name outside, short where it has one, led to where the line leaves the magnifier or to its side."""
    sample = line_style(role)
    text = _short(figure, role) or figure.brief.labels.get(role, "")
    lines = _line_px(figure, magnifier, role, steps)
    if not text or not lines:
        return None
    w, h = plate_size(figure, text, sample)
    ports: list[Port] = []
    for a, b in lines:
        top, bottom = sorted((a, b), key=lambda p: p[1])
        if bottom[1] - top[1] > abs(bottom[0] - top[0]):
            ports += [Port(top, 0, -1), Port(bottom, 0, 1, 20.0)]
        for t in np.linspace(0.15, 0.85, 15).tolist():
            at = (a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]))
            ports += [Port(at, side, 0, 10.0 + 30 * abs(t - 0.5)) for side in (-1, 1)]
    side = 1 if lines[0][0][0] > magnifier.centre_px[0] else -1
    return Wanted(role, role, text, w, h, tuple(ports), prefer=side, sample=sample, is_straight=True)


def wanted_point(figure: Figure, magnifier: Magnifier, role: str, at_mm: Position) -> Wanted | None:
    """A point's name outside the magnifier, led to its mark."""
    text, kind = figure.brief.labels.get(role, ""), MARK_KIND.get(role, "target")
    if not text:
        return None
    w, h = plate_size(figure, text, kind)
    x, y = _px(magnifier, at_mm)
    r = figure.frame.scale.stroke_px(figure.frame.look.marks[kind].reach_px)
    ports = [Port((x + side * r, y), side) for side in (-1, 1)]
    ports += [Port((x, y + lift * r), 0, lift) for lift in (-1, 1)]
    side = 1 if x > magnifier.centre_px[0] else -1
    return Wanted(role, role, text, w, h, tuple(ports), prefer=side, sample=kind, is_point=True, is_straight=True)


def wanted_bar(figure: Figure, pane: Pane, id: str, text: str, bar: Bar) -> Wanted:
    """A bar's number outside, led to one of its ends, or to one of its pieces from below or above."""
    w, h = plate_size(figure, text, None)
    (x0, y0), (x1, y1) = sorted(pane.px(np.array(bar.points_mm)).tolist())
    gap = figure.frame.scale.stroke_px(12.5)
    ports = [Port((x0 - gap, y0), -1, 0, 15.0), Port((x1 + gap, y1), 1, 0, 15.0)]
    for k in range(bar.pieces if pane.is_round else 0):
        t = (k + 0.5) / bar.pieces
        ports += [Port((x0 + t * (x1 - x0), y0 + t * (y1 - y0) + lift * gap), 0, lift) for lift in (-1, 1)]
    return Wanted(id, id, text, w, h, tuple(ports), prefer=figure.aim_side, is_straight=True)


def bar_ends_in(
    figure: Figure, magnifier: Magnifier, between: tuple[Position, Position], is_fixed: bool, is_own: bool
) -> tuple[Position, Position] | None:
    """Where a bar stands in the magnifier: above its middle, or just before the points between which it lies.

    None where the magnifier does not show it.
    """
    a, b = np.array(between[0]), np.array(between[1])
    if not is_own:
        aim = np.array([*figure.shot.aim_direction, 0.0])
        field = magnifier.radius_px / magnifier.times / figure.px_per_mm
        level = BAR_LEVEL * field + (0.0 if is_fixed else float((np.array(_at_mm(magnifier)) - a) @ aim))
        a, b = a + level * aim, b + level * aim
    ends = position(a), position(b)
    inside = (math.dist(_px(magnifier, p), magnifier.centre_px) < 0.96 * magnifier.radius_px for p in ends)
    return ends if all(inside) else None
