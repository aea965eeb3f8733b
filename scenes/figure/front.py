"""The object ball seen along the aim, beside a build-up: the scale of fractions of the way from its centre to
its edge, and where on it the cue points.

It is the view of no eye: from infinitely far, level with the balls' centres. So what lies side by side there lies
as far apart as it is, square to the aim, and equal parts of the way to the edge are equal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from aimgeo.construct import Construction, Position, Step, position
from aimgeo.vectors import Array, left
from scenes.board import FrontCamera, Line, Move, Pane, Pixel, Rect, Text, Track, constant
from scenes.board.motion import Span
from scenes.figure.figure import FRACTIONS, Figure, Front, mark_kind
from scenes.figure.labels import Disc, Obstacles, Port, Spacing, Stroke, Wanted, are_free, chunks, walls
from scenes.figure.placer import plate_size
from scenes.frame.column import text_rect
from scenes.look.fonts import CAP_HEIGHT
from scenes.look.scale import plate_sizes

FRONT = "front"
EIGHTHS = 8
RADII = tuple(np.linspace(0.175, 0.1, 16).tolist())
"""The ball's radius in it, of the frame's short side: the largest that finds room, no smaller than in the plan."""
BELOW, TALL, SHORT, MINOR = 0.3, 0.13, 0.09, 0.05
"""How far the scale lies below the ball, in its radii, and the lengths of its ticks."""
ROW, PAD_PX = 1.2, 8.0
"""From one row of words to the next, in their size; around the picture."""
AROUND = 0.3
"""So far the pane reaches beyond the picture, in the ball's radii."""
DROPS = {"aim_point": "aim_line", "sight_point": "sight_line"}
"""Points from which a line drops to the scale, and its style."""
SHOWN_MM = 0.05
"""A point nearer to a mark is on it."""


def front_of(figure: Figure, plan: Construction, shown: Obstacles, spare: tuple[Rect, ...]) -> Front | None:
    """The view along the aim for a construction that speaks of fractions; None for others, or without room.

    `shown` is all that the picture shows; of it the rectangles `spare` may go.
    """
    first = next((k for k, step in enumerate(plan.steps) if any(p.role in FRACTIONS for p in step.points)), None)
    if first is None or not figure.brief.labels.get("seen_along_aim"):
        return None
    less = replace(shown, rects=tuple(rect for rect in shown.rects if rect not in spare))
    for radius in (part * figure.frame.scale.short_px for part in RADII):
        if radius < figure.radius_px:
            break
        rect = _rect(figure, radius)
        for kept in (shown, less) if spare else (shown,):
            if (at := _room(figure, rect, kept)) is not None:
                place = (*at, *rect[2:])
                return _front(figure, radius, place, rect[0], first, len(plan.steps), kept is less)
    return None


def _extent(figure: Figure) -> tuple[float, float]:
    """From where to where ball and ghost reach beside the object ball's centre, to the right, in its radii."""
    off = 2 * abs(math.sin(float(figure.shot.cut_rad))) * figure.aim_side
    return min(-1.0, off - 1), max(1.0, off + 1)


def _rect(figure: Figure, radius: float) -> Rect:
    """Its size with all its words, at no place yet; x is where the ball's centre stands from its left edge."""
    s = figure.frame.scale
    low, high = _extent(figure)
    pad, size = s.stroke_px(PAD_PX), s.text_px("tick")
    texts = [text_rect(text, s) for text in _ticks(figure, radius, (0.0, 0.0))]
    left = min([low * radius, *(x for x, _, _, _ in texts)]) - pad
    right = max([high * radius, *(x + w for x, _, w, _ in texts)]) + pad
    wide = max(right - left, s.text_width_px(figure.brief.labels["seen_along_aim"], "small"))
    tall = _head_px(figure) + (2 + BELOW + TALL) * radius + (0.35 + 2 * ROW) * size + pad
    return (-left, 0.0, wide, tall)


def _head_px(figure: Figure) -> float:
    """Room above the ball: for the heading, and for the fraction's plate below it."""
    s = figure.frame.scale
    return 1.3 * s.text_px("small") + plate_sizes(s).height_px + s.stroke_px(24)


def _words(figure: Figure) -> dict[int, str]:
    """What stands at which eighth."""
    labels = figure.brief.labels
    return {
        0: labels.get("ruler_centre", ""),
        EIGHTHS: labels.get("ruler_edge", ""),
        **{k: str(Fraction(k, EIGHTHS)) for k in (2, 4, 6)},
    }


