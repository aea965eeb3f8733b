"""The preview: steps that the author marked, to be shown as one short film."""

from __future__ import annotations

from lessons.lesson.faults import Fault, did_you_mean
from lessons.lesson.model import Lesson
from lessons.planning.planned import PlannedClip

LONGEST_S = 60.0

Marked = tuple[tuple[str, tuple[str, ...]], ...]
"""Clips by name, each with the names of its marked steps; none: all of them."""


def marked(lesson: Lesson, clips: tuple[PlannedClip, ...], faults: list[Fault]) -> Marked:
    """What the lesson marks. Unknown clips and steps are faults, and so is more than a minute in all."""
    by_name = {clip.name: clip for clip in clips}
    seconds = 0.0
    for k, part in enumerate(lesson.keys.preview):
        clip = by_name.get(part.clip)
        if clip is None:
            place = lesson.place("preview", k, "clip")
            faults.append(
                Fault(
                    place,
                    f"unknown clip '{part.clip}' in preview{did_you_mean(part.clip, by_name)}",
                    "unknown-name",
                )
            )
            continue
        names = [step.name for step in clip.brief.steps]
        for n, name in enumerate(part.steps):
            if name not in names:
                place = lesson.place("preview", k, "steps", n)
                faults.append(
                    Fault(place, f"unknown step '{name}' in preview{did_you_mean(name, names)}", "unknown-name")
                )
        wanted = [step.frames for step in clip.brief.steps if not part.steps or step.name in part.steps]
        seconds += sum(wanted) / clip.brief.output.fps
    if seconds > LONGEST_S:
        sentence = f"the preview lasts {seconds:.1f} s; it has {LONGEST_S:.0f} s at most: mark fewer steps."
        faults.append(Fault(lesson.place("preview"), sentence, "value"))
    return tuple((part.clip, part.steps) for part in lesson.keys.preview)
