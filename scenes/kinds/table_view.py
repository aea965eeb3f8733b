"""The table from above: where the shot is, and where its balls lie, counted from the nearer rails.

Of each ball the diamonds are counted on the rails, one after the other; a line goes straight across from there,
and the measured way to the nose is named: in quarters of a diamond, with what is to be added or taken off, and as
a length. The exact place stands on the set-up sheet. Last come the distance and the aim.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from aimgeo.construct import Position, Quantity, position
from aimgeo.holes import hole_of
from aimgeo.shot import Shot
from aimgeo.side import NAMES
from aimgeo.tables import FromRail, Table
from scenes.board import (
    ONE,
    Area,
    Ball,
    Board,
    Line,
    Mark,
    Pane,
    Rect,
    Ring,
    TableTop,
    Text,
)
from scenes.board.brief import NEXT, Brief, BriefStep, MeasureText, OutlineStep, Subject
from scenes.board.motion import Sheet, Span, frames_of, in_turn
from scenes.board.timing import TIMING, drawing_s
from scenes.figure.figure import Figure, bare
from scenes.figure.labels import NOTHING, Disc, Obstacles, Port, Spacing, Stroke, Wanted, is_clear, merged
from scenes.figure.named import other_names
from scenes.figure.placer import BALL_RANK, BAR_RANK, LINE_RANK, Labels, plate_size
from scenes.frame.column import appear, joined, text_rect
from scenes.frame.framing import INSET, TABLE, Framing, View, pane, table_view
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.look.fonts import CAP_HEIGHT

LOCATE_RADII = 2.1
"""The thin ring around a ball at true size, in its radii."""
POCKET_REACH_MM = 130.0
"""Words in a corner stand so far from it."""
MOST_REGION_BALLS = 2.6
"""The inset outlines what the stage shows to this many balls either side of its middle."""
SIGHT_MM = 95.0
"""The sights lie so far outside the noses: common practice."""
COUNT_S = 0.45
"""From one counted diamond to the next."""
EXACT_MM = 0.8
"""A place this near to a quarter of a diamond lies on it: less would be told as 0 sixteenths of an inch."""
MOST_LABELS = 6
BESIDE_RADII = 3.6
"""The distance is drawn so far beside the line through both centres, in ball radii."""


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """Where the shot is, where the object ball and the cue ball lie, how far apart they are, and the aim."""
    if subject.shot is None or subject.table is None:
        raise ValueError("a table clip needs a table and a shot")
    values = _values(subject)
    steps = [OutlineStep("where", "table.where", values, draws_s=4.0)]
    for name, found in _places(subject.shot, subject.table).items():
        told = [*values]
        for key, place in zip(("end", "flank"), found, strict=True):
            told += [(f"{key}_rail", Quantity(f"{place.rail}-rail", "name"))]
            told += [(f"{key}_count", _counted(place, subject.table))]
            told += [(f"{key}_rest", Quantity(abs(_rest_mm(place)), "set_mm"))]
        measures = counted(subject)[name]
        is_exact = all(key == "away" or key.startswith("from_") for key, _ in measures)
        sentence = f"table.{name.replace(' ', '_')}{'' if is_exact else '_about'}"
        draws_s = 1.8 + 2 * (TIMING.draw_s + TIMING.fade_s) + COUNT_S * sum(map(_most, found))
        steps.append(OutlineStep(name, sentence, tuple(told), measures, draws_s))
    apart = ("distance", Quantity(float(subject.shot.distance_mm), "distance_mm"))
    has_aim = bool(np.isfinite(subject.shot.aim_direction).all())
    sentence = "table.distance" if has_aim else "table.touching"
    return (*steps, OutlineStep("distance", sentence, values, (apart,), 4.0))


def counted(subject: Subject) -> dict[str, tuple[tuple[str, Quantity], ...]]:
    """The measures of each ball's place: to the nearest quarter of a diamond from two rails, each with what makes
    it exact; lengths on a table without sights."""
    assert subject.shot is not None
    assert subject.table is not None
    out = {}
    for name, found in _places(subject.shot, subject.table).items():
        measures: list[tuple[str, Quantity]] = []
        for key, place in zip(("end", "flank"), found, strict=True):
            measures.append((f"from_{place.rail}", _counted(place, subject.table)))
            if subject.table.has_sights:
                rest = _rest_mm(place)
                away = "away" if abs(rest) < EXACT_MM else f"{key}_{'less' if rest < 0 else 'more'}"
                measures.append((away, Quantity(place.away_mm, "set_mm")))
        out[name] = tuple(measures)
    return out


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    subject = brief.subject
    brief.check_steps(outline(subject), "a table clip")
    table, shot = subject.table, subject.shot
    assert table is not None
    assert shot is not None
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    view = table_view(frame, table)
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
    sheet, spans, rate = Sheet(), brief.spans, brief.output.rate
    fade = frames_of(TIMING.fade_s, rate)
    put_table(sheet, shot, table)
    for i, (step, (first, end)) in enumerate(zip(brief.steps, spans, strict=True)):
        shown = (first + fade // 2, first + fade) if i else None
        gone = (end, end + max(fade // 2, 1)) if i < len(spans) - 1 else None
        put_table_title(sheet, brief, frame, f"{TABLE}.title.{i}", step.title, shown, gone)
    figure = _figure(brief, sheet, frame, view)
    places = _places(shot, table)
    counts = [_Count(figure, table, name, found) for name, found in places.items()]
    names = _end_names(
        figure, table, merged([_base(figure, table), *(count.obstacles(k) for count in counts for k in (0, 1))])
    )
    put_heading(sheet, brief, frame, names, None)
    labels = _labels(figure, table, counts, names)
    _where(figure, labels, brief.steps[0], spans[0])
    for n, (step, span, count) in enumerate(zip(brief.steps[1:3], spans[1:3], counts, strict=True)):
        _lies(figure, labels, 2 * n + 1, step, span, count)
    _apart(figure, labels, brief.steps[3], spans[3])
    return sheet.board(brief, (Pane(TABLE, full, "table", view.camera(full), "cloth"),))


# ------------------------------------------------------------------ what also opens a build-up


@dataclass(frozen=True, slots=True)
class Opening:
    """When the table view that opens a build-up shows what: each title and until when, how far the balls are
    apart, the target line while it is drawn, the pocket's ring; words go `off`, then the table is `gone`."""

    titles: tuple[tuple[str, Span | None, Span], ...]
    between: Span
    line: Span
    pocket: Span
    off: Span
    gone: Span


