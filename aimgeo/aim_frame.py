"""A shot seen along its aim line: origin at the cue ball, x along the aim, y to its left.

In this frame a shot is four numbers (diameter, cut, travel, distance to the target), whatever the table and the
direction of play. Every question about eyes and errors is answered here, where turned and moved shots are
the same shot, and no digits are lost to large coordinates.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aimgeo.shot import Shot
from aimgeo.vectors import Array, ArrayLike, angle_rad, cross, dot, left, length


@dataclass(frozen=True, slots=True, eq=False)
class AimFrame:
    """Lengths in mm, angles in radians, all (N,) unless said otherwise; nan where a rolled ball hits nothing.

    `cut_rad` is signed, left positive. `target_distance_mm` and `target_turn_rad` are length and bearing of the
    join from the object ball to the target; the bearing is counted from the object ball's direction, and is 0
    except for a rolled ball, which need not send the object ball to the target.
    """

    diameter_mm: Array
    cut_rad: Array
    sin_cut: Array
    cos_cut: Array
    travel_mm: Array
    distance_mm: Array
    object_x_mm: Array
    object_y_mm: Array
    target_distance_mm: Array
    target_turn_rad: Array
    cue_ball_mm: Array
    """Origin on the table, (N, 2)."""
    aim_direction: Array
    """(N, 2)."""
    object_ball_mm: Array
    """(N, 2)."""
    half_bed_mm: Array
    """Half the bed's length and width, (N, 2); inf for an endless cloth."""

    @property
    def radius_mm(self) -> Array:
        """Ball radius."""
        return self.diameter_mm / 2

    def to_table(self, points: ArrayLike) -> Array:
        """Points or their (N, P, 3) arrays of this frame, (N, 2), (N, 3) or (N, P, 3), on the table."""
        p = np.asarray(points, float)
        C, a = _like(self.cue_ball_mm, p), _like(self.aim_direction, p)
        flat = C + p[..., :1] * a + p[..., 1:2] * left(a)
        return np.concatenate([flat, p[..., 2:]], axis=-1)

    def from_table(self, points: ArrayLike) -> Array:
        """Points of the table, (N, 2), (N, 3) or (N, P, 3), in this frame."""
        p = np.asarray(points, float)
        a = _like(self.aim_direction, p)
        w = p[..., :2] - _like(self.cue_ball_mm, p)
        return np.concatenate([dot(w, a)[..., None], cross(a, w)[..., None], p[..., 2:]], axis=-1)

    def object_direction(self) -> Array:
        """Where the object ball goes, (N, 2)."""
        return np.stack([self.cos_cut, self.sin_cut], axis=-1)


def aim_frame(shot: Shot, half_bed_mm: ArrayLike = (np.inf, np.inf), rolled: ArrayLike = False) -> AimFrame:
    """The frame of shots (N,). `rolled` (N,): True where the object ball need not go to the target."""
    d, c, q = np.asarray(shot.ball_diameter_mm, float), shot.cut_rad, shot.travel_mm
    sin, cos = np.sin(c), np.cos(c)
    C, O, T = (p[..., :2] for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.target_mm))
    a = shot.aim_direction
    to_target = T - O
    turn = np.where(np.asarray(rolled, bool), angle_rad(shot.object_direction, to_target), 0.0)
    turn = np.where(np.isnan(shot.target_mm[..., 0]), np.nan, turn)
    missed = np.isnan(c)
    w = O - C
    x = np.where(missed, dot(w, a), q + d * cos)
    y = np.where(missed, cross(a, w), d * sin)
    bed = np.broadcast_to(np.asarray(half_bed_mm, float), a.shape)
    return AimFrame(d, c, sin, cos, q, shot.distance_mm, x, y, length(to_target), turn, C, a, O, bed)


def _like(per_shot: Array, points: Array) -> Array:
    return per_shot[..., None, :] if points.ndim > per_shot.ndim else per_shot
