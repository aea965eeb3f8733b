"""Captions: narration broken into readable pieces and timed to whole frames, as SRT and WebVTT.

The limits are published practice for subtitles: 42 characters a line, two lines, five sixths of a second to
seven seconds, two frames between one caption and the next, 17 characters a second comfortable and 20 at most.
"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from fractions import Fraction
from functools import cache, lru_cache
from itertools import chain, zip_longest
from pathlib import Path

from lessons.deliver import Delivered, Wishes
from lessons.deliver.footage import Footage
from lessons.deliver.writing import write_text
from lessons.lesson.wording import words_of
from lessons.rendering.manifest import Clip

LINE_CHARACTERS = 42
UPRIGHT_CHARACTERS = 28
"""A line's letters in an upright picture, which is narrower (common practice)."""
LINES = 2
SHORTEST_S = Fraction(5, 6)
LONGEST_S = Fraction(7)
GAP_FRAMES = 2
COMFORTABLE_CPS = 17
MOST_CPS = 20

EXTRA_CAPTION_COST = 0.5

TIMES = re.compile(r"^(\s*[\d:.,]+\s*)-->", re.MULTILINE)
"""The beginning of a time line of SubRip."""


@dataclass(frozen=True, slots=True)
class Caption:
    """Words on the frames [first_frame, end_frame), one or two lines."""

    first_frame: int
    end_frame: int
    lines: tuple[str, ...]

    def cps(self, rate: Fraction) -> float:
        """Characters a second, spaces included."""
        return len(" ".join(self.lines)) * float(rate) / (self.end_frame - self.first_frame)

    def moved(self, frames: int) -> Caption:
        """The same caption, later."""
        return replace(self, first_frame=self.first_frame + frames, end_frame=self.end_frame + frames)


