"""`aimgeo deliver`, from the command line."""

from __future__ import annotations

import json
import re
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from lessons.cli import main
from lessons.deliver import DELIVERIES
from lessons.lesson.model import load, loads
from lessons.planning.plan import plan
from lessons.rendering import manifest
from lessons.rendering.folder import locked
from scenes.kinds import CLIP_KINDS

LESSON = """\
title: Thin and full
identity: thin-and-full
cuts: [3/4]
sides: left
distances: {near: 300 mm}
clips:
  - kind: title
  - kind: build-up
    methods: ghost-ball
"""


@pytest.fixture
def lesson(tmp_path: Path, stock: SimpleNamespace) -> Path:
    """A lesson of two clips, and tiny clips of its names beside it in `out`."""
    path = tmp_path / "lesson.yaml"
    path.write_text(LESSON)
    entries = [stock.entry(c.name, 40, (25, 1), [("s", 40, "Look here.")]) for c in plan(loads(LESSON)).clips]
    (tmp_path / "out").mkdir()
    stock.write_folder(tmp_path / "out", entries)
    return path


def run(*words: object) -> tuple[int, str, str]:
    done = CliRunner().invoke(main, ["deliver", *map(str, words)])
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done.exit_code, done.stdout, done.stderr


def test_everything_in_the_table_is_written(lesson: Path) -> None:
    code, said, wrong = run(lesson, "--out", lesson.parent / "out")
    assert (code, wrong) == (0, "")
    told = [line.split("  ")[0].strip() for line in said.splitlines()]
    # the clips of this folder name no table and have no sound, and nothing more is asked for
    absent = {
        "set-up sheets",
        "practice",
        "loudness",
        "previews",
        "frames",
        "captioned",
        "proxies",
        "preview",
        "over footage",
    }
    absent |= {"metadata"}
    assert told[:-1] == [name for name in DELIVERIES if name not in absent]
    assert not list((lesson.parent / "out").rglob("*.part"))


def test_a_folder_that_is_being_written_is_left_alone(lesson: Path) -> None:
    out = lesson.parent / "out"
    before = sorted(out.iterdir())
    with locked(out):
        code, said, wrong = run(lesson, "--out", out)
    assert (code, said) == (1, "")
    assert wrong.startswith(f"another render or deliver is writing to {out}; wait until it is done")
    assert sorted(out.iterdir()) == before


def test_twice_gives_the_same_bytes(lesson: Path) -> None:
    out = lesson.parent / "out"
    run(lesson, "--out", out)
    first = {p: p.read_bytes() for p in out.rglob("*") if p.is_file()}
    run(lesson, "--out", out)
    assert {p: p.read_bytes() for p in out.rglob("*") if p.is_file()} == first


def test_drafts_are_not_taken_for_clips_of_an_earlier_lesson(tmp_path: Path) -> None:
    path = tmp_path / "t.yaml"
    path.write_text("title: T\nclips: [{kind: title}]\n")
    words = [str(path), "--out", str(tmp_path / "out")]
    assert CliRunner().invoke(main, ["render", *words, "--draft", "--workers", "1"]).exit_code == 0
    assert run(*words)[2] == ""
    path.write_text("title: Another\nclips: [{kind: title}]\n")
    assert "1 clip is older than the lesson" in run(*words)[2]


