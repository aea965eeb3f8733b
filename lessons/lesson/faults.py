"""What is wrong in a lesson file, and where: each fault one sentence, all faults of a file together."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal, get_args

FaultId = Literal[
    "file",
    "yaml",
    "yaml-colon",
    "yaml-quotes",
    "yaml-bracket",
    "yaml-tab",
    "yaml-indent",
    "yaml-space",
    "yaml-forbidden",
    "given-twice",
    "no-value",
    "missing",
    "unknown-key",
    "unknown-kind",
    "unknown-name",
    "wrong-shape",
    "value",
    "decimal-comma",
    "comment",
    "line-break",
    "text",
    "clips",
    "step",
    "place",
    "method",
    "setting",
    "recording",
    "language",
    "no-effect",
]
FAULTS: dict[FaultId, str] = {
    "file": "The file can't be read: it is missing, too large, empty, or no UTF-8 text.",
    "yaml": "YAML can't read the text, for a reason that none of the other ids names.",
    "yaml-colon": "A colon where YAML takes it for a key, or none where a key needs one.",
    "yaml-quotes": "A text that needs quotes, or quotes that don't close.",
    "yaml-bracket": "A bracket or brace that is not closed, or a comma missing inside.",
    "yaml-tab": "A tab where spaces indent.",
    "yaml-indent": "A key or an entry that stands under nothing.",
    "yaml-space": "A space is missing behind a colon or a dash.",
    "yaml-forbidden": "Something of YAML that lessons don't use: tags, merge keys, a second document.",
    "given-twice": "A key, a cut or a clip that is there already.",
    "no-value": "A key or an entry of a list without a value.",
    "missing": "A key that has to be there.",
    "unknown-key": "A key that nothing knows here.",
    "unknown-kind": "A kind of clip that there is not.",
    "unknown-name": "A name that there is not: of an eye, a distance, a cut, a method, a step, a field.",
    "wrong-shape": "A list where a single value is needed, or the other way round, or a mapping.",
    "value": "A value that its key does not take.",
    "decimal-comma": "A comma in a number.",
    "comment": "A # that makes the rest of a text a comment.",
    "line-break": "A line break written as \\n outside double quotes.",
    "text": "A text that can't be shown: too long, empty, letters that the font lacks.",
    "clips": "A group that makes no clip, too many, or one that another group makes.",
    "step": "A step that is too short for its drawing, or words that have no step.",
    "place": "A place on the table that can't be used.",
    "method": "A method that does not reach the cut, or a method of one's own that does not hold together.",
    "setting": "A setting beyond its bounds, or without a meaning here.",
    "recording": "A recording, its marks or a filmed shot that do not fit.",
    "language": "Words that a language of the lesson lacks.",
    "no-effect": "Something that changes nothing.",
}
"""What each id stands for. An id keeps its meaning for good; the sentences may change."""
assert tuple(FAULTS) == get_args(FaultId)


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A place in a file: line and column count from 1."""

    file: str
    line: int = 1
    column: int = 1

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


LONGEST = 2000
"""Characters of a sentence; what is longer quotes something without end."""


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One thing that is wrong, and what to do next; or a note of what may not be meant."""

    place: Place
    sentence: str
    id: FaultId = "value"

    def __post_init__(self) -> None:
        # what it quotes must not look like another fault's line
        sentence = self.sentence.replace("\r", "\\r").replace("\n", "\\n")
        if len(sentence) > LONGEST:
            sentence = f"{sentence[: LONGEST // 2]} … {sentence[-LONGEST // 2 :]}"
        object.__setattr__(self, "sentence", sentence)

    def __str__(self) -> str:
        return f"{self.place}: {self.sentence}"


MOST_SHOWN = 100
KNOWN = re.compile(r"; known are: .*\.$")


class LessonError(Exception):
    """A file that cannot be used: all its faults, in the order of the file; its message tells the first 100.

    A place has each sentence once; a list of all that is known stands with the last fault that it helps.
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(_lists_once({(f.place, f.sentence): f for f in sorted(set(faults))}.values()))
        super().__init__("\n".join(str(fault) for fault in self.shown()))

    def told(self) -> str:
        """The message for a terminal: each fault with its line and a caret."""
        return with_lines(self.shown())

    def shown(self) -> list[Fault]:
        """The first hundred, and how many more there are."""
        first, more = self.faults[:MOST_SHOWN], self.faults[MOST_SHOWN:]
        if not more:
            return list(first)
        return [*first, Fault(more[0].place, f"here and below are {len(more):,} faults more.", more[0].id)]


