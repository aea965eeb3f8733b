"""Alignments: the same shot from each of a lesson's eyes, one after the other and then side by side.

Sentences: alignments.eye (values eye, eye_back, eye_height, eye_offset, eye_side), alignments.together. Measures
of an eye: contact_seen and aim_seen, as parts of the object ball's visible half-width; of the last step: half, the
name of each eye.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from aimgeo import construct as construction
from aimgeo.aim_frame import aim_frame
from aimgeo.camera import eye_of
from aimgeo.construct import Quantity, position
from aimgeo.eye import apparent, ball_points
from aimgeo.shot import Shot, one_of_many
from scenes.board import Ball, Board, Line, Mark, Move, Pane, Plate, Rect, Shade, Text, Track
from scenes.board.brief import Brief, BriefStep, EyeSpec, OutlineStep, Subject
from scenes.board.motion import Sheet, Span, frames_of
from scenes.board.timing import TIMING
from scenes.figure.eye_view import (
    EyeLayout,
    cannot_be_seen,
    eye_layout,
    eye_pane,
    line_top,
    target_pane,
    viewing_distance,
)
from scenes.figure.figure import bare, eye_figure, in_reach
from scenes.figure.steps import bring_cue, put_balls
from scenes.frame.column import joined
from scenes.frame.eye_words import fitted, put_heading, put_note, put_scrim, put_titles
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.kinds.players_eye import eye_values
from scenes.look.scale import plate_sizes, plate_width_px

EYE_STEP, TOGETHER = "alignments.eye", "alignments.together"
MOST_EYES = 6


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """One step an eye, and one for all of them together."""
    shot, eyes = _asked(subject)
    names = tuple(Quantity(eye.name, "name") for eye in eyes)
    single = (
        OutlineStep(
            f"eye {n + 1}", EYE_STEP, (("eye", name), *eye_values(eye)), seen_measures(shot, eye), draws_s=4.0
        )
        for n, (eye, name) in enumerate(zip(eyes, names, strict=True))
    )
    return (*single, OutlineStep("together", TOGETHER, (), tuple(("half", name) for name in names), draws_s=5.0))


def seen_measures(shot: Shot, eye: EyeSpec) -> tuple[tuple[str, Quantity], ...]:
    """Where this eye sees the contact point and the aim line, as parts of the visible half-width."""
    frame = aim_frame(one_of_many(shot))
    seen = apparent(frame, ball_points(frame), np.array([[-eye.back_mm, eye.offset_mm, eye.height_mm]]))
    places = (("contact_seen", seen.contact_place), ("aim_seen", seen.aim_place))
    return tuple((k, Quantity(abs(float(v[0])), "part")) for k, v in places if math.isfinite(float(v[0])))


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    shot, eyes = _asked(brief.subject)
    if len(brief.steps) != len(eyes) + 1:
        raise ValueError(f"an alignments clip of these eyes has {len(eyes) + 1} steps")
    spans = brief.spans
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    rate = brief.output.rate
    fade = frames_of(TIMING.fade_s, rate)
    sheet = Sheet()
    side = -int(shot.outward)
    places = eye_layout(frame, side)
    mains, closer = [], []
    for n, eye in enumerate(eyes):
        shown = _shown(spans[n][0], fade, n == 0, spans[-1][0])
        mains.append(eye_pane(places, shot, eye, f"eye.{n}", shown))
        target = target_pane(mains[-1], places, frame, shot)
        closer.append(Pane(f"target.{n}", target.rect_px, "eye", target.camera, "plate", shown))
    cells = grid_cells(frame, len(eyes))
    together = spans[-1][0]
    small = [
        eye_pane(_cell_layout(rect, side), shot, eye, f"small.{n}", _shown(together, fade, False, None))
        for n, (rect, eye) in enumerate(zip(cells, eyes, strict=True))
    ]
    panes = (*(pane for pair in zip(mains, closer, strict=True) for pane in pair), *small)
    _put_shot(
        brief, frame, places, sheet, mains, [p.id for p in panes], [p.id for p in (*mains, *small)], spans[0]
    )
    put_scrim(sheet, frame)
    put_titles(sheet, frame, brief.steps, spans, rate, places.title_room_px)
    put_heading(sheet, brief.labels, places.heading_px, places.heading_align)
    put_note(sheet, brief.labels, viewing_distance(mains[0], frame), places.note_px, places.heading_align)
    if "note" in sheet.ids():
        sheet.hide("note", (spans[-1][0], spans[-1][0] + fade))
    _put_strip(sheet, places, brief.steps, spans, fade)
    _put_grid(sheet, frame, cells, brief.steps[-1], (together, together + fade))
    return sheet.board(brief, panes)


def _asked(subject: Subject) -> tuple[Shot, tuple[EyeSpec, ...]]:
    eyes = tuple(one.eye for one in subject.companions if one.eye is not None)
    if subject.shot is None or not 2 <= len(eyes) <= MOST_EYES:
        raise ValueError(f"an alignments clip needs a shot and two to {MOST_EYES} eyes")
    return subject.shot, eyes


def _shown(first: int, fade: int, at_once: bool, gone: int | None) -> Track:
    """Fading in at a frame, or there from the start, and fading out at another."""
    moves = () if at_once else (Move(first, first + fade, (1.0,)),)
    leaves = () if gone is None else (Move(gone, gone + fade, (0.0,)),)
    return Track((1.0 if at_once else 0.0,), (*moves, *leaves))


def grid_cells(frame: Layout, count: int) -> list[Rect]:
    """The rectangles of the small pictures: one row of up to three, else two rows; two columns in a tall frame."""
    W, H = float(frame.width_px), float(frame.height_px)
    margin, gap = frame.title_px[0], frame.scale.px(14)
    columns = 2 if frame.shape == "tall" or count == 4 else min(count, 3)
    rows = -(-count // columns)
    top, bottom = (0.255 * H, 0.93 * H) if frame.shape != "tall" else (0.22 * H, 0.80 * H)
    w, h = (W - 2 * margin - (columns - 1) * gap) / columns, (bottom - top - (rows - 1) * gap) / rows
    return [
        (round(margin + (n % columns) * (w + gap)), round(top + n // columns * (h + gap)), round(w), round(h))
        for n in range(count)
    ]


def _cell_layout(rect: Rect, side: int) -> EyeLayout:
    x, y, w, h = rect
    return EyeLayout(
        x + w * (0.5 + 0.06 * side), y + 0.34 * h, y + 0.76 * h, rect, rect, rect, (0, 0), "left", (0, 0), w
    )


def _put_shot(
    brief: Brief,
    frame: Layout,
    places: EyeLayout,
    sheet: Sheet,
    mains: list[Pane],
    ids: list[str],
    line_ids: list[str],
    span: Span,
) -> None:
    """Balls, ghost, target and aim line, in all the panes."""
    shot = brief.subject.shot
    assert shot is not None
    at, top = shot.cue_ball_mm, line_top(places)
    figure = eye_figure(
        brief, sheet, frame, shot, bare(shot), mains[0], at, top, panes=tuple(ids), line_panes=tuple(line_ids)
    )
    put_balls(figure, brief.subject.table, True)
    ghost = Ball(position(shot.ghost_ball_mm), figure.radius_mm, "ghost")
    sheet.put("ghost_ball", ghost, "ghost", panes=tuple(ids), opacity=1.0)
    C, O, G, T = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm, shot.target_mm))
    # one line for all the pictures: as far as the one that shows least of it
    whole = construction.Line("target_line", O, T)
    ends = [in_reach(replace(figure, windows=(pane,)), whole).end_mm for pane in mains]
    nearest = min(ends, key=lambda end: math.dist(O, end))
    lines = (Line((O, nearest), "target_line", arrow=True), Line((C, G), "aim_line"))
    for line in lines:
        sheet.put(line.style, line, "line", panes=tuple(line_ids), opacity=1.0)
    sheet.put("aim_point", Mark(G, "aim"), "mark", panes=tuple(ids), opacity=1.0)
    contact = position(shot.contact_object_mm)
    for n, pane in enumerate(mains):
        hollow = cannot_be_seen(contact, shot, eye_of(pane.projection(0)))
        mark = Mark(contact, "contact", hollow)
        sheet.put(f"contact_object.{n}", mark, "mark", "contact_object", (f"target.{n}",), opacity=1.0)
    bring_cue(figure, (span[0], span[0] + 2))


def _put_strip(
    sheet: Sheet, places: EyeLayout, steps: tuple[BriefStep, ...], spans: list[Span], fade: int
) -> None:
    """The pane's frame, and what this eye sees in numbers."""
    x, y, w, h = places.pane_px
    strip = places.picture_px[1] + places.picture_px[3]
    gone = (spans[-1][0], spans[-1][0] + fade)
    sheet.put("pane.strip", Shade((x, strip, w, y + h - strip), "gutter"), "area", opacity=1.0)
    sheet.put("pane.edge", Shade(places.pane_px, "window_edge"), "break", opacity=1.0)
    for id in ("pane.strip", "pane.edge"):
        sheet.hide(id, gone)
    pitch = (y + h - strip) / 2
    for n, (step, (first, end)) in enumerate(zip(steps[:-1], spans[:-1], strict=True)):
        for k, measure in enumerate(step.measures):
            baseline = strip + (k + 0.72) * pitch
            for part, text in (
                ("name", Text(measure.name, (x + 0.04 * w, baseline), "small")),
                ("value", Text(joined(measure), (x + 0.96 * w, baseline), "heading", "right")),
            ):
                id = sheet.put(f"seen.{n}.{k}.{part}", text, "text", "readout")
                sheet.show(id, (first + fade, first + 2 * fade))
                sheet.hide(id, (end, end + max(fade // 2, 1)))


def _put_grid(sheet: Sheet, frame: Layout, cells: list[Rect], words: BriefStep, shown: Span) -> None:
    """Frames and names of the small pictures."""
    sizes = plate_sizes(frame.scale)
    for n, (rect, measure) in enumerate(zip(cells, words.measures, strict=True)):
        x, y, w, _ = rect
        edge = sheet.put(f"cell.{n}", Shade(rect, "window_edge"), "break")
        text = fitted(joined(measure), w - 2 * frame.scale.px(12) - 2 * sizes.padding_px, frame)
        at = (x + frame.scale.px(12), y + frame.scale.px(12))
        plate = Plate(text, (*at, plate_width_px(text, frame.scale, False), sizes.height_px))
        name = sheet.put(f"cell.{n}.name", plate, "label", "caption")
        for id in (edge, name):
            sheet.show(id, shown)


KIND = Kind(
    "alignments",
    "one shot from each eye in turn, then side by side",
    outline,
    board,
    axes=("cut", "side", "distance"),
    spans=("eye",),
    most=MOST_EYES,
)
