"""Split screens: two views of the lesson beside each other, in step: two distances, methods, cuts or eyes.

The lines, points and balls are those of each half's own shot and eye. Sentences: split.view, then, where both
halves show one method, its own steps, else split.draw; split.compare. Values: left and right name the halves.
Measures of the view name the halves (key half); those of the comparison say, as parts of the object ball's visible
half-width, where the contact point and the aim line are seen (contact_seen, aim_seen), the left half's first.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from aimgeo.aim_frame import aim_frame
from aimgeo.construct import Quantity, Step
from aimgeo.eye import Apparent, apparent, ball_points
from aimgeo.shot import Shot, one_of_many
from scenes.board import Board, Pixel, Plate, Rect, Shade, Text
from scenes.board.brief import Brief, EyeSpec, OutlineStep, Subject
from scenes.board.motion import Sheet, Span, frames_of
from scenes.board.timing import TIMING
from scenes.figure.eye_view import EyeLayout, eye_mm, eye_pane, viewing_distance
from scenes.figure.figure import Figure, eye_figure
from scenes.figure.steps import bring_cue, draw_step, put_balls, put_ghost, step_spans
from scenes.frame.column import joined
from scenes.frame.eye_words import beside_pips_px, note_words, put_scrim, put_titles
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.look.scale import plate_sizes, plate_width_px

VIEW, DRAW, COMPARE = "split.view", "split.draw", "split.compare"
TOP = 0.30
GUTTER_PX = 4.0


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """Both views, the construction in both, and what differs."""
    halves = _halves(subject)
    names = _names(subject.kind, halves)
    values = (*_steps(halves[0])[0].values, ("left", names[0]), ("right", names[1]))
    seen = [_seen(half) for half in halves]
    measures = tuple(
        (key, Quantity(abs(float(getattr(one, field)[0])), "part"))
        for one in seen
        for key, field in (("contact_seen", "contact_place"), ("aim_seen", "aim_place"))
    )
    return (
        OutlineStep("view", VIEW, values, tuple(("half", name) for name in names), draws_s=3.0),
        *(OutlineStep(name, sentence, (*values, *own), (), s) for name, sentence, own, s in _middle(halves)),
        OutlineStep("compare", COMPARE, values, measures, draws_s=4.0),
    )


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    expected = [step.name for step in outline(brief.subject)]
    if [step.name for step in brief.steps] != expected:
        raise ValueError(f"a split screen of these shots has the steps {', '.join(expected)}")
    spans = brief.spans
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet = Sheet()
    figures = tuple(_figure(brief, frame, sheet, half, n) for n, half in enumerate(_halves(brief.subject)))
    for figure in figures:
        put_balls(figure, brief.subject.table, True)
    _put_frame(sheet, frame, brief, spans, figures)
    middle = spans[1:-1]
    for figure in figures:
        for step_index, (step, span) in enumerate(_in_step(figure.plan.steps, middle)):
            _draw_step(figure, step_index, step, span)
    _put_comparison(sheet, frame, brief, spans[-1], figures)
    return sheet.board(brief, tuple(figure.pane for figure in figures))


def _halves(subject: Subject) -> tuple[Subject, Subject]:
    """The first and the last of the shots that the clip spans, each with its shot, construction and eye."""
    halves = subject.companions
    if len(halves) < 2:
        raise ValueError("a split screen needs two views; name two on the axis that it compares")
    if any(half.shot is None or half.construction is None or half.eye is None for half in halves):
        raise ValueError("a split screen's halves need a shot, a construction and an eye")
    if subject.kind == "near-and-far":
        halves = tuple(sorted(halves, key=lambda half: float(_shot(half).distance_mm)))
    return halves[0], halves[-1]


def _shot(half: Subject) -> Shot:
    assert half.shot is not None
    return half.shot


def _eye(half: Subject) -> EyeSpec:
    assert half.eye is not None
    return half.eye


def _names(kind: str, halves: tuple[Subject, Subject]) -> tuple[Quantity, Quantity]:
    """What tells the halves apart."""

    def name(half: Subject) -> Quantity:
        if kind == "near-and-far":
            return Quantity(float(_shot(half).distance_mm), "distance_mm")
        if kind == "two-cuts":
            return Quantity(abs(float(_shot(half).cut_rad)), "angle_rad")
        if kind == "two-eyes":
            return Quantity(_eye(half).name, "name")
        assert half.construction is not None
        return Quantity(half.construction.method, "name")

    return name(halves[0]), name(halves[1])


def _steps(half: Subject) -> tuple[Step, ...]:
    assert half.construction is not None
    return half.construction.steps


def _middle(halves: tuple[Subject, Subject]) -> list[tuple[str, str, tuple[tuple[str, Quantity], ...], float]]:
    """Name, sentence, values and seconds of the steps between view and comparison."""
    left, right = (_steps(half) for half in halves)
    if [s.sentence for s in left] == [s.sentence for s in right]:
        return [(s.name, s.sentence, s.values, _step_s(s)) for s in left]
    longest = max(sum(_step_s(s) for s in steps) for steps in (left, right))
    return [("draw", DRAW, (), longest)]


def _step_s(step: Step) -> float:
    parts = [TIMING.fade_s + TIMING.rest_s, TIMING.hold_s / 2]
    parts += [0.45] if step.circles else []
    parts += [TIMING.draw_s + TIMING.draw_per_height_s] if step.lines else []
    parts += [2 * TIMING.fade_s] if step.points else []
    return sum(parts)


def _in_step(steps: tuple[Step, ...], spans: list[Span]) -> list[tuple[Step, Span]]:
    """A half's steps with their frames: one to one, or all of them within the one step there is."""
    if len(spans) == len(steps):
        return list(zip(steps, spans, strict=True))
    first, end = spans[0]
    edges = np.linspace(first, end, len(steps) + 1).round().astype(int).tolist()
    return list(zip(steps, pairwise(edges), strict=True))


