"""The straight-in check: from where does a long straight shot look straight to you?

A perfect set-up first, then the same from eyes beside the line, in a hidden order, each with a letter; a grid to
note which looked straight; then the offsets are told. A screen is not depth: the table has the last word, and the
last step says so. Sentences: straight_in.set_up, straight_in.look (value letter), straight_in.note,
straight_in.told, straight_in.table. Measures of the telling, for each letter in turn: eye_offset and eye_side.
"""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import accumulate, pairwise

import numpy as np

from aimgeo.construction import Quantity, position
from aimgeo.shot import Shot, place_shot
from aimgeo.table import Table
from scenes.board import LAYERS, Board, Line, Move, Pane, Plate, Shade, StepSpan, Text, Track
from scenes.brief import Brief, OutlineStep, Subject
from scenes.eye_figure import Figure, bare, bring_cue, put_balls
from scenes.eye_view import eye_layout, eye_mm, eye_pane, line_top, viewing_distance
from scenes.eye_words import put_note, put_scrim, put_titles
from scenes.layout import Layout, layout
from scenes.motion import Sheet, Span, frames_of
from scenes.theme import TIMING, TYPES, plate_sizes, plate_width_px

SET_UP, LOOK, NOTE = "straight_in.set_up", "straight_in.look", "straight_in.note"
TOLD, TABLE = "straight_in.told", "straight_in.table"
LETTERS = "ABCDEFG"
RAIL_GAP_MM = 150.0
"""The cue ball stands so far off the rail behind it, so that a cue can reach it."""


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """Set-up, a look at each, time to note, the offsets, and the table's last word."""
    straight_shot(subject)
    offsets = offsets_mm(subject)
    look_s = float(subject.settings.get("look_s", 4.0))
    looks = (
        OutlineStep(f"look {letter}", LOOK, (("letter", Quantity(letter, "name")),), (), look_s)
        for letter, _ in zip(LETTERS, offsets, strict=False)
    )
    told = tuple(
        measure
        for offset in offsets
        for measure in (
            ("eye_offset", Quantity(abs(offset), "length_mm")),
            ("eye_side", Quantity("left" if offset > 0 else "right" if offset < 0 else "none", "name")),
        )
    )
    return (
        OutlineStep("set up", SET_UP, (), (), 4.0),
        *looks,
        OutlineStep("note", NOTE, (), (), 6.0),
        OutlineStep("told", TOLD, (), told, 6.0),
        OutlineStep("table", TABLE, (), (), 4.0),
    )


