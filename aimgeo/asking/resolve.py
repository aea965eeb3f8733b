"""From checked requests to shots, aim frames and eyes; and which requests no shot answers."""

from __future__ import annotations

from dataclasses import fields
from itertools import chain

import numpy as np

from aimgeo.aim_frame import AimFrame, aim_frame
from aimgeo.asking.asked import Asked
from aimgeo.asking.request import (
    AIM_DEG,
    APPROACH_DEG,
    CUE_X,
    CUT_DEG,
    DIAMETER,
    DISTANCE,
    EYE_BACK,
    EYE_HEIGHT,
    EYE_OFFSET,
    EYE_RADII,
    EYE_SINES,
    EYE_X,
    GIVEN_POCKET,
    HALF_LENGTH,
    LOOK,
    LOOK_POINT,
    LOOK_X,
    LOOKS,
    MODE,
    MOUTH,
    OBJECT_X,
    PLACED,
    POCKET,
    ROLLED,
    SIDE,
    SOLVED,
    TARGET_X,
    TIP_A_X,
    TIP_B_X,
    Refusal,
)
from aimgeo.blocking import overlapping
from aimgeo.eye import (
    BallPoints,
    ball_points,
    eye_offset_mm,
)
from aimgeo.pocket import (
    cushion_bearing_rad,
    is_in_mouth,
    mouth_tips,
    playable_bearing_rad,
    playable_target_mm,
    pocket_window,
)
from aimgeo.roll import is_on_bed, rolled_shot
from aimgeo.shot import Shot, place_shot, solve_shot
from aimgeo.vectors import Array, BoolArray, IntArray, direction, dot, length

FROZEN_MM = 1e-9
"""Balls whose distance is a diameter within this touch."""


def shots_of(columns: Array) -> Shot:
    """The shots of a batch, each by its own way of asking."""
    O, T, C = (columns[first : first + 2].T for first in (OBJECT_X, TARGET_X, CUE_X))
    d, mode = columns[DIAMETER], columns[MODE]
    made: list[tuple[IntArray, Shot]] = []
    at = np.flatnonzero(mode == PLACED)
    if at.size:
        D = columns[DISTANCE, at]
        D = np.where(np.abs(D - d[at]) <= FROZEN_MM, d[at], D)
        made.append((at, place_shot(O[at], T[at], columns[SIDE, at] * np.radians(columns[CUT_DEG, at]), D, d[at])))
    at = np.flatnonzero(mode == SOLVED)
    if at.size:
        made.append((at, solve_shot(C[at], O[at], T[at], d[at])))
    at = np.flatnonzero(mode == ROLLED)
    if at.size:
        bed = columns[HALF_LENGTH : HALF_LENGTH + 2, at].T
        made.append((at, rolled_shot(C[at], direction(columns[AIM_DEG, at]), O[at], T[at], d[at], bed)))
    if len(made) == 1:
        return made[0][1]
    joined = {}
    for f in fields(Shot):
        parts = [(at, getattr(shot, f.name)) for at, shot in made]
        whole = np.empty((columns.shape[1], *parts[0][1].shape[1:]))
        for places, values in parts:
            whole[places] = values
        joined[f.name] = whole
    return Shot(**joined)


