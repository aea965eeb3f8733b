"""The model's complaints as sentences for the person who holds the lesson file, each with its place."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import pairwise
from typing import Any

from lessons.lesson.faults import Fault, Place, did_you_mean, slip_of
from lessons.lesson.malformed import swallowed_by
from lessons.lesson.read import Items, Keys, Node, Text
from scenes.kinds import CLIP_KINDS

Location = tuple[str | int, ...]
VERBS = {"is", "has", "holds", "needs"}
"""A sentence that begins with one of these needs the key for its subject."""


OUT_OF_SCOPE = {
    "bank": "bank shots", "kick": "kick shots", "combination": "combinations", "combo": "combinations",
    "carom": "caroms", "masse": "massé shots", "jump": "jump shots", "sidespin": "sidespin", "spin": "sidespin",
    "break": "breaks",
}  # fmt: skip
"""Words of the game for what no clip shows."""
SAME = {
    "inch": "in", "inches": "in", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "balls": "ball",
}  # fmt: skip
"""Words for units, and what is written for them."""
SHOWS = "clips show one object ball that is sent straight to its target"
EXAMPLES = {
    "distances": "give each distance a name: {near: 12 in, far: 3 ft}",
    "eyes": "give each eye a name: {player: {back: 600 mm, height: 300 mm}}",
    "output": "write its keys, such as {size: 1080p}",
    "speech": "write its keys, such as {words_a_minute: 140}",
    "recordings": "write its keys, such as {folder: voice}",
    "names": "write its keys, such as {eyes: {player: Chin on the line}}",
    "object_ball": "write its number or colour, such as {number: 3}",
    "lens": "write its focal length as on full frame: {focal: 26 mm}",
    "measured": "write what was measured, such as {rail_top: 42 mm}",
    "balls": "write where they were clicked, such as {cue: [985, 742], object: [930, 478]}",
    "plan": "write {lesson: FILE, clip: NAME}, or {cut: 30, side: left, distance: 800 mm}",
}
"""What to write for a mapping, by its key."""
ENTRIES = {
    "others": "write where it lies, such as {at: [700 mm, -100 mm]}",
    "exclude": "write what it excludes, such as {cuts: 1/2, sides: left}",
    "overrides": "write which clips it changes, and what, such as {cuts: 1/2, pocket: foot-right}",
    "eyes": "write its keys, such as {back: 600 mm, height: 300 mm}",
}
"""What to write for a mapping in a list or a mapping, by the key of that."""
CHOOSES = "to show only some, write `only: [STEP, STEP]` beside it; aimgeo plan lists the steps' names"


def node_of(tree: Node, location: Iterable[str | int]) -> tuple[Place, Node]:
    """The place of the key (or the value) at a location, and the value; parts that the file doesn't have are
    passed over."""
    here, key_place = tree, tree.place
    for part in location:
        if isinstance(here, Keys) and part in here.entries:
            key_place, here = here.entries[str(part)]
        elif isinstance(here, Items) and isinstance(part, int) and part < len(here.items):
            here = here.items[part]
            key_place = here.place
    return key_place, here


def place_of(tree: Node, location: Iterable[str | int], of_key: bool = False) -> Place:
    """The place of the value (or its key) at a location; parts that the file doesn't have are passed over."""
    key_place, node = node_of(tree, location)
    return key_place if of_key else node.place