def clip_captions(clip: Clip, language: str | None = None) -> tuple[Caption, ...]:
    """The captions of a clip, from the narration of its steps, or from its translation."""
    shortest, longest = math.ceil(SHORTEST_S * clip.rate), math.floor(LONGEST_S * clip.rate)
    captions: list[Caption] = []
    for step in clip.steps:
        words = step.words(language)
        seconds = (step.end_frame - step.first_frame) / float(clip.rate)
        texts = break_text(words, seconds, language or clip.language, line_characters(clip))
        span, done, at = step.end_frame - step.first_frame, 0, step.first_frame
        # in a step of a few frames, rather more lines than a caption without a frame of its own
        if len(texts) > (most := max(1, span // (GAP_FRAMES + 1))):
            texts = tuple(
                tuple(chain(*texts[k * len(texts) // most : (k + 1) * len(texts) // most])) for k in range(most)
            )
        lengths = [sum(map(len, lines)) for lines in texts]
        fewest = min(GAP_FRAMES + 1, span // max(1, len(texts)))
        for k, (lines, length) in enumerate(zip(texts, lengths, strict=True), 1):
            done += length
            end = step.first_frame + round(span * done / sum(lengths))
            end = max(at + fewest, min(end, step.end_frame - (len(texts) - k) * fewest))
            captions.append(Caption(at, end, lines))
            at = end
    return tuple(_spaced(captions, clip.handle_frames + clip.used_frames, shortest, longest))


def line_characters(clip: Clip) -> int:
    """How many letters a line of a clip's captions has at most."""
    return UPRIGHT_CHARACTERS if clip.height_px > clip.width_px else LINE_CHARACTERS


def _spaced(captions: list[Caption], end_frame: int, shortest: int, longest: int) -> Iterator[Caption]:
    """Two frames between captions, none shorter or longer than is readable, as far as there is room.

    A caption that is too short is given the silence after it; a caption never starts before its words.
    """
    for now, after in zip_longest(captions, captions[1:]):
        room = (after.first_frame - GAP_FRAMES if after else end_frame) - now.first_frame
        wanted = max(now.end_frame - now.first_frame, shortest)
        yield replace(now, end_frame=now.first_frame + max(1, min(wanted, room, longest)))


def lesson_captions(footage: Footage, language: str | None = None) -> tuple[Caption, ...]:
    """The captions of all clips laid end to end."""
    captions = [
        c.moved(at - clip.handle_frames) for at, clip in footage.starts() for c in clip_captions(clip, language)
    ]
    # they were timed in their clips; here only the gap at the cut from one clip to the next is missing
    return tuple(_spaced(captions, footage.frames, 1, footage.frames))


# ------------------------------------------------------------------ breaking


@lru_cache(1024)
def break_text(
    text: str, seconds: float, language: str = "en", most: int = LINE_CHARACTERS
) -> tuple[tuple[str, ...], ...]:
    """The text as captions of one or two lines, broken where a reader would pause.

    Only plain spaces are places to break; a number keeps its unit by a no-break space. A caption is made for
    every seven seconds even when the words would fit in fewer.

    >>> break_text("Aim at the centre of the ghost ball.", 3.0)
    (('Aim at the centre of the ghost ball.',),)
    """
    words = tuple(w for w in re.split(r"[ \t\r\n]+", text) if w)
    if not words:
        return ()
    fewest = min(math.ceil(seconds / float(LONGEST_S)), max(1, len(" ".join(words)) // 20))
    options = []
    for count in range(fewest, len(words) + 1):
        cost, ends = _ends(words, count, language, most)
        if cost < math.inf:
            options.append((cost + (count - fewest) * EXTRA_CAPTION_COST, ends))
        if options and count >= fewest + 2:
            break
    _, ends = min(options)
    return tuple(_lines(words[a:b], language, most) for a, b in zip((0, *ends), ends, strict=False))


def _ends(words: tuple[str, ...], count: int, language: str, most: int) -> tuple[float, tuple[int, ...]]:
    """The cheapest places where `count` captions end; infinitely dear when the words do not fit in them."""
    ideal = len(" ".join(words)) / count

    @lru_cache(None)
    def best(first: int, left: int) -> tuple[float, tuple[int, ...]]:
        if left == 1:
            return _caption_cost(words[first:], ideal, language, most), (len(words),)
        options = []
        for end in range(first + 1, len(words) - left + 2):
            cost = _caption_cost(words[first:end], ideal, language, most)
            if cost == math.inf:
                break
            rest, ends = best(end, left - 1)
            options.append((cost + 3 * _break_cost(words, end, language) + rest, (end, *ends)))
        return min(options, default=(math.inf, ()))

    return best(0, count)


def _caption_cost(words: tuple[str, ...], ideal: float, language: str, most: int) -> float:
    if not _lines(words, language, most):
        return math.inf
    return ((len(" ".join(words)) - ideal) / ideal) ** 2


@lru_cache(4096)
def _lines(words: tuple[str, ...], language: str, most: int) -> tuple[str, ...]:
    """One line, or two broken best; empty when two do not hold them. A word longer than a line stands alone."""
    whole = " ".join(words)
    if len(whole) <= most or len(words) == 1:
        return (whole,)
    splits = []
    for k in range(1, len(words)):
        upper, lower = " ".join(words[:k]), " ".join(words[k:])
        if max(len(upper), len(lower)) <= most:
            uneven = ((len(upper) - len(lower)) / most) ** 2
            splits.append((uneven + _break_cost(words, k, language), (upper, lower)))
    return min(splits)[1] if splits else ()


def _break_cost(words: tuple[str, ...], at: int, language: str) -> float:
    """How bad it is to break before words[at]: best after a sentence, then after a clause, then before a joint."""
    before, after = words[at - 1], words[at]
    bare = before.rstrip("\"'”’)»")
    if bare.endswith((".", "!", "?", "…")):
        return 0.0
    if bare.endswith((",", ";", ":", "–", "—")):
        return 0.2
    joints, leaning = _joints(language)
    if before.lower() in leaning:
        return 1.5
    return 0.35 if after.lower() in joints else 0.6


@cache
def _joints(language: str) -> tuple[frozenset[str], frozenset[str]]:
    """Words before which a line may break, and those, joints too, in which none should end."""
    words = words_of(language)
    return frozenset(words["joints"]), frozenset([*words["joints"], *words["leaning"]])


# ------------------------------------------------------------------ writing


def at_s(frame: int, rate: Fraction) -> timedelta:
    """The frame's time, cut to whole milliseconds.

    Cut and not rounded: a caption is then there when its first frame is shown, and gone at its end frame.
    """
    return timedelta(milliseconds=int(frame * 1000 / rate))


def as_srt(captions: Iterable[Caption], rate: Fraction) -> str:
    """SubRip text. The form has no escape: words that look like its time lines lose their arrow's first stroke."""
    import srt

    return srt.compose(
        srt.Subtitle(k, at_s(c.first_frame, rate), at_s(c.end_frame, rate), TIMES.sub(r"\1->", "\n".join(c.lines)))
        for k, c in enumerate(captions, 1)
    )


def as_webvtt(captions: Iterable[Caption], rate: Fraction) -> str:
    """WebVTT text; what would read as markup is escaped."""
    blocks = ["WEBVTT\n"]
    for c in captions:
        words = "\n".join(html.escape(line, quote=False) for line in c.lines)
        blocks.append(f"{_clock(at_s(c.first_frame, rate))} --> {_clock(at_s(c.end_frame, rate))}\n{words}\n")
    return "\n".join(blocks)


def _clock(time: timedelta) -> str:
    ms = time // timedelta(milliseconds=1)
    return f"{ms // 3600000:02}:{ms // 60000 % 60:02}:{ms // 1000 % 60:02}.{ms % 1000:03}"


def hurried(clip: Clip, captions: Iterable[Caption]) -> Iterator[str]:
    """One sentence for every caption that has to be read faster than is comfortable, or is too wide."""
    for c in captions:
        speed, words = c.cps(clip.rate), " ".join(c.lines)
        shown = words if len(words) < 40 else words[:37].rstrip() + "…"
        if max(map(len, c.lines)) > line_characters(clip):
            yield f"{clip.where}: a word in {shown!r} is wider than a line of {line_characters(clip)} characters."
        if speed > MOST_CPS:
            yield (
                f"{clip.where}: the caption {shown!r} needs {speed:.1f} characters a second, more than "
                f"the {MOST_CPS} that can be read; say less or give the step more time."
            )
        elif speed >= COMFORTABLE_CPS:
            yield (
                f"{clip.where}: the caption {shown!r} runs at {speed:.1f} characters a second; "
                f"up to {COMFORTABLE_CPS} is comfortable."
            )


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """captions/<clip>.srt and .vtt for every clip with words, and <lesson>.srt and .vtt for all of them.

    A translation's have its language before the ending: <clip>.de.srt, <lesson>.de.vtt.
    """
    files: list[Path] = []
    warnings: list[str] = []

    def write(stem: Path, captions: tuple[Caption, ...], rate: Fraction) -> None:
        files.append(write_text(stem.with_name(stem.name + ".srt"), as_srt(captions, rate)))
        files.append(write_text(stem.with_name(stem.name + ".vtt"), as_webvtt(captions, rate)))

    for language in (None, *footage.translations):
        mark = "" if language is None else f".{language}"
        for clip in footage.clips:
            captions = clip_captions(clip, language)
            if captions:
                write(footage.folder / "captions" / (clip.name + mark), captions, clip.rate)
                warnings += hurried(clip, captions)
        whole = lesson_captions(footage, language)
        if whole:
            write(footage.folder / (footage.identity + mark), whole, footage.rate)
    return Delivered(tuple(files), tuple(warnings))
