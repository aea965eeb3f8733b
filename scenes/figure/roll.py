"""The roll that ends a build-up: the cue ball to the ghost position, the hit, and where both balls go."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import accumulate, pairwise

import numpy as np

from aimgeo import construct as construction
from aimgeo.vectors import left
from scenes.board import (
    Ball,
    Bar,
    Line,
    Mark,
    Rect,
    Ring,
    Shade,
    Text,
)
from scenes.board.brief import BriefStep
from scenes.board.motion import Span, in_turn
from scenes.board.rects import part_inside
from scenes.board.timing import TIMING
from scenes.figure.figure import Figure, disc_of, discs, piece_px, pieces_of
from scenes.figure.labels import (
    Stroke,
    merged,
    place,
)
from scenes.figure.placer import LINE_RANK, Labels
from scenes.figure.plan import titles
from scenes.figure.plan_labels import line_label
from scenes.frame.column import (
    even_lines,
    measures_top_px,
    put_pips,
    put_title,
)
from scenes.look.scale import plate_sizes

ROLL_DIM = 0.3
"""Opacity of the construction while the balls roll."""
SHOWN_HEIGHTS_S = 0.4
"""Speed of the cue ball as shown, in frame heights a second."""
MOST_AWAY_S = 1.6
"""How long the balls are followed after the hit."""
STANDS = 1e-9
"""A part of the speed below this is none."""
OUTLINES = 3
BACK_AT_HIT = ("aim_line", "target_line")
"""The lines that come back when the balls touch."""


def put_roll(figure: Figure, labels: Labels, measure_ids: Sequence[str], words: BriefStep, span: Span) -> None:
    """The cue ball rolls to the ghost position, both stand still for a moment, both go on as they must."""
    sheet, shot, frame = figure.sheet, figure.shot, figure.frame
    first, end = span
    fade = figure.frames(TIMING.fade_s)
    half = max(fade // 2, 1)
    index = len(figure.plan.steps)
    put_title(sheet, frame, f"title.{index}", words.title, (first + half, first + fade), None)
    put_pips(sheet, frame, f"pips.{index}", index + 1, index, (first, first + 1), None)
    travel, rolled = float(shot.travel_mm), _roll_legs(figure)
    seen = sum(b - a for a, b in rolled)
    speed = SHOWN_HEIGHTS_S * frame.height_px / figure.px_per_mm  # mm a second, as shown
    roll_s = max(seen / speed, 0.3) if seen > 0 else 0.0
    speed = seen / roll_s if roll_s else speed
    cut = abs(float(shot.cut_rad))
    away_s, object_mm, cue_mm = _departure(figure, speed, cut)
    times = [TIMING.fade_s + TIMING.dim_s, TIMING.rest_s, roll_s, TIMING.contact_s, away_s]
    times += [0.6, TIMING.fade_s] if cue_mm > 0 else []
    times += [TIMING.end_s]
    parts = in_turn(first, end, times, figure.rate)
    dim, _, roll, contact, away = parts[:5]
    labels.clear((first, first + fade))
    for id in measure_ids:
        sheet.hide(id, (first, first + fade))
    pair = _fade_construction(figure, dim, contact)
    note = _note_slow(figure, (first + fade, first + 2 * fade))
    aim = np.array([*shot.aim_direction, 0.0])
    legs = [(b - a) / seen for a, b in rolled] if seen else []
    edges = [round(roll[0] + (roll[1] - roll[0]) * t) for t in accumulate(legs, initial=0.0)]
    for n, (leg, part) in enumerate(zip(rolled, pairwise(edges), strict=True)):
        if n:
            sheet.move("cue_ball", "offset_mm", (part[0], part[0] + 1), *(aim * leg[0]), easing="linear")
            part = (part[0] + 1, part[1])
        sheet.move("cue_ball", "offset_mm", part, *(aim * leg[1]), easing="linear")
    _ring(figure, contact)
    for id in pair:
        sheet.show(id, (contact[0], contact[0] + fade))
    u = np.array([*shot.object_direction, 0.0])
    sheet.move("object_ball", "offset_mm", away, *(u * object_mm), easing="linear")
    _outlines(figure, u, object_mm, away)
    if cue_mm > 0:
        side = int(shot.side)
        tangent = np.array([*(-side * left(shot.object_direction)), 0.0])
        sheet.move("cue_ball", "offset_mm", away, *(aim * travel + tangent * cue_mm), easing="linear")
        _cue_ball_after(figure, labels, tangent, cue_mm, parts[5], parts[6], object_mm * u, note)


def _roll_legs(figure: Figure) -> list[tuple[float, float]]:
    """Parts of the cue ball's way that the stage shows, in mm from its place: all, or out of one pane and into
    the other."""
    travel = float(figure.shot.travel_mm)
    if not figure.is_broken:
        return [(0.0, travel)] if travel > 0 else []
    scale = figure.px_per_mm
    _, band_y, _, band_h = figure.frame.band_px
    leaving = (figure.px(figure.shot.cue_ball_mm)[1] - (band_y + band_h)) / scale + figure.radius_mm
    ghost_y = float(figure.pane.px(figure.shot.ghost_ball_mm)[1])
    entering = (band_y - ghost_y) / scale + figure.radius_mm
    return [(0.0, leaving), (travel - entering, travel)]


def _departure(figure: Figure, speed_mm_s: float, cut: float) -> tuple[float, float, float]:
    """Seconds after the hit that are shown, and how far the object ball and a stunned cue ball go meanwhile.

    Equal balls, no friction, nothing lost: the object ball takes the part of the speed along the line of their
    centres, the cue ball keeps the part along the tangent (the 90-degree rule).
    """
    shot, side = figure.shot, int(figure.shot.side)
    room = _ball_room(figure)
    far_mm = 12 * figure.radius_mm
    ways = []
    for start, run, part in (
        (shot.object_ball_mm, shot.object_direction, math.cos(cut)),
        (shot.ghost_ball_mm, -side * left(shot.object_direction), math.sin(cut)),
    ):
        end = start + np.array([*run, 0.0]) * far_mm
        inside = part_inside(figure.pane.px(start), figure.pane.px(end), room)[1]
        ways.append((inside * far_mm if part > STANDS else math.inf, part))
    to_target = float(np.hypot(*(shot.target_mm - shot.object_ball_mm)[:2]))
    ways[0] = (min(ways[0][0], to_target), ways[0][1])
    seconds = min([way / (part * speed_mm_s) for way, part in ways if part > STANDS] + [MOST_AWAY_S])
    object_mm, cue_mm = (seconds * speed_mm_s * part for _, part in ways)
    return seconds, object_mm, cue_mm


def _ball_room(figure: Figure) -> Rect:
    """Where a ball's centre may go so that the ball stays on the stage."""
    x, y, w, h = figure.room_px
    sx, sy, sw, sh = figure.frame.action_safe
    bottom = figure.frame.band_px[1] + figure.radius_px if figure.is_broken else min(y + h, sy + sh)
    r = figure.radius_px
    left_px, top, right = max(x, sx) + r, max(y, sy) + r, min(x + w, sx + sw) - r
    return (left_px, top, right - left_px, bottom - r - top)


