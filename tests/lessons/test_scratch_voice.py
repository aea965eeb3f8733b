"""The scratch voice: espeak-ng speaks what is not recorded, in the times of the steps."""

from __future__ import annotations

import json
import shutil
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from lessons.lesson.faults import LessonError
from lessons.lesson.model import load, loads
from lessons.planning.plan import plan
from lessons.planning.planned import ScratchVoice
from lessons.planning.scratch_voice import spoken
from lessons.planning.sound import Sound
from lessons.rendering.workers import Task, draw

LESSON = """\
title: Spoken
cuts: [3/4]
sides: left
distances: {near: 300 mm}
output: {size: 320x180, rate: 25, handles: 0.4 s}
recordings: {voice: espeak-ng}
clips:
  - {kind: table}
"""

installed = pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng is not installed")


def test_without_the_program_the_package_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lessons.planning.scratch_voice.shutil.which", lambda _: None)
    with pytest.raises(LessonError, match=r"a\.yaml:6:21: espeak-ng is not installed; install the Debian package"):
        plan(loads(LESSON, "a.yaml"))


def test_no_lesson_is_spoken_unless_it_asks() -> None:
    made = plan(loads(LESSON.replace("recordings: {voice: espeak-ng}\n", "")))
    assert [clip.sound for clip in made.clips] == [None]


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ("{marks: {a: [0]}}", "6:13: recordings needs 'folder', 'file' or 'voice'."),
        ("{voice: espeak-ng, marks: {a: [0]}}", "6:13: recordings has 'marks' of no recording"),
        ("{voice: other}", "6:21: recordings.voice is 'other'; known are: espeak-ng."),
        ("{folder: a, file: b.wav}", "6:13: recordings has both 'folder' and 'file'"),
    ],
)
def test_keys_that_cannot_be_are_told(keys: str, message: str) -> None:
    with pytest.raises(LessonError, match=message.replace("[", r"\[")):
        loads(LESSON.replace("{voice: espeak-ng}", keys), "a.yaml")


@installed
def test_each_text_starts_on_its_time_and_is_done_in_time() -> None:
    long = "Carry the target line back through the ball, and where it comes out again is the contact point."
    voice = ScratchVoice("en", 140, (("Look here.", 0.5, 2.0), (long, 3.0, 3.2)))
    heard, rate = spoken(voice, Fraction(8), lead=Fraction(1, 2))
    loud = np.flatnonzero(np.abs(heard[:, 0]) > 0.01) / rate
    assert heard.shape == (8 * rate, 1)
    assert loud[0] == pytest.approx(1.0, abs=0.02)
    # the pause between the two is the longest
    gap = int(np.argmax(np.diff(loud)))
    assert loud[gap] < 3.0
    assert loud[gap + 1] == pytest.approx(3.5, abs=0.02)
    assert 3.5 + 0.8 * 3.2 < loud[-1] <= 3.5 + 3.2


@installed
def test_text_is_never_an_option() -> None:
    heard, _ = spoken(ScratchVoice("en", 140, (("--version -w /nowhere", 0.0, 4.0),)), Fraction(4))
    assert np.abs(heard).max() > 0.01


@installed
def test_a_rendered_clip_speaks_and_a_recording_goes_first(tmp_path: Path) -> None:
    lesson = tmp_path / "a.yaml"
    lesson.write_text(LESSON)
    (clip,) = plan(load(lesson)).clips
    told = draw(Task(clip, tmp_path / "clip.mp4", "draft", "A1B2C3D4"))
    assert json.dumps(told["drawn"].steps[0].first_frame) == "10"
    with av.open(str(tmp_path / "clip.mp4")) as container:
        heard = np.concatenate([f.to_ndarray().reshape(-1) for f in container.decode(audio=0)])
    loud = np.flatnonzero(np.abs(heard) > 0.01) / 48000
    assert loud[0] == pytest.approx(0.4, abs=0.04)  # one frame
    assert len(heard) / 48000 == pytest.approx(clip.duration_s, abs=1024 / 48000)

    (tmp_path / "voice").mkdir()
    shutil.copy(tmp_path / "clip.mp4", tmp_path / "voice" / f"{clip.name}.m4a")
    marks = f"{{folder: voice, voice: espeak-ng, marks: {{{clip.name}: [0, 6, 13, 21]}}}}"
    lesson.write_text(LESSON.replace("{voice: espeak-ng}", marks))
    (recorded,) = plan(load(lesson)).clips
    assert isinstance(recorded.sound, Sound)