def refusals(asked: Asked, shot: Shot) -> dict[int, Refusal]:
    """The requests that no shot answers, by their place; the first reason counts."""
    columns = asked.numbers
    mode, bed = columns[MODE], columns[HALF_LENGTH : HALF_LENGTH + 2].T
    D, d, R = shot.distance_mm, np.asarray(shot.ball_diameter_mm), shot.radius_mm
    O, T = columns[OBJECT_X : OBJECT_X + 2].T, columns[TARGET_X : TARGET_X + 2].T
    frozen = np.abs(D - d) <= FROZEN_MM
    cut_deg = np.degrees(np.abs(shot.cut_rad))
    placed, rolled = mode == PLACED, mode == ROLLED
    size = bed * 2
    found: dict[int, Refusal] = {}

    def refuse(where: BoolArray, code: str, field: str, message: str, *values: Array) -> None:
        for i in np.flatnonzero(where).tolist():
            if i not in found:
                found[i] = Refusal(code, message.format(*(f"{v[i]:g}" for v in values)), field)

    off = (
        "The {} would lie off the bed or inside a cushion: its centre ({{}}, {{}}) mm on a bed of {{}} x {{}} mm."
    )

    def refuse_off_bed(where: BoolArray, centre: Array, field: str, name: str) -> None:
        x, y = centre[..., 0], centre[..., 1]
        where = where & ~is_on_bed(centre, bed, R)
        refuse(where, "off_bed", field, off.format(name), x, y, size[..., 0], size[..., 1])

    # first what lies with the object ball and its target: no cue ball can mend it
    refuse(
        length(T - O) <= FROZEN_MM,
        "target_at_object",
        "target_mm",
        "The target lies on the object ball itself, so it names no direction.",
    )
    refuse_off_bed(np.ones_like(placed), shot.object_ball_mm, "object_ball_mm", "object ball")
    if np.any(columns[POCKET] > 0):
        refuse(
            (columns[POCKET] > 0) & is_in_mouth(O, *tips_mm(columns), R),
            "bad_value",
            "object_ball_mm",
            "The object ball is already on or between the points of the pocket.",
        )
    before = len(found)
    refuse_off_bed(~rolled, shot.ghost_ball_mm, "target_mm", "ghost ball")
    if len(found) > before:
        _offer_playable(columns, shot, found)
    # then what lies with the cue ball
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
        (mode == SOLVED) & ~frozen & (np.abs(shot.cut_rad) >= np.pi / 2),
        "cut_out_of_range",
        "target_mm",
        "The target would need a cut of {} degrees; a ball can be cut by less than 90.",
        cut_deg,
    )
    refuse_off_bed(placed, shot.cue_ball_mm, "distance_mm", "cue ball")
    _refuse_others(asked, shot, bed, found)
    return found


