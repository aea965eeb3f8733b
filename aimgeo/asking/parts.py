"""The parts of an answer, as columns of a batch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from aimgeo.after import deflection_rad, tangent_direction
from aimgeo.aim_frame import AimFrame
from aimgeo.asking.asked import Asked
from aimgeo.asking.fields import LINE_OF_CENTRES, PICTURE_POINTS, ROLLED
from aimgeo.asking.resolve import look_at_mm, others_mm, tips_mm
from aimgeo.asking.rows import Choice, Column, Nullable, chosen, flags, plain_values, rows, taken
from aimgeo.blocking import clearance_mm
from aimgeo.camera import ball_outline, camera, pixels
from aimgeo.eye import (
    BallPoints,
    apparent,
    ball_points,
    doubled_offset,
    plane_turn_rad,
    surface_turn_rad,
    visible_contacts,
)
from aimgeo.fractions import fraction_cut_rad
from aimgeo.judging import outcome, sensitivity
from aimgeo.methods import METHODS
from aimgeo.methods.readings import reading_turns
from aimgeo.misses import LOPSIDED, needed_of, p_value
from aimgeo.pocket import (
    Window,
    aim_window_rad,
    playable_bearing_rad,
    playable_target_mm,
    pocket_window,
)
from aimgeo.shot import Shot
from aimgeo.throw import BAND, cut_needed_rad, throw_rad
from aimgeo.vectors import Array, BoolArray, IntArray, length, turned

TOUCH_MM = 1e-9
"""Balls that touch a path are not in its way, whatever rounding says."""
THIN_CUT_DEG = 80.0
THIN_WARNING = ["The cut is above 80 degrees: a hair's breadth of aim decides where the object ball goes."]
SIDES = ("straight", "left", "right", None)
"""By the sign of the cut, 0, 1 and -1, and for no cut."""


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """Columns of some of a batch's answers: their places in the batch, and top-level keys with their columns."""

    places: IntArray
    columns: dict[str, Column]


def parts_of(asked: Asked, shot: Shot, frame: AimFrame, eye: Array, tells_eye: bool) -> list[Part]:
    """The parts of the answers to requests that have one, in the order in which an answer gives them; what the eye
    sees when it is wanted."""
    count = asked.count
    every = np.arange(count)
    has_eye = np.isfinite(eye[:, 0])
    hit = np.isfinite(shot.cut_rad)
    rolled, has_pocket = asked["mode"] == ROLLED, asked["pocket"] > 0
    window = _window(asked, frame)
    judge = _Judge(frame, window, has_pocket)
    parts: list[Part] = []

    shown = shot_columns(shot)
    _add(parts, ~rolled, {"shot": shown})
    _add(parts, rolled, {"shot": {**shown, "hit": hit}})
    for seeing in (True, False):
        at = np.flatnonzero(hit & (has_eye == seeing))
        if at.size:
            made = _methods(
                asked["fixed_marks.for_cut_deg"][at], taken(shot, at), judge.at(at), eye[at] if seeing else None
            )
            parts.append(Part(at, {"methods": made}))
    if tells_eye:
        parts += _eye_parts(asked, frame, judge, eye, has_eye, hit)
    errors = np.stack([asked[f"aim_error.{kind}"] for kind in ("rotate_deg", "at_ghost_mm", "parallel_mm")])
    asks_error = np.any(np.isfinite(errors), axis=0)
    if asks_error.any():
        _add(parts, asks_error, {"aim_error": _aim_error(errors, judge)})
    cut_per_aim, object_per_aim = sensitivity(frame)
    parts.append(Part(every, {"sensitivity": {"cut_per_aim": cut_per_aim, "object_per_aim": object_per_aim}}))
    measured = asked["fraction.measured"]
    if np.any(np.isfinite(measured)):
        cut, parallel = fraction_cut_rad(
            asked["fraction.object_offset_mm"], asked["fraction.cue_offset_mm"], frame.distance_mm,
            frame.diameter_mm, measured == LINE_OF_CENTRES,
        )  # fmt: skip
        given = {"cut_deg": np.degrees(cut), "cut_parallel_deg": np.degrees(parallel)}
        _add(parts, np.isfinite(measured), {"fraction": given})
    if np.any(has_pocket):
        _add(parts, has_pocket, {"pocket": _pocket_columns(frame, window)})
    speed, roll = asked["speed_mps"], asked["cue_ball_roll"]
    at = np.flatnonzero(np.isfinite(speed))
    if at.size:
        parts.append(Part(at, {"throw": _throw(speed[at], roll[at], taken(frame, at))}))
    at = np.flatnonzero(np.isfinite(roll))
    if at.size:
        parts.append(Part(at, {"after": _after(roll[at], taken(frame, at))}))
    parts += _listed(asked, shot)
    thin = np.degrees(np.abs(shot.cut_rad)) > THIN_CUT_DEG
    _add(parts, thin, {"warnings": Choice(np.zeros(count, np.intp), (THIN_WARNING,))})
    return parts


