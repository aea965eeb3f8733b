"""Methods summary: what each method's shortcut costs, on one shot. Not a ranking: done as shown, all go in.

A method's shortcut is a literal reading of it (docs/geometry.md), as `aimgeo table` lists them; told is the one
that misses by most over the eyes and distances of the clip. A reading that an eye has no aim for is left out. One
row a method, in the lesson's order: its name, what one does, where that sends the object ball, drawn at the mouth
of the pocket at true scale and on its true side as the object ball comes, and by how much it is off. A method
without a shortcut of its own (`EXACT`) is not compared.

Sentences: methods_summary.shot; methods_summary.<method> for each in its turn (values reading, miss, result), or
methods_summary.own, hardly, missed, no_aim and known (value method, and the same); methods_summary.closing (value
count). Measures of the first step: if_only, at_pocket, off_by (the columns), the cut, and half: each method's
name; of a method's own: worst_miss (the name no_hit, no_aim, turned_back or not_compared where there is none),
result, reading, from_distance, from_eye (left out where the reading needs none).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aimgeo.aim_frame import aim_frame
from aimgeo.construct import Position, Quantity
from aimgeo.judging import Outcome
from aimgeo.methods.readings import judged_readings
from aimgeo.pocket import window_into
from aimgeo.shot import one_of_many
from scenes.board import Area, Ball, Board, Mark, Pane, PlanCamera, Rect, Shade, Text, constant
from scenes.board.brief import Brief, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span, frames_of
from scenes.board.timing import TIMING
from scenes.frame.column import even_lines, joined, put_unlit
from scenes.frame.eye_words import beside_pips_px, fitted, put_heading, put_titles, title_lines
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind

SHOT, CLOSING = "methods_summary.shot", "methods_summary.closing"
SHOT_OWN, CLOSING_OWN = "methods_summary.shot_own", "methods_summary.closing_own"
"""Where a method of the author's own is among them: done as it is written, it need not go in."""
MISSED, NO_AIM_SAID, KNOWN = "methods_summary.missed", "methods_summary.no_aim", "methods_summary.known"
OWN, HARDLY = "methods_summary.own", "methods_summary.hardly"
HARDLY_MM = 0.05
"""Nobody would speak of a smaller miss."""
NO_HIT, NO_AIM, TURNED_BACK, NOT_COMPARED = "no_hit", "no_aim", "turned_back", "not_compared"
EXACT = frozenset({"memorised_mark"})
"""Readings that are the method itself: there is nothing to compare."""
STRIP_MM = 220.0
"""Half of what the strip at the pocket shows; what ends farther off stands at its end."""
CARD = "card"
MOST_S = 5.0
"""The longest that the rows take to come, or the ball to run out."""


@dataclass(frozen=True, slots=True, eq=False)
class Miss:
    """What a reading makes of one shot: the miss at the target in mm, left positive as the object ball comes.

    Infinite where the aim passes the object ball (`hits` is False), or where it turns back.
    """

    reading: str
    signed_mm: float
    hits: bool
    is_pocketed: bool
    view: Subject

    @property
    def miss_mm(self) -> float:
        """The miss, unsigned."""
        return abs(self.signed_mm)


@dataclass(frozen=True, slots=True, eq=False)
class Cost:
    """A method with the worst of its shortcuts; None where no eye has an aim by any of them."""

    method: str
    worst: Miss | None
    mouth_mm: float
    window_mm: tuple[float, float] | None
    radius_mm: float

    @property
    def is_exact(self) -> bool:
        """True when its only reading is the method itself."""
        return self.worst is not None and self.worst.reading in EXACT


MOST_METHODS = 12
"""More rows would stand in one another."""
DENSE = 2.2
"""Rows of fewer heights of small letters have one line each: no more than name, reading and number."""


