"""A build-up's own: its stage, its bars, the arc of the cut, and what its labels must keep clear of."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Construction, Position, position
from aimgeo.shot import Shot
from scenes.board import ONE, Bar, Pane, Rect, Text
from scenes.board.brief import Brief
from scenes.board.motion import Sheet
from scenes.board.rects import part_inside
from scenes.figure.figure import Figure, Magnifier, aims_true, in_reach, marks_of, other_discs, strokes_of
from scenes.figure.front import is_along, offset_bar
from scenes.figure.labels import NOTHING, Obstacles, Stroke, merged
from scenes.figure.magnified import bar_ends_in, obstacles_in
from scenes.figure.magnifier import FIXED_BARS, is_speck
from scenes.frame.column import (
    joined,
    measure_texts,
    measures_room,
    measures_top_px,
    text_rect,
    title_rect,
)
from scenes.frame.framing import Framing, pane
from scenes.frame.layout import Layout
from scenes.look.roles import OWN, is_bar
from scenes.look.scale import plate_sizes

BAR_HALF_PX = 15.0
"""Half the height of a bar, its casing included, for a 1080 px frame."""
ARC_RADII, ARC_PART, ARC_PAST = 3.7, 0.88, 1.1
"""The arc of the cut, about the ghost ball's centre, in balls' radii, and at most at this part of the drawn target
line; its other side runs a little past it."""
LEAST_ARC_RADII = 3.2
LEAST_ARC_RAD = math.radians(5)
TARGET_LINE_BALLS = 2.0
"""How far the target line is drawn from the object ball's centre, in balls, where there is room."""


def plan_figure(brief: Brief, frame: Layout, shot: Shot, plan: Construction, stage: Framing) -> Figure:
    """The figure of a build-up on its stage."""
    windows = tuple(pane(pane_id, rect, view, "plan", ONE, None) for pane_id, rect, view in stage.panes)
    room = _drawing_room(frame, titles(brief))
    reach_mm = TARGET_LINE_BALLS * 2 * float(shot.radius_mm)
    return Figure(brief, Sheet(), frame, shot, plan, windows, stage.ids, stage.ids, room, reach_mm=reach_mm)


def titles(brief: Brief) -> tuple[str, ...]:
    """The titles of all the steps that stand beside the stage."""
    return tuple(step.title for step in brief.steps[1 if brief.subject.table else 0 :])


def _drawing_room(frame: Layout, titles: tuple[str, ...]) -> Rect:
    """Where lines and arrowheads of the figure may stand: the stage, below the title where that is above it."""
    x, y, w, _ = frame.label_zone
    bottom = frame.action_safe[1] + frame.action_safe[3]
    if frame.shape != "wide":
        _, ty, _, th = title_rect(titles, frame)
        y = max(y, ty + th + 0.02 * frame.scale.short_px)
    return (x, y, w, bottom - y)


@dataclass(frozen=True, slots=True)
class CutArc:
    """The cut as an angle: from straight on, along the aim, to the target line."""

    straight_on: construction.Line
    radius_mm: float
    from_rad: float
    to_rad: float


def cut_arc(figure: Figure, target_line: construction.Line) -> CutArc | None:
    """The angle at the ghost ball's centre, between the aim carried on and the target line, just beyond the object
    ball; None where it would be too small to be seen."""
    shot, R = figure.shot, figure.radius_mm
    cut = float(shot.cut_rad)
    G = shot.ghost_ball_mm
    radius = min(ARC_RADII * R, ARC_PART * math.dist(position(G), target_line.end_mm))
    aim = np.array([*shot.aim_direction, 0.0])
    far = G + ARC_PAST * radius * aim
    radius *= min(1.0, part_inside(figure.px(G), figure.px(far), figure.room_px)[1])
    if abs(cut) < LEAST_ARC_RAD or radius < LEAST_ARC_RADII * R:
        return None
    turn = math.atan2(float(shot.aim_direction[1]), float(shot.aim_direction[0]))
    line = construction.Line("straight_on", position(G), position(G + ARC_PAST * radius * aim))
    return CutArc(line, radius, turn, turn + cut)


@dataclass(frozen=True, slots=True)
class PlanBar:
    """A bar of a step: its element's id, its shape, its label's words, its measure's key; the inset in which
    alone it is seen (None: it stands in the picture)."""

    id: str
    bar: Bar
    text: str
    key: str
    within: Pane | None = None


