"""The words over an eye's picture: titles and pips, the heading, and from where the perspective is true."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from aimgeo.construct import Quantity
from aimgeo.units import written
from scenes.board import Pixel, Shade, Text
from scenes.board.brief import BriefStep, EyeSpec, MeasureText
from scenes.board.motion import Sheet, Span, frames_of
from scenes.board.timing import TIMING
from scenes.frame.column import even_lines, joined, put_pips
from scenes.frame.layout import Layout


def put_scrim(sheet: Sheet, frame: Layout, part: float = 0.30) -> None:
    """Dark over the upper part of the picture, where the words stand."""
    shade = Shade((0.0, 0.0, float(frame.width_px), part * frame.height_px), "scrim_top")
    sheet.put("scrim", shade, "line_under", opacity=1.0)


def title_lines(title: str, frame: Layout, room_px: float) -> tuple[str, ...]:
    """A title on one line where it fits, else on as few even ones as can be."""
    words = " ".join(title.split())
    return even_lines(words, room_px, lambda text: frame.scale.text_width_px(text, "title"))


def put_titles(
    sheet: Sheet,
    frame: Layout,
    steps: Sequence[BriefStep],
    spans: Sequence[Span],
    rate: tuple[int, int],
    room_px: float,
) -> None:
    """The titles and pips of all steps, each from its step's beginning to its end."""
    fade = frames_of(TIMING.fade_s, rate)
    half = max(fade // 2, 1)
    last = len(steps) - 1
    for i, (step, (first, end)) in enumerate(zip(steps, spans, strict=True)):
        for n, line in enumerate(title_lines(step.title, frame, room_px)):
            at = (frame.title_px[0], frame.title_px[1] + n * frame.title_pitch_px)
            id = sheet.put(f"title.{i}.{n}", Text(line, at, "title"), "text", "title", opacity=0.0 if i else 1.0)
            if i:
                sheet.show(id, (first + half, first + fade))
            if i < last:
                sheet.hide(id, (end, end + half))
        turn = (first, first + 1) if i else None
        put_pips(sheet, frame, f"pips.{i}", len(steps), i, turn, (end, end + 1) if i < last else None)


def beside_pips_px(frame: Layout) -> float:
    """The baseline of small words level with the pips."""
    return frame.pips_px[1] + 0.36 * frame.scale.text_px("small")


def put_heading(sheet: Sheet, labels: Mapping[str, str], at: Pixel, align: str) -> None:
    """The shot in words."""
    if "heading" in labels:
        sheet.put("heading", Text(labels["heading"], at, "small", align), "text", "heading", opacity=1.0)


def put_note(
    sheet: Sheet,
    labels: Mapping[str, str],
    widths: float,
    at: Pixel,
    align: str,
    id: str = "note",
    on: bool = True,
) -> str | None:
    """From how many picture widths away the perspective is true; the element's id, or None without the words."""
    if "viewing_distance" not in labels:
        return None
    words = note_words(labels, widths)
    return sheet.put(id, Text(words, at, "small", align), "text", "note", opacity=1.0 if on else 0.0)


def note_words(labels: Mapping[str, str], widths: float) -> str:
    """From how many picture widths away the perspective is true, in words; empty without them."""
    return labels.get("viewing_distance", "").replace("{widths}", decimal(widths, labels))


def decimal(value: float, labels: Mapping[str, str]) -> str:
    """A number to one decimal, with the decimal mark of the picture's language.

    >>> decimal(1.25, {"decimal": ","}), decimal(1.0, {})
    ('1,3', '1.0')
    """
    return written(value, 1, labels.get("decimal", "."))


def fitted(words: str, room_px: float, frame: Layout, style: str = "label") -> str:
    """The words, capitalised, cut with an ellipsis where there is no room."""
    text = words[:1].upper() + words[1:]
    while len(text) > 2 and frame.scale.text_width_px(text, style) > room_px:
        text = text.rstrip("…")[:-1].rstrip() + "…"
    return text


# ------------------------------------------------------------------ where the head is

STANDING_MM = 600.0
"""An eye so high above the cloth belongs to somebody who stands: judged."""
OVER_MM = 3.0
"""Less beside the line is over it."""
HALF_BETWEEN_EYES_MM = (26.0, 38.0)
"""Half the distance between the pupils of grown-ups, 52 to 76 mm (from memory of tables of spectacle fitting):
with an eye so far beside the line the chin is on it."""


def body_of(eye: EyeSpec) -> str:
    """How the body stands for this eye, as the key of a measure and of a sentence."""
    beside = abs(eye.offset_mm)
    if eye.height_mm >= STANDING_MM:
        return "eye_standing" if beside < OVER_MM else "eye_standing_beside"
    if beside < OVER_MM:
        return "eye_over"
    if HALF_BETWEEN_EYES_MM[0] <= beside <= HALF_BETWEEN_EYES_MM[1]:
        return "eye_chin_left" if eye.offset_mm > 0 else "eye_chin_right"
    return "eye_left" if eye.offset_mm > 0 else "eye_right"


def told_apart(eyes: Sequence[EyeSpec]) -> tuple[tuple[str, Quantity], ...]:
    """Each eye as the key of a measure and the measure: how the body stands, or where two eyes stand alike, what
    differs: height, else how far back."""
    bodies = [(body_of(eye), Quantity(abs(eye.offset_mm), "length_mm")) for eye in eyes]
    told = []
    for (key, beside), eye in zip(bodies, eyes, strict=True):
        alike = [other for (body, _), other in zip(bodies, eyes, strict=True) if body == key]
        if len({other.height_mm for other in alike}) > 1:
            told.append(("eye_height", Quantity(eye.height_mm, "distance_mm")))
        elif len({other.back_mm for other in alike}) > 1:
            told.append(("eye_back", Quantity(eye.back_mm, "distance_mm")))
        else:
            told.append((key, beside))
    return tuple(told)


def body_words(measure: MeasureText) -> str:
    """An eye in words of the body, with the number where the words leave that open."""
    is_open = measure.key in ("eye_left", "eye_right", "eye_standing_beside", "eye_height", "eye_back")
    return f"{measure.name}: {joined(measure)}" if is_open else measure.name
