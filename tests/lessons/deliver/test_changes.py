"""What changed since the last delivery, on clips whose frames are known, and identities that outlive names."""

from __future__ import annotations

import csv
import hashlib
import json
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from types import MappingProxyType, SimpleNamespace

import av
import numpy as np
import opentimelineio as otio
import pytest
from click.testing import CliRunner
from PIL import Image

from lessons.cli import main
from lessons.deliver.footage import Footage, read_footage
from lessons.lesson.model import loads
from lessons.planning.plan import plan
from lessons.rendering.deliveries import keep_earlier, last_delivery, read_delivery, recorded
from lessons.rendering.manifest import ManifestError

LESSON = """\
title: Thin and full
identity: thin-and-full
cuts: [3/4]
sides: left
distances: {near: 300 mm, far: 600 mm}
clips:
  - kind: title
  - kind: build-up
    methods: ghost-ball
"""
TITLE, NEAR, FAR = (clip.name for clip in plan(loads(LESSON)).clips)
STEPS = [("where", 30, "Look."), ("aim line", 30, "Aim here."), ("done", 20, "Done.")]


def film(path: Path, frames: int, squares: dict[int, int]) -> None:
    """A clip of 25 frames a second: a grey ground, and from each of these frames on a square at that place."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=25)
        stream.width, stream.height, stream.pix_fmt = 96, 64, "yuv420p"
        stream.codec_context.thread_count = 1
        stream.options = {"preset": "veryfast", "crf": "18", "g": "12"}
        at = None
        for k in range(frames):
            at = squares.get(k, at)
            picture = np.full((64 * 3 // 2, 96), 128, np.uint8)
            picture[:64] = 60
            if at is not None:
                picture[20:40, at : at + 20] = 200
            frame = av.VideoFrame.from_ndarray(picture, format="yuv420p")
            frame.pts, frame.time_base = k, Fraction(1, 25)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


class Editor:
    """A lesson's folder as it is rendered and delivered again and again."""

    def __init__(self, folder: Path, stock: SimpleNamespace) -> None:
        self.folder, self.stock = folder / "out", stock
        self.films: dict[tuple[object, ...], bytes] = {}
        self.folder.mkdir()
        self.lesson = folder / "lesson.yaml"
        self.lesson.write_text(LESSON)

    def render(
        self,
        *clips: tuple[str, list[tuple[str, int, str]], dict[int, int]],
        title: str = "T",
        shows: Mapping[str, str] = MappingProxyType({}),
    ) -> Footage:
        """Clips of a name, steps and squares, in the place of those that were there; `shows` are their eyes."""
        old = read_footage(self.folder) if (self.folder / "manifest.json").exists() else None
        delivered = {c.sha256 for c in last.clips} if (last := last_delivery(self.folder)) else set()
        for clip in old.clips if old else ():
            if clip.sha256 in delivered:
                keep_earlier(self.folder, clip.file, clip.sha256)
            (self.folder / clip.file).unlink()
        told = []
        for name, steps, squares in clips:
            frames = sum(length for _, length, _ in steps)
            path = self.folder / f"{name}.mp4"
            key = (frames, *squares.items())
            if key not in self.films:
                film(path, frames, squares)
                self.films[key] = path.read_bytes()
            path.write_bytes(self.films[key])
            entry = self.stock.entry(name, frames, (25, 1), steps, distance_name=name[-4:], eye=shows.get(name))
            told.append(entry | {"sha256": hashlib.sha256(path.read_bytes()).hexdigest()})
        lesson = {"title": title, "identity": "thin-and-full", "source": "lesson.yaml"}
        manifest = {"schema": 1, "lesson": lesson, "made_with": {}, "clips": told}
        (self.folder / "manifest.json").write_text(json.dumps(manifest))
        return read_footage(self.folder)

    def deliver(self, *words: str) -> tuple[str, str]:
        """What `aimgeo deliver` says on either stream."""
        done = CliRunner().invoke(main, ["deliver", str(self.lesson), "--out", str(self.folder), *words])
        assert done.exit_code == 0, done.stderr
        return done.stdout, done.stderr

    def table(self, number: int, since: str = "") -> list[dict[str, str]]:
        """The rows of a list of changes."""
        path = self.folder / "deliveries" / f"{number:04}_changes{since}.csv"
        return list(csv.DictReader(path.read_text("utf-8-sig").splitlines()))


