"""The files of clips, opened by FFmpeg's libraries and its probe: timecode, reel, siting, held pictures, colours
under alpha. Every clip is a few frames.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image

from lessons.lesson.model import loads
from lessons.planning.plan import plan
from lessons.rendering.workers import Task, draw
from scenes.board import StepSpan
from scenes.board.brief import Output
from scenes.film import boxes
from scenes.film.film import Film
from scenes.film.forms import FORMS, counted
from scenes.film.masters import MasterFilm, bled
from scenes.film.perform import over_footage
from scenes.kinds import CLIP_KINDS

REEL = "A1B2C3D4"
LESSON = """\
title: Short
cuts: [1/2]
sides: left
distances: {near: 300 mm}
eyes: {over: {back: 300 mm, height: 200 mm}}
output: {size: 320x180, rate: 25}
clips:
  - {kind: players-eye, methods: ghost-ball, eyes: over}
"""


def written(folder: Path, form: str, rate: tuple[int, int], held: tuple[int, ...] = (5, 3, 9)) -> Path:
    """A clip of a few grey pictures, each held for so many frames, the first shown again at the end."""
    told = FORMS[form]
    path = folder / f"{form}{told.extension}"
    output = Output(64, 48, rate)
    film = MasterFilm(path, output, told) if told.is_master else Film(path, output, told)
    for k, frames in enumerate(held):
        picture = np.full((48, 64, 4), 255, np.uint8)
        picture[..., :3] = np.random.default_rng(k % 2).integers(0, 255, (48, 64, 3))
        film.show([((0, 0, 64, 48), picture)])
        film.hold(frames - 1)
    film.close()
    return path


def told_codes(path: Path) -> tuple[str, str]:
    """Timecode and reel, as FFmpeg's reader finds them."""
    with av.open(str(path)) as container:
        (track,) = [s.metadata for s in container.streams if "reel_name" in s.metadata]
        return track["timecode"], track["reel_name"]


@pytest.mark.parametrize("rate", [(25, 1), (30000, 1001), (60, 1)])
@pytest.mark.parametrize("form", ["draft", "prores", "png-alpha-once"])
def test_mp4_and_mov_files_carry_timecode_and_reel(tmp_path: Path, form: str, rate: tuple[int, int]) -> None:
    path = written(tmp_path, form, rate)
    boxes.complete(path, REEL, FORMS[form].holds_once)
    assert told_codes(path) == (counted("00:00:00:00", rate), REEL)
    if (probe := shutil.which("ffprobe")) is None:
        return
    words = [probe, "-v", "error", "-show_streams", "-of", "json", str(path)]
    streams = json.loads(subprocess.run(words, capture_output=True, check=True).stdout)["streams"]
    (code,) = [s for s in streams if s["codec_tag_string"] == "tmcd"]
    assert (code["tags"]["timecode"], code["tags"]["reel_name"]) == told_codes(path)


@pytest.mark.parametrize("form", ["prores", "prores-alpha", "png-alpha"])
def test_held_pictures_stored_once_decode_to_the_same_frames_at_the_same_times(tmp_path: Path, form: str) -> None:
    held = (20, 20, 30)
    whole, once = (written(tmp_path, name, (25, 1), held) for name in (form, f"{form}-once"))
    boxes.complete(whole, REEL, holds_once=False)
    boxes.complete(once, REEL, holds_once=True)
    seen = []
    for path in (whole, once):
        with av.open(str(path)) as container:
            seen.append([(f.pts, b"".join(map(bytes, f.planes))) for f in container.decode(video=0)])
    assert len(seen[0]) == sum(held)
    assert seen[0] == seen[1]
    # two pictures instead of seventy
    assert once.stat().st_size < whole.stat().st_size / 12


def test_a_file_that_is_no_film_is_refused_and_stays(tmp_path: Path) -> None:
    path = tmp_path / "none.mov"
    path.write_bytes(boxes.Box(b"ftyp", b"qt  ", []).packed())
    with pytest.raises(ValueError, match="no index"):
        boxes.complete(path, REEL, holds_once=True)
    assert [p.name for p in tmp_path.iterdir()] == ["none.mov"]


def test_h264_says_where_its_colour_samples_lie(tmp_path: Path) -> None:
    """They are means of two by two pixels: centred, which H.264 calls type 1 and FFmpeg 'center'."""
    path = written(tmp_path, "h264", (25, 1))
    probe = shutil.which("ffprobe")
    if probe is None:
        pytest.skip("ffprobe is not installed")
    words = [probe, "-v", "error", "-show_entries", "stream=chroma_location", "-of", "csv=p=0", str(path)]
    assert "center" in subprocess.run(words, capture_output=True, text=True, check=True).stdout