def empty_values(node: Node) -> Iterator[Fault]:
    """Keys and entries that were left without a value."""
    if isinstance(node, Items):
        for item in node.items:
            if _is_empty(item):
                sentence = "an entry of the list is empty; write a value or remove the '-'."
                yield Fault(item.place, sentence, "no-value")
            yield from empty_values(item)
    elif isinstance(node, Keys):
        held = list(node.entries.items())
        if node.is_flow and len(held) == 1 and _is_empty(held[0][1][1]):
            key = held[0][0]
            sentence = f'{{{key}}} is a key without a value; a text that begins with {{ needs quotes: "{{{key}}}".'
            yield Fault(node.place, sentence, "yaml-quotes")
            return
        for k, (key, (place, value)) in enumerate(held):
            if isinstance(value, Text) and _is_empty(value) and value.comment:
                yield Fault(value.place, f"'{key}' has no value: {swallowed_by(value.comment)}", "comment")
            elif _is_empty(value) and node.is_flow and (glued := re.match(r"([A-Za-z_][\w-]*):(?!//)", key)):
                yield Fault(place, f"a space is missing after '{glued[0]}'.", "yaml-space")
            elif _is_empty(value) and node.is_flow and (first := re.match(r"[A-Za-z_][\w-]*(?= )", key)):
                sentence = f"'{key}' has no value; write one, or a ':' after '{first[0]}', or remove the key."
                yield Fault(place, sentence, "no-value")
            elif _is_empty(value):
                is_last = k + 1 == len(held)
                more = "" if node.is_flow or is_last else ", indent what belongs to it,"
                yield Fault(place, f"'{key}' has no value; write one{more} or remove the key.", "no-value")
            yield from empty_values(value)


def fault(
    error: Any,
    tree: Node,
    data: Any,
    known_keys: Mapping[int, Any],
    belongs: Callable[[str, Location, Any, Any], str] = lambda _key, _where, _holder, _group: "",
) -> Fault | None:
    """One of pydantic's errors as a sentence; None when another fault already says it.

    `known_keys` gives, by the id of a mapping in `data`, the keys that its model knows; `belongs` tells of a key,
    where it stands, the mapping that holds it and the group around that, where else it has a meaning.
    """
    where: Location = error["loc"]
    kind, context, value = error["type"], error.get("ctx", {}), error["input"]
    if value is None:
        return None  # empty_values says it
    place, node = node_of(tree, where)
    place, shown = node.place, _shown(where, data)
    if isinstance(node, Text):
        value = node.text  # as it was written
    within = _shown(where[:-1], data)
    inside = f" in {within}" if within else ""
    match kind:
        case "extra_forbidden":
            key = str(where[-1])
            holder = _at(where[:-1], data)
            at = place_of(tree, where, of_key=True)
            return _unknown_key(
                at,
                key,
                inside,
                known_keys.get(id(holder), ()),
                belongs(key, where[:-1], holder, _at(where[:2], data)),
            )
        case "missing":
            holder = _at(where[:-1], data)
            if isinstance(holder, Mapping) and any(slip_of(str(key), (str(where[-1]),)) for key in holder):
                return None  # written with a slip, which is told
            return Fault(place, f"'{where[-1]}' is missing{inside or ' in the lesson'}.", "missing")
        case "union_tag_not_found":
            sentence = f"'kind' is missing in {shown}; known are: {', '.join(CLIP_KINDS)}."
            return Fault(place, sentence, "missing")
        case "union_tag_invalid":
            tag = context["tag"]
            tag = (
                tag if isinstance(value, Mapping) and isinstance(value.get("kind"), str) else "a list or a mapping"
            )
            at = place_of(tree, (*where, "kind"))
            return Fault(at, f"unknown kind '{_cut(tag)}' in {shown}{_not_shown(tag)}", "unknown-kind")
        case "literal_error":
            known = _words(context["expected"])
            return Fault(place, f"{shown} is {_quoted(value)}{_choices(value, known, where)}")
        case "value_error":
            sentence = str(context["error"])
            sentence = f"{shown} {sentence}" if sentence.split()[0] in VERBS else sentence
            return Fault(place, sentence, getattr(context["error"], "id", "value"))
        case "too_short":
            # also said of a list whose entries are wrong, which the faults of the entries tell better
            if value:
                return None
            return Fault(place, f"{shown} is empty; write an entry or leave the key out.", "no-value")
        case "too_long":
            most = context["max_length"]
            return Fault(
                place, f"{shown} has {context['actual_length']} entries; at most {most} fit.", "wrong-shape"
            )
        case "model_type" | "model_attributes_type" | "dict_type":
            if _is_left_behind(tree, where):
                return None  # empty_values says that its siblings want indenting
            if told := _no_step(where, shown, value):
                return Fault(place, told, "wrong-shape")
            how = EXAMPLES.get(str(where[-1]), "") if where else ""
            how = how or next((ENTRIES[str(part)] for part in where[-2:][::-1] if part in ENTRIES), "")
            if where[:1] == ("clips",) and len(where) == 2:
                how = "write its kind, such as {kind: table}"
            more = f"; {how}" if how else ""
            return Fault(place, f"{shown} must be a mapping of keys, not {_quoted(value)}{more}.", "wrong-shape")
        case "tuple_type":
            more = "; put '- ' before its first key" if isinstance(value, Mapping) else ""
            return Fault(place, f"{shown} must be a list, not {_quoted(value)}{more}.", "wrong-shape")
        case "string_type" if "only" in where or "split" in where:
            sentence = f"{shown} is {_quoted(value)}; write the name of a step, as aimgeo plan lists it."
            return Fault(place, sentence, "wrong-shape")
        case "string_type" | "is_instance_of":
            return Fault(place, f"{shown} needs a text, not {_quoted(value)}.", "wrong-shape")
        case "bool_parsing" | "bool_type":
            return Fault(place, f"{shown} is {_quoted(value)}; write yes or no.")
        case "float_parsing" | "float_type":
            return Fault(place, f"{shown} is {_quoted(value)}; write a number, for example 120.")
        case "less_than_equal" | "greater_than_equal":
            bound = context["le"] if kind == "less_than_equal" else context["ge"]
            most = "most" if kind == "less_than_equal" else "least"
            return Fault(place, f"{shown} is {_quoted(value)}; it may be {bound:g} at {most}.")
        case _:
            return Fault(place, f"{shown} is {_quoted(value)}: {error['msg'][:1].lower()}{error['msg'][1:]}.")


