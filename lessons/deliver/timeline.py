"""The timeline that an editor opens: every clip in order, step markers, captions; as .otio, .otioz and XML."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from lessons.deliver import Delivered, Wishes
from lessons.deliver.captions import clip_captions
from lessons.deliver.changes import marks
from lessons.deliver.footage import Footage, has_sound
from lessons.deliver.lists import chapter_list
from lessons.deliver.over_footage import held_of
from lessons.deliver.proxies import proxy_file
from lessons.deliver.timecode import source_of, timecode_of
from lessons.deliver.writing import whole_file, write_text
from lessons.deliver.xml import Origin, completed
from lessons.rendering.deliveries import ClipDelivered, StepChange, recorded
from lessons.rendering.manifest import Clip, Step

MASTER, PROXY = "DEFAULT_MEDIA", "proxy"
"""The keys of a cut's two files; the first is OpenTimelineIO's own."""


def build_timeline(footage: Footage, wishes: Wishes) -> Any:
    """An opentimelineio Timeline that starts at 01:00:00:00; references are relative to the folder, or whole.

    The words of each clip are in its metadata under `aimgeo`, captions by frames of the clip; so are its lasting
    identity and its version. What changed since the delivery before is marked in orange.
    """
    import opentimelineio as otio

    delivery = wishes.delivery or recorded(footage.manifest)
    address = footage.address(wishes.absolute)
    known, changed = delivery.by_name(), marks(delivery)

    timecode = timecode_of(footage.rate, wishes.non_drop)
    rate = float(footage.rate)
    size = (footage.clips[0].width_px, footage.clips[0].height_px)

    def time(frame: int) -> Any:
        return otio.opentime.RationalTime(frame, rate)

    def span(first_frame: int, frames: int) -> Any:
        return otio.opentime.TimeRange(time(first_frame), time(frames))

    def marker(step: Step, identity: str, first: int) -> Any:
        return otio.schema.Marker(
            name=step.name,
            marked_range=span(first + step.first_frame, step.end_frame - step.first_frame),
            color=otio.schema.MarkerColor.CYAN,
            comment=step.narration,
            metadata={"aimgeo": {"identity": identity}}
            | ({"fcp_xml": {"comment": step.narration}} if step.narration else {}),
        )

    def change_marker(clip: Clip, change: StepChange) -> Any:
        said = f"{change.step}: {change.says}" if change.step else change.says
        first = source_of(clip, timecode).first_frame + clip.handle_frames + change.first_frame
        return otio.schema.Marker(
            name="changed",
            marked_range=span(first, change.end_frame - change.first_frame),
            color=otio.schema.MarkerColor.ORANGE,
            comment=said,
            metadata={"aimgeo": {"change": change.says}, "fcp_xml": {"comment": said}},
        )

    def markers(clip: Clip) -> list[Any]:
        told, first = known[clip.name], source_of(clip, timecode).first_frame
        steps = [marker(s, of.identity, first) for s, of in zip(clip.steps, told.steps, strict=True)]
        return steps + [change_marker(clip, change) for change in changed.get(told.identity, ())]

    def reference(clip: Clip, file: str, metadata: dict[str, Any]) -> Any:
        return otio.schema.ExternalReference(
            target_url=address(file),
            available_range=span(source_of(clip, timecode).first_frame, clip.frames),
            metadata=metadata,
        )

    def laid(clip: Clip, is_picture: bool) -> Any:
        media = {"fcp_xml": {"media": _media(clip, has_sound(footage.path(clip)))}}
        cut = otio.schema.Clip(
            name=Path(clip.file).name,
            media_reference=reference(clip, clip.file, media),
            source_range=span(source_of(clip, timecode).first_frame + clip.handle_frames, clip.used_frames),
            markers=markers(clip) if is_picture else [],
            metadata={"aimgeo": _told(clip, known[clip.name])},
        )
        if wishes.proxies:
            small = proxy_file(clip)
            cut.set_media_references({MASTER: cut.media_reference, PROXY: reference(clip, small, {})}, MASTER)
        return cut

    def ground() -> Any:
        """The footage itself, frame under frame, where clips lie over it."""
        track = otio.schema.Track("Footage", kind=otio.schema.TrackKind.Video)
        for clip in footage.clips:
            if (filmed := below(clip)) is None:
                track.append(otio.schema.Gap(source_range=span(0, clip.used_frames)))
                continue
            first = source_of(clip, timecode).first_frame
            reference = otio.schema.ExternalReference(
                target_url=address(filmed.file),
                available_range=span(first, clip.frames),
                metadata={"fcp_xml": {"media": _media(clip, False)}},
            )
            track.append(
                otio.schema.Clip(
                    name=filmed.name,
                    media_reference=reference,
                    source_range=span(first, clip.used_frames),
                    # the XML's adapter takes clips that are alike for one
                    metadata={"aimgeo": {"under": known[clip.name].identity}},
                )
            )
        return track

    timeline = otio.schema.Timeline(footage.title, global_start_time=time(timecode.start_frame))
    timeline.metadata["fcp_xml"] = {
        "timecode": {"displayformat": "DF" if timecode.drop else "NDF"},
        "media": {"video": {"format": {"samplecharacteristics": _picture(size, footage.rate)}}},
    }
    if any(below(clip) for clip in footage.clips):
        timeline.tracks.append(ground())
    pictures = otio.schema.Track("Clips", kind=otio.schema.TrackKind.Video)
    pictures.extend(laid(clip, is_picture=True) for clip in footage.clips)
    timeline.tracks.append(pictures)

    for at, title in chapter_list(footage, wishes):
        timeline.tracks.markers.append(
            otio.schema.Marker(
                name=title,
                marked_range=span(at, 1),
                color=otio.schema.MarkerColor.GREEN,
                metadata={"aimgeo": {"chapter": title}},
            )
        )
    if any(has_sound(footage.path(clip)) for clip in footage.clips):
        sound = otio.schema.Track("Narration", kind=otio.schema.TrackKind.Audio)
        for clip in footage.clips:
            spoken = has_sound(footage.path(clip))
            sound.append(
                laid(clip, is_picture=False) if spoken else otio.schema.Gap(source_range=span(0, clip.used_frames))
            )
        timeline.tracks.append(sound)
    return timeline


@dataclass(frozen=True, slots=True)
class Ground:
    """What lies under a clip: its file's way from the folder, and its name."""

    file: str
    name: str


