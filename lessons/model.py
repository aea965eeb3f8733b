"""The model of a lesson file: its keys, their defaults and their checks. The JSON Schema comes from here too."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal, Union

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    PlainValidator,
    TypeAdapter,
    ValidationError,
    ValidationInfo,
    WithJsonSchema,
    create_model,
    model_validator,
)

from aimgeo.methods import METHODS
from aimgeo.table import POCKET_NAMES, TABLES
from lessons import values
from lessons.faults import Fault, LessonError, Place, did_you_mean
from lessons.read import Items, Keys, Node, Text, plain, read, read_text
from lessons.timing import PAUSE_A_SENTENCE_S, WORDS_A_MINUTE
from lessons.values import Cut, Length
from lessons.wording import LANGUAGES
from scenes import CLIP_KINDS, ClipKind

AXES = {"method": "methods", "cut": "cuts", "side": "sides", "distance": "distances", "eye": "eyes"}
"""The axes of the matrix, in the order in which they multiply, each with its key in a lesson file."""

ALIGNMENTS = ("aim-line", "contact-line", "cue-edge-left", "cue-edge-right")
NAME_PATTERN = r"^[a-z][a-z0-9-]{0,31}$"
RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}
MOST_TEXT = 600

# ------------------------------------------------------------------ values


def _listed(value: Any) -> Any:
    return list(value) if isinstance(value, list | tuple) else [value]


def _hyphened(value: Any) -> Any:
    return re.sub(r"[\s_]+", "-", value.strip().lower()) if isinstance(value, str) else value


def _name(value: Any) -> str:
    if not isinstance(value, str) or not re.fullmatch(NAME_PATTERN, value):
        raise ValueError(
            f"'{str(value)[:40]}' is no name; names become parts of file names: small letters, digits and "
            "hyphens, a letter first, at most 32."
        )
    if value in RESERVED:
        raise ValueError(f"'{value}' is a name that Windows keeps for itself; choose another.")
    return value


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("needs a text.")
    text = value.strip()
    if not text:
        raise ValueError("is empty; write the words or leave the key out.")
    if len(text) > MOST_TEXT:
        raise ValueError(f"is {len(text)} characters long; at most {MOST_TEXT} fit.")
    if any(ord(c) < 32 and c != "\n" for c in text):
        raise ValueError("holds control characters; write plain text.")
    return text


def _choice(names: Iterable[str]) -> Any:
    return Annotated[Literal[tuple(names)], BeforeValidator(_hyphened)]


def _number_schema(**more: Any) -> dict[str, Any]:
    return {"type": "number", **more}


LENGTH_SCHEMA = {
    "anyOf": [
        {"type": "string", "pattern": r'^[+-]?[0-9 ./]+\s*(mm|cm|m|in|inch|inches|"|ft|balls?|diamonds?)$'},
        {"const": 0},
    ],
    "description": "A length with its unit: 300 mm, 12 in, 5 balls, 2 diamonds.",
}
CUT_SCHEMA = {
    "anyOf": [
        _number_schema(minimum=0, exclusiveMaximum=90),
        {"type": "string", "pattern": r"^[0-9 ./]+\s*(deg|degrees?|°|overlap|sixteenths?)?$"},
    ],
    "description": "A cut: degrees (14.5), an overlap (3/4) or sixteenths of a ball (8 sixteenths).",
}

CutValue = Annotated[Cut, PlainValidator(values.cut), WithJsonSchema(CUT_SCHEMA)]
LengthValue = Annotated[Length, PlainValidator(values.length), WithJsonSchema(LENGTH_SCHEMA)]
PositiveLength = Annotated[Length, PlainValidator(values.positive_length), WithJsonSchema(LENGTH_SCHEMA)]
OptionalLength = Annotated[Length | None, PlainValidator(values.length), WithJsonSchema(LENGTH_SCHEMA)]
Words = Annotated[str, PlainValidator(_text), WithJsonSchema({"type": ["string", "number"]})]
Name = Annotated[str, PlainValidator(_name), WithJsonSchema({"type": "string", "pattern": NAME_PATTERN})]
Seconds = Annotated[
    float | None,
    PlainValidator(values.seconds),
    WithJsonSchema({"anyOf": [_number_schema(exclusiveMinimum=0, maximum=600), {"type": "string"}]}),
]
Rate = Annotated[
    tuple[int, int],
    PlainValidator(values.rate),
    WithJsonSchema({"enum": [24, 25, 30, 50, 60, 23.976, 29.97, 59.94, "24000/1001", "30000/1001", "60000/1001"]}),
]
Size = Annotated[
    tuple[int, int],
    PlainValidator(values.size),
    WithJsonSchema(
        {"anyOf": [{"enum": list(values.SIZES)}, {"type": "string", "pattern": "^[0-9]+ ?[x×] ?[0-9]+$"}]}
    ),
]
METHOD_NAMES = tuple(method.replace("_", "-") for method in METHODS)
Method: Any = _choice(METHOD_NAMES)
Pocket: Any = _choice(POCKET_NAMES)
Side = Literal["left", "right"]

AXIS_TYPES: dict[str, Any] = {"method": Method, "cut": CutValue, "side": Side, "distance": Name, "eye": Name}


def _one_or_more(item: Any) -> Any:
    return Annotated[tuple[item, ...], BeforeValidator(_listed), Field(min_length=1)]


# ------------------------------------------------------------------ keys


class Strict(BaseModel):
    """Keys that are all known: unknown ones are refused, and the known ones noted for the hint."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    @model_validator(mode="before")
    @classmethod
    def _note_known_keys(cls, data: Any, info: ValidationInfo) -> Any:
        if isinstance(data, dict) and info.context is not None:
            info.context[id(data)] = tuple(cls.model_fields)
        return data


