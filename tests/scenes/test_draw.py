"""What is drawn stands where the projection puts it: paths in pixels, without Manim."""

from __future__ import annotations

import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path as FilePath
from typing import Any, get_args

import av
import numpy as np
import pytest

from aimgeo.camera import ball_outline, pixels
from aimgeo.holes import hole_of
from aimgeo.tables import TABLES
from scenes.board import (
    Area,
    Ball,
    Board,
    Element,
    Line,
    Mark,
    Move,
    Pane,
    Pips,
    PlanCamera,
    Shade,
    Shape,
    TableTop,
    Track,
    constant,
)
from scenes.draw import DRAW
from scenes.draw.display import Display, Slot, cloth, display_list
from scenes.draw.paths import Path, dashes, reversed_curves, rgba, rounded_rect
from scenes.film.forms import FORMS
from scenes.film.stage import Drawing
from scenes.look.dusk import DUSK
from scenes.look.scale import Scale
from tests.scenes.boards import R_MM, eye_board, plan_board, plate, shot_of, text, words


def paths_of(board: Board, name: str, frame: int | None = None, pane: str = "main") -> list[Path]:
    """The paths of an element on a frame, by default the last."""
    display = Display(board)
    slot = next(
        s
        for s in display.slots
        if s.element is not None and s.element.id == name and (s.pane is None or s.pane.id == pane)
    )
    return display.paths(slot, board.frames - 1 if frame is None else frame)


def with_shape(board: Board, name: str, **changes: Any) -> Board:
    """The board with something else about one element's shape."""
    shape: Any = next(e.shape for e in board.elements if e.id == name)
    changed = replace(shape, **changes)
    elements = tuple(replace(e, shape=changed) if e.id == name else e for e in board.elements)
    return replace(board, elements=elements)


def core_of(paths: list[Path], role: str) -> list[Path]:
    """The strokes in the role's own colour."""
    colour = rgba(DUSK.lines[role].colour)[:3]
    return [p for p in paths if p.stroke is not None and p.stroke[:3] == colour]


def test_every_shape_can_be_drawn() -> None:
    assert set(DRAW) == set(get_args(Shape))


@pytest.mark.parametrize("board", [plan_board(), eye_board()])
@pytest.mark.parametrize("name", ["cue_ball", "object_ball"])
def test_a_balls_largest_opaque_disc_is_the_picture_of_the_ball(board: Board, name: str) -> None:
    element = next(e for e in board.elements if e.id == name)
    assert isinstance(element.shape, Ball)
    P = board.panes[0].projection(0)
    disc = next(p for p in paths_of(board, name) if p.fill is not None and p.fill[:3] != (0, 0, 0))
    at = disc.curves[:, 0]
    # every point of the drawn edge is touched by the ball: nearest point of its viewing ray to the centre
    for u, v in at:
        ray = np.linalg.svd(np.stack([P[0] - u * P[2], P[1] - v * P[2]]))[2][2:]
        a, b = ray @ [*element.shape.centre_mm, 1.0], ray
        points = _line_points(b)
        d = points[1] - points[0]
        off = np.array(element.shape.centre_mm) - points[0]
        gap = float(np.linalg.norm(off - (off @ d) / (d @ d) * d))
        assert gap == pytest.approx(R_MM, abs=1e-3), a


def _line_points(basis: np.ndarray) -> np.ndarray:
    """Two finite points (2, 3) of the line spanned by two homogeneous points (2, 4)."""
    mixes = [basis[0] + t * basis[1] for t in (-3.0, -0.7, 0.3, 1.9)]
    finite = sorted(mixes, key=lambda m: -abs(m[3]))[:2]
    return np.array([m[:3] / m[3] for m in finite])


