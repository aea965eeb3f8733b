"""Throw clips: drawn paths are turned by the throw towards the cue ball's way; the shift brings the ball back."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from aimgeo.shot import place_shot
from aimgeo.tables import TABLES
from aimgeo.throw import throw_rad
from scenes.board import Area, Board, Line
from scenes.board.brief import Brief, BriefStep, MeasureText, Output, Subject
from scenes.kinds import throw

TABLE = TABLES["9ft"]
R = 28.575


def a_subject(cut_deg: float, **settings: Any) -> Subject:
    pocket = "foot-left" if cut_deg > 0 else "foot-right"
    shot = place_shot(
        (500.0, 150.0 * np.sign(cut_deg)), TABLE.pocket(pocket).centre_mm, math.radians(cut_deg), 600.0
    )
    return Subject("throw", TABLE, pocket, shot, settings=throw.ThrowSettings(**settings))


def a_board(subject: Subject, size: tuple[int, int] = (640, 360)) -> Board:
    output = Output(*size, (10, 1))
    steps = tuple(
        BriefStep(
            s.name, s.name, "", output.frames(s.draws_s), tuple(MeasureText(k, k, "1", "°") for k, _ in s.measures)
        )
        for s in throw.outline(subject)
    )
    return throw.board(Brief("clip", subject, output, steps))


def bearing(line: Line | Area, k: int = 1) -> float:
    a, b = np.array(line.points_mm[0]), np.array(line.points_mm[k])
    return math.atan2(*(b - a)[:2][::-1])


@pytest.mark.parametrize("cut", [30.0, -30.0])
def test_thrown_paths_turn_towards_the_cue_balls_way_and_lie_within_their_band(cut: float) -> None:
    subject = a_subject(cut)
    shot = subject.shot
    assert shot is not None
    shapes = {e.id: e.shape for e in a_board(subject).elements}
    ball = math.atan2(*shot.object_direction[::-1])
    side = math.copysign(1, cut)
    for n, speed in enumerate(throw.SPEEDS_MPS):
        line, band = shapes[f"thrown.{n}"], shapes[f"band.{n}"]
        assert isinstance(line, Line)
        assert isinstance(band, Area)
        turn = (bearing(line) - ball) * -side
        assert turn == pytest.approx(float(throw_rad(math.radians(abs(cut)), speed)), abs=1e-9)
        low, high = sorted((bearing(band, k) - ball) * -side for k in (1, 3))
        assert low <= turn + 1e-9
        assert turn <= high + 1e-9


def test_throw_is_worst_slow_and_a_stun_hit_at_1_mps_throws_half_ball_about_4_2_degrees() -> None:
    """4.154 degrees: the friction fit of the docs, worked out by hand."""
    steps = throw.outline(a_subject(30.0))
    thrown = [float(dict(s.measures)["thrown"].value) for s in steps[1:4]]
    assert thrown[0] > thrown[1] > thrown[2]
    assert math.degrees(thrown[1]) == pytest.approx(4.154, abs=0.001)


@pytest.mark.parametrize("cut", [20.0, -30.0])
@pytest.mark.parametrize("roll", [0.0, 0.5])
def test_a_cue_ball_sent_along_the_shifted_line_throws_the_ball_onto_the_target_line(
    cut: float, roll: float
) -> None:
    """A rolled circle: the shifted line is stopped where it touches the object ball, and the throw is added."""
    subject = a_subject(cut, roll=roll)
    shot = subject.shot
    assert shot is not None
    a = shot.aim_direction
    normal = np.array([-a[1], a[0]])
    start = shot.cue_ball_mm[:2] + throw.shift_mm(shot, throw.SHIFT_SPEED_MPS, roll) * normal
    w = shot.object_ball_mm[:2] - start
    ahead = w @ a - math.sqrt((2 * R) ** 2 - (w @ normal) ** 2)
    way = (w - ahead * a) / (2 * R)
    geometric = math.atan2(a[0] * way[1] - a[1] * way[0], a @ way)
    thrown = float(throw_rad(abs(geometric), throw.SHIFT_SPEED_MPS, roll))
    assert geometric - math.copysign(thrown, cut) == pytest.approx(float(shot.cut_rad), abs=1e-9)


def test_the_thrown_ball_runs_beside_the_way_without_friction_and_stays_on_the_table() -> None:
    """Turned towards the cue ball's way by the throw."""
    subject = a_subject(30.0)
    shot = subject.shot
    assert shot is not None
    board = a_board(subject)
    ball = next(e for e in board.elements if e.id == "object_ball")
    O, half = shot.object_ball_mm[:2], np.array([TABLE.length_mm, TABLE.width_mm]) / 2
    for n, speed in enumerate(throw.SPEEDS_MPS):
        span = board.steps[n + 1]
        moved = np.array(ball.offset_mm.at(span.end_frame - 1))[:2]
        turn = math.atan2(*moved[::-1]) - math.atan2(*shot.object_direction[::-1])
        assert -turn == pytest.approx(float(throw_rad(math.radians(30), speed)), abs=1e-6)
        at = O + moved
        near_point = min(math.dist(at, p) for pocket in TABLE.pockets() for p in pocket.points_mm)
        assert (np.abs(at) <= half + R).all()
        assert near_point > R - 1 or (np.abs(at) > half - R - 1).any()
    assert np.linalg.norm(ball.offset_mm.at(board.steps[0].end_frame - 1)) > 300
    assert ball.offset_mm.at(board.steps[1].first_frame + 2) == (0.0, 0.0, 0.0)


def test_where_more_friction_throws_no_further_the_sentence_says_so() -> None:
    """At 0.5 m/s the balls grip: tan(throw) = tan(cut)/7, whatever the friction."""
    steps = {s.name: s for s in throw.outline(a_subject(30.0))}
    assert steps["0.5 m/s"].sentence == "throw.speed_capped"
    assert steps["2 m/s"].sentence == "throw.speed"
    high = float(dict(steps["0.5 m/s"].measures)["band_high"].value)
    assert math.tan(high) == pytest.approx(math.tan(math.radians(30)) / 7)
