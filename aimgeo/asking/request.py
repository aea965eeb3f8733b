"""Reading a request: what is asked about a shot, checked, as a row of numbers that batches can stack.

A request is a plain dict as docs/solve.md lists it. Anything unclear is refused with a code, a sentence and the
key it concerns; nothing is guessed. Whether a well-formed request has an answer (a cut below 90 degrees, balls
on the bed) is for `aimgeo.asking.solve` to find out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any, NamedTuple

from aimgeo.shot import BALL_DIAMETER_MM
from aimgeo.tables import POCKET_NAMES, TABLES, Pocket

LARGEST = 1e9
"""Numbers beyond this are refused: a thousand kilometres in mm, where 1e-6 mm is no longer resolved."""
SMALLEST_BALL_MM = 1e-3
MOST_MISSES = 1_000_000

FIELDS = (
    "object_x", "object_y", "target_x", "target_y", "cue_x", "cue_y", "mode", "cut_deg", "side", "distance",
    "aim_deg", "diameter", "half_length", "half_width", "eye_back", "eye_offset", "eye_radii", "eye_sines",
    "eye_height", "eye_x", "eye_y", "eye_z", "look", "look_x", "look_y", "look_z", "fov_deg", "width", "height",
    "error_kind", "error", "object_offset", "cue_offset", "measured", "pocket", "tip_a_x", "tip_a_y", "tip_b_x",
    "tip_b_y", "mouth", "approach_deg", "mark_deg", "speed", "roll",
)  # fmt: skip
"""The columns of a row, in mm, degrees and m/s as in the request; nan where nothing is asked."""
(
    OBJECT_X, OBJECT_Y, TARGET_X, TARGET_Y, CUE_X, CUE_Y, MODE, CUT_DEG, SIDE, DISTANCE,
    AIM_DEG, DIAMETER, HALF_LENGTH, HALF_WIDTH, EYE_BACK, EYE_OFFSET, EYE_RADII, EYE_SINES,
    EYE_HEIGHT, EYE_X, EYE_Y, EYE_Z, LOOK, LOOK_X, LOOK_Y, LOOK_Z, FOV_DEG, WIDTH, HEIGHT,
    ERROR_KIND, ERROR, OBJECT_OFFSET, CUE_OFFSET, MEASURED, POCKET, TIP_A_X, TIP_A_Y, TIP_B_X,
    TIP_B_Y, MOUTH, APPROACH_DEG, MARK_DEG, SPEED, ROLL,
) = range(len(FIELDS))  # fmt: skip

PLACED, SOLVED, ROLLED = 0.0, 1.0, 2.0
LOOKS = {"object_ball": 1.0, "ghost_ball": 2.0}
LOOK_POINT = 3.0
ERRORS = {"rotate_deg": 1.0, "at_ghost_mm": 2.0, "parallel_mm": 3.0}
MEASURED_BY = {"aim_line": 1.0, "line_of_centres": 2.0}
NAMED_POCKET, GIVEN_POCKET = 1.0, 2.0
ALIGNMENTS = {
    "aim_line": (0.0, 0.0),
    "contact_line": (0.0, 1.0),
    "cue_edge_left": (1.0, 0.0),
    "cue_edge_right": (-1.0, 0.0),
}
"""Name to the eye's offset to the left: in ball radii, and in ball radii times the sine of the signed cut."""
PICTURE_POINTS = ("cue_ball", "object_ball", "ghost_ball", "contact_object", "contact_cue", "target")

KEYS = frozenset({
    "id", "object_ball_mm", "target_mm", "cut_deg", "side", "distance_mm", "cue_ball_mm", "aim_deg", "table",
    "ball_diameter_mm", "eye", "camera", "aim_error", "fraction", "pocket", "misses", "fixed_marks", "others_mm",
    "speed_mps", "cue_ball_roll",
})  # fmt: skip
PARTS: dict[str, frozenset[str]] = {
    "eye": frozenset({"back_mm", "offset_mm", "height_mm", "alignment"}),
    "camera": frozenset({"look_at", "vertical_fov_deg", "width_px", "height_px", "eye_mm", "points_mm"}),
    "aim_error": frozenset(ERRORS),
    "fraction": frozenset({"object_offset_mm", "cue_offset_mm", "measured"}),
    "pocket": frozenset({"mouth_mm", "approach_deg"}),
    "misses": frozenset({"left", "right"}),
    "fixed_marks": frozenset({"for_cut_deg"}),
}


