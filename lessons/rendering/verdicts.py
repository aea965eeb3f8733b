"""Verdicts: the lists that reviewers export from the review page, read back; several lists are one."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from lessons.rendering.manifest import Clip, ManifestError

FINE, REDO = "fine", "redo"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What reviewers said of a clip. `said` has what each said; `version` is the start of its file's SHA-256."""

    clip: str
    version: str
    said: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]

    @property
    def verdict(self) -> str:
        """Fine, redo or nothing: one that says redo outweighs all that say fine."""
        said = {verdict for _, verdict in self.said}
        return REDO if REDO in said else FINE if FINE in said else ""

    @property
    def differs(self) -> str:
        """Who says what where they differ: 'Anna: fine, Ben: redo'; empty where they don't."""
        said = {verdict for _, verdict in self.said} - {""}
        return ", ".join(f"{who}: {what}" for who, what in self.said if what) if len(said) > 1 else ""

    def is_of(self, lesson: str, name: str) -> bool:
        """True when it is about this clip; a list made by hand may leave the lesson out."""
        return self.clip in (name, f"{lesson}/{name}")


def read_verdicts(paths: Iterable[Path]) -> tuple[Verdict, ...]:
    """The verdicts of all lists, one for each clip and version. A list without reviewers' names has its file's.

    ManifestError with the file and what to do when one can't be read.
    """
    found: dict[tuple[str, str], Verdict] = {}
    for path in paths:
        for row in _rows(path):
            clip, version = row["clip"], row.get("version") or ""
            note = row["note"].removeprefix("'")
            old = found.get((clip, version), Verdict(clip, version, (), ()))
            said = (*old.said, (row.get("reviewer") or path.name, row["verdict"]))
            notes = (*old.notes, note) if note and note not in old.notes else old.notes
            found[clip, version] = Verdict(clip, version, said, notes)
    return tuple(found.values())


def differences(verdicts: Iterable[Verdict]) -> Iterator[str]:
    """A sentence for each clip of which reviewers say different things."""
    for one in verdicts:
        if one.differs:
            yield f"{one.clip}: reviewers differ ({one.differs}); it counts as {one.verdict}."


def verdict_of(verdicts: Iterable[Verdict], lesson: str, clip: Clip) -> Verdict | None:
    """The verdict on a clip as it is now, not as it was earlier; one without a version is about any."""
    return next((v for v in verdicts if v.is_of(lesson, clip.name) and v.version in ("", version_of(clip))), None)


def version_of(clip: Clip) -> str:
    """What the review page calls a clip's version."""
    return clip.sha256[:16]


def _rows(path: Path) -> list[dict[str, str]]:
    try:
        with open(path, encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        reason = getattr(error, "strerror", None) or error
        raise ManifestError(
            f"{path}: cannot be read ({reason}); name a list that the review page exported."
        ) from None
    if not rows or not {"clip", "verdict", "note"} <= rows[0].keys():
        raise ManifestError(f"{path}: this is no list of verdicts; export it from the review page again.")
    return [{key: value or "" for key, value in row.items() if key} for row in rows]
