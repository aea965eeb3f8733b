"""A method's usual mistake, as a shot: what comes of taking its words at their face, for one eye."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from aimgeo.aim_frame import aim_frame
from aimgeo.methods.readings import judged_readings
from aimgeo.pocket import window_into
from aimgeo.roll import rolled_shot
from aimgeo.shot import Shot, at_height, one_of_many
from aimgeo.vectors import length, turned
from scenes.board.brief import Subject


@dataclass(frozen=True, slots=True, eq=False)
class Mistake:
    """A reading of the method, its shot (whose target is as far off as the true one), and its miss there in mm."""

    reading: str
    shot: Shot
    miss_mm: float


def mistake(subject: Subject) -> Mistake | None:
    """The reading that misses by most of those that hit the ball and send it beside the pocket; None for none.

    The subject has a shot, an eye, a construction and a pocket.
    """
    shot, eye, plan, table = subject.shot, subject.eye, subject.construction, subject.table
    if shot is None or eye is None or plan is None or table is None or subject.target_name is None:
        return None
    bed = (table.length_mm / 2, table.width_mm / 2)
    frame = aim_frame(one_of_many(shot), bed)
    window = window_into(table.pocket(subject.target_name), frame.object_ball_mm, frame.radius_mm)
    at = np.array([[-eye.back_mm, eye.offset_mm, eye.height_mm]])
    found = judged_readings(frame, at, window=window, methods=subject.methods).get(plan.method, {})
    wrong = {
        name: one for name, one in found.items()
        if one.hit[0] and not one.pocketed[0] and np.isfinite(one.miss_mm[0])
    }  # fmt: skip
    if not wrong:
        return None
    name = max(wrong, key=lambda n: abs(float(wrong[n].miss_mm[0])))
    one = wrong[name]
    rolled = rolled_shot(
        shot.cue_ball_mm[:2],
        turned(shot.aim_direction, one.aim_error_rad[0]),
        shot.object_ball_mm[:2],
        ball_diameter_mm=shot.ball_diameter_mm,
        half_bed_mm=bed,
    )
    far = length((shot.target_mm - shot.object_ball_mm)[:2])
    end = at_height(shot.object_ball_mm[:2] + far * rolled.object_direction, shot.radius_mm)
    return Mistake(name, replace(rolled, target_mm=end), abs(float(one.miss_mm[0])))
