"""The measures of teaching find faults that are planted in a board."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchmarks import teaching
from benchmarks.runs import planned
from lessons.planning.planned import PlannedClip
from scenes.board import ONE, Board, Leader, Mark, Plate, constant
from scenes.kinds import CLIP_KINDS

DEMO = Path(__file__).parents[1] / "lessons" / "course" / "demo.yaml"
NAME = "doubled-offset_build-up_overlap-1-2_left_near"


@pytest.fixture(scope="module")
def clip() -> PlannedClip:
    """A build-up of the demo."""
    return next(clip for clip in planned(DEMO, draft=True).clips if clip.name == NAME)


@pytest.fixture(scope="module")
def board(clip: PlannedClip) -> Board:
    """Its board."""
    return CLIP_KINDS[clip.kind].board(clip.brief)


def test_a_label_moved_across_the_ball_stands_on_the_wrong_side(board: Board) -> None:
    marks = {e.role for e in board.elements if isinstance(e.shape, Mark)}
    moved = tuple(
        replace(e, shape=replace(e.shape, rect_px=(-500.0, *e.shape.rect_px[1:])))
        if isinstance(e.shape, Plate) and e.names in marks
        else e
        for e in board.elements
    )
    other = tuple(
        replace(e, shape=replace(e.shape, rect_px=(5000.0, *e.shape.rect_px[1:])))
        if isinstance(e.shape, Plate) and e.names in marks
        else e
        for e in board.elements
    )
    left, right = (list(teaching.on_wrong_side(replace(board, elements=elements))) for elements in (moved, other))
    assert left
    assert left == [not wrong for wrong in right]


def test_a_number_far_from_its_bar_needs_a_leader(board: Board) -> None:
    far = tuple(
        replace(e, shape=replace(e.shape, rect_px=(0.0, 0.0, 9.0, 9.0))) if isinstance(e.shape, Plate) else e
        for e in board.elements
    )
    bare = tuple(e for e in far if not isinstance(e.shape, Leader))
    assert any(teaching.without_leader(replace(board, elements=bare)))
    assert sum(teaching.without_leader(replace(board, elements=far))) < sum(
        teaching.without_leader(replace(board, elements=bare))
    )


def test_a_shot_that_stops_at_the_hit_is_not_played(clip: PlannedClip, board: Board) -> None:
    stopped = tuple(
        replace(e, offset_mm=replace(e.offset_mm, moves=())) if e.role == "object_ball" else e
        for e in board.elements
    )
    assert teaching.is_played(board, clip.brief)
    assert not teaching.is_played(replace(board, elements=stopped), clip.brief)


def test_a_pocket_in_no_pane_is_out_of_view(clip: PlannedClip, board: Board) -> None:
    table = next(p for p in board.panes if p.view == "table")
    whole = replace(table.camera, track=replace(table.camera.track, moves=()))
    shown = (replace(table, camera=whole, opacity=ONE),)
    hidden = tuple(replace(p, opacity=constant(0.0)) for p in board.panes)
    assert not teaching.target_is_out(replace(board, panes=shown), clip.brief)
    assert teaching.target_is_out(replace(board, panes=hidden), clip.brief)