def bars_of(figure: Figure, step: construction.Step, index: int) -> list[PlanBar]:
    """The step's bars."""
    out = []
    known = {m.key: m for s in figure.brief.steps for m in s.measures}
    closer = figure.magnifier(index)
    for measure in step.measures:
        key, text = measure.key, known.get(measure.key)
        if measure.between_mm is None or text is None or not (is_bar(key) or key in FIXED_BARS):
            continue
        within, ends = None, None
        if closer is not None and is_speck(figure, measure):
            within = closer.pane
            ends = bar_ends_in(figure, closer, measure.between_mm, key in FIXED_BARS, key.startswith(OWN))
        if ends is None and key == "aim_offset" and is_speck(figure, measure) and is_along(figure, index):
            assert figure.front is not None
            within, ends = figure.front.pane, offset_bar(figure)
        if ends is None:
            within, ends = None, _bar_ends(figure, key, measure.between_mm) if is_bar(key) else None
        if ends is None:
            continue
        label, pieces = joined(text), 1
        first = known.get("contact_offset")
        if first is not None and key == "aim_offset":
            label, pieces = f"2 × {joined(first)}", 2
        if first is not None and key == "second_offset":
            both = np.array(ends)
            ends = construction.position(2 * both[0] - both[1]), ends[1]
            label, pieces = f"{first.number} + {joined(text)}", 2
        out.append(PlanBar(f"bar.{key}.{index}", Bar(ends, pieces, 1), label, key, within))
    return out


def _bar_ends(figure: Figure, key: str, between: tuple[Position, Position]) -> tuple[Position, Position] | None:
    """Where a bar between two parallel lines stands: as given, or where the stage shows it clear of the balls.

    None when the bar would be too short to be seen.
    """
    a, b = np.array(between[0]), np.array(between[1])
    if np.linalg.norm(b - a) * figure.px_per_mm < figure.frame.scale.px(7):
        return None
    if key.startswith(OWN):  # it need not be square to the aim, so it stands between its own points
        return between
    aim = np.array([*figure.shot.aim_direction, 0.0])
    O = figure.shot.object_ball_mm
    here = float((a - O) @ aim)
    R = figure.radius_mm
    if key == "cue_shift":
        # on the cue ball itself, just before the marks that it measures
        return construction.position(a + 0.42 * R * aim), construction.position(b + 0.42 * R * aim)
    ghost = -2 * R * math.cos(float(figure.shot.cut_rad))
    for level in (here, ghost - 0.62 * R, 1.38 * R, ghost - 1.38 * R):
        ends = a + (level - here) * aim, b + (level - here) * aim
        if _bar_is_clear(figure, *ends):
            return construction.position(ends[0]), construction.position(ends[1])
    return between


def _bar_is_clear(figure: Figure, a: np.ndarray, b: np.ndarray) -> bool:
    half = figure.frame.scale.stroke_px(BAR_HALF_PX)
    for window in figure.windows:
        rect, pa, pb = window.rect_px, window.px(a), window.px(b)
        box = (min(pa[0], pb[0]), pa[1] - half, abs(pb[0] - pa[0]), 2 * half)
        edge = half
        if not (rect[1] + edge < box[1] and box[1] + box[3] < rect[1] + rect[3] - edge):
            continue
        if figure.is_broken:
            band = figure.frame.band_px
            if box[1] < band[1] + band[3] and band[1] < box[1] + box[3]:
                continue
        for disc in figure.balls:
            if not disc.is_solid:
                continue
            dx = max(box[0] - disc.at_px[0], disc.at_px[0] - box[0] - box[2], 0)
            dy = max(box[1] - disc.at_px[1], disc.at_px[1] - box[1] - box[3], 0)
            if math.hypot(dx, dy) < disc.radius_px:
                break
        else:
            return True
    return False


def aim_step(plan: Construction, shot: Shot) -> int | None:
    """The step that shows the true aim line: there the cut can be seen, between it and the target line."""
    if not aims_true(plan, shot):
        return None
    return next((k for k, s in enumerate(plan.steps) if any(x.role == "aim_line" for x in s.lines)), None)


def cut_arc_in(figure: Figure, index: int) -> CutArc | None:
    """The arc of a step, where it is the one that shows the aim."""
    if index != aim_step(figure.plan, figure.shot):
        return None
    lines = (line for step in figure.plan.steps[: index + 1] for line in step.lines)
    targets = [in_reach(figure, line) for line in lines if line.role == "target_line"]
    return cut_arc(figure, targets[0]) if targets else None


