"""The rendered plate: balls stand where an independent camera says, and what is nearer hides what is farther."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from aimgeo.camera import pixels
from aimgeo.shot import Shot, place_shot
from aimgeo.tables import TABLES, Table
from aimgeo.vectors import left
from scenes.board import EyeCamera, constant
from scenes.look.dusk import DUSK
from scenes.plate import BallBody, CueStick, PlatePainter

TABLE = TABLES["9ft"]
R = 28.575
OUTLINE_PX = 1.0
"""The most that a drawn outline may be off."""


def a_shot(cut_deg: float, distance_mm: float) -> Shot:
    return place_shot((500.0, 150.0), TABLE.pocket("foot-left").centre_mm, math.radians(cut_deg), distance_mm)


def look(shot: Shot, back_mm: float, offset_mm: float, height_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Eye and the point looked at."""
    eye = shot.cue_ball_mm[:2] - back_mm * shot.aim_direction + offset_mm * left(shot.aim_direction)
    middle = (shot.cue_ball_mm + shot.object_ball_mm) / 2
    return np.array([*eye, height_mm]), middle


def independent_pixels(
    eye: np.ndarray, at: np.ndarray, fov_rad: float, size: tuple[int, int], points: np.ndarray
) -> np.ndarray:
    """Pixels by OpenCV's projectPoints: camera x right, y down, z forward; its pixel centres are whole numbers."""
    forward = (at - eye) / np.linalg.norm(at - eye)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(forward, right), forward])
    focal = size[1] / 2 / math.tan(fov_rad / 2)
    K = np.array([[focal, 0, size[0] / 2 - 0.5], [0, focal, size[1] / 2 - 0.5], [0, 0, 1]])
    rvec, _ = cv2.Rodrigues(rotation)
    px, _ = cv2.projectPoints(points.reshape(-1, 1, 3), rvec, -rotation @ eye, K, None)
    return px.reshape(-1, 2) + 0.5


def contour(eye: np.ndarray, centre: np.ndarray, radius: float, count: int = 96) -> np.ndarray:
    """The circle in which the rays from the eye touch a sphere (elementary geometry)."""
    way = centre - eye
    far = np.linalg.norm(way)
    axis = way / far
    middle = centre - axis * radius**2 / far
    size = radius * math.sqrt(1 - (radius / far) ** 2)
    a = np.cross(axis, [0.0, 0.0, 1.0])
    a /= np.linalg.norm(a)
    b = np.cross(axis, a)
    t = np.linspace(0, 2 * np.pi, count, endpoint=False)[:, None]
    return middle + size * (np.cos(t) * a + np.sin(t) * b)


