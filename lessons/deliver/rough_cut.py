"""The rough cut: all clips in order as one video, copied as they are, with chapters and captions."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

from lessons.deliver import Delivered, Wishes
from lessons.deliver.captions import Caption, lesson_captions
from lessons.deliver.joints import idr_pic_id, renumbered, stream_parameters
from lessons.deliver.manifest import Footage, has_sound
from lessons.deliver.writing import whole_file
from scenes.film.skip_pictures import Parameters

CONTAINERS = (".mp4", ".mov")
CAPTION_BASE = Fraction(1, 1000)
ISO_639_2 = {"en": "eng", "de": "deu"}
"""Languages as the container tells them: three letters, ISO 639-2/T."""

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
    path = footage.folder / (footage.identity + Path(footage.clips[0].file).suffix)
    if path in {footage.path(clip) for clip in footage.clips}:
        path = path.with_stem(f"{path.stem}_rough-cut")
    with whole_file(path) as part:
        join(footage, part, path.suffix.removeprefix("."))
    return Delivered((path,))


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
    spoken = {_sound_likeness(footage.path(clip)) for clip in footage.clips if has_sound(footage.path(clip))}
    if len(spoken) > 1:
        return f"{first.where}: no rough cut: the clips' sound differs in form; render them alike."
    return None


def _likeness(path: Path) -> tuple[Any, ...]:
    import av

    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        context = stream.codec_context
        return (context.name, context.width, context.height, context.pix_fmt, context.extradata, stream.time_base)


def _sound_likeness(path: Path) -> tuple[Any, ...]:
    import av

    with av.open(str(path)) as container:
        stream = container.streams.audio[0]
        context = stream.codec_context
        return (context.name, context.sample_rate, context.layout.name, context.extradata, stream.time_base)


def join(footage: Footage, path: Path, form: str) -> None:
    """Copy every packet of the clips into one file, each clip's times moved to its place."""
    import av

    rate = footage.rate
    speaking = next((c for c in footage.clips if has_sound(footage.path(c))), None)
    with (
        av.open(str(path), "w", format=form, options={"movflags": "+faststart+write_colr"}) as cut,
        av.open(str(footage.path(footage.clips[0]))) as first,
        av.open(str(footage.path(speaking or footage.clips[0]))) as spoken,
    ):
        streams: dict[str, Any] = {"video": cut.add_stream_from_template(first.streams.video[0])}
        if speaking:
            streams["audio"] = cut.add_stream_from_template(spoken.streams.audio[0])
        texts = [
            (captions, _text_track(cut, language or footage.clips[0].language))
            for language in (None, *footage.translations)
            if (captions := lesson_captions(footage, language))
        ]
        cut.set_chapters(list(chapters(footage)))
        cut.start_encoding()
        ends: dict[str, int] = {}
        joint = Joint(stream_parameters(first.streams.video[0].codec_context.extradata))
        for at, clip in footage.starts():
            for captions, track in texts:
                for caption in captions:
                    if at <= caption.first_frame < at + clip.frames:
                        cut.mux(_text_packet(caption, rate, track))
            _copy(footage.path(clip), at / rate, streams, cut, ends, joint)


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


def _copy(
    path: Path, start_s: Fraction, streams: dict[str, Any], cut: Any, ends: dict[str, int], joint: Joint
) -> None:
    import av

    with av.open(str(path)) as container:
        for packet in container.demux([s for s in container.streams if s.type in streams]):
            if packet.dts is None:
                continue
            kind = packet.stream.type
            offset = round(start_s / packet.time_base)
            packet.pts, packet.dts = packet.pts + offset, packet.dts + offset
            # an encoder's run-in lies before the clip's first sample, where the clip before still sounds
            if kind == "audio" and packet.dts < ends.get(kind, packet.dts):
                continue
            ends[kind] = packet.dts + (packet.duration or 1)
            packet = joint.passing(packet) if kind == "video" else packet
            packet.stream = streams[kind]
            cut.mux(packet)


def _text_track(cut: Any, language: str) -> Any:
    track = cut.add_stream("mov_text")
    track.metadata["language"] = ISO_639_2[language]
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
