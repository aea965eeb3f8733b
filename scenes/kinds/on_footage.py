"""On footage: a method's construction over a filmed shot, through the camera that filmed it.

The picture behind is the footage, which an editor lays under the clip: nothing of it is drawn. Real balls and the
near cushions hide what is behind them, which is drawn dotted. Balls that were planned elsewhere have a thin
outline there. Every step's lines stay; when the balls leave their places everything fades. Sentences are the
construction's own. Labels: roles.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from aimgeo.construct import Construction, Step, position
from aimgeo.shot import Shot
from scenes.board import ONE, Ball, Board, Halo, Move, Pane, Plate, Rect, Track
from scenes.board.brief import Brief, BriefStep, Footage, OutlineStep, Output, Subject
from scenes.board.motion import Sheet, Span, frames_of
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.figure.eye_labels import eye_labels, eye_obstacles, pockets_of, sights_of, wanted_in_eye
from scenes.figure.eye_view import seen_ball
from scenes.figure.figure import Figure, eye_figure, mark_kind
from scenes.figure.labels import Disc, Obstacles, Spacing, is_clear
from scenes.figure.placer import Labels
from scenes.figure.steps import draw_step, step_spans
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.look.scale import plate_sizes, plate_width_px

TABLE = "table"
CORE_OF_BALL = 1 / 6
"""A line's core is at most this part of the smaller ball's diameter,"""

MARK_OF_BALL = 0.3
"""and a mark's radius at most this part of the ball's: wider they would hide what they show."""

SAME_MM = 0.01
"""Balls nearer than this to their planned places lie there."""

LEAST_LINE, LEAST_MARK = 0.3, 0.22
FADE_S = 0.3


@dataclass(frozen=True, slots=True)
class OnFootageSettings(Settings):
    """What may be set of a clip over footage."""

    shot: str = setting("as-filmed", "the shot that was filmed, or the one planned", choices=("as-filmed", "plan"))


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """One step for each of the construction's."""
    _, plan, _ = _asked(subject)
    return tuple(OutlineStep(s.name, s.sentence, s.values, draws_s=0.0) for s in plan.steps)


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    shot, plan, footage = _asked(brief.subject)
    brief.check_steps(outline(brief.subject), "a clip over footage")
    # the film's length counts, not that of the words: lines are drawn first and then stand to be looked at
    brief = replace(brief, steps=tuple(replace(step, narration="", clauses=()) for step in brief.steps))
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    pane = _pane(frame, shot, footage, brief.output)
    sheet = Sheet()
    figure = eye_figure(brief, sheet, frame, shot, plan, pane, np.array(footage.camera.eye_mm), 0.0)
    # a line may leave the picture: a ball can lie near its edge
    figure = replace(figure, room_px=pane.rect_px)
    _put_real_balls(figure, footage)
    table = brief.subject.table
    pockets, sights = ([], ()) if table is None else (pockets_of(figure, table), sights_of(figure, table))
    rects = [*_rects_of_balls(pane, footage, figure.radius_mm), *pockets]
    heading = _put_heading(figure, footage, rects, sights)
    labels = eye_labels(figure, frame.title_safe, [*heading.values(), *rects], spared=Obstacles(marks=sights))
    stays = brief.frames if footage.fades_from is None else footage.fades_from
    for index, (step, (first, end)) in enumerate(zip(plan.steps, brief.spans, strict=True)):
        if max(first, footage.begins_at) >= stays:
            break
        is_last = index == len(plan.steps) - 1
        whole = max(first, footage.begins_at), min(end, stays)
        _draw_step(
            figure, labels, index, step, brief.steps[index], whole, TIMING.hold_s * (1.0 if is_last else 0.5)
        )
    fade = frames_of(FADE_S, brief.output.rate)
    moves: list[Move] = []
    if first := footage.begins_at:
        moves.append(Move(first, first + fade, (1.0,)))
        for id in heading:
            sheet.show(id, (first, first + fade))
    if (leaves := footage.fades_from) is not None:
        leaves = max(leaves, first + fade if first else 0)
        moves.append(Move(leaves, leaves + fade, (0.0,)))
        for id in sheet.ids():
            if not sheet.panes(id):
                sheet.hide(id, (leaves, leaves + fade))
    pane = replace(pane, opacity=Track((0.0 if first else 1.0,), tuple(moves)))
    return sheet.board(brief, (pane,))


def _asked(subject: Subject) -> tuple[Shot, Construction, Footage]:
    if subject.shot is None or subject.construction is None or subject.footage is None:
        raise ValueError("a clip over footage needs a filmed shot and a construction")
    return subject.shot, subject.construction, subject.footage


