"""The tip as a ruler: what part of a tip's width a shift at the cue ball is, in the column under its number."""

from __future__ import annotations

from dataclasses import dataclass

from aimgeo.construct import Step
from scenes.board import Rect, Shade, Text
from scenes.board.motion import Span
from scenes.figure.figure import Figure
from scenes.figure.plan import titles
from scenes.frame.column import measures_top_px, text_rect

TIP_KEY = "tip_key"
"""The id and role of the key's elements, and what its clause calls it."""
MEASURE = "cue_shift"
PARTS = {"tip.quarter": ("tip_quarter", 4), "tip.half": ("tip_half", 2)}
"""Parts of a tip by name: the label, and how many make a whole tip."""
TIP_PX = 96.0
"""A whole tip, for a 1080 px frame."""
ROW = 1.45
"""From one row to the next, in the size of its words."""


@dataclass(frozen=True, slots=True)
class TipKey:
    """Its words, the outlines of a whole tip, the part that is filled, and `rects`, what labels keep clear of."""

    words: tuple[Text, ...]
    outlines: tuple[Rect, ...]
    filled: Rect
    rects: tuple[Rect, ...]


def tip_key(figure: Figure, step: Step, slot: int) -> TipKey | None:
    """The key of a step with a shift, from a slot of the column's measures on; None where there is no room, or
    nothing to show."""
    frame, s, labels = figure.frame, figure.frame.scale, figure.brief.labels
    named = next((q.value for key, q in step.values if key == "tip_part"), None)
    part = PARTS.get(str(named))
    if part is None or frame.shape != "wide" or all(m.key != MEASURE for m in step.measures):
        return None
    told = [labels.get(key, "") for key in ("tip_ruler", "tip_whole", part[0])]
    if not all(told):
        return None
    size, x = s.text_px("small"), frame.measures_px[0]
    first = measures_top_px(titles(figure.brief), frame) + slot * frame.measure_pitch_px
    wide, high = s.px(TIP_PX), 0.62 * size
    lines = [first + k * ROW * size for k in range(3)]
    outlines = tuple((x, y - 0.72 * size, wide, high) for y in lines[1:])
    words = (
        Text(told[0], (x, lines[0]), "small"),
        *(Text(text, (x + wide + 0.5 * size, y), "small") for text, y in zip(told[1:], lines[1:], strict=True)),
    )
    end = frame.inset_px[1] + (0.0 if figure.brief.subject.table is not None else frame.inset_px[3])
    right = x + frame.measure_width_px
    rects = [text_rect(text, s) for text in words]
    if lines[-1] + 0.03 * s.short_px > end or any(left + w > right for left, _, w, _ in rects):
        return None
    left, top, _, _ = outlines[1]
    return TipKey(words, outlines, (left, top, wide / part[1], high), (*outlines, *rects))


def put_tip_key(figure: Figure, key: TipKey, shown: Span, gone: Span) -> None:
    """It comes with its words, and goes with its step."""
    sheet = figure.sheet
    ids = [sheet.put(f"{TIP_KEY}.{n}", text, "text", TIP_KEY) for n, text in enumerate(key.words)]
    ids += [
        sheet.put(f"{TIP_KEY}.tip.{n}", Shade(rect, "window_edge"), "text", TIP_KEY)
        for n, rect in enumerate(key.outlines)
    ]
    ids.append(sheet.put(f"{TIP_KEY}.part", Shade(key.filled, "measure_bar"), "text", TIP_KEY))
    for id in ids:
        sheet.show(id, shown)
        sheet.hide(id, gone)
