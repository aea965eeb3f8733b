"""Painting only what has changed: a Manim Cairo camera that compares each frame's display list with the last.

The picture on the camera's pixel array stays between frames. Whatever moved, appeared, vanished or changed colour
dirties the rectangle it left and the one it now covers; only these are painted again, with Cairo clipped to them.
What lies lowest and rests is painted once, on a ground that is kept beside the picture, and copied from there. How a
mobject is painted is left to the board's camera and to Manim.
"""

from __future__ import annotations

import itertools
import math
from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import cairo
import numpy as np
from manim import LineJointType, Mobject, VMobject

from scenes.board import Rect
from scenes.brush import BoardCamera, Ink

Box = tuple[int, int, int, int]
"""left, top, right, bottom in pixels; right and bottom exclusive."""

GRID_PX = 32
"""Rectangles snap to this grid: even for the chroma planes, and few sizes for the colour converter."""

SETTLED = 3
"""So many pictures in turn a mobject stays unchanged before it goes into the ground."""

MITER_LIMIT = 10.0
"""Cairo's default: a corner of a stroke reaches at most so many half line widths beyond its path."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A path as it was drawn: what it looked like, and the pixels that it covers (None: nothing).

    `held` are the arrays of an `Ink`, which are replaced and never written into.
    """

    mobject: VMobject
    look: tuple[Any, ...]
    box: Box | None
    held: tuple[np.ndarray, ...] = ()


@dataclass(frozen=True, slots=True)
class Group:
    """Paths that are drawn together: those of a top-level mobject whose `state` tells when it changes, or all."""

    state: object
    drawn: Mapping[int, Drawn]
    box: Box | None

    @classmethod
    def of(cls, state: object, drawn: Mapping[int, Drawn]) -> Group:
        """With the box around them all."""
        boxes = [d.box for d in drawn.values() if d.box is not None]
        return cls(state, drawn, union(boxes) if boxes else None)


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


def trace(ctx: cairo.Context, points: np.ndarray, tolerance: float) -> None:
    """Add cubic curves (4 n, 3) to Cairo's path by Manim's rules, which this follows in fewer steps.

    Curves that meet are one piece, and a piece that ends where it began is closed; points are the same when they
    are as near as `numpy.isclose` wants with this absolute tolerance.
    """
    first = last = (math.nan, math.nan)
    for x, y, *handles in points[:, :2].reshape(-1, 8).tolist():
        if not _is_same(last, (x, y), tolerance):
            if _is_same(first, last, tolerance):
                ctx.close_path()
            ctx.move_to(x, y)
            first = x, y
        ctx.curve_to(*handles)
        last = handles[4], handles[5]
    if _is_same(first, last, tolerance):
        ctx.close_path()


def _is_same(a: tuple[float, float], b: tuple[float, float], tolerance: float) -> bool:
    """True when two points are the same to Manim; never for nan."""
    return abs(a[0] - b[0]) <= tolerance + 1e-5 * abs(b[0]) and abs(a[1] - b[1]) <= tolerance + 1e-5 * abs(b[1])


