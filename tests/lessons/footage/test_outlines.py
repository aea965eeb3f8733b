"""Balls' outlines: what is seen of them in part counts less than what is seen whole."""

from __future__ import annotations

import numpy as np

from aimgeo.camera import camera
from lessons.footage.balls import fine, outline_px, shades

RADIUS_MM = 28.575
SIZE = (320, 240)
AT = np.array([10.0, -5.0, RADIUS_MM])


def test_an_outline_that_is_seen_in_part_has_larger_errors() -> None:
    view = camera((-900, 0, 700), (0, 0, 0), np.radians(25), *SIZE)
    px, _ = outline_px(view, AT, RADIUS_MM, np.linspace(0, 2 * np.pi, 240, endpoint=False))
    middle, radius = px.mean(0), float(np.linalg.norm(px - px.mean(0), axis=-1).mean())
    ys, xs = (np.mgrid[0 : SIZE[1] * 4, 0 : SIZE[0] * 4] + 0.5) / 4
    errors, doubts = [], []
    for part in (2.0, 0.0):  # the whole ball; and one whose lower half has the cloth's colour
        ball = (np.hypot(xs - middle[0], ys - middle[1]) < radius) & (ys - middle[1] < part * radius)
        shade = np.where(ball, 200.0, 60.0).reshape(SIZE[1], 4, SIZE[0], 4).mean((1, 3))
        found = fine(shades(np.repeat(shade[..., None], 3, -1).astype(np.float32)), view, RADIUS_MM, AT, [])
        assert found is not None
        errors.append(float(found.rim.rest_errors[0]))
        doubts.append(found.rim.doubt)
    assert doubts[0] == 1.0
    assert doubts[1] > 1.5
    assert errors[1] > 1.5 * errors[0]
