"""aimgeo still: one picture of a clip, and sentences when there is none to draw."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from lessons.cli import main

LESSON = """\
title: A lesson
pocket: foot-left
cuts: [30]
sides: [left]
distances: {near: 300 mm}
clips:
  - kind: build-up
    methods: [ghost-ball]
  - kind: table
"""


@pytest.fixture
def lesson(tmp_path: Path) -> Path:
    """A lesson of two clips."""
    path = tmp_path / "lesson.yaml"
    path.write_text(LESSON)
    return path


def still(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["still", *map(str, arguments)])


def test_the_end_of_a_clip_is_written(lesson: Path) -> None:
    out = lesson.parent / "end.png"
    result = still(lesson, "--only", "table*", "--draft", "--out", out)
    assert result.exit_code == 0, result.output
    assert result.output == f"{out}\n"
    picture = np.asarray(Image.open(out))
    assert picture.shape == (360, 640, 3)
    # the surround is dark, the object ball orange
    assert picture[5, 5].max() < 40
    red, green, blue = (picture[..., i].astype(int) for i in range(3))
    assert ((red > 200) & (green < 130) & (blue < 80)).sum() > 20


def test_a_step_has_another_picture_than_the_end(lesson: Path) -> None:
    pictures = []
    for i, step in enumerate(((), ("--step", "ghost-ball"))):
        out = lesson.parent / f"{i}.png"
        result = still(lesson, "--only", "ghost*", "--draft", "--out", out, *step)
        assert result.exit_code == 0, result.output
        pictures.append(np.asarray(Image.open(out)).astype(int))
    assert np.abs(pictures[0] - pictures[1]).mean() > 1


def test_the_first_clip_that_fits_is_taken_and_said_to_be(lesson: Path) -> None:
    out = lesson.parent / "a.png"
    result = still(lesson, "--draft", "--out", out)
    assert result.output == f"{out} (the first of 2 clips that fit)\n"


def test_mistakes_get_a_sentence(lesson: Path) -> None:
    result = still(lesson, "--only", "nothing*")
    assert result.exit_code == 1
    assert f"no clip of {lesson} fits 'nothing*'; `aimgeo plan {lesson}` lists their names." in result.output
    result = still(lesson, "--only", "ghost*", "--step", "gost_ball")
    assert result.exit_code == 1
    assert "has no step 'gost_ball'; did you mean 'ghost ball'?" in result.output
    result = still(lesson, "--only", "table*", "--draft", "--out", lesson.parent / "no" / "a.png")
    assert result.exit_code == 1
    assert "No such file or directory" in result.output
    lesson.write_text(LESSON.replace("cuts", "kuts"))
    result = still(lesson)
    assert result.exit_code == 1
    assert result.output.startswith(f"{lesson}:3:1: unknown key 'kuts'")
    assert "Traceback" not in result.output


def test_a_still_needs_no_manim(lesson: Path) -> None:
    out = str(lesson.parent / "a.png")
    code = (
        "import sys; from lessons.cli import main\n"
        f"main(['still', {str(lesson)!r}, '--only', 'ghost*', '--draft', '--out', {out!r}],"
        " standalone_mode=False)\n"
        "sys.exit('manim' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False, capture_output=True).returncode == 0
