"""Recordings of the narration: length by decoded samples, pauses, loudness, and the sound of a clip."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from aimgeo.vectors import Array
from scenes.files import part_path, place, sha256

ENDINGS = (".wav", ".mp3", ".m4a", ".aac", ".flac")
RATES = (44100, 48000)
"""Sample rates that are kept; sound of any other is resampled to the last."""
LAYOUTS = {1: "mono", 2: "stereo"}
AAC_BITS_A_SECOND = 192_000

WINDOW_S = 0.01
SHORTEST_PAUSE_S = 0.2
LEAD_S = 0.1
"""A proposed mark stands so much before the words, so that the picture is there when they come."""
QUIET_DB = 30.0
"""A window is a pause when it is so far below the loud parts of the recording (its 95th percentile)."""


class SoundError(ValueError):
    """A recording that cannot be used, in a sentence."""


@dataclass(frozen=True, slots=True)
class Sound:
    """A stretch of a recording: the file, its digest, and the seconds at which it starts and ends."""

    file: str
    sha256: str
    start_s: float
    end_s: float

    @property
    def key(self) -> object:
        """What the sound depends on."""
        return (self.sha256, self.start_s, self.end_s)


@dataclass(frozen=True, slots=True)
class Loudness:
    """By EBU R 128: integrated loudness (LUFS), loudness range (LU), true peak (dBTP)."""

    integrated_lufs: float
    range_lu: float
    true_peak_dbtp: float


def blocks(path: Path, form: tuple[int, int] | None = None) -> Iterator[tuple[Array, int]]:
    """A recording piece by piece: samples (n, channels), float32 in -1..1, and the rate; one or two channels.

    With a `form`, in its rate and channels, whatever the recording's are. What an encoder put before the first
    sample is dropped by the decoder, as the file tells it to.
    """
    import av

    try:
        with av.open(str(path)) as container:
            stream = container.streams.audio[0]
            rate, channels = form or sound_form(stream)
            layout = LAYOUTS[channels]
            resampler = av.AudioResampler(format="fltp", layout=layout, rate=rate)
            for frame in container.decode(stream):
                for done in resampler.resample(frame):
                    yield done.to_ndarray().T, rate
            for done in resampler.resample(None):
                yield done.to_ndarray().T, rate
    except (av.FFmpegError, OSError, IndexError) as error:
        reason = (getattr(error, "strerror", None) or "it holds none").lower()
        raise SoundError(f"{path.as_posix()} cannot be read as sound ({reason}); save it as WAV.") from None


def sound_form(stream: Any) -> tuple[int, int]:
    """The rate and the channels in which a stream's sound is used."""
    return stream.rate if stream.rate in RATES else RATES[-1], min(stream.layout.nb_channels, 2)


def length_s(path: Path) -> float:
    """A recording's length, by counting its decoded samples."""
    count, rate = 0, 1
    for block, rate in blocks(path):  # noqa: B007 - the rate of the last block is that of all
        count += len(block)
    if not count:
        raise SoundError(f"{path.as_posix()} holds no sound.")
    return count / rate


def stretch(
    sound: Sound, seconds: Fraction, lead: Fraction = Fraction(0), form: tuple[int, int] | None = None
) -> tuple[Array, int]:
    """The sound's samples (n, channels), exactly so long, and their rate; silence after its end.

    Of the seconds, `lead` are silence before it; `form` is as for `blocks`.
    """
    path = Path(sound.file)
    kept, at, count, before = [], 0, 0, 0
    for block, rate in blocks(path, form):
        first, count, before = round(sound.start_s * rate), round(seconds * rate), round(lead * rate)
        last = min(first + count - before, round(sound.end_s * rate))
        kept.append(block[max(first - at, 0) : max(last - at, 0)])
        at += len(block)
        if at >= last:
            break
    if not kept:
        raise SoundError(f"{path.as_posix()} holds no sound.")
    part = np.concatenate(kept)
    return np.pad(part, ((before, count - before - len(part)), (0, 0))), rate


