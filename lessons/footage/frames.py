"""Footage: a still or a clip, its frames as shown, its rate and timecode, and whether camera and balls keep
still.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from aimgeo.vectors import Array
from lessons.footage.picture import Picture

STILLS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".bmp")
MOST_FRAMES = 15
"""The picture that is measured is the median of so many frames."""


class UnreadableError(Exception):
    """Footage that cannot be read: a sentence."""


@dataclass(frozen=True, slots=True)
class Footage:
    """What a file of footage is: size as shown, rate, frames, timecode of its first frame. A still has one frame.

    `turn_deg` is how far the file asks its pictures to be turned; `pixel_ratio` how much wider than high a
    pixel is.
    """

    path: Path
    size_px: tuple[int, int]
    rate: tuple[int, int] | None = None
    frames: int = 1
    timecode: str | None = None
    turn_deg: int = 0
    pixel_ratio: Fraction = Fraction(1)
    rate_varies: bool = False

    @property
    def is_still(self) -> bool:
        """True for a photograph."""
        return self.rate is None

    def frame_at(self, seconds: float) -> int:
        """The number of the frame that is shown at a moment."""
        return 0 if self.rate is None else int(seconds * Fraction(*self.rate) + Fraction(1, 1000))


def open_footage(path: Path) -> Footage:
    """What is at a path. Raises UnreadableError."""
    if not path.is_file():
        raise UnreadableError(f"there is no footage '{path.name}' beside this file; check the name.")
    if path.suffix.lower() in STILLS:
        high, wide = read_still(path).shape[:2]
        return Footage(path, (wide, high))
    import av

    try:
        with av.open(str(path)) as container:
            if not container.streams.video:
                raise UnreadableError(f"'{path.name}' has no picture in it.")
            stream = container.streams.video[0]
            rate = stream.average_rate or stream.base_rate or stream.guessed_rate
            first = next(container.decode(stream))
            turn = int(first.rotation or 0) % 360
            ratio = Fraction(stream.sample_aspect_ratio or 1)
            wide, high = _shown_size(first.width, first.height, turn, ratio)
            timecode = next(
                (s.metadata["timecode"] for s in (stream, *container.streams) if "timecode" in s.metadata),
                container.metadata.get("timecode"),
            )
            nominal = stream.guessed_rate or stream.base_rate or rate
            frames = int(stream.frames)
    except (av.FFmpegError, StopIteration) as error:
        raise UnreadableError(f"'{path.name}' cannot be read as a clip or a picture ({error}).") from None
    if rate is None:
        raise UnreadableError(f"'{path.name}' tells no frame rate.")
    counted, varies = _counted(path)
    varies = varies or (nominal is not None and abs(float(nominal / rate) - 1) > 0.005)
    shown = Fraction(nominal if varies and nominal else rate)
    return Footage(
        path, (wide, high), (shown.numerator, shown.denominator), counted or frames, timecode, turn, ratio, varies
    )


def _shown_size(wide: int, high: int, turn: int, ratio: Fraction) -> tuple[int, int]:
    wide = round(wide * ratio)
    return (high, wide) if turn in (90, 270) else (wide, high)


def _counted(path: Path) -> tuple[int, bool]:
    """How many pictures a clip has, by its packets, and whether the times between them differ."""
    import av

    times: list[int] = []
    with av.open(str(path)) as container:
        for packet in container.demux(container.streams.video[0]):
            if packet.size and packet.pts is not None:
                times.append(packet.pts)
    steps = np.diff(np.sort(np.array(times, np.int64)))
    # a tick of rounding is no change of rate
    return len(times), bool(len(steps) and steps.max() - steps.min() > max(1, 0.02 * float(np.median(steps))))


def read_still(path: Path) -> Picture:
    """A photograph as shown. Raises UnreadableError."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(path) as opened:
            shown = ImageOps.exif_transpose(opened).convert("RGB")
    except (UnidentifiedImageError, OSError, ValueError, Image.DecompressionBombError) as error:
        raise UnreadableError(f"'{path.name}' cannot be read as a picture ({error}).") from None
    return np.ascontiguousarray(np.asarray(shown)[..., ::-1]).astype(np.float32)


