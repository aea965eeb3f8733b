"""Write: single values of a lesson file are changed in place; every other byte stays as its author wrote it.

The reader's own spans say where a value stands. What comes out is read again and compared: it differs in the named
values alone, or nothing is written.
"""

from __future__ import annotations

import difflib
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lessons.lesson.explain import Location
from lessons.lesson.faults import LessonError, Place
from lessons.lesson.read import BREAK, Items, Keys, Node, Text, plain, read_text
from scenes.files import part_path, place

BOM = b"\xef\xbb\xbf"
BEHIND = {
    "spot": ("pocket", "distances", "sides", "cuts", "table", "units", "title", "kind"),
    "pocket": ("distances", "sides", "cuts", "table", "units", "title", "kind"),
    "offset": ("height", "back"),
}
"""Behind which of its siblings a new key stands best; else behind the last one that ends on its line."""


@dataclass(frozen=True, slots=True)
class Edit:
    """A value at a location, as it is to be written; a key that is not there yet is added to its mapping."""

    location: Location
    text: str


def changed(data: bytes, edits: Sequence[Edit], name: str = "lesson.yaml") -> bytes:
    """The file's bytes with some values changed.

    Raises LessonError when the bytes are no readable lesson, ValueError when a value can't be changed in place.

    >>> changed(b"cuts: [3/4]  # thick\\ntitle: A\\n", [Edit(("cuts", 0), "5/8")])
    b'cuts: [5/8]  # thick\\ntitle: A\\n'
    """
    tree = read_text(data, name)
    head, text = _decoded(data)
    starts = _line_starts(text)
    pieces: dict[tuple[int, int], str] = {}
    new: dict[int, Any] = {}
    added: dict[int, dict[str, Any]] = {}
    for edit in [part for each in edits for part in _parts(tree, each)]:
        span, words = _piece(text, starts, tree, edit, new, added)
        if span[0] == span[1]:
            pieces[span] = pieces.get(span, "") + words
        elif pieces.setdefault(span, words) != words:
            raise ValueError(f"{_told(edit.location)} is given two values.")
    out, last = text, len(text) + 1
    for (start, end), words in sorted(pieces.items(), reverse=True):
        if end > last:
            raise ValueError("two values to change lie in each other.")
        out, last = out[:start] + words + out[end:], start
    made = head + out.encode("utf-8")
    try:
        is_right = plain(read_text(made, name)) == _expected(tree, new, added)
    except LessonError:
        is_right = False
    if not is_right:
        told = ", ".join(_told(edit.location) for edit in edits)
        raise ValueError(f"{told} can't be changed in place; change it in the text.")
    return made


def retold(data: bytes, text: str) -> bytes:
    """The bytes of a text whose lines end in \\n, where lines that are in `data` already keep their bytes.

    New lines end as most lines of the file do. A byte order mark stays.

    >>> retold(b"a: 1\\r\\nb: 2", "a: 1\\nb: 3\\nc: 4")
    b'a: 1\\r\\nb: 3\\r\\nc: 4'
    """
    head, old = _decoded(data)
    parts = re.split("(\r\n|\n|\r)", old)
    bare, ends = parts[::2], [*parts[1::2], ""]
    usual = max(("\n", "\r\n", "\r"), key=ends.count)
    after = text.split("\n")
    out: list[str] = []
    for _, a, b, c, d in difflib.SequenceMatcher(None, bare, after, autojunk=False).get_opcodes():
        kept = [*ends[a:b], *[""] * (d - c)]
        out += [line + (end or usual) for line, end in zip(after[c:d], kept, strict=False)]
    out[-1] = after[-1]
    return head + "".join(out).encode("utf-8")


def save(path: Path, data: bytes, before: bytes | None) -> None:
    """Write a file whole or not at all: where a link leads to, with the mode that it had.

    Raises FileChangedError when the file no longer holds `before` (None: it must not be there).
    """
    path = path.resolve()
    now = path.read_bytes() if path.exists() else None
    if now != before:
        raise FileChangedError(path)
    part = part_path(path)
    try:
        part.write_bytes(data)
        if now is not None:
            os.chmod(part, path.stat().st_mode & 0o7777)
        place(part, path)
    finally:
        part.unlink(missing_ok=True)


class FileChangedError(Exception):
    """Somebody else has saved the file meanwhile: nothing was written."""


def _decoded(data: bytes) -> tuple[bytes, str]:
    head = BOM if data.startswith(BOM) else b""
    return head, data[len(head) :].decode("utf-8")


def _line_starts(text: str) -> list[int]:
    return [0, *(match.end() for match in BREAK.finditer(text))]


def _offset(starts: Sequence[int], at: Place) -> int:
    return starts[at.line - 1] + at.column - 1


