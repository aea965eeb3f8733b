"""The build-up: from the table in to the balls, the method's construction step by step, then the roll.

The opening shows where the shot is; one camera move turns and zooms until the aim points straight up; each step
of the construction draws what it adds, names it and counts it; at the end the cue ball rolls to the ghost
position and the object ball leaves on its line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Construction
from aimgeo.methods.cue_shift import SHIFT_NAMES, with_cue_shift
from aimgeo.vectors import left
from scenes.board import (
    Arc,
    Ball,
    Bar,
    Board,
    Cue,
    Line,
    Pane,
    Rect,
    Shade,
    Text,
    Track,
)
from scenes.board.brief import Brief, BriefStep, MeasureText, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span, in_turn
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING, drawing_s
from scenes.figure.eye_view import CUE_GAP_MM
from scenes.figure.figure import FRACTIONS, ON_BALL, PLAYED_RIGHT, Figure, Front, Magnifier, aims_true, pieces_of
from scenes.figure.front import (
    DROPS,
    drop_to_scale,
    fraction_of,
    front_of,
    hide_front,
    is_along,
    obstacles_around,
    put_front,
    shown_front,
)
from scenes.figure.labels import NOTHING, Obstacles, Port, Wanted, merged
from scenes.figure.magnified import GROW_S, hide_magnifier, put_magnifier, shown_pane
from scenes.figure.magnifier import magnifiers_of, too_near
from scenes.figure.placer import BAR_RANK, LINE_RANK, POINT_RANK, Labels, plate_size
from scenes.figure.plan import (
    CutArc,
    PlanBar,
    aim_step,
    bars_of,
    cut_arc_in,
    dimension_of,
    obstacles_of,
    plan_figure,
    titles,
)
from scenes.figure.plan_labels import left_without_name, moved_into_magnifier, plan_labels, wanted_in_plan
from scenes.figure.roll import put_roll, roll_s
from scenes.figure.steps import CUE_BACK_MM, StepSpans, When, draw_step, step_spans
from scenes.figure.tip_key import TIP_KEY, put_tip_key, tip_key
from scenes.frame.column import (
    appear,
    band_words,
    joined,
    measure_bar_rect,
    measure_texts,
    measures_room,
    measures_top_px,
    name_lines,
    put_pips,
    put_title,
)
from scenes.frame.framing import (
    INSET,
    PLAYED,
    TABLE,
    Framing,
    framing,
    inset_view,
    moving_camera,
    pane,
    table_view,
)
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.kinds.table_view import Opening, put_inset, put_opening
from scenes.look.look import Layer
from scenes.look.scale import plate_sizes

WHERE, ROLL, ROLL_TO_PLACE = "build_up.where", "build_up.roll", "build_up.roll_to_place"
BROKEN = "build_up.broken"
BETWEEN_LINES = frozenset({"contact_offset", "cue_gap", "aim_offset", "second_offset"})
PARALLELS = frozenset({"object_ball_line", "contact_line", "aim_line"})
"""Measures of gaps between the lines along the aim, and those lines: a step that compares gaps needs them all."""
CUT_KEYS = frozenset({"cut", "cut_left", "cut_right"})
"""Measures of the cut."""
CUE_MOVES_S = 1.0
TURN_S = 1.0
"""To look at the table after it is told."""
REST_S = 0.7
ARRIVAL_S = TIMING.fade_s + TIMING.rest_s + TIMING.camera_s + REST_S
"""The words go, the camera moves in, and what it arrives at is named."""
BAR_S, ARC_S = 0.7, 0.8
SWEEP, SWEEP_S = "sweep", 1.8
"""An aim line that is moved out until it is the aim, and how long that takes."""
ROWS = frozenset({"fixed_mark"})
"""Points of which many stand in a row, each known by its place in it."""
ALONG = PARALLELS | {"sight_line"}
"""Lines along the aim: where the object ball is seen along it, there is how far they are apart."""
CUE_LIES_AT = frozenset({"sight_start", "cue_mark"})
"""Points beside the cue ball's centre at which the cue is laid."""
TIP = "tip"
"""The id of the cue whose tip measures a shift."""
FROM_CUE = frozenset({"aim_line", "sight_line"})
"""Lines that start at the cue ball's centre or beside it, so that the centre must be marked."""


