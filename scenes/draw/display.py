"""The display list of a board: which element stands in which pane, in which order, and its paths on a frame.

No Manim here: the stage hands these paths to Manim, and a test can look at them without drawing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from aimgeo.camera import Outline, ball_outline, eye_of
from aimgeo.vectors import Array
from scenes.board import Ball, Board, Clip, Cue, EyeCamera, FilmedCamera, Line, Pane, PlanCamera, Ring, Track
from scenes.board import Element as BoardElement
from scenes.board.painted import paint_axes
from scenes.draw import draw
from scenes.draw.paths import Path, Picture, bent, rgba, rounded_rect
from scenes.draw.view import Body, View, behind_noses, hidden_spans
from scenes.look.look import Look
from scenes.look.scale import Scale

Background = Callable[[Pane, Board, int], np.ndarray | None]
"""Gives a pane's picture on a frame: RGBA, uint8, opaque, of the pane's size in pixels; None for none."""


@dataclass(frozen=True, slots=True)
class Slot:
    """One entry of the display list: an element in a pane, an element on the frame, or a pane's background."""

    pane: Pane | None
    element: BoardElement | None

    @property
    def clip_px(self) -> Clip | None:
        """What is cut off, or None on the frame."""
        return None if self.pane is None else self.pane.clip_px


def display_list(board: Board) -> tuple[Slot, ...]:
    """All slots, the lowest first: pane after pane with its background, then what stands on the frame."""
    by_layer = sorted(board.elements, key=lambda e: board.look.layers.index(e.layer))
    slots: list[Slot] = []
    for pane in board.panes:
        if pane.background not in (None, "footage") and not _is_frame_cloth(pane, board):
            slots.append(Slot(pane, None))
        slots += [Slot(pane, e) for e in by_layer if pane.id in e.panes]
    return (*slots, *(Slot(None, e) for e in by_layer if not e.panes))


def _is_frame_cloth(pane: Pane, board: Board) -> bool:
    """True for a pane that covers the frame with cloth: the frame's own background already shows it."""
    return pane.background == "cloth" and pane.rect_px == (0, 0, board.width_px, board.height_px)


def _least_ball_mm(pane: Pane, board: Board) -> float:
    """The radius of the smallest ball of a plan, on which marks must not hide it; 0 for an eye's picture."""
    if not isinstance(pane.camera, PlanCamera) or pane.view == "inset":
        return 0.0
    balls = (e.shape.radius_mm for e in board.elements if isinstance(e.shape, Ball) and pane.id in e.panes)
    return min(balls, default=0.0)


