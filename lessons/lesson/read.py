"""Read: a lesson file becomes a tree of texts, lists and mappings in which every value knows its place.

Nothing is guessed: a bare `no`, `017`, `1:30` or date stays the text that was written. Whatever YAML offers to
hide or multiply (duplicate and merge keys, tags, endless nesting, alias bombs) is refused while it is read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import yaml

from lessons.lesson.faults import Fault, FaultId, LessonError, Place, slip_of
from lessons.lesson.malformed import explained

MOST_BYTES = 1_000_000
MOST_DEPTH = 12
MOST_VALUES = 20_000
"""Counted as if every alias were written out."""

BREAK = re.compile("\r\n|[\n\r\x85\u2028\u2029]")
"""What ends a line, as YAML 1.1 has it: places count these."""

_COMMENT = re.compile(r"\s+(#\S.*)")
_GLUED = re.compile(r"-(?:\w|([\u00a0\u2007\u202f\u3000]))")
_OPENS = re.compile(r"([A-Za-z_][\w-]*) +[\[{]")

# the C parser is ten times as fast and gives the same events; PyYAML builds without it where libyaml is missing
LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@dataclass(frozen=True, slots=True)
class Text:
    """A single value as it was written. `quoted` tells an empty text from no value at all.

    `end` is the place right behind it; `style` is how YAML wrote it: plain (''), quoted, or a block ('|', '>').
    `comment` is what a # right behind a plain text takes away from it ('#1' of 'Lesson #1').
    """

    place: Place
    text: str
    quoted: bool = False
    size: int = 1
    end: Place | None = None
    style: str = ""
    comment: str = ""


@dataclass(frozen=True, slots=True)
class Items:
    """A list; `is_flow` when it stands in brackets, and `end` is then the place right behind them."""

    place: Place
    items: tuple[Node, ...]
    size: int = 1
    end: Place | None = None
    is_flow: bool = False


@dataclass(frozen=True, slots=True)
class Keys:
    """A mapping: for each key its own place and its value; `is_flow` and `end` as of a list."""

    place: Place
    entries: dict[str, tuple[Place, Node]]
    size: int = 1
    end: Place | None = None
    is_flow: bool = False


Node = Text | Items | Keys


def read(path: Path, shown_as: str | None = None) -> Node:
    """The tree of a lesson file. `shown_as` is the file's name in messages (the path as given, by default).

    Raises LessonError when the file cannot be read or is not plain YAML; reading stops at the first such fault
    of form, except that all duplicate keys are reported.
    """
    name = shown_as or path.as_posix()
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise _refusal(Place(name), f"cannot be read: {(error.strerror or str(error)).lower()}.", "file") from None
    if len(data) > MOST_BYTES:
        raise _refusal(
            Place(name), f"is larger than {MOST_BYTES // 1000} kB; a lesson file is a few pages at most.", "file"
        )
    return read_text(data, name)


def read_text(data: bytes | str, name: str) -> Node:
    """The tree of a lesson's text; `name` stands in messages.

    >>> tree = read_text("cuts: [017, no]", "a.yaml")
    >>> [str(item.place) + " " + item.text for item in tree.entries["cuts"][1].items]
    ['a.yaml:1:8 017', 'a.yaml:1:13 no']
    """
    if isinstance(data, bytes):
        try:
            data = data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = error.object[: error.start].count(b"\n") + 1
            raise _refusal(Place(name, line), "is not UTF-8 text; save it as UTF-8.", "file") from None
    return _tree(data, name)


@lru_cache(maxsize=4)
def _tree(data: str, name: str) -> Node:
    """The tree of a text, which nobody changes; a lesson's own files are asked for several times in a row."""
    builder = _Builder(name, data)
    try:
        tree = builder.document(yaml.parse(data, Loader=LOADER))
    except yaml.MarkedYAMLError as error:
        line, column, sentence, id = explained(data, error, yaml.scan(data, Loader=LOADER))
        raise _refusal(Place(name, line, column), sentence, id) from None
    except yaml.reader.ReaderError as error:
        line = data[: error.position].count("\n") + 1
        sentence = "holds a character that YAML does not allow; remove it."
        raise _refusal(Place(name, line), sentence, "yaml-forbidden") from None
    if builder.faults:
        raise LessonError(builder.faults)
    return tree


def plain(node: Node) -> Any:
    """The tree as dicts, lists and texts, without places; a value that was left empty is None."""
    if isinstance(node, Text):
        return node.text if node.text or node.quoted else None
    if isinstance(node, Items):
        return [plain(item) for item in node.items]
    return {key: plain(value) for key, (_, value) in node.entries.items()}


def _refusal(place: Place, sentence: str, id: FaultId = "yaml-forbidden") -> LessonError:
    return LessonError([Fault(place, sentence, id)])


