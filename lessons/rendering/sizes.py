"""About how large clips' files will be: told before anything is rendered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction

from lessons.planning.planned import PlannedClip
from scenes.kinds import CLIP_KINDS

BYTES: Mapping[str, tuple[float, float, float]] = {
    "h264": (2.8e-3, 4.3e-3, 9.1e-3),
    "draft": (3.5e-3, 4.9e-3, 7.6e-3),
    "prores": (0.20, 0.16, 0.40),
    "prores-once": (0.045, 0.038, 0.085),
    "prores-alpha": (0.40, 0.31, 0.35),
    "prores-alpha-once": (0.090, 0.070, 0.062),
    "png-alpha": (0.19, 0.12, 0.13),
    "png-alpha-once": (0.043, 0.029, 0.022),
    "vp9-alpha": (1.5e-3, 2.0e-3, 1.6e-3),
}
"""Bytes a frame and pixel of cards, of clips from above and through the eye, at 960 by 540 and 25 frames a second.

Measured on a title, a build-up and a player's eye; H.264 (and drafts, at 640 by 360) since pictures move with the
words, also at 320 by 180 and 1920 by 1080, which gave the powers below.
"""

OVER_FOOTAGE = {"prores-alpha": 0.15, "png-alpha": 0.07, "vp9-alpha": 2.2e-3}
"""The same of clips over footage, where most of the frame is empty: of five, 720 by 1280 to 1599 by 899."""

SCALED = ("h264", "draft")
"""Forms of which a pixel needs less in a larger picture, and in one of more a second; others are as measured."""
REFERENCE_PX, REFERENCE_RATE = 960 * 540, 25.0
BY_PIXELS, BY_RATE = -0.35, -0.72

FACTOR = 2.0
"""Files are between the estimate divided and multiplied by this."""


def estimated_bytes(clips: Iterable[PlannedClip], form: str) -> float:
    """About how many bytes the clips' files have together, in a form."""
    return sum(_bytes(clip, clip.form(form)) for clip in clips)


def _bytes(clip: PlannedClip, form: str) -> float:
    output = clip.brief.output
    card, above, eye = BYTES[form]
    if clip.footage is not None and form in OVER_FOOTAGE:
        each = OVER_FOOTAGE[form]
    elif CLIP_KINDS[clip.kind].is_card:
        each = card
    else:
        each = above if clip.brief.subject.eye is None else eye
    pixels = output.width_px * output.height_px
    if form in SCALED:
        each *= (pixels / REFERENCE_PX) ** BY_PIXELS * (float(Fraction(*output.rate)) / REFERENCE_RATE) ** BY_RATE
    return clip.frames * pixels * each


def size_text(count: float) -> str:
    """So many bytes for people.

    >>> size_text(3.4e9), size_text(52_000_000), size_text(900)
    ('3.4 GB', '52 MB', '1 MB')
    """
    return f"{count / 1e9:.1f} GB" if count >= 1e9 else f"{max(round(count / 1e6), 1)} MB"


def size_sentence(clips: Iterable[PlannedClip], form: str) -> str:
    """The estimate in a sentence, with its bounds."""
    clips = tuple(clips)
    found = estimated_bytes(clips, form)
    form = " and ".join(dict.fromkeys(clip.form(form) for clip in clips)) or form
    low, high = size_text(found / FACTOR), size_text(found * FACTOR)
    return f"The files take about {size_text(found)} as {form} (between {low} and {high})."
