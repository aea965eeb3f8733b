"""What is known of a slot's picture from frame to frame: when it certainly rests, and its shapes while it does.

The stage that renders and the orders that are drawn elsewhere both keep their pictures up to date by this.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np

from scenes.board import Track
from scenes.draw.display import Display, Slot
from scenes.draw.paths import Path


class Kept:
    """A slot of a display list, turned to one frame after another, in any order."""

    def __init__(self, display: Display, slot: Slot) -> None:
        self.display, self.slot = display, slot
        moves = display.board.frames > 1  # nothing does on a board of one frame, as the hand's are
        self._tracks = display.shape_tracks(slot) if moves else ()
        self._fades = display.fades(slot) if moves else ()
        self._rests = rests(self._tracks + self._fades, display.board.frames)
        self._rest = -1
        self._shape: tuple[Any, ...] | None = None
        self._shapes: list[Path] = []
        self.state: tuple[Any, ...] | None = None

    def moves_within(self, first: int, end: int) -> bool:
        """False when it certainly looks the same on all frames [first, end)."""
        return self._rests[first] != self._rests[end - 1]

    def turn(self, frame: int) -> bool:
        """Turn to a frame; False when that looks like the one before."""
        if self._rests[frame] == self._rest:
            return False
        self._rest = self._rests[frame]
        state = tuple(track.at(frame) for track in self._tracks), self.display.opacity(self.slot, frame)
        if state == self.state:
            return False
        self.state = state
        return True

    @property
    def opacity(self) -> float:
        """How much of the shapes is shown, 0 to 1."""
        assert self.state is not None
        return float(self.state[1])

    @property
    def shape(self) -> tuple[Any, ...]:
        """What the shapes depend on: two frames on which it is the same have the same shapes."""
        assert self.state is not None
        return tuple(self.state[0])

    def shapes(self, frame: int) -> list[Path]:
        """The shapes at full opacity on the frame that it is turned to: the same list while they look the same."""
        if self.shape != self._shape:
            self._shape, self._shapes = self.shape, self.display.shapes(self.slot, frame)
        return self._shapes


def rests(tracks: Sequence[Track], frames: int) -> list[int]:
    """A number for each frame, the same on all frames from one move of any track to the next."""
    spans = {(max(move.first_frame, 0), max(move.end_frame, 0)) for track in tracks for move in track.moves}
    return _rests(frozenset(spans), frames)


@lru_cache(maxsize=256)  # much moves at the same times
def _rests(spans: frozenset[tuple[int, int]], frames: int) -> list[int]:
    busy = np.zeros(frames, bool)
    for first, end in spans:
        busy[first:end] = True
    return np.cumsum(busy).tolist()
