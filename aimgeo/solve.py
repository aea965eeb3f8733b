"""Answers to requests about shots, for one or many at once, as docs/solve.md lays down."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields
from typing import Any

import numpy as np

from aimgeo.request import (
    AIM_DEG,
    CUE_X,
    CUT_DEG,
    DIAMETER,
    DISTANCE,
    HALF_LENGTH,
    MODE,
    OBJECT_X,
    PLACED,
    ROLLED,
    SIDE,
    SOLVED,
    TARGET_X,
    Asked,
    Refusal,
    identity,
    read,
)
from aimgeo.roll import is_on_bed, rolled_shot
from aimgeo.rows import rows
from aimgeo.shot import Shot, place_shot, solve_shot
from aimgeo.vectors import Array, BoolArray, IntArray, angle_rad, direction, length

FROZEN_MM = 1e-9
THIN_CUT_DEG = 80.0
SIDES = ("straight", "left", "right")
"""Indexed by the sign of the cut: 0, 1, -1."""
AIM_KEYS = ("aim_direction", "cut_deg", "side", "travel_mm", "overlap", "aim_offset_mm", "contact_offset_mm")
"""What a shot does not have when the balls touch."""


def answer(requests: Sequence[Any]) -> list[dict[str, Any]]:
    """One answer for each request, in order; a request that has none gets an `error`.

    >>> asked = {"object_ball_mm": [0, 0], "target_mm": [900, 0], "cut_deg": 30, "side": "left", "distance_mm": 99}
    >>> answer([asked])[0]["shot"]["overlap"]
    0.5
    >>> answer([{**asked, "cut_deg": 95}])[0]["error"]["code"]
    'cut_out_of_range'
    """
    answers: list[dict[str, Any]] = [{} for _ in requests]
    asked: list[Asked] = []
    places: list[int] = []
    for i, request in enumerate(requests):
        try:
            asked.append(read(request))
            places.append(i)
        except Refusal as refusal:
            answers[i] = {"error": refusal.as_dict()}
    for i, part in zip(places, _answered(asked), strict=True):
        answers[i] = part
    for i, request in enumerate(requests):
        name = identity(request)
        if name is not None:
            answers[i] = {"id": name, **answers[i]}
    return answers


def shot_answer(shot: Shot) -> dict[str, Any]:
    """The `shot` part of the answer for one shot (scalar fields)."""
    one = Shot(*(np.asarray(getattr(shot, f.name), float)[None] for f in fields(Shot)))
    return rows(_shot_columns(one), 1)[0]


# ------------------------------------------------------------------ the batch


def _answered(asked: list[Asked]) -> list[dict[str, Any]]:
    if not asked:
        return []
    with np.errstate(all="ignore"):
        columns = np.array([one.numbers for one in asked]).T
        shot = _shots(columns)
        refused = _refusals(columns, shot)
        frozen = np.abs(shot.distance_mm - shot.ball_diameter_mm) <= FROZEN_MM
        answers: list[dict[str, Any]] = [{} for _ in asked]
        for i, refusal in refused.items():
            answers[i] = {"error": refusal.as_dict()}
        held = np.ones(len(asked), bool)
        held[list(refused)] = False
        for i in np.flatnonzero(held & frozen).tolist():
            answers[i] = {"shot": _frozen_answer(shot, i)}
        live = np.flatnonzero(held & ~frozen)
        if live.size:
            part = shot if live.size == len(asked) else taken(shot, live)
            for i, one in zip(live.tolist(), _parts(columns[:, live], part), strict=True):
                answers[i] = one
    return answers


def taken(shot: Shot, places: IntArray) -> Shot:
    """The shots at these places of a batch."""
    return Shot(*(getattr(shot, f.name)[places] for f in fields(Shot)))


def _shots(columns: Array) -> Shot:
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


def _refusals(columns: Array, shot: Shot) -> dict[int, Refusal]:
    """The requests that no shot answers, by their place; the first reason counts."""
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

    refuse(
        length(T - O) <= FROZEN_MM,
        "target_at_object",
        "target_mm",
        "The target lies on the object ball itself, so it names no direction.",
    )
    for where, field in ((placed, "distance_mm"), (~placed, "cue_ball_mm")):
        refuse(
            where & (d - FROZEN_MM > D),
            "balls_overlap",
            field,
            "The balls' centres are {} mm apart, less than their diameter of {} mm.",
            D,
            d,
        )
    refuse(
        (mode == SOLVED) & ~frozen & (np.abs(shot.cut_rad) >= np.pi / 2),
        "cut_out_of_range",
        "target_mm",
        "The target would need a cut of {} degrees; a ball can be cut by less than 90.",
        cut_deg,
    )
    off = (
        "The {} would lie off the bed or inside a cushion: its centre ({{}}, {{}}) mm on a bed of {{}} x {{}} mm."
    )
    for centre, field, name, where in (
        (shot.object_ball_mm, "object_ball_mm", "object ball", True),
        (shot.cue_ball_mm, "cue_ball_mm", "cue ball", ~placed),
        (shot.cue_ball_mm, "distance_mm", "cue ball", placed),
        (shot.ghost_ball_mm, "target_mm", "ghost ball", ~rolled),
    ):
        refuse(
            np.logical_and(where, ~is_on_bed(centre, bed, R)),
            "off_bed",
            field,
            off.format(name),
            centre[..., 0],
            centre[..., 1],
            size[..., 0],
            size[..., 1],
        )
    return found


def _frozen_answer(shot: Shot, place: int) -> dict[str, Any]:
    """The `shot` part for touching balls: no aim direction, so no cut either."""
    part = taken(shot, np.array([place]))
    one = rows(_shot_columns(part), 1)[0]
    centres = part.object_ball_mm[0, :2] - part.cue_ball_mm[0, :2]
    turn = float(np.degrees(angle_rad(centres, part.object_direction[0])))
    one["line_of_centres_deg"] = turn if math.isfinite(turn) else None
    one.update(dict.fromkeys(AIM_KEYS), frozen=True)
    return one


def _parts(columns: Array, shot: Shot) -> list[dict[str, Any]]:
    """The answers to requests that have one."""
    count = columns.shape[1]
    answers = rows({"shot": _shot_columns(shot)}, count)
    rolled = columns[MODE] == ROLLED
    hit = np.isfinite(shot.cut_rad)
    for i in np.flatnonzero(rolled).tolist():
        answers[i]["shot"]["hit"] = bool(hit[i])
    for i in np.flatnonzero(np.degrees(np.abs(shot.cut_rad)) > THIN_CUT_DEG).tolist():
        answers[i]["warnings"] = ["The cut is above 80 degrees: a hair's breadth of aim decides it."]
    return answers


def _shot_columns(shot: Shot) -> dict[str, Any]:
    missed = np.isnan(shot.cut_rad)
    side: list[Any] = [SIDES[s] for s in np.where(missed, 0, shot.side).tolist()]
    for i in np.flatnonzero(missed).tolist():
        side[i] = None
    return {
        "cue_ball_mm": shot.cue_ball_mm,
        "object_ball_mm": shot.object_ball_mm,
        "target_mm": shot.target_mm,
        "ghost_ball_mm": shot.ghost_ball_mm,
        "contact_object_mm": shot.contact_object_mm,
        "contact_cue_mm": shot.contact_cue_mm,
        "aim_direction": shot.aim_direction,
        "object_direction": shot.object_direction,
        "cut_deg": np.degrees(np.abs(shot.cut_rad)),
        "side": side,
        "distance_mm": shot.distance_mm,
        "travel_mm": shot.travel_mm,
        "line_of_centres_deg": np.degrees(shot.line_of_centres_rad),
        "overlap": shot.overlap,
        "aim_offset_mm": shot.aim_offset_mm,
        "contact_offset_mm": shot.contact_offset_mm,
    }
