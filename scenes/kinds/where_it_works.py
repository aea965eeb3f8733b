"""Where it works: one method over all cuts from straight to 60 degrees, for each distance and eye.

A row a distance and eye: along it the cut, as a hill how far the object ball misses the target, under it what the
pocket takes. Judged are the method's readings (docs/geometry.md); of several the worst. A gap in the hill is a cut
at which the method gives no aim, or which lies beyond its reach.

Sentences: where_it_works.shot; for each row where_it_works.all, upto (value until), between (since, until), parts
or never, and no_aim, and then by which eye, as `told_apart` names it; where_it_works.closing. Measures of the
first step: goes_in (the bar's name), misses_by (the hill's) and highest (the scale's end, its unit the picture's);
of a row's: distance, the eye where the readings need one, and the miss at 15, 30, 45 and 60 degrees: miss (a name
where the aim passes the ball, or where there is none).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aimgeo.construct import Position, Quantity
from aimgeo.methods.over_cuts import STEEPEST_RAD, OverCuts, over_cuts
from scenes.board import Area, Board, Pane, PlanCamera, Rect, Shade, Text, constant
from scenes.board.brief import Brief, BriefStep, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span, frames_of
from scenes.board.timing import TIMING
from scenes.frame.column import joined, put_unlit
from scenes.frame.eye_words import beside_pips_px, body_words, fitted, put_titles, title_lines, told_apart
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.kinds.players_eye import eye_values

MOST_ROWS = 6
CHART = "chart"
TICKS_RAD = tuple(math.radians(cut) for cut in (15, 30, 45, 60))
HIGHEST_MM = (25.0, 50.0, 100.0, 200.0)
"""What the top of a hill may stand for; what misses by more reaches the top."""
ALONG_S = 5.0
"""The longest that a sweep along the cuts takes."""
COARSE_MM = 99.95
"""From here on tenths of a millimetre tell nothing."""


def rows(subject: Subject) -> tuple[tuple[Subject, OverCuts], ...]:
    """Each companion with its method over all cuts. ValueError for none, or more than fit."""
    if not subject.companions:
        raise ValueError("this clip needs a distance and an eye")
    found = [(one, _judged(one)) for one in subject.companions]
    if not _needs_eye(subject.companions[0]):  # then all eyes give the same
        found = list({one.distance_name: (one, judged) for one, judged in reversed(found)}.values())[::-1]
    if len(found) > MOST_ROWS:
        told = f"this clip compares {MOST_ROWS} pairs of distance and eye at most, not {len(found)}"
        raise ValueError(f"{told}; name fewer 'distances' or 'eyes'")
    return tuple(found)


def _needs_eye(one: Subject) -> bool:
    return any(r.needs_eye or r.uses_eye for r in one.methods[one.judged or ""].readings.values())


def _judged(one: Subject) -> OverCuts:
    if one.shot is None or one.eye is None or one.judged is None:
        raise ValueError("this clip needs shots with a method and an eye")
    aside = 0.0 if one.eye.follows_contact else one.eye.offset_mm
    eye = (one.eye.back_mm, aside, one.eye.height_mm)
    return over_cuts(one.methods[one.judged], one.shot, eye, one.pocket, float(one.eye.follows_contact))


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """How to read it, a row at a time, and what follows."""
    found = rows(subject)
    method = Quantity(found[0][0].judged or "", "name")
    highest = Quantity(_highest([judged for _, judged in found]), "distance_mm")
    eyes = _eyes([one for one, _ in found])
    names = (
        ("goes_in", Quantity("", "name")), ("misses_by", Quantity("", "name")), ("highest", highest),
        ("half", method),
    )  # fmt: skip
    return (
        OutlineStep("shot", "where_it_works.shot", (), names, draws_s=4.0),
        *(_told(n, one, eye, judged) for n, ((one, judged), eye) in enumerate(zip(found, eyes, strict=True), 1)),
        OutlineStep("closing", "where_it_works.closing", (), (), draws_s=3.5),
    )


def _eyes(found: Sequence[Subject]) -> list[tuple[tuple[str, Quantity], ...]]:
    """By which eye each row is judged; nothing where the method asks for none.

    An eye over the contact-point line goes with the cut, so no number says where it is in a row of all cuts.
    """
    seen = {one.eye.name: one.eye for one in found if one.eye is not None and _needs_eye(one)}
    resting = {name: eye for name, eye in seen.items() if not eye.follows_contact}
    following = {name: eye for name, eye in seen.items() if eye.follows_contact}
    told = dict(zip(resting, told_apart(tuple(resting.values())), strict=True))
    if len(following) > 1:
        told |= dict(zip(following, told_apart(tuple(following.values())), strict=True))
    else:
        told |= dict.fromkeys(following, ("eye_contact", Quantity("", "name")))
    return [(told[one.eye.name],) if one.eye is not None and one.eye.name in told else () for one in found]


def _told(number: int, one: Subject, eye: tuple[tuple[str, Quantity], ...], judged: OverCuts) -> OutlineStep:
    assert one.shot is not None
    assert one.eye is not None
    values = [("distance", Quantity(float(one.shot.distance_mm), "distance_mm")), *eye_values(one.eye)]
    then = f"where_it_works.{eye[0][0]}" if eye else ""
    runs = judged.runs
    if np.isnan(judged.miss_mm).all():
        kind = "no_aim"
    elif not runs:
        kind = "never"
    elif len(runs) > 1:
        kind = "parts"
    elif runs[0] == (0.0, float(judged.cut_rad[-1])):
        kind = "all"
    else:
        kind = "upto" if runs[0][0] == 0.0 else "between"
        values += [("since", Quantity(runs[0][0], "angle_rad")), ("until", Quantity(runs[0][1], "angle_rad"))]
    misses = (("miss", _miss(judged.at(cut))) for cut in TICKS_RAD)
    measures = (("from_distance", values[0][1]), *eye, *misses)
    return OutlineStep(f"row {number}", f"where_it_works.{kind}", tuple(values), measures, 3.0, then=then)


def _miss(miss_mm: float) -> Quantity:
    if math.isnan(miss_mm):
        return Quantity("no_aim", "name")
    if not math.isfinite(miss_mm):
        return Quantity("no_hit", "name")
    return Quantity(miss_mm, "length_mm" if miss_mm < COARSE_MM else "distance_mm")


def _highest(found: list[OverCuts]) -> float:
    """The least of the scales that shows every finite miss, or the greatest."""
    largest = max((float(m) for one in found for m in one.miss_mm if math.isfinite(m)), default=0.0)
    return next((top for top in HIGHEST_MM if top >= largest), HIGHEST_MM[-1])


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    found = rows(brief.subject)
    if len(brief.steps) != len(found) + 2:
        raise ValueError(f"this clip has {len(found) + 2} steps")
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    W, H = float(frame.width_px), float(frame.height_px)
    room = W - 2 * frame.title_px[0]
    spans, rate, sheet = brief.spans, brief.output.rate, Sheet()
    put_titles(sheet, frame, brief.steps, spans, rate, room)
    lines = max(len(title_lines(step.title, frame, room)) for step in brief.steps)
    rows_told = [_words(brief, one, step) for (one, _), step in zip(found, brief.steps[1:-1], strict=True)]
    places = _Places(frame, lines, [names for names, _ in rows_told])
    highest = _highest([judged for _, judged in found])
    _put_axis(sheet, frame, places, brief)
    for n, ((_, judged), step, span) in enumerate(zip(found, brief.steps[1:-1], spans[1:-1], strict=True)):
        example = (brief.steps[0], spans[0]) if n == 0 else (step, span)
        when = _when(Words(step, span), Words(*example), rate)
        _put_row(sheet, frame, places, n, judged, highest, rows_told[n][1], when, rate)
    camera = PlanCamera(constant(0.0, 0.0, math.pi / 2, 0.0))
    full: Rect = (0.0, 0.0, W, H)
    return sheet.board(brief, (Pane(CHART, full, "table", camera, "cloth"),))


def _words(brief: Brief, one: Subject, step: BriefStep) -> tuple[list[str], list[str]]:
    """What a row is called, and its numbers."""
    assert one.eye is not None
    far, *misses = step.measures
    names = [name for name in (brief.labels.get(f"at.{one.distance_name}"), joined(far)) if name]
    if _needs_eye(one):
        eye, *misses = misses
        told_eye = body_words(eye) if eye.key in ("eye_height", "eye_back") else eye.name
        names.append(brief.labels.get(f"eye.{one.eye.name}", told_eye))
    return names, [joined(measure) for measure in misses]


@dataclass(frozen=True, slots=True)
class _When:
    """When a row's name and ground, its hill, its bar and its numbers come."""

    named: Span
    risen: Span
    barred: Span
    numbered: Span


