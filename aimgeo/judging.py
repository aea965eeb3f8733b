"""What comes of an aim: the cut that it makes, how far the object ball turns and misses, and is it pocketed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aimgeo.aim_frame import AimFrame
from aimgeo.pocket import Window, passes
from aimgeo.roll import is_on_bed, meets, rolled_cut_rad
from aimgeo.vectors import Array, ArrayLike, BoolArray, left, wrapped_rad


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """What comes of an aim, (N,) or (K, N).

    All signed: `aim_error_rad` turn of the aim, left positive, nan where there is no such aim. The others are nan
    where the object ball is not hit: `cut_rad` left positive; `object_error_rad` turn of the object ball's path,
    counter-clockwise positive; `miss_mm` at the target's distance, signed like it, nan at a quarter turn and
    beyond. `pocketed`: the object ball goes clean through the pocket's window; False where there is no pocket.
    """

    aim_error_rad: Array
    hit: BoolArray
    cut_rad: Array
    object_error_rad: Array
    miss_mm: Array
    pocketed: BoolArray

    @property
    def has_aim(self) -> BoolArray:
        """True where there is an aim, whether it hits the object ball or passes it."""
        return np.isfinite(self.aim_error_rad)

    def row(self, k: int) -> Outcome:
        """The k-th aim of (K, N) outcomes, (N,)."""
        return Outcome(*(getattr(self, name)[k] for name in Outcome.__dataclass_fields__))


def outcome(
    frame: AimFrame, turn_rad: ArrayLike, shift_mm: ArrayLike = 0.0, window: Window | None = None
) -> Outcome:
    """What comes of a cue ball started `shift` left of C, along the aim turned left by `turn`, (N,) or (K, N).

    It misses where it passes, grazes, meets a cushion first, or where there is no such aim (nan). Without a
    pocket's `window` (nan in a row: none there) nothing is pocketed.
    """
    turn, shift = np.asarray(turn_rad, float), np.asarray(shift_mm, float)
    x, y = frame.object_x_mm, frame.object_y_mm - shift
    cos, sin = np.cos(turn), np.sin(turn)
    aside = y * cos - x * sin
    cut = np.where(
        meets(x * cos + y * sin, aside, frame.diameter_mm), rolled_cut_rad(aside, frame.diameter_mm), np.nan
    )
    cut = np.where(_stays_on_bed(frame, turn + cut, shift), cut, np.nan)
    hit = np.isfinite(cut)
    # the change of the cut and the turn of the aim nearly cancel; their sum is exact to 1e-15 rad
    error = wrapped_rad(turn + (cut - frame.cut_rad))
    with np.errstate(invalid="ignore"):
        miss = np.where(np.abs(error) < np.pi / 2, frame.target_distance_mm * np.tan(error), np.nan)
    pocketed = np.zeros(hit.shape, bool) if window is None else passes(window, error - frame.target_turn_rad)
    return Outcome(np.broadcast_to(turn, hit.shape), hit, cut, error, miss, pocketed)


def _stays_on_bed(frame: AimFrame, object_turn: Array, shift_mm: Array) -> BoolArray:
    """True where neither the start nor the ghost ball is in a cushion; only balls near one need a look."""
    R, d = frame.radius_mm, frame.diameter_mm
    shape = np.broadcast_shapes(object_turn.shape, shift_mm.shape)
    fine: BoolArray = np.ones(shape, bool)
    room = frame.half_bed_mm - np.abs(frame.object_ball_mm)
    near = np.flatnonzero(np.minimum(room[:, 0], room[:, 1]) < 1.5 * d)
    if near.size:
        a, turn = frame.aim_direction[near], np.broadcast_to(object_turn, shape)[..., near]
        cos, sin = np.cos(turn)[..., None], np.sin(turn)[..., None]
        ghost = frame.object_ball_mm[near] - d[near, None] * (cos * a + sin * left(a))
        fine[..., near] = is_on_bed(ghost, frame.half_bed_mm[near], R[near])
    if np.any(shift_mm):
        start = frame.cue_ball_mm + shift_mm[..., None] * left(frame.aim_direction)
        fine &= is_on_bed(start, frame.half_bed_mm, R)
    return fine


def sensitivity(frame: AimFrame) -> tuple[Array, Array]:
    """Magnitudes of the derivatives of the cut, and of the object ball's direction, by the aim's direction, (N,).

    Turning the aim by e about C moves its passing distance by (q + d cos c) e, and the cut by that over d cos c;
    the object ball turns the other way, by one e less. At the ghost ball, e = miss / q: the object ball turns by
    miss / (d cos c), whatever the distance.
    """
    object_per_aim = frame.travel_mm / (frame.diameter_mm * frame.cos_cut)
    return 1 + object_per_aim, object_per_aim