class Refusal(ValueError):  # noqa: N818 - the trade of this module is refusing
    """A request that has no answer: `code`, a sentence, and the key it concerns (None: the request as a whole)."""

    def __init__(self, code: str, message: str, field: str | None) -> None:
        super().__init__(message)
        self.code, self.message, self.field = code, message, field

    def as_dict(self) -> dict[str, Any]:
        """The refusal as it stands in an answer."""
        return {"code": self.code, "message": self.message, "field": self.field}


class Row(NamedTuple):
    """One checked request: a number for each of FIELDS, and by its name (as in FREE) what has no fixed length."""

    numbers: list[float]
    free: dict[str, Any]


BLANK = [math.nan] * len(FIELDS)
for _field, _value in (
    (MODE, PLACED),
    (DIAMETER, BALL_DIAMETER_MM),
    (SIDE, 0.0),
    (EYE_RADII, 0.0),
    (EYE_SINES, 0.0),
    (LOOK, 0.0),
    (ERROR_KIND, 0.0),
    (MEASURED, 0.0),
    (POCKET, 0.0),
):
    BLANK[_field] = _value


def read(request: Any) -> Row:
    """The checked request; raises Refusal. A Refusal in its place (an unreadable line) is raised as it is."""
    if type(request) is Refusal:
        raise request
    if type(request) is not dict:
        raise Refusal("bad_json", 'A request is one JSON object: {"object_ball_mm": [0, 0], ...}.', None)
    if not request.keys() <= KEYS:
        _refuse_unknown(request, KEYS, "")
    row = BLANK.copy()
    if "id" in request:
        _identity(request["id"])
    _table_and_ball(request, row)
    _point(_needed(request, "object_ball_mm"), "object_ball_mm", row, OBJECT_X, 2)
    _pocket_and_target(request, row)
    _mode(request, row)
    free: dict[str, Any] = {}
    if "eye" in request:
        _eye(_part(request["eye"], "eye"), row)
    if "camera" in request:
        part = _part(request["camera"], "camera")
        _camera(part, row, "eye" in request)
        if "points_mm" in part:
            free["camera.points_mm"] = _picture_points(part["points_mm"])
    if "aim_error" in request:
        _aim_error(_part(request["aim_error"], "aim_error"), row)
    if "fraction" in request:
        _fraction(_part(request["fraction"], "fraction"), row)
    if "misses" in request:
        free["misses"] = _misses(request["misses"])
    if "fixed_marks" in request:
        part = _part(request["fixed_marks"], "fixed_marks")
        if "for_cut_deg" in part:
            row[MARK_DEG] = _cut(part["for_cut_deg"], "fixed_marks.for_cut_deg")
    if "others_mm" in request:
        free["others_mm"] = _others(request["others_mm"])
    if "speed_mps" in request or "cue_ball_roll" in request:
        _speed(request, row)
    return Row(row, free)


def identity(request: Any) -> Any:
    """The request's `id` when it has one that can be echoed, else None."""
    if type(request) is not dict or "id" not in request:
        return None
    try:
        return _identity(request["id"])
    except Refusal:
        return None


# ------------------------------------------------------------------ the parts of a request


def _table_and_ball(request: Mapping[str, Any], row: list[float]) -> None:
    name = request.get("table", "9ft")
    if name is None:
        row[HALF_LENGTH] = row[HALF_WIDTH] = math.inf
    elif type(name) is not str:
        raise Refusal("bad_value", f"A table is a named size or null, not {_shown(name)}.", "table")
    elif name not in TABLES:
        raise Refusal(
            "unknown_table", f"There is no table {_shown(name)}; the named sizes are {_choices(TABLES)}.", "table"
        )
    else:
        table = TABLES[name]
        row[HALF_LENGTH], row[HALF_WIDTH] = table.length_mm / 2, table.width_mm / 2
    if "ball_diameter_mm" in request:
        row[DIAMETER] = _number(request["ball_diameter_mm"], "ball_diameter_mm", least=SMALLEST_BALL_MM)


