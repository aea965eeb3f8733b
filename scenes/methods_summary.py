"""Methods summary: one shot, every method in one grid, ranked by its worst miss over eyes and distances.

A method's miss is that of its literal readings (docs/geometry.md): what a player aims at who does just what the
method's words say. The grid shows the constructions for the first eye and distance, the least miss first.
Sentences: methods_summary.shot, methods_summary.rank. Measures, for each method in its place: half (its name) and
worst_miss (its worst miss at the target; the name no_hit where some reading misses the object ball).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

import numpy as np

from aimgeo.aim_error import outcome
from aimgeo.aim_frame import aim_frame
from aimgeo.construction import Construction, Quantity
from aimgeo.readings import reading_turns
from scenes.alignments import fitted, grid_cells
from scenes.board import LAYERS, Board, Pane, Plate, Shade, StepSpan
from scenes.brief import Brief, EyeSpec, OutlineStep, Subject
from scenes.column import joined
from scenes.eye_figure import Figure, bring_cue, put_balls, put_circles, put_ghost, put_lines, put_point
from scenes.eye_view import EyeLayout, eye_mm, eye_pane, one_of_many
from scenes.eye_words import beside_pips_px, put_heading, put_titles
from scenes.layout import Layout, layout
from scenes.motion import Sheet, Span, frames_of, in_turn
from scenes.theme import TIMING, plate_sizes, plate_width_px

SHOT, RANK = "methods_summary.shot", "methods_summary.rank"
NO_HIT = "no_hit"


@dataclass(frozen=True, slots=True, eq=False)
class Ranked:
    """A method with its worst miss in mm (inf when a reading misses the object ball), and what shows it."""

    method: str
    worst_mm: float
    view: Subject


def ranking(subject: Subject) -> tuple[Ranked, ...]:
    """The methods of the subject's companions, the least worst miss first."""
    views: dict[str, list[Subject]] = {}
    for one in subject.companions:
        if one.construction is None or one.shot is None or one.eye is None:
            raise ValueError("a methods summary needs shots with a construction and an eye")
        views.setdefault(one.construction.method, []).append(one)
    if not views:
        raise ValueError("a methods summary needs methods that reach this cut")
    ranked = [Ranked(method, max(map(worst_miss_mm, ones)), ones[0]) for method, ones in views.items()]
    return tuple(sorted(ranked, key=lambda r: (r.worst_mm, r.method)))


def worst_miss_mm(view: Subject) -> float:
    """The worst miss of a method's readings by one eye from one distance; inf where one misses the object ball."""
    assert view.shot is not None
    assert view.eye is not None
    assert view.construction is not None
    frame = aim_frame(one_of_many(view.shot))
    eye = np.array([[-view.eye.back_mm, view.eye.offset_mm, view.eye.height_mm]])
    turns = reading_turns(frame, eye, np.abs(frame.cut_rad))[view.construction.method]
    misses = [abs(float(outcome(frame, turn).miss_mm[0])) for turn in turns.values()]
    return max((miss if math.isfinite(miss) else math.inf for miss in misses), default=0.0)


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """All methods on one shot, then their ranks."""
    ranked = ranking(subject)
    measures = []
    for one in ranked:
        measures.append(("half", Quantity(one.method, "name")))
        miss = Quantity(one.worst_mm, "distance_mm") if math.isfinite(one.worst_mm) else Quantity(NO_HIT, "name")
        measures.append(("worst_miss", miss))
    return (
        OutlineStep("shot", SHOT, (), tuple(measures[::2]), draws_s=6.0),
        OutlineStep("rank", RANK, (), tuple(measures), draws_s=6.0),
    )


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    if [step.name for step in brief.steps] != ["shot", "rank"]:
        raise ValueError("a methods summary has the steps shot, rank")
    ranked = ranking(brief.subject)
    spans = list(pairwise(accumulate((step.frames for step in brief.steps), initial=0)))
    frame = layout(brief.output.width_px, brief.output.height_px)
    sheet = Sheet()
    cells = grid_cells(frame, len(ranked))
    panes = []
    for n, (one, rect) in enumerate(zip(ranked, cells, strict=True)):
        panes.append(_put_method(brief, frame, sheet, one.view, n, rect, spans[0]))
    put_titles(sheet, frame, brief.steps, spans, brief.output.rate, frame.width_px - 2 * frame.title_px[0])
    put_heading(sheet, brief.labels, (frame.width_px - frame.title_px[0], beside_pips_px(frame)), "right")
    _put_captions(sheet, frame, brief, cells, spans[1])
    return Board(
        brief.output.width_px,
        brief.output.height_px,
        brief.output.rate,
        brief.frames,
        tuple(panes),
        sheet.elements(),
        tuple(StepSpan(s.name, a, b, s.narration) for s, (a, b) in zip(brief.steps, spans, strict=True)),
        brief.theme,
    )


