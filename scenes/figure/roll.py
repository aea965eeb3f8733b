"""The shot that ends a build-up: the picture opens until the target is in it, and the shot is played."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import position
from aimgeo.holes import Hole, hole_of
from aimgeo.running import Played, play_softly
from aimgeo.vectors import Array
from scenes.board import ONE, Ball, Line, Move, Pane, Rect, Ring, TableTop, Text, Track
from scenes.board.brief import BriefStep, Subject
from scenes.board.motion import Span
from scenes.board.timing import TIMING
from scenes.figure.figure import Figure, bare, disc_of, other_discs, pieces_of, strokes_of
from scenes.figure.labels import Obstacles, Port, Spacing, Wanted, is_clear
from scenes.figure.named import other_names
from scenes.figure.placer import LINE_RANK, POINT_RANK, Labels, plate_size
from scenes.figure.plan import titles
from scenes.figure.plan_labels import line_label
from scenes.figure.played import Rolls, after_lines, is_stopped, put_shot, rolls, shot_s
from scenes.frame.column import put_pips, put_title, text_rect, title_rect
from scenes.frame.framing import PLAYED, View, moving_camera, pane

PACE = 0.5
"""How fast the shot is shown, of its true speed: the picture says so."""
OPENS_S, LOOK_S = 1.8, 1.4
MARGIN_BALLS = 1.2
"""Room around what is shown of the shot, in balls."""
LARGEST_BALL = 0.09
"""A ball in the picture of the whole shot is at most so large, of the frame's height."""
SAMPLES = 60
RAIL_MM = 170.0
"""So much around the target is shown, its rails with it."""


_NEEDS_S: dict[tuple[object, ...], float] = {}
MOST_KEPT = 4096


def roll_s(subject: Subject) -> float:
    """Seconds that the step needs: the picture opens, the shot is played, time to look."""
    shot = subject.shot
    assert shot is not None
    # the methods of a lesson share its shots, and most of them outlast a save
    places = (tuple(at.tolist()) for at in (shot.cue_ball_mm, shot.object_ball_mm, shot.target_mm))
    key = (*places, float(shot.ball_diameter_mm), subject.table, subject.target_name, subject.others_mm)
    needs = _NEEDS_S.get(key)
    if needs is None:
        needs = shot_s(played_shot(subject), subject.table, subject.target_name, PACE, cue=False)
        if len(_NEEDS_S) >= MOST_KEPT:
            _NEEDS_S.clear()
        _NEEDS_S[key] = needs
    return TIMING.fade_s + OPENS_S + TIMING.rest_s + needs + TIMING.fade_s + LOOK_S


def played_shot(subject: Subject) -> Played:
    """The subject's shot as it is played."""
    assert subject.shot is not None
    return play_softly(subject.shot, subject.table, subject.others_mm)


def put_roll(
    figure: Figure, labels: Labels, measure_ids: Sequence[str], words: BriefStep, span: Span, stage: View
) -> Pane:
    """The construction goes, the picture opens, the balls roll. The pane of it all, which lies over the stage.

    `stage` is the view of the object ball from which the picture opens.
    """
    sheet, frame, subject = figure.sheet, figure.frame, figure.brief.subject
    first, end = span
    fade = figure.frames(TIMING.fade_s)
    half = max(fade // 2, 1)
    index = len(figure.plan.steps)
    put_title(sheet, frame, f"title.{index}", words.title, (first + half, first + fade), None)
    put_pips(sheet, frame, f"pips.{index}", index + 1, index, (first, first + 1), None)
    _clear(figure, (first, first + fade))
    labels.clear((first, first + fade))
    for id in measure_ids:
        sheet.hide(id, (first, first + fade))
    played = played_shot(subject)
    ways = rolls(played, figure.shot, subject.table, subject.target_name, figure.rate, PACE)
    view = _whole_shot(figure, ways, stage)
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
    opens = (first + fade, first + fade + figure.frames(OPENS_S))
    shown = Track((0.0,), (Move(first, first + fade, (1.0,)),))
    opening = Pane(
        PLAYED, full, "table", moving_camera(full, stage, view, *opens, figure.shot.object_ball_mm), "cloth", shown
    )
    resting = replace(
        figure, windows=(pane(PLAYED, full, view, "table", ONE, "cloth"),), panes=(PLAYED,), line_panes=(PLAYED,),
        plan=bare(figure.shot), prefix="roll.",
    )  # fmt: skip
    _put_lines(resting, opens)
    start = opens[1] + figure.frames(TIMING.rest_s)
    put = put_shot(
        sheet, figure.shot, played, subject.table, subject.target_name, (PLAYED,), start, figure.rate, PACE
    )
    told = (put.end, min(put.end + fade, end))
    after = after_lines(played, figure.shot, subject.table, subject.target_name)
    for n, line in enumerate(after):
        id = sheet.put(f"cue_ball_after.{n}", line, "line_under", "cue_ball_after", (PLAYED,))
        sheet.show(id, told)
    _put_words(resting, played, after, ways, (opens[1], opens[1] + fade), told)
    return opening


def _clear(figure: Figure, gone: Span) -> None:
    """The construction goes; the balls stay where they are."""
    sheet = figure.sheet
    for id in sheet.ids():
        shape = sheet.shape(id)
        is_ball = isinstance(shape, Ball) and shape.look != "ghost"
        if (
            sheet.is_shown_at_end(id)
            and not is_ball
            and (sheet.panes(id) or id.startswith(("band", "magnifier", "front")))
        ):
            sheet.hide(id, gone)


def _whole_shot(figure: Figure, ways: Rolls, stage: View) -> View:
    """The view, turned as the table is elsewhere, in which both balls are seen all the way, and the target."""
    shot = figure.shot
    rows = np.concatenate(
        [
            shot.cue_ball_mm + np.array(ways.cue_ball)[:: max(ways.frames // SAMPLES, 1)],
            shot.object_ball_mm + np.array(ways.object_ball),
            shot.cue_ball_mm[None],
            shot.target_mm + RAIL_MM * np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]]),
        ]
    )[:, :2]
    view = _fitted(figure, rows, rows, stage)
    table = figure.brief.subject.table
    if table is None:
        return view
    # no rail behind the title: then the picture goes down to it
    bed = np.array([table.length_mm, table.width_mm]) / 2 + RAIL_MM
    corners = bed * np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]])
    edge_px = float(view.to_px(np.column_stack([corners, np.zeros(4)]))[:, 1].min())
    if -2 * RAIL_MM * view.px_per_mm < edge_px < _room(figure)[1]:
        return _fitted(figure, rows, np.concatenate([rows, corners]), stage)
    return view


