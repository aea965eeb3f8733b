"""Which well-formed requests no shot or no eye answers, and why.

Where several things are wrong, what lies with the object ball and its target comes first, since no cue ball
mends it; then what lies with the cue ball; then the other balls.
"""

from __future__ import annotations

import numpy as np

from aimgeo.aim_frame import AimFrame
from aimgeo.asking.asked import Asked
from aimgeo.asking.fields import PLACED, ROLLED, SOLVED, Refusal
from aimgeo.asking.resolve import FROZEN_MM, half_bed_mm, look_at_mm, others_mm, tips_mm
from aimgeo.blocking import overlapping
from aimgeo.eye import ball_points
from aimgeo.pocket import (
    cushion_bearing_rad,
    is_in_mouth,
    playable_bearing_rad,
    playable_target_mm,
    pocket_window,
)
from aimgeo.roll import is_on_bed
from aimgeo.shot import Shot
from aimgeo.vectors import Array, BoolArray, dot, length

Refusals = dict[int, Refusal]
"""By the place of a request in its batch."""
OFF_BED = (
    "The {} would lie off the bed or inside a cushion: its centre ({{}}, {{}}) mm on a bed of {{}} x {{}} mm."
)


def refused_shots(asked: Asked, shot: Shot) -> Refusals:
    """The requests that no shot answers; the first reason counts."""
    mode, bed = asked["mode"], half_bed_mm(asked)
    D, d, R = shot.distance_mm, asked["ball_diameter_mm"], shot.radius_mm
    O, T = asked.place_mm("object_ball_mm"), asked.place_mm("target_mm")
    placed = mode == PLACED
    found: Refusals = {}

    def refuse(where: BoolArray, code: str, field: str, message: str, *values: Array) -> None:
        for i in np.flatnonzero(where).tolist():
            if i not in found:
                found[i] = Refusal(code, message.format(*(f"{v[i]:g}" for v in values)), field)

    def refuse_off_bed(where: BoolArray, centre: Array, field: str, name: str) -> None:
        where = where & ~is_on_bed(centre, bed, R)
        refuse(where, "off_bed", field, OFF_BED.format(name), *centre[..., :2].T, *(2 * bed.T))

    refuse(
        length(T - O) <= FROZEN_MM,
        "target_at_object",
        "target_mm",
        "The target lies on the object ball itself, so it names no direction.",
    )
    refuse_off_bed(np.ones_like(placed), shot.object_ball_mm, "object_ball_mm", "object ball")
    if np.any(asked["pocket"] > 0):
        refuse(
            (asked["pocket"] > 0) & is_in_mouth(O, *tips_mm(asked), R),
            "bad_value",
            "object_ball_mm",
            "The object ball is already on or between the points of the pocket.",
        )
    before = len(found)
    refuse_off_bed(mode != ROLLED, shot.ghost_ball_mm, "target_mm", "ghost ball")
    if len(found) > before:
        _offer_playable(asked, found)
    for where, field in ((placed, "distance_mm"), (~placed, "cue_ball_mm")):
        refuse(
            where & (d - FROZEN_MM > D),
            "balls_overlap",
            field,
            "The balls' centres are {} mm apart, less than their diameter of {} mm.",
            D,
            d,
        )
    refuse_off_bed(~placed, shot.cue_ball_mm, "cue_ball_mm", "cue ball")
    refuse(
        (mode == SOLVED) & (np.abs(D - d) > FROZEN_MM) & (np.abs(shot.cut_rad) >= np.pi / 2),
        "cut_out_of_range",
        "target_mm",
        "The target would need a cut of {} degrees; a ball can be cut by less than 90.",
        np.degrees(np.abs(shot.cut_rad)),
    )
    refuse_off_bed(placed, shot.cue_ball_mm, "distance_mm", "cue ball")
    _refuse_others(asked, shot, bed, found)
    return found


