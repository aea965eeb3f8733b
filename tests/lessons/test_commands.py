"""The verbs that need no drawing: check, plan and schema, as they are typed."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from lessons.cli import main
from lessons.lesson.schema import schema_text
from lessons.rendering.pace import START_S, STATED, keep_pace, pace_file, read_pace

GOOD = "title: Good\ncuts: [30, 45]\nclips: [{kind: title}, {kind: build-up}]\n"
FAULTY = "title: Faulty\nclips: [{kind: table, cuts: 95}, {kind: tabel}]\n"


@pytest.fixture(autouse=True)
def _own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("HOME", "XDG_CONFIG_HOME", "APPDATA", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "home"))


def aimgeo(*words: str | Path) -> Result:
    """What the command line does."""
    return CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a good lesson, a faulty one below it, and other files."""
    (tmp_path / "below").mkdir()
    (tmp_path / "good.yaml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "below" / "faulty.yml").write_text(FAULTY, encoding="utf-8")
    (tmp_path / "notes.txt").write_text("no lesson", encoding="utf-8")
    return tmp_path


def test_check_reads_files_and_folders_and_reports_every_fault(folder: Path) -> None:
    done = aimgeo("check", folder)
    assert done.exit_code == 1
    assert f"{folder.as_posix()}/good.yaml: good, " in done.stdout
    faults = [line for line in done.stderr.splitlines() if " | " not in line]
    at = f"{folder.as_posix()}/below/faulty.yml:2"
    assert faults == [
        f"{at}:29: cut is 95 degrees; a ball can be cut by less than 90. [value]",
        f"{at}:41: unknown kind 'tabel' in clips[1]; did you mean 'table'? [unknown-kind]",
        "2 faults in 1 file.",
    ]


def test_check_of_good_lessons_exits_with_zero(folder: Path) -> None:
    done = aimgeo("check", folder / "good.yaml")
    assert (done.exit_code, done.stderr) == (0, "")
    assert done.stdout == f"{folder.as_posix()}/good.yaml: good, 29 clips, 12 left out (aimgeo plan tells why).\n"


def test_files_that_lessons_name_are_no_lessons_of_their_folder(folder: Path) -> None:
    (folder / "below" / "faulty.yml").unlink()
    (folder / "club.yaml").write_text('look: {colours: {cloth: "#4A2230"}}\n', encoding="utf-8")
    (folder / "shot-3.yaml").write_text("footage: shot-3.mov\ntable: 9ft\n", encoding="utf-8")
    (folder / "mine.yml").write_text("own_methods: {}\n", encoding="utf-8")
    done = aimgeo("check", folder)
    assert (done.exit_code, done.stdout.count("\n"), done.stderr) == (0, 1, "")
    alone = aimgeo("check", folder / "shot-3.yaml")
    assert alone.exit_code == 1
    assert "shot-3.yaml:1:1: holds a match, and is no lesson; name it in one" in alone.stderr


@pytest.mark.parametrize("processors", [1, 2, 3, 8])
@pytest.mark.parametrize("is_cut_off", [False, True])
def test_many_files_are_told_as_each_is_alone_whoever_looks_at_them(
    folder: Path, monkeypatch: pytest.MonkeyPatch, processors: int, is_cut_off: bool
) -> None:
    (folder / "a.yaml").write_text("title: [", encoding="utf-8")
    (folder / "b.yaml").write_text(GOOD.replace("45", "60"), encoding="utf-8")
    files = sorted([*folder.glob("*.yaml"), *folder.glob("*/*.yml")])
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    alone = [json.loads(aimgeo("check", file, "--format", "json").stdout)["files"][0] for file in files]
    monkeypatch.setattr("os.cpu_count", lambda: processors)
    if is_cut_off:  # a process that dies halfway
        monkeypatch.setattr("pickle.dump", lambda found, answer: os._exit(3))
    together = json.loads(aimgeo("check", *files, "--format", "json").stdout)["files"]
    assert together == alone
    assert [one["good"] for one in together] == [False, True, False, True]


def test_what_is_no_lesson_is_told_in_a_sentence(tmp_path: Path) -> None:
    missing = aimgeo("check", tmp_path / "missing.yaml")
    assert missing.exit_code == 1
    assert "missing.yaml: there is no such file; check the name." in missing.stderr
    empty = aimgeo("check", tmp_path)
    assert empty.exit_code == 1
    assert "no lesson file (*.yaml) in this folder." in empty.stderr
    assert aimgeo("check").exit_code == 2


def test_plan_lists_clips_totals_time_and_what_is_left_out(folder: Path) -> None:
    done = aimgeo("plan", folder / "good.yaml")
    assert done.exit_code == 0
    lines = done.stdout.splitlines()
    assert lines[0] == f"Good ({folder.as_posix()}/good.yaml)"
    assert any(
        line.startswith("ghost-ball_build-up_cut-30_left_near") and "30.0° left, 300 mm" in line for line in lines
    )
    (total,) = [line for line in lines if line.startswith("29 clips, ")]
    assert "Rendering takes about" in total
    assert total.endswith("by a stated pace, until this machine has rendered.")
    reasons = [line for line in lines if line.startswith("  doubled offset reaches cuts up to 30.0°")]
    assert len(reasons) == 1
    assert "    line 3: doubled-offset_build-up_cut-45_left_near" in lines


def test_plan_of_some_clips_in_draft(folder: Path) -> None:
    done = aimgeo("plan", folder / "good.yaml", "--only", "ghost-ball_*_left_*", "--draft")
    assert "4 clips, " in done.stdout
    assert "doubled" not in done.stdout


def test_plan_with_a_folder_says_why_each_clip_renders(folder: Path) -> None:
    done = aimgeo("plan", folder / "good.yaml", "--out", folder / "clips")
    assert "renders because" in done.stdout
    title = next(line for line in done.stdout.splitlines() if line.startswith("title "))
    assert title.endswith("  new")
    assert "; all of them will render." in done.stdout
    assert not (folder / "clips").exists()


def test_plan_of_a_faulty_lesson_prints_its_faults_and_the_other_plans(folder: Path) -> None:
    done = aimgeo("plan", folder)
    assert done.exit_code == 1
    assert "29 clips" in done.stdout
    assert "faulty.yml:2:29:" in done.stderr


def test_the_pace_of_a_render_is_kept_for_the_next_plan() -> None:
    small, large = 640 * 360, 1920 * 1080
    assert read_pace("draft") == STATED
    keep_pace("draft", 10, 10 * small, 30.0)
    assert read_pace("draft") == STATED, "a few frames tell more about starting"
    took = 3 * (STATED.seconds(6000, 6000 * small) - START_S) + START_S
    keep_pace("draft", 6000, 6000 * small, took)
    pace = read_pace("draft")
    assert pace.is_measured
    assert pace.seconds(6000, 6000 * small) == pytest.approx(took)
    assert pace.seconds(12000, 12000 * small) - START_S == pytest.approx(2 * (took - START_S))
    # nine times the pixels, and yet the same work for each frame beside them
    assert took < pace.seconds(6000, 6000 * large) < 9 * took
    assert read_pace("h264") == STATED
    pace_file().write_text("{", encoding="utf-8")
    assert read_pace("draft") == STATED


def test_schema_is_written_or_printed(tmp_path: Path) -> None:
    assert aimgeo("schema").stdout == schema_text()
    assert aimgeo("schema", "--out", tmp_path / "s.json").exit_code == 0
    assert json.loads((tmp_path / "s.json").read_text(encoding="utf-8"))["title"] == "Lesson file"
    refused = aimgeo("schema", "--out", tmp_path / "none" / "s.json")
    assert refused.exit_code == 1
    assert "s.json: can't be written: no such file or directory." in refused.stderr


def processor_s(lesson: Path) -> float:
    """Processor seconds of checking a lesson in a fresh process, the better of two."""
    taken = []
    for _ in range(2):
        before = os.times()
        done = subprocess.run(
            [sys.executable, "-m", "lessons.cli", "check", lesson], capture_output=True, text=True
        )
        after = os.times()
        assert ": good, " in done.stdout, done.stderr
        taken.append(after.children_user + after.children_system - before.children_user - before.children_system)
    return min(taken)


def test_checking_five_hundred_clips_costs_little_more_than_starting(tmp_path: Path) -> None:
    # a ratio, since a busy machine slows both alike; alone, starting takes 0.4 s here
    cuts = ", ".join(f"{k} sixteenths" for k in range(1, 9))
    distances = ", ".join(f"d{i}: {200 + 100 * i} mm" for i in range(6))
    big, small = tmp_path / "big.yaml", tmp_path / "small.yaml"
    head = f"title: Big\ncuts: [{cuts}]\ndistances: {{{distances}}}\n"
    big.write_text(f"{head}clips: [{{kind: build-up}}, {{kind: table}}]\n", encoding="utf-8")
    small.write_text(f"{head}clips: [{{kind: title}}]\n", encoding="utf-8")
    assert processor_s(big) < 4 * processor_s(small)
