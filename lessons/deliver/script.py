"""The narration script: what is said while which picture stands, and how long, to read from when recording."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from lessons.planning.plan import Plan, PlannedClip


def markdown(plan: Plan) -> str:
    """The script as Markdown: a heading a clip, a table of its steps."""
    return "\n".join(_lines(plan)) + "\n"


def _lines(plan: Plan) -> Iterator[str]:
    yield f"# {_cell(plan.title)}: narration script"
    yield ""
    yield f"{len(plan.clips)} clips, {minutes(plan.duration_s)}. The seconds are what the pictures give the words."
    for number, clip in enumerate(plan.clips, 1):
        yield ""
        yield f"## {number}. `{clip.name}` ({clip.duration_s:.1f} s)"
        yield ""
        yield "| | picture | words | seconds |"
        yield "|--:|---|---|--:|"
        for k, step in enumerate(scenes(clip), 1):
            title, name, words = (_cell(step[key]) for key in ("title", "name", "words"))
            yield f"| {k} | **{title}** ({name}) | {words} | {step['seconds']} |"


def _cell(text: str) -> str:
    """Text that a table cell takes as it is."""
    plain = " ".join(text.split())
    return "".join("\\" + c if c in "\\`*_{}[]<>#|" else c for c in plain)


def scenes(clip: PlannedClip) -> list[dict[str, Any]]:
    """A clip's steps: name, title on screen, words spoken, and seconds with one decimal."""
    fps = clip.brief.output.fps
    return [
        {
            "name": step.name,
            "title": " ".join(step.title.split()),
            "words": " ".join(step.narration.split()),
            "seconds": f"{step.frames / fps:.1f}",
        }
        for step in clip.brief.steps
    ]


def told(plan: Plan) -> dict[str, Any]:
    """What the printed script says."""
    return {
        "lesson": plan.title,
        "dashes": {},
        "length": minutes(plan.duration_s),
        "clips": [
            {"name": clip.name, "seconds": f"{clip.duration_s:.1f}", "steps": scenes(clip)} for clip in plan.clips
        ],
    }


def minutes(seconds: float) -> str:
    """A duration as people say it.

    >>> minutes(125.2), minutes(59.6)
    ('2 min 05 s', '1 min 00 s')
    """
    whole = round(seconds)
    return f"{whole // 60} min {whole % 60:02} s"