def put_opening(sheet: Sheet, brief: Brief, frame: Layout, table: Table, when: Opening) -> None:
    """The table view that opens a build-up; the target line stays until the table is gone."""
    shot = brief.subject.shot
    assert shot is not None
    put_table(sheet, shot, table, with_balls=False)
    sheet.hide(f"{TABLE}.top", when.gone)
    for n, (title, shown, gone) in enumerate(when.titles):
        put_table_title(sheet, brief, frame, f"{TABLE}.title.{n}", title, shown, gone)
    figure = _figure(brief, sheet, frame, table_view(frame, table))
    ends = position(shot.object_ball_mm), position(shot.cue_ball_mm)
    between = Obstacles(strokes=(_stroke(figure, f"{TABLE}.between", *ends, "thin_line"),))
    names = _end_names(figure, table, merged([_base(figure, table), between]))
    put_heading(sheet, brief, frame, names, when.off)
    line = put_target_line(sheet, shot, 0.0)
    sheet.move(line, "drawn", when.line, 1.0)
    sheet.hide(line, when.gone)
    if brief.subject.target_name in {pocket.name for pocket in table.pockets()}:
        hole = hole_of(table.pocket(str(brief.subject.target_name)), table)
        ring = Ring((*hole.centre_mm, 0.0), hole.radius_mm, "target_line")
        sheet.put(f"{TABLE}.pocket", ring, "mark", "pocket", (TABLE,), opacity=1.0, drawn=0.0)
        sheet.move(f"{TABLE}.pocket", "drawn", when.pocket, 1.0)
        sheet.hide(f"{TABLE}.pocket", when.off)
    apart = Line(ends, "thin_line")
    sheet.put(f"{TABLE}.between", apart, "line_under", "between", (TABLE,), opacity=1.0, drawn=0.0)
    sheet.move(f"{TABLE}.between", "drawn", when.between, 1.0)
    labels = _labels(figure, table, (), names)
    labels.steps = [merged([labels.steps[0], between]), *labels.steps[1:]]
    wanted = _of_balls(figure)
    labels.add(0, [one for one in wanted if one[1] == BALL_RANK], (0, 1), (0, 1))
    if text := brief.labels.get("distance"):
        shown = (when.between[1], when.between[1] + when.off[1] - when.off[0])
        want = _along(figure, f"{TABLE}.between", *ends, text, "", None)
        labels.add(0, [(want, BAR_RANK)], shown, shown)
    labels.add(0, [one for one in wanted if one[1] == LINE_RANK], when.pocket, when.pocket)
    labels.clear(when.off)
    for id in (f"{TABLE}.between", f"{TABLE}.cue_ball.ring", f"{TABLE}.object_ball.ring"):
        sheet.hide(id, when.off)


