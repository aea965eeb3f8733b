"""The clips of the lessons that come with the project can be read: checked on their boards, without rendering."""

from __future__ import annotations

from dataclasses import replace
from itertools import cycle
from pathlib import Path

import pytest

import lessons
from lessons.lesson.model import load
from lessons.planning.plan import PlannedClip, plan
from scenes.board.brief import Output
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS
from scenes.look import LOOKS

COURSE = Path(lessons.__file__).parent / "course"
SHARES = {"demo.yaml": 1, "half-ball-upright.yaml": 1, "eight-cuts.yaml": 8}
"""Of the large lesson every so many clips, which meets every method and kind; of the demo all."""
DRAWN_FLAT = ("build-up", "table", "title", "section", "summary")


def clips(lesson: str) -> list[PlannedClip]:
    made = plan(load(COURSE / lesson)).clips
    return [clip for clip in made if clip.kind in DRAWN_FLAT][:: SHARES[lesson]]


@pytest.mark.parametrize("lesson", SHARES)
def test_no_word_of_a_lesson_covers_anything(lesson: str) -> None:
    """The looks take turns: words find the same places in all of them."""
    found = {}
    for clip, look in zip(clips(lesson), cycle(LOOKS.values()), strict=False):
        found[clip.name] = faults(CLIP_KINDS[clip.kind].board(replace(clip.brief, look=look)))
    assert {name: told for name, told in found.items() if told} == {}


def test_the_demo_shows_all_five_methods_three_cuts_both_sides_near_and_far() -> None:
    made = [clip for clip in clips("demo.yaml") if clip.kind == "build-up"]
    assert len({clip.method for clip in made}) == 5
    assert len({clip.cut_text for clip in made}) >= 3
    assert {clip.side for clip in made} >= {"left", "right"}
    assert {clip.distance_name for clip in made} >= {"near", "far"}


@pytest.mark.parametrize("size", [(640, 360), (1080, 1080)])
def test_no_word_of_what_the_eye_sees_covers_anything(size: tuple[int, int]) -> None:
    found = {}
    for clip, look in zip(
        plan(load(COURSE / "what-the-eye-sees.yaml")).clips, cycle(LOOKS.values()), strict=False
    ):
        brief = replace(clip.brief, look=look, output=Output(*size, clip.brief.output.rate))
        found[clip.name] = faults(CLIP_KINDS[clip.kind].board(brief))
    assert {name: told for name, told in found.items() if told} == {}
