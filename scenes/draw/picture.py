"""Paths painted with Cairo, and single pictures of a board: importing Manim would take longer than painting one.

A test holds these pictures to those that Manim's camera paints of the same board.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path as FilePath
from typing import TypeAlias

import cairo
import numpy as np

from aimgeo.vectors import Array
from scenes.board import Board, Clip
from scenes.draw.display import Background, Display, cloth
from scenes.draw.paths import RGBA, Gradient, Path
from scenes.files import part_path, place

Context: TypeAlias = "cairo.Context[cairo.ImageSurface]"
_CAPS = {"round": cairo.LINE_CAP_ROUND, "butt": cairo.LINE_CAP_BUTT}
SAME_PX = 1e-3
"""Curves whose ends are nearer than this join."""


def picture(board: Board, frame: int, background: Background | None = None) -> np.ndarray:
    """The picture (height, width, 3) of one frame, red green blue, uint8."""
    display = Display(board, background)
    pixels = cloth(board.width_px, board.height_px, board.look).copy()
    ctx = cairo.Context(surface(pixels))
    for slot in display.slots:
        with clipped(ctx, slot.clip_px):
            for path in display.paths(slot, frame):
                trace(ctx, path.curves)
                paint(ctx, path)
    return np.ascontiguousarray(pixels[..., :3])


def write_png(pixels: np.ndarray, path: FilePath) -> None:
    """Write a picture, whole or not at all."""
    from PIL import Image

    part = part_path(path)
    try:
        Image.fromarray(pixels).save(part, format="PNG", compress_level=1)
        place(part, path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


@contextmanager
def clipped(ctx: Context, clip_px: Clip | None) -> Iterator[None]:
    """What is painted meanwhile is cut off at a rectangle; None for no cutting off."""
    if clip_px is None:
        yield
        return
    ctx.save()
    cut_off(ctx, clip_px)
    yield
    ctx.restore()


def cut_off(ctx: Context, clip_px: Clip) -> None:
    """What is painted from now on is cut off at a rectangle, or at the circle in it."""
    x, y, width, height, radius = clip_px
    # the last path would be part of the clip
    ctx.new_path()
    if radius:
        ctx.arc(x + width / 2, y + height / 2, radius, 0.0, 2 * np.pi)
    else:
        ctx.rectangle(x, y, width, height)
    ctx.clip()


def paint(ctx: Context, path: Path) -> None:
    """Fill and stroke a path that is traced. Colours go in backwards: Cairo's bytes are then red, green, blue."""
    if path.fill is not None:
        if path.picture is not None:
            ctx.set_source_surface(surface(path.picture.rgba, path.picture.is_opaque), *path.picture.at_px)
        elif path.gradient is not None:
            ctx.set_source(radial(path.gradient))
        else:
            ctx.set_source_rgba(*_reversed(path.fill))
        ctx.fill_preserve()
    if path.stroke is not None and path.width_px > 0:
        ctx.set_source_rgba(*_reversed(path.stroke))
        ctx.set_line_width(path.width_px)
        ctx.set_line_cap(_CAPS[path.cap])
        ctx.set_line_join(cairo.LINE_JOIN_ROUND)
        ctx.stroke_preserve()


def trace(ctx: Context, curves: Array) -> None:
    """Lay cubic curves (n, 4, 2) as the path: joined where they meet, closed where a piece ends as it began."""
    ctx.new_path()
    if not len(curves):
        return
    joins = np.abs(curves[1:, 0] - curves[:-1, 3]).max(axis=1, initial=0) < SAME_PX
    starts = [0, *(np.flatnonzero(~joins) + 1).tolist(), len(curves)]
    flat = curves.reshape(-1, 8).tolist()
    for first, end in pairwise(starts):
        ctx.new_sub_path()
        ctx.move_to(*flat[first][:2])
        for curve in flat[first:end]:
            ctx.curve_to(*curve[2:])
        if np.abs(curves[first, 0] - curves[end - 1, 3]).max() < SAME_PX:
            ctx.close_path()


def radial(gradient: Gradient) -> cairo.RadialGradient:
    """A gradient in pixels as Cairo's pattern."""
    (fx, fy), (cx, cy), radius = gradient.focus_px, gradient.centre_px, gradient.radius_px
    pattern = cairo.RadialGradient(fx, fy, 0.0, cx, cy, radius)
    for offset, colour in gradient.stops:
        pattern.add_color_stop_rgba(offset, *_reversed(colour))
    return pattern


def surface(rgba: np.ndarray, is_opaque: bool = False) -> cairo.ImageSurface:
    """Pixels (height, width, 4) as a surface that shares them; Cairo does not look at the alpha of opaque ones."""
    height, width = rgba.shape[:2]
    form = cairo.FORMAT_RGB24 if is_opaque else cairo.FORMAT_ARGB32
    return cairo.ImageSurface.create_for_data(rgba.data, form, width, height, 4 * width)


def _reversed(colour: RGBA) -> RGBA:
    red, green, blue, alpha = colour
    return blue, green, red, alpha