def levels_db(path: Path) -> Array:
    """How loud a recording is in each hundredth of a second, decibels below full scale."""
    powers: list[Array] = []
    rest = np.zeros(0, np.float32)
    for block, rate in blocks(path):
        size = round(WINDOW_S * rate)
        rest = np.concatenate([rest, np.mean(block**2, axis=1)])
        count = len(rest) // size
        powers.append(rest[: count * size].reshape(count, size).mean(axis=1))
        rest = rest[count * size :]
    return np.asarray(10 * np.log10(np.concatenate([*powers, np.zeros(0)]) + 1e-12))


def pauses(levels: Array) -> list[tuple[float, float]]:
    """The pauses as (start, end) in seconds, from levels; those at the beginning and the end included."""
    if not len(levels):
        return []
    quiet = levels < np.percentile(levels, 95) - QUIET_DB
    edges = np.flatnonzero(np.diff(np.concatenate([[False], quiet, [False]]).astype(int)))
    found = [(a * WINDOW_S, b * WINDOW_S) for a, b in edges.reshape(-1, 2)]
    return [(a, b) for a, b in found if b - a >= SHORTEST_PAUSE_S]


def proposed_marks(path: Path, count: int) -> list[float]:
    """Where `count` steps may start, in seconds: at the first words and after the longest pauses.

    Fewer when the recording has fewer pauses. A proposal to be listened to, not a measurement.
    """
    levels = levels_db(path)
    found = pauses(levels)
    start = found[0][1] if found and found[0][0] == 0 else 0.0
    inner = [(a, b) for a, b in found if a > 0 and b < (len(levels) - 1) * WINDOW_S]
    longest = sorted(inner, key=lambda p: p[0] - p[1])[: count - 1]
    return [round(max(at - LEAD_S, 0.0), 2) for at in (start, *sorted(b for _, b in longest))]


