"""A course: one timeline of its lessons with chapters; one size and rate for all of them."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from urllib.parse import unquote
from xml.etree import ElementTree as ET

import opentimelineio as otio
import pytest
from click.testing import CliRunner

from lessons.cli import main
from lessons.deliver import Wishes
from lessons.deliver.course import deliver_course
from lessons.deliver.footage import Footage
from lessons.lesson.model import loads, with_output
from lessons.planning.plan import plan

LESSON = """\
title: {title}
identity: {identity}
cuts: [1/2]
sides: left
distances: {{near: 300 mm}}
output: {{size: 320x180, rate: 25}}
clips: [{{kind: title}}]
"""


def two(folder: Path, stock: SimpleNamespace, rate: tuple[int, int] = (25, 1)) -> list[tuple[Footage, Wishes]]:
    """Two lessons, each a card of 4 s and a clip of 12 s and of the same names."""
    found = []
    for identity, own in (("first", (25, 1)), ("second", rate)):
        (folder / identity).mkdir()
        told = [
            stock.entry("title", 4 * own[0], own, [("card", 4 * own[0], "Hello.")], kind="title", method=None),
            stock.entry("shot", 12 * own[0], own, [("aim", 12 * own[0], "Aim.")]),
        ]
        footage = stock.write_folder(folder / identity, told, identity=identity, title=f"The {identity}")
        found.append((footage, Wishes(titles={"title": f"The {identity} one"})))
    return found


def test_the_lessons_stand_one_after_the_other_with_chapters(tmp_path: Path, stock: SimpleNamespace) -> None:
    done = deliver_course(tmp_path, two(tmp_path, stock))
    assert not done.warnings
    assert [p.name for p in done.files] == [
        "course.otio", "course.xml", "course.fcpxml", "course.edl", "course_shots.csv", "course_chapters.txt",
    ]  # fmt: skip
    timeline = otio.adapters.read_from_file(str(tmp_path / "course.otio"))
    cuts = list(timeline.video_tracks()[0].find_clips())
    urls = ["first/title.mp4", "first/shot.mp4", "second/title.mp4", "second/shot.mp4"]
    assert [cut.media_reference.target_url for cut in cuts] == urls
    assert [cut.range_in_parent().start_time.value for cut in cuts] == [0, 100, 400, 500]
    assert len({cut.metadata["aimgeo"]["identity"] for cut in cuts}) == 4
    chapters = [(m.name, m.marked_range.start_time.value) for m in timeline.tracks.markers]
    assert chapters == [("The first one", 0), ("The second one", 400)]
    assert (tmp_path / "course_chapters.txt").read_text() == "0:00 The first one\n0:16 The second one\n"
    root = ET.fromstring((tmp_path / "course.fcpxml").read_text("utf-8"))
    marks = [(m.attrib["value"], m.attrib["start"]) for m in root.iter("chapter-marker")]
    assert marks == [("The first one", "0s"), ("The second one", "0s")]
    assert [m.attrib["src"] for m in root.iter("media-rep")] == urls
    xml = ET.fromstring((tmp_path / "course.xml").read_text("utf-8"))
    assert [unquote(e.text or "") for e in xml.iter("pathurl")] == urls
    assert len({e.attrib["id"] for e in xml.iter("clipitem")}) == 4
    edl = (tmp_path / "course.edl").read_text("ascii")
    assert [line.split("GREEN   ")[1] for line in edl.splitlines() if "GREEN" in line] == [m for m, _ in marks]
    assert all((tmp_path / url).is_file() for url in urls)


def test_lessons_of_different_rates_have_no_timeline_and_a_sentence(
    tmp_path: Path, stock: SimpleNamespace
) -> None:
    done = deliver_course(tmp_path, two(tmp_path, stock, (30, 1)))
    assert not done.files
    assert "the clips have different frame rates (25, 30)" in done.warnings[0]
    assert done.warnings[0].endswith("--rate gives lessons the same rate.")


def test_one_size_and_rate_is_given_to_all_lessons(tmp_path: Path) -> None:
    lesson = with_output(loads(LESSON.format(title="T", identity="t")), (640, 480), (24, 1))
    (clip,) = plan(lesson).clips
    output = clip.brief.output
    assert (output.width_px, output.height_px, output.rate) == (640, 480, (24, 1))
    path = tmp_path / "t.yaml"
    path.write_text(LESSON.format(title="T", identity="t"))
    plain, other = (
        CliRunner().invoke(main, ["plan", str(path), *words]).stdout for words in ((), ("--rate", "50"))
    )
    at_25, at_50 = (int(out.splitlines()[3].split()[1]) for out in (plain, other))
    assert at_50 == pytest.approx(2 * at_25, abs=1)


@pytest.mark.parametrize(
    ("words", "says"),
    [(["--rate", "61"], "frame rate is '61'; choose"), (["--size", "63x64"], "both sides must be even numbers")],
)
def test_a_size_or_rate_that_is_none_is_told(words: list[str], says: str, tmp_path: Path) -> None:
    path = tmp_path / "t.yaml"
    path.write_text(LESSON.format(title="T", identity="t"))
    done = CliRunner().invoke(main, ["plan", str(path), *words])
    assert done.exit_code == 2
    assert says in done.stderr


def test_clips_of_another_size_and_rate_are_delivered_without_a_false_warning(tmp_path: Path) -> None:
    paths = []
    for identity in ("first", "second"):
        paths.append(tmp_path / f"{identity}.yaml")
        paths[-1].write_text(LESSON.format(title=identity, identity=identity))
    words = [str(p) for p in paths]
    out = str(tmp_path / "clips")
    done = CliRunner().invoke(main, ["render", *words, "--out", out, "--rate", "24", "--size", "160x160"])
    assert done.exit_code == 0, done.output
    done = CliRunner().invoke(main, ["deliver", *words, "--out", out])
    assert (done.exit_code, done.stderr) == (0, "")
    assert "One timeline of them with chapters" in done.stdout
