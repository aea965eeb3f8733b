"""The words beside the figure: step pips, the title that is the whole sentence on screen, and the measures.

Where words stand is asked for by every label that keeps off them: what was worked out is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache

from scenes.board import Pips, Rect, Text
from scenes.board.brief import MeasureText
from scenes.board.motion import Sheet, Span
from scenes.frame.layout import Layout
from scenes.look.fonts import run
from scenes.look.scale import Scale

DEGREE = "°"
HALF = 0.5
UNLIT = 0.6
"""Strength of words that stand before they are spoken of."""


def text_rect(text: Text, scale: Scale) -> Rect:
    """The rectangle around the ink of a text in pixels."""
    laid = run(text.text, scale.look.types[text.style].face)
    size = scale.text_px(text.style)
    width = laid.width * size
    x = text.at_px[0] - {"left": 0.0, "centre": HALF, "right": 1.0}[text.align] * width
    left, top, right, bottom = laid.ink
    return (x + left * size, text.at_px[1] + top * size, (right - left) * size, (bottom - top) * size)


@lru_cache(maxsize=1024)
def wrapped(title: str, frame: Layout) -> tuple[str, ...]:
    """A title's lines: its own breaks where they fit, else broken anew into as few even lines as can be."""
    given = tuple(line.strip() for line in title.split("\n") if line.strip())
    room = frame.title_width_px

    def fits(lines: Sequence[str]) -> bool:
        return all(frame.scale.text_width_px(line, "title") <= room for line in lines)

    if frame.shape == "wide" and fits(given):
        return given
    return even_lines(" ".join(given), room, lambda line: frame.scale.text_width_px(line, "title"))


def even_lines(text: str, room_px: float, width_px: Callable[[str], float]) -> tuple[str, ...]:
    """Words broken into as few lines as fit, as even as can be.

    A word that is wider than the room stands on a line of its own.

    >>> even_lines("aim at the ghost", 9, len)
    ('aim at', 'the ghost')
    """
    words = text.split()
    if not words:
        return ()
    # best[i]: fewest lines, then least sum of squared widths, for the words from i on; the break that gives it
    best: list[tuple[int, float, int]] = [(0, 0.0, len(words))] * (len(words) + 1)
    for i in range(len(words) - 1, -1, -1):
        options = []
        for j in range(i + 1, len(words) + 1):
            width = float(width_px(" ".join(words[i:j])))
            if width > room_px and j > i + 1:
                break
            lines, squares, _ = best[j]
            options.append((lines + 1, squares + width * width, j))
        best[i] = min(options)
    out, i = [], 0
    while i < len(words):
        j = best[i][2]
        out.append(" ".join(words[i:j]))
        i = j
    return tuple(out)


def put_title(sheet: Sheet, frame: Layout, id: str, title: str, shown: Span | None, gone: Span | None) -> None:
    """The lines of a title, faded in and out over the spans given (visible from the start without the first)."""
    for i, line in enumerate(wrapped(title, frame)):
        at = (frame.title_px[0], frame.title_px[1] + i * frame.title_pitch_px)
        name = f"{id}.{i}"
        sheet.put(name, Text(line, at, "title"), "text", "title", opacity=0.0 if shown else 1.0)
        appear(sheet, name, shown, gone)


def put_unlit(sheet: Sheet, id: str, text: Text, role: str, span: Span) -> None:
    """Words that stand from the first frame on, so that it can be cut to, and are lit when they are spoken of."""
    sheet.put(id, text, "text", role, opacity=1.0, strength=UNLIT)
    sheet.move(id, "strength", span, 1.0)


def put_pips(
    sheet: Sheet, frame: Layout, id: str, count: int, now: int, shown: Span | None, gone: Span | None
) -> None:
    """The pips of a step."""
    pips = Pips(frame.pips_px, count, now)
    sheet.put(id, pips, "text", "pips", opacity=0.0 if shown else 1.0)
    appear(sheet, id, shown, gone)


def appear(sheet: Sheet, id: str, shown: Span | None, gone: Span | None) -> None:
    """Fade an element in and out over the spans given."""
    if shown:
        sheet.show(id, shown)
    if gone:
        sheet.hide(id, gone)