def _when(words: Words, shown_by: Words, rate: tuple[int, int]) -> _When:
    """Each with the clause that speaks of it. The first row comes while the chart is explained, and has its
    numbers in its own step; in the others' steps all of it is drawn in one sweep along the cuts."""
    lead, rest = 2 * TIMING.fade_s, 0.5
    along = Part(("window",), 1.5, grows=True, most_s=ALONG_S)
    if words.span == shown_by.span:
        named, swept = placed(words, (Part(("from_distance",), TIMING.fade_s), along), rate, lead, rest)
        return _When(named, swept, swept, swept)
    parts = (
        Part(("cut",), 1.5),
        Part(("miss",), 1.5, grows=True, most_s=ALONG_S),
        Part(("window",), 1.0, grows=True),
    )
    named, risen, barred = placed(shown_by, parts, rate, lead, rest)
    return _When(named, risen, barred, placed(words, (along,), rate, lead, rest)[0])


def _style(line: int) -> str:
    """The first line of a row's name is the larger."""
    return "small" if line else "label"


def _widest_px(rows: Sequence[Sequence[str]], frame: Layout) -> float:
    """How wide the rows' names are on so many lines each."""
    lines = ((line[:1].upper() + line[1:], _style(k)) for row in rows for k, line in enumerate(row))
    return max(frame.scale.text_width_px(*line) for line in lines)


