"""Reading a request: each value by the table of fields, then what must hold between them, as a row of numbers.

A request is a plain dict as docs/solve.md lists it. Anything unclear is refused with a code, a sentence and the
key it concerns; nothing is guessed. Whether a well-formed request has an answer (a cut below 90 degrees, balls
on the bed) is for `aimgeo.asking.solve` to find out.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any, NamedTuple

from aimgeo.asking.fields import (
    BY_KEY,
    COLUMNS,
    DEFAULT_TABLE,
    FIRST,
    GIVEN_POCKET,
    INDEX,
    KEYS,
    NAMED_POCKET,
    PARTS,
    ROLLED,
    SOLVED,
    Field,
    Free,
    Part,
    Refusal,
    identity,
    one_of,
    shown,
)
from aimgeo.tables import POCKET_NAMES, TABLES, Pocket


class Row(NamedTuple):
    """One checked request: a number for each of COLUMNS, and by its name (as in FREE) what has no fixed length."""

    numbers: list[float]
    free: dict[str, Any]


BLANK = list(COLUMNS.values())
_KNOWN = frozenset(KEYS)
_OF_PART = {part: frozenset(keys) for part, keys in PARTS.items()}
MODE, POCKET, MOUTH, DIAMETER = (INDEX[name] for name in ("mode", "pocket", "pocket.mouth_mm", "ball_diameter_mm"))
TARGET, TIPS, ROLL = (INDEX[name] for name in ("target_mm.x", "tip_a.x", "cue_ball_roll"))
CUT = INDEX["cut_deg"]
CAMERA_NEEDS = ("look_at", "vertical_fov_deg", "width_px", "height_px")
"""What a camera needs for a picture; an eye of its own it may have without."""


def read(request: Any) -> Row:
    """The checked request; raises Refusal. A Refusal in its place (an unreadable line) is raised as it is."""
    if type(request) is Refusal:
        raise request
    if type(request) is not dict:
        raise Refusal("bad_json", 'A request is one JSON object: {"object_ball_mm": [0, 0], ...}.', None)
    if not request.keys() <= _KNOWN:
        _refuse_unknown(request, KEYS, "")
    row = BLANK.copy()
    free: dict[str, Any] = {}
    for key in KEYS:
        if key in request:
            _read_value(BY_KEY[key], request[key], row, free)
    _needed(request, "object_ball_mm")
    _pocket_and_target(request, row)
    _cue_ball(request, row)
    _eye_and_camera(request)
    if "aim_error" in request and len(request["aim_error"]) != 1:
        code = "conflict" if request["aim_error"] else "missing"
        raise Refusal(code, f"An aim error is one of {one_of(PARTS['aim_error'])}.", "aim_error")
    if "speed_mps" in request and "cue_ball_roll" not in request:
        row[ROLL] = 0.0
    return Row(row, free)


def identity_of(request: Any) -> Any:
    """The request's `id` when it has one that can be echoed, else None."""
    if type(request) is not dict or "id" not in request:
        return None
    try:
        return identity(request["id"])
    except Refusal:
        return None


def _read_value(field: Field, value: Any, row: list[float], free: dict[str, Any]) -> None:
    if isinstance(field, Free):
        kept = field.check(value)
        if field.key != "id":
            free[field.key] = kept
    elif isinstance(field, Part):
        _read_part(field, value, row, free)
    else:
        field.read(value, row, FIRST[field.key])


def _read_part(part: Part, value: Any, row: list[float], free: dict[str, Any]) -> None:
    keys = PARTS[part.key]
    if type(value) is not dict:
        raise Refusal("bad_value", f"{part.key} is an object with {one_of(keys)}, not {shown(value)}.", part.key)
    if not value.keys() <= _OF_PART[part.key]:
        _refuse_unknown(value, keys, f"{part.key}.")
    for key in keys:
        if key in value:
            _read_value(BY_KEY[f"{part.key}.{key}"], value[key], row, free)
    for key in part.needed:
        _needed(value, key, f"{part.key}.")


# ------------------------------------------------------------------ what must hold between values


def _pocket_and_target(request: Mapping[str, Any], row: list[float]) -> None:
    part, target = request.get("pocket"), request.get("target_mm")
    if part is not None and "mouth_mm" in part:
        _refuse_narrow(row[MOUTH], row[DIAMETER], "pocket.mouth_mm")
    if type(target) is str:
        _named_pocket(target, request.get("table", DEFAULT_TABLE), part, row)
        return
    if target is None and (part is not None or "aim_deg" not in request):
        raise Refusal(
            "missing", "Where must the object ball go? Give target_mm as [x, y] or a pocket's name.", "target_mm"
        )
    if part is not None:
        for key in PARTS["pocket"]:
            _needed(part, key, "pocket.")
        row[POCKET] = GIVEN_POCKET


