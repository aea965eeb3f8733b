"""The build-up: from the table in to the balls, the method's construction step by step, then the roll.

The opening shows where the shot is; one camera move turns and zooms until the aim points straight up; each step
of the construction draws what it adds, names it and counts it; at the end the cue ball rolls to the ghost
position and the object ball leaves on its line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

import numpy as np

from aimgeo import construction
from aimgeo.construction import Construction, Position
from aimgeo.shot import Shot
from aimgeo.vectors import dot, left
from scenes.board import (
    LAYERS,
    Ball,
    Bar,
    Board,
    Leader,
    Line,
    Mark,
    Pane,
    Pixel,
    Plate,
    Rect,
    Ring,
    Shade,
    StepSpan,
    Text,
    Track,
)
from scenes.brief import Brief, BriefStep, MeasureText, OutlineStep, Subject
from scenes.column import (
    appear,
    even_lines,
    joined,
    measure_bar_rect,
    measure_texts,
    measures_room,
    measures_top_px,
    put_pips,
    put_title,
    text_rect,
    title_rect,
)
from scenes.framing import INSET, TABLE, Framing, framing, inset_view, moving_camera, pane, table_view
from scenes.labels import (
    NOTHING,
    Disc,
    Obstacles,
    Placed,
    Port,
    Spacing,
    Stroke,
    Wanted,
    is_in_the_way,
    merged,
    place,
)
from scenes.layout import Layout, layout
from scenes.motion import Sheet, Span, frames_of, in_turn
from scenes.table_view import put_inset, put_opening
from scenes.theme import LINES, THEMES, TIMING, plate_sizes, plate_width_px

WHERE, ROLL = "build_up.where", "build_up.roll"

LINE_STYLE = {"target_line_back": "target_line", "target_line_parallel": "target_line"}
"""Roles drawn in another role's style; the rest are styles by their own name."""
MARK_KIND = {
    "object_centre": "object_centre",
    "cue_centre": "cue_centre",
    "contact_object": "contact",
    "contact_cue": "contact",
    "aim_point": "aim",
    "fixed_mark": "notch",
}
"""Roles of points to kinds of mark; the rest are small light rings."""
MARK_RADIUS_PX = {
    "object_centre": 11.0,
    "cue_centre": 15.0,
    "contact": 14.0,
    "aim": 19.0,
    "target": 11.0,
    "notch": 8.0,
}
FROM_CUE = frozenset({"aim_line", "sight_line"})
"""Lines that start at the cue ball's centre or beside it, so that the centre must be marked."""
UNLABELLED = frozenset(
    {"target_line_back", "target_line_parallel", "object_centre", "cue_centre", "ghost_centre", "mark_centre"}
)
"""What explains itself, or stands where its neighbour's label already is."""
BARS = frozenset({"contact_offset", "cue_gap", "aim_offset", "second_offset", "cue_shift"})
"""Measures that are shown as a bar between their two points."""
BAR_HALF_PX = 15.0
MOST_LINE_KINDS = 4
ARROW_WIDTHS = 3.9
ROLL_DIM = 0.3
OLD_LABEL = 0.8
MOST_LABELS = 6
TARGET_LINE_BALLS = 2.0
"""How far the target line is drawn from the object ball's centre, in balls, where there is room."""


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """Where the shot is (when there is a table), one step for each of the construction's, and the roll."""
    plan = _construction(subject)
    values = plan.steps[0].values
    opening = (OutlineStep("where", WHERE, values, draws_s=2.5 + _arrival_s()),) if subject.table else ()
    return (
        *opening,
        *(
            OutlineStep(
                step.name,
                step.sentence,
                step.values,
                tuple((_measure_key(m.key, subject), m.quantity) for m in step.measures),
                _least_s(step),
            )
            for step in plan.steps
        ),
        OutlineStep("roll", ROLL, values, draws_s=7.0),
    )


def _measure_key(key: str, subject: Subject) -> str:
    """A cut is never named without its side."""
    side = 0 if subject.shot is None else int(subject.shot.side)
    return key if key != "cut" or side == 0 else "cut_left" if side > 0 else "cut_right"


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    expected = [step.name for step in outline(brief.subject)]
    if [step.name for step in brief.steps] != expected:
        raise ValueError(f"a build-up of this shot has the steps {', '.join(expected)}")
    edges = list(accumulate((step.frames for step in brief.steps), initial=0))
    spans = list(pairwise(edges))
    scene = _scene(brief)
    first = 0
    panes: tuple[Pane, ...] = _stage_panes(scene, None)
    if brief.subject.table:
        panes = _opening(scene, brief.steps[0], spans[0])
        first = 1
    _put_balls(scene, first == 0)
    labels = _Labels(scene)
    for i, (step, span) in enumerate(zip(scene.plan.steps, spans[first:-1], strict=True)):
        _draw_step(scene, labels, i, step, brief.steps[first + i], span)
    _roll(scene, labels, brief.steps[-1], spans[-1])
    return Board(
        brief.output.width_px,
        brief.output.height_px,
        brief.output.rate,
        brief.frames,
        panes,
        scene.sheet.elements(),
        tuple(StepSpan(s.name, a, b, s.narration) for s, (a, b) in zip(brief.steps, spans, strict=True)),
        brief.theme,
    )


# ------------------------------------------------------------------ the scene


@dataclass(slots=True)
class _Scene:
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
        return 1 if int(self.shot.side) < 0 else -1

    def frames(self, seconds: float) -> int:
        """Frames that last about so long."""
        return frames_of(seconds, self.rate)


def _scene(brief: Brief) -> _Scene:
    subject = brief.subject
    assert subject.shot is not None
    frame = layout(brief.output.width_px, brief.output.height_px)
    titles = tuple(step.title for step in brief.steps[1 if subject.table else 0 :])
    stage = framing(frame, subject.shot)
    return _Scene(brief, frame, subject.shot, _construction(subject), stage, Sheet(), titles)


def _construction(subject: Subject) -> Construction:
    if subject.shot is None or subject.construction is None:
        raise ValueError("a build-up needs a shot and a construction")
    return subject.construction


def _arrival_s() -> float:
    return TIMING.fade_s + 2 * TIMING.camera_rest_s + TIMING.camera_s


def _least_s(step: construction.Step) -> float:
    """Seconds that a step's drawing and its hold need at least, in any frame."""
    longest = TIMING.draw_s + 1.3 * TIMING.draw_per_height_s
    parts = [TIMING.fade_s + TIMING.rest_s, TIMING.hold_s, TIMING.fade_s]
    parts += [0.45] if step.circles else []
    parts += [longest] if step.lines else []
    parts += [TIMING.fade_s] if step.points else []
    parts += [0.4 + TIMING.fade_s] if step.measures else []
    return sum(parts)