def _pocket_and_target(request: Mapping[str, Any], row: list[float]) -> None:
    part = _part(request["pocket"], "pocket") if "pocket" in request else None
    mouth = None
    if part is not None and "mouth_mm" in part:
        mouth = row[MOUTH] = _number(part["mouth_mm"], "pocket.mouth_mm")
        _refuse_narrow(mouth, row[DIAMETER], "pocket.mouth_mm")
    target = request.get("target_mm")
    if type(target) is str:
        _named_pocket(target, request.get("table", "9ft"), mouth, row)
        if part is not None and "approach_deg" in part:
            raise Refusal(
                "conflict",
                "A named pocket's angle of approach is known; leave approach_deg out.",
                "pocket.approach_deg",
            )
        return
    if "target_mm" in request:
        if type(target) is not list:
            raise Refusal(
                "bad_value", f"A target is [x, y] in mm or a pocket's name, not {_shown(target)}.", "target_mm"
            )
        _point(target, "target_mm", row, TARGET_X, 2)
    elif part is not None or "aim_deg" not in request:
        raise Refusal(
            "missing", "Where must the object ball go? Give target_mm as [x, y] or a pocket's name.", "target_mm"
        )
    if part is None:
        return
    _needed(part, "mouth_mm", "pocket.")
    approach = _number(_needed(part, "approach_deg", "pocket."), "pocket.approach_deg")
    if abs(approach) > 90:
        raise Refusal(
            "bad_value",
            f"An angle of approach lies between -90 and 90 degrees, not at {approach:g}: "
            "beyond, "
            "the ball would come out of the pocket.",
            "pocket.approach_deg",
        )
    row[POCKET], row[APPROACH_DEG] = GIVEN_POCKET, approach


def _named_pocket(name: str, table: str | None, mouth_mm: float | None, row: list[float]) -> None:
    if name not in POCKET_NAMES:
        raise Refusal(
            "unknown_pocket",
            f"There is no pocket {_shown(name)}; the pockets are {_choices(POCKET_NAMES)}.",
            "target_mm",
        )
    if table is None:
        raise Refusal(
            "unknown_pocket",
            "An endless cloth (table null) has no pockets; give target_mm as [x, y].",
            "target_mm",
        )
    pocket = _pocket(table, name) if mouth_mm is None else _pocket_with_mouth(table, name, mouth_mm)
    _refuse_narrow(pocket.mouth_mm, row[DIAMETER], "ball_diameter_mm")
    row[POCKET], row[MOUTH] = NAMED_POCKET, pocket.mouth_mm
    row[TARGET_X], row[TARGET_Y] = pocket.centre_mm
    (row[TIP_A_X], row[TIP_A_Y]), (row[TIP_B_X], row[TIP_B_Y]) = pocket.points_mm


@lru_cache(maxsize=256)
def _pocket(table: str, name: str) -> Pocket:
    return TABLES[table].pocket(name)


def _pocket_with_mouth(table: str, name: str, mouth_mm: float) -> Pocket:
    return replace(TABLES[table], corner_mouth_mm=mouth_mm, side_mouth_mm=mouth_mm).pocket(name)


def _mode(request: Mapping[str, Any], row: list[float]) -> None:
    if "cue_ball_mm" not in request:
        if "aim_deg" in request:
            raise Refusal(
                "missing", "A rolled ball needs its place: give cue_ball_mm beside aim_deg.", "cue_ball_mm"
            )
        if "cut_deg" not in request:
            raise Refusal(
                "missing",
                "Place the cue ball by cut_deg, side and distance_mm, or give cue_ball_mm.",
                "cue_ball_mm" if request.keys().isdisjoint({"side", "distance_mm"}) else "cut_deg",
            )
        cut = row[CUT_DEG] = _cut(request["cut_deg"], "cut_deg")
        row[DISTANCE] = _number(_needed(request, "distance_mm"), "distance_mm")
        _side(request, cut, row)
        return
    for key in ("cut_deg", "side", "distance_mm"):
        if key in request:
            raise Refusal("conflict", f"cue_ball_mm already places the cue ball; leave {key} out.", key)
    _point(request["cue_ball_mm"], "cue_ball_mm", row, CUE_X, 2)
    row[MODE] = SOLVED
    if "aim_deg" in request:
        row[MODE], row[AIM_DEG] = ROLLED, _number(request["aim_deg"], "aim_deg")


