"""`NAME.match.jpg`: the picture with the table's noses, sights and ball outlines drawn thinly over it."""

from __future__ import annotations

from math import pi

import numpy as np

from aimgeo.camera import project
from aimgeo.filmed import rim_px
from aimgeo.landmarks import noses
from aimgeo.vectors import Array
from lessons.footage.matched import Match
from lessons.footage.picture import Picture

QUALITY = 88
COLOURS = {
    "nose": (255, 230, 60),
    "found": (90, 255, 90),
    "computed": (255, 255, 255),
    "picked": (60, 200, 255),
    "wrong": (60, 60, 255),
}
"""Blue, green, red."""

SUBPIXEL = 4


def drawn(match: Match, picture: Picture) -> bytes:
    """The JPEG's bytes."""
    import cv2

    image = np.clip(np.round(picture), 0, 255).astype(np.uint8)
    thick = max(1, round(max(match.size_px) / 1600))
    camera = match.camera

    def line(px: Array, colour: tuple[int, int, int], is_closed: bool = False) -> None:
        # a line that leaves the lens's reach is drawn as far as it goes
        fine = np.isfinite(px).all(-1) & (np.abs(px) < 30_000).all(-1)
        for run in np.split(np.flatnonzero(fine), np.flatnonzero(np.diff(np.flatnonzero(fine)) > 1) + 1):
            if len(run) > 1:
                # OpenCV counts from the middle of a pixel
                points = np.round((px[run] - 0.5) * 2**SUBPIXEL).astype(np.int32).reshape(-1, 1, 2)
                cv2.polylines(
                    image, [points], is_closed and bool(fine.all()), colour, thick, cv2.LINE_AA, SUBPIXEL
                )

    measures = match.solved.problem.measures_mm(match.solved.x)
    for matrices in noses(80).values():
        line(project(camera, matrices @ measures), COLOURS["nose"])
    turn = np.linspace(0, 2 * pi, 40, endpoint=False)
    ring = np.stack([np.cos(turn), np.sin(turn)], -1)
    size = max(match.size_px) / 1920
    for name, point in match.points.items():
        if name.startswith("sight") or point.off_px is not None or point.kind == "found":
            line(point.at_px + 7 * size * ring, COLOURS[point.kind], is_closed=True)
        if point.off_px is not None:
            x, y = match.clicks.points[name]
            cross = 5 * size
            line(np.array([[x - cross, y], [x + cross, y]]), COLOURS[point.kind])
            line(np.array([[x, y - cross], [x, y + cross]]), COLOURS[point.kind])
    rim = np.linspace(0, 2 * pi, 120, endpoint=False)
    for ball in match.balls:
        line(
            rim_px(camera, ball.centre_mm, match.clicks.ball_diameter_mm / 2, rim),
            COLOURS["picked"],
            is_closed=True,
        )
    done, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    assert done
    return data.tobytes()
