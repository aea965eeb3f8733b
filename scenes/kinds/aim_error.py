"""Aim error: what so many degrees, or millimetres at the ghost ball, do to the object ball, near and far.

The table from above, once for each distance that the clip spans, at one scale: the pocket's window, the fan of
object-ball paths for aims turned by equal steps (or passing the ghost ball's centre by equal steps) to both sides,
and how much error still goes in. Sentences: aim_error.exact, aim_error.window, aim_error.fan (value step),
aim_error.limit. Measures, one a distance in turn: window, turned (the object ball's turn
for one step, on the side where it is larger; the name no_hit where it isn't hit), allowed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from aimgeo.aim_frame import AimFrame, aim_frame
from aimgeo.construct import Position, Quantity, position
from aimgeo.judging import outcome
from aimgeo.pocket import Window, aim_window_rad, passes, window_into
from aimgeo.shot import Shot, one_of_many
from aimgeo.tables import Table
from aimgeo.vectors import turned
from scenes.board import Area, Ball, Board, Line, Mark, Pane, Plate, Rect, Shade, TableTop, Text
from scenes.board.brief import Brief, BriefStep, OutlineStep, Subject
from scenes.board.motion import Sheet, Span, frames_of, in_turn
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.frame.column import even_lines, joined
from scenes.frame.eye_words import put_titles
from scenes.frame.framing import View
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.look.scale import plate_sizes, plate_width_px

EXACT, WINDOW, FAN, LIMIT = "aim_error.exact", "aim_error.window", "aim_error.fan", "aim_error.limit"
NO_HIT = "no_hit"
STEPS_EACH_WAY = 3
MOST = 2
"""Tables beside each other: the nearest shot and the farthest."""


@dataclass(frozen=True, slots=True)
class AimErrorSettings(Settings):
    """What may be set of an aim-error clip."""

    measured: str = setting(
        "degrees",
        "how the error is given: as a turn of the aim, or at the ghost ball",
        choices=("degrees", "millimetres"),
    )
    turn_rad: float = setting(
        math.radians(0.2),
        "one step of error, as a turn of the aim",
        least=math.radians(0.05),
        greatest=math.radians(3.0),
        only=("measured", "degrees"),
    )
    miss_mm: float = setting(
        1.0,
        "one step of error, at the ghost ball",
        least=0.1,
        greatest=20.0,
        only=("measured", "millimetres"),
    )


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """The exact shot, the pocket's window, the fan, and how much error still goes in."""
    cases = _cases(subject)
    step = _step(subject)
    distances = tuple(("distance", Quantity(float(case.shot.distance_mm), "distance_mm")) for case in cases)
    windows, turns, limits = [], [], []
    for case in cases:
        windows.append(("window", Quantity(case.width_rad, "angle_rad")))
        turns.append(("turned", case.turned(subject)))
        limits.append(("allowed", case.allowed(subject)))
    return (
        OutlineStep("exact", EXACT, (), distances, draws_s=3.5),
        OutlineStep("window", WINDOW, (), tuple(windows), draws_s=3.5),
        OutlineStep("fan", FAN, (("step", step),), tuple(turns), draws_s=5.0),
        OutlineStep("limit", LIMIT, (("step", step),), tuple(limits), draws_s=4.5),
    )


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    expected = [step.name for step in outline(brief.subject)]
    if [step.name for step in brief.steps] != expected:
        raise ValueError(f"an aim-error clip has the steps {', '.join(expected)}")
    spans = brief.spans
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet = Sheet()
    cases = _cases(brief.subject)
    rects = _rects(frame, len(cases))
    views = _views(cases, rects)
    panes = tuple(
        Pane(f"table.{n}", rect, "table", view.camera(rect), "cloth")
        for n, (rect, view) in enumerate(zip(rects, views, strict=True))
    )
    put_titles(sheet, frame, brief.steps, spans, brief.output.rate, frame.width_px - 2 * frame.title_px[0])
    for n, (case, rect) in enumerate(zip(cases, rects, strict=True)):
        _put_table(sheet, case, n, rect)
        _put_window(sheet, case, n, spans[1], brief.output.rate)
        _put_fan(sheet, case, n, spans[2], brief)
        _put_caption(sheet, frame, brief.steps[0], n, rect)
        for k, (step, span) in enumerate(zip(brief.steps[1:], spans[1:], strict=True)):
            _put_number(sheet, frame, step, k, n, rect, span, brief.output.rate)
    return sheet.board(brief, panes)


# ------------------------------------------------------------------ the numbers


