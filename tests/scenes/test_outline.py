"""Outlines of balls and circles, against what projected points of the ball itself say."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from aimgeo.camera import ball_outline, circle_outline, pixels
from scenes.board import EyeCamera, PlanCamera, constant
from scenes.draw.paths import ellipse

RECT = (100.0, 40.0, 800.0, 600.0)


def eye_projection(x: float, y: float, z: float, fov_deg: float = 40.0) -> np.ndarray:
    return EyeCamera(constant(x, y, z, 0.0, 0.0, 28.0, math.radians(fov_deg))).projection(RECT, 0)


def furthest(P: np.ndarray, centre: np.ndarray, radius: float, direction: np.ndarray) -> float:
    """How far the ball's picture reaches in a direction, searched over points of its surface."""
    t, z = np.meshgrid(np.linspace(0, 2 * np.pi, 361), np.linspace(-1, 1, 361))
    ring = np.sqrt(1 - z**2)
    ball = centre + radius * np.stack([ring * np.cos(t), ring * np.sin(t), z], -1)
    return float((pixels(P, ball) @ direction).max())


@pytest.mark.parametrize("eye", [(-900.0, 150.0, 400.0), (-250.0, -120.0, 90.0), (-60.0, 5.0, 900.0)])
def test_ball_outline_holds_every_point_of_the_ball_and_no_more(eye: tuple[float, float, float]) -> None:
    P, centre = eye_projection(*eye), np.array([30.0, -40.0, 28.575])
    outline = ball_outline(P, centre, 28.575)
    assert outline.is_seen
    for angle in np.linspace(0, 2 * np.pi, 8):
        n = np.array([math.cos(angle), math.sin(angle)])
        reach = float(outline.centre_px @ n + np.linalg.norm(outline.axes_px.T @ n))
        assert furthest(P, centre, 28.575, n) == pytest.approx(reach, abs=0.02)


def test_a_ball_seen_from_above_is_its_own_circle() -> None:
    camera = PlanCamera(constant(100.0, 50.0, 0.7, math.log(2.5)))
    outline = ball_outline(camera.projection(RECT, 0), np.array([100.0, 50.0, 28.575]), 28.575)
    assert outline.is_seen
    np.testing.assert_allclose(outline.centre_px, [500.0, 340.0], atol=1e-9)
    np.testing.assert_allclose(np.linalg.norm(outline.axes_px, axis=0), 2.5 * 28.575, rtol=1e-9)


def test_a_ball_across_the_camera_plane_has_no_outline() -> None:
    P = eye_projection(-500.0, 0.0, 28.0)
    assert not ball_outline(P, np.array([-500.0, 20.0, 28.0]), 28.575).is_seen
    assert not ball_outline(P, np.array([-900.0, 0.0, 28.0]), 28.575).is_seen


def test_circle_outline_passes_through_projected_points_of_the_circle() -> None:
    P = eye_projection(-400.0, 90.0, 260.0)
    outline = circle_outline(P, np.array([20.0, 30.0, 0.0]), 60.0)
    assert outline.is_seen
    t = np.linspace(0, 2 * np.pi, 37)
    points = np.stack([20 + 60 * np.cos(t), 30 + 60 * np.sin(t), 0 * t], -1)
    inner = np.linalg.solve(outline.axes_px, (pixels(P, points) - outline.centre_px).T)
    np.testing.assert_allclose(np.linalg.norm(inner, axis=0), 1, atol=1e-9)


def test_drawn_ellipse_lies_on_the_outline_within_a_hundredth_of_a_pixel() -> None:
    curves = ellipse(np.zeros(2), 500 * np.eye(2))
    t = np.linspace(0, 1, 41)[:, None, None]
    p = [curves[None, :, i] for i in range(4)]
    on = (1 - t) ** 3 * p[0] + 3 * (1 - t) ** 2 * t * p[1] + 3 * (1 - t) * t**2 * p[2] + t**3 * p[3]
    assert np.abs(np.linalg.norm(on, axis=-1) - 500).max() < 0.01


@given(st.floats(-1500, 1500), st.floats(-1500, 1500), st.floats(-1500, 1500), st.floats(-1500, 1500))
def test_inside_is_where_the_segment_lies_within(ax: float, ay: float, bx: float, by: float) -> None:
    outline = ball_outline(eye_projection(-400.0, 90.0, 160.0), np.array([0.0, 0.0, 28.575]), 28.575)
    assert outline.is_seen
    a, b = np.array([ax, ay]), np.array([bx, by])
    span = outline.inside(a, b)
    inverse = np.linalg.inv(outline.axes_px)

    def level(t: float) -> float:
        return float(np.linalg.norm(inverse @ (a + t * (b - a) - outline.centre_px)))

    if span is None:
        lowest = (
            minimize_scalar(level, bounds=(0, 1), method="bounded").fun if not np.array_equal(a, b) else level(0)
        )
        assert lowest > 1 - 1e-3
    else:
        low, high = span
        assert level((low + high) / 2) < 1
        for t in (low, high):
            assert t in (0.0, 1.0) or level(t) == pytest.approx(1, abs=1e-6)
