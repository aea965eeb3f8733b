"""Answers against published numbers (tests/authorities), general libraries and independent numerics."""

from __future__ import annotations

import math
import re
from typing import Any

import cv2
import numpy as np
import pytest
import shapely
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import binomtest
from shapely import affinity

from aimgeo.after import deflection_rad, tangent_direction
from aimgeo.asking.solve import answer
from aimgeo.camera import Camera, Lens, ball_outline, camera, pixels, project
from aimgeo.eye import PUPIL_DISTANCE_MM
from aimgeo.hidden import horizon
from aimgeo.misses import needed_of, p_value
from aimgeo.tables import TABLES
from aimgeo.throw import friction, throw_rad
from tests.authorities import aiming, collisions, equipment, eyes
from tests.authorities.overlaps import CUT_DEG_BY_OVERLAP, LAST_DIGIT_DEG

BASE: dict[str, Any] = {"object_ball_mm": [0, 0], "target_mm": [1000, 0], "cut_deg": 30, "side": "left",
                        "distance_mm": 400, "table": None}  # fmt: skip


def test_the_classic_overlap_table() -> None:
    for overlap, cut in CUT_DEG_BY_OVERLAP.items():
        (got,) = answer([{**BASE, "cut_deg": math.degrees(math.asin(1 - float(overlap)))}])
        assert got["shot"]["overlap"] == pytest.approx(float(overlap), abs=1e-12)
        assert got["shot"]["cut_deg"] == pytest.approx(cut, abs=LAST_DIGIT_DEG * 1.0001)


# ------------------------------------------------------------------ after the hit


def test_natural_roll_turns_a_half_ball_hit_by_the_published_angle() -> None:
    (got,) = answer([{**BASE, "cue_ball_roll": 1}])
    turn = got["after"]["cue_ball_deflection_deg"]
    assert turn == pytest.approx(collisions.NATURAL_ROLL_HALF_BALL_DEG, abs=collisions.NATURAL_ROLL_LAST_DIGIT_DEG)


def test_natural_roll_turns_most_at_the_published_cut() -> None:
    best = minimize_scalar(lambda c: -float(deflection_rad(c, 1.0)), bounds=(0.1, 1.4), method="bounded",
                           options={"xatol": 1e-9})  # fmt: skip
    assert math.sin(best.x) ** 2 == pytest.approx(collisions.NATURAL_ROLL_MAXIMUM_SIN2, abs=1e-6)


@pytest.mark.parametrize("cut", [5.0, 30.0, 60.0, 85.0])
def test_a_stunned_ball_leaves_at_a_right_angle_to_the_object_ball(cut: float) -> None:
    (got,) = answer([{**BASE, "cut_deg": cut, "speed_mps": 2}])
    u, tangent = got["shot"]["object_direction"], got["after"]["tangent_direction"]
    assert got["after"]["cue_ball_deflection_deg"] == pytest.approx(collisions.RIGHT_ANGLE_DEG - cut, abs=1e-9)
    assert np.dot(u, tangent) == pytest.approx(0, abs=1e-12)
    assert np.allclose(got["after"]["cue_ball_direction"], tangent, atol=1e-12)
    assert np.dot(tangent, got["shot"]["aim_direction"]) > 0


def test_a_straight_stun_stops_and_a_straight_roll_follows() -> None:
    stun, roll = answer([{**BASE, "cut_deg": 0, "cue_ball_roll": r} for r in (0, 1)])
    assert stun["after"] == {
        "cue_ball_deflection_deg": None,
        "tangent_direction": None,
        "cue_ball_direction": None,
    }
    assert roll["after"]["cue_ball_deflection_deg"] == 0
    assert roll["after"]["tangent_direction"] is None
    assert np.isnan(tangent_direction([1.0, 0.0], 0.0)).all()