# ------------------------------------------------------------------ panes


def _stage_panes(scene: _Scene, at_frame: int | None) -> tuple[Pane, ...]:
    """The panes of the stage, visible from a frame on (None: always); the near part of a broken one fades in."""
    out = []
    for i, (pane_id, rect, view) in enumerate(scene.stage.panes):
        opacity = Track((1.0,))
        if at_frame is not None:
            sheet = Sheet()
            sheet.put("pane", Shade(rect, "plate"), 0)
            sheet.show("pane", (at_frame, at_frame + (1 if i == 0 else scene.frames(TIMING.fade_s))))
            opacity = sheet.elements()[0].opacity
        out.append(pane(pane_id, rect, view, "plan", opacity, None))
    if scene.brief.subject.table:
        view = inset_view(scene.frame, scene.brief.subject.table)
        sheet = Sheet()
        sheet.put("pane", Shade(scene.frame.inset_px, "plate"), 0)
        at = at_frame or 0
        sheet.show("pane", (at, at + scene.frames(TIMING.fade_s)))
        out.append(pane(INSET, scene.frame.inset_px, view, "inset", sheet.elements()[0].opacity, None))
    return tuple(out)


def _opening(scene: _Scene, step: BriefStep, span: Span) -> tuple[Pane, ...]:
    """The table, the move in to the balls; the panes of the whole clip."""
    table = scene.brief.subject.table
    assert table is not None
    first, end = span
    hold = (end - first) / scene.rate[0] * scene.rate[1] - _arrival_s()
    parts = in_turn(
        first,
        end,
        (max(hold, 0.0), TIMING.fade_s, TIMING.camera_rest_s, TIMING.camera_s, TIMING.camera_rest_s),
        scene.rate,
    )
    off, move, rest = parts[1], parts[3], parts[4]
    full: Rect = (0.0, 0.0, float(scene.frame.width_px), float(scene.frame.height_px))
    main = scene.stage.panes[0][2]
    camera = moving_camera(full, table_view(scene.frame, table), main, *move)
    gone = Track((1.0,))
    sheet = Sheet()
    sheet.put("pane", Shade(full, "plate"), 0, opacity=1.0)
    sheet.hide("pane", (move[1] - 1, move[1]))
    gone = sheet.elements()[0].opacity
    put_opening(
        scene.sheet, scene.brief, scene.frame, step, table, off, (move[1] - (move[1] - move[0]) // 3, move[1])
    )
    put_inset(scene.sheet, scene.brief.subject, scene.stage, table, scene.frame)
    if scene.stage.is_broken:
        _put_band(scene, (rest[0], rest[0] + scene.frames(TIMING.fade_s)))
    return (Pane(TABLE, full, "table", camera, "cloth", gone), *_stage_panes(scene, move[1] - 1))


def _put_band(scene: _Scene, shown: Span | None) -> None:
    sheet, frame = scene.sheet, scene.frame
    x, y, _, h = frame.band_px
    sheet.put("band", Shade(frame.band_px, "band"), LAYERS["break"], opacity=0.0 if shown else 1.0)
    appear(sheet, "band", shown, None)
    words = scene.brief.labels.get("between_centres")
    if words:
        size = frame.scale.text_px(THEMES[scene.brief.theme].types["break"])
        at = (x + 0.018 * frame.scale.short_px * 1.5, y + h / 2 + 0.36 * size)
        sheet.put("band.words", Text(words, at, "break"), LAYERS["text"], opacity=0.0 if shown else 1.0)
        appear(sheet, "band.words", shown, None)


def _put_balls(scene: _Scene, from_start: bool) -> None:
    """The two balls, in every pane that shows the true table."""
    panes = (*((TABLE,) if not from_start else ()), *scene.stage.ids)
    R = scene.radius_mm
    for role, at, look in (
        ("object_ball", scene.shot.object_ball_mm, "object"),
        ("cue_ball", scene.shot.cue_ball_mm, "cue"),
    ):
        centre = construction.position(at)
        scene.sheet.put(role, Ball(centre, R, look), LAYERS["ball"], panes=panes, opacity=1.0)
    if from_start and scene.stage.is_broken:
        _put_band(scene, None)


# ------------------------------------------------------------------ steps


def _draw_step(
    scene: _Scene, labels: _Labels, index: int, step: construction.Step, words: BriefStep, span: Span
) -> None:
    first, end = span
    sheet, rate = scene.sheet, scene.rate
    fade = scene.frames(TIMING.fade_s)
    last = index == len(scene.plan.steps) - 1
    half = max(fade // 2, 1)
    put_title(sheet, scene.frame, f"title.{index}", words.title, (first + half, first + fade), (end, end + half))
    _put_pips(scene, index, (first, first + 1), (end, end + 1))
    del last

    lines = _lines_of(scene, step, index)
    line_s = max((_line_s(scene, parts) for parts in lines.values()), default=0.0)
    circles = [(f"{c.role}.{index}", c) for c in step.circles]
    bars = _bars_of(scene, step, index, words)
    before, after = _marks_of(scene, step, index)
    if any(line.role == "aim_line" for line in step.lines):
        circles += _unbuilt_ghost(scene, index)
    if "cue_centre" not in labels.named and any(line.role in FROM_CUE for line in step.lines):
        labels.named.add("cue_centre")
        before += _unmarked_cue(scene, index)
    times = (
        TIMING.fade_s + TIMING.rest_s,
        0.45 if circles else 0.0,
        TIMING.fade_s if before else 0.0,
        line_s,
        TIMING.fade_s if after else 0.0,
        0.4 if bars else 0.0,
        TIMING.fade_s,
        TIMING.fade_s if words.measures else 0.0,
        TIMING.hold_s,
    )
    _, circle, mark, line, mark_after, bar, label, number, _ = in_turn(first, end, times, rate)

    _dim_old(scene, step, (first, first + scene.frames(TIMING.dim_s)))
    for id, c in circles:
        if c.role == "ghost_ball":
            shape: Ball | Ring = Ball(c.centre_mm, c.radius_mm, "ghost")
            sheet.put(id, shape, LAYERS["ghost"], c.role, scene.stage.ids)
        else:
            sheet.put(id, Ring(c.centre_mm, c.radius_mm, "thin_line"), LAYERS["mark"], c.role, scene.stage.ids)
        sheet.show(id, circle)
    for id, parts in lines.items():
        _draw_line(scene, id, step, parts, line)
    for ids, when in ((before, mark), (after, mark_after)):
        for id, kind, role, at in ids:
            sheet.put(id, Mark(at, kind), LAYERS["mark"], role, scene.stage.ids)
            sheet.show(id, when)
    for id, shape_bar, _, key in bars:
        for old in labels.bars:
            if sheet.is_shown_at_end(old):
                sheet.hide(old, bar)
                labels.gone.add(old)
                labels.remove_named(old, (first, first + fade))
        sheet.put(id, shape_bar, LAYERS["bar"], key, scene.stage.ids, drawn=1.0)
        sheet.show(id, bar)
        labels.bars.append(id)
    labels.add(index, step, lines, bars, label, (first, first + fade))
    _put_measures(scene, labels, index, words, number, (first, first + fade))


def _unbuilt_ghost(scene: _Scene, index: int) -> list[tuple[str, construction.Circle]]:
    """The ghost ball, for a method that does without it: where the cue ball will be shows with its aim."""
    if any(c.role == "ghost_ball" for step in scene.plan.steps for c in step.circles):
        return []
    G = construction.position(scene.shot.ghost_ball_mm)
    return [(f"ghost_ball.{index}", construction.Circle("ghost_ball", G, scene.radius_mm))]


def _unmarked_cue(scene: _Scene, index: int) -> list[tuple[str, str, str, Position]]:
    """The cue ball's centre, from which the aim runs, where no step marks it."""
    if any(p.role == "cue_centre" for step in scene.plan.steps for p in step.points):
        return []
    return [(f"cue_centre.{index}", "cue_centre", "cue_centre", construction.position(scene.shot.cue_ball_mm))]


def _put_pips(scene: _Scene, index: int, shown: Span, gone: Span | None) -> None:
    count = len(scene.plan.steps) + 1
    put_pips(scene.sheet, scene.frame, f"pips.{index}", count, index, shown, gone)


Piece = tuple[str, Position, Position]
"""Pane, and the ends of what it shows of a line."""


def _lines_of(
    scene: _Scene, step: construction.Step, index: int
) -> dict[str, tuple[construction.Line, list[Piece]]]:
    """The lines of a step by element id, cut to what the panes show."""
    out = {}
    for n, line in enumerate(step.lines):
        line = _in_reach(scene, line)
        pieces = _pieces(scene, line)
        if pieces:
            out[f"{line.role}.{index}.{n}"] = (line, pieces)
    return out


def _in_reach(scene: _Scene, line: construction.Line) -> construction.Line:
    """The target line, cut off where the picture ends."""
    if line.role != "target_line":
        return line
    view = scene.stage.main
    a, b = np.array(line.start_mm), np.array(line.end_mm)
    length = float(np.linalg.norm(b - a))
    most = min(length, TARGET_LINE_BALLS * 2 * scene.radius_mm)
    start, end = view.to_px(a), view.to_px(a + (b - a) / length * most)
    t = _part_inside(start, end, _reach(scene))
    return replace(line, end_mm=construction.position(a + (b - a) / length * most * t))


def _reach(scene: _Scene) -> Rect:
    """Where lines and arrowheads of the figure may stand: the stage, below the title where that is above it."""
    x, y, w, _ = scene.frame.label_zone
    bottom = scene.frame.action_safe[1] + scene.frame.action_safe[3]
    if scene.frame.shape != "wide":
        _, ty, _, th = title_rect(scene.titles, scene.frame)
        y = max(y, ty + th + 0.02 * scene.frame.scale.short_px)
    return (x, y, w, bottom - y)


def _part_inside(a: np.ndarray, b: np.ndarray, rect: Rect) -> float:
    """How much of a-b, from a, lies inside a rectangle that holds a."""
    t = 1.0
    for axis in (0, 1):
        step = float(b[axis] - a[axis])
        low, high = rect[axis], rect[axis] + rect[axis + 2]
        if abs(step) > 1e-9:
            t = min(t, max(0.0, ((high if step > 0 else low) - float(a[axis])) / step))
    return t


def _pieces(scene: _Scene, line: construction.Line) -> list[Piece]:
    """What each pane shows of a line, in the order in which the line runs."""
    a, b = np.array(line.start_mm), np.array(line.end_mm)
    out = []
    for pane_id, rect, view in scene.stage.panes:
        pa, pb = view.to_px(a), view.to_px(b)
        lo, hi = _clip(pa, pb, rect)
        if lo < hi:
            ends = construction.position(a + (b - a) * lo), construction.position(a + (b - a) * hi)
            out.append((lo, (pane_id, *ends)))
    return [piece for _, piece in sorted(out)]


def _clip(a: np.ndarray, b: np.ndarray, rect: Rect) -> tuple[float, float]:
    """The part (from, to) of a-b inside a rectangle; from >= to when there is none."""
    lo, hi = 0.0, 1.0
    for axis in (0, 1):
        step = float(b[axis] - a[axis])
        low, high = rect[axis] - float(a[axis]), rect[axis] + rect[axis + 2] - float(a[axis])
        if abs(step) < 1e-9:
            if low > 0 or high < 0:
                return 1.0, 0.0
            continue
        t0, t1 = sorted((low / step, high / step))
        lo, hi = max(lo, t0), min(hi, t1)
    return lo, hi


def _piece_px(scene: _Scene, piece: Piece) -> tuple[Pixel, Pixel]:
    view = next(v for pane_id, _, v in scene.stage.panes if pane_id == piece[0])
    a, b = view.to_px(np.array(piece[1])), view.to_px(np.array(piece[2]))
    return (float(a[0]), float(a[1])), (float(b[0]), float(b[1]))


def _line_s(scene: _Scene, line: tuple[construction.Line, list[Piece]]) -> float:
    length = sum(math.dist(*_piece_px(scene, piece)) for piece in line[1])
    return TIMING.draw_s + TIMING.draw_per_height_s * length / scene.frame.height_px


def _draw_line(
    scene: _Scene, id: str, step: construction.Step, line: tuple[construction.Line, list[Piece]], span: Span
) -> None:
    """A line drawn from its cause, piece after piece."""
    whole, pieces = line
    style = LINE_STYLE.get(whole.role, whole.role)
    style = style if style in LINES else "thin_line"
    lengths = [math.dist(*_piece_px(scene, piece)) for piece in pieces]
    edges = [round(span[0] + (span[1] - span[0]) * t / sum(lengths)) for t in accumulate(lengths, initial=0.0)]
    for n, (piece, part) in enumerate(zip(pieces, pairwise(edges), strict=True)):
        pane_id, a, b = piece
        shape = Line(
            (a, b),
            style,
            arrow=whole.role == "target_line",
            ink_in=("cue_ball",) if style in ("aim_line", "sight_line") else (),
            faint_after_mm=_faint_after(scene, whole, a, b),
        )
        name = f"{id}.{n}"
        scene.sheet.put(name, shape, LAYERS["line"], whole.role, (pane_id,), opacity=1.0, drawn=0.0)
        scene.sheet.move(name, "drawn", part, 1.0)


def _faint_after(scene: _Scene, line: construction.Line, a: Position, b: Position) -> float | None:
    """Where a line along the aim passes the ghost ball's centre, from a; None when it does not."""
    aim = scene.shot.aim_direction
    run = np.array(b[:2]) - np.array(a[:2])
    length = float(np.hypot(*run))
    if length < 1e-6 or dot(run, aim) < 0.999999 * length:
        return None
    level = float(dot(scene.shot.ghost_ball_mm[:2] - np.array(a[:2]), aim))
    return max(level, 0.0) if level < length - 1e-6 else None


def _marks_of(
    scene: _Scene, step: construction.Step, index: int
) -> tuple[list[tuple[str, str, str, Position]], list[tuple[str, str, str, Position]]]:
    """The step's marks: those from which its lines start, and those that come after."""
    starts = {line.start_mm for line in step.lines}
    before: list[tuple[str, str, str, Position]] = []
    after: list[tuple[str, str, str, Position]] = []
    for n, point in enumerate(step.points):
        entry = (f"{point.role}.{index}.{n}", MARK_KIND.get(point.role, "target"), point.role, point.at_mm)
        (before if point.at_mm in starts else after).append(entry)
    return before, after


def _bars_of(
    scene: _Scene, step: construction.Step, index: int, words: BriefStep
) -> list[tuple[str, Bar, str, str]]:
    """The step's bars: id, shape, the words of its label and the measure's key."""
    out = []
    known = {m.key: m for s in scene.brief.steps for m in s.measures}
    for measure in step.measures:
        text = known.get(measure.key)
        if measure.key not in BARS or measure.between_mm is None or text is None:
            continue
        ends = _bar_ends(scene, measure.key, measure.between_mm)
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


def _bar_ends(scene: _Scene, key: str, between: tuple[Position, Position]) -> tuple[Position, Position] | None:
    """Where a bar between two parallel lines stands: as given, or where the stage shows it clear of the balls.

    None when the bar would be too short to be seen.
    """
    a, b = np.array(between[0]), np.array(between[1])
    scale = scene.stage.main.px_per_mm
    if np.linalg.norm(b - a) * scale < scene.frame.scale.px(7):
        return None
    aim = np.array([*scene.shot.aim_direction, 0.0])
    O = scene.shot.object_ball_mm
    here = float((a - O) @ aim)
    R = scene.radius_mm
    if key == "cue_shift":
        # on the cue ball itself, just before the marks that it measures
        return construction.position(a + 0.42 * R * aim), construction.position(b + 0.42 * R * aim)
    ghost = -2 * R * math.cos(float(scene.shot.cut_rad))
    for level in (here, ghost - 0.62 * R, 1.38 * R, ghost - 1.38 * R):
        ends = a + (level - here) * aim, b + (level - here) * aim
        if _bar_is_clear(scene, *ends):
            return construction.position(ends[0]), construction.position(ends[1])
    return between


def _bar_is_clear(scene: _Scene, a: np.ndarray, b: np.ndarray) -> bool:
    half = scene.frame.scale.stroke_px(BAR_HALF_PX)
    for _, rect, view in scene.stage.panes:
        pa, pb = view.to_px(a), view.to_px(b)
        box = (min(pa[0], pb[0]), pa[1] - half, abs(pb[0] - pa[0]), 2 * half)
        edge = half
        if not (rect[1] + edge < box[1] and box[1] + box[3] < rect[1] + rect[3] - edge):
            continue
        if scene.stage.is_broken:
            band = scene.frame.band_px
            if box[1] < band[1] + band[3] and band[1] < box[1] + box[3]:
                continue
        for disc in _discs(scene):
            if not disc.is_solid:
                continue
            dx = max(box[0] - disc.at_px[0], disc.at_px[0] - box[0] - box[2], 0)
            dy = max(box[1] - disc.at_px[1], disc.at_px[1] - box[1] - box[3], 0)
            if math.hypot(dx, dy) < disc.radius_px:
                break
        else:
            return True
    return False


def _dim_old(scene: _Scene, step: construction.Step, span: Span) -> None:
    """Lines of earlier steps go back to an old line's strength, but for those that this step starts from."""
    needed = {line.role for line in step.lines}
    for id in scene.sheet.ids():
        shape = scene.sheet.shape(id)
        if isinstance(shape, Line) and scene.stage.ids[0] in scene.stage.ids and id.split(".")[0] not in needed:
            if INSET in id or TABLE in id:
                continue
            scene.sheet.move(id, "strength", span, THEMES[scene.brief.theme].old_strength)


# ------------------------------------------------------------------ measures


def _put_measures(scene: _Scene, labels: _Labels, index: int, words: BriefStep, number: Span, turn: Span) -> None:
    """The new measures in white with their bar; older ones stay dim above them as far as there is room."""
    frame, sheet = scene.frame, scene.sheet
    room = measures_room(scene.titles, frame, scene.brief.subject.table is not None)
    fresh = list(words.measures)[-max(room, 1) :]
    kept = labels.measures[-(room - len(fresh)) :] if room > len(fresh) else []
    if not fresh:
        kept = labels.measures[-room:]
    shown = [*kept, *fresh]
    top = measures_top_px(scene.titles, frame)
    for old in labels.measure_ids:
        if sheet.is_shown_at_end(old):
            sheet.hide(old, turn)
    labels.measure_ids.clear()
    for slot, measure in enumerate(shown):
        is_new = measure in fresh
        baseline = top + slot * frame.measure_pitch_px
        strength = 1.0 if is_new else THEMES[scene.brief.theme].old_strength
        for n, text in enumerate(measure_texts(measure, frame, frame.measures_px[0], baseline)):
            id = f"measure.{index}.{slot}.{n}"
            sheet.put(id, text, LAYERS["text"], "measure", strength=strength)
            sheet.show(id, number if is_new else turn)
            labels.measure_ids.append(id)
        if is_new:
            id = f"measure_bar.{index}.{slot}"
            sheet.put(id, Shade(measure_bar_rect(frame, baseline), "measure_bar"), LAYERS["text"], "measure_bar")
            sheet.show(id, number)
            labels.measure_ids.append(id)
    labels.measures = shown


# ------------------------------------------------------------------ labels


@dataclass(slots=True)
class _Standing:
    """A label in the picture: what it is for, how much it is needed, since which step, and its elements."""

    placed: Placed
    rank: int
    since: int
    ids: list[str]


class _Labels:
    """The labels of the figure so far: each finds its place when it appears, and keeps it while nothing new comes
    in its way."""

    def __init__(self, scene: _Scene) -> None:
        self.scene = scene
        self.standing: list[_Standing] = []
        self.named: set[str] = set()
        self.gone: set[str] = set()
        self.bars: list[str] = []
        self.measures: list[MeasureText] = []
        self.measure_ids: list[str] = []
        self.obstacles = _obstacles(scene)
        self.spacing = Spacing().scaled(scene.frame.scale.k * scene.frame.scale.gain)
        self.count = 0

    def add(
        self,
        index: int,
        step: construction.Step,
        lines: dict[str, tuple[construction.Line, list[Piece]]],
        bars: list[tuple[str, Bar, str, str]],
        shown: Span,
        turn: Span,
    ) -> None:
        """Place the labels of a step. Older ones in its way seek another place, or go where there is no room."""
        self.age(turn)
        now, later = merged(self.obstacles[: index + 1]), merged(self.obstacles[index + 1 :])
        new = self.obstacles[index] if index else NOTHING
        moved = [s for s in self.standing if is_in_the_way(s.placed, new, self.spacing)]
        for standing in moved:
            self.remove(standing, turn)
        wanted = _wanted(self.scene, index, step, lines, bars, self.named)
        self.make_room(index, wanted, turn)
        for want, rank in wanted:
            found = self.seek(want, now, later)
            while found is None and (least := self.least(index)):
                self.remove(least, turn)
                found = self.seek(want, now, later)
            if found is not None:
                self.put(found, rank, index, shown, is_new=True)
        for standing in moved:
            want = standing.placed.wanted
            found = self.seek(want, now, later) if len(self.standing) < MOST_LABELS else None
            # what stands apart from its point could be taken for another's
            is_sure = not want.is_point and (want.sample or want.around)
            if found is not None and (found.leader_px or is_sure):
                self.put(
                    found, standing.rank, standing.since, (turn[1], turn[1] + turn[1] - turn[0]), is_new=False
                )

    def make_room(self, index: int, wanted: Sequence[tuple[Wanted, int]], turn: Span) -> None:
        """Take away a label that says the same again, one that stands apart from its point, and the least needed
        of too many."""
        texts = {want.text for want, _ in wanted}
        for standing in list(self.standing):
            want = standing.placed.wanted
            is_apart = not (standing.placed.leader_px or want.around) and (want.is_point or not want.sample)
            if want.text in texts or is_apart:
                self.remove(standing, turn)
        while len(self.standing) + len(wanted) > MOST_LABELS and (least := self.least(index)):
            self.remove(least, turn)

    def seek(self, want: Wanted, now: Obstacles, later: Obstacles) -> Placed | None:
        """A place among the labels that stand; a line's label does without its sample rather than go missing."""
        now = replace(now, strokes=tuple(s for s in now.strokes if s.name not in self.gone))
        placed = [s.placed for s in self.standing]
        found = place(want, now, self.zones(), placed, self.spacing, later)
        if found is None and want.sample and want.ports and len(self.standing) < 3:
            w, _ = _plate_size(self.scene, want.text, None)
            plain = replace(want, width_px=w, sample=None, near_px=None)
            found = place(plain, now, self.zones(), placed, self.spacing, later)
        return found

    def zones(self) -> tuple[Rect, ...]:
        """Where labels may stand: the stage, else anywhere free."""
        frame = self.scene.frame
        x, y, w, h = frame.label_zone
        sx, _, sw, _ = frame.title_safe
        return ((x, y, w, h), (sx, y, sw, h))

    def put(self, found: Placed, rank: int, since: int, shown: Span, is_new: bool) -> None:
        """Write a label and its leader down."""
        sheet, want = self.scene.sheet, found.wanted
        self.count += 1
        fresh, strength = (1.0, 1.0) if is_new else (0.0, OLD_LABEL)
        id = f"label.{want.id}.{self.count}"
        plate = Plate(want.text, found.rect_px, want.sample)
        sheet.put(id, plate, LAYERS["label"], "label", fresh=fresh, strength=strength, names=want.name)
        ids = [id]
        if found.leader_px:
            leader = f"leader.{want.id}.{self.count}"
            ids.append(leader)
            sheet.put(
                leader, Leader(found.leader_px), LAYERS["leader"], "leader", strength=strength, names=want.name
            )
        for each in ids:
            sheet.show(each, shown)
        self.standing.append(_Standing(found, rank, since, ids))

    def age(self, turn: Span) -> None:
        """What was new is old now."""
        for standing in self.standing:
            self.scene.sheet.move(standing.ids[0], "fresh", turn, 0.0)
            for id in standing.ids:
                self.scene.sheet.move(id, "strength", turn, OLD_LABEL)

    def least(self, index: int) -> _Standing | None:
        """The older label that is needed least: ball names first, then bars and points, then the oldest line."""
        old = [s for s in self.standing if s.since < index]
        return min(old, key=lambda s: (s.rank, s.since)) if old else None

    def remove(self, standing: _Standing, turn: Span) -> None:
        """Take a label away."""
        self.standing.remove(standing)
        for id in standing.ids:
            self.scene.sheet.hide(id, turn)

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
    scene: _Scene,
    index: int,
    step: construction.Step,
    lines: dict[str, tuple[construction.Line, list[Piece]]],
    bars: list[tuple[str, Bar, str, str]],
    named: set[str],
) -> list[tuple[Wanted, int]]:
    """The labels that a step brings, the most important first, each with its rank for giving way."""
    words = scene.brief.labels
    out: list[tuple[Wanted, int]] = []

    def is_new(role: str) -> bool:
        if role in named or role in UNLABELLED or role not in words:
            return False
        named.add(role)
        return True

    for line, pieces in lines.values():
        if is_new(line.role):
            sample = LINE_STYLE.get(line.role, line.role)
            out.append((_line_label(scene, line.role, words[line.role], sample, pieces, _discs(scene)), LINE_RANK))
    for point in step.points:
        if is_new(point.role):
            out.append((_point_label(scene, point.role, words[point.role], point.at_mm), POINT_RANK))
    for id, bar, text, _ in bars:
        out.append((_bar_label(scene, id, text, bar), BAR_RANK))
    for circle in step.circles:
        if circle.radius_mm < scene.radius_mm / 2:
            if is_new(circle.role):
                radius_px = circle.radius_mm * scene.stage.main.px_per_mm
                want = _point_label(scene, circle.role, words[circle.role], circle.centre_mm, radius_px)
                out.append((want, POINT_RANK))
        elif is_new(circle.role):
            disc = _disc(scene, circle.role, circle.centre_mm, circle.radius_mm, False)
            if disc is not None:
                out.append((_ball_label(scene, circle.role, words[circle.role], disc), BALL_RANK))
    if index == 0:
        for role, at in (("object_ball", scene.shot.object_ball_mm), ("cue_ball", scene.shot.cue_ball_mm)):
            disc = _disc(scene, role, construction.position(at), scene.radius_mm, True)
            if is_new(role) and disc is not None:
                out.append((_ball_label(scene, role, words[role], disc), BALL_RANK))
    return out


def _plate_size(scene: _Scene, text: str, sample: str | None) -> tuple[float, float]:
    style = THEMES[scene.brief.theme].types["label"]
    return plate_width_px(text, scene.frame.scale, sample, style), plate_sizes(scene.frame.scale, style).height_px


def _ball_label(scene: _Scene, role: str, text: str, disc: Disc) -> Wanted:
    w, h = _plate_size(scene, text, None)
    return Wanted(role, role, text, w, h, around=disc, prefer=-scene.side)


def _line_label(
    scene: _Scene, role: str, text: str, sample: str, pieces: list[Piece], balls: Sequence[Disc]
) -> Wanted:
    """A line's label: ports all along what is seen of the line, rather not within balls, and beyond its end."""
    w, h = _plate_size(scene, text, sample)
    ports: list[Port] = []
    near: Pixel | None = None
    for piece in pieces:
        a, b = _visible(scene, piece)
        length = math.dist(a, b)
        if length < 1:
            continue
        rise = abs(b[1] - a[1]) / length
        near = near or ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        count = max(int(length / (18 * scene.frame.scale.k)), 3)
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
    return Wanted(role, role, text, w, h, tuple(ports), near_px=near, prefer=scene.side, sample=sample)


def _visible(scene: _Scene, piece: Piece) -> tuple[Pixel, Pixel]:
    """The ends of a piece in pixels, without what the break covers."""
    a, b = _piece_px(scene, piece)
    if scene.stage.is_broken:
        _, y, _, h = scene.frame.band_px
        rect = (-1e6, -1e6, 2e6, 1e6 + y) if piece[0] == scene.stage.ids[0] else (-1e6, y + h, 2e6, 1e6)
        lo, hi = _clip(np.array(a), np.array(b), rect)
        hi = max(lo, hi)
        run = (b[0] - a[0], b[1] - a[1])
        return (a[0] + run[0] * lo, a[1] + run[1] * lo), (a[0] + run[0] * hi, a[1] + run[1] * hi)
    return a, b


def _point_label(scene: _Scene, role: str, text: str, at_mm: Position, radius_px: float = 0.0) -> Wanted:
    kind = MARK_KIND.get(role, "target")
    sample = None if radius_px else kind
    w, h = _plate_size(scene, text, sample)
    x, y = _point_px(scene, at_mm)
    r = max(radius_px, scene.frame.scale.stroke_px(MARK_RADIUS_PX[kind]))
    ports = tuple(Port((x + side * r, y), side) for side in (-1, 1)) + tuple(
        Port((x, y + lift * r), 0, lift) for lift in (-1, 1)
    )
    return Wanted(role, role, text, w, h, ports, near_px=(x, y), prefer=-scene.side, sample=sample, is_point=True)


def _bar_label(scene: _Scene, id: str, text: str, bar: Bar) -> Wanted:
    w, h = _plate_size(scene, text, None)
    ends = sorted(_point_px(scene, p) for p in bar.points_mm)
    # clear of the line that ends there
    gap = scene.frame.scale.stroke_px(12.5)
    ports = (Port((ends[0][0] - gap, ends[0][1]), -1), Port((ends[1][0] + gap, ends[1][1]), 1))
    return Wanted(id, id, text, w, h, ports, near_px=ends[1], prefer=-scene.side)


def _point_px(scene: _Scene, at_mm: Position) -> Pixel:
    """A point's pixel in the pane that shows it."""
    px = np.zeros(2)
    for _, rect, view in scene.stage.panes:
        px = view.to_px(np.array(at_mm))
        if rect[1] <= px[1] <= rect[1] + rect[3]:
            break
    return (float(px[0]), float(px[1]))


def _disc(scene: _Scene, role: str, centre: Position, radius_mm: float, is_solid: bool) -> Disc | None:
    for _, rect, view in scene.stage.panes:
        px = view.to_px(np.array(centre))
        if rect[1] <= px[1] <= rect[1] + rect[3]:
            return Disc((float(px[0]), float(px[1])), radius_mm * view.px_per_mm, is_solid, role)
    return None


def _discs(scene: _Scene) -> list[Disc]:
    """The balls of the whole build-up, the ghost ball too."""
    R = scene.radius_mm
    found = [
        _disc(scene, role, construction.position(at), R, is_solid)
        for role, at, is_solid in (
            ("object_ball", scene.shot.object_ball_mm, True),
            ("cue_ball", scene.shot.cue_ball_mm, True),
            ("ghost_ball", scene.shot.ghost_ball_mm, False),
        )
    ]
    return [disc for disc in found if disc is not None]


def _obstacles(scene: _Scene) -> list[Obstacles]:
    """What each step adds to the picture; with the first one the balls and all the words around the figure."""
    frame, s = scene.frame, scene.frame.scale
    out = []
    for index, step in enumerate(scene.plan.steps):
        strokes: list[Stroke] = []
        for line, pieces in _lines_of(scene, step, index).values():
            strokes += _strokes(scene, line, pieces)
        marks = [
            Disc(
                _point_px(scene, point.at_mm),
                s.stroke_px(MARK_RADIUS_PX[MARK_KIND.get(point.role, "target")]),
                True,
                point.role,
            )
            for point in step.points
        ]
        words = scene.brief.steps[index + (1 if scene.brief.subject.table else 0)]
        for id, bar, _, _ in _bars_of(scene, step, index, words):
            a, b = (_point_px(scene, p) for p in bar.points_mm)
            strokes.append(Stroke(id, a, b, s.stroke_px(BAR_HALF_PX)))
        out.append(Obstacles((), tuple(marks), tuple(strokes)))
    rects: list[Rect] = [title_rect(scene.titles, frame)]
    top = measures_top_px(scene.titles, frame)
    has_table = scene.brief.subject.table is not None
    for slot in range(measures_room(scene.titles, frame, has_table)):
        for step_words in scene.brief.steps:
            for measure in step_words.measures:
                baseline = top + slot * frame.measure_pitch_px
                rects += [text_rect(t, s) for t in measure_texts(measure, frame, frame.measures_px[0], baseline)]
    if has_table:
        rects.append(frame.inset_px)
    if scene.stage.is_broken:
        rects.append(frame.band_px)
    out[0] = replace(out[0], balls=tuple(_discs(scene)), rects=tuple(dict.fromkeys(rects)))
    return out


def _strokes(scene: _Scene, line: construction.Line, pieces: list[Piece]) -> list[Stroke]:
    """A line as obstacles: its casing, and the target line's arrowhead."""
    s = scene.frame.scale
    style = LINES.get(LINE_STYLE.get(line.role, line.role), LINES["thin_line"])
    half = s.stroke_px(style.width_px + style.casing_px) / 2
    out = []
    for piece in pieces:
        a, b = _visible(scene, piece)
        out.append(Stroke(line.role, a, b, half))
        if line.role == "target_line":
            head = s.stroke_px(ARROW_WIDTHS * style.width_px)
            back = max(1 - head / max(math.dist(a, b), 1.0), 0.0)
            neck = (a[0] + (b[0] - a[0]) * back, a[1] + (b[1] - a[1]) * back)
            out.append(Stroke(line.role, neck, b, 0.42 * head + s.stroke_px(3)))
    return out


# ------------------------------------------------------------------ the roll


def _roll(scene: _Scene, labels: _Labels, words: BriefStep, span: Span) -> None:
    """The cue ball rolls to the ghost position, both stand still for a moment, both go on as they must."""
    sheet, shot, frame = scene.sheet, scene.shot, scene.frame
    first, end = span
    fade = scene.frames(TIMING.fade_s)
    half = max(fade // 2, 1)
    index = len(scene.plan.steps)
    put_title(sheet, frame, f"title.{index}", words.title, (first + half, first + fade), None)
    _put_pips(scene, index, (first, first + 1), None)
    travel, rolled = float(shot.travel_mm), _roll_legs(scene)
    seen = sum(b - a for a, b in rolled)
    speed = 0.62 * frame.height_px / scene.stage.main.px_per_mm  # mm a second, as shown
    roll_s = max(seen / speed, 0.3) if seen > 0 else 0.0
    speed = seen / roll_s if roll_s else speed
    cut = abs(float(shot.cut_rad))
    away_s, object_mm, cue_mm = _departure(scene, speed, cut)
    times = [TIMING.fade_s + TIMING.dim_s, TIMING.rest_s, roll_s, TIMING.contact_s, away_s]
    times += [0.6, TIMING.fade_s] if cue_mm > 0 else []
    times += [TIMING.end_s]
    parts = in_turn(first, end, times, scene.rate)
    dim, _, roll, contact, away = parts[:5]
    labels.clear((first, first + fade))
    for id in labels.measure_ids:
        sheet.hide(id, (first, first + fade))
    pair = _fade_construction(scene, dim, contact)
    note = _note_slow(scene, dim)
    aim = np.array([*shot.aim_direction, 0.0])
    legs = [(b - a) / seen for a, b in rolled] if seen else []
    edges = [round(roll[0] + (roll[1] - roll[0]) * t) for t in accumulate(legs, initial=0.0)]
    for n, (leg, part) in enumerate(zip(rolled, pairwise(edges), strict=True)):
        if n:
            sheet.move("cue_ball", "offset_mm", (part[0], part[0] + 1), *(aim * leg[0]), easing="linear")
            part = (part[0] + 1, part[1])
        sheet.move("cue_ball", "offset_mm", part, *(aim * leg[1]), easing="linear")
    _ring(scene, contact)
    for id in pair:
        sheet.show(id, (contact[0], contact[0] + fade))
    u = np.array([*shot.object_direction, 0.0])
    sheet.move("object_ball", "offset_mm", away, *(u * object_mm), easing="linear")
    _outlines(scene, u, object_mm, away)
    if cue_mm > 0:
        side = int(shot.side)
        tangent = np.array([*(-side * left(shot.object_direction)), 0.0])
        sheet.move("cue_ball", "offset_mm", away, *(aim * travel + tangent * cue_mm), easing="linear")
        _cue_ball_after(scene, labels, tangent, cue_mm, parts[5], parts[6], object_mm * u, note)


def _roll_legs(scene: _Scene) -> list[tuple[float, float]]:
    """Parts of the cue ball's way that the stage shows, in mm from its place: all, or out of one pane and into
    the other."""
    travel = float(scene.shot.travel_mm)
    if not scene.stage.is_broken:
        return [(0.0, travel)] if travel > 0 else []
    scale = scene.stage.main.px_per_mm
    _, band_y, _, band_h = scene.frame.band_px
    near = scene.stage.panes[1][2]
    leaving = (near.at_px[1] - (band_y + band_h)) / scale + scene.radius_mm
    ghost_y = float(scene.stage.main.to_px(scene.shot.ghost_ball_mm)[1])
    entering = (band_y - ghost_y) / scale + scene.radius_mm
    return [(0.0, leaving), (travel - entering, travel)]


def _departure(scene: _Scene, speed_mm_s: float, cut: float) -> tuple[float, float, float]:
    """Seconds after the hit that are shown, and how far the object ball and a stunned cue ball go meanwhile.

    Equal balls, no friction, nothing lost: the object ball takes the part of the speed along the line of their
    centres, the cue ball keeps the part along the tangent (the 90-degree rule).
    """
    shot, R = scene.shot, scene.radius_mm
    x, y, w, h = scene.frame.action_safe
    zx, zy, zw, zh = _reach(scene)
    box = (max(x, zx - scene.radius_px * 0), max(y, zy), 0.0, 0.0)
    box = (box[0], box[1], min(x + w, zx + zw) - box[0], min(y + h, zy + zh) - box[1])
    r = scene.radius_px
    inner = (box[0] + r, box[1] + r, box[2] - 2 * r, box[3] - 2 * r)
    if scene.stage.is_broken:
        inner = (inner[0], inner[1], inner[2], scene.frame.band_px[1] + r - inner[1])
    scale = scene.stage.main.px_per_mm
    ways = []
    side = int(shot.side)
    for start, run, part in (
        (shot.object_ball_mm, shot.object_direction, math.cos(cut)),
        (shot.ghost_ball_mm, -side * left(shot.object_direction), math.sin(cut)),
    ):
        a = scene.stage.main.to_px(start)
        reach = 12 * R
        b = scene.stage.main.to_px(start + np.array([*run, 0.0]) * reach)
        room = _part_inside(a, b, inner) * reach if part > 1e-9 else math.inf
        ways.append((room, part))
    to_target = float(np.hypot(*(shot.target_mm - shot.object_ball_mm)[:2]))
    ways[0] = (min(ways[0][0], to_target), ways[0][1])
    seconds = min([room / (part * speed_mm_s) for room, part in ways if part > 1e-9] + [1.6])
    del scale
    return max(seconds, 0.2), seconds * speed_mm_s * ways[0][1], seconds * speed_mm_s * ways[1][1]


def _fade_construction(scene: _Scene, span: Span, contact: Span) -> list[str]:
    """The construction steps back, its lines under the balls; the copies of the aim and target lines, which come
    back at the hit."""
    sheet, pair = scene.sheet, []
    for id in sheet.ids():
        shape = sheet.shape(id)
        is_ghost = isinstance(shape, Ball) and shape.look == "ghost"
        if not isinstance(shape, Line | Mark | Bar | Ring) and not is_ghost:
            continue
        if id.startswith((INSET, TABLE)) or not sheet.is_shown_at_end(id):
            continue
        if is_ghost:
            sheet.move(id, "opacity", span, ROLL_DIM)
            sheet.hide(id, (contact[0], contact[0] + scene.frames(TIMING.fade_s)))
            continue
        sheet.hide(id, span)
        if isinstance(shape, Line):
            role = sheet.role(id)
            under = sheet.put(
                f"{id}.under", replace(shape, ink_in=()), LAYERS["line_under"], role, sheet.panes(id)
            )
            sheet.move(under, "opacity", span, ROLL_DIM)
            if role in ("aim_line", "target_line"):
                pair.append(under)
            else:
                sheet.hide(under, (contact[1], contact[1] + scene.frames(TIMING.fade_s)))
    return pair


def _note_slow(scene: _Scene, span: Span) -> tuple[Rect, ...]:
    """A plate that says that the balls are slower than in life, where the measures stood; its rectangle."""
    words = scene.brief.labels.get("slowed_cut" if scene.stage.is_broken else "slowed")
    if not words:
        return ()
    frame, scale = scene.frame, scene.frame.scale
    style = THEMES[scene.brief.theme].types["label"]
    sizes, size = plate_sizes(scale, style), scale.text_px(style)
    room = frame.measure_width_px - 2 * sizes.padding_px
    lines = even_lines(words, room, lambda text: scale.text_width_px(text, style))
    width = max(scale.text_width_px(line, style) for line in lines) + 2 * sizes.padding_px
    x, y = frame.measures_px[0], measures_top_px(scene.titles, frame) - size
    pitch = 1.25 * size
    rect = (x, y, width, sizes.height_px + (len(lines) - 1) * pitch)
    sheet = scene.sheet
    ids = [sheet.put("slowed", Shade(rect, "plate", sizes.radius_px), LAYERS["label"], "label")]
    for n, line in enumerate(lines):
        at = (x + sizes.padding_px, y + sizes.baseline_px + n * pitch)
        ids.append(sheet.put(f"slowed.{n}", Text(line, at, "label"), LAYERS["text"], "label"))
    for id in ids:
        sheet.show(id, span)
    return (rect,)


def _ring(scene: _Scene, span: Span) -> None:
    """One ring around the place of the hit, growing from the ghost ball's edge and gone when the balls go on."""
    centre = construction.position(scene.shot.ghost_ball_mm)
    ring = Ring(centre, scene.radius_mm, "thin_line")
    id = scene.sheet.put("contact_ring", ring, LAYERS["mark"], panes=(scene.stage.ids[0],))
    first, end = span
    scene.sheet.move(id, "opacity", (first, first + 1), 1.0)
    scene.sheet.move(id, "size", span, 1.35, easing="cubic")
    scene.sheet.move(id, "opacity", (max(first + 1, end - scene.frames(0.2)), end), 0.0)


def _outlines(scene: _Scene, u: np.ndarray, far_mm: float, span: Span) -> None:
    """Three outlines where the object ball was, at equal times (one when it hardly moves)."""
    count = 3 if far_mm > scene.radius_mm else 1
    for n in range(count):
        at = construction.position(scene.shot.object_ball_mm + u * far_mm * n / count)
        id = scene.sheet.put(
            f"outline.{n}",
            Ring(at, scene.radius_mm, "thin_line"),
            LAYERS["line_under"],
            "object_ball_outline",
            (scene.stage.ids[0],),
        )
        when = span[0] + round((span[1] - span[0]) * n / count)
        scene.sheet.move(id, "opacity", (when, when + scene.frames(0.1)), 0.85)


def _cue_ball_after(
    scene: _Scene,
    labels: _Labels,
    tangent: np.ndarray,
    gone_mm: float,
    drawn: Span,
    shown: Span,
    object_moved: np.ndarray,
    note: tuple[Rect, ...],
) -> None:
    """The stunned cue ball's path, along the tangent line, with its label."""
    shot, view = scene.shot, scene.stage.main
    G = shot.ghost_ball_mm
    reach = gone_mm + 4 * scene.radius_mm
    part = _part_inside(view.to_px(G), view.to_px(G + tangent * reach), _reach(scene))
    end = construction.position(G + tangent * reach * part)
    line = construction.Line("cue_ball_after", construction.position(G), end)
    pieces = _pieces(scene, line)[:1]
    if not pieces:
        return
    shape = Line((pieces[0][1], pieces[0][2]), "cue_ball_after", ink_in=("cue_ball",))
    sheet = scene.sheet
    id = sheet.put("cue_ball_after", shape, LAYERS["line"], panes=(pieces[0][0],), opacity=1.0, drawn=0.0)
    sheet.move(id, "drawn", drawn, 1.0)
    words = scene.brief.labels.get("cue_ball_after")
    if not words:
        return
    cue = _disc(scene, "cue_ball", construction.position(G + tangent * gone_mm), scene.radius_mm, True)
    ball = _disc(
        scene, "object_ball", construction.position(shot.object_ball_mm + object_moved), scene.radius_mm, True
    )
    balls = [disc for disc in (*_discs(scene), cue, ball) if disc is not None]
    a, b = _piece_px(scene, pieces[0])
    half = scene.frame.scale.stroke_px(6)
    before = merged(labels.obstacles)
    obstacles = replace(
        before,
        balls=tuple(balls),
        strokes=(*before.strokes, Stroke("cue_ball_after", a, b, half)),
        rects=(*before.rects, *note),
    )
    want = _line_label(scene, "cue_ball_after", words, "cue_ball_after", pieces, balls)
    found = place(replace(want, prefer=-scene.side), obstacles, labels.zones(), [], labels.spacing)
    if found is not None:
        labels.put(found, LINE_RANK, len(scene.plan.steps), shown, is_new=True)