def costs(subject: Subject) -> tuple[Cost, ...]:
    """The methods of the subject's companions, in their order. ValueError for fewer than two."""
    views: dict[str, list[Subject]] = {}
    for one in subject.companions:
        if one.construction is None or one.shot is None or one.eye is None:
            raise ValueError("a methods summary needs shots with a construction and an eye")
        views.setdefault(one.construction.method, []).append(one)
    if len(views) < 2:
        raise ValueError("a methods summary needs two methods or more that reach this cut")
    found = []
    for method, ones in views.items():
        misses = [miss for one in ones for miss in _misses(one, method)]
        worst = max(misses, key=lambda miss: (not miss.hits, miss.miss_mm)) if misses else None
        found.append(Cost(method, worst, *_mouth(ones[0] if worst is None else worst.view)))
    return tuple(found)


def _misses(view: Subject, method: str) -> list[Miss]:
    """What comes of a method's readings, without those that this eye has no aim for."""
    shot, eye, table = view.shot, view.eye, view.table
    assert shot is not None
    assert eye is not None
    bed = (np.inf, np.inf) if table is None else (table.length_mm / 2, table.width_mm / 2)
    frame = aim_frame(one_of_many(shot), bed)
    window = None
    if table is not None and view.target_name is not None:
        window = window_into(table.pocket(view.target_name), frame.object_ball_mm, frame.radius_mm)
    at = np.array([[-eye.back_mm, eye.offset_mm, eye.height_mm]])
    found = judged_readings(frame, at, window=window, methods=view.methods)[method]
    return [_miss(name, one, view) for name, one in found.items() if one.has_aim[0]]


def _miss(reading: str, found: Outcome, view: Subject) -> Miss:
    far = float(found.miss_mm[0])
    return Miss(
        reading, far if math.isfinite(far) else math.inf, bool(found.hit[0]), bool(found.pocketed[0]), view
    )


def _mouth(view: Subject) -> tuple[float, tuple[float, float] | None, float]:
    """Square to the target line: the mouth's width, the part that goes in clean (left positive), the radius."""
    shot, table = view.shot, view.table
    assert shot is not None
    R = float(shot.radius_mm)
    if table is None or view.target_name is None:
        return 4 * R, None, R
    frame = aim_frame(one_of_many(shot))
    pocket = table.pocket(view.target_name)
    window = window_into(pocket, frame.object_ball_mm, frame.radius_mm)
    along = frame.target_distance_mm[0]
    turn = float(frame.target_turn_rad[0])
    clean = None
    if bool(window.is_clean[0]):
        low, high = (float(along * math.tan(float(edge[0]) + turn)) for edge in (window.low_rad, window.high_rad))
        clean = (low, high)
    return float(pocket.mouth_mm), clean, R


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """The shot, each method's shortcut in its turn, and what that means. ValueError for too many methods."""
    found = costs(subject)
    if len(found) > MOST_METHODS:
        many = f"this clip compares {MOST_METHODS} methods at most, not {len(found)}"
        raise ValueError(f"{many}; name fewer under 'methods'")
    names = tuple(("half", Quantity(one.method, "name")) for one in found)
    shot = subject.companions[0].shot
    assert shot is not None
    cut = ("cut_left" if int(shot.side) > 0 else "cut_right" if int(shot.side) < 0 else "cut",)
    columns = tuple((key, Quantity("", "name")) for key in ("if_only", "at_pocket", "off_by"))
    told = (cut[0], Quantity(abs(float(shot.cut_rad)), "angle_rad"))
    opening, closing = (SHOT_OWN, CLOSING_OWN) if _has_own(found) else (SHOT, CLOSING)
    return (
        OutlineStep("shot", opening, (), (*columns, told, *names), draws_s=4.0),
        *(_told(one) for one in found),
        OutlineStep("closing", closing, (("count", Quantity(len(found), "count")),), (), draws_s=4.0),
    )


def _has_own(found: Sequence[Cost]) -> bool:
    return any(one.worst is not None and one.worst.view.own is not None for one in found)