def settle(velocity: np.ndarray, spin: np.ndarray, mu: float = 0.2, radius: float = 0.028575) -> np.ndarray:
    """Final velocity of a ball sliding on cloth, stepped in time with Coulomb friction: no closed form."""

    def slip(v: np.ndarray, w: np.ndarray) -> np.ndarray:
        # contact point at -R z: v + w x (-R z)
        return v + np.array([-w[1] * radius, w[0] * radius])

    def change(_: float, y: np.ndarray) -> np.ndarray:
        s = slip(y[:2], y[2:])
        size = np.hypot(*s)
        force = -mu * 9.81 * s / max(size, 1e-12)
        # torque (-R z) x F over 2/5 m R^2
        return np.array([*force, *(np.array([force[1], -force[0]]) * radius * 5 / (2 * radius**2))])

    def stopped(_: float, y: np.ndarray) -> float:
        return float(np.hypot(*slip(y[:2], y[2:])) - 1e-6)

    stopped.terminal = True  # type: ignore[attr-defined]
    path = solve_ivp(change, (0, 10), [*velocity, *spin], events=stopped, rtol=1e-9, atol=1e-12, max_step=0.01)
    return np.asarray(path.y[:2, -1])


@pytest.mark.parametrize("roll", [0.0, 0.4, 1.0])
@pytest.mark.parametrize("cut", [10.0, 45.0, 75.0])
def test_the_deflection_against_a_ball_stepped_over_the_cloth(cut: float, roll: float) -> None:
    c, V, R = math.radians(cut), 2.0, 0.028575
    u = np.array([math.cos(c), math.sin(c)])
    left_over = np.array([V, 0.0]) - V * math.cos(c) * u
    # rolling along +x spins about +y
    final = settle(left_over, np.array([0.0, roll * V / R]))
    turn = abs(math.degrees(math.atan2(final[1], final[0])))
    assert turn == pytest.approx(math.degrees(float(deflection_rad(c, roll))), abs=1e-2)


def test_a_ball_that_slides_without_spin_keeps_the_published_part_of_its_speed() -> None:
    assert settle(np.array([1.0, 0.0]), np.zeros(2))[0] == pytest.approx(collisions.CORIOLIS_PART, abs=1e-5)


# ------------------------------------------------------------------ throw


def test_friction_is_the_published_fit() -> None:
    a, b, c = collisions.FRICTION_FIT
    for v in (0.0, 0.3, 1.0, 5.0):
        assert float(friction(v)) == pytest.approx(a + b * math.exp(-c * v), rel=1e-15)


@pytest.mark.parametrize(("speed", "most"), collisions.THROW_MAXIMA_DEG.items())
def test_the_largest_throw_of_a_stun_hit(speed: float, most: float) -> None:
    c = np.radians(np.linspace(0, 89.9, 9000))
    assert np.degrees(throw_rad(c, speed)).max() == pytest.approx(most, abs=collisions.THROW_LAST_DIGIT_DEG)


def test_an_inch_a_foot_lies_between_a_slow_and_a_medium_stun() -> None:
    assert math.degrees(math.atan(1 / 12)) == pytest.approx(collisions.INCH_A_FOOT_DEG, abs=0.05)
    c = np.radians(np.linspace(0, 89.9, 9000))
    slow, medium = (np.degrees(throw_rad(c, v)).max() for v in (0.45, 1.0))
    assert medium < collisions.INCH_A_FOOT_DEG < slow


def impact(cut: float, V: float, roll: float) -> float:
    """Throw from a collision stepped through in time: a stiff spring along the normal, Coulomb friction at the
    touching points with the coefficient of the first slip, both balls spun by it. No impulse formula."""
    R, m = 0.028575, 0.17
    inertia = 0.4 * m * R * R
    n = np.array([math.cos(cut), math.sin(cut), 0.0])
    v0 = np.array([V, 0.0, 0.0])
    w0 = np.array([0.0, roll * V / R, 0.0])

    def slip(v1: np.ndarray, w1: np.ndarray, v2: np.ndarray, w2: np.ndarray) -> np.ndarray:
        s = v1 + np.cross(w1, R * n) - v2 - np.cross(w2, -R * n)
        return s - np.dot(s, n) * n

    mu = float(friction(np.linalg.norm(slip(v0, w0, np.zeros(3), np.zeros(3)))))
    stiffness = 4e8

    def change(_: float, y: np.ndarray) -> np.ndarray:
        press, v1, w1, v2, w2 = y[0], y[1:4], y[4:7], y[7:10], y[10:13]
        normal = stiffness * max(press, 0.0)
        s = slip(v1, w1, v2, w2)
        size = np.linalg.norm(s)
        # friction of full size while there is slip, smoothed below a hair of it
        F = -normal * n - mu * normal * s / max(size, 1e-5)
        rub = F + normal * n
        return np.concatenate([[np.dot(v1 - v2, n)], F / m, np.cross(R * n, rub) / inertia, -F / m,
                               np.cross(-R * n, -rub) / inertia])  # fmt: skip

    def parted(_: float, y: np.ndarray) -> float:
        return float(y[0] + 1e-12)

    parted.terminal = True  # type: ignore[attr-defined]
    parted.direction = -1  # type: ignore[attr-defined]
    y0 = np.concatenate([[0.0], v0, w0, np.zeros(6)])
    path = solve_ivp(change, (0, 1e-2), y0, events=parted, method="LSODA", rtol=1e-9, atol=1e-13)
    out = path.y[7:10, -1]
    return float(cut - math.atan2(out[1], out[0]))


