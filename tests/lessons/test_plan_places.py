"""`plan` tells where balls lie, how near to a cushion, where nobody could bridge, and what fits another table."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner

from lessons.cli import main

LESSON = """
title: Places
units: in
cuts: 30
sides: left
distances: {near: 12 in, far: 100 in}
spot: [2 diamonds, 1 diamond]
clips: [{kind: table}]
"""


def aimgeo(*args: str) -> str:
    done = CliRunner().invoke(main, list(args))
    assert done.exit_code == 0, done.output
    return done.output


def test_each_shots_place_and_its_air_to_the_cushions(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text(LESSON.replace("100 in", "40 in"), encoding="utf-8")
    told = aimgeo("plan", str(path))
    # 9 ft: 25 in and 12 1/2 in to the noses, less half of 2 1/4 in
    assert "30.0° left, near  25 in from the foot rail, 12 1/2 in from the left rail  11 3/8 in" in told
    assert "bridge" not in told


def test_where_nobody_could_bridge_is_said(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text(LESSON.replace("100 in", "44 in").replace("sides: left", "sides: [left, right]"), "utf-8")
    told = aimgeo("plan", str(path), "--table", "9ft")
    assert "Nobody can bridge there with a level cue (less than 1 15/16 in, common practice):" in told


def test_which_shots_another_table_has_room_for(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text(LESSON, encoding="utf-8")
    told = aimgeo("plan", str(path), "--table", "7ft")
    assert "1 of 2 shots can be set up on the 7ft table." in told
    assert "30.0° left, far, 100 in" in told.split("Can't be set up:")[1]
