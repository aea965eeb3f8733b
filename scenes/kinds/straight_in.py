"""The straight-in check: from where does a long straight shot look straight to you?

The set-up is shown from above, with its line. Then the shot alone, from places beside each other, in a hidden
order and each with a number; the picture is empty in between, so that nothing tells which way the eye went. A grid
to note which looked straight; then the offsets are told. A screen is not depth: the table has the last word,
and the last step says so. Sentences: straight_in.set_up, straight_in.look (value look: first, second, third),
straight_in.note, straight_in.told, straight_in.table. Measures of the telling, for each look in turn: eye_offset
and eye_side.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace
from itertools import pairwise

from aimgeo import construct as construction
from aimgeo.camera import eye_of
from aimgeo.construct import Quantity, position
from aimgeo.shot import Shot
from aimgeo.vectors import left
from scenes.board import Board, Line, Move, Pane, Plate, Rect, Shade, Text, Track
from scenes.board.brief import Brief, EyeSpec, MeasureText, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span, frames_of
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.figure.eye_view import EyeLayout, above_camera, eye_layout, eye_pane, line_top, viewing_distance
from scenes.figure.figure import Figure, bare, eye_figure, in_reach
from scenes.figure.steps import bring_cue, put_balls
from scenes.frame.clock import clock_high_px, put_clock
from scenes.frame.column import even_lines, joined
from scenes.frame.eye_words import put_heading, put_note, put_scrim, put_titles
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.look.scale import plate_sizes, plate_width_px

SET_UP, LOOK, NOTE = "straight_in.set_up", "straight_in.look", "straight_in.note"
TOLD, TABLE = "straight_in.told", "straight_in.table"
LETTERS = "ABCDEFG"
A_LITTLE = 1.5
"""An eye nearer to the line than so many steps is a little beside it, else farther."""
CLOCK_WIDE = 0.12
"""The clock of a look, of the frame's width."""
EMPTY_S = 0.5
"""Between two looks the picture is empty so long."""


@dataclass(frozen=True, slots=True)
class StraightInSettings(Settings):
    """What may be set of a straight-in check."""

    looks: int = setting(5, "from how many places the shot is seen", least=2, greatest=len(LETTERS))
    step_mm: float = setting(
        12.0,
        "how far these places are apart; the eye's own is among them, where is left to the seed",
        least=1.0,
        greatest=25.0,
    )
    seed: int = setting(1, "fixes the order of the looks", least=0, greatest=9999)
    look_s: float = setting(4.0, "time for each look", least=1.0, greatest=60.0)


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """Set-up, a look at each, time to note, the offsets, and the table's last word."""
    _asked(subject)
    offsets = offsets_mm(subject)
    look_s = StraightInSettings.of(subject).look_s + EMPTY_S + 2 * TIMING.fade_s
    looks = (
        OutlineStep(f"look {letter}", LOOK, (("look", Quantity(f"look.{shown_as(letter)}", "name")),), (), look_s)
        for letter, _ in zip(LETTERS, offsets, strict=False)
    )
    told = tuple(
        measure
        for offset in offsets
        for measure in (
            ("eye_offset", Quantity(abs(offset), "distance_mm")),
            ("eye_side", Quantity("left" if offset > 0 else "right" if offset < 0 else "none", "name")),
        )
    )
    return (
        OutlineStep("set up", SET_UP, (), (), 5.0),
        *looks,
        OutlineStep("note", NOTE, (), (), 6.0),
        OutlineStep("told", TOLD, (), told, 6.0),
        OutlineStep("table", TABLE, (), (), 4.0),
    )


def shown_as(letter: str) -> str:
    """A look's number in the pictures.

    >>> shown_as("C")
    '3'
    """
    return str(LETTERS.index(letter) + 1)


def offsets_mm(subject: Subject) -> tuple[float, ...]:
    """The eyes' offsets to the left of the line, in the order in which they are shown; fixed by the seed.

    Equal steps beside each other, the eye's own offset among them. The seed leaves open how many lie to its left
    and how many to its right, so that the middle of them tells nothing.
    """
    _, eye = _asked(subject)
    settings = StraightInSettings.of(subject)
    draw = random.Random(settings.seed)
    own = draw.randrange(settings.looks)
    offsets = [eye.offset_mm + settings.step_mm * (k - own) for k in range(settings.looks)]
    draw.shuffle(offsets)
    return tuple(offsets)


