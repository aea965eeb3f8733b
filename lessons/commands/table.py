"""`aimgeo table`: a lesson's accuracy table."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from lessons.lesson.faults import LessonError
from lessons.lesson.model import load
from lessons.planning.accuracy import accuracy as accuracy_of
from lessons.planning.accuracy import as_csv, as_json, as_text
from lessons.planning.plan import plan

FORMATS = {"text": as_text, "csv": as_csv, "json": as_json}


@click.command()
@click.argument("lesson", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--format", "form", type=click.Choice(list(FORMATS)), default="text", show_default=True)
def command(lesson: Path, form: str) -> None:
    """Print a lesson's accuracy table: each method taken literally, for every shot of its clips and every eye.

    The numbers are those of `aimgeo solve`; docs/geometry.md defines the readings.
    """
    try:
        table = accuracy_of(plan(load(lesson)))
    except LessonError as error:
        click.echo(error.told(), err=True)
        sys.exit(1)
    click.echo(FORMATS[form](table), nl=False)