def _no_step(where: Location, shown: str, value: Any) -> str:
    """What is wrong with `steps`, or an entry of it, that changes no step; nothing elsewhere."""
    if where[-1:] == ("steps",):
        return f"{shown} changes single steps, such as {{STEP: {{pause: 1 s}}}}, not {_quoted(value)}; {CHOOSES}."
    if where[-2:-1] != ("steps",):
        return ""
    key, within = str(where[-1]), shown.rpartition(".")[0]
    if key in ("only", "split"):
        return (
            f"'{key}' stands beside 'steps', not in it: {key}: [STEP, STEP]; aimgeo plan lists the steps' names."
        )
    if key in STEP_KEYS:
        return (
            f"'{key}' in {within} is of no step; write it under the step's name, such as {{STEP: {{{key}: ...}}}}."
        )
    if str(value).lower() in ("no", "off", "false", "none"):
        return f"{shown} is {_quoted(value)}; to leave a step out, name the others in `only`."
    return f"{shown} must be a mapping of keys, not {_quoted(value)}; write what changes, such as {{pause: 1 s}}."


STEP_KEYS = ("title", "narration", "seconds", "pause", "pace", "note")
"""What may be changed about a step."""


def _unknown_key(place: Place, key: str, inside: str, keys: tuple[str, ...], elsewhere: str) -> Fault:
    """A key that nothing knows here: a slip, a key of somewhere else, or something that is not done."""
    if slip_of(key, keys):
        more = (
            f" '{key}' itself {elsewhere.removeprefix('it ')}." if elsewhere.startswith("it is a key of") else ""
        )
        return Fault(place, f"unknown key '{key}'{inside}{did_you_mean(key, keys)}{more}", "unknown-key")
    if elsewhere:
        return Fault(place, f"unknown key '{key}'{inside}; {elsewhere}.", "unknown-key")
    if what := OUT_OF_SCOPE.get(key.lower().rstrip("s")):
        return Fault(place, f"unknown key '{key}'{inside}; aimgeo does not show {what}: {SHOWS}.", "unknown-key")
    return Fault(place, f"unknown key '{_cut(key)}'{inside}{did_you_mean(key, keys)}", "unknown-key")


