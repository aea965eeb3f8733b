"""How a ball turns as it runs: which way up it is at any time, from its rolling velocity.

A ball of radius R whose rolling velocity is w turns with the angular velocity z x w / R: its lowest point goes
backwards. Where w keeps its direction, the turn is a single one about one axis. While the ball slides sideways, w
grows evenly towards the velocity and the axis swings; the turn is then put together from short steps, each with
the first two terms of Magnus' series (W. Magnus, Communications on Pure and Applied Mathematics 7, 1954, from
memory), which are exact to the fourth order. A turn is a unit quaternion, real part first: a point fixed to the
ball at p from its centre comes to `turned(turn, p)`.
"""

from __future__ import annotations

import numpy as np

from aimgeo.running import MM, Run, Way
from aimgeo.vectors import Array, ArrayLike, cross

STEPS = 64
"""Steps of the sliding part: the turn is right to 1e-8."""


def turn_about(vector: ArrayLike) -> Array:
    """The turns (..., 4) about vectors (..., 3), by their lengths in radians.

    >>> turn_about([0.0, 0.0, np.pi]).round(9).tolist()
    [0.0, 0.0, 0.0, 1.0]
    """
    v = np.asarray(vector, float)
    half = np.linalg.norm(v, axis=-1, keepdims=True) / 2
    return np.concatenate([np.cos(half), v / 2 * np.sinc(half / np.pi)], axis=-1)


def after(second: ArrayLike, first: ArrayLike) -> Array:
    """One turn after another, (..., 4): the product of the quaternions."""
    a, b = np.asarray(second, float), np.asarray(first, float)
    w, x, y, z = a[..., 0], a[..., 1], a[..., 2], a[..., 3]
    W, X, Y, Z = b[..., 0], b[..., 1], b[..., 2], b[..., 3]
    return np.stack(
        [
            w * W - x * X - y * Y - z * Z,
            w * X + x * W + y * Z - z * Y,
            w * Y + y * W + z * X - x * Z,
            w * Z + z * W + x * Y - y * X,
        ],
        axis=-1,
    )


def matrix(turn: ArrayLike) -> Array:
    """The matrices (..., 3, 3) of turns (..., 4) of any length above 0: what they do to points as columns."""
    q = np.asarray(turn, float)
    w, x, y, z = np.moveaxis(q / np.linalg.norm(q, axis=-1, keepdims=True), -1, 0)
    rows = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
        [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
        [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
    ]
    return np.moveaxis(np.array(rows), (0, 1), (-2, -1))


def turned(turn: ArrayLike, points: ArrayLike) -> Array:
    """Points (..., 3) of a ball about its centre, after turns (..., 4)."""
    return np.einsum("...ij,...j->...i", matrix(turn), np.asarray(points, float))


def run_turn(run: Run, seconds: ArrayLike, radius_mm: float) -> Array:
    """How a ball has turned since the start of its run, (n, 4), at times (n,); before the start not at all."""
    t = np.clip(np.asarray(seconds, float), 0.0, run.ends_s)
    spins = _spin(run.rolling_mps, radius_mm)
    swing = (_spin(run.rolls_mps, radius_mm) - spins) / max(run.slides_s, 1e-12)
    grid = np.linspace(0.0, run.slides_s, STEPS + 1)
    slid = np.concatenate([[[1.0, 0.0, 0.0, 0.0]], turn_about(_steps(spins, swing, grid[:-1], grid[1:]))])
    reach = 1
    while reach <= STEPS:  # each row is the product of so many steps: soon of all before it
        slid[reach:] = after(slid[reach:], slid[:-reach])
        reach *= 2
    until = np.minimum(t, run.slides_s)
    before = np.clip(np.searchsorted(grid, until, "right") - 1, 0, STEPS)
    turn = after(turn_about(_steps(spins, swing, grid[before], until)), slid[before])
    # rolling: by the way that it has rolled, about an axis that stays
    rolled = (run.position_at(t) - run.position_at(run.slides_s)) * (t > run.slides_s)[:, None]
    return after(turn_about(_spin(rolled / MM, radius_mm)), turn)


def way_turn(way: Way, seconds: ArrayLike, radius_mm: float) -> Array:
    """How a ball has turned since the start of its way, (n, 4), at times (n,)."""
    t = np.asarray(seconds, float)
    out, begun = run_turn(way.runs[0], t, radius_mm), np.array([1.0, 0.0, 0.0, 0.0])
    for k, start in enumerate(way.starts_s[1:], 1):
        lasted = np.array([start - way.starts_s[k - 1]])
        begun = after(run_turn(way.runs[k - 1], lasted, radius_mm)[0], begun)
        out = np.where((t > start)[:, None], after(run_turn(way.runs[k], t - start, radius_mm), begun), out)
    return out


def _spin(rolling_mps: Array, radius_mm: float) -> Array:
    """The angular velocity (..., 3) in radians a second of a rolling velocity (..., 2)."""
    x, y = np.moveaxis(np.asarray(rolling_mps, float) * MM / radius_mm, -1, 0)
    return np.stack([-y, x, np.zeros_like(x)], axis=-1)


def _steps(spin: Array, swing: Array, start: Array, end: Array) -> Array:
    """Magnus' first two terms (n, 3) of a level angular velocity that is `spin` at 0 and swings evenly."""
    h, middle = (end - start)[:, None], spin + swing * ((start + end) / 2)[:, None]
    out = h * middle
    out[:, 2] -= h[:, 0] ** 3 / 12 * cross(middle, swing)
    return out
