"""Small pictures kept between starts: a frame's orders, in a folder of the machine's cache that stays small."""

from __future__ import annotations

import os
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import orjson

from scenes.draw.orders import part_name
from scenes.files import part_path

MOST_BYTES = 64_000_000
ENDING = ".thumb"


@dataclass(frozen=True, slots=True)
class Small:
    """A frame's orders: the parts shown, as `Shown.told`, and what each part, and those it needs, says."""

    shown: tuple[tuple[str | float, ...], ...]
    parts: Mapping[str, bytes]


def cache_folder() -> Path:
    """Where this machine keeps what can be made again."""
    base = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or str(Path.home() / ".cache")
    return Path(base) / "aimgeo" / "live"


class Kept:
    """Frames by key. Without a folder nothing is kept; what can't be read or written is made again instead."""

    def __init__(self, folder: Path | None = None, most_bytes: int = MOST_BYTES) -> None:
        self.folder, self.most_bytes = folder, most_bytes
        self._bytes = sum(size for _, size, _ in self._files())

    def get(self, key: str) -> Small | None:
        """What is kept under a key, when all of it is as it was put there."""
        if self.folder is None:
            return None
        path = self.folder / f"{key}{ENDING}"
        try:
            told = orjson.loads(zlib.decompress(path.read_bytes()))
            parts = {name: bytes.fromhex(part) for name, part in told["parts"].items()}
            os.utime(path)
            shown: tuple[tuple[Any, ...], ...] = tuple(
                (str(name), *map(float, numbers)) for name, *numbers in told["shown"]
            )
        except (OSError, ValueError, KeyError, TypeError, AttributeError, zlib.error):
            return None
        is_whole = all(name == part_name(part) for name, part in parts.items())
        return Small(shown, parts) if is_whole and all(name in parts for name, *_ in shown) else None

    def put(self, key: str, small: Small) -> None:
        """Keep a frame; those that were looked at longest ago make room."""
        if self.folder is None:
            return
        told = {"shown": small.shown, "parts": {name: part.hex() for name, part in small.parts.items()}}
        data, path = zlib.compress(orjson.dumps(told), 1), self.folder / f"{key}{ENDING}"
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            part = part_path(path)
            part.write_bytes(data)
            os.replace(part, path)  # what a power cut leaves of it is known by its parts' names
        except OSError:
            return
        self._bytes += len(data)
        if self._bytes > self.most_bytes:
            self._make_room()

    def _make_room(self) -> None:
        self._bytes = 0
        for _, size, path in sorted(self._files(), reverse=True):
            if self._bytes + size <= self.most_bytes * 3 // 4:
                self._bytes += size
                continue
            try:
                path.unlink()
            except OSError:
                self._bytes += size

    def _files(self) -> list[tuple[float, int, Path]]:
        """When each was looked at, its size, and the file."""
        found = []
        for path in self.folder.glob(f"*{ENDING}") if self.folder is not None else ():
            try:
                told = path.stat()
            except OSError:
                continue
            found.append((told.st_mtime, told.st_size, path))
        return found
