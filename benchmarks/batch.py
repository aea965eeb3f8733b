"""A batch of mixed clips at 1080p60: this renderer, encoding alone, and stock Manim, in one run."""

from __future__ import annotations

import multiprocessing
import pickle
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from benchmarks.lessons import MIXED
from benchmarks.runs import aimgeo, planned
from lessons.planning.planned import Plan, PlannedClip


def measure(folder: Path, only: Sequence[str], workers: int, stock_clips: int) -> list[tuple[str, str, str]]:
    """Rows of the table: what, seconds, ratio."""
    lesson = folder / "mixed.yaml"
    lesson.write_text(MIXED)
    plan = planned(lesson).only(only)
    out = folder / "clips"
    seconds, _ = aimgeo("render", lesson, "--out", out, "--workers", workers, *(f"--only={p}" for p in only))
    floor = encoding_alone(plan, out, workers)
    chosen = spread(plan, stock_clips)
    stock = sum(stock_seconds(clip, folder / "stock") for clip in chosen)
    stock_frames = sum(clip.frames for clip in chosen)
    ours_a_frame, stock_a_frame = seconds / plan.frames, stock / stock_frames
    what = f"{len(plan.clips)} clips, {plan.frames:,} frames, {workers} workers"
    return [
        (f"aimgeo render, {what}", f"{seconds:.1f}", f"{plan.frames / seconds:.0f} frames a second"),
        ("encoding every frame alone, as many processes", f"{floor:.1f}", f"{seconds / floor:.2f} of it is taken"),
        (
            f"manim render, {len(chosen)} of the clips one after the other",
            f"{stock:.1f}",
            f"{stock_a_frame / ours_a_frame:.1f} times as long a frame",
        ),
    ]


def spread(plan: Plan, count: int) -> list[PlannedClip]:
    """So many clips, evenly from the whole plan."""
    step = max(len(plan.clips) // count, 1)
    return list(plan.clips[step // 2 :: step][:count])


# ------------------------------------------------------------------ encoding alone


def encoding_alone(plan: Plan, clips: Path, processes: int) -> float:
    """Seconds that encoding the same frames takes when they are there already, in yuv420p: the slowest process.

    The frames come from decoding the finished clips, between the encoder's calls; only these are timed.
    """
    paths = [clips / f"{clip.name}.mp4" for clip in sorted(plan.clips, key=lambda c: -c.frames)]
    shares = [paths[k::processes] for k in range(processes)]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        return max(pool.map(_encode, shares))


def _encode(paths: Sequence[Path]) -> float:
    import av

    from scenes.film.forms import FORMS

    form, spent = FORMS["h264"], 0.0
    for path in paths:
        with (
            av.open(str(path)) as source,
            av.open("/dev/null" if sys.platform != "win32" else "NUL", "w", "mp4") as to,
        ):
            read = source.streams.video[0]
            stream = to.add_stream(form.codec, rate=read.average_rate)
            stream.width, stream.height, stream.pix_fmt = read.width, read.height, form.pixel_format
            stream.codec_context.gop_size = round(read.average_rate / 2)
            stream.codec_context.thread_count = 1
            stream.options = dict(form.options)
            for k, frame in enumerate(source.decode(read)):
                frame.pts, frame.time_base, frame.pict_type = k, 1 / read.average_rate, 0
                began = time.perf_counter()
                to.mux(stream.encode(frame))
                spent += time.perf_counter() - began
            began = time.perf_counter()
            to.mux(stream.encode(None))
            spent += time.perf_counter() - began
    return spent


# ------------------------------------------------------------------ stock Manim

SCENE = """\
import pickle
from pathlib import Path

from scenes.film.stage import BoardScene


class Clip(BoardScene):
    board = pickle.loads(Path(__file__).with_name("board.pickle").read_bytes())
"""

CONFIG = """\
[CLI]
frame_width = {width}
frame_height = {height}
pixel_width = {pixel_width}
pixel_height = {pixel_height}
frame_rate = {rate}
disable_caching = True
progress_bar = none
verbosity = WARNING
"""


def stock_seconds(clip: PlannedClip, folder: Path) -> float:
    """Seconds that `manim render` takes for a clip, starting included."""
    from scenes.film.brush import PX_PER_UNIT
    from scenes.kinds import CLIP_KINDS

    folder.mkdir(exist_ok=True)
    board = CLIP_KINDS[clip.kind].board(clip.brief)
    (folder / "board.pickle").write_bytes(pickle.dumps(board))
    (folder / "clip.py").write_text(SCENE)
    (folder / "manim.cfg").write_text(
        CONFIG.format(
            width=board.width_px / PX_PER_UNIT,
            height=board.height_px / PX_PER_UNIT,
            pixel_width=board.width_px,
            pixel_height=board.height_px,
            rate=board.rate[0] / board.rate[1],
        )
    )
    began = time.monotonic()
    subprocess.run(
        [sys.executable, "-m", "manim", "render", "clip.py", "Clip"], cwd=folder, check=True, capture_output=True
    )
    return time.monotonic() - began
