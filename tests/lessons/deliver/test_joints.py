"""Joints of the rough cut: no two IDR pictures side by side share a number, and every picture stays."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest
from av.bitstream import BitStreamFilterContext

from lessons.deliver import Wishes, rough_cut
from lessons.deliver.footage import read_footage
from lessons.deliver.joints import idr_pic_id, renumbered, stream_parameters
from scenes.board.brief import Output
from scenes.film.film import Film
from scenes.film.forms import FORMS


def write_film(path: Path, form: str, greys: tuple[int, ...]) -> None:
    """A film that ends in an IDR picture: its last one is held just long enough that the IDR comes again."""
    noise = np.random.default_rng(7).integers(0, 60, (64, 96, 1), np.uint8)
    film = Film(path, Output(96, 64, (25, 1)), FORMS[form])
    for grey in greys:
        rgba = np.full((64, 96, 4), 255, np.uint8)
        rgba[..., :3] = grey + noise
        film.show([((0, 0, 96, 64), rgba)])
        film.hold(60)
    film.close()


def slices(path: Path) -> list[dict[str, int]]:
    """Every slice header as FFmpeg's trace_headers filter reads it: an H.264 parser that is not ours."""
    level = av.logging.get_level()
    av.logging.set_level(av.logging.INFO)
    try:
        with av.logging.Capture() as messages, av.open(str(path)) as container:
            trace = BitStreamFilterContext("trace_headers", container.streams.video[0])
            for packet in container.demux(video=0):
                trace.filter(packet)
    finally:
        av.logging.set_level(level)
    found: list[dict[str, int]] = []
    for line in "".join(text for _, _, text in messages).splitlines():
        if "Slice Header" in line:
            found.append({})
        elif found and (m := re.search(r"(\w+)\s+[01]+ = (-?\d+)$", line)):
            found[-1].setdefault(m[1], int(m[2]))
    return found


def pictures(path: Path) -> list[np.ndarray]:
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.codec_context.options = {"err_detect": "explode"}
        return [frame.to_ndarray() for frame in container.decode(stream)]


@pytest.mark.parametrize("form", ["h264", "draft"])
def test_idr_pictures_side_by_side_have_different_numbers(
    form: str, tmp_path: Path, stock: SimpleNamespace
) -> None:
    """ITU-T H.264 7.4.3; read by FFmpeg's header reader, decoded strictly."""
    names = ("a", "b", "c")
    entries = [stock.entry(name, 61, (25, 1), [("s", 61, "Look.")]) for name in names]
    stock.write_folder(tmp_path, entries)
    for name in names:
        write_film(tmp_path / f"{name}.mp4", form, (100,))
    clips = [slices(tmp_path / f"{name}.mp4") for name in names]
    assert [clip[-1]["nal_unit_type"] for clip in clips] == [5, 5, 5]
    assert any(a[-1]["idr_pic_id"] == b[0]["idr_pic_id"] for a, b in pairwise(clips))

    (cut,) = rough_cut.deliver(read_footage(tmp_path), Wishes()).files
    read = slices(cut)
    assert len(read) == 3 * 61
    for before, header in pairwise(read):
        if before["nal_unit_type"] == header["nal_unit_type"] == 5:
            assert before["idr_pic_id"] != header["idr_pic_id"]
    alone = [picture for name in names for picture in pictures(tmp_path / f"{name}.mp4")]
    assert all(np.array_equal(a, b) for a, b in zip(alone, pictures(cut), strict=True))


@pytest.mark.parametrize("form", ["h264", "draft"])
@pytest.mark.parametrize("number", [0, 1, 2, 6])
def test_a_picture_with_another_number_is_the_same_picture(form: str, number: int, tmp_path: Path) -> None:
    write_film(tmp_path / "a.mp4", form, (100, 40))
    with av.open(str(tmp_path / "a.mp4")) as container:
        stream = stream_parameters(container.streams.video[0].codec_context.extradata)
        packet = next(bytes(p) for p in container.demux(video=0) if p.is_keyframe)
    assert stream is not None
    changed = renumbered(packet, stream, number)
    assert idr_pic_id(changed, stream) == number
    back = idr_pic_id(packet, stream)
    assert back is not None
    assert renumbered(changed, stream, back) == packet