def _rect(frame: Layout, n: int) -> Rect:
    """A half: left and right in a wide frame, above each other in the others."""
    W, H = float(frame.width_px), float(frame.height_px)
    gap = frame.scale.px(GUTTER_PX) / 2
    if frame.shape != "wide":
        edge = 0.53 * H
        return (0.0, 0.0, W, edge - gap) if n == 0 else (0.0, edge + gap, W, H - edge - gap)
    return (0.0, 0.0, W / 2 - gap, H) if n == 0 else (W / 2 + gap, 0.0, W / 2 - gap, H)


def _figure(brief: Brief, frame: Layout, sheet: Sheet, half: Subject, n: int) -> Figure:
    shot, eye = _shot(half), _eye(half)
    assert half.construction is not None
    rect = _rect(frame, n)
    x, y, w, h = rect
    low, high = (0.43, 0.80)
    if frame.shape != "wide":
        low, high = (0.64, 0.88) if n == 0 else (0.30, 0.62)
    lean = (0.20 if frame.shape == "wide" else 0.12) * w * -int(shot.outward)
    places = EyeLayout(x + w / 2 + lean, y + low * h, y + high * h, rect, rect, rect, (0, 0), "left", (0, 0), w)
    pane = eye_pane(places, shot, eye, f"half.{n}")
    top = TOP if frame.shape == "wide" else (0.54 if n == 0 else 0.16)
    at = eye_mm(shot, eye)
    return eye_figure(brief, sheet, frame, shot, half.construction, pane, at, top, prefix=f"half.{n}.")


def _put_frame(sheet: Sheet, frame: Layout, brief: Brief, spans: list[Span], figures: tuple[Figure, ...]) -> None:
    """One title over both, the gutter, and what each half is."""
    W, H = float(frame.width_px), float(frame.height_px)
    put_scrim(sheet, frame, 0.30 if frame.shape == "wide" else 0.24)
    gap = frame.scale.px(GUTTER_PX)
    wall = (W / 2 - gap / 2, 0.0, gap, H)
    if frame.shape != "wide":
        wall = (0.0, 0.53 * H - gap / 2, W, gap)
    sheet.put("gutter", Shade(wall, "gutter"), "break", opacity=1.0)
    put_titles(sheet, frame, brief.steps, spans, brief.output.rate, W - 2 * frame.title_px[0])
    for figure, measure in zip(figures, brief.steps[0].measures, strict=True):
        sizes = plate_sizes(frame.scale)
        words = joined(measure)
        words = words[:1].upper() + words[1:]
        width = plate_width_px(words, frame.scale, False)
        at = _caption_px(frame, figure)
        plate = Plate(words, (*at, width, sizes.height_px))
        sheet.put(figure.id("caption"), plate, "label", "caption", opacity=1.0)
    widths = max(viewing_distance(figure.pane, frame) for figure in figures)
    if abs(widths - min(viewing_distance(figure.pane, frame) for figure in figures)) < 0.05:
        whole = note_words(brief.labels, widths)
        fits = _fits_beside_pips(whole, frame, len(brief.steps))
        words = whole if fits else note_words(brief.labels, widths, "viewing_distance_short")
        if words:
            note = Text(words, (W - frame.title_px[0], beside_pips_px(frame)), "small", "right")
            sheet.put("note", note, "text", "note", opacity=1.0)
        return
    for figure in figures:
        x, _, w, _ = figure.pane.rect_px
        own = viewing_distance(figure.pane, frame)
        words = note_words(brief.labels, own, "viewing_distance_short")
        if words:
            _, y = _caption_px(frame, figure)
            baseline = y + plate_sizes(frame.scale).baseline_px
            note = Text(words, (x + w - _inset(frame), baseline), "small", "right")
            sheet.put(figure.id("note"), note, "text", "note", opacity=1.0)


