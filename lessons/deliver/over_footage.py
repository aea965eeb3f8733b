"""Clips over footage as they will look: each with its footage underneath, as MP4 that any player shows; and
photographs held for as long as their clips, for the timelines' track below.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lessons.deliver import Delivered, Wishes
from lessons.deliver.footage import Footage
from lessons.deliver.writing import whole_file
from lessons.rendering.decoded import decoded
from lessons.rendering.manifest import Clip

FOLDER = "over-footage"
OPTIONS = {"preset": "veryfast", "crf": "18", "bf": "0", "threads": "1"}
"""One thread: the same pictures give the same bytes on any machine."""


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """over-footage/<clip>.mp4, and over-footage/<clip>_still.mp4 for a photograph; a sentence for each clip whose
    footage can't be read any more.
    """
    from lessons.footage.frames import UnreadableError

    files, warnings = [], []
    for clip in footage.clips:
        if clip.filmed is None:
            continue
        path = footage.folder / preview_of(clip)
        try:
            with whole_file(path) as part:
                _write(part, clip, over(footage, clip))
            files.append(path)
            if clip.filmed.set_up.is_still:
                files.append(_write_held(footage, clip))
        except UnreadableError as error:
            warnings.append(f"{clip.where}: no preview of {clip.name}: {error}")
    return Delivered(tuple(files), tuple(warnings))


def preview_of(clip: Clip) -> str:
    """The preview's way from the folder."""
    return f"{FOLDER}/{clip.name}.mp4"


def held_of(clip: Clip) -> str:
    """The way from the folder of the photograph under a clip, held for as long as that."""
    return f"{FOLDER}/{clip.name}_still.mp4"


def _write_held(footage: Footage, clip: Clip) -> Path:
    from lessons.footage.frames import open_footage, pictures
    from scenes.board.brief import Output
    from scenes.film.film import Film
    from scenes.film.forms import FORMS

    assert clip.filmed is not None
    ((_, ground),) = pictures(open_footage(footage.folder / clip.filmed.file))
    shown = _even(_sized(ground, clip.height_px, clip.width_px)[..., ::-1])
    path, size = footage.folder / held_of(clip), (shown.shape[1], shown.shape[0])
    with whole_file(path) as part:
        rate = (clip.rate.numerator, clip.rate.denominator)
        film = Film(part, Output(*size, rate, clip.timecode or "00:00:00:00"), FORMS["h264"])
        try:
            film.show([((0, 0, *size), np.dstack([shown, np.full(shown.shape[:2], 255, np.uint8)]))])
            film.hold(clip.frames - 1)
            film.close()
        except BaseException:
            film.abandon()
            raise
    return path


def over(footage: Footage, clip: Clip) -> Iterator[NDArray[np.uint8]]:
    """Every frame (height, width, 3) of a clip, RGB, with its footage underneath. Raises UnreadableError."""
    import av

    from lessons.footage.frames import UnreadableError, open_footage, pictures

    assert clip.filmed is not None
    below = open_footage(footage.folder / clip.filmed.file)
    grounds = (picture for _, picture in pictures(below))
    ground: NDArray[np.uint8] | None = None
    with av.open(str(footage.path(clip))) as container:
        for frame in decoded(container, container.streams.video[0]):
            ground = next(grounds, ground)
            if ground is None:
                raise UnreadableError(f"'{below.path.name}' has no pictures.")
            yield _laid(frame, ground)


def _laid(frame: Any, ground: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A frame with straight alpha over a picture (blue, green, red) of any size of its shape."""
    drawn = frame.reformat(format="rgba", src_colorspace="itu709").to_ndarray()
    ground = _sized(ground, *drawn.shape[:2])
    alpha = drawn[..., 3:].astype(np.uint16)
    below = ground[..., ::-1].astype(np.uint16)
    return ((drawn[..., :3] * alpha + below * (255 - alpha) + 127) // 255).astype(np.uint8)


def _sized(ground: NDArray[np.uint8], high: int, wide: int) -> NDArray[np.uint8]:
    if ground.shape[:2] == (high, wide):
        return ground
    import cv2  # a draft is smaller

    return np.asarray(cv2.resize(ground, (wide, high), interpolation=cv2.INTER_AREA))


def _even(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A picture (height, width, 3) with even sides, as 4:2:0 asks: where odd, the last row or column twice."""
    high, wide = picture.shape[:2]
    return np.pad(picture, ((0, high % 2), (0, wide % 2), (0, 0)), "edge")


def _write(part: Path, clip: Clip, frames: Iterator[NDArray[np.uint8]]) -> None:
    import av
    from av.video.reformatter import ColorRange, Colorspace

    options = {"movflags": "+faststart"}
    with av.open(str(part), "w", format="mp4", container_options=options) as container:
        stream = container.add_stream("libx264", rate=clip.rate, options=OPTIONS)
        stream.width, stream.height = (side + side % 2 for side in (clip.width_px, clip.height_px))
        stream.pix_fmt = "yuv420p"
        context = stream.codec_context
        context.color_range, context.colorspace = ColorRange.MPEG, Colorspace.ITU709
        context.color_primaries, context.color_trc = 1, 1
        for k, picture in enumerate(frames):
            frame = av.VideoFrame.from_ndarray(_even(picture), format="rgb24").reformat(
                format="yuv420p", dst_colorspace="itu709", src_color_range="JPEG", dst_color_range="MPEG"
            )
            frame.pts, frame.time_base = k, 1 / clip.rate
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
