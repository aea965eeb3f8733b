"""A board's frames as orders for a painter elsewhere: curves to fill and stroke, and the values of plates.

A frame is a list of parts with their opacities and places, the lowest first. A part's name is a digest of what it
says, so whoever has drawn it before needs no more than its name; what rests, or comes back, is sent once. Words
and labels are told as they are at (0, 0): wherever they stand, they are the same part. Nothing here knows who
draws. A part's bytes: the length of a JSON head (u32, little-endian), the head, zeros up to a multiple of four,
then float32 or bytes as the head says.

A head is one of

    {"is": "paths", "clip": [x, y, w, h, corners] or null,
     "paths": [[pieces, fill, stroke, width, cap, gradient], ...]}
        `pieces`: curves of each piece, negative when it is closed. Floats: of each piece its first point, then
        six of every curve. Colours are CSS; a gradient is [focus, centre, radius, [[offset, colour], ...]]
    {"is": "cloth", "rect": [x, y, w, h], "image": name of a part}
    {"is": "image"}                                               bytes: a PNG or JPEG file
    {"is": "plate", "rect": [x, y, w, h], "table": name of a part, "surround": [r, g, b],
     "uniforms": [[name, count], ...], "batches": [[state, table batch], [state, program, layout, rows]...]}
        floats: uniforms, then rows
    {"is": "table", "batches": [[program, layout, rows], ...]}    floats: the rows
"""

from __future__ import annotations

import hashlib
import io
from collections import OrderedDict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
import orjson

from aimgeo.tables import Table
from scenes.board import Board, Clip, Element, Pane, Photo, Pixel, Plate, Text
from scenes.draw.display import Display, Slot, cloth
from scenes.draw.kept import Kept
from scenes.draw.paths import RGBA, Path
from scenes.draw.picture import SAME_PX
from scenes.look.look import Look, rgb

PATHS = b'{"is":"paths"'
"""The head of a part of curves begins so."""
MOST_KEPT = 2000
"""Names of parts that a board remembers: beyond any frame, and few megabytes."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A part on a frame, moved by so many pixels of the board."""

    name: str
    opacity: float
    by_px: Pixel = (0.0, 0.0)

    @property
    def told(self) -> tuple[str | float, ...]:
        """Name and opacity, then how far it is moved, if it is."""
        return (self.name, self.opacity, *(self.by_px if any(self.by_px) else ()))


