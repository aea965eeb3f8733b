"""When a step's words speak of what, and when its drawings begin: each with the clause that speaks of it.

A narration knows its clauses, and some of them name what they speak of (`Clause.names`). A drawing says under
which names it may be called (`Part`); `placed` gives it its time.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import pairwise

from scenes.board import Span
from scenes.board.brief import NEXT, BriefStep, Clause
from scenes.board.timing import TIMING, frames_of, in_turn


def speaks_of(step: BriefStep, labels: Mapping[str, str]) -> tuple[tuple[float, float, tuple[str, ...]], ...]:
    """All of a step's words that its picture follows: when which clause speaks of what, by its names, else by what
    its words call the things that `labels` name."""
    said = ((one.start, one.end, _names(one, labels)) for one in step.clauses)
    return tuple(one for one in said if one[2])


def _names(clause: Clause, labels: Mapping[str, str]) -> tuple[str, ...]:
    return clause.names if set(clause.names) - {NEXT} else (*clause.names, *called_in(clause.text, labels))


def called_in(text: str, labels: Mapping[str, str]) -> tuple[str, ...]:
    """The names whose labels a text says; of two of which one says the other, the longer one's.

    >>> called_in("Along the aim line to the ghost ball.", {"aim": "Aim", "aim_line": "Aim line", "cue": "Cue"})
    ('aim_line',)
    """
    said = {name: label for name, label in labels.items() if says(text, bare(label))}
    return tuple(
        name
        for name, label in said.items()
        if not any(says(other, bare(label)) for other in said.values() if bare(other) != bare(label))
    )


@dataclass(frozen=True, slots=True)
class Part:
    """Something that a step draws: what its words may call it, and the seconds that it takes.

    One that `grows` takes as long as its clause where that is longer: up to half as long again as it needs, or
    up to `most_s`.
    """

    names: tuple[str, ...]
    seconds: float
    grows: bool = False
    most_s: float | None = None


@dataclass(frozen=True, slots=True)
class Words:
    """A step's words over its frames. `labels`: the names of things in the picture, by role."""

    step: BriefStep
    span: Span
    labels: Mapping[str, str] = field(default_factory=dict)

    @property
    def are_spoken(self) -> bool:
        """False for a step of a lesson without narration."""
        return bool(self.step.clauses)

    def of(self, names: Sequence[str]) -> Span | None:
        """When the clause is spoken that speaks of any of these: by its names, or, where no clause of the step
        names anything, by the label's own words. None where none does."""
        found = next((one for one in self.step.clauses if set(one.names) & set(names)), None)
        if found is None and not any(one.names for one in self.step.clauses):
            wanted = [bare(self.labels[name]) for name in names if name in self.labels]
            found = next((one for one in self.step.clauses if any(says(one.text, w) for w in wanted)), None)
        return None if found is None else self.frames(found.start, found.end)

    @property
    def said_by(self) -> int:
        """The frame by which all is said; the step's first one where nothing is."""
        return max((self.frames(one.start, one.end)[1] for one in self.step.clauses), default=self.span[0])

    def bars(self) -> list[Span]:
        """The clauses that say where the next part of the drawing begins."""
        return [self.frames(one.start, one.end) for one in self.step.clauses for n in one.names if n == NEXT]

    def until(self, end: int) -> Words:
        """The same words over the step's frames up to this one: what is drawn is drawn by then."""
        first, last = self.span
        part = (last - first) / max(end - first, 1)
        clauses = tuple(replace(c, start=c.start * part, end=c.end * part) for c in self.step.clauses)
        return replace(self, step=replace(self.step, clauses=clauses), span=(first, end))

    def frames(self, start: float, end: float) -> Span:
        """Parts of the step as frames."""
        first, last = self.span
        return first + round(min(start, 1.0) * (last - first)), first + round(min(end, 1.0) * (last - first))


def placed(words: Words, parts: Sequence[Part], rate: tuple[int, int], lead_s: float, rest_s: float) -> list[Span]:
    """When each part is drawn, in their order.

    Each begins with its clause, the first ones after the lead; one that no clause speaks of takes the next bar, or
    follows the one before it; so do several of one clause. Without words they come in turn. What would run into
    the rest at the step's end begins earlier; in a step that is too short for them, all are squeezed.
    """
    first, end = words.span
    seconds = [part.seconds for part in parts]
    in_order = in_turn(first, end, (lead_s, *seconds, rest_s), rate)[1:-1]
    if not words.are_spoken or (lead_s + sum(seconds) + rest_s) * rate[0] > (end - first) * rate[1]:
        return in_order
    last = end - frames_of(rest_s, rate)
    out: list[Span] = []
    at = first + frames_of(lead_s, rate)
    free: dict[Span, int] = {}
    bars = iter(words.bars())
    for part, (_, latest) in zip(parts, _latest(parts, last, rate), strict=True):
        clause = words.of(part.names) or next(bars, None)
        begins = at if clause is None else max(free.get(clause, clause[0]), first + frames_of(lead_s, rate))
        long = frames_of(part.seconds, rate)
        if part.grows and clause is not None:
            most = frames_of(part.most_s or min(1.5 * part.seconds, TIMING.draw_most_s), rate)
            long = max(long, min(clause[1] - begins, most))
        begins = min(begins, max(latest - frames_of(part.seconds, rate), first))
        at = min(begins + long, latest)
        out.append((begins, at))
        if clause is not None:
            free[clause] = at
    return _before_next(out, parts, rate)


def _latest(parts: Sequence[Part], last: int, rate: tuple[int, int]) -> list[Span]:
    """The latest times of parts that come in turn and end with a step."""
    out = []
    for part in reversed(parts):
        out.append((last - frames_of(part.seconds, rate), last))
        last = out[-1][0]
    return out[::-1]


def _before_next(spans: Sequence[Span], parts: Sequence[Part], rate: tuple[int, int]) -> list[Span]:
    """A drawing that grows ends, as far as it can, where the next one begins."""
    out = list(spans)
    for k, (one, other) in enumerate(pairwise(spans)):
        if parts[k].grows and one[0] < other[0] < one[1]:
            out[k] = one[0], max(other[0], min(one[1], one[0] + frames_of(TIMING.draw_least_s, rate)))
    return out


@lru_cache(maxsize=4096)
def bare(text: str) -> tuple[str, ...]:
    """The words of a text, small and without their signs and plural s."""
    return tuple(re.sub(r"\W|s$", "", re.sub(r"[’']s\b", "", word.lower())) for word in text.split())


def says(text: str, wanted: tuple[str, ...]) -> bool:
    """True when a text has these bare words, one after the other."""
    words = bare(text)
    return bool(wanted) and any(words[k : k + len(wanted)] == wanted for k in range(len(words)))