def _refuse_others(asked: Asked, shot: Shot, bed: Array, found: dict[int, Refusal]) -> None:
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
    for i, j in overlapping(balls, whose, np.asarray(shot.ball_diameter_mm)[whose], FROZEN_MM).tolist():
        if i < owner.size:  # the shot's own two balls have been judged
            late = max(k for k in (i, j) if k < owner.size)
            other = i if late == j else j
            beside = name(other) if other < owner.size else two[(other - owner.size) // having.size][1]
            apart = float(length(balls[i] - balls[j]))
            message = f"The ball {name(late)} overlaps {beside}: their centres are {apart:g} mm apart."
            found.setdefault(int(whose[i]), Refusal("balls_overlap", message, name(late)))


def _offer_playable(columns: Array, shot: Shot, refused: dict[int, Refusal]) -> None:
    """Adds to the refusals of ghost balls off the bed where else the object ball can be sent.

    Into the pocket, where there is one and some way into it is free; else in the nearest direction that the
    cushions allow, as far away as the target.
    """
    at = [i for i, one in refused.items() if (one.code, one.field) == ("off_bed", "target_mm")]
    columns, O = columns[:, at], columns[OBJECT_X : OBJECT_X + 2, at].T
    T, bed = columns[TARGET_X : TARGET_X + 2].T, columns[HALF_LENGTH : HALF_LENGTH + 2].T
    window = pocket_window(O, T, *tips_mm(columns), shot.radius_mm[at])
    into = playable_target_mm(window, O, playable_bearing_rad(window, O, bed, columns[DIAMETER]))
    free = cushion_bearing_rad(window.towards, O, bed, columns[DIAMETER])
    along = playable_target_mm(window, O, free)
    for k, i in enumerate(at):
        one = refused[i]
        if np.isfinite(into[k, 0]):
            offer = f"the nearest direction that the cushion and the pocket allow is towards {_place(into[k])}."
        else:
            pocketless = (
                ""
                if columns[POCKET, k] == 0
                else "no direction that the cushion allows goes clean into the pocket; "
            )
            offer = f"{pocketless}the nearest direction that the cushion allows is towards {_place(along[k])}."
        refused[i] = Refusal(one.code, f"{one.message[:-1]}; {offer}", one.field)


def _place(point: Array) -> str:
    x, y = point.tolist()
    return f"target_mm [{x:.6f}, {y:.6f}]"


def frames_and_eyes(asked: Asked, shot: Shot) -> tuple[dict[int, Refusal], AimFrame, Array]:
    """The eyes that cannot be, by their place; the aim frames, and the eyes (nan where none is asked for)."""
    columns = asked.numbers
    rolled = columns[MODE] == ROLLED
    frame = aim_frame(shot, columns[HALF_LENGTH : HALF_LENGTH + 2].T, rolled)
    offset = eye_offset_mm(frame, columns[EYE_OFFSET], columns[EYE_RADII], columns[EYE_SINES])
    behind = np.stack([-columns[EYE_BACK], offset, columns[EYE_HEIGHT]], axis=-1)
    own = np.isfinite(columns[EYE_X])
    eye = np.where(own[:, None], frame.from_table(columns[EYE_X : EYE_X + 3].T), behind)
    points = ball_points(frame)
    inside = np.zeros(asked.count, bool)
    for ball in (points.cue_ball, points.object_ball):
        inside |= dot(eye - ball, eye - ball) < frame.radius_mm**2
    owner, others = others_mm(asked)
    if owner.size:
        balls = np.concatenate([others, frame.radius_mm[owner, None]], axis=-1)
        gaps = frame.to_table(eye)[owner] - balls
        np.logical_or.at(inside, owner, dot(gaps, gaps) < frame.radius_mm[owner] ** 2)
    refused: dict[int, Refusal] = {}
    for k in np.flatnonzero(inside).tolist():
        field = "camera.eye_mm" if own[k] else "eye"
        refused[k] = Refusal("eye_in_ball", "The eye would be inside a ball.", field)
    nowhere = (columns[LOOK] > 0) & np.all(look_at_mm(columns, frame, points) == eye, axis=-1)
    for k in np.flatnonzero(nowhere).tolist():
        blind = Refusal("bad_value", "The camera looks at the very place where it stands.", "camera.look_at")
        refused.setdefault(k, blind)
    return refused, frame, eye


def look_at_mm(columns: Array, frame: AimFrame, points: BallPoints) -> Array:
    """The points that the cameras look at, (N, 3); of no meaning where there is no camera."""
    given = frame.from_table(columns[LOOK_X : LOOK_X + 3].T)
    look = columns[LOOK][:, None]
    ball = np.where(look == LOOKS["ghost_ball"], points.ghost_ball, points.object_ball)
    return np.where(look == LOOK_POINT, given, ball)


def tips_mm(columns: Array) -> tuple[Array, Array]:
    """The points of the mouths, (N, 2) each; nan where there is no pocket."""
    O, T = columns[OBJECT_X : OBJECT_X + 2].T, columns[TARGET_X : TARGET_X + 2].T
    A, B = columns[TIP_A_X : TIP_A_X + 2].T, columns[TIP_B_X : TIP_B_X + 2].T
    given = (columns[POCKET] == GIVEN_POCKET)[:, None]
    if not given.any():
        return A, B
    right, left = mouth_tips(O, T, columns[MOUTH], np.radians(columns[APPROACH_DEG]))
    return np.where(given, right, A), np.where(given, left, B)


def others_mm(asked: Asked) -> tuple[IntArray, Array]:
    """All other balls of a batch (M, 2), and whose they are (M,)."""
    given = asked.free["others_mm"]
    owner = np.repeat(np.array(list(given), int), [len(balls) for balls in given.values()])
    numbers = chain.from_iterable(chain.from_iterable(given.values()))
    return owner, np.fromiter(numbers, float, 2 * owner.size).reshape(-1, 2)
