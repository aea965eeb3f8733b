"""Requests read together are read as each of them is by itself."""

# ruff: noqa: E501 - a table reads best with one case a line

from __future__ import annotations

import copy
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aimgeo.asking import asked
from aimgeo.asking.asked import ask
from aimgeo.asking.fields import BY_KEY, FREE, Refusal
from aimgeo.asking.request import Row, read

PLACED = {
    "object_ball_mm": [0.0, 9.5],
    "target_mm": "foot-left",
    "cut_deg": 30.0,
    "side": "left",
    "distance_mm": 500.0,
}
EYE = {"back_mm": 600.0, "offset_mm": 2.5, "height_mm": 300.0}
PICTURE = {"vertical_fov_deg": 40.0, "width_px": 640, "height_px": 360}
SOUND: list[dict[str, Any]] = [
    PLACED,
    {**PLACED, "id": 3, "table": "8ft", "eye": EYE, "camera": {"look_at": "ghost_ball", **PICTURE}},
    {**PLACED, "target_mm": [900, 0], "table": None, "ball_diameter_mm": 52.4, "pocket": {"mouth_mm": 120.0, "approach_deg": 5}},
    {**PLACED, "cut_deg": 0, "side": "straight", "pocket": {"mouth_mm": 120.0}, "misses": {"left": 3, "right": 12}},
    {"object_ball_mm": [0, 0], "target_mm": [900, 300], "cut_deg": 0, "distance_mm": 500, "fixed_marks": {}},
    {**PLACED, "eye": {"back_mm": 600, "alignment": "contact_line", "height_mm": 300}, "aim_error": {"at_ghost_mm": 1.5}},
    {**PLACED, "fixed_marks": {"for_cut_deg": 20}, "aim_error": {"parallel_mm": 1}, "speed_mps": 2, "cue_ball_roll": 0.5},
    {"object_ball_mm": [0, 0], "target_mm": [900.0, 300.0], "cue_ball_mm": [-500, 50], "others_mm": [[100, 200], [0.5, 9]],
     "camera": {"eye_mm": [-900.0, 0.0, 400.0], "look_at": [0, 0, 0], **PICTURE, "width_px": 1, "points_mm": {"tip": [0, 0, 1]}}},
    {"object_ball_mm": [0, 0], "cue_ball_mm": [-500, 10], "aim_deg": 1.5, "id": "a", "aim_error": {"rotate_deg": 1},
     "fraction": {"object_offset_mm": 20, "cue_offset_mm": -5.5, "measured": "aim_line"}, "camera": {"eye_mm": [0, 0, 900]}},
]  # fmt: skip
"""Between them every key; each is mixed with changed copies of itself."""

scalars = (
    st.sampled_from(
        [0, 0.0, -0.0, 1, True, False, None, "left", "right", "straight", "foot-left", "side-right", "9ft"]
    )
    | st.sampled_from([90, 90.0, 180.0, -90.0, 1e9, -1e9, 10**9 + 1, 10**400, math.nan, math.inf, -1, "x", 5e-324])
    | st.floats(-100, 1000)
)
values = scalars | st.lists(scalars | st.lists(scalars, max_size=3), max_size=3) | st.just({}) | st.just({"x": 1})


def paths(request: dict[str, Any]) -> list[tuple[Any, ...]]:
    """The places of a request's values, inner ones too."""
    found: list[tuple[Any, ...]] = []
    for key, value in request.items():
        found.append((key,))
        if isinstance(value, dict):
            found += [(key, *path) for path in paths(value)]
        elif isinstance(value, list):
            found += [(key, k) for k in range(len(value))]
    return found


@st.composite
def changed(draw: Any, request: dict[str, Any]) -> Any:
    """A copy with other numbers, other values of any kind, or other keys; rarely no request at all."""
    made = copy.deepcopy(request)
    for path in draw(st.lists(st.sampled_from(paths(request)), max_size=3)):
        holder: Any = made
        try:
            for key in path[:-1]:
                holder = holder[key]
            if isinstance(holder, dict) and draw(st.integers(0, 9)) == 0:
                holder.pop(path[-1], None)
            else:
                holder[path[-1]] = draw(values)
        except (TypeError, KeyError, IndexError):
            continue  # an earlier change took the holder away
    return draw(
        st.sampled_from([made] * 30 + [None, [made], {**made, "oops": 1}, Refusal("bad_json", "No.", None)])
    )


