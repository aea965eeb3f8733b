"""The joint fit: camera, lens, the table's measures and the balls, from points, edges and what is known
beforehand.

One vector of unknowns, each with its prior; all functions take a batch of such vectors, so that the derivatives by
small steps cost one call. The answer is the vector and its covariance, which is never scaled down.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from aimgeo.camera import Camera, Lens
from aimgeo.filmed import rim_mm
from aimgeo.landmarks import MEASURES, NAMED, Prior
from aimgeo.vectors import Array

EYE, TURN, FOCAL, BEND, MIDDLE = slice(0, 3), slice(3, 6), 6, slice(7, 9), slice(9, 11)
TABLE = slice(11, 11 + len(MEASURES))
FIRST_BALL = TABLE.stop
BALL_SIZE = 7
"""A ball's unknowns: x and y (mm); in px how far all of its outline lies out, a shift of all of it, and how much
farther out its blown-out places and its foot lie."""

BEND_ERRORS = (0.06, 0.02)
"""Displacement at the frame's corner by the two terms of the lens, as parts of the radius: one standard error."""

MIDDLE_ERROR = 0.008
"""The principal point's distance from the picture's middle, as a part of the width: one standard error."""

FOCAL_KNOWN_ERROR = 0.03
CEILING_MM, CEILING_ERROR_MM = 2600.0, 300.0
"""How high above the cloth a camera usually hangs at most."""

BLOOM_PX = 0.7
REST = np.array([0.0, 0.0, 0.0, BLOOM_PX, 0.15])
REST_ERRORS = np.array([0.4, 0.15, 0.15, 0.8, 0.5])
"""What is known of a ball's outline before it is looked at, and one standard error, in px.

Light beyond white runs over it; at the foot the dark underside and the shadow run into each other. Measured on
path-traced stills of 40 tables.
"""

SHIFT_BLOWN_PX = 0.8
"""Of the shift of an outline that is blown out all around."""

SHIFT_OPEN_PX = 1.0
"""Of the shift of an outline seen on one side only, where nothing opposite tells how far out it is drawn."""

TAIL = 3.0
"""Residuals beyond so many standard errors count less and less."""