NAMES_PART, MOST_NAMES_PART = 0.27, 0.40
"""Of a wide picture the names beside the chart have this part, and more up to that where they need it."""


class _Places:
    """Where the rows, their names and their ground lines stand; a cut's x.

    `names`: the lines of each row's name. Beside them the chart begins, farther in where they are long.
    """

    def __init__(self, frame: Layout, title_count: int, names: Sequence[Sequence[str]]) -> None:
        count = len(names)
        s, H = frame.scale, float(frame.height_px)
        small = s.text_px("small")
        self.small_px = small
        self.is_wide = frame.shape == "wide"
        left, right = frame.title_px[0], frame.width_px - frame.title_px[0]
        _, safe_y, _, safe_h = frame.title_safe
        self.left_px, self.right_px = left, right
        self.to_px = right - 1.2 * small
        top = frame.title_px[1] + (title_count - 1) * frame.title_pitch_px + 0.9 * small
        self.axis_px = safe_y + safe_h - (1.0 if self.is_wide else 2.5) * small
        if frame.shape == "tall":
            self.axis_px = 0.80 * H
        bottom = self.axis_px - 2.9 * small
        self.pitch_px = min((bottom - top) / count, 0.26 * s.short_px)
        self.top_px = bottom - count * self.pitch_px
        self.top_px = top + 0.5 * (self.top_px - top)
        self.axis_px = self.top_px + count * self.pitch_px + 1.2 * small
        self.names_px = 0.0 if self.is_wide else 1.25 * small
        self.names = self._lines(names, frame)
        self.from_px = left + 0.8 * small
        if self.is_wide:
            needs = _widest_px(self.names, frame) + s.px(24)
            self.from_px = left + min(max(needs, NAMES_PART * (right - left)), MOST_NAMES_PART * (right - left))

    def _lines(self, names: Sequence[Sequence[str]], frame: Layout) -> list[tuple[str, ...]]:
        """The rows' names on as many lines as stand beside each; where these are two, so that they need least
        room.
        """
        if not self.is_wide:
            return [(", ".join(one),) for one in names]
        most = max(map(len, names))
        if most <= self.pitch_px / (1.25 * self.small_px):
            return [tuple(one) for one in names]
        parted: list[list[tuple[str, ...]]] = [
            [(", ".join(one[:k]), ", ".join(one[k:])) for one in names] for k in range(1, most)
        ]
        return min(parted, key=lambda rows: _widest_px(rows, frame))

    def x(self, cut_rad: float) -> float:
        """Where a cut stands."""
        return self.from_px + cut_rad / STEEPEST_RAD * (self.to_px - self.from_px)

    def ground(self, row: int) -> float:
        """The ground line of a row."""
        return self.top_px + (row + 1) * self.pitch_px - 0.20 * self.pitch_px

    @property
    def hill_px(self) -> float:
        """How high a hill may be."""
        return 0.74 * self.pitch_px - self.names_px - 0.9 * self.small_px

    @property
    def bar_px(self) -> float:
        """How high the bar of what is pocketed is."""
        return 0.10 * self.pitch_px


