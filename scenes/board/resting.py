"""No picture rests for long: what is spoken of is pointed at again.

Under a long sentence, in a pause, or where a step is shown slowly, all that its words name may be drawn and
pointed at long before its end. There the words of that moment are asked again what they speak of, then what is new
under them, then the words before; when none of it is left, what the step has drawn has its turn, in its order, and
at last what the picture is about. It is the emphasis of `scenes.board.pointing`, one at a time, with time to look
before and after.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain

from scenes.board import (
    Ball,
    Bar,
    Board,
    Cue,
    Element,
    Halo,
    Line,
    Mark,
    Ring,
    StepSpan,
    Text,
)
from scenes.board.brief import Brief, BriefStep
from scenes.board.clauses import speaks_of
from scenes.board.pointing import GLOW_S, LEAST_S, STILL_S, emphasised, with_glows
from scenes.board.timing import frames_of

LONG_S = 2.8
"""A longer rest is broken."""
LOOK_S = 1.0
"""So long nothing moves after what came last, to look at it."""
ABOUT = (
    "target_line", "aim_line", "contact_line", "object_ball_line", "sight_line", "contact_object", "aim_point",
    "ghost_ball", "object_ball", "cue_ball", "title", "picture",
)  # fmt: skip
"""What pictures are about, by role."""
DRAWN = Line | Bar | Ball | Halo | Ring | Mark | Cue
UNSAID = frozenset({"glow", "ring", "title", "note", "heading"})
"""Roles of what is no thing of its own."""


def looked_at_again(board: Board, brief: Brief) -> Board:
    """A finished clip's board without a long rest, as far as it shows something to point at.

    Handles, over which nobody speaks, rest.
    """
    pointer = _Pointer(board, brief)
    rate = board.rate
    long, look, least, lasts = (frames_of(s, rate) for s in (LONG_S, LOOK_S, LEAST_S, GLOW_S))
    still = board.steps[-1].end_frame - frames_of(STILL_S, rate) if board.steps else 0
    for at, end in board.still_stretches(long + 1):
        for step, words in zip(board.steps, brief.steps, strict=True):
            ends = min(end, step.end_frame)
            last = min(ends, still)
            said = [_frame(step, start) for start, _, _ in speaks_of(words, brief.labels)]
            while ends > step.first_frame and ends - at > long:
                earliest, latest = max(at + look, step.first_frame), min(at + long, last - least)
                if latest < earliest:
                    break
                begins = _begins(at, last, earliest, latest, said, (long, lasts))
                pointer.point(step, words, begins, last)
                at = begins + lasts
    return with_glows(board, pointer.glows)


def _begins(at: int, end: int, earliest: int, latest: int, said: Sequence[int], times: tuple[int, int]) -> int:
    """With the words that begin then, else so that the rests become alike."""
    long, lasts = times
    count = max(-(-(end - at - long) // (long + lasts)), 1)
    even = min(max(at + (end - at - count * lasts) // (count + 1), earliest), latest)
    return min((s for s in said if earliest <= s <= latest), key=lambda s: abs(s - even), default=even)


def _frame(step: StepSpan, part: float) -> int:
    return step.first_frame + round(min(part, 1.0) * (step.end_frame - step.first_frame))


@dataclass(slots=True)
class _Pointer:
    """What has been pointed at, and how often."""

    board: Board
    brief: Brief
    glows: dict[str, list[Element]] = field(default_factory=dict)
    turns: dict[tuple[str, str], int] = field(default_factory=dict)
    count: int = 0

    def point(self, step: StepSpan, words: BriefStep, at: int, end: int) -> None:
        """Point at the first thing that has had the fewest turns in this step."""
        found = [
            (name, glows)
            for name, called in self.named(step, words, at)
            if (glows := list(emphasised(self.board, called, (at, at), end)))
        ]
        if not found:
            return
        name, glows = min(found, key=lambda one: self.turns.get((step.name, one[0]), 0))
        self.turns[step.name, name] = self.turns.get((step.name, name), 0) + 1
        for id, glow in glows:
            self.count += 1
            self.glows.setdefault(id, []).append(replace(glow, id=f"glow.again.{self.count}"))

    def named(self, step: StepSpan, words: BriefStep, at: int) -> Iterator[tuple[str, list[Element]]]:
        """What may be pointed at, each by its role: what the words of the moment say, what has been drawn since
        they began, what was said before, what the step has drawn, what pictures are about."""
        elements = self.board.elements
        said = [
            (_frame(step, start), names)
            for start, _, names in speaks_of(words, self.brief.labels)
            if _frame(step, start) <= at
        ]
        begun = said[-1][0] if said else at
        now = [name for start, names in said for name in names if start == begun]
        before = [name for _, names in reversed(said) for name in names]
        roles = chain(now, self.drawn(begun, at), before, self.drawn(step.first_frame, at), ABOUT)
        for name in dict.fromkeys(roles):
            yield name, [e for e in elements if name in (e.id, e.role)]

    def drawn(self, first: int, end: int) -> Iterator[str]:
        """The roles of what began to be drawn in these frames: figures before words, the newest first."""
        came = [
            (max(when), e)
            for e in self.board.elements
            if e.role not in UNSAID and (when := [f for f in _comings(e) if first <= f < end])
        ]
        for kept in (DRAWN, Text):
            yield from (e.role for _, e in sorted(came, key=lambda one: -one[0]) if isinstance(e.shape, kept))


def _comings(e: Element) -> Iterator[int]:
    """The frames on which something begins to be drawn or to come in."""
    return (m.first_frame for track in (e.drawn, e.opacity) for m in track.moves if m.to[0] > 0)
