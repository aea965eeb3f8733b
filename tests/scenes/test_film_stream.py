"""The written stream: every frame there and in order, holds exact, headers as ITU-T H.264 wants them."""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest
from av.bitstream import BitStreamFilterContext

from scenes.board.brief import Output
from scenes.film.film import IDR_EVERY, LEAST_HOLD, Film
from scenes.film.forms import FORMS
from scenes.film.skip_pictures import SkipPictures, nal_units

SIZE = 128, 96
HOLDS = (1, LEAST_HOLD + 3, 1, 2 * IDR_EVERY + 1, 5, LEAST_HOLD, LEAST_HOLD - 1)
"""Lengths of the runs of the same picture: adjacent holds, one that ends on a repeated IDR picture, short ones."""

LOSS = 6.0
"""Root mean square difference, of 255, between a decoded picture and what was filmed: crf 18 to 24."""


def picture(k: int) -> np.ndarray:
    """The k-th picture: a smooth ground with a bright square that moves."""
    width, height = SIZE
    y, x = np.mgrid[:height, :width]
    rgba = np.full((height, width, 4), 255, np.uint8)
    rgba[..., 0], rgba[..., 1], rgba[..., 2] = x, y + 20, 90
    rgba[20:52, 10 + 8 * k : 42 + 8 * k, :3] = 230
    return rgba


def filmed(
    path: Path, form: str = "h264", rate: tuple[int, int] = (60, 1), holds: tuple[int, ...] = HOLDS
) -> list[int]:
    """Film the pictures, each for its number of frames; the picture of every frame."""
    film = Film(path, Output(*SIZE, rate), FORMS[form])
    for k, frames in enumerate(holds):
        film.show([((0, 0, *SIZE), picture(k))])
        film.hold(frames - 1)
    film.close()
    return [k for k, frames in enumerate(holds) for _ in range(frames)]


def decoded(path: Path) -> list[np.ndarray]:
    """All frames, RGB; the decoder stops at the first fault."""
    with av.open(str(path), options={"err_detect": "explode"}) as container:
        stream = container.streams.video[0]
        stream.codec_context.options = {"err_detect": "explode"}
        stream.thread_type = "NONE"
        return [frame.to_ndarray(format="rgb24") for frame in container.decode(stream)]


def headers(path: Path) -> list[dict[str, int]]:
    """Every slice header as FFmpeg's trace_headers filter reads it: an H.264 parser that is not ours."""
    level = av.logging.get_level()
    av.logging.set_level(av.logging.INFO)
    try:
        with av.logging.Capture() as messages, av.open(str(path)) as container:
            stream = container.streams.video[0]
            trace = BitStreamFilterContext("trace_headers", stream)
            for packet in container.demux(stream):
                trace.filter(packet)
    finally:
        av.logging.set_level(level)
    lines = "".join(text for _, _, text in messages).splitlines()
    found: list[dict[str, int]] = []
    for line in lines:
        if "Slice Header" in line:
            found.append({})
        elif found and (m := re.search(r"(\w+)\s+[01]+ = (-?\d+)$", line)):
            found[-1].setdefault(m[1], int(m[2]))
    return found


@pytest.mark.parametrize("form", ["h264", "draft"])
@pytest.mark.parametrize("rate", [(24000, 1001), (25, 1), (60, 1)])
def test_every_frame_is_there_in_its_place(tmp_path: Path, form: str, rate: tuple[int, int]) -> None:
    path = tmp_path / "clip.mp4"
    expected = filmed(path, form, rate)
    frames = decoded(path)
    assert len(frames) == len(expected)
    for k, frame in zip(expected, frames, strict=True):
        difference = frame.astype(float) - picture(k)[..., :3]
        assert np.sqrt((difference**2).mean()) < LOSS
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        assert stream.average_rate == Fraction(*rate)
        assert stream.frames == len(expected)
        assert stream.duration * stream.time_base == len(expected) / Fraction(*rate)
        assert stream.start_time == 0
        packets = [p for p in container.demux(stream) if p.size]
        ticks = [p.pts * p.time_base * Fraction(*rate) for p in packets]
    assert ticks == list(range(len(expected)))
    assert all(p.pts == p.dts for p in packets)