class Orders:
    """A board's frames as orders, in any order. The painter has `zoom` pixels for one of the board's."""

    def __init__(
        self, board: Board, zoom: float = 1.0, like: Orders | None = None, is_plain: bool = False
    ) -> None:
        """The orders of a board. What stands in the same way in the board of `like` is not worked out again.

        `is_plain` paints the plates here, for a painter that has no OpenGL.
        """
        self.board, self.zoom, self.is_plain = board, zoom, is_plain
        placed = {element.id: _placed(element) for element in board.elements}
        self._display = Display(replace(board, elements=tuple(element for element, _ in placed.values())))
        self._by_px = {id: by for id, (_, by) in placed.items()}
        self._kept = [Kept(self._display, slot) for slot in self._display.slots]
        self._names: OrderedDict[tuple[int, Any], str] = OrderedDict()
        self._parts: OrderedDict[str, bytes] = OrderedDict()
        whole = _Pixels(0, 0, board.width_px, board.height_px)
        self._ground = self._note(self._cloth(whole))
        if like is not None and like.zoom == zoom and like.is_plain == is_plain and like.board.look == board.look:
            self._take_over(like)

    def frame(self, frame: int) -> list[Shown]:
        """The parts of a frame, the lowest first; the same whatever was asked before."""
        shown = [Shown(self._ground, 1.0)]
        for index, kept in enumerate(self._kept):
            kept.turn(frame)
            if kept.opacity <= 0:
                continue
            key = index, kept.shape
            name = self._names.get(key)
            if name is None or name not in self._parts:
                name = self._names[key] = self._note(self._part(kept, frame))
                while len(self._names) > MOST_KEPT:
                    self._names.popitem(last=False)
            else:
                self._parts.move_to_end(name)
            if name:
                element = kept.slot.element
                shown.append(Shown(name, kept.opacity, (0.0, 0.0) if element is None else self._by_px[element.id]))
        return shown

    def _take_over(self, like: Orders) -> None:
        """The names and parts of slots that are the same there, and that nothing else has a hand in."""
        size = self.board.width_px, self.board.height_px
        if size != (like.board.width_px, like.board.height_px):
            return
        known = {_slot_id(kept.slot): (k, kept.slot) for k, kept in enumerate(like._kept)}
        theirs = {}
        for k, kept in enumerate(self._kept):
            index, slot = known.get(_slot_id(kept.slot), (-1, None))
            if slot == kept.slot and _stands_alone(kept.slot):
                theirs[index] = k
        for (index, shape), name in like._names.items():
            if index in theirs and name in like._parts:
                self._names[theirs[index], shape] = name
                self._parts[name] = like._parts[name]

    def part(self, name: str) -> bytes:
        """What a part of the last frame says, or of one that it refers to."""
        return self._parts.get(name) or _shared(name)

    def refers(self, name: str) -> str | None:
        """The part that a part needs beside it: a plate's table, a cloth's image."""
        part = self.part(name)
        if part.startswith(PATHS, 4):
            return None
        head = _head(part)
        found: str | None = head.get("table") or head.get("image")
        return found

    def _note(self, part: bytes) -> str:
        if not part:
            self._parts[""] = b""
            return ""
        name = part_name(part)
        self._parts[name] = part
        self._parts.move_to_end(name)
        while len(self._parts) > MOST_KEPT:
            self._parts.popitem(last=False)
        return name

    def _part(self, kept: Kept, frame: int) -> bytes:
        slot = kept.slot
        if slot.element is not None:
            shapes = kept.shapes(frame)
            if isinstance(slot.element.shape, Photo):
                return _photo(shapes)
            return _paths(shapes, slot.clip_px)
        assert slot.pane is not None
        pixels = _Pixels(*(round(v) for v in slot.pane.rect_px))
        if slot.pane.background == "cloth":
            return self._cloth(pixels)
        return (self._painted if self.is_plain else self._plate)(slot.pane, pixels, frame)

    def _cloth(self, pixels: _Pixels) -> bytes:
        size = max(round(pixels.width * self.zoom), 1), max(round(pixels.height * self.zoom), 1)
        return _packed({"is": "cloth", "rect": pixels.rect, "image": _cloth_image(*size, self.board.look)})

    def _painted(self, pane: Pane, pixels: _Pixels, frame: int) -> bytes:
        from PIL import Image

        from scenes.plate import pane_picture

        file = io.BytesIO()
        picture = pane_picture(pane, self.board, frame, self.zoom)
        Image.fromarray(picture[..., :3]).save(file, format="JPEG", quality=90)
        return _packed(
            {"is": "cloth", "rect": pixels.rect, "image": _share(_packed({"is": "image"}, file.getvalue()))}
        )

    def _plate(self, pane: Pane, pixels: _Pixels, frame: int) -> bytes:
        from scenes.plate import shown_in
        from scenes.plate.values import drawn, surface_values, table_batches, uniforms

        table, balls, cue = shown_in(pane, self.board, frame, self.zoom)
        batches = table_batches(table)
        P = np.diag([self.zoom, self.zoom, 1.0]) @ pane.projection(frame)
        P = P / np.linalg.norm(P[2, :3])
        size = round(self.board.width_px * self.zoom), round(self.board.height_px * self.zoom)
        look = self.board.look
        values = {**uniforms(P, size, batches.half_bed_mm), **surface_values(look.surfaces)}
        lasting = {id(batch): k for k, batch in enumerate(batches.all())}
        told: list[list[Any]] = []
        floats = list(values.values())
        for state, batch in drawn(batches, P, balls, cue, look):
            if id(batch) in lasting:
                told.append([state, lasting[id(batch)]])
            elif len(batch.rows):
                told.append([state, batch.part, batch.layout, len(batch.rows)])
                floats.append(batch.rows.ravel())
        head = {
            "is": "plate",
            "rect": pixels.rect,
            "table": _table_part(table),
            "surround": rgb(look.surfaces.surround),
            "uniforms": [[name, len(value)] for name, value in values.items()],
            "batches": told,
        }
        return _packed(head, np.concatenate(floats).tobytes())


