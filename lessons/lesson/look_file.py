"""A look of one's own: a file that a lesson names, over one of the built-in looks, checked so that it can be
read."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError, create_model

from lessons.lesson import explain
from lessons.lesson.beside import path_of
from lessons.lesson.faults import Fault, LessonError
from lessons.lesson.fields import Colour, Words, choice
from lessons.lesson.read import Keys, Text, plain, read
from lessons.lesson.texts import Strict
from scenes.look import LOOKS
from scenes.look.look import Look, Surfaces


def _named(of: type, is_colour: Any) -> dict[str, Any]:
    return {f.name: (Colour | None, Field(None)) for f in fields(of) if is_colour(f)}


DUSK = LOOKS["dusk"]
COLOURS: Any = create_model(
    "LookColours", __base__=Strict, **_named(Look, lambda f: str(f.type) in ("str", "str | None"))
)
SURFACES: Any = create_model("LookSurfaces", __base__=Strict, **_named(Surfaces, lambda f: str(f.type) == "str"))
_ROLES: dict[str, Any] = {role: (Colour | None, Field(None)) for role in DUSK.lines}
LINES: Any = create_model("LookLines", __base__=Strict, **_ROLES)


class LookKeys(Strict):
    """A look: what it changes of a built-in one."""

    based_on: choice(LOOKS) = Field("dusk", description="The built-in look that it changes.")  # type: ignore[valid-type]
    colours: COLOURS = Field(default_factory=COLOURS, description="Cloth, balls, words and what lies under lines.")
    surfaces: SURFACES = Field(default_factory=SURFACES, description="The rendered table of the eye's picture.")
    lines: LINES = Field(default_factory=LINES, description="The lines' colours; their patterns stay.")
    logo: Words | None = Field(
        None, description="A picture beside the look's file: PNG, JPEG or SVG; on all cards."
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
    look = _look(keys)
    found += _unreadable(look, keys, tree)
    faults += found
    return None if found else {"look": look, "logo": None if keys.logo is None else path.parent / keys.logo}


def _look(keys: Any) -> Look:
    base: Look = LOOKS[keys.based_on]
    colours, surfaces, lines = (
        {name: colour for name, colour in part if colour is not None}
        for part in (keys.colours, keys.surfaces, keys.lines)
    )
    styles = {role: replace(style, colour=lines.get(role, style.colour)) for role, style in base.lines.items()}
    return replace(
        base, **colours, surfaces=replace(base.surfaces, **surfaces), lines=styles, in_corner=keys.corner
    )


def _unreadable(look: Look, keys: Any, tree: Keys) -> list[Fault]:
    """What can't be read in it, each at the colour that the sentence begins with."""
    from scenes.look.check import faults as unreadable

    out = []
    written = {name for name, colour in keys.colours if colour is not None}
    for sentence in unreadable(look):
        words = sentence.split()
        # the colour that the file gives, where it gives one of the two
        name = words[0] if words[0] in written or words[0] in look.lines else words[3].rstrip(",")
        part = "lines" if name in look.lines else "colours"
        place = explain.place_of(tree, ("look", part, name), of_key=True)
        out.append(Fault(place, sentence if sentence.endswith(".") else f"{sentence}.", "value"))
    return out