def _told(one: Cost) -> OutlineStep:
    worst, method = one.worst, ("method", Quantity(one.method, "name"))
    if worst is None:
        measures = (
            ("worst_miss", Quantity(NO_AIM, "name")),
            ("result", Quantity("not_compared", "name")),
            ("reading", Quantity("none", "name")),
        )
        return OutlineStep(one.method, NO_AIM_SAID, (method,), measures, 3.0)
    assert worst.view.shot is not None
    assert worst.view.eye is not None
    if one.is_exact:
        miss = Quantity(NOT_COMPARED, "name")
    elif math.isfinite(worst.miss_mm):
        miss = Quantity(worst.miss_mm, "length_mm")
    else:
        miss = Quantity(TURNED_BACK if worst.hits else NO_HIT, "name")
    reading = worst.view.methods[one.method].readings[worst.reading]
    offset = worst.view.eye.offset_mm
    eye = "none"
    if reading.needs_eye or reading.uses_eye:
        eye = "eye_over" if abs(offset) < 0.5 else "eye_left" if offset > 0 else "eye_right"
    told = (
        ("result", Quantity("pocketed" if worst.is_pocketed else "not_pocketed", "name")),
        ("reading", Quantity(f"reading.{worst.reading}", "name")),
        ("from_distance", Quantity(float(worst.view.shot.distance_mm), "distance_mm")),
        *((("from_eye", Quantity(eye, "name")),) if eye != "none" else ()),
    )
    own = OWN if worst.view.own is not None else f"methods_summary.{one.method}"
    sentence = KNOWN if one.is_exact else own if worst.hits else MISSED
    if sentence == own and own != OWN and worst.miss_mm < HARDLY_MM:
        sentence = HARDLY
    return OutlineStep(one.method, sentence, (method, ("miss", miss), *told), (("worst_miss", miss), *told), 3.5)


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    found = costs(brief.subject)
    if len(brief.steps) != len(found) + 2:
        raise ValueError(f"a summary of these methods has {len(found) + 2} steps")
    spans, rate = brief.spans, brief.output.rate
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet = Sheet()
    W, H = float(frame.width_px), float(frame.height_px)
    room = W - 2 * frame.title_px[0]
    put_titles(sheet, frame, brief.steps, spans, rate, room)
    *heads, cut = brief.steps[0].measures[:4]
    longest = max(len(title_lines(step.title, frame, room)) for step in brief.steps)
    if frame.shape == "wide":
        at = (W - frame.title_px[0], beside_pips_px(frame))
    else:
        at = (
            frame.heading_px[0],
            frame.heading_px[1] + (longest - 1) * frame.title_pitch_px * (1.0 if frame.shape == "tall" else 0.8),
        )
    put_heading(
        sheet,
        {"heading": f"{cut.name}: {joined(cut)}"},
        at,
        "right" if frame.shape == "wide" else frame.heading_align,
    )
    places = _places(frame, len(found), at[1], longest)
    parts = (
        Part(("method",), 1.2, grows=True, most_s=MOST_S),
        Part(("mouth",), 1.2, grows=True, most_s=MOST_S),
        Part(("off_by",), 3 * TIMING.fade_s, grows=True, most_s=2.0),
    )
    named, opened, headed = placed(Words(brief.steps[0], spans[0]), parts, rate, TIMING.fade_s, 0.5)
    if frame.shape == "wide":
        _put_heads(sheet, frame, places, [measure.name for measure in heads], headed, rate)
    for n, one in enumerate(found):
        name = joined(brief.steps[0].measures[4 + n])
        told = tuple(joined(measure) for measure in brief.steps[n + 1].measures)
        spoken = Words(brief.steps[n + 1], spans[n + 1])
        stands = _turn(named, n, len(found), rate), _turn(opened, n, len(found), rate)
        _put_row(sheet, frame, places, n, one, (name[:1].upper() + name[1:], *told), stands, spoken, rate)
    closing = brief.labels.get("as_it_is_written" if _has_own(found) else "price_of_shortcut", "")
    last = (Part(("closing",), TIMING.fade_s),)
    shown = placed(Words(brief.steps[-1], spans[-1]), last, rate, 2 * TIMING.fade_s, 0.5)[0]
    _put_closing(sheet, frame, places, closing, len(found), shown)
    full: Rect = (0.0, 0.0, W, H)
    camera = PlanCamera(constant(0.0, 0.0, math.pi / 2, 0.0))
    return sheet.board(brief, (Pane(CARD, full, "table", camera, "cloth"),))


