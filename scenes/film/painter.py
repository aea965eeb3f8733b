"""Painting only what has changed: a Manim camera that compares each picture's paths with the last one's.

The picture on the camera's pixel array stays between frames. Whatever moved, appeared, vanished or changed colour
dirties the rectangle it left and the one it now covers; only these are painted again, with Cairo clipped to them.
What lies lowest and rests is painted once, on a ground that is kept beside the picture, and copied from there.
"""

from __future__ import annotations

import itertools
import math
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any

import cairo
import numpy as np
from manim import Camera, Mobject

from scenes.board import Clip
from scenes.draw.paths import Path
from scenes.draw.picture import Context, clipped, paint, surface, trace
from scenes.film.stage import Drawing

Box = tuple[int, int, int, int]
"""left, top, right, bottom in pixels; right and bottom exclusive."""

GRID_PX = 32
"""Rectangles snap to this grid: even for the chroma planes, and few sizes for the colour converter."""

SETTLED = 3
"""So many pictures in turn a layer stays unchanged before it goes into the ground."""


@dataclass(slots=True, eq=False)
class Laid:
    """A path as it was painted, and the pixels that it covers (None: none).

    `is_cut` says that it reaches beyond its drawing's clip. Kept for the next time: `traced`, what Cairo made of
    its curves, and of a gradient, which is slow to paint, its `pixels`.
    """

    path: Path
    box: Box | None
    is_cut: bool
    traced: cairo.Path | None = None
    pixels: cairo.Surface | None = None

    def paint(self, ctx: Context) -> None:
        """Paint it."""
        if self.pixels is not None and self.box is not None:
            ctx.set_source_surface(self.pixels, *self.box[:2])
            ctx.paint()
            return
        if self.traced is None:
            trace(ctx, self.path.curves)
            self.traced = ctx.copy_path()
        else:
            ctx.new_path()
            ctx.append_path(self.traced)
            if self.path.gradient is not None and self.box is not None:
                self.pixels = self._pixels(self.box, self.traced)
        paint(ctx, self.path)

    def _pixels(self, box: Box, traced: cairo.Path) -> cairo.Surface:
        left, top, right, bottom = box
        pixels = cairo.ImageSurface(cairo.FORMAT_ARGB32, right - left, bottom - top)
        ctx = cairo.Context(pixels)
        ctx.translate(-left, -top)
        ctx.append_path(traced)
        paint(ctx, self.path)
        return pixels


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """A drawing as it was painted: `paths` is its list of then, by which a change is known."""

    paths: list[Path]
    laid: tuple[Laid, ...]
    clip_px: Clip | None
    box: Box | None


def union(boxes: Iterable[Box]) -> Box:
    """The smallest box around all of them."""
    lefts, tops, rights, bottoms = zip(*boxes, strict=True)
    return min(lefts), min(tops), max(rights), max(bottoms)


def area_px(box: Box) -> int:
    """Pixels in a box."""
    return (box[2] - box[0]) * (box[3] - box[1])


def overlap(a: Box, b: Box) -> bool:
    """True when two boxes share a pixel."""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def common(a: Box, b: Box) -> Box | None:
    """The pixels of both, None when there are none."""
    box = max(a[0], b[0]), max(a[1], b[1]), min(a[2], b[2]), min(a[3], b[3])
    return box if box[0] < box[2] and box[1] < box[3] else None


