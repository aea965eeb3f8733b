"""The installed package: a wheel unpacked outside the checkout checks, renders and delivers a lesson."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parents[1]

LESSON = """\
title: A wheel of its own
cuts: 1/2
sides: left
distances: {near: 300 mm}
output: {size: 320x180, rate: 25}
clips:
  - kind: title
  - kind: table
"""


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel's files in a folder of their own."""
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation", "-w", str(folder)]
    # built from a copy: setuptools leaves a build folder beside the sources
    source = folder / "source"
    tracked = subprocess.run(["git", "ls-files", "-z"], cwd=CHECKOUT, capture_output=True, check=True).stdout
    for name in filter(None, tracked.decode().split("\0")):
        if (CHECKOUT / name).exists() and not name.startswith(("tests/", "docs/")):
            (source / name).parent.mkdir(parents=True, exist_ok=True)
            (source / name).write_bytes((CHECKOUT / name).read_bytes())
    subprocess.run([*build, str(source)], check=True)
    (wheel,) = folder.glob("aimgeo-*.whl")
    zipfile.ZipFile(wheel).extractall(folder / "site")
    return folder / "site"


def run(unpacked: Path, where: Path, *words: str) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "PYTHONPATH": str(unpacked)}
    program = [sys.executable, "-P", "-m", "lessons.cli", *words]
    return subprocess.run(program, cwd=where, env=env, capture_output=True, text=True, timeout=300)


def test_the_wheel_is_what_runs(unpacked: Path, tmp_path: Path) -> None:
    told = subprocess.run(
        [sys.executable, "-P", "-c", "import aimgeo, scenes, lessons; print(aimgeo, scenes, lessons)"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(unpacked)},
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert told.count(str(unpacked)) == 3


def test_a_wheel_outside_the_checkout_makes_a_lesson(unpacked: Path, tmp_path: Path) -> None:
    (tmp_path / "own.yaml").write_text(LESSON)
    rendered = run(unpacked, tmp_path, "render", "own.yaml", "--out", "clips", "--workers", "1")
    assert rendered.returncode == 0, rendered.stdout + rendered.stderr
    delivered = run(unpacked, tmp_path, "deliver", "own.yaml", "--out", "clips")
    assert delivered.returncode == 0, delivered.stdout + delivered.stderr
    made = {p.name for p in (tmp_path / "clips").iterdir()}
    assert {"manifest.json", "title.mp4", "own.otio", "own.edl", "own_review.html", "sheets"} <= made