class Display:
    """A board ready to be drawn: its slots, and each slot's paths on any frame."""

    def __init__(self, board: Board, background: Background | None = None) -> None:
        self.board = board
        self.scale = Scale(board.width_px, board.height_px, board.look)
        self.slots = display_list(board)
        self._background = background or pane_background
        self._elements = {e.id: e for e in board.elements}
        self._ball_mm = {pane.id: _least_ball_mm(pane, board) for pane in board.panes}
        self._real: dict[str, tuple[Track, ...]] = {}
        self._sights: tuple[tuple[str, int], _Sight] | None = None

    def shape_tracks(self, slot: Slot) -> tuple[Track, ...]:
        """Everything that can change the slot's `shapes`; what never moves is left out."""
        pane, element = slot.pane, slot.element
        tracks = [] if pane is None else [pane.camera.track, *self._rendered_tracks(pane)]
        if element is not None:
            crossed = [self._elements[name] for name in getattr(element.shape, "ink_in", ())]
            tracks += [element.drawn, element.strength, element.fresh, element.offset_mm, element.size]
            if _is_painted(element):
                tracks.append(element.turn)
            tracks += [t for e in crossed for t in (e.offset_mm, e.size, e.opacity)]
        return tuple(track for track in tracks if track.moves)

    def fades(self, slot: Slot) -> tuple[Track, ...]:
        """Everything that can change the slot's `opacity`."""
        parts = [part for part in (slot.pane, slot.element) if part is not None]
        return tuple(part.opacity for part in parts if part.opacity.moves)

    def opacity(self, slot: Slot, frame: int) -> float:
        """How much of the slot's shapes is shown on a frame, 0 to 1."""
        shown = 1.0 if slot.pane is None else slot.pane.opacity.at(frame)[0]
        return shown if slot.element is None else shown * slot.element.opacity.at(frame)[0]

    def _rendered_tracks(self, pane: Pane) -> tuple[Track, ...]:
        """How balls and cue move where the pane's picture shows them, and they hide what is behind them."""
        if not pane.has_real_balls:
            return ()
        if pane.id not in self._real:
            there = (e for e in self.board.elements if isinstance(e.shape, Ball | Cue) and pane.id in e.panes)
            self._real[pane.id] = tuple(t for e in there for t in (e.offset_mm, e.opacity, e.size, e.turn))
        return self._real[pane.id]

    def _sight(self, pane: Pane, frame: int) -> _Sight:
        """What a pane's elements share on a frame; asked for by one after the other."""
        if self._sights is None or self._sights[0] != (pane.id, frame):
            self._sights = (pane.id, frame), _Sight(pane, frame, self._elements)
        return self._sights[1]

    def paths(self, slot: Slot, frame: int) -> list[Path]:
        """The paths of a slot on a frame, the lowest first; none when it is not visible."""
        opacity = self.opacity(slot, frame)
        return [path.shown(opacity) for path in self.shapes(slot, frame)] if opacity > 0 else []

    def shapes(self, slot: Slot, frame: int) -> list[Path]:
        """The paths of a slot on a frame at their full opacity."""
        if slot.element is None:
            assert slot.pane is not None
            return self._backdrop(slot.pane, frame)
        if slot.element.drawn.at(frame)[0] <= 0:
            return []
        shape = slot.element.shape
        if isinstance(shape, Ball | Ring):
            shape = replace(shape, radius_mm=shape.radius_mm * slot.element.size.at(frame)[0])
        paths = draw(shape, self.view(slot, frame))
        if isinstance(shape, Ball) and slot.pane is not None and slot.pane.background == "plate":
            # the rim goes as the ball sinks into a pocket, where the table hides it
            above = (shape.centre_mm[2] + slot.element.offset_mm.at(frame)[2]) / shape.radius_mm
            paths = [path.shown(min(max(above, 0.0), 1.0)) for path in paths]
        if slot.pane is not None and isinstance(slot.pane.camera, FilmedCamera):
            return bent(paths, slot.pane.camera.bent)
        return paths

    def view(self, slot: Slot, frame: int) -> View:
        """What the drawing functions are told."""
        element, pane = slot.element, slot.pane
        assert element is not None
        drawn, strength = element.drawn.at(frame)[0], element.strength.at(frame)[0]
        fresh, size = element.fresh.at(frame)[0], element.size.at(frame)[0]
        if pane is None:
            return View(FLAT, "frame", self.scale, False, _none, drawn, strength, fresh, size=size)
        sight = self._sight(pane, frame)
        return View(
            shifted(sight.P, element.offset_mm.at(frame)),
            pane.view,
            self.scale,
            pane.has_real_balls,
            sight.outline,
            drawn,
            strength,
            fresh,
            tuple(b for b in sight.bodies if b.name != element.id),
            pane.pen,
            size,
            self._ball_mm[pane.id],
            paint_axes(element, pane, frame) if _is_painted(element) else None,
            sight.hidden(element),
        )

    def _backdrop(self, pane: Pane, frame: int) -> list[Path]:
        pixels = self._background(pane, self.board, frame)
        if pixels is None:
            return []
        x, y = round(pane.rect_px[0]), round(pane.rect_px[1])
        seen = tuple(track.at(frame) for track in self.shape_tracks(Slot(pane, None)))
        picture = Picture(pixels, (x, y), (pane.id, *seen), is_opaque=True)
        return [Path(rounded_rect(*pane.rect_px), fill=rgba("#000000"), picture=picture)]