def _side(request: Mapping[str, Any], cut_deg: float, row: list[float]) -> None:
    if "side" not in request:
        if cut_deg != 0:
            raise Refusal("missing", "To which side does the object ball go? Give side as left or right.", "side")
        return
    side = request["side"]
    if type(side) is not str:
        raise Refusal("bad_value", f"A side is left or right, not {_shown(side)}.", "side")
    if side == "straight":
        if cut_deg != 0:
            raise Refusal(
                "conflict", f"A cut of {cut_deg:g} degrees is not straight; give side as left or right.", "side"
            )
    elif side not in ("left", "right"):
        raise Refusal("unknown_side", f"There is no side {_shown(side)}; a cut goes left or right.", "side")
    else:
        row[SIDE] = 1.0 if side == "left" else -1.0


def _eye(part: Mapping[str, Any], row: list[float]) -> None:
    back = row[EYE_BACK] = _number(_needed(part, "back_mm", "eye."), "eye.back_mm")
    if back < 0:
        raise Refusal(
            "bad_value", f"The eye stands behind the cue ball: back_mm is 0 or more, not {back:g}.", "eye.back_mm"
        )
    row[EYE_HEIGHT] = _above_cloth(_number(_needed(part, "height_mm", "eye."), "eye.height_mm"), "eye.height_mm")
    if "alignment" not in part:
        row[EYE_OFFSET] = _number(_needed(part, "offset_mm", "eye."), "eye.offset_mm")
        return
    if "offset_mm" in part:
        raise Refusal("conflict", "An alignment stands instead of offset_mm; give one of them.", "eye.alignment")
    name = _choice(part["alignment"], ALIGNMENTS, "eye.alignment", "An alignment")
    row[EYE_OFFSET] = 0.0
    row[EYE_RADII], row[EYE_SINES] = ALIGNMENTS[name]


def _camera(part: Mapping[str, Any], row: list[float], has_eye: bool) -> None:
    if "eye_mm" in part:
        if has_eye:
            raise Refusal("conflict", "The camera stands at the eye or at eye_mm, not at both.", "camera.eye_mm")
        _point(part["eye_mm"], "camera.eye_mm", row, EYE_X, 3)
        _above_cloth(row[EYE_Z], "camera.eye_mm")
        if len(part) == 1:
            return
    elif not has_eye:
        raise Refusal("missing", "Where does the camera stand? Give the eye, or eye_mm in the camera.", "eye")
    look = _needed(part, "look_at", "camera.")
    if type(look) is str:
        row[LOOK] = LOOKS[_choice(look, LOOKS, "camera.look_at", "A camera looks at [x, y, z], or at a ball:")]
    elif type(look) is list:
        row[LOOK] = LOOK_POINT
        _point(look, "camera.look_at", row, LOOK_X, 3)
    else:
        raise Refusal(
            "bad_value",
            f"A camera looks at object_ball, ghost_ball or [x, y, z], not at {_shown(look)}.",
            "camera.look_at",
        )
    fov = row[FOV_DEG] = _number(_needed(part, "vertical_fov_deg", "camera."), "camera.vertical_fov_deg")
    if not 0 < fov < 180:
        raise Refusal(
            "bad_value",
            f"A field of view lies between 0 and 180 degrees, not at {fov:g}.",
            "camera.vertical_fov_deg",
        )
    row[WIDTH] = _whole(_needed(part, "width_px", "camera."), "camera.width_px", 1, LARGEST)
    row[HEIGHT] = _whole(_needed(part, "height_px", "camera."), "camera.height_px", 1, LARGEST)


