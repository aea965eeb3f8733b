"""The output folder: locked while it is written, swept of unfinished files, with a record of what is in it.

The record is a file of lines, one for every finished clip. A line is written before its file gets its name, so a
clip that has its name is always known; lines are only ever added, and the last one for a name counts.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import orjson

from lessons.rendering.cache import Key
from lessons.rendering.manifest import Clip, as_json, read_clip
from lessons.rendering.reasons import Cause, Reason
from scenes.files import UNFINISHED, sha256, write_whole
from scenes.film.forms import FORMS

RECORD = ".aimgeo.jsonl"


EXTENSIONS = {form.extension for form in FORMS.values()}

DELIVERED_FOLDERS = (
    "captioned", "captions", "deliveries", "frames", "pictures", "previews", "proxies", "sheets",
    "sound", "student",
)  # fmt: skip
"""Where, in a lesson's folder, the files lie that are delivered with each clip."""


class FolderError(Exception):
    """A folder that cannot be used, in a sentence."""


@dataclass(frozen=True, slots=True)
class Finished:
    """A clip that lies in the folder: its size in bytes, what its pixels depend on, and its manifest entry.

    `spoken` is the digest of the steps' words, which only the manifest tells.
    """

    size: int
    key: Key
    spoken: str
    entry: Clip

    @property
    def name(self) -> str:
        """The clip's name."""
        return self.entry.name

    @property
    def file(self) -> str:
        """The file's path in the folder."""
        return self.entry.file

    @property
    def sha256(self) -> str:
        """The file's SHA-256 in hexadecimal."""
        return self.entry.sha256

    def line(self) -> bytes:
        """The record's line."""
        told = {
            "size": self.size,
            "parts": self.key.parts,
            "facts": self.key.facts,
            "spoken": self.spoken,
            "entry": self.entry,
        }
        return as_json(told) + b"\n"


def read_record(folder: Path) -> dict[str, Finished]:
    """The finished clips by name; a line that was cut off, or says something else, is left out.

    Raises FolderError when the record is there and cannot be read.
    """
    try:
        lines = (folder / RECORD).read_bytes().split(b"\n")
    except (FileNotFoundError, NotADirectoryError):
        return {}
    except OSError as error:
        raise FolderError(
            f"{folder / RECORD} cannot be read: {error.strerror}; make it readable, or remove it to render anew."
        ) from None
    return {one.name: one for line in lines if (one := _finished(line)) is not None}


def _finished(line: bytes) -> Finished | None:
    """What a line of the record tells; None when it is not the line of a clip in this folder."""
    try:
        told = orjson.loads(line)
    except orjson.JSONDecodeError:
        return None
    match told:
        case {
            "size": int(size),
            "parts": dict(parts),
            "facts": {"libraries": dict()} as facts,
            "spoken": str(spoken),
            "entry": dict(entry),
        } if (clip := read_clip(entry)) and clip.file.removeprefix(clip.name) in EXTENSIONS:
            return Finished(size, Key(parts, facts), spoken, clip)
    return None


def append_record(folder: Path, finished: Finished) -> None:
    """Add a line, on the disk before this returns."""
    at = os.open(folder / RECORD, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o666)
    try:
        # a line cut off by a full disk or a kill must not spoil this one
        line = (b"\n" if os.fstat(at).st_size else b"") + finished.line()
        if os.write(at, line) != len(line):
            raise OSError(28, "No space left on device")
        os.fsync(at)
    finally:
        os.close(at)


def write_record(folder: Path, finished: Iterable[Finished]) -> None:
    """The whole record anew, in the given order."""
    write_whole(folder / RECORD, b"".join(f.line() for f in finished))


def fault(folder: Path, finished: Finished, record_time_ns: int, verify: bool) -> Reason | None:
    """What is wrong with a finished clip's file; None when it is sound.

    A file of the recorded size that is not younger than the record is taken as it is; else its sha256 decides.
    """
    path = folder / finished.file
    try:
        stat = path.stat()
        if stat.st_size != finished.size:
            return Reason(Cause.ALTERED)
        if verify or stat.st_mtime_ns > record_time_ns:
            return None if sha256(path) == finished.sha256 else Reason(Cause.ALTERED)
    except FileNotFoundError:
        return Reason(Cause.MISSING)
    except OSError:
        return Reason(Cause.UNREADABLE)
    return None


def record_time_ns(folder: Path) -> int:
    """When the record was last written; 0 when there is none."""
    try:
        return (folder / RECORD).stat().st_mtime_ns
    except OSError:
        return 0


def sweep(folder: Path) -> int:
    """Remove what an interrupted run left half-written; how many files that were. Call it with the lock held.

    Folders in it are looked into where `deliver` writes: others may be lessons' own, with a lock of their own.
    """
    deep = (path for name in DELIVERED_FOLDERS for path in (folder / name).rglob(".*.part"))
    stale = [path for path in (*folder.glob(".*.part"), *deep) if UNFINISHED.fullmatch(path.name)]
    for path in stale:
        path.unlink(missing_ok=True)
    return len(stale)


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold the folder, so that only one render or deliver writes into it; the lock ends with the process.

    Raises FolderError when the folder cannot be made or written, or somebody else holds it.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise FolderError(f"{folder} is a file; name a folder for the clips.") from None
    except OSError as error:
        raise FolderError(f"{folder} cannot be made: {error.strerror}; name another folder with --out.") from None
    probe = folder / f".probe.{os.getpid()}.part"
    try:
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise FolderError(
            f"nothing can be written to {folder}: {error.strerror}; make it writable or name another with --out."
        ) from None
    handle = _lock(folder)
    if handle is None:
        raise FolderError(
            f"another render or deliver is writing to {folder}; wait until it is done, or name another folder."
        )
    try:
        yield
    finally:
        os.close(handle)


def _lock(folder: Path) -> int | None:
    if os.name == "posix":
        import fcntl

        # the folder itself is locked, so that no lock file is left beside the clips
        handle = os.open(folder, os.O_RDONLY)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            # a network folder may know no locks: there nobody can be kept out
            if error.errno not in (errno.ENOLCK, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS):
                os.close(handle)
                return None
        return handle
    import msvcrt

    handle = os.open(folder / ".aimgeo.lock", os.O_RDWR | os.O_CREAT)
    try:
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
    except OSError:
        os.close(handle)
        return None
    return handle