def _pane(frame: Layout, shot: Shot, footage: Footage, output: Output) -> Pane:
    """The whole frame through the camera that filmed it, with a pen that its smaller ball allows."""
    camera = footage.camera
    by = output.width_px / footage.size_px[0]
    if by != 1:  # a draft is smaller
        principal = camera.principal_px[0] * by, camera.principal_px[1] * by
        camera = replace(camera, focal_px=camera.focal_px * by, principal_px=principal)
    full: Rect = (0, 0, frame.width_px, frame.height_px)
    pane = Pane(TABLE, full, "footage", camera, "footage", ONE, footage.noses_mm)
    balls = [seen_ball(pane, at, float(shot.radius_mm)) for at in (shot.object_ball_mm, shot.ghost_ball_mm)]
    radius = min(ball.mean_radius_px for ball in balls)
    look, scale = frame.look, frame.scale
    widest = max(look.lines[role].width_px for role in ("aim_line", "target_line"))
    reach = max(look.marks[mark_kind(role)].reach_px for role in ("contact_object", "aim_point"))
    core = CORE_OF_BALL * 2 * radius / scale.line_px(widest, "footage")
    mark = MARK_OF_BALL * radius / (reach * scale.line_px(4, "footage") / 4)
    core, mark = np.clip([core, mark], (LEAST_LINE, LEAST_MARK), 1.0).tolist()
    return replace(pane, pen=(core, mark))


def _put_real_balls(figure: Figure, footage: Footage) -> None:
    """The real balls: not drawn, but what is behind them is hidden. Thin outlines where they were planned."""
    cue, obj = footage.balls_mm
    at = {"object_ball": obj, "cue_ball": cue}
    at |= {f"other_ball.{k}": place for k, place in enumerate(footage.others_mm)}
    for id, place in at.items():
        ball = Ball(place, figure.radius_mm, "other")
        figure.sheet.put(id, ball, "ball", id.partition(".")[0], (TABLE,), opacity=1.0)
    for id, meant in (("object_ball", figure.shot.object_ball_mm), ("cue_ball", figure.shot.cue_ball_mm)):
        if np.hypot(*(meant[:2] - at[id][:2])) > SAME_MM:
            halo = Halo(position(meant), figure.radius_mm)
            figure.sheet.put(f"planned.{id}", halo, "ghost", id, (TABLE,), opacity=1.0)


def _put_heading(
    figure: Figure, footage: Footage, rects: Sequence[Rect], sights: tuple[Disc, ...]
) -> dict[str, Rect]:
    """What was filmed and what was planned, on plates in the corner where they cover least; their ids and
    rectangles.
    """
    scale, (x, y, w, h) = figure.frame.scale, figure.frame.title_safe
    height, gap = plate_sizes(scale).height_px, scale.px(10)
    widths = [plate_width_px(text, scale, False) for text in footage.heading]
    whole = len(widths) * (height + gap) - gap
    kept = eye_obstacles(figure, rects)
    spacing = Spacing().scaled(scale.k * scale.gain)
    found: list[tuple[int, list[Rect]]] = []
    for top, is_right in ((y, False), (y, True), (y + h - whole, False), (y + h - whole, True)):
        plates = [
            (x + (w - width if is_right else 0), top + n * (height + gap), width, height)
            for n, width in enumerate(widths)
        ]
        # the lines and balls of the shot matter more than sights
        covers = [
            sum(not is_clear(plate, each, spacing) for plate in plates) for each in (kept, Obstacles(marks=sights))
        ]
        found.append((10 * covers[0] + covers[1], plates))
    _, plates = min(found, key=lambda one: one[0])
    rects_of: dict[str, Rect] = {}
    for n, (text, rect) in enumerate(zip(footage.heading, plates, strict=True)):
        id = f"heading.{n}"
        figure.sheet.put(id, Plate(text, rect), "label", "heading", opacity=0.0 if footage.begins_at else 1.0)
        rects_of[id] = rect
    return rects_of


def _rects_of_balls(pane: Pane, footage: Footage, radius_mm: float) -> list[Rect]:
    """Boxes around the real balls, for labels to keep off."""
    boxes = []
    for place in (*footage.balls_mm, *footage.others_mm):
        if np.isfinite(pane.px(place)).all():
            boxes.append(seen_ball(pane, np.array(place), radius_mm).box_px())
    return boxes


def _draw_step(
    figure: Figure, labels: Labels, index: int, step: Step, words: BriefStep, span: Span, hold_s: float
) -> None:
    when = step_spans(figure, step, span, words, hold_s=hold_s)
    draw_step(figure, index, step, when)
    first = span[0]
    labels.add(
        index,
        wanted_in_eye(figure, labels, index, step),
        when.label,
        (first, first + figure.frames(TIMING.fade_s)),
    )


KIND = Kind(
    "on-footage",
    "a construction over a filmed shot, with alpha, through the camera that filmed it",
    outline,
    board,
    axes=("method",),
    settings=OnFootageSettings,
    is_filmed=True,
)
