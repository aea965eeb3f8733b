"""A look of one's own: a file that a lesson names, over one of the built-in looks, checked so that it can be
read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, PlainValidator, ValidationError, WithJsonSchema, create_model, model_validator

from lessons.lesson import explain, values
from lessons.lesson.beside import path_of
from lessons.lesson.faults import Fault, LessonError
from lessons.lesson.fields import Colour, Words, choice
from lessons.lesson.read import Keys, Text, plain, read
from lessons.lesson.texts import ShownText, Strict
from scenes.look import LOOKS
from scenes.look.fonts import FontFile, own_font, weights
from scenes.look.look import Look, Surfaces, mixed, rgb
from scenes.look.type_scale import GROUPS, Setting, set_as


def _named(of: type, is_colour: Any) -> dict[str, Any]:
    return {f.name: (Colour | None, Field(None)) for f in fields(of) if is_colour(f)}


DUSK = LOOKS["dusk"]
COLOURS: Any = create_model(
    "LookColours", __base__=Strict, **_named(Look, lambda f: str(f.type) in ("str", "str | None"))
)
SURFACES: Any = create_model("LookSurfaces", __base__=Strict, **_named(Surfaces, lambda f: str(f.type) == "str"))
_ROLES: dict[str, Any] = {role: (Colour | None, Field(None)) for role in DUSK.lines}
LINES: Any = create_model("LookLines", __base__=Strict, **_ROLES)


def _between(least: float, most: float, read: Any) -> Any:
    """A number within bounds."""

    def within(value: Any) -> Any:
        found = read(value)
        if not least <= found <= most:
            raise ValueError(f"is {found:g}; it goes from {least:g} to {most:g}.")
        return found

    schema = {"type": "integer" if read is values.whole else "number", "minimum": least, "maximum": most}
    return Annotated[Any, PlainValidator(within), WithJsonSchema(schema)]


Weight: Any = _between(300, 900, values.whole)


class TypeWeights(Strict):
    """How heavy letters are, 300 to 900: of a font that is variable, as the built-in one is."""

    words: Weight | None = Field(None, description="Labels and other words; 500 to 560 by default.")
    titles: Weight | None = Field(None, description="Titles; 600 to 680 by default.")
    numbers: Weight | None = Field(None, description="Measured numbers; 640 by default.")


WordSize: Any = _between(1, 1.1, values.number)
TitleSize: Any = _between(0.8, 1.15, values.number)
NumberSize: Any = _between(0.8, 1.1, values.number)
Standing: Any = _between(2, 15, values.number)


class TypeSizes(Strict):
    """How large letters are beside the built-in look's; what must be legible gets no smaller."""

    words: WordSize = Field(1.0, description="Labels and other words, 1 to 1.1.")
    titles: TitleSize = Field(1.0, description="Titles, 0.8 to 1.15.")
    numbers: NumberSize = Field(1.0, description="Measured numbers, 0.8 to 1.1.")


class TypeKeys(Strict):
    """The letters of pictures, captions and sheets."""

    font: Words | None = Field(None, description="A TTF or OTF file, its path from this file.")
    bold: Words | None = Field(
        None, description="Another one for titles and numbers; the font itself if left out."
    )
    weights: TypeWeights = Field(
        default_factory=lambda: TypeWeights.model_validate({}), description="How heavy they are."
    )
    sizes: TypeSizes = Field(
        default_factory=lambda: TypeSizes.model_validate({}), description="How large they are."
    )

    @model_validator(mode="after")
    def _bold_of_a_font(self) -> TypeKeys:
        if self.bold is not None and self.font is None:
            raise ValueError("has 'bold' and no 'font'; name the font of the words too.")
        return self


class LowerThirdKeys(Strict):
    """Who speaks; a lesson says with which step it comes in."""

    name: ShownText = Field(description="The teacher's or the course's name.")
    under: ShownText | None = Field(None, description="A second line.")
    seconds: Standing = Field(4.0, description="How long it stands, 2 to 15.")


class LookKeys(Strict):
    """A look: what it changes of a built-in one."""

    based_on: choice(LOOKS) = Field("dusk", description="The built-in look that it changes.")  # type: ignore[valid-type]
    colours: COLOURS = Field(default_factory=COLOURS, description="Cloth, balls, words and what lies under lines.")
    surfaces: SURFACES = Field(default_factory=SURFACES, description="The rendered table of the eye's picture.")
    lines: LINES = Field(default_factory=LINES, description="The lines' colours; their patterns stay.")
    type: TypeKeys = Field(
        default_factory=lambda: TypeKeys.model_validate({}), description="Fonts, weights and sizes."
    )
    logo: Words | None = Field(
        None, description="A picture beside the look's file: PNG, JPEG or SVG; on all cards."
    )
    lower_third: LowerThirdKeys | None = Field(
        None,
        description="A name and a second line, which come in where a step of a lesson has `lower_third: yes`.",
    )
    corner: bool = Field(False, description="The logo also stands small in the corner of every other clip.")


class LookFile(Strict):
    """A file with a look, which lessons name under `output`, `look`."""

    look: LookKeys


