"""aimgeo script: the narration script to read from."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from lessons.deliver.printing import PAPERS, print_pdf
from lessons.deliver.script import markdown, told
from lessons.deliver.writing import write_text
from lessons.files import lesson_files
from lessons.lesson.faults import LessonError
from lessons.lesson.model import load
from lessons.lesson.wording import LANGUAGES
from lessons.planning.plan import plan


@click.command()
@click.argument("lessons", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(file_okay=False, path_type=Path), help="The folder for it.")
@click.option(
    "--language", type=click.Choice(LANGUAGES), help="One of the lesson's languages; its first if left out."
)
def command(lessons: tuple[Path, ...], out: Path, language: str | None) -> None:
    """Write the narration script of lessons, to read from: Markdown, and printed on A4 and Letter."""
    is_faulty = False
    for path in lesson_files(lessons):
        try:
            made = plan(load(path), language=language)
        except LessonError as error:
            is_faulty = True
            click.echo(error.told(), err=True)
            continue
        stem = f"{made.identity}_script"
        files = [write_text(out / f"{stem}.md", markdown(made))]
        fonts = [Path(font.path) for font in made.fonts]
        files += [
            print_pdf("script.typ", told(made), out / f"{stem}_{paper}.pdf", paper, fonts) for paper in PAPERS
        ]
        click.echo("\n".join(file.as_posix() for file in files))
    sys.exit(1 if is_faulty else 0)
