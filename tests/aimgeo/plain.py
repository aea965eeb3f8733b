"""The contract's definitions done again the plain way: table coordinates, one shot at a time, fifty digits.

Nothing here shares a formula with aimgeo: a ball is rolled by solving for where its path meets a circle, a picture
point is found by dividing by depth, a cut is the angle between two vectors.
"""

from __future__ import annotations

from typing import Any

import mpmath as mp

mp.mp.dps = 50
Vec = tuple[Any, ...]


def vec(*values: Any) -> Vec:
    return tuple(mp.mpf(v) for v in values)


def add(a: Vec, b: Vec, k: Any = 1) -> Vec:
    return tuple(x + k * y for x, y in zip(a, b, strict=True))


def sub(a: Vec, b: Vec) -> Vec:
    return add(a, b, -1)


def times(k: Any, a: Vec) -> Vec:
    return tuple(k * x for x in a)


def inner(a: Vec, b: Vec) -> Any:
    return mp.fsum(x * y for x, y in zip(a, b, strict=True))


def norm(a: Vec) -> Any:
    return mp.sqrt(inner(a, a))


def unit(a: Vec) -> Vec:
    return times(1 / norm(a), a)


def left(a: Vec) -> Vec:
    return (-a[1], a[0])


def angle(a: Vec, b: Vec) -> Any:
    """Signed, left positive."""
    return mp.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])


def turned(a: Vec, t: Any) -> Vec:
    return (mp.cos(t) * a[0] - mp.sin(t) * a[1], mp.sin(t) * a[0] + mp.cos(t) * a[1])


def cross3(a: Vec, b: Vec) -> Vec:
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def ghost(O: Vec, T: Vec, d: Any) -> Vec:
    return sub(O, times(d, unit(sub(T, O))))


def place_cue(O: Vec, T: Vec, cut: Any, D: Any, d: Any) -> Vec:
    """C on the ray from G against the aim direction, at the distance D from O: a quadratic."""
    u = unit(sub(T, O))
    a = turned(u, -cut)
    G = ghost(O, T, d)
    # |G - q a - O|^2 = D^2
    w = sub(G, O)
    half = inner(w, a)
    q = half + mp.sqrt(half * half + D * D - inner(w, w))
    return sub(G, times(q, a))


def roll(C: Vec, a: Vec, O: Vec, d: Any) -> Vec | None:
    """The object ball's direction when a ball from C along a meets the ball at O; None when it does not."""
    w = sub(O, C)
    along, gap = inner(w, a), inner(w, w)
    under = along * along - (gap - d * d)
    if along <= 0 or under <= 0 or gap < d * d:
        return None
    G = add(C, a, along - mp.sqrt(under))
    return unit(sub(O, G))


def look(E: Vec, at: Vec, up: Vec) -> tuple[Vec, Vec, Vec]:
    forward = unit(sub(at, E))
    z = vec(0, 0, 1)
    right = cross3(forward, z)
    if norm(right) < mp.mpf("1e-12"):
        right = cross3(forward, (*up, mp.mpf(0)))
    right = unit(right)
    return right, cross3(forward, right), forward


def seen(E: Vec, axes: tuple[Vec, Vec, Vec], p: Vec) -> Vec:
    w = sub(p, E)
    return tuple(inner(w, axis) for axis in axes)


def degrees(t: Any) -> Any:
    return t * 180 / mp.pi


def radians(t: Any) -> Any:
    return mp.mpf(t) * mp.pi / 180
