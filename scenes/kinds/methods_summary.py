"""Methods summary: one shot, every method in one grid, ranked by its worst miss over eyes and distances.

A method's miss is that of its literal readings (docs/geometry.md), as `aimgeo table` lists them: what comes of
doing just what the method's words say. A reading that an eye has no aim for is left out. The grid shows the
constructions for the first eye and distance, as that eye sees them, magnified; the least miss stands first.

Sentences: methods_summary.shot; methods_summary.<method> for each in its turn (values reading, miss, result,
from_eye, from_distance), or methods_summary.missed (value method, and the same) where a reading's aim passes the
object ball; methods_summary.ranked. Measures of the first step, half: each method's name; of a method's own:
worst_miss (the names no_hit where the object ball is missed, turned_back where it leaves a quarter turn or more
off), result (pocketed or not), reading, from_distance, from_eye (any_eye where the reading needs none).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from aimgeo.aim_frame import aim_frame
from aimgeo.construct import Quantity
from aimgeo.judging import Outcome
from aimgeo.methods.readings import judged_readings
from aimgeo.pocket import window_into
from aimgeo.shot import one_of_many
from scenes.board import Board, Pane, PlanCamera, Rect, Shade, Text, constant
from scenes.board.brief import Brief, OutlineStep, Subject
from scenes.board.motion import Sheet, Span, frames_of, in_turn
from scenes.board.timing import TIMING
from scenes.figure.eye_view import eye_layout, eye_mm, eye_pane, magnified
from scenes.figure.figure import eye_figure
from scenes.figure.steps import StepSpans, bring_cue, draw_step, put_balls, put_ghost
from scenes.frame.column import even_lines, joined
from scenes.frame.eye_words import beside_pips_px, fitted, put_heading, put_titles
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind

SHOT, MISSED, RANKED = "methods_summary.shot", "methods_summary.missed", "methods_summary.ranked"
OWN = "methods_summary.own"
NO_HIT, TURNED_BACK = "no_hit", "turned_back"
DRAW_S = 4.2
"""Seconds in which all constructions are drawn."""
BALL_IN_COLUMN, BALL_IN_ROW = 0.42, 0.58
"""The object ball in a cell, of the smaller of the cell's width and height."""
MIDDLE = 0.44
"""The balls' middle in a cell, of its height: the lines come from below."""


@dataclass(frozen=True, slots=True, eq=False)
class Miss:
    """What a reading makes of one shot: the miss at the target in mm, unsigned.

    inf where the aim passes the object ball (`hits` is False), and where that leaves a quarter turn or more off.
    """

    reading: str
    miss_mm: float
    hits: bool
    is_pocketed: bool
    view: Subject


@dataclass(frozen=True, slots=True, eq=False)
class Ranked:
    """A method with its worst miss, and the subject that its cell shows."""

    method: str
    worst: Miss
    view: Subject

    @property
    def worst_mm(self) -> float:
        """The worst miss."""
        return self.worst.miss_mm


def ranking(subject: Subject) -> tuple[Ranked, ...]:
    """The methods of the subject's companions, the least worst miss first. ValueError for fewer than two."""
    views: dict[str, list[Subject]] = {}
    for one in subject.companions:
        if one.construction is None or one.shot is None or one.eye is None:
            raise ValueError("a methods summary needs shots with a construction and an eye")
        views.setdefault(one.construction.method, []).append(one)
    if len(views) < 2:
        raise ValueError("a methods summary needs two methods or more that reach this cut")
    ranked = []
    for method, ones in views.items():
        misses = [miss for one in ones for miss in _misses(one, method)]
        if not misses:  # no eye sees what it asks for
            continue
        ranked.append(Ranked(method, max(misses, key=_badness), ones[0]))
    return tuple(sorted(ranked, key=lambda one: _badness(one.worst)))


def _badness(miss: Miss) -> tuple[bool, float]:
    """What counts in a ranking: rounding in the last binary digits puts no miss before an equal one."""
    return not miss.hits, round(miss.miss_mm, 6) if math.isfinite(miss.miss_mm) else math.inf


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
    far = abs(float(found.miss_mm[0]))
    return Miss(
        reading, far if math.isfinite(far) else math.inf, bool(found.hit[0]), bool(found.pocketed[0]), view
    )


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """All methods on one shot, the worst miss of each in its turn, and the ranks."""
    ranked = ranking(subject)
    names = tuple(("half", Quantity(one.method, "name")) for one in ranked)
    return (
        OutlineStep("shot", SHOT, (), names, draws_s=DRAW_S + TIMING.end_s),
        *(_told(n, one) for n, one in enumerate(ranked, 1)),
        OutlineStep("ranked", RANKED, (), (), draws_s=3.0),
    )


