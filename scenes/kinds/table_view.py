"""The table from above: where the shot is, and where its balls lie, counted from the nearer rails."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from aimgeo.construct import Position, Quantity, position
from aimgeo.holes import hole_of
from aimgeo.shot import Shot
from aimgeo.side import NAMES
from aimgeo.tables import FromRail, Table
from scenes.board import (
    Area,
    Ball,
    Board,
    Leader,
    Line,
    Mark,
    Pane,
    Plate,
    Rect,
    Ring,
    TableTop,
    Text,
)
from scenes.board.brief import Brief, BriefStep, OutlineStep, Subject
from scenes.board.motion import Sheet, Span, frames_of, in_turn
from scenes.board.timing import TIMING, drawing_s
from scenes.figure.labels import Disc, Obstacles, Placed, Port, Spacing, Stroke, Wanted, is_clear, place
from scenes.frame.column import appear, joined, text_rect
from scenes.frame.framing import INSET, TABLE, Framing, View, table_view
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.look.scale import plate_sizes, plate_width_px

LOCATE_RADII = 2.1
"""The thin ring around a ball at true size, in its radii."""
POCKET_REACH_MM = 130.0
"""Words in a corner stand so far from it."""
MOST_REGION_BALLS = 2.6
"""The inset outlines what the stage shows to this many balls either side of its middle."""


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """Where the shot is, then where the object ball and the cue ball lie."""
    if subject.shot is None or subject.table is None:
        raise ValueError("a table clip needs a table and a shot")
    values = _values(subject)
    steps = [OutlineStep("where", "table.where", values, draws_s=4.0)]
    for name, found in _places(subject.shot, subject.table).items():
        rails = (("end_rail", found[0]), ("flank_rail", found[1]))
        told = (*values, *((key, Quantity(f"{place.rail}-rail", "name")) for key, place in rails))
        measures = tuple((f"from_{place.rail}", _counted(place, subject.table)) for place in found)
        steps.append(OutlineStep(name, f"table.{name.replace(' ', '_')}", told, measures, 4.0))
    return tuple(steps)


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    subject = brief.subject
    expected = [step.name for step in outline(subject)]
    if [step.name for step in brief.steps] != expected:
        raise ValueError(f"a table clip has the steps {', '.join(expected)}")
    table, shot = subject.table, subject.shot
    assert table is not None
    assert shot is not None
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    view = table_view(frame, table)
    sheet = Sheet()
    spans = brief.spans
    rate = brief.output.rate
    fade = frames_of(TIMING.fade_s, rate)
    put_table(sheet, shot, table)
    for i, (step, (first, end)) in enumerate(zip(brief.steps, spans, strict=True)):
        shown = (first + fade // 2, first + fade) if i else None
        gone = (end, end + max(fade // 2, 1)) if i < len(spans) - 1 else None
        put_table_title(sheet, frame, f"{TABLE}.title.{i}", step.title, shown, gone)
    labels = _Labels(brief, frame, view)
    for name, found in _places(shot, table).items():
        for n, (a, b) in enumerate(_lines(shot, name, found)):
            labels.take_line(f"{name}.{n}", a, b, "thin_line")
    put_heading(sheet, brief, frame, labels.name_ends(), None)
    _where(labels, sheet, spans[0], rate)
    for step, span, (name, found) in zip(brief.steps[1:], spans[1:], _places(shot, table).items(), strict=True):
        last = span is spans[-1]
        _lies(labels, sheet, step, span, _lines(shot, name, found), last, rate)
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
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
        put_table_title(sheet, frame, f"{TABLE}.title.{n}", title, shown, gone)
    labels = _Labels(brief, frame, table_view(frame, table))
    ends = position(shot.object_ball_mm), position(shot.cue_ball_mm)
    labels.take_line("between", *ends, "thin_line")
    put_heading(sheet, brief, frame, labels.name_ends(), when.off)
    line = put_target_line(sheet, shot, 0.0)
    sheet.move(line, "drawn", when.line, 1.0)
    sheet.hide(line, when.gone)
    if brief.subject.target_name in {pocket.name for pocket in table.pockets()}:
        hole = hole_of(table.pocket(str(brief.subject.target_name)), table)
        ring = Ring((*hole.centre_mm, 0.0), hole.radius_mm, "target_line")
        sheet.put(f"{TABLE}.pocket", ring, "mark", "pocket", (TABLE,), opacity=1.0, drawn=0.0)
        sheet.move(f"{TABLE}.pocket", "drawn", when.pocket, 1.0)
        sheet.hide(f"{TABLE}.pocket", when.off)
    for want in labels.of_balls():
        labels.put(sheet, want, when.pocket if want.name == "target_line" else None, when.off)
    apart = Line(ends, "thin_line")
    sheet.put(f"{TABLE}.between", apart, "line_under", "between", (TABLE,), opacity=1.0, drawn=0.0)
    sheet.move(f"{TABLE}.between", "drawn", when.between, 1.0)
    if text := brief.labels.get("distance"):
        shown = (when.between[1], when.between[1] + when.off[1] - when.off[0])
        labels.put(sheet, labels.of_line("between", *ends, text), shown, when.off)
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
    sheet: Sheet, frame: Layout, id: str, title: str, shown: Span | None, gone: Span | None
) -> None:
    """A step's title, on one line over the table."""
    text = Text(" ".join(title.split()), frame.table_title_px, "title")
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
    """In diamonds; as a length on a table without sights."""
    return Quantity(place.diamonds, "diamonds") if table.has_sights else Quantity(place.away_mm, "length_mm")


