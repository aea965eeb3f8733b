"""What authors do wrong, and exactly what they are told: `mistakes.yaml` is the table.

The mistakes are those that people made who tried to write lessons, and more of their kind.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml
from click.testing import CliRunner

from lessons.cli import main
from lessons.lesson.faults import FAULTS, Fault, LessonError
from lessons.lesson.model import loads
from lessons.planning.plan import plan

HERE = Path(__file__).parent
MISTAKES: list[dict[str, Any]] = yaml.safe_load((HERE / "mistakes.yaml").read_text(encoding="utf-8"))


def told(faults: tuple[Fault, ...], expected: list[str]) -> list[str]:
    """The faults as in the table: where it has … a list of what is known may be any."""
    found = [f"{f.place.line}:{f.place.column}: {f.sentence} [{f.id}]" for f in faults]
    return [
        re.sub(r"(known are:|of the kinds) .*\. \[", r"\1 …. [", one)
        if k < len(expected) and "…" in expected[k]
        else one
        for k, one in enumerate(found)
    ]


@pytest.mark.parametrize("one", MISTAKES, ids=[one["mistake"] for one in MISTAKES])
def test_a_mistake_gets_its_message(one: dict[str, Any]) -> None:
    faults: tuple[Fault, ...] = ()
    notes: tuple[Fault, ...] = ()
    try:
        notes = plan(loads(one["lesson"], "a.yaml")).notes
    except LessonError as error:
        faults = error.faults
    assert told(faults, one.get("told", [])) == one.get("told", [])
    assert told(notes, []) == one.get("notes", [])


def test_no_message_is_said_twice_at_a_place_or_repeats_a_list() -> None:
    for one in MISTAKES:
        lines = one.get("told", [])
        assert len(set(lines)) == len(lines)
        lists = [found[0] for line in lines if (found := re.search("known are: .*", line))]
        assert len(set(lists)) == len(lists)


def test_every_id_is_documented() -> None:
    told = (HERE.parents[1] / "docs" / "messages.md").read_text(encoding="utf-8")
    assert [id for id in FAULTS if f"| `{id}` |" not in told] == []


def test_check_shows_the_line_a_caret_and_counts(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text("title: A\ncuts: [30, 95]\nclips:\n  - kind: tabel\n", encoding="utf-8")
    (tmp_path / "b.yaml").write_text("title: Lesson #1\nclips: [{kind: title}]\n", encoding="utf-8")
    done = CliRunner().invoke(main, ["check", str(tmp_path)])
    assert done.exit_code == 1
    a, b = ((tmp_path / name).as_posix() for name in ("a.yaml", "b.yaml"))
    note = f"{b}:1:14: note: everything from '#1' on is a comment; put the text in quotes if it belongs to it."
    assert done.output.splitlines() == [
        f"{a}:2:12: cut is 95 degrees; a ball can be cut by less than 90. [value]",
        "  2 | cuts: [30, 95]",
        "    |            ^",
        f"{a}:4:11: unknown kind 'tabel' in clips[0]; did you mean 'table'? [unknown-kind]",
        "  4 |   - kind: tabel",
        "    |           ^",
        f"{note} [comment]",
        "  1 | title: Lesson #1",
        "    |              ^",
        f"{b}: good, 1 clip.",
        "2 faults in 1 file.",
    ]


def test_check_as_json_is_what_its_documented_schema_says(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text("title: A\nclips: [{kind: tabel}]\n", encoding="utf-8")
    (tmp_path / "b.yaml").write_text("title: Lesson #1\nclips: [{kind: title}]\n", encoding="utf-8")
    done = CliRunner().invoke(main, ["check", str(tmp_path), "--format", "json"])
    assert done.exit_code == 1
    found = json.loads(done.stdout)
    told = (HERE.parents[1] / "docs" / "messages.md").read_text(encoding="utf-8")
    (schema,) = re.findall(r"```json\n(\{\n  \"\$schema.*?)```", told, re.DOTALL)
    jsonschema.Draft202012Validator(json.loads(schema)).validate(found)
    assert [(one["good"], len(one["faults"]), len(one["notes"])) for one in found["files"]] == [
        (False, 1, 0),
        (True, 0, 1),
    ]
    assert found["files"][0]["faults"][0]["line"] == 2


def test_a_slip_in_a_verb_is_told() -> None:
    done = CliRunner().invoke(main, ["chek", "a.yaml"])
    assert done.exit_code == 2
    assert "no such command 'chek'; did you mean 'check'?" in done.output


def test_a_plan_of_no_clip_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text("title: A\nclips: [{kind: table}]\n", encoding="utf-8")
    done = CliRunner().invoke(main, ["plan", str(path), "--only", "xx"])
    assert done.exit_code == 1
    assert "no clip fits 'xx'" in done.output
