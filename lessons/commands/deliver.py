"""aimgeo deliver: everything that goes with rendered clips, made from their manifest."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from lessons.deliver import DELIVERIES, Wishes, review_page
from lessons.deliver.footage import Footage, disagreements, read_footage
from lessons.files import lesson_files
from lessons.lesson.faults import LessonError
from lessons.lesson.model import load
from lessons.planning.accuracy import accuracy
from lessons.planning.plan import plan
from lessons.rendering.folder import FolderError, locked, sweep
from lessons.rendering.manifest import FILE_NAME, ManifestError


@click.command()
@click.argument("lessons", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="The folder that holds the clips.")
@click.option("--non-drop", is_flag=True, help="At 29.97, number the frames without leaving any number out.")
@click.option("--bundle", is_flag=True, help="Also write an .otioz: the timeline with the clips inside.")
@click.option(
    "--frames", is_flag=True, help="Also write every picture as a PNG file, of clips in the form png-alpha."
)
@click.option("--previews", is_flag=True, help="Also write a short moving picture (GIF) of each clip.")
def command(
    lessons: tuple[Path, ...], out: Path, non_drop: bool, bundle: bool, frames: bool, previews: bool
) -> None:
    """Write timelines, captions, pictures, sheets and the review page for lessons' clips, without rendering.

    Several lessons have a folder each inside --out, by their identity, and get one review page for all.
    """
    files = lesson_files(lessons)
    wishes = Wishes(non_drop, bundle, frames, previews)
    done = [_deliver(path, out, len(files) > 1, wishes) for path in files]
    course = [lesson for lesson in done if lesson is not None]
    if len(course) > 1:
        with locked(out):
            sweep(out)
            page = review_page.deliver_course(out, course)
        click.echo(f"A review page for {len(course)} lessons: {page}.")
    sys.exit(0 if len(course) == len(done) else 1)


Lesson = tuple[Footage, Sequence[Mapping[str, Any]]]


def _deliver(path: Path, out: Path, is_one_of_many: bool, wishes: Wishes) -> Lesson | None:
    """Write what goes with a lesson: its footage and accuracy rows, or None when it can't be, which is told."""
    try:
        loaded = load(path)
        folder = out / loaded.identity if is_one_of_many else folder_of(out, loaded.identity)
        footage = read_footage(folder)
        made = plan(loaded, language=footage.language)
        if footage.identity != made.identity:
            raise ManifestError(
                f"{footage.folder}: these are the clips of lesson '{footage.identity}', not '{made.identity}'; "
                "name the folder of this lesson's clips with --out."
            )
        wishes = replace(wishes, accuracy=accuracy(made).rows)
        with locked(folder):
            sweep(folder)
            if wrong := list(disagreements(footage)):
                raise ManifestError("\n".join([*wrong, "Nothing was written."]))
            warnings = left(made.file, {clip.name for clip in made.clips}, footage) + write_all(footage, wishes)
    except (LessonError, ManifestError, FolderError) as error:
        click.echo(str(error), err=True)
        return None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        click.echo(f"{error.filename or out}: cannot be written: {reason}; make room or access.", err=True)
        return None
    for warning in warnings:
        click.echo(f"warning: {warning}", err=True)
    return footage, wishes.accuracy


def folder_of(out: Path, identity: str) -> Path:
    """The lesson's folder: `out`, or the one of its name inside, where a batch of lessons puts it."""
    return out if (out / FILE_NAME).exists() or not (out / identity / FILE_NAME).exists() else out / identity


def left(file: str, planned: set[str], footage: Footage) -> list[str]:
    """A sentence when the lesson and the folder name different clips."""
    rendered = {clip.name for clip in footage.clips}
    said = []
    if missing := sorted(planned - rendered):
        said.append(f"{file}: {len(missing)} clips are not rendered yet ({missing[0]} is one); run aimgeo render.")
    if extra := sorted(rendered - planned):
        said.append(
            f"{file}: {len(extra)} rendered clips are no longer in it ({extra[0]} is one); run aimgeo render."
        )
    return said


def write_all(footage: Footage, wishes: Wishes) -> list[str]:
    """Write every delivery, telling each as it is done; the warnings that came up."""
    warnings: list[str] = []
    for name, delivery in DELIVERIES.items():
        done = delivery.load().deliver(footage, wishes)
        warnings += done.warnings
        if done.files:
            first = done.files[0].relative_to(footage.folder).as_posix()
            more = f" and {len(done.files) - 1} more" if len(done.files) > 1 else ""
            click.echo(f"{name:<14} {delivery.says}: {first}{more}")
    click.echo(f"All of it is in {footage.folder}.")
    return warnings
