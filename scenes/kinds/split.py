"""Split screens: two views of the lesson beside each other, in step: two distances, methods, cuts or eyes.

Each half's own shot as its eye sees it, both through one lens; below, both object balls brought to one size, over
a scale from the ball's centre to its edge. Sentences: one that says what the halves are (VIEW), then, where both
show one method, its own steps, else split.draw; last one that says whether the aim is seen in the same place.
Values: left and right name the halves; aim_left, aim_right, contact_left and contact_right say where the aim line
and the contact point are seen, as parts of the way from the visible ball's centre to its edge. Measures of the
view name the halves; those of the comparison are contact_seen and aim_seen, the left half's first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from aimgeo.aim_frame import aim_frame
from aimgeo.construct import Position, Quantity, Step, position
from aimgeo.eye import Apparent, apparent, ball_points
from aimgeo.holes import hole_of
from aimgeo.shot import Shot, one_of_many
from aimgeo.vectors import left as left_of
from scenes.board import Board, Line, Mark, Pane, Plate, Rect, Ring, Shade, Text
from scenes.board.brief import Brief, BriefStep, EyeSpec, MeasureText, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span
from scenes.board.timing import TIMING
from scenes.figure.eye_labels import eye_labels, pockets_of, wanted_in_eye
from scenes.figure.eye_view import (
    EyeLayout,
    eye_camera,
    eye_mm,
    facing,
    focal_px,
    line_top,
    pixel,
    seen_ball,
    shows_target,
)
from scenes.figure.figure import Figure, aims_true, eye_figure
from scenes.figure.placer import Labels
from scenes.figure.steps import bring_cue, draw_step, put_balls, put_ghost, step_spans
from scenes.frame.column import even_lines, joined
from scenes.frame.eye_words import body_words, fitted, put_titles, title_lines, told_apart
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.look.scale import plate_sizes, plate_width_px

VIEW = {
    "near-and-far": "split.near_and_far",
    "two-methods": "split.two_methods",
    "two-cuts": "split.two_cuts",
    "two-eyes": "split.two_eyes",
}
DRAW = "split.draw"
POCKET = "pocket"
SIDES = "left", "right"
"""So a sentence calls the halves."""
SAME, OTHER, SEEN, HARDLY, OWN = "_same", "_other", "_seen", "_hardly", "_own"
"""Ends of the comparison's sentence: near and far, and for two eyes, the aim is seen in one place or is not; of
aimgeo's methods it always is, of two cuts never. A method of the lesson's own may aim anywhere: hardly elsewhere
than the one beside it, or elsewhere; near and far, and at two cuts, only its places are told."""
SAME_PART = 0.015
"""Places that are no farther apart, of the way to the edge, are the same to an eye: judged."""
DROP_MOST_S = 1.6
"""A line down to the scale is drawn with its words, at most in so long."""
GUTTER_PX = 6.0
LOWER_BALL = 0.205
"""The object balls below, of the frame's height, where the ghost ball has room beside them."""
LEAN = 0.24
"""So far from a picture's middle, of its width, the aim stands: the target lies on the other side."""
OBJECT_Y = (0.26, 0.34, 0.42, 0.50, 0.58)
"""Heights of the object ball in a picture, of the picture's: the first that leaves the target in it."""
NO_PANE: Rect = (0.0, 0.0, 0.0, 0.0)


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """Both views, the construction in both, and what differs."""
    halves = _halves(subject)
    names = _names(subject.kind, halves)
    seen = [_seen(half) for half in halves]
    places = [
        (key, Quantity(place, "part"))
        for half, one in zip(halves, seen, strict=True)
        for key, place in (
            ("contact_seen", abs(float(one.contact_place[0]))),
            ("aim_seen", abs(_aim_place(half, one))),
        )
    ]
    told = ("contact_left", "aim_left", "contact_right", "aim_right")
    values = (
        *_steps(halves[0])[0].values,
        *((side, name) for side, (_, name) in zip(("left", "right"), names, strict=True)),
        *((key, place) for key, (_, place) in zip(told, places, strict=True)),
    )
    aims = [_aim_place(half, one) for half, one in zip(halves, seen, strict=True)]
    view, end = VIEW[subject.kind], SEEN
    is_alike = abs(aims[0] - aims[1]) <= SAME_PART
    if not all(aims_true(one.construction, _shot(one)) for one in halves if one.construction is not None):
        end = {"two-methods": HARDLY if is_alike else OTHER, "two-eyes": SAME if is_alike else OTHER}.get(
            subject.kind, OWN
        )
    elif subject.kind in ("near-and-far", "two-eyes"):
        end = SAME if is_alike else OTHER
    return (
        OutlineStep("view", view, values, names, draws_s=3.0),
        *(OutlineStep(name, sentence, (*values, *own), (), s) for name, sentence, own, s in _middle(halves)),
        OutlineStep("compare", view + end, values, tuple(places), draws_s=6.5),
    )


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    brief.check_steps(outline(brief.subject), "a split screen of these shots")
    spans = brief.spans
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet = Sheet()
    halves = _placed(brief, frame, sheet)
    _put_frame(sheet, frame, brief, spans, halves)
    middle = spans[1:-1]
    for half in halves:
        put_balls(half.figure, half.figure.brief.subject.table, True)
        labels = _labels(half)
        for step_index, (step, span) in enumerate(_in_step(half.figure.plan.steps, middle)):
            words = brief.steps[1 + step_index] if len(middle) == len(half.figure.plan.steps) else None
            _draw_step(half, labels, step_index, step, words, span)
        _put_ruler(half, brief)
    last = Words(brief.steps[-1], spans[-1])
    for half, side in zip(halves, SIDES, strict=True):
        _put_comparison(half, side, last)
    return sheet.board(brief, tuple(pane for half in halves for pane in (half.figure.pane, half.closer)))


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


