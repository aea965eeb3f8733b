"""Verdicts: the list that reviewers export from the review page, read back; several lists are one."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from lessons.rendering.manifest import ManifestError

FINE, REDO = "fine", "redo"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What reviewers said of a clip: fine, redo or nothing. `version` is the start of its file's SHA-256."""

    clip: str
    verdict: str
    notes: tuple[str, ...]
    version: str

    def is_of(self, lesson: str, name: str) -> bool:
        """True when it is about this clip; a course's page names the lesson's folder first."""
        return self.clip in (name, f"{lesson}/{name}")


def read_verdicts(paths: Iterable[Path]) -> tuple[Verdict, ...]:
    """The verdicts of all lists, one for each clip and version: one that says redo outweighs all that say fine.

    ManifestError with the file and what to do when one can't be read.
    """
    found: dict[tuple[str, str], Verdict] = {}
    for path in paths:
        for row in _rows(path):
            key = (row["clip"], row.get("version") or "")
            note = row["note"].removeprefix("'")
            old = found.get(key, Verdict(*key[:1], "", (), key[1]))
            said = {old.verdict, row["verdict"]}
            verdict = REDO if REDO in said else FINE if FINE in said else ""
            notes = (*old.notes, note) if note and note not in old.notes else old.notes
            found[key] = Verdict(old.clip, verdict, notes, old.version)
    return tuple(found.values())


def _rows(path: Path) -> list[dict[str, str]]:
    try:
        with open(path, encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise ManifestError(
            f"{path}: cannot be read ({error}); export the list from the review page again."
        ) from None
    if not rows or not {"clip", "verdict", "note"} <= rows[0].keys():
        raise ManifestError(f"{path}: this is no list of verdicts; export it from the review page again.")
    return rows
