"""Answers to requests about shots, for one or many at once, as docs/solve.md lays down."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from aimgeo.after import deflection_rad, tangent_direction
from aimgeo.aim_error import Outcome, outcome, sensitivity
from aimgeo.aim_frame import AimFrame, aim_frame
from aimgeo.blocking import clearance_mm
from aimgeo.camera import Camera, camera, outline, project
from aimgeo.eye import (
    BallPoints,
    apparent,
    ball_points,
    doubled_offset,
    eye_offset_mm,
    plane_turn_rad,
    surface_turn_rad,
    visible_contacts,
)
from aimgeo.fractions import fraction_cut_rad
from aimgeo.methods import METHODS
from aimgeo.misses import LOPSIDED, needed_of, p_value
from aimgeo.pocket import (
    Window,
    aim_window_rad,
    is_in_mouth,
    mouth_tips,
    passes,
    playable_bearing_rad,
    playable_target_mm,
    pocket_window,
)
from aimgeo.readings import READINGS, reading_turns
from aimgeo.request import (
    AIM_DEG,
    APPROACH_DEG,
    CUE_OFFSET,
    CUE_X,
    CUT_DEG,
    DIAMETER,
    DISTANCE,
    ERROR,
    ERROR_KIND,
    ERRORS,
    EYE_BACK,
    EYE_HEIGHT,
    EYE_OFFSET,
    EYE_RADII,
    EYE_SINES,
    EYE_X,
    FOV_DEG,
    GIVEN_POCKET,
    HALF_LENGTH,
    HEIGHT,
    LOOK,
    LOOK_POINT,
    LOOK_X,
    LOOKS,
    MARK_DEG,
    MEASURED,
    MEASURED_BY,
    MODE,
    MOUTH,
    OBJECT_OFFSET,
    OBJECT_X,
    PICTURE_POINTS,
    PLACED,
    POCKET,
    ROLL,
    ROLLED,
    SIDE,
    SOLVED,
    SPEED,
    TARGET_X,
    TIP_A_X,
    TIP_B_X,
    WIDTH,
    Asked,
    Refusal,
    identity,
    read,
)
from aimgeo.roll import is_on_bed, rolled_shot
from aimgeo.rows import Choice, Column, Nullable, chosen, flags, plain_values, rows, taken
from aimgeo.shot import Shot, place_shot, solve_shot
from aimgeo.throw import BAND, cut_needed_rad, throw_rad
from aimgeo.vectors import Array, BoolArray, IntArray, angle_rad, direction, length, turned

FROZEN_MM = 1e-9
TOUCH_MM = 1e-9
"""Balls that touch a path are not in its way, whatever rounding says."""
THIN_CUT_DEG = 80.0
THIN_WARNING = ["The cut is above 80 degrees: a hair's breadth of aim decides where the object ball goes."]
SIDES = ("straight", "left", "right", None)
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
    refused, parts = answer_parts(requests)
    answers: list[dict[str, Any]] = []
    for request in requests:
        name = identity(request)
        answers.append({} if name is None else {"id": name})
    for i, refusal in refused.items():
        answers[i]["error"] = refusal.as_dict()
    for part in parts:
        for i, one in zip(part.places.tolist(), rows(part.columns, part.places.size), strict=True):
            answers[i].update(one)
    return answers


def shot_answer(shot: Shot) -> dict[str, Any]:
    """The `shot` part of the answer for one shot (scalar fields)."""
    one = Shot(*(np.asarray(getattr(shot, f.name), float)[None] for f in fields(Shot)))
    return rows(_shot_columns(one), 1)[0]


# ------------------------------------------------------------------ the batch


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """Columns of some of a batch's answers: their places in the batch, and top-level keys with their columns."""

    places: IntArray
    columns: dict[str, Column]


def answer_parts(requests: Sequence[Any]) -> tuple[dict[int, Refusal], list[Part]]:
    """The answers to a batch as columns: what is refused, by place, and the parts of the other answers."""
    refused: dict[int, Refusal] = {}
    asked: list[Asked] = []
    places: list[int] = []
    for i, request in enumerate(requests):
        try:
            asked.append(read(request))
            places.append(i)
        except Refusal as refusal:
            refused[i] = refusal
    if not asked:
        return refused, []
    where = np.array(places)
    with np.errstate(all="ignore"):
        found, parts = _answered(asked)
    refused |= {places[i]: refusal for i, refusal in found.items()}
    return refused, [Part(where[part.places], part.columns) for part in parts]