def edge_errors(picture: np.ndarray, px: np.ndarray) -> np.ndarray:
    """How far outside the given outline points the picture's edge lies, along the outline's normals, in px."""
    centre = px.mean(axis=0)
    tangent = np.roll(px, -1, 0) - np.roll(px, 1, 0)
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], -1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    normal *= np.sign(np.sum((px - centre) * normal, -1, keepdims=True))
    steps = np.linspace(-2.5, 2.5, 101)
    at = px[:, None] + steps[:, None] * normal[:, None] - 0.5
    colours = cv2.remap(
        picture[..., :3].astype(np.float32),
        at[..., 0].astype(np.float32),
        at[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    inner, outer = colours[:, 8], colours[:, -8]
    contrast = outer - inner
    part = np.sum((colours - inner[:, None]) * contrast[:, None], -1) / np.sum(contrast**2, -1)[:, None]
    return steps[np.argmax(part > 0.5, axis=1)]


SEEN = {
    "near": (22.0, 400.0, 600.0, 0.0, 300.0),
    "far": (22.0, 1400.0, 600.0, 0.0, 300.0),
    "eye to the left": (22.0, 640.0, 600.0, 32.0, 300.0),
    "eye to the right": (-15.0, 640.0, 600.0, -32.0, 300.0),
    "standing": (22.0, 640.0, 700.0, 0.0, 900.0),
}


@pytest.mark.parametrize("size", [(1920, 1080), (480, 270)], ids=["1080p", "small"])
@pytest.mark.parametrize("name", SEEN)
def test_balls_outlines_stand_where_opencv_projects_the_spheres_contour(name: str, size: tuple[int, int]) -> None:
    cut, distance, *stand = SEEN[name]
    shot = a_shot(cut, distance)
    eye, at = look(shot, *stand)
    fov = math.radians(40)
    camera = EyeCamera(constant(*eye, *at, fov))
    P = camera.projection((0, 0, *size), 0)
    balls = [
        BallBody(tuple(p), R, look) for p, look in ((shot.cue_ball_mm, "cue"), (shot.object_ball_mm, "object"))
    ]
    picture = PlatePainter(TABLE, *size, DUSK).paint(P, balls).copy()
    for ball in balls:
        rim = contour(eye, np.array(ball.centre_mm), R)
        px = independent_pixels(eye, at, fov, size, rim)
        assert np.abs(pixels(P, rim) - px).max() < 1e-3
        inside = (px > 3).all(-1) & (px < np.array(size) - 4).all(-1)
        assert inside.mean() > 0.6
        errors = edge_errors(picture, px)[inside]
        assert np.abs(errors).max() < OUTLINE_PX
        assert abs(np.median(errors)) < 0.4


def test_a_nearer_ball_hides_a_farther_one() -> None:
    shot = a_shot(0.0, 80.0)
    eye, at = look(shot, 500.0, 0.0, 60.0)
    P = EyeCamera(constant(*eye, *at, math.radians(30))).projection((0, 0, 640, 360), 0)
    cue, target = (
        BallBody(tuple(p), R, k) for p, k in ((shot.cue_ball_mm, "cue"), (shot.object_ball_mm, "object"))
    )
    painter = PlatePainter(TABLE, 640, 360, DUSK)
    for order in ([cue, target], [target, cue]):
        picture = painter.paint(P, order)
        x, y = pixels(P, shot.cue_ball_mm).astype(int)
        red, _, blue = picture[y, x, :3].astype(int)
        assert red - blue < 60, "the white ball stands in front"


def test_what_is_seen_through_a_ghost_ball_is_only_veiled() -> None:
    shot = a_shot(22.0, 640.0)
    eye, at = look(shot, 600.0, 0.0, 300.0)
    P = EyeCamera(constant(*eye, *at, math.radians(40))).projection((0, 0, 640, 360), 0)
    painter = PlatePainter(TABLE, 640, 360, DUSK)
    ghost = BallBody(tuple(shot.ghost_ball_mm), R, "ghost")
    x, y = pixels(P, shot.ghost_ball_mm + np.array([0.0, 0.0, 5.0])).astype(int)
    before = painter.paint(P, [])[y, x, :3].astype(float)
    after = painter.paint(P, [ghost])[y, x, :3].astype(float)
    assert after == pytest.approx(before + 0.13 * (255 - before), abs=4)


def test_the_pocket_is_a_hole_and_the_cushion_stands_before_it() -> None:
    """Straight above a corner the hole is dark, and no darker than the cloth a hand's breadth away from it."""
    x, y = TABLE.pocket("foot-left").centre_mm
    eye, at = np.array([x - 300.0, y - 300.0, 900.0]), np.array([x, y, 0.0])
    P = EyeCamera(constant(*eye, *at, math.radians(50))).projection((0, 0, 640, 480), 0)
    picture = PlatePainter(TABLE, 640, 480, DUSK).paint(P).astype(int)
    hole = pixels(P, np.array([x + 70.0, y + 70.0, -60.0])).astype(int)
    cloth = pixels(P, np.array([x - 200.0, y - 200.0, 0.0])).astype(int)
    assert picture[hole[1], hole[0], :3].sum() < 100 < picture[cloth[1], cloth[0], :3].sum()


def test_two_paintings_of_the_same_are_the_same() -> None:
    shot = a_shot(22.0, 640.0)
    eye, at = look(shot, 600.0, 0.0, 300.0)
    P = EyeCamera(constant(*eye, *at, math.radians(40))).projection((0, 0, 320, 180), 0)
    balls = [BallBody(tuple(shot.cue_ball_mm), R, "cue")]
    cue = CueStick(tuple(shot.cue_ball_mm - np.array([40.0, 0.0, 0.0])), (1.0, 0.0, -0.05))
    painter = PlatePainter(TABLE, 320, 180, DUSK)
    first = painter.paint(P, balls, cue).copy()
    painter.paint(P, [replace(balls[0], look="object")])
    assert np.array_equal(first, painter.paint(P, balls, cue))


@pytest.mark.parametrize("table", [TABLE, None])
def test_painting_on_is_the_same_as_painting_afresh(table: Table | None) -> None:
    """Only what moved is painted again; every byte is as if all had been."""
    shot = a_shot(22.0, 640.0)
    eye, at = look(shot, 600.0, 0.0, 300.0)
    P = EyeCamera(constant(*eye, *at, math.radians(40))).projection((0, 0, 322, 181), 0)
    choose = np.random.default_rng(11)

    def near(point: np.ndarray) -> tuple[float, float, float]:
        x, y, z = point + np.append(choose.normal(0, 90, 2), 0.0)
        return float(x), float(y), float(z)

    painter, balls = PlatePainter(table, 322, 181, DUSK), [BallBody(near(shot.object_ball_mm), R, "object")]
    for k in range(40):
        if k % 3 == 0:
            balls = balls[: choose.integers(1, 4)]
        where = (shot.cue_ball_mm, shot.ghost_ball_mm, eye, eye * [0.5, 0.5, 1.0])[choose.integers(0, 4)]
        look_of = ("cue", "object", "ghost", "other")[choose.integers(0, 4)]
        balls = [*balls, BallBody(near(where), R, look_of, float(choose.random()))]
        tip = near(shot.cue_ball_mm - np.array([200.0, 0.0, 0.0]))
        cue = CueStick(tip, (1.0, 0.2, -0.05)) if k % 4 in (1, 2) else None
        assert np.array_equal(
            painter.paint(P, balls, cue), PlatePainter(table, 322, 181, DUSK).paint(P, balls, cue)
        ), k


def test_every_pixel_is_opaque() -> None:
    shot = a_shot(22.0, 640.0)
    eye, at = look(shot, 600.0, 0.0, 300.0)
    P = EyeCamera(constant(*eye, *at, math.radians(40))).projection((0, 0, 320, 180), 0)
    balls = [BallBody(tuple(shot.cue_ball_mm), R, "cue"), BallBody(tuple(shot.ghost_ball_mm), R, "ghost")]
    assert (PlatePainter(TABLE, 320, 180, DUSK).paint(P, balls)[..., 3] == 255).all()


def test_without_opengl_the_message_names_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    from scenes.plate import NoOpenGLError, painter

    def none(**_: object) -> None:
        raise RuntimeError("no display")

    monkeypatch.setattr("scenes.plate.painter.moderngl.create_context", none)
    with pytest.raises(NoOpenGLError, match=r"libegl1 libgl1-mesa-dri"):
        painter._context.__wrapped__()  # the one already open stays
