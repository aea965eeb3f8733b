"""What is wrong in a lesson file, and where: each fault one sentence, all faults of a file together."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A place in a file: line and column count from 1."""

    file: str
    line: int = 1
    column: int = 1

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One thing that is wrong, and what to do next."""

    place: Place
    sentence: str

    def __str__(self) -> str:
        return f"{self.place}: {self.sentence}"


MOST_SHOWN = 100


class LessonError(Exception):
    """A file that cannot be used: all its faults, in the order of the file; its message tells the first 100."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(sorted(set(faults)))
        lines = [str(fault) for fault in self.faults[:MOST_SHOWN]]
        if len(self.faults) > MOST_SHOWN:
            place = self.faults[MOST_SHOWN].place
            lines.append(f"{place}: here and below are {len(self.faults) - MOST_SHOWN:,} faults more.")
        super().__init__("\n".join(lines))


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """'; did you mean X?' for the nearest known word, or the known words when none is near.

    >>> did_you_mean("distence", ["distance", "cut"])
    "; did you mean 'distance'?"
    >>> did_you_mean("zebra", ["cut", "side"])
    '; known are: cut, side.'
    """
    known = list(known)
    near = get_close_matches(word.lower(), known, 1, 0.6)
    if near:
        return f"; did you mean '{near[0]}'?"
    return f"; known are: {', '.join(known)}." if known else "."
