"""Files that are whole or not there: written under another name beside their place, then renamed."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A temporary path in the folder of `path` that becomes `path` when the block ends well."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        yield part
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> Path:
    """Write UTF-8 text with plain line ends; the path again."""
    return write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, content: bytes) -> Path:
    """Write bytes; the path again."""
    with whole_file(path) as part:
        part.write_bytes(content)
    return path