STEPS = np.concatenate([[1e-3] * 3, [1e-6] * 3, [1e-6], [1e-6] * 2, [1e-3] * 2, [1e-4] * len(MEASURES)])
BALL_STEPS = np.array([1e-3, 1e-3] + [1e-4] * 5)


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """Places of the table seen in the picture: matrices (N, 3, measures), pixels (N, 2), errors in px (N,)."""

    matrices: Array
    at_px: Array
    error_px: Array


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Places on straight edges of the table: matrices (N, 3, measures), pixels and normals (N, 2).

    Only distances along the normals count, mixed (M, N) into what is known of each edge on its own, in standard
    errors: where it lies, how it leans, how it bends.
    """

    matrices: Array
    at_px: Array
    normals: Array
    mixed: Array


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """Places on a ball's outline: angles on its circle of tangency (K,), pixels and normals (K, 2), errors (K,).

    `blown` and `foot` (K,) say from 0 to 1 how much light beyond white a place has, and whether it lies where the
    ball meets the cloth: such places lie out farther than others, by so much for all of a ball.
    """

    angles: Array
    at_px: Array
    normals: Array
    error_px: Array
    blown: Array
    foot: Array
    size_open_px: float = 0.0
    """How far its radius was open when it was looked for: what was found then says nothing of the ball's size."""

    doubt: float = 1.0
    """How much larger all errors are than those of an outline that is seen whole."""

    @property
    def rest_errors(self) -> Array:
        """One standard error of what is known of the outline: light that runs over draws all of it that way."""
        if not len(self.angles):
            return REST_ERRORS
        drawn = np.hypot(SHIFT_BLOWN_PX * float(self.blown.mean()), SHIFT_OPEN_PX * np.abs(self.normals.mean(0)))
        return np.asarray(np.hypot(self.doubt * REST_ERRORS, [self.size_open_px, *drawn, 0.0, 0.0]))

    def only(self, chosen: Any) -> Rim:
        """Some of the places."""
        places = [one.name for one in fields(self) if one.name not in ("size_open_px", "doubt")]
        return replace(self, **{name: getattr(self, name)[chosen] for name in places})


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """All that is seen and known. `priors` are the table's, by measure; `focal_px` where the focal length is
    told.
    """

    size_px: tuple[int, int]
    radius_mm: float
    priors: dict[str, Prior]
    points: Seen | None = None
    edges: Edges | None = None
    rims: tuple[Rim, ...] = ()
    focal_px: float | None = None
    base: Array = field(default_factory=lambda: np.eye(3))

    def camera(self, x: Array) -> Camera:
        """The camera of one vector of unknowns."""
        k1, k2 = self._lens(x)
        return Camera(
            eye_mm=x[EYE].copy(),
            axes=_rotation(x[TURN]) @ self.base,
            focal_px=np.exp(x[FOCAL]),
            principal_px=x[MIDDLE] + self._centre,
            size_px=np.array(self.size_px, float),
            lens=Lens(float(k1), float(k2)),
        )

    def start(self, camera: Camera, balls_mm: Any = ()) -> tuple[Problem, Array]:
        """The problem with its turns measured from this camera, and the camera as its vector of unknowns."""
        corner = self._diagonal / 2 / float(camera.focal_px)
        lens = camera.lens or Lens(0.0)
        balls = [np.concatenate([np.asarray(b, float)[:2], REST]) for b in balls_mm]
        x = np.concatenate(
            [
                camera.eye_mm,
                np.zeros(3),
                [np.log(camera.focal_px)],
                [lens.k1 * corner**2, lens.k2 * corner**4],
                camera.principal_px - self._centre,
                np.zeros(len(MEASURES)),
                *balls,
            ]
        )
        return replace(self, base=camera.axes), x

    def measures_mm(self, x: Array) -> Array:
        """The table's measures (..., len(MEASURES)) in mm."""
        mean = np.array([self.priors[name].mm for name in MEASURES])
        return mean + x[..., TABLE] * np.array([self.priors[name].error_mm for name in MEASURES])

    def pixels(self, x: Array, points_mm: Array) -> Array:
        """Pixels (..., N, 2) of points (..., N, 3) for vectors (..., n); far away rather than nan behind the
        eye.
        """
        axes = _rotation(x[..., TURN]) @ self.base
        w = np.einsum("...ni,...ji->...nj", points_mm - x[..., None, EYE], axes)
        flat = w[..., :2] / np.maximum(w[..., 2:], 1.0)
        k1, k2 = self._lens(x)
        r2 = np.minimum(np.sum(flat * flat, -1), 1e4)
        factor = 1 + r2 * (k1[..., None] + k2[..., None] * r2)
        focal = np.exp(x[..., FOCAL])[..., None, None]
        return x[..., None, MIDDLE] + self._centre + focal * flat * factor[..., None]

    def seen_px(self, x: Array, matrices: Array) -> Array:
        """Pixels (..., N, 2) of places of the table."""
        return self.pixels(x, np.einsum("nij,...j->...ni", matrices, self.measures_mm(x)))

    def ball_mm(self, x: Array, index: int) -> Array:
        """A ball's centre (..., 3)."""
        at = FIRST_BALL + BALL_SIZE * index
        return np.concatenate([x[..., at : at + 2], np.full((*x.shape[:-1], 1), self.radius_mm)], -1)

    def residuals(self, x: Array) -> Array:
        """All rows (..., m): what is seen, robust; what is known beforehand."""
        rows = []
        if self.points is not None and len(self.points.at_px):
            off = self.seen_px(x, self.points.matrices) - self.points.at_px
            rows.append(robust(off / self.points.error_px[:, None]).reshape(*x.shape[:-1], -1))
        if self.edges is not None:
            off = self.seen_px(x, self.edges.matrices) - self.edges.at_px
            rows.append(robust(np.sum(off * self.edges.normals, -1) @ self.edges.mixed.T, 2.0))
        for index, rim in enumerate(self.rims):
            at = FIRST_BALL + BALL_SIZE * index
            extra = x[..., at + 2 : at + BALL_SIZE]
            points = rim_mm(x[..., EYE], self.ball_mm(x, index), self.radius_mm, rim.angles)
            off = self.pixels(x, points) + extra[..., None, 1:3] - rim.at_px
            out = extra[..., :1] + extra[..., 3:4] * rim.blown + extra[..., 4:] * rim.foot
            rows.append(robust((np.sum(off * rim.normals, -1) + out) / rim.error_px, 2.0))
            rows.append((extra - REST) / rim.rest_errors)
        rows.append(robust(x[..., BEND] / np.array(BEND_ERRORS), 2.0))
        rows.append(robust(x[..., MIDDLE] / (MIDDLE_ERROR * self.size_px[0]), 3.0))
        if self.focal_px is not None:
            rows.append(robust((x[..., FOCAL : FOCAL + 1] - np.log(self.focal_px)) / FOCAL_KNOWN_ERROR))
        else:
            # full-frame equivalents from 12 to 110 mm hold nearly all that is used
            usual = np.log(33.0 / 36.0 * max(self.size_px))
            rows.append((x[..., FOCAL : FOCAL + 1] - usual) / 0.9)
        # rooms end: a camera much higher than a ceiling is a focal length too long, seen from straight above
        rows.append(np.maximum(x[..., 2:3] - CEILING_MM, 0.0) / CEILING_ERROR_MM)
        rows.append(x[..., TABLE])
        return np.concatenate(rows, -1)

    def jacobian(self, x: Array) -> Array:
        """Derivatives (m, n) of the rows by the unknowns."""
        steps = np.concatenate([STEPS, np.tile(BALL_STEPS, len(self.rims))])
        moved = x + np.diag(steps)
        back = x - np.diag(steps)
        return np.asarray((self.residuals(moved) - self.residuals(back)).T / (2 * steps))

    @property
    def _centre(self) -> Array:
        return np.array(self.size_px, float) / 2

    @property
    def _diagonal(self) -> float:
        return float(np.hypot(*self.size_px))

    def _lens(self, x: Array) -> tuple[Array, Array]:
        corner2 = (self._diagonal / 2) ** 2 * np.exp(-2 * x[..., FOCAL])
        return x[..., BEND.start] / corner2, x[..., BEND.start + 1] / corner2**2


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """A fit: the problem, its unknowns, their covariance and half the sum of squares."""

    problem: Problem
    x: Array
    covariance: Array
    cost: float

    @property
    def camera(self) -> Camera:
        """The camera."""
        return self.problem.camera(self.x)

    def without_balls(self) -> Solved:
        """The fit without the balls' unknowns, to start another one from."""
        known = slice(FIRST_BALL)
        return Solved(replace(self.problem, rims=()), self.x[known], self.covariance[known, known], self.cost)

    def error(self, function: Any) -> Array:
        """Half-widths of 95 % of what a function of the unknowns (..., n) to (..., m) gives, (m,)."""
        return 1.96 * np.sqrt(np.maximum(np.diag(self.spread(function)), 0.0))

    def spread(self, function: Any) -> Array:
        """The covariance (m, m) of what a function of the unknowns gives."""
        G = self.slopes(function)
        return np.asarray(G @ self.covariance @ G.T)

    def slopes(self, function: Any) -> Array:
        """The derivatives (m, n) of what a function of the unknowns gives."""
        steps = np.concatenate([STEPS, np.tile(BALL_STEPS, len(self.problem.rims))])
        return np.stack(
            [
                (function(self.x + d) - function(self.x - d)) / (2 * s)
                for d, s in zip(np.diag(steps), steps, strict=True)
            ],
            -1,
        )

    def seen_px(self, names: tuple[str, ...]) -> tuple[Array, Array]:
        """Pixels (N, 2) of named points and the covariances (N, 2, 2) of these."""
        matrices = np.stack([NAMED[name] for name in names])
        pixels = self.problem.seen_px(self.x, matrices)
        whole = self.spread(lambda x: self.problem.seen_px(x, matrices).reshape(-1))
        n = len(names)
        return pixels, np.stack([whole[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] for k in range(n)])


