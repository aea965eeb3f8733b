"""The manifest's account of a still picture: all that is drawn, nothing that is hidden."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from aimgeo.camera import pixels
from scenes.board import (
    Ball,
    Board,
    Element,
    EyeCamera,
    Line,
    Mark,
    Move,
    Pane,
    Plate,
    Shade,
    Track,
    constant,
)
from scenes.judge.shown import LEAST_S, panes, still_stretches
from tests.scenes.boards import R_MM, eye_board, plan_board


def told(board: Board, frame: int = 39) -> dict[str, Any]:
    """What the first pane shows."""
    shows: dict[str, Any] = panes(board, frame)[0]["shows"]
    return shows


def roles(things: list[dict[str, Any]]) -> list[str]:
    return [t["role"] for t in things]


def test_every_element_of_a_plain_board_is_told_where_it_is() -> None:
    board = plan_board()
    shows = told(board)
    assert roles(shows["balls"]) == ["cue_ball", "object_ball", "ghost_ball"]
    assert sorted(set(roles(shows["lines"]))) == ["aim_line", "contact_line", "object_ball_line", "target_line"]
    assert roles(shows["points"]) == ["object_centre", "contact_object", "aim_point"]
    for element in board.elements:
        if isinstance(element.shape, Ball):
            ball = next(b for b in shows["balls"] if b["role"] == element.role)
            assert ball == {"role": element.role, "centre_mm": list(element.shape.centre_mm), "radius_mm": R_MM}


def test_a_rest_tells_its_labels_where_they_stand_and_what_they_name() -> None:
    shape = Plate("Aim line", (10.0, 20.0, 80.0, 24.0))
    label = Element("label", "label", shape, (), "label", names="aim_line")
    hidden = replace(label, id="hidden", opacity=constant(0.0))
    board = plan_board()
    stills = still_stretches(replace(board, elements=(*board.elements, label, hidden)))
    assert stills[-1]["labels"] == [{"rect_px": [10, 20, 80, 24], "text": "Aim line", "names": "aim_line"}]


def test_rests_are_told_with_the_frames_that_they_last() -> None:
    stills = still_stretches(plan_board())
    assert [(s["first_frame"], s["end_frame"]) for s in stills] == [(0, 10), (21, 40)]
    assert "aim_line" not in roles(stills[0]["panes"][0]["shows"]["lines"])
    assert "aim_line" in roles(stills[1]["panes"][0]["shows"]["lines"])
    json.dumps(stills, allow_nan=False)


def test_short_rests_are_not_told() -> None:
    board = plan_board(frames=40)
    twitch = Track((1.0,), (Move(25, 26, (0.5,)), Move(28, 29, (1.0,))))
    board = replace(board, elements=(replace(board.elements[0], opacity=twitch), *board.elements[1:]))
    lengths = [s["end_frame"] - s["first_frame"] for s in still_stretches(board)]
    assert min(lengths) >= LEAST_S * 24
    assert [s["first_frame"] for s in still_stretches(board)] == [0, 28]


def test_the_projection_maps_points_as_drawn() -> None:
    board = eye_board()
    (pane,) = panes(board, 39)
    ball = next(b for b in pane["shows"]["balls"] if b["role"] == "object_ball")
    u, v, w = np.array(pane["projection"]) @ [*ball["centre_mm"], 1.0]
    np.testing.assert_allclose([u / w, v / w], pixels(board.panes[0].projection(39), np.array(ball["centre_mm"])))
    assert pane["rect_px"] == [0, 0, 640, 360]
    assert pane["view"] == "eye"


def test_a_half_drawn_line_is_told_as_far_as_it_is_drawn() -> None:
    board = plan_board()
    elements = tuple(replace(e, drawn=constant(0.25)) if e.id == "contact_line" else e for e in board.elements)
    line = next(s for s in told(replace(board, elements=elements))["lines"] if s["role"] == "contact_line")
    shape = next(e.shape for e in board.elements if e.id == "contact_line")
    assert isinstance(shape, Line)
    start, end = np.array(shape.points_mm)
    np.testing.assert_allclose(line["points_mm"], [start, start + 0.25 * (end - start)])


def test_what_has_moved_is_told_where_it_is_now() -> None:
    board = plan_board()
    elements = tuple(
        replace(e, offset_mm=constant(7.0, -3.0, 0.0), size=constant(1.5)) if e.id == "cue_ball" else e
        for e in board.elements
    )
    ball = told(replace(board, elements=elements))["balls"][0]
    shape = board.elements[0].shape
    assert isinstance(shape, Ball)
    np.testing.assert_allclose(ball["centre_mm"], np.array(shape.centre_mm) + np.array([7, -3, 0]))
    assert ball["radius_mm"] == 1.5 * R_MM


@pytest.mark.parametrize(
    "change", [{"opacity": constant(0.0)}, {"drawn": constant(0.0)}, {"offset_mm": constant(0.0, 5000.0, 0.0)}]
)
def test_what_is_not_drawn_is_not_told(change: dict[str, Any]) -> None:
    board = replace(plan_board(), elements=tuple(replace(e, **change) for e in plan_board().elements))
    assert told(board) == {"balls": [], "lines": [], "points": []}


def test_a_line_under_a_ball_is_told_in_the_pieces_that_show() -> None:
    board = plan_board()
    O = next(e.shape for e in board.elements if e.id == "object_ball")
    assert isinstance(O, Ball)
    x, y, z = O.centre_mm
    line = Line(((x - 100, y, z), (x + 100, y, z)), "sight_line")
    over = Element("sight", "sight_line", line, ("main",), "line")
    under = replace(over, layer="line_under")
    one = [s for s in told(replace(board, elements=(*board.elements, over)))["lines"] if s["role"] == "sight_line"]
    two = [
        s for s in told(replace(board, elements=(*board.elements, under)))["lines"] if s["role"] == "sight_line"
    ]
    assert [s["points_mm"] for s in one] == [[[x - 100, y, z], [x + 100, y, z]]]
    got = np.array([s["points_mm"] for s in two])
    np.testing.assert_allclose(got[:, :, 0], [[x - 100, x - R_MM], [x + R_MM, x + 100]])


def test_marks_under_a_ball_or_hollow_are_not_told() -> None:
    board = plan_board()
    mark = next(e for e in board.elements if e.id == "object_centre")
    under = replace(mark, layer="line_under")
    shape: Any = mark.shape
    hollow = replace(mark, shape=replace(shape, hollow=True))
    for element in (under, hollow):
        elements = tuple(element if e.id == "object_centre" else e for e in board.elements)
        assert "object_centre" not in roles(told(replace(board, elements=elements))["points"])


def test_what_lies_under_a_band_or_another_pane_is_not_told() -> None:
    board = plan_board()
    band = Element("band", "band", Shade((0, 0, 640, 360), "band"), (), "break")
    assert told(replace(board, elements=(*board.elements, band)))["balls"] == []
    scrim = replace(band, shape=Shade((0, 0, 640, 360), "scrim"))
    assert len(told(replace(board, elements=(*board.elements, scrim)))["balls"]) == 3
    over = replace(board.panes[0], id="over")
    assert told(replace(board, panes=(*board.panes, over)))["balls"] == []
    unseen = replace(over, opacity=constant(0.0))
    assert len(told(replace(board, panes=(*board.panes, unseen)))["balls"]) == 3
    assert len(panes(replace(board, panes=(*board.panes, unseen)), 39)) == 1


def looking_along(background: str, *shapes: tuple[str, Ball | Line | Mark]) -> Board:
    """A low eye at x = -600, looking along +x."""
    track = constant(-600.0, 0.0, 40.0, 0.0, 0.0, 30.0, math.radians(40))
    pane = Pane("main", (0, 0, 640, 360), "eye", EyeCamera(track), background)
    elements = tuple(Element(role, role, shape, ("main",), "line") for role, shape in shapes)
    return replace(plan_board(), panes=(pane,), elements=elements)


def test_by_eye_a_ball_behind_a_nearer_one_is_hidden_and_a_partly_hidden_one_is_not() -> None:
    near, behind, beside = (Ball((x, y, R_MM), R_MM, "cue") for x, y in ((-300, 0), (400, 0), (400, 80)))
    shows = told(looking_along("plate", ("cue_ball", near), ("object_ball", behind), ("other", beside)))
    assert roles(shows["balls"]) == ["cue_ball", "other"]


def test_by_eye_a_line_behind_a_ball_is_told_without_the_hidden_piece() -> None:
    ball = Ball((-300.0, 0.0, R_MM), R_MM, "cue")
    line = Line(((0.0, -200.0, R_MM), (0.0, 200.0, R_MM)), "sight_line")
    board = looking_along("plate", ("cue_ball", ball), ("sight_line", line))
    pieces = [s["points_mm"] for s in told(board)["lines"]]
    assert len(pieces) == 2
    # at x = 0 the shadow of the ball reaches about twice its radius to either side of the middle
    inner = [abs(p[1]) for piece in pieces for p in piece if abs(p[1]) < 199]
    eye_to_ball, eye_to_line = math.hypot(300, 40 - R_MM), 600
    half_angle = math.asin(R_MM / eye_to_ball)
    assert inner == pytest.approx([eye_to_line * math.tan(half_angle)] * 2, rel=0.03)


def test_nothing_behind_the_eye_is_told() -> None:
    ball = Ball((-900.0, 0.0, R_MM), R_MM, "cue")
    mark = Mark((-900.0, 0.0, R_MM), "aim")
    shows = told(looking_along("plate", ("cue_ball", ball), ("aim_point", mark)))
    assert shows == {"balls": [], "lines": [], "points": []}