def _ticks(figure: Figure, radius: float, centre: Pixel) -> tuple[Text, ...]:
    """The words of the scale: at its ends away from it, halfway between them, and the quarters in a second row
    where they have room."""
    s, side, size = figure.frame.scale, figure.aim_side, figure.frame.scale.text_px("tick")
    words = _words(figure)
    base = centre[1] + (1 + BELOW + TALL) * radius + (0.35 + CAP_HEIGHT) * size
    quarter = s.text_width_px(words[2], "tick")
    out = []
    for k, text in words.items():
        x, row = centre[0] + side * k / EIGHTHS * radius, 0.0
        align = "centre"
        if k in (0, EIGHTHS):
            inward = 1 if k == 0 else -1
            x, align = x + side * inward * quarter / 4, "right" if side * inward > 0 else "left"
        elif k % 4:
            row = ROW * size
            if quarter + s.stroke_px(10) > radius / 2:
                continue
        if text:
            out.append(Text(text, (x, base + row), "tick", align))
    return tuple(out)


def _room(figure: Figure, rect: Rect, kept: Obstacles) -> Pixel | None:
    """The best corner for a rectangle of this size that covers nothing, not on the aim's side; None for none."""
    s = figure.frame.scale
    x, y, w, h = figure.frame.label_zone
    _, _, wide, tall = rect
    xs, ys = np.arange(x, x + w - wide + 1, s.px(10)), np.arange(y, y + h - tall + 1, s.px(10))
    grid: Array = np.stack([axis.ravel() for axis in np.meshgrid(xs, ys)], axis=1)
    if not len(grid):
        return None
    ball = np.array(figure.px(figure.shot.object_ball_mm))
    middles = grid + np.array([wide, tall]) / 2
    costs = np.linalg.norm(middles - ball, axis=1) / s.k
    # on the aim's side points have their labels
    order = np.flatnonzero(np.sign(middles[:, 0] - ball[0]) != figure.aim_side)
    kept_clear = walls(kept, Spacing().scaled(2 * s.k * s.gain))
    for chunk in chunks(order[np.argsort(costs[order], kind="stable")]):
        rects = np.concatenate([grid[chunk], np.tile((wide, tall), (len(chunk), 1))], axis=1)
        if (free := chunk[are_free(rects, kept_clear)]).size:
            return (float(grid[free[0], 0]), float(grid[free[0], 1]))
    return None


def _front(
    figure: Figure, radius: float, rect: Rect, ball_px: float, first: int, end: int, takes_spare: bool
) -> Front:
    s, (x, y, w, h) = figure.frame.scale, rect
    heading = Text(figure.brief.labels["seen_along_aim"], (x, y + 0.95 * s.text_px("small")), "small")
    centre = x + ball_px, y + _head_px(figure) + radius
    O, turn = figure.shot.object_ball_mm, math.atan2(*figure.shot.aim_direction[::-1].tolist())
    values = (*O.tolist(), turn, math.log(radius / figure.radius_mm))
    # a ring around the ball, when it is pointed at, is whole
    spare = AROUND * radius
    window = (x - spare, y - spare, w + 2 * spare, h + 2 * spare)
    anchor = (centre[0] - window[0]) / window[2], (centre[1] - window[1]) / window[3]
    pane = Pane(FRONT, window, FRONT, FrontCamera(constant(*values), anchor), None)
    return Front(pane, radius, heading, _ticks(figure, radius, centre), first, end, takes_spare)


def put_front(figure: Figure, front: Front, steps: Sequence[Step], starts: Span, scale: Span) -> None:
    """The heading with the ball, then the scale, at its eighths where they are marks, and the centre's line."""
    sheet = figure.sheet
    sheet.show(sheet.put("front.heading", front.heading, "text", "front"), starts)
    is_fine = any(point.role == "fixed_mark" for step in steps for point in step.points)
    lines = [((0.0, BELOW), (1.0, BELOW))]
    for k in range(EIGHTHS + 1):
        if k % 2 == 0 or is_fine:
            long = TALL if k % 4 == 0 else SHORT if k % 2 == 0 else MINOR
            lines.append(((k / EIGHTHS, BELOW), (k / EIGHTHS, BELOW + long)))
    for n, (a, b) in enumerate(lines):
        line = Line((_at(figure, *a), _at(figure, *b)), "thin_line")
        sheet.put(f"front.scale.{n}", line, "line", "scale", (FRONT,), opacity=1.0, drawn=0.0)
        sheet.move(f"front.scale.{n}", "drawn", scale, 1.0)
    drop = Line((position(figure.shot.object_ball_mm), _at(figure, 0.0, BELOW)), "object_ball_line")
    sheet.put("front.centre", drop, "line_under", "object_centre.drop", (FRONT,), opacity=1.0, drawn=0.0)
    sheet.move("front.centre", "drawn", scale, 1.0)
    for n, text in enumerate(front.ticks):
        sheet.show(sheet.put(f"front.tick.{n}", text, "text", "scale"), scale)


def drop_to_scale(figure: Figure, role: str, at_mm: Position, drawn: Span) -> None:
    """A point's line down to the scale; an earlier one of the same style goes."""
    sheet, style = figure.sheet, DROPS[role]
    x, y, _ = at_mm
    line = Line((at_mm, (x, y, _at(figure, 0.0, BELOW)[2])), style)
    id = f"front.drop.{role}.{sum(one.startswith('front.drop') for one in sheet.ids())}"
    sheet.put(id, line, "line", f"{role}.drop", (FRONT,), opacity=1.0, drawn=0.0)
    sheet.move(id, "drawn", drawn, 1.0)


