"""A far build-up says once that its picture is broken, when the break can be seen; a near one does not."""

from __future__ import annotations

import pytest

from lessons.lesson.model import loads
from lessons.lesson.wording import LANGUAGES
from lessons.planning.plan import plan

TOLD = {
    "en": "The picture is broken here",
    "de": "Das Bild ist hier unterbrochen",
    "es": "La imagen está interrumpida aquí",
}
LESSON = """title: Tiny
language: {language}
cuts: [22]
sides: [left]
distances: {{near: 300 mm, far: 1200 mm}}
clips: [{{kind: build-up, methods: ghost-ball}}]
"""


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_break_is_told_once_and_only_where_there_is_one(language: str) -> None:
    near, far = plan(loads(LESSON.format(language=language))).clips
    told = [k for k, step in enumerate(far.brief.steps) if TOLD[language] in step.narration]
    assert told == [2]  # the camera comes in at the end of the step before
    step = far.brief.steps[2]
    assert step.narration.count(TOLD[language]) == 1
    assert "1200" in step.narration.replace(",", "")
    clause = next(one for one in step.clauses if TOLD[language] in one.text)
    assert clause.names == ("band",)
    assert clause.end <= 1
    assert not any(TOLD[language] in step.narration for step in near.brief.steps)