@pytest.mark.parametrize(("cut", "speed", "roll"), [(10, 1.0, 0.0), (30, 1.0, 0.0), (50, 3.0, 0.0), (30, 2.0, 1.0),
                                                    (15, 0.5, 0.3), (70, 1.0, 0.6)])  # fmt: skip
def test_throw_against_a_collision_stepped_in_time(cut: float, speed: float, roll: float) -> None:
    c = math.radians(cut)
    assert impact(c, speed, roll) == pytest.approx(float(throw_rad(c, speed, roll)), abs=math.radians(0.01))


def test_the_needed_aim_and_the_shift_agree_with_the_needed_cut() -> None:
    for side in ("left", "right"):
        (got,) = answer([{**BASE, "side": side, "speed_mps": 1.0}])
        t, shot = got["throw"], got["shot"]
        assert t["cut_needed_deg"] - 30 == pytest.approx(
            math.degrees(float(throw_rad(math.radians(t["cut_needed_deg"]), 1.0))), abs=1e-9
        )
        # the parallel shift brings the cue ball to the needed ghost ball, with just the needed cut
        (shifted,) = answer([{**BASE, "side": side, "aim_error": {"parallel_mm": t["cue_shift_mm"]}}])
        sign = 1 if side == "left" else -1
        assert shifted["aim_error"]["cut_deg"] == pytest.approx(sign * t["cut_needed_deg"], abs=1e-9)
        assert math.dist(t["ghost_ball_needed_mm"], shot["object_ball_mm"]) == pytest.approx(57.15, abs=1e-9)
        a = np.subtract(t["ghost_ball_needed_mm"], shot["cue_ball_mm"])[:2]
        assert np.allclose(a / np.linalg.norm(a), t["aim_direction_needed"], atol=1e-12)
        assert t["low_deg"] < t["throw_deg"] < t["high_deg"]


@pytest.mark.parametrize(("distance", "most"), [(100, 0.73), (150, 0.34), (300, 0.14), (800, 0.05)])
def test_the_needed_aim_from_the_unmoved_cue_ball_errs_by_what_the_docs_say(distance: float, most: float) -> None:
    """The ball is rolled along it and thrown by the cut that this makes (docs/geometry.md, The cut needed)."""
    errors = []
    for cut in range(10, 65, 5):
        (got,) = answer([{**BASE, "cut_deg": cut, "distance_mm": distance, "speed_mps": 1.0}])
        x, y = got["throw"]["aim_direction_needed"]
        rolled = {"object_ball_mm": [0, 0], "cue_ball_mm": got["shot"]["cue_ball_mm"][:2], "table": None}
        (sent,) = answer([{**rolled, "aim_deg": math.degrees(math.atan2(y, x)), "speed_mps": 1.0}])
        away = sent["shot"]["object_direction"]
        errors.append(math.degrees(math.atan2(away[1], away[0])) - sent["throw"]["throw_deg"])
    assert most - 0.02 < max(abs(error) for error in errors) <= most


# ------------------------------------------------------------------ aiming