def _asked(subject: Subject) -> tuple[Shot, EyeSpec]:
    if subject.shot is None or subject.eye is None or int(subject.shot.side) != 0:
        raise ValueError("a straight-in check needs a straight shot and an eye")
    return subject.shot, subject.eye


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    subject = brief.subject
    (shot, eye), offsets = _asked(subject), offsets_mm(subject)
    if len(brief.steps) != len(offsets) + 4:
        raise ValueError(f"a straight-in check of {len(offsets)} looks has {len(offsets) + 4} steps")
    letters = LETTERS[: len(offsets)]
    spans = brief.spans
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    rate = brief.output.rate
    fade = frames_of(TIMING.fade_s, rate)
    empty = frames_of(EMPTY_S, rate)
    own = eye_layout(frame, 0, brief.steps)
    places = replace(
        own, axis_px=frame.width_px / 2, object_y_px=max(0.36 * frame.height_px, own.object_y_px),
        cue_y_px=0.74 * frame.height_px,
    )  # fmt: skip
    eyes = [replace(eye, offset_mm=offset) for offset in offsets]
    gone = (Move(spans[1][0], spans[1][0] + fade, (0.0,)),)
    # along the frame's longer side the balls are larger; the words stand over the table's middle
    across = left(shot.aim_direction)
    inwards = -float(across @ (shot.cue_ball_mm + shot.target_mm)[:2])
    up = math.copysign(1.0, inwards) * across if frame.shape == "wide" else None
    overhead = above_camera(places, shot, (0.5, 0.60), up=up)
    above = Pane("above", places.full_px, "eye", overhead, "plate", Track((1.0,), gone))
    looks = [
        eye_pane(places, shot, one, f"eye.{letter}", _between(span, fade, empty))
        for one, letter, span in zip(eyes, letters, spans[1:], strict=False)
    ]
    noted = _each(spans[-3], len(letters), 2.0, rate)
    told = _each(spans[-2], len(letters), 1.5, rate)
    cells = _cells(frame, len(letters), places.heading_px[1])
    small = [
        eye_pane(_cell_layout(rect), shot, one, f"told.{letter}", Track((0.0,), (Move(*_half(when), (1.0,)),)))
        for one, letter, rect, when in zip(eyes, letters, cells, noted, strict=True)
    ]
    panes = (above, *looks, *small)
    sheet = Sheet()
    ids = tuple(pane.id for pane in panes)
    eye_above = eye_of(above.projection(0))
    top = line_top(places)
    figure = eye_figure(brief, sheet, frame, shot, bare(shot), above, eye_above, top, panes=ids)
    put_balls(figure, subject.table, True)
    bring_cue(figure, (0, 2))
    _put_lines(figure, Words(brief.steps[0], spans[0]), rate)
    _put_told_lines(figure, letters, told)
    put_scrim(sheet, frame)
    put_titles(sheet, frame, brief.steps, spans, rate, places.title_room_px)
    put_heading(sheet, brief.labels, places.heading_px, places.heading_align)
    widths = viewing_distance(looks[0], frame)
    note = put_note(sheet, brief.labels, widths, places.note_px, places.heading_align, on=False)
    if note is not None:
        sheet.show(note, (spans[1][0] + fade, spans[1][0] + 2 * fade))
        sheet.hide(note, (spans[-3][0], spans[-3][0] + fade))
    for letter, span in zip(letters, spans[1:], strict=False):
        _put_letter(sheet, frame, letter, span, fade, fade + empty)
    _put_grid(sheet, frame, letters, cells, noted)
    _put_offsets(sheet, brief, frame, letters, cells, told)
    _put_last_word(sheet, brief, frame, (spans[-1][0] + fade, spans[-1][0] + 2 * fade))
    return sheet.board(brief, panes)


