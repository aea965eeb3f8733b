"""A method judged over all cuts: by how much it misses at each, and where it pockets. One way into one pocket."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

import numpy as np

from aimgeo.aim_frame import aim_frame
from aimgeo.eye import eye_offset_mm
from aimgeo.methods.method import Method
from aimgeo.methods.readings import judged_readings
from aimgeo.pocket import window_into
from aimgeo.shot import Shot, place_shot
from aimgeo.tables import Pocket
from aimgeo.vectors import Array, BoolArray

STEEPEST_RAD = np.radians(60)
STEPS = 240
"""Quarters of a degree."""


@dataclass(frozen=True, slots=True, eq=False)
class OverCuts:
    """What comes of a method at every cut, (N,).

    `miss_mm` at the target, unsigned, the worst of its readings: nan beyond the method's reach and where none of
    them gives an aim, infinite where
    the aim passes the object ball or turns it back. `pocketed`: it goes in by all of them.
    """

    cut_rad: Array
    miss_mm: Array
    pocketed: BoolArray

    def at(self, cut_rad: float) -> float:
        """The miss at the nearest of the cuts."""
        return float(self.miss_mm[int(np.argmin(np.abs(self.cut_rad - cut_rad)))])

    @property
    def runs(self) -> tuple[tuple[float, float], ...]:
        """The stretches of cuts that it pockets: first and last, radians."""
        cuts = iter(self.cut_rad.tolist())
        found = []
        for goes_in, each in groupby(self.pocketed.tolist()):
            run = [next(cuts) for _ in each]
            if goes_in:
                found.append((run[0], run[-1]))
        return tuple(found)


def over_cuts(
    method: Method,
    shot: Shot,
    eye: tuple[float, float, float],
    pocket: Pocket | None,
    eye_sines: float = 0.0,
    steepest_rad: float = STEEPEST_RAD,
) -> OverCuts:
    """The method from 0 to the steepest cut: object ball, target, side and distance are those of one shot.

    eye: mm behind the cue ball, to the left of the aim line, above the cloth; `eye_sines`: so many contact offsets
    farther to the left. The cloth has no ends: a cue ball may lie where the table would not let it. Without a
    pocket nothing is pocketed.
    """
    cuts = np.linspace(0.0, steepest_rad, STEPS + 1)
    side = float(shot.side) or 1.0
    O, T = (np.broadcast_to(p[:2], (len(cuts), 2)) for p in (shot.object_ball_mm, shot.target_mm))
    many = place_shot(O, T, side * cuts, np.full(len(cuts), float(shot.distance_mm)), shot.ball_diameter_mm)
    frame = aim_frame(many)
    back, aside, high = eye
    offset = eye_offset_mm(frame, np.full(len(cuts), aside), np.zeros(len(cuts)), np.full(len(cuts), eye_sines))
    at = np.stack([np.full(len(cuts), -back), offset, np.full(len(cuts), high)], axis=-1)
    window = None if pocket is None else window_into(pocket, frame.object_ball_mm, frame.radius_mm)
    found = judged_readings(frame, at, window=window, methods={method.name: method})[method.name].values()
    misses, pocketed = [], []
    for one in found:
        miss = np.where(one.hit & np.isfinite(one.miss_mm), np.abs(one.miss_mm), np.inf)
        misses.append(np.where(one.has_aim, miss, np.nan))
        pocketed.append(one.pocketed | ~one.has_aim)
    each = np.array(misses)
    has_aim = ~np.isnan(each).all(axis=0) & (np.sin(cuts) <= method.sin_reach + 1e-9)
    worst = np.max(np.where(np.isnan(each), -np.inf, each), axis=0)
    return OverCuts(cuts, np.where(has_aim, worst, np.nan), np.all(pocketed, axis=0) & has_aim)
