"""What is delivered, opened without a window by programs that editors use; skipped where one is not installed."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from types import SimpleNamespace

import opentimelineio as otio
import pytest

from lessons.deliver import Wishes, timeline

BLENDER = """
import bpy, json, sys
scene = bpy.context.scene
editor = scene.sequence_editor_create()
strips = getattr(editor, "strips", None) or editor.sequences
at, told = 1, []
for path, first, frames in json.loads(sys.argv[-1]):
    strip = strips.new_movie(name="clip", filepath=path, channel=1, frame_start=at)
    told.append([strip.frame_duration, strip.fps])
    at += frames
print("TOLD", json.dumps(told))
"""


def program(name: str) -> str:
    """The program's path; the test is skipped in words where there is none."""
    found = shutil.which(name)
    if found is None:
        pytest.skip(f"{name} is not installed")
    return found


def laid(folder: Path, stock: SimpleNamespace, rate: tuple[int, int]) -> list[tuple[str, int, int]]:
    """A delivery with whole paths: each clip's file, first frame and length, as the timeline tells them."""
    timeline.deliver(stock.write_folder(folder, stock.usual_entries(rate)), Wishes(absolute=True))
    read = otio.adapters.read_from_file(str(folder / "thin-and-full.otio"))
    return [
        (
            otio.url_utils.filepath_from_url(clip.media_reference.target_url),
            int(clip.source_range.start_time.value),
            int(clip.source_range.duration.value),
        )
        for clip in read.video_tracks()[0].find_clips()
    ]


def test_blender_s_sequencer_takes_every_clip_with_its_frames(tmp_path: Path, stock: SimpleNamespace) -> None:
    blender = program("blender")
    clips = laid(tmp_path, stock, (25, 1))
    script = tmp_path / "open.py"
    script.write_text(BLENDER)
    done = subprocess.run(
        [blender, "--background", "--factory-startup", "--python", script, "--", json.dumps(clips)],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    told = next(line for line in done.stdout.splitlines() if line.startswith("TOLD "))
    assert json.loads(told.removeprefix("TOLD ")) == [[frames, 25.0] for _, _, frames in clips]


def test_mlt_plays_the_timeline_to_its_last_frame(tmp_path: Path, stock: SimpleNamespace) -> None:
    melt = program("melt")
    clips = laid(tmp_path, stock, (25, 1))
    words = [word for path, at, n in clips for word in (path, f"in={at}", f"out={at + n - 1}")]
    done = subprocess.run(
        [melt, *words, "-consumer", "xml"], capture_output=True, text=True, timeout=120, check=True
    )
    lengths = [line for line in done.stdout.splitlines() if "<entry" in line]
    assert len(lengths) == len(clips)


def test_gstreamer_editing_services_load_the_timeline(tmp_path: Path, stock: SimpleNamespace) -> None:
    launch = program("ges-launch-1.0")
    clips = laid(tmp_path, stock, (25, 1))
    words = [word for path, at, n in clips for word in ("+clip", path, f"i={at / 25}", f"d={n / 25}")]
    sinks = ["--videosink", "fakesink", "--audiosink", "fakesink"]
    done = subprocess.run([launch, *words, *sinks], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
