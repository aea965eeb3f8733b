"""Manim mobjects and a camera for what a board is made of: paths in pixels, cut to a pane, filled in three ways.

Manim's Cairo camera knows flat colours and linear gradients. `BoardCamera` adds radial gradients (a ball's
shading), pictures (a pane's rendered background) and clipping to a rectangle, and leaves everything else to Manim.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from manim import Camera, CapStyleType, LineJointType, VMobject

from aimgeo.vectors import Array
from scenes.board import Clip
from scenes.draw.paths import Gradient, Path, Picture
from scenes.draw.picture import Context, cut_off, radial, surface

PX_PER_UNIT = 100.0
"""Pixels in a Manim unit. Manim's stroke widths are hundredths of a unit, hence pixels too."""

_CAPS = {"round": CapStyleType.ROUND, "butt": CapStyleType.BUTT}


def points_from_px(px: Array, width_px: int, height_px: int) -> Array:
    """Manim's points (n, 3) of pixel positions (n, 2); (0, 0) px is the frame's top-left corner."""
    out = np.zeros((len(px), 3))
    out[:, 0] = (px[:, 0] - width_px / 2) / PX_PER_UNIT
    out[:, 1] = (height_px / 2 - px[:, 1]) / PX_PER_UNIT
    return out


class Ink(VMobject):
    """One path of a drawing."""

    def __init__(self) -> None:
        super().__init__(stroke_width=0, fill_opacity=0, joint_type=LineJointType.ROUND)
        self.gradient: Gradient | None = None
        self.picture: Picture | None = None
        self.clip_px: Clip | None = None

    @property
    def is_filled(self) -> bool:
        """False where the inside shows what is below."""
        return self.picture is not None or bool(self.fill_rgbas[0][3])

    def take(self, path: Path, clip_px: Clip | None, size: tuple[int, int]) -> None:
        """Become a path of a frame of `size` pixels."""
        self.points = points_from_px(path.curves.reshape(-1, 2), *size)
        self.fill_rgbas = np.array([path.fill or (0.0, 0.0, 0.0, 0.0)])
        self.stroke_rgbas = np.array([path.stroke or (0.0, 0.0, 0.0, 0.0)])
        self.stroke_width = path.width_px if path.stroke else 0.0
        self.cap_style = _CAPS[path.cap]
        self.gradient, self.picture, self.clip_px = path.gradient, path.picture, clip_px

    def clear_points(self) -> None:
        """Show nothing."""
        self.points = np.zeros((0, 3))


class BoardCamera(Camera):
    """Manim's Cairo camera with radial gradients, pictures and clips for `Ink`."""

    def display_vectorized(self, vmobject: VMobject, ctx: Context) -> BoardCamera:
        """Paint one mobject."""
        if not isinstance(vmobject, Ink) or (vmobject.clip_px is None and vmobject.picture is None):
            super().display_vectorized(vmobject, ctx)
            return self
        ctx.save()
        matrix = ctx.get_matrix()
        if vmobject.clip_px is not None:
            ctx.identity_matrix()
            cut_off(ctx, vmobject.clip_px)
            ctx.set_matrix(matrix)
        super().display_vectorized(vmobject, ctx)
        ctx.restore()
        return self

    def apply_fill(self, ctx: Context, vmobject: VMobject) -> BoardCamera:
        """Fill, unless there is nothing to fill with: Cairo would go over all the pixels for it."""
        if not isinstance(vmobject, Ink) or vmobject.is_filled:
            super().apply_fill(ctx, vmobject)
        return self

    def set_cairo_context_color(self, ctx: Context, rgbas: Any, vmobject: VMobject) -> BoardCamera:
        """The source to paint with. Colours go in as blue, green, red: Cairo's bytes are Manim's reversed."""
        gradient, picture = getattr(vmobject, "gradient", None), getattr(vmobject, "picture", None)
        if gradient is None and picture is None:
            super().set_cairo_context_color(ctx, rgbas, vmobject)
            return self
        matrix = ctx.get_matrix()
        ctx.identity_matrix()
        if picture is not None:
            ctx.set_source_surface(surface(picture.rgba, picture.is_opaque), *picture.at_px)
        elif gradient is not None:
            ctx.set_source(radial(gradient))
        ctx.set_matrix(matrix)
        return self