def put_table(sheet: Sheet, shot: Shot, table: Table, with_balls: bool = True) -> None:
    """The table, and the two balls at true size, each in a thin ring."""
    R = float(shot.radius_mm)
    sheet.put(f"{TABLE}.top", TableTop(table), "table", "table", (TABLE,), opacity=1.0)
    for role, at, look in (
        ("object_ball", position(shot.object_ball_mm), "object"),
        ("cue_ball", position(shot.cue_ball_mm), "cue"),
    ):
        if with_balls:
            sheet.put(role, Ball(at, R, look), "ball", role, (TABLE,), opacity=1.0)
        ring = Ring(at, LOCATE_RADII * R, "thin_line")
        sheet.put(f"{TABLE}.{role}.ring", ring, "mark", "ring", (TABLE,), opacity=1.0)


def put_target_line(sheet: Sheet, shot: Shot, drawn: float) -> str:
    """The target line on the table; its id."""
    line = Line((position(shot.object_ball_mm), position(shot.target_mm)), "target_line", arrow=True)
    return sheet.put(f"{TABLE}.target_line", line, "line_under", "target_line", (TABLE,), opacity=1.0, drawn=drawn)


def put_heading(sheet: Sheet, brief: Brief, frame: Layout, names: list[Text], off: Span | None) -> None:
    """Cut and distance, and the names of the table's ends."""
    for text in (*_heading(brief, frame), *names):
        id = sheet.put(f"{TABLE}.{text.text}", text, "text", "words", opacity=1.0)
        appear(sheet, id, None, off)


def put_table_title(
    sheet: Sheet, brief: Brief, frame: Layout, id: str, title: str, shown: Span | None, gone: Span | None
) -> None:
    """A step's title, on one line over the table."""
    text = Text(" ".join(title.split()), frame.table_title_px, _styles(brief, frame)[0])
    sheet.put(id, text, "text", "title", opacity=0.0 if shown else 1.0)
    appear(sheet, id, shown, gone)


def put_inset(sheet: Sheet, subject: Subject, stage: Framing, table: Table, frame: Layout) -> None:
    """The table inset beside a build-up: both balls, the target line, and what the stage shows of the table."""
    shot = subject.shot
    assert shot is not None
    C, O, T = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.target_mm))
    sheet.put(f"{INSET}.top", TableTop(table, detail=False), "table", "table", (INSET,), opacity=1.0)
    if stage.is_broken:
        line = Line((C, position(shot.ghost_ball_mm)), "aim_line")
        sheet.put(f"{INSET}.aim_line", line, "line", "aim_line", (INSET,), opacity=1.0)
    else:
        area = Area(_region(stage.main, frame, shot), "region")
        sheet.put(f"{INSET}.region", area, "area", "region", (INSET,), opacity=1.0)
    target = Line((O, T), "target_line")
    sheet.put(f"{INSET}.target_line", target, "line", "target_line", (INSET,), opacity=1.0)
    sheet.put(f"{INSET}.cue_ball", Mark(C, "cue_dot"), "mark", "cue_ball", (INSET,), opacity=1.0)
    sheet.put(f"{INSET}.object_ball", Mark(O, "object_dot"), "mark", "object_ball", (INSET,), opacity=1.0)


def _region(view: View, frame: Layout, shot: Shot) -> tuple[Position, ...]:
    """The corners of what the stage shows, its top edge first."""
    x, y, w, _ = frame.label_zone
    bottom = frame.action_safe[1] + frame.action_safe[3]
    half = MOST_REGION_BALLS * float(np.asarray(shot.ball_diameter_mm)) * view.px_per_mm
    left, right = max(x, view.at_px[0] - half), min(x + w, view.at_px[0] + half)
    return tuple(view.to_mm(corner) for corner in ((left, y), (right, y), (right, bottom), (left, bottom)))


# ------------------------------------------------------------------ steps


