"""Picture sequences and moving previews, written when they are wished for."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest
from PIL import GifImagePlugin, Image

from lessons.deliver import Wishes, frames, pictures, previews
from lessons.deliver.footage import Footage


def test_previews_begin_and_end_with_the_clip_and_keep_a_quiz_hidden(
    tmp_path: Path, stock: SimpleNamespace
) -> None:
    told = [
        stock.entry("a", 200, (25, 1), [("s", 200, "")]),
        stock.entry("q", 20, (25, 1), [("s", 20, "")], kind="quiz"),
    ]
    footage = stock.write_folder(tmp_path, told)
    (path,) = previews.deliver(footage, Wishes(previews=True)).files
    assert path == tmp_path / "previews" / "a.gif"
    with Image.open(path) as preview:
        shown = []
        assert isinstance(preview, GifImagePlugin.GifImageFile)
        for k in range(preview.n_frames):
            preview.seek(k)
            shown.append(round(float(np.median(np.asarray(preview.convert("L")))) * 219 / 255 / 4))
    assert (shown[0], shown[-1]) == (0, 199 % 50)
    assert len(shown) == 72
    steps = np.diff(previews.sampled_frames(200))
    assert steps.min() >= 2
    assert steps.max() <= 3


def png_folder(folder: Path, stock: SimpleNamespace) -> Footage:
    footage = stock.write_folder(folder, [stock.entry("a", 7, (25, 1), [("s", 7, "")])])
    path = footage.path(footage.clips[0])
    with av.open(str(path), "w", format="mov") as container:
        stream = container.add_stream("png", rate=25)
        stream.width, stream.height, stream.pix_fmt = 96, 64, "rgba"
        for k in range(7):
            frame = av.VideoFrame.from_ndarray(np.full((64, 96, 4), 10 * k, np.uint8), format="rgba")
            frame.pts, frame.time_base = k, Fraction(1, 25)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return footage


def test_a_sequence_has_every_picture_under_its_number(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = png_folder(tmp_path, stock)
    files = frames.deliver(footage, Wishes(frames=True)).files
    assert [f.relative_to(tmp_path).as_posix() for f in files] == [f"frames/a/a_{k:08}.png" for k in range(1, 8)]
    for k, path in enumerate(files):
        with Image.open(path) as picture:
            assert picture.mode == "RGBA"
            assert np.asarray(picture).tolist() == np.full((64, 96, 4), 10 * k).tolist()


def test_pictures_with_alpha_lie_on_the_ground_of_the_sheets(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = png_folder(tmp_path, stock)
    ground = np.asarray(Image.new("RGB", (1, 1), pictures.GROUND), float)[0, 0]
    for k in (0, 6):
        picture = np.asarray(pictures.read_frame(footage.path(footage.clips[0]), k, Fraction(25)), float)
        alpha = 10 * k / 255
        assert picture[5, 5] == pytest.approx(10 * k * alpha + ground * (1 - alpha), abs=1)


def test_clips_without_png_pictures_are_told(footage: Footage) -> None:
    done = frames.deliver(footage, Wishes(frames=True))
    assert done.files == ()
    assert done.warnings[0].startswith("lesson.yaml:12: ")
    assert "--form png-alpha" in done.warnings[0]


@pytest.mark.parametrize("module", [frames, previews])
def test_neither_is_written_unasked(module: object, footage: Footage) -> None:
    assert module.deliver(footage, Wishes()).files == ()  # type: ignore[attr-defined]