class _Builder:
    """Builds the tree from parser events, so that every bound holds before anything is built."""

    def __init__(self, name: str, text: str) -> None:
        self.name = name
        self.lines = BREAK.split(text)
        self.faults: list[Fault] = []
        self.anchors: dict[str, Node | None] = {}

    def document(self, events: Iterator[yaml.Event]) -> Node:
        tree: Node | None = None
        for event in events:
            if isinstance(event, yaml.DocumentStartEvent):
                if tree is not None:
                    raise _refusal(self.place(event), "starts a second document; a lesson file holds one lesson.")
                tree = self.node(next(events), events, 1)
        if tree is None:
            raise _refusal(Place(self.name), "is empty; a lesson needs at least a title and clips.", "file")
        return tree

    def place(self, event: yaml.Event) -> Place:
        mark: Any = event.start_mark
        return Place(self.name, mark.line + 1, mark.column + 1)

    def end(self, event: yaml.Event) -> Place:
        mark: Any = event.end_mark
        return Place(self.name, mark.line + 1, mark.column + 1)

    def node(self, event: yaml.Event, events: Iterator[yaml.Event], depth: int) -> Node:
        place = self.place(event)
        if isinstance(event, yaml.AliasEvent):
            return self.alias(event, place)
        if depth > MOST_DEPTH:
            raise _refusal(place, f"is nested deeper than {MOST_DEPTH} levels.")
        if event.tag is not None:  # type: ignore[attr-defined]
            sentence = f"the tag '{event.tag}' is not allowed in a lesson; write the value alone, or in quotes."  # type: ignore[attr-defined]
            raise _refusal(place, sentence)
        anchor = getattr(event, "anchor", None)
        if anchor:
            self.anchors[anchor] = None
        built: Node
        if isinstance(event, yaml.ScalarEvent):
            end, style = self.end(event), event.style or ""
            built = Text(place, event.value, bool(style), 1, end, style, "" if style else self.comment(end))
        elif isinstance(event, yaml.SequenceStartEvent):
            built = self.items(events, place, depth, bool(event.flow_style))
        else:
            built = self.keys(events, place, depth, bool(event.flow_style))  # type: ignore[attr-defined]
        if anchor:
            self.anchors[anchor] = built
        return built

    def alias(self, event: yaml.AliasEvent, place: Place) -> Node:
        if event.anchor not in self.anchors:
            near = slip_of(event.anchor, tuple(self.anchors))
            told = f"did you mean '*{near}'?" if near else f"write '&{event.anchor}' before the value."
            raise _refusal(place, f"'*{event.anchor}' names nothing above; {told}")
        found = self.anchors[event.anchor]
        if found is None:
            raise _refusal(place, f"'*{event.anchor}' stands inside the value that it names.")
        return found

    def items(self, events: Iterator[yaml.Event], place: Place, depth: int, is_flow: bool) -> Items:
        items: list[Node] = []
        size = 1
        for event in events:
            if isinstance(event, yaml.SequenceEndEvent):
                break
            items.append(self.node(event, events, depth + 1))
            size = self.grown(size, items[-1])
        return Items(place, tuple(items), size, self.end(event), is_flow)

    def keys(self, events: Iterator[yaml.Event], place: Place, depth: int, is_flow: bool) -> Keys:
        entries: dict[str, tuple[Place, Node]] = {}
        size = 1
        for event in events:
            if isinstance(event, yaml.MappingEndEvent):
                break
            at = self.place(event)
            key = self.node(event, events, depth + 1)
            if not isinstance(key, Text):
                raise _refusal(at, "a key must be a single word, not a list or a mapping.")
            value = self.node(next(events), events, depth + 1)
            size = self.grown(size, value)
            if key.text == "<<" and not key.quoted:
                raise _refusal(at, "the merge key '<<' is not allowed in a lesson; write the keys out.")
            if key.text in entries:
                first = entries[key.text][0]
                sentence = f"'{_short(key.text)}' is given twice; first in line {first.line}."
                self.faults.append(Fault(at, sentence, "given-twice"))
                continue
            if before := self.comma(entries, key, value, is_flow):
                # 12,5 in braces is two entries to YAML and one number to whoever wrote it
                entries[before[0]] = (before[1], before[2])
                continue
            if (glued := _GLUED.match(key.text)) and not is_flow and not key.quoted:
                odd = "behind '-' stands a sign that only looks like a space; write a plain one."
                told = odd if glued[1] else "a space is missing after '-'."
                self.faults.append(Fault(at, told, "yaml-space"))
                continue
            if (opens := _OPENS.match(key.text)) and not is_flow and not key.quoted:
                self.faults.append(Fault(at, f"':' is missing after '{opens[1]}'.", "yaml-colon"))
                continue
            entries[key.text] = (at, value)
        return Keys(place, entries, size, self.end(event), is_flow)

    def comment(self, end: Place) -> str:
        """What stands behind a plain text as a comment that may not be meant as one: '#1', not '# a note'."""
        line = self.lines[end.line - 1] if end.line <= len(self.lines) else ""  # the place after the last line end
        found = _COMMENT.match(line[end.column - 1 :])
        return found[1].rstrip() if found else ""

    @staticmethod
    def comma(
        entries: dict[str, tuple[Place, Node]], key: Text, value: Node, is_flow: bool
    ) -> tuple[str, Place, Text] | None:
        """The entry before, with the rest of its number that stands here as a key; None where there is none."""
        if not (is_flow and entries and isinstance(value, Text) and not value.text and key.text[:1].isdigit()):
            return None
        name, (at, node) = list(entries.items())[-1]
        if not isinstance(node, Text) or not node.text[-1:].isdigit() or node.end is None:
            return None
        if (key.place.line, key.place.column) != (node.end.line, node.end.column + 1):
            return None
        return name, at, replace(node, text=f"{node.text},{key.text}", end=key.end)

    def grown(self, size: int, node: Node) -> int:
        size += node.size
        if size > MOST_VALUES:
            raise _refusal(
                node.place, f"the file grows beyond {MOST_VALUES:,} values when its aliases are written out."
            )
        return size


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."