def _between(span: Span, fade: int, empty: int) -> Track:
    """There once the last picture has gone and the empty time is over; gone after its span."""
    first = span[0] + fade + empty
    return Track((0.0,), (Move(first, first + fade, (1.0,)), Move(span[1], span[1] + fade, (0.0,))))


def _each(span: Span, count: int, rest_s: float, rate: tuple[int, int]) -> list[Span]:
    """The looks' turns, one after the other: after the fade, and before the rest at the step's end."""
    first, end = span[0] + frames_of(TIMING.fade_s, rate), span[1] - frames_of(rest_s, rate)
    edges = [first + round(k * max(end - first, count) / count) for k in range(count + 1)]
    return list(pairwise(edges))


def _half(turn: Span) -> Span:
    """The first half of a turn; the second one begins where it ends."""
    return turn[0], max((turn[0] + turn[1]) // 2, turn[0] + 1)


def _put_lines(figure: Figure, words: Words, rate: tuple[int, int]) -> None:
    """The line is shown from above, as it is spoken of."""
    sheet, shot = figure.sheet, figure.shot
    C, O, G, T = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm, shot.target_mm))
    end = in_reach(figure, construction.Line("target_line", O, T)).end_mm
    parts = Part(("target_line",), 0.8, grows=True), Part(("aim_line",), 1.0, grows=True)
    target, aim = placed(words, parts, rate, 1.0, 1.5)
    for line, drawn in ((Line((O, end), "target_line", arrow=True), target), (Line((C, G), "aim_line"), aim)):
        panes = (figure.pane.id,)
        id = sheet.put(line.style, line, "line", line.style, panes, opacity=1.0, drawn=0.0)
        sheet.move(id, "drawn", drawn, 1.0)


def _put_told_lines(figure: Figure, letters: str, told: list[Span]) -> None:
    """The line again in each small picture, before its offset is told."""
    sheet, shot = figure.sheet, figure.shot
    line = Line((position(shot.cue_ball_mm), position(shot.ghost_ball_mm)), "aim_line")
    for letter, turn in zip(letters, told, strict=True):
        id = sheet.put(
            f"told.{letter}.line", line, "line", "aim_line", (f"told.{letter}",), opacity=1.0, drawn=0.0
        )
        sheet.move(id, "drawn", _half(turn), 1.0)


def _put_letter(sheet: Sheet, frame: Layout, letter: str, span: Span, fade: int, opens: int) -> None:
    """The look's letter, large enough to be noted, and how long it lasts; nothing else tells the looks apart."""
    sizes = plate_sizes(frame.scale)
    width = plate_width_px(shown_as(letter), frame.scale, False)
    x = frame.title_px[0]
    y = 0.40 * frame.height_px
    id = sheet.put(f"letter.{letter}", Plate(shown_as(letter), (x, y, width, sizes.height_px)), "label", "letter")
    sheet.show(id, (span[0] + fade, span[0] + 2 * fade))
    sheet.hide(id, (span[1], span[1] + fade))
    opened = span[0] + opens
    rect = (x, y + sizes.height_px + frame.scale.px(14), CLOCK_WIDE * frame.width_px, clock_high_px(frame.scale))
    put_clock(sheet, f"clock.{letter}", rect, (opened, opened + fade), span)


