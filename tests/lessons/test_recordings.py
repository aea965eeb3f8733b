"""Recordings: the steps start on their marks, and the clip carries the words in time with its pictures."""

from __future__ import annotations

import json
import re
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from lessons.lesson.faults import LessonError
from lessons.lesson.model import load, loads
from lessons.planning.plan import plan
from lessons.planning.planned import Plan
from lessons.planning.sound import Sound, add_sound, length_s, levels_db, loudness, pauses, proposed_marks, stretch
from lessons.rendering.workers import Task, draw

LESSON = """\
title: Spoken
cuts: [3/4]
sides: left
distances: {near: 300 mm}
output: {size: 320x180, rate: RATE}
recordings: {PLACE, marks: MARKS}
clips:
  - {kind: table}
"""
NAME = "table_overlap-3-4_left_near"


def tone(seconds: float, hertz: float, rate: int) -> NDArray[np.float64]:
    return 0.25 * np.sin(2 * np.pi * hertz * np.arange(round(seconds * rate)) / rate)


def write_sound(path: Path, heard: NDArray[np.float64], rate: int, codec: str) -> None:
    """Samples (n,) as a mono file."""
    form = {"mp3": "mp3", "aac": "mp4", "pcm_s16le": "wav"}[codec]
    path.parent.mkdir(parents=True, exist_ok=True)
    with av.open(str(path), "w", format=form) as container:
        stream = container.add_stream({"mp3": "libmp3lame"}.get(codec, codec), rate=rate, layout="mono")
        pcm = np.round(heard * 32767).astype(np.int16)
        frame = av.AudioFrame.from_ndarray(pcm[None, :], format="s16", layout="mono")
        frame.sample_rate, frame.pts, frame.time_base = rate, 0, Fraction(1, rate)
        wanted = stream.codec_context.format.name if stream.codec_context.format else "s16"
        resampler = av.AudioResampler(format=wanted, layout="mono", rate=rate, frame_size=stream.frame_size or 0)
        for part in (*resampler.resample(frame), *resampler.resample(None)):
            container.mux(stream.encode(part))
        container.mux(stream.encode(None))


MARKS = (0.8, 6.43, 13.27, 21.07)
"""Where the four steps of the test clip are spoken, off every frame of every rate."""


def spoken_recording(rate: int) -> NDArray[np.float64]:
    """Silence with a second of tone from each mark on, 32 s long."""
    heard = np.zeros(32 * rate)
    for mark in MARKS:
        at = round(mark * rate)
        heard[at : at + rate] = tone(1.0, 880.0, rate)
    return heard


def lesson(folder: Path, place: str, marks: object, rate: str = "25") -> Path:
    path = folder / "spoken.yaml"
    text = LESSON.replace("RATE", rate).replace("PLACE", place).replace("MARKS", json.dumps(marks))
    path.write_text(text)
    return path


def starts(made: Plan) -> list[int]:
    return [sum(s.frames for s in made.clips[0].brief.steps[:k]) for k in range(4)]


@pytest.mark.parametrize("rate", ["23.976", "24", "25", "29.97", "30", "50", "60"])
def test_each_step_starts_within_half_a_frame_of_its_mark(rate: str, tmp_path: Path) -> None:
    write_sound(tmp_path / "voice" / f"{NAME}.wav", spoken_recording(48000), 48000, "pcm_s16le")
    made = plan(load(lesson(tmp_path, "folder: voice", {NAME: MARKS}, rate)))
    fps = made.clips[0].brief.output.fps
    for frame, mark in zip(starts(made), MARKS, strict=True):
        assert abs(frame / fps - (mark - MARKS[0])) <= 0.5 / fps + 1e-9
    assert made.clips[0].frames / fps == pytest.approx(32 - MARKS[0], abs=0.5 / fps)


