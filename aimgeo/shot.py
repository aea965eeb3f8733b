"""The shot: cue ball, object ball and target, and every point and line that follows from them.

Frame: origin at the centre of the bed, x towards the foot rail, y to the left for someone looking
from head to foot, z up from the cloth; millimetres and radians. One shot and a million take the same
path: every array field has the leading shape (...) of the inputs, broadcast.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aimgeo.side import outward, side_of
from aimgeo.vectors import Array, ArrayLike, IntArray, length, turned, unit

BALL_DIAMETER_MM = 57.15


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """A shot in table millimetres: positions (..., 3), directions (..., 2), the rest (...).

    `cut_rad` is signed: positive when the object ball leaves to the left of the aim direction.
    """

    cue_ball_mm: Array
    object_ball_mm: Array
    target_mm: Array
    aim_direction: Array
    object_direction: Array
    cut_rad: Array
    distance_mm: Array
    travel_mm: Array
    ball_diameter_mm: float | Array

    @property
    def radius_mm(self) -> Array:
        """Ball radius R."""
        return np.asarray(self.ball_diameter_mm, float) / 2

    @property
    def ghost_ball_mm(self) -> Array:
        """G = O - d u: the cue ball's centre at impact, (..., 3)."""
        return self._from_object(1.0)

    @property
    def contact_object_mm(self) -> Array:
        """O - R u: the contact point on the object ball, (..., 3)."""
        return self._from_object(0.5)

    @property
    def contact_cue_mm(self) -> Array:
        """C + R u: the contact point on the cue ball where it lies now, (..., 3)."""
        step = self.radius_mm[..., None] * self.object_direction
        return np.concatenate([self.cue_ball_mm[..., :2] + step, self.cue_ball_mm[..., 2:]], axis=-1)

    @property
    def contact_offset_mm(self) -> Array:
        """R sin(cut), unsigned: the spacing of the three parallel lines."""
        return self.radius_mm * np.abs(np.sin(self.cut_rad))

    @property
    def aim_offset_mm(self) -> Array:
        """2 R sin(cut), unsigned: how far the aim line passes from the object ball's centre."""
        return 2 * self.contact_offset_mm

    @property
    def overlap(self) -> Array:
        """Hit fraction 1 - sin(cut): 1 full, 0.5 half ball."""
        return 1 - np.abs(np.sin(self.cut_rad))

    @property
    def line_of_centres_rad(self) -> Array:
        """Signed angle from the direction C to O to the object ball's direction."""
        q, d, c = self.travel_mm, np.asarray(self.ball_diameter_mm, float), self.cut_rad
        return np.arctan2(q * np.sin(c), d + q * np.cos(c))

    @property
    def side(self) -> IntArray:
        """+1 left, -1 right, 0 straight."""
        return side_of(np.sin(self.cut_rad))

    @property
    def outward(self) -> IntArray:
        """On which side the aim passes the object ball's centre: +1 left, -1 right, also for a straight shot."""
        return outward(np.sin(self.cut_rad))

    def _from_object(self, diameters: float) -> Array:
        step = (diameters * np.asarray(self.ball_diameter_mm, float))[..., None] * self.object_direction
        return np.concatenate([self.object_ball_mm[..., :2] - step, self.object_ball_mm[..., 2:]], axis=-1)


def one_of_many(shot: Shot) -> Shot:
    """A shot with scalar fields as an array of one, (1, ...), as functions of shots (N,) take it."""
    return Shot(*(np.asarray(getattr(shot, name), float)[None] for name in Shot.__dataclass_fields__))


def at_height(xy: ArrayLike, z_mm: ArrayLike) -> Array:
    """Points (..., 2) lifted to (..., 3) at height z_mm (...)."""
    xy = np.asarray(xy, float)
    z = np.broadcast_to(np.asarray(z_mm, float), xy.shape[:-1])
    return np.concatenate([xy, z[..., None]], axis=-1)