@dataclass(frozen=True, slots=True)
class BuildUpSettings(Settings):
    """What may be set of a build-up."""

    cue_shift: str = setting("none", "adds the small shift at the cue ball, in balls", choices=tuple(SHIFT_NAMES))


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """Where the shot is (when there is a table), one step for each of the construction's, and the roll."""
    plan = _construction(subject)
    assert subject.shot is not None
    values = plan.steps[0].values
    arrives = _opens_with(subject, plan)
    told = _measures(plan, subject)
    steps = [
        OutlineStep(
            step.name,
            step.sentence,
            step.values,
            tuple((_measure_key(m.key, subject), m.quantity) for m in measures),
            _least_s(step),
        )
        for step, measures in zip(plan.steps, told, strict=True)
    ]
    if subject.table:
        opening = OutlineStep("where", WHERE, values, draws_s=2.5, after_s=TURN_S)
        steps.insert(0, opening)
        # the camera goes in when everything about the table is said
        last = steps[arrives]
        steps[arrives] = replace(
            last, draws_s=TIMING.fade_s + TIMING.draw_most_s + ARRIVAL_S, after_s=TURN_S + ARRIVAL_S
        )
    sentence = _rolled(subject) if aims_true(plan, subject.shot) else PLAYED_RIGHT
    return (*steps, OutlineStep("roll", sentence, values, draws_s=roll_s(subject)))


def told_of_break(steps: tuple[OutlineStep, ...], subject: Subject, frame: Layout) -> tuple[OutlineStep, ...]:
    """That the picture is broken between the balls is said once, as soon as it can be seen."""
    if subject.shot is None or not framing(frame, subject.shot).is_broken:
        return steps
    at = 0 if subject.table is None else 1 + _opens_with(subject, _construction(subject))
    return tuple(replace(step, then=BROKEN) if k == at else step for k, step in enumerate(steps))


def _opens_with(subject: Subject, plan: Construction) -> int:
    """How many of the construction's steps are shown on the table from above: the target line, or none."""
    first = plan.steps[0]
    is_target = {line.role for line in first.lines} == {"target_line"} and not first.circles
    return int(subject.table is not None and is_target and len(plan.steps) > 1)


def _measures(plan: Construction, subject: Subject) -> list[tuple[construction.Measure, ...]]:
    """The measures of each step: the cut goes with the aim, where it can be seen."""
    assert subject.shot is not None
    at = aim_step(plan, subject.shot)
    cut = tuple(m for step in plan.steps for m in step.measures if m.key == "cut")[:1]
    if at is None:
        return [step.measures for step in plan.steps]
    others = [tuple(m for m in step.measures if m.key != "cut") for step in plan.steps]
    others[at] = (*cut, *others[at])
    return others


def _rolled(subject: Subject) -> str:
    """What is said of the roll: where there is a table the object ball goes into a pocket, or to a place on it."""
    return ROLL if subject.table is None or subject.pocket is not None else ROLL_TO_PLACE


def _measure_key(key: str, subject: Subject) -> str:
    """A cut is never named without its side."""
    side = 0 if subject.shot is None else int(subject.shot.side)
    return key if key != "cut" or side == 0 else "cut_left" if side > 0 else "cut_right"


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    brief.check_steps(outline(brief.subject), "a build-up of this shot")
    spans = brief.spans
    figure, stage = _scene(brief)
    front = figure.front
    first = 0
    panes: tuple[Pane, ...] = _stage_panes(figure, None)
    arrival = None
    if brief.subject.table:
        first = 1
        panes, arrival = _opening(figure, stage, spans)
    put_stage_balls(figure, first == 0)
    beside = NOTHING if front is None else obstacles_around(figure, front)
    keys = (tip_key(figure, step, 1) for step in figure.plan.steps)
    column = Obstacles(rects=tuple(rect for key in keys if key is not None for rect in key.rects))
    beside = merged([beside, column])
    labels, told = plan_labels(figure, beside), _Told(beside=beside, column=column)
    seen = _opens_with(brief.subject, figure.plan)
    for i, (step, span) in enumerate(zip(figure.plan.steps, spans[first:-1], strict=True)):
        if arrival is not None and i < seen:
            _arrive(figure, labels, told, step, brief.steps[first + i], span, arrival)
        else:
            _draw_step(figure, labels, told, i, step, brief.steps[first + i], span)
    played = put_roll(figure, labels, told.ids, brief.steps[-1], spans[-1], stage.main)
    gone = replace(played.opacity.moves[0], to=(0.0,))
    left = (replace(p, opacity=replace(p.opacity, moves=(*p.opacity.moves, gone))) for p in panes if p.id != TABLE)
    opening = (p for p in panes if p.id == TABLE)
    insets = [_magnifier_pane(figure, one, spans[first:]) for one in figure.magnifiers]
    if front is not None:
        fade, (starts, ends) = figure.frames(TIMING.fade_s), (front.first_step, front.end_step)
        starts, ends = spans[first + starts][0], spans[first + ends][0]
        insets.append(shown_front(front, (starts, starts + fade), (ends, ends + fade)))
    return figure.sheet.board(brief, (*opening, *left, *insets, played))


