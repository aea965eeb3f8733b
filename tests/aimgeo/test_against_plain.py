"""solve against the contract's definitions worked out the plain way with fifty digits (tests/aimgeo/plain.py)."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

import mpmath as mp
import pytest

from aimgeo.asking.solve import answer
from tests.aimgeo import plain as p

MM = 1e-6
DEG = 5.7e-8  # 1e-9 rad

Request = dict[str, Any]


def requests(seed: int, count: int, **more: Any) -> list[Request]:
    """Shots on an endless cloth: every size of cut, distance and coordinate that must keep its digits."""
    rng = random.Random(seed)
    made = []
    for _ in range(count):
        far = rng.choice([0.0, 0.0, 1e6])
        x, y = far + rng.uniform(-900, 900), -far + rng.uniform(-400, 400)
        bearing, reach = rng.uniform(0, 6.283), rng.choice([60.0, 800.0, 2000.0])
        cut = rng.choice([0.0, 1e-9, 1e-4, rng.uniform(0, 60), rng.uniform(60, 89), 89.99])
        distance = rng.choice([57.1501, 57.2, rng.uniform(60, 2500), 1e6])
        made.append({
            "object_ball_mm": [x, y],
            "target_mm": [x + reach * float(mp.cos(bearing)), y + reach * float(mp.sin(bearing))],
            "cut_deg": cut, "side": rng.choice(["left", "right"]), "distance_mm": distance, "table": None, **more,
        })  # fmt: skip
    return made


def close(got: Any, want: Any, slack: float) -> bool:
    if got is None or want is None:
        return got is None and want is None
    if isinstance(got, list):
        return all(abs(g - w) <= slack for g, w in zip(got, want, strict=True))
    return bool(abs(got - want) <= slack)


class Plain:
    """One placed shot, done again."""

    def __init__(self, r: Request) -> None:
        self.d = p.vec(r.get("ball_diameter_mm", 57.15))[0]
        self.O, self.T = p.vec(*r["object_ball_mm"]), p.vec(*r["target_mm"])
        self.s = 1 if r["side"] == "left" else -1
        self.cut = self.s * p.radians(r["cut_deg"])
        self.u = p.unit(p.sub(self.T, self.O))
        self.G = p.ghost(self.O, self.T, self.d)
        self.C = p.place_cue(self.O, self.T, self.cut, p.vec(r["distance_mm"])[0], self.d)
        self.a = p.unit(p.sub(self.G, self.C))
        self.L = p.norm(p.sub(self.T, self.O))
        self.z = self.d / 2

    def high(self, q: p.Vec) -> p.Vec:
        return (*q, self.z)

    def eye(self, r: Request) -> p.Vec:
        e = r["eye"]
        flat = p.add(p.add(self.C, self.a, -p.vec(e["back_mm"])[0]), p.left(self.a), p.vec(e["offset_mm"])[0])
        return (*flat, p.vec(e["height_mm"])[0])

    def judge(self, a: p.Vec, start: p.Vec | None = None) -> dict[str, Any]:
        """What comes of sending the cue ball along a."""
        u = p.roll(self.C if start is None else start, a, self.O, self.d)
        if u is None:
            nothing = dict.fromkeys(("cut_deg", "object_error_deg", "miss_mm"))
            return nothing | {"hit": False, "aim_error_deg": p.degrees(p.angle(self.a, a))}
        error = p.angle(self.u, u)
        return {
            "hit": True,
            "aim_error_deg": p.degrees(p.angle(self.a, a)),
            "cut_deg": p.degrees(p.angle(a, u)),
            "object_error_deg": p.degrees(error),
            "miss_mm": self.L * mp.tan(error) if abs(error) < mp.pi / 2 else None,
        }


def agrees(got: Request, want: Request, where: Any) -> None:
    near = abs(want["cut_deg"] or 0) > 89.9  # a cut near 90 turns by the root of what the aim turns by
    for key in want.keys() & got.keys():
        if key == "hit":
            assert got[key] == want[key], where
        elif key == "miss_mm":
            if want[key] is not None:
                slack = MM * (1 + abs(want[key])) * (1 + 1e3 * near)
                assert close(got[key], want[key], slack), (key, got, want, where)
        elif key == "aim_error_deg" and want[key] is not None:  # half a turn has no side
            assert abs(mp.fmod(got[key] - want[key] + 540, 360) - 180) <= DEG, (key, got, want, where)
        else:
            assert close(got[key], want[key], DEG * (1 + 1e4 * near)), (key, got, want, where)


@pytest.fixture(autouse=True)
def digits() -> Iterator[None]:
    """As many as the plain programs count with, whatever another module has set."""
    with mp.workdps(50):
        yield


@pytest.fixture(scope="module")
def placed() -> list[Request]:
    return requests(1, 250)


def test_a_placed_shot_is_exact(placed: list[Request]) -> None:
    for r, a in zip(placed, answer(placed), strict=True):
        want, shot = Plain(r), a["shot"]
        for key, point in (("cue_ball_mm", want.C), ("ghost_ball_mm", want.G), ("object_ball_mm", want.O),
                           ("target_mm", want.T)):  # fmt: skip
            assert close(shot[key], want.high(point), MM), (key, r)
        assert close(shot["contact_object_mm"], want.high(p.add(want.O, want.u, -want.z)), MM)
        assert close(shot["contact_cue_mm"], want.high(p.add(want.C, want.u, want.z)), MM)
        assert close(shot["aim_direction"], want.a, 1e-9), r
        assert close(shot["object_direction"], want.u, 1e-9)
        assert close(shot["cut_deg"], r["cut_deg"], DEG)
        assert shot["side"] == (r["side"] if r["cut_deg"] > 1e-10 else "straight")
        assert close(shot["line_of_centres_deg"], p.degrees(p.angle(p.sub(want.O, want.C), want.u)), DEG), r
        assert close(shot["travel_mm"], p.norm(p.sub(want.G, want.C)), MM)
        assert close(shot["distance_mm"], r["distance_mm"], MM)
        sine = abs(mp.sin(want.cut))
        assert close(shot["overlap"], 1 - sine, 1e-12)
        assert close(shot["aim_offset_mm"], want.d * sine, MM)
        assert close(shot["contact_offset_mm"], want.d * sine / 2, MM)
        assert ("warnings" in a) == (r["cut_deg"] > 80)


def test_a_shot_solved_from_three_positions_is_exact_even_when_the_balls_nearly_touch() -> None:
    rng = random.Random(2)
    asked: list[dict[str, Any]] = []
    C: Any
    O: Any
    T: Any
    for _ in range(300):
        far = rng.choice([0.0, 1e6])
        O = [far + rng.uniform(-1, 1), rng.uniform(-900, 900)]
        cut, bearing = rng.uniform(-89, 89), rng.uniform(0, 6.28)
        gap = rng.choice([1e-6, 1e-3, 1.0, 500.0, 1e6])
        T = [O[0] + 700 * float(mp.cos(bearing)), O[1] + 700 * float(mp.sin(bearing))]
        C = p.place_cue(p.vec(*O), p.vec(*T), p.radians(cut), p.vec(57.15)[0] + gap, p.vec(57.15)[0])
        asked.append(
            {"object_ball_mm": O, "target_mm": T, "cue_ball_mm": [float(C[0]), float(C[1])], "table": None}
        )
    answered = 0
    for r, got in zip(asked, answer(asked), strict=True):
        C, O, T = (p.vec(*r[key]) for key in ("cue_ball_mm", "object_ball_mm", "target_mm"))
        u = p.unit(p.sub(T, O))
        a = p.unit(p.sub(p.ghost(O, T, p.vec(57.15)[0]), C))
        if p.norm(p.sub(C, O)) < p.vec(57.15)[0] + mp.mpf("1e-9"):
            continue
        answered += 1
        cut = p.angle(a, u)
        assert close(got["shot"]["aim_direction"], a, 1e-9), (r, got)
        assert close(got["shot"]["cut_deg"], p.degrees(abs(cut)), DEG)
        assert got["shot"]["side"] == ("left" if cut > 0 else "right")
        want = p.degrees(p.angle(p.sub(O, C), u))
        assert close(got["shot"]["line_of_centres_deg"], want, DEG)
    assert answered > 250


def test_a_rolled_ball_meets_what_it_meets() -> None:
    rng = random.Random(3)
    asked: list[dict[str, Any]] = []
    C: Any
    O: Any
    for _ in range(300):
        C = [rng.uniform(-1e3, 1e3), rng.uniform(-1e3, 1e3)]
        D, way = rng.choice([57.1501, 58.0, 400.0, 1e6]), rng.uniform(0, 360)
        O = [C[0] + D * float(mp.cos(p.radians(way))), C[1] + D * float(mp.sin(p.radians(way)))]
        reach = float(p.degrees(mp.asin(min(1, 57.15 / D))))
        aim = way + rng.uniform(-1.3, 1.3) * reach
        asked.append({"object_ball_mm": O, "cue_ball_mm": C, "aim_deg": aim, "table": None})
    for r, got in zip(asked, answer(asked), strict=True):
        C, O = p.vec(*r["cue_ball_mm"]), p.vec(*r["object_ball_mm"])
        a = p.turned(p.vec(1, 0), p.radians(r["aim_deg"]))
        u, shot = p.roll(C, a, O, p.vec(57.15)[0]), got["shot"]
        assert shot["hit"] == (u is not None)
        assert close(shot["aim_direction"], a, 1e-9)
        if u is None:
            assert [shot[key] for key in ("cut_deg", "ghost_ball_mm", "side", "travel_mm")] == [None] * 4
            continue
        cut = p.angle(a, u)
        thin = 1 / max(1e-3, float(mp.cos(cut)))
        assert close(shot["cut_deg"], p.degrees(abs(cut)), DEG * thin)
        assert close(shot["object_direction"], u, 1e-9 * thin)
        assert close(shot["ghost_ball_mm"][:2], p.sub(O, p.times(p.vec(57.15)[0], u)), MM)


@pytest.mark.parametrize("kind", ["rotate_deg", "at_ghost_mm", "parallel_mm"])
def test_aim_errors(kind: str) -> None:
    rng = random.Random(kind)
    asked = [{**r, "aim_error": {kind: rng.choice([0.0, 0.01, -0.3, 1.0, -5.0, 40.0])}} for r in requests(4, 150)]
    for r, got in zip(asked, answer(asked), strict=True):
        w, e = Plain(r), p.vec(r["aim_error"][kind])[0]
        if kind == "rotate_deg":
            want = w.judge(p.turned(w.a, p.radians(e)))
        elif kind == "at_ghost_mm":
            want = w.judge(p.unit(p.sub(p.add(w.G, p.left(w.a), e), w.C)))
        else:
            want = w.judge(w.a, p.add(w.C, p.left(w.a), e))
        if want["cut_deg"] is not None:
            want["cut_change_deg"] = want["cut_deg"] - p.degrees(w.cut)
        agrees(got["aim_error"], want, r)


def test_sensitivity_is_the_derivative_by_the_aim(placed: list[Request]) -> None:
    for r, got in zip(placed, answer(placed), strict=True):
        w = Plain(r)
        h = mp.mpf("1e-20")
        one, other = (p.roll(w.C, p.turned(w.a, t), w.O, w.d) for t in (h, -h))
        assert one is not None
        assert other is not None
        per_aim = p.angle(other, one) / (2 * h)
        assert got["sensitivity"]["object_per_aim"] == pytest.approx(float(abs(per_aim)), rel=1e-9)
        assert got["sensitivity"]["cut_per_aim"] == pytest.approx(float(abs(per_aim - 1)), rel=1e-9)


EYES = [
    {"back_mm": 600.0, "offset_mm": 0.0, "height_mm": 300.0},
    {"back_mm": 600.0, "offset_mm": 5.0, "height_mm": 300.0},
    {"back_mm": 1800.0, "offset_mm": -31.5, "height_mm": 700.0},
    {"back_mm": 60.0, "offset_mm": 20.0, "height_mm": 90.0},
]


@pytest.mark.parametrize("eye", EYES)
def test_the_two_readings_of_sighting(eye: Request) -> None:
    asked = requests(5, 80, eye=eye)
    for r, got in zip(asked, answer(asked), strict=True):
        w = Plain(r)
        E = w.eye(r)
        assert close(got["eye"]["eye_mm"], E, MM)
        agrees(got["eye"]["sighting"]["plane"], w.judge(p.unit(p.sub(w.C, E[:2]))), r)
        spot = p.add(w.high(w.C), p.unit(p.sub(E, w.high(w.C))), w.z)
        agrees(got["eye"]["sighting"]["surface"], w.judge(p.unit(p.sub(w.high(w.G), spot)[:2])), r)


@pytest.mark.parametrize("eye", [None, *EYES])
def test_the_doubled_offset_is_doubled_in_the_picture(eye: Request | None) -> None:
    asked = [r for r in requests(6, 120, **({} if eye is None else {"eye": eye})) if r["cut_deg"] > 1e-5]
    compared = 0
    for r, got in zip(asked, answer(asked), strict=True):
        w = Plain(r)
        E = w.high(w.C) if eye is None else w.eye(r)
        axes = p.look(E, w.high(w.O), w.a)
        images = [p.seen(E, axes, w.high(q)) for q in (p.add(w.O, w.u, -w.z), w.G)]
        (x1, y1, z1), (x2, y2, z2) = images
        doubled = got["eye"]["doubled_offset"]
        if z1 <= 0:
            assert doubled["aim_error_deg"] is None
            continue
        near, far = (x1 / z1, y1 / z1), (x2 / z2, y2 / z2)
        if z2 > 0:
            ratio = p.norm(far) / p.norm(near)
            assert doubled["seen_ratio"] == pytest.approx(float(ratio), rel=1e-9), r
        # the ray through twice the image of the contact point meets the line O - s u at height R
        ray = p.add(p.add(axes[2], axes[0], 2 * near[0]), axes[1], 2 * near[1])
        m = mp.matrix([[ray[i], (*w.u, mp.mpf(0))[i], mp.mpf(i == 2)] for i in range(3)])
        m[0, 2], m[1, 2] = -w.u[1], w.u[0]
        _, s, _ = mp.lu_solve(m, mp.matrix(list(p.sub(w.high(w.O), E))))
        agrees(doubled, w.judge(p.unit(p.sub(p.add(w.O, w.u, -s), w.C))), r)
        compared += 1
    assert compared > 40


@pytest.mark.parametrize("eye", EYES)
def test_the_picture(eye: Request) -> None:
    camera = {
        "vertical_fov_deg": 35.0,
        "width_px": 1920,
        "height_px": 1080,
        "points_mm": {"spot": [10.0, -20.0, 0.0]},
    }
    for look_at in ("object_ball", "ghost_ball", [50.0, 60.0, 10.0]):
        asked = requests(7, 40, eye=eye, camera={**camera, "look_at": look_at})
        for r, got in zip(asked, answer(asked), strict=True):
            w = Plain(r)
            E = w.eye(r)
            at = {"object_ball": w.high(w.O), "ghost_ball": w.high(w.G)}.get(str(look_at)) or p.vec(*look_at)
            axes = p.look(E, at, w.a)
            f = 540 / mp.tan(p.radians(35.0) / 2)
            points = {
                "cue_ball": w.high(w.C), "object_ball": w.high(w.O), "ghost_ball": w.high(w.G),
                "contact_object": w.high(p.add(w.O, w.u, -w.z)), "contact_cue": w.high(p.add(w.C, w.u, w.z)),
                "target": w.high(w.T), "spot": p.vec(10, -20, 0),
            }  # fmt: skip
            assert got["eye"]["pixels"].keys() == points.keys()
            for name, point in points.items():
                x, y, z = p.seen(E, axes, point)
                pixel = got["eye"]["pixels"][name]
                if z <= 0:
                    assert pixel is None
                elif abs(x) < 5 * z and abs(y) < 5 * z:
                    assert close(pixel, (960 + f * x / z, 540 + f * y / z), 1e-5), (name, r)
            for name in ("cue_ball", "object_ball", "ghost_ball"):
                x, y, z = centre = p.seen(E, axes, points[name])
                ellipse = got["eye"]["silhouettes"][name]
                if z <= w.z:
                    assert ellipse is None
                    continue
                # every point of the outline is the picture of a ray that touches the ball
                turn = p.radians(ellipse["rotation_deg"])
                assert -90 < ellipse["rotation_deg"] <= 90
                assert ellipse["semi_major_px"] >= ellipse["semi_minor_px"] * (1 - 1e-12)
                for t in (0, 1, 2.5, 4):
                    i = ellipse["semi_major_px"] * mp.cos(t)
                    j = ellipse["semi_minor_px"] * mp.sin(t)
                    px = ellipse["centre_px"][0] + i * mp.cos(turn) - j * mp.sin(turn) - 960
                    py = ellipse["centre_px"][1] + i * mp.sin(turn) + j * mp.cos(turn) - 540
                    ray = p.unit((px / f, py / f, mp.mpf(1)))
                    apart = p.norm(p.sub(centre, p.times(p.inner(centre, ray), ray)))
                    assert abs(apart - w.z) < 1e-7 * (1 + float(p.norm(centre)) / 1e3), (name, r)


def test_fractions_from_both_lines() -> None:
    rng = random.Random(8)
    for measured in ("aim_line", "line_of_centres"):
        asked = [
            {**r, "fraction": {"object_offset_mm": rng.uniform(-60, 60), "cue_offset_mm": rng.uniform(-20, 20),
                               "measured": measured}}
            for r in requests(9, 120)
        ]  # fmt: skip
        for r, got in zip(asked, answer(asked), strict=True):
            t, s = p.vec(r["fraction"]["object_offset_mm"], r["fraction"]["cue_offset_mm"])
            D, d = p.vec(r["distance_mm"], 57.15)
            C, O = p.vec(0, 0), (D, mp.mpf(0))
            if measured == "aim_line":  # aim so that the line through both points is parallel to it
                passing = t - s
                if abs(passing) >= d:
                    a = None
                else:
                    a = p.turned(p.vec(1, 0), mp.asin(passing / D))
            else:
                a = p.unit(p.sub(p.add(O, p.vec(0, 1), t), p.add(C, p.vec(0, 1), s)))
            u = None if a is None else p.roll(C, a, O, d)
            want = None if u is None or a is None else -p.degrees(p.angle(a, u))
            thin = 1 if want is None else 1 / max(1e-3, float(mp.cos(p.radians(want))))
            assert close(got["fraction"]["cut_deg"], want, DEG * thin), r
            parallel = None if abs(t - s) > d else p.degrees(mp.asin((t - s) / d))
            assert close(got["fraction"]["cut_parallel_deg"], parallel, 1e-5)
