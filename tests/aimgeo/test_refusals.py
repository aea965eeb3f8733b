"""Every refusal of a request, and what must not be refused."""

# ruff: noqa: E501 - a table reads best with one case a line

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from aimgeo.asking.fields import KEYS, PARTS
from aimgeo.asking.solve import answer
from aimgeo.tables import POCKET_NAMES, TABLES

PLACED = {"object_ball_mm": [0, 0], "target_mm": "foot-left", "cut_deg": 30, "side": "left", "distance_mm": 500}
SOLVED = {"object_ball_mm": [0, 0], "target_mm": [900, 300], "cue_ball_mm": [-500, 50]}
ROLLED = {"object_ball_mm": [0, 0], "cue_ball_mm": [-500, 10], "aim_deg": 0}
EYE = {"back_mm": 600, "offset_mm": 0, "height_mm": 300}
CAMERA = {"look_at": "object_ball", "vertical_fov_deg": 40, "width_px": 640, "height_px": 360}


def without(request: dict[str, Any], *keys: str) -> dict[str, Any]:
    return {key: value for key, value in request.items() if key not in keys}


REFUSED: list[tuple[str, str | None, Any]] = [
    # not an object
    ("bad_json", None, [PLACED]),
    ("bad_json", None, "placed"),
    ("bad_json", None, None),
    ("bad_json", None, 3),
    # unknown keys
    ("unknown_key", "cut", {**PLACED, "cut": 30}),
    ("unknown_key", "eye.height", {**PLACED, "eye": {**EYE, "height": 1}}),
    ("unknown_key", "camera.fov", {**PLACED, "eye": EYE, "camera": {**CAMERA, "fov": 1}}),
    ("unknown_key", "aim_error.turn_deg", {**PLACED, "aim_error": {"turn_deg": 1}}),
    ("unknown_key", "fraction.x", {**PLACED, "fraction": {"x": 1}}),
    ("unknown_key", "pocket.x", {**PLACED, "pocket": {"x": 1}}),
    ("unknown_key", "misses.middle", {**PLACED, "misses": {"left": 1, "right": 1, "middle": 1}}),
    ("unknown_key", "fixed_marks.x", {**PLACED, "fixed_marks": {"x": 1}}),
    # numbers
    ("not_finite", "cut_deg", {**PLACED, "cut_deg": math.nan}),
    ("not_finite", "distance_mm", {**PLACED, "distance_mm": math.inf}),
    ("not_finite", "object_ball_mm", {**PLACED, "object_ball_mm": [0, -math.inf]}),
    ("not_finite", "eye.back_mm", {**PLACED, "eye": {**EYE, "back_mm": math.nan}}),
    ("not_finite", "camera.look_at", {**PLACED, "eye": EYE, "camera": {**CAMERA, "look_at": [0, 0, math.nan]}}),
    ("not_finite", "others_mm[1]", {**PLACED, "others_mm": [[1, 2], [math.nan, 2]]}),
    ("not_finite", "speed_mps", {**PLACED, "speed_mps": math.inf}),
    ("not_finite", "misses.left", {**PLACED, "misses": {"left": math.nan, "right": 1}}),
    ("not_finite", "id", {**PLACED, "id": math.nan}),
    ("bad_value", "cut_deg", {**PLACED, "cut_deg": True}),
    ("bad_value", "cut_deg", {**PLACED, "cut_deg": "30"}),
    ("bad_value", "distance_mm", {**PLACED, "distance_mm": [500]}),
    ("bad_value", "distance_mm", {**PLACED, "distance_mm": 10**400}),
    ("bad_value", "distance_mm", {**PLACED, "distance_mm": 1e12}),
    ("bad_value", "object_ball_mm", {**PLACED, "object_ball_mm": [0, 0, 0]}),
    ("bad_value", "object_ball_mm", {**PLACED, "object_ball_mm": [0, False]}),
    ("bad_value", "object_ball_mm", {**PLACED, "object_ball_mm": {"x": 0, "y": 0}}),
    ("bad_value", "target_mm", {**PLACED, "target_mm": 5}),
    ("bad_value", "ball_diameter_mm", {**PLACED, "ball_diameter_mm": 0}),
    ("bad_value", "ball_diameter_mm", {**PLACED, "ball_diameter_mm": -57.15}),
    ("bad_value", "id", {**PLACED, "id": True}),
    ("bad_value", "id", {**PLACED, "id": ["x"]}),
    ("bad_value", "side", {**PLACED, "side": 1}),
    ("bad_value", "table", {**PLACED, "table": 9}),
    # null, except for the table
    *[("bad_value", key, {**PLACED, key: None}) for key in KEYS if key != "table"],
    # missing
    ("missing", "object_ball_mm", {}),
    ("missing", "object_ball_mm", {"misses": {"left": 3, "right": 4}}),
    ("missing", "object_ball_mm", without(PLACED, "object_ball_mm")),
    ("missing", "target_mm", without(PLACED, "target_mm")),
    ("missing", "cut_deg", without(PLACED, "cut_deg")),
    ("missing", "side", without(PLACED, "side")),
    ("missing", "distance_mm", without(PLACED, "distance_mm")),
    ("missing", "cue_ball_mm", without(SOLVED, "cue_ball_mm")),
    ("missing", "cue_ball_mm", without(ROLLED, "cue_ball_mm")),
    ("missing", "eye.back_mm", {**PLACED, "eye": without(EYE, "back_mm")}),
    ("missing", "eye.offset_mm", {**PLACED, "eye": without(EYE, "offset_mm")}),
    ("missing", "eye.height_mm", {**PLACED, "eye": without(EYE, "height_mm")}),
    ("missing", "eye", {**PLACED, "camera": CAMERA}),
    *[("missing", f"camera.{key}", {**PLACED, "eye": EYE, "camera": without(CAMERA, key)}) for key in CAMERA],
    ("missing", "aim_error", {**PLACED, "aim_error": {}}),
    ("missing", "fraction.measured", {**PLACED, "fraction": {"object_offset_mm": 1, "cue_offset_mm": 0}}),
    ("missing", "pocket.mouth_mm", {**SOLVED, "pocket": {"approach_deg": 0}}),
    ("missing", "pocket.approach_deg", {**SOLVED, "pocket": {"mouth_mm": 120}}),
    ("missing", "target_mm", {**ROLLED, "pocket": {"mouth_mm": 120, "approach_deg": 0}}),
    ("missing", "misses.right", {**PLACED, "misses": {"left": 1}}),
    # conflicts
    ("conflict", "cut_deg", {**SOLVED, "cut_deg": 30}),
    ("conflict", "side", {**SOLVED, "side": "left"}),
    ("conflict", "distance_mm", {**ROLLED, "distance_mm": 500}),
    ("conflict", "aim_error", {**PLACED, "aim_error": {"rotate_deg": 1, "at_ghost_mm": 1}}),
    ("conflict", "eye.alignment", {**PLACED, "eye": {**EYE, "alignment": "aim_line"}}),
    ("conflict", "camera.eye_mm", {**PLACED, "eye": EYE, "camera": {**CAMERA, "eye_mm": [-900, 0, 300]}}),
    ("conflict", "pocket.approach_deg", {**PLACED, "pocket": {"approach_deg": 0}}),
    ("conflict", "camera.points_mm.target", {**PLACED, "eye": EYE,
                                             "camera": {**CAMERA, "points_mm": {"target": [0, 0, 0]}}}),
    # cuts
    ("cut_out_of_range", "cut_deg", {**PLACED, "cut_deg": -1}),
    ("cut_out_of_range", "cut_deg", {**PLACED, "cut_deg": 90}),
    ("cut_out_of_range", "cut_deg", {**PLACED, "cut_deg": 400}),
    ("cut_out_of_range", "target_mm", {**SOLVED, "target_mm": [-900, 300]}),
    ("cut_out_of_range", "target_mm", {"object_ball_mm": [0, 0], "target_mm": [0, 600], "cue_ball_mm": [-500, -57.15]}),
    ("cut_out_of_range", "fixed_marks.for_cut_deg", {**PLACED, "fixed_marks": {"for_cut_deg": 90}}),
    # places
    ("balls_overlap", "distance_mm", {**PLACED, "distance_mm": 57.1}),
    ("balls_overlap", "distance_mm", {**PLACED, "distance_mm": -500}),
    ("balls_overlap", "cue_ball_mm", {**SOLVED, "cue_ball_mm": [-40, 0]}),
    ("balls_overlap", "cue_ball_mm", {**ROLLED, "cue_ball_mm": [0, 0]}),
    ("target_at_object", "target_mm", {**PLACED, "target_mm": [0, 0]}),
    ("target_at_object", "target_mm", {**SOLVED, "target_mm": [0, 0]}),
    ("target_at_object", "target_mm", {**ROLLED, "target_mm": [0, 0]}),
    ("off_bed", "object_ball_mm", {**PLACED, "object_ball_mm": [1250, 0], "target_mm": [1300, 0]}),
    ("off_bed", "object_ball_mm", {**ROLLED, "object_ball_mm": [0, 620]}),
    ("off_bed", "cue_ball_mm", {**SOLVED, "cue_ball_mm": [-1300, 0]}),
    ("off_bed", "distance_mm", {**PLACED, "distance_mm": 2000}),
    ("off_bed", "target_mm", {"object_ball_mm": [0, 606], "target_mm": [900, 500], "cue_ball_mm": [-700, 606]}),
    ("off_bed", "object_ball_mm", {**SOLVED, "table": "7ft", "object_ball_mm": [980, 0]}),
    ("off_bed", "others_mm[1]", {**PLACED, "others_mm": [[0, 300], [1260, 0]]}),
    # names
    ("unknown_side", "side", {**PLACED, "side": "Left"}),
    ("unknown_side", "side", {**PLACED, "side": ""}),
    ("conflict", "side", {**PLACED, "side": "straight"}),
    ("unknown_pocket", "target_mm", {**PLACED, "target_mm": "foot_left"}),
    ("unknown_pocket", "target_mm", {**PLACED, "table": None}),
    ("unknown_table", "table", {**PLACED, "table": "19ft"}),
    ("bad_value", "eye.alignment", {**PLACED, "eye": {"back_mm": 1, "height_mm": 1, "alignment": "nose"}}),
    ("bad_value", "fraction.measured", {**PLACED, "fraction": {"object_offset_mm": 1, "cue_offset_mm": 0,
                                                               "measured": "nose"}}),
    ("bad_value", "camera.look_at", {**PLACED, "eye": EYE, "camera": {**CAMERA, "look_at": "cue_ball"}}),
    # pockets
    ("mouth_too_narrow", "pocket.mouth_mm", {**PLACED, "pocket": {"mouth_mm": 57}}),
    ("mouth_too_narrow", "pocket.mouth_mm", {**SOLVED, "pocket": {"mouth_mm": 0, "approach_deg": 0}}),
    ("mouth_too_narrow", "ball_diameter_mm", {**PLACED, "ball_diameter_mm": 116}),
    ("bad_value", "pocket.approach_deg", {**SOLVED, "pocket": {"mouth_mm": 120, "approach_deg": 91}}),
    ("bad_value", "object_ball_mm", {**PLACED, "object_ball_mm": [1220, 590], "distance_mm": 200}),
    ("bad_value", "object_ball_mm", {**SOLVED, "target_mm": [20, 0], "pocket": {"mouth_mm": 120, "approach_deg": 0}}),
    # eyes and cameras
    ("eye_in_ball", "eye", {**PLACED, "eye": {"back_mm": 0, "offset_mm": 0, "height_mm": 30}}),
    ("eye_in_ball", "camera.eye_mm", {**PLACED, "camera": {**CAMERA, "eye_mm": [10, 10, 30]}}),
    ("eye_in_ball", "camera.eye_mm", {**PLACED, "others_mm": [[100, 100]], "camera": {"eye_mm": [110, 90, 40]}}),
    ("bad_value", "eye.height_mm", {**PLACED, "eye": {**EYE, "height_mm": 0}}),
    ("bad_value", "camera.eye_mm", {**PLACED, "camera": {**CAMERA, "eye_mm": [0, 0, -5]}}),
    ("bad_value", "camera.vertical_fov_deg", {**PLACED, "eye": EYE, "camera": {**CAMERA, "vertical_fov_deg": 180}}),
    ("bad_value", "camera.vertical_fov_deg", {**PLACED, "eye": EYE, "camera": {**CAMERA, "vertical_fov_deg": 0}}),
    ("bad_value", "camera.width_px", {**PLACED, "eye": EYE, "camera": {**CAMERA, "width_px": 0}}),
    ("bad_value", "camera.height_px", {**PLACED, "eye": EYE, "camera": {**CAMERA, "height_px": 0.5}}),
    ("bad_value", "camera.look_at", {**PLACED, "camera": {**CAMERA, "eye_mm": [100, 100, 300],
                                                          "look_at": [100, 100, 300]}}),
    ("bad_value", "camera.points_mm", {**PLACED, "eye": EYE, "camera": {**CAMERA, "points_mm": [[0, 0, 0]]}}),
    ("bad_value", "camera.points_mm.p", {**PLACED, "eye": EYE, "camera": {**CAMERA, "points_mm": {"p": [0, 0]}}}),
    # the rest
    ("bad_value", "speed_mps", {**PLACED, "speed_mps": 0}),
    ("bad_value", "speed_mps", {**PLACED, "speed_mps": -1}),
    ("bad_value", "cue_ball_roll", {**PLACED, "cue_ball_roll": 1.5}),
    ("bad_value", "cue_ball_roll", {**PLACED, "cue_ball_roll": -0.5}),
    ("bad_value", "misses.left", {**PLACED, "misses": {"left": -1, "right": 1}}),
    ("bad_value", "misses.right", {**PLACED, "misses": {"left": 1, "right": 1.5}}),
    ("bad_value", "others_mm", {**PLACED, "others_mm": {}}),
    ("bad_value", "others_mm[0]", {**PLACED, "others_mm": [3]}),
]  # fmt: skip


