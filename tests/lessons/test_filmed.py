"""Filmed patch by patch, each kind of the course's clips shows what a single picture of the same frame shows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import lessons
from lessons.lesson.model import load
from lessons.planning.plan import plan
from scenes.board.brief import Brief, Output
from scenes.draw.picture import picture
from scenes.film.film import Patch
from scenes.film.perform import perform
from scenes.kinds import CLIP_KINDS

COURSE = Path(lessons.__file__).parent / "course"
SMALL = Output(320, 180, (8, 1))

EDGES = 24
"""Of 255: Cairo's antialiasing differs a little when clipped. Away from edges there is no difference at all."""

FEW = 0.004
"""Share of the pixels of a frame that may differ at all."""


def first_of_each_kind() -> dict[str, Brief]:
    """Small briefs, their steps cut to what they draw and a short rest."""
    found: dict[str, Brief] = {}
    for lesson in ("demo.yaml", "what-the-eye-sees.yaml"):
        for clip in plan(load(COURSE / lesson), draft=True).clips:
            if clip.kind not in found:
                drawn = CLIP_KINDS[clip.kind].outline(clip.brief.subject)
                steps = tuple(
                    replace(step, frames=SMALL.frames(one.draws_s) + 5)
                    for step, one in zip(clip.brief.steps, drawn, strict=True)
                )
                found[clip.kind] = replace(clip.brief, output=SMALL, steps=steps)
    return found


BRIEFS = first_of_each_kind()


class Frames:
    """Stands in for a film and keeps what it is shown, put together from patches."""

    def __init__(self) -> None:
        self.picture = np.zeros((SMALL.height_px, SMALL.width_px, 4), np.uint8)
        self.pictures: list[np.ndarray] = []

    @property
    def frames(self) -> int:
        return len(self.pictures)

    def show(self, patches: Iterable[Patch]) -> None:
        self.picture = self.picture.copy()
        for (left, top, right, bottom), rgba in patches:
            self.picture[top:bottom, left:right] = rgba
        self.hold(1)

    def hold(self, frames: int) -> None:
        self.pictures += [self.picture] * frames

    def close(self) -> None:
        pass


def test_most_kinds_are_looked_at() -> None:
    assert len(BRIEFS) >= 15


@pytest.mark.parametrize("kind", BRIEFS)
def test_a_clip_shows_the_pictures_of_its_board(kind: str) -> None:
    board = CLIP_KINDS[kind].board(BRIEFS[kind])
    frames = Frames()
    perform(board, lambda: frames)  # type: ignore[arg-type, return-value]
    step = max(board.frames // 8, 1)
    for k in range(board.frames - 1, -1, -step):
        difference = np.abs(frames.pictures[k][..., :3].astype(int) - picture(board, k)).max(axis=-1)
        assert difference.max() <= EDGES, k
        assert (difference > 0).mean() < FEW, k
