"""Every kind of clip, at the least, the usual and the greatest of its settings: planned, laid out and painted."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import product

import numpy as np
import pytest

from lessons.lesson.model import loads
from lessons.planning.plan import plan
from scenes.board import Plate, Text
from scenes.board.settings import Settings, settings_of
from scenes.draw.picture import picture
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS
from scenes.kinds.kind import Kind
from tests.lessons.test_pictures import KEYS

HEAD = """\
title: Every kind at its bounds
cuts: [75, 20]
sides: left
distances: {near: 300 mm, far: 900 mm}
eyes:
  behind: {back: 600 mm, height: 300 mm}
  beside: {back: 600 mm, offset: 60 mm, height: 300 mm}
output: {size: 640x360, rate: 24}
clips:
  - kind: """


def at_their_bounds(kind: Kind) -> Iterator[str]:
    """The settings as a lesson writes them: every choice, with all numbers least, usual or greatest at once."""
    told = settings_of(kind.settings)
    chosen = [one for one in told if one.least is None]
    numbers = [one for one in told if one.least is not None]
    for choice in product(*(one.corners() for one in chosen)):
        written = {one.key: one.written(value) for one, value in zip(chosen, choice, strict=True)}
        for level in range(3 if numbers else 1):
            used = [one for one in numbers if one.only is None or written[one.only[0]] == one.only[1]]
            rows = written | {one.key: one.written(one.corners()[level]) for one in used}
            yield "".join(f"\n    {key}: {value}" for key, value in rows.items())


@pytest.mark.parametrize(
    ("kind", "settings"),
    [(name, rows) for name, kind in CLIP_KINDS.items() if not kind.is_film for rows in at_their_bounds(kind)],
)
def test_a_kind_can_be_read_and_painted_at_the_bounds_of_its_settings(kind: str, settings: str) -> None:
    clip = plan(loads(f"{HEAD}{kind}{KEYS.get(kind, '')}{settings}\n")).clips[0]
    board = CLIP_KINDS[kind].board(clip.brief)
    words = [e.shape.text for e in board.elements if isinstance(e.shape, Text | Plate)]
    assert not [text for text in words if re.search(r"\bnan\b", text, re.IGNORECASE)]
    for track in (t for e in board.elements for t in e.tracks()):
        assert np.isfinite([*track.start, *(value for move in track.moves for value in move.to)]).all()
    assert faults(board) == []
    for frame in (0, board.frames // 2, board.frames - 1):
        assert picture(board, frame).any()


@pytest.mark.parametrize("kind", CLIP_KINDS)
def test_a_kinds_settings_are_held_to_their_bounds_in_code_too(kind: str) -> None:
    own = CLIP_KINDS[kind].settings
    for one in settings_of(own):
        beyond: object = 2 * one.greatest + 1 if one.greatest is not None else float("nan")
        if one.choices and not one.takes_methods:
            beyond = "other"
        with pytest.raises(ValueError, match=f"{one.key} is "):
            own(**{one.name: beyond})


def test_another_kinds_settings_are_refused() -> None:
    subject = plan(loads(f"{HEAD}throw\n")).clips[0].brief.subject
    with pytest.raises(TypeError, match="throw clip is given ThrowSettings"):
        CLIP_KINDS["quiz"].settings.of(subject)
    assert Settings.of(subject) == subject.settings