def _put_method(
    brief: Brief,
    frame: Layout,
    sheet: Sheet,
    view: Subject,
    n: int,
    rect: tuple[float, float, float, float],
    span: Span,
) -> Pane:
    """A method's whole construction, drawn at once in its cell."""
    shot, eye, plan = view.shot, view.eye, view.construction
    assert shot is not None
    assert isinstance(eye, EyeSpec)
    assert isinstance(plan, Construction)
    x, y, w, h = rect
    side = 1 if int(shot.side) >= 0 else -1
    places = EyeLayout(
        x + w * (0.5 + 0.10 * side), y + 0.36 * h, y + 0.80 * h, rect, rect, rect, (0, 0), "left", (0, 0), w
    )
    pane = eye_pane(places, shot, eye, f"cell.{n}")
    figure = Figure(
        sheet, frame, shot, plan, pane, eye_mm(shot, eye), (pane.id,), (pane.id,), 0.26, f"cell.{n}.", brief.theme
    )
    put_balls(figure, brief.subject.table, True)
    parts = in_turn(*span, (0.8, 0.4, 1.4, TIMING.fade_s, 2.0), brief.output.rate)
    for k, step in enumerate(plan.steps):
        put_circles(figure, k, step, parts[1])
        put_lines(figure, k, replace(step, lines=tuple(dict.fromkeys(step.lines))), parts[2])
        for m, point in enumerate(step.points):
            put_point(figure, k, m, point, parts[3])
    if not figure.has_ghost:
        put_ghost(figure, figure.panes, parts[1])
    bring_cue(figure, parts[2])
    return pane


def _put_captions(
    sheet: Sheet, frame: Layout, brief: Brief, cells: list[tuple[float, float, float, float]], rank: Span
) -> None:
    """Each cell's method from the start; its rank and worst miss with the second step."""
    sizes = plate_sizes(frame.scale)
    fade = frames_of(TIMING.fade_s, brief.output.rate)
    inset = frame.scale.px(10)
    # the balls stand where the object ball does not go: the number keeps to the other side
    shot = brief.subject.companions[0].shot
    is_left = shot is None or int(shot.side) >= 0
    for n, rect in enumerate(cells):
        x, y, w, h = rect
        sheet.put(f"edge.{n}", Shade(rect, "window_edge"), LAYERS["break"], "edge", opacity=1.0)
        name, miss = brief.steps[1].measures[2 * n : 2 * n + 2]
        room = w - 2 * inset - 2 * sizes.padding_px
        for k, (words, top) in enumerate(
            (
                (fitted(joined(name), room, frame), y + inset),
                (f"{n + 1}   {joined(miss)}", y + h - inset - sizes.height_px),
            )
        ):
            text = fitted(words, room, frame)
            width = plate_width_px(text, frame.scale, False)
            left = x + inset if is_left or not k else x + w - inset - width
            plate = Plate(text, (left, top, width, sizes.height_px))
            id = sheet.put(f"caption.{n}.{k}", plate, LAYERS["label"], "caption", opacity=0.0 if k else 1.0)
            if k:
                sheet.show(id, (rank[0] + fade, rank[0] + 2 * fade))
