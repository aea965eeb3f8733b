"""Write: single values of a lesson file are changed in place; every other byte stays as its author wrote it.

The reader's own spans say where a value stands. What comes out is read again and compared: it differs in the named
values alone, or nothing is written.
"""

from __future__ import annotations

import difflib
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
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
    """A value at a location, as it is to be written; a key that is not there yet is added to its mapping.

    A list takes one item more at the index behind its last. Without a text the entry goes, with the comment on its
    line. `renamed` is the key's new name.
    """

    location: Location
    text: str | None
    renamed: str = ""


@dataclass(slots=True)
class _After:
    """What the tree is to hold after the edits, by the nodes that it holds now."""

    new: dict[int, Any] = field(default_factory=dict)
    added: dict[int, dict[str, Any]] = field(default_factory=dict)
    more: dict[int, list[Any]] = field(default_factory=dict)
    gone: set[tuple[int, str | int]] = field(default_factory=set)
    renamed: dict[tuple[int, str | int], str] = field(default_factory=dict)


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
    after = _After()
    for edit in dict.fromkeys(part for each in edits for part in _parts(tree, each)):
        for span, words in _pieces(text, starts, tree, edit, after):
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
        is_right = plain(read_text(made, name)) == _expected(tree, after)
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
    # the parser may end the last value in a line behind the text
    return [0, *(match.end() for match in BREAK.finditer(text)), len(text)]


def _offset(starts: Sequence[int], at: Place) -> int:
    return starts[at.line - 1] + at.column - 1


def _parts(tree: Node, edit: Edit) -> list[Edit]:
    """A list or a mapping is changed value by value: commas, breaks and comments are its author's."""
    holder, key = _node(tree, edit.location[:-1]), edit.location[-1]
    node = holder.entries[str(key)][1] if isinstance(holder, Keys) and key in holder.entries else None
    if edit.text is None or edit.renamed or not isinstance(node, Items | Keys):
        return [edit]
    inner = list(_inner(node, read_text(edit.text, "value"), edit.location))
    return [edit] if None in inner else [one for one in inner if one is not None]


def _inner(node: Node, written: Node, at: Location) -> Iterator[Edit | None]:
    """The edits within a node that make it what is written; None where the two are of unlike shape."""
    if isinstance(node, Text) and isinstance(written, Text):
        if node.text != written.text:
            yield Edit(at, written.text)
    elif isinstance(node, Items) and isinstance(written, Items) and len(node.items) == len(written.items):
        for index, (old, new) in enumerate(zip(node.items, written.items, strict=True)):
            yield from _inner(old, new, (*at, index))
    elif isinstance(node, Keys) and isinstance(written, Keys) and node.entries.keys() == written.entries.keys():
        for key, (_, old) in node.entries.items():
            yield from _inner(old, written.entries[key][1], (*at, key))
    else:
        yield None


def _pieces(
    text: str, starts: Sequence[int], tree: Node, edit: Edit, after: _After
) -> Iterator[tuple[tuple[int, int], str]]:
    """What of the text an edit replaces, and by what. Notes in `after` what the tree is to hold then."""
    holder, key = _node(tree, edit.location[:-1]), edit.location[-1]
    if edit.text is None:
        after.gone.add((id(holder), key))
        for span in _removal(text, starts, holder, key, edit):
            yield span, ""
        return
    written = read_text(edit.text, "value")
    value = plain(written)
    if written.end != Place("value", 1, len(edit.text) + 1):
        raise ValueError(f"{edit.text!r} is no single value.")
    if isinstance(holder, Keys) and key not in holder.entries:
        after.added.setdefault(id(holder), {})[str(key)] = value
        yield _addition(text, starts, holder, str(key), edit)
        return
    if isinstance(holder, Items) and key == len(holder.items):
        after.more.setdefault(id(holder), []).append(value)
        yield _one_more(text, starts, holder, edit)
        return
    if edit.renamed and isinstance(holder, Keys):
        after.renamed[id(holder), key] = edit.renamed
        at = _offset(starts, holder.entries[str(key)][0])
        yield (at, _key_end(text, at)), edit.renamed
    node = _node(tree, edit.location)
    gap = _offset(starts, holder.entries[str(key)][0]) if isinstance(holder, Keys) else 0
    begins = _offset(starts, node.place)
    if isinstance(node, Items | Keys) and not node.is_flow and "#" in text[gap:begins] and gap < begins:
        # behind the key, before the comment that its author wrote there
        colon = text.index(":", _key_end(text, gap)) + 1
        span, _ = _value(text, starts, node, edit, edit.text, value, after)
        if not text[colon:begins].lstrip().startswith("#"):
            raise ValueError(f"{_told(edit.location)} holds a comment; change it in the text.")
        yield (colon, colon), f" {edit.text}"
        yield span, ""
        return
    yield _value(text, starts, node, edit, edit.text, value, after)