def _fits_beside_pips(words: str, frame: Layout, count: int) -> bool:
    left, width = frame.scale.pips_px(count, count - 1)[-1]
    taken = left + width + frame.scale.text_width_px(words, "small")
    return 2 * frame.title_px[0] + taken + frame.scale.px(20) <= frame.width_px


def _inset(frame: Layout) -> float:
    return 0.05 * frame.width_px if frame.shape != "wide" else 0.055 * frame.width_px


def _caption_px(frame: Layout, figure: Figure) -> Pixel:
    x, y, _, h = figure.pane.rect_px
    left = max(x + 0.4 * _inset(frame), frame.title_px[0])
    if frame.shape != "wide":
        return (left, y + (0.44 if y == 0 else 0.05) * h)
    return (left, 0.215 * frame.height_px)


def _draw_step(figure: Figure, index: int, step: Step, span: Span) -> None:
    when = step_spans(figure, step, span, label_s=0.0, hold_s=TIMING.hold_s / 2)
    draw_step(figure, index, step, when)
    if any(one.role == "aim_line" for one in step.lines):
        bring_cue(figure, when.line)
    if any(p.role == "aim_point" for p in step.points) and not figure.has_ghost:
        put_ghost(figure, figure.panes, when.mark_after)


# ------------------------------------------------------------------ what differs


def _seen(half: Subject) -> Apparent:
    shot, eye = _shot(half), _eye(half)
    frame = aim_frame(one_of_many(shot))
    at = np.array([[-eye.back_mm, eye.offset_mm, eye.height_mm]])
    return apparent(frame, ball_points(frame), at)


def _put_comparison(sheet: Sheet, frame: Layout, brief: Brief, span: Span, figures: tuple[Figure, ...]) -> None:
    """In each half: where the contact point and the aim line are seen on the visible disc."""
    words = brief.steps[-1].measures
    fade = frames_of(TIMING.fade_s, brief.output.rate)
    shown = (span[0] + fade, span[0] + 2 * fade)
    sizes = plate_sizes(frame.scale)
    for figure, pair in zip(figures, (words[:2], words[2:]), strict=True):
        x, y, w, h = figure.pane.rect_px
        bottom = (0.875 if frame.shape == "wide" else 0.995 if y == 0 else 0.57) * h + y
        for n, measure in enumerate(pair):
            text = f"{measure.name} {joined(measure)}"
            width = plate_width_px(text, frame.scale, False)
            left = max(x + 0.4 * _inset(frame), frame.title_px[0])
            if int(figure.shot.outward) > 0:
                left = min(x + w - 0.4 * _inset(frame), frame.width_px - frame.title_px[0]) - width
            top = bottom - (2 - n) * (sizes.height_px + frame.scale.px(8))
            plate = Plate(text, (left, top, width, sizes.height_px))
            id = sheet.put(figure.id(f"seen.{n}"), plate, "label", "label", fresh=1.0)
            sheet.show(id, shown)


NEAR_AND_FAR = Kind(
    "near-and-far",
    "two distances side by side",
    outline,
    board,
    axes=("method", "cut", "side", "eye"),
    spans=("distance",),
)
TWO_METHODS = Kind(
    "two-methods",
    "two methods side by side",
    outline,
    board,
    axes=("cut", "side", "distance", "eye"),
    spans=("method",),
)
TWO_CUTS = Kind(
    "two-cuts",
    "two cuts side by side",
    outline,
    board,
    axes=("method", "side", "distance", "eye"),
    spans=("cut",),
)
TWO_EYES = Kind(
    "two-eyes",
    "two eyes side by side",
    outline,
    board,
    axes=("method", "cut", "side", "distance"),
    spans=("eye",),
)
