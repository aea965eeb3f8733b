"""The clock of an open question: a bar that empties while there is time."""

from __future__ import annotations

from scenes.board import Rect, Shade, Span
from scenes.board.motion import Sheet
from scenes.look.scale import Scale

CLOCK_PX = 10.0
"""How high its bar is, for a 1080 px frame."""
PIECES = 48
"""They go one after the other."""


def clock_high_px(scale: Scale) -> float:
    """How high its bar is."""
    return scale.stroke_px(CLOCK_PX)


def put_clock(sheet: Sheet, id: str, rect: Rect, shown: Span, span: Span) -> None:
    """A full bar that comes in and empties evenly until the span's end; then it is gone."""
    x, top, wide, high = rect
    track = sheet.put(f"{id}.track", Shade(rect, "row", high / 2), "bar", "countdown")
    sheet.show(track, shown)
    first, frames = shown[1], span[1] - shown[1]
    edges = [round(k * frames / PIECES) for k in range(PIECES + 1)]
    # on whole pixels: no seams
    at = [round(x + k * wide / PIECES) for k in range(PIECES + 1)]
    for k in range(PIECES):
        start, end = at[PIECES - 1 - k], at[PIECES - k]
        piece = Shade((start, round(top), end - start, round(high)), "row_bar")
        one = sheet.put(f"{id}.{k}", piece, "bar", "countdown")
        sheet.show(one, shown)
        sheet.hide(one, (first + edges[k], max(first + edges[k + 1], first + edges[k] + 1)))
    sheet.hide(track, (span[1], span[1] + 1))
