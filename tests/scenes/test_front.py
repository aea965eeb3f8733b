"""The object ball seen along the aim: its scale is even and exact, and what points at it points where it is."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aimgeo.camera import ball_outline
from aimgeo.vectors import left
from scenes.board import Ball, Board, FrontCamera, Line, Mark, Pane, Plate, Text, constant
from scenes.draw.picture import picture
from scenes.figure.front import FRONT
from scenes.judge.legible import faults
from scenes.look import LOOKS
from scenes.look.look import rgb
from tests.scenes.briefs import FRAMES, board_of, shot_of


def front(board: Board) -> Pane:
    return next(pane for pane in board.panes if pane.id == FRONT)


def whole_at(board: Board) -> int:
    """The last frame on which it is there."""
    return front(board).opacity.moves[1].first_frame - 1


def test_the_camera_sees_what_lies_along_its_way_in_one_place_and_up_as_up() -> None:
    turn = math.radians(37)
    camera = FrontCamera(constant(100.0, -40.0, 28.0, turn, math.log(3.0)), (0.25, 0.5))
    pane = Pane("front", (200.0, 100.0, 400.0, 300.0), "front", camera)
    along, at = np.array([math.cos(turn), math.sin(turn), 0.0]), np.array([100.0, -40.0, 28.0])
    assert pane.px(at) == pytest.approx([300, 250])
    assert pane.px(at + 500 * along) == pytest.approx([300, 250])
    assert pane.px(at + np.array([0, 0, 10])) == pytest.approx([300, 220])
    right = np.array([math.sin(turn), -math.cos(turn), 0.0])
    assert pane.px(at + 10 * right) == pytest.approx([330, 250])
    ball = ball_outline(pane.projection(0), at, 20.0)
    assert ball.axes_px == pytest.approx(60 * np.eye(2)), "a ball is a circle"


@settings(max_examples=25)
@given(
    method=st.sampled_from(["fixed_marks", "ball_fractions"]),
    cut_deg=st.one_of(st.floats(-29, -1), st.floats(1, 29)),
    frame=st.sampled_from(["wide", "draft", "tall"]),
)
def test_marks_and_ghost_ball_stand_at_their_parts_of_the_way_to_the_edge(
    method: str, cut_deg: float, frame: str
) -> None:
    """In radii of the drawn ball: the k-th mark at k/8 outward, the ghost ball and the aim at 2 sin(cut)."""
    shot = shot_of(cut_deg, 286)
    board = board_of("build-up", shot, method, FRAMES[frame])
    if frame == "tall" and cut_deg < 0 and FRONT not in {pane.id for pane in board.panes}:
        return  # the narrow side of a tall frame has no room for it at large cuts to the right
    pane, last = front(board), whole_at(board)
    P = pane.projection(0)
    ball = ball_outline(P, np.array(shot.object_ball_mm), float(shot.radius_mm))
    out: dict[str, list[float]] = {}
    for e in board.elements:
        if FRONT in e.panes and e.is_visible(last) and isinstance(e.shape, Mark | Ball):
            place = e.shape.at_mm if isinstance(e.shape, Mark) else e.shape.centre_mm
            off = (pane.px(np.array(place)) - ball.centre_px) / ball.mean_radius_px
            assert off[1] == pytest.approx(0, abs=1e-6), "all level with the centre"
            out.setdefault(e.role, []).append(off[0])
    side = -int(shot.outward)
    aim = side * 2 * abs(math.sin(math.radians(cut_deg)))
    assert out["ghost_ball"] == pytest.approx([aim])
    assert out["aim_point"] == pytest.approx([aim])
    if method == "fixed_marks":
        assert out["fixed_mark"] == pytest.approx([side * k / 8 for k in range(9)])
    else:
        assert out["mark_edge"] == pytest.approx([side])
        assert out["mark_half"] == pytest.approx([side / 2])
    assert not {"cue_ball", "cue_mark", "cue_centre", "sight_start"} & set(out), "nothing that lies before it"


@pytest.mark.parametrize(("method", "cut_deg"), [("fixed_marks", 22.02), ("ball_fractions", -14.48)])
def test_the_scale_is_even_and_its_words_stand_under_their_ticks(method: str, cut_deg: float) -> None:
    shot = shot_of(cut_deg, 286)
    board = board_of("build-up", shot, method)
    pane, last = front(board), whole_at(board)
    ticks = [
        pane.px(np.array(e.shape.points_mm))
        for e in board.elements
        if e.role == "scale" and isinstance(e.shape, Line)
    ]
    upright = sorted(float(a[0]) for a, b in ticks if abs(a[0] - b[0]) < 1e-6)
    assert len(upright) == (9 if method == "fixed_marks" else 5)
    assert np.ptp(np.diff(upright)) == pytest.approx(0, abs=1e-6)
    words = {
        e.shape.text: e.shape
        for e in board.elements
        if e.role == "scale" and isinstance(e.shape, Text) and e.is_visible(last)
    }
    assert list(words) == ["centre", "edge", "1/4", "1/2", "3/4"]
    for text, part in (("1/4", 0.25), ("1/2", 0.5), ("3/4", 0.75)):
        way = part if cut_deg > 0 else 1 - part
        assert words[text].at_px[0] == pytest.approx(upright[0] + way * (upright[-1] - upright[0]))


@pytest.mark.parametrize("cut_deg", [22.02, -20.0])
def test_the_painted_aim_drops_to_its_exact_place_on_the_scale(cut_deg: float) -> None:
    """In the painted picture, between ball and scale: the aim's white line, 2 R sin(cut) from the centre's."""
    shot = shot_of(cut_deg, 286)
    board = board_of("build-up", shot, "fixed_marks")
    pane = front(board)
    pixels = picture(board, whole_at(board)).astype(float) / 255
    ball = ball_outline(pane.projection(0), np.array(shot.object_ball_mm), float(shot.radius_mm))
    (cx, cy), r = ball.centre_px, ball.mean_radius_px
    rows = pixels[round(cy + 1.08 * r) : round(cy + 1.2 * r), round(cx - 1.1 * r) : round(cx + 1.1 * r)]
    found = []
    for style in ("object_ball_line", "aim_line"):
        near = (np.abs(rows - np.array(rgb(board.look.lines[style].colour))).max(axis=2) < 0.12).sum(axis=0)
        (wide,) = np.nonzero(near > near.max() / 2)
        found.append((wide[0] + wide[-1] + 1) / 2 + round(cx - 1.1 * r))
    assert found[0] == pytest.approx(cx, abs=0.75)
    assert found[1] - found[0] == pytest.approx(r * 2 * math.sin(math.radians(cut_deg)), abs=0.75)


@pytest.mark.parametrize(("cut_deg", "part"), [(22.02, "3/4"), (-20.0, "5/8"), (14.4775, "1/2")])
def test_how_far_out_the_cue_points_is_told_as_a_plain_fraction_at_its_mark(cut_deg: float, part: str) -> None:
    """2 sin(cut) in eighths, the nearest one: led straight down to that mark."""
    shot = shot_of(cut_deg, 286)
    board = board_of("build-up", shot, "fixed_marks")
    pane, last = front(board), whole_at(board)
    label = next(e for e in board.elements if e.id.startswith("label.fraction") and e.is_visible(last))
    leader = next(e for e in board.elements if e.id.startswith("leader.fraction") and e.is_visible(last))
    assert isinstance(label.shape, Plate)
    assert label.shape.text == part
    whole, of = (int(n) for n in part.split("/"))
    away = left(shot.aim_direction) * int(shot.outward) * float(shot.radius_mm) * whole / of
    mark = pane.px(np.array([*(shot.object_ball_mm[:2] + away), shot.object_ball_mm[2]]))
    end = np.array(leader.shape.points_px[-1])  # type: ignore[union-attr]
    assert end[0] == pytest.approx(mark[0], abs=0.05)
    assert 0 < mark[1] - end[1] < 25


def test_methods_that_speak_of_no_fraction_have_no_such_view() -> None:
    for method in ("ghost_ball", "contact_points", "doubled_offset"):
        board = board_of("build-up", shot_of(22, 286), method)
        assert FRONT not in {pane.id for pane in board.panes}


@pytest.mark.parametrize("frame", FRAMES)
@pytest.mark.parametrize("method", ["ball_fractions", "fixed_marks"])
def test_the_view_along_the_aim_is_legible_in_every_frame(method: str, frame: str) -> None:
    turn = list(FRAMES).index(frame) + len(method)
    cut_deg = (22.02, -30.0, -14.48, 20.0)[turn % 4]
    look = list(LOOKS.values())[turn % len(LOOKS)]
    board = board_of("build-up", shot_of(cut_deg, (286.0, 1000.0)[turn % 2]), method, FRAMES[frame], look)
    built = board.steps[-1].first_frame
    assert [fault for fault in faults(board) if int(fault.split()[1][:-1]) < built] == []
