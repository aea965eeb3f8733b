"""Small folders of rendered clips with a manifest, made without rendering anything."""

from __future__ import annotations

import hashlib
import json
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest

from lessons.deliver.footage import Footage, read_footage


def write_clip(path: Path, frames: int, rate: tuple[int, int], size: tuple[int, int] = (96, 64)) -> None:
    """An H.264 clip with B frames whose frame k is a flat grey of 16 + 4 (k mod 50)."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=Fraction(*rate))
        stream.width, stream.height = size
        stream.pix_fmt = "yuv420p"
        stream.options = {"preset": "veryfast", "crf": "18", "bf": "2", "g": str(max(2, rate[0] // rate[1] // 2))}
        for k in range(frames):
            picture = np.full((size[1] * 3 // 2, size[0]), 128, np.uint8)
            picture[: size[1]] = 16 + 4 * (k % 50)
            frame = av.VideoFrame.from_ndarray(picture, format="yuv420p")
            frame.pts, frame.time_base = k, 1 / Fraction(*rate)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def decoded_greys(path: Path) -> list[int]:
    """The grey of every frame of a clip, by decoding all of it."""
    with av.open(str(path)) as container:
        return [int(np.median(f.to_ndarray(format="gray"))) for f in container.decode(video=0)]


def with_tone(path: Path, hertz: float, peak: float = 0.25) -> None:
    """Give a clip of 25 frames a second an AAC track: a tone as long as its pictures."""
    with av.open(str(path)) as source:
        seconds = source.streams.video[0].frames / 25
    silent = path.with_suffix(".silent.mp4")
    path.rename(silent)
    rate = 48000
    tone = np.sin(2 * np.pi * hertz * np.arange(int(seconds * rate)) / rate).astype(np.float32) * np.float32(peak)
    with av.open(str(silent)) as source, av.open(str(path), "w") as target:
        video = target.add_stream_from_template(source.streams.video[0])
        audio = target.add_stream("aac", rate=rate, layout="mono")
        for packet in source.demux(video=0):
            if packet.dts is not None:
                packet.stream = video
                target.mux(packet)
        for k in range(0, len(tone), 1024):
            frame = av.AudioFrame.from_ndarray(tone[None, k : k + 1024], format="fltp", layout="mono")
            frame.sample_rate, frame.pts, frame.time_base = rate, k, Fraction(1, rate)
            target.mux(audio.encode(frame))
        target.mux(audio.encode(None))
    silent.unlink()


SHOT = {
    "cue_ball_mm": [304.0, -60.0, 28.575],
    "object_ball_mm": [620.0, 120.0, 28.575],
    "target_mm": [1229.0241, 594.0241, 28.575],
    "ghost_ball_mm": [574.9, 84.9, 28.575],
    "contact_object_mm": [597.5, 102.4, 28.575],
    "cut_deg": 14.477512,
    "side": "left",
    "distance_mm": 363.7,
    "overlap": 0.75,
    "aim_offset_mm": 14.2875,
    "contact_offset_mm": 7.14375,
}


def entry(
    name: str, frames: int, rate: tuple[int, int], steps: list[tuple[str, int, str]], **more: object
) -> dict:
    """A manifest entry; steps are (name, frames, narration)."""
    at, spans = 0, []
    for step, length, words in steps:
        spans.append({"name": step, "first_frame": at, "end_frame": at + length, "narration": words})
        at += length
    assert at == frames
    told = {
        "name": name,
        "file": f"{name}.mp4",
        "kind": "build-up",
        "method": "ghost_ball",
        "cut_deg": 14.477512,
        "side": "left",
        "distance_name": "near",
        "distance_mm": 363.7,
        "eye": None,
        "width_px": 96,
        "height_px": 64,
        "rate": list(rate),
        "frames": frames,
        "source": {"file": "lesson.yaml", "line": 12},
        "shot": SHOT,
        "steps": spans,
        "still": [],
    }
    return told | more


def write_folder(folder: Path, entries: list[dict], **lesson: object) -> Footage:
    """Write the clips and the manifest, and read it back."""
    for told in entries:
        path = folder / told["file"]
        write_clip(path, told["frames"], tuple(told["rate"]), (told["width_px"], told["height_px"]))
        told["sha256"] = hashlib.sha256(path.read_bytes()).hexdigest()
    manifest = {
        "schema": 1,
        "lesson": {"title": "Thin and full", "identity": "thin-and-full", "source": "lesson.yaml"} | lesson,
        "made_with": {"aimgeo": "0.1.0"},
        "clips": entries,
    }
    (folder / "manifest.json").write_text(json.dumps(manifest), "utf-8")
    return read_footage(folder)


WORDS = {
    "target": "Find the line from the object ball to the pocket.",
    "contact": "Where that line leaves the back of the ball, the cue ball must hit, 28.6\u202fmm from the centre.",
    "aim": "Send the cue ball to the ghost ball. Its centre is your aim, near or far; nothing else changes.",
}


def usual_entries(rate: tuple[int, int], size: tuple[int, int] = (96, 64)) -> list[dict]:
    """Three clips with odd lengths, the second one silent."""
    fps = rate[0] / rate[1]
    n = [round(fps * s) for s in (3.1, 6.3, 6.5)]
    steps = [("target line", n[0], WORDS["target"]), ("contact point", n[1], WORDS["contact"])]
    shape = {"width_px": size[0], "height_px": size[1]}
    return [
        entry("ghost-ball_build-up_cut-14.5_left_near", n[0] + n[1], rate, steps, **shape),
        entry("table_cut-14.5_left_near", 17, rate, [("where", 17, "")], kind="table", method=None, **shape),
        entry("ghost-ball_build-up_cut-14.5_left_far", n[2], rate, [("aim line", n[2], WORDS["aim"])],
              distance_name="far", **shape),
    ]  # fmt: skip


@pytest.fixture(scope="session")
def stock() -> SimpleNamespace:
    """The functions and words above, for tests that make their own folders."""
    return SimpleNamespace(
        write_clip=write_clip,
        decoded_greys=decoded_greys,
        entry=entry,
        usual_entries=usual_entries,
        write_folder=write_folder,
        with_tone=with_tone,
        words=WORDS,
    )


@pytest.fixture
def footage(tmp_path: Path) -> Footage:
    """Three clips at 25 frames a second."""
    return write_folder(tmp_path, usual_entries((25, 1)))