def _lists_once(faults: Iterable[Fault]) -> Iterator[Fault]:
    faults = list(faults)
    last = {found[0]: k for k, fault in enumerate(faults) if (found := KNOWN.search(fault.sentence))}
    for k, fault in enumerate(faults):
        found = KNOWN.search(fault.sentence)
        if found and last[found[0]] != k:
            yield Fault(fault.place, KNOWN.sub(".", fault.sentence), fault.id)
        else:
            yield fault


def with_lines(faults: Iterable[Fault], *, notes: bool = False) -> str:
    """The faults for a person at a terminal: each with its id, its line, and a caret under the place.

    Reads the lines from the files named in the places; where there is no such file the sentences stand alone.
    """
    sources: dict[str, list[str]] = {}
    told = []
    for fault in faults:
        place = fault.place
        if place.file not in sources:
            sources[place.file] = _lines(Path(place.file))
        told.append(f"{place}: {'note: ' if notes else ''}{fault.sentence} [{fault.id}]")
        if place.line <= len(sources[place.file]):
            told += _caret(sources[place.file][place.line - 1], place)
    return "\n".join(told)


WIDEST = 100


def _caret(line: str, place: Place) -> list[str]:
    """The line with its number, and a caret under the column; of a long line the part around it."""
    at = min(place.column - 1, len(line))
    start = max(0, min(at - WIDEST // 2, len(line) - WIDEST)) if len(line) > WIDEST else 0
    shown = line[start : start + WIDEST]
    # a tab keeps its width over the caret
    under = "".join("\t" if c == "\t" else " " for c in shown[: at - start])
    number = str(place.line)
    return [f"  {number} | {shown}", f"  {' ' * len(number)} | {under}^"]


def _lines(path: Path) -> list[str]:
    try:
        return path.read_bytes().decode("utf-8-sig", "replace").splitlines()
    except (OSError, ValueError):
        return []


CURLY = "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u00ab\u00bb"


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """'; did you mean X?' where the word is a slip of one that is known, else the known words.

    A slip is a letter or two wrong, missing or too much, or the same words in another order; not another number.

    >>> did_you_mean("distence", ["distance", "cut"])
    "; did you mean 'distance'?"
    >>> did_you_mean("zebra", ["cut", "side"])
    '; known are: cut, side.'
    """
    known = list(known)
    bare = word.strip(CURLY)
    if bare != word and bare in known:
        return f"; curly quotes belong to the text: write '{bare}', or use straight ones."
    near = slip_of(word, tuple(known))
    if near:
        return f"; did you mean '{near}'?"
    return f"; known are: {', '.join(known)}." if known else "."


@cache
def slip_of(word: str, known: tuple[str, ...]) -> str | None:
    """The known word that another one was meant to be; None where that would be a guess."""
    written = _letters(word)
    parts = sorted(re.split(r"[\s_-]+", word.lower()))
    best, least = None, 3
    for one in known:
        meant = _letters(one)
        if written == meant or parts == sorted(re.split(r"[\s_-]+", one.lower())):
            return one
        if abs(len(written) - len(meant)) > 2 or re.findall(r"\d", written) != re.findall(r"\d", meant):
            continue
        slips = _slips(written, meant)
        if slips < least and slips <= (1 if min(len(written), len(meant)) < 6 else 2) and len(written) > 2:
            best, least = one, slips
    return best


def _letters(word: str) -> str:
    text = re.sub(r"[\s_-]+", "", word.lower())
    return re.sub(r"(?<=\d)(feet|foot)$", "ft", text)


def _slips(a: str, b: str) -> int:
    """How many letters are wrong, missing, too much or swapped (optimal string alignment distance)."""
    rows = [list(range(len(b) + 1))]
    for i, x in enumerate(a, 1):
        row = [i]
        for j, y in enumerate(b, 1):
            found = min(rows[-1][j] + 1, row[-1] + 1, rows[-1][j - 1] + (x != y))
            if i > 1 and j > 1 and x == b[j - 2] and a[i - 2] == y:
                found = min(found, rows[-2][j - 2] + 1)
            row.append(found)
        rows.append(row)
    return rows[-1][-1]
