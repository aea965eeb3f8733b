"""Whether the fonts of a look have the letters of all that a lesson shows and captions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from lessons.lesson.explain import place_of
from lessons.lesson.faults import Fault
from lessons.lesson.model import Lesson, texts
from lessons.lesson.texts import said
from lessons.planning.planned import PlannedClip
from scenes.look.fonts import Face, width_px, without_glyph

ALWAYS = "0123456789.,/-%°"
"""What pictures are measured with."""
MOST_TOLD = 40
USUAL = "Aim at the centre of the ghost ball, half a ball beside the contact point"
MOST_WIDER = 1.2
"""A font so much wider than the built-in one, set as large, fits some pictures no longer: tried in every kind."""


def too_wide(lesson: Lesson) -> Iterator[Fault]:
    """A note for each font whose words may lack room."""
    for file, place in lesson.fonts:
        wider = width_px(USUAL, Face(file=file), 1.0) / width_px(USUAL, Face(), 1.0)
        if wider > MOST_WIDER:
            sentence = (
                f"the font {Path(file.path).name} is {100 * (wider - 1):.0f} % wider than the built-in one; words "
                "may lack room in some pictures: look at them, or take a narrower one."
            )
            yield Fault(place, sentence, "text")


def unset_letters(lesson: Lesson, clips: Sequence[PlannedClip], language: str) -> Iterator[Fault]:
    """A fault for each text of the lesson that a font of its look can't set, and one for the built-in words."""
    shown = {ALWAYS: None}
    for clip in clips:
        brief = clip.brief
        shown |= dict.fromkeys(
            (
                *brief.labels.values(),
                *((brief.lower_third.name, brief.lower_third.under) if brief.lower_third else ()),
                *(cell for row in brief.rows for cell in row),
                *(text for step in brief.steps for text in (step.title, step.narration)),
                *(part for step in brief.steps for m in step.measures for part in (m.name, m.number, m.unit)),
            )
        )
    for file, place in lesson.fonts:
        name = Path(file.path).name
        told: set[str] = set()
        for at, text in texts(lesson.keys):
            if missing := without_glyph(said(text, language), file):
                told |= set(missing)
                at = at if isinstance(text, str) else (*at, language)
                how = "write it another way, or take a font that has it."
                sentence = f"holds '{missing}', which the font {name} can't draw; {how}"
                yield Fault(place_of(lesson.tree, at), sentence, "text")
        lacking = {text: "".join(c for c in without_glyph(text, file) if c not in told) for text in shown}
        if missing := "".join(dict.fromkeys("".join(lacking.values()))):
            text = next(text for text, lacks in lacking.items() if lacks).split("\n")[0]
            yield Fault(
                place,
                f"the font {name} has no '{missing[:MOST_TOLD]}', which the pictures or captions show"
                f"{'' if text == ALWAYS else f' in “{text[:60]}”'}; take a font that has them, or leave this out.",
                "text",
            )
