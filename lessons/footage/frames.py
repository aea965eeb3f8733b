"""Footage: a still or a clip, its frames as shown, its rate and timecode, and whether camera and balls keep
still.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from aimgeo.vectors import Array
from lessons.footage.picture import Picture
from lessons.lesson.faults import did_you_mean, slip_of
from lessons.lesson.values import RATES

STILLS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".bmp", ".heic", ".heif", ".avif")
SAVE_AS = "save it as JPEG or PNG, a clip as MP4 or MOV, and name that."
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
    if path.is_dir():
        raise UnreadableError(f"'{path.name or path}' is a folder; name the clip or the still in it.")
    if not path.is_file():
        beside = tuple(p.name for p in path.parent.glob("*") if p.is_file())
        near = did_you_mean(path.name, beside) if slip_of(path.name, beside) else "; check the name."
        raise UnreadableError(f"there is no footage '{path.name}' beside this file{near}")
    if path.suffix.lower() in STILLS:
        high, wide = read_still(path).shape[:2]
        return Footage(path, (wide, high))
    import av

    try:
        with av.open(str(path)) as container:
            if not container.streams.video:
                raise UnreadableError(f"'{path.name}' has no picture in it.")
            stream = container.streams.video[0]
            told = (stream.average_rate, stream.base_rate, stream.guessed_rate)
            first = next(container.decode(stream))
            turn = int(first.rotation or 0) % 360
            ratio = Fraction(stream.sample_aspect_ratio or 1)
            wide, high = _shown_size(first.width, first.height, turn, ratio)
            timecode = next(
                (s.metadata["timecode"] for s in (stream, *container.streams) if "timecode" in s.metadata),
                container.metadata.get("timecode"),
            )
        frames, step_s, varies = _counted(path)
    except (av.FFmpegError, StopIteration) as error:
        reason = (getattr(error, "strerror", None) or "it has no frame").lower()
        raise UnreadableError(
            f"'{path.name}' cannot be read as a clip or a picture ({reason}); {SAVE_AS}"
        ) from None
    rates = [Fraction(rate) for rate in told if rate]
    if not rates and step_s is None:
        raise UnreadableError(f"'{path.name}' tells no frame rate.")
    rate = _rate(rates, step_s, varies)
    return Footage(path, (wide, high), rate, frames, timecode, turn, ratio, varies)


def _rate(told: list[Fraction], step_s: Fraction | None, varies: bool) -> tuple[int, int]:
    """The rate of a clip: the usual one that its head or most of its frames tell, else what is told.

    Heads round: 2997/100 and 19001/317 are 30000/1001 and 60000/1001. Where the times vary the mean says little,
    and the head's guess is often a multiple: most frames' distance counts.
    """
    usual = [Fraction(*rate) for rate in RATES.values()]
    counted = [] if step_s is None else [1 / step_s]
    for rate in counted if varies else told:
        near = min(usual, key=lambda one: abs(one / rate - 1))
        if abs(near / rate - 1) < (0.02 if varies else 1e-4):
            return near.numerator, near.denominator
    rate = (counted if varies and counted else told or counted)[0].limit_denominator(1001)
    return rate.numerator, rate.denominator


def _shown_size(wide: int, high: int, turn: int, ratio: Fraction) -> tuple[int, int]:
    wide = round(wide * ratio)
    return (high, wide) if turn in (90, 270) else (wide, high)


def _counted(path: Path) -> tuple[int, Fraction | None, bool]:
    """How many pictures of a clip are shown, the seconds between most of them, and whether these times differ."""
    import av

    times: list[int] = []
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        for packet in container.demux(stream):
            # what an edit list cuts off is there, and is not shown
            if packet.size and packet.pts is not None and not packet.is_discard:
                times.append(packet.pts)
        tick = stream.time_base or Fraction(1)
    steps = np.diff(np.sort(np.array(times, np.int64)))
    if not len(steps):
        return len(times), None, False
    most = int(np.median(steps))
    # a tick of rounding is no change of rate
    return len(times), most * tick if most > 0 else None, bool(np.ptp(steps) > max(1, 0.02 * most))


def read_still(path: Path) -> Picture:
    """A photograph as shown. Raises UnreadableError."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(path) as opened:
            shown = _eight_bits(ImageOps.exif_transpose(opened)).convert("RGB")
    except UnidentifiedImageError:
        raise UnreadableError(f"'{path.name}' is in no form that is read here; {SAVE_AS}") from None
    except (OSError, ValueError, Image.DecompressionBombError) as error:
        raise UnreadableError(f"'{path.name}' cannot be read as a picture ({error}); {SAVE_AS}") from None
    return np.ascontiguousarray(np.asarray(shown)[..., ::-1]).astype(np.float32)


