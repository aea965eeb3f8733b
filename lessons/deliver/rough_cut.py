"""The rough cut: all clips as one video with chapters and captions, pictures copied, sound joined."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from aimgeo.vectors import Array
from lessons.deliver import Delivered, Wishes
from lessons.deliver.captions import Caption, lesson_captions
from lessons.deliver.footage import Footage, has_sound
from lessons.deliver.joints import idr_pic_id, renumbered, stream_parameters
from lessons.deliver.levels import levelled
from lessons.deliver.timecode import timecode_of
from lessons.deliver.writing import whole_file
from lessons.lesson.wording import words_of
from lessons.planning.sound import Sound, encoded, sound_form, stretch, voice_stream
from scenes.film.skip_pictures import Parameters

CONTAINERS = (".mp4", ".mov")
CAPTION_BASE = Fraction(1, 1000)

STYLE = b"""[Script Info]
ScriptType: v4.00+
[V4+ Styles]
Format: Name, Fontname, Fontsize, PrimaryColour
Style: Default,Sans,18,&Hffffff
[Events]
Format: Layer, Start, End, Style, Text
"""
"""What the text track's encoder is opened with; the player's own settings decide how captions look."""


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """<lesson>.mp4 (or .mov); none when the clips cannot be joined as they are, and then a sentence why."""
    reason = why_not(footage)
    if reason:
        return Delivered((), (reason,))
    path = cut_path(footage)
    with whole_file(path) as part:
        join(footage, part, path.suffix.removeprefix("."), wishes)
    return Delivered((path,))


def cut_path(footage: Footage) -> Path:
    """Where the rough cut lies."""
    path = footage.folder / (footage.identity + Path(footage.clips[0].file).suffix)
    taken = path in {footage.path(clip) for clip in footage.clips}
    return path.with_stem(f"{path.stem}_rough-cut") if taken else path


def why_not(footage: Footage) -> str | None:
    """Why the clips cannot be joined without encoding them again; None when they can."""
    first = footage.clips[0]
    likeness = _likeness(footage.path(first))
    for clip in footage.clips:
        if clip.handle_frames:
            return f"{clip.where}: no rough cut: the clips have handles, which only encoding anew could cut off."
        if Path(clip.file).suffix not in CONTAINERS or Path(clip.file).suffix != Path(first.file).suffix:
            return f"{clip.where}: no rough cut: {clip.file} is no video file like the others."
        if clip.rate != first.rate or _likeness(footage.path(clip)) != likeness:
            return (
                f"{clip.where}: no rough cut: {clip.file} is encoded with other settings than {first.file}; "
                "render the clips alike."
            )
    return None


def _likeness(path: Path) -> tuple[Any, ...]:
    import av

    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        context = stream.codec_context
        return (context.name, context.width, context.height, context.pix_fmt, context.extradata, stream.time_base)


def join(footage: Footage, path: Path, container: str, wishes: Wishes) -> None:
    """Copy every picture of the clips into one file, moved to its place; the sound is joined and encoded once."""
    import av

    rate = footage.rate
    form = _sound_form(footage)
    with (
        av.open(str(path), "w", format=container, options={"movflags": "+faststart+write_colr"}) as cut,
        av.open(str(footage.path(footage.clips[0]))) as first,
    ):
        pictures = cut.add_stream_from_template(first.streams.video[0])
        # the timecode is written only when the rate is known
        pictures.codec_context.framerate = rate
        voice = voice_stream(cut, container, *form) if form else None
        texts = [
            (captions, _text_track(cut, language or footage.clips[0].language))
            for language in (None, *footage.translations)
            if (captions := lesson_captions(footage, language))
        ]
        cut.set_chapters(list(chapters(footage)))
        timecode = timecode_of(rate, wishes.non_drop)
        cut.metadata["timecode"] = timecode.name(timecode.start_frame)
        cut.metadata["title"] = footage.title
        cut.start_encoding()
        spoken = encoded(voice, sounding(footage, *form, wishes.lufs)) if form else iter(())
        joint = Joint(stream_parameters(first.streams.video[0].codec_context.extradata))
        for at, clip in footage.starts():
            for captions, track in texts:
                for caption in captions:
                    if at <= caption.first_frame < at + clip.frames:
                        cut.mux(_text_packet(caption, rate, track))
            for packet, until in _pictures(footage.path(clip), at / rate, joint):
                packet.stream = pictures
                cut.mux(packet)
                for heard, reached in spoken:
                    cut.mux(heard)
                    if reached > until:
                        break
        for heard, _ in spoken:
            cut.mux(heard)


def _sound_form(footage: Footage) -> tuple[int, int] | None:
    """The rate and channels of the whole cut, the best of its clips; None when all are silent."""
    import av

    forms = []
    for clip in footage.clips:
        with av.open(str(footage.path(clip))) as container:
            forms += [sound_form(stream) for stream in container.streams.audio[:1]]
    return (max(rate for rate, _ in forms), max(channels for _, channels in forms)) if forms else None


def sounding(footage: Footage, rate: int, channels: int, lufs: float | None = None) -> Iterator[Array]:
    """The samples (n, channels) of each clip, from the sample nearest to its first frame to the next clip's.

    They are decoded, since packets of an encoder hold as many samples as it likes and are no measure of time.
    """
    for at, clip in footage.starts():
        first, end = (round(frame / footage.rate * rate) for frame in (at, at + clip.used_frames))
        path = footage.path(clip)
        if not has_sound(path):
            yield np.zeros((end - first, channels))
            continue
        seconds = Fraction(end - first, rate)
        whole = Sound(path.as_posix(), clip.sha256, 0.0, float(seconds))
        heard = stretch(whole, seconds, form=(rate, channels))[0]
        yield heard if lufs is None else levelled(heard, rate, lufs)


class Joint:
    """Sees every picture pass, and gives an IDR picture another number when the one before has the same."""

    def __init__(self, stream: Parameters | None) -> None:
        self._stream = stream
        self._before: int | None = None

    def passing(self, packet: Any) -> Any:
        """The packet, or one like it with another number."""
        import av

        if self._stream is None:
            return packet
        number = idr_pic_id(bytes(packet), self._stream) if packet.is_keyframe else None
        if number is not None and number == self._before:
            # x264 takes 0 and 1 in turn: the next one differs from 2 as well
            number = 2 if number < 2 else 0
            changed = av.Packet(renumbered(bytes(packet), self._stream, number))
            changed.pts, changed.dts, changed.duration = packet.pts, packet.dts, packet.duration
            changed.time_base, changed.is_keyframe, packet = packet.time_base, True, changed
        self._before = number
        return packet


def _pictures(path: Path, start_s: Fraction, joint: Joint) -> Iterator[tuple[Any, Fraction]]:
    """The packets of a clip's pictures, moved to its place, each with the second at which it is decoded."""
    import av

    with av.open(str(path)) as container:
        for packet in container.demux(container.streams.video[0]):
            if packet.dts is None:
                continue
            offset = round(start_s / packet.time_base)
            packet.pts, packet.dts = packet.pts + offset, packet.dts + offset
            yield joint.passing(packet), packet.dts * packet.time_base


def _text_track(cut: Any, language: str) -> Any:
    track = cut.add_stream("mov_text")
    track.metadata["language"] = words_of(language)["language"]["iso_639_2"]
    track.time_base = track.codec_context.time_base = CAPTION_BASE
    track.codec_context.subtitle_header = STYLE
    return track


def _text_packet(caption: Caption, rate: Fraction, track: Any) -> Any:
    """3GPP timed text: the length of the words in two bytes, then the words."""
    import av

    words = "\n".join(caption.lines).encode("utf-8")
    packet = av.Packet(len(words).to_bytes(2, "big") + words)
    first, end = (int(frame / rate / CAPTION_BASE) for frame in (caption.first_frame, caption.end_frame))
    packet.pts = packet.dts = first
    packet.duration, packet.time_base, packet.stream = end - first, CAPTION_BASE, track
    return packet


def chapters(footage: Footage) -> Iterator[dict[str, Any]]:
    """A chapter for every clip, under its name."""
    for number, (at, clip) in enumerate(footage.starts()):
        base = 1 / footage.rate
        yield {
            "id": number,
            "start": at,
            "end": at + clip.frames,
            "time_base": base,
            "metadata": {"title": clip.name},
        }