def test_only_what_is_fine_is_delivered_and_the_review_page_keeps_the_rest(lesson: Path) -> None:
    out = lesson.parent / "out"
    title, other = json.loads((out / "manifest.json").read_text())["clips"]
    verdicts = lesson.parent / "anna.csv"

    def said(*rows: tuple[str, str, str]) -> None:
        told = (f"thin-and-full/{name},{verdict},,x,{version}\n" for name, verdict, version in rows)
        verdicts.write_text("clip,verdict,note,lesson,version\n" + "".join(told))

    said((title["name"], "fine", title["sha256"][:16]), (other["name"], "fine", "an-earlier-file"))
    code, told, wrong = run(lesson, "--out", out, "--fine", verdicts)
    assert (code, wrong) == (0, "")
    assert "fine           1 of 2 clips" in told
    assert other["name"] not in (out / "thin-and-full.srt").read_text() + (out / "thin-and-full.otio").read_text()
    assert other["name"] in (out / "thin-and-full_review.html").read_text()
    assert (out / "pictures" / f"{other['name']}.jpg").exists()

    said((title["name"], "redo", title["sha256"][:16]))
    code, _, wrong = run(lesson, "--out", out, "--fine", verdicts)
    assert code == 1
    assert wrong.endswith("the lists call no clip fine as it is now; nothing was written.\n")


def test_a_batch_puts_each_lesson_in_its_own_folder(lesson: Path) -> None:
    batch = lesson.parent / "batch"
    batch.mkdir()
    (lesson.parent / "out").rename(batch / "thin-and-full")
    assert run(lesson, "--out", batch)[0] == 0
    assert (batch / "thin-and-full" / "thin-and-full.otio").exists()


def test_a_folder_that_breaks_its_word_gets_nothing(lesson: Path, stock: SimpleNamespace) -> None:
    out = lesson.parent / "out"
    stock.write_clip(out / "title.mp4", 39, (25, 1))
    before = sorted(out.rglob("*"))
    code, said, wrong = run(lesson, "--out", out)
    assert (code, said) == (1, "")
    assert "lesson.yaml:12: title.mp4 is 39 frames at 25" in wrong
    assert wrong.endswith("Nothing was written.\n")
    assert sorted(out.rglob("*")) == before


def test_another_lessons_folder_is_refused(lesson: Path) -> None:
    lesson.write_text(LESSON.replace("identity: thin-and-full", "identity: other"))
    code, _, wrong = run(lesson, "--out", lesson.parent / "out")
    assert code == 1
    assert "these are the clips of lesson 'thin-and-full', not 'other'" in wrong


def test_clips_that_are_missing_or_left_over_are_warned_of(lesson: Path) -> None:
    lesson.write_text(LESSON.replace("methods: ghost-ball", "methods: contact-points"))
    code, _, wrong = run(lesson, "--out", lesson.parent / "out")
    assert code == 0
    assert "1 clip is not rendered yet (contact-points" in wrong
    assert "1 clip is rendered and no longer in it (ghost-ball" in wrong


def test_a_faulty_lesson_and_a_missing_folder_are_told_in_a_sentence(lesson: Path) -> None:
    code, _, wrong = run(lesson, "--out", lesson.parent / "nowhere")
    assert code == 1
    assert "render the lesson into this folder first" in wrong
    lesson.write_text(LESSON.replace("cuts: [3/4]", "cuts: [95]"))
    code, _, wrong = run(lesson, "--out", lesson.parent / "out")
    assert code == 1
    assert ":3:" in wrong
    code, _, wrong = run(lesson.parent / "none.yaml", "--out", lesson.parent / "out")
    assert code == 1


def test_a_folder_that_cannot_be_written_and_clips_of_two_rates_are_told(
    lesson: Path, stock: SimpleNamespace
) -> None:
    out = lesson.parent / "out"
    (out / "captions").write_text("a file where a folder must be")
    code, _, wrong = run(lesson, "--out", out)
    assert code == 1
    assert "captions: cannot be written" in wrong
    (out / "captions").unlink()
    names = [c.name for c in plan(loads(LESSON)).clips]
    stock.write_folder(out, [stock.entry(n, 24, (24 + k, 1), [("s", 24, "")]) for k, n in enumerate(names)])
    code, _, wrong = run(lesson, "--out", out)
    assert code == 1
    assert "different frame rates (24, 25)" in wrong