def _named_pocket(name: str, table: str | None, part: Mapping[str, Any] | None, row: list[float]) -> None:
    if name not in POCKET_NAMES:
        raise Refusal(
            "unknown_pocket",
            f"There is no pocket {shown(name)}; the pockets are {one_of(POCKET_NAMES)}.",
            "target_mm",
        )
    if table is None:
        raise Refusal(
            "unknown_pocket",
            "An endless cloth (table null) has no pockets; give target_mm as [x, y].",
            "target_mm",
        )
    if part is not None and "approach_deg" in part:
        raise Refusal(
            "conflict",
            "A named pocket's angle of approach is known; leave approach_deg out.",
            "pocket.approach_deg",
        )
    pocket = _pocket(table, name)
    if part is not None and "mouth_mm" in part:
        pocket = _with_mouth(table, name, row[MOUTH])
    _refuse_narrow(pocket.mouth_mm, row[DIAMETER], "ball_diameter_mm")
    row[POCKET], row[MOUTH] = NAMED_POCKET, pocket.mouth_mm
    row[TARGET : TARGET + 2] = pocket.centre_mm
    row[TIPS : TIPS + 4] = [coordinate for tip in pocket.points_mm for coordinate in tip]


@lru_cache(maxsize=256)
def _pocket(table: str, name: str) -> Pocket:
    return TABLES[table].pocket(name)


def _with_mouth(table: str, name: str, mouth_mm: float) -> Pocket:
    return replace(TABLES[table], corner_mouth_mm=mouth_mm, side_mouth_mm=mouth_mm).pocket(name)


def _refuse_narrow(mouth_mm: float, diameter_mm: float, field: str) -> None:
    if mouth_mm < diameter_mm:
        raise Refusal(
            "mouth_too_narrow", f"A mouth of {mouth_mm:g} mm takes no ball of {diameter_mm:g} mm.", field
        )


def _cue_ball(request: Mapping[str, Any], row: list[float]) -> None:
    if "cue_ball_mm" in request:
        for key in ("cut_deg", "side", "distance_mm"):
            if key in request:
                raise Refusal("conflict", f"cue_ball_mm already places the cue ball; leave {key} out.", key)
        row[MODE] = ROLLED if "aim_deg" in request else SOLVED
        return
    if "aim_deg" in request:
        raise Refusal("missing", "A rolled ball needs its place: give cue_ball_mm beside aim_deg.", "cue_ball_mm")
    if "cut_deg" not in request:
        raise Refusal(
            "missing",
            "Place the cue ball by cut_deg, side and distance_mm, or give cue_ball_mm.",
            "cue_ball_mm" if request.keys().isdisjoint({"side", "distance_mm"}) else "cut_deg",
        )
    _needed(request, "distance_mm")
    if row[CUT] == 0:
        return
    if "side" not in request:
        raise Refusal("missing", "To which side does the object ball go? Give side as left or right.", "side")
    if request["side"] == "straight":
        raise Refusal(
            "conflict", f"A cut of {row[CUT]:g} degrees is not straight; give side as left or right.", "side"
        )


def _eye_and_camera(request: Mapping[str, Any]) -> None:
    eye, view = request.get("eye"), request.get("camera")
    if eye is not None:
        if "alignment" not in eye:
            _needed(eye, "offset_mm", "eye.")
        elif "offset_mm" in eye:
            raise Refusal(
                "conflict", "An alignment stands instead of offset_mm; give one of them.", "eye.alignment"
            )
    if view is None:
        return
    if "eye_mm" in view:
        if eye is not None:
            raise Refusal("conflict", "The camera stands at the eye or at eye_mm, not at both.", "camera.eye_mm")
        if len(view) == 1:
            return
    elif eye is None:
        raise Refusal("missing", "Where does the camera stand? Give the eye, or eye_mm in the camera.", "eye")
    for key in CAMERA_NEEDS:
        _needed(view, key, "camera.")


def _needed(part: Mapping[str, Any], key: str, path: str = "") -> None:
    if key not in part:
        raise Refusal("missing", f"{path}{key} is missing.", f"{path}{key}")


def _refuse_unknown(part: Mapping[str, Any], known: Collection[str], path: str) -> None:
    key = next(k for k in part if k not in known)
    raise Refusal(
        "unknown_key", f"There is no key {shown(key)} here; the keys are {one_of(known)}.", f"{path}{key}"
    )
