"""How long a step lasts: as long as its words take to say, and never shorter than its drawing."""

from __future__ import annotations

import re
from itertools import accumulate

from aimgeo.units import rounded, written
from scenes.board.brief import Output

WORDS_A_MINUTE = 140.0
CUE = "|"
LOOK_S = 1.2
"""Silence after a number that a step leaves behind, to look at it."""
PAUSE_A_SENTENCE_S = 0.35
"""Speaking rate and pause used when no recording exists (common practice for spoken lessons)."""

_ENDS = re.compile(r"[.!?…]+(?=\s|$)")


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


def cued(text: str) -> tuple[str, tuple[int, ...]]:
    """A narration without its cues, and how many words come before each of them.

    A bar stands where the next part of a step's drawing begins.

    >>> cued("Carry it |back. |Where it comes out is the contact point.")
    ('Carry it back. Where it comes out is the contact point.', (2, 3))
    """
    parts = text.split(CUE)
    counts = list(accumulate(len(part.split()) for part in parts))
    return " ".join("".join(parts).split()), tuple(counts[:-1])


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