def _told(rank: int, one: Ranked) -> OutlineStep:
    worst = one.worst
    assert worst.view.shot is not None
    assert worst.view.eye is not None
    if math.isfinite(worst.miss_mm):
        miss = Quantity(worst.miss_mm, "length_mm")
    else:
        miss = Quantity(TURNED_BACK if worst.hits else NO_HIT, "name")
    reading = one.view.methods[one.method].readings[worst.reading]
    eye = worst.view.eye.name if reading.needs_eye or reading.uses_eye else "any_eye"
    told = (
        ("result", Quantity("pocketed" if worst.is_pocketed else "not_pocketed", "name")),
        ("reading", Quantity(f"reading.{worst.reading}", "name")),
        ("from_distance", Quantity(float(worst.view.shot.distance_mm), "distance_mm")),
        ("from_eye", Quantity(eye, "name")),
    )
    spoken = (("method", Quantity(one.method, "name")), ("miss", miss), *told)
    sentence = (OWN if one.view.own is not None else f"methods_summary.{one.method}") if worst.hits else MISSED
    return OutlineStep(f"rank {rank}", sentence, spoken, (("worst_miss", miss), *told), 3.0)


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    ranked = ranking(brief.subject)
    if len(brief.steps) != len(ranked) + 2:
        raise ValueError(f"a summary of these methods has {len(ranked) + 2} steps")
    spans = brief.spans
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet = Sheet()
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
    panes = [Pane("card", full, "plan", PlanCamera(constant(0.0, 0.0, math.pi / 2, 0.0)), "cloth")]
    most = max((one.worst_mm for one in ranked if math.isfinite(one.worst_mm)), default=0.0)
    for n, one in enumerate(ranked):
        name = joined(brief.steps[0].measures[n])
        words = tuple(joined(measure) for measure in brief.steps[n + 1].measures)
        make = _column if frame.shape == "wide" else _row
        cell = make(frame, n, len(ranked), (name[:1].upper() + name[1:], *words))
        panes.append(_put_method(brief, frame, sheet, one.view, n, cell.picture_px, spans[0]))
        part = min(one.worst_mm / most, 1.0) if most > 0 else float(one.worst_mm > 0)
        _put_words(sheet, cell, part, n, spans[n + 1], brief.output.rate)
    put_titles(sheet, frame, brief.steps, spans, brief.output.rate, frame.width_px - 2 * frame.title_px[0])
    if frame.shape == "wide":
        put_heading(sheet, brief.labels, (frame.width_px - frame.title_px[0], beside_pips_px(frame)), "right")
    else:
        put_heading(sheet, brief.labels, frame.heading_px, frame.heading_align)
    return sheet.board(brief, tuple(panes))


# ------------------------------------------------------------------ cells


@dataclass(frozen=True, slots=True)
class _Cell:
    """A method's place: its picture, its bar, its name, and what is told of its miss."""

    picture_px: Rect
    bar_px: Rect
    name: tuple[Text, ...]
    told: tuple[Text, ...]


def _column(frame: Layout, n: int, count: int, words: tuple[str, ...]) -> _Cell:
    """In a wide frame, beside each other: name, picture, bar, and the words one under the other."""
    name, miss, *others = words
    s, H = frame.scale, float(frame.height_px)
    margin, gap = frame.title_px[0], s.px(18)
    w = (frame.width_px - 2 * margin - (count - 1) * gap) / count
    x = margin + n * (w + gap)
    label, small, large = (s.text_px(style) for style in ("label", "small", "measure"))
    names = even_lines(name, w, lambda text: s.text_width_px(text, "label"))
    lines = 2 if s.gain > 1 else 1  # where small frames break a name, all pictures leave room for it
    last = 0.225 * H + label + (lines - 1) * 1.2 * label
    named = tuple(Text(t, (x, last - (len(names) - 1 - k) * 1.2 * label), "label") for k, t in enumerate(names))
    top = last + 0.45 * label
    bottom = 0.915 * H - ((1.3 * len(others) + 0.9) * small + 1.1 * large)
    bar = (x, bottom + s.px(12), w, s.stroke_px(9))
    base = bar[1] + bar[3] + 1.05 * large
    style = "measure" if s.text_width_px(miss, "measure") <= w else "heading"
    told = (
        Text(fitted(miss, w, frame, style), (x, base), style),
        *(
            Text(fitted(text, w, frame, "small"), (x, base + k * 1.3 * small), "small")
            for k, text in enumerate(others, 1)
        ),
    )
    return _Cell((x, top, w, bottom - top), bar, named, told)


