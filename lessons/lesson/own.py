"""Methods of one's own in a lesson file: their keys, what is wrong with them, and their words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from math import sin
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, PlainValidator, WithJsonSchema

from aimgeo.construct.language import (
    BALLS,
    KNOWN_LINES,
    KNOWN_POINTS,
    MOST_DEFINITIONS,
    OPERATIONS,
    POCKET_POINTS,
    SIDES,
    WHICH,
    Aim,
    Argument,
    Definition,
    Flaw,
    Length,
    Operation,
    checked,
)
from aimgeo.fractions import TIP_MM
from aimgeo.methods.own import Own, OwnMeasure, OwnStep, measure_key, role_of
from lessons.lesson import values
from lessons.lesson.faults import Fault, did_you_mean
from lessons.lesson.fields import METHOD_NAMES, CutValue, Name, one_or_more
from lessons.lesson.texts import ShownText, SpokenText, Strict, Translated, said

Location = tuple[str | int, ...]
PART_PATTERN = r"^[a-z][a-z0-9_-]{0,31}$"
FIELD_PATTERN = r"^[a-z][a-z0-9_]{0,31}$"
MOST_METHODS, MOST_STEPS = 20, 24
MOST_NUMBER = 1000.0


def _part(value: Any) -> str:
    if not isinstance(value, str) or not re.fullmatch(PART_PATTERN, value):
        raise ValueError(
            f"'{str(value)[:40]}' is no name of a point or line: small letters, digits, hyphens and underscores, "
            "a letter first, at most 32."
        )
    if _key(value) in KNOWN_POINTS or _key(value) in KNOWN_LINES or value == "aim":
        raise ValueError(f"'{value}' is known already; choose another name.")
    return value


def _field(value: Any) -> str:
    if not isinstance(value, str) or not re.fullmatch(FIELD_PATTERN, value):
        raise ValueError(
            f"'{str(value)[:40]}' is no field; small letters, digits and underscores, a letter first."
        )
    return value


def _definition_schema() -> dict[str, Any]:
    """One operation each: the keys that it takes."""
    pair = {"type": "array", "items": {"type": "string"}, "minItems": 2, "maxItems": 2}
    kinds: dict[str, Any] = {
        "two_points": pair,
        "two_lines": pair,
        "ball": {"enum": list(BALLS)},
        "side": {"enum": list(SIDES)},
        "which": {"enum": list(WHICH)},
    }
    text = {"type": ["string", "number"]}
    return {
        "anyOf": [
            {
                "type": "object",
                "description": operation.says[:1].upper() + operation.says[1:] + ".",
                "properties": {key: kinds.get(kind, text) for key, kind in operation.takes.items()},
                "required": list(operation.takes),
                "additionalProperties": False,
            }
            for operation in OPERATIONS.values()
        ]
    }


def _mapping(value: Any) -> Any:
    if not isinstance(value, dict):
        raise ValueError("must be a mapping of keys, such as {halfway: [object_centre, ghost_centre]}.")
    return value


PartName = Annotated[str, PlainValidator(_part), WithJsonSchema({"type": "string", "pattern": PART_PATTERN})]
FieldName = Annotated[str, PlainValidator(_field), WithJsonSchema({"type": "string", "pattern": FIELD_PATTERN})]
Made = Annotated[Any, PlainValidator(_mapping), WithJsonSchema(_definition_schema())]
AIM_SCHEMA = {
    "anyOf": [
        {
            "type": "object",
            "properties": {key: {"type": "string"} for key in keys},
            "required": list(keys),
            "additionalProperties": False,
        }
        for keys in (("from", "through"), ("along",))
    ]
}


def _aim_keys(value: Any) -> Any:
    if not isinstance(value, dict):
        raise ValueError(f"'{str(value)[:40]}' is no aim; {AIM_SAYS}")
    return value


AIM_SAYS = "write where the cue ball is sent: {from: cue_centre, through: a point} or {along: a line}."
AimKeys = Annotated[Any, PlainValidator(_aim_keys), WithJsonSchema(AIM_SCHEMA)]


def _two(value: Any) -> Any:
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise ValueError("a measure lies between two points or two lines, such as [object_centre, ghost_centre].")
    return value


Between = Annotated[tuple[str, str], BeforeValidator(_two)]


class OwnMeasureKeys(Strict):
    """What a step measures: the gap between two points, or the angle between two lines."""

    name: ShownText = Field(description="In the picture.")
    between: Between = Field(description="Two points, or two lines.")


class OwnStepKeys(Strict):
    """A step of a method of one's own."""

    name: str | None = Field(None, description="The step's name, for `steps`; numbered by default.")
    show: one_or_more(str, "Points and lines that the step draws; aim is the aim line.") = ()  # type: ignore[valid-type]
    title: ShownText = Field(description="On screen; break lines by hand.")
    narration: SpokenText | None = Field(None, description="What is said; the title by default.")
    measures: dict[FieldName, OwnMeasureKeys] = Field(
        default_factory=dict, description="What is measured, by the name of its field in texts."
    )