def solve(problem: Problem, x: Array, most: int = 40) -> Solved:
    """The fit from a start."""
    from scipy.optimize import least_squares

    found = least_squares(
        problem.residuals,
        x,
        jac=problem.jacobian,
        method="lm",
        x_scale="jac",
        max_nfev=most,
        xtol=1e-9,
        ftol=1e-9,
        gtol=1e-9,
    )
    J = found.jac
    scale = np.maximum(np.linalg.norm(J, axis=0), 1e-12)
    covariance = np.linalg.pinv((J / scale).T @ (J / scale), rcond=1e-14) / np.outer(scale, scale)
    return Solved(problem, found.x, covariance, float(found.cost))


def is_sound(solved: Solved) -> bool:
    """True where the camera stands above the cloth and its lens can see nearly the whole frame."""
    camera, (wide, high) = solved.camera, solved.problem.size_px
    if camera.eye_mm[2] < 60 or not np.isfinite(solved.x).all():
        return False
    assert camera.lens is not None
    return bool(camera.lens.reach > 0.75 * np.hypot(wide, high) / 2 / camera.focal_px)


def robust(z: Array, tail: float = TAIL) -> Array:
    """Residuals in standard errors as rows whose square is a long-tailed loss: tail^2 log(1 + (z / tail)^2)."""
    return np.sign(z) * tail * np.sqrt(np.log1p((z / tail) ** 2))


def _rotation(turn: Array) -> Array:
    """Rotation matrices (..., 3, 3) of rotation vectors (..., 3)."""
    angle = np.sqrt(np.sum(turn * turn, -1) + 1e-300)[..., None, None]
    a, b, c = turn[..., 0], turn[..., 1], turn[..., 2]
    zero = np.zeros_like(a)
    K = np.stack([np.stack([zero, -c, b], -1), np.stack([c, zero, -a], -1), np.stack([-b, a, zero], -1)], -2)
    small = angle < 1e-5
    safe = np.where(small, 1.0, angle)
    s = np.where(small, 1 - angle**2 / 6, np.sin(safe) / safe)
    v = np.where(small, 0.5 - angle**2 / 24, (1 - np.cos(safe)) / safe**2)
    return np.asarray(np.eye(3) + s * K + v * (K @ K))
