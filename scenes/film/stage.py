"""The stage: performs a board with Manim, frame by frame, and takes single pictures of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from manim import Animation, Camera, Group, Mobject, Scene, linear

from scenes.board import Board, Pane
from scenes.draw.display import Background, Display, Slot, cloth
from scenes.draw.kept import Kept
from scenes.draw.paths import Path
from scenes.film.brush import PX_PER_UNIT, BoardCamera, Ink


def frame_config(board: Board) -> dict[str, Any]:
    """Manim's configuration for a board: `with tempconfig(frame_config(board)): BoardScene(board).render()`."""
    return {
        "pixel_width": board.width_px,
        "pixel_height": board.height_px,
        "frame_width": board.width_px / PX_PER_UNIT,
        "frame_height": board.height_px / PX_PER_UNIT,
        "frame_rate": board.rate[0] / board.rate[1],
    }


class Drawing(Group):
    """One slot of the display list, brought up to date for a frame by `show`.

    `paths` is the same list as long as nothing about it has changed. With `is_inked` Manim's own cameras can paint
    it as well: each path is then a submobject.
    """

    def __init__(self, display: Display, slot: Slot, is_inked: bool) -> None:
        super().__init__()
        self.display, self.slot, self.is_inked = display, slot, is_inked
        self.paths: list[Path] = []
        self._kept = Kept(display, slot)

    def moves_within(self, first: int, end: int) -> bool:
        """False when it certainly looks the same on all frames [first, end)."""
        return self._kept.moves_within(first, end)

    def show(self, frame: int) -> None:
        """Look as on this frame; nothing is touched when that is what it already looks like."""
        kept = self._kept
        if not kept.turn(frame):
            return
        self.paths = [path.shown(kept.opacity) for path in kept.shapes(frame)] if kept.opacity > 0 else []
        if self.is_inked:
            self._take_ink()

    def _take_ink(self) -> None:
        size = self.display.board.width_px, self.display.board.height_px
        while len(self.submobjects) < len(self.paths):
            self.submobjects.append(Ink())
        for ink, path in zip(self.submobjects, self.paths, strict=False):
            ink.take(path, self.slot.clip_px, size)
        for ink in self.submobjects[len(self.paths) :]:
            ink.clear_points()


def play_s(frames: int, fps: float) -> float:
    """The run time for which Manim plays exactly so many frames.

    It takes the ticks below the run time; a quarter frame less than whole keeps its floats from adding one. For
    less than a frame it would warn, and one frame exactly is one tick.
    """
    return (frames - 0.25) / fps if frames > 1 else 1 / fps


def wait_s(frames: int, fps: float) -> float:
    """The duration for which Manim holds exactly so many frames.

    It cuts off parts of frames; a quarter more than whole keeps its floats from losing one.
    """
    return (frames + 0.25) / fps


class Clock(Animation):
    """Runs a board's frames [first, end): on every tick the drawings that change are brought up to date."""

    def __init__(self, scene: BoardScene, first: int, end: int) -> None:
        super().__init__(scene.clock_hand, run_time=play_s(end - first, scene.fps), rate_func=linear)
        self._stage, self._first, self._end = scene, first, end
        self._moving = [d for d in scene.drawings if d.moves_within(first, end)]

    def begin(self) -> None:
        """Manim would copy the mobject here; a clock needs none."""
        self._stage.show(self._first)

    def interpolate(self, alpha: float) -> None:
        """The frame at a fraction of the run time."""
        self._show(min(self._first + round(alpha * self.run_time * self._stage.fps), self._end - 1))

    def finish(self) -> None:
        """End on the last frame."""
        self._show(self._end - 1)

    def _show(self, frame: int) -> None:
        for drawing in self._moving:
            drawing.show(frame)

    def clean_up_from_scene(self, scene: Scene) -> None:
        """Nothing was added."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Frames [first_frame, end_frame) that move, or that hold one picture."""

    first_frame: int
    end_frame: int
    held: bool


def stretches(board: Board) -> Iterator[Stretch]:
    """The board's frames as moving and held stretches in turn. A hold begins with the picture that it holds."""
    starts = np.flatnonzero(board.changing)
    ends = np.append(starts[1:], board.frames)
    moving_from: int | None = None
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        if end - start == 1:
            moving_from = start if moving_from is None else moving_from
            continue
        if moving_from is not None:
            yield Stretch(moving_from, start, False)
        yield Stretch(start, end, True)
        moving_from = None
    if moving_from is not None:
        yield Stretch(moving_from, board.frames, False)


class BoardScene(Scene):
    """Performs a board. A subclass may name its board in the class body, for Manim's own command line.

    `is_clear` leaves out cloth and plate. A camera that paints drawings by their paths needs none `is_inked`.
    """

    board: Board

    def __init__(
        self,
        board: Board | None = None,
        renderer: Any = None,
        background: Background | None = None,
        is_clear: bool = False,
        is_inked: bool = True,
        **kwargs: Any,
    ) -> None:
        super().__init__(renderer=renderer, camera_class=BoardCamera, **kwargs)
        if board is not None:
            self.board = board
        self.fps = self.board.rate[0] / self.board.rate[1]
        self.is_clear = is_clear
        self.display = Display(self.board, no_background if is_clear else background)
        self.drawings = [Drawing(self.display, slot, is_inked) for slot in self.display.slots]
        self.clock_hand = Mobject()

    def show(self, frame: int) -> None:
        """Bring every drawing up to date for a frame."""
        for drawing in self.drawings:
            drawing.show(frame)

    def construct(self) -> None:
        """Play the moving stretches, wait through the held ones."""
        if self.is_clear:
            self.camera.set_background(np.zeros((self.board.height_px, self.board.width_px, 4), np.uint8))
            self.camera.reset()
        else:
            set_cloth(self.camera, self.board)
        self.add(self.clock_hand, *self.drawings)
        for stretch in stretches(self.board):
            frames = stretch.end_frame - stretch.first_frame
            if stretch.held:
                self.show(stretch.first_frame)
                self.wait(wait_s(frames, self.fps))
            else:
                self.play(Clock(self, stretch.first_frame, stretch.end_frame))

    def get_moving_and_static_mobjects(
        self, animations: Sequence[Animation]
    ) -> tuple[list[Mobject], list[Mobject]]:
        """From the first drawing that changes in this stretch upwards everything is painted on each frame."""
        clock = next((a for a in animations if isinstance(a, Clock)), None)
        if clock is None:
            return [], list(self.mobjects)
        for i, drawing in enumerate(self.drawings):
            if drawing.moves_within(clock._first, clock._end):
                return list(self.drawings[i:]), [self.clock_hand, *self.drawings[:i]]
        return [], list(self.mobjects)


def no_background(pane: Pane, board: Board, frame: int) -> None:
    """Nothing behind a pane: what is drawn can then lie over other footage."""


def set_cloth(camera: Camera, board: Board) -> None:
    """Lay the cloth under a camera's picture."""
    camera.set_background(cloth(board.width_px, board.height_px, board.look))
    camera.reset()