def _put_axis(sheet: Sheet, frame: Layout, places: _Places, brief: Brief) -> None:
    """The cuts under the rows, and what hill and bar stand for."""
    s, y = frame.scale, places.axis_px
    spoken, rate = Words(brief.steps[0], brief.spans[0]), brief.output.rate
    parts = (
        Part(("cut",), 1.5, grows=True, most_s=3.0),
        Part(("miss",), TIMING.fade_s),
        Part(("window",), TIMING.fade_s),
    )
    cuts, *keyed = placed(spoken, parts, rate, TIMING.fade_s, 0.5)
    for n, cut in enumerate((0.0, *TICKS_RAD)):
        text = Text(f"{round(math.degrees(cut))}°", (places.x(cut), y), "tick", "centre")
        put_unlit(sheet, f"tick.{n}", text, "caption", _passed(cuts, n / len(TICKS_RAD), rate))
    goes_in, misses_by, highest, method = brief.steps[0].measures
    name = fitted(joined(method), 0.5 * frame.width_px, frame)
    at = (places.right_px, beside_pips_px(frame))
    sheet.put("method", Text(name, at, "label", "right"), "text", "heading", opacity=1.0)
    keys = (("gain", goes_in.name), ("loss", f"{misses_by.name} 0–{joined(highest)}"))
    shown = {"loss": keyed[0], "gain": keyed[1]}
    x, box = places.left_px, 0.62 * places.small_px
    y += 1.55 * places.small_px
    for style, words in keys:
        if x > places.left_px and x + 1.6 * box + s.text_width_px(words, "small") > places.right_px:
            x, y = places.left_px, y + 1.4 * places.small_px
        corners = _box(frame, x, y - box, x + box, y)
        role = {"gain": "window", "loss": "miss"}[style]
        sheet.show(sheet.put(f"key.{style}", Area(corners, style), "area", role, (CHART,)), shown[style])
        text = Text(words, (x + 1.6 * box, y), "small")
        sheet.show(sheet.put(f"key.{style}.words", text, "text", "caption"), shown[style])
        x += 1.6 * box + s.text_width_px(words, "small") + 2.0 * box


def _box(frame: Layout, left: float, top: float, right: float, bottom: float) -> tuple[Position, ...]:
    """A rectangle of the frame, in the chart's places."""
    return tuple(_at(frame, x, y) for x, y in ((left, top), (right, top), (right, bottom), (left, bottom)))


def _at(frame: Layout, x: float, y: float) -> Position:
    return (x - frame.width_px / 2, frame.height_px / 2 - y, 0.0)


