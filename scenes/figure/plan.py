"""A build-up's figure: what its stage shows of a construction, and what labels must keep clear of."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Construction, Position
from aimgeo.shot import Shot
from aimgeo.vectors import dot
from scenes.board import (
    Bar,
    Pixel,
    Rect,
)
from scenes.board.brief import Brief, BriefStep
from scenes.board.motion import Sheet, frames_of
from scenes.board.rects import part_inside
from scenes.figure.labels import (
    Disc,
    Obstacles,
    Stroke,
)
from scenes.frame.column import (
    joined,
    measure_texts,
    measures_room,
    measures_top_px,
    text_rect,
    title_rect,
)
from scenes.frame.framing import Framing
from scenes.frame.layout import Layout
from scenes.look.roles import BARS, LINE_STYLE, MARK_KIND

BAR_HALF_PX = 15.0
"""Half the height of a bar, its casing included, for a 1080 px frame."""
ARROW_WIDTHS = 3.9
"""Length of an arrowhead in widths of its line."""
ARC_PART, ARC_PAST = 0.72, 1.12
"""The arc of the cut cuts the drawn target line here; its other side runs a little past it."""
LEAST_ARC_RADII, MOST_ARC_RADII = 1.25, 2.4
LEAST_ARC_RAD = math.radians(5)
TARGET_LINE_BALLS = 2.0
"""How far the target line is drawn from the object ball's centre, in balls, where there is room."""


@dataclass(slots=True)
class Figure:
    """What every part of the build-up needs; `sheet` is written to."""

    brief: Brief
    frame: Layout
    shot: Shot
    plan: Construction
    stage: Framing
    sheet: Sheet
    titles: tuple[str, ...]

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
        """Ball radius in the picture."""
        return self.radius_mm * self.stage.main.px_per_mm

    @property
    def side(self) -> int:
        """Where the object ball goes in the picture: -1 left, +1 right, a straight shot counts as left."""
        return int(self.shot.outward)

    def frames(self, seconds: float) -> int:
        """Frames that last about so long."""
        return frames_of(seconds, self.rate)


# ------------------------------------------------------------------ lines

Piece = tuple[str, Position, Position]
"""Pane, and the ends of what it shows of a line."""


def lines_of(
    figure: Figure, step: construction.Step, index: int
) -> dict[str, tuple[construction.Line, list[Piece]]]:
    """The lines of a step by element id, cut to what the panes show."""
    out = {}
    for n, line in enumerate(step.lines):
        line = in_reach(figure, line)
        pieces = pieces_of(figure, line)
        if pieces:
            out[f"{line.role}.{index}.{n}"] = (line, pieces)
    return out


def in_reach(figure: Figure, line: construction.Line) -> construction.Line:
    """The target line, cut off where the picture ends."""
    if line.role != "target_line":
        return line
    view = figure.stage.main
    a, b = np.array(line.start_mm), np.array(line.end_mm)
    length = float(np.linalg.norm(b - a))
    most = min(length, TARGET_LINE_BALLS * 2 * figure.radius_mm)
    start, end = view.to_px(a), view.to_px(a + (b - a) / length * most)
    t = part_inside(start, end, drawing_room(figure))[1]
    return replace(line, end_mm=construction.position(a + (b - a) / length * most * t))


def drawing_room(figure: Figure) -> Rect:
    """Where lines and arrowheads of the figure may stand: the stage, below the title where that is above it."""
    x, y, w, _ = figure.frame.label_zone
    bottom = figure.frame.action_safe[1] + figure.frame.action_safe[3]
    if figure.frame.shape != "wide":
        _, ty, _, th = title_rect(figure.titles, figure.frame)
        y = max(y, ty + th + 0.02 * figure.frame.scale.short_px)
    return (x, y, w, bottom - y)


def pieces_of(figure: Figure, line: construction.Line) -> list[Piece]:
    """What each pane shows of a line, in the order in which the line runs."""
    a, b = np.array(line.start_mm), np.array(line.end_mm)
    out = []
    for pane_id, rect, view in figure.stage.panes:
        pa, pb = view.to_px(a), view.to_px(b)
        lo, hi = part_inside(pa, pb, rect)
        if lo < hi:
            ends = construction.position(a + (b - a) * lo), construction.position(a + (b - a) * hi)
            out.append((lo, (pane_id, *ends)))
    return [piece for _, piece in sorted(out)]


def piece_px(figure: Figure, piece: Piece) -> tuple[Pixel, Pixel]:
    view = next(v for pane_id, _, v in figure.stage.panes if pane_id == piece[0])
    a, b = view.to_px(np.array(piece[1])), view.to_px(np.array(piece[2]))
    return (float(a[0]), float(a[1])), (float(b[0]), float(b[1]))