def offsets_mm(subject: Subject) -> tuple[float, ...]:
    """The eyes' offsets to the left of the line, in the order in which they are shown; fixed by the seed.

    Equal steps to both sides, the line itself among them; its place in the order is left to the seed as well.
    """
    count = min(max(int(subject.settings.get("looks", 5)), 2), len(LETTERS))
    step = float(subject.settings.get("step_mm", 6.0))
    offsets = [step * (k - (count - 1) // 2) for k in range(count)]
    random.Random(int(subject.settings.get("seed", 1))).shuffle(offsets)
    return tuple(offsets)


def straight_shot(subject: Subject) -> Shot:
    """The subject's object ball and target with the cue ball straight behind, as far off as the bed lets.

    At most the subject's own distance. Raises ValueError where no cue ball fits behind the object ball.
    """
    shot = subject.shot
    if shot is None or subject.eye is None:
        raise ValueError("a straight-in check needs a shot and an eye")
    way = -shot.object_direction
    room = float(shot.distance_mm)
    if isinstance(subject.table, Table):
        half = np.array([subject.table.length_mm, subject.table.width_mm]) / 2 - float(shot.radius_mm)
        with np.errstate(divide="ignore"):
            to_rail = np.where(
                way != 0, (np.sign(way) * half - shot.object_ball_mm[:2]) / np.where(way != 0, way, 1), np.inf
            )
        room = min(room, float(to_rail.min()) - RAIL_GAP_MM)
    if room < 2 * float(shot.ball_diameter_mm):
        raise ValueError("no cue ball fits straight behind the object ball; give the object ball another spot")
    return place_shot(shot.object_ball_mm[:2], shot.target_mm[:2], 0.0, room, shot.ball_diameter_mm)


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    subject = brief.subject
    shot, offsets = straight_shot(subject), offsets_mm(subject)
    assert subject.eye is not None
    if len(brief.steps) != len(offsets) + 4:
        raise ValueError(f"a straight-in check of {len(offsets)} looks has {len(offsets) + 4} steps")
    spans = list(pairwise(accumulate((step.frames for step in brief.steps), initial=0)))
    frame = layout(brief.output.width_px, brief.output.height_px)
    rate = brief.output.rate
    fade = frames_of(TIMING.fade_s, rate)
    places = replace(
        eye_layout(frame, 0), axis_px=frame.width_px / 2, object_y_px=0.36 * frame.height_px,
        cue_y_px=0.74 * frame.height_px,
    )  # fmt: skip
    eyes = [replace(subject.eye, offset_mm=offset) for offset in (0.0, *offsets)]
    told_at = spans[-3][0]
    panes: list[Pane] = []
    for n, eye in enumerate(eyes):
        first = spans[n][0]
        moves = () if n == 0 else (Move(first, first + fade, (1.0,)),)
        opacity = Track((1.0 if n == 0 else 0.0,), (*moves, Move(told_at, told_at + fade, (0.0,))))
        panes.append(eye_pane(places, shot, eye, f"eye.{n}", opacity))
    sheet = Sheet()
    ids = tuple(pane.id for pane in panes)
    figure = Figure(
        sheet,
        frame,
        shot,
        bare(shot),
        panes[0],
        eye_mm(shot, eyes[0]),
        ids,
        ids,
        line_top(places),
        "",
        brief.theme,
    )
    put_balls(figure, subject.table, True)
    _put_set_up(figure, spans[0], rate)
    put_scrim(sheet, frame)
    put_titles(sheet, frame, brief.steps, spans, rate, places.title_room_px)
    note = put_note(
        sheet, brief.labels, viewing_distance(panes[0], frame), places.heading_px, places.heading_align
    )
    if note is not None:
        sheet.hide(note, (told_at, told_at + fade))
    for n, letter in enumerate(LETTERS[: len(offsets)]):
        _put_letter(sheet, frame, letter, spans[n + 1], fade)
    _put_grid(sheet, frame, brief, LETTERS[: len(offsets)], spans, fade)
    return Board(
        brief.output.width_px,
        brief.output.height_px,
        rate,
        brief.frames,
        tuple(panes),
        sheet.elements(),
        tuple(StepSpan(s.name, a, b, s.narration) for s, (a, b) in zip(brief.steps, spans, strict=True)),
        brief.theme,
    )


def _put_set_up(figure: Figure, span: Span, rate: tuple[int, int]) -> None:
    """The line is shown once, from right above it; then only balls and cue."""
    sheet, shot = figure.sheet, figure.shot
    first, end = span
    third = (end - first) // 3
    line = Line((position(shot.cue_ball_mm), position(shot.target_mm)), "aim_line")
    panes = (figure.panes[0],)
    id = sheet.put("line", line, LAYERS["line"], "aim_line", panes, opacity=1.0, drawn=0.0)
    sheet.move(id, "drawn", (first + third // 2, first + third // 2 + third), 1.0)
    fade = frames_of(TIMING.fade_s, rate)
    sheet.hide(id, (end - 2 * fade, end - fade))
    bring_cue(figure, (first, first + 2))


def _put_letter(sheet: Sheet, frame: Layout, letter: str, span: Span, fade: int) -> None:
    """The look's letter, large enough to be noted; nothing else tells the looks apart."""
    sizes = plate_sizes(frame.scale)
    width = plate_width_px(letter, frame.scale, False)
    x = frame.title_px[0]
    y = 0.40 * frame.height_px
    id = sheet.put(f"letter.{letter}", Plate(letter, (x, y, width, sizes.height_px)), LAYERS["label"], "letter")
    sheet.show(id, (span[0], span[0] + fade))
    sheet.hide(id, (span[1], span[1] + fade))


def _put_grid(sheet: Sheet, frame: Layout, brief: Brief, letters: str, spans: list[Span], fade: int) -> None:
    """A row of boxes to note in, one a letter; later the offsets stand in them."""
    W, H = float(frame.width_px), float(frame.height_px)
    margin, gap = frame.title_px[0], frame.scale.px(18)
    columns = len(letters) if frame.shape == "wide" else min(len(letters), 3)
    w = (W - 2 * margin - (columns - 1) * gap) / columns
    h = min(0.36 * H, 1.1 * w) if frame.shape == "wide" else 0.21 * H
    note, told = spans[-3], spans[-2]
    measures = brief.steps[-2].measures
    size = frame.scale.text_px(TYPES["heading"])
    for n, letter in enumerate(letters):
        x = margin + (n % columns) * (w + gap)
        y = (0.34 if frame.shape == "wide" else 0.30) * H + n // columns * (h + gap)
        box = sheet.put(f"grid.{letter}", Shade((x, y, w, h), "window_edge"), LAYERS["break"], "grid")
        middle = x + w / 2
        name = sheet.put(
            f"grid.{letter}.name",
            Text(letter, (middle, y + 1.5 * size), "title", "centre"),
            LAYERS["text"],
            "grid",
        )
        for id in (box, name):
            sheet.show(id, (note[0] + fade, note[0] + 2 * fade))
        pair = measures[2 * n : 2 * n + 2]
        if len(pair) < 2:
            continue
        offset, side = pair
        amount = f"{offset.number} {offset.unit}".strip()
        is_on = side.number == "none" or offset.number.strip("0.,") == ""
        lines = (brief.labels.get("on_the_line", ""),) if is_on else (amount, side.number)
        for k, text in enumerate(lines):
            at = (middle, y + h - (1.75 - 1.25 * k) * size if len(lines) > 1 else y + h - 0.9 * size)
            id = sheet.put(f"told.{letter}.{k}", Text(text, at, "label", "centre"), LAYERS["text"], "told")
            sheet.show(id, (told[0] + fade, told[0] + 2 * fade))
