"""Title and section cards: words on the left, a cropped, true construction on the right."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from aimgeo.construct import position
from aimgeo.shot import BALL_DIAMETER_MM, Shot, place_shot
from scenes.board import Ball, Board, Line, Mark, Pane, Pixel, Rect, Text
from scenes.board.brief import Brief, OutlineStep, Subject
from scenes.board.motion import Sheet, in_turn
from scenes.board.timing import TIMING
from scenes.frame.column import even_lines, text_rect
from scenes.frame.framing import View
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind

FIGURE = "figure"
CUT_RAD = math.radians(30)
DISTANCE_MM = 600.0
"""The shot on the cards: a half-ball hit to the left."""
MOST_LINES = 3
TEXTS = ("title", "over", "under")
REACH_RADII = 1.3
"""How far past the object ball's centre the target line runs where words stand over the figure."""


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """One step: the card."""
    return (OutlineStep("card", f"{subject.kind}.card", draws_s=4.0),)


@dataclass(frozen=True, slots=True)
class _Places:
    """Where a card's words and figure stand.

    The words' left edge and room, their middle (beside the figure) or their top (over it); the object ball, which
    stands under the words where they are over it.
    """

    left_px: float
    width_px: float
    middle_px: float | None
    top_px: float
    object_px: Pixel
    ball_px: float


def board(brief: Brief) -> Board:
    """The card: the figure stands, the words come in, the aim is drawn. ValueError without a title."""
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    title = brief.labels.get("title", brief.steps[0].title)
    if not title.strip():
        raise ValueError("a card needs a title")
    places, sheet = _places(frame), Sheet()
    times = (TIMING.rest_s, TIMING.fade_s, TIMING.draw_s, TIMING.draw_s, TIMING.fade_s, TIMING.hold_s)
    _, words, target, aim, mark, _ = in_turn(0, brief.frames, times, brief.output.rate)
    texts = _words(brief, frame, places, title)
    for i, text in enumerate(texts):
        sheet.show(sheet.put(f"words.{i}", text, "text", "title"), words)

    d = BALL_DIAMETER_MM
    shot = place_shot([0.0, 0.0], [0.0, 1000.0], CUT_RAD, DISTANCE_MM, d)
    turn = math.atan2(float(shot.aim_direction[1]), float(shot.aim_direction[0]))
    x, y = places.object_px
    if places.middle_px is None:
        bottom = max(top + h for _, top, _, h in (text_rect(text, frame.scale) for text in texts))
        y = max(y, bottom + 0.05 * frame.scale.short_px + (REACH_RADII / 2) * places.ball_px)
    view = View((0.0, 0.0), (x, y), turn, places.ball_px / d)
    _figure(sheet, shot, 3.0 if frame.shape == "wide" else REACH_RADII)
    for id, span in (("target_line", target), ("aim_line", aim)):
        sheet.move(id, "drawn", span, 1.0)
    sheet.show("aim_point", mark)
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
    return sheet.board(brief, (Pane(FIGURE, full, "plan", view.camera(full), "cloth"),))


def _figure(sheet: Sheet, shot: Shot, reach_radii: float) -> None:
    """Object ball, ghost ball, contact point, aim line, and so much of the target line past the object ball."""
    O, G, C = (position(p) for p in (shot.object_ball_mm, shot.ghost_ball_mm, shot.cue_ball_mm))
    contact, R = position(shot.contact_object_mm), float(shot.radius_mm)
    far = position(shot.object_ball_mm + reach_radii * R * np.array([*shot.object_direction, 0.0]))
    here = (FIGURE,)
    sheet.put("object_ball", Ball(O, R, "object"), "ball", panes=here, opacity=1.0)
    sheet.put("ghost_ball", Ball(G, R, "ghost"), "ghost", panes=here, opacity=1.0)
    sheet.put("target_line", Line((G, far), "target_line"), "line", panes=here, opacity=1.0, drawn=0.0)
    sheet.put("aim_line", Line((C, G), "aim_line"), "line", panes=here, opacity=1.0, drawn=0.0)
    sheet.put("object_centre", Mark(O, "object_centre"), "mark", panes=here, opacity=1.0)
    sheet.put("contact_object", Mark(contact, "contact"), "mark", panes=here, opacity=1.0)
    sheet.put("aim_point", Mark(G, "aim"), "mark", panes=here)


def _places(frame: Layout) -> _Places:
    W, H = frame.width_px, frame.height_px
    x, y, w, _ = frame.title_safe
    if frame.shape == "wide":
        left = frame.title_px[0]
        return _Places(left, 0.50 * W - left, 0.5 * H, y, (0.72 * W, 0.40 * H), 0.60 * H)
    if frame.shape == "square":
        return _Places(x, w, None, y + 0.01 * H, (0.60 * W, 0.66 * H), 0.40 * H)
    return _Places(frame.title_px[0], frame.title_width_px, None, 0.12 * H, (0.50 * W, 0.56 * H), 0.62 * W)


def _words(brief: Brief, frame: Layout, places: _Places, title: str) -> list[Text]:
    """The title as large as its place takes, with what stands over and under it."""
    scale = frame.scale
    style, lines = _title_lines(title, frame, places.width_px)
    size = scale.text_px(style)
    pitch = 1.04 * size
    over, under = brief.labels.get("over"), brief.labels.get("under")
    under_lines = (
        even_lines(under, places.width_px, lambda s: scale.text_width_px(s, "card_text")) if under else ()
    )
    under_pitch = 1.3 * scale.text_px("card_text")
    height = 0.73 * size + pitch * (len(lines) - 1)
    below = (1.1 * under_pitch + 0.35 * size + under_pitch * (len(under_lines) - 1)) if under_lines else 0.0
    over_px = 0.9 * scale.text_px("card_over") if over else 0.0
    if places.middle_px is None:
        y = places.top_px + (1.8 * over_px if over else 0.0) + 0.73 * size
    else:
        y = places.middle_px - (height + below) / 2 + 0.73 * size
    out = [Text(line, (places.left_px, y + i * pitch), style) for i, line in enumerate(lines)]
    if over:
        out.append(Text(over, (places.left_px, y - 0.73 * size - over_px), "card_over"))
    y += height - 0.73 * size + 0.35 * size + 1.1 * under_pitch
    out += [Text(line, (places.left_px, y + i * under_pitch), "card_text") for i, line in enumerate(under_lines)]
    return out


def _title_lines(title: str, frame: Layout, room_px: float) -> tuple[str, tuple[str, ...]]:
    """The largest type style in which the title fits, and its lines: its own breaks if they fit."""
    given = tuple(line.strip() for line in title.split("\n") if line.strip())
    for style in ("card_title", "card_title_long", "title"):

        def width(text: str, style: str = style) -> float:
            return frame.scale.text_width_px(text, style)

        if len(given) > 1 and all(width(line) <= room_px for line in given):
            return style, given
        lines = even_lines(" ".join(given), room_px, width)
        if len(lines) <= MOST_LINES and all(width(line) <= room_px for line in lines):
            return style, lines
    return "title", lines


TITLE = Kind(
    "title",
    "a card with the lesson's title",
    outline,
    board,
    texts=TEXTS,
)
SECTION = Kind(
    "section",
    "a card with a part's title",
    outline,
    board,
    texts=TEXTS,
    is_named_by_title=True,
)
