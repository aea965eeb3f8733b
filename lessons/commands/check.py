"""aimgeo check: read lesson files and report every fault."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click

from lessons.files import lesson_files
from lessons.lesson.faults import Fault, LessonError, with_lines
from lessons.lesson.model import load
from lessons.planning.plan import plan
from lessons.planning.planned import Plan

SCHEMA = 1
"""The form of `--format json` (docs/messages.md), counted up when a key changes its meaning."""


@click.command()
@click.argument("lessons", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True)
def command(lessons: tuple[Path, ...], form: str) -> None:
    """Read lesson files, or every lesson in a folder, and report all their faults.

    Each fault has its line with a caret, and its id in brackets; notes tell what is read without complaint and may
    not be meant. Exit status: 0 when all are good.

    \b
    aimgeo check cuts.yaml
    aimgeo check lessons/ --format json
    """
    checked = {path.as_posix(): _checked(path) for path in lesson_files(lessons)}
    if form == "json":
        click.echo(as_json(checked))
    else:
        for file, found in checked.items():
            _say(file, found)
    faulty = [found for found in checked.values() if isinstance(found, LessonError)]
    if faulty and form == "text":
        click.echo(_count(sum(len(error.faults) for error in faulty), len(faulty)), err=True)
    sys.exit(1 if faulty else 0)


def _checked(path: Path) -> Plan | LessonError:
    try:
        return plan(load(path))
    except LessonError as error:
        return error


def _say(file: str, found: Plan | LessonError) -> None:
    if isinstance(found, LessonError):
        click.echo(found.told(), err=True)
        return
    if found.notes:
        click.echo(with_lines(found.notes, notes=True), err=True)
    left = f", {len(found.left_out)} left out (aimgeo plan tells why)" if found.left_out else ""
    click.echo(f"{file}: good, {len(found.clips)} clip{'s' * (len(found.clips) != 1)}{left}.")


def _count(faults: int, files: int) -> str:
    return f"{faults:,} fault{'s' * (faults != 1)} in {files:,} file{'s' * (files != 1)}."


def as_json(checked: dict[str, Plan | LessonError]) -> str:
    """What was found in each file, for other programs."""
    files: list[dict[str, Any]] = []
    for file, found in checked.items():
        row: dict[str, Any]
        if isinstance(found, LessonError):
            row = {"good": False, "clips": None, "left_out": None, "faults": _rows(found.faults), "notes": []}
        else:
            clips, left = len(found.clips), len(found.left_out)
            row = {"good": True, "clips": clips, "left_out": left, "faults": [], "notes": _rows(found.notes)}
        files.append({"file": file, **row})
    count = sum(len(one["faults"]) for one in files)
    return json.dumps({"schema": SCHEMA, "faults": count, "files": files}, ensure_ascii=False, indent=1)


def _rows(faults: Iterable[Fault]) -> list[dict[str, Any]]:
    return [
        {
            "id": fault.id,
            "file": fault.place.file,
            "line": fault.place.line,
            "column": fault.place.column,
            "sentence": fault.sentence,
        }
        for fault in faults
    ]