def _lines(shot: Shot, ball: str, places: tuple[FromRail, ...]) -> list[tuple[Position, Position]]:
    """The lines from a ball's centre to the noses, at the centre's height."""
    at = position(shot.object_ball_mm if ball == "object ball" else shot.cue_ball_mm)
    return [(at, (*place.nose_mm, at[2])) for place in places]


def _where(labels: _Labels, sheet: Sheet, span: Span, rate: tuple[int, int]) -> None:
    """The target line is drawn, and everything named."""
    shot = labels.shot
    length = math.dist(labels.px(shot.object_ball_mm), labels.px(shot.target_mm))
    draw_s = drawing_s(length / labels.frame.height_px)
    _, line, named, _ = in_turn(*span, (TIMING.hold_s / 2, draw_s, TIMING.fade_s, TIMING.hold_s), rate)
    sheet.move(put_target_line(sheet, shot, 0.0), "drawn", line, 1.0)
    for want in labels.of_balls():
        labels.put(sheet, want, named, None)


def _lies(
    labels: _Labels,
    sheet: Sheet,
    step: BriefStep,
    span: Span,
    ends: list[tuple[Position, Position]],
    is_last: bool,
    rate: tuple[int, int],
) -> None:
    """Two thin lines from a ball to the rails, with their lengths; at the end, the aim."""
    first, end = span
    aim = is_last and bool(np.isfinite(labels.shot.aim_direction).all())
    times = (
        TIMING.fade_s + TIMING.rest_s,
        TIMING.draw_s,
        TIMING.fade_s,
        TIMING.draw_s if aim else 0.0,
        TIMING.hold_s,
    )
    _, draw, named, aimed, _ = in_turn(first, end, times, rate)
    gone = None if is_last else (end, end + frames_of(TIMING.fade_s, rate))
    for n, (a, b) in enumerate(ends):
        id = sheet.put(
            f"{step.name}.{n}", Line((a, b), "thin_line"), "line_under", "measure_line", (TABLE,), 1.0, 0.0
        )
        sheet.move(id, "drawn", draw, 1.0)
        appear(sheet, id, None, gone)
    for n, ((a, b), measure) in enumerate(zip(ends, step.measures, strict=True)):
        labels.put(sheet, labels.of_line(f"{step.name}.{n}", a, b, joined(measure)), named, gone)
    if not is_last:
        labels.forget(step.name)
    if aim:
        shot = labels.shot
        G = position(shot.ghost_ball_mm)
        line = Line((position(shot.cue_ball_mm), G), "aim_line")
        id = sheet.put(f"{TABLE}.aim_line", line, "line_under", "aim_line", (TABLE,), 1.0, 0.0)
        sheet.move(id, "drawn", aimed, 1.0)
        ghost = Ball(G, float(shot.radius_mm), "ghost")
        sheet.put("ghost_ball", ghost, "ghost", "ghost_ball", (TABLE,))
        sheet.show("ghost_ball", (aimed[1], aimed[1] + frames_of(TIMING.fade_s, rate)))