def _add(parts: list[Part], where: BoolArray, columns: dict[str, Column]) -> None:
    places = np.flatnonzero(where)
    if places.size == where.size:
        parts.append(Part(places, columns))
    elif places.size:
        parts.append(Part(places, chosen(columns, places)))


@dataclass(frozen=True, slots=True, eq=False)
class _Judge:
    """Says what comes of an aim, for the shots of a frame and their pockets."""

    frame: AimFrame
    window: Window
    has_pocket: BoolArray

    def at(self, places: IntArray) -> _Judge:
        return _Judge(taken(self.frame, places), taken(self.window, places), self.has_pocket[places])

    def columns(self, turns: Sequence[Array]) -> list[dict[str, Column]]:
        """Hit, error, cut, error of the object ball, miss and whether it is pocketed, for each turn of the aim.

        Where there is no such aim nothing is known; where it passes the object ball, only its error.
        """
        if not turns:
            return []
        found = outcome(self.frame, np.stack(turns), window=self.window)
        degrees = [np.degrees(v) for v in (found.aim_error_rad, found.cut_rad, found.object_error_rad)]
        has_aim, judged = found.has_aim, self.has_pocket & np.isfinite(found.object_error_rad)
        return [
            {
                "hit": flags(found.hit[k], has_aim[k]),
                "aim_error_deg": degrees[0][k],
                "cut_deg": degrees[1][k],
                "object_error_deg": degrees[2][k],
                "miss_mm": found.miss_mm[k],
                "pocketed": flags(found.pocketed[k], judged[k]),
            }
            for k in range(len(turns))
        ]


def _without(columns: Mapping[str, Column], *keys: str) -> dict[str, Column]:
    return {key: column for key, column in columns.items() if key not in keys}


def shot_columns(shot: Shot) -> dict[str, Any]:
    side = np.where(np.isnan(shot.cut_rad), 3, shot.side % 3)
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
        "side": Choice(side, SIDES),
        "distance_mm": shot.distance_mm,
        "travel_mm": shot.travel_mm,
        "line_of_centres_deg": np.degrees(shot.line_of_centres_rad),
        "overlap": shot.overlap,
        "aim_offset_mm": shot.aim_offset_mm,
        "contact_offset_mm": shot.contact_offset_mm,
    }


def _methods(mark_deg: Array, shot: Shot, judge: _Judge, eye: Array | None) -> dict[str, Column]:
    mark = np.where(np.isnan(mark_deg), np.abs(judge.frame.cut_rad), np.radians(mark_deg))
    turns = reading_turns(judge.frame, eye, mark)
    judged = iter(judge.columns([turn for named in turns.values() for turn in named.values()]))
    made: dict[str, Column] = {}
    for name, method in METHODS.items():
        usable = method.is_usable(shot)
        made[name] = {
            "usable": usable,
            "limit": Choice(usable.astype(np.intp), (method.reach, None)),
            "aim_point_mm": np.where(usable[:, None], method.aim_point_mm(shot), np.nan),
            "readings": {key: {"reading": method.readings[key].says, **next(judged)} for key in turns[name]},
        }
    return made


def _eye_parts(
    asked: Asked, frame: AimFrame, judge: _Judge, eye: Array, has_eye: BoolArray, hit: BoolArray
) -> list[Part]:  # fmt: skip
    parts: list[Part] = []
    at = np.flatnonzero(hit & ~has_eye)
    if at.size:
        part = judge.at(at)
        cue = ball_points(part.frame).cue_ball
        parts.append(Part(at, {"eye": {"doubled_offset": _doubled(part, cue)}}))
    points_mm = asked.free["camera.points_mm"]
    has_camera = has_eye & (asked["camera.look"] > 0)
    asks_points = np.zeros(asked.count, bool)
    asks_points[[i for i, named in points_mm.items() if named]] = True
    for where in (has_eye & ~has_camera, has_camera & ~asks_points, has_camera & asks_points):
        at = np.flatnonzero(where)
        if at.size:
            part, E = judge.at(at), eye[at]
            points = ball_points(part.frame)
            seen = _eye_columns(part, points, E)
            if has_camera[at[0]]:
                extra = [points_mm[i] for i in at.tolist()] if asks_points[at[0]] else []
                seen |= _picture(asked.at(at), part.frame, points, E, extra)
            parts.append(Part(at, {"eye": seen}))
    return parts


