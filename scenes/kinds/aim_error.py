"""Aim error: what turning the aim by so many degrees, or millimetres at the ghost ball, does to the object ball.

The table from above, once for each distance that the clip spans, at one scale: the shot, then close to its pocket
the wedge of ways that go in, the ways for aims turned by equal steps (or passing the ghost ball's centre by equal
steps) to both sides, a ball or a cross at the end of each, and how much error still goes in.

Sentences: aim_error.exact, aim_error.window, aim_error.fan (value step), aim_error.limit (values farther, less,
allowed, at_tip, bridge), the first and last with _alone for one distance, the last with _none where none goes in.
Measures, one a distance in turn: distance (of two, then again as half_near and half_far); turned (the object
ball's turn for one step, on the side where it is larger; the name no_hit where it isn't hit); allowed (the smaller
side, rounded down), at_tip, and bridge.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aimgeo.aim_frame import AimFrame, aim_frame
from aimgeo.construct import Position, Quantity, position
from aimgeo.judging import outcome
from aimgeo.pocket import Window, passes, window_into
from aimgeo.shot import Shot, one_of_many
from aimgeo.stops import stops_mm
from aimgeo.tables import Table
from aimgeo.vectors import Array, turned
from scenes.board import Area, Ball, Board, Line, Mark, Pane, Plate, Rect, Shade, TableTop, Text
from scenes.board.brief import Brief, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span, frames_of, in_turn
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.frame.column import even_lines, joined
from scenes.frame.eye_words import put_titles
from scenes.frame.framing import View, moving_camera, over_table
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.look.scale import plate_sizes, plate_width_px

EXACT, WINDOW, FAN, LIMIT = "aim_error.exact", "aim_error.window", "aim_error.fan", "aim_error.limit"
ALONE = "_alone"
NO_HIT = "no_hit"
STEPS_EACH_WAY = 2
MOST = 2
"""Tables beside each other: the nearest shot and the farthest."""
BRIDGE_MM = 300.0
"""From the hand on the cloth to the tip, about: common practice."""
ZOOM_S = 1.8
RAIL_MM, ROOM_MM = 130.0, 90.0
"""What is seen beyond a pocket's mouth, and around a ball."""


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
        2.0,
        "one step of error, at the ghost ball",
        least=0.1,
        greatest=20.0,
        only=("measured", "millimetres"),
    )


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """The exact shot, the ways that go in, the fan, and how much error still goes in."""
    cases = _cases(subject)
    step = _step(subject)
    alone = ALONE if len(cases) == 1 else ""
    distances = tuple(("distance", Quantity(float(case.shot.distance_mm), "distance_mm")) for case in cases)
    called = tuple(zip(("half_near", "half_far"), (d for _, d in distances), strict=True)) if not alone else ()
    turns = tuple(("turned", case.turned(subject)) for case in cases)
    limits = []
    for case in cases:
        limits += [("allowed", case.allowed(subject)), ("at_tip", case.at_tip())]
    bridge = ("bridge", Quantity(BRIDGE_MM, "distance_mm"))
    near, far = cases[0], cases[-1]
    spoken: list[tuple[str, Quantity]] = [*limits[:2], bridge]
    if far.allowed_rad > 0 and near is not far:
        farther = float(far.shot.distance_mm) / float(near.shot.distance_mm)
        spoken += [("farther", Quantity(farther, "times"))]
        spoken += [("less", Quantity(near.allowed_rad / far.allowed_rad, "times"))]
    limit = LIMIT + (alone or ("" if far.allowed_rad > 0 else "_none"))
    return (
        OutlineStep("exact", EXACT + alone, (), (*distances, *called), draws_s=4.0),
        OutlineStep("window", WINDOW, (), (), draws_s=ZOOM_S + 2.5),
        OutlineStep("fan", FAN, (("step", step),), turns, draws_s=6.5),
        OutlineStep("limit", limit, tuple(spoken), (*limits, bridge), draws_s=5.5),
    )


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    brief.check_steps(outline(brief.subject), "an aim-error clip")
    spans, rate = brief.spans, brief.output.rate
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet = Sheet()
    cases = _cases(brief.subject)
    rects = _rects(frame, len(cases))
    whole = _views([case.whole_mm() for case in cases], rects, cases[0].table)
    close = _views([case.close_mm() for case in cases], rects, cases[0].table)
    zoom = in_turn(*spans[1], (TIMING.rest_s, ZOOM_S, 2.0), rate)[1]
    panes = tuple(
        Pane(f"table.{n}", rect, "table", moving_camera(rect, start, end, *zoom), "cloth")
        for n, (rect, start, end) in enumerate(zip(rects, whole, close, strict=True))
    )
    put_titles(sheet, frame, brief.steps, spans, rate, frame.width_px - 2 * frame.title_px[0])
    for n, (case, rect) in enumerate(zip(cases, rects, strict=True)):
        _put_table(sheet, case, n, rect, Words(brief.steps[0], spans[0]), rate)
        _put_window(sheet, case, n, Words(brief.steps[1], spans[1]), zoom[1], rate)
        _put_fan(sheet, case, n, spans[2], brief)
        _put_words(sheet, frame, brief, n, rect)
        _put_caption(sheet, frame, brief, case, n, panes[n], (spans[2][0], spans[2][0] + frames_of(0.5, rate)))
    return sheet.board(brief, panes)