@pytest.fixture
def editor(tmp_path: Path, stock: SimpleNamespace) -> Editor:
    return Editor(tmp_path, stock)


def test_a_longer_sentence_is_told_with_what_moves_because_of_it(editor: Editor) -> None:
    plain: tuple[tuple[str, list[tuple[str, int, str]], dict[int, int]], ...]
    plain = ((TITLE, [("title", 20, "")], {}), (NEAR, STEPS, {30: 10}), (FAR, STEPS, {30: 40}))
    editor.render(*plain)
    said, _ = editor.deliver()
    assert "Since" not in said
    longer = [("where", 30, "Look."), ("aim line", 42, "Aim here, at its centre."), ("done", 20, "Done.")]
    editor.render(plain[0], (NEAR, longer, {30: 10}), plain[2])
    said, _ = editor.deliver()
    assert "Since delivery 1: 1 changed, 1 only moved on the timeline (of 3 clips)." in said
    rows = editor.table(2)
    assert [(r["what"], r["clip"], r["old in"], r["new in"], r["old frames"], r["new frames"]) for r in rows] == [
        *[("words length", NEAR, "01:00:00:20", "01:00:00:20", "80", "92")] * 3,
        ("moved", FAR, "01:00:04:00", "01:00:04:12", "80", "80"),
    ]
    assert {(r["step"], r["first frame"], r["end frame"], r["detail"]) for r in rows[1:3]} == {
        ("aim line", "30", "72", "words were: Aim here."),
        ("aim line", "30", "72", "+12 frames (30 to 42)"),
    }
    assert rows[3]["detail"] == "+12 frames on the timeline"
    # the pictures of each step are what they were, though the last one starts later: nothing says otherwise
    assert not list((editor.folder / "deliveries").rglob("*.jpg"))


def test_pictures_are_told_from_frame_to_frame_and_shown(editor: Editor) -> None:
    editor.render((NEAR, STEPS, {30: 10, 60: 70}))
    editor.deliver()
    editor.render((NEAR, STEPS, {30: 10, 45: 40, 60: 70}))
    editor.deliver()
    (head, row) = editor.table(2)
    assert head["what"] == "pictures"
    assert (row["step"], row["first frame"], row["end frame"]) == ("aim line", "45", "60")
    with Image.open(editor.folder / "deliveries" / "0002" / f"{NEAR}.jpg") as pair:
        half = pair.width // 2
        before, now = (
            np.asarray(pair.convert("L"))[:, side] for side in (slice(0, half - 8), slice(half + 8, None))
        )
    where = [int(np.argmax(side.max(axis=0) > 150)) for side in (before, now)]
    # the square of 20 pixels at 10 and at 40, at half size
    assert where[0] == pytest.approx(5, abs=2)
    assert where[1] == pytest.approx(20, abs=8)
    page = (editor.folder / "deliveries" / "0002_changes.html").read_text("utf-8")
    assert f"0002/{NEAR}.jpg" in page


def test_changes_are_markers_in_the_timelines(editor: Editor) -> None:
    editor.render((NEAR, STEPS, {30: 10}))
    editor.deliver()
    editor.render((NEAR, STEPS, {30: 10, 45: 40, 60: 10}))
    editor.deliver()
    timeline = otio.adapters.read_from_file(str(editor.folder / "thin-and-full.otio"))
    (clip,) = timeline.find_clips()
    marks = [(m.name, m.marked_range.start_time.value, m.marked_range.duration.value) for m in clip.markers]
    assert marks == [("where", 0, 30), ("aim line", 30, 30), ("done", 60, 20), ("changed", 45, 15)]
    assert "* LOC: 01:00:01:20 ORANGE  CHANGED aim line: pictures differ" in (
        editor.folder / "thin-and-full.edl"
    ).read_text("ascii")


