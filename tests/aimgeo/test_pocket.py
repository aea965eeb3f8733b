"""Windows, mouths and playable directions, against scans that know nothing of their formulas."""

from __future__ import annotations

import math

import numpy as np
import pytest

from aimgeo.aim_frame import aim_frame
from aimgeo.pocket import (
    INSIDE_PART,
    Window,
    aim_window_rad,
    cushion_bearing_rad,
    is_in_mouth,
    playable_bearing_rad,
    pocket_window,
    window_into,
)
from aimgeo.shot import one_of_many, place_shot
from aimgeo.tables import TABLES
from aimgeo.vectors import turned, unit

BED = np.array([[1270.0, 635.0]])
D, R = 57.15, 28.575


def has_room(object_ball: np.ndarray, way: np.ndarray, bed: np.ndarray) -> np.ndarray:
    """True where the ball a diameter behind the object ball lies on the bed: plain comparisons."""
    ghost = object_ball - D * way
    return np.asarray(np.all(np.abs(ghost) <= bed - R + 1e-9, axis=-1))


def scanned(window: Window, object_ball: np.ndarray, bed: np.ndarray) -> float:
    """The bearing of the window nearest to its middle that leaves room, by trying two hundred thousand."""
    bearings = np.linspace(float(window.low_rad[0]), float(window.high_rad[0]), 200_001)[1:-1]
    free = bearings[has_room(object_ball, turned(window.towards, bearings), bed)]
    return float(free[np.argmin(np.abs(free))]) if free.size else math.nan


@pytest.mark.parametrize("seed", range(30))
def test_the_playable_direction_is_the_nearest_that_a_scan_finds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    pocket = TABLES["9ft"].pocket(["foot-left", "side-left", "head-right"][seed % 3])
    close = rng.uniform(0, 40, 2)
    near = np.where(
        rng.random(2) < 0.5, rng.uniform(-1, 1, 2) * (BED[0] - R), (BED[0] - R - close) * rng.choice([-1, 1], 2)
    )
    window = window_into(pocket, near[None], np.array([R]))
    got = float(playable_bearing_rad(window, near[None], BED, np.array([D]))[0])
    if not window.is_clean[0]:
        assert math.isnan(got)
        return
    want, width = scanned(window, near, BED), float((window.high_rad - window.low_rad)[0])
    if math.isnan(want):
        assert math.isnan(got)
    else:
        assert abs(got) >= abs(want) - 2e-5 * width
        assert abs(got - want) <= (INSIDE_PART + 2e-5) * width
        assert has_room(near, turned(window.towards, got), BED)[0]


def test_a_rail_that_splits_a_wide_window_leaves_the_nearer_piece() -> None:
    """A wide mouth around a rail's forbidden range: the ball is all but a diameter off the opposite rail."""
    O = np.array([[0.0, -635 + R + 56.0]])
    towards = unit(np.array([[0.05, 1.0]]))
    window = Window(np.array([-1.0]), np.array([1.0]), towards, np.array([500.0]))
    got = float(playable_bearing_rad(window, O, BED, np.array([D]))[0])
    want = scanned(window, O[0], BED)
    assert 0 < abs(want) < 0.3
    assert got == pytest.approx(want, abs=0.02)
    assert has_room(O[0], turned(towards, got), BED)[0]


@pytest.mark.parametrize("seed", range(20))
def test_the_direction_that_the_cushions_allow_is_the_nearest_that_a_scan_finds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    O = (BED[0] - R - rng.uniform(0, 30, 2) * (rng.random(2) < 0.8)) * rng.choice([-1, 1], 2)
    towards = unit(rng.normal(size=(1, 2)))
    got = float(cushion_bearing_rad(towards, O[None], BED, np.array([D]))[0])
    bearings = np.linspace(-np.pi, np.pi, 400_001)
    free = bearings[has_room(O, turned(towards, bearings), BED)]
    assert abs(got) == pytest.approx(float(np.abs(free).min()), abs=2e-5)
    assert has_room(O, turned(towards, got), BED)[0]


def test_a_window_that_no_cut_below_90_reaches_is_no_aim_window() -> None:
    """The whole window lies behind the cue ball: every path in it would need a cut of more than 90 degrees."""
    shot = place_shot([0.0, 0.0], [900.0, 0.0], math.radians(80), 400.0)
    frame = aim_frame(one_of_many(shot))
    seen = np.array([[0.0, 0.0]])
    back = math.pi - float(shot.line_of_centres_rad)  # straight back over the cue ball, where bearings change sign
    for bearing, wanted in ((0.0, True), (math.pi, False), (math.radians(200), False), (back, False)):
        centre = 900 * np.array([[math.cos(bearing), math.sin(bearing)]])
        across = 70 * np.array([[-math.sin(bearing), math.cos(bearing)]])
        window = pocket_window(seen, centre, centre + across, centre - across, np.array([R]))
        assert window.is_clean[0]
        width = float(aim_window_rad(frame, window)[0])
        assert width > 0 if wanted else width == 0


def test_a_ball_that_just_touches_a_point_or_the_line_between_them_is_in_the_mouth() -> None:
    tips, radius = (np.array([128.0, -60.0]), np.array([128.0, 60.0])), 28.5  # sums of these are exact
    for touching, away in (([128 - radius, 0.0], [-1.0, 0.0]), ([128.0, 60 + radius], [0.0, 1.0])):
        assert is_in_mouth(touching, *tips, radius)
        assert not is_in_mouth(np.add(touching, np.multiply(1e-9, away)), *tips, radius)