def visible(figure: Figure, piece: Piece) -> tuple[Pixel, Pixel]:
    """The ends of a piece in pixels, without what the break covers."""
    a, b = piece_px(figure, piece)
    if figure.stage.is_broken:
        _, y, _, h = figure.frame.band_px
        rect = (-1e6, -1e6, 2e6, 1e6 + y) if piece[0] == figure.stage.ids[0] else (-1e6, y + h, 2e6, 1e6)
        lo, hi = part_inside(a, b, rect)
        hi = max(lo, hi)
        run = (b[0] - a[0], b[1] - a[1])
        return (a[0] + run[0] * lo, a[1] + run[1] * lo), (a[0] + run[0] * hi, a[1] + run[1] * hi)
    return a, b


@dataclass(frozen=True, slots=True)
class CutArc:
    """The cut as an angle at the object ball: from straight on, along the aim, to the target line."""

    straight_on: construction.Line
    radius_mm: float
    from_rad: float
    to_rad: float


def cut_arc(figure: Figure, target_line: construction.Line) -> CutArc | None:
    """The arc beyond the object ball that shows the cut; None where it would be too small to be seen."""
    shot, view, R = figure.shot, figure.stage.main, figure.radius_mm
    cut = float(shot.cut_rad)
    O = shot.object_ball_mm
    radius = min(ARC_PART * math.dist(target_line.start_mm, target_line.end_mm), MOST_ARC_RADII * R)
    aim = np.array([*shot.aim_direction, 0.0])
    far = O + ARC_PAST * radius * aim
    free = part_inside(view.to_px(O), view.to_px(far), drawing_room(figure))[1]
    radius *= min(1.0, free)
    if abs(cut) < LEAST_ARC_RAD or radius < LEAST_ARC_RADII * R:
        return None
    turn = view.turn_rad
    line = construction.Line(
        "straight_on", construction.position(O), construction.position(O + ARC_PAST * radius * aim)
    )
    return CutArc(line, radius, turn, turn + cut)


# ------------------------------------------------------------------ points, balls and bars


def point_px(figure: Figure, at_mm: Position) -> Pixel:
    """A point's pixel in the pane that shows it."""
    px = np.zeros(2)
    for _, rect, view in figure.stage.panes:
        px = view.to_px(np.array(at_mm))
        if rect[1] <= px[1] <= rect[1] + rect[3]:
            break
    return (float(px[0]), float(px[1]))


def disc_of(figure: Figure, role: str, centre: Position, radius_mm: float, is_solid: bool) -> Disc | None:
    for _, rect, view in figure.stage.panes:
        px = view.to_px(np.array(centre))
        if rect[1] <= px[1] <= rect[1] + rect[3]:
            return Disc((float(px[0]), float(px[1])), radius_mm * view.px_per_mm, is_solid, role)
    return None


def discs(figure: Figure) -> list[Disc]:
    """The balls of the whole build-up, the ghost ball too."""
    R = figure.radius_mm
    found = [
        disc_of(figure, role, construction.position(at), R, is_solid)
        for role, at, is_solid in (
            ("object_ball", figure.shot.object_ball_mm, True),
            ("cue_ball", figure.shot.cue_ball_mm, True),
            ("ghost_ball", figure.shot.ghost_ball_mm, False),
        )
    ]
    return [disc for disc in found if disc is not None]


def faint_after(figure: Figure, line: construction.Line, a: Position, b: Position) -> float | None:
    """Where a line along the aim passes the ghost ball's centre, from a; None when it does not."""
    aim = figure.shot.aim_direction
    run = np.array(b[:2]) - np.array(a[:2])
    length = float(np.hypot(*run))
    if length < 1e-6 or dot(run, aim) < 0.999999 * length:
        return None
    level = float(dot(figure.shot.ghost_ball_mm[:2] - np.array(a[:2]), aim))
    return max(level, 0.0) if level < length - 1e-6 else None


def marks_of(
    figure: Figure, step: construction.Step, index: int
) -> tuple[list[tuple[str, str, str, Position]], list[tuple[str, str, str, Position]]]:
    """The step's marks: those from which its lines start, and those that come after."""
    starts = {line.start_mm for line in step.lines}
    before: list[tuple[str, str, str, Position]] = []
    after: list[tuple[str, str, str, Position]] = []
    for n, point in enumerate(step.points):
        entry = (f"{point.role}.{index}.{n}", MARK_KIND.get(point.role, "target"), point.role, point.at_mm)
        (before if point.at_mm in starts else after).append(entry)
    return before, after


def bars_of(
    figure: Figure, step: construction.Step, index: int, words: BriefStep
) -> list[tuple[str, Bar, str, str]]:
    """The step's bars: id, shape, the words of its label and the measure's key."""
    out = []
    known = {m.key: m for s in figure.brief.steps for m in s.measures}
    for measure in step.measures:
        text = known.get(measure.key)
        if measure.key not in BARS or measure.between_mm is None or text is None:
            continue
        ends = _bar_ends(figure, measure.key, measure.between_mm)
        if ends is None:
            continue
        label, pieces, filled = joined(text), 1, 1
        first = known.get("contact_offset")
        if first is not None and measure.key == "aim_offset":
            label, pieces = f"2 × {joined(first)}", 2
        if first is not None and measure.key == "second_offset":
            both = np.array(ends)
            ends = construction.position(2 * both[0] - both[1]), ends[1]
            label, pieces = f"{joined(first)} + {joined(text)}", 2
        out.append((f"bar.{measure.key}.{index}", Bar(ends, pieces, filled), label, measure.key))
    return out


