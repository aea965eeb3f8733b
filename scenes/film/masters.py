"""Writing a clip for an editor's hands: every picture whole, in 10 bits or with straight alpha, by the form.

`MasterFilm` answers to what `Film` does. It keeps one picture up to date from the patches and encodes it when the
next one comes; where every picture stands alone, a held one is encoded once and its packet written again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import av
import numpy as np
from av.video.reformatter import ColorRange, Colorspace
from numpy.typing import NDArray

from scenes.board import StepSpan
from scenes.board.brief import Output
from scenes.film.film import BT709, Patch, open_stream, packet_at
from scenes.film.forms import Form


def straight(premultiplied: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """RGBA with the colours as they are, from RGBA with the colours times alpha (as Cairo paints), (..., 4).

    Where alpha is 0 the colour is lost; black stands in.

    >>> straight(np.array([[64, 0, 32, 128], [9, 9, 9, 0]], np.uint8)).tolist()
    [[128, 0, 64, 128], [0, 0, 0, 0]]
    """
    alpha = premultiplied[..., 3:].astype(np.uint32)
    colour = (premultiplied[..., :3].astype(np.uint32) * 255 + alpha // 2) // np.maximum(alpha, 1)
    clipped = np.where(alpha > 0, np.minimum(colour, 255), 0).astype(np.uint8)
    return np.concatenate([clipped, premultiplied[..., 3:]], axis=-1)


REACH_PX = 8
"""So far colours are carried on beyond the edge of what is drawn."""
CARRIED_FROM = 16
"""Only colours of at least this alpha, of 255: fainter ones are rounded too much to tell the colour."""


def bled(rgba: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """RGBA with colours carried on under alpha 0, so that a program that scales or filters straight colours finds
    no black there. Alpha, and the colour of every pixel that can be seen, stay.

    >>> row = np.zeros((1, 4, 4), np.uint8); row[0, 1] = 200, 0, 0, 255
    >>> bled(row)[0].tolist()
    [[200, 0, 0, 0], [200, 0, 0, 255], [200, 0, 0, 0], [200, 0, 0, 0]]
    """
    height, width = rgba.shape[:2]
    known = np.ones((height + 2, width + 2), bool)
    inner = np.greater_equal(rgba[..., 3], CARRIED_FROM, out=known[1:-1, 1:-1])
    closed = known[:-2, 1:-1] & known[2:, 1:-1] & known[1:-1, :-2] & known[1:-1, 2:]
    at = np.flatnonzero(inner & ~closed)
    if not len(at):
        return rgba
    edge = at + 2 * (at // width) + width + 3  # its place with the frame around
    is_known, result = known.reshape(-1), rgba.reshape(-1, 4).copy()
    faint: list[NDArray[np.int64]] = []
    # from the edge outwards, a pixel at a time: what was reached last is where the next ones take their colour
    for _ in range(REACH_PX):
        reached = []
        for step in (1, -1, width + 2, -width - 2):
            is_open = ~is_known[edge + step]
            to, of = edge[is_open] + step, edge[is_open]
            inside, source = (n - width - 3 - 2 * (n // (width + 2) - 1) for n in (to, of))
            result[inside, :3] = result[source, :3]
            is_known[to] = True
            faint.append(inside[result[inside, 3] > 0])
            reached.append(to)
        edge = np.concatenate(reached)
    seen = np.concatenate(faint)
    result[seen] = rgba.reshape(-1, 4)[seen]
    return result.reshape(rgba.shape)


class MasterFilm:
    """One clip being written. `frames` counts what was asked for; `close` finishes, `abandon` leaves nothing."""

    def __init__(
        self,
        path: Path,
        output: Output,
        form: Form,
        on_frames: Callable[[int], None] | None = None,
        steps: tuple[StepSpan, ...] = (),
    ) -> None:
        self.path, self.frames = path, 0
        self._form, self._on_frames = form, on_frames
        self._canvas = np.zeros((output.height_px, output.width_px, 4), np.uint8)
        self._run = self._written = 0
        self._container, self._stream, self._tick = open_stream(path, output, form, steps)

    def show(self, patches: Iterable[Patch]) -> None:
        """One more frame, differing from the last in these patches; the first one's cover everything."""
        patches = tuple(patches)
        if patches:
            self._flush()
            for (left, top, right, bottom), rgba in patches:
                self._canvas[top:bottom, left:right] = straight(rgba) if self._form.alpha else rgba
        self.hold(1)

    def hold(self, frames: int) -> None:
        """The same picture for so many more frames."""
        self.frames += frames
        self._run += frames

    def close(self) -> None:
        """Finish the file."""
        self._flush()
        self._container.mux(self._stream.encode(None))
        self._container.close()

    def abandon(self) -> None:
        """Stop and leave nothing behind."""
        self._container.close()
        self.path.unlink(missing_ok=True)

    def _flush(self) -> None:
        if not self._run:
            return
        if self._form.every_picture_alone:
            (packet,) = self._stream.encode(self._picture())
            self._again(bytes(packet))
        else:
            for _ in range(self._run):
                self._container.mux(self._stream.encode(self._picture()))
                self._written += 1
        self._run = 0
        if self._on_frames is not None:
            self._on_frames(self._written)

    def _again(self, content: bytes) -> None:
        for _ in range(self._run):
            self._container.mux(packet_at(self._written, content, self._stream, self._tick, is_keyframe=True))
            self._written += 1

    def _picture(self) -> av.VideoFrame:
        frame = av.VideoFrame.from_ndarray(bled(self._canvas) if self._form.alpha else self._canvas, format="rgba")
        if self._form.pixel_format != "rgba":
            frame = frame.reformat(
                format=self._form.pixel_format,
                src_colorspace=Colorspace.ITU709,
                dst_colorspace=Colorspace.ITU709,
                src_color_range=ColorRange.JPEG,
                dst_color_range=ColorRange.MPEG,
            )
            frame.colorspace, frame.color_range = Colorspace.ITU709, ColorRange.MPEG
        frame.color_primaries, frame.color_trc = BT709, BT709
        frame.pts, frame.time_base = self._written, self._tick
        return frame
