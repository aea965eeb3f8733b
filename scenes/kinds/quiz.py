"""The quiz: a shot and three hits to choose from, time to think, then the answer; and so on.

The questions are drawn from all the shots that the clip spans, in an order fixed by the setting `seed`, as are the
wrong hits, from the clip's other cuts. Side and distance are drawn anew for each, and the whole picture may be
turned or mirrored on the table, so that neither place nor direction tells the cut.

Sentences: quiz.question (values number, count), quiz.think (value think), quiz.answer (values letter, cut, side,
overlap, aim_offset, aim_side). Measures of a question: choice for each of the hits, pocket, number, count; of
thinking: think; of an answer: cut, overlap, aim_offset.
"""

from __future__ import annotations

import math
import random
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from aimgeo import construct as construction
from aimgeo.camera import circle_outline
from aimgeo.construct import Quantity, position
from aimgeo.holes import hole_of
from aimgeo.shot import Shot, solve_shot
from aimgeo.side import NAMES
from aimgeo.vectors import Array
from scenes.board import (
    Ball,
    Board,
    HitGlyph,
    Leader,
    Line,
    Mark,
    Move,
    Pane,
    Plate,
    Ring,
    Shade,
    Text,
    Track,
)
from scenes.board.brief import Brief, BriefStep, EyeSpec, MeasureText, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span, frames_of
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.figure.eye_view import (
    EyeLayout,
    eye_layout,
    eye_mm,
    eye_pane,
    line_top,
    target_pane,
)
from scenes.figure.figure import Figure, bare, disc_of, eye_figure, in_reach, is_hollow, strokes_of
from scenes.figure.labels import Obstacles, Port, Spacing, Wanted, place
from scenes.figure.placer import plate_size
from scenes.figure.steps import bring_cue, put_balls
from scenes.frame.clock import clock_high_px, put_clock
from scenes.frame.column import appear, joined, put_pips
from scenes.frame.eye_words import put_scrim, title_lines
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.look.fonts import CAP_HEIGHT
from scenes.look.look import Layer

QUESTION, THINK, ANSWER = "quiz.question", "quiz.think", "quiz.answer"
LETTERS = ("A", "B", "C")
NEIGHBOUR = 1 / 8
"""So far from the right overlap lies a wrong one where the clip has no other cut."""
SHOWN_S = 1.8
"""How long the right choice is shown before the closer look takes its place."""
MIRRORS = ((1.0, 1.0), (-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0))
"""Ways to lay the same shot on a table: as it is, turned half round, and mirrored along either axis."""


@dataclass(frozen=True, slots=True)
class QuizSettings(Settings):
    """What may be set of a quiz."""

    questions: int = setting(3, "how many shots are asked", least=1, greatest=12)
    seed: int = setting(1, "fixes the order of the questions", least=0, greatest=9999)
    think_s: float = setting(6.0, "time to think about each", least=1.0, greatest=60.0)


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """Three steps a question: the shot and what to choose from, time to think, the answer."""
    think_s = QuizSettings.of(subject).think_s
    asked = questions(subject)
    count = Quantity(len(asked), "count")
    think = ("think", Quantity(think_s, "seconds"))
    steps = []
    for n, shot in enumerate(asked, 1):
        number = ("number", Quantity(n, "count"))
        hits = choices(subject, n - 1)
        told = tuple(("choice", Quantity(hit, "overlap_words")) for hit in hits)
        pocket = ("pocket", Quantity(_pocket(subject, shot), "name"))
        values = (number, ("count", count))
        steps.append(
            OutlineStep(f"question {n}", QUESTION, values, (*told, pocket, number, ("count", count)), 4.0)
        )
        steps.append(OutlineStep(f"think {n}", THINK, (think,), (think,), think_s))
        cut = Quantity(abs(float(shot.cut_rad)), "angle_rad")
        overlap = Quantity(float(shot.overlap), "overlap")
        offset = Quantity(float(shot.aim_offset_mm), "length_mm")
        answer = (
            number,
            ("letter", Quantity(LETTERS[_right(shot, hits)], "name")),
            ("cut", cut),
            ("side", Quantity(NAMES[int(shot.side)], "name")),
            ("overlap", Quantity(float(shot.overlap), "overlap_words")),
            ("aim_offset", offset),
            ("aim_side", Quantity(NAMES[int(shot.outward)], "name")),
        )
        measures = (("cut", cut), ("overlap", overlap), ("aim_offset", offset))
        steps.append(OutlineStep(f"answer {n}", ANSWER, answer, measures, SHOWN_S + 4.5))
    return tuple(steps)


