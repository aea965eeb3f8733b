"""Pictures and films of the author's own, at the size in which they are shown: PNG, JPEG and SVG, any common
video.

Pixels are red, green, blue, alpha, premultiplied, as everything that is painted here.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path as FilePath
from typing import Any

import numpy as np

from scenes.board import Photo
from scenes.draw.paths import Path, Picture, rgba, rounded_rect
from scenes.draw.view import View

KEPT_FILMS = 2


def draw_photo(photo: Photo, view: View) -> list[Path]:
    """The picture in its rectangle; of a film the frame that belongs to the part of it that is shown."""
    x, y, w, h = photo.rect_px
    size = max(round(w), 1), max(round(h), 1)
    if photo.film_s is None:
        pixels = still(photo.file, photo.sha256, *size)
        key: tuple[object, ...] = (photo.sha256, *size)
    else:
        first, last = photo.film_s
        at = first + view.drawn * (last - first)
        pixels, key = film(photo.file, photo.sha256, *size).at(at), (photo.sha256, *size, round(at, 4))
    picture = Picture(pixels, (round(x), round(y)), key)
    return [Path(rounded_rect(round(x), round(y), *size), fill=rgba("#000000"), picture=picture)]


@lru_cache(maxsize=16)
def still(file: str, sha256: str, width_px: int, height_px: int) -> np.ndarray:
    """A picture at a size, (height, width, 4)."""
    if file.lower().endswith(".svg"):
        return _svg(file, width_px, height_px)
    from PIL import Image, ImageOps

    with Image.open(file) as opened:
        turned = ImageOps.exif_transpose(opened) or opened
        shrunk = turned.convert("RGBA").resize((width_px, height_px), Image.Resampling.LANCZOS)
    return premultiplied(np.asarray(shrunk))


def premultiplied(pixels: np.ndarray) -> np.ndarray:
    """Straight alpha (..., 4) as premultiplied, rounded."""
    out = np.array(pixels, np.uint8)
    alpha = out[..., 3:].astype(np.uint16)
    out[..., :3] = (out[..., :3] * alpha + 127) // 255
    return np.ascontiguousarray(out)


def _svg(file: str, width_px: int, height_px: int) -> np.ndarray:
    """The filled and stroked shapes of an SVG file, its view stretched to the size."""
    import cairo
    from svgelements import SVG, Shape
    from svgelements import Path as SvgPath

    tree = SVG.parse(file, width=width_px, height=height_px)
    box = tree.viewbox
    across, down = (float(box.width), float(box.height)) if box is not None else svg_size_px(file)
    pixels = np.zeros((height_px, width_px, 4), np.uint8)
    area = cairo.ImageSurface.create_for_data(pixels.data, cairo.FORMAT_ARGB32, width_px, height_px, 4 * width_px)
    ctx = cairo.Context(area)
    if box is None:
        ctx.scale(width_px / across, height_px / down)
    for shape in tree.elements():
        if not isinstance(shape, Shape):
            continue
        _trace(ctx, SvgPath(shape).segments(transformed=True))
        for part, paint in ((shape.fill, ctx.fill_preserve), (shape.stroke, ctx.stroke_preserve)):
            if part is not None and part.value is not None:
                # Cairo's bytes are blue, green, red: handed over backwards they are red, green, blue
                ctx.set_source_rgba(part.blue / 255, part.green / 255, part.red / 255, part.opacity)
                ctx.set_line_width(float(shape.stroke_width or 1.0))
                paint()
        ctx.new_path()
    area.flush()
    return pixels


def _trace(ctx: Any, segments: Any) -> None:
    from svgelements import Arc, Close, CubicBezier, Line, Move, QuadraticBezier

    for part in segments:
        match part:
            case Move():
                ctx.move_to(part.end.x, part.end.y)
            case Close():
                ctx.close_path()
            case Line():
                ctx.line_to(part.end.x, part.end.y)
            case CubicBezier():
                curve = (part.control1, part.control2, part.end)
                ctx.curve_to(*(v for p in curve for v in (p.x, p.y)))
            case QuadraticBezier():
                first = part.start + (part.control - part.start) * (2 / 3)
                second = part.end + (part.control - part.end) * (2 / 3)
                ctx.curve_to(first.x, first.y, second.x, second.y, part.end.x, part.end.y)
            case Arc():
                _trace(ctx, part.as_cubic_curves())


def svg_size_px(file: str) -> tuple[float, float]:
    """Width and height that an SVG file gives itself. ValueError where it gives none."""
    from svgelements import SVG

    tree = SVG.parse(file)
    size = (tree.viewbox.width, tree.viewbox.height) if tree.viewbox is not None else (tree.width, tree.height)
    if not all(isinstance(side, int | float) and 0 < side < 1e6 for side in size):
        raise ValueError("gives itself no size; write a viewBox")
    return float(size[0]), float(size[1])


class Film:
    """A film at a size, asked for frame by frame; going forward it is decoded once."""

    def __init__(self, file: str, width_px: int, height_px: int) -> None:
        self.file, self.size = file, (width_px, height_px)
        self._frames: Iterator[Any] = iter(())
        self._now: tuple[float, Any] | None = None
        self._next: tuple[float, Any] | None = None
        self._shown: tuple[float, np.ndarray] | None = None

    def at(self, seconds: float) -> np.ndarray:
        """What is seen so many seconds after its beginning, (height, width, 4)."""
        if self._now is None or seconds < self._now[0]:
            self._begin(seconds)
        while self._next is not None and self._next[0] <= seconds + 1e-6:
            self._now, self._next = self._next, next(self._frames, None)
        assert self._now is not None
        if self._shown is None or self._shown[0] != self._now[0]:
            self._shown = self._now[0], self._pixels(self._now[1])
        return self._shown[1]

    def _begin(self, seconds: float) -> None:
        self._frames = _decoded(self.file, seconds)
        self._now = next(self._frames)
        self._next = next(self._frames, None)

    def _pixels(self, frame: Any) -> np.ndarray:
        turns = round((getattr(frame, "rotation", 0) or 0) / 90) % 4
        width, height = self.size if turns % 2 == 0 else self.size[::-1]
        shown = frame.reformat(width, height, "rgba").to_ndarray()
        return np.ascontiguousarray(np.rot90(shown, turns))


def _decoded(file: str, seconds: float) -> Iterator[tuple[float, Any]]:
    """Frames with their times from the beginning, from the key frame before the seconds on."""
    import av

    with av.open(file) as opened:
        stream = opened.streams.video[0]
        start = float((stream.start_time or 0) * stream.time_base)
        if seconds > 0:
            opened.seek(int((seconds + start) / float(stream.time_base)), stream=stream)
        for frame in opened.decode(stream):
            if frame.time is not None:
                yield frame.time - start, frame


@lru_cache(maxsize=KEPT_FILMS)
def film(file: str, sha256: str, width_px: int, height_px: int) -> Film:
    """A film at a size, open as long as it is in use."""
    return Film(file, width_px, height_px)


def film_told(file: FilePath) -> tuple[float, float, float, bool]:
    """A film's width and height as it is seen (px), its length (s), and whether it has sound. ValueError for
    none."""
    import av

    try:
        with av.open(str(file)) as opened:
            if not opened.streams.video:
                raise ValueError("has no picture")
            stream = opened.streams.video[0]
            first = next(opened.decode(stream), None)
            if first is None:
                raise ValueError("can't be decoded")
            turned = round((getattr(first, "rotation", 0) or 0) / 90) % 2
            ratio = float(stream.sample_aspect_ratio or 1)
            width, height = first.width * ratio, float(first.height)
            length = float(stream.duration * stream.time_base) if stream.duration else (opened.duration or 0) / 1e6
            size = (height, width) if turned else (width, height)
            return (*size, length, bool(opened.streams.audio))
    except (av.FFmpegError, OSError) as error:
        reason = (error.strerror or "").lower()
        raise ValueError(f"can't be read as a film ({reason})") from None