def hide_front(figure: Figure, gone: Span) -> None:
    """Its words go."""
    for id in figure.sheet.ids():
        if id.startswith("front.") and figure.sheet.is_shown_at_end(id):
            figure.sheet.hide(id, gone)


def shown_front(front: Front, shown: Span, gone: Span) -> Pane:
    """Its pane, which comes and goes."""
    return replace(front.pane, opacity=Track((0.0,), (Move(*shown, (1.0,)), Move(*gone, (0.0,)))))


def _at(figure: Figure, part: float, below: float) -> Position:
    """A place beside the object ball's centre, so many radii outward, and below its lowest point."""
    O, R = figure.shot.object_ball_mm, figure.radius_mm
    out = part * R * int(figure.shot.outward) * left(figure.shot.aim_direction)
    return (float(O[0] + out[0]), float(O[1] + out[1]), float(O[2] - (1 + below) * R))


# ------------------------------------------------------------------ what labels keep clear of, and the fraction


def obstacles_around(figure: Figure, front: Front, is_row_free: bool = False) -> Obstacles:
    """The two balls, which a leader may enter, the scale with its words, and the row above in which the fraction
    will stand, until that `is_row_free`."""
    s, spare = figure.frame.scale, AROUND * front.radius_px
    x, y, w = (v + d for v, d in zip(front.pane.rect_px, (spare, spare, -2 * spare), strict=False))
    row = _head_px(figure) - 1.3 * s.text_px("small")
    balls = tuple(
        Disc((float(at[0]), float(at[1])), front.radius_px, False, "front")
        for at in (front.pane.px(p) for p in (figure.shot.object_ball_mm, figure.shot.ghost_ball_mm))
    )
    ends = [(0.0, BELOW), (1.0, BELOW), (1.0, BELOW + TALL), (0.0, BELOW + TALL)]
    places = [front.pane.px(np.array(_at(figure, *end))).tolist() for end in ends]
    strokes = tuple(
        Stroke("scale", (a[0], a[1]), (b[0], b[1]), s.stroke_px(3)) for a, b in pairwise([*places, places[0]])
    )
    # of the lines that drop to it what lies below the ball
    points = [p.at_mm for step in figure.plan.steps for p in step.points if p.role in DROPS]
    across = [(front.pane.px(np.array(p))[0], places[0][1]) for p in (figure.shot.object_ball_mm, *points)]
    half, low = s.stroke_px(6), float(front.pane.px(np.array(_at(figure, 0.0, 0.0)))[1])
    strokes += tuple(Stroke("drop", (float(x), low), (float(x), y), half) for x, y in across)
    rects = (text_rect(front.heading, s), *(text_rect(text, s) for text in front.ticks))
    if not is_row_free:
        rects = (*rects, (x, y + 1.3 * s.text_px("small"), w, row))
    return Obstacles(balls, (), strokes, rects)


def fraction_of(figure: Figure, step: Step) -> Wanted | None:
    """How far out of the way to the edge the mark lies that the step points at, led to it from above: the point's
    own fraction, or the nearest known mark's."""
    front = figure.front
    has_marks = any(p.role == "fixed_mark" for one in figure.plan.steps for p in one.points)
    role = "aim_point" if has_marks else "sight_point"
    point = next((p for p in step.points if p.role == role), None)
    if point is None or front is None:
        return None
    R, O = figure.radius_mm, figure.shot.object_ball_mm
    out = abs(float(np.subtract(point.at_mm, O)[:2] @ left(figure.shot.aim_direction)))
    k = round(EIGHTHS * out / R)
    is_exact = abs(out - k * R / EIGHTHS) < SHOWN_MM
    kind = mark_kind(role) if is_exact else "notch"
    text = _words(figure).get(k) or str(Fraction(k, EIGHTHS))
    x, y = front.pane.px(np.array(_at(figure, k / EIGHTHS, -1.0))).tolist()
    reach = figure.frame.scale.stroke_px(figure.frame.look.marks[kind].reach_px)
    port = Port((x, y - reach), 0, -1)
    w, h = plate_size(figure, text, kind)
    return Wanted(
        "fraction",
        "fraction",
        text,
        w,
        h,
        (port,),
        prefer=figure.aim_side,
        sample=kind,
        is_point=True,
        is_straight=True,
    )


def is_along(figure: Figure, step: int) -> bool:
    """True in a step in which the object ball is seen along the aim."""
    front = figure.front
    return front is not None and front.first_step <= step < front.end_step


def offset_bar(figure: Figure) -> tuple[Position, Position]:
    """The ends of the aim's offset between the ball and its scale."""
    out = float(figure.shot.aim_offset_mm) / figure.radius_mm
    return _at(figure, 0.0, BELOW / 2), _at(figure, out, BELOW / 2)
