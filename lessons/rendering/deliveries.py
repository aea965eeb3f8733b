"""What was delivered: a record for every delivery, so that the next one can tell what changed.

`deliveries/0001.json` and so on are the records, whole files that are never written again. A clip's `identity` and
a step's are given at its first delivery and stay when names change. When a clip that was delivered is rendered
anew, its earlier file is kept in `deliveries/earlier` until the next delivery has compared the two.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Container, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import orjson
from pydantic import TypeAdapter, ValidationError

from lessons.planning.lengths import shows
from lessons.planning.planned import PlannedClip
from lessons.rendering.manifest import Clip, Inside, Manifest, ManifestError, Name, Rate, Step, as_json
from scenes.files import part_path, write_whole

FOLDER = "deliveries"
EARLIER = "earlier"
SCHEMA = 1


@dataclass(frozen=True, slots=True)
class StepDelivered:
    """A step on the frames [first_frame, end_frame) of its clip without handles; words by language, '' its own."""

    identity: str
    name: str
    first_frame: int
    end_frame: int
    words: dict[str, str]

    @property
    def frames(self) -> int:
        """Its length."""
        return self.end_frame - self.first_frame


@dataclass(frozen=True, slots=True)
class ClipDelivered:
    """A clip as it was delivered. `shows` is a digest of what it is about: kind, method, eye and shots.

    `version` counts the different files that were delivered of it, from 1.
    """

    identity: str
    version: int
    name: Name
    file: Inside
    sha256: str
    shows: str
    frames: int
    handle_frames: int
    rate: Rate
    width_px: int
    height_px: int
    steps: tuple[StepDelivered, ...]


@dataclass(frozen=True, slots=True)
class StepChange:
    """What is different in the frames [first_frame, end_frame) of a clip, handles left out, in a sentence."""

    step: str
    first_frame: int
    end_frame: int
    says: str


@dataclass(frozen=True, slots=True)
class Change:
    """What became of a clip: `kinds` of new, gone, renamed, pictures, sound, words, length, steps, file, moved.

    `before` and `now` are its first frame and its end on the timeline; None where it was not, or is not. `picture`
    is the file with the clip before and now, in the deliveries' folder.
    """

    identity: str
    name: str
    kinds: tuple[str, ...]
    before: tuple[int, int] | None
    now: tuple[int, int] | None
    was_called: str | None = None
    steps: tuple[StepChange, ...] = ()
    picture: str | None = None

    @property
    def only_moved(self) -> bool:
        """True when the clip is as it was, and stands elsewhere on the timeline."""
        return self.kinds == ("moved",)


@dataclass(frozen=True, slots=True)
class Delivery:
    """One delivery: its clips in order, its changes, and the files named after a clip with their SHA-256."""

    number: int
    title: str
    language: str
    clips: tuple[ClipDelivered, ...]
    changes: tuple[Change, ...] = ()
    files: dict[Inside, str] | None = None
    schema: int = SCHEMA

    def by_name(self) -> dict[str, ClipDelivered]:
        """The clips by name."""
        return {clip.name: clip for clip in self.clips}

    def starts(self) -> dict[str, int]:
        """Each clip's first frame on the timeline, by identity."""
        at, found = 0, {}
        for clip in self.clips:
            found[clip.identity] = at
            at += clip.frames
        return found


_DELIVERY = TypeAdapter(Delivery)
_Step = TypeVar("_Step", StepDelivered, Step)


# ------------------------------------------------------------------ on the disk


def numbers(folder: Path) -> tuple[int, ...]:
    """The numbers of the deliveries that are recorded, the last one last."""
    return tuple(sorted(int(p.stem) for p in (folder / FOLDER).glob("*.json") if p.stem.isdecimal()))


def record_path(folder: Path, number: int) -> Path:
    """Where a delivery's record lies."""
    return folder / FOLDER / f"{number:04}.json"


