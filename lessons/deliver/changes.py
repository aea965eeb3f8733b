"""What changed since an earlier delivery: clips, words, lengths and pictures, and what moves because of it."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from lessons.deliver.footage import Footage, has_sound
from lessons.deliver.timecode import Timecode
from lessons.deliver.writing import write_text
from lessons.rendering.decoded import decoded
from lessons.rendering.deliveries import (
    FOLDER,
    Change,
    ClipDelivered,
    Delivery,
    StepChange,
    StepDelivered,
    earlier_path,
    recorded,
)
from scenes.files import sha256

if TYPE_CHECKING:
    from PIL import Image

VISIBLE = 24
"""Pictures differ when a pixel at half size does by more than this of 255: an encoder's own noise is less."""

PICTURE_PX, GAP_PX = 480, 12
TEMPLATES = Path(__file__).parent / "templates"

HEADER = (
    "what", "clip", "was called", "old in", "old out", "new in", "new out", "old frames", "new frames", "step",
    "first frame", "end frame", "detail",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Films:
    """Where a clip's file lies as it was before, and as it is now; before is None where it was not kept."""

    before: Path | None
    now: Path


def find_changes(folder: Path, before: Delivery, now: Delivery) -> tuple[tuple[Change, ...], dict[str, Any]]:
    """What became of every clip, in the order of now, those that are gone last; and pictures by a file's name.

    The pictures show a clip before and now, side by side, where they differ most. Clips that are as they were and
    where they were are left out.
    """
    old = {clip.identity: clip for clip in before.clips}
    old_at, new_at = before.starts(), now.starts()
    found: list[Change] = []
    pictures: dict[str, Any] = {}
    for clip in now.clips:
        at = new_at[clip.identity]
        span = (at, at + clip.frames)
        was = old.get(clip.identity)
        if was is None:
            found.append(Change(clip.identity, clip.name, ("new",), None, span))
            continue
        stood = (old_at[was.identity], old_at[was.identity] + was.frames)
        steps, picture, kinds = _within(folder, was, clip)
        if was.name != clip.name:
            kinds = ("renamed", *kinds)
        if not kinds and at != stood[0]:
            kinds = ("moved",)
        if not kinds:
            continue
        called = was.name if was.name != clip.name else None
        name = None
        if picture is not None:
            name = f"{now.number:04}/{clip.name}.jpg"
            pictures[name] = picture
        found.append(Change(clip.identity, clip.name, kinds, stood, span, called, steps, name))
    kept = {clip.identity for clip in now.clips}
    for clip in before.clips:
        if clip.identity not in kept:
            at = old_at[clip.identity]
            found.append(Change(clip.identity, clip.name, ("gone",), (at, at + clip.frames), None))
    return tuple(found), pictures


def _within(
    folder: Path, was: ClipDelivered, now: ClipDelivered
) -> tuple[tuple[StepChange, ...], Any, tuple[str, ...]]:
    """What changed inside a clip: steps, a picture of before and now, and the kinds of change."""
    told: list[StepChange] = []
    kinds: list[str] = []
    old = {step.identity: step for step in was.steps}
    pairs = [(old[step.identity], step) for step in now.steps if step.identity in old]

    def tell(kind: str, step: StepDelivered, says: str, span: tuple[int, int] | None = None) -> None:
        first, end = span or (step.first_frame, step.end_frame)
        told.append(StepChange(step.name, first, end, says))
        kinds.append(kind)

    picture = None
    if was.sha256 != now.sha256:
        kept = earlier_path(folder, was.file, was.sha256)
        films = Films(kept if kept.exists() else None, folder / now.file)
        if (was.width_px, was.height_px, was.rate) != (now.width_px, now.height_px, now.rate):
            kinds.append("pictures")
            size = f"{was.width_px} x {was.height_px} at {float(was.rate):.5g}"
            told.append(StepChange("", 0, now.frames, f"size or rate changed; it was {size}"))
        elif films.before is None:
            kinds.append("pictures")
            told.append(
                StepChange("", 0, now.frames, "its file changed; the earlier one was not kept for comparing")
            )
        else:
            differing = differences(films.before, films.now, was, now, pairs)
            for step, first, end in differing.ranges:
                tell("pictures", step, "pictures differ", (first, end))
            picture = differing.picture
    for before, step in pairs:
        if before.name != step.name:
            tell("steps", step, f"was called {before.name}")
        if before.words != step.words:
            mine = before.words.get("", "") != step.words.get("", "")
            tell("words", step, f"words were: {before.words.get('', '')}" if mine else "translated words changed")
        if before.frames != step.frames:
            more = step.frames - before.frames
            tell("length", step, f"{more:+} frames ({before.frames} to {step.frames})")
    new = {step.identity for step in now.steps}
    for step in now.steps:
        if step.identity not in old:
            tell("steps", step, "new step")
    for step in was.steps:
        if step.identity not in new:
            at = min(step.first_frame, now.frames - 1)
            tell("steps", step, f"step is gone; it had {step.frames} frames", (at, at + 1))
    if was.frames != now.frames:
        kinds.append("length")
    elif was.sha256 != now.sha256 and "pictures" not in kinds:
        kinds.append("sound" if has_sound(folder / now.file) else "file")
    order = ("new", "gone", "renamed", "pictures", "sound", "words", "length", "steps", "file")
    told.sort(key=lambda step: (step.first_frame, step.end_frame))
    return tuple(told), picture, tuple(kind for kind in order if kind in kinds)


# ------------------------------------------------------------------ pictures


@dataclass(frozen=True, slots=True)
class Differences:
    """The ranges of frames (step, first, end) whose pictures differ, and the worst of them before and now."""

    ranges: tuple[tuple[StepDelivered, int, int], ...]
    picture: Image.Image | None


def differences(
    before: Path,
    now: Path,
    was: ClipDelivered,
    clip: ClipDelivered,
    pairs: list[tuple[StepDelivered, StepDelivered]],
) -> Differences:
    """Compare two files step by step: a step that starts later is compared with itself, frame by frame."""
    ranges: list[tuple[StepDelivered, int, int]] = []
    worst, shown = 0, None
    # films are read forwards, each once: a step that moved past another is not compared
    mine, theirs = _Reel(before), _Reel(now)
    for old, new in pairs:
        if old.first_frame + was.handle_frames < mine.at:
            continue
        first: int | None = None
        for k in range(new.frames):
            end = new.first_frame + k
            # past its earlier end a step goes on as it stood
            a = mine.frame(old.first_frame + min(k, old.frames - 1) + was.handle_frames)
            b = theirs.frame(end + clip.handle_frames)
            amount = 0 if a is None or b is None else mine.against(theirs)
            if amount > VISIBLE and first is None:
                first = end
            if amount > worst:
                worst, shown = amount, (mine.picture(), theirs.picture())
            if amount <= VISIBLE and first is not None:
                ranges.append((new, first, end))
                first = None
        if first is not None:
            ranges.append((new, first, new.end_frame))
    if worst <= VISIBLE or shown is None:
        return Differences((), None)
    return Differences(tuple(ranges), _side_by_side(*shown))


class _Reel:
    """A film read forwards. `number` counts its different pictures, so that held ones are compared once."""

    def __init__(self, path: Path) -> None:
        self.at, self.number = -1, -1
        self._pictures = _pictures(path)
        self._small: np.ndarray | None = None
        self._compared: tuple[tuple[int, int], int] = ((-2, -2), 0)

    def frame(self, frame: int) -> int | None:
        """Go on to a frame: the number of its picture; None past the end."""
        while self.at < frame:
            found = next(self._pictures, None)
            if found is None:
                return None
            self.at += 1
            small, is_new = found
            if is_new:
                self._small, self.number = small, self.number + 1
        return self.number

    def against(self, other: _Reel) -> int:
        """The largest difference of a pixel between the two reels as they stand."""
        pair = (self.number, other.number)
        if self._compared[0] != pair:
            assert self._small is not None
            assert other._small is not None
            difference = np.maximum(self._small, other._small) - np.minimum(self._small, other._small)
            self._compared = (pair, int(difference.max()))
        return self._compared[1]

    def picture(self) -> np.ndarray:
        """The picture as it stands, at half its size."""
        assert self._small is not None
        return self._small


def _pictures(path: Path) -> Iterator[tuple[np.ndarray, bool]]:
    """Every picture of a film at half its size, and whether it is another than the one before."""
    import av
    from av.video.reformatter import Interpolation

    with av.open(str(path)) as container:
        container.streams.video[0].thread_type = "AUTO"
        planes: list[bytes] = []
        for frame in decoded(container, container.streams.video[0]):
            held = [bytes(plane) for plane in frame.planes]
            if is_new := held != planes:
                planes = held
                half = frame.reformat(
                    width=max(frame.width // 2, 2),
                    height=max(frame.height // 2, 2),
                    format="rgba" if any(c.is_alpha for c in frame.format.components) else "rgb24",
                    src_colorspace="itu709",
                    interpolation=Interpolation.AREA,
                )
                small = half.to_ndarray()
            yield small, is_new


def _side_by_side(before: np.ndarray, now: np.ndarray) -> Image.Image:
    from PIL import Image

    pair = [Image.fromarray(each[..., :3]) for each in (before, now)]
    for each in pair:
        each.thumbnail((PICTURE_PX, PICTURE_PX))
    wide = Image.new("RGB", (2 * pair[0].width + GAP_PX, pair[0].height), "white")
    wide.paste(pair[0], (0, 0))
    wide.paste(pair[1], (pair[0].width + GAP_PX, 0))
    return wide


# ------------------------------------------------------------------ telling


def summary(before: int, now: Delivery, changes: tuple[Change, ...]) -> str:
    """The changes in a sentence.

    >>> summary(1, Delivery(2, "Demo", "en", ()), ())
    'Since delivery 1 nothing has changed.'
    """
    if not changes:
        return f"Since delivery {before} nothing has changed."
    counts = {
        "new": sum("new" in c.kinds for c in changes),
        "gone": sum("gone" in c.kinds for c in changes),
        "changed": sum(c.before is not None and c.now is not None and not c.only_moved for c in changes),
        "only moved on the timeline": sum(c.only_moved for c in changes),
    }
    said = ", ".join(f"{count} {what}" for what, count in counts.items() if count)
    return f"Since delivery {before}: {said} (of {len(now.clips)} clips)."


def lines(before: int, now: Delivery, changes: tuple[Change, ...], timecode: Timecode) -> Iterator[str]:
    """The list as text: a paragraph a clip."""
    yield summary(before, now, changes)
    for change in changes:
        if change.only_moved:
            continue
        yield ""
        yield _headline(change, timecode)
        for step in change.steps:
            yield f"    {_placed(change, step, timecode)}  {step.step + ': ' if step.step else ''}{step.says}"
    if moved := [c for c in changes if c.only_moved]:
        yield ""
        yield "As they were, and elsewhere on the timeline:"
        for change in moved:
            yield f"    {change.name}: {_shift(change):+} frames, now at {_name(change.now, timecode)}"


def _headline(change: Change, timecode: Timecode) -> str:
    said = f"{change.name}: {', '.join(change.kinds)}"
    if change.was_called:
        said += f"; it was called {change.was_called}"
    if change.before and change.now:
        old, new = (end - first for first, end in (change.before, change.now))
        said += f"; {old} to {new} frames ({new - old:+})" if old != new else f"; {new} frames as before"
        if _shift(change):
            said += f", starts {_shift(change):+} frames"
    return f"{said}; at {_name(change.now or change.before, timecode)}"


def _shift(change: Change) -> int:
    """How many frames later a clip starts."""
    return change.now[0] - change.before[0] if change.now and change.before else 0


def _name(span: tuple[int, int] | None, timecode: Timecode) -> str:
    return timecode.name(timecode.start_frame + span[0]) if span else ""


def _placed(change: Change, step: StepChange, timecode: Timecode) -> str:
    at = timecode.start_frame + (change.now[0] if change.now else 0)
    return f"{timecode.name(at + step.first_frame)} to {timecode.name(at + step.end_frame)}"


def rows(changes: tuple[Change, ...], timecode: Timecode) -> Iterator[tuple[Any, ...]]:
    """The list as rows: one for each clip, then one for each thing in it. Frames are of the clip."""
    for change in changes:
        spans: list[str] = []
        lengths: list[int | str] = []
        for span in (change.before, change.now):
            spans += [timecode.name(timecode.start_frame + frame) for frame in span] if span else ["", ""]
            lengths.append(span[1] - span[0] if span else "")
        head = (" ".join(change.kinds), change.name, change.was_called or "", *spans, *lengths)
        moves = f"{_shift(change):+} frames on the timeline" if _shift(change) else ""
        yield (*head, "", "", "", moves)
        for step in change.steps:
            yield (*head, step.step, step.first_frame, step.end_frame, step.says)


def write_changes(
    folder: Path, before: int, now: Delivery, pictures: Mapping[str, Any], timecode: Timecode
) -> list[Path]:
    """Write the list as text, CSV and HTML, and its pictures, into the deliveries' folder; the files."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    from lessons.deliver.pictures import write_picture

    below = folder / FOLDER
    stem = f"{now.number:04}_changes" + ("" if before == now.number - 1 else f"-since-{before:04}")
    files = [write_picture(below / name, picture) for name, picture in pictures.items()]
    text = "\n".join([*lines(before, now, now.changes, timecode), ""])
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(HEADER)
    writer.writerows(rows(now.changes, timecode))
    page = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    ).get_template("changes.html")
    told = [
        {
            "change": change,
            "headline": _headline(change, timecode),
            "steps": [(_placed(change, step, timecode), step.step, step.says) for step in change.steps],
        }
        for change in now.changes
        if not change.only_moved
    ]
    moved = [
        (change.name, f"{_shift(change):+}", _name(change.now, timecode))
        for change in now.changes
        if change.only_moved
    ]
    drawn = page.render(
        title=now.title, summary=summary(before, now, now.changes), told=told, moved=moved, number=now.number
    )
    return [
        write_text(below / f"{stem}.txt", text),
        write_text(below / f"{stem}.csv", "\ufeff" + table.getvalue()),
        write_text(below / f"{stem}.html", drawn),
        *files,
    ]


def marks(delivery: Delivery) -> Mapping[str, tuple[StepChange, ...]]:
    """What the timeline marks in each clip, by the clip's identity: all but what only moved."""
    return {
        c.identity: c.steps or (StepChange("", 0, c.now[1] - c.now[0], ", ".join(c.kinds)),)
        for c in delivery.changes
        if c.now and not c.only_moved
    }


# ------------------------------------------------------------------ keeping


@dataclass(frozen=True, slots=True)
class Log:
    """This delivery's record, and what it was compared with.

    `before` is the number of the delivery compared with, None for the first; `compared` are the changes since it.
    `is_new`: this is another delivery than the last one, and is to be recorded; `is_to_write`: the list is not
    there already.
    """

    delivery: Delivery
    last: Delivery | None
    before: int | None
    compared: tuple[Change, ...]
    pictures: Mapping[str, Any]
    is_new: bool
    is_to_write: bool


def compared(footage: Footage, last: Delivery | None, since: Delivery | None) -> Log:
    """The record of this delivery, compared with the last one and with the one named.

    Delivering again what was delivered is no new delivery: its record stands, with the changes it told.
    """
    now = recorded(footage.manifest, last)
    if last is None or since is None:
        return Log(now, last, None, (), {}, True, False)
    is_new = (now.title, now.language, now.clips) != (last.title, last.language, last.clips)
    if is_new:
        changes, pictures = find_changes(footage.folder, last, now)
        now = replace(now, changes=changes)
    else:
        now, changes, pictures = last, (), {}
    if since.number == last.number:
        return Log(now, last, last.number, changes, pictures, is_new, is_new)
    changes, pictures = find_changes(footage.folder, since, now)
    return Log(now, last, since.number, changes, pictures, is_new, True)


BY_CLIP = re.compile(
    r"(?:captioned|captions|pictures/small|pictures|previews|proxies|sound)/"
    r"(?P<clip>.+?)(\.[a-z]{2})?\.(?:srt|vtt|jpg|gif|mp4|wav)|(?P<beside>[^/]+)\.xmp"
)
"""Files that are delivered for one clip and named after it."""


def clip_of(name: str) -> str | None:
    """The clip that a delivered file is named after.

    >>> clip_of("captions/title.de.srt"), clip_of("title.xmp"), clip_of("demo.otio")
    ('title', 'title', None)
    """
    found = BY_CLIP.fullmatch(name)
    return (found["clip"] or found["beside"]) if found else None


def files_by_clip(footage: Footage, written: list[Path]) -> dict[str, str]:
    """The files named after a clip, from the folder, with their SHA-256."""
    names = [path.relative_to(footage.folder).as_posix() for path in written]
    return {name: sha256(footage.folder / name) for name in sorted(names) if clip_of(name)}


def clear_leftovers(footage: Footage, log: Log, written: list[Path]) -> Iterator[str]:
    """Remove what the last delivery wrote for clips that are gone; a sentence for each file that was altered."""
    if log.last is None or not log.is_new:
        return
    now = {clip.name for clip in log.delivery.clips}
    gone = {clip.name for clip in log.last.clips} - now
    new = {path.relative_to(footage.folder).as_posix() for path in written}
    for name, digest in (log.last.files or {}).items():
        clip, path = clip_of(name), footage.folder / name
        if clip not in gone or name in new or not path.is_file():
            continue
        if sha256(path) == digest:
            path.unlink()
        else:
            yield f"{path}: its clip {clip} is gone; the file was altered, so it stays: remove it yourself."
