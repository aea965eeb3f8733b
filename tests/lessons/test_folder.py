"""The output folder: what is in its record is believed only as far as it speaks of clips in this folder."""

from __future__ import annotations

import json
import os
from collections.abc import Generator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from lessons.cli import main
from lessons.lesson.model import loads
from lessons.planning.plan import plan
from lessons.planning.planned import Plan
from lessons.rendering.cache import clip_key, digest
from lessons.rendering.folder import RECORD, FolderError, locked, read_record, sweep
from lessons.rendering.pace import STATED, keep_pace, pace_file, read_pace
from lessons.rendering.render import Settings, Target, reasons, render
from scenes.film.forms import FORMS

LESSON = "title: Tiny\ncuts: [1/2]\ndistances: {near: 300 mm}\nclips: [{kind: title}]\n"
GOOD: dict[str, Any] = {
    "size": 9,
    "parts": {"shot": "a"},
    "facts": {"kind": "title", "libraries": {}},
    "spoken": "b",
    "entry": {
        "name": "old",
        "file": "old.mp4",
        "kind": "title",
        "width_px": 320,
        "height_px": 180,
        "rate": [24, 1],
        "frames": 9,
        "sha256": "c",
        "shot": None,
        "steps": [],
        "still": [],
    },
}


def tiny() -> Plan:
    return plan(loads(LESSON))


def write_record(folder: Path, *lines: object) -> None:
    folder.mkdir(exist_ok=True)
    (folder / RECORD).write_text("".join(json.dumps(line) + "\n" for line in lines))


def with_entry(**more: object) -> dict[str, Any]:
    return GOOD | {"entry": GOOD["entry"] | more}


@pytest.mark.parametrize("file", ["../precious.mp4", "{out}/precious.mp4", "", ".", "..", "a/b.mp4", "a\\b.mp4",
                                  "old.mp4\0", "o" * 300 + ".mp4", "manifest.json", "other.mp4"])  # fmt: skip
def test_a_record_can_neither_remove_nor_pull_in_what_is_not_its_clips(file: str, tmp_path: Path) -> None:
    precious, folder, made = tmp_path / "precious.mp4", tmp_path / "clips", tiny()
    precious.write_text("precious!")
    file = file.format(out=tmp_path)
    key = clip_key(made.clips[0], "h264", digest(FORMS["h264"]))
    as_title = with_entry(name="title", file=file) | {"parts": key.parts, "facts": key.facts}
    write_record(folder, with_entry(file=file), with_entry(name=file.removesuffix(".mp4"), file=file), as_title)
    (folder / "other.mp4").write_text("precious!")
    assert set(reasons(made, folder)) == {"title"}

    def nobody_draws(_tasks: object, _workers: object) -> Generator[Any, None, None]:
        yield from ()

    outcome = render([Target(made, folder)], Settings(prune=True), draw=nobody_draws)
    assert (outcome.waiting, outcome.reused) == (1, 0)
    assert precious.read_text() == "precious!"
    if file != "other.mp4":  # a clip of that name was in the record, and no lesson has it
        assert (folder / "other.mp4").exists()
    assert not (folder / "title.mp4").exists()


@pytest.mark.parametrize(
    "line",
    [
        [], 5, None, "x", {}, GOOD | {"size": "9"}, GOOD | {"parts": []}, GOOD | {"facts": []},
        GOOD | {"facts": {}},
        GOOD | {"facts": {"libraries": 5}}, GOOD | {"spoken": None}, GOOD | {"entry": []}, GOOD | {"entry": {}},
        with_entry(name=5), with_entry(file=None), with_entry(steps={}), with_entry(still=None),
    ],
)  # fmt: skip
def test_lines_of_another_shape_are_left_out(line: object, tmp_path: Path) -> None:
    write_record(tmp_path, line, GOOD)
    assert list(read_record(tmp_path)) == ["old"]
    write_record(tmp_path, line)
    assert read_record(tmp_path) == {}
    assert list(reasons(tiny(), tmp_path)) == ["title"]


def test_a_record_that_cannot_be_read_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / RECORD).mkdir()  # even for root
    with pytest.raises(FolderError, match="cannot be read: Is a directory; make it readable, or remove it"):
        read_record(tmp_path)
    lesson = tmp_path / "tiny.yaml"
    lesson.write_text(LESSON)
    done = CliRunner().invoke(main, ["plan", str(lesson), "--out", str(tmp_path)])
    assert (done.exit_code, done.stderr.count("\n")) == (1, 1)
    assert "cannot be read" in done.stderr


def test_only_one_at_a_time_writes_and_sweeps(tmp_path: Path) -> None:
    """A deliver holds the folder, so that a render's sweep never meets its unfinished files, and the other way."""
    lesson = tmp_path / "tiny.yaml"
    lesson.write_text(LESSON)
    folder = tmp_path / "clips"
    with locked(folder):
        part = folder / ".tiny.mp4.1.part"
        part.touch()
        done = CliRunner().invoke(main, ["render", str(lesson), "--out", str(folder)])
        assert done.exit_code == 1
        assert "another render or deliver is writing to" in done.stderr
        assert part.exists()


def test_what_a_kill_left_behind_is_swept_where_deliver_writes_too(tmp_path: Path) -> None:
    """And not in other folders, which may be a lesson's own."""
    left = [tmp_path / ".a.mp4.1.part", tmp_path / "captions" / ".a.srt.2.part",
            tmp_path / "frames" / "a" / ".a_1.png.3.part"]  # fmt: skip
    kept = [tmp_path / "other" / ".a.mp4.4.part", tmp_path / "captions" / "a.srt", tmp_path / ".mine.part"]
    for path in (*left, *kept):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    assert sweep(tmp_path) == 3
    assert [p.exists() for p in left] == [False] * 3
    assert all(p.exists() for p in kept)


@pytest.mark.parametrize("kept", ["[]", "5", '"x"', "null", "{", '{"h264": "fast"}', '{"h264": []}'])
def test_a_pace_of_another_shape_is_none_and_is_kept_anew(
    kept: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lessons.rendering.pace.click.get_app_dir", lambda _: str(tmp_path))
    pace_file().write_text(kept)
    assert read_pace("h264") == STATED
    keep_pace("h264", 5000, 5000.0 * 640 * 360, 60.0)
    assert read_pace("h264").is_measured


def test_a_folder_whose_name_is_no_utf_8_can_be_told(tmp_path: Path) -> None:
    """Linux takes any bytes for a name; the manifest is UTF-8."""
    from lessons.rendering.manifest import shown_path

    assert shown_path(os.fsdecode(b"caf\xe9/tiny.yaml")) == "caf\ufffd/tiny.yaml"
    assert shown_path("café/tiny.yaml") == "café/tiny.yaml"
