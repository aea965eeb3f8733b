"""The narration at a loudness, measured by pyloudnorm and not by FFmpeg's meter; metadata; thumbnails."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from xml.etree import ElementTree as ET

import av
import numpy as np
import pyloudnorm
import pytest
from PIL import Image
from scipy.signal import resample_poly

from lessons.deliver import Wishes, loudness, metadata, pictures, rough_cut
from lessons.deliver.footage import Footage
from lessons.deliver.levels import levelled
from lessons.deliver.pictures import PLATFORM_SIZES, titled_thumbnail
from lessons.planning.sound import blocks
from lessons.rendering.deliveries import recorded

RATE = 48000


def speech(seconds: float, peak: float) -> np.ndarray:
    """Something like speech: noise in syllables of a quarter of a second, soft and loud, with pauses."""
    pick = np.random.default_rng(7)
    count = round(seconds * RATE)
    syllables = np.repeat(pick.choice([0.0, 0.3, 0.6, 1.0], count // 12000 + 1), 12000)[:count]
    heard = pick.normal(size=count) * syllables
    return (peak * heard / np.abs(heard).max()).astype(np.float32)[:, None]


def true_peak_db(heard: np.ndarray) -> float:
    """By four times the samples, as ITU-R BS.1770 annex 2 finds it."""
    return float(20 * np.log10(np.abs(resample_poly(heard, 4, 1)).max()))


@pytest.mark.parametrize(("lufs", "peak"), [(-23.0, 0.05), (-23.0, 0.9), (-14.0, 0.5)])
def test_samples_reach_the_loudness_below_the_peak_that_ebu_r_128_allows(lufs: float, peak: float) -> None:
    done = levelled(speech(6.0, peak), RATE, lufs)
    assert len(done) == 6 * RATE
    assert pyloudnorm.Meter(RATE).integrated_loudness(done.astype(float)) == pytest.approx(lufs, abs=0.3)
    assert true_peak_db(done[:, 0]) <= -0.9


def test_silence_stays_silence() -> None:
    assert not levelled(np.zeros((RATE, 1), np.float32), RATE, -23.0).any()


def spoken(folder: Path, stock: SimpleNamespace) -> Footage:
    """Two clips, a soft one and a loud one."""
    told = [stock.entry(n, 100, (25, 1), [("s", 100, "Look & aim.")], timecode="00:00:10:00", reel="R1")
            for n in ("soft", "loud")]  # fmt: skip
    footage: Footage = stock.write_folder(folder, told)
    for clip, peak in zip(footage.clips, (0.02, 0.9), strict=True):
        stock.with_tone(footage.path(clip), 997, peak)
    return footage


def test_rough_cut_and_sound_files_have_the_loudness(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = spoken(tmp_path, stock)
    before = [footage.path(clip).read_bytes() for clip in footage.clips]
    wishes = Wishes(lufs=-23.0)
    done = loudness.deliver(footage, wishes)
    assert not done.warnings
    assert [p.relative_to(tmp_path).as_posix() for p in done.files[1:]] == ["sound/soft.wav", "sound/loud.wav"]
    (cut,) = rough_cut.deliver(footage, wishes).files
    for path, seconds in ((done.files[1], 4), (done.files[2], 4), (cut, 8)):
        heard = np.concatenate([part for part, _ in blocks(path)])[: seconds * RATE]
        assert len(heard) == seconds * RATE
        assert pyloudnorm.Meter(RATE).integrated_loudness(heard.astype(float)) == pytest.approx(-23, abs=0.3)
    with av.open(str(done.files[1])) as container:
        assert container.metadata["time_reference"] == str(10 * RATE)
    with av.open(str(cut)) as container:
        codes = [s.metadata.get("timecode") for s in container.streams]
        assert "01:00:00:00" in codes
    assert [footage.path(clip).read_bytes() for clip in footage.clips] == before


def test_a_peak_above_what_is_allowed_is_told(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(tmp_path, [stock.entry("a", 50, (25, 1), [("s", 50, "Aim.")])])
    stock.with_tone(footage.path(footage.clips[0]), 997, 0.99)
    (said,) = loudness.deliver(footage, Wishes()).warnings
    assert said.startswith("a: the sound's true peak is 0.")
    assert "EBU R 128 allows -1" in said


def test_metadata_beside_a_clip_tells_title_shot_method_and_cut(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = spoken(tmp_path, stock)
    assert not metadata.deliver(footage, Wishes()).files
    (path, _) = metadata.deliver(footage, Wishes(metadata=True)).files
    assert path == tmp_path / "soft.xmp"
    told = {e.tag.rpartition("}")[2]: e.text for e in ET.parse(path).iter() if (e.text or "").strip()}
    (title, words) = [e.text for e in ET.parse(path).iter() if e.tag.endswith("}li")]
    assert title == "Ghost ball: 14.5° left, near"
    assert words == "Look & aim."
    identity = recorded(footage.manifest).by_name()["soft"].identity
    assert (told["identifier"], told["shotName"], told["tapeName"]) == (identity, "soft", "R1")
    assert (told["method"], told["cut"], told["side"]) == ("ghost_ball", "14.4775", "left")
    assert (told["scene"], told["timecode"]) == ("Thin and full", "00:00:10:00")


@pytest.mark.parametrize("shape", [(1920, 1080), (1080, 1920), (1080, 1080)])
def test_thumbnails_have_the_platforms_sizes_with_poster_and_title(shape: tuple[int, int]) -> None:
    poster = Image.new("RGB", (shape[0] // 4, shape[1] // 4), (200, 40, 40))
    for size in PLATFORM_SIZES:
        made = np.asarray(titled_thumbnail(poster, "Half ball, and why it looks thinner from afar", size)).astype(
            int
        )
        assert made.shape[1::-1] == size
        red = (made[..., 0] > 150) & (made[..., 1] < 80)
        white = made.min(axis=-1) > 220
        assert red.mean() > 0.15
        assert white.mean() > 0.01
        rows, columns = np.nonzero(white)
        assert rows.min() > 0.02 * size[1]
        assert rows.max() < 0.98 * size[1]
        assert columns.max() < 0.98 * size[0]


def test_the_lessons_thumbnails_are_delivered(footage: Footage) -> None:
    names = {p.name for p in pictures.deliver(footage, Wishes()).files}
    assert {"thin-and-full_1280x720.jpg", "thin-and-full_1080x1920.jpg"} <= names