def read_delivery(folder: Path, number: int) -> Delivery:
    """A delivery's record; ManifestError when it is not there or says something else."""
    path = record_path(folder, number)
    try:
        return _DELIVERY.validate_python(orjson.loads(path.read_bytes()))
    except FileNotFoundError:
        known = ", ".join(map(str, numbers(folder))) or "none"
        raise ManifestError(f"{folder}: there is no record of delivery {number}; there are: {known}.") from None
    except (orjson.JSONDecodeError, ValidationError):
        raise ManifestError(
            f"{path}: this is no record of a delivery; put back the file as it was, or remove it."
        ) from None


def last_delivery(folder: Path) -> Delivery | None:
    """The last delivery that is recorded; None before the first one. ManifestError as `read_delivery`."""
    known = numbers(folder)
    return read_delivery(folder, known[-1]) if known else None


def write_delivery(folder: Path, delivery: Delivery) -> None:
    """Write the record."""
    path = record_path(folder, delivery.number)
    path.parent.mkdir(exist_ok=True)
    write_whole(path, as_json(delivery) + b"\n")


def delivered_sha256(folder: Path) -> frozenset[str]:
    """The files of the last delivery, by their SHA-256; none when it can't be read, which `deliver` will tell."""
    with suppress(ManifestError):
        if last := last_delivery(folder):
            return frozenset(clip.sha256 for clip in last.clips)
    return frozenset()


def earlier_path(folder: Path, file: str, sha256: str) -> Path:
    """Where a delivered clip's file is kept once another has its name."""
    return folder / FOLDER / EARLIER / (sha256 + Path(file).suffix)


def keep_earlier(folder: Path, file: str, sha256: str) -> None:
    """Keep a clip's file, as a second name of it where the disk has such; nothing when it is not there."""
    kept = earlier_path(folder, file, sha256)
    if kept.exists() or not (folder / file).is_file():
        return
    kept.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.link(folder / file, kept)
    except OSError:
        part = part_path(kept)
        try:
            shutil.copyfile(folder / file, part)
            os.replace(part, kept)
        finally:
            part.unlink(missing_ok=True)


def forget_earlier(folder: Path) -> None:
    """Remove the earlier files: the delivery that they were kept for is done."""
    shutil.rmtree(folder / FOLDER / EARLIER, ignore_errors=True)


# ------------------------------------------------------------------ identities


def recorded(manifest: Manifest, before: Delivery | None = None) -> Delivery:
    """The clips of a manifest as the delivery after `before`, each under the identity that it had there.

    A clip that has another name is known by its file; or by what it shows, where one alone of those that are gone
    and one alone of the new ones show it.
    """
    old = before.clips if before else ()
    same = _same_clips(old, manifest.clips, {clip.name: clip.sha256 for clip in manifest.clips})
    identities = _identities(manifest.lesson.identity, [clip.name for clip in manifest.clips], old, same)
    clips = []
    for clip in manifest.clips:
        was, identity = same.get(clip.name), identities[clip.name]
        version = 1 if was is None else was.version + (was.sha256 != clip.sha256)
        clips.append(
            ClipDelivered(
                identity, version, clip.name, clip.file, clip.sha256, shows(clip), clip.used_frames,
                clip.handle_frames, clip.rate, clip.width_px, clip.height_px,
                _steps(clip, identity, was.steps if was else ()),
            )
        )  # fmt: skip
    number = before.number + 1 if before else 1
    return Delivery(number, manifest.lesson.title, manifest.lesson.language, tuple(clips))


def reels(folder: Path, lesson: str, clips: Sequence[PlannedClip]) -> dict[str, str]:
    """The reel of each planned clip, by name: the same for the same clip as long as deliveries tell it is."""
    old: tuple[ClipDelivered, ...] = ()
    with suppress(ManifestError):  # `deliver` will tell of a record that can't be read
        if last := last_delivery(folder):
            old = last.clips
    found = _identities(lesson, [clip.name for clip in clips], old, _same_clips(old, clips, {}))
    return {name: reel(identity) for name, identity in found.items()}


