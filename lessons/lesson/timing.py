"""How long a step lasts: as long as its words take to say, and never shorter than its drawing."""

from __future__ import annotations

import re

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