class Eye(Strict):
    """An eye: behind the cue ball, above the cloth, and beside the aim by an offset or a named alignment."""

    back: PositiveLength
    height: PositiveLength
    offset: OptionalLength = Field(
        None, description="Left of the vertical plane through the aim line; left positive."
    )
    alignment: _choice(ALIGNMENTS) = None  # type: ignore[valid-type]

    @model_validator(mode="after")
    def _one_offset(self) -> Eye:
        if self.offset is not None and self.alignment is not None:
            raise ValueError("has both 'offset' and 'alignment'; an eye stands in one place, so leave one out.")
        return self


class Output(Strict):
    """The picture: its size, frame rate and look."""

    size: Size = (1920, 1080)
    rate: Rate = (60, 1)
    theme: Literal["dusk"] = "dusk"


class Speech(Strict):
    """How fast the narration is spoken: the length of a step that no recording gives."""

    words_a_minute: Annotated[float, Field(ge=60, le=300, allow_inf_nan=False)] = WORDS_A_MINUTE
    pause: Annotated[Seconds, Field(description="Seconds after each sentence.")] = PAUSE_A_SENTENCE_S


class StepWords(Strict):
    """What a lesson changes about one step: the words on screen, the words spoken, the length."""

    title: Words | None = None
    narration: Words | None = None
    seconds: Seconds = None


class Changes(Strict):
    """What a group, or an override for some of its clips, may set."""

    pocket: Pocket = None
    spot: tuple[LengthValue, LengthValue] | None = None
    narration: Words | None = Field(None, description="The words spoken in a clip that has one step.")
    steps: dict[str, StepWords] = Field(default_factory=dict)


class Group(Changes):
    """A group of clips of one kind."""

    kind: str
    name: Name | None = Field(None, description="Stands in the clips' names in place of the kind.")


class CardGroup(Group):
    """A card: words alone."""

    title: Words | None = None
    over: Words | None = None
    under: Words | None = None


def _selector(kind: ClipKind) -> dict[str, Any]:
    return {AXES[axis]: (_one_or_more(AXIS_TYPES[axis]), ()) for axis in AXES if axis in kind.axes}


