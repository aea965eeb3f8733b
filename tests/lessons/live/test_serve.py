"""The command: where it serves, what it remembers, and what it says when it can't."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest
from click.testing import CliRunner

from lessons.commands.live import command
from lessons.lesson.model import loads
from lessons.live import serve
from lessons.live.begin import begun
from lessons.live.serve import PACKAGES, _address, _free, listen
from lessons.live.session import Session, unpacked
from lessons.planning.plan import plan
from tests.lessons.live.running import LESSON


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return tmp_path / "state"


def test_a_restart_has_the_same_address_and_only_its_owner_can_read_it(lesson: Path, state: Path) -> None:
    token, listening = _address(lesson, None)
    port = listening.getsockname()[1]
    listening.close()
    again, listening = _address(lesson, None)
    assert (again, listening.getsockname()[1]) == (token, port)
    # while it is taken, another address is made, with another token
    other, elsewhere = _address(lesson, None)
    assert other != token
    assert elsewhere.getsockname()[1] != port
    for one in (listening, elsewhere):
        assert one.getsockname()[0] == "127.0.0.1"
        one.close()
    record = next(state.rglob("live-*.json"))
    if os.name == "posix":
        assert stat.S_IMODE(record.stat().st_mode) == 0o600
    record.write_text("not JSON")
    fresh, listening = _address(lesson, None)
    assert fresh not in (token, other)
    listening.close()


def test_a_taken_port_is_said(lesson: Path) -> None:
    listening = listen(None)
    assert listening is not None
    done = CliRunner().invoke(command, [str(lesson), "--no-browser", "--port", str(listening.getsockname()[1])])
    listening.close()
    assert done.exit_code == 1
    assert "is taken" in done.output


@pytest.mark.parametrize(("name", "says"), [("nowhere.yaml", "no such file"), (".", "is a folder")])
def test_what_is_no_lesson_file_is_said(tmp_path: Path, name: str, says: str) -> None:
    done = CliRunner().invoke(command, [str(tmp_path / name), "--no-browser"])
    assert done.exit_code == 1
    assert says in done.output


@pytest.mark.parametrize("package", PACKAGES)
def test_without_the_packages_the_command_says_what_to_install(
    lesson: Path, package: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve, "find_spec", lambda name: None if name == package else object())
    done = CliRunner().invoke(command, [str(lesson)])
    assert done.exit_code == 1
    assert f"needs {package}" in done.output
    assert "pip install 'aimgeo[live]'" in done.output


def test_the_browser_is_opened_before_anything_is_read(lesson: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    order: list[str] = []
    monkeypatch.setattr("webbrowser.open", order.append)
    monkeypatch.setattr(serve, "_run", lambda path, is_new, token, listening: order.append(listening.close()))
    CliRunner().invoke(command, [str(lesson)])
    assert order[0].startswith("http://127.0.0.1:")
    assert len(order) == 2


def test_without_a_lesson_a_new_one_is_begun_and_written_when_it_is_saved(tmp_path: Path) -> None:
    (tmp_path / "lesson.yaml").write_text(LESSON)
    path = _free(tmp_path)
    assert path.name == "lesson-2.yaml"
    session = Session(path, path.name)
    session.type(begun(tmp_path, "A new lesson", path.name, "9ft", "3/4, 1/2")[1])
    heard: list[bytes] = []
    page = session.join(1, heard.append)
    session.reload(None)  # it is not there yet, and nobody misses it
    told = unpacked(heard[0])[0]
    assert told["is_draft"]
    assert not told["is_missing"]
    assert len(told["clips"]) > 5
    assert not path.exists()
    session.save(page, None)
    assert path.read_bytes() == session.file


@pytest.mark.parametrize(
    ("file", "cuts", "says"),
    [
        ("../x", "1/2", "letters, digits"), ("a", "95", "less than 90"), ("a", "x", "is no cut"),
        ("a", "1/2, 30", "same as"),
    ],
)  # fmt: skip
def test_a_new_lesson_that_would_be_none_is_refused(tmp_path: Path, file: str, cuts: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        begun(tmp_path, "A", file, "9ft", cuts)


def test_a_new_lesson_is_ten_lines(tmp_path: Path) -> None:
    path, text = begun(tmp_path, "Thin: hits", "thin", "8ft", "1/4, 1/8")
    assert path == tmp_path / "thin.yaml"
    assert len(text.splitlines()) == 10
    assert plan(loads(text)).clips