def _parts(tree: Node, edit: Edit) -> list[Edit]:
    """A list in brackets is changed item by item: its commas, breaks and comments are its author's."""
    holder, key = _node(tree, edit.location[:-1]), edit.location[-1]
    node = holder.entries[str(key)][1] if isinstance(holder, Keys) and key in holder.entries else None
    written = read_text(edit.text, "value")
    if not (isinstance(node, Items) and isinstance(written, Items) and node.is_flow):
        return [edit]
    are_alike = len(node.items) == len(written.items)
    if not are_alike or not all(isinstance(item, Text) for item in (*node.items, *written.items)):
        return [edit]
    return [
        Edit((*edit.location, index), new.text)
        for index, (old, new) in enumerate(zip(node.items, written.items, strict=True))
        if isinstance(old, Text) and isinstance(new, Text) and old.text != new.text
    ]


def _piece(
    text: str,
    starts: Sequence[int],
    tree: Node,
    edit: Edit,
    new: dict[int, Any],
    added: dict[int, dict[str, Any]],
) -> tuple[tuple[int, int], str]:
    """What of the text an edit replaces, and by what. Notes in `new` and `added` what the tree is to hold then."""
    holder = _node(tree, edit.location[:-1])
    key = edit.location[-1]
    written = read_text(edit.text, "value")
    value = plain(written)
    if written.end != Place("value", 1, len(edit.text) + 1):
        raise ValueError(f"{edit.text!r} is no single value.")
    if isinstance(holder, Keys) and key not in holder.entries:
        added.setdefault(id(holder), {})[str(key)] = value
        return _addition(text, starts, holder, str(key), edit)
    node = _node(tree, edit.location)
    assert node.end is not None
    start, end = _offset(starts, node.place), _offset(starts, node.end)
    if anchor := re.compile(r"&\S+\s+").match(text, start):
        start = anchor.end()
    is_block = node.style in ("|", ">") if isinstance(node, Text) else not node.is_flow
    if is_block:
        raise ValueError(f"{_told(edit.location)} stands on lines of its own; change it in the text.")
    if not isinstance(node, Text) and "#" in text[start:end]:
        raise ValueError(f"{_told(edit.location)} holds a comment; change it in the text.")
    new[id(node)] = value
    words = edit.text
    if isinstance(node, Text) and node.style in ("'", '"') and isinstance(value, str):
        words = node.style + words + node.style
    elif isinstance(node, Text) and not node.text:
        words = " " + words
    return (start, end), words


def _addition(text: str, starts: Sequence[int], holder: Keys, key: str, edit: Edit) -> tuple[tuple[int, int], str]:
    if holder.is_flow:
        opening = text.index("{", _offset(starts, holder.place)) + 1
        more = ", " if holder.entries else ""
        return (opening, opening), f"{key}: {edit.text}{more}"
    places = {name: (at, node) for name, (at, node) in holder.entries.items() if _ends_on_a_line(at, node)}
    behind = next((name for name in BEHIND.get(key, ()) if name in places), None) or next(reversed(places), None)
    if behind is None:
        raise ValueError(f"{_told(edit.location)} finds no line to stand behind; write it into the text.")
    at, node = places[behind]
    assert node.end is not None
    end = BREAK.search(text, _offset(starts, node.end))
    where = end.start() if end else len(text)
    usual = end or BREAK.search(text)
    return (where, where), (usual[0] if usual else "\n") + " " * (at.column - 1) + f"{key}: {edit.text}"


def _ends_on_a_line(key: Place, node: Node) -> bool:
    """True for a value that stands behind its key (not an alias's) and has nothing but a comment after it."""
    if node.place < key:
        return False
    return node.style not in ("|", ">") if isinstance(node, Text) else node.is_flow


def node_at(tree: Node, location: Location) -> Node | None:
    """What stands at a place of a lesson's tree; None where nothing does."""
    here = tree
    for part in location:
        if isinstance(here, Keys) and part in here.entries:
            here = here.entries[str(part)][1]
        elif isinstance(here, Items) and isinstance(part, int) and part < len(here.items):
            here = here.items[part]
        else:
            return None
    return here


def _node(tree: Node, location: Location) -> Node:
    found = node_at(tree, location)
    if found is None:
        raise ValueError(f"there is no {_told(location)} in the file.")
    return found


def _expected(node: Node, new: Mapping[int, Any], added: Mapping[int, Mapping[str, Any]]) -> Any:
    """The plain tree after the edits; what an alias repeats is the same node, and changes with it."""
    if id(node) in new:
        return new[id(node)]
    if isinstance(node, Items):
        return [_expected(item, new, added) for item in node.items]
    if isinstance(node, Keys):
        kept = {key: _expected(value, new, added) for key, (_, value) in node.entries.items()}
        return kept | dict(added.get(id(node), {}))
    return plain(node)


def _told(location: Location) -> str:
    shown = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in location)
    return f"'{shown.removeprefix('.')}'"