def _placed(element: Element) -> tuple[Element, Pixel]:
    """Words as they are at (0, 0), and where they stand; anything else as it is."""
    shape = element.shape
    if element.panes:
        return element, (0.0, 0.0)
    if isinstance(shape, Plate):
        x, y, width, height = shape.rect_px
        return replace(element, shape=replace(shape, rect_px=(0.0, 0.0, width, height))), (x, y)
    if isinstance(shape, Text):
        return replace(element, shape=replace(shape, at_px=(0.0, 0.0))), shape.at_px
    return element, (0.0, 0.0)


def _slot_id(slot: Slot) -> tuple[str, str]:
    return ("" if slot.pane is None else slot.pane.id), ("" if slot.element is None else slot.element.id)


def _stands_alone(slot: Slot) -> bool:
    """True when no other element changes how a slot looks: no ball hides it, none is crossed by it."""
    if slot.element is None:
        return slot.pane is not None and slot.pane.background == "cloth"
    is_plain = slot.pane is None or slot.pane.background != "plate"
    return is_plain and not getattr(slot.element.shape, "ink_in", ())


@dataclass(frozen=True, slots=True)
class _Pixels:
    x: int
    y: int
    width: int
    height: int

    @property
    def rect(self) -> tuple[int, int, int, int]:
        return self.x, self.y, self.width, self.height


_SHARED: dict[str, bytes] = {}
"""Parts that many boards show: images of cloth, tables."""
_IMAGES: dict[tuple[int, int, str], str] = {}
_TABLES: dict[Table | None, str] = {}
MOST_SHARED = 24


def _shared(name: str) -> bytes:
    return _SHARED[name]


def _cloth_image(width_px: int, height_px: int, look: Look) -> str:
    from PIL import Image

    key = width_px, height_px, look.cloth
    if _IMAGES.get(key) not in _SHARED:
        file = io.BytesIO()
        pixels = cloth(width_px, height_px, look)
        Image.fromarray(pixels[..., :3]).save(file, format="PNG", compress_level=1)
        _IMAGES[key] = _share(_packed({"is": "image"}, file.getvalue()))
    return _IMAGES[key]


def _table_part(table: Table | None) -> str:
    from scenes.plate.values import table_batches

    if _TABLES.get(table) not in _SHARED:
        batches = table_batches(table).all()
        head = {"is": "table", "batches": [[batch.part, batch.layout, len(batch.rows)] for batch in batches]}
        _TABLES[table] = _share(_packed(head, b"".join(batch.rows.tobytes() for batch in batches)))
    return _TABLES[table]


def _share(part: bytes) -> str:
    name = part_name(part)
    _SHARED[name] = part
    while len(_SHARED) > MOST_SHARED:
        del _SHARED[next(iter(_SHARED))]
    return name


def part_name(part: bytes) -> str:
    """The name of a part: a digest of what it says."""
    return hashlib.blake2b(part, digest_size=9).hexdigest()


def _packed(head: Any, body: bytes = b"") -> bytes:
    told = orjson.dumps(head, option=orjson.OPT_SERIALIZE_NUMPY)
    told += b" " * (-len(told) % 4)
    return len(told).to_bytes(4, "little") + told + body