@dataclass(frozen=True, slots=True, eq=False)
class _Case:
    """A shot with its pocket's window."""

    shot: Shot
    table: Table
    frame: AimFrame
    window: Window

    @property
    def width_rad(self) -> float:
        """The window's width; 0 when nothing goes in."""
        width = float(self.window.high_rad[0] - self.window.low_rad[0])
        return width if math.isfinite(width) else 0.0

    def turn_rad(self, k: int, subject: Subject) -> float:
        """The aim's turn for k steps of error, left positive."""
        if _in_mm(subject):
            return math.atan2(k * AimErrorSettings.of(subject).miss_mm, float(self.shot.travel_mm))
        return k * AimErrorSettings.of(subject).turn_rad

    def error_rad(self, k: int, subject: Subject) -> float:
        """How far k steps of error turn the object ball's path; nan when it is not hit."""
        return float(outcome(self.frame, np.array([self.turn_rad(k, subject)])).object_error_rad[0])

    def turned(self, subject: Subject) -> Quantity:
        """How far one step of error turns the object ball's path; on the side where it does more (thinner)."""
        turns = [abs(self.error_rad(k, subject)) for k in (1, -1)]
        if not all(map(math.isfinite, turns)):
            return Quantity(NO_HIT, "name")
        return Quantity(max(turns), "angle_rad")

    def goes_in(self, error_rad: float) -> bool:
        """True when a path turned by so much passes between the pocket's points."""
        return bool(passes(self.window, np.array([error_rad]))[0])

    def allowed(self, subject: Subject) -> Quantity:
        """Half of the window of aims: as an angle, or in mm at the ghost ball."""
        half = float(aim_window_rad(self.frame, self.window)[0]) / 2
        if _in_mm(subject):
            return Quantity(math.tan(half) * float(self.shot.travel_mm), "length_mm")
        return Quantity(half, "angle_rad")


def _in_mm(subject: Subject) -> bool:
    return AimErrorSettings.of(subject).measured == "millimetres"


def _step(subject: Subject) -> Quantity:
    if _in_mm(subject):
        return Quantity(AimErrorSettings.of(subject).miss_mm, "length_mm")
    return Quantity(AimErrorSettings.of(subject).turn_rad, "angle_rad")


def _cases(subject: Subject) -> tuple[_Case, ...]:
    if subject.table is None or subject.target_name is None:
        raise ValueError("an aim-error clip needs a table and a pocket")
    shots = [one.shot for one in subject.companions or (subject,) if one.shot is not None]
    if not shots:
        raise ValueError("an aim-error clip needs a shot")
    shots = sorted(shots, key=lambda s: float(s.distance_mm))
    chosen = [shots[0], shots[-1]][: min(MOST, len(shots))]
    out = []
    for shot in chosen:
        names = [one.target_name for one in subject.companions if one.shot is shot]
        pocket = subject.table.pocket(names[0] or subject.target_name if names else subject.target_name)
        frame = aim_frame(one_of_many(shot))
        window = window_into(pocket, frame.object_ball_mm, frame.radius_mm)
        out.append(_Case(shot, subject.table, frame, window))
    return tuple(out)


# ------------------------------------------------------------------ the picture


def _rects(frame: Layout, count: int) -> list[Rect]:
    """The tables' rectangles: beside each other, or above each other in a tall frame."""
    W, H = float(frame.width_px), float(frame.height_px)
    margin, gap = frame.title_px[0], frame.scale.px(28)
    if frame.shape == "wide":
        w = (W - 2 * margin - (count - 1) * gap) / count
        return [(round(margin + n * (w + gap)), round(0.235 * H), round(w), round(0.49 * H)) for n in range(count)]
    top, bottom = (0.22 * H, 0.92 * H) if frame.shape == "square" else (0.21 * H, 0.79 * H)
    each = (bottom - top - (count - 1) * gap) / count
    # below each table its numbers' names and values
    high = min(0.66 * each, each - 3.75 * frame.scale.text_px("measure_name"))
    return [
        (round(margin), round(top + n * (each + gap)), round(W - 2 * margin), round(high)) for n in range(count)
    ]


def _views(cases: tuple[_Case, ...], rects: list[Rect]) -> list[View]:
    """One scale for all, each turned so that the way from cue ball to pocket lies along its rectangle."""
    boxes = []
    for case in cases:
        points = [case.shot.cue_ball_mm, case.shot.object_ball_mm, case.shot.target_mm]
        plane = np.array([p[:2] for p in points])
        boxes.append((plane.min(axis=0), plane.max(axis=0)))
    scale = min(
        min(rect[2] / (high[0] - low[0] + 300), rect[3] / (high[1] - low[1] + 300))
        for (low, high), rect in zip(boxes, rects, strict=True)
    )
    out = []
    for (low, high), (x, y, w, h) in zip(boxes, rects, strict=True):
        middle = (low + high) / 2
        out.append(View((float(middle[0]), float(middle[1])), (x + w / 2, y + h / 2), math.pi / 2, scale))
    return out


def _put_table(sheet: Sheet, case: _Case, n: int, rect: Rect) -> None:
    pane, shot = (f"table.{n}",), case.shot
    R = float(shot.radius_mm)
    sheet.put(f"{n}.top", TableTop(case.table), "table", "table", pane, opacity=1.0)
    C, O, G, T = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm, shot.target_mm))
    sheet.put(f"{n}.aim_line", Line((C, G), "aim_line", ink_in=()), "line", "aim_line", pane, opacity=1.0)
    target = Line((O, T), "target_line", arrow=True)
    sheet.put(f"{n}.target_line", target, "line", "target_line", pane, opacity=1.0)
    sheet.put(f"{n}.ghost", Ball(G, R, "ghost"), "ghost", "ghost_ball", pane, opacity=1.0)
    for role, at, look in (("object_ball", O, "object"), ("cue_ball", C, "cue")):
        sheet.put(f"{n}.{role}", Ball(at, R, look), "ball", role, pane, opacity=1.0)
    sheet.put(f"{n}.edge", Shade(rect, "window_edge"), "break", "edge", opacity=1.0)


