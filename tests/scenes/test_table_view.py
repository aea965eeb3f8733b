"""The table clip: true places, true diamonds, words that keep clear."""

from __future__ import annotations

import re

import numpy as np
import pytest

from aimgeo.camera import pixels
from aimgeo.tables import TABLES
from scenes.board import Ball, Leader, Line, Mark, Ring, Text
from scenes.kinds.table_view import outline
from tests.scenes.briefs import FRAMES, board_of, brief_of, shot_of


def test_diamonds_are_counted_from_the_rails_named() -> None:
    """A 9 ft bed of 2540 x 1270 mm has a diamond every 317.5 mm along both rails."""
    shot = shot_of(30, 640, at=(500, 100))
    steps = outline(brief_of("table", shot).subject)
    object_ball, cue_ball = dict(steps[1].measures), dict(steps[2].measures)
    C = shot.cue_ball_mm
    assert object_ball["from_foot"].value == pytest.approx((1270 - 500) / 317.5)
    assert object_ball["from_left"].value == pytest.approx((635 - 100) / 317.5)
    assert C[0] < 0
    assert cue_ball["from_head"].value == pytest.approx((1270 + C[0]) / 317.5)
    flank = "from_left" if C[1] > 0 else "from_right"
    assert cue_ball[flank].value == pytest.approx((635 - abs(C[1])) / 317.5)
    assert object_ball["end_less"].value == pytest.approx(1270 - 500), "two diamonds and a half fall short of it"
    assert object_ball["flank_less"].value == pytest.approx(635 - 100)
    assert {q.kind for q in (*object_ball.values(), *cue_ball.values())} == {"quarters", "set_mm"}


def test_a_ball_on_a_quarter_of_a_diamond_needs_no_more_or_less() -> None:
    steps = outline(brief_of("table", shot_of(30, 640, at=(1270 - 2.75 * 317.5, 635 - 0.75 * 317.5))).subject)
    assert [key for key, _ in steps[1].measures] == ["from_foot", "away", "from_left", "away"]
    assert steps[1].sentence == "table.object_ball"
    assert steps[2].sentence == "table.cue_ball_about"


def test_diamonds_are_counted_one_after_the_other_where_they_are_on_the_rail() -> None:
    """From the foot along the left rail, from the left along the foot rail."""
    board = board_of("table", shot_of(30, 640, at=(1270 - 2.75 * 317.5, 635 - 0.75 * 317.5)))
    found = {e.id: e for e in board.elements if e.id.startswith("object_ball.way.count")}
    marks = {id: e.shape.at_mm[:2] for id, e in found.items() if isinstance(e.shape, Mark)}
    assert marks == {
        "object_ball.way.count.0.1": pytest.approx((1270 - 317.5, 730)),
        "object_ball.way.count.0.2": pytest.approx((1270 - 635, 730)),
        "object_ball.way.count.0.3": pytest.approx((1270 - 952.5, 730)),
        "object_ball.way.count.1.1": pytest.approx((1365, 635 - 317.5)),
    }
    lit = [found[id].opacity.moves[0].first_frame for id in sorted(marks)]
    assert lit == sorted(set(lit))


@pytest.mark.parametrize("frame", FRAMES)
@pytest.mark.parametrize("cut_deg", [-30, 12])
def test_every_number_has_a_leader_that_ends_at_what_it_measures(frame: str, cut_deg: float) -> None:
    board = board_of("table", shot_of(cut_deg, 640), size=FRAMES[frame])
    lines = {e.id: e.shape.points_mm for e in board.elements if isinstance(e.shape, Line)}
    leaders = {e.names: e.shape.points_px[-1] for e in board.elements if isinstance(e.shape, Leader)}
    for name in ("object_ball.way.0", "object_ball.way.1", "cue_ball.way.0", "cue_ball.way.1", "distance.0"):
        a, b = board.panes[0].px(np.array(lines[name]))
        end = np.array(leaders[name])
        along = (b - a) / np.linalg.norm(b - a)
        part = (end - a) @ along
        assert np.linalg.norm(end - a - part * along) < 0.5
        assert -0.5 <= part <= np.linalg.norm(b - a) + 0.5


@pytest.mark.parametrize("frame", FRAMES)
def test_the_whole_bed_is_in_the_picture_and_balls_are_at_true_size(frame: str) -> None:
    W, H = FRAMES[frame]
    shot = shot_of(22, 700)
    board = board_of("table", shot, size=(W, H))
    (pane,) = board.panes
    corners = np.array([[x, y, 0.0] for x in (-1270, 1270) for y in (-635, 635)])
    px = pixels(pane.projection(0), corners)
    assert (px >= 0).all()
    assert (px <= [W, H]).all()
    balls = [e.shape for e in board.elements if isinstance(e.shape, Ball) and e.shape.look != "ghost"]
    assert [b.radius_mm for b in balls] == [28.575, 28.575]
    rings = [e.shape.radius_mm for e in board.elements if isinstance(e.shape, Ring)]
    assert rings == [pytest.approx(2.1 * 28.575)] * 2


def test_measure_lines_run_from_the_balls_to_the_noses() -> None:
    shot = shot_of(30, 640)
    board = board_of("table", shot)
    L, W = TABLES["9ft"].length_mm / 2, TABLES["9ft"].width_mm / 2
    lines = [e.shape for e in board.elements if re.fullmatch(r"\w+_ball\.way\.[01]", e.id)]
    assert len(lines) == 4
    for line in lines:
        assert isinstance(line, Line)
        (x0, y0, _), (x1, y1, _) = line.points_mm
        assert abs(x1) == pytest.approx(L) or abs(y1) == pytest.approx(W)
        assert x0 == x1 or y0 == y1


@pytest.mark.parametrize("pocket", ["foot-left", "foot-right"])
def test_head_and_foot_are_named_where_nothing_lies(pocket: str) -> None:
    board = board_of("table", shot_of(10, 500, pocket, (800, 0)))
    words = {e.shape.text: e.shape.at_px for e in board.elements if isinstance(e.shape, Text)}
    assert words["head"][0] < 960 < words["foot"][0]
    assert (words["foot"][1] > 540) == (pocket == "foot-left"), "away from the target line"