class OwnMethodKeys(Strict):
    """A method of one's own."""

    name: ShownText | None = Field(None, description="In pictures and speech; the key by default.")
    reach: CutValue | None = Field(None, description="The largest cut for which it is used.")
    points: dict[PartName, Made] = Field(
        default_factory=dict, description="Points and lines by name, each made from others."
    )
    labels: dict[PartName, ShownText] = Field(
        default_factory=dict, description="What points and lines are called in pictures; their names by default."
    )
    aim: AimKeys = Field(description="From a point through a point, or along a line.")
    steps: tuple[OwnStepKeys, ...] = Field((), max_length=MOST_STEPS, description="What is shown, in order.")


OwnMethods = dict[Name, OwnMethodKeys]


class MethodsFile(Strict):
    """A file of methods, which lessons name under `methods_files`."""

    own_methods: OwnMethods = Field(min_length=1, description="Methods of one's own, by name.")


def own_texts(keys: Mapping[str, OwnMethodKeys]) -> Iterator[tuple[Location, Translated]]:
    """Every text of the methods that is shown or said, with its location."""
    for name, method in keys.items():
        at: Location = ("own_methods", name)
        if method.name is not None:
            yield (*at, "name"), method.name
        for part, label in method.labels.items():
            yield (*at, "labels", part), label
        for k, step in enumerate(method.steps):
            yield (*at, "steps", k, "title"), step.title
            if step.narration is not None:
                yield (*at, "steps", k, "narration"), step.narration
            for measure, told in step.measures.items():
                yield (*at, "steps", k, "measures", measure, "name"), told.name


# ------------------------------------------------------------------ reading


class _Flawed(Exception):  # noqa: N818 - caught here
    """A sentence about a value, and where in its definition it stands."""

    def __init__(self, sentence: str, *at: str | int) -> None:
        super().__init__(sentence)
        self.at = at


def read_own(keys: Mapping[str, OwnMethodKeys], place_of: Any, faults: list[Fault]) -> dict[str, Own]:
    """The methods by their keys; what is wrong with them is added to `faults`.

    `place_of(location, of_key)` gives a place in the file.
    """
    made = {}
    for name, method in keys.items():
        at: Location = ("own_methods", name)
        found: list[tuple[Location, str]] = []
        own = _read_method(name, method, found)
        faults += [Fault(place_of((*at, *where)), f"{_told((*at, *where))}: {s}", "method") for where, s in found]
        if own is not None:
            made[own.name] = own
    return made


def _told(location: Location) -> str:
    return "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in location)[1:]