# ------------------------------------------------------------------ rows


@dataclass(frozen=True, slots=True)
class _Places:
    """The rows' upper edge and pitch; where name, doing, strip and number begin, and the right edge."""

    top_px: float
    pitch_px: float
    left_px: float
    doing_px: float
    strip_px: tuple[float, float]
    right_px: float
    is_wide: bool


def _places(frame: Layout, count: int, heading_px: float, title_count: int) -> _Places:
    W, H, s = float(frame.width_px), float(frame.height_px), frame.scale
    left, right = frame.title_px[0], W - frame.title_px[0]
    small = s.text_px("small")
    _, safe_y, _, safe_h = frame.title_safe
    if frame.shape == "wide":
        top = frame.title_px[1] + (title_count - 1) * frame.title_pitch_px + 2.9 * small
        bottom = safe_y + safe_h - 1.7 * small
        strip = (left + 0.57 * (right - left), left + 0.80 * (right - left))
        pitch = min((bottom - top) / count, 0.125 * H)
        return _Places(top, pitch, left, left + 0.20 * (right - left), strip, right, True)
    top = heading_px + 0.9 * small
    bottom = (safe_y + safe_h if frame.shape == "square" else 0.80 * H) - 2.2 * small
    pitch = min((bottom - top) / count, 0.17 * W * s.gain)
    return _Places(top, pitch, left, left, (left + 0.60 * (right - left), right), right, False)


def _turn(span: Span, n: int, count: int, rate: tuple[int, int]) -> Span:
    """The fade of one of several that come evenly over a span."""
    first = span[0] + round(n * (span[1] - span[0]) / count)
    return first, first + frames_of(TIMING.fade_s, rate)


def _put_heads(
    sheet: Sheet, frame: Layout, places: _Places, heads: Sequence[str], span: Span, rate: tuple[int, int]
) -> None:
    y = places.top_px - 0.55 * frame.scale.text_px("small")
    middle = (places.strip_px[0] + places.strip_px[1]) / 2
    for n, text in enumerate(
        (
            Text(heads[0], (places.doing_px, y), "small"),
            Text(heads[1], (middle, y), "small", "centre"),
            Text(heads[2], (places.right_px, y), "small", "right"),
        )
    ):
        sheet.show(sheet.put(f"head.{n}", text, "text", "caption"), _turn(span, n, len(heads), rate))