def test_delivering_again_is_no_new_delivery_and_changes_no_byte(editor: Editor) -> None:
    editor.render((NEAR, STEPS, {30: 10}))
    editor.deliver()
    editor.render((NEAR, STEPS, {30: 40}))
    editor.deliver()
    first = {p: p.read_bytes() for p in editor.folder.rglob("*") if p.is_file()}
    said, _ = editor.deliver()
    assert "Since delivery 2 nothing has changed." in said
    assert {p: p.read_bytes() for p in editor.folder.rglob("*") if p.is_file()} == first


def test_an_older_delivery_can_be_named_and_one_that_is_not_there_is_told(editor: Editor) -> None:
    for place in (10, 40, 10):
        editor.render((NEAR, STEPS, {30: place}))
        editor.deliver()
    said, _ = editor.deliver("--since", "1")
    assert "Since delivery 1 nothing has changed." in said
    editor.render((NEAR, [*STEPS, ("more", 5, "")], {30: 10}))
    editor.deliver("--since", "2")
    assert any(r["step"] == "more" and r["detail"] == "new step" for r in editor.table(4, "-since-0002"))
    done = CliRunner().invoke(main, ["deliver", str(editor.lesson), "--out", str(editor.folder), "--since", "9"])
    assert done.exit_code == 1
    assert "no record of delivery 9; there are: 1, 2, 3, 4." in done.stderr


def test_a_renamed_clip_keeps_its_identity_and_what_is_gone_leaves_nothing(editor: Editor) -> None:
    footage = editor.render(
        (TITLE, [("title", 20, "Hello.")], {}), (NEAR, STEPS, {30: 10}), (FAR, STEPS, {30: 40})
    )
    editor.deliver()
    first = last_delivery(editor.folder)
    assert first is not None
    (editor.folder / "captions" / f"{TITLE}.vtt").write_text("edited by hand")
    footage = editor.render(("opening_near", STEPS, {30: 10}), (FAR, STEPS, {30: 40}))
    _, wrong = editor.deliver()
    now = read_delivery(editor.folder, 2)
    assert now.by_name()["opening_near"].identity == first.by_name()[NEAR].identity
    assert [c.kinds for c in now.changes] == [("renamed",), ("moved",), ("gone",)]
    assert now.changes[0].was_called == NEAR
    assert f"{TITLE}.vtt: its clip {TITLE} is gone; the file was altered" in wrong
    left = {p.name for p in (*(editor.folder / "captions").iterdir(), *(editor.folder / "pictures").iterdir())}
    assert {name for name in left if name.startswith((TITLE, NEAR))} == {f"{TITLE}.vtt"}
    assert footage.clips[0].name == "opening_near"


def test_steps_keep_their_identity_when_one_is_renamed_or_added(editor: Editor) -> None:
    first = recorded(editor.render((NEAR, STEPS, {})).manifest)
    renamed = [STEPS[0], ("line of aim", 30, "Aim here."), STEPS[2]]
    second = recorded(editor.render((NEAR, renamed, {})).manifest, first)
    assert [s.identity for s in second.clips[0].steps] == [s.identity for s in first.clips[0].steps]
    third = recorded(editor.render((NEAR, [("new", 9, ""), *renamed], {})).manifest, second)
    assert [s.identity for s in third.clips[0].steps[1:]] == [s.identity for s in first.clips[0].steps]
    assert len({s.identity for s in third.clips[0].steps}) == 4


def test_locked_lengths_are_written_beside_the_lesson_once(editor: Editor) -> None:
    editor.lesson.write_text(LESSON + "output: {lengths: locked, rate: 25}\n")
    (step,) = plan(loads(LESSON)).clips[0].brief.steps
    editor.render((TITLE, [(step.name, 150, "")], {}))
    editor.deliver()
    path = editor.lesson.with_name("lesson.lengths.json")
    (told,) = json.loads(path.read_text()).values()
    assert (told["rate"], told["steps"]) == ([25, 1], {step.name: 150})
    first = path.read_text()
    editor.render((TITLE, [(step.name, 160, "")], {}))
    editor.deliver()
    assert path.read_text() == first


def test_a_record_that_is_none_is_told(editor: Editor) -> None:
    editor.render((NEAR, STEPS, {}))
    editor.deliver()
    (editor.folder / "deliveries" / "0001.json").write_text("{}")
    with pytest.raises(ManifestError, match=r"0001.json: this is no record of a delivery"):
        last_delivery(editor.folder)