def _scene(brief: Brief) -> tuple[Figure, Framing]:
    subject = brief.subject
    assert subject.shot is not None
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    stage = framing(frame, subject.shot)
    figure = plan_figure(brief, frame, subject.shot, _construction(subject), stage)
    dimension = dimension_of(figure)
    spare = () if dimension is None else (dimension.plate_px, *dimension.strokes)
    shown = obstacles_of(figure)
    steps = figure.plan.steps
    near = too_near(figure, steps)
    front = front_of(figure, figure.plan, merged(shown), spare)
    if front is None:
        figure.magnifiers = magnifiers_of(figure, steps, near, shown, spare, ROWS)
    else:
        beside = [merged([shown[0], obstacles_around(figure, front)]), *shown[1:]]
        figure.magnifiers = magnifiers_of(figure, steps, near, beside, spare, ROWS | ON_BALL | ALONG)
        if not figure.magnifiers and magnifiers_of(figure, steps, near, shown, spare, ROWS | ON_BALL | ALONG):
            # there is no room for both: the first makes way for the second
            figure.magnifiers = magnifiers_of(figure, steps, near, shown, spare, ROWS | ON_BALL)
            if figure.magnifiers:
                front = replace(front, end_step=figure.magnifiers[0].first_step)
        figure.front = front if front.end_step > front.first_step else None
    figure.panes = (*figure.panes, *(one.pane.id for one in figure.magnifiers))
    return figure, stage


def _construction(subject: Subject) -> Construction:
    if subject.shot is None or subject.construction is None:
        raise ValueError("a build-up needs a shot and a construction")
    shift = SHIFT_NAMES[BuildUpSettings.of(subject).cue_shift]
    return with_cue_shift(subject.construction, subject.shot, shift)


def _least_s(step: construction.Step) -> float:
    """Seconds that a step's drawing and its hold need at least, in any frame."""
    longest = drawing_s(1.3)
    parts = [TIMING.fade_s + TIMING.rest_s, TIMING.hold_s, TIMING.fade_s]
    parts += [0.45] if step.circles else []
    parts += [longest] if step.lines else []
    parts += [TIMING.fade_s] if step.points else []
    parts += [0.4 + TIMING.fade_s] if step.measures else []
    return sum(parts)


# ------------------------------------------------------------------ panes


def _stage_panes(figure: Figure, at_frame: int | None) -> tuple[Pane, ...]:
    """The panes of the stage, visible from a frame on (None: always); the near part of a broken one fades in."""
    out = []
    for i, window in enumerate(figure.windows):
        opacity = Track((1.0,))
        if at_frame is not None:
            sheet = Sheet()
            sheet.put("pane", Shade(window.rect_px, "plate"), "table")
            sheet.show("pane", (at_frame, at_frame + (1 if i == 0 else figure.frames(TIMING.fade_s))))
            opacity = sheet.elements()[0].opacity
        out.append(replace(window, opacity=opacity))
    if figure.brief.subject.table:
        view = inset_view(figure.frame, figure.brief.subject.table)
        sheet = Sheet()
        sheet.put("pane", Shade(figure.frame.inset_px, "plate"), "table")
        at = at_frame or 0
        sheet.show("pane", (at, at + figure.frames(TIMING.fade_s)))
        out.append(pane(INSET, figure.frame.inset_px, view, "inset", sheet.elements()[0].opacity, None))
    return tuple(out)