@pytest.mark.parametrize(("code", "field", "request_"), REFUSED)
def test_what_no_shot_answers_is_refused(code: str, field: str | None, request_: Any) -> None:
    (got,) = answer([request_])
    assert got.keys() - {"id"} == {"error"}
    assert (got["error"]["code"], got["error"]["field"]) == (code, field), got
    assert got["error"]["message"].endswith((".", "}."))


def test_every_code_of_the_contract_is_met() -> None:
    codes = {code for code, _, _ in REFUSED}
    assert codes == {
        "unknown_key", "not_finite", "bad_value", "missing", "conflict", "cut_out_of_range", "balls_overlap",
        "target_at_object", "unknown_side", "unknown_pocket", "unknown_table", "off_bed", "mouth_too_narrow",
        "eye_in_ball", "bad_json",
    }  # fmt: skip


@pytest.mark.parametrize(
    "request_",
    [
        PLACED,
        SOLVED,
        ROLLED,
        {**without(PLACED, "side"), "cut_deg": 0},
        {**PLACED, "cut_deg": 0, "side": "straight"},
        {**SOLVED, "table": None},
        {**PLACED, "pocket": {}},
        {**PLACED, "fixed_marks": {}},
        {**PLACED, "others_mm": []},
        {**PLACED, "ball_diameter_mm": 60.0},
        # a ball may touch a cushion
        {"object_ball_mm": [0, 606.425], "target_mm": [900, 606.425], "cue_ball_mm": [-700, 606.425]},
        # the camera's own eye is an eye, with or without a picture
        {**PLACED, "camera": {**CAMERA, "eye_mm": [-900, 0, 300]}},
        {**PLACED, "camera": {"eye_mm": [-900, 0, 300]}},
    ],
)
def test_what_is_answered(request_: Any) -> None:
    assert "shot" in answer([request_])[0]


