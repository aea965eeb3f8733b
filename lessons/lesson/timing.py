"""How long a step lasts: as long as its words take to say, and never shorter than its drawing."""

from __future__ import annotations

import re

from aimgeo.units import rounded, written
from scenes.board.brief import Output

WORDS_A_MINUTE = 140.0
PAUSE_A_SENTENCE_S = 0.35
"""Speaking rate and pause used when no recording exists (common practice for spoken lessons)."""


def spoken_s(text: str, words_a_minute: float = WORDS_A_MINUTE, pause_s: float = PAUSE_A_SENTENCE_S) -> float:
    """Seconds to say a text.

    >>> round(spoken_s("Carry the target line back. It comes out here."), 3)
    4.557
    """
    words = len(text.split())
    sentences = max(len(re.findall(r"[.!?…]+(?=\s|$)", text)), 1) if words else 0
    return words * 60 / words_a_minute + sentences * pause_s


def step_frames(
    output: Output,
    narration: str,
    draws_s: float,
    given_s: float | None = None,
    words_a_minute: float = WORDS_A_MINUTE,
    pause_s: float = PAUSE_A_SENTENCE_S,
) -> int:
    """Whole frames of a step: the given seconds, or the longer of words and drawing."""
    return output.frames(
        given_s if given_s is not None else max(spoken_s(narration, words_a_minute, pause_s), draws_s)
    )


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