def _bar_ends(figure: Figure, key: str, between: tuple[Position, Position]) -> tuple[Position, Position] | None:
    """Where a bar between two parallel lines stands: as given, or where the stage shows it clear of the balls.

    None when the bar would be too short to be seen.
    """
    a, b = np.array(between[0]), np.array(between[1])
    scale = figure.stage.main.px_per_mm
    if np.linalg.norm(b - a) * scale < figure.frame.scale.px(7):
        return None
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
    for _, rect, view in figure.stage.panes:
        pa, pb = view.to_px(a), view.to_px(b)
        box = (min(pa[0], pb[0]), pa[1] - half, abs(pb[0] - pa[0]), 2 * half)
        edge = half
        if not (rect[1] + edge < box[1] and box[1] + box[3] < rect[1] + rect[3] - edge):
            continue
        if figure.stage.is_broken:
            band = figure.frame.band_px
            if box[1] < band[1] + band[3] and band[1] < box[1] + box[3]:
                continue
        for disc in discs(figure):
            if not disc.is_solid:
                continue
            dx = max(box[0] - disc.at_px[0], disc.at_px[0] - box[0] - box[2], 0)
            dy = max(box[1] - disc.at_px[1], disc.at_px[1] - box[1] - box[3], 0)
            if math.hypot(dx, dy) < disc.radius_px:
                break
        else:
            return True
    return False


def cut_arc_in(figure: Figure, step: construction.Step) -> CutArc | None:
    """The arc of the step that measures the cut, beside its target line."""
    if not any(measure.key == "cut" for measure in step.measures):
        return None
    targets = [in_reach(figure, line) for line in step.lines if line.role == "target_line"]
    return cut_arc(figure, targets[0]) if targets else None


# ------------------------------------------------------------------ what labels keep clear of


def obstacles_of(figure: Figure) -> list[Obstacles]:
    """What each step adds to the picture; with the first one the balls and all the words around the figure."""
    frame, s = figure.frame, figure.frame.scale
    out = []
    for index, step in enumerate(figure.plan.steps):
        strokes: list[Stroke] = []
        for line, pieces in lines_of(figure, step, index).values():
            strokes += _strokes(figure, line, pieces)
        marks = [
            Disc(
                point_px(figure, point.at_mm),
                s.stroke_px(frame.look.marks[MARK_KIND.get(point.role, "target")].reach_px),
                True,
                point.role,
            )
            for point in step.points
        ]
        words = figure.brief.steps[index + (1 if figure.brief.subject.table else 0)]
        for id, bar, _, _ in bars_of(figure, step, index, words):
            a, b = (point_px(figure, p) for p in bar.points_mm)
            strokes.append(Stroke(id, a, b, s.stroke_px(BAR_HALF_PX)))
        if arc := cut_arc_in(figure, step):
            strokes += _strokes(figure, arc.straight_on, pieces_of(figure, arc.straight_on))
        out.append(Obstacles((), tuple(marks), tuple(strokes)))
    rects: list[Rect] = [title_rect(figure.titles, frame)]
    top = measures_top_px(figure.titles, frame)
    has_table = figure.brief.subject.table is not None
    for slot in range(measures_room(figure.titles, frame, has_table)):
        for step_words in figure.brief.steps:
            for measure in step_words.measures:
                baseline = top + slot * frame.measure_pitch_px
                rects += [text_rect(t, s) for t in measure_texts(measure, frame, frame.measures_px[0], baseline)]
    if has_table:
        rects.append(frame.inset_px)
    if figure.stage.is_broken:
        rects.append(frame.band_px)
    out[0] = replace(out[0], balls=tuple(discs(figure)), rects=tuple(dict.fromkeys(rects)))
    return out


def _strokes(figure: Figure, line: construction.Line, pieces: list[Piece]) -> list[Stroke]:
    """A line as obstacles: its casing, and the target line's arrowhead."""
    s = figure.frame.scale
    style = figure.frame.look.line(LINE_STYLE.get(line.role, line.role))
    half = s.stroke_px(style.width_px + style.casing_px) / 2
    out = []
    for piece in pieces:
        a, b = visible(figure, piece)
        out.append(Stroke(line.role, a, b, half))
        if line.role == "target_line":
            head = s.stroke_px(ARROW_WIDTHS * style.width_px)
            back = max(1 - head / max(math.dist(a, b), 1.0), 0.0)
            neck = (a[0] + (b[0] - a[0]) * back, a[1] + (b[1] - a[1]) * back)
            out.append(Stroke(line.role, neck, b, 0.42 * head + s.stroke_px(3)))
    return out