def _names(kind: str, halves: tuple[Subject, Subject]) -> tuple[tuple[str, Quantity], ...]:
    """What tells the halves apart: the key of the measure, and the measure."""
    shots, eyes = [_shot(half) for half in halves], [_eye(half) for half in halves]
    if kind == "near-and-far":
        keys = ("half_near", "half_far")
        return tuple((k, Quantity(float(s.distance_mm), "distance_mm")) for k, s in zip(keys, shots, strict=True))
    if kind == "two-cuts":
        return tuple(("half_cut", Quantity(abs(float(shot.cut_rad)), "angle_rad")) for shot in shots)
    if kind == "two-eyes":
        return told_apart(eyes)
    plans = [half.construction for half in halves]
    return tuple(("half", Quantity(plan.method, "name")) for plan in plans if plan is not None)


def _steps(half: Subject) -> tuple[Step, ...]:
    assert half.construction is not None
    return half.construction.steps


def _middle(halves: tuple[Subject, Subject]) -> list[tuple[str, str, tuple[tuple[str, Quantity], ...], float]]:
    """Name, sentence, values and seconds of the steps between view and comparison."""
    left, right = (_steps(half) for half in halves)
    if [s.sentence for s in left] == [s.sentence for s in right]:
        values = [_of_both(a.values, b.values) for a, b in zip(left, right, strict=True)]
        if None not in values:
            return [(s.name, s.sentence, told or (), _step_s(s)) for s, told in zip(left, values, strict=True)]
    longest = max(sum(_step_s(s) for s in steps) for steps in (left, right))
    return [("draw", DRAW, (), longest)]


def _of_both(
    left: tuple[tuple[str, Quantity], ...], right: tuple[tuple[str, Quantity], ...]
) -> tuple[tuple[str, Quantity], ...] | None:
    """What a step of both halves tells: a number that differs with that of the right half beside it; None where a
    name differs, since then one sentence is not true of both."""
    found = []
    for (key, one), (_, other) in zip(left, right, strict=True):
        if isinstance(one.value, str) or isinstance(other.value, str):
            if one != other:
                return None
            found.append((key, one))
        else:
            found.append(
                (
                    key,
                    one
                    if math.isclose(one.value, other.value, rel_tol=1e-9, abs_tol=1e-9)
                    else replace(one, beside=other.value),
                )
            )
    return tuple(found)


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


# ------------------------------------------------------------------ the two halves


@dataclass(frozen=True, slots=True)
class _Half:
    """A half: its figure in the picture, the pane with its object ball, the strip with the scale, and the place of
    the numbers."""

    figure: Figure
    closer: Pane
    strip_px: Rect
    told_px: Rect
    eye: EyeSpec
    caption: str

    @property
    def outward(self) -> int:
        """In the picture, the side of the object ball on which the aim passes: +1 right, -1 left."""
        return -int(self.figure.shot.outward) or 1


