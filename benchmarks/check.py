"""Checking a lesson: processor time of the whole command, beside that of the libraries which it needs at least."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from benchmarks.solve import processor_seconds

RUNS = 9
FLOOR = "import numpy, pydantic, yaml, click"
COURSE = Path("lessons/course")
CHECKED = {"the lesson of own methods": COURSE / "ways-of-my-own.yaml", "every lesson of the course": COURSE}


def measure() -> list[tuple[str, str, str]]:
    """Rows of the table: the middle of some runs, and how many times the floor's it is."""
    floor = _middle([sys.executable, "-c", FLOOR])
    rows = [("Python and the libraries that reading needs, imported", f"{floor:.2f}", "the floor")]
    for what, path in CHECKED.items():
        middle = _middle([sys.executable, "-m", "lessons.cli", "check", str(path)])
        rows.append((f"`check` of {what}", f"{middle:.2f}", f"{middle / floor:.1f} times the floor"))
    return rows


def _middle(words: list[str]) -> float:
    with Path(os.devnull).open("wb") as out:
        processor_seconds(words, out)  # writes Python's bytecode where there is none
        return sorted(processor_seconds(words, out) for _ in range(RUNS))[RUNS // 2]
