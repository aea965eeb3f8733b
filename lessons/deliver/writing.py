"""Files made by other programs' hands: whole or not there, like everything else in the folder."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from scenes.files import part_path, place, write_whole


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A temporary path in the folder of `path` that becomes `path` when the block ends well."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = part_path(path)
    try:
        yield part
        place(part, path)
    finally:
        part.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> Path:
    """Write UTF-8 text with its line ends as they are; the path again."""
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, text.encode("utf-8"))
    return path
