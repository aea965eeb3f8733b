"""The model's complaints as sentences for the person who holds the lesson file, each with its place."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from lessons.lesson.faults import Fault, Place, did_you_mean
from lessons.lesson.read import Items, Keys, Node, Text
from scenes.kinds import CLIP_KINDS

Location = tuple[str | int, ...]
VERBS = {"is", "has", "holds", "needs"}
"""A sentence that begins with one of these needs the key for its subject."""


def place_of(tree: Node, location: Iterable[str | int], of_key: bool = False) -> Place:
    """The place of the value (or its key) at a location; parts that the file doesn't have are passed over."""
    here, key_place = tree, tree.place
    for part in location:
        if isinstance(here, Keys) and part in here.entries:
            key_place, here = here.entries[str(part)]
        elif isinstance(here, Items) and isinstance(part, int) and part < len(here.items):
            here = here.items[part]
            key_place = here.place
    return key_place if of_key else here.place


def empty_values(node: Node) -> Iterator[Fault]:
    """Keys and entries that were left without a value."""
    if isinstance(node, Items):
        for item in node.items:
            if _is_empty(item):
                yield Fault(item.place, "an entry of the list is empty; write a value or remove the '-'.")
            yield from empty_values(item)
    elif isinstance(node, Keys):
        for key, (place, value) in node.entries.items():
            if _is_empty(value):
                yield Fault(place, f"'{key}' has no value; write one or remove the key.")
            yield from empty_values(value)


def fault(error: Any, tree: Node, data: Any, known_keys: Mapping[int, tuple[str, ...]]) -> Fault | None:
    """One of pydantic's errors as a sentence; None when another fault already says it.

    `known_keys` gives, by the id of a mapping in `data`, the keys that its model knows.
    """
    where: Location = error["loc"]
    kind, context, value = error["type"], error.get("ctx", {}), error["input"]
    if value is None:
        return None  # empty_values says it
    place, shown = place_of(tree, where), _shown(where, data)
    within = _shown(where[:-1], data)
    inside = f" in {within}" if within else ""
    match kind:
        case "extra_forbidden":
            key = str(where[-1])
            keys = known_keys.get(id(_at(where[:-1], data)), ())
            return Fault(
                place_of(tree, where, of_key=True), f"unknown key '{key}'{inside}{did_you_mean(key, keys)}"
            )
        case "missing":
            return Fault(place, f"'{where[-1]}' is missing{inside or ' in the lesson'}.")
        case "union_tag_not_found":
            return Fault(place, f"'kind' is missing in {shown}; kinds are: {', '.join(CLIP_KINDS)}.")
        case "union_tag_invalid":
            tag = str(context["tag"])
            at = place_of(tree, (*where, "kind"))
            return Fault(at, f"unknown kind '{tag}' in {shown}{did_you_mean(tag, CLIP_KINDS)}")
        case "literal_error":
            return Fault(
                place, f"{shown} is {_quoted(value)}{did_you_mean(str(value), _words(context['expected']))}"
            )
        case "value_error":
            sentence = str(context["error"])
            return Fault(place, f"{shown} {sentence}" if sentence.split()[0] in VERBS else sentence)
        case "too_short":
            # also said of a list whose entries are wrong, which the faults of the entries tell better
            return None if value else Fault(place, f"{shown} is empty; write an entry or leave the key out.")
        case "model_type" | "model_attributes_type" | "dict_type":
            return Fault(place, f"{shown} must be a mapping of keys, not {_quoted(value)}.")
        case "tuple_type":
            return Fault(place, f"{shown} must be a list, not {_quoted(value)}.")
        case _:
            return Fault(place, f"{shown} is {_quoted(value)}: {error['msg'][:1].lower()}{error['msg'][1:]}.")


def _is_empty(node: Node) -> bool:
    return isinstance(node, Text) and not node.text and not node.quoted


def _words(expected: str) -> list[str]:
    return re.findall(r"'([^']*)'", expected)


def _walk(location: Location, data: Any) -> Iterator[tuple[str | int, Any]]:
    """The parts of a location that the data has, each with what stands there."""
    here: Any = data
    for part in location:
        is_key = isinstance(here, Mapping) and part in here
        is_index = isinstance(here, list) and isinstance(part, int) and part < len(here)
        if is_key or is_index:
            here = here[part]
            yield part, here


def _at(location: Location, data: Any) -> Any:
    found = data
    for _, found in _walk(location, data):  # noqa: B007 - the last one counts
        pass
    return found


def _shown(location: Location, data: Any) -> str:
    """'clips[2].cuts' for a location, without the parts that only the model knows."""
    shown = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part, _ in _walk(location, data))
    return shown.removeprefix(".")


def _quoted(value: Any) -> str:
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, Mapping):
        return "a mapping"
    text = str(value)
    return f"'{text if len(text) <= 40 else text[:37] + '...'}'"
