"""How fast this machine renders: kept by each render, so that a plan can say how long it takes."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import click
import orjson

from scenes.files import write_whole


@dataclass(frozen=True, slots=True)
class Pace:
    """Frames a second of a whole batch, at a picture size in pixels (width times height), in a form."""

    form: str
    frames_per_s: float
    pixels: float
    is_measured: bool = True

    def seconds(self, frames: int, pixels: float) -> float:
        """How long so many frames of a size take: in proportion to their pixels."""
        return frames / self.frames_per_s * pixels / self.pixels


USUAL = {
    "h264": Pace("h264", 100.0, 1920 * 1080, is_measured=False),
    "draft": Pace("draft", 300.0, 640 * 360, is_measured=False),
}
"""Stated for a machine that has rendered nothing yet, rounded up from two processors that were busy with three
other things beside: 87 frames a second in draft, 35 at full size."""

LEAST_FRAMES = 1000
"""A shorter batch tells more about starting than about the pace."""


def read_pace(form: str) -> Pace:
    """The pace of this machine's last render in a form, or the usual one."""
    try:
        kept = orjson.loads(pace_file().read_bytes())[form]
        return Pace(form, float(kept["frames_per_s"]), float(kept["pixels"]))
    except (OSError, orjson.JSONDecodeError, KeyError, TypeError, ValueError):
        return USUAL.get(form, USUAL["h264"])


def keep_pace(form: str, frames: int, pixels: float, seconds: float) -> None:
    """Keep how fast a batch went: its frames, their mean size in pixels, and the seconds of it all."""
    if frames < LEAST_FRAMES or seconds <= 0:
        return
    path = pace_file()
    try:
        kept = orjson.loads(path.read_bytes())
    except (OSError, orjson.JSONDecodeError):
        kept = {}
    kept[form] = {"frames_per_s": frames / seconds, "pixels": pixels}
    with suppress(OSError):  # a home that can't be written costs no more than the estimate
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, orjson.dumps(kept))


def pace_file() -> Path:
    """Where the pace is kept: it belongs to the machine, and clips of the same lesson are the same everywhere."""
    return Path(click.get_app_dir("aimgeo")) / "pace.json"
