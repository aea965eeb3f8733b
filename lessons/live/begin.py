"""A new lesson: ten lines that already make clips, in a file beside the others."""

from __future__ import annotations

import json
import re
from pathlib import Path

from aimgeo.tables import TABLES
from lessons.lesson.faults import LessonError
from lessons.lesson.model import loads
from lessons.lesson.values import cut
from lessons.planning.plan import plan

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_ -]{0,59}")


def begun(folder: Path, title: str, file: str, table: str, cuts: str) -> tuple[Path, str]:
    """Path and text of a new lesson. Raises ValueError with what to do about it.

    >>> print(begun(Path("."), "Monday", "monday", "9ft", "3/4, 1/2")[1].splitlines()[1])
    cuts: [3/4, 1/2]
    """
    stem = file.strip().removesuffix(".yaml").removesuffix(".yml")
    if not NAME.fullmatch(stem):
        raise ValueError("the file's name is made of letters, digits, hyphens and blanks.")
    if table not in TABLES:
        raise ValueError(f"there is no table {table}; there are {', '.join(TABLES)}.")
    listed = [one.strip() for one in cuts.split(",") if one.strip()]
    for one in listed:
        cut(one)
    text = f"""\
title: {json.dumps(title.strip(), ensure_ascii=False)}
cuts: [{", ".join(listed)}]
distances: {{near: 300 mm, far: 700 mm}}
table: {table}
clips:
  - kind: title
  - kind: build-up
    methods: [ghost-ball, contact-points]
  - kind: players-eye
    methods: ghost-ball
"""
    try:
        plan(loads(text, f"{stem}.yaml"))
    except LessonError as error:
        raise ValueError(error.faults[0].sentence) from None
    return folder / f"{stem}.yaml", text
