"""Answering requests about shots: requests a second on one core, part by part."""

from __future__ import annotations

import math
import os
import random
import resource
import subprocess
import sys
from pathlib import Path
from typing import Any, BinaryIO

import orjson

COUNT = 100_000
RUNS = 3
EYE = {"back_mm": 600.0, "offset_mm": 2.5, "height_mm": 400.0}
CAMERA = {"look_at": "object_ball", "vertical_fov_deg": 40.0, "width_px": 1920, "height_px": 1080}
MIXES: dict[str, tuple[str, ...]] = {
    "shot and methods": (),
    "with the eye": ("eye",),
    "with the eye, a picture, a pocket and an aim error": ("eye", "camera", "pocket", "aim_error"),
    "everything": ("eye", "camera", "pocket", "aim_error", "fraction", "throw", "misses", "others"),
}


def measure(folder: Path) -> list[tuple[str, str, str]]:
    """Rows of the table: processor seconds of the whole command, the middle of some runs, and the rate."""
    rows = []
    for what, parts in MIXES.items():
        asked = folder / "asked.jsonl"
        asked.write_bytes(b"".join(orjson.dumps(one) + b"\n" for one in requests(COUNT, parts)))
        words = [sys.executable, "-m", "lessons.cli", "solve", "--batch", str(asked)]
        with Path(os.devnull).open("wb") as out:  # half a gigabyte of answers would measure the disk
            spent = sorted(processor_seconds(words, out) for _ in range(RUNS))
        middle = spent[RUNS // 2]
        rate = f"{COUNT / middle:,.0f} a second of one core ({COUNT / spent[-1]:,.0f} in the slowest run)"
        rows.append((f"{COUNT:,} requests, {what}", f"{middle:.1f}", rate))
    return rows


def processor_seconds(words: list[str], out: BinaryIO) -> float:
    """Processor time of a command, its start and end included."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(words, stdout=out, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def requests(count: int, parts: tuple[str, ...]) -> list[dict[str, Any]]:
    """Random shots that can all be set on a 9 ft table, asking for the parts named."""
    rng = random.Random(1)
    made = []
    for _ in range(count):
        one: dict[str, Any] = {
            "object_ball_mm": [rng.uniform(-300, 300), rng.uniform(-250, 250)],
            "target_mm": "foot-left" if "pocket" in parts else [1150.0, 550.0],
            "cut_deg": rng.uniform(0, 60),
            "side": rng.choice(["left", "right"]),
            "distance_mm": rng.uniform(100, 300),
        }
        if "eye" in parts:
            one["eye"] = EYE
        if "camera" in parts:
            one["camera"] = CAMERA
        if "aim_error" in parts:
            one["aim_error"] = {"at_ghost_mm": rng.uniform(-3, 3)}
        if "fraction" in parts:
            one["fraction"] = {"object_offset_mm": 14.3, "cue_offset_mm": -3.6, "measured": "line_of_centres"}
        if "throw" in parts:
            one |= {"speed_mps": rng.uniform(0.5, 4), "cue_ball_roll": rng.random()}
        if "misses" in parts:
            one["misses"] = {"left": rng.randrange(12), "right": rng.randrange(12)}
        if "others" in parts:
            one["others_mm"] = others(rng, one["object_ball_mm"])
        made.append(one)
    return made


def others(rng: random.Random, object_ball: list[float]) -> list[list[float]]:
    """Five more balls, none in another, all farther from the object ball than the cue ball is."""
    made: list[list[float]] = []
    while len(made) < 5:
        place = [rng.uniform(-1200, 1200), rng.uniform(-600, 600)]
        if math.dist(place, object_ball) > 360 and all(math.dist(place, one) > 58 for one in made):
            made.append(place)
    return made
