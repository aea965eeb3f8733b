"""The boxes of an MP4 or MOV file, completed after FFmpeg's muxer wrote it: reel, held pictures stored once.

Boxes and sample tables: ISO/IEC 14496-12; the timecode's sample description and its `name`: QuickTime File Format,
"Timecode Sample Description" (both from memory, checked by FFmpeg's demuxer and by GStreamer's).
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from scenes.files import part_path, place

NESTED = {b"moov", b"trak", b"mdia", b"minf", b"stbl"}
TIMECODE_FIELDS = 34
"""Bytes of a timecode's sample description before the boxes in it."""
PIECE = 1 << 20


@dataclass(slots=True)
class Box:
    """A box: its kind, and its content or the boxes in it."""

    kind: bytes
    content: bytes
    inner: list[Box]

    def packed(self) -> bytes:
        """The whole box."""
        content = b"".join(box.packed() for box in self.inner) or self.content
        return struct.pack(">I4s", 8 + len(content), self.kind) + content

    def find(self, *kinds: bytes) -> Box | None:
        """The first box below, kind by kind; None when there is none."""
        found: Box | None = self
        for kind in kinds:
            found = next((box for box in found.inner if box.kind == kind), None) if found else None
        return found


@dataclass(frozen=True, slots=True)
class Piece:
    """Bytes of the media: where they start, and how many they are."""

    at: int
    size: int


@dataclass(slots=True)
class Table:
    """Where a track's media lie: a chunk a piece, or for shared pictures a sample a piece."""

    samples: Box
    pieces: list[Piece]


def complete(path: Path, reel: str, holds_once: bool) -> None:
    """Give the file's timecode its reel's name, and store each different picture once where `holds_once`.

    Every sample stays, at its time; equal ones point at the same bytes. The file is rewritten in its place, the
    index before the media. ValueError when it is no such file.
    """
    with open(path, "rb") as source:
        top = dict(_top(source))
        if b"moov" not in top:
            raise ValueError(f"{path} has no index of its media")
        source.seek(top[b"moov"].at)
        (moov,) = parsed(source.read(top[b"moov"].size))
        for track in moov.inner:
            if _handler(track) == b"tmcd":
                _name_reel(track, reel)
        tables = [_table(track, source, holds_once) for track in moov.inner if track.kind == b"trak"]
        part = part_path(path)
        try:
            with open(part, "wb") as target:
                _write(source, target, top[b"ftyp"], moov, tables)
            place(part, path)
        finally:
            part.unlink(missing_ok=True)


def parsed(content: bytes) -> list[Box]:
    """The boxes in some bytes, those that hold boxes opened.

    >>> [box.kind for box in parsed(Box(b"moov", b"", [Box(b"mvhd", b"12", [])]).packed())[0].inner]
    [b'mvhd']
    """
    found, at = [], 0
    while at < len(content):
        size, kind = struct.unpack_from(">I4s", content, at)
        if size < 8:
            raise ValueError("a box is shorter than its head")
        inside = content[at + 8 : at + size]
        found.append(Box(kind, inside, parsed(inside) if kind in NESTED else []))
        at += size
    return found


def _top(source: BinaryIO) -> Iterator[tuple[bytes, Piece]]:
    """The boxes of a whole file, as pieces with their heads."""
    at, end = 0, source.seek(0, 2)
    while at + 8 <= end:
        source.seek(at)
        size, kind = struct.unpack(">I4s", source.read(8))
        if size == 1:
            (size,) = struct.unpack(">Q", source.read(8))
        size = size or end - at
        yield kind, Piece(at, size)
        at += size


def _handler(track: Box) -> bytes:
    found = track.find(b"mdia", b"hdlr")
    return found.content[8:12] if found else b""