def _answered(asked: list[Asked]) -> tuple[dict[int, Refusal], list[Part]]:
    columns = np.array([one.numbers for one in asked]).T
    shot = _shots(columns)
    refused = _refusals(asked, columns, shot)
    frozen = np.abs(shot.distance_mm - shot.ball_diameter_mm) <= FROZEN_MM
    live = _but(np.flatnonzero(~frozen), refused)
    eye_refused, frame, eye = _eyes(asked, columns, shot, live)
    refused |= eye_refused
    kept = _but(live, refused)
    touching = _but(np.flatnonzero(frozen), refused).tolist()
    parts = [Part(np.array([i]), {"shot": [_frozen_answer(shot, i)]}) for i in touching]
    if kept.size:
        at = np.flatnonzero(np.isin(live, kept))
        held = [asked[i] for i in kept.tolist()]
        made = _parts(held, columns[:, kept], taken(shot, kept), taken(frame, at), eye[at])
        parts += [Part(kept[part.places], part.columns) for part in made]
    return refused, parts


def _but(places: IntArray, refused: Mapping[int, Refusal]) -> IntArray:
    return places if not refused else places[~np.isin(places, list(refused))]


def _eyes(
    asked: Sequence[Asked], columns: Array, shot: Shot, live: IntArray
) -> tuple[dict[int, Refusal], AimFrame, Array]:
    """The aim frames and eyes (nan where none is asked for) of the shots at `live`; the eyes that cannot be."""
    columns = columns[:, live]
    rolled = columns[MODE] == ROLLED
    frame = aim_frame(taken(shot, live), columns[HALF_LENGTH : HALF_LENGTH + 2].T, rolled)
    offset = eye_offset_mm(frame, columns[EYE_OFFSET], columns[EYE_RADII], columns[EYE_SINES])
    behind = np.stack([-columns[EYE_BACK], offset, columns[EYE_HEIGHT]], axis=-1)
    own = np.isfinite(columns[EYE_X])
    eye = np.where(own[:, None], frame.from_table(columns[EYE_X : EYE_X + 3].T), behind)
    points = ball_points(frame)
    inside = np.zeros(live.size, bool)
    for ball in (points.cue_ball, points.object_ball):
        inside |= np.sum((eye - ball) ** 2, axis=-1) < frame.radius_mm**2
    owner, others = _others([asked[i] for i in live.tolist()])
    if owner.size:
        balls = np.concatenate([others, frame.radius_mm[owner, None]], axis=-1)
        gaps = frame.to_table(eye)[owner] - balls
        np.logical_or.at(inside, owner, np.sum(gaps**2, axis=-1) < frame.radius_mm[owner] ** 2)
    refused: dict[int, Refusal] = {}
    for k in np.flatnonzero(inside).tolist():
        field = "camera.eye_mm" if own[k] else "eye"
        refused[int(live[k])] = Refusal("eye_in_ball", "The eye would be inside a ball.", field)
    nowhere = (columns[LOOK] > 0) & np.all(_look_at(columns, frame, points) == eye, axis=-1)
    for k in np.flatnonzero(nowhere).tolist():
        blind = Refusal("bad_value", "The camera looks at the very place where it stands.", "camera.look_at")
        refused.setdefault(int(live[k]), blind)
    return refused, frame, eye


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


