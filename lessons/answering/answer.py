"""Streams of requests: one JSON object a line in, one answer a line out, in order and in constant memory."""

from __future__ import annotations

import gc
import json
import select
from collections.abc import Iterator
from typing import Any, BinaryIO

import numpy as np
import orjson

from aimgeo.asking.fields import Refusal
from aimgeo.asking.parts import Part
from aimgeo.asking.solve import answer, answer_parts, shot_answer
from lessons.answering.answer_text import BLOCK_ROWS, blocks, texts

__all__ = ["answer", "answer_blocks", "answer_stream", "parse", "shot_answer"]
"""What other parts of `lessons` may ask; they know nothing of `aimgeo.asking`."""

CHUNK_BYTES = 1 << 20
CHUNK_LINES = 4096
LINE_BYTES = 1 << 20
"""A longer line is refused, so that memory stays bounded whatever comes in."""
PATIENCE_S = 0.005
"""How long a chunk that is not full waits for more: long for a program that writes, short for a person."""


def answer_stream(source: BinaryIO, sink: BinaryIO) -> int:
    """Answer every line of `source` into `sink`; how many were refused.

    Whatever has arrived is answered without waiting for the stream's end.
    """
    refused = 0
    collecting = gc.isenabled()
    gc.disable()  # a chunk is many thousand small dicts without a cycle among them
    try:
        for lines in _chunks(source):
            written, errors = answer_blocks([parse(line) for line in lines])
            refused += errors
            for block in written:
                sink.write(block)
            sink.flush()
    finally:
        if collecting:
            gc.enable()
    return refused


def answer_blocks(requests: list[Any]) -> tuple[Iterator[bytes], int]:
    """The answers as lines of JSON, some of them at a time, and how many of them are refusals."""
    made, refused = answer_parts(requests)
    parts = _together(made)
    if len(parts) == 1:  # each request has some part, so this one answers all of them
        return blocks(parts[0].columns, len(requests)), refused
    return _woven(parts, len(requests)), refused


def _woven(parts: list[Part], count: int) -> Iterator[bytes]:
    """Blocks of lines, each line put together from the parts that it has."""
    of_line: list[list[Iterator[bytes]]] = [[] for _ in range(count)]
    for part in parts:
        lines = texts(part.columns, part.places.size)
        for place in part.places.tolist():
            of_line[place].append(lines)
    for start in range(0, count, BLOCK_ROWS):
        block = of_line[start : start + BLOCK_ROWS]
        yield b"".join([b"{" + b",".join([next(lines)[1:-1] for lines in found]) + b"}\n" for found in block])


def _together(parts: list[Part]) -> list[Part]:
    """Parts of the same answers as one, so that their text is laid out once."""
    made: list[Part] = []
    for part in parts:
        if made and np.array_equal(made[-1].places, part.places):
            made[-1] = Part(part.places, {**made[-1].columns, **part.columns})
        else:
            made.append(part)
    return made


def parse(line: bytes | None) -> Any:
    """The request on a line (None: a line that is too long); where it holds none, the Refusal to answer with."""
    if line is None:
        return Refusal("bad_json", f"The line is longer than {LINE_BYTES} bytes.", None)
    try:
        request = orjson.loads(line)
    except orjson.JSONDecodeError:
        return _parse_slowly(line)
    # orjson keeps the last of two equal keys. Each key has a colon, so equal counts rule a second one out; a
    # colon in a text only sends the line the slow way.
    if type(request) is dict and line.count(b":") != _key_count(request):
        return _parse_slowly(line)
    return request


def _key_count(value: dict[str, Any]) -> int:
    count = len(value)
    for part in value.values():
        if type(part) is dict:
            count += _key_count(part)
    return count


def _parse_slowly(line: bytes) -> Any:
    """As the standard library reads it: NaN and Infinity come through, to be refused by name; keys stay unique."""
    try:
        return json.loads(line.decode("utf-8"), object_pairs_hook=_unique)
    except Refusal as refusal:
        return refusal
    except RecursionError:
        return Refusal("bad_json", "This is nested too deeply.", None)
    except ValueError as error:  # JSONDecodeError and UnicodeDecodeError are ValueErrors, and so are huge integers
        if not line.strip():
            return Refusal("bad_json", "The line is empty; a request is one JSON object on one line.", None)
        where = (
            f"column {error.colno}: {error.msg}"
            if isinstance(error, json.JSONDecodeError)
            else "it is no UTF-8 text"
        )
        return Refusal("bad_json", f"This is no JSON object, {where}.", None)


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        seen: set[str] = set()
        key = next(k for k, _ in pairs if k in seen or seen.add(k))  # type: ignore[func-returns-value]
        raise Refusal("bad_json", f"The key {key!a} stands here twice.", key)
    return made


def _chunks(source: BinaryIO) -> Iterator[list[bytes | None]]:
    """The lines that have arrived, in lists of at most CHUNK_LINES; None for one that is too long."""
    rest = b""
    skipping = False  # inside a line that is too long
    first = True
    while block := _block(source):
        if first:
            block, first = block.removeprefix(b"\xef\xbb\xbf"), False
        lines: list[bytes | None] = [*(rest + block).split(b"\n")]
        rest = lines.pop() or b""
        if skipping and lines:
            lines[0], skipping = None, False
        if skipping or len(rest) > LINE_BYTES:
            rest, skipping = b"", True
        for start in range(0, len(lines), CHUNK_LINES):
            yield [line if line is None or len(line) <= LINE_BYTES else None
                   for line in lines[start : start + CHUNK_LINES]]  # fmt: skip
    if skipping or rest:
        yield [None if skipping else rest]


def _block(source: BinaryIO) -> bytes:
    """About CHUNK_BYTES, or less when no more has arrived; empty at the end."""
    block = source.read1(CHUNK_BYTES)  # type: ignore[attr-defined]
    if not block or len(block) >= CHUNK_BYTES:
        return block
    pieces, size = [block], len(block)
    while size < CHUNK_BYTES and _has_more(source):
        block = source.read1(CHUNK_BYTES - size)  # type: ignore[attr-defined]
        if not block:
            break
        pieces.append(block)
        size += len(block)
    return b"".join(pieces)


def _has_more(source: BinaryIO) -> bool:
    try:
        return bool(select.select([source], [], [], PATIENCE_S)[0])
    except (OSError, ValueError):  # no file descriptor (a test's BytesIO), or one that Windows cannot wait for
        return False
