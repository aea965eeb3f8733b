"""The quiz: a shot appears, a ring counts down, then cut, overlap and aim are revealed; and so on.

The questions are drawn from all the shots that the clip spans, in an order fixed by the setting `seed`. Side and
distance are drawn anew for each, and the whole picture may be turned or mirrored on the table, so that neither
place nor direction tells the cut. Sentences: quiz.question (value number), quiz.answer (the answer's values: cut,
side, overlap, aim_offset). Measures of an answer: cut, overlap, aim_offset.
"""

from __future__ import annotations

import math
import random
import re
from dataclasses import dataclass, replace

from aimgeo import construct as construction
from aimgeo.construct import Quantity, position
from aimgeo.shot import Shot, solve_shot
from aimgeo.side import NAMES
from aimgeo.vectors import Array
from scenes.board import Arc, Ball, Board, Line, Mark, Move, Pane, Shade, Text, Track
from scenes.board.brief import Brief, BriefStep, EyeSpec, MeasureText, OutlineStep, Subject
from scenes.board.motion import Sheet, Span, frames_of, in_turn
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.figure.eye_view import (
    EyeLayout,
    eye_layout,
    eye_mm,
    eye_pane,
    line_top,
    target_pane,
    viewing_distance,
)
from scenes.figure.figure import Figure, bare, eye_figure, in_reach, is_hollow
from scenes.figure.steps import bring_cue, put_balls
from scenes.frame.column import joined
from scenes.frame.eye_words import put_note, put_scrim, put_titles
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind

QUESTION, ANSWER = "quiz.question", "quiz.answer"
MIRRORS = ((1.0, 1.0), (-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0))
"""Ways to lay the same shot on a table: as it is, turned half round, and mirrored along either axis."""


@dataclass(frozen=True, slots=True)
class QuizSettings(Settings):
    """What may be set of a quiz."""

    questions: int = setting(3, "how many shots are asked", least=1, greatest=12)
    seed: int = setting(1, "fixes the order of the questions", least=0, greatest=9999)
    think_s: float = setting(5.0, "time to think about each", least=1.0, greatest=60.0)


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """Two steps a question: the shot and its countdown, then the answer."""
    think_s = QuizSettings.of(subject).think_s
    steps = []
    for n, shot in enumerate(questions(subject), 1):
        number = ("number", Quantity(n, "count"))
        steps.append(OutlineStep(f"question {n}", QUESTION, (number,), (), think_s + TIMING.fade_s + 0.5))
        cut = Quantity(abs(float(shot.cut_rad)), "angle_rad")
        overlap = Quantity(float(shot.overlap), "overlap")
        offset = Quantity(float(shot.aim_offset_mm), "length_mm")
        side = Quantity(NAMES[int(shot.side)], "name")
        values = (number, ("cut", cut), ("side", side), ("overlap", overlap), ("aim_offset", offset))
        measures = (("cut", cut), ("overlap", overlap), ("aim_offset", offset))
        steps.append(OutlineStep(f"answer {n}", ANSWER, values, measures, 4.5))
    return tuple(steps)


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
    if eye is None or len(brief.steps) != 2 * len(shots):
        raise ValueError(f"a quiz of {len(shots)} questions has an eye and {2 * len(shots)} steps")
    spans = brief.spans
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet = Sheet()
    panes: list[Pane] = []
    for n, shot in enumerate(shots):
        panes += _question(brief, frame, sheet, shot, eye, n, spans[2 * n], spans[2 * n + 1])
    put_scrim(sheet, frame)
    room = eye_layout(frame, 1).title_room_px
    put_titles(sheet, frame, brief.steps, spans, brief.output.rate, room)
    return sheet.board(brief, tuple(panes))


def _question(
    brief: Brief, frame: Layout, sheet: Sheet, shot: Shot, eye: EyeSpec, n: int, asked: Span, told: Span
) -> list[Pane]:
    """One shot: its picture, the countdown, and the answer."""
    rate = brief.output.rate
    fade = frames_of(TIMING.fade_s, rate)
    # where the balls stand must not tell the cut's side: in the middle, or where the pane is always on one side
    if frame.shape == "square":
        places = eye_layout(frame, 1)
    else:
        places = replace(eye_layout(frame, -int(shot.outward)), axis_px=frame.width_px / 2)
    first, end = asked[0], told[1]
    shown = Track((1.0,)) if n == 0 else Track((0.0,), (Move(first, first + fade, (1.0,)),))
    gone = Move(end, end + fade, (0.0,))
    main = eye_pane(places, shot, eye, f"eye.{n}", replace(shown, moves=(*shown.moves, gone)))
    closer = target_pane(main, places, frame, shot)
    reveal, line, number, _ = in_turn(*told, (0.5, TIMING.draw_s + 0.4, TIMING.fade_s, 2.0), rate)
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
    _count_down(figure, places, (asked[0] + fade, asked[1]), rate)
    _put_answer(figure, places, brief.steps[2 * n + 1], reveal, number, (end, end + fade))
    widths = viewing_distance(main, frame)
    note = put_note(
        sheet, brief.labels, widths, places.heading_px, places.heading_align, figure.id("note"), n == 0
    )
    if note is not None and n:
        sheet.show(note, (first + fade, first + 2 * fade))
    if note is not None:
        sheet.hide(note, (end, end + fade))
    return [main, target]


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


def _count_down(figure: Figure, places: EyeLayout, span: Span, rate: tuple[int, int]) -> None:
    """A ring that empties while there is time to think."""
    sheet, s = figure.sheet, figure.frame.scale
    radius = 0.052 * s.short_px
    x = figure.frame.width_px - figure.frame.title_px[0] - radius
    y = 0.30 * figure.frame.height_px + radius
    ring = Arc((x, y, 0.0), radius, -math.pi / 2, 1.5 * math.pi)
    id = sheet.put(figure.id("countdown"), ring, "label", "countdown")
    fade = frames_of(TIMING.fade_s, rate)
    sheet.show(id, (span[0], span[0] + fade))
    sheet.move(id, "drawn", (span[0] + fade, span[1]), 0.0, easing="linear")
    sheet.hide(id, (span[1], span[1] + 1))


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
    column = w / len(told)
    for k, measure in enumerate(told):
        middle = x + (k + 0.5) * column
        top = strip + 0.36 * (y + h - strip)
        for part, text in (
            ("name", Text(measure.name, (middle, top), "small", "centre")),
            ("value", Text(joined(measure), (middle, top + 0.46 * (y + h - strip)), "heading", "centre")),
        ):
            id = sheet.put(figure.id(f"answer.{k}.{part}"), text, "text", "readout")
            sheet.show(id, number)
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
