"""Previews: each clip in a few seconds, as a small GIF that plays by itself wherever a picture can stand."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lessons.deliver import Delivered, Wishes
from lessons.deliver.footage import Footage
from lessons.deliver.pictures import as_picture
from lessons.deliver.writing import whole_file
from lessons.rendering.decoded import decoded
from lessons.rendering.manifest import Clip

if TYPE_CHECKING:
    from PIL import Image

MOST_PX = 480
PICTURES = 72
PICTURE_MS = 110
LAST_MS = 1500


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """previews/<clip>.gif, when they are wished for; not of clips that would give their answer away."""
    if not wishes.previews:
        return Delivered(())
    shown = [clip for clip in footage.clips if not clip.hides_its_answer]
    return Delivered(tuple(_write(footage, clip) for clip in shown))


def _write(footage: Footage, clip: Clip) -> Path:
    path = footage.folder / "previews" / f"{clip.name}.gif"
    pictures = [_paletted(p) for p in sampled(footage.path(clip), clip.frames)]
    with whole_file(path) as part:
        pictures[0].save(
            part,
            format="GIF",
            save_all=True,
            append_images=pictures[1:],
            duration=[PICTURE_MS] * (len(pictures) - 1) + [LAST_MS],
            loop=0,
            optimize=True,
        )
    return path


def sampled_frames(frames: int) -> list[int]:
    """Which frames a preview shows: evenly spread, the first and the last among them.

    >>> sampled_frames(3)
    [0, 1, 2]
    """
    return [round(k) for k in np.linspace(0, frames - 1, min(PICTURES, frames))]


def sampled(path: Path, frames: int) -> list[Image.Image]:
    """The preview's pictures, small."""
    import av

    wanted = set(sampled_frames(frames))
    found = []
    with av.open(str(path)) as container:
        container.streams.video[0].thread_type = "AUTO"
        for number, frame in enumerate(decoded(container, container.streams.video[0])):
            if number in wanted:
                picture = as_picture(frame)
                picture.thumbnail((MOST_PX, MOST_PX))
                found.append(picture)
    return found


def _paletted(picture: Image.Image) -> Image.Image:
    from PIL import Image

    return picture.quantize(128, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