@pytest.mark.parametrize("off", [0.0, 5e-10, -5e-10])
def test_frozen_balls_have_positions_and_nothing_else(off: float) -> None:
    more = {"eye": EYE, "speed_mps": 1, "aim_error": {"rotate_deg": 1}, "id": 7}
    placed, solved, rolled = answer([
        {**PLACED, "distance_mm": 57.15 + off, **more},
        {**SOLVED, "cue_ball_mm": [-57.15 - off, 0], **more},
        {**ROLLED, "cue_ball_mm": [-57.15 - off, 0], **more},
    ])  # fmt: skip
    for got in (placed, solved, rolled):
        assert list(got) == ["id", "shot"]
        shot = got["shot"]
        assert shot["frozen"] is True
        assert shot["aim_direction"] is shot["cut_deg"] is shot["travel_mm"] is None
        assert shot["distance_mm"] == pytest.approx(57.15, abs=1e-9)
    assert placed["shot"]["cue_ball_mm"] == pytest.approx(placed["shot"]["ghost_ball_mm"], abs=1e-9)
    assert solved["shot"]["line_of_centres_deg"] == pytest.approx(math.degrees(math.atan2(300, 900)))
    assert rolled["shot"]["ghost_ball_mm"] is None


def test_one_refusal_leaves_the_others_and_their_order_alone() -> None:
    asked = [
        {**PLACED, "id": 1},
        {**PLACED, "id": "two", "cut_deg": 95},
        "x",
        {**SOLVED, "id": 3.5},
        {**ROLLED, "id": 0},
    ]
    got = answer(asked)
    assert [one.get("id") for one in got] == [1, "two", None, 3.5, 0]
    assert ["shot" in one for one in got] == [True, False, False, True, True]
    assert answer(asked[:1]) == got[:1]
    assert answer([]) == []


