"""aimgeo sheets: everything for the table, printed, without rendering."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from lessons.commands.deliver import own_wishes
from lessons.deliver import Wishes, aim_charts, practice_sheets, set_up_sheets
from lessons.deliver.footage import Footage
from lessons.files import lesson_files
from lessons.lesson.faults import LessonError
from lessons.lesson.model import load
from lessons.lesson.wording import LANGUAGES
from lessons.planning.plan import plan
from lessons.rendering.manifest import planned_manifest


@click.command()
@click.argument("lessons", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--out", required=True, type=click.Path(file_okay=False, path_type=Path), help="The folder for them."
)
@click.option(
    "--only", multiple=True, metavar="PATTERN", help="The shots of clips whose name fits, such as 'table_*'."
)
@click.option(
    "--language", type=click.Choice(LANGUAGES), help="One of the lesson's languages; its first if left out."
)
def command(lessons: tuple[Path, ...], out: Path, only: tuple[str, ...], language: str | None) -> None:
    """Write the sheets of lessons from the files alone: nothing has to be rendered.

    Set-up sheets, aim charts, and practice sheets: all cue-ball places of a spot, numbered in an order with a
    short way, the eyes from the side, true-scale templates, a blank page. A4 and Letter, in OUT/LESSON/sheets.

    \b
    aimgeo sheets monday.yaml --out paper
    """
    is_faulty = False
    for path in lesson_files(lessons):
        try:
            lesson = load(path)
            made = plan(lesson, language=language).only(only)
        except LessonError as error:
            is_faulty = True
            click.echo(error.told(), err=True)
            continue
        if not made.clips:
            raise click.ClickException(f"no clip of {path} fits {' or '.join(map(repr, only))}.")
        folder = out / made.identity
        footage = Footage(folder, planned_manifest(made, folder))
        wishes = Wishes(own=own_wishes(lesson, made))
        files = [
            file
            for kind in (set_up_sheets, aim_charts, practice_sheets)
            for file in kind.deliver(footage, wishes).files
        ]
        if not files:
            click.echo(f"{made.file}: has no shot on a table, so there is nothing to print.", err=True)
        for file in files:
            click.echo(file.as_posix())
    sys.exit(1 if is_faulty else 0)