def _at(case: _Case, bearing_rad: float, length_mm: float) -> Position:
    O = case.shot.object_ball_mm
    way = turned(case.window.towards[0], bearing_rad)
    return position(np.array([*(O[:2] + length_mm * way), O[2]]))


def _put_window(sheet: Sheet, case: _Case, n: int, span: Span, rate: tuple[int, int]) -> None:
    """The wedge of paths that pass between the pocket's points, and the points."""
    if not bool(case.window.is_clean[0]):
        return
    length = float(case.window.distance_mm[0])
    low, high = float(case.window.low_rad[0]), float(case.window.high_rad[0])
    wedge = Area((position(case.shot.object_ball_mm), _at(case, low, length), _at(case, high, length)), "window")
    _, shown, _ = in_turn(*span, (TIMING.fade_s + TIMING.rest_s, 0.5, 2.0), rate)
    sheet.show(sheet.put(f"{n}.window", wedge, "area", "window", (f"table.{n}",)), shown)


def _put_fan(sheet: Sheet, case: _Case, n: int, span: Span, brief: Brief) -> None:
    """The object ball's paths for equal steps of error: gold where they go in, pink where they miss."""
    rate, subject = brief.output.rate, brief.subject
    length = float(case.window.distance_mm[0])
    _, draw, _ = in_turn(*span, (TIMING.fade_s + TIMING.rest_s, 2.4, 2.0), rate)
    edges = np.linspace(*draw, STEPS_EACH_WAY + 1).round().astype(int).tolist()
    sheet.move(f"{n}.target_line", "strength", (span[0], span[0] + frames_of(TIMING.dim_s, rate)), 0.66)
    for k in (k for size in range(1, STEPS_EACH_WAY + 1) for k in (size, -size)):
        error = case.error_rad(k, subject)
        if not math.isfinite(error):
            continue
        end = _at(case, error, length)
        inside = case.goes_in(error)
        line = Line((position(case.shot.object_ball_mm), end), "thin_line" if inside else "error_line")
        role = "path_in" if inside else "error_line"
        id = sheet.put(f"{n}.fan.{k}", line, "line_under", role, (f"table.{n}",), opacity=1.0, drawn=0.0)
        sheet.move(id, "drawn", (edges[abs(k) - 1], edges[abs(k)]), 1.0)
        mark = sheet.put(f"{n}.fan.{k}.end", Mark(end, "target"), "mark", "path_end", (f"table.{n}",))
        if inside:
            sheet.show(mark, (edges[abs(k)] - 1, edges[abs(k)] + 2))


def _put_caption(sheet: Sheet, frame: Layout, words: BriefStep, n: int, rect: Rect) -> None:
    """The distance, in the table's corner."""
    if n >= len(words.measures):
        return
    text = joined(words.measures[n])
    x, y, _, _ = rect
    at = (x + frame.scale.px(12), y + frame.scale.px(12))
    plate = Plate(text, (*at, plate_width_px(text, frame.scale, False), plate_sizes(frame.scale).height_px))
    sheet.put(f"{n}.caption", plate, "label", "caption", opacity=1.0)


def _put_number(
    sheet: Sheet, frame: Layout, words: BriefStep, k: int, n: int, rect: Rect, span: Span, rate: tuple[int, int]
) -> None:
    """A step's number under its table; older ones stay dim."""
    if n >= len(words.measures):
        return
    measure = words.measures[n]
    x, y, w, h = rect
    column = w / 3
    size = frame.scale.text_px("measure_name")
    left = x + k * column
    top = y + h + 1.75 * size
    fade = frames_of(TIMING.fade_s, rate)
    shown = (span[0] + fade, span[0] + 2 * fade)
    texts = {"name": Text(measure.name, (left, top), "small")}
    value, room = joined(measure), column - frame.scale.px(12)
    if any(map(str.isdigit, value)):
        texts["value"] = Text(value, (left, top + 1.75 * size), "measure")
    else:  # words in place of a number: two small lines between its neighbours
        small = frame.scale.text_px("small")
        for line, part in enumerate(even_lines(value, room, lambda s: frame.scale.text_width_px(s, "small"))):
            texts[f"value.{line}"] = Text(part, (left, top + (1.3 + 1.15 * line) * small), "small")
    for part, text in texts.items():
        id = sheet.put(f"{n}.number.{k}.{part}", text, "text", "measure")
        sheet.show(id, shown)
        if k < 2:
            sheet.move(id, "strength", (span[1], span[1] + fade), 0.75)


KIND = Kind(
    "aim-error",
    "what an error of aim does to the object ball, near and far",
    outline,
    board,
    axes=("cut", "side"),
    spans=("distance",),
    settings=AimErrorSettings,
)
