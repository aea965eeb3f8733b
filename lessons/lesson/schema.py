"""The JSON Schema of lesson files, made from the model, so that editors complete keys and underline mistakes."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import product
from math import radians
from pathlib import Path
from typing import Annotated, Any, Union

from pydantic import Discriminator, Field, create_model
from pydantic.json_schema import GenerateJsonSchema

from aimgeo.methods import METHODS
from aimgeo.methods.method import Method
from aimgeo.shot import place_shot
from aimgeo.tables import TABLES
from lessons.lesson.look_file import LookFile
from lessons.lesson.model import LessonKeys, group_model
from lessons.lesson.own import MethodsFile
from scenes.board.brief import EyeSpec, Media, Subject
from scenes.kinds import CLIP_KINDS
from scenes.kinds.kind import Kind

SCHEMA_FILE = Path(__file__).parents[1] / "schema.json"
LOOK_SCHEMA_FILE = SCHEMA_FILE.with_name("look.schema.json")
METHODS_SCHEMA_FILE = SCHEMA_FILE.with_name("methods.schema.json")


def schema_text() -> str:
    """The schema as the committed file holds it.

    >>> schema_text().startswith('{\\n  "$schema"')
    True
    """
    made: dict[str, Any] = _tidied(_every_kind().model_json_schema(mode="validation"))
    for group in made["$defs"].values():
        kind = group.get("properties", {}).get("kind", {}).get("const")
        if kind is not None and "steps" in group["properties"]:
            steps = group["properties"]["steps"]
            steps["properties"] = dict.fromkeys(step_names(CLIP_KINDS[kind]), steps["additionalProperties"])
    return _written("Lesson file", made)


def _every_kind() -> type[LessonKeys]:
    """The model of a lesson whose groups are told apart by their kind."""
    groups: Any = Annotated[Union[tuple(map(group_model, CLIP_KINDS.values()))], Discriminator("kind")]  # noqa: UP007
    described = LessonKeys.model_fields["clips"].description
    clips: Any = (tuple[groups, ...], Field(min_length=1, description=described))
    return create_model("Lesson", __base__=LessonKeys, __doc__=LessonKeys.__doc__, clips=clips)


def methods_schema_text() -> str:
    """The schema of files of methods."""
    return _written("File of aiming methods", _tidied(MethodsFile.model_json_schema(mode="validation")))


def look_schema_text() -> str:
    """The schema of files with a look."""
    return _written("File of a look", _tidied(LookFile.model_json_schema(mode="validation")))


def _written(title: str, made: dict[str, Any]) -> str:
    head = {"$schema": GenerateJsonSchema.schema_dialect, "title": title}
    return json.dumps(head | made, indent=2, ensure_ascii=False) + "\n"


def step_names(kind: Kind) -> tuple[str, ...]:
    """The steps that clips of a kind may have, from a near and a far shot, each method and two eyes."""
    found: dict[str, None] = {}
    methods = tuple(METHODS.values()) if "method" in (*kind.axes, *kind.spans) else (None,)
    for method in methods:
        if kind.is_filmed and method is not None:
            found |= dict.fromkeys(step.name for step in _subject(kind, method, 30, 300, 0).construction.steps)  # type: ignore[union-attr]
            continue
        subject = _subject(kind, method, 0 if kind.is_straight else 30, 300, 0)
        companions = tuple(
            _subject(kind, one, cut, far, eye)
            for one, cut, far, eye in product(
                (METHODS["ghost_ball"], METHODS["contact_points"]) if "method" in kind.spans else (method,),
                (15, 30) if "cut" in kind.spans else (0 if kind.is_straight else 30,),
                (300, 900) if "distance" in kind.spans else (300,),
                (0, 30) if "eye" in kind.spans else (0,),
            )
        )
        steps = kind.outline(replace(subject, companions=companions if kind.spans else ()))
        found |= dict.fromkeys(step.name for step in steps)
    return tuple(found)


def _subject(kind: Kind, method: Method | None, cut_deg: float, distance_mm: float, offset_mm: float) -> Subject:
    """A shot that every method reaches, with all that a kind may ask for."""
    table, pocket = TABLES["9ft"], "foot-left"
    shot = place_shot([635.0, 317.5], table.pocket(pocket).centre_mm, radians(cut_deg), distance_mm)
    return Subject(
        kind.name,
        table,
        pocket,
        shot,
        construction=None if method is None else method.construct(shot),
        eye=EyeSpec("eye", 600.0, offset_mm, 300.0),
        distance_name="near",
        judged=None if method is None else method.name,
        media=Media("", "", 16.0, 9.0, (0.0, 1.0)),
        listed=3,
    )


def _tidied(node: Any, is_names: bool = False) -> Any:
    """Without titles that only repeat a key in capitals, and without null, which no lesson file may hold."""
    if isinstance(node, list):
        return [_tidied(part) for part in node if part != {"type": "null"}]
    if not isinstance(node, dict):
        return node
    done = {
        key: _tidied(part, is_names=key in ("properties", "$defs"))
        for key, part in node.items()
        if is_names or (key not in ("title", "discriminator") and not (key == "default" and part in (None, [])))
    }
    if "patternProperties" in done and not is_names:
        done["additionalProperties"] = False
    if not is_names and len(done.get("anyOf", ())) == 1:
        return done.pop("anyOf")[0] | done
    return done