def _row(frame: Layout, n: int, count: int, words: tuple[str, ...]) -> _Cell:
    """In other frames, below each other: the picture, beside it the words, the bar under them."""
    name, miss, result, reading, distance, eye = words
    s, W, H = frame.scale, float(frame.width_px), float(frame.height_px)
    margin, gap = frame.title_px[0], s.px(14)
    top, bottom = (0.25 * H, 0.945 * H) if frame.shape == "square" else (0.215 * H, 0.80 * H)
    h = min((bottom - top - (count - 1) * gap) / count, 0.3 * W)
    y = top + n * (h + gap)
    picture = (margin, y, (0.30 if s.gain > 1 or frame.shape == "square" else 0.36) * W, h)
    x, right, space = margin + picture[2] + s.px(22), W - margin, s.px(24)
    small, large = s.text_px("small"), s.text_px("heading")
    bar = (x, y + h - s.stroke_px(9), right - x, s.stroke_px(9))
    lines = 3 if h > 3.1 * small + large else 2
    pitch = (h - bar[3]) / lines
    first, second = y + 0.5 * pitch + 0.36 * large, y + 1.5 * pitch + 0.3 * small
    result = result[:1].upper() + result[1:]
    beside_miss = right - x - s.text_width_px(miss, "heading") - space
    beside_result = right - x - s.text_width_px(result, "small") - space
    told = [
        Text(miss, (right, first), "heading", "right"),
        Text(result, (right, second), "small", "right"),
        Text(fitted(reading, beside_result, frame, "small"), (x, second), "small"),
    ]
    if lines > 2:
        where = fitted(f"{distance}, {eye}", right - x, frame, "small")
        told.append(Text(where, (x, second + pitch), "small"))
    return _Cell(picture, bar, (Text(fitted(name, beside_miss, frame), (x, first), "label"),), tuple(told))


def _put_method(brief: Brief, frame: Layout, sheet: Sheet, view: Subject, n: int, rect: Rect, span: Span) -> Pane:
    """A method's whole construction in its cell, step by step; all cells at the same time."""
    shot, eye, plan = view.shot, view.eye, view.construction
    assert shot is not None
    assert eye is not None
    assert plan is not None
    part = BALL_IN_COLUMN if frame.shape == "wide" else BALL_IN_ROW
    main = eye_pane(eye_layout(frame, 1), shot, eye)
    pane = magnified(main, shot, rect, part * min(rect[2], rect[3]), f"cell.{n}", MIDDLE)
    at = eye_mm(shot, eye)
    figure = eye_figure(brief, sheet, frame, shot, plan, pane, at, 0.0, prefix=f"cell.{n}.")
    put_balls(figure, brief.subject.table, True)
    sheet.put(f"edge.{n}", Shade(rect, "window_edge"), "break", "edge", opacity=1.0)
    (first, end), _ = in_turn(*span, (DRAW_S, TIMING.end_s), brief.output.rate)
    edges = [first + round((end - first) * k / len(plan.steps)) for k in range(len(plan.steps) + 1)]
    for k, (step, (start, stop)) in enumerate(zip(plan.steps, pairwise(edges), strict=True)):
        first_half, second_half = (start, (start + stop) // 2), ((start + stop) // 2, stop)
        lines, marks = (first_half,) * 2, (second_half,) * 5
        draw_step(figure, k, step, StepSpans(*lines, second_half, first_half, *marks))
        if any(line.role == "aim_line" for line in step.lines):
            bring_cue(figure, second_half)
    if not figure.has_ghost:
        put_ghost(figure, figure.panes, (edges[-2], edges[-1]))
    for id in figure.lines:
        if sheet.role(id) == "aim_line":
            sheet.move(id, "strength", (edges[-2], edges[-1]), 1.0)
    return pane


def _put_words(sheet: Sheet, cell: _Cell, part: float, n: int, own: Span, rate: tuple[int, int]) -> None:
    """The method's name from the start; its miss, and the bar scaled to the worst of all, in its own step."""
    fade = frames_of(TIMING.fade_s, rate)
    shown = (own[0] + fade, own[0] + 2 * fade)
    for k, text in enumerate(cell.name):
        sheet.put(f"name.{n}.{k}", text, "text", "caption", opacity=1.0)
    x, y, w, h = cell.bar_px
    new = [sheet.put(f"track.{n}", Shade((x, y, w, h), "hairline"), "area", "track")]
    if part * w >= 1:
        new.append(sheet.put(f"bar.{n}", Shade((x, y, part * w, h), "row_bar"), "bar", "worst_miss"))
    for k, text in enumerate(cell.told):
        new.append(sheet.put(f"told.{n}.{k}", text, "text", "readout"))
    for id in new:
        sheet.show(id, shown)


KIND = Kind(
    "methods-summary",
    "every method on one shot, ranked by its worst miss when taken at its word",
    outline,
    board,
    axes=("cut", "side"),
    spans=("method", "distance", "eye"),
)