def _opening(figure: Figure, stage: Framing, spans: Sequence[Span]) -> tuple[tuple[Pane, ...], Span]:
    """The table, on which the target line is drawn, and the move in to the balls; the panes of the whole clip, and
    the frames from the camera's arrival to the end of its step."""
    subject, steps, rate = figure.brief.subject, figure.brief.steps, figure.rate
    table = subject.table
    assert table is not None
    seen = _opens_with(subject, figure.plan)
    (first, middle), (start, end) = spans[0], spans[seen]
    fade = figure.frames(TIMING.fade_s)
    _, off, _, move, rest = in_turn(
        max(end - figure.frames(ARRIVAL_S), start),
        end,
        (0.0, TIMING.fade_s, TIMING.rest_s, TIMING.camera_s, REST_S),
        rate,
    )
    heard = Words(steps[0], spans[0], figure.brief.labels)
    (between,) = placed(
        heard, [Part(("between",), drawing_s(0.3), grows=True)], rate, 2 * TIMING.fade_s, TIMING.fade_s
    )
    line, pocket = off, off
    if seen:
        heard = Words(steps[1], (start, end), figure.brief.labels).until(off[0])
        length = math.dist(
            *(
                table_view(figure.frame, table).to_px(at)
                for at in (figure.shot.object_ball_mm, figure.shot.target_mm)
            )
        )
        drawn = Part(("target_line",), drawing_s(length / figure.frame.height_px), grows=True)
        line, pocket = placed(
            heard, [drawn, Part(("pocket",), TIMING.draw_least_s)], rate, TIMING.fade_s, TIMING.fade_s
        )
    main = stage.panes[0][2]
    full: Rect = (0.0, 0.0, float(figure.frame.width_px), float(figure.frame.height_px))
    camera = moving_camera(full, table_view(figure.frame, table), main, *move, figure.shot.object_ball_mm)
    sheet = Sheet()
    sheet.put("pane", Shade(full, "plate"), "table", opacity=1.0)
    sheet.hide("pane", (move[1] - 1, move[1]))
    gone = sheet.elements()[0].opacity
    half = max(fade // 2, 1)
    titles: list[tuple[str, Span | None, Span]] = [
        (steps[0].title, None, (middle, middle + half) if seen else off)
    ]
    if seen:
        titles.append((steps[1].title, (middle + half, middle + fade), off))
    when = Opening(tuple(titles), between, line, pocket, off, (move[1] - fade, move[1]))
    if not seen:
        when = replace(when, line=(first, first + 1))
    put_opening(figure.sheet, figure.brief, figure.frame, table, when)
    put_inset(figure.sheet, subject, stage, table, figure.frame)
    _put_between(figure, (rest[0], rest[0] + fade))
    return (Pane(TABLE, full, "table", camera, "cloth", gone), *_stage_panes(figure, move[1] - 1)), (move[1], end)


def _arrive(
    figure: Figure,
    labels: Labels,
    told: _Told,
    step: construction.Step,
    words: BriefStep,
    span: Span,
    arrival: Span,
) -> None:
    """A step that was drawn on the table stands in the stage when the camera arrives, and is named there."""
    at, end = arrival
    fade = figure.frames(TIMING.fade_s)
    roles = (*(line.role for line in step.lines), *(point.role for point in step.points))
    when = StepSpans((span[0], span[0] + 1), dict.fromkeys(roles, (at - 1, at)), fade, (at, end))
    draw_step(figure, 0, step, when)
    put_pips(figure.sheet, figure.frame, "pips.0", len(figure.plan.steps) + 1, 0, (at - 1, at), (end, end + 1))
    shown = (at, at + fade)
    labels.add(0, wanted_in_plan(figure, labels, 0, step, []), shown, (span[0], span[0] + fade))
    _put_measures(figure, told, 0, words, shown, (span[0], span[0] + fade))


def _put_between(figure: Figure, shown: Span | None) -> None:
    """How far apart the balls are: in the break, or along a line beside a whole shot."""
    if figure.is_broken:
        _put_band(figure, shown)
        return
    found = dimension_of(figure)
    if found is None:
        return
    plate = Shade(found.plate_px, "plate", plate_sizes(figure.frame.scale).radius_px)
    shapes: list[tuple[Shade | Text, Layer]] = [(Shade(rect, "row_bar"), "break") for rect in found.strokes]
    shapes += [(plate, "label"), *((text, "text") for text in found.words)]
    for n, (shape, layer) in enumerate(shapes):
        id = figure.sheet.put(f"band.{n}", shape, layer, "dimension", opacity=0.0 if shown else 1.0)
        appear(figure.sheet, id, shown, None)


def _put_band(figure: Figure, shown: Span | None) -> None:
    sheet, frame = figure.sheet, figure.frame
    sheet.put("band", Shade(frame.band_px, "band"), "break", opacity=0.0 if shown else 1.0)
    appear(sheet, "band", shown, None)
    if words := band_words(frame, figure.brief.labels):
        sheet.put("band.words", words, "text", opacity=0.0 if shown else 1.0)
        appear(sheet, "band.words", shown, None)


def put_stage_balls(figure: Figure, from_start: bool) -> None:
    """The two balls, in every pane that shows the true table."""
    panes = (*((TABLE,) if not from_start else ()), *figure.panes, PLAYED)
    R = figure.radius_mm
    for role, at, look in (
        ("object_ball", figure.shot.object_ball_mm, "object"),
        ("cue_ball", figure.shot.cue_ball_mm, "cue"),
    ):
        centre = construction.position(at)
        along = figure.front_panes if role == "object_ball" else ()
        figure.sheet.put(role, Ball(centre, R, look), "ball", panes=(*panes, *along), opacity=1.0)
    if from_start:
        _put_between(figure, None)


def _magnifier_pane(figure: Figure, closer: Magnifier, spans: Sequence[Span]) -> Pane:
    """Its pane, there as soon as its rim has grown, until the step in which it goes."""
    came = figure.sheet.moves(f"{closer.pane.id}.edge", "opacity")[0]
    gone = spans[closer.end_step][0]
    return shown_pane(closer, (came.first_frame, came.end_frame), (gone, gone + figure.frames(TIMING.fade_s)))


# ------------------------------------------------------------------ steps


def _draw_step(
    figure: Figure,
    labels: Labels,
    told: _Told,
    index: int,
    step: construction.Step,
    words: BriefStep,
    span: Span,
) -> None:
    first, end = span
    sheet, front = figure.sheet, figure.front
    fade = figure.frames(TIMING.fade_s)
    half = max(fade // 2, 1)
    put_title(sheet, figure.frame, f"title.{index}", words.title, (first + half, first + fade), (end, end + half))
    count = len(figure.plan.steps) + 1
    put_pips(sheet, figure.frame, f"pips.{index}", count, index, (first, first + 1), (end, end + 1))
    bars, arc = bars_of(figure, step, index), cut_arc_in(figure, index)
    drawn = _completed(figure, labels, step)
    closer = figure.magnifier(index)
    opens = closer is not None and closer.first_step == index
    more: dict[str, tuple[tuple[str, ...], float]] = {}
    for measure in words.measures:
        if measure.key not in CUT_KEYS and all(measure.key != one.key for one in bars):
            more[measure.key] = ((measure.key,), TIMING.fade_s)
    if any(point.role in CUE_LIES_AT for point in step.points):
        more[TIP] = (("cue", *CUE_LIES_AT), CUE_MOVES_S)
    for one in bars:
        more[one.id] = ((one.key,), BAR_S * one.bar.pieces)
        if one.key == "second_offset":
            more[SWEEP] = ((SWEEP,), SWEEP_S)
    if arc is not None:
        more["cut_arc"] = (("cut",), ARC_S)
    key = tip_key(figure, step, len(told.measures) + len(words.measures))
    if key is not None:
        more[TIP_KEY] = ((TIP_KEY,), TIMING.fade_s)
    when = step_spans(figure, drawn, span, words, more=more, lead_s=GROW_S if opens else 0.0)
    if front is not None:
        _draw_front(figure, labels, told, front, index, drawn, when, (first, first + fade))
    for gone in figure.magnifiers:
        if gone.end_step == index:
            _close_magnifier(figure, labels, told.beside, gone, (first, first + fade))
    opened: Span | None = None
    if closer is not None and opens:
        opened = _open_magnifier(figure, labels, told, closer, when, span)

    def named_at(name: str) -> Span:
        # what a magnifier shows of earlier steps is named as soon as it is there
        is_old = closer is not None and name in closer.roles and name not in when.parts
        return opened if opened is not None and is_old else when.label(name)

    # a step that compares gaps between lines needs them all
    compares = any(measure.key in BETWEEN_LINES for measure in step.measures)
    draw_step(figure, index, drawn, when, PARALLELS if compares else frozenset())
    for one in bars:
        _put_bar(figure, labels, told, one, when.of(one.id), (first, first + fade))
    if SWEEP in more:
        _sweep(figure, when.of(SWEEP))
    _lay_cue(figure, step, when)
    if arc is not None:
        _draw_arc(figure, arc, when.of("cut_arc"), (end, end + fade))
    # what has few places comes first
    wanted = [*wanted_in_plan(figure, labels, index, step, bars), *_arc_label(figure, arc, words)]
    wanted, within = moved_into_magnifier(figure, labels, index, wanted)
    if front is not None and is_along(figure, index) and (fraction := fraction_of(figure, step)) is not None:
        told.beside = merged([told.column, obstacles_around(figure, front, is_row_free=True)])
        labels.steps = obstacles_of(figure, closer, told.beside)
        wanted.append((fraction, POINT_RANK))
    enlarged = {"fraction", *(one.id for one in bars if one.within is not None)}
    wanted.sort(key=lambda want: (want[0].id not in enlarged, not want[0].insists, want[1] != BAR_RANK))
    labels.add(index, wanted, named_at, (first, first + fade))
    for name in within:
        labels.put(name, LINE_RANK, index, named_at(name.wanted.name), is_new=True, is_pinned=True)
    labels.add_more(index, left_without_name(figure, labels, index), named_at)
    if arc is not None:
        # it explains the number once, and makes room for the construction
        labels.gone.add("straight_on")
        labels.remove_named("cut_arc", (end, end + fade))
    drawn_with = {one.key: one.id for one in bars} | (dict.fromkeys(CUT_KEYS, "cut_arc") if arc else {})
    _put_measures(
        figure, told, index, words, lambda key: when.number(drawn_with.get(key, key)), (first, first + fade)
    )
    if key is not None:
        put_tip_key(figure, key, when.of(TIP_KEY), (end, end + half))


def _sweep(figure: Figure, moved: Span) -> None:
    """The aim line once more, moved out from the centre line until it is the aim."""
    aim = figure.plan.cue_line
    shot = figure.shot
    side = left(shot.aim_direction)
    across = side * float((shot.object_ball_mm - shot.cue_ball_mm)[:2] @ side)
    for n, (panes, a, b) in enumerate(pieces_of(figure, aim)):
        id = figure.sheet.put(f"{SWEEP}.{n}", Line((a, b), "aim_line"), "line", SWEEP, panes)
        figure.sheet.move(id, "offset_mm", (moved[0] - 1, moved[0]), *across.tolist(), 0.0, easing="linear")
        figure.sheet.show(id, (moved[0], moved[0] + figure.frames(TIMING.fade_s)))
        figure.sheet.move(id, "offset_mm", moved, 0.0, 0.0, 0.0)
        figure.sheet.hide(id, (moved[1], moved[1] + 1))


def _close_magnifier(figure: Figure, labels: Labels, beside: Obstacles, closer: Magnifier, gone: Span) -> None:
    """It goes, with the names and numbers of what it shows."""
    hide_magnifier(figure, closer, gone)
    for role in closer.roles:
        labels.remove_named(role, gone)
    for id in figure.sheet.ids():
        if figure.sheet.panes(id) == (closer.pane.id,):
            labels.remove_named(id.removesuffix(".0").removesuffix(".1"), gone)
    labels.steps = obstacles_of(figure, None, beside)


def _draw_front(
    figure: Figure,
    labels: Labels,
    told: _Told,
    front: Front,
    index: int,
    step: construction.Step,
    when: StepSpans,
    turn: Span,
) -> None:
    """The object ball along the aim comes with its first step; what points at it drops to its scale."""
    if index == front.end_step:
        hide_front(figure, turn)
        told.beside = told.column
        labels.remove_named("fraction", turn)
        labels.steps = obstacles_of(figure, figure.magnifier(index), told.beside)
    if not is_along(figure, index):
        return
    if index == front.first_step:
        if front.takes_spare:
            _hide_between(figure, turn)
        scale = min(when.of(p.role) for p in step.points if p.role in FRACTIONS)
        put_front(figure, front, figure.plan.steps, turn, scale)
    for point in step.points:
        if point.role in DROPS:
            drop_to_scale(figure, point.role, point.at_mm, when.of(point.role))


def _hide_between(figure: Figure, gone: Span) -> None:
    """The line that measures how far apart the balls are goes."""
    for id in figure.sheet.ids():
        if id.startswith("band") and figure.sheet.is_shown_at_end(id):
            figure.sheet.hide(id, gone)


def _open_magnifier(
    figure: Figure, labels: Labels, told: _Told, closer: Magnifier, when: StepSpans, span: Span
) -> Span:
    """It grows before the first thing that it shows is drawn; what gives way to it goes. When it is there."""
    fade, grown = figure.frames(TIMING.fade_s), figure.frames(GROW_S)
    begins = [first for role, (first, _) in when.parts.items() if role in closer.roles]
    starts = max(min(begins, default=span[0] + grown) - grown, span[0])
    for role in closer.roles:
        labels.remove_named(role, (span[0], span[0] + fade))
    if closer.takes_spare:
        _hide_between(figure, (span[0], span[0] + fade))
    labels.steps = obstacles_of(figure, closer, told.beside)
    put_magnifier(figure, closer, starts)
    return starts + grown, starts + grown + fade


def _put_bar(figure: Figure, labels: Labels, told: _Told, one: PlanBar, drawn: Span, turn: Span) -> None:
    """A bar grows; of a doubled one the first piece grows, and slides over to become the second."""
    sheet, id, bar, key = figure.sheet, one.id, one.bar, one.key
    panes = figure.panes if one.within is None else (one.within.id,)
    for old in told.bars:
        if sheet.is_shown_at_end(old):
            sheet.hide(old, (drawn[0], drawn[0] + figure.frames(TIMING.fade_s)))
            labels.gone.add(old)
            labels.remove_named(old, turn)
    told.bars.append(id)
    if bar.pieces == 1:
        sheet.put(id, bar, "bar", key, panes, opacity=1.0, drawn=0.0)
        sheet.move(id, "drawn", drawn, 1.0)
        return
    a, b = (np.array(p) for p in bar.points_mm)
    piece = (b - a) / bar.pieces
    middle = (drawn[0] + drawn[1]) // 2
    single = Bar((bar.points_mm[0], construction.position(a + piece)), 1, 1)
    for n in range(bar.pieces):
        part = sheet.put(f"{id}.{n}", single, "bar", f"{key}.piece", panes, opacity=1.0, drawn=0.0)
        sheet.move(part, "drawn", (drawn[0], middle), 1.0)
        if n:
            sheet.move(part, "offset_mm", (middle, drawn[1] - 1), *(n * piece).tolist())
        sheet.move(part, "opacity", (drawn[1] - 1, drawn[1]), 0.0)
    sheet.put(id, bar, "bar", key, panes)
    sheet.move(id, "opacity", (drawn[1] - 1, drawn[1]), 1.0)


def _lay_cue(figure: Figure, step: construction.Step, when: StepSpans) -> None:
    """The cue, whose tip measures a small shift: laid where the step says, then moved, parallel, to the centre."""
    sheet, shot = figure.sheet, figure.shot
    there = next((p.at_mm for p in step.points if p.role in CUE_LIES_AT), None)
    lies = TIP in sheet.ids()
    if there is None and not (lies and any(line.role == "aim_line" for line in step.lines)):
        return
    aside = np.subtract(there, shot.cue_ball_mm) if there is not None else np.zeros(3)
    if not lies:
        flat = (*shot.aim_direction.tolist(), 0.0)
        tip = shot.cue_ball_mm - (figure.radius_mm + CUE_GAP_MM) * np.array(flat)
        closer = (one.pane.id for one in figure.magnifiers if one.window is figure.windows[-1])
        sheet.put(TIP, Cue(construction.position(tip), flat), "ball", "cue", (figure.windows[-1].id, *closer))
        first, end = when.of(TIP)
        behind = aside - CUE_BACK_MM * np.array(flat)
        sheet.move(TIP, "offset_mm", (first - 1, first), *behind.tolist(), easing="linear")
        sheet.show(TIP, (first, first + 1))
        sheet.move(TIP, "offset_mm", (first, end), *aside.tolist())
    else:
        roles = [line.role for line in step.lines if line.role in FROM_CUE]
        sheet.move(TIP, "offset_mm", when.of(roles[0]) if roles else when.of(TIP), *aside.tolist())
    if step.name == "parallel sight":
        start = when.last[1]
        sheet.move(TIP, "offset_mm", (start, min(start + figure.frames(CUE_MOVES_S), when.hold[1])), 0.0, 0.0, 0.0)


@dataclass(slots=True)
class _Told:
    """The bars drawn so far, the measures that stand in the column with their elements, and what stands beside the
    figure for the labels to keep clear of, with what stands in the `column` for a while."""

    bars: list[str] = field(default_factory=list)
    measures: list[MeasureText] = field(default_factory=list)
    ids: list[str] = field(default_factory=list)
    beside: Obstacles = NOTHING
    column: Obstacles = NOTHING


def _draw_arc(figure: Figure, arc: CutArc, drawn: Span, gone: Span) -> None:
    """The cut as a pale sector between straight on and the target line; gone when the next step begins."""
    sheet, main = figure.sheet, (figure.pane.id,)
    line = Line((arc.straight_on.start_mm, arc.straight_on.end_mm), "thin_line")
    sector = Arc(arc.straight_on.start_mm, arc.radius_mm, arc.from_rad, arc.to_rad)
    sheet.put("straight_on", line, "line", panes=main, opacity=1.0, drawn=0.0)
    sheet.put("cut_arc", sector, "line_under", panes=main, opacity=1.0, drawn=0.0)
    for id in ("straight_on", "cut_arc"):
        sheet.move(id, "drawn", drawn, 1.0)
        sheet.hide(id, gone)


def _arc_label(figure: Figure, arc: CutArc | None, words: BriefStep) -> list[tuple[Wanted, int]]:
    """The number of the cut, outside its arc."""
    texts = [joined(m) for m in words.measures if m.key in CUT_KEYS]
    if arc is None or not texts:
        return []
    w, h = plate_size(figure, texts[0], None)
    middle = (arc.from_rad + arc.to_rad) / 2
    centre = np.array(arc.straight_on.start_mm)
    at = centre + arc.radius_mm * np.array([math.cos(middle), math.sin(middle), 0.0])
    x, y = figure.px(at)
    port = Port((x, y - figure.frame.scale.stroke_px(4)), 0, -1)
    want = Wanted(
        "cut_arc", "cut_arc", texts[0], w, h, (port,), near_px=(x, y), prefer=figure.aim_side, is_point=True
    )
    return [(want, BAR_RANK)]


def _completed(figure: Figure, labels: Labels, step: construction.Step) -> construction.Step:
    """The step with what the method itself does not draw.

    With the aim line the ghost ball, where the cue ball will be; with the first line from the cue ball, or a point
    beside it from which one starts, its centre.
    """
    if any(line.role == "aim_line" for line in step.lines) and not figure.has_ghost:
        G = construction.position(figure.shot.ghost_ball_mm)
        step = replace(step, circles=(*step.circles, construction.Circle("ghost_ball", G, figure.radius_mm)))
    is_laid = any(p.role in CUE_LIES_AT for p in step.points) or any(line.role in FROM_CUE for line in step.lines)
    if "cue_centre" not in labels.named and is_laid:
        labels.named.add("cue_centre")
        C = construction.position(figure.shot.cue_ball_mm)
        if not any(p.role == "cue_centre" for s in figure.plan.steps for p in s.points):
            step = replace(step, points=(*step.points, construction.Point("cue_centre", C)))
    return step


# ------------------------------------------------------------------ measures


def _put_measures(figure: Figure, told: _Told, index: int, words: BriefStep, number: When, turn: Span) -> None:
    """The new measures in white with their bar; older ones stay dim above them as far as there is room."""
    frame, sheet = figure.frame, figure.sheet
    middle = (turn[0] + turn[1]) // 2
    shown_at = number if callable(number) else lambda key: number
    room = measures_room(titles(figure.brief), frame, figure.brief.subject.table is not None)
    fresh = list(words.measures)[-max(room, 1) :]
    kept = told.measures[-(room - len(fresh)) :] if room > len(fresh) else []
    if not fresh:
        kept = told.measures[-room:]
    elif any(name_lines(measure, frame) > 1 for measure in fresh):  # it would reach into the number above
        kept = []
    shown = [*kept, *fresh]
    top = measures_top_px(titles(figure.brief), frame)
    for old in told.ids:
        if sheet.is_shown_at_end(old):
            sheet.hide(old, (turn[0], middle))
    told.ids.clear()
    for slot, measure in enumerate(shown):
        is_new = measure in fresh
        baseline = top + slot * frame.measure_pitch_px
        strength = 1.0 if is_new else figure.frame.look.old_strength
        for n, text in enumerate(measure_texts(measure, frame, frame.measures_px[0], baseline)):
            id = f"measure.{index}.{slot}.{n}"
            sheet.put(id, text, "text", "measure", strength=strength)
            sheet.show(id, shown_at(measure.key) if is_new else (middle, turn[1]))
            told.ids.append(id)
        if is_new:
            id = f"measure_bar.{index}.{slot}"
            sheet.put(id, Shade(measure_bar_rect(frame, baseline), "measure_bar"), "text", "measure_bar")
            sheet.show(id, shown_at(measure.key))
            told.ids.append(id)
    told.measures = shown


KIND = Kind(
    "build-up",
    "a method's construction step by step, then the shot",
    outline,
    board,
    axes=("method", "cut", "side", "distance"),
    settings=BuildUpSettings,
    in_frame=told_of_break,
)
