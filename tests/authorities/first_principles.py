"""The numbers of aiming.py and collisions.py that nobody published, from first principles in thirty digits.

Run as a program it prints them; first_principles.txt is what it printed. It knows nothing of the project: points,
straight lines and a pinhole picture, and a friction law. Balls of 57.15 mm; cut 30 degrees to the left unless
told otherwise; the object ball at the origin goes along +x.

    python tests/authorities/first_principles.py > tests/authorities/first_principles.txt
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import mpmath as mp

mp.mp.dps = 30
D = mp.mpf("57.15")
R = D / 2
Vector = Any  # an mpmath column


def vector(*values: Any) -> Vector:
    return mp.matrix([mp.mpf(v) for v in values])


def inner(a: Vector, b: Vector) -> Any:
    return mp.fsum(x * y for x, y in zip(a, b, strict=True))


def unit(a: Vector) -> Vector:
    return a / mp.sqrt(inner(a, a))


def cross(a: Vector, b: Vector) -> Vector:
    return vector(a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def shot(distance: Any, cut_deg: Any = 30) -> tuple[Vector, Vector, Vector, Vector]:
    """Cue ball, object ball, ghost ball and aim: the cue ball looked for on the ray back from the ghost ball."""
    object_ball, ghost = vector(0, 0, R), vector(-D, 0, R)
    cut = mp.radians(mp.mpf(cut_deg))
    aim = vector(mp.cos(cut), -mp.sin(cut), 0)  # the object ball leaves to the left of it
    away = mp.findroot(lambda q: mp.norm(ghost - q * aim - object_ball) - mp.mpf(distance), mp.mpf(distance))
    return ghost - away * aim, object_ball, ghost, aim


def eye_of(cue: Vector, aim: Vector, back: Any, height: Any, left: Any = 0) -> Vector:
    flat = cue - mp.mpf(back) * aim + mp.mpf(left) * vector(-aim[1], aim[0], 0)
    return vector(flat[0], flat[1], height)


def seen(eye: Vector, at: Vector, point: Vector) -> tuple[Any, Any]:
    """Where a pinhole at the eye, looking at a point, with its right side level, shows another point."""
    forward = unit(at - eye)
    right = unit(cross(forward, vector(0, 0, 1)))
    down = cross(forward, right)
    ray = point - eye
    return inner(ray, right) / inner(ray, forward), inner(ray, down) / inner(ray, forward)


def way_of_object_ball(cue: Vector, way: Vector) -> Any:
    """The bearing in which the object ball leaves when the cue ball is sent along a way: the first touch."""
    ball = vector(0, 0, R)
    nearest = inner(ball - cue, way)  # of the two touches the first lies short of it
    at = cue + mp.findroot(lambda s: mp.norm(cue + s * way - ball) - D, nearest - D) * way
    return mp.atan2(-at[1], -at[0])


def doubled(distance: Any, back: Any = None, height: Any = None) -> Any:
    """By how much the object ball turns when the contact point's distance is doubled in the picture, degrees."""
    cue, ball, _, aim = shot(distance)
    eye = cue if back is None else eye_of(cue, aim, back, height)
    contact = seen(eye, ball, vector(-R, 0, R))[0]
    back_on_line = mp.findroot(lambda s: seen(eye, ball, vector(-s, 0, R))[0] - 2 * contact, D)
    return mp.degrees(way_of_object_ball(cue, unit(vector(-back_on_line, 0, R) - cue)))


def aim_place(cut_deg: Any, distance: Any, back: Any) -> Any:
    """Where the aim line crosses the level line through the visible disc's middle, in its half-widths."""
    cue, ball, _, aim = shot(distance, cut_deg)
    eye = eye_of(cue, aim, back, 300)
    crossing = mp.findroot(lambda s: seen(eye, ball, cue + s * aim)[1], mp.mpf(distance))
    far = mp.norm(ball - eye)
    half_width = mp.tan(mp.asin(R / far))
    return abs(seen(eye, ball, cue + crossing * aim)[0]) / half_width


def throw(cut: Any, speed: Any) -> Any:
    """Throw of a stunned ball: friction by the published fit, no more than stops the slip, radians."""
    slip = speed * mp.sin(cut)
    rub = mp.mpf("9.951e-3") + mp.mpf("0.108") * mp.exp(-mp.mpf("1.088") * slip)
    return mp.atan(min(rub, mp.tan(cut) / 7))


def largest_throw(speed: Any) -> Any:
    """Over all cuts: by halving and shifting a bracket about the best of a scan."""
    cuts = [mp.pi / 2 * k / 2000 for k in range(1, 2000)]
    best = max(cuts, key=lambda c: throw(c, speed))
    step = cuts[0]
    while step > mp.mpf("1e-20"):
        best = max((best - step, best, best + step), key=lambda c: throw(c, speed))
        step /= 2
    return mp.degrees(throw(best, speed))


def numbers() -> Iterator[tuple[str, Any]]:
    for back, height, distance in ((600, 300, 400), (None, None, 400), (600, 300, 1800), (None, None, 1800)):
        eye = "none" if back is None else f"{back},{height}"
        turn = doubled(distance, back, height)
        yield f"doubled_thick_deg eye={eye} distance={distance}", -turn
        if (back, distance) == (600, 400):
            yield "doubled_miss_at_1_m_mm", -1000 * mp.tan(mp.radians(turn))
    worst = max(
        abs(aim_place(cut, distance, back) / (2 * mp.sin(mp.radians(mp.mpf(cut)))) - 1)
        for cut in (5, "14.5", 30, 45) for distance in (300, 2000) for back in (400, 1500)
    )  # fmt: skip
    yield "aim_place_over_twice_the_sine_minus_1, worst", worst
    cue, _, ghost, _ = shot(1000, 0)
    missed = unit(ghost + vector(0, "1e-6", 0) - cue)
    yield "object_turn_deg_per_mm", abs(mp.degrees(way_of_object_ball(cue, missed))) * 10**6
    yield "plane_reading_deg offset=5 back=600", mp.degrees(mp.atan2(5, 600))
    for speed in ("0.45", "1.0", "2.0"):
        yield f"largest_throw_deg speed={speed}", largest_throw(mp.mpf(speed))


def text() -> str:
    return "".join(f"{name}: {mp.nstr(value, 12)}\n" for name, value in numbers())


if __name__ == "__main__":
    print(text(), end="")
