"""Conform: an editor's cuts keep place and length and show the same moment of the same step; all else stays."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import opentimelineio as otio
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from lessons.cli import main
from lessons.deliver.conform import moment
from lessons.rendering.deliveries import ClipDelivered, StepDelivered

from .test_changes import FAR, NEAR, STEPS, TITLE, Editor, editor  # noqa: F401

RATE = 25.0


def time(frames: float, rate: float = RATE) -> Any:
    return otio.opentime.RationalTime(frames, rate)


def cut_by_an_editor(folder: Path) -> Path:
    """A timeline of another hand: trims, another order, music, a transition, a gap, own markers and notes."""
    delivered = otio.adapters.read_from_file(str(folder / "thin-and-full.otio"))
    near, far = (next(c for c in delivered.find_clips() if c.name == f"{name}.mp4") for name in (NEAR, FAR))

    def part(of: Any, first: int, frames: int) -> Any:
        one = of.deepcopy()
        one.source_range = otio.opentime.TimeRange(time(first), time(frames))
        return one

    timeline = otio.schema.Timeline("My cut")
    track, music = otio.schema.Track("V1"), otio.schema.Track("Music", kind="Audio")
    logo = otio.schema.ExternalReference("logo.mov")
    own = otio.schema.Clip("logo", logo, otio.opentime.TimeRange(time(0), time(50)))
    noted = part(near, 35, 15)
    noted.markers.append(otio.schema.Marker("mine", otio.opentime.TimeRange(time(36), time(1))))
    noted.metadata["grade"] = {"lift": 0.1}
    noted.effects.append(otio.schema.Effect("glow"))
    track.extend([own, noted, otio.schema.Transition(in_offset=time(3), out_offset=time(3)), part(far, 0, 80)])
    track.extend([otio.schema.Gap(source_range=otio.opentime.TimeRange(time(0), time(9))), part(near, 0, 20)])
    song = otio.schema.ExternalReference("song.wav")
    music.append(otio.schema.Clip("song", song, otio.opentime.TimeRange(time(0), time(174))))
    timeline.tracks.extend([track, music])
    path = folder.parent / "cut.otio"
    otio.adapters.write_to_file(timeline, str(path))
    return path


def test_cuts_keep_place_and_length_and_show_the_same_moment(editor: Editor) -> None:  # noqa: F811
    editor.render((TITLE, [("title", 20, "")], {}), (NEAR, STEPS, {30: 10}), (FAR, STEPS, {30: 40}))
    editor.deliver()
    edited = cut_by_an_editor(editor.folder)
    before = otio.adapters.read_from_file(str(edited))
    longer = [("where", 42, "Look, and look again."), *STEPS[1:]]
    editor.render((TITLE, [("title", 20, "")], {}), (NEAR, longer, {42: 10}), (FAR, STEPS, {30: 40}))
    said, wrong = editor.deliver("--conform", str(edited))
    assert "2 cuts were replaced" in said
    assert f"{NEAR}.mp4: the same moment is +12 frames in its clip; the cut was moved there." in wrong
    now = otio.adapters.read_from_file(str(edited.with_name("cut_conformed.otio")))
    assert now.duration() == before.duration()
    spans = [[c.range_in_parent() for c in each.find_clips()] for each in (before, now)]
    assert spans[0] == spans[1]
    logo, noted, far, near, song = now.find_clips()
    assert [c.source_range.start_time.value for c in (noted, far, near)] == [47, 0, 0]
    assert noted.media_reference.available_range.duration.value == 92
    marks = {m.name: m.marked_range.start_time.value for m in noted.markers}
    assert marks == {"mine": 36, "where": 0, "aim line": 42, "done": 72, "changed": 0}
    assert noted.metadata["aimgeo"]["version"] == 2
    assert (noted.metadata["grade"], noted.effects[0].name) == ({"lift": 0.1}, "glow")
    # all that is not ours is the same to the letter, and so is a clip of ours that did not change
    old = json.loads(edited.read_text())["tracks"]["children"]
    new = json.loads(edited.with_name("cut_conformed.otio").read_text())["tracks"]["children"]
    assert new[1] == old[1]
    assert [new[0]["children"][k] for k in (0, 2, 3, 4)] == [old[0]["children"][k] for k in (0, 2, 3, 4)]
    assert (logo.name, song.name) == ("logo", "song")
    # what is conformed already is left as it is
    said, _ = editor.deliver("--conform", str(edited.with_name("cut_conformed.otio")))
    assert "0 cuts were replaced" in said


def test_what_no_longer_fits_or_is_gone_is_told(editor: Editor) -> None:  # noqa: F811
    editor.render((NEAR, STEPS, {30: 10}), (FAR, STEPS, {30: 40}))
    editor.deliver()
    edited = cut_by_an_editor(editor.folder)
    editor.render(("other_near", STEPS, {30: 10}))
    _, wrong = editor.deliver("--conform", str(edited))
    assert f"{FAR}.mp4: this clip is gone from the lesson; the cut stays as it is." in wrong
    now = otio.adapters.read_from_file(str(edited.with_name("cut_conformed.otio")))
    names = [(c.name, c.media_reference.target_url) for c in now.find_clips()]
    assert ("other_near.mp4", "other_near.mp4") in names
    done = CliRunner().invoke(
        main, ["deliver", str(editor.lesson), "--out", str(editor.folder), "--conform", str(editor.lesson)]
    )
    assert done.exit_code == 1
    assert "this is no timeline that OpenTimelineIO reads" in done.stderr


def version(lengths: list[int], handle: int, kept: list[int] | None = None) -> ClipDelivered:
    at, steps = 0, []
    for name, length in zip(kept or range(len(lengths)), lengths, strict=True):
        steps.append(StepDelivered(str(name), str(name), at, at + length, {}))
        at += length
    from fractions import Fraction

    return ClipDelivered("i", 1, "a", "a.mp4", "", "", at, handle, Fraction(25), 2, 2, tuple(steps))


LENGTHS = st.lists(st.integers(1, 40), min_size=4, max_size=4)


@given(LENGTHS, LENGTHS, st.integers(0, 9), st.integers(0, 9))
def test_a_moment_stays_in_its_step(old: list[int], new: list[int], a: int, b: int) -> None:
    was, now = version(old, a), version(new, b)
    found = [moment(frame, was, now) for frame in range(was.frames + 2 * a)]
    assert found == sorted(found)
    for step, same in zip(was.steps, now.steps, strict=True):
        first = step.first_frame + a
        assert found[first] == same.first_frame + b
        assert found[first + step.frames - 1] - b < same.end_frame
    assert [moment(frame, was, was) for frame in range(was.frames + 2 * a)] == list(range(was.frames + 2 * a))


def test_a_step_that_is_gone_counts_from_the_next() -> None:
    was, now = version([10, 10, 10], 0), version([12, 10], 0, [0, 2])
    assert moment(15, was, now) == 12
    assert moment(25, was, now) == 17
    assert moment(25, was, version([12], 0)) == 11


@pytest.mark.parametrize("frame", [30, 31])
def test_after_the_last_step_stands_the_handle(frame: int) -> None:
    assert moment(frame, version([20], 10), version([25], 10)) == frame + 5