def _fade_construction(figure: Figure, span: Span, contact: Span) -> list[str]:
    """The construction steps back, its lines under the balls; the copies of the aim and target lines, which come
    back at the hit."""
    sheet, pair = figure.sheet, []
    for id in sheet.ids():
        shape = sheet.shape(id)
        is_ghost = isinstance(shape, Ball) and shape.look == "ghost"
        if not isinstance(shape, Line | Mark | Bar | Ring) and not is_ghost:
            continue
        is_on_stage = not {*sheet.panes(id)}.isdisjoint(figure.panes)
        if not is_on_stage or not sheet.is_shown_at_end(id):
            continue
        if is_ghost:
            sheet.move(id, "opacity", span, ROLL_DIM)
            sheet.hide(id, (contact[0], contact[0] + figure.frames(TIMING.fade_s)))
            continue
        sheet.hide(id, span)
        if isinstance(shape, Line):
            role = sheet.role(id)
            under = sheet.put(f"{id}.under", replace(shape, ink_in=()), "line_under", role, sheet.panes(id))
            sheet.move(under, "opacity", span, ROLL_DIM)
            if role in BACK_AT_HIT:
                pair.append(under)
            else:
                sheet.hide(under, (contact[1], contact[1] + figure.frames(TIMING.fade_s)))
    return pair


