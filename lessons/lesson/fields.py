"""The kinds of value that the keys of a lesson file take: how each is read, and how the JSON Schema tells it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from math import degrees
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    PlainValidator,
    ValidationInfo,
    WithJsonSchema,
)
from pydantic_core import core_schema

from aimgeo.methods import METHODS
from aimgeo.tables import POCKET_NAMES
from lessons.lesson import values
from lessons.lesson.faults import did_you_mean
from lessons.lesson.values import Cut, Length
from lessons.lesson.wording import LANGUAGES, RIGHT_TO_LEFT
from scenes.board.settings import Setting
from scenes.look.fonts import without_glyph

NAME_PATTERN = r"^[a-z][a-z0-9-]{0,31}$"
RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}
"""Names that Windows keeps for devices, whatever the ending."""

MOST_TEXT = 600


def hyphened(value: Any) -> Any:
    """A name with hyphens where it has spaces or underscores; what is no text as it is."""
    return re.sub(r"[\s_]+", "-", value.strip().lower()) if isinstance(value, str) else value


def listed(value: Any) -> Any:
    """A list as it is; a single value as a list of one."""
    return value if isinstance(value, list | tuple) else [value]


def _told(value: Any) -> str:
    if isinstance(value, list | tuple):
        return "a list"
    return "a mapping" if isinstance(value, dict) else f"'{str(value)[:40]}'"


def _name(value: Any) -> str:
    if not isinstance(value, str):
        raise values.Refused(f"is {_told(value)}; write one name.", "wrong-shape")
    if not re.fullmatch(NAME_PATTERN, value):
        raise ValueError(
            f"'{value[:40]}' is no name; names become parts of file names: small letters, digits and "
            "hyphens, a letter first, at most 32."
        )
    if value in RESERVED:
        raise ValueError(f"'{value}' is a name that Windows keeps for itself; choose another.")
    return value


def _words(value: Any) -> str:
    if not isinstance(value, str):
        raise values.Refused(
            f"needs a text, not {'a list' if isinstance(value, list) else 'a mapping'}.", "wrong-shape"
        )
    text = value.strip()
    if not text:
        raise values.Refused("is empty; write the words or leave the key out.", "text")
    if len(text) > MOST_TEXT:
        raise values.Refused(f"is {len(text)} characters long; at most {MOST_TEXT} fit.", "text")
    if any(not c.isprintable() and c not in "\n\u202f\u00a0" for c in text):
        raise values.Refused("holds control characters; write plain text.", "text")
    if not text.isascii() and (backward := [c for c in text if unicodedata.bidirectional(c) in ("R", "AL", "AN")]):
        raise values.Refused(
            f"holds '{''.join(dict.fromkeys(backward))[:20]}', which is written from right to left; pictures and "
            "captions can't set that yet.",
            "text",
        )
    return text


def _shown(value: Any) -> str:
    text = _words(value)
    if not text.isascii() and (missing := without_glyph(text)):
        raise values.Refused(
            f"holds '{missing}', which the font of the pictures can't draw; write it another way.", "text"
        )
    return text


class _OneOrMore:
    """Tells the schema that a single value may stand for a list of one."""

    def __get_pydantic_json_schema__(self, core_schema: Any, handler: GetJsonSchemaHandler) -> Any:
        inner = handler(core_schema)
        return {"anyOf": [inner["items"], inner]}


class WhenRead:
    """Leaves a model unbuilt until a value of it is read: many a lesson writes none."""

    def __get_pydantic_core_schema__(self, model: type[BaseModel], handler: GetCoreSchemaHandler) -> Any:
        def read(value: Any, info: ValidationInfo) -> BaseModel:
            return model.model_validate(value, context=info.context)

        return core_schema.with_info_plain_validator_function(read, metadata={"model": model})

    def __get_pydantic_json_schema__(self, schema: Any, handler: GetJsonSchemaHandler) -> Any:
        model = schema["metadata"]["model"]
        model.model_rebuild()
        name = f"{model.__module__}.{model.__qualname__}:{id(model)}"
        built: Any = {"ref": name, **model.__pydantic_core_schema__}
        told_once = core_schema.definition_reference_schema(built["ref"])
        return handler(core_schema.definitions_schema(told_once, [built]))


def one_or_more(item: Any, description: str = "") -> Any:
    """A list of values, or a single value."""
    return Annotated[
        tuple[item, ...],
        Field(min_length=1, description=description or None),
        BeforeValidator(listed),
        _OneOrMore(),
    ]


def measured(name: str, least_mm: float, most_mm: float) -> Any:
    """A length in mm, cm, m, in or ft within bounds; balls and diamonds are counted with it, not it with them."""

    def read(value: Any) -> Length:
        found = values.positive_length(value)
        if found.unit in ("ball", "diamond"):
            raise ValueError(f"{name} is '{found.text}'; write it in mm, cm, m, in or ft.")
        if not least_mm <= found.mm(0.0, 0.0) <= most_mm:
            raise ValueError(f"{name} is {found.text}; it goes from {least_mm:g} to {most_mm:g} mm.")
        return found

    return Annotated[Length, PlainValidator(read), WithJsonSchema(LENGTH_SCHEMA)]


def choice(names: Iterable[str]) -> Any:
    """One of some names; spaces and underscores in it count as hyphens."""
    return Annotated[Literal[tuple(names)], BeforeValidator(hyphened)]


def left_to_right(language: Any) -> Any:
    """The language's code as it is; ValueError for one that is written from right to left."""
    if language in RIGHT_TO_LEFT:
        raise ValueError(
            f"is '{language}', which is written from right to left; pictures and captions can't set that yet. "
            f"Choose {' or '.join(LANGUAGES)}."
        )
    return language


