"""How balls run: against a sphere's equations of motion, integrated by scipy, and against textbook results."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from aimgeo.after import deflection_rad
from aimgeo.running import (
    CLOTH,
    CUSHION_KEEPS,
    GRAVITY_MPS2,
    Played,
    Run,
    meets_s,
    on_bed,
    play,
    speed_to_arrive,
)
from aimgeo.shot import Shot, place_shot
from aimgeo.vectors import Array, angle_rad, left, length

RADIUS_M = 0.028575
speeds = st.floats(-4, 4).filter(lambda v: abs(v) > 0.05)


def integrated(run: Run, seconds: float) -> Array:
    """The centre after so many seconds of a rigid sphere under Coulomb friction, in three dimensions."""
    R, g, mu = RADIUS_M, GRAVITY_MPS2, run.cloth.sliding
    down, up = np.array([0, 0, -R]), np.array([0.0, 0.0, 1.0])
    # w = R omega x up, hence omega = up x w / R
    omega = np.cross(up, [*run.rolling_mps, 0]) / R

    def slip(state: Array) -> Array:
        return np.asarray(state[2:5] + np.cross(state[5:8], down))

    def moves(_: float, state: Array) -> Array:
        u = slip(state)
        force = -mu * g * u / np.linalg.norm(u)  # a kilogram
        turning = np.cross(down, force) / (2 / 5 * R * R)
        return np.array([state[2], state[3], *force, *turning])

    start = np.array([0, 0, *run.velocity_mps, 0, *omega])
    done = solve_ivp(moves, (0, min(seconds, run.slides_s * (1 - 1e-9))), start, rtol=1e-10, atol=1e-12)
    end = done.y[:, -1]
    rest = seconds - done.t[-1]
    v, way = end[2:4], np.zeros(2)
    if rest > 0:
        speed, slow = np.hypot(*v), run.cloth.rolling * g
        rest = min(rest, speed / slow)
        way = v * rest - v / speed * slow * rest * rest / 2
    return np.asarray(run.start_mm + 1000 * (end[:2] + way))


@given(speeds, speeds, speeds, speeds, st.floats(0.01, 3))
def test_a_ball_runs_as_a_sphere_under_coulomb_friction_does(
    vx: float, vy: float, wx: float, wy: float, seconds: float
) -> None:
    run = Run(np.array([100.0, -50.0]), np.array([vx, vy]), np.array([wx, wy]))
    if length(run.slip_mps) < 1e-3:
        return
    assert run.position_at(seconds) == pytest.approx(integrated(run, seconds), abs=1e-2)


def test_a_stunned_ball_rolls_with_five_sevenths_of_its_speed() -> None:
    # in every textbook of mechanics; from memory
    run = Run(np.zeros(2), np.array([1.4, 0.0]), np.zeros(2))
    assert run.velocity_at(run.slides_s) == pytest.approx([1.0, 0.0])
    assert run.position_at(run.slides_s)[0] == pytest.approx(1000 * 12 * 1.4**2 / (49 * CLOTH.slide_mps2))
    assert run.velocity_at(run.ends_s) == pytest.approx([0.0, 0.0], abs=1e-12)
    assert (run.position_at(run.ends_s + 5) == run.position_at(run.ends_s)).all()


@given(st.floats(50, 2500), st.floats(0.05, 3))
def test_a_ball_arrives_with_the_speed_asked_for(way_mm: float, arrives_mps: float) -> None:
    run = Run(np.zeros(2), np.array([speed_to_arrive(way_mm, arrives_mps), 0.0]), np.zeros(2))
    at = run.reaches_s(way_mm)
    assert run.position_at(at)[0] == pytest.approx(way_mm, abs=1e-6)
    assert run.velocity_at(at)[0] == pytest.approx(arrives_mps, rel=1e-9)


def test_a_ball_never_reaches_what_lies_beyond_its_end() -> None:
    run = Run(np.zeros(2), np.array([0.5, 0.0]), np.array([0.5, 0.0]))
    assert run.reaches_s(run.position_at(run.ends_s)[0] - 1e-6) < run.ends_s
    assert run.reaches_s(run.position_at(run.ends_s)[0] + 1e-6) == np.inf


def shot_of(cut_deg: float, distance_mm: float = 700) -> Shot:
    return place_shot([200.0, -100.0], [1270.0, -635.0], np.radians(cut_deg), distance_mm)


@pytest.mark.parametrize("cut_deg", [-50, -30, 0, 14.5, 30, 60])
@pytest.mark.parametrize("roll", [0.0, 0.5, 1.0])
def test_a_played_shot_touches_where_the_ghost_ball_is_and_ends_at_the_target(cut_deg: float, roll: float) -> None:
    shot = shot_of(cut_deg)
    p = play(shot, 1.0, roll)
    assert p.before.position_at(0.0) == pytest.approx(shot.cue_ball_mm[:2])
    assert p.before.position_at(p.impact_s) == pytest.approx(shot.ghost_ball_mm[:2], abs=1e-9)
    assert p.cue_after.position_at(0.0) == pytest.approx(shot.ghost_ball_mm[:2])
    assert length(p.before.velocity_at(p.impact_s)) == pytest.approx(p.impact_mps)
    assert p.object_ball_at(p.impact_s) == pytest.approx(shot.object_ball_mm[:2])
    assert p.object_ball_at(p.arrives_s) == pytest.approx(shot.target_mm[:2], abs=1e-6)
    apart = length(p.before.position_at(np.linspace(0, p.impact_s, 50)) - shot.object_ball_mm[:2])
    assert apart.min() == pytest.approx(float(shot.ball_diameter_mm), abs=1e-9)


@pytest.mark.parametrize("cut_deg", [5, 30, 60])
@pytest.mark.parametrize("roll", [0.0, 0.4, 1.0])
def test_the_cue_ball_leaves_as_deflection_says(cut_deg: float, roll: float) -> None:
    p = play(shot_of(cut_deg), 1.0, roll)
    turned = abs(float(angle_rad(shot_of(cut_deg).aim_direction, p.cue_after.rolls_mps)))
    assert turned == pytest.approx(float(deflection_rad(np.radians(cut_deg), roll)), abs=1e-9)


def energy(p: Played) -> tuple[float, float]:
    before = p.impact_mps**2
    after = sum(float(length(run.velocity_mps)) ** 2 for run in (p.cue_after, p.object_after))
    return before, after


def test_the_hit_keeps_momentum_and_energy() -> None:
    shot = shot_of(30)
    p = play(shot, 1.0, 0.5)
    before, after = energy(p)
    assert after == pytest.approx(before)
    assert p.cue_after.velocity_mps + p.object_after.velocity_mps == pytest.approx(
        p.impact_mps * shot.aim_direction
    )


def test_a_throw_turns_the_object_balls_way_and_nothing_else() -> None:
    straight, thrown = play(shot_of(30), 1.0), play(shot_of(30), 1.0, turned_rad=-0.05)
    assert float(angle_rad(straight.object_after.velocity_mps, thrown.object_after.velocity_mps)) == pytest.approx(
        -0.05
    )
    assert float(left(straight.object_after.velocity_mps) @ thrown.object_after.velocity_mps) < 0
    assert thrown.cue_after.velocity_mps == pytest.approx(straight.cue_after.velocity_mps)


def test_what_a_cue_cannot_do_is_refused() -> None:
    with pytest.raises(ValueError, match="backspin"):
        play(shot_of(10, 2000), 0.3, 0.0)
    wrongs: tuple[dict[str, Any], ...] = ({"arrives_mps": 0.0}, {"arrives_mps": 1.0, "roll": 1.5})
    for wrong in wrongs:
        with pytest.raises(ValueError, match="a played shot needs"):
            play(shot_of(30), **wrong)


def test_a_cushion_mirrors_the_way_and_takes_speed_across_it() -> None:
    run = Run(np.array([1000.0, 0.0]), np.array([2.0, 1.0]), np.array([2.0, 1.0]))
    way = on_bed(run, (1270.0, 635.0), 28.575, 3.0)
    assert len(way.runs) >= 3
    times = np.linspace(0, 3, 2000)
    at = way.position_at(times)
    assert np.abs(at[:, 0]).max() <= 1270 - 28.575 + 1e-6
    assert np.abs(at[:, 1]).max() <= 635 - 28.575 + 1e-6
    assert np.abs(np.diff(at, axis=0)).max() < 2.5 * 1000 * 3 / 1999  # nowhere a jump
    before, after = run.velocity_at(way.starts_s[1]), way.runs[1].velocity_mps
    assert after == pytest.approx(before * [-CUSHION_KEEPS, 1.0])
    free = on_bed(run, (np.inf, np.inf), 28.575, 3.0)
    assert (free.position_at(times) == run.position_at(times)).all()


@given(st.tuples(speeds, speeds, speeds, speeds), st.tuples(st.floats(-900, 900), st.floats(-400, 400)))
def test_a_ball_meets_another_when_scipy_says_so(v: tuple[float, ...], other: tuple[float, float]) -> None:
    """The gap's first root, bracketed on a fine grid and found by scipy's brentq."""
    run = Run(np.zeros(2), np.array(v[:2]), np.array(v[2:]))
    way = on_bed(run, (1000.0, 500.0), 1000 * RADIUS_M, 3.0)
    d = 2000 * RADIUS_M

    def gap(seconds: float) -> float:
        return float(length(way.position_at(seconds) - np.array(other))) - d

    assume(gap(0.0) > 1.0)
    times = np.linspace(0.0, 3.0, 3001)
    gaps = length(way.position_at(times) - np.array(other)) - d
    found = meets_s(way, [other], d, 3.0)
    if (gaps < -0.01).any():
        k = int(np.argmax(gaps < -0.01))
        apart = max(i for i in range(k) if gaps[i] > 0)
        assert found == pytest.approx(brentq(gap, times[apart], times[k]), abs=1e-6)
    elif gaps.min() > 0.5:
        assert found == np.inf