def _offer_playable(asked: Asked, refused: Refusals) -> None:
    """Adds to the refusals of ghost balls off the bed where else the object ball can be sent.

    Into the pocket, where there is one and some way into it is free; else in the nearest direction that the
    cushions allow, as far away as the target.
    """
    at = sorted(i for i, one in refused.items() if (one.code, one.field) == ("off_bed", "target_mm"))
    asked = asked.at(np.array(at))
    O, T, d, bed = (
        asked.place_mm("object_ball_mm"),
        asked.place_mm("target_mm"),
        asked["ball_diameter_mm"],
        half_bed_mm(asked),
    )
    window = pocket_window(O, T, *tips_mm(asked), d / 2)
    into = playable_target_mm(window, O, playable_bearing_rad(window, O, bed, d))
    along = playable_target_mm(window, O, cushion_bearing_rad(window.towards, O, bed, d))
    for k, i in enumerate(at):
        one = refused[i]
        if np.isfinite(into[k, 0]):
            offer = f"the nearest direction that the cushion and the pocket allow is towards {_target(into[k])}."
        else:
            offer = f"the nearest direction that the cushion allows is towards {_target(along[k])}."
            if asked["pocket"][k] > 0:
                offer = f"no direction that the cushion allows goes clean into the pocket; {offer}"
        refused[i] = Refusal(one.code, f"{one.message[:-1]}; {offer}", one.field)


def _target(point: Array) -> str:
    x, y = point.tolist()
    return f"target_mm [{x:.6f}, {y:.6f}]"


def _refuse_others(asked: Asked, shot: Shot, bed: Array, found: Refusals) -> None:
    """Refuses other balls that lie off the bed, in one another, or in the two balls of the shot."""
    owner, others = others_mm(asked)
    if not owner.size:
        return
    first = np.searchsorted(owner, np.arange(asked.count))

    def name(k: int) -> str:
        return f"others_mm[{k - int(first[owner[k]])}]"

    for k in np.flatnonzero(~is_on_bed(others, bed[owner], shot.radius_mm[owner])).tolist():
        x, y = others[k].tolist()
        message = f"The ball {name(k)} at ({x:g}, {y:g}) mm would lie off the bed."
        found.setdefault(int(owner[k]), Refusal("off_bed", message, name(k)))
    having = np.unique(owner)
    two = [(shot.cue_ball_mm, "the cue ball"), (shot.object_ball_mm, "the object ball")]
    balls = np.concatenate([others, *(centre[having, :2] for centre, _ in two)])
    whose = np.concatenate([owner, having, having])
    for i, j in overlapping(balls, whose, asked["ball_diameter_mm"][whose], FROZEN_MM).tolist():
        if i < owner.size:  # the shot's own two balls have been judged
            late, other = (j, i) if j < owner.size else (i, j)
            beside = name(other) if other < owner.size else two[(other - owner.size) // having.size][1]
            apart = float(length(balls[i] - balls[j]))
            message = f"The ball {name(late)} overlaps {beside}: their centres are {apart:g} mm apart."
            found.setdefault(int(whose[i]), Refusal("balls_overlap", message, name(late)))


def refused_eyes(asked: Asked, frame: AimFrame, eye: Array) -> Refusals:
    """The requests whose eye (N, 3) in the aim frame stands in a ball, or looks at itself."""
    points = ball_points(frame)
    inside = np.zeros(asked.count, bool)
    for ball in (points.cue_ball, points.object_ball):
        inside |= dot(eye - ball, eye - ball) < frame.radius_mm**2
    owner, others = others_mm(asked)
    if owner.size:
        balls = np.concatenate([others, frame.radius_mm[owner, None]], axis=-1)
        gaps = frame.to_table(eye)[owner] - balls
        np.logical_or.at(inside, owner, dot(gaps, gaps) < frame.radius_mm[owner] ** 2)
    found: Refusals = {}
    own = np.isfinite(asked["camera.eye_mm.x"])
    for k in np.flatnonzero(inside).tolist():
        field = "camera.eye_mm" if own[k] else "eye"
        found[k] = Refusal("eye_in_ball", "The eye would be inside a ball.", field)
    nowhere = (asked["camera.look"] > 0) & np.all(look_at_mm(asked, frame, points) == eye, axis=-1)
    for k in np.flatnonzero(nowhere).tolist():
        blind = Refusal("bad_value", "The camera looks at the very place where it stands.", "camera.look_at")
        found.setdefault(k, blind)
    return found