# ------------------------------------------------------------------ fuzz

scalars = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8), st.integers(10**30, 10**40),
    st.sampled_from([*POCKET_NAMES, *TABLES, "left", "right", "aim_line", "object_ball", 57.15, 0, -0.0, 1e9, 1e-320]),
)  # fmt: skip
names = st.sampled_from(sorted({*KEYS}.union(*PARTS.values()))) | st.text(max_size=4)
values = st.recursive(
    scalars | st.lists(st.floats(-2e3, 2e3), min_size=2, max_size=3),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(names, inner, max_size=4),
    max_leaves=12,
)
whole: dict[str, Any] = {
    **PLACED, "table": "9ft", "eye": EYE, "camera": CAMERA, "aim_error": {"rotate_deg": 1},
    "fraction": {"object_offset_mm": 1, "cue_offset_mm": 2, "measured": "aim_line"}, "pocket": {"mouth_mm": 120},
    "misses": {"left": 3, "right": 8}, "fixed_marks": {"for_cut_deg": 20}, "others_mm": [[100, 100]],
    "speed_mps": 2, "cue_ball_roll": 0.5, "id": "whole",
}  # fmt: skip


def assert_sound(got: dict[str, Any]) -> None:
    json.dumps(got, allow_nan=False)
    assert ("error" in got) != ("shot" in got)


