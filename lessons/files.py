"""Which lesson files are meant by the paths on a command line."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import click

ENDINGS = (".yaml", ".yml")


def lesson_files(paths: Iterable[Path]) -> tuple[Path, ...]:
    """The files themselves, and of each folder the lesson files in it and below, in the order of their names.

    Raises click.ClickException for a path that is not there, or a folder without lessons.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(p for p in path.rglob("*") if p.suffix in ENDINGS and p.is_file())
            if not inside:
                raise click.ClickException(f"{path.as_posix()}: no lesson file (*.yaml) in this folder.")
            found += inside
        elif path.exists():
            found.append(path)
        else:
            raise click.ClickException(f"{path.as_posix()}: there is no such file; check the name.")
    return tuple(dict.fromkeys(found))