def loudness(heard: Array, rate: int) -> Loudness:
    """Loudness of samples (n, channels) by EBU R 128 (ITU-R BS.1770), as FFmpeg's meter finds it."""
    import av

    layout = LAYOUTS[heard.shape[1]]
    graph = av.filter.Graph()
    source = graph.add_abuffer(sample_rate=rate, format="flt", layout=layout, time_base=Fraction(1, rate))
    meter = graph.add("ebur128", "metadata=1:peak=true")
    sink = graph.add("abuffersink")
    source.link_to(meter)
    meter.link_to(sink)
    graph.configure()
    told: dict[str, str] = {}
    for at in range(0, len(heard), rate // 10):
        part = np.ascontiguousarray(heard[at : at + rate // 10], np.float32)
        source.push(_frame(part.reshape(1, -1), "flt", layout, rate, at))
        told = _last_metadata(sink, told)
    source.push(None)
    told = _last_metadata(sink, told)
    peak = float(told.get("lavfi.r128.true_peak", 0.0))
    return Loudness(
        float(told.get("lavfi.r128.I", "-inf")),
        float(told.get("lavfi.r128.LRA", 0.0)),
        20 * float(np.log10(peak)) if peak > 0 else float("-inf"),
    )


def _last_metadata(sink: Any, told: dict[str, str]) -> dict[str, str]:
    import av

    while True:
        try:
            told = dict(sink.pull().metadata) or told
        except (av.BlockingIOError, av.EOFError):
            return told


def _frame(content: NDArray[Any], form: str, layout: str, rate: int, at: int) -> Any:
    import av

    frame = av.AudioFrame.from_ndarray(content, format=form, layout=layout)
    frame.sample_rate, frame.pts, frame.time_base = rate, at, Fraction(1, rate)
    return frame


def add_sound(
    video: Path, container: str, sound: Sound, seconds: Fraction, lead: Fraction = Fraction(0)
) -> dict[str, Any]:
    """Put a stretch of a recording into a clip of so many `seconds`, `lead` seconds after its first picture.

    Otherwise as `add_samples`.
    """
    return add_samples(video, container, *stretch(sound, seconds, lead))


def add_samples(video: Path, container: str, heard: Array, rate: int) -> dict[str, Any]:
    """Put samples (n, channels) into a clip, which is rewritten in its place: PCM in 'mov', AAC in 'mp4'.

    Pictures, chapters and timecode are copied. The loudness is left as it is. What the AAC encoder puts before the
    first sample is trimmed by the file's edit list. The answer is the `size` and `sha256` of the file then.
    """
    import av

    with av.open(str(video)) as source:
        part = part_path(video)
        options = {"movflags": "+faststart+write_colr"}
        try:
            with av.open(str(part), "w", format=container, options=options) as target:
                pictures = target.add_stream_from_template(source.streams.video[0])
                # the timecode is written only when the rate is known
                pictures.codec_context.framerate = source.streams.video[0].average_rate
                voice = voice_stream(target, container, rate, heard.shape[1])
                target.set_chapters(source.chapters())
                told = (source.metadata, *(stream.metadata for stream in source.streams))
                if code := next((one["timecode"] for one in told if "timecode" in one), None):
                    target.metadata["timecode"] = code
                spoken = encoded(voice, [heard])
                for packet in source.demux(source.streams.video[0]):
                    if packet.dts is None:
                        continue
                    until = packet.dts * packet.time_base
                    packet.stream = pictures
                    target.mux(packet)
                    for packets, at in spoken:
                        target.mux(packets)
                        if at > until:
                            break
                for packets, _ in spoken:
                    target.mux(packets)
            place(part, video)
        finally:
            part.unlink(missing_ok=True)
    return {"size": video.stat().st_size, "sha256": sha256(video)}


def voice_stream(target: Any, container: str, rate: int, channels: int) -> Any:
    """A stream for sound in a file that is being written: PCM in 'mov', AAC in any other container."""
    codec = "pcm_s24le" if container == "mov" else "aac"
    voice = target.add_stream(codec, rate=rate, layout=LAYOUTS[channels])
    if codec == "aac":
        voice.codec_context.bit_rate = AAC_BITS_A_SECOND
    return voice


def encoded(voice: Any, parts: Iterable[Array]) -> Iterator[tuple[list[Any], Fraction]]:
    """The packets of samples (n, channels) that follow each other, with the second up to which they reach.

    All of it is encoded as one, so that sample k of them is sample k of the file.
    """
    rate, layout = voice.codec_context.sample_rate, voice.codec_context.layout.name
    form, size = ("fltp", 1024) if voice.codec_context.name == "aac" else ("s32", 4096)
    at = 0
    for part in in_blocks(parts, size):
        if form == "s32":
            # 24 bits in the upper part of 32, as FFmpeg's encoder takes them
            full = 2**23
            content = np.clip(np.round(part * full), -full, full - 1).astype(np.int32) * 256
            frame = _frame(content.reshape(1, -1), form, layout, rate, at)
        else:
            frame = _frame(np.ascontiguousarray(part.T, np.float32), form, layout, rate, at)
        at += len(part)
        yield voice.encode(frame), Fraction(at, rate)
    yield voice.encode(None), Fraction(at, rate)


def in_blocks(parts: Iterable[Array], size: int) -> Iterator[Array]:
    """The same samples in blocks of one size, the last of them shorter.

    >>> [len(block) for block in in_blocks([np.zeros((3, 1)), np.zeros((4, 1))], 2)]
    [2, 2, 2, 1]
    """
    rest: list[Array] = []
    count = 0
    for part in parts:
        rest.append(part)
        count += len(part)
        if count < size:
            continue
        joined = np.concatenate(rest)
        whole = count - count % size
        yield from (joined[at : at + size] for at in range(0, whole, size))
        rest, count = [joined[whole:]], count - whole
    if count:
        yield np.concatenate(rest)