# ------------------------------------------------------------------ the numbers


@dataclass(frozen=True, slots=True, eq=False)
class _Case:
    """A shot with its pocket's window."""

    shot: Shot
    table: Table
    frame: AimFrame
    window: Window

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

    def goes_in(self, bearing_rad: float) -> bool:
        """True when a way at a bearing from the mouth's middle passes between the pocket's points."""
        return bool(passes(self.window, np.array([bearing_rad]))[0])

    @property
    def allowed_rad(self) -> float:
        """By how much the aim may be off, to either side: the smaller one; 0 where nothing goes in."""
        if not bool(self.window.is_clean[0]):
            return 0.0
        inside, outside = 0.0, math.pi / 4
        for _ in range(9):  # 64 parts at a time
            tried = np.linspace(inside, outside, 65)
            both = outcome(self.frame, np.stack([tried, -tried]).reshape(-1, 1)).object_error_rad
            goes_in = passes(self.window, both[:, 0] - self.frame.target_turn_rad).reshape(2, -1).all(axis=0)
            first = max(int(np.argmin(goes_in)), 1) if not goes_in.all() else 64
            inside, outside = float(tried[first - 1]), float(tried[first])
        return inside

    def allowed(self, subject: Subject) -> Quantity:
        """How far the aim may be off to either side: as an angle, or in mm at the ghost ball; rounded down."""
        if _in_mm(subject):
            return Quantity(math.tan(self.allowed_rad) * float(self.shot.travel_mm), "limit_mm")
        return Quantity(self.allowed_rad, "limit_rad")

    def at_tip(self) -> Quantity:
        """The same at the cue's tip, over the bridge."""
        return Quantity(math.tan(self.allowed_rad) * BRIDGE_MM, "limit_mm")

    def end(self, bearing_rad: float) -> Position:
        """Where the object ball's way ends: at a pocket's point, at a cushion, or in the mouth."""
        O = self.shot.object_ball_mm
        way = turned(self.window.towards[0], bearing_rad)
        most = float(self.window.distance_mm[0]) + float(self.shot.radius_mm) / 2
        if not self.goes_in(bearing_rad):
            most = min(stops_mm(self.table, O[:2], way, float(self.shot.radius_mm)), 2 * self.table.length_mm)
        return position(np.array([*(O[:2] + most * way), O[2]]))

    def whole_mm(self) -> Array:
        """The box (2, 2) around the shot and its pocket."""
        R = float(self.shot.radius_mm) + ROOM_MM
        return _box(
            [
                (self.shot.cue_ball_mm, R),
                (self.shot.object_ball_mm, R),
                (self.shot.ghost_ball_mm, R),
                self._mouth(),
            ]
        )

    def close_mm(self) -> Array:
        """The box around object ball, ghost ball and pocket."""
        R = float(self.shot.radius_mm) + ROOM_MM / 3
        return _box([(self.shot.object_ball_mm, R), (self.shot.ghost_ball_mm, R), self._mouth()])

    def _mouth(self) -> tuple[Array, float]:
        O = self.shot.object_ball_mm[:2]
        return O + self.window.distance_mm[0] * self.window.towards[0], RAIL_MM