@pytest.mark.parametrize(("codec", "ending"), [("pcm_s16le", "wav"), ("mp3", "mp3"), ("aac", "m4a")])
@pytest.mark.parametrize("rate", [44100, 48000])
def test_length_is_counted_in_decoded_samples(codec: str, ending: str, rate: int, tmp_path: Path) -> None:
    path = tmp_path / f"a.{ending}"
    write_sound(path, tone(3.0, 440, rate), rate, codec)
    # without gapless information a decoder may give one frame of 1152 or 1024 samples more
    assert length_s(path) == pytest.approx(3.0, abs=1e-9 if ending == "wav" else 1152 / rate)


@pytest.mark.parametrize(("codec", "ending"), [("pcm_s16le", "wav"), ("mp3", "mp3"), ("aac", "m4a")])
def test_in_the_written_clip_every_step_is_spoken_on_its_frame(codec: str, ending: str, tmp_path: Path) -> None:
    """Decoded by FFmpeg's own demuxer with its edit lists, as a player does."""
    write_sound(tmp_path / "voice" / f"{NAME}.{ending}", spoken_recording(48000), 48000, codec)
    made = plan(load(lesson(tmp_path, "folder: voice", {NAME: MARKS}))).clips[0]
    silent = tmp_path / "clip.mp4"
    write_pictures(silent, made.frames, 25)
    assert isinstance(made.sound, Sound)
    add_sound(silent, "mp4", made.sound, Fraction(made.frames, 25))
    heard, first_pts = heard_in(silent)
    loud = np.abs(heard) > 0.05
    onsets = [k for k in np.flatnonzero(loud) if not loud[max(k - 9600, 0) : k].any()]
    at = [sum(s.frames for s in made.brief.steps[:k]) for k in range(4)]
    assert first_pts == 0
    assert len(onsets) == 4
    for onset, frame in zip(onsets, at, strict=True):
        assert abs(onset / 48000 - frame / 25) < 1 / 25
    with av.open(str(silent)) as container:
        assert sum(1 for _ in container.decode(video=0)) == made.frames
    assert len(heard) == pytest.approx(made.frames * 48000 / 25, abs=1024)


def write_pictures(path: Path, frames: int, rate: int) -> None:
    form = "mov" if path.suffix == ".mov" else "mp4"
    with av.open(str(path), "w", format=form) as container:
        stream = container.add_stream("libx264", rate=rate)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        stream.options = {"preset": "ultrafast"}
        for _ in range(frames):
            container.mux(stream.encode(av.VideoFrame(64, 48, "yuv420p")))
        container.mux(stream.encode(None))


def heard_in(path: Path) -> tuple[NDArray[np.float64], float]:
    parts, first = [], None
    with av.open(str(path)) as container:
        for frame in container.decode(audio=0):
            first = frame.pts * frame.time_base if first is None else first
            content = frame.to_ndarray().astype(float)
            parts.append(
                content.reshape(-1) / (2**31 if content.dtype != float or frame.format.name == "s32" else 1)
            )
    return np.concatenate(parts), float(first or 0)


def test_pcm_in_mov_keeps_every_sample(tmp_path: Path) -> None:
    path = tmp_path / "voice" / f"{NAME}.wav"
    write_sound(path, spoken_recording(48000), 48000, "pcm_s16le")
    made = plan(load(lesson(tmp_path, "folder: voice", {NAME: MARKS}))).clips[0]
    write_pictures(tmp_path / "clip.mov", made.frames, 25)
    assert isinstance(made.sound, Sound)
    assert Path(made.sound.file) == path
    add_sound(tmp_path / "clip.mov", "mov", made.sound, Fraction(made.frames, 25))
    heard, _ = heard_in(tmp_path / "clip.mov")
    wanted, rate = stretch(made.sound, Fraction(made.frames, 25))
    assert rate == 48000
    assert len(heard) == len(wanted)
    assert np.abs(heard - wanted[:, 0]).max() < 2**-22


