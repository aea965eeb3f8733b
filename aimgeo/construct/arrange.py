"""A construction's steps as somebody wants them: only some, in another order, joined or split.

Nothing that is drawn changes its place. A step stays behind the one that draws a point on which a line of its own
ends, or between which it measures.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import chain, combinations
from math import dist

from aimgeo.construct import Construction, Position, Step

JOINT = " + "
"""Between the names of steps that are one."""
SENTENCES = " & "
"""Between the sentence keys of steps that are one."""
SAME_MM = 1e-6
BALLS = ("object_centre", "cue_centre")
"""Points that are there before anything is drawn."""


def arranged(plan: Construction, groups: Sequence[Sequence[str]]) -> Construction:
    """The steps that the groups name, each group as one step, in this order; names that it does not have are
    passed
    over. ValueError where a step would stand before another one that it needs, or where none is left.
    """
    known = {step.name: step for step in plan.steps}
    chosen = [found for group in groups if (found := [known[name] for name in group if name in known])]
    if not chosen:
        raise ValueError("none of these steps is one of its construction")
    for before, after in combinations([step for found in chosen for step in found], 2):
        if plan.steps.index(after) < plan.steps.index(before) and _needs(before, after):
            raise ValueError(f"step '{before.name}' needs '{after.name}' before it")
    return replace(plan, steps=tuple(map(_joined, chosen)))


def split(plan: Construction, name: str) -> Construction:
    """A step's circles, lines and points one by one, as steps 'NAME 1', 'NAME 2', ...; its measures with the
    last."""
    parts = (tuple(_parts(step)) if step.name == name else (step,) for step in plan.steps)
    return replace(plan, steps=tuple(chain.from_iterable(parts)))


def _joined(steps: list[Step]) -> Step:
    if len(steps) == 1:
        return steps[0]
    return Step(
        JOINT.join(step.name for step in steps),
        SENTENCES.join(step.sentence for step in steps),
        tuple({key: (key, value) for step in steps for key, value in step.values}.values()),
        tuple(p for step in steps for p in step.points),
        tuple(line for step in steps for line in step.lines),
        tuple(c for step in steps for c in step.circles),
        tuple({m.key: m for step in steps for m in step.measures}.values()),
    )


def _parts(step: Step) -> Iterator[Step]:
    empty = replace(step, points=(), lines=(), circles=(), measures=())
    parts = [replace(empty, circles=(c,)) for c in step.circles]
    parts += [replace(empty, points=(p,)) for p in step.points]
    parts += [replace(empty, lines=(line,)) for line in step.lines]
    if len(parts) < 2:
        yield step
        return
    parts[-1] = replace(parts[-1], measures=step.measures)
    for k, part in enumerate(parts, 1):
        yield replace(part, name=f"{step.name} {k}")


def _needs(step: Step, other: Step) -> bool:
    """True where a line of the step ends, or a measure of it lies, on a point or circle that the other one
    draws."""
    drawn = [p.at_mm for p in other.points if p.role not in BALLS] + [c.centre_mm for c in other.circles]
    used: list[Position] = [end for line in step.lines for end in (line.start_mm, line.end_mm)]
    used += [end for m in step.measures for end in m.between_mm or ()]
    return any(dist(a[:2], b[:2]) < SAME_MM for a in used for b in drawn)