@pytest.mark.parametrize(("back", "height", "distance", "thick"), aiming.DOUBLED_BY_EYE_DEG)
def test_doubling_by_eye_is_thick_by_the_known_amounts(
    back: float | None, height: float | None, distance: float, thick: float
) -> None:
    eye = {} if back is None else {"eye": {"back_mm": back, "offset_mm": 0, "height_mm": height}}
    (got,) = answer([{**BASE, "distance_mm": distance, **eye}])
    assert -got["eye"]["doubled_offset"]["object_error_deg"] == pytest.approx(thick, abs=0.005)
    if back is not None:
        miss = got["eye"]["doubled_offset"]["miss_mm"]
        assert -miss == pytest.approx(aiming.DOUBLED_MISS_AT_1_M_MM, abs=0.5)
        far, less = aiming.DOUBLED_FAR_DEG
        (got,) = answer([{**BASE, "distance_mm": far, **eye}])
        assert -got["eye"]["doubled_offset"]["object_error_deg"] == pytest.approx(less, abs=0.01)


def test_discs_that_just_touch_never_cover_less_than_nothing() -> None:
    """Seen along the plane that touches both balls the discs meet in a point: 0, whatever rounding."""
    rng = np.random.default_rng(5)
    eyes = [[-57.15 / 2, y, 57.15 / 2] for y in (rng.uniform(100, 900, 400) * rng.choice([-1, 1], 400)).tolist()]
    asked = [{**BASE, "cut_deg": 75, "distance_mm": 300, "camera": {"eye_mm": eye}} for eye in eyes]
    overlaps = np.array([got["eye"]["apparent"]["ghost_overlap"] for got in answer(asked) if "eye" in got])
    assert overlaps.size > 100
    assert 0 <= overlaps.min() <= overlaps.max() < 1e-9


def test_the_aim_line_crosses_the_visible_disc_at_twice_the_sine() -> None:
    for back in (400, 1500):
        for distance in (300, 2000):
            for cut in (5, 14.5, 30, 45):
                eye = {"back_mm": back, "offset_mm": 0, "height_mm": 300}
                (got,) = answer([{**BASE, "cut_deg": cut, "distance_mm": distance, "eye": eye}])
                place = got["eye"]["apparent"]["aim_place"]
                assert -place == pytest.approx(
                    2 * math.sin(math.radians(cut)), abs=2 * aiming.AIM_LINE_ON_DISC_SLACK
                )


def test_a_millimetre_at_the_ghost_ball_turns_the_object_ball_by_a_degree() -> None:
    for distance in (200, 800, 2000):
        (got,) = answer([{**BASE, "distance_mm": distance, "aim_error": {"at_ghost_mm": 1}}])
        want = aiming.OBJECT_TURN_DEG_PER_MM / math.cos(math.radians(30))
        assert abs(got["aim_error"]["object_error_deg"]) == pytest.approx(want, rel=0.02)


def test_an_eye_off_the_line_moves_the_aim_by_the_known_amount() -> None:
    offset, back, turn = aiming.PLANE_READING_DEG
    (got,) = answer([{**BASE, "eye": {"back_mm": back, "offset_mm": offset, "height_mm": 300}}])
    assert abs(got["eye"]["sighting"]["plane"]["aim_error_deg"]) == pytest.approx(turn, abs=0.005)
    assert abs(got["eye"]["sighting"]["surface"]["aim_error_deg"]) < turn / 10


def test_the_cue_balls_contact_point_is_never_seen_from_behind_the_cue_ball() -> None:
    asked = [{**BASE, "cut_deg": c, "distance_mm": D, "eye": {"back_mm": b, "offset_mm": 0, "height_mm": h}}
             for c in (1, 20, 60) for D in (100, 1500) for b in (100, 900) for h in (100, 600)]  # fmt: skip
    assert not any(got["eye"]["visible"]["contact_cue"] for got in answer(asked))


def test_the_alignments_are_the_named_offsets() -> None:
    for side, sign in (("left", 1), ("right", -1)):
        for name, offset in (("aim_line", 0.0), ("contact_line", sign * 57.15 / 4), ("cue_edge_left", 57.15 / 2),
                             ("cue_edge_right", -57.15 / 2)):  # fmt: skip
            named, given = answer([{**BASE, "side": side, "eye": {"back_mm": 500, "height_mm": 300, **more}}
                                   for more in ({"alignment": name}, {"offset_mm": offset})])  # fmt: skip
            assert np.allclose(named["eye"]["eye_mm"], given["eye"]["eye_mm"], atol=1e-9)