@pytest.mark.parametrize("form", ["png-alpha", "prores-alpha", "vp9-alpha"])
def test_colours_go_on_beyond_the_edge_so_that_scaling_straight_colours_leaves_no_dark_rim(
    tmp_path: Path, form: str
) -> None:
    """Scaled by Pillow as straight RGB, which is what a program does that overlooks alpha while it scales."""
    path = tmp_path / f"disc{FORMS[form].extension}"
    y, x = np.mgrid[:48, :64]
    alpha = np.clip(14.5 - np.hypot(x - 32, y - 24), 0, 1)
    premultiplied = np.round(alpha[..., None] * (240, 200, 40, 255)).astype(np.uint8)
    film = MasterFilm(path, Output(64, 48, (25, 1)), FORMS[form])
    film.show([((0, 0, 64, 48), premultiplied)])
    film.close()
    with av.open(str(path)) as container:
        container.streams.video[0].codec_context.thread_count = 1
        if form == "vp9-alpha":  # FFmpeg's own VP9 decoder reads no alpha: libvpx does
            decoder = av.CodecContext.create("libvpx-vp9", "r")
            frame = next(f for p in container.demux(video=0) for f in decoder.decode(p))
        else:
            frame = next(container.decode(video=0))
        rgba = frame.reformat(format="rgba", src_colorspace="itu709").to_ndarray()
    near = rgba[(rgba[..., 3] == 0) & (np.hypot(x - 32, y - 24) < 19)][:, :3].astype(int)
    assert np.abs(near - (240, 200, 40)).max() <= 12
    small = np.asarray(Image.fromarray(rgba[..., :3]).resize((16, 12), Image.Resampling.BILINEAR)).astype(int)
    cover = np.asarray(Image.fromarray(rgba[..., 3]).resize((16, 12), Image.Resampling.BILINEAR))
    assert np.abs(small[cover > 8] - (240, 200, 40)).max() <= 30


def test_carrying_colours_on_leaves_alpha_and_all_that_can_be_seen() -> None:
    rgba = np.random.default_rng(1).integers(0, 255, (40, 50, 4)).astype(np.uint8)
    rgba[:, 19, 3] = 255
    rgba[:, 20:] = 0
    done = bled(rgba)
    assert np.array_equal(done[..., 3], rgba[..., 3])
    seen = rgba[..., 3] > 0
    assert np.array_equal(done[seen], rgba[seen])
    assert done[:, 20:28, :3].any(axis=-1).all()
    assert not done[:, 28:].any()


def test_over_footage_nothing_is_said_that_is_true_of_our_own_picture_only() -> None:
    (clip,) = plan(loads(LESSON)).clips
    board = CLIP_KINDS["players-eye"].board(clip.brief)
    gone = {e.id for e in board.elements} - {e.id for e in over_footage(board).elements}
    assert {"scrim", "heading"} <= gone <= {"scrim", "heading", "note"}


def test_a_rendered_clip_tells_the_reel_and_keeps_its_chapters(tmp_path: Path) -> None:
    (clip,) = plan(
        loads(LESSON.replace("players-eye", "table").replace(", methods: ghost-ball, eyes: over", ""))
    ).clips
    path = tmp_path / "clip.mp4"
    told = draw(Task(clip, path, "draft", REEL))
    assert told["drawn"].reel == REEL
    with av.open(str(path)) as container:
        assert container.streams.video[0].frames == clip.frames
        assert Fraction(container.streams.video[0].average_rate) == 25
        assert len(container.chapters()) == len(clip.brief.steps)


@pytest.mark.parametrize("form", ["draft", "prores"])
def test_chapters_of_a_clip_with_handles_start_with_their_steps(form: str, tmp_path: Path) -> None:
    path = tmp_path / f"clip{FORMS[form].extension}"
    steps = (StepSpan("one", 10, 20), StepSpan("two", 20, 40))
    output = Output(64, 48, (25, 1))
    film = (
        MasterFilm(path, output, FORMS[form], steps=steps)
        if FORMS[form].is_master
        else Film(path, output, FORMS[form], steps=steps)
    )
    film.show([((0, 0, 64, 48), np.full((48, 64, 4), 255, np.uint8))])
    film.hold(49)
    film.close()
    with av.open(str(path)) as container:
        told = [(c["metadata"]["title"], float(c["start"] * c["time_base"])) for c in container.chapters()]
    assert told == [("handle", 0.0), ("one", 0.4), ("two", 0.8)]
