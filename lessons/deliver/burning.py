"""Captions in the picture: how they look, and where they cover least of what is taught."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lessons.deliver.captions import Caption
from lessons.deliver.pictures import font
from lessons.rendering.manifest import Clip, Pane
from scenes.board import Rect

TEXT_PART = 0.047
"""A caption's letters, of the picture's shorter side; an upright picture is held closer: judged on a phone."""
PLATE = (10, 12, 14, 200)
SIDE_PART = 0.04
"""How far a caption keeps off the sides, of the width."""


SMALL_PART = 0.3
"""A pane that fills less of the picture is one to be seen whole."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where captions stand: 0 at the left, 0.5 in the middle, 1 at the right; and above the lower edge, of the
    height. `letters` is the font in which they are written, where it is the lesson's own.
    """

    across: float = 0.5
    above: float = 0.045
    letters: Path | None = None


BELOW = Place()
ACROSS = (0.5, 0.25, 0.75, 0.0, 1.0)
PLACES = {
    True: tuple(Place(x, y) for y in (0.13, 0.1, 0.07, 0.045, 0.02) for x in ACROSS),
    False: tuple(Place(x, y) for y in (0.045, 0.02, 0.09) for x in ACROSS),
}
"""Where captions may stand in upright pictures and in others, the best first: programs on a phone lay their own
signs over the lowest part of an upright picture (common practice)."""


def place_of(clip: Clip, captions: Sequence[Caption], letters: Path | None = None) -> Place:
    """The first place where a clip's captions cover least of its labels and balls: one for all, to be calm."""
    places = [replace(place, letters=letters) for place in PLACES[clip.height_px > clip.width_px]]
    if not captions:
        return places[0]
    taken = list(_taken(clip))
    sizes = [_plate(c.lines, clip.width_px, clip.height_px, letters).shape for c in captions]

    def covered(place: Place) -> float:
        rects = [_rect(place, (wide, high), (clip.width_px, clip.height_px)) for high, wide, _ in sizes]
        return sum(_common(a, b) for a in rects for b in taken)

    return min(places, key=covered)


def lay(rgba: NDArray[np.uint8], lines: tuple[str, ...], place: Place) -> None:
    """Write a caption into a picture (height, width, 4), in its place."""
    height, width = rgba.shape[:2]
    plate = _plate(lines, width, height, place.letters)
    left, top, wide, high = map(int, _rect(place, (plate.shape[1], plate.shape[0]), (width, height)))
    under = rgba[top : top + high, left : left + wide, :3]
    alpha = plate[..., 3:].astype(np.float32) / 255
    under[:] = np.round(under * (1 - alpha) + plate[..., :3] * alpha).astype(np.uint8)


def _rect(place: Place, plate: tuple[int, int], size: tuple[int, int]) -> Rect:
    """Where a plate of a size stands in a picture."""
    (wide, high), (width, height) = plate, size
    side = min(SIDE_PART * width, (width - wide) / 2)
    left = round(side + place.across * (width - wide - 2 * side))
    return left, max(round(height * (1 - place.above)) - high, 0), wide, high


@lru_cache(64)
def _plate(lines: tuple[str, ...], width: int, height: int, letters: Path | None) -> NDArray[np.uint8]:
    """A caption on its plate, RGBA with straight alpha."""
    from PIL import Image, ImageDraw

    size = max(round(TEXT_PART * min(width, height)), 8)
    face = font(size, 560, letters)
    while size > 8 and max(map(face.getlength, lines)) > (1 - 2 * SIDE_PART) * width:
        size -= 1
        face = font(size, 560, letters)
    pitch, pad = round(1.3 * size), round(0.45 * size)
    wide = min(round(max(map(face.getlength, lines))) + 2 * pad, width)
    high = min(pitch * len(lines) + pad, height)
    picture = Image.new("RGBA", (wide, high), (*PLATE[:3], 0))
    draw = ImageDraw.Draw(picture)
    draw.rounded_rectangle((0, 0, wide - 1, high - 1), radius=pad // 2, fill=PLATE)
    for k, line in enumerate(lines):
        draw.text((wide / 2, pad / 2 + (k + 0.5) * pitch), line, "white", face, anchor="mm")
    return np.asarray(picture)


# ------------------------------------------------------------------ what must stay free


def _taken(clip: Clip) -> Iterator[Rect]:
    """Where labels, balls and the smaller panes stand when nothing moves."""
    for still in clip.still:
        yield from (label.rect_px for label in still.labels)
        for pane in still.panes:
            if pane.rect_px[2] * pane.rect_px[3] < SMALL_PART * clip.width_px * clip.height_px:
                yield pane.rect_px
            yield from _balls(pane)


def _balls(pane: Pane) -> Iterator[Rect]:
    projection = np.array(pane.projection)
    for ball in pane.shows.balls:
        offsets = ball.radius_mm * np.vstack([np.eye(3), -np.eye(3)])
        points = np.array(ball.centre_mm) + offsets
        u, v, w = projection @ np.column_stack([points, np.ones(len(points))]).T
        if (w > 0).all():
            x, y = u / w, v / w
            yield float(x.min()), float(y.min()), float(np.ptp(x)), float(np.ptp(y))


def _common(a: Rect, b: Rect) -> float:
    """The area that two rectangles share."""
    wide = min(a[0] + a[2], b[0] + b[2]) - max(a[0], b[0])
    high = min(a[1] + a[3], b[1] + b[3]) - max(a[1], b[1])
    return max(wide, 0.0) * max(high, 0.0)