def test_the_pupils_stand_the_published_distance_apart() -> None:
    assert PUPIL_DISTANCE_MM == eyes.PUPIL_DISTANCE_MM
    low, high = eyes.PUPIL_DISTANCE_RANGE_MM
    assert low < PUPIL_DISTANCE_MM < high


# ------------------------------------------------------------------ pictures, against OpenCV

EYE, LOOK, FOV, SIZE = np.array([-700.0, 120.0, 380.0]), np.array([150.0, -40.0, 10.0]), 0.7, (1920, 1080)


def opencv_pixels(points: np.ndarray) -> np.ndarray:
    """The same pinhole, built from OpenCV's conventions: rotation from the axes, translation, camera matrix."""
    forward = (LOOK - EYE) / np.linalg.norm(LOOK - EYE)
    right = np.cross(forward, [0, 0, 1])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(forward, right), forward])
    f = SIZE[1] / 2 / math.tan(FOV / 2)
    K = np.array([[f, 0, SIZE[0] / 2], [0, f, SIZE[1] / 2], [0, 0, 1]])
    return np.asarray(cv2.projectPoints(points, cv2.Rodrigues(rotation)[0], -rotation @ EYE, K, None)[0][:, 0])


def test_pixels_are_those_of_opencv() -> None:
    view = camera(EYE, LOOK, FOV, *SIZE)
    points = np.random.default_rng(1).uniform([-400, -300, 0], [900, 300, 200], (50, 3))
    assert np.allclose(project(view, points), opencv_pixels(points), atol=1e-6)
    uvw = np.concatenate([points, np.ones((50, 1))], axis=1) @ view.matrix().T
    assert np.allclose(uvw[:, :2] / uvw[:, 2:], project(view, points), atol=1e-9)


def test_any_pose_principal_point_and_lens_give_the_pixels_of_opencv() -> None:
    """A camera as one is solved from a photograph: rolled, off-centre, with a wide lens' barrel."""
    rng = np.random.default_rng(2)
    points = rng.uniform([-400, -300, 0], [900, 300, 200], (50, 3))
    rotation = camera(EYE, LOOK, FOV, *SIZE).axes
    rolled = cv2.Rodrigues(np.array([0.02, -0.05, 0.3]))[0] @ rotation
    f, (cx, cy), lens = 1234.5, (1011.0, 477.5), Lens(-0.21, 0.043)
    K, coefficients = np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]]), np.array([lens.k1, lens.k2, 0.0, 0.0])
    want = cv2.projectPoints(points, cv2.Rodrigues(rolled)[0], -rolled @ EYE, K, coefficients)[0][:, 0]
    view = Camera(EYE, rolled, np.array(f), np.array([cx, cy]), np.array(SIZE), lens)
    assert np.allclose(project(view, points), want, atol=1e-6)
    assert np.abs(project(view, points) - pixels(view.matrix(), points)).max() > 1  # the lens does bend


def test_many_cameras_at_once_see_what_each_sees_alone() -> None:
    eyes = EYE + np.array([[0.0, 0, 0], [50, 20, -30], [900, 0, 90]])
    points = np.random.default_rng(3).uniform([-400, -300, 28], [900, 300, 28], (7, 3))
    views = camera(eyes, LOOK, FOV, *SIZE)
    together, rims = project(views, points), ball_outline(views.matrix(), points, 28.575)
    for n, eye in enumerate(eyes):
        view = camera(eye, LOOK, FOV, *SIZE)
        assert np.allclose(together[n], project(view, points), equal_nan=True)
        rim = ball_outline(view.matrix(), points, 28.575)
        assert np.allclose(rims.axes_px[n], rim.axes_px, equal_nan=True)
        assert np.allclose(rims.centre_px[n], rim.centre_px, equal_nan=True)


