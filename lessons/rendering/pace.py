"""How fast this machine renders: kept by each render, so that a plan can say how long it takes."""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import click
import orjson

from scenes.files import write_whole

START_S = 2.0
FRAME_S, PIXEL_S = 1.5e-3, 4.2e-9
"""What a frame takes one processor, whatever its size and for each of its pixels.

Measured on one of two busy processors: build-ups took 1.8 to 2.6 ms a frame in draft (640 by 360), 10.2 to 11.4 at
1920 by 1080; cards of 320 by 180 some 2.6.
"""

LEAST_FRAMES = 1000
"""A shorter batch tells more about starting than about the pace."""


@dataclass(frozen=True, slots=True)
class Pace:
    """How long a batch takes, as a multiple of what the stated times come to on all processors."""

    times: float
    is_measured: bool = True

    def seconds(self, frames: int, pixels: float) -> float:
        """How long a batch takes of so many frames, and so many pixels in all of them together."""
        return START_S + self.times * (FRAME_S * frames + PIXEL_S * pixels) / (os.cpu_count() or 1)


STATED = Pace(1.0, is_measured=False)
"""For a machine that has rendered nothing yet."""


def read_pace(form: str) -> Pace:
    """The pace of this machine's last render in a form, or the stated one."""
    try:
        return Pace(float(orjson.loads(pace_file().read_bytes())[form]))
    except (OSError, orjson.JSONDecodeError, KeyError, TypeError, ValueError):
        return STATED


def keep_pace(form: str, frames: int, pixels: float, seconds: float) -> None:
    """Keep how fast a batch went: its frames, the pixels of them all, and the seconds of it all."""
    if frames < LEAST_FRAMES or seconds <= START_S:
        return
    path = pace_file()
    try:
        kept = orjson.loads(path.read_bytes())
    except (OSError, orjson.JSONDecodeError):
        kept = {}
    if not isinstance(kept, dict):
        kept = {}
    kept[form] = (seconds - START_S) / (STATED.seconds(frames, pixels) - START_S)
    with suppress(OSError):  # a home that can't be written costs no more than the estimate
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, orjson.dumps(kept))


def pace_file() -> Path:
    """Where the pace is kept: it belongs to the machine, and clips of the same lesson are the same everywhere."""
    return Path(click.get_app_dir("aimgeo")) / "pace.json"
