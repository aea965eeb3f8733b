"""Ball fractions: combinations against brute force, and their cuts against a simulated collision."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from aimgeo.fractions import (
    MAX_SIXTEENTHS,
    SHIFTS,
    TARGETS,
    combinations,
    exact_shift_mm,
    fraction_cut_rad,
    is_reachable,
    tip_lost_rad,
    tip_shift_mm,
)
from tests.aimgeo.shots import collide

D = 57.15

# which target and taught shift (sixteenths, outward positive) give sin(cut) = k/16: counted by hand
BY_SIXTEENTHS = {
    0: {("centre", 0)},
    1: {("centre", 1)},
    2: {("centre", 2), ("halfway", -2)},
    3: {("halfway", -1)},
    4: {("halfway", 0)},
    5: {("halfway", 1)},
    6: {("halfway", 2), ("edge", -2)},
    7: {("edge", -1)},
    8: {("edge", 0)},
    9: {("edge", 1)},
    10: {("edge", 2)},
}


@pytest.mark.parametrize(("sixteenths", "expected"), BY_SIXTEENTHS.items())
def test_every_sixteenth_up_to_ten_has_its_combinations_and_nothing_left_over(
    sixteenths: int, expected: set[tuple[str, int]]
) -> None:
    found = combinations(math.asin(sixteenths / 16))
    assert {(c.target, c.shift_sixteenths) for c in found} == expected
    for c in found:
        assert c.left_over_mm == pytest.approx(0, abs=1e-12)
        assert c.lost_rad == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(("sixteenths", "preferred"), [(2, ("centre", 2)), (6, ("edge", -2))])
def test_of_two_equal_combinations_the_one_at_a_point_that_can_be_seen_is_preferred(
    sixteenths: int, preferred: tuple[str, int]
) -> None:
    first = combinations(math.asin(sixteenths / 16))[0]
    assert (first.target, first.shift_sixteenths) == preferred


@given(st.floats(0, math.asin(10 / 16)), st.sampled_from([1, -1]), st.floats(45, 70))
def test_the_preferred_combination_leaves_least_over_of_all_fifteen(cut: float, side: int, d: float) -> None:
    found = combinations(side * cut, d)
    left_overs = [d * math.sin(cut) - (t + s) * d / 16 for t in TARGETS.values() for s in SHIFTS]
    assert abs(found[0].left_over_mm) == pytest.approx(min(map(abs, left_overs)), abs=1e-9)
    assert all(abs(found[0].left_over_mm) <= abs(c.left_over_mm) + 1e-6 for c in found)
    for c in found:
        assert abs(c.left_over_mm) <= d / 32 + 1e-9
        assert c.cut_rad + c.lost_rad == pytest.approx(cut, abs=1e-12)
        exact = float(exact_shift_mm(c.target, cut, d))
        assert exact == pytest.approx(c.shift_sixteenths * d / 16 + c.left_over_mm, abs=1e-9)
        offset = TARGETS[c.target] * d / 16
        assert float(fraction_cut_rad(offset, -exact, 500.0, d)[0]) == pytest.approx(cut, abs=1e-9)


def test_nothing_reaches_beyond_ten_sixteenths() -> None:
    limit = math.asin(MAX_SIXTEENTHS / 16)
    assert math.degrees(limit) == pytest.approx(38.68, abs=0.005)
    assert combinations(limit)
    assert combinations(-limit)
    assert combinations(limit + 1e-6) == ()
    np.testing.assert_array_equal(is_reachable([0.0, limit, -limit, limit + 1e-6]), [True, True, True, False])


def sighted_direction(
    cue_ball: tuple[float, float], offset: float, across: tuple[float, float], mark: tuple[float, float]
) -> tuple[float, float]:
    """The way from the point `offset` along `across` from the cue ball's centre to a mark."""
    x, y = mark[0] - cue_ball[0] - offset * across[0], mark[1] - cue_ball[1] - offset * across[1]
    return (x / math.hypot(x, y), y / math.hypot(x, y))


offsets = st.floats(-D / 2, D / 2)
shifts = st.floats(-D / 8, D / 8)


@given(offsets, shifts, st.floats(80, 2500))
def test_offsets_from_the_line_of_centres_cut_as_a_simulated_collision_does(
    t: float, s: float, far: float
) -> None:
    way = sighted_direction((0, 0), s, (0, 1), (far, t))
    hit = collide((0, 0), (far, 0), way, D)
    assert hit is not None
    left_way = hit[1]
    cut = math.atan2(way[0] * left_way[1] - way[1] * left_way[0], way[0] * left_way[0] + way[1] * left_way[1])
    # positive when the aim passes left of the object ball, which then goes right: clockwise of the aim
    assert float(fraction_cut_rad(t, s, far, by_line_of_centres=True)[0]) == pytest.approx(-cut, abs=1e-6)


@given(offsets, shifts, st.floats(80, 2500))
def test_offsets_square_to_the_aim_cut_as_a_simulated_collision_does(t: float, s: float, far: float) -> None:
    # the aim runs along +x: the object ball's mark and the cue ball's point are level across it
    cue_ball, object_ball = (0.0, 0.0), (far, s - t)
    way = sighted_direction(cue_ball, s, (0, 1), (object_ball[0], object_ball[1] + t))
    assert way == pytest.approx((1, 0), abs=1e-12)
    hit = collide(cue_ball, object_ball, way, D)
    assert hit is not None
    cut = math.atan2(hit[1][1], hit[1][0])
    for found in fraction_cut_rad(t, s, far):
        assert float(found) == pytest.approx(-cut, abs=1e-6)


def test_an_aim_past_the_ball_has_no_cut() -> None:
    assert np.isnan(fraction_cut_rad(D, -1.0, 500.0)).all()
    assert np.isnan(fraction_cut_rad(D * 1.01, 0.0, 1e9, by_line_of_centres=True)).all()
    # a graze is no hit, and a turned sighting line may hit where a parallel one would not
    assert np.isnan(fraction_cut_rad(D, 0.0, 500.0)[0])
    assert np.isfinite(fraction_cut_rad(D, 0.0, 500.0, by_line_of_centres=True)[0])


@given(offsets, shifts)
def test_from_far_away_both_ways_of_measuring_agree(t: float, s: float) -> None:
    cut, parallel = fraction_cut_rad(t, s, 1e9, by_line_of_centres=True)
    assert float(cut) == pytest.approx(float(parallel), abs=1e-9)


@pytest.mark.parametrize(("sixteenths", "shift_mm"), [(0, 0.0), (1, 3.25), (2, 6.5), (-2, -6.5)])
def test_a_13_mm_tip_shows_a_quarter_and_half_of_itself(sixteenths: int, shift_mm: float) -> None:
    assert tip_shift_mm(sixteenths) == shift_mm


@pytest.mark.parametrize("target", TARGETS)
@pytest.mark.parametrize("shift", SHIFTS)
def test_what_the_tip_loses_is_what_a_simulated_collision_loses(target: str, shift: int) -> None:
    def cut(shift_mm: float) -> float:
        across = TARGETS[target] / 16 * D + shift_mm
        hit = collide((0, 0), (500, across), (1, 0), D)
        assert hit is not None
        return math.atan2(hit[1][1], hit[1][0])

    lost = cut(shift * D / 16) - cut(shift * 13 / 4)
    assert tip_lost_rad(target, shift) == pytest.approx(lost, abs=1e-6)


def test_a_tip_of_a_quarter_of_the_ball_loses_nothing() -> None:
    assert tip_lost_rad("edge", 2, ball_diameter_mm=52.0, tip_mm=13.0) == pytest.approx(0, abs=1e-12)