@pytest.mark.parametrize("centre", [[0.0, 0.0, 28.575], [300.0, 250.0, 28.575], [-450.0, 60.0, 28.575]])
def test_the_outline_is_the_ellipse_that_opencv_fits_to_the_horizon(centre: list[float]) -> None:
    R = 28.575
    ring, radius, axis = horizon(EYE, centre, R)
    one = np.cross(axis, [0.3, 0.5, 0.8])
    one /= np.linalg.norm(one)
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)[:, None]
    points = ring + radius * (np.cos(t) * one + np.sin(t) * np.cross(axis, one))
    # the horizon lies on the ball, and the lines of sight touch there
    assert np.allclose(np.linalg.norm(points - centre, axis=1), R, atol=1e-9)
    assert np.allclose(np.sum((points - centre) * (points - EYE), axis=1), 0, atol=1e-6)
    (x, y), (small, large), turn = cv2.fitEllipse(opencv_pixels(points).astype(np.float32))
    got = ball_outline(camera(EYE, LOOK, FOV, *SIZE).matrix(), [centre], R)
    assert np.allclose(got.centre_px[0], (x, y), atol=2e-3)
    assert float(got.semi_major_px[0]) == pytest.approx(max(small, large) / 2, abs=2e-3)
    assert float(got.semi_minor_px[0]) == pytest.approx(min(small, large) / 2, abs=2e-3)
    lies = math.radians(turn + (90 if large > small else 0))
    assert abs(math.sin(lies - float(got.rotation_rad[0]))) < 2e-2


def test_looking_straight_down_the_aim_is_up_in_the_picture() -> None:
    camera = {"eye_mm": [0, 0, 900], "look_at": "object_ball", "vertical_fov_deg": 50}
    asked = {**BASE, "camera": {**camera, "width_px": 800, "height_px": 600}}
    (got,) = answer([asked])
    pixels = got["eye"]["pixels"]
    assert pixels["object_ball"] == pytest.approx([400, 300])
    assert pixels["ghost_ball"][0] - pixels["cue_ball"][0] == pytest.approx(0, abs=1e-9)
    assert pixels["ghost_ball"][1] < pixels["cue_ball"][1]
    # the object ball goes to the left of the aim
    assert pixels["target"][0] < 400
    ellipse = got["eye"]["silhouettes"]["object_ball"]
    assert ellipse["semi_major_px"] == pytest.approx(ellipse["semi_minor_px"])
    assert ellipse["rotation_deg"] == 0


def test_behind_the_camera_there_is_no_picture() -> None:
    asked = {**BASE, "camera": {"eye_mm": [-200, 0, 60], "look_at": [500, 0, 28.575], "vertical_fov_deg": 50,
                                "width_px": 800, "height_px": 600}}  # fmt: skip
    (got,) = answer([asked])
    assert got["eye"]["pixels"]["cue_ball"] is None
    assert got["eye"]["silhouettes"]["cue_ball"] is None
    assert got["eye"]["pixels"]["object_ball"] is not None
    # a ball across the camera's plane has a pixel, perhaps, but no ellipse
    (got,) = answer(
        [{**asked, "camera": {**asked["camera"], "eye_mm": [-10, 40, 28.575], "look_at": [500, 40, 28.575]}}]
    )
    assert got["eye"]["silhouettes"]["object_ball"] is None


# ------------------------------------------------------------------ pockets, against shapely


def clean_by_shapely(O: np.ndarray, bearing: float, towards: float, tips: list[Any], R: float) -> bool:
    """A path is clean when the strip that the ball sweeps meets the mouth between the tips and touches neither."""
    path = affinity.rotate(
        shapely.LineString([O, O + np.array([4000.0, 0.0])]), math.degrees(towards + bearing), origin=tuple(O)
    )
    swept = path.buffer(R, cap_style="flat", quad_segs=64)
    return bool(path.intersects(shapely.LineString(tips))) and not any(
        swept.intersects(shapely.Point(t)) for t in tips
    )