def _box(around: Sequence[tuple[Array, float]]) -> Array:
    """The box (2, 2) around points, each with so much room."""
    low = np.min([p[:2] - room for p, room in around], axis=0)
    return np.array([low, np.max([p[:2] + room for p, room in around], axis=0)])


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
    """The tables' rectangles: beside each other in a wide frame, else above each other."""
    W, H = float(frame.width_px), float(frame.height_px)
    margin, gap = frame.title_px[0], frame.scale.px(28)
    if frame.shape == "wide":
        w = (W - 2 * margin - (count - 1) * gap) / count
        top, high = 0.215, 0.48 if frame.scale.gain == 1 else 0.43
        return [(round(margin + n * (w + gap)), round(top * H), round(w), round(high * H)) for n in range(count)]
    top, bottom = (0.21 * H, 0.79 * H) if frame.shape == "tall" else (0.205 * H, 0.945 * H)
    each = (bottom - top - (count - 1) * gap) / count
    # below each table its numbers' names and values
    high = min(0.7 * each, each - (2.95 + LINE) * frame.scale.text_px("measure_name"))
    return [
        (round(margin), round(top + n * (each + gap)), round(W - 2 * margin), round(high)) for n in range(count)
    ]


def _views(boxes: Sequence[Array], rects: Sequence[Rect], table: Table) -> list[View]:
    """One scale and turn for all boxes (2, 2): those which show them largest, each in its rectangle's middle, or
    where the picture shows no more than a rail beside the table."""

    def scale(turn: float) -> float:
        swap = abs(math.sin(turn)) < 0.5  # the table's length upright
        sizes = [(box[1] - box[0])[::-1] if swap else box[1] - box[0] for box in boxes]
        return min(
            min(rect[2] / float(size[0]), rect[3] / float(size[1]))
            for size, rect in zip(sizes, rects, strict=True)
        )

    turn = max((math.pi / 2, 0.0), key=scale)
    out = []
    for box, (x, y, w, h) in zip(boxes, rects, strict=True):
        half = np.array([w, h] if turn else [h, w]) / 2 / scale(turn)
        middle = over_table(box.mean(axis=0), half, table, RAIL_MM)
        out.append(View(middle, (x + w / 2, y + h / 2), turn, scale(turn)))
    return out


def _put_table(sheet: Sheet, case: _Case, n: int, rect: Rect, words: Words, rate: tuple[int, int]) -> None:
    """The balls on their table, and, as they are spoken of, the aim with its ghost ball and the way to go."""
    pane, shot = (f"table.{n}",), case.shot
    R = float(shot.radius_mm)
    sheet.put(f"{n}.top", TableTop(case.table), "table", "table", pane, opacity=1.0)
    C, O, G, T = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm, shot.target_mm))
    aimed, goes = placed(
        words, (Part(("aim_line",), 0.8, True), Part(("target_line",), 0.8, True)), rate, 0.6, 1.2
    )
    line = Line((C, G), "aim_line", ink_in=())
    sheet.put(f"{n}.aim_line", line, "line", "aim_line", pane, opacity=1.0, drawn=0.0)
    sheet.move(f"{n}.aim_line", "drawn", aimed, 1.0)
    target = Line((O, T), "target_line", arrow=True)
    sheet.put(f"{n}.target_line", target, "line", "target_line", pane, opacity=1.0, drawn=0.0)
    sheet.move(f"{n}.target_line", "drawn", goes, 1.0)
    ghost = sheet.put(f"{n}.ghost", Ball(G, R, "ghost"), "ghost", "ghost_ball", pane)
    sheet.show(ghost, (aimed[1], aimed[1] + frames_of(TIMING.fade_s, rate)))
    for role, at, look in (("object_ball", O, "object"), ("cue_ball", C, "cue")):
        sheet.put(f"{n}.{role}", Ball(at, R, look), "ball", role, pane, opacity=1.0)
    sheet.put(f"{n}.edge", Shade(rect, "window_edge"), "break", "edge", opacity=1.0)