def group_model(name: str, kind: ClipKind) -> type[Group]:
    """The model of a clip group of a kind: the axes that multiply it become keys."""
    stem = "".join(word.title() for word in name.split("-"))
    literal: Any = Literal[name]
    if not kind.axes:
        return create_model(f"{stem}Group", __base__=CardGroup, kind=(literal, ...))
    axes = _selector(kind)
    selector = create_model(f"{stem}Selector", __base__=Strict, **axes)
    override = create_model(f"{stem}Override", __base__=Changes, **axes)
    return create_model(
        f"{stem}Group",
        __base__=Group,
        kind=(literal, ...),
        exclude=(_one_or_more(selector), ()),
        overrides=(_one_or_more(override), ()),
        **axes,
    )


AnyGroup: Any = Annotated[
    Union[tuple(group_model(name, kind) for name, kind in CLIP_KINDS.items())], Discriminator("kind")  # noqa: UP007
]


DEFAULT_CUTS = ("3/4", "1/2", "1/4")
DEFAULT_DISTANCES = {"near": "300 mm", "far": "1000 mm"}
DEFAULT_EYES: Any = {"player": {"back": "600 mm", "height": "300 mm"}}


class LessonKeys(Strict):
    """The keys of a lesson file."""

    title: Words
    identity: Name | None = Field(
        None, description="Short name of the lesson, for file names; the file's name if left out."
    )
    language: _choice(LANGUAGES) = "en"  # type: ignore[valid-type]
    units: Literal["mm", "in", "ball"] = "mm"
    table: _choice(TABLES) = "9ft"  # type: ignore[valid-type]
    ball: PositiveLength = Field("57.15 mm", validate_default=True)
    cuts: Annotated[tuple[CutValue, ...], BeforeValidator(_listed), Field(min_length=1)] = Field(
        DEFAULT_CUTS, validate_default=True
    )
    sides: Annotated[tuple[Side, ...], BeforeValidator(_listed), Field(min_length=1)] = ("left", "right")
    distances: Annotated[dict[Name, PositiveLength], Field(min_length=1)] = Field(
        DEFAULT_DISTANCES, validate_default=True
    )
    pocket: Pocket = "foot-left"
    spot: tuple[LengthValue, LengthValue] | None = Field(None, description="Where the object ball lies, [x, y].")
    eyes: Annotated[dict[Name, Eye], Field(min_length=1)] = Field(DEFAULT_EYES, validate_default=True)
    output: Output = Field(default_factory=lambda: Output())
    speech: Speech = Field(default_factory=lambda: Speech())
    clips: Annotated[tuple[AnyGroup, ...], Field(min_length=1)]


# ------------------------------------------------------------------ from file to lesson

Location = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Lesson:
    """A lesson file that holds together: its keys, and the place of each of them."""

    file: str
    identity: str
    keys: LessonKeys
    tree: Node

    def place(self, *location: str | int) -> Place:
        """Where a value stands in the file: as near as the file says it."""
        return place_of(self.tree, location)

    def place_of_key(self, *location: str | int) -> Place:
        """Where the key of a value stands."""
        return place_of(self.tree, location, of_key=True)


def load(path: Path, shown_as: str | None = None) -> Lesson:
    """The lesson in a file. Raises LessonError with every fault of the file's form and keys."""
    return _lesson(read(path, shown_as), shown_as or path.as_posix(), path.stem)


def loads(text: str, name: str = "lesson.yaml") -> Lesson:
    """The lesson in a text, as if it stood in a file of that name."""
    return _lesson(read_text(text, name), name, Path(name).stem)


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


@cache
def _adapter() -> TypeAdapter[LessonKeys]:
    return TypeAdapter(LessonKeys)


def _lesson(tree: Node, file: str, stem: str) -> Lesson:
    if not isinstance(tree, Keys):
        raise LessonError(
            [Fault(tree.place, "is no lesson; a lesson is a mapping of keys: title, clips and others.")]
        )
    faults = list(_empty_values(tree))
    known: dict[int, tuple[str, ...]] = {}
    data = plain(tree)
    try:
        keys = _adapter().validate_python(data, context=known)
    except ValidationError as error:
        faults += [f for e in error.errors() if (f := _fault(e, tree, data, known))]
    if faults:
        raise LessonError(faults)
    return Lesson(file, keys.identity or slug(stem), keys, tree)


