"""What writing the moves makes of the file: the shot stands in it where the hand left it, or it stays as it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from lessons.lesson.faults import LessonError
from lessons.lesson.model import Lesson, loads
from lessons.lesson.write import changed
from lessons.live.follow import followed, is_same_place, nearest
from lessons.live.moving import Change, Ground, Held, changes, writable
from lessons.planning.plan import plan
from lessons.planning.planned import Plan, PlannedClip

NEAR_MM = 1e-4
"""Two places so near to each other are one: a spot is written to a millionth of its unit."""


@dataclass(frozen=True, slots=True)
class Moved:
    """A shot that was moved by hand: its clip, as the lesson and its plan have it, and as it is held."""

    lesson: Lesson
    plan: Plan
    clip: PlannedClip
    ground: Ground
    before: Held
    held: Held
    scope: str


@dataclass(frozen=True, slots=True)
class Writing:
    """The changes, the file's bytes with them, and what it makes then; `stands` is the moved shot's clip in it.

    `held` is the shot with what of the moves can be written, `pins` where a spot is written that was not moved, as
    `changes` has it.
    """

    changes: tuple[Change, ...]
    data: bytes
    plan: Plan
    stands: PlannedClip | None
    held: Held
    pins: str


def writing(
    data: bytes, file: str, shot: Moved, is_overtaken: Callable[[], bool] = lambda: False
) -> Writing | tuple[Change, ...]:
    """The file with what was moved. Where nothing can be written, the changes alone, which say why.

    A lesson without a spot lets its shots find one, and another shot may find another: the spot is written then as
    well, where the clip's pocket is said or for its group alone, whichever leaves more clips as they are.
    Raises LessonError where the file would have a fault, ValueError where it can't be changed in place, Overtaken.
    """
    made: list[Writing] = []
    fault: LessonError | ValueError | None = None
    for pins in ("", "said", "group"):
        found = changes(shot.lesson, shot.plan, shot.clip, shot.before, shot.held, shot.scope, pins)
        edits = [edit for change in found for edit in change.edits]
        if not edits:
            return tuple(found)
        if any(one.changes == tuple(found) for one in made):
            continue
        try:
            new = changed(data, edits, file)
            lesson = loads(new, file)
            after = plan(lesson, is_overtaken=is_overtaken)
        except (LessonError, ValueError) as error:
            fault = fault or error
            continue
        held = writable(found, shot.before, shot.held)
        clip = _stands(replace(shot, held=held), lesson, after.clips)
        made.append(Writing(tuple(found), new, after, clip, held, pins))
        if clip is not None and not pins:
            break
    if not made:
        assert fault is not None
        raise fault
    return min(made, key=lambda one: (one.stands is None, len(one.plan.left_out)))


def _stands(shot: Moved, now: Lesson, clips: Sequence[PlannedClip]) -> PlannedClip | None:
    """The clip in which the shot lies as it is held."""
    sought = followed(shot.clip, shot.lesson, now)
    clip = nearest(sought, clips)
    lies = clip.brief.subject.shot
    if lies is None or (shot.held.cue is None and not is_same_place(sought, clip)):
        return None
    held = shot.ground.shot(shot.held)
    places = ((held.cue_ball_mm, lies.cue_ball_mm), (held.object_ball_mm, lies.object_ball_mm),
              (held.target_mm, lies.target_mm))  # fmt: skip
    return clip if all(np.allclose(one, other, rtol=0, atol=NEAR_MM) for one, other in places) else None


def why_lost(shot: Moved, made: Writing) -> str:
    """Why the moved shot would not stand in the file as it is held: the reason for which its clip is left out."""
    before = {left.name for left in shot.plan.left_out}
    lost = [left for left in made.plan.left_out if left.name not in before]
    if not lost:
        return "the balls would not lie in the file as they lie here."
    group = shot.clip.name.split("_")[:2]
    mine = next((left for left in lost if left.name.split("_")[:2] == group), lost[-1])
    return f"this clip would be left out: {mine.reason}"
