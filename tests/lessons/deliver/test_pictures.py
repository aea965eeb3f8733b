"""Posters, thumbnails and contact sheets."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest
from PIL import Image

from lessons.deliver import Wishes, pictures
from lessons.deliver.footage import Footage
from lessons.rendering.manifest import (
    Ball,
    Label,
    Line,
    Pane,
    Shown,
    Step,
    Still,
    poster_frame,
    thumbnail_frame,
)


def grey_of(k: int) -> float:
    """Full-range grey of the test clip's frame k: its luma is 16 + 4 (k mod 50) in limited range (BT.709)."""
    return 4 * (k % 50) * 255 / 219


@pytest.mark.parametrize("rate", [(24000, 1001), (25, 1), (60, 1)])
def test_a_frame_is_the_frame_asked_for(rate: tuple[int, int], tmp_path: Path, stock: SimpleNamespace) -> None:
    stock.write_clip(tmp_path / "a.mp4", 49, rate)
    for k in (0, 1, 2, 11, 12, 13, 29, 30, 47, 48):
        picture = np.asarray(pictures.read_frame(tmp_path / "a.mp4", k, Fraction(*rate)), float)
        assert np.median(picture) == pytest.approx(grey_of(k), abs=1.9)  # neighbours differ by 4.7
    with pytest.raises(IndexError):
        pictures.read_frame(tmp_path / "a.mp4", 49, Fraction(*rate))


def test_colours_are_read_by_bt_709(tmp_path: Path) -> None:
    """ITU-R BT.709-6: Y' = 0.2126 R' + 0.7152 G' + 0.0722 B', limited range; from memory."""
    colour = np.array([223, 106, 51]) / 255
    y = colour @ [0.2126, 0.7152, 0.0722]
    cb, cr = (colour[2] - y) / 1.8556, (colour[0] - y) / 1.5748
    planes = np.concatenate([np.full((64, 96), 16 + 219 * y), np.full((16, 96), 128 + 224 * cb),
                             np.full((16, 96), 128 + 224 * cr)]).round().astype(np.uint8)  # fmt: skip
    with av.open(str(tmp_path / "a.mp4"), "w") as container:
        stream = container.add_stream("libx264", rate=25)
        stream.width, stream.height, stream.pix_fmt, stream.options = 96, 64, "yuv420p", {"crf": "5"}
        container.mux(stream.encode(av.VideoFrame.from_ndarray(planes, format="yuv420p")))
        container.mux(stream.encode(None))
    read = np.asarray(pictures.read_frame(tmp_path / "a.mp4", 0, Fraction(25)))
    assert np.median(read, axis=(0, 1)) == pytest.approx([223, 106, 51], abs=3)


def still(first: int, end: int, count: int) -> dict:
    line = {"role": "aim_line", "points_mm": [[0, 0, 0], [1, 0, 0]]}
    pane = {"rect_px": [0, 0, 96, 64], "view": "plan", "projection": [[1, 0, 0, 0]] * 3}
    return {"first_frame": first, "end_frame": end, "panes": [pane | {"shows": {"lines": [line] * count}}]}


def test_the_poster_shows_the_whole_construction_before_anything_rolls(
    tmp_path: Path, stock: SimpleNamespace
) -> None:
    stills = [still(0, 5, 1), still(10, 20, 4), still(30, 35, 4), still(36, 40, 2)]
    told = [
        stock.entry("a", 40, (25, 1), [("s", 40, "")], still=stills),
        stock.entry("q", 40, (25, 1), [("s", 40, "")], still=stills, kind="quiz"),
        stock.entry("i", 40, (25, 1), [("s", 40, "")], still=stills, kind="straight-in"),
        stock.entry("n", 40, (25, 1), [("s", 40, "")]),
        stock.entry("c", 40, (25, 1), [("s", 40, "")], still=[still(0, 5, 0), still(9, 30, 0)]),
    ]
    footage = stock.write_folder(tmp_path, told)
    assert [pictures.poster_of(c) for c in footage.clips] == [19, 0, 0, 39, 29]
    pictures.deliver(footage, Wishes())
    for name, frame in (("a", 19), ("q", 0), ("n", 39)):
        with Image.open(tmp_path / "pictures" / f"{name}.jpg") as poster:
            assert poster.size == (96, 64)
            assert np.median(np.asarray(poster)) == pytest.approx(grey_of(frame), abs=2)