def _placed(brief: Brief, frame: Layout, sheet: Sheet) -> tuple[_Half, ...]:
    """Both halves: above through one lens, below with object balls of one size."""
    halves = _halves(brief.subject)
    captions = [_caption(measure) for measure in brief.steps[0].measures]
    top = _top_px(frame, brief)
    told_px = _told_px(frame, brief)
    rects = [_rects(frame, n, top, told_px) for n in range(2)]
    layouts = [_eye_layout(frame, half, picture) for half, (picture, *_) in zip(halves, rects, strict=True)]
    pairs = [(_shot(half), _eye(half)) for half in halves]
    lens = min(
        focal_px(places.full_px, eye_camera(places, *pair)) for places, pair in zip(layouts, pairs, strict=True)
    )
    ball_px = min(
        LOWER_BALL * frame.height_px,
        *(
            facing(*pair, rect, 1.0, "room", max(frame.title_px[0] - rect[0], 0.0)).most_ball_px
            for pair, (_, rect, *_) in zip(pairs, rects, strict=True)
        ),
    )
    out = []
    for n, (half, (picture, below, strip, told)) in enumerate(zip(halves, rects, strict=True)):
        shot, eye = pairs[n]
        assert half.construction is not None
        main = Pane(f"half.{n}", picture, "eye", eye_camera(layouts[n], shot, eye, lens), "plate")
        closer = facing(shot, eye, below, ball_px, f"ball.{n}", max(frame.title_px[0] - below[0], 0.0)).pane
        own = replace(brief, subject=replace(half, table=brief.subject.table))
        figure = eye_figure(
            own, sheet, frame, shot, half.construction, main, eye_mm(shot, eye), line_top(layouts[n]),
            panes=(main.id, closer.id), line_panes=(main.id,), prefix=f"half.{n}.",
        )  # fmt: skip
        out.append(_Half(figure, closer, strip, told, eye, captions[n]))
    return tuple(out)


def _caption(measure: MeasureText) -> str:
    return body_words(measure) if measure.key.startswith("eye_") else _named(measure)


def _named(measure: MeasureText) -> str:
    words = joined(measure) if measure.key == "half" else f"{measure.name}: {joined(measure)}"
    return words[:1].upper() + words[1:]


def _top_px(frame: Layout, brief: Brief) -> float:
    """Where the pictures begin: below the longest title."""
    room = frame.width_px - 2 * frame.title_px[0]
    lines = max(len(title_lines(step.title, frame, room)) for step in brief.steps)
    return frame.title_px[1] + (lines - 1) * frame.title_pitch_px + 0.45 * frame.scale.text_px("title")


def _told_px(frame: Layout, brief: Brief) -> float:
    """How wide the numbers are, with their names."""
    s = frame.scale
    names = [s.text_width_px(measure.name, "small") for measure in brief.steps[-1].measures]
    return s.px(28) + max(names) + 1.6 * s.text_px("heading") + s.text_width_px("100 %", "heading") + 1.0


def _rects(frame: Layout, n: int, top: float, told_px: float) -> tuple[Rect, Rect, Rect, Rect]:
    """A half's picture, its ball, the strip under the ball, and the place of the numbers: a column in a wide
    frame, with the numbers beside the ball, else a row, with the numbers below it."""
    W, H, s = float(frame.width_px), float(frame.height_px), frame.scale
    gap = s.px(GUTTER_PX)
    ruler, numbers = s.px(24) + 1.4 * s.text_px("tick"), 2 * 1.4 * s.text_px("heading")
    if frame.shape == "wide":
        x, w = (0.0, W / 2 - gap / 2) if n == 0 else (W / 2 + gap / 2, W / 2 - gap / 2)
        bottom = 0.95 * H
        high = 0.59 * (bottom - top)
        below, ball = top + high + gap, w - told_px - (frame.title_px[0] if n else 0.0)
        strip = (x, bottom - ruler, ball, ruler)
        told = (x + ball, below, w - ball, bottom - below)
        return (x, top, w, high), (x, below, ball, bottom - ruler - below), strip, told
    end = 0.95 * H if frame.shape == "square" else 0.80 * H
    high = (end - top - gap) / 2
    y, left = top + n * (high + gap), 0.56 * W
    x, w = left + gap, W - left - gap
    edge = y + high - ruler - numbers
    low = H if n and frame.shape == "square" else y + high
    return (0.0, y, left, low - y), (x, y, w, edge - y), (x, edge, w, ruler), (x, edge + ruler, w, numbers)


