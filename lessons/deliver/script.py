"""The narration script: what is said while which picture stands, and how long, to read from when recording."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from lessons.lesson.timing import clock
from lessons.lesson.wording import Wording
from lessons.planning.planned import Plan, PlannedClip


def markdown(plan: Plan) -> str:
    """The script as Markdown: a heading a clip, a table of its steps."""
    return "\n".join(_lines(plan)) + "\n"


def _lines(plan: Plan) -> Iterator[str]:
    words = plan.words
    told, printed = words.words["script"], words.words["printed"]
    count = words.counted("script", "clips", count=len(plan.clips), length=clock(plan.duration_s))
    yield f"# {_cell(words.text('script', 'document', lesson=plan.title))}"
    yield ""
    yield f"{count} {told['says']}"
    for number, clip in enumerate(plan.clips, 1):
        yield ""
        yield f"## {number}. `{clip.name}` ({words.decimal(clip.duration_s, 1)} {printed['short_second']})"
        yield ""
        yield f"| | {told['picture']} | {told['words']} | {printed['seconds']} |"
        yield "|--:|---|---|--:|"
        for k, step in enumerate(scenes(clip, words), 1):
            title, name, said = (_cell(step[key]) for key in ("title", "name", "words"))
            yield f"| {k} | **{title}** ({name}) | {said} | {step['seconds']} |"


def _cell(text: str) -> str:
    """Text that a table cell takes as it is."""
    plain = " ".join(text.split())
    return "".join("\\" + c if c in "\\`*_{}[]<>#|" else c for c in plain)


def scenes(clip: PlannedClip, words: Wording) -> list[dict[str, Any]]:
    """A clip's steps: name, title on screen, words spoken with a note for the speaker, and seconds to a tenth."""
    fps = clip.brief.output.fps
    return [
        {
            "name": step.name,
            "title": " ".join(step.title.split()),
            "words": " ".join(f"{step.narration} {f'[{step.note}]' if step.note else ''}".split()),
            "seconds": words.decimal(step.frames / fps, 1),
        }
        for step in clip.brief.steps
    ]


def told(plan: Plan) -> dict[str, Any]:
    """What the printed script says."""
    words = plan.words
    return {
        "language": plan.language,
        "lesson": plan.title,
        "dashes": {},
        "document": words.text("script", "document", lesson=plan.title),
        "sheet": words.text("script", "sheet", length=clock(plan.duration_s)),
        "words": words.words["script"] | words.words["printed"],
        "clips": [
            {"name": clip.name, "seconds": words.decimal(clip.duration_s, 1), "steps": scenes(clip, words)}
            for clip in plan.clips
        ],
    }
