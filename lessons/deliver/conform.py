"""Conform: in a timeline that an editor has cut, what is ours becomes what is delivered now; nothing else changes.

A cut keeps its place and its length, so nothing on the timeline moves. It starts at the same moment of the same
step as before, wherever that step is now. What belongs to the editor (other clips, order, trims, effects,
transitions, markers, metadata) is left as it stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any
from urllib.parse import quote, unquote

from lessons.deliver import Wishes
from lessons.deliver.footage import Footage
from lessons.deliver.timeline import build_timeline
from lessons.deliver.writing import write_text
from lessons.rendering.deliveries import ClipDelivered, Delivery, numbers, read_delivery
from lessons.rendering.manifest import ManifestError


@dataclass(frozen=True, slots=True)
class Conformed:
    """The file written, how many cuts were replaced, and sentences about those that need a look."""

    path: Path
    replaced: int
    said: tuple[str, ...]


def conform(edited: Path, footage: Footage, wishes: Wishes) -> Conformed:
    """Write `<edited>_conformed.otio` beside the edited timeline. ManifestError when that is no timeline."""
    import opentimelineio as otio

    try:
        timeline = otio.adapters.read_from_file(str(edited))
        cuts = list(timeline.find_clips())
    except (OSError, otio.exceptions.OTIOError, ValueError, AttributeError) as error:
        raise ManifestError(f"{edited}: this is no timeline that OpenTimelineIO reads ({error}).") from None
    assert wishes.delivery is not None
    now = {clip.identity: clip for clip in wishes.delivery.clips}
    before = _versions(footage, wishes.delivery)
    pictures = build_timeline(footage, wishes).video_tracks()[-1]
    ours = {cut.metadata["aimgeo"]["identity"]: cut for cut in pictures.find_clips()}
    said: list[str] = []
    replaced = 0
    for cut in cuts:
        told = cut.metadata.get("aimgeo", {})
        identity, sha256 = told.get("identity"), told.get("sha256")
        if identity is None:
            continue
        if identity not in now:
            if identity in {one for one, _ in before}:
                said.append(f"{cut.name}: this clip is gone from the lesson; the cut stays as it is.")
            continue
        if sha256 == now[identity].sha256 and _file(cut) in (None, now[identity].file):
            continue
        if (identity, sha256) not in before:
            said.append(f"{cut.name}: no delivery of the version in this cut is recorded; it stays as it is.")
            continue
        said += _replace(cut, ours[identity], before[identity, sha256], now[identity])
        replaced += 1
    path = edited.with_name(f"{edited.stem}_conformed.otio")
    return Conformed(write_text(path, otio.adapters.write_to_string(timeline, "otio_json")), replaced, tuple(said))


def _versions(footage: Footage, delivery: Delivery) -> dict[tuple[str, str], ClipDelivered]:
    """Every version that was ever delivered, by identity and SHA-256."""
    records = [read_delivery(footage.folder, number) for number in numbers(footage.folder)]
    return {(clip.identity, clip.sha256): clip for one in (*records, delivery) for clip in one.clips}


def _replace(cut: Any, fresh: Any, was: ClipDelivered, now: ClipDelivered) -> Iterator[str]:
    """Give a cut the clip as it is now; sentences about what the editor should look at."""
    import opentimelineio as otio

    references = list(cut.media_references().values())
    reference = cut.media_reference
    available = reference.available_range or fresh.media_reference.available_range
    span = cut.trimmed_range()
    rate = float(was.rate)
    # a program may count the file from its timecode
    zero = available.start_time
    first = round((span.start_time - zero).rescaled_to(rate).value)
    length = round(span.duration.rescaled_to(rate).value)
    start = moment(first, was, now)
    latest = now.frames + 2 * now.handle_frames - length
    if latest < 0:
        yield f"{cut.name}: the cut has {length} frames, its clip {length + latest} now; it stays as it is."
        return
    if start > latest:
        yield f"{cut.name}: its clip ends {start - latest} frames too early now; the cut starts so much earlier."
        start = latest
    if start != first:
        yield f"{cut.name}: the same moment is {start - first:+} frames in its clip; the cut was moved there."
    for step, by in shifted(first, length, was, now):
        yield f"{cut.name}: inside the cut, step '{step}' comes {by - (start - first):+} frames."
    at = otio.opentime.RationalTime(start, float(now.rate)).rescaled_to(span.start_time.rate)
    cut.source_range = otio.opentime.TimeRange(at + zero, span.duration)
    if cut.name in (was.file, _file(cut)):
        cut.name = now.file
    whole = otio.opentime.RationalTime(now.frames + 2 * now.handle_frames, float(now.rate))
    for one in references:
        if (url := getattr(one, "target_url", None)) is not None:
            folder, slash, file = url.rpartition("/")
            name = PurePosixPath(now.file)
            # a proxy keeps its own ending
            suffix = name.suffix if one is reference else PurePosixPath(unquote(file)).suffix
            one.target_url = folder + slash + quote(name.stem + suffix)
        one.available_range = otio.opentime.TimeRange(zero, whole.rescaled_to(available.duration.rate))
    cut.metadata["aimgeo"] = fresh.metadata["aimgeo"]
    theirs = [marker for marker in cut.markers if not _is_ours(marker)]
    had_ours = len(theirs) < len(cut.markers)
    cut.markers.clear()
    cut.markers.extend(theirs)
    if had_ours:
        cut.markers.extend(marker.deepcopy() for marker in fresh.markers)


def _file(cut: Any) -> str | None:
    """The name of the file that a cut refers to; None when it refers to none."""
    url = getattr(cut.media_reference, "target_url", None)
    return None if url is None else unquote(url.rpartition("/")[2])


def _is_ours(marker: Any) -> bool:
    return "aimgeo" in marker.metadata


def moment(frame: int, was: ClipDelivered, now: ClipDelivered) -> int:
    """The frame of a file that shows what this frame of its earlier version did: so far into the same step.

    Past the end of a step that is shorter now it is the step's last frame; a step that is gone counts from where
    the next one starts.
    """
    at = frame - was.handle_frames
    if at < 0 or not was.steps:
        return max(at + now.handle_frames, 0)
    if at >= was.frames:
        return at - was.frames + now.frames + now.handle_frames
    new = {step.identity: step for step in now.steps}
    k = max(k for k, step in enumerate(was.steps) if step.first_frame <= at)
    if (same := new.get(was.steps[k].identity)) is not None:
        into = min(at - was.steps[k].first_frame, same.frames - 1)
        return same.first_frame + into + now.handle_frames
    following = (new[step.identity].first_frame for step in was.steps[k:] if step.identity in new)
    return next(following, now.frames - 1) + now.handle_frames


def shifted(first: int, length: int, was: ClipDelivered, now: ClipDelivered) -> Iterator[tuple[str, int]]:
    """Steps that start inside a cut, each with how many frames later it starts in its file, where that changes."""
    new: Mapping[str, Any] = {step.identity: step for step in now.steps}
    known = moment(first, was, now) - first
    for step in was.steps:
        at = step.first_frame + was.handle_frames
        if first < at < first + length and step.identity in new:
            by = new[step.identity].first_frame + now.handle_frames - at
            if by != known:
                known = by
                yield new[step.identity].name, by