def reel(identity: str) -> str:
    """A reel's name: eight letters at most, and lasting.

    >>> reel("0123456789ab")
    '01234567'
    """
    return identity[:8].upper()


def _identities(
    lesson: str, names: Iterable[str], old: Iterable[ClipDelivered], same: Mapping[str, ClipDelivered]
) -> dict[str, str]:
    """Each clip's identity: that of the earlier clip that it is, else one of its own."""
    taken = {clip.identity for clip in old}
    found = {}
    for name in names:
        found[name] = same[name].identity if name in same else _unused(_short(f"{lesson}/{name}"), taken)
        taken.add(found[name])
    return found


def _same_clips(
    old: Iterable[ClipDelivered], new: Iterable[Clip | PlannedClip], files: Mapping[str, str]
) -> dict[str, ClipDelivered]:
    """The earlier clip of each, by the name of now; `files` are the SHA-256 of those that are rendered."""
    by_name = {clip.name: clip for clip in old}
    same = {clip.name: by_name[clip.name] for clip in new if clip.name in by_name}
    gone = [clip for clip in old if clip.name not in same]
    added = [clip for clip in new if clip.name not in same]
    for is_by_file in (True, False):
        for new_one in tuple(added):
            key = files.get(new_one.name) if is_by_file else shows(new_one)
            was = [clip for clip in gone if (clip.sha256 if is_by_file else clip.shows) == key]
            now = [clip for clip in added if (files.get(clip.name) if is_by_file else shows(clip)) == key]
            if len(was) == len(now) == 1:
                same[new_one.name] = was[0]
                gone.remove(was[0])
                added.remove(new_one)
    return same


def _steps(clip: Clip, of: str, old: tuple[StepDelivered, ...]) -> tuple[StepDelivered, ...]:
    """The steps, those that were there before under the identities that they had."""
    same = _same_steps(old, clip.steps)
    taken = {step.identity for step in old}
    steps = []
    for step in clip.steps:
        identity = same.get(step.name) or _unused(f"{of}.{_short(step.name)[:6]}", taken)
        taken.add(identity)
        first, end = step.first_frame - clip.handle_frames, step.end_frame - clip.handle_frames
        words = {"": step.narration, **step.translations}
        steps.append(StepDelivered(identity, step.name, first, end, words))
    return tuple(steps)


def _same_steps(old: Sequence[StepDelivered], new: Sequence[Step]) -> dict[str, str]:
    """The earlier identity of each step that was there, by its name of now.

    A step that was renamed stands after the same step as before, and has its words or its length still.
    """
    names = {step.name for step in old} & {step.name for step in new}
    same = {step.name: step.identity for step in old if step.name in names}
    gone, added = _after(old, names), _after(new, names)
    for behind, steps in added.items():
        left = list(gone.get(behind, ()))
        for step in steps:
            said = [one for one in left if step.narration and one.words.get("") == step.narration]
            long = [one for one in left if one.frames == step.end_frame - step.first_frame]
            if found := [*said, *long]:
                same[step.name] = found[0].identity
                left.remove(found[0])
    return same


def _after(steps: Iterable[_Step], names: Container[str]) -> dict[str, list[_Step]]:
    """Those steps that have none of these names, by the last one before them that has."""
    found: dict[str, list[_Step]] = {}
    behind = ""
    for step in steps:
        if step.name in names:
            behind = step.name
        else:
            found.setdefault(behind, []).append(step)
    return found


def _short(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def _unused(wanted: str, taken: Container[str]) -> str:
    """The identity, with a number behind it where another clip has it.

    >>> _unused("ab", {"ab", "ab-2"})
    'ab-3'
    """
    number = 1
    while (found := wanted if number == 1 else f"{wanted}-{number}") in taken:
        number += 1
    return found