def _eye_columns(judge: _Judge, points: BallPoints, eye: Array) -> dict[str, Column]:
    frame = judge.frame
    on_object, on_cue = visible_contacts(frame, points, eye)
    known = np.isfinite(frame.cut_rad)
    plane, surface = judge.columns([plane_turn_rad(frame, eye), surface_turn_rad(frame, eye)])
    look = apparent(frame, points, eye)
    return {
        "eye_mm": frame.to_table(eye),
        "visible": {"contact_object": flags(on_object, known), "contact_cue": flags(on_cue, known)},
        "apparent": {
            "ghost_overlap": look.ghost_overlap,
            "contact_place": look.contact_place,
            "aim_place": look.aim_place,
        },
        "doubled_offset": _doubled(judge, eye),
        "sighting": {"plane": _without(plane, "pocketed"), "surface": _without(surface, "pocketed")},
    }


def _doubled(judge: _Judge, eye: Array) -> dict[str, Column]:
    doubled = doubled_offset(judge.frame, eye)
    return {"seen_ratio": doubled.seen_ratio, **_without(judge.columns([doubled.turn_rad])[0], "pocketed")}


def _picture(
    asked: Asked, frame: AimFrame, points: BallPoints, eye: Array, extra: list[dict[str, list[float]]]
) -> dict[str, Column]:
    P = _projection(asked, frame, points, eye)
    target = frame.from_table(np.concatenate([asked.place_mm("target_mm"), frame.radius_mm[:, None]], axis=-1))
    named = np.stack([points.cue_ball, points.object_ball, points.ghost_ball, points.contact_object,
                      points.contact_cue, target], axis=1)  # fmt: skip
    px = pixels(P, named)
    shown: dict[str, Column] = {name: px[:, k] for k, name in enumerate(PICTURE_POINTS)}
    ellipses = ball_outline(P, named[:, :3], frame.radius_mm)
    silhouettes = {
        name: Nullable(
            {
                "centre_px": ellipses.centre_px[:, k],
                "semi_major_px": ellipses.semi_major_px[:, k],
                "semi_minor_px": ellipses.semi_minor_px[:, k],
                "rotation_deg": np.degrees(ellipses.rotation_rad[:, k]),
            },
            ellipses.is_seen[:, k],
        )
        for k, name in enumerate(PICTURE_POINTS[:3])
    }
    if not extra:
        return {"pixels": shown, "silhouettes": silhouettes}
    owner = np.repeat(np.arange(len(extra)), [len(named) for named in extra])
    flat = np.array([p for named in extra for p in named.values()], float)
    placed = taken(frame, owner).from_table(flat)
    found = iter(plain_values(pixels(P[owner], placed[:, None])[:, 0], len(owner)))
    each = rows(shown, len(extra))
    for one, own in zip(each, extra, strict=True):
        one.update({name: next(found) for name in own})
    return {"pixels": each, "silhouettes": silhouettes}


def _projection(asked: Asked, frame: AimFrame, points: BallPoints, eye: Array) -> Array:
    at, fov = look_at_mm(asked, frame, points), np.radians(asked["camera.vertical_fov_deg"])
    return camera(eye, at, fov, asked["camera.width_px"], asked["camera.height_px"]).matrix()


def _aim_error(errors: Array, judge: _Judge) -> dict[str, Column]:
    """errors (3, N): a turn in degrees, mm at the ghost ball, and mm beside the line; nan where not asked."""
    frame = judge.frame
    turned_deg, at_ghost, shift = np.nan_to_num(errors)
    turn = np.radians(turned_deg) + np.arctan2(at_ghost, frame.travel_mm)
    found = outcome(frame, turn, shift, judge.window)
    return {
        "hit": found.hit,
        "pocketed": flags(found.pocketed, judge.has_pocket & np.isfinite(found.object_error_rad)),
        "cut_deg": np.degrees(found.cut_rad),
        "cut_change_deg": np.degrees(found.cut_rad - frame.cut_rad),
        "object_error_deg": np.degrees(found.object_error_rad),
        "miss_mm": found.miss_mm,
    }


def _window(asked: Asked, frame: AimFrame) -> Window:
    if not np.any(asked["pocket"] > 0):
        none = np.full(asked.count, np.nan)
        return Window(none, none, np.stack([none, none], axis=-1), none)
    O, T = asked.place_mm("object_ball_mm"), asked.place_mm("target_mm")
    return pocket_window(O, T, *tips_mm(asked), frame.radius_mm)