def below(clip: Clip) -> Ground | None:
    """The footage that a clip lies over, a photograph as a clip that holds it; None for clips over nothing."""
    if clip.filmed is None:
        return None
    if clip.filmed.set_up.is_still:
        return Ground(held_of(clip), Path(held_of(clip)).name)
    return Ground(clip.filmed.file, clip.filmed.set_up.footage)


def _told(clip: Clip, delivered: ClipDelivered) -> dict[str, Any]:
    keys = ("kind", "method", "cut_deg", "side", "distance_name", "distance_mm", "eye")
    captions = [
        {"first_frame": c.first_frame, "end_frame": c.end_frame, "text": "\n".join(c.lines)}
        for c in clip_captions(clip)
    ]
    lasting = {key: getattr(delivered, key) for key in ("identity", "version", "sha256")}
    return lasting | {key: getattr(clip, key) for key in keys} | {"captions": captions}


def _picture(size: tuple[int, int], rate: Fraction) -> dict[str, Any]:
    """The XML's description of a picture: without it the sequence has no size."""
    whole = round(rate)
    return {
        "rate": {"timebase": str(whole), "ntsc": "FALSE" if rate == whole else "TRUE"},
        "width": str(size[0]),
        "height": str(size[1]),
        "pixelaspectratio": "square",
        "fielddominance": "none",
    }


def _media(clip: Clip, sound: bool) -> dict[str, Any]:
    media: dict[str, Any] = {
        "video": {"samplecharacteristics": _picture((clip.width_px, clip.height_px), clip.rate)}
    }
    return media | ({"audio": {"channelcount": "1"}} if sound else {})


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """<lesson>.otio and .xml; <lesson>.otioz, with the clips inside, when a bundle is wished for."""
    import opentimelineio as otio

    timeline = build_timeline(footage, wishes)
    xml = completed(otio.adapters.write_to_string(timeline, "fcp_xml"), origins(footage, wishes))
    stem = footage.folder / footage.identity
    files = [
        write_text(stem.with_name(stem.name + ".otio"), otio.adapters.write_to_string(timeline, "otio_json")),
        write_text(stem.with_name(stem.name + ".xml"), xml),
    ]
    if wishes.bundle:
        files.append(
            _write_bundle(
                build_timeline(footage, replace(wishes, absolute=True)), stem.with_name(stem.name + ".otioz")
            )
        )
    return Delivered(tuple(files))


def origins(footage: Footage, wishes: Wishes) -> dict[str, Origin]:
    """What each file is, by its name in the folder."""
    delivery = wishes.delivery or recorded(footage.manifest)
    known, reels = delivery.by_name(), footage.reels(delivery)
    timecode = timecode_of(footage.rate, wishes.non_drop)
    sources = {clip.name: source_of(clip, timecode) for clip in footage.clips}

    def counted(clip: Clip) -> str:
        return sources[clip.name].timecode.name(sources[clip.name].first_frame)

    own = {clip.file: Origin(known[clip.name].identity, reels[clip.name], counted(clip)) for clip in footage.clips}
    # one filmed clip may lie under several
    filmed = {
        found.file: Origin(
            f"{footage.identity}-{Path(found.file).stem}", Path(found.file).stem, counted(clip), True
        )
        for clip in footage.clips
        if (found := below(clip))
    }
    return own | filmed


def _write_bundle(timeline: Any, path: Path) -> Path:
    import opentimelineio as otio

    # addresses are whole: the adapter looks for relative files in the process's folder, not in the timeline's
    with whole_file(path) as part:
        otio.adapters.write_to_file(timeline, str(part), adapter_name="otioz")
    return path
