"""aimgeo table: a lesson's accuracy table."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from aimgeo.asking.solve import answer
from aimgeo.methods import METHODS
from lessons.commands.table import command
from lessons.lesson.model import loads
from lessons.planning.accuracy import accuracy, as_csv, as_json, as_text
from lessons.planning.plan import plan

LESSON = """
title: Two cuts
cuts: [10, 1/2, 45]
distances: {near: 300 mm, far: 900 mm}
eyes:
  over: {back: 600 mm, height: 300 mm}
  left: {back: 600 mm, height: 300 mm, offset: 32 mm}
clips: [{kind: table}]
"""


def test_the_table_holds_every_reading_of_every_shot_and_eye_with_the_numbers_of_solve() -> None:
    table = accuracy(plan(loads(LESSON)))
    readings = sum(len(method.readings) for method in METHODS.values())
    assert len(table.rows) == readings * 3 * 2 * 2 * 2
    assert table.unset == ()
    row = next(r for r in table.rows if r["reading"] == "picture" and r["cut"] == "1/2" and r["eye"] == "over")
    asked = {"object_ball_mm": [0, 0], "target_mm": [1000, 0], "cut_deg": 30, "side": row["side"], "table": None}
    eye = {"back_mm": 600, "offset_mm": 0, "height_mm": 300}
    (got,) = answer([{**asked, "distance_mm": row["distance_mm"], "eye": eye}])
    assert row["object_error_deg"] == pytest.approx(got["eye"]["doubled_offset"]["object_error_deg"], abs=1e-9)


def test_the_three_forms_hold_the_same() -> None:
    table = accuracy(plan(loads(LESSON)))
    by_csv = list(csv.DictReader(io.StringIO(as_csv(table))))
    by_json = json.loads(as_json(table))["rows"]
    assert len(by_csv) == len(by_json) == len(table.rows)
    for one, other in zip(by_csv, by_json, strict=True):
        assert one.keys() == other.keys()
        assert other["miss_mm"] is None or float(one["miss_mm"]) == other["miss_mm"]
        assert one["pocketed"] == {None: "", True: "true", False: "false"}[other["pocketed"]]
    text = as_text(table)
    assert "doubled offset: picture" in text
    assert max(map(len, text.splitlines())) < 100
    # the half-ball hit is the last that doubling reaches
    line = next(line for line in text.splitlines() if line.startswith("doubled offset: picture"))
    assert line.split()[-1] == "-"
    assert line.split()[-2] != "-"


def test_a_lesson_in_inches_is_told_in_inches() -> None:
    assert "inches" not in as_text(accuracy(plan(loads(LESSON))))
    assert "pocket in inches," in as_text(accuracy(plan(loads(LESSON + "units: in\n"))))


def test_the_command(tmp_path: Path) -> None:
    lesson = tmp_path / "two.yaml"
    lesson.write_text(LESSON)
    for form, start in (("text", "Two cuts"), ("csv", "method,reading"), ("json", "{")):
        got = CliRunner().invoke(command, [str(lesson), "--format", form])
        assert got.exit_code == 0, got.output
        assert got.stdout.startswith(start)
    lesson.write_text(LESSON.replace("cuts", "cutz"))
    got = CliRunner().invoke(command, [str(lesson)])
    assert got.exit_code == 1
    assert "two.yaml:3" in got.output


ASIDE = """
title: Aside and low
cuts: [58]
distances: {far: 900 mm}
eyes:
  aside: {back: 600 mm, height: 300 mm, offset: 100 mm}
  low: {back: 600 mm, height: 25 mm}
clips: [{kind: table}]
"""


def test_an_aim_that_passes_the_ball_is_told_apart_from_none() -> None:
    """From far beside the aim the spot is taken for a place that sends the cue ball past a thin cut's ball; an eye
    lower than a ball sees no cloth behind the ghost ball."""
    table = accuracy(plan(loads(ASIDE)))
    rows = {(row["eye"], row["side"], row["reading"]): row for row in table.rows}
    passes, none = rows["aside", "right", "base_spot"], rows["low", "right", "centre"]
    assert (passes["hit"], passes["miss_mm"]) == (False, None)
    assert passes["aim_error_deg"] > 0.5
    assert (none["hit"], none["aim_error_deg"], none["miss_mm"]) == (None, None, None)
    blocks = {block.splitlines()[0].split(";")[0]: block for block in as_text(table).split("\n\n")}
    aside, low = (blocks[f"Eye {eye}, distance far (900 mm), to the right"] for eye in ("aside", "low"))
    assert re.search(r"ghost ball: base spot +passes$", aside, re.M)
    assert re.search(r"ghost ball: centre +-$", low, re.M)


def test_a_table_of_its_own_is_judged_as_the_named_one() -> None:
    """The 9 ft table written out by its measures gives the same rows as its name."""
    own = LESSON + "table: {length: 100 in, width: 50 in}\n"
    rows = [accuracy(plan(loads(text))).rows for text in (LESSON, own)]
    for named, given in zip(*rows, strict=True):
        assert given["pocketed"] == named["pocketed"]
        assert given["miss_mm"] == pytest.approx(named["miss_mm"], abs=1e-6)
