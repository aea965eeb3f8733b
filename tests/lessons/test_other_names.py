"""What other balls are called: in pictures, words and on sheets, in each language."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from lessons.deliver.footage import Footage
from lessons.deliver.set_up_sheets import shot_told
from lessons.deliver.shots import table_shots
from lessons.lesson.faults import LessonError
from lessons.lesson.model import loads
from lessons.planning.plan import plan
from lessons.rendering.manifest import planned_manifest
from scenes.board import Plate
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS

LESSON = """
title: {en: Balls, de: Kugeln}
language: [en, de]
output: {size: 720p, rate: 30}
cuts: [30]
sides: left
distances: {near: 300 mm}
others:
  - {at: [300 mm, 300 mm], number: 5, name: {en: Blocker, de: Gegner}}
  - {at: [600 mm, 250 mm], number: 8}
clips:
  - {kind: build-up, methods: ghost-ball, steps: {where: {narration: {en: "See {other_1}.", de: "{other_1}."}}}}
  - {kind: table}
  - {kind: players-eye, methods: ghost-ball, others: [{at: [650 mm, 250 mm], name: {en: Eight, de: Acht}}]}
"""


@pytest.mark.parametrize(("language", "blocker", "eight"), [("en", "Blocker", "Eight"), ("de", "Gegner", "Acht")])
def test_names_stand_in_pictures_words_and_sheets(language: str, blocker: str, eight: str) -> None:
    made = plan(loads(LESSON), language=language)
    called = {"build-up": blocker, "table": blocker, "players-eye": eight}
    for clip in made.clips:
        board = CLIP_KINDS[clip.kind].board(clip.brief)
        plates = [e for e in board.elements if isinstance(e.shape, Plate) and e.shape.text == called[clip.kind]]
        assert plates, clip.kind
        assert any(e.is_visible(frame) for e in plates for frame in range(0, board.frames, 10))
        assert {e.names for e in plates} == {"other.0"}
        assert faults(board) == []
    assert made.clips[0].brief.steps[0].narration.endswith(f"{blocker}.")
    footage = Footage(Path("nowhere"), planned_manifest(made))
    told: dict[str, Any] = shot_told(table_shots(footage)[0], footage.wording(), 1, 1)
    names = [place["name"] for place in told["places"]]
    assert names[2] == blocker
    assert names[3].endswith(" 8")


def test_a_ball_without_a_name_has_no_field_and_a_name_is_told_in_every_language() -> None:
    with pytest.raises(LessonError, match=r"unknown field .\{other_2\}"):
        plan(loads(LESSON.replace("{other_1}", "{other_2}")))
    with pytest.raises(LessonError, match="write this text in each"):
        plan(loads(LESSON.replace("{en: Eight, de: Acht}", "Eight")))