def _not_shown(kind: str) -> str:
    what = OUT_OF_SCOPE.get(re.sub(r"[\s_-]?shots?$|s$", "", kind.lower()))
    if what and not slip_of(kind, tuple(CLIP_KINDS)):
        return f"; aimgeo does not show {what}: {SHOWS}."
    return did_you_mean(kind, CLIP_KINDS)


def _choices(value: Any, known: list[str], where: Location) -> str:
    """What a value that is none of the known ones should have been."""
    if isinstance(value, str):
        parts = [part.strip() for part in value.split(",")]
        if len(parts) > 1 and all(part in known for part in parts):
            return f"; a list needs brackets: [{', '.join(parts)}]."
        if value.strip().lower() in ("both", "all", "any"):
            return f"; write [{', '.join(known)}], or leave the key out."
        meant = SAME.get(value.strip().lower())
        return f"; did you mean '{meant}'?" if meant in known else did_you_mean(value, known)
    return f"; write one of {', '.join(known)}."


def _is_left_behind(tree: Node, where: Location) -> bool:
    """True for an entry that follows a key without a value: it was meant to stand under that."""
    _, holder = node_of(tree, where[:-1])
    if not isinstance(holder, Keys) or holder.is_flow:
        return False
    before = (
        list(holder.entries)[: list(holder.entries).index(str(where[-1]))] if where[-1] in holder.entries else []
    )
    return any(_is_empty(holder.entries[key][1]) for key in before)


def notes(tree: Node, location: Location) -> Iterator[Fault]:
    """What may not be meant in a text that YAML reads without complaint."""
    _, node = node_of(tree, location)
    if not isinstance(node, Text) or node.style:
        return
    if node.comment:
        sentence = (
            f"everything from '{_cut(node.comment)}' on is a comment; put the text in quotes if it belongs to it."
        )
        yield Fault(node.end or node.place, sentence, "comment")
    if "\\n" in node.text:
        sentence = f'a line break needs double quotes: "{_cut(node.text)}".'
        yield Fault(node.place, sentence, "line-break")


def split_numbers(tree: Node, location: Location) -> Iterator[Fault]:
    """A list of numbers in which a comma without a space behind it may be a decimal one: [14,5, 30]."""
    _, node = node_of(tree, location)
    if not isinstance(node, Items) or not node.is_flow:
        return
    for one, other in pairwise(node.items):
        if not (isinstance(one, Text) and isinstance(other, Text) and one.end is not None):
            continue
        is_glued = (other.place.line, other.place.column) == (one.end.line, one.end.column + 1)
        spaced = len(node.items) == 2 or any(
            a.end is not None and b.place.column > a.end.column + 1 for a, b in pairwise(node.items)
        )
        if is_glued and spaced and re.fullmatch(r"\d+", one.text) and re.match(r"\d{1,2}(\D|$)", other.text):
            count = f"{len(node.items)} entries"
            sentence = f"{count}: '{one.text}' and '{other.text}' are two; a decimal needs a point: "
            yield Fault(one.place, f"{sentence}{one.text}.{other.text}.", "decimal-comma")


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
    return path(part for part, _ in _walk(location, data))


def path(location: Iterable[str | int]) -> str:
    """A location as it is told: 'clips[2].cuts'."""
    return "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in location).removeprefix(".")


def _quoted(value: Any) -> str:
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, Mapping):
        return "a mapping"
    return f"'{_cut(str(value))}'"


def _cut(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."
