"""A folder of rendered clips as its manifest.json describes it, and whether the files keep its word."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path, PurePosixPath
from typing import Any

from aimgeo.shot import BALL_DIAMETER_MM
from lessons.lesson.wording import LANGUAGES, Wording, words_of
from scenes.kinds import CLIP_KINDS

FILE_NAME = "manifest.json"
SCHEMA = 1


class ManifestError(Exception):
    """A manifest that cannot be used: the sentence says where, what, and what to do next."""


@dataclass(frozen=True, slots=True)
class Step:
    """The frames [first_frame, end_frame) of a step, and the words spoken during it.

    `translations` are the same words in the lesson's other languages, by their codes.
    """

    name: str
    first_frame: int
    end_frame: int
    narration: str
    translations: Mapping[str, str] = field(default_factory=dict)

    def words(self, language: str | None) -> str:
        """The words in another language of the lesson, or in that of the pictures."""
        return self.narration if language is None else self.translations.get(language, "")


@dataclass(frozen=True, slots=True)
class Clip:
    """A rendered clip. `entry` is its whole manifest entry, for those who need more than the fields here.

    `language` is that of its pictures and narration.
    """

    name: str
    file: str
    kind: str
    width_px: int
    height_px: int
    rate: Fraction
    frames: int
    sha256: str
    steps: tuple[Step, ...]
    entry: Mapping[str, Any]
    language: str = "en"
    handle_frames: int = 0

    @property
    def used_frames(self) -> int:
        """The clip without its handles: what stands on a timeline, from frame `handle_frames` on."""
        return self.frames - 2 * self.handle_frames

    @property
    def where(self) -> str:
        """The place in the lesson that made the clip, as `file:line`."""
        source = self.entry.get("source") or {}
        return f"{source['file']}:{source['line']}" if source else FILE_NAME

    @property
    def hides_its_answer(self) -> bool:
        """True when showing anything but the opening would give the answer away."""
        kind = CLIP_KINDS.get(self.kind)
        return kind is not None and kind.is_secret


@dataclass(frozen=True, slots=True)
class Footage:
    """A folder of clips in the lesson's order. `lesson` and `made_with` are as in the manifest."""

    folder: Path
    title: str
    identity: str
    lesson: Mapping[str, Any]
    made_with: Mapping[str, Any]
    clips: tuple[Clip, ...]

    def path(self, clip: Clip) -> Path:
        """Where the clip's file lies."""
        return self.folder / clip.file

    @property
    def rate(self) -> Fraction:
        """The frame rate that all clips share; ManifestError when they differ."""
        rates = {clip.rate for clip in self.clips}
        if len(rates) != 1:
            listed = ", ".join(rate_text(r) for r in sorted(rates))
            raise ManifestError(
                f"{self.folder / FILE_NAME}: the clips have different frame rates ({listed}); render them alike."
            )
        return rates.pop()

    @property
    def translations(self) -> tuple[str, ...]:
        """The other languages that the words are in."""
        found = (language for clip in self.clips for step in clip.steps for language in step.translations)
        return tuple(dict.fromkeys(found))

    def wording(self, ball_mm: float = BALL_DIAMETER_MM) -> Wording:
        """The words and numbers of the pictures: in their language and units."""
        return Wording(words_of(self.language), self.lesson.get("units", "mm"), ball_mm)

    @property
    def language(self) -> str:
        """The language of the pictures."""
        return str(self.lesson.get("language", "en"))

    def starts(self) -> Iterator[tuple[int, Clip]]:
        """Each clip with its first frame when all are laid end to end, without their handles."""
        at = 0
        for clip in self.clips:
            yield at, clip
            at += clip.used_frames

    @property
    def frames(self) -> int:
        """All clips end to end, without their handles."""
        return sum(clip.used_frames for clip in self.clips)


def rate_text(rate: Fraction) -> str:
    """A frame rate as people write it.

    >>> rate_text(Fraction(30000, 1001)), rate_text(Fraction(25))
    ('29.97', '25')
    """
    return f"{float(rate):.3f}".rstrip("0").rstrip(".")


