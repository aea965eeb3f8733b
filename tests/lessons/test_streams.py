"""Streams that fail, Ctrl-C, folders that lack something: a sentence each, and nothing is lost."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from lessons import streams
from lessons.cli import main
from lessons.rendering.folder import FolderError, locked
from lessons.rendering.workers import sentence
from lessons.streams import plain
from scenes.files import drop

LESSON = """\
title: T
cuts: 1/2
sides: left
distances: {near: 300 mm}
output: {size: 320x180, rate: 24}
clips:
  - {kind: title}
  - {kind: players-eye, methods: ghost-ball}
"""
FULL = Path("/dev/full")

needs_full = pytest.mark.skipif(not FULL.exists(), reason="no /dev/full on this system")


@pytest.fixture
def lesson(tmp_path: Path) -> Path:
    path = tmp_path / "tiny.yaml"
    path.write_text(LESSON)
    return path


def aimgeo(*words: object, **options: object) -> subprocess.CompletedProcess[str]:
    options = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **options}
    return subprocess.run([sys.executable, "-m", "lessons", *map(str, words)], text=True, timeout=120, **options)  # type: ignore[call-overload]


@needs_full
@pytest.mark.parametrize("words", [("plan",), ("table",), ("check",)], ids=["plan", "table", "check"])
def test_a_full_standard_output_is_told(lesson: Path, words: tuple[str]) -> None:
    with FULL.open("w") as full:
        done = aimgeo(*words, lesson, stdout=full)
    assert (done.returncode, done.stderr) == (
        1,
        "Error: standard output cannot be written: No space left on device; what was made is kept.\n",
    )


@needs_full
def test_answers_that_cannot_be_written_end_the_stream(tmp_path: Path) -> None:
    (tmp_path / "asked").write_text("{}\n")
    with FULL.open("w") as full:
        done = aimgeo("solve", "--batch", tmp_path / "asked", stdout=full)
    assert done.returncode == 2
    assert "standard output cannot be written: No space left on device" in done.stderr
    assert "requests cannot be read" not in done.stderr


@needs_full
@pytest.mark.parametrize("lacking", ["full", "closed"])
def test_a_render_ends_well_without_anybody_to_tell(lesson: Path, tmp_path: Path, lacking: str) -> None:
    """Its messages fail from the first one on; nothing in the environment but what a bare start has."""
    words = [sys.executable, "-m", "lessons", "render", lesson, "--only", "title", "--out", tmp_path / "out"]
    to = {"full": ">/dev/full 2>/dev/full", "closed": ">&- 2>&- <&-"}[lacking]
    bare = {"PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    done = subprocess.run(["/bin/sh", "-c", f'"$@" {to}', "sh", *map(str, words)], env=bare, timeout=120)
    assert done.returncode == {"full": 1, "closed": 0}[lacking]
    assert [p.name for p in (tmp_path / "out").glob("*.mp4")] == ["title.mp4"]


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX terminals")
def test_the_display_steers_its_terminal(lesson: Path, tmp_path: Path) -> None:
    import pty

    ours, theirs = pty.openpty()
    words = ["render", lesson, "--only", "title", "--out", tmp_path / "out", "--workers", 1]
    run = subprocess.Popen([sys.executable, "-m", "lessons", *map(str, words)], stdout=theirs, stderr=theirs)
    os.close(theirs)
    told = b""
    try:
        while block := os.read(ours, 65536):
            told += block
    except OSError:  # Linux: nobody holds the other end any more
        pass
    os.close(ours)
    assert run.wait(60) == 0
    assert b"\x1b[2K" in told
    assert b"u001b" not in told
    assert b"1 rendered" in told


def test_a_reader_that_leaves_is_no_fault(lesson: Path) -> None:
    run = subprocess.Popen(
        [sys.executable, "-m", "lessons", "plan", str(lesson)], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert run.stdout is not None
    run.stdout.close()
    assert run.stderr is not None
    assert run.stderr.read() == b""
    assert run.wait(60) == 0


def test_ctrl_c_while_libraries_load_leaves_no_traceback(lesson: Path) -> None:
    """The first verb's module is held while it is imported, and the signal comes then."""
    code = (
        "import importlib.abc, sys, time\n"
        "class Held(importlib.abc.MetaPathFinder):\n"
        "    def find_spec(self, name, path, target=None):\n"
        "        if name == 'lessons.commands.plan': print('here', flush=True); time.sleep(30)\n"
        "sys.meta_path.insert(0, Held())\n"
        f"sys.argv = ['aimgeo', 'plan', {str(lesson)!r}]\n"
        "from lessons.__main__ import main; main()\n"
    )
    run = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert run.stdout is not None
    assert run.stdout.readline() == "here\n"
    run.send_signal(signal.SIGINT)
    _, told = run.communicate(timeout=60)
    assert (run.returncode, told) == (-signal.SIGINT, "")