def _put_window(sheet: Sheet, case: _Case, n: int, words: Words, zoomed: int, rate: tuple[int, int]) -> None:
    """The wedge of ways that pass between the pocket's points, edged, in place of the target line."""
    if not bool(case.window.is_clean[0]):
        return
    pane = (f"table.{n}",)
    O, length = case.shot.object_ball_mm, float(case.window.distance_mm[0])
    ends = []
    for edge in (case.window.low_rad, case.window.high_rad):
        way = turned(case.window.towards[0], float(edge[0]))
        ends.append(position(np.array([*(O[:2] + length * way), O[2]])))
    lead_s = (zoomed - words.span[0]) * rate[1] / rate[0]
    *drawn, shown = placed(
        words, (*[Part(("window_edge",), 0.8)] * 2, Part(("window_edge",), 0.4)), rate, lead_s, 0.4
    )
    sheet.hide(f"{n}.target_line", shown)
    wedge = Area((position(O), ends[0], ends[1]), "window")
    sheet.show(sheet.put(f"{n}.window", wedge, "area", "window", pane), shown)
    for k, end in enumerate(ends):
        edge_line = Line((position(O), end), "target_line")
        id = sheet.put(f"{n}.window.{k}", edge_line, "line_under", "window_edge", pane, opacity=1.0, drawn=0.0)
        sheet.move(id, "drawn", drawn[k], 1.0)


def _put_fan(sheet: Sheet, case: _Case, n: int, span: Span, brief: Brief) -> None:
    """The object ball's ways for equal steps of error: a ball at the end of those that go in, else a cross."""
    rate, subject = brief.output.rate, brief.subject
    pane, R = (f"table.{n}",), float(case.shot.radius_mm)
    order = [k for size in range(1, STEPS_EACH_WAY + 1) for k in (size, -size)]
    parts = [Part(("fan",), 0.9)] * len(order) + [Part(("ends_in",), 0.4), Part(("ends_out",), 0.4)]
    *drawn, balls, crosses = placed(Words(brief.steps[2], span), parts, rate, 1.2, 1.2)
    offset = float(case.frame.target_turn_rad[0])
    for i, k in enumerate(order):
        error = case.error_rad(k, subject)
        if not math.isfinite(error):
            continue
        bearing = error - offset
        inside = case.goes_in(bearing)
        end = case.end(bearing)
        line = Line((position(case.shot.object_ball_mm), end), "thin_line" if inside else "error_line")
        role = "path_in" if inside else "error_line"
        id = sheet.put(f"{n}.fan.{k}", line, "line_under", role, pane, opacity=1.0, drawn=0.0)
        sheet.move(id, "drawn", drawn[i], 1.0)
        shape = Ball(end, R, "object") if inside else Mark(end, "miss")
        mark = sheet.put(f"{n}.fan.{k}.end", shape, "ball" if inside else "mark", "path_end", pane)
        sheet.show(mark, balls if inside else crosses)