def test_before_the_sound_of_a_clip_with_handles_is_silence(tmp_path: Path) -> None:
    rate = 48000
    write_sound(tmp_path / "voice.wav", tone(3.0, 440, rate), rate, "pcm_s16le")
    sound = Sound((tmp_path / "voice.wav").as_posix(), "", 1.0, 2.0)
    plain, _ = stretch(sound, Fraction(3))
    heard, _ = stretch(sound, Fraction(4), lead=Fraction(1, 2))
    assert len(heard) == 4 * rate
    assert not heard[: rate // 2].any()
    assert np.array_equal(heard[rate // 2 : rate // 2 + 3 * rate], plain)


def test_one_recording_of_the_lesson_is_shared_out_by_its_marks(tmp_path: Path) -> None:
    write_sound(tmp_path / "all.wav", spoken_recording(48000), 48000, "pcm_s16le")
    path = lesson(tmp_path, "file: all.wav", {NAME: MARKS, "title": [0.0]})
    path.write_text(
        path.read_text().replace("clips:\n", "clips:\n  - {kind: title}\n").replace("0.0]", "24.0, 27.5]")
    )
    title, table = plan(load(path)).clips
    assert isinstance(title.sound, Sound)
    assert (title.sound.start_s, title.sound.end_s) == (24.0, 27.5)
    assert isinstance(table.sound, Sound)
    assert table.sound.start_s == MARKS[0]
    assert table.sound.end_s == 24.0
    # the last step is said in 2.93 s; the picture stands on until it is complete, in silence
    heard, rate = stretch(table.sound, Fraction(table.frames, 25))
    assert table.frames > (24.0 - MARKS[0]) * 25
    assert np.abs(heard[round((24.0 - MARKS[0]) * rate) :]).max() == 0


def faults(path: Path) -> str:
    with pytest.raises(LessonError) as caught:
        plan(load(path))
    return str(caught.value)


def test_missing_marks_are_proposed_from_the_pauses(tmp_path: Path) -> None:
    write_sound(tmp_path / "voice" / f"{NAME}.wav", spoken_recording(48000), 48000, "pcm_s16le")
    said = faults(lesson(tmp_path, "folder: voice", {}))
    found = json.loads(re.search(r"marks: (\{.*\})", said)[1])  # type: ignore[index]
    assert found[NAME] == pytest.approx([m - 0.1 for m in MARKS], abs=0.02)
    said = faults(lesson(tmp_path, f"file: voice/{NAME}.wav", {}))
    assert found == json.loads(re.search(r"marks: (\{.*\})", said)[1])  # type: ignore[index]


@pytest.mark.parametrize(
    ("place", "marks", "said"),
    [
        ("folder: nowhere", {}, "there is no folder"),
        ("file: none.wav", {}, "there is no recording"),
        ("folder: voice", {"tabel_overlap-3-4_left_near": [0]}, "did you mean 'table_overlap-3-4_left_near'?"),
        ("folder: voice", {NAME: [0, 5]}, "has 4 steps (where, object ball, cue ball, distance): give 4 marks"),
        ("folder: voice", {NAME: [0, 9, 5, 20]}, "do not go forward"),
        ("folder: voice", {NAME: [0, 7, 14, 21, 33]}, "lies after the recording's end"),
        ("folder: voice", {NAME: [0, 0.2, 9, 20]}, "to draw it takes"),
        ("folder: empty", {NAME: MARKS}, "there is no recording of table_overlap"),
        ("folder: voice, file: all.wav", {}, "has both 'folder' and 'file'"),
        ("folder: voice", {NAME: [-1, 5, 9, 20]}, "is '-1'; write the second at which the step starts"),
    ],
)
def test_marks_that_cannot_be_are_told_with_their_place(
    place: str, marks: object, said: str, tmp_path: Path
) -> None:
    write_sound(tmp_path / "voice" / f"{NAME}.wav", spoken_recording(48000), 48000, "pcm_s16le")
    (tmp_path / "empty").mkdir()
    told = faults(lesson(tmp_path, place, marks))
    assert said in told
    assert re.match(r".*spoken\.yaml:6:\d+: ", told)


def test_what_is_no_sound_is_told(tmp_path: Path) -> None:
    (tmp_path / "voice").mkdir()
    (tmp_path / "voice" / f"{NAME}.wav").write_text("no sound")
    told = faults(lesson(tmp_path, "folder: voice", {NAME: MARKS}))
    assert "cannot be read as sound (invalid data found when processing input); save it as WAV." in told


def test_two_recordings_of_a_clip_are_refused(tmp_path: Path) -> None:
    for ending, codec in (("wav", "pcm_s16le"), ("mp3", "mp3")):
        write_sound(tmp_path / "voice" / f"{NAME}.{ending}", spoken_recording(48000), 48000, codec)
    assert "keep one of them" in faults(lesson(tmp_path, "folder: voice", {NAME: MARKS}))


def test_pauses_are_found_where_they_are(tmp_path: Path) -> None:
    write_sound(tmp_path / "a.wav", spoken_recording(48000), 48000, "pcm_s16le")
    expected = [(0.0, 0.8), (1.8, 6.43), (7.43, 13.27), (14.27, 21.07), (22.07, 32.0)]
    assert np.array(pauses(levels_db(tmp_path / "a.wav"))) == pytest.approx(np.array(expected), abs=0.011)
    assert len(proposed_marks(tmp_path / "a.wav", 9)) == 4


def test_loudness_of_the_ebu_test_signals() -> None:
    """EBU Tech 3341, signals 1 and 2: a stereo sine of 1 kHz at -23 and -33 dBFS reads the same in LUFS."""
    for level in (-23.0, -33.0):
        wave = 10 ** (level / 20) * np.sin(2 * np.pi * 1000 * np.arange(20 * 48000) / 48000)
        found = loudness(np.stack([wave, wave], axis=1).astype(np.float32), 48000)
        assert found.integrated_lufs == pytest.approx(level, abs=0.1)
        assert found.true_peak_dbtp == pytest.approx(level, abs=0.2)
        assert found.range_lu == pytest.approx(0, abs=0.1)


@pytest.mark.parametrize(("form", "codec"), [("draft", "aac"), ("prores", "pcm_s24le")])
def test_a_rendered_clip_has_its_pictures_its_chapters_and_its_sound(
    form: str, codec: str, tmp_path: Path
) -> None:
    write_sound(tmp_path / "voice" / f"{NAME}.wav", spoken_recording(48000), 48000, "pcm_s16le")
    path = lesson(tmp_path, "folder: voice", {NAME: MARKS}, "24")
    clip = plan(load(path)).clips[0]
    file = tmp_path / ".a.1.part"
    told = draw(Task(clip, file, form, "A1B2C3D4"))
    assert told["size"] == file.stat().st_size
    steps = told["drawn"].steps
    with av.open(str(file)) as container:
        assert sum(1 for _ in container.decode(video=0)) == clip.frames
        assert container.streams.audio[0].codec_context.name == codec
        chapters = [(c["metadata"]["title"], c["start"] * c["time_base"] * 24) for c in container.chapters()]
        assert [title for title, _ in chapters] == [step.name for step in steps]
        # the container counts chapters in milliseconds
        assert [float(at) for _, at in chapters] == pytest.approx([s.first_frame for s in steps], abs=0.024)
        told_code = [m.get("timecode") for m in (container.metadata, *(s.metadata for s in container.streams))]
        assert "00:00:00:00" in told_code
    assert not list(tmp_path.glob("*.part.*"))


def test_a_recording_that_is_no_clips_is_told(tmp_path: Path) -> None:
    (tmp_path / "voice").mkdir()
    for name in ("tabel_cut-30_left_near.wav", "table_cut-30_right_near.wav", "notes.txt"):
        (tmp_path / "voice" / name).touch()
    text = "title: A\ncuts: 30\nsides: left\ndistances: {near: 12 in}\nrecordings: {folder: voice}\n"
    text += "clips: [{kind: table}]\n"
    made = plan(loads(text, (tmp_path / "a.yaml").as_posix()))
    rest = "_cut-30_left_near.wav"
    assert [(note.place.line, note.sentence) for note in made.notes] == [
        (5, f"tabel{rest} is not used: no clip has that name; did you mean 'table{rest}'?"),
        (5, "table_cut-30_right_near.wav is not used: no clip has that name."),
    ]