def _note_slow(figure: Figure, span: Span) -> tuple[Rect, ...]:
    """A plate that says that the balls are slower than in life, where the measures stood; its rectangle."""
    words = figure.brief.labels.get("slowed_cut" if figure.is_broken else "slowed")
    if not words:
        return ()
    frame, scale = figure.frame, figure.frame.scale
    sizes, size = plate_sizes(scale), scale.text_px("label")
    room = frame.measure_width_px - 2 * sizes.padding_px
    lines = even_lines(words, room, lambda text: scale.text_width_px(text, "label"))
    width = max(scale.text_width_px(line, "label") for line in lines) + 2 * sizes.padding_px
    x, y = frame.measures_px[0], measures_top_px(titles(figure.brief), frame) - size
    pitch = 1.25 * size
    rect = (x, y, width, sizes.height_px + (len(lines) - 1) * pitch)
    sheet = figure.sheet
    ids = [sheet.put("slowed", Shade(rect, "plate", sizes.radius_px), "label", "label")]
    for n, line in enumerate(lines):
        at = (x + sizes.padding_px, y + sizes.baseline_px + n * pitch)
        ids.append(sheet.put(f"slowed.{n}", Text(line, at, "label"), "text", "label"))
    for id in ids:
        sheet.show(id, span)
    return (rect,)


def _ring(figure: Figure, span: Span) -> None:
    """One ring around the place of the hit, growing from the ghost ball's edge and gone when the balls go on."""
    centre = construction.position(figure.shot.ghost_ball_mm)
    ring = Ring(centre, figure.radius_mm, "thin_line")
    id = figure.sheet.put("contact_ring", ring, "mark", panes=(figure.pane.id,))
    first, end = span
    figure.sheet.move(id, "opacity", (first, first + 1), 1.0)
    figure.sheet.move(id, "size", span, 1.35, easing="cubic")
    figure.sheet.move(id, "opacity", (max(first + 1, end - figure.frames(0.2)), end), 0.0)


def _outlines(figure: Figure, u: np.ndarray, far_mm: float, span: Span) -> None:
    """Three outlines where the object ball was, at equal times (one when it hardly moves)."""
    count = OUTLINES if far_mm > figure.radius_mm else 1
    for n in range(count):
        at = construction.position(figure.shot.object_ball_mm + u * far_mm * n / count)
        id = figure.sheet.put(
            f"outline.{n}",
            Ring(at, figure.radius_mm, "thin_line"),
            "line_under",
            "object_ball_outline",
            (figure.pane.id,),
        )
        when = span[0] + round((span[1] - span[0]) * n / count)
        figure.sheet.move(id, "opacity", (when, when + figure.frames(0.1)), 0.85)


def _cue_ball_after(
    figure: Figure,
    labels: Labels,
    tangent: np.ndarray,
    gone_mm: float,
    drawn: Span,
    shown: Span,
    object_moved: np.ndarray,
    note: tuple[Rect, ...],
) -> None:
    """The stunned cue ball's path, along the tangent line, with its label."""
    shot = figure.shot
    G = shot.ghost_ball_mm
    reach = gone_mm + 4 * figure.radius_mm
    part = part_inside(figure.pane.px(G), figure.pane.px(G + tangent * reach), figure.room_px)[1]
    end = construction.position(G + tangent * reach * part)
    line = construction.Line("cue_ball_after", construction.position(G), end)
    pieces = pieces_of(figure, line)[:1]
    if not pieces:
        return
    shape = Line((pieces[0][1], pieces[0][2]), "cue_ball_after", ink_in=("cue_ball",))
    sheet = figure.sheet
    id = sheet.put("cue_ball_after", shape, "line", panes=pieces[0][0], opacity=1.0, drawn=0.0)
    sheet.move(id, "drawn", drawn, 1.0)
    words = figure.brief.labels.get("cue_ball_after")
    if not words:
        return
    cue = disc_of(figure, "cue_ball", construction.position(G + tangent * gone_mm), figure.radius_mm, True)
    ball = disc_of(
        figure, "object_ball", construction.position(shot.object_ball_mm + object_moved), figure.radius_mm, True
    )
    balls = [disc for disc in (*discs(figure), cue, ball) if disc is not None]
    a, b = piece_px(figure, pieces[0])
    half = figure.frame.scale.stroke_px(6)
    before = merged(labels.steps)
    still_there = tuple(s for s in before.strokes if s.name in BACK_AT_HIT)
    obstacles = replace(
        before,
        balls=tuple(balls),
        marks=(),
        strokes=(*still_there, Stroke("cue_ball_after", a, b, half)),
        rects=(*before.rects, *note),
    )
    want = line_label(figure, "cue_ball_after", words, "cue_ball_after", pieces, balls)
    found = place(replace(want, prefer=figure.aim_side), obstacles, labels.zones, [], labels.spacing)
    if found is not None:
        labels.put(found, LINE_RANK, len(figure.plan.steps), shown, is_new=True)