def _eye_layout(frame: Layout, half: Subject, picture: Rect) -> EyeLayout:
    """As large as shows the target, below the caption."""
    x, y, w, h = picture
    shot, eye = _shot(half), _eye(half)
    axis = x + w / 2 + LEAN * w * -int(shot.outward)
    below = (x, y + 1.2 * plate_sizes(frame.scale).height_px)
    for object_y in OBJECT_Y:
        at = y + object_y * h
        places = EyeLayout(axis, at, y + 0.83 * h, NO_PANE, NO_PANE, picture, below, "left", below, w)
        if shows_target(places, shot, eye_camera(places, shot, eye)):
            break
    return places


def _put_frame(sheet: Sheet, frame: Layout, brief: Brief, spans: list[Span], halves: tuple[_Half, ...]) -> None:
    """One title over both, what each half is, and what the pictures below are."""
    room = frame.width_px - 2 * frame.title_px[0]
    put_titles(sheet, frame, brief.steps, spans, brief.output.rate, room)
    parts = [Part((name,), 2 * TIMING.fade_s) for name in SIDES]
    named = placed(Words(brief.steps[0], spans[0]), parts, brief.output.rate, TIMING.fade_s, TIMING.hold_s)
    for half, when in zip(halves, named, strict=True):
        for name, (x, y, w, h) in (("strip", half.strip_px), ("told", half.told_px)):
            end = float(frame.height_px) if y + h > 0.9 * frame.height_px else y + h
            sheet.put(half.figure.id(name), Shade((x, y, w, end - y), "gutter"), "area", opacity=1.0)
        rect = _caption_rect(frame, half)
        words = fitted(half.caption, rect[2] - 2 * plate_sizes(frame.scale).padding_px + 0.5, frame)
        sheet.show(sheet.put(half.figure.id("caption"), Plate(words, rect), "label", "caption"), when)
    if frame.shape == "wide":
        x, y, w, _ = halves[0].told_px
        size, room = frame.scale.text_px("small"), w - 2 * frame.scale.px(28)
        lines = even_lines(
            brief.labels.get("one_size", ""), room, lambda text: frame.scale.text_width_px(text, "small")
        )
        for n, line in enumerate(lines):
            at = (x + frame.scale.px(28), y + (1.5 + 1.25 * n) * size)
            sheet.put(f"one_size.{n}", Text(line, at, "small"), "text", "note", opacity=1.0)


def _caption_rect(frame: Layout, half: _Half) -> Rect:
    """On the side to which the target does not lie, at the top."""
    x, y, w, _ = half.figure.pane.rect_px
    margin, gap = frame.title_px[0], frame.scale.px(14)
    left, right = max(x + gap, margin), min(x + w - gap, frame.width_px - margin)
    width = min(plate_width_px(half.caption, frame.scale, False), right - left)
    at = right - width if half.outward > 0 else left
    return (at, y + gap, width, plate_sizes(frame.scale).height_px)


def _labels(half: _Half) -> Labels:
    x, y, w, h = half.figure.pane.rect_px
    frame = half.figure.frame
    margin, gap = frame.title_px[0], frame.scale.px(10)
    left, right = max(x + gap, margin), min(x + w - gap, frame.width_px - margin)
    _, safe_y, _, safe_h = frame.title_safe
    h = min(y + h, safe_y + safe_h) - y
    table = half.figure.brief.subject.table
    pockets = [] if table is None else pockets_of(half.figure, table)
    kept = [_caption_rect(frame, half), *pockets]
    return eye_labels(half.figure, (left, y + gap, right - left, h - 2 * gap), kept)


def _hole(half: _Half) -> Ring | None:
    """A ring around the hole of the target's pocket; None for another target."""
    subject = half.figure.brief.subject
    table, name = subject.table, subject.target_name
    if table is None or name not in {pocket.name for pocket in table.pockets()}:
        return None
    hole = hole_of(table.pocket(name), table)
    return Ring((*hole.centre_mm, 0.0), hole.radius_mm, "target_line")