def test_ctrl_c_in_a_verb_is_told_in_a_word(monkeypatch: pytest.MonkeyPatch, lesson: Path) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("lessons.commands.check.lesson_files", interrupted)
    done = CliRunner().invoke(main, ["check", str(lesson)])
    assert (done.exit_code, done.stderr) == (130, "Stopped.\n")


def test_nothing_that_is_quoted_steers_a_terminal_or_looks_like_another_fault(tmp_path: Path) -> None:
    path = tmp_path / "a\x1b[31m.yaml"
    path.write_text(
        '"\\e]0;owned\\a": 1\ntitle: T\nclips: [{kind: "a\\nb.yaml:3:4: good"}, {kind: ' + "x" * 90_000 + "}]\n"
    )
    done = CliRunner().invoke(main, ["check", str(path)])
    assert done.exit_code == 1
    assert not set(done.output) & set(map(chr, streams.STEERING))
    assert "unknown kind 'a\\nb.yaml:3:4: good'" in done.output
    assert not any(line.startswith("b.yaml") for line in done.output.splitlines())
    assert len(done.output) < 5000


def test_what_is_written_out_stays_json() -> None:
    import json

    assert json.loads(f'"{plain(chr(0x85) + chr(0x202E))}"') == "\x85\u202e"
    assert plain("ä ☂\t\n") == "ä ☂\t\n"


def test_a_still_without_opengl_is_told_in_a_sentence(lesson: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from scenes.plate.painter import NoOpenGLError

    def none(*_: object) -> None:
        raise NoOpenGLError("the player's-eye views need OpenGL 3.3, and none could be opened.")

    monkeypatch.setattr("lessons.commands.still._draw", none)
    done = CliRunner().invoke(main, ["still", str(lesson)])
    assert done.exit_code == 1
    assert "Error: clip 'title': the player's-eye views need OpenGL 3.3" in done.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("check", "n" * 300 + ".yaml"),
        ("still", "tiny.yaml", "--only", "title", "--out", "tiny.yaml/x.png"),
        ("script", "tiny.yaml", "--out", "tiny.yaml/x"),
    ],
    ids=["a name too long", "a picture below a file", "a script below a file"],
)
def test_a_file_that_cannot_be_is_a_sentence(
    words: tuple[str, ...], lesson: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(lesson.parent)
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 1
    assert isinstance(done.exception, SystemExit)
    assert done.stderr.startswith("Error: ")
    assert ".part" not in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX locks")
def test_a_network_folder_without_locks_can_be_used_and_a_held_one_can_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import fcntl

    answers = iter([errno.ENOLCK, errno.EWOULDBLOCK])

    def flock(*_: object) -> None:
        raise OSError(next(answers), "")

    monkeypatch.setattr(fcntl, "flock", flock)
    with locked(tmp_path):
        pass
    with pytest.raises(FolderError, match="another render or deliver"), locked(tmp_path):
        pass


def test_memory_that_runs_out_is_told() -> None:
    assert "not enough memory" in sentence(MemoryError())
    assert "no more memory or threads" in sentence(OSError(errno.EAGAIN, "Resource temporarily unavailable"))


def test_an_unfinished_file_that_cannot_be_removed_hides_no_reason(tmp_path: Path) -> None:
    drop(tmp_path)  # a folder is no file to unlink: OSError by POSIX
    assert tmp_path.exists()
