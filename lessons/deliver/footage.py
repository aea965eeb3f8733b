"""A folder of rendered clips: laid end to end, and whether the files keep the manifest's word."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from urllib.parse import quote

from aimgeo.shot import BALL_DIAMETER_MM
from lessons.lesson.names import with_names
from lessons.lesson.wording import Wording, words_of
from lessons.rendering.deliveries import Delivery, reel
from lessons.rendering.manifest import FILE_NAME, Clip, Manifest, ManifestError, read_manifest
from scenes.files import sha256


@dataclass(frozen=True)
class Footage:
    """A folder of clips, and its manifest."""

    folder: Path
    manifest: Manifest

    @property
    def title(self) -> str:
        """The lesson's title."""
        return self.manifest.lesson.title

    @property
    def identity(self) -> str:
        """The lesson's short name."""
        return self.manifest.lesson.identity

    @property
    def language(self) -> str:
        """The language of the pictures."""
        return self.manifest.lesson.language

    @property
    def made_with(self) -> Mapping[str, str]:
        """The versions of what made the clips."""
        return self.manifest.made_with

    @cached_property
    def fonts(self) -> tuple[Path, ...]:
        """The fonts of the lesson's own look, the words' first. ManifestError where one is lost or another."""
        found = []
        for font in self.manifest.lesson.fonts:
            # the folder need not be there yet
            file = Path(os.path.normpath(self.folder.resolve() / font.file))
            if not file.is_file() or sha256(file) != font.sha256:
                raise ManifestError(
                    f"{self.folder / FILE_NAME}: the font {file.name} of the lesson's look is no longer in "
                    f"{file.parent}, or is another one; put it back, or render the lesson again."
                )
            found.append(file)
        return tuple(found)

    @property
    def letters(self) -> Path | None:
        """The font of the words, where it is the lesson's own."""
        return self.fonts[0] if self.fonts else None

    @property
    def clips(self) -> tuple[Clip, ...]:
        """The clips in the lesson's order."""
        return self.manifest.clips

    def path(self, clip: Clip) -> Path:
        """Where the clip's file lies."""
        return self.folder / clip.file

    def address(self, is_absolute: bool) -> Callable[[str], str]:
        """What gives a file's URL: relative to the folder, or with the whole path."""
        folder = self.folder.resolve()
        return lambda file: (folder / file).resolve().as_uri() if is_absolute else quote(file)

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

    def reels(self, delivery: Delivery) -> dict[str, str]:
        """Each clip's reel by its name: the one that its file names, or by its lasting identity."""
        known = delivery.by_name()
        return {clip.name: clip.reel or reel(known[clip.name].identity) for clip in self.clips}

    @property
    def translations(self) -> tuple[str, ...]:
        """The other languages that the words are in."""
        found = (language for clip in self.clips for step in clip.steps for language in step.translations)
        return tuple(dict.fromkeys(found))

    def wording(self, ball_mm: float = BALL_DIAMETER_MM) -> Wording:
        """The words and numbers of the pictures: in their language and units."""
        about = self.manifest.lesson
        return Wording(with_names(words_of(about.language), about.names), about.units, ball_mm)

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


def read_footage(folder: Path) -> Footage:
    """The footage of a folder; ManifestError as `read_manifest`."""
    return Footage(folder, read_manifest(folder))


def rate_text(rate: Fraction) -> str:
    """A frame rate as people write it.

    >>> rate_text(Fraction(30000, 1001)), rate_text(Fraction(25))
    ('29.97', '25')
    """
    return f"{float(rate):.3f}".rstrip("0").rstrip(".")


def disagreements(footage: Footage) -> Iterator[str]:
    """One sentence for every clip whose file is missing, altered, or not as long as the manifest says."""
    for clip in footage.clips:
        path = footage.path(clip)
        if not path.exists():
            yield f"{clip.where}: the clip {clip.file} is missing from {footage.folder}; render the lesson again."
            continue
        if path.is_file() and sha256(path) != clip.sha256:
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