def _name_reel(track: Box, reel: str) -> None:
    described = track.find(b"mdia", b"minf", b"stbl", b"stsd")
    if described is None:
        raise ValueError("a timecode without a description")
    text = reel.encode("ascii")
    name = Box(b"name", struct.pack(">HH", len(text), 0) + text, []).packed()
    head, entry = described.content[:8], described.content[8 : 8 + TIMECODE_FIELDS]
    described.content = head + struct.pack(">I", TIMECODE_FIELDS + len(name)) + entry[4:] + name


def _table(track: Box, source: BinaryIO, holds_once: bool) -> Table:
    """A track's media; a picture track's by samples when they are shared."""
    samples = track.find(b"mdia", b"minf", b"stbl")
    if samples is None:
        raise ValueError("a track without samples")
    chunks = list(_chunks(samples))
    if not holds_once or _handler(track) != b"vide":
        return Table(samples, [Piece(each[0].at, sum(one.size for one in each)) for each in chunks])
    first: dict[bytes, Piece] = {}
    pieces = [first.setdefault(_digest(source, one), one) for each in chunks for one in each]
    by_kind = {box.kind: box for box in samples.inner}
    by_kind[b"stsc"].content = struct.pack(">IIIII", 0, 1, 1, 1, 1)
    return Table(samples, pieces)


def _chunks(samples: Box) -> Iterator[list[Piece]]:
    """Each chunk's samples."""
    by_kind = {box.kind: box.content for box in samples.inner}
    same, count = struct.unpack_from(">II", by_kind[b"stsz"], 4)
    sizes = iter([same] * count if same else struct.unpack_from(f">{count}I", by_kind[b"stsz"], 12))
    wide = b"co64" in by_kind
    offsets = by_kind[b"co64" if wide else b"stco"]
    (chunks,) = struct.unpack_from(">I", offsets, 4)
    (runs,) = struct.unpack_from(">I", by_kind[b"stsc"], 4)
    table = [struct.unpack_from(">II", by_kind[b"stsc"], 8 + 12 * k) for k in range(runs)]
    for k, at in enumerate(struct.unpack_from(f">{chunks}{'Q' if wide else 'I'}", offsets, 8), 1):
        each = []
        for _ in range(next(n for first, n in reversed(table) if first <= k)):
            each.append(Piece(at, next(sizes)))
            at += each[-1].size
        yield each


def _digest(source: BinaryIO, piece: Piece) -> bytes:
    source.seek(piece.at)
    return hashlib.sha256(source.read(piece.size)).digest()


def _write(source: BinaryIO, target: BinaryIO, head: Piece, moov: Box, tables: list[Table]) -> None:
    """The file anew: its type, the index, and each piece of media once in the order in which they stood."""
    order = sorted({piece for table in tables for piece in table.pieces}, key=lambda piece: piece.at)
    moved, size = {}, 0
    for piece in order:
        moved[piece], size = size, size + piece.size
    before = head.size + len(_placed(moov, tables, moved, 0)) + 16
    _copy(source, target, head)
    target.write(_placed(moov, tables, moved, before))
    target.write(struct.pack(">I4sQ", 1, b"mdat", 16 + size))
    for piece in order:
        _copy(source, target, piece)


def _placed(moov: Box, tables: list[Table], moved: dict[Piece, int], base: int) -> bytes:
    """The index, for media that begin at `base`."""
    for table in tables:
        offsets = [base + moved[piece] for piece in table.pieces]
        packed = struct.pack(f">II{len(offsets)}Q", 0, len(offsets), *offsets)
        k = next(k for k, box in enumerate(table.samples.inner) if box.kind in (b"stco", b"co64"))
        table.samples.inner[k] = Box(b"co64", packed, [])
    return moov.packed()


def _copy(source: BinaryIO, target: BinaryIO, piece: Piece) -> None:
    source.seek(piece.at)
    left = piece.size
    while left:
        content = source.read(min(left, PIECE))
        if not content:
            raise ValueError("the media are shorter than their index says")
        target.write(content)
        left -= len(content)