def slug(text: str) -> str:
    """A text as a part of a file name."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:32] or "lesson"


def _empty_values(node: Node) -> Iterable[Fault]:
    if isinstance(node, Items):
        for item in node.items:
            if isinstance(item, Text) and not item.text and not item.quoted:
                yield Fault(item.place, "an entry of the list is empty; write a value or remove the '-'.")
            yield from _empty_values(item)
    elif isinstance(node, Keys):
        for key, (place, value) in node.entries.items():
            if isinstance(value, Text) and not value.text and not value.quoted:
                yield Fault(place, f"'{key}' has no value; write one or remove the key.")
            yield from _empty_values(value)


def _shown(location: Location, data: Any) -> str:
    """'clips[2].output' for a location, without the parts that only the model knows."""
    shown, here = "", data
    for part in location:
        if isinstance(here, Mapping) and part in here:
            shown, here = f"{shown}.{part}" if shown else str(part), here[part]
        elif isinstance(here, list) and isinstance(part, int) and part < len(here):
            shown, here = f"{shown}[{part}]", here[part]
    return shown


def _at(location: Location, data: Any) -> Any:
    here: Any = data
    for part in location:
        is_key = isinstance(here, Mapping) and part in here
        is_index = isinstance(here, list) and isinstance(part, int) and part < len(here)
        if is_key or is_index:
            here = here[part]
    return here


VERBS = {"is", "has", "holds", "needs"}


def _fault(error: Any, tree: Node, data: Any, known: Mapping[int, tuple[str, ...]]) -> Fault | None:
    """One of pydantic's errors as a sentence with a place; None when another fault already says it."""
    where: Location = error["loc"]
    kind, context = error["type"], error.get("ctx", {})
    place = place_of(tree, where)
    value = error["input"]
    if value is None:
        return None
    shown = _shown(where, data)
    within = _shown(where[:-1], data)
    inside = f" in {within}" if within else ""
    if kind == "extra_forbidden":
        keys = known.get(id(_at(where[:-1], data)), ())
        return Fault(
            place_of(tree, where, of_key=True),
            f"unknown key '{where[-1]}'{inside}{did_you_mean(str(where[-1]), keys)}",
        )
    if kind == "missing":
        return Fault(place, f"'{where[-1]}' is missing{inside or ' in the lesson'}.")
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        if kind == "union_tag_not_found":
            return Fault(place, f"'kind' is missing in {shown}; kinds are: {', '.join(CLIP_KINDS)}.")
        tag = str(context["tag"])
        return Fault(
            place_of(tree, (*where, "kind")), f"unknown kind '{tag}' in {shown}{did_you_mean(tag, CLIP_KINDS)}"
        )
    if kind == "literal_error":
        choices = re.findall(r"'([^']*)'", context["expected"])
        return Fault(place, f"{shown} is {_quoted(value)}{did_you_mean(str(value), choices)}")
    if kind == "value_error":
        sentence = str(context["error"])
        # a sentence that begins with its verb needs the key for a subject
        return Fault(place, f"{shown} {sentence}" if sentence.split()[0] in VERBS else sentence)
    if kind == "too_short":
        # said of a list whose entries are wrong too, which the faults of the entries tell better
        return None if value else Fault(place, f"{shown} is empty; write an entry or leave the key out.")
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return Fault(place, f"{shown} must be a mapping of keys, not {_quoted(value)}.")
    if kind == "tuple_type":
        return Fault(place, f"{shown} must be a list, not {_quoted(value)}.")
    return Fault(place, f"{shown} is {_quoted(value)}: {error['msg'][:1].lower()}{error['msg'][1:]}.")


def _quoted(value: Any) -> str:
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, Mapping):
        return "a mapping"
    text = str(value)
    return f"'{text if len(text) <= 40 else text[:37] + '...'}'"
