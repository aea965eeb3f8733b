"""Films that are encoded anew from the clips: smaller, with captions in the picture, or cut out of several."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from aimgeo.vectors import Array
from lessons.deliver.burning import BELOW, Place, lay, place_of
from lessons.deliver.captions import Caption
from lessons.deliver.footage import Footage, has_sound
from lessons.deliver.pictures import GROUND
from lessons.deliver.writing import whole_file
from lessons.planning.sound import Sound, add_samples, sound_form, stretch
from lessons.rendering.decoded import decoded
from lessons.rendering.manifest import Clip
from scenes.board import StepSpan
from scenes.board.brief import Output
from scenes.film import boxes
from scenes.film.film import Film
from scenes.film.forms import FORMS, counted

FORM = "h264"

Picture = NDArray[np.uint8]
"""RGB, (height, width, 3)."""


@dataclass(frozen=True, slots=True)
class Cut:
    """The frames [first_frame, end_frame) of a clip's file, and the captions that are put into their pictures.

    `place` is where these stand.
    """

    clip: Clip
    first_frame: int
    end_frame: int
    captions: tuple[Caption, ...] = ()
    place: Place = BELOW

    @property
    def frames(self) -> int:
        """Its length."""
        return self.end_frame - self.first_frame


def whole(clip: Clip, captions: Sequence[Caption] = (), letters: Path | None = None) -> Cut:
    """All of a clip's file."""
    return Cut(clip, 0, clip.frames, tuple(captions), place_of(clip, captions, letters))


def write_film(
    footage: Footage,
    path: Path,
    cuts: Sequence[Cut],
    size: tuple[int, int],
    steps: Sequence[StepSpan],
    reel: str,
    timecode: str | None = None,
) -> Path:
    """Write cuts end to end as H.264 with their sound, chapters, timecode and reel; the path again.

    Pictures with alpha lie on the sheets' ground.
    """
    rate = cuts[0].clip.rate
    told = (rate.numerator, rate.denominator)
    output = Output(*size, told, timecode or counted("00:00:00:00", told))
    with whole_file(path) as part:
        film = Film(part, output, FORMS[FORM], steps=tuple(steps))
        try:
            for cut in cuts:
                _show(film, footage.path(cut.clip), cut, size)
            film.close()
        except BaseException:
            film.abandon()
            raise
        form = _sound_form([footage.path(cut.clip) for cut in cuts])
        if form is not None:
            heard = np.concatenate([_heard(footage.path(cut.clip), cut, form) for cut in cuts])
            add_samples(part, FORMS[FORM].container, heard, form[0])
        boxes.complete(part, reel, holds_once=False)
    return path


def _show(film: Film, path: Path, cut: Cut, size: tuple[int, int]) -> None:
    """Film a cut's pictures: one that is held, and its caption with it, is encoded once."""
    before: tuple[Picture, Caption | None] | None = None
    for k, picture in enumerate(_pictures(path, size, cut.first_frame, cut.end_frame), cut.first_frame):
        caption = next((c for c in cut.captions if c.first_frame <= k < c.end_frame), None)
        if before is not None and picture is before[0] and caption is before[1]:
            film.hold(1)
            continue
        shown = np.dstack([picture, np.full(picture.shape[:2], 255, np.uint8)])
        if caption is not None:
            lay(shown, caption.lines, cut.place)
        film.show([((0, 0, *size), shown)])
        before = picture, caption


def _pictures(path: Path, size: tuple[int, int], first: int, end: int) -> Iterator[Picture]:
    """The pictures of frames [first, end) at a size; the same array again where a picture is held."""
    import av
    from PIL import Image

    planes: list[bytes] = []
    shown: Picture | None = None
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        for k, frame in enumerate(decoded(container, stream)):
            if k >= end:
                return
            if k < first:
                continue
            held = [bytes(plane) for plane in frame.planes]
            if shown is None or held != planes:
                planes = held
                is_clear = any(component.is_alpha for component in frame.format.components)
                drawn = frame.reformat(
                    width=size[0],
                    height=size[1],
                    format="rgba" if is_clear else "rgb24",
                    src_colorspace="itu709",
                    interpolation="AREA" if size[0] < frame.width else "BICUBIC",
                ).to_ndarray()
                if is_clear:
                    ground = Image.new("RGBA", size, GROUND)
                    drawn = np.asarray(
                        Image.alpha_composite(ground, Image.fromarray(drawn, "RGBA")).convert("RGB")
                    )
                shown = drawn
            yield shown


def _sound_form(paths: Sequence[Path]) -> tuple[int, int] | None:
    """The best rate and channels of some files' sound; None when all are silent."""
    import av

    forms = []
    for path in paths:
        with av.open(str(path)) as container:
            forms += [sound_form(stream) for stream in container.streams.audio[:1]]
    return (max(rate for rate, _ in forms), max(channels for _, channels in forms)) if forms else None


def _heard(path: Path, cut: Cut, form: tuple[int, int]) -> Array:
    """The samples (n, channels) of a cut."""
    rate = cut.clip.rate
    if not has_sound(path):
        return np.zeros((round(cut.frames / rate * form[0]), form[1]), np.float32)
    first, last = (float(frame / rate) for frame in (cut.first_frame, cut.end_frame))
    return stretch(Sound(path.as_posix(), cut.clip.sha256, first, last), Fraction(cut.frames) / rate, form=form)[0]


def steps_of(clip: Clip) -> tuple[StepSpan, ...]:
    """A clip's steps, for chapters."""
    return tuple(StepSpan(step.name, step.first_frame, step.end_frame) for step in clip.steps)


def each(
    footage: Footage, folder: str, reels: dict[str, str], cut: Callable[[Clip], Cut | None], longest_px: int | None
) -> Iterator[Path]:
    """A film for each clip that has a cut, under the clip's name in a folder; no side longer than given."""
    for clip in footage.clips:
        one = cut(clip)
        if one is not None:
            path = footage.folder / folder / f"{Path(clip.file).stem}.mp4"
            size = within(clip.width_px, clip.height_px, longest_px)
            yield write_film(footage, path, [one], size, steps_of(clip), reels[clip.name], clip.timecode)


def within(width: int, height: int, longest_px: int | None) -> tuple[int, int]:
    """The size at which the longer side is at most so long; both sides even.

    >>> within(1920, 1080, 960), within(1080, 1920, 960), within(640, 360, None)
    ((960, 540), (540, 960), (640, 360))
    """
    part = min(1.0, longest_px / max(width, height)) if longest_px else 1.0
    return 2 * round(width * part / 2), 2 * round(height * part / 2)