def _read_method(name: str, method: OwnMethodKeys, found: list[tuple[Location, str]]) -> Own | None:
    if name in METHOD_NAMES:
        found.append(((), "is a method that aimgeo has; choose another name."))
    definitions: dict[str, Definition] = {}
    written: dict[str, str] = {}
    for part, given in method.points.items():
        if _key(part) in written:
            found.append((("points", part), f"'{part}' is the same name as '{written[_key(part)]}'."))
        written[_key(part)] = part
        try:
            definitions[_key(part)] = _definition(given)
        except _Flawed as flawed:
            found.append((("points", part, *flawed.at), str(flawed)))
    try:
        aim = _aim(method.aim)
    except _Flawed as flawed:
        found.append((("aim", *flawed.at), str(flawed)))
        return None
    kinds = dict.fromkeys(KNOWN_POINTS, "point") | dict.fromkeys(KNOWN_LINES, "line")
    kinds |= {part: OPERATIONS[d.operation].gives for part, d in definitions.items()}
    # a definition that could not be read is told once, not again where it is used
    unread = written.keys() - definitions.keys()
    kinds |= dict.fromkeys(unread, "")
    program = checked(definitions, aim)
    if isinstance(program, list):
        found += [_flaw(flaw, method, written, kinds) for flaw in program if flaw.what not in unread]
    for part in method.labels:
        if _key(part) not in written:
            found.append((("labels", part), f"unknown point or line '{part}'{did_you_mean(part, written)}"))
    steps = _steps(method, kinds, found)
    if isinstance(program, list) or found:
        return None
    reach = 1.0 if method.reach is None else sin(method.reach.cut_rad)
    return Own(_key(name), program, steps, reach)


def _definition(given: Mapping[str, Any]) -> Definition:
    operation = next((o for o, one in OPERATIONS.items() if set(one.takes) == set(given)), None)
    if operation is None:
        raise _Flawed(_no_operation(list(given)))
    arguments: dict[str, Argument] = {}
    for key, kind in OPERATIONS[operation].takes.items():
        arguments[key] = _argument(key, kind, given[key])
    return Definition(operation, arguments)


def _no_operation(keys: list[str]) -> str:
    """What is nearest to some keys that make no operation."""
    rare = {
        key: sum(key in one.takes for one in OPERATIONS.values())
        for one in OPERATIONS.values()
        for key in one.takes
    }

    def nearness(one: Operation) -> tuple[float, ...]:
        shared = set(one.takes) & set(keys)
        return len(shared), sum(1 / rare[key] for key in shared), -len(one.takes)

    near = max(OPERATIONS.values(), key=nearness)
    if set(near.takes) & set(keys):
        lacks = [key for key in near.takes if key not in keys]
        more = [key for key in keys if key not in near.takes]
        said = [f"'{lacks[0]}' is missing"] if lacks else []
        said += [f"'{more[0]}' does not belong here"] if more else []
        return f"{' and '.join(said)}; {near.says}: {{{', '.join(near.takes)}}}."
    known = "; ".join(f"{{{', '.join(one.takes)}}}" for one in OPERATIONS.values())
    unknown = f"'{keys[0]}' is no operation" if keys else "makes nothing"
    return f"{unknown}; known are: {known}."


def _argument(key: str, kind: str, value: Any) -> Argument:
    if kind in ("two_points", "two_lines"):
        if not isinstance(value, list) or len(value) != 2 or not all(isinstance(one, str) for one in value):
            raise _Flawed(f"needs two {kind.removeprefix('two_')}, such as [object_centre, ghost_centre].", key)
        return (_key(value[0]), _key(value[1]))
    if not isinstance(value, str):
        raise _Flawed("must be a single value.", key)
    if kind in CHOICES:
        if _key(value) not in CHOICES[kind]:
            raise _Flawed(f"'{value[:40]}' is no {kind}{did_you_mean(_key(value), CHOICES[kind])}", key)
        return _key(value)
    try:
        if kind == "length":
            return _length(value)
        if kind == "angle":
            return values.angle_rad(value)
        if kind == "number":
            number = values.number(value)
            if abs(number) > MOST_NUMBER:
                raise ValueError(f"is {value}; it goes from -{MOST_NUMBER:g} to {MOST_NUMBER:g}.")
            return number
    except ValueError as error:
        raise _Flawed(str(error), key) from None
    return _key(value)


CHOICES = {"ball": BALLS, "side": SIDES, "which": WHICH}


