"""aimgeo check: read lesson files and report every fault."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from lessons.files import lesson_files
from lessons.lesson.faults import LessonError
from lessons.lesson.model import load
from lessons.planning.plan import plan


@click.command()
@click.argument("lessons", nargs=-1, required=True, type=click.Path(path_type=Path))
def command(lessons: tuple[Path, ...]) -> None:
    """Read lesson files, or every lesson in a folder, and report all their faults."""
    faults = files = 0
    for path in lesson_files(lessons):
        try:
            made = plan(load(path))
        except LessonError as error:
            faults, files = faults + len(error.faults), files + 1
            click.echo(str(error), err=True)
            continue
        left = f", {len(made.left_out)} left out (aimgeo plan tells why)" if made.left_out else ""
        click.echo(f"{path.as_posix()}: good, {len(made.clips)} clip{'s' * (len(made.clips) > 1)}{left}.")
    if faults:
        told = f"{faults:,} fault{'s' * (faults > 1)} in {files:,} file{'s' * (files > 1)}."
        click.echo(told, err=True)
    sys.exit(1 if faults else 0)
