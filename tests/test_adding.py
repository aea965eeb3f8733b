"""The guide's table "to add ...": on a copy of the code, with the files of `adding` and one line for each.

Everything below is what the guide says that there is to do, and nothing else is touched.
"""

from __future__ import annotations

import json
import math
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]
ADDING = Path(__file__).parent / "adding"

FILES = {
    "edge_to_centre.py": "aimgeo/methods/edge_to_centre.py",
    "two_balls.py": "scenes/kinds/two_balls.py",
    "slate.py": "scenes/look/slate.py",
}
"""The new files."""

LINES = (
    (
        "aimgeo/methods/__init__.py",
        "from aimgeo.methods.method import",
        "from aimgeo.methods import edge_to_centre",
    ),
    ("aimgeo/methods/__init__.py", "        fixed_marks.METHOD,", "        edge_to_centre.METHOD,"),
    ("scenes/kinds/__init__.py", "from scenes.kinds.kind import", "from scenes.kinds import two_balls"),
    ("scenes/kinds/__init__.py", "        table_view.KIND,", "        two_balls.KIND,"),
    ("scenes/look/__init__.py", "from scenes.look.look import", "from scenes.look.slate import SLATE"),
    ("scenes/look/__init__.py", "LOOKS: dict[str, Look] = {", '    "slate": SLATE,'),
    ("lessons/lesson/wording.py", "LANGUAGES = {", '    "nl": "Dutch",'),
    ("aimgeo/tables.py", '        _table("9ft"', '        _table("6ft", 72, "common practice"),'),
)
"""In which file, before or after which text, one line more: a value and its import."""

WORDS = {
    "names:": ["edge_to_centre: edge to centre", "reading.straight_on: straight on", "kind.two-balls: two balls"],
    "labels:": ["own_line: Line of my own", "own_point: Point of my own"],
    "limits:": ['edge_to_centre.limit: "the edge reaches any cut below {limit}; this cut is {cut}."'],
    "sentences:": [
        'edge_to_centre.target_line: {title: "Target line", narration: "The target line, at {cut}."}',
        'edge_to_centre.aim_line: {title: "Aim line", narration: "Half way of {aim_offset}."}',
        'methods_summary.edge_to_centre: {title: "Edge", narration: "{reading}, {miss}, {result}."}',
        'two_balls.shown: {title: "Count {number}", narration: "Count to {number}."}',
    ],
}
"""The words of method and kind, by the part of each language's file."""

LESSON = """\
title: {en: All new, nl: Alles nieuw}
language: [en, nl]
table: 6ft
cuts: 1/2
sides: left
distances: {near: 300 mm}
output: {size: 640x360, theme: slate, rate: 24}
clips:
  - {kind: build-up, methods: edge-to-centre}
  - {kind: two-balls, count: 3}
  - {kind: methods-summary}
"""

ASK = """
import json, sys
from pathlib import Path
import numpy as np
from aimgeo.asking.solve import answer
from lessons.lesson.model import load
from lessons.lesson.schema import schema_text
from lessons.planning.plan import plan
from scenes.draw.picture import picture
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS
made = plan(load(Path(sys.argv[1])))
boards = {clip.name: CLIP_KINDS[clip.kind].board(clip.brief) for clip in made.clips}
asked = {"object_ball_mm": [0, 0], "target_mm": [500, 0], "cut_deg": 20, "side": "left", "distance_mm": 300}
print(json.dumps({
    "titles": {clip.name: [step.title for step in clip.brief.steps] for clip in made.clips},
    "spoken": {clip.name: list(clip.translations["nl"]) for clip in made.clips},
    "length_mm": made.clips[0].brief.subject.table.length_mm,
    "faults": {name: faults(board) for name, board in boards.items()},
    "corner": {name: picture(board, board.steps[-min(2, len(board.steps))].end_frame - 1)[2, 2].tolist()
               for name, board in boards.items()},
    "styles": {e.role: getattr(e.shape, "style", getattr(e.shape, "kind", None))
               for e in boards[made.clips[0].name].elements if e.role.startswith("own")},
    "solve": answer([{**asked, "table": "6ft"}])[0]["methods"]["edge_to_centre"],
    "schema": [word for word in ("6ft", "slate", "nl", "two-balls", "edge-to-centre", "what is counted to")
               if word in schema_text()],
}))
"""


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """What a copy of the code with the additions answers."""
    copy = tmp_path_factory.mktemp("copy")
    for room in ("aimgeo", "scenes", "lessons"):
        shutil.copytree(ROOT / room, copy / room, ignore=shutil.ignore_patterns("__pycache__"))
    for name, to in FILES.items():
        shutil.copy(ADDING / name, copy / to)
    for file, at, line in LINES:
        text = (copy / file).read_text(encoding="utf-8")
        assert text.count(at) == 1, (file, at)
        added = f"{at}\n{line}" if at.endswith("{") else f"{line}\n{at}"
        (copy / file).write_text(text.replace(at, added), encoding="utf-8")
    shutil.copy(copy / "lessons/words/de.yaml", copy / "lessons/words/nl.yaml")
    for path in (copy / "lessons/words").iterdir():
        text = path.read_text(encoding="utf-8")
        for part, rows in WORDS.items():
            text = text.replace(f"\n{part}", "\n".join((f"\n{part}", *(f"  {row}" for row in rows), "")), 1)
        path.write_text(text, encoding="utf-8")
    (copy / "new.yaml").write_text(LESSON, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", ASK, "new.yaml"], capture_output=True, text=True, cwd=copy, env={"PYTHONPATH": "."}
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_a_method_of_its_own_is_drawn_ranked_and_solved(told: Any) -> None:
    name = "edge-to-centre_build-up_overlap-1-2_left_near"
    assert told["titles"][name][1:3] == ["Target line", "Aim line"]
    assert told["styles"] == {"own_line": "contact_line", "own_point": "contact"}
    assert "Edge" in told["titles"]["methods-summary_overlap-1-2_left"]
    assert told["solve"]["usable"]
    assert told["solve"]["readings"]["straight_on"]["aim_error_deg"] == pytest.approx(math.degrees(0.01))


def test_a_kind_of_its_own_is_planned_with_its_setting(told: Any) -> None:
    assert told["titles"]["two-balls_overlap-1-2_left_near"] == ["Count 3"]


def test_a_look_of_its_own_colours_the_cloth(told: Any) -> None:
    for red, green, blue in told["corner"].values():
        assert max(red, green, blue) - min(red, green, blue) < 16


def test_a_language_of_its_own_is_spoken_beside_another(told: Any) -> None:
    assert told["spoken"]["two-balls_overlap-1-2_left_near"] == ["Count to 3."]


def test_a_table_size_of_its_own_is_drawn(told: Any) -> None:
    assert told["length_mm"] == pytest.approx(72 * 25.4)


def test_the_clips_can_be_read_and_the_schema_knows_all(told: Any) -> None:
    assert [name for name, faults in told["faults"].items() if faults] == []
    assert told["schema"] == ["6ft", "slate", "nl", "two-balls", "edge-to-centre", "what is counted to"]