batches = st.lists(st.sampled_from(SOUND), min_size=1, max_size=2).flatmap(
    lambda kinds: st.lists(st.sampled_from(kinds).flatmap(changed), min_size=1, max_size=40)
)


def read_alone(request: Any) -> Row | Refusal:
    try:
        return read(request)
    except Refusal as refusal:
        return refusal


def same_as_one_by_one(requests: list[Any]) -> None:
    got, places, refused = ask(requests)
    sound: list[int] = []
    for place, request in enumerate(requests):
        row = read_alone(request)
        if isinstance(row, Refusal):
            assert refused[place].as_dict() == row.as_dict()
            continue
        n = len(sound)
        sound.append(place)
        np.testing.assert_array_equal(got.numbers[:, n], row.numbers)
        for name in FREE.keys() - {"id"}:
            assert got.free[name].get(n) == row.free.get(name)
    assert places.tolist() == sound
    assert sorted([*sound, *refused]) == list(range(len(requests)))
    assert all(list(given) == sorted(given) for given in got.free.values())


@settings(max_examples=300)
@given(batches)
def test_requests_read_together_are_read_as_one_by_one(requests: list[Any]) -> None:
    same_as_one_by_one(requests)


@pytest.mark.parametrize("request_", SOUND)
def test_every_single_change_is_noticed(request_: dict[str, Any]) -> None:
    """Each value in turn is replaced by each of many others, among sound requests of the same keys."""
    others = [0, 0.0, 1, 1.0, True, None, "left", "straight", "x", 90, 95.5, -1, 180, 181, -91, 2e9, 10**400, math.nan, [], [1, 2],
              [1, True], [1, 2, 3], [1, 2, "3"], {}, {"x": 1}, "line_of_centres", "cue_edge_left", "8ft", 5e-324, 52.4]  # fmt: skip
    for path in paths(request_):
        batch: list[Any] = [copy.deepcopy(request_)]
        for other in others:
            made = copy.deepcopy(request_)
            holder: Any = made
            for key in path[:-1]:
                holder = holder[key]
            holder[path[-1]] = other
            batch += [made, copy.deepcopy(request_)]
        same_as_one_by_one(batch)


def test_what_a_request_does_not_hold_is_not_taken_from_its_neighbours() -> None:
    named = {"object_ball_mm": [0, 0], "cue_ball_mm": [-500, 10], "aim_deg": 0}
    camera = {"eye_mm": [0, 0, 900], "look_at": "object_ball", **PICTURE}
    with_points = {**named, "camera": {**camera, "points_mm": {"tip": [0, 0, 1]}}}
    same_as_one_by_one([*[with_points] * 10, {**named, "camera": camera}])


def test_a_key_named_like_a_pocket_is_an_unknown_key_among_sound_requests() -> None:
    same_as_one_by_one([*[PLACED] * 10, {**PLACED, "target_mm": [900, 0], "foot-left": 1}])


def test_lists_stay_in_order_when_one_request_is_read_in_full() -> None:
    others = [{**PLACED, "others_mm": [[k, 0]], "table": "8ft" if k == 3 else "9ft"} for k in range(20)]
    same_as_one_by_one(others)


def test_requests_that_differ_in_numbers_alone_are_not_read_in_full(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[Any] = []

    def counted(request: Any) -> Row:
        calls.append(request)
        return read(request)

    monkeypatch.setattr(asked, "read", counted)
    ask([{**PLACED, "eye": EYE, "cut_deg": k / 2, "side": "left" if k % 3 else "right"} for k in range(100)])
    assert len(calls) == 1


def test_every_field_is_in_one_of_the_sound_requests() -> None:
    held = {".".join(str(k) for k in path) for one in SOUND for path in paths(one)}
    assert BY_KEY.keys() <= held