def _put_row(
    sheet: Sheet,
    frame: Layout,
    places: _Places,
    n: int,
    one: Cost,
    words: tuple[str, ...],
    stands: tuple[Span, Span],
    spoken: Words,
    rate: tuple[int, int],
) -> None:
    """A method's name and empty strip before its step; all else with the words of its step, a bar beside it."""
    name, miss, result, reading, *where = words
    where = [] if one.is_exact else where
    s = frame.scale
    small = s.text_px("small")
    is_dense = places.pitch_px < DENSE * small
    pitch = min(1.2 * small, places.pitch_px / 2.4)
    y = places.top_px + n * places.pitch_px
    middle = y + places.pitch_px / 2
    upper, lower = middle - 0.5 * pitch + 0.3 * small, middle + 0.5 * pitch + 0.36 * small
    if is_dense:
        upper = lower = middle + 0.33 * small
    parts = (
        Part(("reading",), 1.0, grows=True, most_s=MOST_S),
        Part(("miss",), 1.6, grows=True, most_s=MOST_S),
        Part(("result",), TIMING.fade_s),
    )
    first, end = spoken.span
    read, ended, resulted = placed(spoken, parts, rate, 2 * TIMING.fade_s, 1.0)
    readings = [_turn(read, k, 2, rate) for k in range(2)]
    missed = _turn(ended, 0, 1, rate)
    told = spoken.of(("result",)) or ended
    ended = ended[0], max(ended[1], min(told[1], ended[0] + frames_of(MOST_S, rate)))
    x0, x1 = places.strip_px
    fade = frames_of(TIMING.fade_s, rate)
    bar: Rect = (places.left_px - s.px(22), y + s.px(8), s.stroke_px(7), places.pitch_px - s.px(16))
    sheet.show(sheet.put(f"row.{n}", Shade(bar, "row_bar"), "area", "row"), (first, first + fade))
    sheet.hide(f"row.{n}", (end, end + fade))
    texts: list[tuple[Text, str, Span]] = []
    names: list[str] = []
    if places.is_wide:
        room = places.doing_px - places.left_px - s.px(14)
        lines = even_lines(name, room, lambda text: s.text_width_px(text, "label"))
        lines = (name,) if is_dense else (*lines[:1], " ".join(lines[1:]))[: len(lines)]
        for k, line in enumerate(lines):
            at = (places.left_px, middle + 0.32 * small + (k - (len(lines) - 1) / 2) * pitch)
            words_of = fitted(line, room, frame)
            text = Text(words_of if not k else line[:1] + words_of[1:], at, "label")
            put_unlit(sheet, f"name.{n}.{k}", text, "method", stands[0])
            names.append(f"name.{n}.{k}")
        doing = x0 - places.doing_px - s.px(20)
        style = "label" if s.text_width_px(reading, "label") <= doing else "small"
        said = even_lines(reading, doing, lambda text: s.text_width_px(text, "small"))
        if is_dense:
            texts += [(Text(_short(reading, doing, frame), (places.doing_px, upper), "small"), "reading", read)]
        elif len(said) == 1:
            judged = Text(_short(", ".join(where), doing, frame), (places.doing_px, lower), "small")
            texts += [(Text(reading, (places.doing_px, upper), style), "reading", readings[0])]
            texts += [(judged, "reading", readings[1])]
        else:
            texts += [
                (Text(_short(line, doing, frame), (places.doing_px, base), "small"), "reading", when)
                for line, base, when in zip(said[:2], (upper, lower), readings, strict=False)
            ]
        number = places.right_px - x1 - s.px(20)
        if is_dense:
            told_miss = Text(_short(miss, number, frame), (places.right_px, upper), "small", "right")
            texts += [(told_miss, "worst_miss", missed)]
        elif any(map(str.isdigit, miss)):
            style = "heading" if s.text_width_px(miss, "heading") <= number else "label"
            ends = Text(_short(result, number, frame), (places.right_px, lower), "small", "right")
            texts += [(Text(miss, (places.right_px, upper), style, "right"), "worst_miss", missed)]
            texts += [(ends, "result", resulted)]
        else:
            lines = even_lines(miss, number, lambda text: s.text_width_px(text, "small"))[:2]
            texts += [
                (Text(line, (places.right_px, base), "small", "right"), "worst_miss", missed)
                for line, base in zip(lines, (upper, lower), strict=False)
            ]
        strip_y = middle
    else:
        room = x0 - places.left_px - s.px(20)
        at = (places.left_px, upper)
        text = Text(fitted(name, room, frame), at, "label")
        put_unlit(sheet, f"name.{n}.0", text, "method", stands[0])
        names.append(f"name.{n}.0")
        if is_dense:  # name, strip and number beside each other
            text = Text(_short(miss, 0.64 * (x1 - x0), frame), (x1, upper), "small", "right")
            texts += [(text, "worst_miss", missed)]
            x1 = x0 + 0.34 * (x1 - x0)
        else:
            both = f"{miss}, {result}" if any(map(str.isdigit, miss)) else miss
            both = both if s.text_width_px(both, "small") <= x1 - x0 else miss
            said_short = Text(_short(reading, room, frame), (places.left_px, lower), "small")
            texts += [(said_short, "reading", readings[0])]
            texts += [(Text(_short(both, x1 - x0, frame), (x1, lower), "small", "right"), "worst_miss", missed)]
        strip_y = upper - 0.35 * small
    for k, id in enumerate(names):
        each = (read[0] - first - fade) // len(names)
        sheet.point(id, (first + fade + k * each, first + fade + (k + 1) * each))
    if n:
        rule = Shade((places.left_px, y, places.right_px - places.left_px, max(s.px(2), 1.0)), "hairline")
        sheet.put(f"line.{n}", rule, "area", "line", opacity=1.0)
    for k, (text, role, shown) in enumerate(texts):
        sheet.show(sheet.put(f"told.{n}.{k}", text, "text", role), shown)
    _put_strip(sheet, frame, n, one, (x0, x1), strip_y, 0.26 * places.pitch_px, stands[1], missed, ended)