def _number(**bounds: Any) -> dict[str, Any]:
    return {"type": "number", **bounds}


LENGTH_PATTERN = (
    r"^[+−-]?[0-9 ./½¼¾⅓⅔⅛⅜⅝⅞]+\s*(mm|cm|m|in|inch|inches|\"|ft|foot|feet|'|balls?|diamonds?)"
    r"(\s*[0-9 ./½¼¾⅓⅔⅛⅜⅝⅞]+\s*(in|inch|inches|\"))?$"
)
LENGTH_SCHEMA = {
    "anyOf": [
        {"type": "string", "pattern": LENGTH_PATTERN},
        {"const": 0},
    ],
}
CUT_SCHEMA = {
    "anyOf": [
        _number(minimum=0, exclusiveMaximum=90),
        {"type": "string", "pattern": r"^[0-9 ./½¼¾⅓⅔⅛⅜⅝⅞]+\s*(deg|degrees?|[°º˚]|overlap|sixteenths?)?$"},
    ],
    "description": "Degrees (14.5), an overlap (3/4) or sixteenths of a ball (8 sixteenths).",
}
SECONDS_PATTERN, ANGLE_PATTERN = r"^[0-9.]+\s*(s|sec|seconds?|ms)$", r"^[+-]?[0-9.]+\s*(deg|degrees?|°)?$"
SECONDS_SCHEMA = {
    "anyOf": [_number(exclusiveMinimum=0, maximum=600), {"type": "string", "pattern": SECONDS_PATTERN}]
}
MARK_SCHEMA = {
    "anyOf": [
        _number(minimum=0, maximum=86_400),
        {"type": "string", "pattern": r"^([0-9]{1,3}:){0,2}[0-9.]+\s*s?$"},
    ]
}
RATE_SCHEMA = {
    "enum": [24, 25, 30, 50, 60, 23.976, 29.97, 59.94, *(f"{n}/{d}" for n, d in values.RATES.values() if d > 1)]
}
SIZE_SCHEMA = {"anyOf": [{"enum": list(values.SIZES)}, {"type": "string", "pattern": "^[0-9]+ ?[x×] ?[0-9]+$"}]}


def setting_field(setting: Setting) -> Any:
    """The type of a setting's key; its bounds are the schema's here and checked when the lesson is planned."""
    if setting.takes_methods:
        return _choice_or_method(setting.choices)
    if setting.choices:
        return choice(setting.choices)
    if isinstance(setting.default, bool):
        return bool
    if setting.unit == "mm":
        return LengthValue
    assert setting.least is not None
    assert setting.greatest is not None
    in_file = degrees if setting.unit == "rad" else float
    bounds = {"minimum": round(in_file(setting.least), 9), "maximum": round(in_file(setting.greatest), 9)}
    if isinstance(setting.default, int):
        whole = {"type": "integer", "minimum": int(setting.least), "maximum": int(setting.greatest)}
        return Annotated[int, PlainValidator(values.whole), WithJsonSchema(whole)]
    if not setting.unit:
        return Annotated[float, PlainValidator(values.number), WithJsonSchema(_number(**bounds))]
    read, pattern = {"rad": (values.angle_rad, ANGLE_PATTERN), "s": (values.time_s, SECONDS_PATTERN)}[setting.unit]
    schema = {"anyOf": [_number(**bounds), {"type": "string", "pattern": pattern}]}
    return Annotated[float, PlainValidator(read), WithJsonSchema(schema)]


UNITS = 1
"""Where the context of a validation holds the lesson's units; no mapping has this id."""


def _units(info: ValidationInfo) -> str:
    return str((info.context or {}).get(UNITS, "mm"))


def _length(value: Any, info: ValidationInfo) -> Length:
    return values.length(value, _units(info))


def _positive_length(value: Any, info: ValidationInfo) -> Length:
    return values.positive_length(value, _units(info))


