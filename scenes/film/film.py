"""Writing a clip as one stream while it is drawn: only changed parts are converted, every picture is encoded once.

`Film` takes patches of the picture and encodes; `FilmWriter` and `FilmRenderer` plug it into Manim's scenes in the
place of the stock file writer.
"""

from __future__ import annotations

from collections import OrderedDict, deque
from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from fractions import Fraction
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import av
import numpy as np
from av.video.frame import PictureType
from av.video.reformatter import ColorRange, Colorspace, Interpolation, VideoReformatter
from manim import CairoRenderer, Scene

from scenes.board import StepSpan
from scenes.board.brief import Output
from scenes.film.forms import FORMS, Form, counted
from scenes.film.painter import Box, PainterCamera
from scenes.film.skip_pictures import SkipPictures

BT709 = 1
"""Matrix, primaries and transfer of ITU-R BT.709, as ISO/IEC 23091-2 numbers them."""

LEAST_HOLD = 24
"""A picture held at least so long is an IDR picture: it is looked at for a while, and can be sought."""

IDR_EVERY = 60
"""In a hold its IDR picture comes again after so many frames, for seeking."""

HANDLE = "handle"
"""The chapter before a clip's first step, where it is held to be cut into."""

MOST_WAITING = 16
"""So many pictures wait for an encoder in a thread of its own, some 3 MB each at 1080p."""

Patch = tuple[Box, np.ndarray]
"""A changed box and its pixels, RGBA, uint8 (height, width, 4)."""


