"""Clips as cameras write them: turned, with wide pixels, with a rate that varies."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from lessons.footage.frames import Footage, Stillness, UnreadableError, open_footage, picture_at, pictures, shown
from tests.lessons.footage.clips import film

DRAWN = np.full((90, 160, 3), 40, np.uint8)
cv2.circle(DRAWN, (120, 20), 9, (30, 60, 240), -1)
cv2.rectangle(DRAWN, (10, 60), (40, 80), (230, 200, 20), -1)


def likeness(one: np.ndarray, other: np.ndarray) -> float:
    """How far two pictures are apart, 0 to 255."""
    assert one.shape == other.shape
    return float(np.abs(one.astype(float) - other).mean())


@pytest.mark.parametrize(
    ("turns", "matrix"), [(1, (0, 1, -1, 0)), (2, (-1, 0, 0, -1)), (3, (0, -1, 1, 0))], ids=["90", "180", "270"]
)
def test_a_turned_phone_clip_is_read_as_it_is_shown(
    turns: int, matrix: tuple[int, int, int, int], tmp_path: Path
) -> None:
    """A track's matrix (ISO/IEC 14496-12, track header, from memory): x' = a x + c y, y' = b x + d y, y down.

    With a = 0, b = 1, c = -1 what was to the right is shown below: a quarter turn clockwise.
    """
    path = film(tmp_path / "turned.mp4", np.ascontiguousarray(np.rot90(DRAWN, turns)), 4)
    data = bytearray(path.read_bytes())
    at = data.index(b"tkhd") + 4 + 40  # version 0: times, number, length, layer, group and volume come before
    a, b, c, d = (value << 16 for value in matrix)
    row = b"".join(value.to_bytes(4, "big", signed=True) for value in (a, b, 0, c, d, 0, 0, 0, 1 << 30))
    data[at : at + 36] = row
    path.write_bytes(data)
    footage = open_footage(path)
    assert footage.size_px == (160, 90)
    assert likeness(picture_at(footage, 0), DRAWN) < 4.0


def test_pixels_that_are_wider_than_high_are_made_square(tmp_path: Path) -> None:
    narrow = cv2.resize(DRAWN, (120, 90), interpolation=cv2.INTER_AREA)
    path = tmp_path / "wide.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=25)
        stream.width, stream.height, stream.pix_fmt = 120, 90, "yuv420p"
        stream.codec_context.sample_aspect_ratio = Fraction(4, 3)
        for _ in range(3):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(narrow, format="bgr24")))
        container.mux(stream.encode(None))
    footage = open_footage(path)
    assert footage.size_px == (160, 90)
    assert likeness(picture_at(footage, 0), DRAWN) < 8.0


def timed(path: Path, lasts: list[int]) -> Path:
    """A film whose frames last so many six-hundredths of a second each."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = 160, 90, "yuv420p"
        stream.codec_context.time_base = Fraction(1, 600)
        at = 0
        for last in lasts:
            frame = av.VideoFrame.from_ndarray(DRAWN, format="bgr24")
            frame.pts, frame.time_base = at, Fraction(1, 600)
            at += last
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


@pytest.mark.parametrize("varies", [True, False])
def test_a_rate_that_varies_is_seen(varies: bool, tmp_path: Path) -> None:
    path = timed(tmp_path / "phone.mp4", [20 + (0, 7, 13)[k % 3] * varies for k in range(30)])
    assert open_footage(path).rate_varies == varies


@pytest.mark.parametrize(("told", "rate"), [("2997/100", (30000, 1001)), ("24", (24, 1)), ("15", (15, 1))])
def test_a_rate_that_the_head_rounds_is_the_usual_one(told: str, rate: tuple[int, int], tmp_path: Path) -> None:
    assert open_footage(film(tmp_path / "rounded.mp4", DRAWN, 8, rate=Fraction(told))).rate == rate


