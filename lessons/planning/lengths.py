"""Locked lengths: a clip that was delivered keeps its frames, whatever becomes of its words and drawings.

When the lesson says `output: {lengths: locked}`, `aimgeo deliver` writes the lengths into a file beside it, and
every plan reads them there. Steps move inside the clip where they can.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import orjson
from pydantic import TypeAdapter, ValidationError

from aimgeo.units import written
from lessons.lesson.faults import Fault
from lessons.lesson.timing import spoken_s, step_frames
from lessons.planning.planned import ScratchVoice
from scenes.board.brief import Output
from scenes.files import write_whole
from scenes.kinds import CLIP_KINDS

if TYPE_CHECKING:
    from lessons.lesson.model import Lesson
    from lessons.planning.planned import PlannedClip

FASTER = 1.1
"""Words may be said faster than planned by so much, where that keeps a length."""


class Shown(Protocol):
    """A clip, planned or delivered."""

    @property
    def kind(self) -> str: ...
    @property
    def method(self) -> str | None: ...
    @property
    def eye(self) -> str | None: ...
    @property
    def cut_deg(self) -> float | None: ...
    @property
    def side(self) -> str | None: ...
    @property
    def distance_name(self) -> str | None: ...
    @property
    def shots(self) -> Sequence[Any]: ...


@dataclass(frozen=True, slots=True)
class Lengths:
    """The frames of a clip's steps by name, in order, at a rate; `shows` is what it is about."""

    shows: str
    rate: tuple[int, int]
    steps: dict[str, int]


_FILE = TypeAdapter(dict[str, Lengths])


def shows(clip: Shown) -> str:
    """A digest of what a clip is about: kind, method, eye and shots, and nothing that is only said."""
    shots = sorted(shot.identity for shot in clip.shots) or (clip.cut_deg, clip.side, clip.distance_name)
    told = repr((clip.kind, clip.method, clip.eye, shots))
    return hashlib.sha256(told.encode()).hexdigest()[:12]


# ------------------------------------------------------------------ the file


def lengths_path(lesson_file: str, language: str, first_language: str) -> Path:
    """The file beside the lesson: `demo.lengths.json`, `demo.de.lengths.json` for pictures in another language."""
    path = Path(lesson_file)
    mark = "" if language == first_language else f".{language}"
    return path.with_name(f"{path.stem}{mark}.lengths.json")


def read_lengths(path: Path) -> dict[str, Lengths]:
    """The locked lengths by clip; none before the first delivery. ValueError when the file says something else."""
    try:
        return _FILE.validate_python(orjson.loads(path.read_bytes()))
    except FileNotFoundError:
        return {}
    except (OSError, orjson.JSONDecodeError, ValidationError):
        raise ValueError(
            f"{path.as_posix()} holds no lengths; put it back as it was, or remove it and deliver again."
        ) from None


def write_lengths(path: Path, locked: Mapping[str, Lengths]) -> None:
    """Write the file, a clip a line."""
    lines = [orjson.dumps(name) + b": " + orjson.dumps(one) for name, one in locked.items()]
    write_whole(path, b"{\n" + b",\n".join(lines) + b"\n}\n")


def known(clips: Iterable[Shown], names: Sequence[str], locked: Mapping[str, Lengths]) -> dict[str, Lengths]:
    """The locked lengths of clips, by their names of now: by name, or by what one clip alone shows."""
    found = {name: locked[name] for name in names if name in locked}
    free = [one for name, one in locked.items() if name not in found]
    left = [(name, shows(clip)) for name, clip in zip(names, clips, strict=True) if name not in found]
    for name, what in left:
        fitting = [one for one in free if one.shows == what]
        if len(fitting) == 1 and [w for _, w in left].count(what) == 1:
            found[name] = fitting[0]
    return found


# ------------------------------------------------------------------ planning


def lock(
    lesson: Lesson, clips: tuple[PlannedClip, ...], path: Path, faults: list[Fault]
) -> tuple[PlannedClip, ...]:
    """The clips with the lengths that they were delivered with; a fault for each whose words no longer fit."""
    try:
        locked = known(clips, [clip.name for clip in clips], read_lengths(path))
    except ValueError as error:
        faults.append(Fault(lesson.place("output", "lengths"), str(error), "step"))
        return clips
    return tuple(
        _locked(lesson, clip, locked[clip.name], path, faults) if clip.name in locked else clip for clip in clips
    )


