"""The JSON Schema of lesson files, made from the model, so that editors complete keys and underline mistakes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic.json_schema import GenerateJsonSchema

from lessons.lesson.model import lesson_model
from scenes.kinds import CLIP_KINDS

SCHEMA_FILE = Path(__file__).parents[1] / "schema.json"


def schema_text() -> str:
    """The schema as the committed file holds it.

    >>> schema_text().startswith('{\\n  "$schema"')
    True
    """
    made: dict[str, Any] = _tidied(lesson_model(frozenset(CLIP_KINDS)).model_json_schema(mode="validation"))
    head = {"$schema": GenerateJsonSchema.schema_dialect, "title": "Lesson file"}
    return json.dumps(head | made, indent=2, ensure_ascii=False) + "\n"


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
