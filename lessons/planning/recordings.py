"""Recordings drive time: a spoken clip's steps start on the recording's marks, and the clip carries its sound."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from lessons.lesson.faults import Fault, did_you_mean, slip_of
from lessons.lesson.model import Lesson
from lessons.planning.planned import PlannedClip
from lessons.planning.sound import ENDINGS, Sound, SoundError, length_s, proposed_marks
from scenes.files import sha256
from scenes.kinds import CLIP_KINDS


@dataclass(frozen=True, slots=True)
class Take:
    """A clip's part of a recording: the file, and in its seconds the start of each step and the last's end."""

    path: Path
    marks_s: tuple[float, ...]


def speak(lesson: Lesson, clips: tuple[PlannedClip, ...], faults: list[Fault]) -> tuple[PlannedClip, ...]:
    """The clips with the times and the sound of their recordings; clips without one stay as they are."""
    told = lesson.keys.recordings
    if told is None or told.file is told.folder is None:
        return clips
    names = [clip.name for clip in clips]
    for name in told.marks:
        if name not in names:
            place = lesson.place_of_key("recordings", "marks", name)
            faults.append(
                Fault(place, f"unknown clip '{name}' in recordings.marks{did_you_mean(name, names)}", "recording")
            )
    try:
        takes = dict(_takes(lesson, clips, faults))
        digests = {path: sha256(path) for path in {take.path for take in takes.values()}}
    except (SoundError, OSError) as error:
        faults.append(Fault(lesson.place("recordings"), str(error), "recording"))
        return clips
    return tuple(
        _spoken(lesson, clip, takes[clip.name], digests, faults) if clip.name in takes else clip for clip in clips
    )


def strangers(lesson: Lesson, names: Sequence[str]) -> Iterator[Fault]:
    """Recordings in the lesson's folder that are no clip's; `names` are those of all clips, left out or not."""
    told = lesson.keys.recordings
    folder = Path(lesson.file).parent / told.folder if told is not None and told.folder else None
    if folder is None or not folder.is_dir():
        return
    for path in sorted(folder.iterdir()):
        if path.suffix in ENDINGS and path.stem not in names:
            meant = slip_of(path.stem, tuple(names))
            hint = f"; did you mean '{meant}{path.suffix}'?" if meant else "."
            place = lesson.place("recordings", "folder")
            yield Fault(place, f"{path.name} is not used: no clip has that name{hint}", "recording")


def _takes(lesson: Lesson, clips: tuple[PlannedClip, ...], faults: list[Fault]) -> Iterator[tuple[str, Take]]:
    told, beside = lesson.keys.recordings, Path(lesson.file).parent
    assert told is not None
    marks: Mapping[str, tuple[float, ...]] = told.marks
    if told.file is not None:
        path = beside / told.file
        if not path.is_file():
            faults.append(
                Fault(lesson.place("recordings", "file"), f"there is no recording {path.as_posix()}.", "recording")
            )
            return
        end_s = length_s(path)
        if not marks:
            count = sum(len(clip.brief.steps) for clip in clips)
            place = lesson.place("recordings")
            faults.append(
                Fault(place, f"'marks' is missing in recordings. {_proposal(path, clips, count)}", "recording")
            )
            return
        starts = sorted(times[0] for times in marks.values())
        for clip in clips:
            if clip.name in marks:
                after = min((s for s in starts if s > marks[clip.name][0]), default=end_s)
                yield from _take(lesson, clip, path, marks[clip.name], after, end_s, faults)
        return
    folder = beside / (told.folder or "")
    if not folder.is_dir():
        faults.append(
            Fault(lesson.place("recordings", "folder"), f"there is no folder {folder.as_posix()}.", "recording")
        )
        return
    for clip in clips:
        found = [folder / (clip.name + ending) for ending in ENDINGS if (folder / (clip.name + ending)).is_file()]
        if len(found) > 1:
            files = " and ".join(path.name for path in found)
            faults.append(
                Fault(lesson.place("recordings", "folder"), f"there are {files}; keep one of them.", "recording")
            )
        elif found:
            end_s = length_s(found[0])
            times = marks.get(clip.name) or ((0.0,) if len(clip.brief.steps) == 1 else ())
            if not times:
                sentence = (
                    f"'marks' of {found[0].name} is missing. {_proposal(found[0], (clip,), len(clip.brief.steps))}"
                )
                faults.append(Fault(lesson.place("recordings"), sentence, "recording"))
            else:
                yield from _take(lesson, clip, found[0], times, end_s, end_s, faults)
        elif clip.name in marks:
            place = lesson.place("recordings", "marks", clip.name)
            faults.append(
                Fault(place, f"there is no recording of {clip.name} in {folder.as_posix()}.", "recording")
            )


def _take(
    lesson: Lesson,
    clip: PlannedClip,
    path: Path,
    times: tuple[float, ...],
    after_s: float,
    end_s: float,
    faults: list[Fault],
) -> Iterator[tuple[str, Take]]:
    """The clip's take, or a fault about its marks. `after_s` ends the last step where the marks don't."""
    count = len(clip.brief.steps)
    place = lesson.place("recordings", "marks", clip.name)
    if len(times) not in (count, count + 1):
        names = ", ".join(step.name for step in clip.brief.steps)
        faults.append(
            Fault(
                place,
                f"{clip.name} has {count} steps ({names}): give {count} marks, or one more for its end.",
                "recording",
            )
        )
        return
    if times[-1] > end_s + 0.05:
        sentence = (
            f"the last mark of {clip.name}, {times[-1]:g} s, lies after the recording's end ({end_s:.1f} s)."
        )
        faults.append(Fault(place, sentence, "recording"))
        return
    full = times if len(times) == count + 1 else (*times, after_s)
    if any(b <= a for a, b in pairwise(full)):
        faults.append(
            Fault(
                place,
                f"the marks of {clip.name} do not go forward; each is later than the one before.",
                "recording",
            )
        )
    else:
        yield clip.name, Take(path, full)


def _proposal(path: Path, clips: tuple[PlannedClip, ...], count: int) -> str:
    """Marks to copy, as YAML in one line."""
    found = proposed_marks(path, count)
    if len(found) < count:
        return f"It has {len(found) - 1} pauses, not {count - 1}; write the start of every step in seconds."
    shares, at = {}, 0
    for clip in clips:
        shares[clip.name] = found[at : at + len(clip.brief.steps)]
        at += len(clip.brief.steps)
    return f"By its pauses it may be (listen before you use it): marks: {json.dumps(shares)}"


def _spoken(
    lesson: Lesson, clip: PlannedClip, take: Take, digests: Mapping[Path, str], faults: list[Fault]
) -> PlannedClip:
    """The clip in the times of its take: each step starts on the frame that is nearest to its mark."""
    brief = clip.brief
    rate = Fraction(*brief.output.rate)
    starts = [round((mark - take.marks_s[0]) * rate) for mark in take.marks_s]
    frames = [b - a for a, b in pairwise(starts)]
    outline = CLIP_KINDS[clip.kind].outline(brief.subject)
    # after the last words the picture may stand in silence, as long as it takes
    frames[-1] = max(frames[-1], brief.output.frames(outline[-1].draws_s))
    for step, count in zip(outline, frames, strict=True):
        # a frame less than the drawing asks for is no difference
        if count + 1 < step.draws_s * rate:
            faults.append(
                Fault(
                    lesson.place("recordings", "marks", clip.name),
                    f"step '{step.name}' of {clip.name} is spoken in {float(count / rate):.1f} s; to draw it "
                    f"takes {step.draws_s:.1f} s. Leave a longer pause before the next one.",
                    "recording",
                )
            )
    steps = tuple(replace(step, frames=count) for step, count in zip(brief.steps, frames, strict=True))
    sound = Sound(take.path.as_posix(), digests[take.path], take.marks_s[0], take.marks_s[-1])
    return replace(clip, brief=replace(brief, steps=steps), sound=sound)