@given(values)
def test_any_value_is_answered_or_refused(request_: Any) -> None:
    assert_sound(answer([request_])[0])


@given(
    st.dictionaries(st.sampled_from(KEYS), values, min_size=1, max_size=3),
    st.sets(st.sampled_from(KEYS)),
)
def test_any_change_to_a_sound_request_is_answered_or_refused(changes: dict[str, Any], dropped: set[str]) -> None:
    request_ = {key: value for key, value in {**whole, **changes}.items() if key not in dropped or key in changes}
    assert_sound(answer([request_])[0])


@given(st.sampled_from(sorted(PARTS)), st.dictionaries(names, values, min_size=1, max_size=2))
def test_any_change_to_a_part_is_answered_or_refused(part: str, changes: dict[str, Any]) -> None:
    assert_sound(answer([{**whole, part: {**whole[part], **changes}}])[0])


numbers = st.floats(-3000, 3000) | st.sampled_from([0.0, 57.15, -57.15, 606.425, 1241.425, 1e-9, 1e6])


@given(st.lists(numbers, min_size=14, max_size=14), st.booleans(), st.sampled_from(["9ft", None]))
def test_any_numbers_are_answered_or_refused(n: list[float], rolled: bool, table: str | None) -> None:
    request_ = {
        "object_ball_mm": n[0:2], "cue_ball_mm": n[2:4], "target_mm": n[4:6], "table": table,
        "eye": {"back_mm": n[6], "offset_mm": n[7], "height_mm": n[8]},
        "camera": {**CAMERA, "look_at": n[9:12]},
        "aim_error": {"parallel_mm": n[12]}, "others_mm": [n[12:14]], "speed_mps": 1.0, "cue_ball_roll": 1.0,
    } | ({"aim_deg": n[13]} if rolled else {})  # fmt: skip
    got = answer([request_])[0]
    assert_sound(got)
    if "shot" in got and got["shot"].get("hit", True) and not got["shot"].get("frozen"):
        assert all(value is not None for value in got["shot"].values())
