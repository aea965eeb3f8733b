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
from lessons.deliver.footage import Footage, measure
from lessons.planning.sound import add_samples


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


BURST = np.random.default_rng(1).uniform(-0.5, 0.5, 2400)
"""A twentieth of a second of noise: where it is heard shows to the sample."""


@pytest.mark.parametrize(("ending", "within_s"), [("mp4", 2e-4), ("mov", 1e-9)])
def test_the_sound_of_the_last_of_many_clips_is_in_time(
    ending: str, within_s: float, tmp_path: Path, stock: SimpleNamespace
) -> None:
    """Counted in decoded samples, as players do that don't look at the packets' times; every clip speaks at 0.3 s.

    A second is 46.9 of AAC's packets. Every other clip is in stereo at another rate, as a recording may be.
    """
    entries = [stock.entry(f"c{k}", 25, (25, 1), [("s", 25, "")], file=f"c{k}.{ending}") for k in range(40)]
    footage: Footage = stock.write_folder(tmp_path, entries)
    for k, clip in enumerate(footage.clips):
        if k % 5 == 4:
            continue
        rate, channels = (48000, 1) if k % 2 else (44100, 2)
        heard = np.zeros((rate, channels))
        heard[int(0.3 * rate) : int(0.3 * rate) + len(BURST)] = BURST[:, None]
        add_samples(footage.path(clip), ending, heard, rate)
    (path,) = rough_cut.deliver(footage, Wishes()).files
    with av.open(str(path)) as container:
        assert container.streams.audio[0].rate == 48000
        to_mono = av.AudioResampler(format="flt", layout="mono")
        pieces = [mono.to_ndarray()[0] for frame in container.decode(audio=0) for mono in to_mono.resample(frame)]
    heard = np.concatenate(pieces).astype(float)
    assert len(heard) == pytest.approx(40 * 48000, abs=1024)
    for k in (1, 3, 11, 21, 37):
        near = heard[k * 48000 : k * 48000 + 36000]
        at_s = np.argmax(np.correlate(near, BURST)) / 48000
        assert at_s == pytest.approx(0.3, abs=within_s), k
