"""All methods on one shot: each is drawn quickly, one after the other, and all end in the same line; then it is
played.

Sentences: all_methods.<method>, all_methods.own for a lesson's own method (value method); last
all_methods.together (values count and those of the shot).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aimgeo.construct import Construction, Quantity, Step
from aimgeo.methods import METHODS
from scenes.board import Board, Pane
from scenes.board.brief import Brief, BriefStep, OutlineStep, Subject
from scenes.board.motion import Span
from scenes.board.timing import TIMING
from scenes.figure.figure import Figure, aims_true, bare, strokes_of
from scenes.figure.labels import Obstacles, merged
from scenes.figure.placer import Labels
from scenes.figure.plan import plan_figure
from scenes.figure.plan_labels import plan_labels, wanted_in_plan
from scenes.figure.roll import put_roll, roll_s
from scenes.figure.steps import draw_step, put_lines, step_spans
from scenes.frame.column import put_pips, put_title
from scenes.frame.framing import framing
from scenes.frame.layout import layout
from scenes.kinds.build_up import put_stage_balls
from scenes.kinds.kind import Kind

TOGETHER = "all_methods.together"
DRAWS_S, LOOK_S = 5.0, 1.2
"""What a method's drawing takes, and how long it stands."""
LEAST = 2


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """A step a method, then the played shot."""
    shown = methods(subject)
    assert subject.shot is not None
    out = []
    for plan in shown:
        key = plan.method if plan.method in METHODS else "own"
        values = (("method", Quantity(plan.method, "name")),)
        out.append(OutlineStep(plan.method, f"all_methods.{key}", values, (), DRAWS_S + LOOK_S))
    together = (*shown[0].steps[0].values, ("count", Quantity(len(shown), "count")))
    return (*out, OutlineStep("together", TOGETHER, together, draws_s=roll_s(subject)))


def methods(subject: Subject) -> tuple[Construction, ...]:
    """The constructions of the clip's methods that give the aim of the shot, each once."""
    if subject.shot is None:
        raise ValueError("a clip of all methods needs a shot")
    found = {one.construction.method: one.construction for one in subject.companions if one.construction}
    true = tuple(plan for plan in found.values() if aims_true(plan, subject.shot))
    if len(true) < LEAST:
        raise ValueError("a clip of all methods needs two of them or more that reach the shot")
    return true


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    plans, shot = methods(brief.subject), brief.subject.shot
    if [step.name for step in brief.steps] != [*(plan.method for plan in plans), "together"]:
        raise ValueError("a clip of all methods has a step for each of them and one for the shot")
    assert shot is not None
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    stage = framing(frame, shot)
    # the played shot counts the steps before it
    steps = tuple(Step(plan.method, "") for plan in plans)
    base = plan_figure(brief, frame, shot, replace(plans[0], steps=steps), stage)
    put_stage_balls(base, True)
    labels: Labels | None = None
    for n, (plan, words, span) in enumerate(zip(plans, brief.steps, brief.spans, strict=False)):
        # a construction's steps all stand under one title here
        one = replace(brief, steps=(words,) * (len(plan.steps) + 1))
        figure = replace(base, brief=one, plan=plan, prefix=f"{plan.method}.", lines=[])
        labels = _draw(figure, n, len(plans), words, span)
    assert labels is not None
    played = put_roll(base, labels, (), brief.steps[-1], brief.spans[-1], stage.main)
    gone = replace(played.opacity.moves[0], to=(0.0,))
    left: list[Pane] = [replace(window, opacity=replace(window.opacity, moves=(gone,))) for window in base.windows]
    return base.sheet.board(brief, (*left, played))


def _draw(figure: Figure, n: int, count: int, words: BriefStep, span: Span) -> Labels:
    """A method's construction, step after step, and away again, but for what the last one leaves to the shot."""
    sheet, frame = figure.sheet, figure.frame
    first, end = span
    fade = figure.frames(TIMING.fade_s)
    half = max(fade // 2, 1)
    shown = (first + half, first + fade) if n else None
    put_title(sheet, frame, f"method.{n}", words.title, shown, (end, end + half))
    put_pips(sheet, frame, f"pips.{n}", count + 1, n, (first, first + 1) if n else None, (end, end + 1))
    labels = plan_labels(figure)
    if n:  # the aim stands there already
        there = Obstacles(strokes=tuple(strokes_of(figure, bare(figure.shot).cue_line)))
        labels.steps = [merged([labels.steps[0], there]), *labels.steps[1:]]
    drawn = end - figure.frames(LOOK_S)
    edges = np.linspace(first + (fade if n else 0), drawn, len(figure.plan.steps) + 1).round().astype(int).tolist()
    for index, step in enumerate(figure.plan.steps):
        when = step_spans(figure, step, (edges[index], edges[index + 1]), hold_s=0.0)
        draw_step(figure, index, step, when)
        wanted = wanted_in_plan(figure, labels, index, step, ())
        labels.add(index, wanted, when.label, (edges[index], edges[index] + half))
    gone = (end, end + fade)
    for id in sheet.ids():
        if id.startswith(figure.prefix) and sheet.panes(id) and sheet.is_shown_at_end(id):
            sheet.hide(id, gone)
    labels.clear(gone)
    if n == 0:
        put_lines(replace(figure, prefix="", lines=[]), 0, (bare(figure.shot).cue_line,), (end - 1, end))
        for id in sheet.ids():
            if id.startswith("aim_line."):
                sheet.move(id, "strength", (end, end + 1), frame.look.old_strength)
    return labels


KIND = Kind(
    "all-methods",
    "one shot, every method that reaches it, and the one aim that they all give",
    outline,
    board,
    axes=("cut", "side", "distance"),
    spans=("method",),
    least=LEAST,
)