def _values(subject: Subject) -> tuple[tuple[str, Quantity], ...]:
    assert subject.shot is not None
    return (
        ("cut", Quantity(abs(float(subject.shot.cut_rad)), "angle_rad")),
        ("side", Quantity(NAMES[int(subject.shot.side)], "name")),
        ("distance", Quantity(float(subject.shot.distance_mm), "distance_mm")),
    )


def _places(shot: Shot, table: Table) -> dict[str, tuple[FromRail, FromRail]]:
    """How far each ball lies from the nearer end rail and from the nearer long rail."""
    balls = {"object ball": shot.object_ball_mm, "cue ball": shot.cue_ball_mm}
    return {name: table.from_rails(at) for name, at in balls.items()}


def _counted(place: FromRail, table: Table) -> Quantity:
    """In quarters of a diamond; as a length on a table without sights."""
    return Quantity(place.diamonds, "quarters") if table.has_sights else Quantity(place.away_mm, "length_mm")


def _rest_mm(place: FromRail) -> float:
    """What the nearest quarter of a diamond leaves, in mm: positive when the ball lies farther from the rail."""
    return place.away_mm * (1 - round(4 * place.diamonds) / (4 * place.diamonds)) if place.diamonds > 0 else 0.0


def _most(place: FromRail) -> int:
    """How many diamonds are counted: the last one is that before which, or at which, the ball lies."""
    return math.ceil(round(4 * place.diamonds) / 4)


def _cued(step: BriefStep, span: Span, count: int, rate: tuple[int, int]) -> list[int]:
    """The frames at which the parts of a step begin: with their words, else evenly."""
    first, end = span
    lead = first + frames_of(TIMING.fade_s + TIMING.rest_s, rate)
    told = tuple(one.start for one in step.clauses if NEXT in one.names)
    cues = told or tuple(k / (count + 0.5) for k in range(count))
    said = [first + round(cue * (end - first)) for cue in cues]
    return [max(lead, said[min(k, len(said) - 1)]) for k in range(count)]


def _where(figure: Figure, labels: Labels, step: BriefStep, span: Span) -> None:
    """The balls are named, and the target line is drawn with its words."""
    (a, b), rate = (figure.px(at) for at in _target(figure.shot)), figure.rate
    draw_s = drawing_s(math.dist(a, b) / figure.frame.height_px)
    (into,) = _cued(step, span, 1, rate)
    line, named, _ = in_turn(into, span[1], (draw_s, TIMING.fade_s, TIMING.hold_s), rate)
    figure.sheet.move(put_target_line(figure.sheet, figure.shot, 0.0), "drawn", line, 1.0)
    target, *balls = _of_balls(figure)
    start = span[0] + frames_of(TIMING.rest_s, rate)
    labels.add(0, balls, (start, start + frames_of(TIMING.fade_s, rate)), (span[0], span[0] + 1))
    labels.add(0, [target], named, named)


def _lies(figure: Figure, labels: Labels, index: int, step: BriefStep, span: Span, count: _Count) -> None:
    """Diamonds counted along one rail, a line across from there, the measured way; then along the other rail."""
    sheet, rate = figure.sheet, figure.rate
    fade = frames_of(TIMING.fade_s, rate)
    turn = (span[0], span[0] + fade)
    gone = (span[1], span[1] + fade)
    labels.age(turn)
    labels.remove_named(f"{TABLE}.target_line", turn)
    starts = [*_cued(step, span, 2, rate), span[1]]
    texts = _texts(step.measures)
    for k, (first, end) in enumerate(pairwise(starts)):
        sights = count.sights(k)
        times = (*[COUNT_S] * len(sights), TIMING.draw_s, TIMING.fade_s, 0.6)
        *lit, draw, named, _ = in_turn(first, end, times, rate)
        for sight, at in zip(sights, lit, strict=True):
            for id in sight.put(figure):
                sheet.show(id, (at[0], at[0] + fade))
                sheet.hide(id, gone)
        lines = count.lines(k)
        for id, line in lines:
            sheet.put(id, line, "line_under", "measure_line", (TABLE,), 1.0, 0.0)
            sheet.move(id, "drawn", draw, 1.0)
            sheet.hide(id, gone)
        _name(labels, index + k, f"{count.stem}.{k}", count.ways[k], texts[k], named)
    for k in (0, 1):
        labels.gone |= {id for id, _ in count.lines(k)}
        labels.remove_named(f"{count.stem}.{k}", gone)


