"""How long a step lasts: as long as its words take to say, and never shorter than its drawing."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain, cycle, pairwise

from aimgeo.units import rounded, written
from scenes.board.brief import Clause, Output
from scenes.board.clauses import bare, says

WORDS_A_MINUTE = 140.0
TURN_WORDS = 5
"""So many words of a sentence without marks speak of one thing: about two seconds."""
LOOK_S = 1.2
"""Silence after a number that a step leaves behind, to look at it."""
PAUSE_A_SENTENCE_S = 0.35
"""Speaking rate and pause used when no recording exists (common practice for spoken lessons)."""

_ENDS = re.compile(r"[.!?…]+(?=\s|$)")
_CLAUSE_ENDS = re.compile(r"[.,;:!?…–—]$")
_MARK = re.compile(r"(\[[^\[\]]*\]|\|)")
_BRACKET = "\0"


def spoken_s(text: str, words_a_minute: float = WORDS_A_MINUTE, pause_s: float = PAUSE_A_SENTENCE_S) -> float:
    """Seconds to say a text.

    >>> round(spoken_s("Carry the target line back. It comes out here."), 3)
    4.557
    """
    words = len(text.split())
    sentences = max(len(_ENDS.findall(text)), 1) if words else 0
    return words * 60 / words_a_minute + sentences * pause_s


def said_by_s(text: str, words: int, words_a_minute: float, pause_s: float) -> float:
    """Seconds until so many words of a text are said, with the pauses after its sentences.

    >>> round(said_by_s("Carry it back. It comes out here.", 3, 140, 0.35), 3)
    1.636
    """
    before = " ".join(text.split()[:words])
    return words * 60 / words_a_minute + pause_s * len(_ENDS.findall(before))


@dataclass(frozen=True, slots=True)
class Said:
    """A clause of a narration: its words [first, end), and the names of what it speaks of."""

    first: int
    end: int
    names: tuple[str, ...] = ()


@lru_cache(4096)  # the clips of a lesson share most of their sentences
def clauses(text: str) -> tuple[str, tuple[Said, ...]]:
    """A narration without its marks, and its clauses.

    A clause begins after a comma, stop, colon or dash, and at a mark: names in square brackets, of what the words
    behind them speak of, or a bar where the next part of the drawing begins. `[[` is a bracket itself.

    >>> clauses("Carry it back: [contact_object] where it comes out, is the point.")[1][1]
    Said(first=3, end=7, names=('contact_object',))
    """
    words: list[str] = []
    starts: dict[int, tuple[str, ...]] = {0: ()}
    for k, part in enumerate(_MARK.split(text.replace("[[", _BRACKET))):
        if k % 2:
            names = tuple(name for name in re.split(r"[,\s]+", part.strip("[]").replace("-", "_")) if name)
            starts[len(words)] = (*starts.get(len(words), ()), *names)
            continue
        for word in part.split():
            words.append(word.replace(_BRACKET, "["))
            if _CLAUSE_ENDS.search(word):
                starts.setdefault(len(words), ())
    edges = sorted(start for start in starts if start < len(words))
    ends = [*edges[1:], len(words)][: len(edges)]
    return " ".join(words), tuple(Said(a, b, starts[a]) for a, b in zip(edges, ends, strict=True))


def is_left_open(text: str) -> bool:
    """True for a narration with a bracket that opens a mark and is not closed.

    >>> is_left_open("[aim-line Look"), is_left_open("[aim-line] Look [[there].")
    (True, False)
    """
    return "[" in _MARK.sub("", text.replace("[[", _BRACKET))


def spread(text: str, said: Sequence[Said], labels: Mapping[str, str]) -> tuple[Said, ...]:
    """The clauses of a narration without marks, with what its step draws, in its order, in turn over it.

    `labels`: what is drawn, by its name, and what it is called, or nothing: a clause that says so has its turn.
    Long clauses are parted, and what was drawn has its turn again, so that something is shown all the while.

    >>> [one.names for one in spread("To the spot and half-way back.", (), {"spot": "", "half": "Half-way"})]
    [('spot',), ('half',)]
    """
    words = text.split()
    if not labels or not words:
        return tuple(said)
    count = max(len(labels), round(len(words) / TURN_WORDS))
    starts = {0, *(one.first for one in said)}
    while len(starts) < min(count, len(words)):  # the longest is parted
        edges = [*sorted(starts), len(words)]
        first, end = max(pairwise(edges), key=lambda edge: edge[1] - edge[0])
        starts.add((first + end + 1) // 2)
    edges = [*sorted(starts), len(words)]
    parts = list(pairwise(edges))
    names: list[tuple[str, ...]] = [()] * len(parts)
    left = []
    for name, label in labels.items():
        told = (k for k, (a, b) in enumerate(parts) if label and says(" ".join(words[a:b]), bare(label)))
        at = next(told, None)
        if at is None:
            left.append(name)
        else:
            names[at] = (*names[at], name)
    turns = chain(left, cycle(labels))
    return tuple(Said(a, b, found or (next(turns),)) for (a, b), found in zip(parts, names, strict=True))


@lru_cache(4096)
def timed(
    text: str, said: tuple[Said, ...], seconds: float, words_a_minute: float, pause_s: float
) -> tuple[Clause, ...]:
    """The clauses of a narration in a step so long, spoken evenly from its start."""
    words = text.split()
    return tuple(
        Clause(
            (at := said_by_s(text, one.first, words_a_minute, pause_s)) / seconds,
            (at + (one.end - one.first) * 60 / words_a_minute) / seconds,
            " ".join(words[one.first : one.end]),
            one.names,
        )
        for one in said
    )


def step_frames(
    output: Output,
    narration: str,
    draws_s: float,
    given_s: float | None = None,
    words_a_minute: float = WORDS_A_MINUTE,
    pause_s: float = PAUSE_A_SENTENCE_S,
    look_s: float = 0.0,
) -> int:
    """Whole frames of a step: the given seconds, or the longer of drawing and words with a look after them."""
    needs_s = max(spoken_s(narration, words_a_minute, pause_s) + look_s, draws_s)
    return output.frames(given_s if given_s is not None else needs_s)


def clock(seconds: float) -> str:
    """A time as people say it: tenths below ten seconds, then whole seconds, then minutes, then hours.

    >>> clock(7.25), clock(9.97), clock(59.6), clock(75), clock(3700)
    ('7.3 s', '10 s', '1 min 00 s', '1 min 15 s', '1 h 02 min')
    """
    whole = int(rounded(seconds, 0))
    if rounded(seconds, 1) < 10:
        return f"{written(seconds, 1)} s"
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02} s"
    minutes = int(rounded(seconds / 60, 0))
    return f"{minutes // 60} h {minutes % 60:02} min"