def _length(text: str) -> Length:
    """A length of a construction: in mm, cm, m, in or ft, in ball widths, or in widths of a cue's tip."""
    tips = re.fullmatch(r"(.*?)\s*tips?", " ".join(text.split()).lower())
    if tips:
        return Length(mm=values.number(tips[1]) * TIP_MM)
    try:
        found = values.length(text)
    except ValueError as error:
        raise ValueError(str(error).replace("balls or diamonds", "balls or tips")) from None
    if found.unit == "diamond":
        raise ValueError(f"'{found.text}' is no length of a construction; write mm, in, balls or tips.")
    if found.unit == "ball":
        return Length(balls=float(found.number))
    return Length(mm=found.mm(0.0, 0.0))


def _aim(given: Mapping[str, Any]) -> Aim:
    if not all(isinstance(value, str) for value in given.values()):
        raise _Flawed("needs names of points or of a line.")
    if set(given) == {"along"}:
        return Aim(along=_key(given["along"]))
    if set(given) == {"from", "through"}:
        return Aim(_key(given["from"]), _key(given["through"]))
    raise _Flawed("says where the cue ball is sent: {from: cue_centre, through: a point} or {along: a line}.")


def _flaw(
    flaw: Flaw, method: OwnMethodKeys, written: Mapping[str, str], kinds: Mapping[str, str]
) -> tuple[Location, str]:
    """A flaw of the program as a sentence, at the value that asks for it."""
    part = written.get(flaw.at, flaw.at)
    at: Location = ("aim",) if flaw.at == "aim" else ("points", part)
    holder: Mapping[str, Any] = method.aim if flaw.at == "aim" else method.points.get(part, {})
    for key, value in holder.items():
        if isinstance(value, str) and _key(value) == flaw.what:
            at = (*at, key)
            break
        if isinstance(value, list) and flaw.what in map(_key, value):
            at = (*at, key, list(map(_key, value)).index(flaw.what))
            break
    match flaw.code:
        case "unknown":
            return at, _unknown(flaw.what, flaw.what, kinds)
        case "not_a_point":
            points = [name for name, kind in kinds.items() if kind == "point"]
            return at, f"'{flaw.what}' is a line; a point is needed{_points(points)}"
        case "not_a_line":
            return (
                at,
                f"'{flaw.what}' is a point; a line is needed, such as {{through: [cue_centre, {flaw.what}]}}.",
            )
        case "circle":
            way = " needs ".join((*flaw.names, flaw.names[0]))
            return at, f"goes in a circle: {way}. Define one of them by something else."
        case "own_aim":
            return at, "the aim is what comes out at the end; a point or line can't be made from it."
        case _:
            return ("points",), f"defines more than {MOST_DEFINITIONS} points and lines."


def _unknown(written: str, name: str, known: Iterable[str]) -> str:
    """That a point or line is unknown, and which was meant: of a ball its centre."""
    if name in BALLS:
        return f"'{written}' is a ball; a point or line is needed: {name.replace('_ball', '_centre')}."
    return f"unknown point or line '{written[:40]}'{did_you_mean(name, known)}"


def _points(names: list[str]) -> str:
    return f"; known are: {', '.join(names)}."