def test_a_rate_that_a_container_of_milliseconds_tells_is_the_usual_one(tmp_path: Path) -> None:
    """Matroska counts in milliseconds: 59.94 is told as 19001/317 or the like."""
    footage = open_footage(film(tmp_path / "shot.mkv", DRAWN, 40, rate=Fraction(60000, 1001)))
    assert (footage.rate, footage.rate_varies, footage.frames) == ((60000, 1001), False, 40)


def test_where_the_times_vary_most_frames_tell_the_nominal_rate(tmp_path: Path) -> None:
    """As phones film in poor light: some frames come late, some are left out."""
    path = timed(tmp_path / "phone.mp4", [40 if k % 9 == 8 else 20 + (k % 7 == 3) for k in range(40)])
    footage = open_footage(path)
    assert (footage.rate, footage.rate_varies, footage.frames) == ((30, 1), True, 40)


def test_frames_that_an_edit_list_cuts_off_are_not_counted(tmp_path: Path) -> None:
    """A clip shortened on the phone keeps its frames, and a list says which are shown (ISO/IEC 14496-12, elst)."""
    path = film(tmp_path / "cut.mp4", DRAWN, 30, rate=Fraction(25))
    data = bytearray(path.read_bytes())
    at = data.index(b"elst") + 4 + 4 + 4  # after version and count: length, where it begins, speed
    length, begins = (int.from_bytes(data[at + k : at + k + 4], "big") for k in (0, 4))
    tick = int.from_bytes(data[(m := data.index(b"mdhd") + 4 + 12) : m + 4], "big") // 25
    data[at + 4 : at + 8] = (begins + 10 * tick).to_bytes(4, "big")
    data[at : at + 4] = (length * 2 // 3).to_bytes(4, "big")
    path.write_bytes(data)
    footage = open_footage(path)
    assert footage.frames == len(list(pictures(footage, 0, 99))) == 20


def test_photographs_of_all_kinds_are_read_as_they_are_shown(tmp_path: Path) -> None:
    grey = cv2.cvtColor(DRAWN, cv2.COLOR_BGR2GRAY)
    kinds = {
        "16.png": DRAWN.astype(np.uint16) * 257,
        "grey.png": grey,
        "grey 16.png": grey.astype(np.uint16) * 257,
        "clear.png": np.dstack([DRAWN, np.full(grey.shape, 255, np.uint8)]),
        "16.tif": DRAWN.astype(np.uint16) * 257,
        "grey 16.tif": grey.astype(np.uint16) * 257,
    }
    for name, picture in kinds.items():
        path = tmp_path / f"Übung {name}"
        path.write_bytes(cv2.imencode(path.suffix, picture)[1].tobytes())
        shown = np.repeat(grey[..., None], 3, -1) if "grey" in name else DRAWN
        assert likeness(picture_at(open_footage(path), 0), shown) < 1, name


@pytest.mark.parametrize(("orientation", "turns"), [(3, 2), (6, 1), (8, 3)])
def test_an_orientation_tag_turns_a_photograph(orientation: int, turns: int, tmp_path: Path) -> None:
    """EXIF orientation (from memory): 6 is shown turned clockwise by a quarter, 8 the other way, 3 by a half."""
    from PIL import Image

    path = tmp_path / "turned.jpg"
    stored = Image.fromarray(np.ascontiguousarray(np.rot90(DRAWN, turns)[..., ::-1]))
    tags = stored.getexif()
    tags[0x112] = orientation
    stored.save(path, exif=tags.tobytes(), quality=95)
    footage = open_footage(path)
    assert footage.size_px == (160, 90)
    assert likeness(picture_at(footage, 0), DRAWN) < 3


@pytest.mark.parametrize("name", ["a.heic", "a.jpg", "a.mov"])
def test_footage_that_is_not_readable_is_told_with_what_is(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(b"\0\0\0\x18ftypheic" + bytes(300))
    with pytest.raises(UnreadableError, match="save it as JPEG or PNG, a clip as MP4 or MOV, and name that"):
        open_footage(tmp_path / name)


@pytest.mark.parametrize("full_range", [False, True])
def test_what_is_measured_has_its_colours_between_their_samples(full_range: bool) -> None:
    """Video keeps one colour for four pixels (4:2:0): repeated, it bends outlines that only colour shows."""
    frame = av.VideoFrame(64, 16, "yuv420p")
    frame.color_range = 2 if full_range else 1
    for plane, (low, high) in zip(frame.planes, ((120, 120), (100, 160), (128, 128)), strict=True):
        values = np.full((plane.height, plane.line_size), low, np.uint8)
        values[:, plane.width // 2 :] = high
        plane.update(values.tobytes())
    footage = Footage(Path("clip.mp4"), (64, 16), (25, 1))
    coarse, fine = (shown(frame, footage, is_measured)[8, :, 0].astype(int) for is_measured in (False, True))
    assert np.abs(fine - coarse)[[4, 60]].max() <= 2  # the same colours away from the edge
    low, high = coarse[4], coarse[60]
    assert [int(np.sum((row > low + 8) & (row < high - 8))) for row in (coarse, fine)] == [0, 2]
    assert fine[31] + fine[32] == pytest.approx(low + high, abs=6)


@pytest.mark.parametrize(("sited", "tag"), [("left", None), ("left", 0), ("middle", 1)])
def test_colours_lie_where_the_clip_says_that_they_were_taken(sited: str, tag: int | None, tmp_path: Path) -> None:
    """4:2:0 colours stand left of the middle of their two columns where H.264 says so or nothing (ITU-T H.264,
    annex E, chroma_sample_loc_type_frame), in the middle for type 1: half a pixel apart.
    """
    wide, high, fine, at, radius = 64, 32, 8, (33.3, 15.6), 9.0
    ys, xs = (np.mgrid[0 : high * fine, 0 : wide * fine] + 0.5) / fine
    colour = np.where(np.hypot(xs - at[0], ys - at[1]) < radius, 190.0, 128.0)
    taken = np.roll(colour, fine // 2 if sited == "left" else 0, 1)
    red = taken.reshape(high // 2, 2 * fine, wide // 2, 2 * fine).mean((1, 3))
    with av.open(str(tmp_path / "red.mp4"), "w") as container:
        stream = container.add_stream("libx264", rate=25)
        stream.width, stream.height, stream.pix_fmt = wide, high, "yuv420p"
        stream.options = {"crf": "1"} | ({} if tag is None else {"x264-params": f"chromaloc={tag}"})
        frame = av.VideoFrame(wide, high, "yuv420p")
        for plane, values in zip(frame.planes, (126.0, 128.0, red), strict=True):
            padded = np.full((plane.height, plane.line_size), 128, np.uint8)
            padded[:, : plane.width] = np.round(values)
            plane.update(padded.tobytes())
        container.mux([*stream.encode(frame), *stream.encode(None)])
    picture = picture_at(open_footage(tmp_path / "red.mp4"), 0)
    seen = np.clip(picture[..., 2] - picture[..., 1] - 20, 0, None)
    middle = [float((seen * places).sum() / seen.sum()) for places in np.mgrid[0:high, 0:wide][::-1] + 0.5]
    assert middle == pytest.approx(at, abs=0.1)


def test_a_hand_before_a_ball_ends_nothing_and_a_ball_that_starts_does() -> None:
    """Frame by frame: hidden from 10 to 19, there again, off from 40, its first two frames yet alike."""
    there = np.array([k < 10 or 20 <= k < 42 for k in range(60)])
    changes = np.array([k in (10, 11, 20, 21) or k >= 40 for k in range(60)])
    other = np.ones(60, bool)
    still = Stillness(100, np.zeros(60), np.stack([there, other], -1), np.stack([changes, ~other], -1))
    assert still.leaves() == 140
    assert Stillness(100, np.zeros(60), other[:, None], ~other[:, None]).leaves() is None