def _short(text: str, room_px: float, frame: Layout) -> str:
    """A small text, cut with an ellipsis where there is no room."""
    while len(text) > 2 and frame.scale.text_width_px(text, "small") > room_px:
        text = text.rstrip("…")[:-1].rstrip() + "…"
    return text


def _put_strip(
    sheet: Sheet,
    frame: Layout,
    n: int,
    one: Cost,
    strip_px: tuple[float, float],
    y: float,
    high: float,
    opened: Span,
    shown: Span,
    ended: Span,
) -> None:
    """The rail with the mouth in its middle and what goes in clean; then the ball runs out to where it ends."""
    x0, x1 = strip_px
    middle, scale = (x0 + x1) / 2, (x1 - x0) / 2 / STRIP_MM
    high = min(high, 2 * one.radius_mm * scale * 0.62)
    W, H = frame.width_px, frame.height_px

    def box(left: float, right: float, half: float) -> tuple[Position, ...]:
        """A rectangle of the card, from mm beside the middle."""
        corners = ((left, half), (right, half), (right, -half), (left, -half))
        return tuple((middle + x * scale - W / 2, H / 2 - y + up, 0.0) for x, up in corners)

    mouth = one.mouth_mm / 2
    areas = [
        ("strip", "bed", box(-STRIP_MM, STRIP_MM, high / 2)),
        ("mouth", "mouth", box(-mouth, mouth, 0.7 * high)),
    ]
    if one.window_mm is not None:
        low, top = one.window_mm  # left as the object ball comes is left in the picture
        areas.append(("clean", "window", box(-top, -low, 0.7 * high)))
    for role, style, corners in areas:
        sheet.show(sheet.put(f"{role}.{n}", Area(corners, style), "area", role, (CARD,)), opened)
    worst = one.worst
    if worst is None or not worst.hits or not math.isfinite(worst.miss_mm):
        return
    R = one.radius_mm * scale
    off = max(min(-worst.signed_mm, STRIP_MM - one.radius_mm), -STRIP_MM + one.radius_mm) * scale
    start = (middle - W / 2, H / 2 - y, 0.0)
    id = f"end.{n}"
    if worst.is_pocketed or one.is_exact:
        sheet.put(id, Ball(start, R, "object"), "ball", "path_end", (CARD,))
    else:
        sheet.put(id, Mark(start, "miss"), "mark", "path_end", (CARD,))
    sheet.show(id, shown)
    sheet.move(id, "offset_mm", ended, off, 0.0, 0.0)


def _put_closing(sheet: Sheet, frame: Layout, places: _Places, words: str, count: int, shown: Span) -> None:
    """What the rows mean, under them."""
    if not words:
        return
    s = frame.scale
    small = s.text_px("small")
    y = places.top_px + count * places.pitch_px + 0.35 * small
    bar = Shade((places.left_px, y, s.stroke_px(7), 1.25 * small), "row_bar")
    text = fitted(words, places.right_px - places.left_px - s.px(26), frame, "small")
    sheet.show(sheet.put("closing.bar", bar, "bar", "closing"), shown)
    at = (places.left_px + s.px(26), y + 0.98 * small)
    sheet.show(sheet.put("closing", Text(text, at, "small"), "text", "closing"), shown)


KIND = Kind(
    "methods-summary",
    "what each method's shortcut costs on one shot, side by side",
    outline,
    board,
    axes=("cut", "side"),
    spans=("method", "distance", "eye"),
)
