"""The painter repaints little and shows what Manim's own camera shows; the film has every frame of the board."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from types import ModuleType

import av
import numpy as np
import pytest
from manim import Square, tempconfig

from scenes.board import Board
from scenes.board.brief import Output
from scenes.draw.picture import picture as drawn
from scenes.film.film import Film, Patch
from scenes.film.forms import FORMS
from scenes.film.painter import PainterCamera, area_px, merged, overlap
from scenes.film.perform import perform
from scenes.film.stage import BoardScene

EDGES = 24
"""Of 255: Cairo's antialiasing differs a little when clipped. Away from edges there is no difference at all."""

FEW = 0.004
"""Share of the pixels of a frame that may differ at all."""

RATES = [(24000, 1001), (24, 1), (25, 1), (30000, 1001), (30, 1), (50, 1), (60000, 1001), (60, 1)]


def _load(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


small_board = _load("film_board").small_board


def rgb(frame: av.VideoFrame) -> np.ndarray:
    """Red, green, blue of 255 by ITU-R BT.709-6, items 3.3 to 3.5, video range (swscale rounds down)."""
    planes = [
        np.frombuffer(memoryview(p), np.uint8).reshape(-1, p.line_size)[: p.height, : p.width]
        for p in frame.planes
    ]
    luma, blue, red = (plane.astype(float) for plane in planes)
    y = (luma - 16) / 219
    pb, pr = (np.repeat(np.repeat(chroma - 128, 2, 0), 2, 1) / 224 for chroma in (blue, red))
    r, b = y + 1.5748 * pr, y + 1.8556 * pb
    return 255 * np.stack([r, (y - 0.2126 * r - 0.0722 * b) / 0.7152, b], axis=-1)


def eight_bit_loss(picture: np.ndarray) -> np.ndarray:
    """What whole steps of luminance and colour differences take from a picture on the average: red, green, blue.

    ITU-R BT.709-6, items 3.2 to 3.4: 219 steps of luminance, 224 of each difference, the nearest is taken. The
    cloth of these boards loses 1.25 of 255 in blue.
    """
    red, green, blue = np.moveaxis(picture / 255, -1, 0)
    y = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    pb, pr = ((np.round(224 * (c - y) / k) / 224) for c, k in ((blue, 1.8556), (red, 1.5748)))
    y = np.round(219 * y) / 219
    r, b = y + 1.5748 * pr, y + 1.8556 * pb
    whole = 255 * np.stack([r, (y - 0.2126 * r - 0.0722 * b) / 0.7152, b], axis=-1)
    return (whole - picture).mean(axis=(0, 1))


class Frames:
    """Stands in for a film and keeps what it is shown, frame by frame, put together from patches."""

    def __init__(self, board: Board) -> None:
        self.picture = np.zeros((board.height_px, board.width_px, 4), np.uint8)
        self.pictures: list[np.ndarray] = []
        self.converted_px: list[int] = []
        self.frames = 0

    def show(self, patches: Iterable[Patch]) -> None:
        self.picture = self.picture.copy()
        self.converted_px.append(0)
        for (left, top, right, bottom), rgba in patches:
            self.picture[top:bottom, left:right] = rgba
            self.converted_px[-1] += area_px((left, top, right, bottom))
        self.hold(1)

    def hold(self, frames: int) -> None:
        self.frames += frames
        self.pictures += [self.picture] * frames

    def close(self) -> None:
        pass


@pytest.fixture(scope="module")
def seen() -> tuple[Board, Frames]:
    board = small_board()
    frames = Frames(board)
    perform(board, lambda: frames)  # type: ignore[arg-type, return-value]
    return board, frames


def test_patches_put_together_show_what_the_stock_way_of_painting_shows(seen: tuple[Board, Frames]) -> None:
    board, frames = seen
    assert len(frames.pictures) == board.frames
    for k, picture in enumerate(frames.pictures):
        difference = np.abs(picture[..., :3].astype(int) - drawn(board, k)).max(axis=-1)
        assert difference.max() <= EDGES, k
        assert (difference > 0).mean() < FEW, k


def test_only_frames_that_change_are_painted(seen: tuple[Board, Frames]) -> None:
    board, frames = seen
    assert sum(px > 0 for px in frames.converted_px) <= board.changing.sum()
    whole = board.width_px * board.height_px
    moving_labels = frames.converted_px[-1]
    assert frames.converted_px[0] == whole
    assert moving_labels < whole / 4


@pytest.mark.parametrize("rate", RATES)
def test_the_film_has_exactly_the_frames_of_the_board_at_every_rate(rate: tuple[int, int]) -> None:
    board = small_board(64, 36, rate)
    frames = Frames(board)
    perform(board, lambda: frames)  # type: ignore[arg-type, return-value]
    assert frames.frames == board.frames == round(10 * Fraction(*rate))


def test_a_decoded_clip_looks_like_the_stock_pictures(tmp_path: Path) -> None:
    board = small_board()
    path = tmp_path / "clip.mp4"
    perform(board, lambda: Film(path, Output(board.width_px, board.height_px, board.rate), FORMS["h264"]))
    with av.open(str(path)) as container:
        pictures = [rgb(f) for f in container.decode(container.streams.video[0])]
    assert len(pictures) == board.frames
    for k in range(0, board.frames, 3):
        loss = pictures[k] - drawn(board, k)
        # halved chroma and crf 17 at a tiny size
        assert np.sqrt((loss**2).mean()) < 4, k
        # a flat colour is as far off as eight bits of luminance and chroma put it, and no farther
        assert (loss.mean(axis=(0, 1)) - eight_bit_loss(drawn(board, k))) == pytest.approx(0, abs=0.05), k


def test_the_scene_is_like_any_other_to_manim(tmp_path: Path) -> None:
    """Stock `CairoRenderer` with its own file writer plays the same scene to the same number of frames."""
    board = small_board(64, 36)
    settings = {
        "pixel_width": 64,
        "pixel_height": 36,
        "frame_width": 0.64,
        "frame_height": 0.36,
        "frame_rate": 10,
        "media_dir": str(tmp_path),
        "progress_bar": "none",
        "disable_caching": True,
        "output_file": "stock",
    }
    with tempconfig(settings):
        BoardScene(board).render()
    (file,) = (p for p in tmp_path.rglob("stock.mp4"))
    with av.open(str(file)) as container:
        assert sum(1 for _ in container.decode(container.streams.video[0])) == board.frames


def test_merged_boxes_are_disjoint_and_cover() -> None:
    choose = np.random.default_rng(3)
    for _ in range(50):
        corners = 32 * choose.integers(0, 30, (20, 2))
        boxes = [(int(x), int(y), int(x + 64), int(y + 96)) for x, y in corners]
        kept = merged(boxes)
        assert not any(overlap(a, b) for i, a in enumerate(kept) for b in kept[:i])
        for left, top, right, bottom in boxes:
            assert any(a <= left and b <= top and c >= right and d >= bottom for a, b, c, d in kept)


def test_what_cannot_be_painted_is_refused() -> None:
    with tempconfig({"pixel_width": 64, "pixel_height": 36}), pytest.raises(TypeError, match="not a Square"):
        PainterCamera().capture_mobjects([Square()])