def _apart(figure: Figure, labels: Labels, step: BriefStep, span: Span) -> None:
    """The distance between the centres, then the aim."""
    sheet, shot, rate = figure.sheet, figure.shot, figure.rate
    across, aim = _cued(step, span, 2, rate)
    draw, named, _ = in_turn(across, aim, (TIMING.draw_s, TIMING.fade_s, 0.4), rate)
    for n, ends in enumerate(_dimension(shot)):
        of = f"distance.0.{n}" if n else "distance.0"
        id = sheet.put(of, Line(ends, "thin_line"), "line_under", "measure_line", (TABLE,), 1.0, 0.0)
        sheet.move(id, "drawn", draw, 1.0)
    text = joined(step.measures[0])
    labels.age((span[0], span[0] + 1))
    _name(labels, 5, "distance.0", _dimension(shot)[0], [(text, "")], named)
    if not np.isfinite(shot.aim_direction).all():
        return
    G = position(shot.ghost_ball_mm)
    line = Line((position(shot.cue_ball_mm), G), "aim_line")
    id = sheet.put(f"{TABLE}.aim_line", line, "line_under", "aim_line", (TABLE,), 1.0, 0.0)
    aimed = (aim, aim + frames_of(TIMING.draw_s, rate))
    sheet.move(id, "drawn", aimed, 1.0)
    if name := figure.brief.labels.get("aim_line"):
        want = _along(figure, f"{TABLE}.aim_line", *line.points_mm, name, "", "aim_line")
        labels.add(6, [(want, LINE_RANK)], (aimed[1], aimed[1] + frames_of(TIMING.fade_s, rate)), aimed)
    sheet.put("ghost_ball", Ball(G, figure.radius_mm, "ghost"), "ghost", "ghost_ball", (TABLE,))
    sheet.show("ghost_ball", (aimed[1], aimed[1] + frames_of(TIMING.fade_s, rate)))


def _name(
    labels: Labels, index: int, id: str, ends: tuple[Position, Position], texts: list[tuple[str, str]], named: Span
) -> None:
    """The number at what it measures; where its words find no place, the number alone."""
    for text, second in (*texts, (texts[-1][0], "")):
        # a number never stands apart from what it measures
        want = replace(_along(labels.figure, id, *ends, text, second, None), near_px=None)
        labels.add(index, [(want, BAR_RANK)], named, named)
        if any(standing.placed.wanted.id == id for standing in labels.standing):
            return


def _texts(measures: Sequence[MeasureText]) -> list[list[tuple[str, str]]]:
    """The label of each measured way, and the same in fewer words: the number with its rail, and under it what
    makes it exact."""
    out: list[list[tuple[str, str]]] = []
    for measure in measures:
        if measure.key.startswith("from_"):
            out.append([(f"{joined(measure)} {measure.name}", ""), (joined(measure), "")])
        else:
            (text, _), (short, _) = out[-1]
            out[-1] = [(text, f"{measure.name} {joined(measure)}"), (short, joined(measure))]
    return out


def _dimension(shot: Shot) -> list[tuple[Position, Position]]:
    """The distance drawn beside the line through both centres, and its two ends; on the side of the target's far
    side."""
    C, O = shot.cue_ball_mm, shot.object_ball_mm
    along = (O - C)[:2] / np.linalg.norm((O - C)[:2])
    across = np.array([-along[1], along[0], 0.0])
    if float((shot.target_mm - O) @ across) > 0:
        across = -across
    R = float(shot.radius_mm)
    off, near, far = BESIDE_RADII * R, (LOCATE_RADII + 0.3) * R, (BESIDE_RADII + 0.7) * R
    ends = [(position(C + off * across), position(O + off * across))]
    return ends + [(position(at + near * across), position(at + far * across)) for at in (C, O)]


# ------------------------------------------------------------------ counting on the rails


class _Sight:
    """A counted diamond: where it is, its number, and where that stands on the rail."""

    def __init__(self, id: str, at: Position, number: Text, is_sight: bool) -> None:
        self.id, self.at, self.number, self.is_sight = id, at, number, is_sight

    def put(self, figure: Figure) -> list[str]:
        """Write it down; its elements' ids."""
        ids = [figure.sheet.put(f"{self.id}.number", self.number, "text", "count")]
        if self.is_sight:
            ids.append(figure.sheet.put(self.id, Mark(self.at, "counted"), "mark", "count", (TABLE,)))
        return ids