def _head(part: bytes) -> Any:
    return orjson.loads(part[4 : 4 + int.from_bytes(part[:4], "little")])


def _photo(paths: Sequence[Path]) -> bytes:
    """A picture of the author's own, as an image in its rectangle."""
    from PIL import Image

    if not paths or paths[0].picture is None:
        return b""
    found = paths[0].picture
    alpha = np.maximum(found.rgba[..., 3:].astype(np.uint16), 1)
    straight = np.concatenate([np.minimum(found.rgba[..., :3] * np.uint16(255) // alpha, 255), alpha], axis=-1)
    file = io.BytesIO()
    Image.fromarray(straight.astype(np.uint8)).save(file, format="PNG", compress_level=1)
    (x, y), (high, wide) = found.at_px, found.rgba.shape[:2]
    head = {"is": "cloth", "rect": (x, y, wide, high), "image": _share(_packed({"is": "image"}, file.getvalue()))}
    return _packed(head)


def _paths(paths: Sequence[Path], clip_px: Clip | None) -> bytes:
    told, floats = [], []
    for path in paths:
        if not len(path.curves):
            continue
        pieces, numbers = _pieces(path)
        floats += numbers
        gradient = path.gradient and [
            path.gradient.focus_px,
            path.gradient.centre_px,
            path.gradient.radius_px,
            [[offset, _css(colour)] for offset, colour in path.gradient.stops],
        ]
        stroke = _css(path.stroke) if path.stroke is not None and path.width_px > 0 else None
        fill = None if path.fill is None else _css(path.fill)
        told.append([pieces, fill, stroke, path.width_px, path.cap, gradient])
    if not told:
        return b""
    body = np.concatenate([numbers.ravel() for numbers in floats], dtype="<f4", casting="same_kind").tobytes()
    return _packed({"is": "paths", "clip": clip_px, "paths": told}, body)


def _pieces(path: Path) -> tuple[list[int], list[np.ndarray]]:
    """Curves of each piece, as `scenes.draw.picture.trace` joins and closes them, and their numbers."""
    rows = path.curves.reshape(-1, 8)
    count = len(rows)
    firsts = [0]
    if count > 1:
        # how far each curve's start is from the end of the one before
        gaps = abs(rows[1:, :2] - rows[:-1, 6:])
        if not gaps.max() < SAME_PX:
            firsts += [k for k, gap in enumerate(gaps.max(axis=1).tolist(), 1) if not gap < SAME_PX]
    ends = [*firsts[1:], count]
    is_one = len(firsts) == 1
    at, to = (rows[:1], rows[-1:]) if is_one else (rows[firsts], rows[[end - 1 for end in ends]])
    pieces = [
        first - end if abs(x - u) < SAME_PX and abs(y - v) < SAME_PX else end - first
        for first, end, (x, y), (u, v) in zip(firsts, ends, at[:, :2].tolist(), to[:, 6:].tolist(), strict=True)
    ]
    if len(firsts) == count:
        return pieces, [rows]
    if is_one:
        return pieces, [rows[0, :2], rows[:, 2:]]
    is_kept = np.ones((count, 8), bool)
    is_kept[:, :2] = False
    is_kept[firsts, :2] = True
    return pieces, [rows[is_kept]]


@lru_cache(maxsize=4096)
def _css(colour: RGBA) -> str:
    red, green, blue, alpha = colour
    return f"rgb({red * 255:.6g} {green * 255:.6g} {blue * 255:.6g} / {alpha:.6g})"


def needed(orders: Orders, shown: Iterable[Shown]) -> list[str]:
    """The names of all parts that a frame's painter must have, those that others refer to first."""
    names: dict[str, None] = {}
    for one in shown:
        if other := orders.refers(one.name):
            names[other] = None
        names[one.name] = None
    return list(names)
