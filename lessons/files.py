"""Which lesson files are meant by the paths on a command line."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

import click

NAMED = re.compile(rb"^(own_methods|look|footage)\s*:", re.MULTILINE)
CLIPS = re.compile(rb"^clips\s*:", re.MULTILINE)
LOOKED_AT_BYTES = 1_000_000
ENDINGS = (".yaml", ".yml")


def lesson_files(paths: Iterable[Path]) -> tuple[Path, ...]:
    """The files themselves, and of each folder the lesson files in it and below, in the order of their names.

    Files of methods, of looks and of matches, which lessons name, are left out there.

    Raises click.ClickException for a path that is not there, or a folder without lessons.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(p for p in path.rglob("*") if p.suffix in ENDINGS and p.is_file() and not _is_named(p))
            if not inside:
                raise click.ClickException(f"{path.as_posix()}: no lesson file (*.yaml) in this folder.")
            found += inside
        elif path.exists():
            found.append(path)
        else:
            raise click.ClickException(f"{path.as_posix()}: there is no such file; check the name.")
    return tuple(dict.fromkeys(found))


def _is_named(path: Path) -> bool:
    """True for a file that lessons name and that is none: it holds methods, a look or a match, and no clips."""
    try:
        with path.open("rb") as file:
            text = file.read(LOOKED_AT_BYTES)
    except OSError:
        return False
    return bool(NAMED.search(text)) and not CLIPS.search(text)