KEY = re.compile(r""" "(?:[^"\\]|\\.)*" | '(?:[^']|'')*' | [^\s\#](?:[^:\r\n]|:(?=\S))* """, re.VERBOSE)


def _key_end(text: str, at: int) -> int:
    """Where a key ends that begins here."""
    found = KEY.match(text, at)
    assert found is not None
    return at + len(found[0].rstrip())


def _value(
    text: str, starts: Sequence[int], node: Node, edit: Edit, words: str, value: Any, after: _After
) -> tuple[tuple[int, int], str]:
    assert node.end is not None
    start, end = _offset(starts, node.place), _offset(starts, node.end)
    if anchor := re.compile(r"&\S+\s+").match(text, start):
        start = anchor.end()
    if isinstance(node, Text) and node.style in ("|", ">"):
        raise ValueError(f"{_told(edit.location)} stands on lines of its own; change it in the text.")
    if not isinstance(node, Text) and not node.is_flow:
        # what stood on lines of its own comes behind its key
        start, end = start if anchor else len(text[:start].rstrip()), _last_end(text, starts, node)
        words = words if anchor else f" {words}"
    if not isinstance(node, Text) and "#" in text[start:end]:
        raise ValueError(f"{_told(edit.location)} holds a comment; change it in the text.")
    after.new[id(node)] = value
    if isinstance(node, Text) and node.style in ("'", '"') and isinstance(value, str):
        words = node.style + words + node.style
    elif isinstance(node, Text) and not node.text:
        words = " " + words
    return (start, end), words


def _addition(text: str, starts: Sequence[int], holder: Keys, key: str, edit: Edit) -> tuple[tuple[int, int], str]:
    if holder.is_flow:
        opening = re.compile(r"\{[ \t]*").search(text, _offset(starts, holder.place))
        assert opening is not None
        more = ", " if holder.entries else ""
        return (opening.end(), opening.end()), f"{key}: {edit.text}{more}"
    places = {name: (at, node) for name, (at, node) in holder.entries.items() if _ends_on_a_line(at, node)}
    behind = next((name for name in BEHIND.get(key, ()) if name in places), None) or next(reversed(places), None)
    if behind is None:  # before the first, which then begins a line of its own
        first = _begins(text, starts, next(iter(holder.entries.values()))[0])
        line = max(start for start in starts if start <= first)
        return (first, first), f"{key}: {edit.text}{_line_end(text, first)}{' ' * (first - line)}"
    at, node = places[behind]
    assert node.end is not None
    end = BREAK.search(text, _offset(starts, node.end))
    where = end.start() if end else len(text)
    begins = _begins(text, starts, at)
    indent = begins - max(start for start in starts if start <= begins)
    return (where, where), f"{_line_end(text, where)}{' ' * indent}{key}: {edit.text}"


def _one_more(text: str, starts: Sequence[int], holder: Items, edit: Edit) -> tuple[tuple[int, int], str]:
    """A list's new last item."""
    if not holder.items:
        opening = text.index("[", _offset(starts, holder.place)) + 1
        return (opening, opening), str(edit.text)
    last = holder.items[-1]
    if last.place < holder.place or last.end is None:
        raise ValueError(f"{_told(edit.location)} would stand behind an alias; write it into the text.")
    if holder.is_flow:
        where = _offset(starts, last.end)
        return (where, where), f", {edit.text}"
    where = _last_end(text, starts, last)
    end = BREAK.search(text, where)
    where = end.start() if end else len(text)
    dash = holder.place.column - 1
    return (where, where), f"{_line_end(text, where)}{' ' * dash}- {edit.text}"


Span = tuple[int, int]
Entry = tuple[str | int, Place, Node]


def _removal(text: str, starts: Sequence[int], holder: Node, key: str | int, edit: Edit) -> list[Span]:
    """The stretches that go with an entry: its lines, or in brackets its comma as well."""
    entries: list[Entry] = []
    if isinstance(holder, Keys):
        entries = [(name, at, node) for name, (at, node) in holder.entries.items()]
    elif isinstance(holder, Items):
        entries = [(k, node.place, node) for k, node in enumerate(holder.items)]
    index = next((k for k, one in enumerate(entries) if one[0] == key), None)
    if index is None:
        raise ValueError(f"there is no {_told(edit.location)} in the file.")
    _, at, node = entries[index]
    if at < holder.place or len(entries) == 1:  # an alias's, or the last one
        raise _refused(edit)
    assert isinstance(holder, Keys | Items)
    if holder.is_flow:
        return _in_brackets(text, starts, holder, entries, index, edit)
    start = _begins(text, starts, at)
    line = max(each for each in starts if each <= start)
    ends = start if node.place < at else _last_end(text, starts, node)
    found = BREAK.search(text, ends)
    end = found.end() if found else len(text)
    dash = text[line:start].strip()
    if dash == "-" and isinstance(holder, Items):
        return [(line, end)]
    if dash:  # the first key behind a dash: the next one takes its place
        return [(start, _begins(text, starts, entries[1][1]))]
    return [(line, end) if found or not line else (_before(text, line), end)]