def read_footage(folder: Path) -> Footage:
    """The footage of a folder; ManifestError when its manifest is missing or not what it should be."""
    path = folder / FILE_NAME
    try:
        told = json.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        raise ManifestError(f"{path}: there is no such file; render the lesson into this folder first.") from None
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise ManifestError(f"{path}: not readable as JSON ({error}); render the lesson again.") from None
    if not isinstance(told, dict) or told.get("schema") != SCHEMA:
        raise ManifestError(f"{path}: schema {SCHEMA} was expected; render the lesson again with this version.")
    try:
        lesson = told["lesson"]
        clips = tuple(_clip(entry, lesson.get("language", "en")) for entry in told["clips"])
        footage = Footage(folder, lesson["title"], lesson["identity"], lesson, told["made_with"], clips)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise ManifestError(
            f"{path}: something is missing or of the wrong kind ({error!r}); render again."
        ) from None
    for clip in clips:
        if PurePosixPath(clip.file).is_absolute() or ".." in PurePosixPath(clip.file).parts or "\\" in clip.file:
            raise ManifestError(f"{path}: the file of clip {clip.name!r} lies outside the folder: {clip.file}")
    if not clips:
        raise ManifestError(f"{path}: there are no clips; render the lesson first.")
    for language in (footage.language, *footage.translations):
        if language not in LANGUAGES:
            raise ManifestError(f"{path}: there are no words for the language {language!r}; render again.")
    return footage


def _clip(entry: Mapping[str, Any], language: str) -> Clip:
    steps = tuple(
        Step(
            s["name"],
            int(s["first_frame"]),
            int(s["end_frame"]),
            s.get("narration") or "",
            s.get("translations") or {},
        )
        for s in entry["steps"]
    )
    return Clip(
        name=entry["name"],
        file=entry["file"],
        kind=entry["kind"],
        width_px=int(entry["width_px"]),
        height_px=int(entry["height_px"]),
        rate=Fraction(*entry["rate"]),
        frames=int(entry["frames"]),
        sha256=entry["sha256"],
        steps=steps,
        entry=entry,
        language=language,
        handle_frames=int(entry.get("handle_frames", 0)),
    )


def disagreements(footage: Footage) -> Iterator[str]:
    """One sentence for every clip whose file is missing, altered, or not as long as the manifest says."""
    for clip in footage.clips:
        path = footage.path(clip)
        if not path.exists():
            yield f"{clip.where}: the clip {clip.file} is missing from {footage.folder}; render the lesson again."
            continue
        if path.is_file() and _sha256(path) != clip.sha256:
            yield f"{clip.where}: {clip.file} was altered after it was rendered; render it again."
        measured = measure(path)
        if measured is None:
            yield f"{clip.where}: {clip.file} cannot be decoded to its end; render it again."
            continue
        if measured != Measured(clip.frames, clip.rate, clip.width_px, clip.height_px):
            told = Measured(clip.frames, clip.rate, clip.width_px, clip.height_px)
            yield f"{clip.where}: {clip.file} is {measured}, the manifest says {told}; render it again."


@dataclass(frozen=True, slots=True)
class Measured:
    """What a video file turns out to hold."""

    frames: int
    rate: Fraction
    width_px: int
    height_px: int

    def __str__(self) -> str:
        return f"{self.frames} frames at {rate_text(self.rate)} of {self.width_px} x {self.height_px}"


def measure(path: Path) -> Measured | None:
    """Frames, rate and size of a video, from every packet's presentation time and its decoded last pictures.

    Only the packets from the last key frame on are decoded: a truncated or gapped file shows in the times
    and the end, and a lesson of hundreds of clips is measured in seconds. None when the file cannot be read
    or its frames are not evenly spaced.
    """
    import av

    try:
        with av.open(str(path)) as container:
            stream = container.streams.video[0]
            packets = [p for p in container.demux(stream) if p.pts is not None and not p.is_discard]
            times = sorted(p.pts for p in packets)
            base = stream.time_base
            if not times or base is None:
                return None
            rate = stream.average_rate or Fraction(0)
            last_key = max(p.pts for p in packets if p.is_keyframe)
            tail = [p for p in packets if p.pts >= last_key]
            shown = [f for p in tail for f in stream.codec_context.decode(p)] + list(
                stream.codec_context.decode(None)
            )
            if len(shown) != len(tail):
                return None
            size = (shown[-1].width, shown[-1].height)
    except (OSError, IndexError, av.FFmpegError):
        return None
    # times are whole ticks, so a frame may stand up to one tick off its exact place
    even = all(abs((t - times[0]) * base * rate - k) * 2 < 1 for k, t in enumerate(times))
    return Measured(len(times), Fraction(rate), *size) if rate and even else None


def has_sound(path: Path) -> bool:
    """True when the file has a sound stream."""
    import av

    with av.open(str(path)) as container:
        return bool(container.streams.audio)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