def _pocket_columns(frame: AimFrame, window: Window) -> dict[str, Column]:
    width = np.where(window.is_clean, window.high_rad - window.low_rad, 0.0)
    playable = playable_bearing_rad(window, frame.object_ball_mm, frame.half_bed_mm, frame.diameter_mm)
    return {
        "clean": window.is_clean,
        "low_deg": np.degrees(window.low_rad),
        "high_deg": np.degrees(window.high_rad),
        "window_deg": np.degrees(width),
        "aim_window_deg": np.degrees(aim_window_rad(frame, window)),
        "playable_deg": np.degrees(playable),
        "playable_target_mm": playable_target_mm(window, frame.object_ball_mm, playable),
    }


def _throw(speed: Array, roll: Array, frame: AimFrame) -> dict[str, Column]:
    c, V, r, d = np.abs(frame.cut_rad), speed, roll, frame.diameter_mm
    side = np.sign(frame.sin_cut)
    needed = cut_needed_rad(c, V, r)
    x = frame.object_x_mm - d * np.cos(needed)
    y = frame.object_y_mm - side * d * np.sin(needed)
    ghost = frame.to_table(np.stack([x, y, frame.radius_mm], axis=-1))
    turn = np.arctan2(y, x)
    return {
        "throw_deg": np.degrees(throw_rad(c, V, r)),
        "low_deg": np.degrees(throw_rad(c, V, r, BAND[0])),
        "high_deg": np.degrees(throw_rad(c, V, r, BAND[1])),
        "cut_needed_deg": np.degrees(needed),
        "aim_direction_needed": turned(frame.aim_direction, turn),
        "ghost_ball_needed_mm": ghost,
        # d (sin c' - sin c), without cancellation for small throws
        "cue_shift_mm": -side * 2 * d * np.cos((needed + c) / 2) * np.sin((needed - c) / 2) + 0.0,
    }


def _after(roll: Array, frame: AimFrame) -> dict[str, Column]:
    turn = deflection_rad(np.abs(frame.cut_rad), roll)
    u = turned(frame.aim_direction, frame.cut_rad)
    return {
        "cue_ball_deflection_deg": np.degrees(turn),
        "tangent_direction": tangent_direction(u, frame.cut_rad),
        "cue_ball_direction": turned(frame.aim_direction, -np.sign(frame.sin_cut) * turn),
    }


def _listed(asked: Asked, shot: Shot) -> list[Part]:
    """Misses and other balls: lists that have no fixed length."""
    parts: list[Part] = []
    others = asked.free["others_mm"]
    at = np.flatnonzero(np.isfinite(asked["misses.left"]))
    if at.size:
        counts = (asked[f"misses.{side}"][at].astype(int).tolist() for side in ("left", "right"))
        parts.append(Part(at, {"misses": [_misses(*one) for one in zip(*counts, strict=True)]}))
    if others:
        at = np.array(list(others))
        parts.append(Part(at, {"paths": _paths(asked.at(at), taken(shot, at))}))
    return parts


def _misses(left: int, right: int) -> dict[str, Any]:
    p = p_value(max(left, right), left + right)
    return {"p_value": p, "lopsided": p < LOPSIDED, "needed_of_same_total": needed_of(left + right)}


def _paths(asked: Asked, shot: Shot) -> list[dict[str, Any]]:
    owner, balls = others_mm(asked)
    d = np.asarray(shot.ball_diameter_mm)[owner]
    C, G, O, T = (p[:, :2] for p in (shot.cue_ball_mm, shot.ghost_ball_mm, shot.object_ball_mm, shot.target_mm))
    # a rolled ball need not send the object ball to the target, but it is followed as far
    goal = O + length(T - O)[:, None] * shot.object_direction
    C, G, O, goal = (p[owner] for p in (C, G, O, goal))
    made: list[dict[str, Any]] = [
        {
            "cue_ball": {"clear": True, "blocked_by": []} if there else None,
            "object_ball": {"clear": True, "blocked_by": []} if there and aimed else None,
        }
        for there, aimed in zip(
            np.isfinite(shot.cut_rad).tolist(), np.isfinite(shot.target_mm[:, 0]).tolist(), strict=True
        )
    ]
    first = np.searchsorted(owner, np.arange(asked.count))
    for name, start, end in (("cue_ball", C, G), ("object_ball", O, goal)):
        gap = clearance_mm(balls, start, end, d)
        for k in np.flatnonzero(gap < -TOUCH_MM).tolist():
            path = made[owner[k]][name]
            if path is not None:
                path["clear"] = False
                path["blocked_by"].append({"index": k - int(first[owner[k]]), "clearance_mm": float(gap[k])})
    return made