def _locked(lesson: Lesson, clip: PlannedClip, lengths: Lengths, path: Path, faults: list[Fault]) -> PlannedClip:
    brief = clip.brief
    delivered = at_rate(lengths, brief.output.rate)
    total = sum(delivered.values())
    was = [delivered.get(step.name, 0) for step in brief.steps]
    now = [step.frames for step in brief.steps]
    is_fixed = _fixed(lesson, clip)
    least = [n if fixed else m for n, m, fixed in zip(now, _least(lesson, clip), is_fixed, strict=True)]
    found = fitted(was, least, is_fixed, total)
    if found is not None:
        steps = tuple(replace(step, frames=count) for step, count in zip(brief.steps, found, strict=True))
        return replace(clip, brief=replace(brief, steps=steps))
    rate = Fraction(*brief.output.rate)
    more = float((sum(least) - total) / rate)
    worst = max(range(len(least)), key=lambda k: least[k] - was[k])
    before, needed = (written(float(count / rate), 1) for count in (was[worst], least[worst]))
    words = math.ceil(more * lesson.keys.speech.words_a_minute * FASTER / 60)
    faults.append(
        Fault(
            clip.place,
            f"{clip.name} is locked at {written(float(total / rate), 1)} s and needs {written(more, 1)} s more, "
            f"most of it in step '{brief.steps[worst].name}' ({before} s, now {needed} s at least): say some "
            f"{words} words less there, or remove its line from {path.name}, and it gets a new length.",
            "step",
        )
    )
    return clip


def at_rate(lengths: Lengths, rate: tuple[int, int]) -> dict[str, int]:
    """The steps' frames at another rate: each step starts on the nearest frame."""
    scale = Fraction(*rate) / Fraction(*lengths.rate)
    found, at = {}, 0
    for name, frames in lengths.steps.items():
        found[name] = round((at + frames) * scale) - round(at * scale)
        at += frames
    return found


def _fixed(lesson: Lesson, clip: PlannedClip) -> list[bool]:
    """Steps whose length is not the words' to decide: the lesson's seconds, a recording's marks, footage.

    The last step of a recording may stand in silence.
    """
    if clip.sound is not None and not isinstance(clip.sound, ScratchVoice):
        return [True] * (len(clip.brief.steps) - 1) + [False]
    if clip.footage is not None:
        return [True] * len(clip.brief.steps)
    speech = lesson.keys.speech
    outline = CLIP_KINDS[clip.kind].outline(clip.brief.subject)
    return [
        step.frames
        != step_frames(
            clip.brief.output,
            step.narration,
            told.draws_s,
            words_a_minute=speech.words_a_minute,
            pause_s=speech.pause or 0.0,
        )
        for step, told in zip(clip.brief.steps, outline, strict=True)
    ]


def _least(lesson: Lesson, clip: PlannedClip) -> list[int]:
    """The frames that each step's words and drawing take at least."""
    if clip.sound is not None and not isinstance(clip.sound, ScratchVoice):
        return [step.frames for step in clip.brief.steps]
    speech, output = lesson.keys.speech, clip.brief.output
    outline = CLIP_KINDS[clip.kind].outline(clip.brief.subject)
    return [
        _needs(output, step.narration, told.draws_s, speech.words_a_minute * FASTER, speech.pause or 0.0)
        for step, told in zip(clip.brief.steps, outline, strict=True)
    ]


def _needs(output: Output, narration: str, draws_s: float, words_a_minute: float, pause_s: float) -> int:
    return output.frames(max(spoken_s(narration, words_a_minute, pause_s), draws_s))


def fitted(was: Sequence[int], least: Sequence[int], is_fixed: Sequence[bool], total: int) -> list[int] | None:
    """Lengths of steps that come to `total`, none shorter than it needs, as near to what they were as can be.

    What a step needs more is taken from the steps nearest to it that have room; what is over goes to the last step
    that is not fixed. None when it can't be.

    >>> fitted([100, 50, 80], [60, 70, 80], [False] * 3, 230)
    [80, 70, 80]
    >>> fitted([100, 50], [100, 51], [False] * 2, 150) is None
    True
    """
    lengths = [n if fixed else max(w, n) for w, n, fixed in zip(was, least, is_fixed, strict=True)]
    more = sum(lengths) - total
    grown = [k for k, (length, w) in enumerate(zip(lengths, was, strict=True)) if length > w] or [len(was) - 1]
    for k in sorted(range(len(was)), key=lambda k: (min(abs(k - g) for g in grown), -k)):
        given = min(max(more, 0), lengths[k] - least[k])
        lengths[k] -= given
        more -= given
    free = [k for k, fixed in enumerate(is_fixed) if not fixed]
    if more > 0 or (more < 0 and not free):
        return None
    if more < 0:
        lengths[free[-1]] -= more
    return lengths