def _two_lengths(value: Any) -> Any:
    if not isinstance(value, list | tuple) or len(value) != 2:
        if value in POCKET_NAMES:
            raise values.Refused(
                f"is two lengths, [x, y]; a pocket is named by 'pocket': pocket: {value}.", "wrong-shape"
            )
        if (
            isinstance(value, list)
            and len(value) in (3, 4)
            and any(str(one).strip().isdigit() for one in value[:-1])
        ):
            raise values.Refused("needs two lengths, [x, y]; a decimal needs a point: 20.5 in.", "decimal-comma")
        text = _told(value)
        raise values.Refused(f"needs two lengths, [x, y], such as [2 diamonds, 0], not {text}.", "wrong-shape")
    return value


def _pace(value: Any) -> float:
    number = values.number(value)
    if not LEAST_PACE <= number <= MOST_PACE:
        raise ValueError(f"pace is {value}; it goes from 1/4 (four times as slow) to 4.")
    return number


LEAST_PACE, MOST_PACE = 0.25, 4.0
PACE_SCHEMA = {
    "anyOf": [_number(minimum=LEAST_PACE, maximum=MOST_PACE), {"type": "string", "pattern": r"^[0-9./ ]+$"}]
}
Pace = Annotated[float, PlainValidator(_pace), WithJsonSchema(PACE_SCHEMA)]


def _colour(value: Any) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"#[0-9a-fA-F]{6}", value.strip()):
        raise ValueError(f"'{str(value)[:40]}' is no colour; write six hex digits in quotes, such as \"#C8502B\".")
    return value.strip().upper()


def _ball_number(value: Any) -> int:
    number = values.whole(value)
    if not 1 <= number <= 15:
        raise ValueError(f"number is {number}; balls are numbered from 1 to 15.")
    return number


COLOUR_SCHEMA = {"type": "string", "pattern": "^#[0-9a-fA-F]{6}$"}
Colour = Annotated[str, PlainValidator(_colour), WithJsonSchema(COLOUR_SCHEMA)]
NUMBER_SCHEMA = {"type": "integer", "minimum": 1, "maximum": 15}
Number = Annotated[int, PlainValidator(_ball_number), WithJsonSchema(NUMBER_SCHEMA)]
CutValue = Annotated[Cut, PlainValidator(values.cut), WithJsonSchema(CUT_SCHEMA)]
LengthValue = Annotated[Length, PlainValidator(_length), WithJsonSchema(LENGTH_SCHEMA)]
PositiveLength = Annotated[Length, PlainValidator(_positive_length), WithJsonSchema(LENGTH_SCHEMA)]
Seconds = Annotated[float, PlainValidator(values.seconds), WithJsonSchema(SECONDS_SCHEMA)]
Mark = Annotated[float, PlainValidator(values.mark_s), WithJsonSchema(MARK_SCHEMA)]
Rate = Annotated[tuple[int, int], PlainValidator(values.rate), WithJsonSchema(RATE_SCHEMA)]
Size = Annotated[tuple[int, int], PlainValidator(values.size), WithJsonSchema(SIZE_SCHEMA)]
Words = Annotated[str, PlainValidator(_words), WithJsonSchema({"type": ["string", "number"]})]
Shown = Annotated[str, PlainValidator(_shown), WithJsonSchema({"type": ["string", "number"]})]
Name = Annotated[str, PlainValidator(_name), WithJsonSchema({"type": "string", "pattern": NAME_PATTERN})]
Spot = Annotated[tuple[LengthValue, LengthValue], BeforeValidator(_two_lengths)]
METHOD_NAMES = tuple(method.replace("_", "-") for method in METHODS)
Language: Any = Annotated[choice(LANGUAGES), BeforeValidator(left_to_right)]
OWN_NAMES = 0
"""Where the context of a validation holds the names of the lesson's own methods; no mapping has this id."""


def _method(name: Any, info: ValidationInfo) -> Any:
    known = (*METHOD_NAMES, *(info.context or {}).get(OWN_NAMES, ()))
    if name not in known:
        raise values.Refused(f"is '{str(name)[:40]}'{did_you_mean(str(name), known)}", "unknown-name")
    return name


def _choice_or_method(choices: tuple[str, ...]) -> Any:
    """One of some names, or a method of the lesson's own."""

    def known(value: Any, info: ValidationInfo) -> Any:
        names = (*choices, *(info.context or {}).get(OWN_NAMES, ()))
        if value not in names:
            raise values.Refused(f"is {_told(value)}{did_you_mean(str(value), names)}", "unknown-name")
        return value

    schema = {"anyOf": [{"enum": list(choices)}, {"type": "string", "pattern": NAME_PATTERN}]}
    return Annotated[str, BeforeValidator(hyphened), AfterValidator(known), WithJsonSchema(schema)]


METHOD_SCHEMA = {"anyOf": [{"enum": list(METHOD_NAMES)}, {"type": "string", "pattern": NAME_PATTERN}]}
Method: Any = Annotated[str, BeforeValidator(hyphened), AfterValidator(_method), WithJsonSchema(METHOD_SCHEMA)]
Pocket: Any = choice(POCKET_NAMES)
Side = Literal["left", "right"]