def choices(subject: Subject, n: int) -> tuple[float, ...]:
    """The overlaps to choose from in question n (from 0), the fullest first: the right one and wrong ones.

    The wrong ones are the clip's other cuts, drawn by the seed from the nearest ones; where there are too few,
    neighbours an eighth or a quarter of a ball away, on sides that are drawn: no letter is right each time.
    """
    right = float(questions(subject)[n].overlap)
    others = {round(float(one.shot.overlap), 6) for one in subject.companions if one.shot is not None}
    wrong = sorted((x for x in others if abs(x - right) > 0.02), key=lambda x: (abs(x - right), x))[:4]
    draw = random.Random(f"{QuizSettings.of(subject).seed} {n}")
    chosen = draw.sample(wrong, min(len(LETTERS) - 1, len(wrong)))
    for k in (*draw.choice(((1, 2), (1, -1), (-1, -2))), 1, -1, 2, -2, 3, -3):
        near = right + k * NEIGHBOUR
        if len(chosen) < len(LETTERS) - 1 and 0 < near <= 1 and all(abs(near - x) > 0.02 for x in chosen):
            chosen.append(near)
    return tuple(sorted((right, *chosen), reverse=True))


def _right(shot: Shot, hits: tuple[float, ...]) -> int:
    return min(range(len(hits)), key=lambda k: abs(hits[k] - float(shot.overlap)))


def _pocket(subject: Subject, shot: Shot) -> str:
    """The name of the pocket that a shot goes to, wherever it was laid; 'none' where it goes to none."""
    if subject.table is None or subject.target_name is None:
        return "none"
    target = shot.target_mm[:2]
    return min(subject.table.pockets(), key=lambda p: math.dist(p.centre_mm, target)).name


def questions(subject: Subject) -> tuple[Shot, ...]:
    """The shots in the order in which they are asked; the same for the same seed."""
    shots = [one.shot for one in subject.companions if one.shot is not None]
    if not shots:
        raise ValueError("a quiz needs shots to ask about")
    settings = QuizSettings.of(subject)
    draw, count = random.Random(settings.seed), settings.questions
    cuts = sorted({round(abs(float(s.cut_rad)), 9) for s in shots})
    asked: list[float] = []
    while len(asked) < count:
        again = cuts.copy()
        draw.shuffle(again)
        asked += again
    out = []
    for cut in asked[:count]:
        same = [s for s in shots if abs(abs(float(s.cut_rad)) - cut) < 1e-8]
        out.append(laid(draw.choice(same), draw.choice(MIRRORS)))
    return tuple(out)


def laid(shot: Shot, mirror: tuple[float, float]) -> Shot:
    """The shot laid elsewhere on the table, by the table's own symmetry."""

    def moved(p: Array) -> Array:
        return p[:2] * mirror

    C, O, T = moved(shot.cue_ball_mm), moved(shot.object_ball_mm), moved(shot.target_mm)
    return solve_shot(C, O, T, shot.ball_diameter_mm)


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    eye = brief.subject.eye
    shots = questions(brief.subject)
    if eye is None or len(brief.steps) != 3 * len(shots):
        raise ValueError(f"a quiz of {len(shots)} questions has an eye and {3 * len(shots)} steps")
    spans = brief.spans
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet = Sheet()
    panes: list[Pane] = []
    for n, shot in enumerate(shots):
        panes += _question(brief, frame, sheet, shot, eye, n)
    put_scrim(sheet, frame)
    room = eye_layout(frame, 1).title_room_px
    # one pip a question
    for n in range(len(shots)):
        of = slice(3 * n, 3 * n + 3)
        _put_titles(sheet, frame, brief.steps[of], spans[of], brief.output.rate, room, n, len(shots))
    return sheet.board(brief, tuple(panes))


