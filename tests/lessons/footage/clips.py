"""Short clips made of a still: noise on every frame, a knock, a ball that leaves."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np


def film(
    path: Path,
    picture: np.ndarray,
    frames: int = 24,
    change: Callable[[np.ndarray, int], np.ndarray] = lambda p, k: p,
    rate: Fraction = Fraction(30000, 1001),
    timecode: str | None = None,
) -> Path:
    """A clip of so many frames, each the picture with what `change` does to it and a little noise."""
    draw = np.random.default_rng(1)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=rate)
        stream.height, stream.width = picture.shape[:2]
        stream.pix_fmt = "yuv444p" if (stream.width | stream.height) % 2 else "yuv420p"
        stream.options = {"crf": "12", "preset": "ultrafast"}
        if timecode:
            container.metadata["timecode"] = timecode
        for k in range(frames):
            noisy = change(picture.copy(), k) + draw.normal(0, 1.5, picture.shape)
            frame = av.VideoFrame.from_ndarray(np.clip(noisy, 0, 255).astype(np.uint8), format="bgr24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def shifted(picture: np.ndarray, x: float, y: float) -> np.ndarray:
    """The picture moved by some pixels."""
    high, wide = picture.shape[:2]
    return cv2.warpAffine(
        picture, np.array([[1, 0, x], [0, 1, y]], np.float32), (wide, high), borderMode=cv2.BORDER_REPLICATE
    )


def rolled(picture: np.ndarray, at: tuple[float, float], radius: float, way: tuple[float, float]) -> np.ndarray:
    """The picture with a ball cut out, cloth in its place, and put down elsewhere."""
    x, y, r = round(at[0]), round(at[1]), round(1.6 * radius)
    part = picture[y - r : y + r, x - r : x + r].copy()
    picture[y - r : y + r, x - r : x + r] = np.median(part[:2].reshape(-1, 3), axis=0)
    dx, dy = round(way[0]), round(way[1])
    picture[y + dy - r : y + dy + r, x + dx - r : x + dx + r] = part
    return picture