def _refusals(asked: Sequence[Asked], columns: Array, shot: Shot) -> dict[int, Refusal]:
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
    off = (
        "The {} would lie off the bed or inside a cushion: its centre ({{}}, {{}}) mm on a bed of {{}} x {{}} mm."
    )

    def refuse_off_bed(where: BoolArray, centre: Array, field: str, name: str) -> None:
        x, y = centre[..., 0], centre[..., 1]
        where = where & ~is_on_bed(centre, bed, R)
        refuse(where, "off_bed", field, off.format(name), x, y, size[..., 0], size[..., 1])

    refuse_off_bed(np.ones_like(placed), shot.object_ball_mm, "object_ball_mm", "object ball")
    refuse_off_bed(~placed, shot.cue_ball_mm, "cue_ball_mm", "cue ball")
    refuse(
        (mode == SOLVED) & ~frozen & (np.abs(shot.cut_rad) >= np.pi / 2),
        "cut_out_of_range",
        "target_mm",
        "The target would need a cut of {} degrees; a ball can be cut by less than 90.",
        cut_deg,
    )
    refuse_off_bed(placed, shot.cue_ball_mm, "distance_mm", "cue ball")
    before = len(found)
    refuse_off_bed(~rolled, shot.ghost_ball_mm, "target_mm", "ghost ball")
    if len(found) > before:
        _offer_playable(columns, shot, found)
    owner, others = _others(asked)
    for k in np.flatnonzero(~is_on_bed(others, bed[owner], R[owner])).tolist() if owner.size else ():
        i = int(owner[k])
        field = f"others_mm[{k - int(np.searchsorted(owner, i))}]"
        x, y = others[k].tolist()
        found.setdefault(
            i, Refusal("off_bed", f"The ball {field} at ({x:g}, {y:g}) mm would lie off the bed.", field)
        )
    if np.any(columns[POCKET] > 0):
        refuse(
            (columns[POCKET] > 0) & is_in_mouth(O, *_tips(columns), R),
            "bad_value",
            "object_ball_mm",
            "The object ball is already on or between the points of the pocket.",
        )
    return found


def _offer_playable(columns: Array, shot: Shot, refused: dict[int, Refusal]) -> None:
    """Adds to the refusals of ghost balls off the bed where else in the pocket the object ball can be sent."""
    at = [
        i for i, one in refused.items() if (one.code, one.field) == ("off_bed", "target_mm") and columns[POCKET, i]
    ]
    if not at:
        return
    columns, O = columns[:, at], columns[OBJECT_X : OBJECT_X + 2, at].T
    window = pocket_window(O, columns[TARGET_X : TARGET_X + 2].T, *_tips(columns), shot.radius_mm[at])
    bearing = playable_bearing_rad(window, O, columns[HALF_LENGTH : HALF_LENGTH + 2].T, columns[DIAMETER])
    for i, (x, y) in zip(at, playable_target_mm(window, O, bearing).tolist(), strict=True):
        offer = (
            f"the nearest direction that the cushion and the pocket allow is towards target_mm [{x:.6f}, {y:.6f}]."
            if math.isfinite(x)
            else "no direction that the cushion allows goes clean into the pocket."
        )
        one = refused[i]
        refused[i] = Refusal(one.code, f"{one.message[:-1]}; {offer}", one.field)


def _frozen_answer(shot: Shot, place: int) -> dict[str, Any]:
    """The `shot` part for touching balls: no aim direction, so no cut either."""
    part = taken(shot, np.array([place]))
    one = rows(_shot_columns(part), 1)[0]
    centres = part.object_ball_mm[0, :2] - part.cue_ball_mm[0, :2]
    turn = float(np.degrees(angle_rad(centres, part.object_direction[0])))
    one["line_of_centres_deg"] = turn if math.isfinite(turn) else None
    one.update(dict.fromkeys(AIM_KEYS), frozen=True)
    return one