def read_look(named: Text, folder: Path, faults: list[Fault]) -> dict[str, Any] | None:
    """`look` in a file that a lesson names, and its `logo`'s path; None where it can't be used, which is told."""
    try:
        path = path_of(named, folder, "file of a look")
        tree = read(path)
    except LessonError as error:
        faults += error.faults
        return None
    if not isinstance(tree, Keys):
        faults.append(Fault(tree.place, "is no look; write 'look:' and its keys under it.", "wrong-shape"))
        return None
    found = list(explain.empty_values(tree))
    known: dict[int, Any] = {}
    data = plain(tree)
    try:
        keys = LookFile.model_validate(data, context=known).look
    except ValidationError as error:
        found += [f for e in error.errors(include_url=False) if (f := explain.fault(e, tree, data, known))]
        faults += found
        return None
    fonts = _fonts(keys.type, tree, path.parent, found)
    look, sentences = _judged(_look(keys, fonts))
    found += _unreadable(look, sentences, keys, tree)
    faults += found
    if found:
        return None
    logo = None if keys.logo is None else path.parent / keys.logo
    places = tuple((file, explain.place_of(tree, ("look", "type", key))) for key, file in fonts.items())
    return {"look": look, "logo": logo, "fonts": places, "lower_third": keys.lower_third}


def _fonts(keys: TypeKeys, tree: Keys, folder: Path, found: list[Fault]) -> dict[str, FontFile]:
    """The look's fonts by their keys; what is wrong with them, and with weights that they don't have, is told."""
    fonts = {}
    for key in ("font", "bold"):
        if (name := getattr(keys, key)) is None:
            continue
        place = explain.place_of(tree, ("look", "type", key))
        try:
            fonts[key] = own_font(path_of(Text(place, name), folder, "font"))
        except LessonError as error:
            found += error.faults
        except ValueError as error:
            found.append(Fault(place, f"the font '{name[:80]}' {error}", "file"))
    for group, weight in keys.weights:
        file = fonts.get("font") if group == "words" else fonts.get("bold", fonts.get("font"))
        if weight is None or (keys.font is not None and file is None):
            continue
        known = weights(file)
        told = f"the font '{Path(file.path).name[:80] if file else 'Inter'}'"
        place = explain.place_of(tree, ("look", "type", "weights", group))
        if known is None:
            sentence = f"{told} has one weight only; leave this out, or name another font under 'bold'."
            found.append(Fault(place, sentence))
        elif not known[0] <= weight <= known[1]:
            found.append(Fault(place, f"{told} goes from {known[0]} to {known[1]}; choose a weight between."))
    return fonts


def _look(keys: Any, fonts: Mapping[str, FontFile]) -> Look:
    base: Look = LOOKS[keys.based_on]
    colours, surfaces, lines = (
        {name: colour for name, colour in part if colour is not None}
        for part in (keys.colours, keys.surfaces, keys.lines)
    )
    styles = {role: replace(style, colour=lines.get(role, style.colour)) for role, style in base.lines.items()}
    if "cloth" in colours:
        colours = _following(base, base, colours["cloth"], ("cloth_inset", "cushion")) | colours
        surfaces = (
            _following(base, base.surfaces, colours["cloth"], ("cloth_near", "cloth_far", "horizon")) | surfaces
        )
    if "surround" in colours:
        surfaces = {"surround": colours["surround"]} | surfaces
    words = fonts.get("font")
    settings = {
        group: Setting(
            words if group == "words" else fonts.get("bold", words),
            getattr(keys.type.weights, group),
            getattr(keys.type.sizes, group),
        )
        for group in GROUPS
    }
    return replace(
        base,
        **colours,
        surfaces=replace(base.surfaces, **surfaces),
        lines=styles,
        types=set_as(base.types, settings),
        in_corner=keys.corner,
    )


def _following(base: Look, held: Look | Surfaces, cloth: str, names: tuple[str, ...]) -> dict[str, str]:
    """What a cloth of another colour brings with it: as much lighter or darker than it as in the built-in look."""
    out = {}
    for name in names:
        was, now = (sum(rgb(colour)) / 3 for colour in (base.cloth, getattr(held, name)))
        end, share = ("#FFFFFF", (now - was) / (1 - was)) if now > was else ("#000000", 1 - now / was)
        out[name] = mixed(end, cloth, share)
    return out


@lru_cache(maxsize=8)
def _judged(look: Look) -> tuple[Look, tuple[str, ...]]:
    """What can't be read in a look. Kept, with the look: equal ones are one from then on, and quickly compared."""
    from scenes.look.check import faults

    return look, tuple(faults(look))


def _unreadable(look: Look, sentences: tuple[str, ...], keys: Any, tree: Keys) -> list[Fault]:
    """What can't be read in it, each at the colour that the sentence begins with."""
    out = []
    written = {name for name, colour in keys.colours if colour is not None}
    for sentence in sentences:
        words = sentence.split()
        # the colour that the file gives, where it gives one of the two
        name = words[0] if words[0] in written or words[0] in look.lines else words[3].rstrip(",")
        part = "lines" if name in look.lines else "colours"
        place = explain.place_of(tree, ("look", part, name), of_key=True)
        out.append(Fault(place, sentence if sentence.endswith(".") else f"{sentence}.", "value"))
    return out