class Converter:
    """A yuv420p frame kept up to date from RGBA patches, BT.709, video range.

    Chroma is the plain mean of two by two pixels, so that patches on even borders need no pixels around them.
    """

    def __init__(self, width_px: int, height_px: int) -> None:
        if width_px % 2 or height_px % 2:
            raise ValueError(f"4:2:0 needs an even frame size, not {width_px}x{height_px}")
        self._pixels = np.empty((height_px * 3 // 2, width_px), np.uint8)
        self._planes = self._views(width_px, height_px)
        self._scalers: OrderedDict[tuple[int, int], VideoReformatter] = OrderedDict()
        self._size = width_px, height_px

    def _views(self, width_px: int, height_px: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        flat = self._pixels.reshape(-1)
        luma, quarter = width_px * height_px, width_px * height_px // 4
        shape = height_px // 2, width_px // 2
        return (
            flat[:luma].reshape(height_px, width_px),
            flat[luma : luma + quarter].reshape(shape),
            flat[luma + quarter :].reshape(shape),
        )

    def take(self, box: Box, rgba: np.ndarray) -> None:
        """Convert one patch into its place."""
        left, top, right, bottom = box
        size = right - left, bottom - top
        scaler = self._scalers.setdefault(size, VideoReformatter())
        self._scalers.move_to_end(size)
        if len(self._scalers) > 64:
            self._scalers.popitem(last=False)
        converted = scaler.reformat(
            av.VideoFrame.from_numpy_buffer(np.ascontiguousarray(rgba), "rgba"),
            format="yuv420p",
            src_colorspace=Colorspace.ITU709,
            dst_colorspace=Colorspace.ITU709,
            src_color_range=ColorRange.JPEG,
            dst_color_range=ColorRange.MPEG,
            interpolation=Interpolation.AREA,
        )
        for k, (plane, into) in enumerate(zip(converted.planes, self._planes, strict=True)):
            s = 2 if k else 1
            rows = np.frombuffer(memoryview(plane), np.uint8).reshape(-1, plane.line_size)
            into[top // s : bottom // s, left // s : right // s] = rows[: plane.height, : plane.width]

    def frame(self, is_own: bool = False) -> av.VideoFrame:
        """The frame as it is now. Unless the pixels are its own it must be encoded before the next patch."""
        frame = av.VideoFrame.from_numpy_buffer(self._pixels.copy() if is_own else self._pixels, "yuv420p")
        frame.color_range = ColorRange.MPEG
        frame.colorspace = Colorspace.ITU709
        frame.color_primaries = BT709
        frame.color_trc = BT709
        return frame


def open_stream(path: Path, output: Output, form: Form, steps: tuple[StepSpan, ...]) -> tuple[Any, Any, Fraction]:
    """A container that is being written, its video stream, and a frame's seconds; each step is a chapter.

    MP4 and MOV carry a timecode. The colours are those of BT.709, in video range where they are not kept as RGB.
    """
    container = av.open(str(path), "w", format=form.container, options=dict(form.container_options))
    rate = Fraction(*output.rate)
    stream: Any = container.add_stream(form.codec, rate=rate)
    stream.width, stream.height, stream.pix_fmt = output.width_px, output.height_px, form.pixel_format
    context = stream.codec_context
    stream.time_base = context.time_base = tick = 1 / rate
    # threads change the bytes: one, always
    context.thread_count = 1
    context.color_primaries = context.color_trc = BT709
    if form.pixel_format.startswith("yuv"):
        context.color_range, context.colorspace = ColorRange.MPEG, Colorspace.ITU709
    stream.options = dict(form.options)
    if form.has_timecode:
        container.metadata["timecode"] = counted(output.timecode, output.rate)
    if steps:
        # in these files a chapter ends where the next one starts, and the first one starts the film
        before = [StepSpan(HANDLE, 0, steps[0].first_frame)] if steps[0].first_frame else []
        container.set_chapters([
            {"id": k, "start": s.first_frame, "end": s.end_frame, "time_base": tick, "metadata": {"title": s.name}}
            for k, s in enumerate([*before, *steps])
        ])  # fmt: skip
    return container, stream, tick


def packet_at(frame: int, content: bytes, stream: Any, tick: Fraction, is_keyframe: bool) -> av.Packet:
    """A picture's bytes as the packet of one frame of a stream."""
    packet = av.Packet(content)
    packet.is_keyframe, packet.stream = is_keyframe, stream
    packet.pts = packet.dts = frame
    packet.duration, packet.time_base = 1, tick
    return packet


class Film:
    """One clip being written. Every picture is encoded once, when the next one comes and its length is known.

    `frames` counts what was asked for so far, and `on_frames` is told of it now and then. Call `close` to finish
    the file or `abandon` to leave nothing. `is_aside` encodes in a thread of its own, while the next picture is
    drawn: for a processor that would be idle. The bytes are the same.
    """

    def __init__(
        self,
        path: Path,
        output: Output,
        form: Form = FORMS["h264"],
        on_frames: Callable[[int], None] | None = None,
        steps: tuple[StepSpan, ...] = (),
        is_aside: bool = False,
    ) -> None:
        self.path, self.frames = path, 0
        self._aside = ThreadPoolExecutor(1) if is_aside else None
        self._encoding: deque[Future[None]] = deque()
        self._on_frames = on_frames
        self._converter = Converter(output.width_px, output.height_px)
        self._run = self._fed = self._written = self._since_idr = self._number = 0
        self._lengths: dict[int, int] = {}
        self._skips: SkipPictures | None = None
        self._container, self._stream, self._tick = open_stream(path, output, form, steps)
        self._group = self._stream.codec_context.gop_size = max(round(1 / self._tick / 2), 1)

    def show(self, patches: Iterable[Patch]) -> None:
        """One more frame, differing from the last in these patches; the first one's cover everything."""
        patches = tuple(patches)
        if patches:
            self._flush()
            for box, rgba in patches:
                self._converter.take(box, rgba)
        self.hold(1)

    def hold(self, frames: int) -> None:
        """The same picture for so many more frames."""
        self.frames += frames
        self._run += frames

    def close(self) -> None:
        """Finish the file."""
        self._flush()
        self._wait(0)
        self._take(self._stream.encode(None))
        self._end()

    def abandon(self) -> None:
        """Stop and leave nothing behind."""
        self._end()
        self.path.unlink(missing_ok=True)

    def _end(self) -> None:
        if self._aside is not None:
            self._aside.shutdown(cancel_futures=True)
        self._container.close()

    def _wait(self, most: int) -> None:
        """Until at most so many pictures are waiting for the encoder; what failed there is raised here."""
        while len(self._encoding) > most:
            self._encoding.popleft().result()

    def _flush(self) -> None:
        if self._run:
            if self._skips is None:
                self._skips = self._open()
            is_idr = self._run >= LEAST_HOLD or self._since_idr >= self._group
            self._since_idr = 1 + (self._run - 1) % IDR_EVERY if is_idr else self._since_idr + self._run
            frame = self._converter.frame(is_own=self._aside is not None)
            frame.pts, frame.time_base = self._fed, self._tick
            if is_idr:
                frame.pict_type = PictureType.I
            self._lengths[self._fed] = self._run
            self._fed += 1
            self._run = 0
            if self._aside is None:
                self._encode(frame)
            else:
                self._wait(MOST_WAITING)
                self._encoding.append(self._aside.submit(self._encode, frame))
        if self._on_frames is not None:
            self._on_frames(self._written)

    def _encode(self, frame: av.VideoFrame) -> None:
        self._take(self._stream.encode(frame))

    def _open(self) -> SkipPictures:
        """Open the encoder; its headers tell how to count its pictures and to write the same again."""
        context = self._stream.codec_context
        context.open()
        return SkipPictures.of(context.extradata)

    def _take(self, packets: Iterable[av.Packet]) -> None:
        """Write the encoder's packets, each for as many frames as its picture stands for."""
        assert self._skips is not None
        for packet in packets:
            frames = self._lengths.pop(packet.pts)
            picture, is_idr = bytes(packet), packet.is_keyframe
            for k in range(frames):
                is_again = is_idr and k % IDR_EVERY == 0
                self._number = 0 if is_again else self._number + 1
                if is_again:
                    content = picture
                elif k:
                    content = self._skips.picture(self._number)
                else:
                    content = self._skips.numbered(picture, self._number)
                self._mux(content, is_again)

    def _mux(self, content: bytes, is_keyframe: bool) -> None:
        self._container.mux(packet_at(self._written, content, self._stream, self._tick, is_keyframe))
        self._written += 1


class FilmWriter:
    """What Manim's renderer asks of a file writer, answered by a `Film`."""

    def __init__(self, settings: Any, *, open_film: Callable[[], Any]) -> None:
        self.output_spec = settings.plan.output
        self.sections = [SimpleNamespace(skip_animations=False)]
        self.film = open_film()

    def next_section(self, name: str, type_: str, skip_animations: bool) -> None:
        """Sections are the lesson's business; nothing is written for them."""

    def write_frame(self, camera: PainterCamera) -> None:
        """One more frame: what the camera has just painted."""
        pixels = camera.pixel_array
        self.film.show(((l, t, r, b), pixels[t:b, l:r]) for l, t, r, b in camera.dirty)

    def abort_encode_jobs(self, reraise_encoder_failures: bool = False) -> None:
        """Manim calls this when a scene fails."""
        self.film.abandon()


class FilmRenderer(CairoRenderer):
    """Manim's Cairo renderer with whole-frame timing, a painter for a camera and a film for a file writer."""

    camera: PainterCamera

    def __init__(self, open_film: Callable[[], Any], rate: Fraction) -> None:
        super().__init__(file_writer_class=partial(FilmWriter, open_film=open_film), camera_class=PainterCamera)
        self._rate = rate

    def play(self, scene: Scene, *args: Any, **kwargs: Any) -> None:
        """Play for a whole number of frames: the nearest to the run time, at least one."""
        scene.compile_animation_data(*args, **kwargs)
        # not scene.begin_animations: the painter finds out by itself what moves
        for animation in scene.animations or ():
            animation._setup_scene(scene)
            animation.begin()
        frames = max(round(scene.duration * self._rate), 1)
        if scene.is_current_animation_frozen_frame():
            self._add(scene)
            self.file_writer.film.hold(frames - 1)
        else:
            advance = scene.update_to_time if _has_updaters(scene) else partial(_interpolate, scene)
            for k in range(frames):
                advance(float(k / self._rate))
                self._add(scene)
        for animation in scene.animations or ():
            animation.finish()
            animation.clean_up_from_scene(scene)
        scene.update_mobjects(0)
        self.time += float(frames / self._rate)
        self.num_plays += 1

    def _add(self, scene: Scene) -> None:
        self.camera.capture_mobjects(scene.mobjects)
        self.file_writer.write_frame(self.camera)

    def scene_finished(self, scene: Scene) -> None:
        """Finish the file; a scene that plays nothing is one frame long."""
        if not self.num_plays:
            self._add(scene)
        self.file_writer.film.close()


def _has_updaters(scene: Scene) -> bool:
    mobjects = (m for top in scene.mobjects for m in top.get_family())
    return bool(scene.always_update_mobjects or scene.updaters or any(m.updaters for m in mobjects))


def _interpolate(scene: Scene, time_s: float) -> None:
    """What `Scene.update_to_time` comes to when nothing has an updater."""
    for animation in scene.animations or ():
        animation.update_mobjects(time_s - scene.last_t)
        animation.interpolate(time_s / animation.run_time)
    scene.last_t = time_s