@pytest.mark.parametrize("pocket", ["foot-left", "side-right", "head-right"])
def test_the_window_against_shapely(pocket: str) -> None:
    mouth = TABLES["9ft"].pocket(pocket)
    rng = np.random.default_rng(3)
    tips = [np.array(t) for t in mouth.points_mm]
    for O in rng.uniform([-1200, -600], [1200, 600], (40, 2)):
        to = np.array(mouth.centre_mm) - O
        C = O - 100 * to / np.linalg.norm(to)
        asked = {"object_ball_mm": O.tolist(), "target_mm": pocket, "cue_ball_mm": C.tolist()}
        (got,) = answer([asked])
        if "error" in got:
            continue
        w = got["pocket"]
        towards = math.atan2(to[1], to[0])
        R = 28.575
        if not w["clean"]:
            assert (w["low_deg"], w["high_deg"], w["window_deg"], w["aim_window_deg"]) == (None, None, 0, 0)
            scan = np.linspace(-0.3, 0.3, 241)
            assert not any(clean_by_shapely(O, b, towards, tips, R) for b in scan)
            continue
        low, high = math.radians(w["low_deg"]), math.radians(w["high_deg"])
        hair = min(1e-6, (high - low) / 4)
        assert clean_by_shapely(O, low + hair, towards, tips, R)
        assert clean_by_shapely(O, high - hair, towards, tips, R)
        assert not clean_by_shapely(O, low - hair, towards, tips, R)
        assert not clean_by_shapely(O, high + hair, towards, tips, R)
        # the edges touch the tips
        for edge in (low, high):
            line = shapely.LineString(
                [O, O + 4000 * np.array([math.cos(towards + edge), math.sin(towards + edge)])]
            )
            assert min(line.distance(shapely.Point(t)) for t in tips) == pytest.approx(R, abs=1e-6)


@pytest.mark.parametrize("cut", [3.0, 35.0, 70.0, 88.5])
def test_the_aim_window_is_what_the_rolled_ball_says(cut: float) -> None:
    asked = {**BASE, "cut_deg": cut, "pocket": {"mouth_mm": 120, "approach_deg": 20}}
    (got,) = answer([asked])
    w = got["pocket"]

    def bearing(turn: float) -> float:
        (one,) = answer([{**asked, "aim_error": {"rotate_deg": turn}}])
        error = one["aim_error"]["object_error_deg"]
        return 90.0 if error is None else float(error)

    # turning the aim left turns the object ball right, up to where the cue ball passes it
    most = float(np.degrees(np.arcsin(57.15 / 400)) + 1e-9)
    centre = math.degrees(math.atan2(57.15 * math.sin(math.radians(cut)), got["shot"]["travel_mm"]
                                     + 57.15 * math.cos(math.radians(cut))))  # fmt: skip
    first = centre - most + 2e-9
    right = brentq(lambda t: bearing(t) - w["low_deg"], 0, most, xtol=1e-13)
    left = (
        first
        if bearing(first) < w["high_deg"]
        else brentq(lambda t: bearing(t) - w["high_deg"], first, 0, xtol=1e-13)
    )
    assert w["aim_window_deg"] == pytest.approx(right - left, abs=1e-7)


def test_a_ball_near_a_rail_is_offered_the_nearest_direction_that_it_can_take() -> None:
    # a millimetre off the rail the mouth's centre needs a ghost ball inside the cushion
    asked = {"object_ball_mm": [900, 605.425], "target_mm": "foot-left", "cue_ball_mm": [-900, 590]}
    (got,) = answer([asked])
    assert (got["error"]["code"], got["error"]["field"]) == ("off_bed", "target_mm")
    target = [float(v) for v in re.findall(r"target_mm \[(.*), (.*)\]", got["error"]["message"])[0]]
    # asked for as the target, it is a shot, its ghost ball all but touches the cushion, and the pocket takes it
    (again,) = answer([{**asked, "target_mm": target}])
    assert 606.425 - 0.1 < again["shot"]["ghost_ball_mm"][1] <= 606.425
    mouth = TABLES["9ft"].pocket("foot-left")
    tips = [np.array(t) for t in mouth.points_mm]
    u = again["shot"]["object_direction"]
    assert clean_by_shapely(np.array([900, 605.425]), 0.0, math.atan2(u[1], u[0]), tips, 28.575)
    # right on the rail every clean way leads off it, and no ghost ball fits
    (got,) = answer([{**asked, "object_ball_mm": [900, 606.425]}])
    assert "no direction" in got["error"]["message"]