def _put_caption(sheet: Sheet, frame: Layout, brief: Brief, case: _Case, n: int, pane: Pane, span: Span) -> None:
    """Near or far, and how far apart the balls are, in the picture's corner that is farthest from all ways."""
    told = brief.steps[0].measures
    distance, called = told[n], told[len(told) // 2 + n] if len(told) > 1 else None
    text = f"{called.name}: {joined(called)}" if called is not None else joined(distance)
    x, y, w, h = pane.rect_px
    wide, high = plate_width_px(text, frame.scale, False), plate_sizes(frame.scale).height_px
    gap = frame.scale.px(12)
    offset = float(case.frame.target_turn_rad[0])
    errors = [case.error_rad(k, brief.subject) for k in range(-STEPS_EACH_WAY, STEPS_EACH_WAY + 1)]
    ends = [case.end(error - offset) for error in errors if math.isfinite(error)]
    O, C = case.shot.object_ball_mm, case.shot.cue_ball_mm
    G = case.shot.ghost_ball_mm
    ways = [(O, np.array(end)) for end in ends] + [(G, G + 0.25 * (C - G)), (G, G)]
    t = np.linspace(0, 1, 25)[:, None]
    seen = pane.px(np.concatenate([a + t * (b - a) for a, b in ways]), brief.frames)

    def nearest(corner: tuple[float, float]) -> float:
        off = np.maximum(
            np.abs(seen - np.array(corner) - np.array([wide, high]) / 2) - np.array([wide, high]) / 2, 0
        )
        return float(np.hypot(*off.T).min())

    corners = [(left, top) for left in (x + gap, x + w - wide - gap) for top in (y + gap, y + h - high - gap)]
    at = max(corners, key=nearest)
    plate = Plate(text, (*at, wide, high))
    sheet.show(sheet.put(f"{n}.caption", plate, "label", "caption"), span)


# ------------------------------------------------------------------ the words

CALLED = "near", "far"
"""So a sentence calls the numbers of the first table and of the last one."""
LINE = 1.15
"""From one small line to the next, in their size."""


def _put_words(
    sheet: Sheet,
    frame: Layout,
    brief: Brief,
    n: int,
    rect: Rect,
) -> None:
    """Under a table: how far apart the balls are, what one step does, and how far off the cue may be."""
    steps, spans, rate = brief.steps, brief.spans, brief.output.rate
    fade = frames_of(TIMING.fade_s, rate)
    x, y, w, _ = rect
    small, large = frame.scale.text_px("measure_name"), frame.scale.text_px("measure")
    top = y + rect[3] + 1.25 * small
    exact, _, fan, limit = steps

    def lines(text: str, room: float) -> tuple[str, ...]:
        return even_lines(text, room, lambda s: frame.scale.text_width_px(s, "small"))

    for k, (step, span) in enumerate(((exact, spans[0]), (fan, spans[2]), (limit, spans[3]))):
        measure = step.measures[2 * n] if step is limit else step.measures[n]
        told = exact.measures
        where = f"{told[2 + n].name}: {measure.name}" if step is exact and len(told) > 1 else measure.name
        names = lines(where, w)
        texts = [Text(name, (x, top + i * LINE * small), "small") for i, name in enumerate(names)]
        base = top + (len(names) - 1) * LINE * small + 0.55 * small + large
        style = "measure" if any(map(str.isdigit, measure.number)) else "heading"
        texts += [Text(joined(measure), (x, base), style)]
        if step is limit:
            tip, bridge = step.measures[2 * n + 1], step.measures[-1]
            over = f"{joined(tip)} {tip.name} {bridge.name} {joined(bridge)}"
            left = x + frame.scale.text_width_px(joined(measure), "measure") + frame.scale.px(28)
            first = base - LINE * small * (len(lines(over, x + w - left)) > 1)
            texts += [
                Text(line, (left, first + i * LINE * small), "small")
                for i, line in enumerate(lines(over, x + w - left))
            ]
        last_one = step is limit
        end = spans[1][1] if step is exact else span[1]
        parts = [Part((name,), 2 * TIMING.fade_s) for name in CALLED[: n + 1]]
        shown = placed(Words(step, span), parts, rate, TIMING.fade_s, 0.8)
        for i, text in enumerate(texts):
            id = sheet.put(f"{n}.told.{k}.{i}", text, "text", "measure")
            sheet.show(id, shown[n])
            if not last_one:
                sheet.hide(id, (end, end + fade))


KIND = Kind(
    "aim-error",
    "what an error of aim does to the object ball, near and far",
    outline,
    board,
    axes=("cut", "side"),
    spans=("distance",),
    settings=AimErrorSettings,
)