def _cells(frame: Layout, count: int, heading_px: float) -> list[Rect]:
    """The boxes of the grid: a row in a wide frame, else three beside each other, below the heading's baseline.

    Words stand above and below.
    """
    W, H = float(frame.width_px), float(frame.height_px)
    margin, gap = frame.title_px[0], frame.scale.px(18)
    columns = count if frame.shape == "wide" else min(count, 3)
    rows = -(-count // columns)
    top, bottom = {"wide": (0.25, 0.80), "square": (0.24, 0.87), "tall": (0.215, 0.755)}[frame.shape]
    if frame.shape != "wide":
        top = max(top, heading_px / H + 0.005)
    w, pitch = (W - 2 * margin - (columns - 1) * gap) / columns, (bottom - top) * H / rows
    above, below = 1.7 * _letter_px(frame), 2.7 * frame.scale.text_px("label") + gap / 2
    h = min(pitch - above - below, 1.3 * w)
    return [
        (
            round(margin + n % columns * (w + gap)),
            round(top * H + n // columns * pitch + above),
            round(w),
            round(h),
        )
        for n in range(count)
    ]


def _letter_px(frame: Layout) -> float:
    return frame.scale.text_px("heading")


def _cell_layout(rect: Rect) -> EyeLayout:
    x, y, w, h = rect
    return EyeLayout(x + w / 2, y + 0.34 * h, y + 0.76 * h, rect, rect, rect, (0, 0), "left", (0, 0), w)


def _put_grid(sheet: Sheet, frame: Layout, letters: str, cells: list[Rect], noted: list[Span]) -> None:
    """Boxes to note in, one a letter, each in its turn."""
    for letter, (x, y, w, h), turn in zip(letters, cells, noted, strict=True):
        at = (x + w / 2, y - 0.4 * _letter_px(frame))
        name = Text(shown_as(letter), at, "heading", "centre")
        for id in (
            sheet.put(f"grid.{letter}", Shade((x, y, w, h), "window_edge"), "break", "grid"),
            sheet.put(f"grid.{letter}.name", name, "text", "grid"),
        ):
            sheet.show(id, _half(turn))


def _put_offsets(
    sheet: Sheet, brief: Brief, frame: Layout, letters: str, cells: list[Rect], told: list[Span]
) -> None:
    """Under each box, where the eye was."""
    measures = brief.steps[-2].measures
    offsets = offsets_mm(brief.subject)
    told_of = [_offset_words(brief, offset, measures[2 * n]) for n, offset in enumerate(offsets)]
    width = cells[0][2]
    style = (
        "label" if all(frame.scale.text_width_px(t, "label") < width for two in told_of for t in two) else "small"
    )
    size = frame.scale.text_px(style)

    def lines(text: str) -> tuple[str, ...]:
        return even_lines(text, width, lambda part: frame.scale.text_width_px(part, style))

    for n, (letter, (x, y, w, h)) in enumerate(zip(letters, cells, strict=True)):
        for k, text in enumerate(line for part in told_of[n] for line in lines(part)):
            at = (x + w / 2, y + h + (1.25 + 1.25 * k) * size)
            id = sheet.put(f"told.{letter}.{k}", Text(text, at, style, "centre"), "text", "told")
            sheet.show(id, (_half(told[n])[1], max(told[n][1], _half(told[n])[1] + 1)))


def _offset_words(brief: Brief, offset_mm: float, offset: MeasureText) -> tuple[str, ...]:
    """What the body did, and by how much."""
    if not offset.number.strip("0.,"):
        return (brief.labels["on_the_line"],)
    is_near = abs(offset_mm) < A_LITTLE * StraightInSettings.of(brief.subject).step_mm
    left, right = ("a_little_left", "a_little_right") if is_near else ("farther_left", "farther_right")
    key = left if offset_mm > 0 else right
    return brief.labels.get(key, key), joined(offset)


def _put_last_word(sheet: Sheet, brief: Brief, frame: Layout, shown: Span) -> None:
    """What a screen can't show."""
    x, y, w, h = frame.title_safe
    bottom = {"wide": 0.872 * frame.height_px, "square": y + h, "tall": 0.80 * frame.height_px}[frame.shape]
    lines = even_lines(brief.labels["no_depth"], w, lambda text: frame.scale.text_width_px(text, "heading"))
    for k, line in enumerate(reversed(lines)):
        at = (x + w / 2, bottom - (0.25 + 1.25 * k) * frame.scale.text_px("heading"))
        id = sheet.put(f"no_depth.{k}", Text(line, at, "heading", "centre"), "text", "no_depth")
        sheet.show(id, shown)


KIND = Kind(
    "straight-in",
    "where your eye sees a straight shot straight, whatever the cuts, from both sides of the eye's own place",
    outline,
    board,
    axes=("distance", "eye"),
    settings=StraightInSettings,
    is_straight=True,
    is_secret=True,
)
