"""A ball's turn as it slides, rolls and meets cushions, against scipy's rotations and its integrator."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation

from aimgeo.running import MM, Run, on_bed
from aimgeo.turning import after, matrix, run_turn, turn_about, turned, way_turn
from aimgeo.vectors import Array

R = 28.575
CASES = {
    "rolling": ((1.2, 0.4), (1.2, 0.4)),
    "stunned": ((1.5, -0.6), (0.0, 0.0)),
    "draw": ((1.5, 0.0), (-1.6, 0.0)),
    "after a cut, rolling": ((0.4, 0.9), (1.3, -0.2)),
    "after a cut, draw": ((0.0, 0.9), (-0.9, 0.0)),
}


def near(q: Array) -> Rotation:
    return Rotation.from_quat(q, scalar_first=True)


def test_turns_are_those_of_scipy() -> None:
    choose = np.random.default_rng(3)
    vectors, points = choose.normal(size=(2, 40, 3)) * 3
    ours, theirs = turn_about(vectors), Rotation.from_rotvec(vectors)
    assert np.allclose(matrix(ours), theirs.as_matrix(), atol=1e-12)
    assert np.allclose(turned(ours, points), theirs.apply(points), atol=1e-12)
    assert np.allclose(matrix(after(ours, ours[::-1])), (theirs * theirs[::-1]).as_matrix(), atol=1e-12)


@pytest.mark.parametrize("case", CASES)
def test_a_run_turns_as_its_angular_velocity_says(case: str) -> None:
    # angular velocity from friction at the touching point and 2/5 m R^2, as in the run's own law of motion
    v, w = (np.array(part) for part in CASES[case])
    run = Run(np.zeros(2), v, w)
    slip, mu = v - w, run.cloth.slide_mps2
    u = slip / np.linalg.norm(slip) if np.any(slip) else np.zeros(2)

    def grows(t: float, state: Array) -> Array:
        rolling = w + 2.5 * mu * u * t if t < run.slides_s else run.velocity_at(t)
        omega = np.cross([0.0, 0.0, 1.0], [*rolling, 0.0]) * MM / R
        return np.cross(omega, state.reshape(3, 3), axisb=0, axisc=0).ravel()

    times = np.linspace(0.02, min(1.5, run.ends_s), 9)
    first = [t for t in times if t < run.slides_s]
    state, at = np.eye(3).ravel(), 0.0
    for t in sorted({*times, run.slides_s}):
        if t > at:
            state = solve_ivp(grows, (at, t), state, rtol=1e-11, atol=1e-12, max_step=0.01).y[:, -1]
            at = t
        if t in times:
            ours = matrix(run_turn(run, np.array([t]), R))[0]
            assert np.allclose(ours, state.reshape(3, 3), atol=1e-6), t
    assert case == "rolling" or first


def test_a_ball_that_rolls_once_around_its_girth_is_as_it_was() -> None:
    run = Run(np.zeros(2), np.array([2.0, 1.0]), np.array([2.0, 1.0]))
    once = run_turn(run, np.array([run.reaches_s(2 * np.pi * R)]), R)[0]
    assert np.allclose(matrix(once), np.eye(3), atol=1e-9)
    # what was on top has gone ahead by a quarter, and does not slip
    quarter = run_turn(run, np.array([run.reaches_s(np.pi / 2 * R)]), R)[0]
    assert np.allclose(turned(quarter, [0.0, 0.0, 1.0]), [*(np.array([2.0, 1.0]) / np.sqrt(5)), 0.0], atol=1e-9)


def test_a_cushion_between_two_runs_turns_nothing_by_itself() -> None:
    way = on_bed(Run(np.zeros(2), np.array([2.0, 0.7]), np.zeros(2)), (600.0, 400.0), R, 1.5)
    assert len(way.runs) > 1
    touched = way.starts_s[1]
    before, later = way_turn(way, np.array([touched - 1e-9, touched + 1e-9]), R)
    assert np.allclose(matrix(before), matrix(later), atol=1e-5)
    end = way_turn(way, np.array([touched + 0.2]), R)[0]
    assert len(way.starts_s) == 2 or way.starts_s[2] > touched + 0.2
    own = run_turn(way.runs[1], np.array([0.2]), R)[0]
    assert np.allclose((near(own) * near(before)).as_matrix(), matrix(end), atol=1e-6)