class _Sight:
    """A pane on a frame: its projection, the balls that hide what is behind them, and what they hide of lines."""

    def __init__(self, pane: Pane, frame: int, elements: Mapping[str, BoardElement]) -> None:
        self.P = pane.projection(frame)
        self._pane, self._frame, self._elements = pane, frame, elements
        self._outlines: dict[str, Outline | None] = {}

    @cached_property
    def bodies(self) -> tuple[Body, ...]:
        """The balls of a picture that shows real ones."""
        if not self._pane.has_real_balls:
            return ()
        return tuple(
            Body(e.id, np.array(e.shape.centre_mm) + e.offset_mm.at(self._frame), self._radius_mm(e))
            for e in self._elements.values()
            if isinstance(e.shape, Ball)
            and e.shape.look != "ghost"
            and self._pane.id in e.panes
            and e.is_visible(self._frame)
        )

    def hidden(self, element: BoardElement) -> tuple[tuple[float, float], ...]:
        """The parts of a line that balls and cushions hide."""
        if not self._pane.has_real_balls or not isinstance(element.shape, Line):
            return ()
        spans = tuple(self._behind_balls.get(element.id, ()))
        if not self._pane.noses_mm:
            return spans
        eye = self._eye_mm - element.offset_mm.at(self._frame)
        a, b = (np.array(at) for at in element.shape.points_mm)
        return (*spans, *behind_noses(eye, a, b, self._pane.noses_mm))

    @cached_property
    def _eye_mm(self) -> Array:
        return eye_of(self.P)

    @cached_property
    def _behind_balls(self) -> dict[str, list[tuple[float, float]]]:
        """What balls hide of every line, worked out at once."""
        lines = [
            (e.id, e.shape.points_mm, e.offset_mm.at(self._frame))
            for e in self._elements.values()
            if isinstance(e.shape, Line) and self._pane.id in e.panes and e.drawn.at(self._frame)[0] > 0
        ]
        if not lines:
            return {}
        ids, ends, offsets = zip(*lines, strict=True)
        a, b = np.array(ends, float).transpose(1, 0, 2)
        return dict(zip(ids, hidden_spans(self._eye_mm - np.array(offsets), a, b, self.bodies), strict=True))

    def outline(self, name: str) -> Outline | None:
        """The outline of a ball that is seen."""
        if name not in self._outlines:
            self._outlines[name] = self._outlined(self._elements[name])
        return self._outlines[name]

    def _outlined(self, element: BoardElement) -> Outline | None:
        if not isinstance(element.shape, Ball) or not element.is_visible(self._frame):
            return None
        P = shifted(self.P, element.offset_mm.at(self._frame))
        outline = ball_outline(P, element.shape.centre_mm, self._radius_mm(element))
        return outline if outline.is_seen else None

    def _radius_mm(self, element: BoardElement) -> float:
        assert isinstance(element.shape, Ball)
        return element.shape.radius_mm * element.size.at(self._frame)[0]


FLAT = np.array([[1.0, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]])


def _none(name: str) -> None:
    """There is no ball on the frame itself."""


def _is_painted(element: BoardElement) -> bool:
    """True for a ball on which something is painted."""
    return isinstance(element.shape, Ball) and (element.shape.number > 0 or element.shape.marks)


def shifted(P: Array, offset_mm: tuple[float, ...]) -> Array:
    """The projection (3, 4) of things that have moved by an offset."""
    if not any(offset_mm):
        return P
    out = P.copy()
    out[:, 3] += P[:, :3] @ np.array(offset_mm)
    return out


def pane_background(pane: Pane, board: Board, frame: int) -> np.ndarray | None:
    """The picture behind a pane: cloth, or the rendered table of the player's eye."""
    width, height = round(pane.rect_px[2]), round(pane.rect_px[3])
    if pane.background == "cloth":
        return cloth(width, height, board.look).copy()  # Cairo wants pixels that it could write to
    if pane.background == "plate":
        assert isinstance(pane.camera, EyeCamera)
        from scenes.plate import pane_picture

        return pane_picture(pane, board, frame)
    raise ValueError(f"no pane background {pane.background!r}; there are cloth and plate")


def cloth(width_px: int, height_px: int, look: Look) -> np.ndarray:
    """The cloth (height, width, 4), RGBA, read-only: flat, for a gradient so gentle shows rings once encoded."""
    return _cloth(width_px, height_px, look.cloth)


@lru_cache(maxsize=8)
def _cloth(width_px: int, height_px: int, colour: str) -> np.ndarray:
    out = np.empty((height_px, width_px, 4), np.uint8)
    out[:] = [round(255 * part) for part in rgba(colour)]
    out.setflags(write=False)
    return out