def _parts(asked: Sequence[Asked], columns: Array, shot: Shot, frame: AimFrame, eye: Array) -> list[Part]:
    """The parts of the answers to requests that have one, in the order in which an answer gives them."""
    count = columns.shape[1]
    every = np.arange(count)
    has_eye = np.isfinite(eye[:, 0])
    hit = np.isfinite(shot.cut_rad)
    rolled = columns[MODE] == ROLLED
    window = _window(columns, frame)
    judge = _Judge(frame, window, columns[POCKET] > 0)
    parts: list[Part] = []

    shown = _shot_columns(shot)
    _add(parts, ~rolled, {"shot": shown})
    _add(parts, rolled, {"shot": {**shown, "hit": hit}})
    for seeing in (True, False):
        at = np.flatnonzero(hit & (has_eye == seeing))
        if at.size:
            made = _methods(columns[:, at], taken(shot, at), judge.at(at), eye[at] if seeing else None)
            parts.append(Part(at, {"methods": made}))
    parts += _eye_parts(asked, columns, frame, judge, eye, has_eye, hit)
    _add(parts, columns[ERROR_KIND] > 0, {"aim_error": _aim_error(columns, judge)})
    cut_per_aim, object_per_aim = sensitivity(frame)
    parts.append(Part(every, {"sensitivity": {"cut_per_aim": cut_per_aim, "object_per_aim": object_per_aim}}))
    if np.any(columns[MEASURED] > 0):
        cut, parallel = fraction_cut_rad(
            columns[OBJECT_OFFSET], columns[CUE_OFFSET], frame.distance_mm, frame.diameter_mm,
            columns[MEASURED] == MEASURED_BY["line_of_centres"],
        )  # fmt: skip
        given = {"cut_deg": np.degrees(cut), "cut_parallel_deg": np.degrees(parallel)}
        _add(parts, columns[MEASURED] > 0, {"fraction": given})
    if np.any(columns[POCKET] > 0):
        _add(parts, columns[POCKET] > 0, {"pocket": _pocket_columns(frame, window)})
    at = np.flatnonzero(np.isfinite(columns[SPEED]))
    if at.size:
        parts.append(Part(at, {"throw": _throw(columns[:, at], taken(frame, at))}))
    at = np.flatnonzero(np.isfinite(columns[ROLL]))
    if at.size:
        parts.append(Part(at, {"after": _after(columns[:, at], taken(frame, at))}))
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
        """Error, hit, cut, error of the object ball, miss and whether it is pocketed, for each turn of the aim."""
        found = outcome(self.frame, np.stack(turns)) if turns else None
        if found is None:
            return []
        pocketed = self.pocketed(found)
        degrees = [np.degrees(v) for v in (found.aim_error_rad, found.cut_rad, found.object_error_rad)]
        return [
            {
                "aim_error_deg": degrees[0][k],
                "hit": found.hit[k],
                "cut_deg": degrees[1][k],
                "object_error_deg": degrees[2][k],
                "miss_mm": found.miss_mm[k],
                "pocketed": flags(
                    pocketed[k], found.hit[k] & self.has_pocket & np.isfinite(found.object_error_rad[k])
                ),
            }
            for k in range(len(turns))
        ]

    def pocketed(self, found: Outcome) -> BoolArray:
        return passes(self.window, found.object_error_rad - self.frame.target_turn_rad)


def _without(columns: Mapping[str, Column], *keys: str) -> dict[str, Column]:
    return {key: column for key, column in columns.items() if key not in keys}


def _methods(columns: Array, shot: Shot, judge: _Judge, eye: Array | None) -> dict[str, Column]:
    mark = np.where(np.isnan(columns[MARK_DEG]), np.abs(judge.frame.cut_rad), np.radians(columns[MARK_DEG]))
    turns = reading_turns(judge.frame, eye, mark)
    judged = iter(judge.columns([turn for named in turns.values() for turn in named.values()]))
    made: dict[str, Column] = {}
    for name, method in METHODS.items():
        usable = method.is_usable(shot)
        made[name] = {
            "usable": usable,
            "limit": Choice(usable.astype(np.intp), (method.REACH, None)),
            "aim_point_mm": np.where(usable[:, None], method.aim_point_mm(shot), np.nan),
            "readings": {
                key: {"reading": READINGS[name][key], **_without(next(judged), "hit")}
                for key in turns.get(name, ())
            },
        }
    return made


def _eye_parts(
    asked: Sequence[Asked], columns: Array, frame: AimFrame, judge: _Judge, eye: Array, has_eye: BoolArray,
    hit: BoolArray,
) -> list[Part]:  # fmt: skip
    parts: list[Part] = []
    at = np.flatnonzero(hit & ~has_eye)
    if at.size:
        part = judge.at(at)
        cue = ball_points(part.frame).cue_ball
        parts.append(Part(at, {"eye": {"doubled_offset": _doubled(part, cue)}}))
    has_camera = has_eye & (columns[LOOK] > 0)
    asks_points = np.array([bool(one.points_mm) for one in asked])
    for where in (has_eye & ~has_camera, has_camera & ~asks_points, has_camera & asks_points):
        at = np.flatnonzero(where)
        if at.size:
            part, E = judge.at(at), eye[at]
            points = ball_points(part.frame)
            seen = _eye_columns(part, points, E)
            if has_camera[at[0]]:
                extra = [asked[i].points_mm for i in at.tolist()] if asks_points[at[0]] else []
                seen |= _picture(columns[:, at], part.frame, points, E, extra)
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
    return {"seen_ratio": doubled.seen_ratio, **_without(judge.columns([doubled.turn_rad])[0], "hit", "pocketed")}