# ------------------------------------------------------------------ labels


class _Labels:
    """The labels on the table: they keep clear of balls, lines and each other, and stand on the bed."""

    def __init__(self, brief: Brief, frame: Layout, view: View) -> None:
        assert brief.subject.shot is not None
        assert brief.subject.table is not None
        self.brief, self.frame, self.view, self.shot = brief, frame, view, brief.subject.shot
        self.table = brief.subject.table
        scale = frame.scale
        self.spacing = Spacing(ball_gap=16.0).scaled(scale.k * scale.gain)
        self.placed: list[Placed] = []
        self.strokes: dict[str, Stroke] = {}
        self.ends: list[Text] = []
        self.take_line(
            "target_line", position(self.shot.object_ball_mm), position(self.shot.target_mm), "target_line"
        )
        if np.isfinite(self.shot.aim_direction).all():
            C, G = position(self.shot.cue_ball_mm), position(self.shot.ghost_ball_mm)
            self.take_line("aim_line", C, G, "aim_line")

    def px(self, at: object) -> tuple[float, float]:
        """A table point's pixel."""
        x, y = self.view.to_px(np.asarray(at, float)).tolist()
        return (x, y)

    def take_line(self, name: str, a: Position, b: Position, style: str) -> None:
        """A line that labels keep clear of from now on."""
        kind = self.frame.look.lines[style]
        half = self.frame.scale.stroke_px(kind.width_px * self.frame.look.view_width["table"] + kind.casing_px) / 2
        self.strokes[name] = Stroke(name, self.px(a), self.px(b), half)

    def forget(self, stem: str) -> None:
        """Lines and labels that go."""
        self.strokes = {k: v for k, v in self.strokes.items() if not k.startswith(stem)}
        self.placed = [p for p in self.placed if not p.wanted.name.startswith(stem)]

    def of_balls(self) -> list[Wanted]:
        """Cue ball, object ball and target."""
        out = []
        away = 1 if self.px(self.shot.cue_ball_mm)[0] > self.px(self.shot.object_ball_mm)[0] else -1
        for role, prefer in (("object_ball", -away), ("cue_ball", away)):
            if text := self.brief.labels.get(role):
                out.append(self._wanted(role, text, around=self._disc(role), prefer=prefer))
        if text := self.brief.labels.get("target"):
            a, b = position(self.shot.object_ball_mm), position(self.shot.target_mm)
            out.insert(0, self.of_line("target_line", a, b, text, "target_line"))
        return out

    def of_line(self, name: str, a: Position, b: Position, text: str, sample: str | None = None) -> Wanted:
        """A line's label, led to it from beside, or from above or below where it runs level."""
        start, end = np.array(self.px(a)), np.array(self.px(b))
        rise = abs(end[1] - start[1]) / max(float(np.hypot(*(end - start))), 1e-9)
        ports = []
        for t in np.linspace(0.2, 0.8, 13).tolist():
            x, y = (start + t * (end - start)).tolist()
            cost = 30 * abs(t - 0.5)
            ports += [Port((x, y), side, 0, cost) for side in (-1, 1)] if rise > 0.4 else []
            ports += [Port((x, y), 0, lift, cost) for lift in (-1, 1)] if rise < 0.8 else []
        near = (start + end) / 2
        at = (float(near[0]), float(near[1]))
        return self._wanted(name, text, sample, ports=tuple(ports), near_px=at)

    def put(self, sheet: Sheet, want: Wanted, shown: Span | None, gone: Span | None) -> None:
        """Find a place and write the label down; none where there is no room."""
        found = place(want, self.obstacles(), (self.bed(),), self.placed, self.spacing)
        if found is None:
            return
        self.placed.append(found)
        opacity = 0.0 if shown else 1.0
        names = f"{TABLE}.{want.name}" if want.name in ("target_line", "between") else want.name
        plate = Plate(want.text, found.rect_px, want.sample)
        ids = [sheet.put(f"label.{want.id}", plate, "label", "label", opacity=opacity, names=names)]
        if found.leader_px:
            leader = Leader(found.leader_px)
            ids.append(sheet.put(f"leader.{want.id}", leader, "leader", "leader", opacity=opacity, names=names))
        for id in ids:
            appear(sheet, id, shown, gone)

    def name_ends(self) -> list[Text]:
        """Where "head" and "foot" stand."""
        self.ends = _end_names(self.brief, self.frame, self.view, self.obstacles(), self.spacing)
        return self.ends

    def obstacles(self) -> Obstacles:
        """What stands on the table."""
        words = [text_rect(text, self.frame.scale) for text in (*_heading(self.brief, self.frame), *self.ends)]
        balls = [self._disc("object_ball"), self._disc("cue_ball")]
        pockets = [
            Disc(self.px((*pocket.centre_mm, 0.0)), pocket.mouth_mm / 2 * self.view.px_per_mm, True, pocket.name)
            for pocket in self.table.pockets()
        ]
        R = float(self.shot.radius_mm) * self.view.px_per_mm
        others = [
            Disc(self.px(one.centre_mm), R, True, f"other.{n}") for n, one in enumerate(self.brief.subject.others)
        ]
        return Obstacles((*balls, *others, *pockets), (), tuple(self.strokes.values()), tuple(words))

    def bed(self) -> Rect:
        """Where labels may stand: the bed."""
        w, h = (self.table.length_mm * self.view.px_per_mm, self.table.width_mm * self.view.px_per_mm)
        w, h = (h, w) if self.frame.up_along_table else (w, h)
        x, y = self.frame.bed_centre_px
        gap = self.spacing.gap
        return (x - w / 2 + gap, y - h / 2 + gap, w - 2 * gap, h - 2 * gap)

    def _disc(self, role: str) -> Disc:
        at = self.shot.object_ball_mm if role == "object_ball" else self.shot.cue_ball_mm
        radius = LOCATE_RADII * float(self.shot.radius_mm) * self.view.px_per_mm
        return Disc(self.px(at), radius, True, role)

    def _wanted(self, name: str, text: str, sample: str | None = None, prefer: int = 1, **more: object) -> Wanted:
        w = plate_width_px(text, self.frame.scale, sample is not None)
        h = plate_sizes(self.frame.scale).height_px
        return Wanted(name, name, text, w, h, prefer=prefer, sample=sample, **more)  # type: ignore[arg-type]


def _heading(brief: Brief, frame: Layout) -> list[Text]:
    text = brief.labels.get("heading")
    return [Text(text, frame.heading_px, "heading", frame.heading_align)] if text else []


def _end_names(brief: Brief, frame: Layout, view: View, obstacles: Obstacles, spacing: Spacing) -> list[Text]:
    """ "Head" and "foot", each in a corner of its end where nothing else is."""
    table = brief.subject.table
    assert table is not None
    size = frame.scale.text_px("small")
    inward = max(0.05 * frame.scale.short_px, POCKET_REACH_MM * view.px_per_mm)
    out = []
    for key, end in (("head", -1), ("foot", 1)):
        text = brief.labels.get(key)
        for side in (-1, 1) if text else ():
            x, y = view.to_px(np.array([end * table.length_mm / 2, side * table.width_mm / 2, 0.0])).tolist()
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