@dataclass(frozen=True, slots=True)
class Dimension:
    """The line beside a whole shot that measures it from centre to centre, and the words on their plate."""

    strokes: tuple[Rect, ...]
    plate_px: Rect
    words: tuple[Text, ...]


def dimension_of(figure: Figure) -> Dimension | None:
    """The measure of the way between the centres; None where the frame has no place for it, or it is too short."""
    frame, scale = figure.frame, figure.frame.scale
    told = [figure.brief.labels.get(key, "") for key in ("distance", "true_to_scale")]
    x, (_, top), (_, end) = frame.dimension_x_px, *(figure.px(p) for p in _centres(figure.shot))
    if x is None or figure.is_broken or not all(told):
        return None
    sizes, half, tick = plate_sizes(scale), scale.stroke_px(1.5), scale.px(17)
    styles = ("label", "small")
    width = max(scale.text_width_px(text, style) for text, style in zip(told, styles, strict=True))
    w, h = width + 2 * sizes.padding_px, 1.8 * sizes.height_px
    zone_x, _, zone_w, _ = frame.label_zone
    x, y = min(x, zone_x + zone_w - w / 2), (top + end) / 2 - h / 2
    if end - top < 1.5 * h:
        return None
    lines = ((top, y), (y + h, end))
    strokes = [(x - half, a, 2 * half, b - a) for a, b in lines]
    strokes += [(x - tick, at - half, 2 * tick, 2 * half) for at in (top, end)]
    words = tuple(
        Text(text, (x, y + part * h), style, "centre")
        for text, style, part in zip(told, styles, (0.43, 0.83), strict=True)
    )
    return Dimension(tuple(strokes), (x - w / 2, y, w, h), words)


def _centres(shot: Shot) -> tuple[Position, Position]:
    return construction.position(shot.object_ball_mm), construction.position(shot.cue_ball_mm)


# ------------------------------------------------------------------ what labels keep clear of


def obstacles_of(figure: Figure, closer: Magnifier | None = None, beside: Obstacles = NOTHING) -> list[Obstacles]:
    """What each step adds to the picture, and to what a magnifier shows; with the first one the balls, all the
    words around the figure, and what stands `beside` it."""
    if figure.brings is None or figure.brings[:2] != (figure.magnifiers, figure.front):
        figure.brings = figure.magnifiers, figure.front, _brought(figure)
    first, *rest = figure.brings[2]
    out = [merged([first, beside]), *rest]
    if closer is None:
        return out
    return [merged(both) for both in zip(out, obstacles_in(figure, closer, figure.plan.steps), strict=True)]


def _brought(figure: Figure) -> list[Obstacles]:
    frame, s = figure.frame, figure.frame.scale
    out = []
    for index, step in enumerate(figure.plan.steps):
        strokes: list[Stroke] = []
        for line in step.lines:
            strokes += strokes_of(figure, line)
        for one in bars_of(figure, step, index):
            window = figure if one.within is None else one.within
            (ax, ay), (bx, by) = (window.px(p) for p in one.bar.points_mm)
            strokes.append(Stroke(one.id, (ax, ay), (bx, by), s.stroke_px(BAR_HALF_PX)))
        if arc := cut_arc_in(figure, index):
            strokes += strokes_of(figure, arc.straight_on)
        balls = () if index else tuple(other_discs(figure))
        out.append(Obstacles(balls, marks_of(figure, step), tuple(strokes)))
    rects: list[Rect] = [title_rect(titles(figure.brief), frame)]
    top = measures_top_px(titles(figure.brief), frame)
    has_table = figure.brief.subject.table is not None
    measures = dict.fromkeys(measure for words in figure.brief.steps for measure in words.measures)
    told = [text_rect(t, s) for one in measures for t in measure_texts(one, frame, frame.measures_px[0], top)]
    for slot in range(measures_room(titles(figure.brief), frame, has_table)):
        rects += [(x, y + slot * frame.measure_pitch_px, w, h) for x, y, w, h in told]
    if has_table:
        rects.append(frame.inset_px)
    if figure.is_broken:
        rects.append(frame.band_px)
    if found := dimension_of(figure):
        rects += [found.plate_px, *found.strokes]
    out[0] = replace(out[0], balls=figure.balls, rects=tuple(dict.fromkeys(rects)))
    return out
