"""Arranging: the steps of a clip as the lesson wants them: only some, in another order, joined, split."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from aimgeo.construct import Construction
from aimgeo.construct.arrange import JOINT, arranged, split
from lessons.lesson.explain import Location
from lessons.planning.expand import Request
from scenes.board.brief import OutlineStep, Subject


def step_key(name: str) -> str:
    """A step's name without the signs between its words, which may be spaces, hyphens or underscores."""
    return " ".join(re.split(r"[\s_-]+", name.strip().lower()))


@dataclass(frozen=True, slots=True)
class Arrangement:
    """What a lesson says of a clip's steps, and where: the only ones, each group as one step, and those to
    split."""

    only: tuple[tuple[str, ...], ...] = ()
    only_at: Location = ()
    splits: tuple[str, ...] = ()
    splits_at: Location = ()

    @property
    def names(self) -> tuple[str, ...]:
        """The wanted steps by the names that they come to have."""
        return tuple(JOINT.join(group) for group in self.only)


def arrangement(request: Request) -> Arrangement:
    """The clip's: of its overrides, or of its group where they say nothing."""
    found = Arrangement()
    for changes, at in request.changes:
        if changes.only and not found.only:
            groups = tuple(tuple(map(step_key, group)) for group in changes.only)
            found = replace(found, only=groups, only_at=(*at, "only"))
        if changes.split and not found.splits:
            found = replace(found, splits=tuple(map(step_key, changes.split)), splits_at=(*at, "split"))
    return found


def with_steps(subject: Subject, wanted: Arrangement) -> Subject:
    """The subject with its constructions' steps as they are wanted. ValueError where the order can't be."""
    if not wanted.only and not wanted.splits:
        return subject
    return replace(
        subject,
        construction=_steps(subject.construction, wanted),
        companions=tuple(with_steps(one, wanted) for one in subject.companions),
    )


def _steps(plan: Construction | None, wanted: Arrangement) -> Construction | None:
    if plan is None:
        return None
    for name in wanted.splits:
        plan = split(plan, next((s.name for s in plan.steps if step_key(s.name) == name), name))
    names = {step_key(step.name): step.name for step in plan.steps}
    groups = [[names.get(name, name) for name in group] for group in wanted.only]
    # where a clip wants none of its construction's steps they are drawn all the same, and cut out
    return arranged(plan, groups) if any(name in names for group in wanted.only for name in group) else plan


def skipped(outline: Sequence[OutlineStep], wanted: Arrangement) -> tuple[int, ...]:
    """The places of the steps that are not wanted. ValueError where a wanted one would come before another."""
    if not wanted.only:
        return ()
    names = [step_key(step.name) for step in outline]
    known = set(names)
    asked = [name for name in map(step_key, wanted.names) if name in known]
    here = [name for name in names if name in set(asked)]
    if here != asked:
        early = next(name for name, other in zip(asked, here, strict=False) if name != other)
        raise ValueError(f"step '{early}' can't come there; the order of these is {', '.join(here)}")
    return tuple(k for k, name in enumerate(names) if name not in set(asked))