def _put_titles(
    sheet: Sheet,
    frame: Layout,
    steps: Sequence[BriefStep],
    spans: Sequence[Span],
    rate: tuple[int, int],
    room: float,
    n: int,
    count: int,
) -> None:
    """The question until it is answered, the answer, and which question of how many this is."""
    fade = frames_of(TIMING.fade_s, rate)
    asked, _, told = steps
    first, end = spans[0][0], spans[2][1]
    is_last = n == count - 1
    for k, (step, (start, stop)) in enumerate(((asked, (first, spans[2][0])), (told, spans[2]))):
        for i, line in enumerate(title_lines(step.title, frame, room)):
            at = (frame.title_px[0], frame.title_px[1] + i * frame.title_pitch_px)
            on = n == 0 and k == 0
            id = sheet.put(f"title.{n}.{k}.{i}", Text(line, at, "title"), "text", "title", opacity=float(on))
            if not on:
                sheet.show(id, (start + fade // 2, start + fade))
            if not (is_last and k):
                sheet.hide(id, (stop, stop + max(fade // 2, 1)))
    turn = (first, first + 1) if n else None
    put_pips(sheet, frame, f"pips.{n}", count, n, turn, None if is_last else (end, end + 1))
    number, of = asked.measures[-2:]
    words = f"{number.name} {number.number} {of.name} {of.number}"
    places = eye_layout(frame, 1, steps)
    at = (places.heading_px[0], frame.title_px[1]) if frame.shape == "wide" else places.heading_px
    text = Text(words, at, "small", places.heading_align if frame.shape != "wide" else "right")
    id = sheet.put(f"number.{n}", text, "text", "heading", opacity=0.0 if n else 1.0)
    appear(sheet, id, (first + fade // 2, first + fade) if n else None, None if is_last else (end, end + 1))


def _question(brief: Brief, frame: Layout, sheet: Sheet, shot: Shot, eye: EyeSpec, n: int) -> list[Pane]:
    """One shot: its picture, what to choose from, the clock, and the answer."""
    rate = brief.output.rate
    asking, thinking, told_words = brief.steps[3 * n : 3 * n + 3]
    asked, thought, told = brief.spans[3 * n : 3 * n + 3]
    fade = frames_of(TIMING.fade_s, rate)
    # the target line tells the side anyway: the choices stand where the object ball does not go
    places = eye_layout(frame, -int(shot.outward), brief.steps)
    if frame.shape != "square":
        places = replace(places, axis_px=frame.width_px / 2)
    first, end = asked[0], told[1]
    shown = Track((1.0,)) if n == 0 else Track((0.0,), (Move(first, first + fade, (1.0,)),))
    gone = Move(end, end + fade, (0.0,))
    main = eye_pane(places, shot, eye, f"eye.{n}", replace(shown, moves=(*shown.moves, gone)))
    closer = target_pane(main, places, frame, shot)
    parts = (
        Part(("choice",), SHOWN_S),
        Part(("ghost_ball",), 0.5),
        Part(("aim_line",), TIMING.draw_s + 0.4, grows=True),
        Part(("aim_offset",), TIMING.fade_s),
    )
    right, reveal, line, number = placed(Words(told_words, told), parts, rate, 0.0, 2.0)
    target = Pane(
        f"target.{n}",
        closer.rect_px,
        "eye",
        closer.camera,
        "plate",
        Track((0.0,), (Move(*reveal, (1.0,)), gone)),
    )
    figure = eye_figure(
        brief,
        sheet,
        frame,
        shot,
        bare(shot),
        main,
        eye_mm(shot, eye),
        line_top(places),
        panes=(main.id, target.id),
        line_panes=(main.id,),
        prefix=f"q{n}.",
    )
    put_balls(figure, brief.subject.table, True)
    _put_lines(figure, reveal, line)
    _put_pocket(figure, places, asking, (asked[0] + fade, asked[0] + 2 * fade), (end, end + fade))
    _put_choices(figure, places, asking, (first, first + fade if n else first), right, reveal)
    _put_clock(figure, places, thinking, thought, rate)
    _put_answer(figure, places, told_words, reveal, number, (end, end + fade))
    return [main, target]


def _put_pocket(figure: Figure, places: EyeLayout, words: BriefStep, shown: Span, gone: Span) -> None:
    """A ring around the pocket, and its name."""
    table = figure.brief.subject.table
    if table is None or figure.brief.subject.target_name is None:
        return
    sheet, frame = figure.sheet, figure.frame
    hole = hole_of(table.pocket(_pocket(figure.brief.subject, figure.shot)), table)
    centre = (*hole.centre_mm, table.nose_mm)
    ring = Ring(centre, hole.radius_mm, "target_line")
    round_px = circle_outline(figure.pane.projection(0), np.array(centre), hole.radius_mm)
    if not round_px.is_seen:
        return
    id = sheet.put(figure.id("pocket"), ring, "line_under", "pocket", figure.line_panes)
    sheet.show(id, shown)
    x, y, w, h = (float(v) for v in round_px.box_px())
    name = words.measures[len(LETTERS)].number
    text = name[:1].upper() + name[1:]
    wide, high = plate_size(figure, text, None)
    ports = [Port((x + w / 2, y + (h if lift > 0 else 0.0)), side, lift) for side in (-1, 1) for lift in (-1, 1)]
    ports += [Port((x + (w if side > 0 else 0.0), y + h / 2), side) for side in (-1, 1)]
    ports += [
        Port((x + (w if side > 0 else 0.0), y + h / 2), side, lift, 5.0) for side in (-1, 1) for lift in (-1, 1)
    ]
    shot, R = figure.shot, figure.radius_mm
    balls = [disc_of(figure, role, at, R) for role, at in (("o", shot.object_ball_mm), ("c", shot.cue_ball_mm))]
    target = construction.Line("target_line", position(shot.object_ball_mm), position(shot.target_mm))
    top = frame.title_px[1] + 0.014 * frame.scale.short_px
    if frame.shape != "wide":
        top = places.heading_px[1] + 0.02 * frame.scale.short_px
    obstacles = Obstacles(
        tuple(ball for ball in balls if ball is not None),
        (),
        tuple(strokes_of(figure, in_reach(figure, target))),
        (places.pane_px, (0.0, 0.0, float(frame.width_px), top)),
    )
    wanted = Wanted("pocket", "pocket", text, wide, high, tuple(ports), prefer=int(shot.outward), is_point=True)
    found = place(wanted, obstacles, (frame.title_safe,), (), Spacing().scaled(frame.scale.k))
    if found is None:
        return
    put = [sheet.put(figure.id("pocket.name"), Plate(text, found.rect_px), "label", "pocket_name")]
    if found.leader_px:
        put.append(sheet.put(figure.id("pocket.leader"), Leader(found.leader_px), "leader", "pocket_name"))
    for id in (*put, figure.id("pocket")):
        if id != figure.id("pocket"):
            sheet.show(id, shown)
        sheet.hide(id, gone)


def _put_choices(
    figure: Figure, places: EyeLayout, words: BriefStep, shown: Span, right: Span, gone: Span
) -> None:
    """The hits to choose from, each with its letter and in words; with the answer the right one is lit."""
    sheet, frame, s = figure.sheet, figure.frame, figure.frame.scale
    hits = choices(figure.brief.subject, int(figure.prefix[1:-1]))
    x, y, w, h = places.pane_px
    clock = _clock_px(frame)
    gap = s.px(16)
    each = min((h - clock - gap * len(hits)) / len(hits), 0.15 * s.short_px * s.gain)
    widest = max(s.text_width_px(joined(words.measures[k]), "label") for k in range(len(hits)))
    radius = min(0.28 * each, (w - s.px(46) - 0.85 * s.text_px("measure") - widest) / 3.4)
    column = x + s.px(22) + 0.85 * s.text_px("measure")
    from_px = column + 3.4 * radius + s.px(14)
    fade = (right[0], right[0] + max((right[1] - right[0]) // 4, 1))
    for k, hit in enumerate(hits):
        top = y + k * (each + gap)
        middle = top + each / 2
        base = middle + CAP_HEIGHT / 2 * s.text_px("measure")
        offset = -int(figure.shot.outward) * 2 * (1 - hit)
        told = joined(words.measures[k])
        label = "label" if s.text_width_px(told, "label") <= x + w - s.px(10) - from_px else "small"
        at = (column + 1.7 * radius - radius * offset / 2, middle)
        parts: tuple[tuple[str, Shade | Text | HitGlyph, Layer], ...] = (
            ("plate", Shade((x, top, w, each), "plate", s.px(12)), "area"),
            ("letter", Text(LETTERS[k], (x + s.px(22), base), "measure"), "text"),
            ("hit", HitGlyph(at, radius, offset), "text"),
            ("words", Text(told, (from_px, middle + CAP_HEIGHT / 2 * s.text_px(label)), label), "text"),
        )
        is_right = k == _right(figure.shot, hits)
        for part, shape, layer in parts:
            is_first = shown[1] == shown[0]
            id = sheet.put(
                figure.id(f"choice.{k}.{part}"),
                shape,
                layer,
                "choice" if part == "words" else "choice_part",
                opacity=1.0 if is_first else 0.0,
            )
            if not is_first:
                sheet.show(id, shown)
            if not is_right:
                sheet.move(id, "opacity", fade, 0.25)
            sheet.hide(id, gone)
        if is_right:
            bar = Shade((x, top, s.stroke_px(8), each), "row_bar")
            id = sheet.put(figure.id("choice.bar"), bar, "bar", "readout")
            sheet.show(id, fade)
            sheet.hide(id, gone)


def _clock_px(frame: Layout) -> float:
    """Height of the clock with its words."""
    return 0.4 * frame.scale.text_px("small") + 1.9 * frame.scale.text_px("small")


def _put_lines(figure: Figure, reveal: Span, line: Span) -> None:
    """The target line from the start; ghost ball, contact point, aim line and cue with the answer."""
    sheet, shot, both = figure.sheet, figure.shot, figure.panes
    C, O, G, T = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm, shot.target_mm))
    end = in_reach(figure, construction.Line("target_line", O, T)).end_mm
    target = Line((O, end), "target_line", arrow=True)
    sheet.put(figure.id("target_line"), target, "line", "target_line", figure.line_panes, opacity=1.0)
    ghost = Ball(G, figure.radius_mm, "ghost")
    sheet.show(sheet.put(figure.id("ghost_ball"), ghost, "ghost", "ghost_ball", both), reveal)
    aim = Line((C, G), "aim_line")
    id = sheet.put(figure.id("aim_line"), aim, "line", "aim_line", figure.line_panes, opacity=1.0, drawn=0.0)
    sheet.move(id, "drawn", line, 1.0)
    at = position(shot.contact_object_mm)
    contact = Mark(at, "contact", is_hollow(figure, at))
    for role, mark, panes in (("contact_object", contact, both[1:]), ("aim_point", Mark(G, "aim"), both)):
        sheet.show(sheet.put(figure.id(role), mark, "mark", role, panes), line)
    bring_cue(figure, line)


def _put_clock(figure: Figure, places: EyeLayout, words: BriefStep, span: Span, rate: tuple[int, int]) -> None:
    """A bar that empties while there is time to think, and its words."""
    sheet, s = figure.sheet, figure.frame.scale
    x, y, w, h = places.pane_px
    top = y + h - _clock_px(figure.frame)
    inset = s.px(16)
    (measure,) = words.measures
    high = clock_high_px(s)
    text = Text(f"{measure.name}: {joined(measure)}", (x + inset, top + high + 1.2 * s.text_px("small")), "small")
    fade = frames_of(TIMING.fade_s, rate)
    box = (x, y + h - _clock_px(figure.frame) - s.px(6), w, _clock_px(figure.frame) + s.px(6))
    parts = [
        sheet.put(figure.id("clock.plate"), Shade(box, "plate", s.px(12)), "area", "countdown"),
        sheet.put(figure.id("clock.words"), text, "text", "countdown"),
    ]
    shown = (span[0], span[0] + fade)
    for id in parts:
        sheet.show(id, shown)
        sheet.hide(id, (span[1], span[1] + 1))
    put_clock(sheet, figure.id("clock"), (x + inset, top, w - 2 * inset, high), shown, span)


def _put_answer(
    figure: Figure, places: EyeLayout, words: BriefStep, reveal: Span, number: Span, gone: Span
) -> None:
    """The pane's frame, and the numbers."""
    sheet = figure.sheet
    x, y, w, h = places.pane_px
    strip = places.picture_px[1] + places.picture_px[3]
    parts = [
        sheet.put(figure.id("strip"), Shade((x, strip, w, y + h - strip), "gutter"), "area", "strip"),
        sheet.put(figure.id("edge"), Shade(places.pane_px, "window_edge"), "break", "edge"),
    ]
    for id in parts:
        sheet.show(id, reveal)
        sheet.hide(id, gone)
    told = _in_footer(figure.frame, words, w)
    known = reveal[1], reveal[1] + number[1] - number[0]
    column = w / len(told)
    for k, measure in enumerate(told):
        middle = x + (k + 0.5) * column
        top = strip + 0.36 * (y + h - strip)
        for part, text in (
            ("name", Text(measure.name, (middle, top), "small", "centre")),
            ("value", Text(joined(measure), (middle, top + 0.46 * (y + h - strip)), "heading", "centre")),
        ):
            id = sheet.put(figure.id(f"answer.{k}.{part}"), text, "text", "readout")
            sheet.show(id, number if measure.key == "aim_offset" else known)
            sheet.hide(id, gone)


def _in_footer(frame: Layout, words: BriefStep, width_px: float) -> tuple[MeasureText, ...]:
    """The measures that stand beside each other in so much room; the cut, which the title tells too, goes."""

    def needs_px(measure: MeasureText) -> float:
        name = frame.scale.text_width_px(measure.name, "small")
        # any digits alike, so that all the answers tell the same
        return max(name, frame.scale.text_width_px(re.sub(r"\d", "0", joined(measure)), "heading"))

    for first in range(len(words.measures) - 1):
        told = words.measures[first:]
        if max(map(needs_px, told)) + frame.scale.px(24) <= width_px / len(told):
            return told
    return words.measures[-1:]


KIND = Kind(
    "quiz",
    "shots to guess, then the answers",
    outline,
    board,
    axes=("eye",),
    spans=("cut", "side", "distance"),
    settings=QuizSettings,
    is_secret=True,
)