def test_the_playable_direction_beside_the_mouths_centre() -> None:
    free, steep, none = answer([
        {"object_ball_mm": [200, 100], "target_mm": "foot-left", "cue_ball_mm": [-300, 50]},
        {"object_ball_mm": [-250, 480], "target_mm": "side-left", "cue_ball_mm": [-600, 200]},
        {"object_ball_mm": [-500, 560], "target_mm": "side-left", "cue_ball_mm": [-900, 500]},
    ])  # fmt: skip
    assert free["pocket"]["playable_deg"] == 0
    assert free["pocket"]["playable_target_mm"] == pytest.approx(free["shot"]["target_mm"][:2])
    w = steep["pocket"]
    assert w["clean"]
    assert w["low_deg"] < w["playable_deg"] < w["high_deg"]
    assert none["pocket"]["clean"] is False
    assert none["pocket"]["playable_target_mm"] is None


def test_the_default_mouths_are_within_the_specification() -> None:
    corner, side = answer([{**BASE, "target_mm": name, "table": "9ft", "distance_mm": 300, "cut_deg": 10}
                           for name in ("foot-left", "side-left")])  # fmt: skip
    assert corner["pocket"]["clean"]
    assert side["pocket"]["clean"]
    low, high = (v * equipment.INCH_MM for v in equipment.CORNER_MOUTH_IN)
    assert low <= TABLES["9ft"].corner_mouth_mm <= high
    low, high = (v * equipment.INCH_MM for v in equipment.SIDE_MOUTH_IN)
    assert low <= TABLES["9ft"].side_mouth_mm <= high


def test_a_wider_mouth_moves_a_corners_centre() -> None:
    (got,) = answer([{**BASE, "table": "9ft", "target_mm": "foot-left", "pocket": {"mouth_mm": 130}}])
    k = 130 / math.sqrt(2) / 2
    assert got["shot"]["target_mm"][:2] == pytest.approx([1270 - k, 635 - k], abs=1e-9)


# ------------------------------------------------------------------ chance, and balls in the way


@pytest.mark.parametrize("total", [0, 1, 2, 5, 6, 17, 40, 333, 2001, 5000])
def test_lopsided_misses_against_scipy(total: int) -> None:
    if total == 0:
        assert p_value(0, 0) == 1
        assert needed_of(0) is None
        return
    for larger in {(total + 1) // 2, (2 * total + 2) // 3, total - 1, total} - {0}:
        if 2 * larger >= total:
            want = binomtest(larger, total).pvalue
            assert p_value(larger, total) == pytest.approx(want, rel=1e-9)
    needed = needed_of(total)
    scan = (
        [k for k in range((total + 1) // 2, total + 1) if binomtest(k, total).pvalue < 0.05]
        if total < 400
        else None
    )
    if scan is not None:
        assert needed == (scan[0] if scan else None)


def test_misses_are_answered() -> None:
    one, other = answer([{**BASE, "misses": {"left": a, "right": b}} for a, b in ((1, 9), (4, 6))])
    assert one["misses"] == {"p_value": 0.021484375, "lopsided": True, "needed_of_same_total": 9}
    assert other["misses"]["lopsided"] is False


def test_balls_in_the_way_against_shapely() -> None:
    rng = np.random.default_rng(4)
    shot = answer([BASE])[0]["shot"]
    balls = [np.array(shot[name][:2]) for name in ("cue_ball_mm", "object_ball_mm")]
    for place in rng.uniform([-500, -200], [1100, 200], (200, 2)):
        if min(np.hypot(*(place - ball)) for ball in balls) > 57.15:
            balls.append(place)
    others = np.array(balls[2:])
    (got,) = answer([{**BASE, "others_mm": others.tolist()}])
    shot = got["shot"]
    for path, start, end in (
        ("cue_ball", "cue_ball_mm", "ghost_ball_mm"),
        ("object_ball", "object_ball_mm", "target_mm"),
    ):
        way = shapely.LineString([shot[start][:2], shot[end][:2]])
        gaps = {i: way.distance(shapely.Point(p)) - 57.15 for i, p in enumerate(others)}
        want = {i: gap for i, gap in gaps.items() if gap < 0}
        found = {b["index"]: b["clearance_mm"] for b in got["paths"][path]["blocked_by"]}
        assert found == pytest.approx(want, abs=1e-9)
        assert got["paths"][path]["clear"] == (not want)
        assert want