def test_the_object_balls_body_leaves_a_light_rim_of_3_to_6_px() -> None:
    for height in (540, 1080, 2160):
        board = plan_board(height * 16 // 9, height)
        _, rim, body = paths_of(board, "object_ball")
        assert rim.fill == rgba(DUSK.object_rim)
        width = (np.ptp(rim.curves[..., 0]) - np.ptp(body.curves[..., 0])) / 2
        assert 3 <= width / Scale(height * 16 // 9, height, DUSK).stroke_px(1) <= 6


def test_a_lines_core_runs_from_its_first_point_to_its_last() -> None:
    board = plan_board()
    element = next(e for e in board.elements if e.id == "object_ball_line")
    assert isinstance(element.shape, Line)
    start, end = pixels(board.panes[0].projection(0), np.array(element.shape.points_mm))
    casing, core = paths_of(board, "object_ball_line")
    np.testing.assert_allclose(casing.curves[0, 0], start, atol=1e-9)
    np.testing.assert_allclose(casing.curves[-1, -1], end, atol=1e-9)
    np.testing.assert_allclose(core.curves[0, 0], start, atol=1e-9)
    along = (end - start) / np.linalg.norm(end - start)
    off = (core.curves.reshape(-1, 2) - start) @ np.array([-along[1], along[0]])
    assert np.abs(off).max() < 1e-9


def test_the_casing_runs_on_under_the_gaps() -> None:
    casing, core = paths_of(plan_board(), "object_ball_line")
    assert len(casing.curves) == 1
    assert len(core.curves) > 5
    assert casing.width_px > core.width_px
    assert casing.stroke is not None
    assert casing.stroke[3] == DUSK.casing_opacity


@pytest.mark.parametrize("role", [r for r in DUSK.lines if DUSK.lines[r].dash])
def test_dashes_have_the_lengths_of_the_style(role: str) -> None:
    board = with_shape(plan_board(), "object_ball_line", style=role)
    core = core_of(paths_of(board, "object_ball_line"), role)[0]
    lengths = np.linalg.norm(core.curves[:, -1] - core.curves[:, 0], axis=1) / core.width_px
    on = DUSK.lines[role].dash[::2]
    whole = lengths[: len(lengths) - 1]
    expected = np.resize(on, len(whole))
    np.testing.assert_allclose(whole, expected, atol=0.05)


def test_half_drawn_lines_are_half_as_long_and_led_by_the_pen() -> None:
    board = plan_board()
    half = replace(
        board,
        elements=tuple(replace(e, drawn=constant(0.5)) if e.id == "contact_line" else e for e in board.elements),
    )
    whole_casing, half_paths = paths_of(board, "contact_line")[0], paths_of(half, "contact_line")
    middle = whole_casing.curves[0, [0, -1]].mean(axis=0)
    np.testing.assert_allclose(half_paths[0].curves[0, -1], middle, atol=1e-6)
    pen = half_paths[-1]
    np.testing.assert_allclose(pen.curves[:, 0].mean(axis=0), middle, atol=1e-6)
    assert pen.fill == rgba(DUSK.front)
    assert not [p for p in paths_of(board, "contact_line") if p.fill is not None]


def test_a_white_line_is_ink_within_the_cue_ball_and_white_from_its_outline_on() -> None:
    board = plan_board()
    paths = [p for p in paths_of(board, "aim_line") if p.stroke is not None]
    ink = next(p for p in paths if p.stroke == (*rgba(DUSK.ink)[:3], 1))
    white = next(p for p in paths if p.stroke == rgba("#FFFFFF"))
    cue, aim = (next(e.shape for e in board.elements if e.id == n) for n in ("cue_ball", "aim_line"))
    assert isinstance(cue, Ball)
    assert isinstance(aim, Line)
    P = board.panes[0].projection(0)
    C, G = pixels(P, np.array(aim.points_mm))
    radius = R_MM * np.linalg.norm(P[:2, 0])
    edge = C + radius * (G - C) / np.linalg.norm(G - C)
    np.testing.assert_allclose(ink.curves[0, -1], edge, atol=1e-6)
    np.testing.assert_allclose(white.curves[0, 0], edge, atol=1e-6)
    assert ink.cap == white.cap == "butt"


def test_beyond_the_ghosts_centre_the_aim_line_is_thinner_and_fainter() -> None:
    whites = [p for p in paths_of(plan_board(), "aim_line") if p.stroke and p.stroke[:3] == (1, 1, 1)]
    widths, alphas = zip(*((p.width_px, p.stroke[3]) for p in whites if p.stroke), strict=True)
    assert sorted(widths) == pytest.approx([5 * 0.4, 8 * 0.4])
    assert min(alphas) == pytest.approx(DUSK.faint_opacity)


def test_only_the_target_line_has_an_arrowhead_and_its_tip_is_the_lines_end() -> None:
    board = plan_board()
    filled = [p for p in paths_of(board, "target_line") if p.fill is not None]
    element = next(e for e in board.elements if e.id == "target_line")
    assert isinstance(element.shape, Line)
    tip = pixels(board.panes[0].projection(0), np.array(element.shape.points_mm[1]))
    assert len(filled) == 2
    np.testing.assert_allclose(filled[1].curves[0, 0], tip, atol=1e-9)
    assert not [p for p in paths_of(board, "object_ball_line") if p.fill is not None]


def test_old_lines_keep_their_casing() -> None:
    board = plan_board()
    old = replace(board, elements=tuple(replace(e, strength=constant(0.66)) for e in board.elements))
    casing, core = paths_of(old, "object_ball_line")
    assert casing.stroke is not None
    assert core.stroke is not None
    assert casing.stroke[3] == DUSK.casing_opacity
    assert core.stroke[3] == 0.66


def test_the_ghosts_rim_has_12_to_28_dashes_on_its_outline() -> None:
    for height in (180, 360, 1080):
        board = plan_board(width_px=height * 16 // 9, height_px=height)
        fill, casing, rim = paths_of(board, "ghost_ball")
        joints = np.linalg.norm(rim.curves[1:, 0] - rim.curves[:-1, -1], axis=1) > 1e-6
        assert 12 <= joints.sum() + 1 <= 28
        centre = fill.curves[:, 0].mean(axis=0)
        radius = np.linalg.norm(fill.curves[:, 0] - centre, axis=1)
        np.testing.assert_allclose(np.linalg.norm(rim.curves[:, 0] - centre, axis=1), radius[0], rtol=1e-6)
        assert fill.fill == (1, 1, 1, 0.13)
        assert casing.width_px > rim.width_px


@pytest.mark.parametrize("kind", [*DUSK.marks, "hollow"])
def test_marks_are_centred_on_their_points(kind: str) -> None:
    shape = Mark((400.0, 100.0, R_MM), "contact" if kind == "hollow" else kind, kind == "hollow")
    board = plan_board()
    board = replace(board, elements=(Element("mark", "mark", shape, ("main",), "mark"),))
    at = pixels(board.panes[0].projection(0), np.array(shape.at_mm))
    for path in paths_of(board, "mark"):
        low, high = path.curves.min(axis=(0, 1)), path.curves.max(axis=(0, 1))
        np.testing.assert_allclose((low + high) / 2, at, atol=0.35 if kind == "hollow" else 1e-6)


@pytest.mark.parametrize("kind", DUSK.marks)
def test_a_mark_on_a_plan_leaves_the_rim_of_a_small_ball_free(kind: str) -> None:
    board = plan_board()
    at = (400.0, 100.0, R_MM)
    ball = Element("ball", "object_ball", Ball(at, 12.0, "object"), ("main",), "ball")
    board = replace(board, elements=(ball, Element("mark", "mark", Mark(at, kind), ("main",), "mark")))
    outline = ball_outline(board.panes[0].projection(0), np.array(at), 12.0)
    for path in paths_of(board, "mark"):
        far = np.linalg.norm(path.curves.reshape(-1, 2) - outline.centre_px, axis=1).max()
        assert far + path.width_px / 2 < outline.mean_radius_px


def test_unknown_styles_are_refused_by_name() -> None:
    board = plan_board()
    with pytest.raises(ValueError, match="no line style 'wavy'; there are aim_line"):
        paths_of(with_shape(board, "contact_line", style="wavy"), "contact_line")
    with pytest.raises(ValueError, match="no mark 'star'; there are object_centre"):
        paths_of(with_shape(board, "aim_point", kind="star"), "aim_point")
    with pytest.raises(ValueError, match="no type style 'shout'; there are title"):
        paths_of(words(text("a", "shout")), "a")
    with pytest.raises(ValueError, match="no shade 'fog'"):
        paths_of(words(Element("s", "shade", Shade((0, 0, 10, 10), "fog"))), "s")
    area = Element("area", "area", Area(((0, 0, 0), (9, 0, 0), (9, 9, 0)), "lake"), ("main",))
    with pytest.raises(ValueError, match="no area style 'lake'"):
        paths_of(replace(board, elements=(area,)), "area")


def test_text_stands_on_its_baseline_where_it_should_begin_or_end() -> None:
    scale = Scale(640, 360, DUSK)
    for align, share in (("left", 0.0), ("centre", 0.5), ("right", 1.0)):
        element = text("HH", "title", (300.0, 100.0))
        shape: Any = element.shape
        element = replace(element, shape=replace(shape, align=align))
        (path,) = paths_of(words(element), "HH")
        width = scale.text_width_px("HH", "title")
        low, high = path.curves.min(axis=(0, 1)), path.curves.max(axis=(0, 1))
        assert high[1] == pytest.approx(100.0, abs=0.05)
        assert (low[0] + high[0]) / 2 == pytest.approx(300 + (0.5 - share) * width, abs=0.1)


def test_a_plates_text_stays_on_the_plate_beside_its_sample() -> None:
    rect = (100.0, 50.0, 190.0, 28.0)
    paths = paths_of(words(plate("Contact-point line", rect, "contact_line")), "Contact-point line")
    box, *sample, letters = paths
    np.testing.assert_allclose(box.curves.min(axis=(0, 1)), rect[:2])
    assert len(sample) == 1
    assert sample[0].stroke is not None
    assert sample[0].stroke[:3] == rgba(DUSK.lines["contact_line"].colour)[:3]
    assert sample[0].curves[..., 0].max() < letters.curves[..., 0].min()
    assert rect[1] < letters.curves[..., 1].min() < letters.curves[..., 1].max() < rect[1] + rect[3]


def test_pips_tell_where_we_are() -> None:
    paths = paths_of(words(Element("pips", "pips", Pips((40, 30), 4, 1), (), "text")), "pips")
    widths = [float(np.ptp(p.curves[..., 0])) for p in paths]
    assert len(widths) == 4
    assert widths.index(max(widths)) == 1


def from_above() -> tuple[Board, Pane]:
    """A table from straight above, a fifth of a pixel a millimetre."""
    camera = PlanCamera(constant(0.0, 0.0, math.pi / 2, math.log(0.2)))
    pane = Pane("main", (0, 0, 640, 360), "table", camera, "cloth")
    top = Element("table", "table", TableTop(TABLES["9ft"]), ("main",), "table")
    return replace(plan_board(), panes=(pane,), elements=(top,)), pane


def test_cushions_end_at_the_points_of_the_mouths_and_none_stands_on_the_bed() -> None:
    board, pane = from_above()
    noses = np.concatenate([p.curves[:, 0] for p in paths_of(board, "table") if p.fill == rgba(DUSK.cushion)])
    points = pane.px([[*point, 0.0] for pocket in TABLES["9ft"].pockets() for point in pocket.points_mm])
    apart = np.linalg.norm(noses[:, None] - points, axis=2).min(axis=0)
    assert (apart < 1e-6).all()
    beyond = np.abs(noses - [320, 180]) - [254, 127]
    assert (beyond.max(axis=1) > -1e-6).all()


def test_pockets_are_round_and_cut_into_the_wood() -> None:
    board, pane = from_above()
    dark = [p.curves[:, 0] for p in paths_of(board, "table") if p.fill == rgba(DUSK.pocket)]
    assert len(dark) == 6
    for pocket, rim in zip(TABLES["9ft"].pockets(), dark, strict=True):
        hole = hole_of(pocket, TABLES["9ft"])
        away = np.linalg.norm(rim - pane.px([*hole.centre_mm, 0.0]), axis=1)
        np.testing.assert_allclose(away, 0.2 * hole.radius_mm, rtol=1e-3)
        assert (np.abs(rim - [320, 180]) - [254 + 10, 127 + 10]).max() > 0, "as wide as the cushions, and more"


def test_rectangles_and_dashes() -> None:
    box = rounded_rect(10, 20, 100, 50, 8)
    np.testing.assert_allclose([box.min(axis=(0, 1)), box.max(axis=(0, 1))], [[10, 20], [110, 70]], atol=1e-9)
    np.testing.assert_allclose(box[1:, 0], box[:-1, -1], atol=1e-9)
    np.testing.assert_allclose(reversed_curves(box)[0, 0], box[-1, -1])
    assert dashes(7.0, ()) == [(0.0, 7.0)]
    assert dashes(6.0, (0, 2)) == [(0.0, 0.0), (2.0, 2.0), (4.0, 4.0), (6.0, 6.0)]


def test_later_panes_lie_over_earlier_ones_and_frame_elements_over_all() -> None:
    board = plan_board()
    inset = replace(board.panes[0], id="inset", rect_px=(0, 0, 100, 100), background=None)
    label = text("a", "label")
    board = replace(
        board,
        panes=(*board.panes, inset),
        elements=(label, *board.elements[::-1], replace(board.elements[0], id="again", panes=("inset",))),
    )
    order = [s.element.id for s in display_list(board) if s.element is not None]
    assert order[-2:] == ["again", "a"]
    layers = [DUSK.layers.index(s.element.layer) for s in display_list(board) if s.element is not None][:-2]
    assert layers == sorted(layers)


def test_what_moves_is_drawn_moved_and_what_fades_is_drawn_fainter() -> None:
    board = plan_board()
    ball = board.elements[1]
    moved = replace(board, elements=(replace(ball, offset_mm=constant(10.0, 0.0, 0.0), opacity=constant(0.4)),))
    P = board.panes[0].projection(0)
    before, after = paths_of(board, "object_ball")[1], paths_of(moved, "object_ball")[1]
    shift = after.curves[0, 0] - before.curves[0, 0]
    np.testing.assert_allclose(shift, P[:2, :3] @ [10.0, 0, 0], atol=1e-9)
    assert before.fill is not None
    assert after.fill is not None
    assert after.fill[3] == pytest.approx(0.4 * before.fill[3])
    gone = replace(board, elements=(replace(ball, opacity=constant(0.0)),))
    assert paths_of(gone, "object_ball") == []


def test_a_drawing_changes_with_everything_it_depends_on() -> None:
    board = plan_board()
    line = _aim_line(board)
    assert _paths_on(line, 0) is _paths_on(line, 5)
    assert _paths_on(line, 12) is not _paths_on(line, 13)
    rolling = replace(board.elements[0], offset_mm=Track((0.0, 0.0, 0.0), (Move(30, 40, (9.0, 0.0, 0.0)),)))
    line = _aim_line(replace(board, elements=(rolling, *board.elements[1:])))
    # its ink part ends where the cue ball does
    assert _paths_on(line, 32) is not _paths_on(line, 33)


def _aim_line(board: Board) -> Drawing:
    display = Display(board)
    slot = next(s for s in display.slots if s.element is not None and s.element.id == "aim_line")
    return Drawing(display, slot, is_inked=False)


def _paths_on(drawing: Drawing, frame: int) -> list[Path]:
    drawing.show(frame)
    return drawing.paths


def test_the_cloth_shows_no_rings_once_encoded(tmp_path: FilePath) -> None:
    form = FORMS["h264"]
    with av.open(str(tmp_path / "cloth.mp4"), "w") as film:
        stream = film.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt, stream.options = (
            320,
            180,
            form.pixel_format,
            dict(form.options),
        )
        picture = np.ascontiguousarray(cloth(320, 180, DUSK)[..., :3])
        film.mux([*stream.encode(av.VideoFrame.from_ndarray(picture)), *stream.encode()])
    with av.open(str(tmp_path / "cloth.mp4")) as film:
        seen = next(film.decode(video=0)).to_ndarray(format="rgb24")
    assert np.ptp(seen.reshape(-1, 3), axis=0).max() <= 1, "an encoder rounds, it draws no rings"
    assert np.abs(seen[0, 0].astype(int) - picture[0, 0]).max() <= 3


def test_panes_without_a_known_background_are_refused() -> None:
    board = plan_board()
    board = replace(board, panes=(replace(board.panes[0], background="sand"),))
    display = Display(board)
    slot = next(s for s in display.slots if s.element is None)
    assert slot == Slot(board.panes[0], None)
    with pytest.raises(ValueError, match="no pane background 'sand'"):
        display.paths(slot, 0)


def test_drawing_needs_no_manim() -> None:
    code = "import sys, scenes.draw.display, scenes.judge.shown; sys.exit('manim' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_sample_shot_touches() -> None:
    shot = shot_of()
    gap = np.linalg.norm(shot.object_ball_mm - shot.ghost_ball_mm)
    assert gap == pytest.approx(2 * R_MM)