def _picture(
    columns: Array, frame: AimFrame, points: BallPoints, eye: Array, extra: list[dict[str, list[float]]]
) -> dict[str, Column]:
    view = _camera(columns, frame, points, eye)
    target = frame.from_table(
        np.concatenate([columns[TARGET_X : TARGET_X + 2].T, frame.radius_mm[:, None]], axis=-1)
    )
    named = np.stack([points.cue_ball, points.object_ball, points.ghost_ball, points.contact_object,
                      points.contact_cue, target], axis=1)  # fmt: skip
    pixels = project(view, named)
    shown: dict[str, Column] = {name: pixels[:, k] for k, name in enumerate(PICTURE_POINTS)}
    ellipses = outline(view, named[:, :3], frame.radius_mm)
    silhouettes = {
        name: Nullable(
            {
                "centre_px": ellipses.centre_px[:, k],
                "semi_major_px": ellipses.semi_major_px[:, k],
                "semi_minor_px": ellipses.semi_minor_px[:, k],
                "rotation_deg": np.degrees(ellipses.rotation_rad[:, k]),
            },
            np.isfinite(ellipses.semi_major_px[:, k]),
        )
        for k, name in enumerate(PICTURE_POINTS[:3])
    }
    if not extra:
        return {"pixels": shown, "silhouettes": silhouettes}
    owner = np.repeat(np.arange(len(extra)), [len(named) for named in extra])
    flat = np.array([p for named in extra for p in named.values()], float)
    placed = taken(frame, owner).from_table(flat)
    found = iter(plain_values(project(taken(view, owner), placed[:, None])[:, 0], len(owner)))
    each = rows(shown, len(extra))
    for one, own in zip(each, extra, strict=True):
        one.update({name: next(found) for name in own})
    return {"pixels": each, "silhouettes": silhouettes}


def _camera(columns: Array, frame: AimFrame, points: BallPoints, eye: Array) -> Camera:
    at = _look_at(columns, frame, points)
    return camera(eye, at, np.radians(columns[FOV_DEG]), columns[WIDTH], columns[HEIGHT])


def _look_at(columns: Array, frame: AimFrame, points: BallPoints) -> Array:
    """The points that the cameras look at, (N, 3); of no meaning where there is no camera."""
    given = frame.from_table(columns[LOOK_X : LOOK_X + 3].T)
    look = columns[LOOK][:, None]
    ball = np.where(look == LOOKS["ghost_ball"], points.ghost_ball, points.object_ball)
    return np.where(look == LOOK_POINT, given, ball)


def _aim_error(columns: Array, judge: _Judge) -> dict[str, Column]:
    frame = judge.frame
    kind, error = columns[ERROR_KIND], columns[ERROR]
    turn = np.where(kind == ERRORS["rotate_deg"], np.radians(error), 0.0)
    turn = np.where(kind == ERRORS["at_ghost_mm"], np.arctan2(error, frame.travel_mm), turn)
    shift = np.where(kind == ERRORS["parallel_mm"], error, 0.0)
    found = outcome(frame, turn, shift)
    return {
        "hit": found.hit,
        "pocketed": flags(judge.pocketed(found), found.hit & judge.has_pocket),
        "cut_deg": np.degrees(found.cut_rad),
        "cut_change_deg": np.degrees(found.cut_rad - frame.cut_rad),
        "object_error_deg": np.degrees(found.object_error_rad),
        "miss_mm": found.miss_mm,
    }


