"""Columns of answers as lines of JSON, without a dict for every row.

Most of an answer's text is the same in every row of a batch: keys, brackets, sentences, and each value that all
rows share. It is laid out once, with slots for what differs. The numbers of a block of rows are written by one
call of the JSON library, dealt into the slots, and joined. This is several times as fast as building and writing
a dict for each row.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import orjson

from aimgeo.asking.rows import Choice, Column, Columns, Nullable, is_known
from aimgeo.vectors import Array, BoolArray, IntArray

BLOCK_ROWS = 64
"""Rows that are dealt and joined together: few enough for the processor's cache."""


@dataclass(slots=True)
class _Layout:
    """A row as a list of texts, some of them slots to fill; rows of the batch go by the first axis.

    `numbers` and `words`: the place of each slot, with a float column (N,) or an object array of texts (N,).
    `spans`: what can be null as a whole: where it is present (N,), its first place, and the places behind it.
    """

    texts: list[bytes] = field(default_factory=lambda: [b""])
    numbers: list[tuple[int, Array]] = field(default_factory=list)
    words: list[tuple[int, Any]] = field(default_factory=list)
    spans: list[tuple[BoolArray, int, int]] = field(default_factory=list)

    def write(self, text: bytes) -> None:
        self.texts[-1] += text

    def slot(self) -> int:
        """The place of a new slot."""
        self.texts += [b"", b""]
        return len(self.texts) - 2

    def write_or_null(self, present: BoolArray, write: Callable[[], None]) -> None:
        """What is null as a whole where it is not `present`. An outer span comes after those that it holds."""
        if present.all():
            write()
        elif not present.any():
            self.write(b"null")
        else:
            self.texts.append(b"")
            first = len(self.texts) - 1
            write()
            self.spans.append((present, first, len(self.texts)))
            self.texts.append(b"")


def as_json(value: Any) -> bytes:
    """A plain value as JSON."""
    try:
        return orjson.dumps(value)
    except TypeError:  # a name holds half of a surrogate pair, which only an escape can carry
        return json.dumps(value, separators=(",", ":")).encode()


def texts(columns: Columns, count: int) -> Iterator[bytes]:
    """The rows as JSON objects; the same values as orjson.dumps of aimgeo.asking.rows.rows.

    >>> list(texts({"cut_deg": np.array([30.0, np.nan]), "at": np.array([[1.0, 2.0], [np.nan, 0.0]])}, 2))
    [b'{"cut_deg":30.0,"at":[1.0,2.0]}', b'{"cut_deg":null,"at":null}']
    """
    for block in blocks(columns, count):
        yield from block[:-1].split(b"\n")  # no JSON text holds a bare line feed


def blocks(columns: Columns, count: int) -> Iterator[bytes]:
    """The same as lines, some of them at a time."""
    layout = _Layout()
    _lay(layout, columns)
    layout.write(b"\n")
    numbers = np.empty((count, len(layout.numbers)))
    for j, (_, values) in enumerate(layout.numbers):
        np.add(values, 0.0, out=numbers[:, j])  # no minus zero
    for start in range(0, count, BLOCK_ROWS):
        block = slice(start, start + BLOCK_ROWS)
        yield _block(layout, numbers[block], block)


def _block(layout: _Layout, numbers: Array, block: slice) -> bytes:
    """The rows of a block, with their numbers (rows, slots for a number)."""
    count, width = numbers.shape
    written = orjson.dumps(numbers.ravel(), option=orjson.OPT_SERIALIZE_NUMPY)[1:-1].split(b",")
    step = len(layout.texts)
    page = layout.texts * count
    for j, (place, _) in enumerate(layout.numbers):
        page[place::step] = written[j::width]
    for place, words in layout.words:
        page[place::step] = words[block].tolist()
    for present, first, end in layout.spans:
        null = [b"null", *[b""] * (end - first - 1)]
        for row in np.flatnonzero(~present[block]).tolist():
            page[row * step + first : row * step + end] = null
    return b"".join(page)


def _lay(layout: _Layout, columns: Columns) -> None:
    layout.write(b"{")
    for n, (key, column) in enumerate(columns.items()):
        layout.write((b"," if n else b"") + orjson.dumps(key) + b":")
        _lay_column(layout, column)
    layout.write(b"}")


def _lay_column(layout: _Layout, column: Column) -> None:
    if isinstance(column, Mapping):
        _lay(layout, column)
    elif isinstance(column, Nullable):
        layout.write_or_null(column.present, lambda: _lay(layout, column.columns))
    elif isinstance(column, Choice):
        _lay_words(layout, column.codes, column.words)
    elif isinstance(column, list):
        _lay_words(layout, np.arange(len(column)), column)
    elif not isinstance(column, np.ndarray):
        layout.write(orjson.dumps(column))
    elif column.dtype.kind == "b":
        _lay_words(layout, column.astype(np.intp), (False, True))
    elif column.ndim == 1:
        _lay_numbers(layout, column)
    elif np.isfinite(column).all():
        _lay_point(layout, column)
    else:
        layout.write_or_null(is_known(column), lambda: _lay_point(layout, column))


def _lay_point(layout: _Layout, column: Array) -> None:
    for k in range(column.shape[1]):
        layout.write(b"," if k else b"[")
        _lay_numbers(layout, column[:, k])
    layout.write(b"]")


def _lay_numbers(layout: _Layout, column: Array) -> None:
    first = column[0]
    if (column == first).all():
        layout.write(orjson.dumps(float(first) + 0.0))
    else:
        layout.numbers.append((layout.slot(), column))


def _lay_words(layout: _Layout, codes: IntArray, words: Sequence[Any]) -> None:
    first = codes[0]
    if (codes == first).all():
        layout.write(as_json(words[first]))
    else:
        written = np.array([as_json(word) for word in words], object)
        layout.words.append((layout.slot(), written[codes]))