def test_the_poster_is_the_step_that_draws_the_aim_line() -> None:
    flat = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 0.0, 1.0))

    def rest(first: int, end: int, *roles: str, view: str = "plan") -> Still:
        lines = tuple(Line(role, ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0))) for role in roles)
        return Still(first, end, (Pane((0.0, 0.0, 9.0, 9.0), view, flat, Shown(lines=lines)),))

    steps = (Step("target", 0, 20), Step("aim", 20, 40), Step("edges", 40, 60))
    inset = rest(2, 8, "aim_line", view="inset")
    stills = (inset, rest(12, 20, "target_line"), rest(30, 38, "target_line", "aim_line"))
    more = rest(50, 60, "target_line", "aim_line", "edge_line", "edge_line")
    assert poster_frame(steps, (*stills, more), 60, False) == 37
    assert poster_frame(steps, (*stills[:2], replace(more, first_frame=42)), 60, False) == 59
    assert poster_frame(steps, stills, 60, True) == 0


def test_the_thumbnail_is_the_rest_with_a_large_ball_and_the_fewest_labels() -> None:
    """Of a picture 320 wide; the plan has so many pixels a millimetre, and the ball is 57 mm wide."""

    def rest(end: int, px_per_mm: float, labels: int, *roles: str) -> Still:
        plan = ((px_per_mm, 0.0, 0.0, 9.0), (0.0, px_per_mm, 0.0, 9.0), (0.0, 0.0, 0.0, 1.0))
        lines = tuple(Line(role, ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0))) for role in roles)
        shown = Shown((Ball("object_ball", (0.0, 0.0, 28.5), 28.5),), lines)
        pane = Pane((0.0, 0.0, 320.0, 180.0), "plan", plan, shown)
        return Still(end - 9, end, (pane,), (Label((0.0, 0.0, 9.0, 9.0), "word"),) * labels)

    steps, aimed = (Step("all", 0, 100),), "aim_line"
    small, many, few, bare = (
        rest(10, 0.2, 0, aimed),
        rest(20, 0.5, 4, aimed),
        rest(30, 0.5, 2, aimed),
        rest(40, 2, 0),
    )
    assert thumbnail_frame(steps, (small, many, few, bare), 100, 320, False) == 29
    larger, later = rest(50, 0.9, 2, aimed), rest(60, 0.9, 2, aimed)
    assert thumbnail_frame(steps, (few, larger, later, many), 100, 320, False) == 59
    # 12 of 320 pixels are asked for: of a larger picture in proportion
    assert thumbnail_frame(steps, (few, larger), 100, 1200, False) == 49
    assert thumbnail_frame(steps, (small, bare), 100, 320, False) == poster_frame(steps, (small, bare), 100, False)
    assert thumbnail_frame(steps, (few,), 100, 320, True) == 0


def test_a_quiz_keeps_its_cut_to_itself(tmp_path: Path, stock: SimpleNamespace) -> None:
    steps = [("s", 40, "")]
    told = [stock.entry("a", 40, (25, 1), steps), stock.entry("q", 40, (25, 1), steps, kind="quiz")]
    footage = stock.write_folder(tmp_path, told)
    said = [pictures.about(c, footage.wording()) for c in footage.clips]
    assert said == ["14.5° left, near, 1.6 s", "near, 1.6 s"]


def test_contact_sheets_hold_24_posters_each(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(tmp_path, [stock.entry("a", 4, (25, 1), [("s", 4, "")])])
    about = replace(footage.manifest.lesson, title="Many", identity="many")
    many = Footage(tmp_path, replace(footage.manifest, lesson=about, clips=footage.clips * 25))
    files = [f.name for f in pictures.deliver(many, Wishes()).files]
    assert files[:4] == ["many.jpg", "contact-sheet_1.jpg", "contact-sheet_2.jpg", "a.jpg"]
    with Image.open(tmp_path / "pictures" / "contact-sheet_1.jpg") as sheet:
        assert sheet.width == 2 * 56 + 4 * 480 + 3 * 28


def test_long_names_lose_their_middle() -> None:
    face = pictures.font(17, 560)
    short = pictures.fitted("contact-points_players-eye_cut-48.6_right_far_dominant-eye-over-the-edge", face, 300)
    assert face.getlength(short) <= 300
    assert short.startswith("contact-points")
    assert short.endswith("edge")
    assert "…" in short