def _window(columns: Array, frame: AimFrame) -> Window:
    O, T = columns[OBJECT_X : OBJECT_X + 2].T, columns[TARGET_X : TARGET_X + 2].T
    if not np.any(columns[POCKET] > 0):
        none = np.full(len(O), np.nan)
        return Window(none, none, np.stack([none, none], axis=-1), none)
    return pocket_window(O, T, *_tips(columns), frame.radius_mm)


def _tips(columns: Array) -> tuple[Array, Array]:
    """The points of the mouths, (N, 2) each; nan where there is no pocket."""
    O, T = columns[OBJECT_X : OBJECT_X + 2].T, columns[TARGET_X : TARGET_X + 2].T
    A, B = columns[TIP_A_X : TIP_A_X + 2].T, columns[TIP_B_X : TIP_B_X + 2].T
    given = (columns[POCKET] == GIVEN_POCKET)[:, None]
    if not given.any():
        return A, B
    right, left = mouth_tips(O, T, columns[MOUTH], np.radians(columns[APPROACH_DEG]))
    return np.where(given, right, A), np.where(given, left, B)


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


def _throw(columns: Array, frame: AimFrame) -> dict[str, Column]:
    c, V, r, d = np.abs(frame.cut_rad), columns[SPEED], columns[ROLL], frame.diameter_mm
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


def _after(columns: Array, frame: AimFrame) -> dict[str, Column]:
    turn = deflection_rad(np.abs(frame.cut_rad), columns[ROLL])
    u = turned(frame.aim_direction, frame.cut_rad)
    return {
        "cue_ball_deflection_deg": np.degrees(turn),
        "tangent_direction": tangent_direction(u, frame.cut_rad),
        "cue_ball_direction": turned(frame.aim_direction, -np.sign(frame.sin_cut) * turn),
    }


def _listed(asked: Sequence[Asked], shot: Shot) -> list[Part]:
    """Misses and other balls: lists that have no fixed length."""
    parts: list[Part] = []
    at = [i for i, one in enumerate(asked) if one.misses is not None]
    if at:
        made = [_misses(*one.misses) for one in asked if one.misses is not None]
        parts.append(Part(np.array(at), {"misses": made}))
    at = [i for i, one in enumerate(asked) if one.others_mm is not None]
    if at:
        parts.append(Part(np.array(at), {"paths": _paths([asked[i] for i in at], taken(shot, np.array(at)))}))
    return parts


def _misses(left: int, right: int) -> dict[str, Any]:
    p = p_value(max(left, right), left + right)
    return {"p_value": p, "lopsided": p < LOPSIDED, "needed_of_same_total": needed_of(left + right)}


def _others(asked: Sequence[Asked]) -> tuple[IntArray, Array]:
    """All other balls of a batch (M, 2), and whose they are (M,)."""
    owner = np.repeat(np.arange(len(asked)), [len(one.others_mm or ()) for one in asked])
    return owner, np.array([p for one in asked for p in one.others_mm or ()], float).reshape(-1, 2)


def _paths(asked: Sequence[Asked], shot: Shot) -> list[dict[str, Any]]:
    owner, balls = _others(asked)
    d = np.asarray(shot.ball_diameter_mm)[owner]
    C, G, O, T = (
        p[owner, :2] for p in (shot.cue_ball_mm, shot.ghost_ball_mm, shot.object_ball_mm, shot.target_mm)
    )
    made: list[dict[str, Any]] = [
        {
            "cue_ball": {"clear": True, "blocked_by": []} if there else None,
            "object_ball": {"clear": True, "blocked_by": []} if there and aimed else None,
        }
        for there, aimed in zip(
            np.isfinite(shot.cut_rad).tolist(), np.isfinite(shot.target_mm[:, 0]).tolist(), strict=True
        )
    ]
    first = np.searchsorted(owner, np.arange(len(asked)))
    for name, start, end in (("cue_ball", C, G), ("object_ball", O, T)):
        gap = clearance_mm(balls, start, end, d)
        for k in np.flatnonzero(gap < -TOUCH_MM).tolist():
            path = made[owner[k]][name]
            if path is not None:
                path["clear"] = False
                path["blocked_by"].append({"index": k - int(first[owner[k]]), "clearance_mm": float(gap[k])})
    return made


def _shot_columns(shot: Shot) -> dict[str, Any]:
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