def _fitted(figure: Figure, rows: Array, above: Array, stage: View) -> View:
    """The largest view in which points (n, 2) have their room, and nothing of `above` stands higher than that."""
    frame = figure.frame
    turn = 0.0 if frame.up_along_table else math.pi / 2
    s, c = math.sin(turn), math.cos(turn)
    right, up = rows @ np.array([s, -c]), rows @ np.array([c, s])
    pad = MARGIN_BALLS * 2 * figure.radius_mm
    highest = max(float(np.max(up)) + pad, float(np.max(above @ np.array([c, s]))))
    lowest = float(np.min(up)) - pad
    x, y, w, h = _room(figure)
    wide = float(np.ptp(right)) + 2 * pad
    largest = LARGEST_BALL * frame.height_px / (2 * figure.radius_mm)
    scale = min(w / wide, h / (highest - lowest), largest, stage.px_per_mm)
    mid_r, mid_u = float(np.min(right) + np.max(right)) / 2, (highest + lowest) / 2
    at = (mid_r * s + mid_u * c, -mid_r * c + mid_u * s)
    return View(at, (x + w / 2, y + h / 2), turn, scale)


def _room(figure: Figure) -> Rect:
    """Where the shot may be seen: below the title, above the words at the foot."""
    frame = figure.frame
    x, top, w, safe = frame.title_safe
    _, ty, _, th = title_rect(titles(figure.brief)[-1:], frame)
    first = ty + th + 0.03 * frame.scale.short_px
    return (x, first, w, top + safe - 1.6 * frame.scale.text_px("small") - first)


def _put_lines(figure: Figure, shown: Span) -> None:
    """Table, aim and target line, and a ring around the pocket, under the balls."""
    sheet, shot, subject = figure.sheet, figure.shot, figure.brief.subject
    if subject.table is not None:
        sheet.put("roll.table", TableTop(subject.table), "table", "table", (PLAYED,), opacity=1.0)
    for role, a, b in (
        ("aim_line", shot.cue_ball_mm, shot.ghost_ball_mm),
        ("target_line", shot.object_ball_mm, shot.target_mm),
    ):
        line = Line((position(a), position(b)), role, arrow=role == "target_line")
        strength = figure.frame.look.old_strength
        id = sheet.put(f"roll.{role}", line, "line_under", role, (PLAYED,), strength=strength)
        sheet.show(id, shown)
    ghost = Ball(position(shot.ghost_ball_mm), figure.radius_mm, "ghost")
    sheet.show(sheet.put("roll.ghost", ghost, "ghost", "ghost_ball", (PLAYED,)), shown)
    hole = _hole(subject)
    if hole is not None:
        ring = Ring((*hole.centre_mm, 0.0), hole.radius_mm, "target_line")
        sheet.show(sheet.put("roll.pocket", ring, "mark", "target", (PLAYED,)), shown)


