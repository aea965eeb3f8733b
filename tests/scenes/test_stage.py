"""The stage: Manim's mobjects stand where the board says, every frame is there once, and pictures show it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from manim import tempconfig

from aimgeo.camera import pixels
from scenes.board import Board, Element, Move, Shade, Track, constant
from scenes.board.brief import Output
from scenes.draw.display import Display
from scenes.draw.picture import picture as drawn
from scenes.draw.picture import write_png
from scenes.film.brush import PX_PER_UNIT, BoardCamera, Ink, points_from_px
from scenes.film.film import Film
from scenes.film.perform import perform
from scenes.film.stage import BoardScene, Drawing, Stretch, frame_config, play_s, set_cloth, stretches, wait_s
from tests.scenes.boards import eye_board, plan_board, text, words

RATES = [(24000, 1001), (25, 1), (30000, 1001), (60, 1)]


def inks(board: Board, name: str, frame: int) -> list[Ink]:
    """The Manim mobjects of an element on a frame."""
    display = Display(board)
    slot = next(s for s in display.slots if s.element is not None and s.element.id == name)
    drawing = Drawing(display, slot, is_inked=True)
    drawing.show(frame)
    return [m for m in drawing.submobjects if len(m.points)]


@pytest.mark.parametrize("board", [plan_board(), eye_board()])
def test_manims_dots_stand_where_the_board_says(board: Board) -> None:
    for element in board.elements:
        if element.role in ("object_centre", "contact_object", "aim_point"):
            at = pixels(board.panes[0].projection(0), np.array(element.shape.at_mm))  # type: ignore[union-attr]
            for ink in inks(board, element.id, 0):
                px = (
                    ink.points[:, :2] * [PX_PER_UNIT, -PX_PER_UNIT]
                    + np.array([board.width_px, board.height_px]) / 2
                )
                np.testing.assert_allclose((px.min(axis=0) + px.max(axis=0)) / 2, at, atol=1e-9)


def test_the_frames_corners_are_the_outer_corners_of_the_corner_pixels() -> None:
    corners = np.array([[0.0, 0.0], [640.0, 360.0]])
    np.testing.assert_allclose(points_from_px(corners, 640, 360), [[-3.2, 1.8, 0], [3.2, -1.8, 0]])
    board = words(Element("s", "s", Shade((600.0, 300.0, 40.0, 60.0), "row_bar"), (), "text"))
    picture = drawn(board, 0)
    assert (picture[300:, 600:] == 255).all()
    assert (picture[299] != 255).all()
    assert (picture[:, 599] != 255).all()


def test_half_a_pixel_is_half_covered() -> None:
    board = words(Element("s", "s", Shade((100.5, 50.0, 10.0, 10.0), "row_bar"), (), "text"))
    row = drawn(board, 0)[55, :, 0].astype(int)
    ground = row[90]
    assert row[100] == pytest.approx((255 + ground) / 2, abs=3)
    assert row[110] == pytest.approx((255 + ground) / 2, abs=3)
    assert row[105] == 255


def test_a_pane_cuts_off_what_lies_beyond_its_rectangle() -> None:
    board = plan_board()
    camera = board.panes[0].camera
    narrow = replace(board.panes[0], rect_px=(0.0, 100.0, 640.0, 100.0), background=None, camera=camera)
    picture = drawn(replace(board, panes=(narrow,)), 0).astype(int)
    empty = drawn(replace(board, elements=()), 0).astype(int)
    np.testing.assert_array_equal(picture[:100], empty[:100])
    np.testing.assert_array_equal(picture[200:], empty[200:])
    assert np.abs(picture[100:200] - empty[100:200]).max() > 100


def test_moving_and_held_stretches_cover_every_frame_once() -> None:
    board = plan_board()
    found = list(stretches(board))
    # held from the first frame; frames 10 to 21 draw, and the hold begins with the last of them
    assert found == [Stretch(0, 10, True), Stretch(10, 21, False), Stretch(21, 40, True)]
    busy = replace(board.elements[0], opacity=Track((1.0,), (Move(0, 3, (0.5,)), Move(38, 40, (1.0,)))))
    found = list(stretches(replace(board, elements=(busy,))))
    assert [f for s in found for f in range(s.first_frame, s.end_frame)] == list(range(40))


@pytest.mark.parametrize("rate", [*RATES, (24, 1), (30, 1), (50, 1), (60000, 1001)])
def test_manims_arithmetic_gives_whole_frames(rate: tuple[int, int]) -> None:
    fps = rate[0] / rate[1]
    dt = 1 / fps
    for frames in range(1, 1500):
        # Scene.get_time_progression, CairoRenderer.freeze_current_frame
        assert len(np.arange(0, play_s(frames, fps), dt)) == frames
        assert int(wait_s(frames, fps) / dt) == frames
        # FilmRenderer rounds
        assert (
            round(play_s(frames, fps) * Fraction(*rate)) == round(wait_s(frames, fps) * Fraction(*rate)) == frames
        )
    assert any(int(frames / fps / dt) != frames for frames in range(1, 1500)) or fps == int(fps)


def frames_of(path: Path) -> list[np.ndarray]:
    with av.open(str(path)) as container:
        return [f.to_ndarray(format="rgb24") for f in container.decode(video=0)]


@pytest.mark.parametrize("rate", RATES)
def test_every_frame_of_a_board_is_filmed_once_in_its_place(rate: tuple[int, int], tmp_path: Path) -> None:
    board = plan_board(320, 180, rate)
    path = tmp_path / "clip.mp4"
    perform(board, lambda: Film(path, Output(320, 180, rate)))
    frames = frames_of(path)
    assert len(frames) == board.frames
    for frame in (0, 9, 10, 15, 20, 21, 39):
        assert np.abs(frames[frame].astype(int) - drawn(board, frame)).mean() < 3
    # a frame further on would show
    assert (
        np.abs(frames[15].astype(int) - drawn(board, 16)).mean()
        > np.abs(frames[15].astype(int) - drawn(board, 15)).mean()
    )


@pytest.mark.parametrize("rate", [(24000, 1001), (60, 1)])
def test_stock_manim_writes_every_frame_too(rate: tuple[int, int], tmp_path: Path) -> None:
    board = plan_board(320, 180, rate)
    own = {
        "media_dir": str(tmp_path),
        "disable_caching": True,
        "progress_bar": "none",
        "verbosity": "ERROR",
        "output_file": "stock",
    }
    with tempconfig({**frame_config(board), **own}):
        scene = BoardScene(board)
        scene.render()
    (path,) = tmp_path.rglob("stock.mp4")
    frames = frames_of(path)
    assert len(frames) == board.frames
    for frame in (0, 15, 39):
        assert np.abs(frames[frame].astype(int) - drawn(board, frame)).mean() < 4


def test_a_hold_leaves_what_is_drawn_alone() -> None:
    display = Display(plan_board())
    slot = next(s for s in display.slots if s.element is not None and s.element.id == "aim_line")
    drawing = Drawing(display, slot, is_inked=True)
    drawing.show(30)
    before = [ink.points for ink in drawing.submobjects]
    drawing.show(35)
    assert all(a is ink.points for a, ink in zip(before, drawing.submobjects, strict=True))
    drawing.show(0)
    assert not any(len(ink.points) for ink in drawing.submobjects)


def test_a_given_background_lies_under_its_pane() -> None:
    board = eye_board(background="plate")
    blue = np.full((360, 640, 4), (0, 0, 200, 255), np.uint8)
    picture = drawn(board, 0, lambda pane, board, frame: blue)
    assert (picture[5, 5] == (0, 0, 200)).all()
    faded = replace(board, panes=(replace(board.panes[0], opacity=constant(0.5)),))
    under = drawn(faded, 0, lambda pane, board, frame: blue)[5, 5].astype(int)
    cloth = drawn(replace(board, panes=()), 0)[5, 5].astype(int)
    np.testing.assert_allclose(under, (blue[5, 5, :3].astype(int) + cloth) / 2, atol=2)


def narrow_pane() -> Board:
    """A pane that its balls reach out of."""
    board = plan_board()
    return replace(board, panes=(replace(board.panes[0], rect_px=(0.0, 100.0, 640.0, 100.0)),))


def painted_by_manim(board: Board, frame: int) -> np.ndarray:
    """The picture (height, width, 3) that Manim's own camera paints of a frame."""
    camera = BoardCamera(**frame_config(board))
    set_cloth(camera, board)
    display = Display(board)
    drawings = [Drawing(display, slot, is_inked=True) for slot in display.slots]
    for drawing in drawings:
        drawing.show(frame)
    camera.capture_mobjects(drawings)
    return np.ascontiguousarray(camera.pixel_array[..., :3])


@pytest.mark.parametrize(
    "board", [plan_board(), eye_board(), narrow_pane(), words(text("Ghost ball 22.0°", "title"))]
)
def test_pictures_without_manim_are_what_manim_paints(board: Board) -> None:
    for frame in {0, board.frames // 2, board.frames - 1}:
        one, other = drawn(board, frame).astype(int), painted_by_manim(board, frame).astype(int)
        # coordinates pass through Manim's units, so that a sample at an edge may fall on the other side
        assert np.abs(one - other).max() <= 20
        assert (one != other).any(axis=2).sum() < 0.002 * one[..., 0].size


def test_a_picture_is_written_whole(tmp_path: Path) -> None:
    pixels = drawn(words(text("Ghost ball", "title")), 0)
    write_png(pixels, tmp_path / "a.png")
    from PIL import Image

    np.testing.assert_array_equal(np.asarray(Image.open(tmp_path / "a.png")), pixels)
    assert [p.name for p in tmp_path.iterdir()] == ["a.png"]
