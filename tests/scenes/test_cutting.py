"""Boards cut and paced: every kept frame shows what it showed, every paced one what some moment of it showed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenes.board import Board, Element, Mark, Move, StepSpan, Track
from scenes.board.cutting import paced, without


@st.composite
def tracks(draw: st.DrawFn) -> Track:
    """Moves that do not overlap, some with a value for each frame, over sixty frames."""
    edges = sorted(draw(st.lists(st.integers(0, 60), min_size=2, max_size=8, unique=True)))
    moves = []
    for first, end in zip(edges[::2], edges[1::2], strict=False):
        to = (draw(st.floats(-5, 5)),)
        through = tuple((draw(st.floats(-5, 5)),) for _ in range(end - first)) if draw(st.booleans()) else ()
        moves.append(Move(first, end, through[-1] if through else to, "linear", through))
    return Track((draw(st.floats(-5, 5)),), tuple(moves))


def board(track: Track) -> Board:
    element = Element("mark", "mark", Mark((0.0, 0.0, 0.0), "aim"), drawn=track)
    steps = tuple(StepSpan(name, 20 * k, 20 * k + 20) for k, name in enumerate("abc"))
    return Board(64, 36, (30, 1), 60, (), (element,), steps)


@given(track=tracks(), gone=st.sets(st.sampled_from("abc"), min_size=1, max_size=2))
def test_what_is_left_shows_what_it_showed(track: Track, gone: set[str]) -> None:
    whole = board(track)
    cut = without(whole, frozenset(gone))
    kept = [f for step in whole.steps if step.name not in gone for f in range(step.first_frame, step.end_frame)]
    assert cut.frames == len(kept)
    assert [step.name for step in cut.steps] == [name for name in "abc" if name not in gone]
    assert [(s.first_frame, s.end_frame) for s in cut.steps] == [
        (20 * k, 20 * k + 20) for k in range(3 - len(gone))
    ]
    assert all(move.first_frame < cut.frames for move in cut.elements[0].drawn.moves)
    shown = [cut.elements[0].drawn.at(f)[0] for f in range(cut.frames)]
    assert shown == pytest.approx([track.at(f)[0] for f in kept], abs=1e-9)


@given(track=tracks(), frames=st.integers(1, 90))
def test_a_paced_step_ends_as_it_ended_and_keeps_its_course(track: Track, frames: int) -> None:
    whole = board(track)
    other = paced(whole, {"b": frames})
    assert [(s.first_frame, s.end_frame) for s in other.steps] == [
        (0, 20), (20, 20 + frames), (20 + frames, 40 + frames)
    ]  # fmt: skip
    new = [other.elements[0].drawn.at(f)[0] for f in range(other.frames)]
    old = [track.at(f)[0] for f in range(60)]
    assert new[:20] == pytest.approx(old[:20], abs=1e-9)
    assert new[20 + frames :] == pytest.approx(old[40:], abs=1e-9)
    assert new[19 + frames] == pytest.approx(old[39], abs=1e-9)
    # between, the k-th of n frames shows what stood after k + 1 parts of n, whole frames mixed linearly (numpy)
    at = 20 + (np.arange(frames) + 1) * 20 / frames - 1
    assert new[20 : 20 + frames] == pytest.approx(np.interp(at, np.arange(60), old), abs=1e-9)


def test_the_same_pace_changes_nothing() -> None:
    whole = board(Track((0.0,), (Move(5, 30, (1.0,)),)))
    assert paced(whole, {"b": 20}) == whole
    assert without(replace(whole, steps=()), frozenset("b")) == replace(whole, steps=())