def snapped(box: Box, width_px: int, height_px: int) -> Box | None:
    """The box grown to the grid and cut off at the frame; None when it lies outside.

    >>> snapped((5, 40, 33, 41), 1920, 1080)
    (0, 32, 64, 64)
    """
    left, top = max(box[0], 0) // GRID_PX * GRID_PX, max(box[1], 0) // GRID_PX * GRID_PX
    right = min(-(-box[2] // GRID_PX) * GRID_PX, width_px)
    bottom = min(-(-box[3] // GRID_PX) * GRID_PX, height_px)
    return (left, top, right, bottom) if left < right and top < bottom else None


def merged(boxes: Iterable[Box], most: int = 12) -> tuple[Box, ...]:
    """Disjoint boxes that cover all the given ones, joined where one bigger box costs little more than two.

    >>> merged([(0, 0, 64, 64), (32, 32, 96, 96), (640, 0, 672, 32)])
    ((640, 0, 672, 32), (0, 0, 96, 96))
    """
    kept: list[Box] = []
    for box in sorted(set(boxes)):
        grown = box
        while True:
            touching = [
                k
                for k in kept
                if overlap(k, grown) or area_px(union((k, grown))) <= 1.25 * (area_px(k) + area_px(grown))
            ]
            if not touching:
                break
            kept = [k for k in kept if k not in touching]
            grown = union([grown, *touching])
        kept.append(grown)
    while len(kept) > most:
        a, b = min(
            itertools.combinations(kept, 2), key=lambda pair: area_px(union(pair)) - sum(map(area_px, pair))
        )
        return merged([*(k for k in kept if k not in (a, b)), union((a, b))], most)
    return tuple(kept)


class Ground:
    """Background and lowest layers as one picture, painted where it is first asked for.

    `depth` counts the layers that belong to it. `pixels` hold their picture on the grid's cells that are laid.
    """

    def __init__(self, width_px: int, height_px: int) -> None:
        self.pixels = np.zeros((height_px, width_px, 4), np.uint8)
        self.depth = 0
        self._laid = np.zeros((-(-height_px // GRID_PX), -(-width_px // GRID_PX)), bool)
        self._lowest: deque[int] = deque(maxlen=SETTLED)

    def settle(self, lowest: int, before: Sequence[Layer], now: Sequence[Layer]) -> None:
        """Take in what has come to rest, give out what has not; `lowest` is the lowest layer that changed."""
        self._lowest.append(lowest)
        depth = lowest
        if depth > self.depth:
            depth = max(self.depth, min(self._lowest)) if len(self._lowest) == SETTLED else self.depth
        low, high = sorted((depth, self.depth))
        for layer in (*before[low:high], *now[low:high]):
            if layer.box is not None:
                self._laid[_cells(layer.box)] = False
        self.depth = depth

    def forget(self) -> None:
        """Nothing is laid any more."""
        self._laid[:] = False
        self.depth = 0

    def missing(self, boxes: Iterable[Box]) -> list[Box]:
        """Those of the boxes that are not laid; they are taken to be from now on."""
        missing = [box for box in boxes if not self._laid[_cells(box)].all()]
        for box in missing:
            self._laid[_cells(box)] = True
        return missing


def _cells(box: Box) -> tuple[slice, slice]:
    """The grid's cells that a box touches."""
    left, top, right, bottom = box
    return slice(top // GRID_PX, -(-bottom // GRID_PX)), slice(left // GRID_PX, -(-right // GRID_PX))


class PainterCamera(Camera):
    """A Manim camera for a stage's drawings, repainting only what differs from the picture before.

    `dirty` holds the boxes that the last `capture_mobjects` changed: disjoint, on the grid, empty when the picture
    is the same. A background set with `set_background` is compared by identity: set a new array to change it.
    """

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.dirty: tuple[Box, ...] = ()
        self._drawings: list[Drawing] = []
        self._layers: list[Layer] = []
        self._painted_background: np.ndarray | None = None
        self._ground = Ground(self.pixel_width, self.pixel_height)
        self._before = np.zeros_like(self._ground.pixels)

    def capture_mobjects(self, mobjects: Iterable[Mobject], **kwargs: Any) -> None:
        """Bring the picture up to date with the drawings, and `dirty` with what that changed.

        Raises TypeError for anything else that can be seen.
        """
        drawings, everything = list(_drawings(mobjects)), (0, 0, self.pixel_width, self.pixel_height)
        if drawings != self._drawings or self.background is not self._painted_background:
            self._drawings, self._painted_background = drawings, self.background
            self._layers = [self._layer(drawing, None) for drawing in drawings]
            self._ground.forget()
            self.dirty = (everything,)
            self._paint(self.dirty)
            return
        before, self._layers = self._layers, list(self._layers)
        changed = [
            k for k, (d, layer) in enumerate(zip(drawings, before, strict=True)) if d.paths is not layer.paths
        ]
        for k in changed:
            self._layers[k] = self._layer(drawings[k], before[k])
        boxes = self._differences((before[k], self._layers[k]) for k in changed)
        if boxes:
            self._ground.settle(changed[0], before, self._layers)
            # a large box nearly always differs, and comparing takes a while
            large = [box for box in boxes if 2 * area_px(box) > area_px(everything)]
            small = [box for box in boxes if box not in large]
            for left, top, right, bottom in small:
                self._before[top:bottom, left:right] = self.pixel_array[top:bottom, left:right]
            self._paint(boxes)
            boxes = *large, *self._seen(small)
        self.dirty = boxes

    def _paint(self, boxes: tuple[Box, ...]) -> None:
        ground = self._ground
        missing = ground.missing(boxes)
        if missing:
            assert self.background is not None
            _paint(ground.pixels, self.background, self._layers[: ground.depth], missing)
        _paint(self.pixel_array, ground.pixels, self._layers[ground.depth :], boxes)

    def _layer(self, drawing: Drawing, old: Layer | None) -> Layer:
        clip_px, last = drawing.slot.clip_px, old.laid if old else ()
        laid = tuple(
            self._lay(path, last[k] if k < len(last) else None, clip_px) for k, path in enumerate(drawing.paths)
        )
        boxes = [one.box for one in laid if one.box is not None]
        return Layer(drawing.paths, laid, clip_px, union(boxes) if boxes else None)

    def _lay(self, path: Path, last: Laid | None, clip_px: Clip | None) -> Laid:
        """A path laid out; the last one itself when it looks the same, and its outline when that is the same."""
        if last is None or path.curves is not last.path.curves:
            if last is not None and path.looks_like(last.path):
                return last
            return Laid(path, *self._box(path, clip_px))
        if path.looks_like(last.path):
            return last
        if path.width_px == last.path.width_px:
            return Laid(path, last.box, last.is_cut, last.traced)
        return Laid(path, *self._box(path, clip_px), last.traced)

    def _box(self, path: Path, clip_px: Clip | None) -> tuple[Box | None, bool]:
        """The pixels that a path covers, and whether more of it is cut off. Two pixels are for antialiasing."""
        if not len(path.curves):
            return None, False
        points, reach = path.curves.reshape(-1, 2), 0.5 * path.width_px + 2.0
        (left, top), (right, bottom) = (points.min(0) - reach).tolist(), (points.max(0) + reach).tolist()
        whole = math.floor(left), math.floor(top), math.ceil(right), math.ceil(bottom)
        box = common(whole, (0, 0, self.pixel_width, self.pixel_height))
        if box is None or clip_px is None:
            return box, False
        x, y, width, height, radius = clip_px
        pane = math.floor(x), math.floor(y), math.ceil(x + width), math.ceil(y + height)
        inside = x <= left and y <= top and right <= x + width and bottom <= y + height
        return common(box, pane), radius > 0 or not inside

    def _differences(self, pairs: Iterable[tuple[Layer, Layer]]) -> tuple[Box, ...]:
        """Boxes on the grid around all that differs between layers and the same layers now."""
        apart = (both for old, new in pairs for both in zip_longest(old.laid, new.laid) if both[0] is not both[1])
        boxes = {box for one, other in apart for box in _apart(one, other) if box is not None}
        on_grid = (snapped(box, self.pixel_width, self.pixel_height) for box in boxes)
        dirty = merged(box for box in on_grid if box is not None)
        everything = (0, 0, self.pixel_width, self.pixel_height)
        return (everything,) if sum(map(area_px, dirty)) > 0.8 * area_px(everything) else dirty

    def _seen(self, boxes: Iterable[Box]) -> Iterator[Box]:
        """Where the boxes truly differ from before: shrunk to the cells of the grid that changed."""
        for left, top, right, bottom in boxes:
            old, new = (
                a[top:bottom, left:right].view(np.uint32)[..., 0] for a in (self._before, self.pixel_array)
            )
            differs = old != new
            rows, columns = (np.flatnonzero(differs.any(axis)) // GRID_PX * GRID_PX for axis in (1, 0))
            if rows.size:
                yield (
                    left + int(columns[0]),
                    top + int(rows[0]),
                    min(left + int(columns[-1]) + GRID_PX, right),
                    min(top + int(rows[-1]) + GRID_PX, bottom),
                )


def _drawings(mobjects: Iterable[Mobject]) -> Iterator[Drawing]:
    for mobject in mobjects:
        if isinstance(mobject, Drawing):
            yield mobject
        elif mobject.family_members_with_points():
            raise TypeError(f"only a stage's drawings are painted, not a {type(mobject).__name__}")


def _paint(pixels: np.ndarray, ground: np.ndarray, layers: Sequence[Layer], boxes: Sequence[Box]) -> None:
    """Paint layers over a ground, in the boxes alone."""
    ctx = cairo.Context(surface(pixels))
    for left, top, right, bottom in boxes:
        pixels[top:bottom, left:right] = ground[top:bottom, left:right]
        ctx.rectangle(left, top, right - left, bottom - top)
    ctx.clip()
    for layer in layers:
        if _is_touched(layer.box, boxes):
            for laid in layer.laid:
                if _is_touched(laid.box, boxes):
                    with clipped(ctx, layer.clip_px if laid.is_cut else None):
                        laid.paint(ctx)


def _apart(one: Laid | None, other: Laid | None) -> list[Box | None]:
    """The boxes that differ between two paths; of two pictures in one place, the box around differing pixels."""
    if one and other and one.path.picture and other.path.picture and one.box == other.box:
        old, new = one.path.picture, other.path.picture
        if old.at_px == new.at_px and old.rgba.shape == new.rgba.shape and one.path.curves is other.path.curves:
            differs = old.rgba.view(np.uint32)[..., 0] != new.rgba.view(np.uint32)[..., 0]
            rows, columns = (np.flatnonzero(differs.any(axis)).tolist() for axis in (1, 0))
            x, y = (int(v) for v in new.at_px)
            return [(x + columns[0], y + rows[0], x + columns[-1] + 1, y + rows[-1] + 1)] if rows else []
    return [each.box for each in (one, other) if each is not None]


def _is_touched(box: Box | None, boxes: Iterable[Box]) -> bool:
    return box is not None and any(overlap(box, other) for other in boxes)
