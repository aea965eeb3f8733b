"""`aimgeo deliver` killed, or on a full disk: whole files only, and what was delivered before stays good."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from lessons.cli import main
from lessons.lesson.model import loads
from lessons.planning.plan import plan
from lessons.rendering.deliveries import last_delivery, numbers

LESSON = """\
title: Thin
identity: thin
cuts: [3/4]
sides: left
distances: {near: 300 mm}
clips: [{kind: title}]
"""
(NAME,) = (clip.name for clip in plan(loads(LESSON)).clips)

Tree = dict[str, bytes]


def tree(folder: Path) -> Tree:
    """Every file that has its name, with its bytes."""
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and not p.name.endswith(".part")
    }


def deliver(folder: Path) -> tuple[int, str]:
    done = CliRunner().invoke(main, ["deliver", str(folder / "thin.yaml"), "--out", str(folder / "out")])
    return done.exit_code, done.stderr


@pytest.fixture
def folder(tmp_path: Path, stock: SimpleNamespace) -> Path:
    """A lesson that was delivered, and its clip as it was rendered after that."""
    folder = tmp_path / "work"
    (folder / "out").mkdir(parents=True)
    (folder / "thin.yaml").write_text(LESSON)
    for frames, words in ((20, "Look here."), (30, "Look at this one.")):
        stock.write_folder(folder / "out", [stock.entry(NAME, frames, (25, 1), [("s", frames, words)])],
                           identity="thin", title="Thin")  # fmt: skip
        if frames == 20:
            assert deliver(folder) == (0, "")
    return folder


@pytest.fixture
def done(folder: Path, tmp_path: Path) -> Tree:
    """The folder after a delivery that nothing disturbs."""
    copy = tmp_path / "undisturbed"
    shutil.copytree(folder, copy)
    assert deliver(copy) == (0, "")
    return tree(copy / "out")


KILLED = """
import os, signal, sys
given, replace = 0, os.replace
def counting(*words, **more):
    global given
    given += 1
    if given == int(sys.argv[1]):
        os.kill(os.getpid(), signal.SIGKILL)
    replace(*words, **more)
os.replace = counting
from lessons.cli import main
main(["deliver", "thin.yaml", "--out", "out"])
"""
"""Delivers, and is killed as it gives its file of that number a name."""


def run(folder: Path, *words: str, limit: int | None = None) -> subprocess.CompletedProcess[str]:
    """A process beside the lesson; with a limit, its files can't grow beyond so many bytes."""

    def limited() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit or 0, limit or 0))

    return subprocess.run(
        [sys.executable, *words], cwd=folder, env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[3])},
        preexec_fn=limited if limit else None, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


@pytest.mark.parametrize("count", [2, 9, 16])
def test_killed_between_any_two_files_it_leaves_whole_ones_and_goes_on(
    count: int, folder: Path, done: Tree
) -> None:
    before = tree(folder / "out")
    assert run(folder, "-c", KILLED, str(count)).returncode == -signal.SIGKILL
    left = tree(folder / "out")
    assert before.keys() <= left.keys()
    assert all(content in (before.get(name), done.get(name)) for name, content in left.items())
    # the record of what was delivered is the earlier one, until all of this one is there
    assert numbers(folder / "out") == (1,)
    assert last_delivery(folder / "out") is not None
    assert deliver(folder) == (0, "")
    assert tree(folder / "out") == done
    assert not list((folder / "out").rglob("*.part"))


@pytest.mark.parametrize("limit", [900, 6_000])
def test_a_file_that_finds_no_room_is_not_begun_and_the_others_are_whole(
    limit: int, folder: Path, done: Tree
) -> None:
    before = tree(folder / "out")
    done_so_far = run(folder, "-m", "lessons.cli", "deliver", "thin.yaml", "--out", "out", limit=limit)
    wrong = done_so_far.stderr
    assert done_so_far.returncode == 1, wrong
    assert "Traceback" not in wrong
    assert "cannot be written" in wrong
    assert "make room" in wrong
    left = tree(folder / "out")
    assert before.keys() <= left.keys()
    assert all(content in (before.get(name), done.get(name)) for name, content in left.items())
    assert numbers(folder / "out") == (1,)
    assert not list((folder / "out").rglob("*.part"))
    assert deliver(folder) == (0, "")
    assert tree(folder / "out") == done