def _picture_points(points: Any) -> dict[str, list[float]]:
    if type(points) is not dict:
        raise Refusal(
            "bad_value", f'points_mm names points, {{"tip": [x, y, z]}}, not {_shown(points)}.', "camera.points_mm"
        )
    for name in points:
        if name in PICTURE_POINTS:
            raise Refusal(
                "conflict",
                f"The picture has its own {name}; give this point another name.",
                f"camera.points_mm.{name}",
            )
    return {name: _numbers(p, f"camera.points_mm.{name}", 3) for name, p in points.items()}


def _aim_error(part: Mapping[str, Any], row: list[float]) -> None:
    if len(part) != 1:
        code, word = ("conflict", "one") if part else ("missing", "one")
        raise Refusal(code, f"An aim error is {word} of {_choices(ERRORS)}.", "aim_error")
    for key, value in part.items():
        row[ERROR_KIND], row[ERROR] = ERRORS[key], _number(value, f"aim_error.{key}")


def _fraction(part: Mapping[str, Any], row: list[float]) -> None:
    row[OBJECT_OFFSET] = _number(_needed(part, "object_offset_mm", "fraction."), "fraction.object_offset_mm")
    row[CUE_OFFSET] = _number(_needed(part, "cue_offset_mm", "fraction."), "fraction.cue_offset_mm")
    name = _choice(
        _needed(part, "measured", "fraction."), MEASURED_BY, "fraction.measured", "Offsets are measured by"
    )
    row[MEASURED] = MEASURED_BY[name]


def _misses(value: Any) -> tuple[int, int]:
    part = _part(value, "misses")
    left = _whole(_needed(part, "left", "misses."), "misses.left", 0, MOST_MISSES)
    right = _whole(_needed(part, "right", "misses."), "misses.right", 0, MOST_MISSES)
    return left, right


def _others(others: Any) -> list[list[float]]:
    if type(others) is not list:
        raise Refusal("bad_value", f"others_mm is a list of [x, y], not {_shown(others)}.", "others_mm")
    return [_numbers(p, f"others_mm[{i}]", 2) for i, p in enumerate(others)]


def _speed(request: Mapping[str, Any], row: list[float]) -> None:
    roll = row[ROLL] = _number(request.get("cue_ball_roll", 0.0), "cue_ball_roll")
    if not 0 <= roll <= 1:
        raise Refusal(
            "bad_value", f"Roll goes from 0 (stun) to 1 (natural roll), not to {roll:g}.", "cue_ball_roll"
        )
    if "speed_mps" in request:
        speed = row[SPEED] = _number(request["speed_mps"], "speed_mps")
        if speed <= 0:
            raise Refusal(
                "bad_value", f"The cue ball's speed at impact must be above 0, not {speed:g}.", "speed_mps"
            )


# ------------------------------------------------------------------ single values


def _number(value: Any, field: str, least: float = -LARGEST) -> float:
    kind = type(value)
    if kind is not float:
        if kind is not int:
            raise Refusal("bad_value", f"{field} must be a number, not {_shown(value)}.", field)
        if not -LARGEST <= value <= LARGEST:
            raise Refusal(
                "bad_value", f"{field} is beyond {LARGEST:g}, where a millimetre's digits are lost.", field
            )
        value = float(value)
    if not least <= value <= LARGEST:
        if value - value != 0:
            raise Refusal("not_finite", f"{field} must be finite.", field)
        if value < least and least > 0:
            raise Refusal("bad_value", f"{field} must be at least {least:g}, not {value:g}.", field)
        raise Refusal("bad_value", f"{field} is beyond {LARGEST:g}, where a millimetre's digits are lost.", field)
    return value


def _whole(value: Any, field: str, least: float, most: float) -> int:
    number = _number(value, field)
    if number != int(number) or not least <= number <= most:
        raise Refusal(
            "bad_value", f"{field} must be a whole number from {least:g} to {most:g}, not {number:g}.", field
        )
    return int(number)


def _numbers(value: Any, field: str, count: int) -> list[float]:
    numbers = [0.0] * count
    _point(value, field, numbers, 0, count)
    return numbers


