"""Running again: nothing changed, one word changed; and how time and memory grow with the number of clips."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from benchmarks.lessons import cards
from benchmarks.runs import aimgeo


def measure(folder: Path, count: int, workers: int) -> list[tuple[str, str, str]]:
    """Rows of the table for a lesson of so many small clips."""
    lesson, out = folder / "cards.yaml", folder / "cards"
    lesson.write_text(cards(count))
    first, _ = aimgeo("render", lesson, "--out", out, "--workers", workers)
    again = min(aimgeo("render", lesson, "--out", out)[0] for _ in range(3))
    verified, _ = aimgeo("render", lesson, "--out", out, "--verify")
    lesson.write_text(cards(count, "Another"))
    word, _ = aimgeo("render", lesson, "--out", out)
    return [
        (f"{count} small clips, the first time", f"{first:.1f}", ""),
        ("the same again, nothing changed", f"{again:.2f}", "best of three"),
        ("the same again with --verify", f"{verified:.2f}", ""),
        ("one word of one clip changed", f"{word:.2f}", "one clip rendered"),
    ]


def growth(folder: Path, counts: Sequence[int], workers: int) -> list[tuple[str, str, str]]:
    """Rows of the table: clips, seconds, peak memory."""
    rows = []
    for count in counts:
        lesson = folder / f"cards-{count}.yaml"
        lesson.write_text(cards(count))
        seconds, peaks = aimgeo("render", lesson, "--out", folder / f"cards-{count}", "--workers", workers)
        memory = f"{peaks['parent'] / 1024:.0f} MB, a worker {peaks['worker'] / 1024:.0f} MB"
        rows.append(
            (f"{count} small clips", f"{seconds:.1f}", f"{1000 * seconds / count:.0f} ms a clip; {memory}")
        )
    return rows