def _put_row(
    sheet: Sheet,
    frame: Layout,
    places: _Places,
    n: int,
    judged: OverCuts,
    highest: float,
    told: list[str],
    when: _When,
    rate: tuple[int, int],
) -> None:
    """A row: its name and ground; the hill and the bar, drawn along the cuts; the numbers, one after the other."""
    s, small, ground = frame.scale, places.small_px, places.ground(n)
    line = Shade((places.from_px, ground, places.to_px - places.from_px, max(s.px(2), 1.0)), "hairline")
    sheet.put(f"ground.{n}", line, "area", "line", opacity=1.0)
    lines = places.names[n]
    for k, name in enumerate(lines):
        if places.is_wide:
            at = (places.left_px, ground - (len(lines) - 1 - k) * 1.2 * small)
            room, style = places.from_px - places.left_px - s.px(24), _style(k)
        else:
            at = (places.left_px, places.top_px + n * places.pitch_px + 0.9 * small)
            room, style = places.right_px - places.left_px, "small"
        text = Text(fitted(name, room, frame, style), at, style)
        put_unlit(sheet, f"name.{n}.{k}", text, "from_distance", when.named)
    for k, corners in enumerate(_hills(frame, places, judged, highest, ground)):
        id = sheet.put(f"hill.{n}.{k}", Area(corners, "loss"), "area", "miss", (CHART,), drawn=0.0)
        _draw(sheet, id, when.risen, [_along(frame, places, at[0]) for at in (min(corners), max(corners))])
    for k, (first, last) in enumerate(judged.runs):
        half = 0.5 * STEEPEST_RAD / (len(judged.cut_rad) - 1)
        left, right = (places.x(min(max(c, 0.0), STEEPEST_RAD)) for c in (first - half, last + half))
        corners = _box(frame, left, ground + s.px(4), right, ground + s.px(4) + places.bar_px)
        id = sheet.put(f"pocketed.{n}.{k}", Area(corners, "gain"), "area", "window", (CHART,), drawn=0.0)
        _draw(sheet, id, when.barred, (first / STEEPEST_RAD, last / STEEPEST_RAD))
    taken = math.inf
    for k, (cut, number) in reversed(list(enumerate(zip(TICKS_RAD, told, strict=True)))):
        wide = s.text_width_px(number, "small")
        x = min(places.x(cut) + wide / 2, places.to_px)
        room = taken - 0.4 * small
        if x - room > wide / 4:  # no room between its neighbours
            continue
        x = min(x, room)
        taken = x - wide
        under = [
            min(float(miss) / highest, 1.0) if not math.isnan(miss) else 0.0
            for at, miss in zip(judged.cut_rad, judged.miss_mm, strict=True)
            if x - wide <= places.x(float(at)) <= x
        ]
        text = Text(number, (x, ground - max(under) * places.hill_px - 0.32 * small), "small", "right")
        shown = _passed(when.numbered, cut / STEEPEST_RAD, rate)
        sheet.show(sheet.put(f"miss.{n}.{k}", text, "text", "readout"), shown)


def _along(frame: Layout, places: _Places, x_mm: float) -> float:
    """A place of the chart as a part of the way along the cuts."""
    return (x_mm + frame.width_px / 2 - places.from_px) / (places.to_px - places.from_px)


def _at_part(span: Span, part: float) -> int:
    return round(span[0] + min(max(part, 0.0), 1.0) * (span[1] - span[0]))


def _passed(span: Span, part: float, rate: tuple[int, int]) -> Span:
    """A fade that begins when this part of a span is over."""
    first = _at_part(span, part)
    return first, first + frames_of(TIMING.fade_s, rate)


def _draw(sheet: Sheet, id: str, span: Span, parts: Sequence[float]) -> None:
    """Evenly along the cuts, from one part of them to another, in a span that is for all of them."""
    first, end = (_at_part(span, part) for part in parts)
    sheet.move(id, "opacity", (first, first + 1), 1.0)
    sheet.move(id, "drawn", (first, end), 1.0, easing="linear")


def _hills(
    frame: Layout, places: _Places, judged: OverCuts, highest: float, ground: float
) -> list[tuple[Position, ...]]:
    """The miss over the cuts as polygons on the ground, one for each stretch in which there is an aim."""
    found: list[tuple[Position, ...]] = []
    here: list[tuple[float, float]] = []
    for cut, miss in [*zip(judged.cut_rad.tolist(), judged.miss_mm.tolist(), strict=True), (0.0, math.nan)]:
        if not math.isnan(miss):
            here.append((places.x(cut), ground - min(miss / highest, 1.0) * places.hill_px))
            continue
        if len(here) > 1 and min(y for _, y in here) < ground - 0.5:
            corners = [(here[0][0], ground), *here, (here[-1][0], ground)]
            found.append(tuple(_at(frame, x, y) for x, y in corners))
        here = []
    return found


KIND = Kind(
    "where-it-works",
    "one method at every cut up to 60 degrees: how far it misses, and where it pockets",
    outline,
    board,
    axes=("method", "side"),
    spans=("distance", "eye"),
    is_over_cuts=True,
)