def _draw_step(half: _Half, labels: Labels, index: int, step: Step, words: BriefStep | None, span: Span) -> None:
    figure = half.figure
    hole = _hole(half) if index == 0 else None
    more = {} if hole is None else {POCKET: ((POCKET,), TIMING.draw_s)}
    when = step_spans(figure, step, span, words, more=more, hold_s=TIMING.hold_s / 2)
    if hole is not None:
        id = figure.sheet.put(figure.id(POCKET), hole, "line_under", POCKET, (figure.pane.id,), 1.0, 0.0)
        figure.sheet.move(id, "drawn", when.of(POCKET), 1.0)
    draw_step(figure, index, step, when)
    if any(one.role == "aim_line" for one in step.lines):
        bring_cue(figure, when.of("aim_line"))
    if any(p.role == "aim_point" for p in step.points) and not figure.has_ghost:
        put_ghost(figure, figure.panes, when.of("aim_point"))
    lines = {line.role for line in step.lines}
    wanted = [(want, rank) for want, rank in wanted_in_eye(figure, labels, index, step) if want.name in lines]
    labels.add(index, wanted, when.last, (span[0], span[0] + figure.frames(TIMING.fade_s)))


# ------------------------------------------------------------------ what differs


def _seen(half: Subject) -> Apparent:
    shot, eye = _shot(half), _eye(half)
    frame = aim_frame(one_of_many(shot))
    at = np.array([[-eye.back_mm, eye.offset_mm, eye.height_mm]])
    return apparent(frame, ball_points(frame), at)


def _aim_place(half: Subject, one: Apparent) -> float:
    """Where the half's aim line is seen, in half-widths of the ball; nan where that can't be told."""
    shot, eye = _shot(half), _eye(half)
    if half.construction is None or aims_true(half.construction, shot):
        return float(one.aim_place[0])
    # the visible edge lies on the line square to the sight line too, R h / sqrt(h^2 - R^2) from the centre
    R, h = float(shot.radius_mm), float(np.linalg.norm(shot.object_ball_mm - eye_mm(shot, eye)))
    crossing = crossing_mm(shot, eye, half.construction.aim_direction)
    return float(np.linalg.norm(crossing - shot.object_ball_mm)) * math.sqrt((h - R) * (h + R)) / (R * h)


def crossing_mm(shot: Shot, eye: EyeSpec, way: tuple[float, float] | None = None) -> Position:
    """Where the aim line, carried on, crosses the level line through the middle of the ball that is seen."""
    at, O = eye_mm(shot, eye), shot.object_ball_mm
    across = left_of((O - at)[:2] / np.linalg.norm((O - at)[:2]))
    normal = left_of(shot.aim_direction if way is None else np.array(way))
    t = float((shot.cue_ball_mm - O)[:2] @ normal) / float(across @ normal)
    return position(np.array([*(O[:2] + t * across), O[2]]))


def _ruler_x(half: _Half, part: float) -> float:
    """Where this part of the way to the visible edge stands in the lower pane."""
    shot = half.figure.shot
    x, _, w, _ = seen_ball(half.closer, shot.object_ball_mm, half.figure.radius_mm).box_px()
    return x + w / 2 * (1 + part * half.outward)


def _put_ruler(half: _Half, brief: Brief) -> None:
    """The scale under the ball: centre, quarters, edge."""
    sheet, s, id = half.figure.sheet, half.figure.frame.scale, half.figure.id
    _, y, _, _ = half.strip_px
    thick, size = s.stroke_px(3), s.text_px("tick")
    ends = sorted((_ruler_x(half, 0.0), _ruler_x(half, 1.25)))
    line = Shade((ends[0] - thick / 2, y, ends[1] - ends[0] + thick, thick), "row_bar")
    sheet.put(id("ruler.line"), line, "bar", opacity=1.0)
    for k in range(5):
        long = s.px(20 if k % 2 == 0 else 12)
        tick = Shade((_ruler_x(half, k / 4) - thick / 2, y, thick, long), "row_bar")
        sheet.put(id(f"ruler.{k}"), tick, "bar", opacity=1.0)
    baseline = y + s.px(24) + 0.95 * size
    middle, gap = _ruler_x(half, 0.5), 0.25 * size
    between = s.text_width_px("1/2", "tick")
    centre, edge = brief.labels.get("ruler_centre", ""), brief.labels.get("ruler_edge", "")
    x, _, w, _ = half.strip_px
    room = min(x + w, half.figure.frame.width_px) - max(x, half.figure.frame.title_px[0])
    taken = s.text_width_px(centre, "tick") + between + s.text_width_px(edge, "tick") + 2 * gap
    has_half = taken + abs(_ruler_x(half, 1.0) - _ruler_x(half, 0.0)) < room
    if has_half:
        sheet.put(
            id("ruler.half"), Text("1/2", (middle, baseline), "tick", "centre"), "text", "ruler", opacity=1.0
        )
    push = between / 2 + gap if has_half else gap
    for key, name, side in (("ruler.centre", centre, -half.outward), ("ruler.edge", edge, half.outward)):
        at = (middle + side * push, baseline)
        sheet.put(id(key), Text(name, at, "tick", "left" if side > 0 else "right"), "text", "ruler", opacity=1.0)


