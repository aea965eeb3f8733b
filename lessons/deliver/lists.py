"""Lists for people and video platforms: every clip as a row of a table, and chapters with titles to read."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from lessons.deliver import Delivered, Wishes
from lessons.deliver.footage import Footage
from lessons.deliver.pictures import about
from lessons.deliver.timecode import timecode_of
from lessons.deliver.writing import write_text
from lessons.lesson.wording import Wording
from lessons.rendering.deliveries import recorded
from lessons.rendering.manifest import Clip
from scenes.kinds import CLIP_KINDS

COLUMNS = (
    "name", "file", "kind", "method", "cut_deg", "side", "distance", "eye", "in", "out", "frames", "seconds",
    "version", "identity", "sha256", "words",
)  # fmt: skip

SHORTEST_CHAPTER_S = 10
"""Video platforms ask for chapters of at least so long, the first at 0:00 (common practice)."""


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """<lesson>_shots.csv and <lesson>_chapters.txt."""
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(rows(footage, wishes))
    stem = footage.folder / footage.identity
    chapters = "".join(f"{clock(at, footage.rate)} {title}\n" for at, title in chapter_list(footage, wishes))
    return Delivered(
        (
            write_text(stem.with_name(f"{stem.name}_shots.csv"), "\ufeff" + table.getvalue()),
            write_text(stem.with_name(f"{stem.name}_chapters.txt"), chapters),
        )
    )


def rows(footage: Footage, wishes: Wishes) -> Iterator[tuple[Any, ...]]:
    """A row a clip: what it shows, where it stands on the timeline, its version, and what is said."""
    known = (wishes.delivery or recorded(footage.manifest)).by_name()
    timecode = timecode_of(footage.rate, wishes.non_drop)
    for at, clip in footage.starts():
        first = timecode.start_frame + at
        cut = None if clip.hides_its_answer else clip.cut_deg
        yield (
            clip.name, clip.file, clip.kind, clip.method, cut, None if clip.hides_its_answer else clip.side,
            clip.distance_name, clip.eye, timecode.name(first), timecode.name(first + clip.used_frames),
            clip.used_frames, f"{float(clip.used_frames / clip.rate):.3f}", known[clip.name].version,
            known[clip.name].identity, clip.sha256,
            " ".join(step.narration for step in clip.steps if step.narration),
        )  # fmt: skip


def chapter_list(footage: Footage, wishes: Wishes) -> tuple[tuple[int, str], ...]:
    """The chapters, each with its first frame.

    A card belongs to the clip after it and gives the chapter its title; what is shorter than a chapter may be
    belongs to the one before it.
    """
    words = footage.wording()
    shortest = SHORTEST_CHAPTER_S * footage.rate
    found: list[tuple[int, str]] = []
    card: tuple[int, str] | None = None
    for at, clip in footage.starts():
        if CLIP_KINDS[clip.kind].is_card and wishes.titles.get(clip.name):
            card = (card[0] if card else at, wishes.titles[clip.name])
            continue
        start, title = card or (at, titled(clip, words))
        if found and start - found[-1][0] < shortest:
            # too close to the one before: its title stays, unless a card gives a new one
            if card:
                found[-1] = (found[-1][0], title)
        else:
            found.append((start, title))
        card = None
    if card and (not found or card[0] - found[-1][0] >= shortest):
        found.append(card)
    if found and footage.frames - found[-1][0] < shortest and len(found) > 1:
        found.pop()
    return tuple((0 if k == 0 else at, title) for k, (at, title) in enumerate(found))


def titled(clip: Clip, words: Wording) -> str:
    """A clip's title as people read it: the method and the kind, and the shot.

    A method's build-up and its eye clips need no word for their kind: the shot tells the eye.
    """
    names = words.words["names"]
    method = names.get(clip.method or "")
    needs_kind = method is None or clip.kind not in ("build-up", "players-eye")
    what = ", ".join(filter(None, (method, names[f"kind.{clip.kind}"] if needs_kind else None)))
    what = what[:1].upper() + what[1:]
    shot = about(clip, words).rpartition(", ")[0]
    return f"{what}: {shot}" if shot else what


def clock(frames: int, rate: Fraction) -> str:
    """A time as platforms read it, in whole seconds.

    >>> clock(0, Fraction(25)), clock(25 * 75, Fraction(25)), clock(25 * 3700, Fraction(25))
    ('0:00', '1:15', '1:01:40')
    """
    seconds = int(frames / rate)
    hours, minutes = seconds // 3600, seconds // 60 % 60
    return f"{hours}:{minutes:02}:{seconds % 60:02}" if hours else f"{minutes}:{seconds % 60:02}"