def _refused(edit: Edit) -> ValueError:
    return ValueError(f"{_told(edit.location)} can't be taken out in place; change it in the text.")


def _in_brackets(
    text: str, starts: Sequence[int], holder: Node, entries: Sequence[Entry], index: int, edit: Edit
) -> list[Span]:
    """The stretches of an entry in brackets. Comments beside it stay: they may speak of its neighbours."""
    _, at, node = entries[index]
    start = _begins(text, starts, at)
    if index + 1 < len(entries):
        if entries[index + 1][1] < holder.place:
            raise _refused(edit)
        after = _offset(starts, entries[index + 1][1])
        if "#" not in text[start:after]:
            return [(start, after)]
        if node.place < at or node.end is None:
            raise _refused(edit)
        end = _offset(starts, node.end)
        comma = _comma(text, end, after)
        if "#" not in text[end:after]:
            return [(start, after)]
        first = text.index("#", end)
        if first < comma:
            return [*_cut(text, start, end), (comma, comma + 1)]
        return _cut(text, start, comma + 1)
    before = entries[index - 1][2]
    if before.place < holder.place or node.place < at or before.end is None or node.end is None:
        raise _refused(edit)
    last, end = _offset(starts, before.end), _offset(starts, node.end)
    if "#" not in text[last:start]:
        return [(last, end)]
    # a comma behind the last entry is its author's way: then it stays behind the one that is the last now
    trailing = re.compile(r"[ \t]*,").match(text, end)
    if trailing:
        return _cut(text, start, trailing.end())
    comma = _comma(text, last, start)
    return [(comma, comma + 1), *_cut(text, start, end)]


def _comma(text: str, start: int, end: int) -> int:
    """Where the comma between two entries stands: not within a comment."""
    bare = re.sub(r"#[^\r\n]*", lambda found: "#" * len(found[0]), text[start:end])
    return start + bare.index(",")


def _cut(text: str, start: int, end: int) -> list[Span]:
    """A stretch without what it leaves of its line: a line that would be empty, blanks before a comment."""
    blanks = re.compile(r"[ \t]*").match(text, end)
    rest = blanks.end() if blanks else end
    line = _before_line(text, start)
    is_first = not text[line:start].strip()
    if is_first and line and BREAK.match(text, rest):
        return [(_before(text, line), rest)]
    if text[rest : rest + 1] == "#" and text[start - 1 : start].isspace():
        return [(start, rest)]
    if BREAK.match(text, rest):  # behind others in its line
        return [(len(text[:start].rstrip(" \t")), rest)]
    return [(start, end)]


def _before_line(text: str, at: int) -> int:
    """Where the line begins in which something stands."""
    found = [match.end() for match in BREAK.finditer(text, 0, at)]
    return found[-1] if found else 0


def _begins(text: str, starts: Sequence[int], key: Place) -> int:
    """Where an entry begins: at its key, or at the question mark before it."""
    at = _offset(starts, key)
    mark = re.search(r"\?[ \t]+\Z", text[:at])
    return mark.start() if mark else at


def _last_end(text: str, starts: Sequence[int], node: Node) -> int:
    """Where the last value within a node ends: the parser ends what stands on lines at the next thing."""
    if isinstance(node, Text) and node.style in ("|", ">"):
        assert node.end is not None
        return _before(text, _offset(starts, node.end))
    if isinstance(node, Text) or node.is_flow:
        assert node.end is not None
        return _offset(starts, node.end)
    inside = node.items if isinstance(node, Items) else [one for _, one in node.entries.values()]
    return max(_last_end(text, starts, one) for one in inside)


def _before(text: str, line: int) -> int:
    """The end of the line before one that begins here."""
    found = [match.start() for match in BREAK.finditer(text, max(line - 2, 0), line)]
    return found[-1] if found else line


def _line_end(text: str, at: int) -> str:
    """How the lines end hereabouts."""
    found = BREAK.search(text, at) or BREAK.search(text)
    return found[0] if found else "\n"


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


def _expected(node: Node, after: _After) -> Any:
    """The plain tree after the edits; what an alias repeats is the same node, and changes with it."""
    if id(node) in after.new:
        return after.new[id(node)]
    if isinstance(node, Items):
        kept = [_expected(item, after) for k, item in enumerate(node.items) if (id(node), k) not in after.gone]
        return kept + after.more.get(id(node), [])
    if isinstance(node, Keys):
        left = {
            after.renamed.get((id(node), key), key): _expected(value, after)
            for key, (_, value) in node.entries.items()
            if (id(node), key) not in after.gone
        }
        return left | after.added.get(id(node), {})
    return plain(node)


def _told(location: Location) -> str:
    shown = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in location)
    return f"'{shown.removeprefix('.')}'"
