"""Whole files only: written under another name in the same folder, on the disk before they get their own."""

from __future__ import annotations

import hashlib
import os
import re
from contextlib import suppress
from pathlib import Path

UNFINISHED = re.compile(r"\..+\.\d+\.part")
"""Names of files that are not whole: hidden, with the process that writes them."""


def sha256(path: Path) -> str:
    """The file's SHA-256 in hexadecimal."""
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def part_path(path: Path) -> Path:
    """The name under which this process writes a file before it is whole.

    >>> UNFINISHED.fullmatch(part_path(Path("clips/title.mp4")).name) is not None
    True
    """
    return path.with_name(f".{path.name}.{os.getpid()}.part")


def drop(part: Path) -> None:
    """Remove an unfinished file; on a disk that became read-only the next run sweeps it."""
    with suppress(OSError):
        part.unlink(missing_ok=True)


def whole_name(path: str) -> str:
    """The name that a file gets once it is whole: what a person is told of one that can't be written.

    >>> whole_name("clips/.title.mp4.4711.part")
    'clips/title.mp4'
    """
    folder, name = os.path.split(path)
    if UNFINISHED.fullmatch(name):
        name = name[1:].rsplit(".", 2)[0]
    return os.path.join(folder, name)


def place(part: Path, path: Path) -> None:
    """Give a finished file its name, so that it is there whole or not at all, even after a power cut."""
    with open(part, "rb+") as file:
        os.fsync(file.fileno())
    os.replace(part, path)
    if os.name == "posix":
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def write_whole(path: Path, content: bytes) -> None:
    """Write a file whole or not at all; one that has this content already is left as it is."""
    try:
        if path.read_bytes() == content:
            return
    except FileNotFoundError:
        pass
    part = part_path(path)
    try:
        part.write_bytes(content)
        place(part, path)
    except BaseException:
        drop(part)
        raise