def test_a_held_picture_is_bit_identical_on_all_its_frames(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    expected = filmed(path)
    frames = decoded(path)
    for k, hold in enumerate(HOLDS):
        if hold >= LEAST_HOLD:
            at = expected.index(k)
            assert all(np.array_equal(frames[at], f) for f in frames[at : at + hold])


def test_pictures_after_short_holds_decode_as_if_nothing_had_been_held(tmp_path: Path) -> None:
    """The encoder knows nothing of the pictures put between its own, and the decoder must not mind them."""
    holds = (1, 3, 1, 2, 5, 1, 4, 1)
    expected = filmed(tmp_path / "held.mp4", holds=holds)
    filmed(tmp_path / "moving.mp4", holds=(1,) * len(holds))
    held, moving = decoded(tmp_path / "held.mp4"), decoded(tmp_path / "moving.mp4")
    for k, frame in zip(expected, held, strict=True):
        assert np.array_equal(frame, moving[k])


def test_skipped_pictures_are_some_tens_of_bytes(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    expected = filmed(path)
    with av.open(str(path)) as container:
        sizes = [p.size for p in container.demux(container.streams.video[0]) if p.size]
    at = expected.index(3)
    assert max(sizes[at + 1 : at + IDR_EVERY]) < 40
    assert sizes[at + IDR_EVERY] == sizes[at] > 200


@pytest.mark.parametrize("form", ["h264", "draft"])
def test_headers_count_as_h264_wants(tmp_path: Path, form: str) -> None:
    """ITU-T H.264 7.4.3: frame_num counts reference pictures since the IDR picture; adjacent IDRs differ in id.

    With picture order count type 2 (8.2.1.3) the order in time is that of frame_num, so that it counts as well.
    """
    path = tmp_path / "clip.mp4"
    expected = filmed(path, form)
    read = headers(path)
    assert len(read) == len(expected)
    with av.open(str(path)) as container:
        bits = SkipPictures.of(annex_b(container.streams.video[0].codec_context.extradata))
    assert bits is not None
    assert bits.stream.order_type == 2
    before = None
    for header in read:
        if header["nal_unit_type"] == 5:
            assert header["frame_num"] == 0
            if before is not None and before["nal_unit_type"] == 5:
                assert header["idr_pic_id"] != before["idr_pic_id"]
        else:
            assert before is not None
            assert header["nal_ref_idc"] > 0
            assert header["frame_num"] == (before["frame_num"] + 1) % (1 << bits.stream.frame_num_bits)
            assert header["slice_type"] % 5 in (0, 2)
        before = header
    first = [expected.index(k) for k, hold in enumerate(HOLDS) if hold >= LEAST_HOLD]
    assert all(read[at]["nal_unit_type"] == 5 for at in first)
    assert any(h["nal_unit_type"] == 5 == g["nal_unit_type"] for g, h in pairwise(read))


def annex_b(avcc: bytes) -> bytes:
    """The parameter sets of an mp4 (ISO/IEC 14496-15, 5.3.3.1) with start codes."""
    out, at = b"", 6
    size = int.from_bytes(avcc[at : at + 2], "big")
    out += b"\0\0\0\1" + avcc[at + 2 : at + 2 + size]
    at += 2 + size + 1
    size = int.from_bytes(avcc[at : at + 2], "big")
    return out + b"\0\0\0\1" + avcc[at + 2 : at + 2 + size]


@pytest.mark.parametrize("preset", ["veryfast", "ultrafast"])
@pytest.mark.parametrize("size", [(64, 48), (640, 360), (1920, 1080)])
def test_x264_writes_the_same_macroblocks_for_an_unchanged_picture(preset: str, size: tuple[int, int]) -> None:
    """x264's own picture of a repeated flat frame, at the same quantiser, has our slice data to the bit."""
    encoder = av.CodecContext.create("libx264", "w")
    encoder.width, encoder.height, encoder.pix_fmt = *size, "yuv420p"
    encoder.time_base, encoder.thread_count, encoder.gop_size = Fraction(1, 25), 1, 250
    # a constant quantiser equal to the picture parameter set's leaves no difference in the slice header
    encoder.options = {
        "preset": preset,
        "bf": "0",
        "x264-params": "qp=26:weightp=0:scenecut=0:aq-mode=0:no-deblock=1",
    }
    pictures = []
    for k in range(3):
        frame = av.VideoFrame.from_ndarray(np.full((size[1] * 3 // 2, size[0]), 128, np.uint8), "yuv420p")
        frame.pts = k
        pictures += [bytes(p) for p in encoder.encode(frame)]
    pictures += [bytes(p) for p in encoder.encode(None)]
    sets = b"".join(b"\0\0\0\1" + u for u in nal_units(pictures[0]) if u[0] & 31 in (7, 8))
    ours = SkipPictures.of(encoder.extradata or sets)
    assert ours is not None
    theirs, made = bits(pictures[2]), bits(ours.picture(2))
    if preset == "ultrafast":
        # mb_skip_run and the stop bit, wherever the header ends
        made = made.rstrip("0")[-2 * (ours.stream.macroblocks + 1).bit_length() :]
        assert theirs.rstrip("0").endswith(made)
    else:
        # both headers fill three bytes; x264 sets the bit after the stop bit as it likes
        assert theirs[24:-1] == made[24:-1]
        assert len(made) > 32


def bits(picture: bytes) -> str:
    """The payload of a picture's slice as digits."""
    unit = next(u for u in nal_units(picture) if u[0] & 31 == 1)
    return "".join(f"{byte:08b}" for byte in unit[1:].replace(b"\0\0\3", b"\0\0"))


def test_other_streams_are_refused() -> None:
    encoder = av.CodecContext.create("libx264", "w")
    encoder.width, encoder.height, encoder.pix_fmt, encoder.time_base = 64, 48, "yuv420p", Fraction(1, 25)
    encoder.flags |= 1 << 22  # global header
    encoder.open()  # with B pictures the order count is of type 0
    for headers, reason in (
        (None, "no parameter sets"),
        (b"\0\0\0\1\x67\x64", "no parameter sets"),
        (encoder.extradata, "B pictures"),
    ):
        with pytest.raises(ValueError, match=reason):
            SkipPictures.of(headers)


def test_two_runs_are_byte_identical(tmp_path: Path) -> None:
    one, two = tmp_path / "one.mp4", tmp_path / "two.mp4"
    filmed(one)
    filmed(two)
    assert one.read_bytes() == two.read_bytes()


def test_the_stream_is_tagged_bt709_video_range_and_can_start_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    filmed(path)
    with av.open(str(path)) as container:
        context = container.streams.video[0].codec_context
        tags = context.color_range, context.colorspace, context.color_primaries, context.color_trc
        assert tags == (1, 1, 1, 1)
    content = path.read_bytes()
    assert content.index(b"moov") < content.index(b"mdat")
    assert b"colrnclx\0\1\0\1\0\1\0" in content


def test_any_frame_can_be_sought(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    filmed(path)
    frames = decoded(path)
    choose = np.random.default_rng(5)
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        for wanted in choose.integers(0, len(frames), 20):
            container.seek(int(wanted / 60 / stream.time_base), stream=stream)
            for frame in container.decode(stream):
                if frame.pts * stream.time_base * 60 == wanted:
                    assert np.array_equal(frame.to_ndarray(format="rgb24"), frames[wanted])
                    break
            else:
                pytest.fail(f"frame {wanted} was not found")


def test_an_odd_size_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="even"):
        Film(tmp_path / "clip.mp4", Output(127, 96, (25, 1)))
    assert not list(tmp_path.iterdir())


def test_encoding_aside_writes_the_same_bytes(tmp_path: Path) -> None:
    for is_aside in (False, True):
        film = Film(tmp_path / f"{is_aside}.mp4", Output(*SIZE, (60, 1)), is_aside=is_aside)
        for k in range(40):
            film.show([((0, 0, *SIZE), picture(k % 7))])
        film.hold(70)
        film.close()
    assert (tmp_path / "True.mp4").read_bytes() == (tmp_path / "False.mp4").read_bytes()


def test_what_fails_aside_is_raised(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(film: Film, packets: object) -> None:
        raise OSError(28, "No space left on device")

    film = Film(tmp_path / "clip.mp4", Output(*SIZE, (60, 1)), is_aside=True)
    monkeypatch.setattr(Film, "_take", full)
    film.show([((0, 0, *SIZE), picture(0))])
    with pytest.raises(OSError, match="No space"):
        film.close()
    monkeypatch.undo()
    film.abandon()
    assert not list(tmp_path.iterdir())