def _put_words(
    figure: Figure, played: Played, after: Sequence[Line], ways: Rolls, opened: Span, told: Span
) -> None:
    """The pocket's name; at the end the name of the cue ball's way; and how fast the shot is shown."""
    sheet, frame, words = figure.sheet, figure.frame, figure.brief.labels
    s, shot = frame.scale, figure.shot
    stops = [shot.cue_ball_mm + np.array(ways.cue_ball[-1]), shot.cue_ball_mm, shot.object_ball_mm]
    stops += list(shot.object_ball_mm + np.array(ways.object_ball)[:: max(ways.frames // SAMPLES, 1)] * [1, 1, 0])
    balls = [disc_of(figure, f"ball.{n}", at, figure.radius_mm) for n, at in enumerate(stops)]
    balls.append(disc_of(figure, "ghost_ball", shot.ghost_ball_mm, figure.radius_mm, False))
    strokes = [
        stroke
        for role, a, b in (
            ("aim_line", shot.cue_ball_mm, shot.ghost_ball_mm),
            ("aim_line", shot.object_ball_mm, shot.target_mm),  # all of it is drawn here
            *(("cue_ball_after", *line.points_mm) for line in after),
        )
        for stroke in strokes_of(figure, construction.Line(role, position(a), position(b)))
    ]
    rects = [title_rect(titles(figure.brief), frame)]
    if "half_speed" in words:
        seen = Obstacles(tuple(ball for ball in balls if ball is not None), (), tuple(strokes))
        text = _speed_text(figure, words["half_speed"], seen)
        sheet.show(sheet.put("half_speed", text, "text", "words"), opened)
        rects.append(text_rect(text, s))
    kept = Obstacles(
        (*(b for b in balls if b is not None), *other_discs(figure)), (), tuple(strokes), tuple(rects)
    )
    labels = Labels(figure, [kept], (_room(figure),), 3, True)
    hole = _hole(figure.brief.subject)
    if hole is not None and "target" in words:
        labels.add(0, [(_pocket_label(figure, hole, words["target"]), POINT_RANK)], opened, opened)
    labels.add(0, other_names(figure), opened, opened)
    key = "cue_ball_stunned" if played.roll == 0 else "cue_ball_rolling"
    if is_stopped(played, figure.brief.subject.table, figure.brief.subject.target_name):
        key = "cue_ball_stopped"
    if key in words and after:
        pieces = [p for line in after for p in pieces_of(figure, _as_line(line))]
        named = [b for b in balls[:1] if b is not None]
        want = line_label(figure, "cue_ball_after", words[key], "cue_ball_after", pieces, named)
        labels.add(0, [(want, LINE_RANK)], told, told)


def _speed_text(figure: Figure, words: str, seen: Obstacles) -> Text:
    """How fast the shot is shown, at the picture's foot: to the right, to the left or between, or as little higher
    as keeps it clear of the rails and of what is drawn; else to the right."""
    frame, s, table = figure.frame, figure.frame.scale, figure.brief.subject.table
    x, y, w, h = frame.title_safe
    size = s.text_px("small")
    texts = [
        Text(words, (x + part * w, y + h - (0.2 + lift) * size), "small", align)
        for lift in range(7)
        for part, align in ((1.0, "right"), (0.0, "left"), (0.5, "centre"))
    ]
    if table is None:
        return texts[0]
    bed = np.array([table.length_mm, table.width_mm]) / 2
    P = figure.pane.projection(0)
    for text in texts:
        rect = text_rect(text, s)
        corners = np.array(rect[:2]) + np.array([[0, 0], [1, 1]]) * rect[2:]
        ends = np.sort((corners - P[:2, 3]) @ np.linalg.inv(P[:2, :2]).T, axis=0)
        inside = bool((np.abs(ends) < bed).all())
        beside = bool((ends[0] > bed + RAIL_MM).any() or (ends[1] < -bed - RAIL_MM).any())
        if (inside or beside) and is_clear(rect, seen, Spacing().scaled(s.k * s.gain)):
            return text
    return texts[0]


def _as_line(line: Line) -> construction.Line:
    return construction.Line("cue_ball_after", *line.points_mm)


def _hole(subject: Subject) -> Hole | None:
    """The hole that the object ball is played into."""
    if subject.table is None or subject.target_name is None:
        return None
    return hole_of(subject.table.pocket(subject.target_name), subject.table)


def _pocket_label(figure: Figure, hole: Hole, text: str) -> Wanted:
    """The pocket's name, led to the ring around it."""
    centre: Array = np.array([*hole.centre_mm, 0.0])
    x, y = figure.px(centre)
    r = hole.radius_mm * figure.px_per_mm
    w, h = plate_size(figure, text, None)
    ports = [Port((x + side * r, y), side) for side in (-1, 1)] + [
        Port((x, y + lift * r), 0, lift) for lift in (-1, 1)
    ]
    return Wanted(
        "target", "target", text, w, h, tuple(ports), near_px=(x, y), prefer=figure.aim_side, is_point=True
    )