def place_shot(
    object_ball: ArrayLike,
    target: ArrayLike,
    cut_rad: ArrayLike,
    distance_mm: ArrayLike,
    ball_diameter_mm: ArrayLike = BALL_DIAMETER_MM,
) -> Shot:
    """The shot with a given signed cut (left positive) and centre distance.

    object_ball, target: (..., 2) mm. Where no shot exists (distance below a diameter, cut of 90 degrees
    or more, target on the object ball) the answer is nan.

    >>> shot = place_shot([0, 0], [1000, 0], np.radians(30), 500)
    >>> round(float(shot.aim_offset_mm), 3)
    28.575
    """
    O, T = np.asarray(object_ball, float), np.asarray(target, float)
    c, D, d = (np.asarray(v, float) for v in (cut_rad, distance_mm, ball_diameter_mm))
    u = unit(T - O)
    u, c, D, d = _broadcast(u, c, D, d)
    a = turned(u, -c)
    with np.errstate(invalid="ignore"):
        # D^2 = d^2 + q^2 + 2 d q cos(cut), solved so that nothing cancels when D is just above d
        root = np.sqrt(D * D - (d * np.sin(c)) ** 2)
        q = np.where((d <= D) & (np.abs(c) < np.pi / 2), (D - d) * (D + d) / (d * np.cos(c) + root), np.nan)
    G = O - d[..., None] * u
    C = G - q[..., None] * a
    return shot_of(C, O, T, a, u, c, D, q, d)


def solve_shot(
    cue_ball: ArrayLike,
    object_ball: ArrayLike,
    target: ArrayLike,
    ball_diameter_mm: ArrayLike = BALL_DIAMETER_MM,
) -> Shot:
    """The shot that sends the object ball to the target, from three positions (..., 2) in mm.

    The cut may come out at 90 degrees or more: then no shot exists, and the caller must look at `cut_rad`.
    """
    # When the balls nearly touch, what is left between C and G is the small difference of large numbers, and a
    # rounding of 1e-16 in u would be seen in a: extended precision, where the machine has it, keeps 1e-9 rad.
    C, O, T = np.broadcast_arrays(*(np.asarray(v, np.longdouble) for v in (cue_ball, object_ball, target)))
    d = np.broadcast_to(np.asarray(ball_diameter_mm, float), C.shape[:-1])
    x, y = (T - O)[..., 0], (T - O)[..., 1]
    with np.errstate(invalid="ignore", divide="ignore"):
        L = np.hypot(x, y)
        ux, uy = x / L, y / L
        gx, gy = (O - C)[..., 0] - d * ux, (O - C)[..., 1] - d * uy
        q = np.hypot(gx, gy)
        ax, ay = gx / q, gy / q
    cut = np.arctan2((ax * uy - ay * ux).astype(float), (ax * ux + ay * uy).astype(float))
    a, u = (np.stack([vx, vy], axis=-1).astype(float) for vx, vy in ((ax, ay), (ux, uy)))
    D = length(O - C)
    C, O, T = (p.astype(float) for p in (C, O, T))
    return shot_of(C, O, T, a, u, cut, D, q.astype(float), d)


def _broadcast(u: Array, *values: Array) -> list[Array]:
    shape = np.broadcast_shapes(u.shape[:-1], *(v.shape for v in values))
    return [np.broadcast_to(u, (*shape, 2)), *(np.broadcast_to(v, shape) for v in values)]


def shot_of(
    C: ArrayLike, O: ArrayLike, T: ArrayLike, a: Array, u: Array, cut_rad: Array, D: Array, q: Array, d: Array
) -> Shot:
    """The shot of these values, C, O and T lifted to the balls' height: C, O, T, a, u (..., 2), the rest (...)."""
    shape = np.broadcast_shapes(np.shape(C), np.shape(O), np.shape(T), a.shape, u.shape, (*d.shape, 2))
    C, O, T, a, u = (np.broadcast_to(np.asarray(p, float), shape) for p in (C, O, T, a, u))
    cut_rad, D, q, d = (np.broadcast_to(v, shape[:-1]) for v in (cut_rad, D, q, d))
    z = d / 2
    return Shot(at_height(C, z), at_height(O, z), at_height(T, z), a, u, cut_rad, D, q, d)