def _steps(
    method: OwnMethodKeys, kinds: Mapping[str, str], found: list[tuple[Location, str]]
) -> tuple[OwnStep, ...]:
    made: list[OwnStep] = []
    shown: set[str] = set()
    fields: set[str] = set()
    for k, step in enumerate(method.steps):
        at: Location = ("steps", k)
        for i, written in enumerate(step.show):
            name = _key(written)
            if name == "target":
                found.append(((*at, "show", i), "the target lies in the pocket; show target_line."))
            elif name in POCKET_POINTS:
                found.append(((*at, "show", i), f"'{name}' lies at the pocket; show a line that goes there."))
            elif name != "aim" and name not in kinds:
                found.append(((*at, "show", i), _unknown(written[:40], name, (*kinds, "aim"))))
            elif name in shown:
                found.append(((*at, "show", i), f"'{written}' is shown already, in a step before."))
            shown.add(name)
        measures = []
        for one, told in step.measures.items():
            a, b = map(_key, told.between)
            where: Location = (*at, "measures", one)
            unknown = [i for i, name in enumerate((a, b)) if name not in kinds]
            if unknown:
                bad = (a, b)[unknown[0]]
                found.append(((*where, "between", unknown[0]), _unknown(bad, bad, kinds)))
            elif kinds[a] != kinds[b] and kinds[a] and kinds[b]:
                found.append(
                    ((*where, "between"), "needs two points for their gap, or two lines for their angle.")
                )
            if one in fields or one in FIELDS:
                found.append((where, f"the field '{one}' is taken already; choose another name."))
            fields.add(one)
            measures.append(OwnMeasure(one, a, b))
        name = (
            " ".join(step.name.lower().replace("_", " ").replace("-", " ").split())
            if step.name
            else f"step {k + 1}"
        )
        if name in {one.name for one in made} | {"where", "roll", "aim line", "target line", "what it gives"}:
            found.append((at, f"step name '{name}' is taken already; choose another."))
        made.append(OwnStep(name, tuple(map(_key, step.show)), tuple(measures)))
    return tuple(made)


FIELDS = frozenset({
    "lesson", "cut", "overlap", "side", "aim_side", "distance", "distance_name", "contact_offset", "aim_offset",
    "ball", "pocket", "method", "eye", "title", "given_cut", "miss", "off",
})  # fmt: skip
"""The fields that every method's texts may use, and those of what comes of its aim."""


def _key(name: str) -> str:
    return re.sub(r"[\s-]+", "_", name.strip().lower())


# ------------------------------------------------------------------ words


def own_words(
    words: Mapping[str, Any], keys: Mapping[str, OwnMethodKeys], own: Mapping[str, Own], language: str
) -> Mapping[str, Any]:
    """A language's words with those of the methods of one's own."""
    if not own:
        return words
    names, labels, sentences, measures = ({**words[k]} for k in ("names", "labels", "sentences", "measures"))
    limits = {**words.get("limits", {})}
    for written, method in keys.items():
        one = own[_key(written)]
        named = said(method.name, language) if method.name is not None else written.replace("-", " ")
        names[one.name] = named
        for part in method.points:
            label = method.labels.get(part)
            text = re.sub("[_-]", " ", part).capitalize() if label is None else said(label, language)
            labels[role_of(one, _key(part))] = text
        for step, told in zip(one.steps, method.steps, strict=True):
            title = said(told.title, language)
            spoken = said(told.narration, language) if told.narration is not None else as_sentence(title)
            sentences[f"{one.name}.{step.name}"] = {"title": title, "narration": spoken}
            for measure in step.measures:
                measures[measure_key(one, measure)] = _plain(said(told.measures[measure.field].name, language))
        if "own.limit" in limits:
            for kind in ("limit", "no_aim"):
                limits[f"{one.name}.{kind}"] = limits[f"own.{kind}"].replace("{method}", _plain(named))
    own_parts = {"names": names, "labels": labels, "sentences": sentences, "measures": measures, "limits": limits}
    return {**words, **own_parts}


def _plain(text: str) -> str:
    """A text that holds no fields, as one that may."""
    return text.replace("{", "{{").replace("}", "}}")


def own_steps(
    keys: Mapping[str, OwnMethodKeys], own: Mapping[str, Own]
) -> dict[str, tuple[OwnStepKeys, Location]]:
    """The steps of one's own by their sentence keys, each with its location."""
    return {
        f"{one.name}.{step.name}": (told, ("own_methods", name, "steps", k))
        for name, method in keys.items()
        if (one := own.get(_key(name))) is not None
        for k, (step, told) in enumerate(zip(one.steps, method.steps, strict=True))
    }


def as_sentence(title: str) -> str:
    """A title as something that is said."""
    text = " ".join(title.split())
    return text if text.endswith((".", "?", "!")) else f"{text}."
