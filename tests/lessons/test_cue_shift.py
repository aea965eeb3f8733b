"""The small cue-ball shift, which a lesson can add to any method's build-up."""

from __future__ import annotations

import numpy as np
import pytest

from lessons.lesson.faults import LessonError
from lessons.lesson.model import loads
from lessons.planning.plan import plan
from scenes.board import Line
from scenes.kinds import build_up

LESSON = """\
title: Beside the line
cuts: [1/2]
distances: {{near: 200 mm}}
sides: left
clips:
  - kind: build-up
    cue_shift: {shift}
"""


@pytest.mark.parametrize(("shift", "sixteenths"), [("1/16 outward", 1), ("1/8 inward", -2)])
def test_every_methods_build_up_shows_the_parallel_that_the_lesson_asks_for(shift: str, sixteenths: int) -> None:
    clips = plan(loads(LESSON.format(shift=shift))).clips
    assert len(clips) == 5
    for clip in clips:
        (step,) = (s for s in clip.brief.steps if s.name == "parallel sight")
        assert step.narration
        board = build_up.board(clip.brief)
        ends = [e.shape.points_mm for e in board.elements if e.role == "sight_line" and isinstance(e.shape, Line)]
        shot = clip.brief.subject.shot
        assert shot is not None
        across = np.array([-shot.aim_direction[1], shot.aim_direction[0]])
        beside = [float(np.dot(np.subtract(start, shot.cue_ball_mm)[:2], across)) for start, _ in ends]
        # a cut to the left aims at the right of the ball: outward is right, so the sight starts to the left
        assert any(abs(b - sixteenths * 57.15 / 16) < 1e-6 for b in beside)


def test_without_it_no_parallel_is_added() -> None:
    clips = plan(loads(LESSON.format(shift="none"))).clips
    assert not any(s.name == "parallel sight" for clip in clips for s in clip.brief.steps)


def test_another_shift_is_refused_where_it_stands() -> None:
    with pytest.raises(LessonError) as refused:
        loads(LESSON.format(shift="1/4 outward"), "shift.yaml")
    assert "shift.yaml:7:" in str(refused.value)