def pictures(footage: Footage, first: int = 0, end: int | None = None) -> Iterator[tuple[int, NDArray[np.uint8]]]:
    """The frames [first, end) of a clip as shown, blue, green, red, each with its number."""
    import av

    end = footage.frames if end is None else min(end, footage.frames)
    if footage.is_still:
        if first <= 0 < end:
            yield 0, read_still(footage.path).astype(np.uint8)
        return
    with av.open(str(footage.path)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        for number, frame in enumerate(container.decode(stream)):
            if number >= end:
                break
            if number >= first:
                yield number, shown(frame, footage)


def shown(frame: Any, footage: Footage) -> NDArray[np.uint8]:
    """A decoded frame as it is to be shown: turned, and with square pixels."""
    wide = round(frame.width * footage.pixel_ratio)
    picture = (frame if wide == frame.width else frame.reformat(width=wide)).to_ndarray(format="bgr24")
    # a positive turn is counter-clockwise
    return np.ascontiguousarray(np.rot90(picture, footage.turn_deg // 90))


def picture_at(footage: Footage, frame: int) -> Picture:
    """The picture to measure: the median of the frames around one, or the still."""
    if footage.is_still:
        return read_still(footage.path)
    first = max(frame - MOST_FRAMES // 2, 0)
    stack = [p for _, p in pictures(footage, first, first + MOST_FRAMES)]
    if not stack:
        raise UnreadableError(f"'{footage.path.name}' has only {footage.frames} frames.")
    return np.median(np.stack(stack), axis=0).astype(np.float32)


@dataclass(frozen=True, slots=True)
class Stillness:
    """How a clip keeps still: by frame, how far the picture moved (px), and for each ball whether it is in its
    place.

    `first` is the first frame looked at. `in_place` and `changing`: (frames, balls); a ball is changing where it
    differs from two frames before.
    """

    first: int
    moved_px: Array
    in_place: NDArray[np.bool_]
    changing: NDArray[np.bool_]

    def knocked(self) -> tuple[int, float] | None:
        """The first frame on which the picture has moved for good, and how far it moves in the end."""
        off = self.moved_px > 1.0
        for k in range(len(off)):
            if off[k : k + 5].all():
                return self.first + k, float(np.nanmedian(self.moved_px[k:]))
        return None

    def leaves(self) -> int | None:
        """The first frame on which a ball has left its place."""
        gone = ~self.in_place
        for k in range(len(gone)):
            if gone[k : k + 3].all(0).any():
                return self.first + k
        return None


def stillness(
    footage: Footage,
    reference: Picture,
    marks_px: Array,
    discs_px: Sequence[tuple[float, float, float]],
    first: int,
) -> Stillness:
    """How a clip keeps still from a frame on: the picture by marks (M, 2) and what else stands out beside the
    discs (x, y, radius), the balls by these.
    """
    import cv2

    grey = cv2.cvtColor(np.clip(reference, 0, 255).astype(np.uint8), cv2.COLOR_BGR2GRAY)
    marks = _marks(grey, marks_px, discs_px)
    discs = [_disc(reference, disc) for disc in discs_px]
    moved, in_place, changing = [], [], []
    earlier: list[list[NDArray[np.float32]]] = []
    for _, picture in pictures(footage, first):
        shift = np.zeros(2)
        if len(marks):
            now = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
            there, seen, _ = cv2.calcOpticalFlowPyrLK(grey, now, marks, None, winSize=(21, 21), maxLevel=3)
            went = (there - marks)[seen.ravel() == 1].reshape(-1, 2)
            shift = np.median(went, axis=0) if len(went) > 2 else shift
        moved.append(float(np.hypot(*shift)))
        parts = [picture[rows, columns].astype(np.float32)[mask] for _, rows, columns, mask in discs]
        in_place.append(
            [
                bool(np.abs(part - own).mean() < 14.0 or moved[-1] > 1.0)
                for part, (own, *_) in zip(parts, discs, strict=True)
            ]
        )
        before = earlier[-2] if len(earlier) >= 2 else parts
        changing.append([bool(np.abs(a - b).mean() > 5.0) for a, b in zip(parts, before, strict=True)])
        earlier = [*earlier[-1:], parts]
    n = len(discs)
    return Stillness(
        first, np.array(moved), np.array(in_place, bool).reshape(-1, n), np.array(changing, bool).reshape(-1, n)
    )


def _marks(
    grey: NDArray[np.uint8], marks_px: Array, discs_px: Sequence[tuple[float, float, float]]
) -> NDArray[np.float32]:
    """Places (N, 1, 2) by which a picture's movement is told: marks, and what else stands out beside balls."""
    import cv2

    mask = np.full(grey.shape, 255, np.uint8)
    for x, y, radius in discs_px:
        cv2.circle(mask, (round(x), round(y)), round(3 * radius), 0, -1)
    corners = cv2.goodFeaturesToTrack(grey, 40, 0.05, max(grey.shape) / 40, mask=mask)
    found = [marks_px.reshape(-1, 1, 2), *([] if corners is None else [corners])]
    return np.concatenate(found).astype(np.float32)


def _disc(
    reference: Picture, disc: tuple[float, float, float]
) -> tuple[NDArray[np.float32], slice, slice, NDArray[np.bool_]]:
    x, y, radius = disc
    high, wide = reference.shape[:2]
    radius = max(radius, 3.0)
    rows = slice(max(int(y - radius), 0), min(int(y + radius) + 1, high))
    columns = slice(max(int(x - radius), 0), min(int(x + radius) + 1, wide))
    ys, xs = np.mgrid[rows, columns] + 0.5
    mask = np.hypot(xs - x, ys - y) < radius
    return reference[rows, columns][mask], rows, columns, mask