class _Count:
    """How a ball's place is counted; `ways` are the measured lines from its centre to noses, end rail first."""

    def __init__(self, figure: Figure, table: Table, name: str, places: tuple[FromRail, FromRail]) -> None:
        self.figure, self.table, self.places = figure, table, places
        self.stem = name.replace(" ", "_") + ".way"
        at = position(figure.shot.object_ball_mm if name == "object ball" else figure.shot.cue_ball_mm)
        self.ways = [(at, (*place.nose_mm, at[2])) for place in places]

    def lines(self, k: int) -> list[tuple[str, Line]]:
        """What is drawn when it is counted from the end rail (0): the way there, and that across from the counted
        rail; then (1) across from the end rail, where the way is drawn already."""
        made = [(f"{self.stem}.0", self.ways[0]), (f"{self.stem}.1", self.ways[1])] if k == 0 else []
        if self.table.has_sights and not (k == 0 and self._meets_side_pocket()):
            made.append((f"{self.stem}.out.{k}", self._out(1 - k)))
        return [(id, Line(ends, "thin_line")) for id, ends in made]

    def _meets_side_pocket(self) -> bool:
        """Whether the way to the long rail ends at the side pocket: no wood to go across, and its number."""
        hole = hole_of(self.table.pocket(f"side-{self.places[1].rail}"), self.table)
        return abs(self.ways[1][1][0] - hole.centre_mm[0]) < hole.radius_mm

    def _out(self, k: int) -> tuple[Position, Position]:
        """From a rail's nose out to the line of its sights."""
        at, nose = self.ways[k]
        away = np.subtract(nose, at)
        away = away / max(float(np.linalg.norm(away)), 1e-9)
        return nose, position(np.array(nose) + SIGHT_MM * away)

    def sights(self, k: int) -> list[_Sight]:
        """The diamonds counted from the end rail (0) or from the long rail (1), on the other rail."""
        if not self.table.has_sights:
            return []
        place, other = self.places[k], self.places[1 - k]
        L, W = self.table.length_mm / 2, self.table.width_mm / 2
        sign = {"foot": 1.0, "head": -1.0, "left": 1.0, "right": -1.0}
        step = self.table.diamond_mm if k == 0 else self.table.width_mm / 4
        out = []
        for n in range(1, _most(place) + 1):
            along = sign[place.rail] * ((L if k == 0 else W) - n * step)
            across = sign[other.rail] * ((W if k == 0 else L) + SIGHT_MM)
            is_sight = k == 1 or n != 4  # the fourth along a long rail is the side pocket
            at = (along, across, 0.0) if k == 0 else (across, along, 0.0)
            if not is_sight:
                at = (*hole_of(self.table.pocket(f"side-{other.rail}"), self.table).centre_mm, 0.0)
            out.append(_Sight(f"{self.stem}.count.{k}.{n}", at, self._number(k, n, at, is_sight), is_sight))
        return out

    def _number(self, k: int, n: int, at: Position, is_sight: bool) -> Text:
        """A diamond's number beside it on the wood, away from the line that comes across."""
        s = self.figure.frame.scale
        x, y = self.figure.px(at)
        lx, ly = self.figure.px(self._out(1 - k)[1])
        size, gap = s.text_px("small"), s.stroke_px(16)
        if not is_sight:
            return Text(str(n), (x, y + CAP_HEIGHT * size / 2), "small", "centre")
        if abs(lx - x) > abs(ly - y) or (lx == x and k == (1 if self.figure.frame.up_along_table else 0)):
            side = -1 if lx > x else 1
            return Text(
                str(n), (x + side * gap, y + CAP_HEIGHT * size / 2), "small", "left" if side > 0 else "right"
            )
        side = -1 if ly > y else 1
        return Text(str(n), (x, y + side * gap + (CAP_HEIGHT * size if side > 0 else 0.0)), "small", "centre")

    def obstacles(self, k: int) -> Obstacles:
        """What labels keep clear of: the lines, and the diamonds with their numbers."""
        lines, sights, scale = self.lines(k), self.sights(k), self.figure.frame.scale
        strokes = tuple(_stroke(self.figure, id, *line.points_mm, "thin_line") for id, line in lines)
        reach = scale.stroke_px(self.figure.frame.look.marks["counted"].reach_px)
        marks = tuple(Disc(self.figure.px(sight.at), reach, True, sight.id) for sight in sights)
        return Obstacles((), marks, strokes, tuple(text_rect(sight.number, scale) for sight in sights))


# ------------------------------------------------------------------ labels