def test_several_lessons_get_a_page_for_all_of_them(tmp_path: Path, stock: SimpleNamespace) -> None:
    lessons = []
    for identity in ("one", "two"):
        text = LESSON.replace("thin-and-full", identity).replace("Thin and full", f"Lesson {identity} <b>")
        lessons.append(tmp_path / f"{identity}.yaml")
        lessons[-1].write_text(text)
        entries = [stock.entry(c.name, 40, (25, 1), [("s", 40, "Look here.")]) for c in plan(loads(text)).clips]
        (tmp_path / "out" / identity).mkdir(parents=True)
        stock.write_folder(tmp_path / "out" / identity, entries, title=f"Lesson {identity} <b>", identity=identity)
    code, said, wrong = run(*lessons, "--out", tmp_path / "out")
    assert (code, wrong) == (0, "")
    page = tmp_path / "out" / "course_review.html"
    assert f"A review page for 2 lessons: {page}." in said
    text = page.read_text("utf-8")
    told = json.loads(re.search(r'id="told">(.*?)</script>', text, re.S)[1])  # type: ignore[index]
    assert [clip["name"].split("/")[0] for clip in told["clips"]] == ["one", "one", "two", "two"]
    for clip in told["clips"]:
        assert (page.parent / clip["file"]).is_file()
        assert (page.parent / clip["poster"]).is_file()
    assert "<option>Lesson two &lt;b&gt;</option>" in text
    # rows of the accuracy table belong to a lesson's shots
    shots = {clip["shot"] for clip in told["clips"]}
    assert {s.split("/")[0] for s in re.findall(r'data-shot="([^"]+)"', text)} == {"one", "two"}
    assert any(shot.startswith("two/") for shot in shots)


def test_of_several_lessons_the_faulty_one_is_told_and_the_others_delivered(
    lesson: Path, tmp_path: Path, stock: SimpleNamespace
) -> None:
    (tmp_path / "out").rename(tmp_path / "thin-and-full")
    (tmp_path / "out").mkdir()
    (tmp_path / "thin-and-full").rename(tmp_path / "out" / "thin-and-full")
    faulty = tmp_path / "faulty.yaml"
    faulty.write_text("title: A\nclips: [{kind: no}]\n")
    code, said, wrong = run(faulty, lesson, "--out", tmp_path / "out")
    assert code == 1
    assert "faulty.yaml:2:16: unknown kind 'no'" in wrong
    assert (tmp_path / "out" / "thin-and-full" / "thin-and-full_review.html").is_file()
    assert "page for" not in said


def test_the_whole_course_is_delivered_a_clip_of_every_group(tmp_path: Path, stock: SimpleNamespace) -> None:
    """Every kind that a course lesson uses: clips with one shot, with several, with none, with hidden answers."""
    kinds = set()
    for path in sorted(Path("lessons/course").glob("*.yaml")):
        made = plan(load(path), draft=True)
        (tmp_path / made.identity).mkdir()
        entries = []
        for clip in {clip.place.line: clip for clip in reversed(made.clips)}.values():
            steps = [(step.name, 25, step.narration) for step in clip.brief.steps]
            short = stock.entry(clip.name, 25 * len(steps), (25, 1), steps)
            kept = ("width_px", "height_px", "rate", "frames", "steps")
            told = manifest.clip_told(clip, short["file"], "", manifest.Drawn((), ()))
            shortened = {key: short[key] for key in kept} | dict.fromkeys(
                ("poster_frame", "thumbnail_frame"), short["frames"] - 1
            )
            entries.append(json.loads(manifest.as_json(told)) | shortened)
            kinds.add(clip.kind)
        stock.write_folder(tmp_path / made.identity, entries, title=made.title, identity=made.identity)
    assert kinds == {name for name, kind in CLIP_KINDS.items() if not (kind.is_filmed or kind.is_film)}
    code, said, wrong = run("lessons/course", "--out", tmp_path)
    assert code == 0, wrong
    assert f"A review page for {len(list(Path('lessons/course').glob('*.yaml')))} lessons" in said
    assert (tmp_path / "what-the-eye-sees" / "sheets" / "set-up_a4.pdf").exists()