class Ground:
    """Background and lowest groups as one picture, painted where it is first asked for.

    `depth` counts the groups that belong to it. `pixels` hold their picture on the grid's cells that are laid.
    """

    def __init__(self, width_px: int, height_px: int) -> None:
        self.pixels = np.zeros((height_px, width_px, 4), np.uint8)
        self.depth = 0
        self._laid = np.zeros((-(-height_px // GRID_PX), -(-width_px // GRID_PX)), bool)
        self._lowest: deque[int] = deque(maxlen=SETTLED)

    def settle(self, before: Sequence[Group], now: Sequence[Group]) -> None:
        """Take in what has come to rest, give out what has not, between two pictures' groups."""
        pairs = enumerate(zip(before, now, strict=False))
        self._lowest.append(next((k for k, (old, new) in pairs if old is not new), min(len(before), len(now))))
        depth = self._lowest[-1]
        if depth > self.depth:
            depth = max(self.depth, min(self._lowest)) if len(self._lowest) == SETTLED else self.depth
        low, high = sorted((depth, self.depth))
        for group in (*before[low:high], *now[low:high]):
            if group.box is not None:
                self._laid[_cells(group.box)] = False
        self.depth = depth

    def forget(self) -> None:
        """Nothing is laid any more: the background has changed."""
        self._laid[:] = False

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


class PainterCamera(BoardCamera):
    """Manim's Cairo camera, repainting only what differs from the frame before.

    `dirty` holds the boxes that the last `capture_mobjects` changed: disjoint, on the grid, empty when the picture
    is the same. A background set with `set_background` is compared by identity: set a new array to change it.
    """

    def __init__(self, **kwargs: Any) -> None:
        self.dirty: tuple[Box, ...] = ()
        self._groups: dict[int, Group] | None = None
        self._painted_background: np.ndarray | None = None
        self._paths: dict[int, tuple[np.ndarray, cairo.Path]] = {}
        super().__init__(**kwargs)
        self._ground = Ground(self.pixel_width, self.pixel_height)

    def reset(self) -> PainterCamera:
        """Nothing to do but the first time: the picture of the last frame is where the next one starts."""
        if not hasattr(self, "pixel_array"):
            super().reset()
        return self

    def capture_mobjects(self, mobjects: Iterable[Mobject], **kwargs: Any) -> None:
        """Bring the picture up to date with the mobjects, and `dirty` with what that changed."""
        now = self._grouped(list(mobjects))
        self.dirty = self._differences(now)
        before, self._groups = self._groups or {}, now
        if not self.dirty:
            return
        ground, groups = self._ground, list(now.values())
        ground.settle(list(before.values()), groups)
        if self.background is not self._painted_background:
            ground.forget()
            self._painted_background = self.background
        missing = ground.missing(self.dirty)
        if missing:
            assert self.background is not None
            self._paint(ground.pixels, self.background, groups[: ground.depth], missing)
        self._paint(self.pixel_array, ground.pixels, groups[ground.depth :], self.dirty)

    def _paint(
        self, pixels: np.ndarray, ground: np.ndarray, groups: Sequence[Group], boxes: Sequence[Box]
    ) -> None:
        """Paint groups over a ground, in the boxes alone."""
        ctx = self.get_cairo_context(pixels)
        ctx.save()
        matrix = ctx.get_matrix()
        ctx.identity_matrix()
        # without a new path, the last mobject's path would be part of the clip
        ctx.new_path()
        for left, top, right, bottom in boxes:
            pixels[top:bottom, left:right] = ground[top:bottom, left:right]
            ctx.rectangle(left, top, right - left, bottom - top)
        ctx.clip()
        ctx.set_matrix(matrix)
        for group in groups:
            if _is_touched(group.box, boxes):
                for drawn in group.drawn.values():
                    if _is_touched(drawn.box, boxes):
                        self.display_vectorized(drawn.mobject, ctx)
        ctx.restore()

    def set_cairo_context_path(self, ctx: cairo.Context, vmobject: VMobject) -> PainterCamera:
        """Manim's path; an `Ink`'s is kept for the next time that it is painted unchanged."""
        if not isinstance(vmobject, Ink):
            super().set_cairo_context_path(ctx, vmobject)
            return self
        kept = self._paths.get(id(vmobject))
        ctx.new_path()
        if kept is not None and kept[0] is vmobject.points:
            ctx.append_path(kept[1])
        else:
            trace(ctx, vmobject.points, vmobject.tolerance_for_point_equality)
            self._paths[id(vmobject)] = vmobject.points, ctx.copy_path()
        return self

    def _grouped(self, tops: Sequence[Mobject]) -> dict[int, Group]:
        """The display list in its order; a top-level mobject whose `state` is the same is not looked into."""
        before, now = self._groups or {}, {}
        for top in tops:
            state = getattr(top, "state", self)
            if state is self:
                if top.family_members_with_points():
                    return {0: self._group(None, self.get_mobjects_to_display(tops), before.get(0))}
                continue
            key = id(top)
            old = before.get(key)
            is_same = old is not None and old.state is state
            now[key] = old if is_same and old else self._group(state, top.submobjects, old)
        return now

    def _group(self, state: object, mobjects: Iterable[Mobject], old: Group | None) -> Group:
        drawn = {}
        for mobject in mobjects:
            if not isinstance(mobject, VMobject):
                raise TypeError(f"only paths are painted, not a {type(mobject).__name__}")
            if len(mobject.points):
                drawn[id(mobject)] = self._drawing(mobject, old.drawn.get(id(mobject)) if old else None)
        return Group.of(state, drawn)

    def _differences(self, now: dict[int, Group]) -> tuple[Box, ...]:
        before = self._groups
        everything = (0, 0, self.pixel_width, self.pixel_height)
        if before is None or self.background is not self._painted_background:
            return (everything,)
        boxes = [] if _is_same_order(before, now) else [g.box for g in now.values()]
        nothing = Group(None, {}, None)
        for key in before.keys() | now.keys():
            old, new = before.get(key, nothing), now.get(key, nothing)
            if old is not new:
                boxes += _changed(old.drawn, new.drawn)
        on_grid = (snapped(box, self.pixel_width, self.pixel_height) for box in set(boxes) if box is not None)
        dirty = merged(box for box in on_grid if box is not None)
        return (everything,) if sum(map(area_px, dirty)) > 0.8 * area_px(everything) else dirty

    def _drawing(self, mobject: VMobject, last: Drawn | None) -> Drawn:
        """What a path looks like, as far as the camera uses it; the last drawing itself when it is unchanged."""
        if isinstance(mobject, Ink):
            held = (mobject.points, mobject.fill_rgbas, mobject.stroke_rgbas)
            if last is not None and all(a is b for a, b in zip(last.held, held, strict=True)):
                return last
            edge = mobject.stroke_width, mobject.clip_px
            look: tuple[Any, ...] = (edge, *(a.tobytes() for a in held), mobject.cap_style, mobject.paint_key)
            is_in_place = last is not None and last.held[0] is mobject.points and last.look[0] == edge
            return Drawn(mobject, look, last.box if last and is_in_place else self._box(mobject, *edge), held)
        widths = mobject.get_stroke_width(True), mobject.get_stroke_width()
        look = (
            mobject.points.tobytes(),
            mobject.fill_rgbas.tobytes(),
            mobject.stroke_rgbas.tobytes(),
            mobject.background_stroke_rgbas.tobytes() if widths[0] else b"",
            widths,
            mobject.joint_type,
            mobject.cap_style,
            mobject.sheen_factor,
            tuple(mobject.sheen_direction) if mobject.sheen_factor else (),
        )
        if last is not None and last.look == look:
            return last
        return Drawn(mobject, look, self._box(mobject, max(widths)))

    def _box(self, mobject: VMobject, stroke_width: float, clip_px: Rect | None = None) -> Box | None:
        half_px = 0.5 * stroke_width * self.cairo_line_width_multiple * self.pixel_width / self.frame_width
        has_corners = len(mobject.points) > mobject.n_points_per_cubic_curve
        sharp = has_corners and mobject.joint_type in (LineJointType.AUTO, LineJointType.MITER)
        # 1.5 is more than a square cap's diagonal; 2 px are for antialiasing
        box = self._box_px(mobject, mobject.points, half_px * (MITER_LIMIT if sharp else 1.5) + 2.0)
        if box is None or clip_px is None:
            return box
        left, top, right, bottom = clip_px[0], clip_px[1], clip_px[0] + clip_px[2], clip_px[1] + clip_px[3]
        pane = int(left), int(top), math.ceil(right), math.ceil(bottom)
        return common(box, pane)

    def _box_px(self, mobject: VMobject, points: np.ndarray, reach_px: float) -> Box | None:
        at = self.points_to_subpixel_coords(mobject, points)
        low, high = at.min(axis=0) - reach_px, at.max(axis=0) + reach_px
        left, top = max(int(low[0]), 0), max(int(low[1]), 0)
        right, bottom = min(int(high[0]) + 1, self.pixel_width), min(int(high[1]) + 1, self.pixel_height)
        return (left, top, right, bottom) if left < right and top < bottom else None


def _is_touched(box: Box | None, boxes: Iterable[Box]) -> bool:
    return box is not None and any(overlap(box, other) for other in boxes)


def _is_same_order(before: Mapping[int, object], now: Mapping[int, object]) -> bool:
    old, new = list(before), list(now)
    return old == new or [k for k in old if k in now] == [k for k in new if k in before]


def _changed(old: Mapping[int, Drawn], new: Mapping[int, Drawn]) -> list[Box | None]:
    """The boxes that differ between two versions of a group, before and after."""
    boxes = [] if _is_same_order(old, new) else [d.box for d in new.values()]
    for key in old.keys() | new.keys():
        one, other = old.get(key), new.get(key)
        if one is None or other is None or (one is not other and one.look != other.look):
            boxes += [d.box for d in (one, other) if d is not None]
    return boxes