def _figure(brief: Brief, sheet: Sheet, frame: Layout, view: View) -> Figure:
    """The shot on the whole table, for its labels."""
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
    shot = brief.subject.shot
    assert shot is not None
    window = pane(TABLE, full, view, "table", ONE, "cloth")
    return Figure(brief, sheet, frame, shot, bare(shot), (window,), (TABLE,), (TABLE,), full, prefix=f"{TABLE}.")


def _labels(figure: Figure, table: Table, counts: Sequence[_Count], names: Sequence[Text]) -> Labels:
    """The labels on the table: they stand on the bed, clear of balls, pockets, lines and words."""
    base = _base(figure, table)
    words = tuple(text_rect(text, figure.frame.scale) for text in names)
    apart = tuple(_stroke(figure, "distance.0", *ends, "thin_line") for ends in _dimension(figure.shot))
    steps = [replace(base, rects=(*base.rects, *words))]
    for count in counts:
        steps += [merged([count.obstacles(0), count.obstacles(1)]), NOTHING]
    made = Labels(
        figure, [*steps, Obstacles(strokes=apart), _aim(figure)], _zones(figure, table), MOST_LABELS, True
    )
    made.spacing = Spacing(ball_gap=16.0).scaled(figure.frame.scale.k * figure.frame.scale.gain)
    return made


def _base(figure: Figure, table: Table) -> Obstacles:
    """What stands on the table from the beginning."""
    shot = figure.shot
    k = figure.px_per_mm
    holes = [(pocket, hole_of(pocket, table)) for pocket in table.pockets()]
    pockets = [Disc(figure.px((*hole.centre_mm, 0.0)), hole.radius_mm * k, True, one.name) for one, hole in holes]
    strokes = [_stroke(figure, f"{TABLE}.target_line", *_target(shot), "target_line")]
    R = figure.radius_mm * k
    others = [
        Disc(figure.px(one.centre_mm), R, True, f"other.{n}") for n, one in enumerate(figure.brief.subject.others)
    ]
    words = tuple(text_rect(text, figure.frame.scale) for text in _heading(figure.brief, figure.frame))
    return Obstacles(
        (_disc(figure, "object_ball"), _disc(figure, "cue_ball"), *others, *pockets), (), tuple(strokes), words
    )


def _aim(figure: Figure) -> Obstacles:
    """The aim line, which comes last."""
    shot = figure.shot
    if not np.isfinite(shot.aim_direction).all():
        return NOTHING
    ends = position(shot.cue_ball_mm), position(shot.ghost_ball_mm)
    return Obstacles(strokes=(_stroke(figure, f"{TABLE}.aim_line", *ends, "aim_line"),))


def _zones(figure: Figure, table: Table) -> tuple[Rect, Rect]:
    """Where labels may stand: on the bed, and where that has no room, over the rails; within what is safe."""
    L, W = table.length_mm / 2, table.width_mm / 2
    gap = Spacing().gap * figure.frame.scale.k * figure.frame.scale.gain
    beyond = SIGHT_MM * figure.px_per_mm
    (x0, y0), (x1, y1) = figure.px((-L, -W, 0.0)), figure.px((L, W, 0.0))
    sx, sy, sw, sh = figure.frame.title_safe
    out = []
    for more in (-gap, beyond):
        left, right = max(min(x0, x1) - more, sx), min(max(x0, x1) + more, sx + sw)
        top, bottom = max(min(y0, y1) - more, sy), min(max(y0, y1) + more, sy + sh)
        out.append((left, top, right - left, bottom - top))
    return out[0], out[1]


def _target(shot: Shot) -> tuple[Position, Position]:
    return position(shot.object_ball_mm), position(shot.target_mm)


def _disc(figure: Figure, role: str) -> Disc:
    """A ball with the ring around it."""
    at = figure.shot.object_ball_mm if role == "object_ball" else figure.shot.cue_ball_mm
    return Disc(figure.px(at), LOCATE_RADII * figure.radius_mm * figure.px_per_mm, True, role)


def _stroke(figure: Figure, id: str, a: Position, b: Position, style: str) -> Stroke:
    kind, s = figure.frame.look.lines[style], figure.frame.scale
    half = (s.line_px(kind.width_px, "table") + s.stroke_px(kind.casing_px)) / 2
    return Stroke(id, figure.px(a), figure.px(b), half)