@lru_cache(maxsize=256)
def title_rect(titles: tuple[str, ...], frame: Layout) -> Rect:
    """The rectangle around all the titles that will stand there, and the pips above them."""
    x, y = frame.pips_px
    right = bottom = 0.0
    for title in titles:
        for i, line in enumerate(wrapped(title, frame)):
            at = (frame.title_px[0], frame.title_px[1] + i * frame.title_pitch_px)
            left, top, w, h = text_rect(Text(line, at, "title"), frame.scale)
            right, bottom = max(right, left + w), max(bottom, top + h)
    half = frame.scale.stroke_px(8)
    return (x, y - half, max(right - x, 1.0), max(bottom - y + half, 2 * half))


# ------------------------------------------------------------------ measures


@lru_cache(maxsize=1024)
def measure_texts(measure: MeasureText, frame: Layout, x: float, baseline_px: float) -> tuple[Text, ...]:
    """A measure's name, number and unit; the name's last line stands on the baseline given."""
    scale = frame.scale
    lines = even_lines(measure.name, frame.measure_width_px, lambda s: scale.text_width_px(s, "measure_name"))
    pitch = 1.2 * scale.text_px("measure_name")
    names = tuple(
        Text(line, (x, baseline_px - (len(lines) - 1 - i) * pitch), "measure_name") for i, line in enumerate(lines)
    )
    is_degree = measure.unit.strip() == DEGREE
    number = measure.number + (DEGREE if is_degree else "")
    below = baseline_px + frame.name_pitch_px
    texts = (*names, Text(number, (x, below), "measure"))
    if is_degree or not measure.unit:
        return texts
    gap = 0.2 * scale.text_px("measure")
    after = x + scale.text_width_px(number, "measure") + gap
    return (*texts, Text(measure.unit, (after, below), "unit"))


@lru_cache(maxsize=1024)
def name_lines(measure: MeasureText, frame: Layout) -> int:
    """On how many lines a measure's name stands."""
    width = frame.scale.text_width_px
    return len(even_lines(measure.name, frame.measure_width_px, lambda s: width(s, "measure_name")))


def measures_top_px(titles: tuple[str, ...], frame: Layout) -> float:
    """The first measure's baseline: where the layout wants it, or lower under a long title."""
    if frame.shape != "wide":
        return frame.measures_px[1]
    _, y, _, h = title_rect(titles, frame)
    return max(frame.measures_px[1], y + h + 0.085 * frame.scale.short_px * frame.scale.gain)


def measures_room(titles: tuple[str, ...], frame: Layout, inset: bool) -> int:
    """How many measures fit under the title, above the inset where there is one."""
    if frame.shape != "wide":
        return frame.measures_most
    end = frame.inset_px[1] if inset else frame.inset_px[1] + frame.inset_px[3]
    room = end - 0.03 * frame.scale.short_px - measures_top_px(titles, frame) - frame.name_pitch_px
    return max(1, 1 + int(room / frame.measure_pitch_px))


def measure_bar_rect(frame: Layout, baseline_px: float) -> Rect:
    """The bar beside the current measure."""
    s = frame.scale
    top = baseline_px - 0.034 * s.short_px * s.gain
    height = frame.name_pitch_px + 0.040 * s.short_px * s.gain
    width = s.stroke_px(7)
    return (frame.measures_px[0] - s.px(19) - width / 2, top, width, height)


def band_words(frame: Layout, labels: Mapping[str, str]) -> Text | None:
    """What a break says: how far apart the balls are."""
    words = labels.get("between_centres")
    if not words:
        return None
    x, y, _, h = frame.band_px
    at = (x + 0.018 * frame.scale.short_px * 1.5, y + h / 2 + 0.36 * frame.scale.text_px("break"))
    return Text(words, at, "break")


def joined(measure: MeasureText) -> str:
    """Number and unit as one text: the degree sign closed up, a thin gap before other units."""
    if not measure.unit:
        return measure.number
    return measure.number + ("" if measure.unit == DEGREE else "\N{NARROW NO-BREAK SPACE}") + measure.unit
