"""The files that a lesson names, and those that these name in turn: what changes in them changes its pictures."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from lessons.files import ENDINGS
from lessons.lesson.faults import LessonError
from lessons.lesson.read import Items, Node, Text, read_text

MOST_NAMED, DEEPEST = 400, 3
FILE = re.compile(r"[^\n\0]{1,200}\.[A-Za-z][A-Za-z0-9]{1,5}")
"""A value that may be a file's name; whether there is such a file does not matter."""


def named_files(path: Path, data: bytes, deep: int = DEEPEST) -> frozenset[Path] | None:
    """The files that a lesson's text names, resolved; None for a text with a fault of form."""
    try:
        tree = read_text(data, path.name)
    except LessonError:
        return None
    found = {path.with_name(f"{path.stem}.lengths.json").resolve()}
    for text in _texts(tree):
        if len(found) < MOST_NAMED and FILE.fullmatch(text.strip()):
            found |= _with_its_own((path.parent / text.strip()).resolve(), deep)
    return frozenset(found)


def _with_its_own(file: Path, deep: int) -> set[Path]:
    """A file, and what it names when it is YAML; of a match file also its answer."""
    found = {file}
    if file.suffix in ENDINGS and deep:
        found.add(file.with_name(f"{file.stem}.match.json"))
        with suppress(OSError):
            found |= named_files(file, file.read_bytes(), deep - 1) or set()
    return found


def _texts(node: Node) -> Iterator[str]:
    if isinstance(node, Text):
        yield node.text
    else:
        inside = node.items if isinstance(node, Items) else [value for _, value in node.entries.values()]
        for one in inside:
            yield from _texts(one)
