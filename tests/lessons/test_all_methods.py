"""All methods on one shot: each is drawn, all end in one line, and the shot is played."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.teaching import is_played
from lessons.lesson.faults import LessonError
from lessons.lesson.model import loads
from lessons.planning.plan import plan
from scenes.board import Line, Text
from scenes.kinds import CLIP_KINDS

LESSON = """title: One shot
cuts: [22]
sides: [left]
distances: {near: 300 mm}
clips: [{kind: all-methods}]
"""


def test_every_method_that_reaches_the_shot_ends_in_the_same_line_and_the_shot_is_played() -> None:
    (clip,) = plan(loads(LESSON)).clips
    board = CLIP_KINDS["all-methods"].board(clip.brief)
    methods = ["ghost_ball", "contact_points", "doubled_offset", "ball_fractions", "fixed_marks"]
    assert [step.name for step in board.steps] == [*methods, "together"]
    shot = clip.brief.subject.shot
    assert shot is not None
    for step, method in zip(board.steps, methods, strict=False):
        (aim,) = (e for e in board.elements if e.id.startswith(f"{method}.aim_line."))
        assert isinstance(aim.shape, Line)
        assert step.first_frame < aim.drawn.moves[0].first_frame < aim.drawn.moves[0].end_frame <= step.end_frame
        start, end = (np.array(at)[:2] for at in aim.shape.points_mm)
        along = (end - start) / np.linalg.norm(end - start)
        np.testing.assert_allclose(along, shot.aim_direction, atol=1e-9)
    assert any(e.shape.text == "5 ways," for e in board.elements if isinstance(e.shape, Text))
    assert is_played(board, clip.brief)


def test_one_method_alone_is_too_few() -> None:
    told = LESSON.replace("{kind: all-methods}", "{kind: all-methods, methods: ghost-ball}")
    with pytest.raises(LessonError, match="two methods or more"):
        plan(loads(told))
