"""Balls' outlines: what is seen of them in part counts less than what is seen whole."""

from __future__ import annotations

import cv2
import numpy as np

from aimgeo.camera import Camera, camera
from lessons.footage.balls import fine, outline_px, shades
from lessons.footage.picture import Picture

RADIUS_MM = 28.575
SIZE = (320, 240)
AT = np.array([10.0, -5.0, RADIUS_MM])
VIEW = camera((-900, 0, 700), (0, 0, 0), np.radians(25), *SIZE)


def test_an_outline_that_is_seen_in_part_has_larger_errors() -> None:
    errors, doubts = [], []
    for part in (2.0, 0.0):  # the whole ball; and one whose lower half has the cloth's colour
        found = fine(shades(_picture(VIEW, part)), VIEW, RADIUS_MM, AT, [])
        assert found is not None
        errors.append(float(found.rim.rest_errors[0]))
        doubts.append(found.rim.doubt)
    assert doubts[0] == 1.0
    assert doubts[1] > 1.5
    assert errors[1] > 1.5 * errors[0]


def test_a_ball_whose_edge_is_soft_is_found_from_farther_off_with_larger_errors() -> None:
    errors = []
    for blur_px in (0.5, 2.0):
        picture = cv2.GaussianBlur(_picture(VIEW), (0, 0), blur_px)
        found = fine(shades(picture.astype(np.float32)), VIEW, RADIUS_MM, AT + np.array([2.0, 1.0, 0.0]), [])
        assert found is not None
        assert found.seen > 0.9
        assert np.hypot(*(found.centre_mm - AT)[:2]) < 1.0
        errors.append(float(np.median(found.rim.error_px)))
    assert errors[1] > errors[0]


def _picture(view: Camera, part: float = 2.0) -> Picture:
    """A grey ball on darker cloth, down to so many radii below its middle."""
    px, _ = outline_px(view, AT, RADIUS_MM, np.linspace(0, 2 * np.pi, 240, endpoint=False))
    middle, radius = px.mean(0), float(np.linalg.norm(px - px.mean(0), axis=-1).mean())
    ys, xs = (np.mgrid[0 : SIZE[1] * 4, 0 : SIZE[0] * 4] + 0.5) / 4
    ball = (np.hypot(xs - middle[0], ys - middle[1]) < radius) & (ys - middle[1] < part * radius)
    shade = np.where(ball, 200.0, 60.0).reshape(SIZE[1], 4, SIZE[0], 4).mean((1, 3))
    return np.repeat(shade[..., None], 3, -1).astype(np.float32)