def _eight_bits(picture: Any) -> Any:
    """A picture of one channel of 16 bits in 8, which converting would cut off; any other as it is."""
    from PIL import Image

    if not picture.mode.startswith("I"):
        return picture
    values = np.asarray(picture, np.float64)
    return Image.fromarray(np.clip(np.round(values / 257), 0, 255).astype(np.uint8))


def pictures(
    footage: Footage, first: int = 0, end: int | None = None, is_measured: bool = False
) -> Iterator[tuple[int, NDArray[np.uint8]]]:
    """The frames [first, end) of a clip as shown, blue, green, red, each with its number; for measuring with
    colours between their samples.
    """
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
                yield number, shown(frame, footage, is_measured)


def shown(frame: Any, footage: Footage, is_measured: bool = False) -> NDArray[np.uint8]:
    """A decoded frame as it is to be shown: turned, and with square pixels."""
    wide = round(frame.width * footage.pixel_ratio)
    if is_measured and re.match(r"(yuv|nv)", frame.format.name):
        # else a colour stands for four pixels, and balls that only their colour tells from the cloth lie wrong
        full = "yuvj444p" if frame.format.name.startswith("yuvj") else "yuv444p"
        frame = frame.reformat(width=wide, format=full, interpolation="BICUBIC")
    picture = (frame if wide == frame.width else frame.reformat(width=wide)).to_ndarray(format="bgr24")
    # a positive turn is counter-clockwise
    return np.ascontiguousarray(np.rot90(picture, footage.turn_deg // 90))


def picture_at(footage: Footage, frame: int) -> Picture:
    """The picture to measure: the median of the frames around one, or the still."""
    if footage.is_still:
        return read_still(footage.path)
    first = max(frame - MOST_FRAMES // 2, 0)
    stack = [p for _, p in pictures(footage, first, first + MOST_FRAMES, is_measured=True)]
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

    def holds_from(self, frame: int) -> tuple[int, int]:
        """The first frames from which on, up to one, the camera stands as it does there, and the balls lie so."""
        moved = self.moved_px[frame - self.first :: -1] > 1.0
        gone = np.asarray(~self.in_place[frame - self.first :: -1].all(1))
        return frame + 1 - _lasting(moved, 5), frame + 1 - _lasting(gone, 3)

    def knocked(self) -> tuple[int, float] | None:
        """The first frame on which the picture has moved for good, and how far it moves in the end."""
        k = _lasting(self.moved_px > 1.0, 5)
        return None if k == len(self.moved_px) else (self.first + k, float(np.nanmedian(self.moved_px[k:])))

    def leaves(self) -> int | None:
        """The first frame on which a ball has left its place for good: what passes before it ends nothing."""
        found = []
        for there, changes in zip(self.in_place.T, self.changing.T, strict=True):
            back = np.flatnonzero(_runs(there, 5))
            k = int(back[-1]) + 5 if len(back) else 0
            if len(there) - k < 3:
                continue
            # a ball that starts is seen to change before it looks like another
            start = next((j for j in range(k, max(k - 4, 0), -1) if not changes[j - 1]), max(k - 3, 0))
            found.append(self.first + start)
        return min(found, default=None)


def _runs(flags: NDArray[np.bool_], count: int) -> NDArray[np.bool_]:
    """Where so many in a row are True, at the first of them."""
    if len(flags) < count:
        return np.zeros(0, bool)
    return np.asarray(np.lib.stride_tricks.sliding_window_view(flags, count).all(-1))


def _lasting(flags: NDArray[np.bool_], count: int) -> int:
    """Where so many in a row, or all up to the end, are True; as many as there are where none are."""
    return next((k for k in range(len(flags)) if flags[k : k + count].all()), len(flags))


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
