"""The rough cut: every frame of every clip, in order, copied and not encoded again."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest

from lessons.deliver import Wishes, rough_cut
from lessons.deliver.captions import lesson_captions
from lessons.deliver.manifest import Footage, measure


def packets(path: Path) -> list[bytes]:
    with av.open(str(path)) as container:
        return [bytes(p) for p in container.demux(video=0) if p.pts is not None]


@pytest.mark.parametrize("rate", [(24000, 1001), (25, 1), (30000, 1001), (60, 1)])
def test_the_cut_is_the_clips_frame_by_frame(
    rate: tuple[int, int], tmp_path: Path, stock: SimpleNamespace
) -> None:
    footage = stock.write_folder(tmp_path, stock.usual_entries(rate))
    done = rough_cut.deliver(footage, Wishes())
    assert done.warnings == ()
    (path,) = done.files
    assert path.name == "thin-and-full.mp4"
    assert packets(path) == [p for clip in footage.clips for p in packets(footage.path(clip))]
    greys = [g for clip in footage.clips for g in stock.decoded_greys(footage.path(clip))]
    assert stock.decoded_greys(path) == greys
    with av.open(str(path)) as container:
        times = sorted(p.pts * p.time_base for p in container.demux(video=0) if p.pts is not None)
    assert [t * Fraction(*rate) for t in times] == list(range(footage.frames))
    found = measure(path)
    assert found is not None
    assert (found.frames, found.rate) == (footage.frames, Fraction(*rate))
    with av.open(str(path)) as container:
        shown = [(c["metadata"]["title"], round(c["start"] * c["time_base"] * Fraction(*rate)))
                 for c in container.chapters()]  # fmt: skip
        assert shown == [(clip.name, at) for at, clip in footage.starts()]


def test_captions_ride_in_a_text_track(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(tmp_path, stock.usual_entries((25, 1)))
    (path,) = rough_cut.deliver(footage, Wishes()).files
    with av.open(str(path)) as container:
        track = container.streams.subtitles[0]
        found = [
            (
                round(p.pts * p.time_base * 25),
                round((p.pts + p.duration) * p.time_base * 25),
                bytes(p)[2:].decode(),
            )
            for p in container.demux(track)
            if p.pts is not None and len(bytes(p)) > 2
        ]
    assert found == [(c.first_frame, c.end_frame, "\n".join(c.lines)) for c in lesson_captions(footage)]


def test_clips_that_were_encoded_otherwise_are_not_joined(tmp_path: Path, stock: SimpleNamespace) -> None:
    entries = stock.usual_entries((25, 1))
    entries[1] |= {"width_px": 128, "height_px": 96}
    footage = stock.write_folder(tmp_path, entries)
    done = rough_cut.deliver(footage, Wishes())
    assert done.files == ()
    assert done.warnings[0].startswith(
        "lesson.yaml:12: no rough cut: table_cut-14.5_left_near.mp4 is encoded with"
    )
    assert not list(tmp_path.glob("*.part"))


def test_a_clip_that_has_the_lessons_name_is_left_alone(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(tmp_path, [stock.entry("thin-and-full", 10, (25, 1), [("s", 10, "")])])
    before = footage.path(footage.clips[0]).read_bytes()
    (path,) = rough_cut.deliver(footage, Wishes()).files
    assert path.name == "thin-and-full_rough-cut.mp4"
    assert footage.path(footage.clips[0]).read_bytes() == before


def test_each_clips_sound_stays_with_its_pictures(tmp_path: Path, stock: SimpleNamespace) -> None:
    entries = [stock.entry(f"c{k}", 50, (25, 1), [("s", 50, "")]) for k in range(4)]
    footage: Footage = stock.write_folder(tmp_path, entries)
    for k in (0, 1, 3):
        stock.with_tone(footage.path(footage.clips[k]), 400 * (k + 1))
    (path,) = rough_cut.deliver(footage, Wishes()).files
    heard = np.zeros(8 * 48000)
    with av.open(str(path)) as container:
        for frame in container.decode(audio=0):
            at = round(frame.pts * frame.time_base * 48000)
            samples = frame.to_ndarray()[0]
            samples, at = samples[max(-at, 0) :], max(at, 0)
            heard[at : at + len(samples)] = samples[: len(heard) - at]
    for k in range(4):
        # away from the joints, where two windows of the codec overlap
        part = heard[k * 96000 + 4800 : (k + 1) * 96000 - 4800]
        if k == 2:
            assert np.abs(part).max() < 1e-3
            continue
        spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part))))
        assert np.argmax(spectrum) * 48000 / len(part) == pytest.approx(400 * (k + 1), abs=1.0)
    assert len(stock.decoded_greys(path)) == 200