def _put_comparison(half: _Half, side: str, spoken: Words) -> None:
    """From the contact point and from where the aim line crosses the ball down to the scale, and the numbers."""
    figure, sheet, id = half.figure, half.figure.sheet, half.figure.id
    shot, s = figure.shot, figure.frame.scale
    y = half.strip_px[1]
    x, told_y, told_w, told_h = half.told_px
    x, told_w = x + s.px(28), min(x + told_w, figure.frame.width_px - figure.frame.title_px[0]) - x - s.px(28)
    size = s.text_px("heading")
    measures = spoken.step.measures
    told = measures[:2] if side == SIDES[0] else measures[2:]
    contact_names, aim_names = (f"contact_{side}",), (f"aim_{side}",)
    parts = (
        Part(contact_names, 0.6, grows=True, most_s=DROP_MOST_S),
        Part(contact_names, 0.3),
        Part(aim_names, 0.8, grows=True, most_s=DROP_MOST_S),
        Part(aim_names, 0.3),
    )
    first, second, third, fourth = placed(spoken, parts, figure.rate, 0.6, 1.2)
    contact = position(shot.contact_object_mm)
    cross = crossing_mm(shot, half.eye, None if aims_true(figure.plan, shot) else figure.plan.aim_direction)
    if not any(sheet.role(e) == "contact_object" for e in sheet.ids() if e.startswith(figure.prefix)):
        sheet.put(id("seen.mark"), Mark(contact, "contact"), "mark", "contact_object", (half.closer.id,))
        sheet.show(id("seen.mark"), first)
    aim = Line((position(shot.cue_ball_mm), cross), "aim_line")
    sheet.put(id("seen.line"), aim, "line", "aim_line", (half.closer.id,), opacity=1.0, drawn=0.0)
    sheet.move(id("seen.line"), "drawn", third, 1.0)
    shown = (("contact_line", contact, "contact", first, second), ("aim_line", cross, "aim", third, fourth))
    for n, ((style, at, kind, drawn, fades), measure) in enumerate(zip(shown, told, strict=True)):
        px, py = pixel(half.closer, at)
        if math.isfinite(px) and py < y:
            drop = Line(((px, py, 0.0), (px, y, 0.0)), "thin_line" if kind == "aim" else style)
            sheet.put(id(f"drop.{n}"), drop, "line_under", f"{kind}_drop", opacity=1.0, drawn=0.0)
            sheet.move(id(f"drop.{n}"), "drawn", drawn, 1.0)
        baseline = told_y + told_h - (0.45 + 1.4 * (1 - n)) * size
        dot = Mark((x + 0.4 * size, baseline - 0.34 * size, 0.0), kind)
        words = fitted(
            measure.name, told_w - 1.6 * size - s.text_width_px("100 %", "heading"), figure.frame, "small"
        )
        name = Text(words, (x + 1.1 * size, baseline), "small")
        after = x + 1.5 * size + s.text_width_px(words, "small")
        value = Text(joined(measure), (after, baseline), "heading")
        for part, shape, layer in (("mark", dot, "mark"), ("name", name, "text"), ("value", value, "text")):
            own = sheet.put(id(f"seen.{n}.{part}"), shape, layer, "readout")  # type: ignore[arg-type]
            sheet.show(own, fades)


NEAR_AND_FAR = Kind(
    "near-and-far",
    "two distances side by side",
    outline,
    board,
    axes=("method", "cut", "side", "eye"),
    spans=("distance",),
    least=2,
)
TWO_METHODS = Kind(
    "two-methods",
    "two methods side by side",
    outline,
    board,
    axes=("cut", "side", "distance", "eye"),
    spans=("method",),
    least=2,
)
TWO_CUTS = Kind(
    "two-cuts",
    "two cuts side by side",
    outline,
    board,
    axes=("method", "side", "distance", "eye"),
    spans=("cut",),
    least=2,
)
TWO_EYES = Kind(
    "two-eyes",
    "two eyes side by side",
    outline,
    board,
    axes=("method", "cut", "side", "distance"),
    spans=("eye",),
    least=2,
)