def _of_balls(figure: Figure) -> list[tuple[Wanted, int]]:
    """The labels of target, object ball, cue ball and other balls that have names, each with its rank."""
    shot, words = figure.shot, figure.brief.labels
    out = []
    if text := words.get("target"):
        a, b = _target(shot)
        out.append((_along(figure, f"{TABLE}.target_line", a, b, text, "", "target_line"), LINE_RANK))
    away = 1 if figure.px(shot.cue_ball_mm)[0] > figure.px(shot.object_ball_mm)[0] else -1
    for role, prefer in (("object_ball", -away), ("cue_ball", away)):
        if text := words.get(role):
            w, h = plate_size(figure, text, None)
            want = Wanted(role, role, text, w, h, around=_disc(figure, role), prefer=prefer)
            out.append((want, BALL_RANK))
    return out + other_names(figure)


def _along(
    figure: Figure, id: str, a: Position, b: Position, text: str, second: str, sample: str | None
) -> Wanted:
    """A line's label, led to it from beside, or from above or below where it runs level."""
    start, end = np.array(figure.px(a)), np.array(figure.px(b))
    rise = abs(end[1] - start[1]) / max(float(np.hypot(*(end - start))), 1e-9)
    ports = []
    for t in np.linspace(0.15, 0.92, 15).tolist():
        x, y = (start + t * (end - start)).tolist()
        cost = 30 * abs(t - 0.5)
        ports += [Port((x, y), side, 0, cost) for side in (-1, 1)] if rise > 0.4 else []
        ports += [Port((x, y), 0, lift, cost) for lift in (-1, 1)] if rise < 0.8 else []
    if rise > 0.4:  # steep: also from above and from below, at its ends
        up, down = sorted((start, end), key=lambda at: float(at[1]))
        ports += [Port((float(at[0]), float(at[1])), 0, lift, 40.0) for at, lift in ((up, -1), (down, 1))]
    near = (start + end) / 2
    w, h = plate_size(figure, text, sample, second)
    at = (float(near[0]), float(near[1]))
    return Wanted(id, id, text, w, h, tuple(ports), near_px=at, sample=sample, second=second)


def _styles(brief: Brief, frame: Layout) -> tuple[str, str]:
    """The type styles of titles and heading: the largest that have room, beside each other in a wide frame."""
    heading, width = brief.labels.get("heading", ""), frame.scale.text_width_px
    over = brief.steps if brief.subject.kind == KIND.name else brief.steps[:2]
    titles = [" ".join(step.title.split()) for step in over]
    room, is_beside = frame.title_safe[2], frame.heading_align == "right"
    pairs = (("title", "heading"), ("title", "small"), ("heading", "small"), ("label", "small"))
    for one, other in pairs:
        longest = max((width(title, one) for title in titles), default=0.0)
        needed = width(heading, other) if heading else 0.0
        if (longest + frame.scale.px(40) + needed if is_beside else max(longest, needed)) <= room:
            return one, other
    return pairs[-1]


def _heading(brief: Brief, frame: Layout) -> list[Text]:
    """Cut and distance."""
    text = brief.labels.get("heading")
    return [Text(text, frame.heading_px, _styles(brief, frame)[1], frame.heading_align)] if text else []


def _end_names(figure: Figure, table: Table, obstacles: Obstacles) -> list[Text]:
    """ "Head" and "foot", each in a corner of its end where nothing else is."""
    frame, spacing = figure.frame, Spacing(ball_gap=16.0).scaled(figure.frame.scale.k * figure.frame.scale.gain)
    size = frame.scale.text_px("small")
    inward = max(0.05 * frame.scale.short_px, POCKET_REACH_MM * figure.px_per_mm)
    out = []
    for key, end in (("head", -1), ("foot", 1)):
        text = figure.brief.labels.get(key)
        for side in (-1, 1) if text else ():
            x, y = figure.px((end * table.length_mm / 2, side * table.width_mm / 2, 0.0))
            # the corner's inward directions in the picture
            right = -end if not frame.up_along_table else side
            down = side if not frame.up_along_table else end
            at = (x + right * inward, y + down * (0.45 * inward + (size * 0.73 if down > 0 else 0.0)))
            found = Text(str(text), at, "small", "left" if right > 0 else "right")
            if is_clear(text_rect(found, frame.scale), obstacles, spacing):
                out.append(found)
                break
    return out


KIND = Kind(
    "table",
    "where the shot is, from above, with diamonds and distances",
    outline,
    board,
    axes=("cut", "side", "distance"),
)
