"""The JSON Schema: kept current, valid by its own standard, and of one mind with the model."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from lessons.lesson.faults import LessonError
from lessons.lesson.model import loads
from lessons.lesson.schema import SCHEMA_FILE

ROOT = Path(__file__).parents[2]
COURSE = sorted((ROOT / "lessons" / "course").glob("*.yaml"))
SCHEMA = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def as_editors_read(text: str) -> Any:
    """A text as an editor's YAML reader gives it to the schema: numbers are numbers."""
    return yaml.safe_load(text)


def test_the_schema_is_valid_by_its_own_standard() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("path", COURSE, ids=lambda p: p.stem)
def test_the_demo_lessons_name_the_schema_and_hold_by_it(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    modeline = re.match(r"# yaml-language-server: \$schema=(\S+)\n", text)
    assert modeline
    assert (path.parent / modeline[1]).resolve() == SCHEMA_FILE
    VALIDATOR.validate(as_editors_read(text))


HEAD = "title: a\nclips: [{kind: build-up}]\n"


@pytest.mark.parametrize(
    "more",
    [
        "cuts: 30",
        "cuts: [14.5, 3/4, 1/2 overlap, 8 sixteenths, 22.5 deg]",
        "distances: {a: 300 mm, b: 12 in, c: 5 balls, d: 2 diamonds, e: 12 1/2 in}",
        "sides: left",
        "spot: [-2 diamonds, 0]",
        "eyes: {a: {back: 1 m, height: 2 ft, offset: 0}}",
        "output: {size: 320 x 180, rate: 30000/1001}",
        "output: {size: vertical, rate: 59.94}",
        "speech: {words_a_minute: 120, pause: 0.5}",
        "identity: abc",
        "units: ball",
    ],
)
def test_what_the_model_takes_the_schema_takes(more: str) -> None:
    loads(HEAD + more)
    VALIDATOR.validate(as_editors_read(HEAD + more))


@pytest.mark.parametrize(
    "more",
    [
        "cuts: 95",
        "cuts: []",
        "cuts: thick",
        "distances: {a: 300}",
        "distances: {A: 300 mm}",
        "sides: up",
        "spot: [1 mm]",
        "eyes: {a: {back: 1 m}}",
        "output: {size: 8k}",
        "output: {rate: 61}",
        "output: {fps: 60}",
        "speech: {words_a_minute: 1000}",
        "identity: ../up",
        "units: feet",
        "titel: a",
        "pocket: corner",
        "cuts:",
    ],
)
def test_what_the_schema_underlines_the_model_refuses(more: str) -> None:
    with pytest.raises(LessonError):
        loads(HEAD + more)
    with pytest.raises(jsonschema.ValidationError):
        VALIDATOR.validate(as_editors_read(HEAD + more))


def test_every_key_has_a_description_for_the_editor_and_the_reference() -> None:
    reference = (ROOT / "docs" / "lesson-file.md").read_text(encoding="utf-8")
    groups = [SCHEMA, *SCHEMA["$defs"].values()]
    for group in groups:
        for key, told in group["properties"].items():
            assert f"`{key}`" in reference, f"docs/lesson-file.md does not explain {key}"
            if key != "kind":
                assert told.get("description"), key