def _point(value: Any, field: str, row: list[float], first: int, count: int) -> None:
    if type(value) is not list or len(value) != count:
        wanted = "[x, y]" if count == 2 else "[x, y, z]"
        raise Refusal("bad_value", f"{field} must be {wanted} in mm, not {_shown(value)}.", field)
    for number in value:
        row[first] = number if type(number) is float and -LARGEST <= number <= LARGEST else _number(number, field)
        first += 1


def _cut(value: Any, field: str) -> float:
    cut = _number(value, field)
    if not 0 <= cut < 90:
        raise Refusal(
            "cut_out_of_range", f"{field} is {cut:g} degrees; a ball is cut by 0 to less than 90.", field
        )
    return cut


def _above_cloth(height_mm: float, field: str) -> float:
    if height_mm <= 0:
        raise Refusal("bad_value", f"{field} puts the eye at {height_mm:g} mm; it must be above the cloth.", field)
    return height_mm


def _refuse_narrow(mouth_mm: float, diameter_mm: float, field: str) -> None:
    if mouth_mm < diameter_mm:
        raise Refusal(
            "mouth_too_narrow", f"A mouth of {mouth_mm:g} mm takes no ball of {diameter_mm:g} mm.", field
        )


def _identity(value: Any) -> str | float:
    if type(value) is str:
        if not value.isascii() and any("\ud800" <= c <= "\udfff" for c in value):
            raise Refusal("bad_value", "The id holds half of a surrogate pair, which is no text.", "id")
    elif type(value) is int:
        if not -(2**63) <= value < 2**63 or int(float(value)) != value:
            raise _long_id()
    elif type(value) is not float:
        raise Refusal("bad_value", f"An id is text or a number, not {_shown(value)}.", "id")
    elif not math.isfinite(value):
        raise Refusal("not_finite", "An id that is a number must be finite.", "id")
    elif abs(value) >= 2**53:  # how it was written is lost: 2^64 and its neighbours all come as this number
        raise _long_id()
    return value


def _long_id() -> Refusal:
    return Refusal("bad_value", "This id has more digits than a double keeps; give it as text.", "id")


def _choice(value: Any, among: Mapping[str, Any], field: str, subject: str) -> str:
    if type(value) is not str or value not in among:
        raise Refusal("bad_value", f"{subject} {_choices(among)}, not {_shown(value)}.", field)
    return value


def _part(part: Any, key: str) -> dict[str, Any]:
    if type(part) is not dict:
        raise Refusal("bad_value", f"{key} is an object with {_choices(PARTS[key])}, not {_shown(part)}.", key)
    if not part.keys() <= PARTS[key]:
        _refuse_unknown(part, PARTS[key], f"{key}.")
    return part


def _needed(part: Mapping[str, Any], key: str, path: str = "") -> Any:
    if key not in part:
        raise Refusal("missing", f"{path}{key} is missing.", f"{path}{key}")
    return part[key]


def _refuse_unknown(part: Mapping[str, Any], known: frozenset[str], path: str) -> None:
    key = next(k for k in part if k not in known)
    raise Refusal(
        "unknown_key",
        f"There is no key {_shown(key)} here; the keys are {_choices(sorted(known))}.",
        f"{path}{key}",
    )


def _choices(words: Any) -> str:
    return ", ".join(sorted(words) if isinstance(words, frozenset) else words)


_WORDS: dict[type, Callable[[Any], str]] = {
    type(None): lambda _: "null",
    bool: lambda v: "true" if v else "false",
    dict: lambda _: "an object",
    list: lambda v: f"a list of {len(v)}",
}


def _shown(value: Any) -> str:
    """A value as a message quotes it: short, and printable whatever it holds."""
    word = _WORDS.get(type(value))
    if word:
        return word(value)
    try:
        text = ascii(value)
    except ValueError:  # an integer of thousands of digits
        return "a very long number"
    return text if len(text) <= 60 else text[:57] + "..."


FREE: dict[str, Callable[[Any], Any]] = {
    "id": _identity,
    "misses": _misses,
    "others_mm": _others,
    "camera.points_mm": _picture_points,
}
"""How to read what has no column; raises Refusal."""
