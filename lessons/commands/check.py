"""aimgeo check: read lesson files and report every fault."""

from __future__ import annotations

import json
import os
import pickle
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import click

from lessons.files import lesson_files
from lessons.lesson.faults import Fault, LessonError, with_lines
from lessons.lesson.model import load
from lessons.planning.plan import plan

SCHEMA = 1
"""The form of `--format json` (docs/messages.md), counted up when a key changes its meaning."""


@dataclass(frozen=True, slots=True)
class Found:
    """What is found in a file: its faults, or how many clips it makes and leaves out, with notes."""

    faults: tuple[Fault, ...] = ()
    clips: int = 0
    left_out: int = 0
    notes: tuple[Fault, ...] = ()


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
    paths = lesson_files(lessons)
    checked = dict(zip([path.as_posix() for path in paths], _side_by_side(paths), strict=True))
    if form == "json":
        click.echo(as_json(checked))
    else:
        for file, found in checked.items():
            _say(file, found)
    faulty = [found for found in checked.values() if found.faults]
    if faulty and form == "text":
        click.echo(_count(sum(len(found.faults) for found in faulty), len(faulty)), err=True)
    sys.exit(1 if faulty else 0)


def _side_by_side(paths: Sequence[Path]) -> list[Found]:
    """What is found in each file; shared out among the processors where a process is safely split."""
    count = min(len(paths), os.cpu_count() or 1) if sys.platform == "linux" else 1
    shares = [paths[k::count] for k in range(count)]
    answers = [_split_off(share) for share in shares[1:]]
    found: list[Found | None] = [None] * len(paths)
    found[::count] = [_checked(path) for path in shares[0]]
    for k, ((process, answer), share) in enumerate(zip(answers, shares[1:], strict=True), 1):
        with answer:
            told = answer.read()
        _, status = os.waitpid(process, 0)
        # what a process could not tell is found, or fails, here
        found[k::count] = pickle.loads(told) if status == 0 else [_checked(path) for path in share]
    return [one for one in found if one is not None]


def _split_off(paths: Sequence[Path]) -> tuple[int, BinaryIO]:
    """A process that checks these files: its number, and where it writes what it found."""
    reading, writing = os.pipe()
    if process := os.fork():
        os.close(writing)
        return process, os.fdopen(reading, "rb")
    status = 1
    try:
        with os.fdopen(writing, "wb") as answer:
            pickle.dump([_checked(path) for path in paths], answer)
        status = 0
    finally:
        os._exit(status)


def _checked(path: Path) -> Found:
    try:
        made = plan(load(path))
    except LessonError as error:
        return Found(error.faults)
    return Found((), len(made.clips), len(made.left_out), tuple(made.notes))


def _say(file: str, found: Found) -> None:
    if found.faults:
        click.echo(LessonError(found.faults).told(), err=True)
        return
    if found.notes:
        click.echo(with_lines(found.notes, notes=True), err=True)
    left = f", {found.left_out} left out (aimgeo plan tells why)" if found.left_out else ""
    click.echo(f"{file}: good, {found.clips} clip{'s' * (found.clips != 1)}{left}.")


def _count(faults: int, files: int) -> str:
    return f"{faults:,} fault{'s' * (faults != 1)} in {files:,} file{'s' * (files != 1)}."


def as_json(checked: dict[str, Found]) -> str:
    """What was found in each file, for other programs."""
    files: list[dict[str, Any]] = []
    for file, found in checked.items():
        clips, left = (None, None) if found.faults else (found.clips, found.left_out)
        row = {"good": not found.faults, "clips": clips, "left_out": left}
        files.append({"file": file, **row, "faults": _rows(found.faults), "notes": _rows(found.notes)})
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
