"""Pointing: what a clause names and is already drawn gets a calm, short emphasis while it is spoken of.

It is one move for all kinds: a clause's names are ids or roles of elements, and whatever bears one and rests is
retraced (a line, a bar, a line of text, a picture's lower edge) or ringed once (a ball, a mark), as long as its
words last. What is only being drawn needs no pointing. Nothing that stands in the picture is moved.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from scenes.board import (
    Area,
    Ball,
    Bar,
    Board,
    Cue,
    Element,
    Glow,
    Halo,
    Line,
    Mark,
    Move,
    Photo,
    Plate,
    Ring,
    Shade,
    Span,
    Text,
    Track,
    constant,
)
from scenes.board.brief import Brief
from scenes.board.clauses import speaks_of
from scenes.board.timing import frames_of
from scenes.look.scale import Scale

IN_S, RUN_S, OUT_S = 0.2, 0.9, 0.5
"""Seconds in which it comes, runs along its line, and goes."""
RUN_MOST_S, READ_MOST_S = 1.5, 3.0
"""It runs longer where its words do, at most so long; under words that are read, so long."""
GLOW_S = RUN_S + OUT_S
"""It lasts so long, from its coming until it is gone."""
STILL_S = 0.5
"""A clip ends with a picture at rest, to be cut to."""
LEAST_S = 1.1
"""In less time before its step ends nothing is pointed at."""
TURN_S = 0.35
"""Between two things of one name, when they are pointed at one after the other."""
LINE_PX, BAR_PX, TEXT_PX, RING_PX = 9.0, 21.0, 3.0, 9.0
"""How far it reaches beside a line, a bar, under a text, and around a mark, for a 1080 px frame."""
PHOTO_INSET_PX = 12.0
"""So far within a picture runs what points at it."""
TIP_MM = 9.0
"""A cue is ringed about its tip."""
SWELL = 1.16
MOST_AT_ONCE = 12
CHARTED = ("gain", "loss", "mouth")
"""Areas of a chart or a card, retraced along their ground."""


def pointed(board: Board, brief: Brief, more: Sequence[tuple[str, Span]] = ()) -> Board:
    """The board with what its narration points at, and `more` of its elements, each in its time."""
    glows: dict[str, list[Element]] = {}
    count = 0
    last = brief.frames - frames_of(STILL_S, board.rate)
    for step, (first, end) in zip(brief.steps, brief.spans, strict=True):
        for start, until, names in speaks_of(step, brief.labels):
            spoken = _frames((first, end), start, until)
            for name, turn in zip(names, _turns(spoken, len(names)), strict=True):
                for id, glow in _pointings(board, name, spoken, turn, min(end, last)):
                    count += 1
                    glows.setdefault(id, []).append(replace(glow, id=f"glow.{count}"))
    for name, turn in more:
        called = [e for e in board.elements if e.id == name]
        for id, glow in emphasised(board, called, turn, turn[1] + frames_of(OUT_S, board.rate)):
            count += 1
            glows.setdefault(id, []).append(replace(glow, id=f"glow.{count}"))
    return with_glows(board, glows)


def _frames(span: Span, start: float, end: float) -> Span:
    """Parts of a step as frames."""
    first, long = span[0], span[1] - span[0]
    return first + round(start * long), first + round(min(end, 1.0) * long)


def with_glows(board: Board, glows: Mapping[str, Sequence[Element]]) -> Board:
    if not glows:
        return board
    out: list[Element] = []
    for element in board.elements:
        # a band lies under its line, a ring over its mark
        mine = glows.get(element.id, ())
        under = [g for g in mine if len(g.shape.points_mm) > 1] if mine else []  # type: ignore[union-attr]
        out += [*under, element, *(g for g in mine if g not in under)]
    return replace(board, elements=tuple(out))


def _turns(spoken: Span, count: int) -> list[Span]:
    """Several names of one clause have their turn one after the other."""
    edges = [spoken[0] + round(k * (spoken[1] - spoken[0]) / count) for k in range(count + 1)]
    return list(pairwise(edges))


def _pointings(board: Board, name: str, spoken: Span, turn: Span, end: int) -> Iterator[tuple[str, Element]]:
    """What of the name rests in the picture while its clause is spoken, with its emphasis; words that come with
    their clause are read along when they are there."""
    called = [e for e in board.elements if name in (e.id, e.role)]
    came = {e.id: move.end_frame for e in called for move in _comings(e, spoken)}
    if came:
        called = [e for e in called if e.id in came]
        turn = max(came.values()), turn[1]
        is_read = all(isinstance(e.shape, Text) for e in called)
        if not is_read or turn[1] - turn[0] < frames_of(LEAST_S, board.rate):
            return
    yield from emphasised(board, called, turn, end)


def emphasised(board: Board, called: Sequence[Element], turn: Span, end: int) -> Iterator[tuple[str, Element]]:
    """What of these rests in the picture, with its emphasis while it has its turn, gone by the end."""
    at = turn[0]
    rest = [e for e in called if _rests(board, e, at)]
    places = [place for e in rest if (place := _glow(e, board)) is not None]
    if len({glow.points_mm for _, glow in places}) < len(places):  # the same place in several windows
        places = list({glow.points_mm: (e, glow) for e, glow in places}.values())
    one = frames_of(TURN_S, board.rate)
    for k, (e, glow) in enumerate(places[:MOST_AT_ONCE]):
        begins = at + (k * one if len(glow.points_mm) == 1 or isinstance(e.shape, Text) else 0)
        if end - begins < frames_of(LEAST_S, board.rate):
            continue
        if e.panes and not any(_shows(board, pane, begins) for pane in e.panes):
            continue
        yield e.id, _element(e, glow, begins, turn[1], end, board.rate)


def _comings(e: Element, spoken: Span) -> Iterator[Move]:
    """The moves by which an element is being drawn while the clause is spoken."""
    for track in (e.drawn, e.opacity):
        yield from (m for m in track.moves if spoken[0] - 1 <= m.first_frame < spoken[1] and m.to[0] > 0)


def _rests(board: Board, e: Element, frame: int) -> bool:
    frame = min(frame, board.frames - 1)
    return e.is_visible(frame) and (not e.panes or any(_shows(board, pane, frame) for pane in e.panes))


def _shows(board: Board, id: str, frame: int) -> bool:
    pane = next((p for p in board.panes if p.id == id), None)
    return pane is not None and pane.view != "inset" and pane.opacity.at(frame)[0] > 0.5


def _glow(e: Element, board: Board) -> tuple[Element, Glow] | None:
    """The emphasis of an element; None for a shape that has none."""
    shape = e.shape
    match shape:
        case Line():
            return e, Glow(shape.points_mm, LINE_PX)
        case Bar():
            return e, Glow(shape.points_mm, BAR_PX)
        case Area() if shape.style in CHARTED:
            ends = min(shape.points_mm), max(shape.points_mm, key=lambda at: (at[0], -at[1]))
            return e, Glow(ends, LINE_PX)
        case Ball() | Halo():
            return e, Glow((shape.centre_mm,), RING_PX, shape.radius_mm)
        case Ring():
            return e, Glow((shape.centre_mm,), RING_PX, shape.radius_mm, is_flat=True)
        case Cue():
            return e, Glow((shape.tip_mm,), RING_PX, TIP_MM)
        case Mark():
            return e, Glow((shape.at_mm,), RING_PX + board.look.marks[shape.kind].reach_px)
        case Text():
            x, y = shape.at_px
            scale = Scale(board.width_px, board.height_px, board.look)
            wide = scale.text_width_px(shape.text, shape.style)
            x -= {"left": 0.0, "centre": 0.5, "right": 1.0}[shape.align] * wide
            y += 0.28 * scale.text_px(shape.style)
            return e, Glow(((x, y, 0.0), (x + wide, y, 0.0)), TEXT_PX)
        case Shade():
            x, y, w, h = shape.rect_px
            ends = ((x, y + h / 2, 0.0), (x + w, y + h / 2, 0.0))
            return e, Glow(ends if w >= h else ((x + w / 2, y, 0.0), (x + w / 2, y + h, 0.0)), TEXT_PX)
        case Plate():
            x, y, w, h = shape.rect_px
            return e, Glow(((x, y + h, 0.0), (x + w, y + h, 0.0)), TEXT_PX)
        case Photo():
            # along its lower edge, over it, since it may fill the frame
            x, y, w, h = shape.rect_px
            inset = Scale(board.width_px, board.height_px, board.look).px(PHOTO_INSET_PX)
            ends = ((x + inset, y + h - inset, 0.0), (x + w - inset, y + h - inset, 0.0))
            return e, Glow(ends, TEXT_PX)
    return None


def _element(e: Element, glow: Glow, first: int, until: int, end: int, rate: tuple[int, int]) -> Element:
    most_s = READ_MOST_S if isinstance(e.shape, Text) else RUN_MOST_S
    come, run, most, go = (frames_of(s, rate) for s in (IN_S, RUN_S, most_s, OUT_S))
    run = min(max(run, until - first - go), most)
    # gone with its step, so that nothing is pointed at that goes
    run = min(run, max(end - first - go, come + 1))
    gone = Move(first + run, first + run + go, (0.0,))
    opacity = Track((0.0,), (Move(first, first + come, (1.0,)), gone))
    along = Track((0.0,), (Move(first, first + run, (1.0,)),)) if len(glow.points_mm) > 1 else constant(1.0)
    size = constant(1.0)
    if len(glow.points_mm) == 1:
        half = (come + run) // 2
        size = Track((1.0,), (Move(first, first + half, (SWELL,)), Move(first + half, gone.end_frame, (1.0,))))
    return replace(
        e,
        id="",
        role="glow",
        shape=glow,
        layer="mark" if isinstance(e.shape, Ball | Halo | Photo) else e.layer,
        opacity=opacity,
        drawn=along,
        strength=constant(1.0),
        fresh=constant(0.0),
        size=size,
        names=None,
    )
