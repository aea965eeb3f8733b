"""Shots as they are played: painted frame by frame, the balls stand where the ways of the physics have them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from aimgeo.aim_frame import aim_frame
from aimgeo.camera import ball_outline
from aimgeo.holes import FALL_MM, hole_of
from aimgeo.methods.readings import judged_readings
from aimgeo.running import play_softly
from aimgeo.shot import Shot, one_of_many, place_shot
from aimgeo.tables import TABLES
from scenes.board import Cue
from scenes.draw.picture import picture
from scenes.figure.eye_view import CUE_GAP_MM, EYE
from scenes.figure.mistakes import mistake
from scenes.figure.played import after_lines, is_stopped, rolls, stroke
from scenes.kinds import players_eye
from tests.scenes.test_players_eye import a_board, a_subject

TABLE = TABLES["9ft"]
RATE = (60, 1)
SHOTS = [(22.0, 400.0), (-30.0, 700.0), (0.0, 500.0), (5.0, 1000.0), (48.0, 300.0)]


def a_shot(cut_deg: float, distance_mm: float, pocket: str = "foot-left") -> Shot:
    return place_shot((500.0, 150.0), TABLE.pocket(pocket).centre_mm, math.radians(cut_deg), distance_mm)


@pytest.mark.parametrize(("cut_deg", "distance_mm"), SHOTS)
def test_the_object_ball_falls_into_the_hole_and_touches_nothing_on_the_way(
    cut_deg: float, distance_mm: float
) -> None:
    shot = a_shot(cut_deg, distance_mm)
    played = play_softly(shot, TABLE)
    ways = rolls(played, shot, TABLE, "foot-left", RATE)
    cue = np.array(ways.cue_ball) + shot.cue_ball_mm
    other = np.array(ways.object_ball) + shot.object_ball_mm
    assert ways.dropped is not None
    hole = hole_of(TABLE.pocket("foot-left"), TABLE)
    inside = np.hypot(*(other[ways.dropped, :2] - hole.centre_mm))
    assert inside <= hole.radius_mm - float(shot.radius_mm) + 1e-6
    assert other[ways.dropped, 2] == pytest.approx(float(shot.radius_mm) + FALL_MM)
    assert (np.diff(other[:, 2]) <= 0).all()
    apart = np.hypot(*(cue - other)[:, :2].T)
    assert apart.min() >= float(shot.ball_diameter_mm) - 1e-6
    # the cue ball stays on the bed
    assert (np.abs(cue[:, :2]) <= [TABLE.length_mm / 2 - 28.574, TABLE.width_mm / 2 - 28.574]).all()


@pytest.mark.parametrize(("cut_deg", "distance_mm"), SHOTS)
def test_no_ball_runs_through_another_one_on_the_table(cut_deg: float, distance_mm: float) -> None:
    """Balls laid on each way that the cue ball could take: it takes another one, or it is followed up to them."""
    shot = a_shot(cut_deg, distance_mm)
    d = float(shot.ball_diameter_mm)
    others: tuple[tuple[float, float], ...] = ()
    for _ in range(4):
        played = play_softly(shot, TABLE, others)
        ways = rolls(played, shot, TABLE, "foot-left", RATE)
        cue = (np.array(ways.cue_ball) + shot.cue_ball_mm)[:, :2]
        for x, y in others:
            assert np.hypot(*(cue - (x, y)).T).min() >= d - 0.01
        if is_stopped(played, TABLE, "foot-left"):
            assert min(math.dist(cue[-1], one) for one in others) == pytest.approx(d, abs=0.01)
            lines = after_lines(played, shot, TABLE, "foot-left")
            assert not lines or math.dist(lines[-1].points_mm[-1][:2], cue[-1]) < 0.01
            return
        after = cue[ways.contact :]
        far = np.hypot(*(after - shot.ghost_ball_mm[:2]).T) > 3 * d
        if not far.any():  # a stunned ball that stands
            return
        x, y = after[np.argmax(far)].tolist()
        others = (*others, (x, y))
    pytest.fail("every way is taken, and none is followed")


@pytest.mark.parametrize(("cut_deg", "distance_mm"), SHOTS)
def test_the_tip_meets_the_ball_with_the_speed_that_it_gets(cut_deg: float, distance_mm: float) -> None:
    played = play_softly(a_shot(cut_deg, distance_mm), TABLE)
    way, hit = stroke(played, CUE_GAP_MM, (6000, 1))
    assert way[hit] == pytest.approx(CUE_GAP_MM)
    assert max(way[:hit]) <= CUE_GAP_MM
    assert (way[hit] - way[hit - 1]) * 6 == pytest.approx(played.strike_mps, rel=0.02)  # mm a frame in m/s


def middle_px(pixels: np.ndarray, near: tuple[float, float], radius: float) -> tuple[float, float]:
    """The middle of what is coloured like the object ball, around a place."""
    x0, y0 = (max(round(v - 1.35 * radius), 0) for v in near)  # short of the wood of the rails
    part = pixels[y0 : y0 + round(2.7 * radius), x0 : x0 + round(2.7 * radius)].astype(int)
    ball = (part[..., 0] > part[..., 1] + 40) & (part[..., 0] > part[..., 2] + 40)
    ball &= 2 * part[..., 0] > 3 * part[..., 1]  # not the ringed pocket, which is yellow
    ys, xs = np.nonzero(ball)
    assert len(xs)
    return x0 + (xs.min() + xs.max() + 1) / 2, y0 + (ys.min() + ys.max() + 1) / 2


def test_painted_frames_have_the_rolling_ball_where_it_was_computed() -> None:
    subject = a_subject("contact_points", 22.0, 400.0)
    board = a_board(subject, (1280, 720), 30)
    shot, step = subject.shot, next(s for s in board.steps if s.name == "shot")
    assert shot is not None
    played = play_softly(shot, TABLE)
    cue = next(e for e in board.elements if isinstance(e.shape, Cue))
    offsets = next(e for e in board.elements if e.id == "object_ball").offset_mm
    started = next(f for f in range(step.first_frame, step.end_frame) if offsets.at(f)[0] != 0) - 1
    checked = 0
    for frame in range(started + 3, step.end_frame, 6):
        # at half speed, from the frame on which the balls touched
        seconds = played.impact_s + played.object_after.reaches_s(math.hypot(*offsets.at(started + 1)[:2]))
        seconds += (frame - started - 1) / 30 * players_eye.PACE
        at = played.object_ball_at(seconds)
        if float(played.arrives_s) < seconds:
            break
        seen = ball_outline(
            board.panes[0].projection(0), np.array([*at, float(shot.radius_mm)]), float(shot.radius_mm)
        )
        x, y = middle_px(picture(board, frame), tuple(seen.centre_px.tolist()), seen.mean_radius_px)
        assert (x, y) == pytest.approx(tuple(seen.centre_px.tolist()), abs=1.5)
        checked += 1
    assert checked >= 5
    assert EYE in cue.panes


def test_a_methods_mistake_is_replayed_and_misses_by_what_the_readings_say() -> None:
    subject = a_subject("contact_points", 22.0, 400.0)
    wrong = mistake(subject)
    assert wrong is not None
    assert wrong.reading == "cue_at_contact"
    shot = subject.shot
    assert shot is not None
    frame = aim_frame(one_of_many(shot), (TABLE.length_mm / 2, TABLE.width_mm / 2))
    found = judged_readings(frame, np.array([[-600.0, 0.0, 300.0]]))["contact_points"]["cue_at_contact"]
    assert wrong.miss_mm == pytest.approx(abs(float(found.miss_mm[0])))
    # its target is as far off as the true one, and as far beside it as a ball that turns by the error comes to lie
    u, v = shot.object_direction, wrong.shot.object_direction
    far = float(np.hypot(*(shot.target_mm - shot.object_ball_mm)[:2]))
    assert far * abs(math.tan(math.acos(float(u @ v)))) == pytest.approx(wrong.miss_mm)
    names = [step.name for step in players_eye.outline(subject)]
    assert names[-2:] == ["shot", "mistake"]
    board = a_board(subject)
    ball = next(e for e in board.elements if e.id == "mistake.object_ball")
    assert all(z == 0 for move in ball.offset_mm.moves for _, _, z in move.through)
    assert ball.is_visible(board.frames - 1)


def test_a_method_whose_mistake_goes_in_has_no_replay() -> None:
    subject = a_subject("fixed_marks", 22.0, 400.0)
    assert mistake(subject) is None
    assert [step.name for step in players_eye.outline(subject)][-1] == "shot"
