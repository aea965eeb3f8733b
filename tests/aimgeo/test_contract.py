"""What an answer says and what is refused, a sentence of docs/solve.md at a time, where no other test holds it."""

from __future__ import annotations

import json
import math
import random
import re
from typing import Any

import pytest
import shapely

from aimgeo.asking.solve import answer

PLACED = {"object_ball_mm": [0, 0], "target_mm": "foot-left", "cut_deg": 30, "side": "left", "distance_mm": 500}
EYE = {"back_mm": 600, "offset_mm": 0, "height_mm": 300}
JUDGED = ("cut_deg", "object_error_deg", "miss_mm", "pocketed")


def one(request: Any) -> dict[str, Any]:
    (got,) = answer([request])
    return got


def readings(got: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {name: found for part in got["methods"].values() for name, found in part["readings"].items()}


def refused(request: Any) -> tuple[str, str | None]:
    error = one(request)["error"]
    return error["code"], error["field"]


# ------------------------------------------------------------------ hit beside every reading


def test_every_reading_and_sighting_says_whether_its_aim_hits() -> None:
    got = one({**PLACED, "eye": EYE})
    for found in [*readings(got).values(), *got["eye"]["sighting"].values(), got["eye"]["doubled_offset"]]:
        assert found["hit"] is True
        assert found["aim_error_deg"] is not None


def test_an_aim_that_passes_the_ball_keeps_its_error() -> None:
    """Cut 58 from a metre, a low eye 35 mm off: the base spot is taken a degree off, and the ball is missed."""
    base = {"object_ball_mm": [0, 0], "target_mm": [900, 0], "cut_deg": 58, "side": "left", "distance_mm": 1000}
    low, high = ({"back_mm": 600, "offset_mm": y, "height_mm": z} for y, z in ((-35, 105), (35, 300)))
    spot = readings(one({**base, "table": None, "eye": low}))["base_spot"]
    plane = one({**base, "table": None, "eye": high})["eye"]["sighting"]["plane"]
    assert spot["hit"] is plane["hit"] is False
    assert 0.9 < abs(spot["aim_error_deg"]) < 1.1
    assert plane["aim_error_deg"] == pytest.approx(-math.degrees(math.atan2(35, 600)), abs=1e-9)
    assert [found[key] for found in (spot, plane) for key in JUDGED[:3]] == [None] * 6


def test_an_eye_that_gives_no_such_aim_has_no_hit_and_no_error() -> None:
    """Below the balls' centres no sight line meets the cloth beyond the ghost ball; the edges are still seen."""
    got = readings(one({**PLACED, "cut_deg": 20, "eye": {**EYE, "height_mm": 25}}))
    for name in ("base_spot", "centre"):
        assert [got[name][key] for key in ("hit", "aim_error_deg", *JUDGED)] == [None] * 6
    assert got["edge"]["hit"] is True
    # from right above the cue ball no level direction leads through it
    above = one({**PLACED, "camera": {"eye_mm": [-500, 0, 300]}, "cut_deg": 0, "target_mm": [900, 0]})
    assert above["eye"]["sighting"]["plane"]["hit"] is None
    assert above["eye"]["sighting"]["plane"]["aim_error_deg"] is None


def test_without_a_pocket_nobody_knows_what_is_pocketed() -> None:
    assert {found["pocketed"] for found in readings(one({**PLACED, "target_mm": [900, 0]})).values()} == {None}
    assert None not in {found["pocketed"] for found in readings(one(PLACED)).values()}


# ------------------------------------------------------------------ other balls


@pytest.mark.parametrize(
    ("others", "field"),
    [
        ([[300, 300], [310, 300]], "others_mm[1]"),
        ([[0, 0]], "others_mm[0]"),
        ([[300, 300], [20, 40]], "others_mm[1]"),
        ([[-300, 300], [300, 300], [500, 100], [-300, 357.1]], "others_mm[3]"),
    ],
)
def test_balls_that_lie_in_one_another_are_refused(others: list[list[float]], field: str) -> None:
    assert refused({**PLACED, "others_mm": others}) == ("balls_overlap", field)


def test_a_ball_in_the_cue_ball_is_refused_and_one_that_touches_is_not() -> None:
    shot = {"object_ball_mm": [0, 0], "target_mm": [900, 0], "cue_ball_mm": [-500, 0]}
    assert refused({**shot, "others_mm": [[-500, 50]]}) == ("balls_overlap", "others_mm[0]")
    assert "the cue ball" in one({**shot, "others_mm": [[-500, 50]]})["error"]["message"]
    rolled = {"object_ball_mm": [0, 0], "cue_ball_mm": [-500, 0], "aim_deg": 90, "others_mm": [[-499, 0]]}
    assert refused(rolled) == ("balls_overlap", "others_mm[0]")
    assert "shot" in one({**shot, "others_mm": [[-500, 57.15], [-500, -57.15], [0, 57.15]]})


def test_overlaps_are_found_among_thousands_of_balls() -> None:
    """A square grid of touching balls is answered; one more anywhere in it is refused."""
    grid = [[57.15 * i - 1000, 57.15 * k - 9000] for i in range(100) for k in range(60)]
    base = {**PLACED, "target_mm": [900, 0], "table": None}
    assert "shot" in one({**base, "others_mm": grid})
    for place in ([-990.0, -8990.0], [57.15 * 70 - 1025, 57.15 * 30 - 9028.0]):
        assert refused({**base, "others_mm": [*grid, place]})[0] == "balls_overlap"


@pytest.mark.parametrize("seed", range(40))
def test_overlaps_are_those_of_shapely(seed: int) -> None:
    rng = random.Random(seed)
    balls = [[rng.uniform(-400, 400), rng.uniform(100, 500)] for _ in range(rng.choice([2, 5, 12]))]
    discs = [shapely.Point(p).buffer(57.15 / 2, quad_segs=256) for p in [*balls, (0, 0)]]
    overlap = any(a.intersection(b).area > 1 for i, a in enumerate(discs) for b in discs[:i])
    got = one({**PLACED, "others_mm": balls})
    assert (got.get("error", {}).get("code") == "balls_overlap") == overlap


# ------------------------------------------------------------------ the eye and the id


def test_an_eye_in_front_of_the_cue_ball_is_refused() -> None:
    assert refused({**PLACED, "eye": {**EYE, "back_mm": -1}}) == ("bad_value", "eye.back_mm")
    assert "shot" in one({**PLACED, "eye": {**EYE, "back_mm": 0}})


@pytest.mark.parametrize("name", [2**53 + 1, -(2**53) - 1, 2**63, 2**64, float(2**64), 2**70 + 1, 1e300])
def test_an_id_that_a_double_cannot_hold_is_refused(name: float) -> None:
    got = one({**PLACED, "id": name})
    assert (got["error"]["code"], got["error"]["field"]) == ("bad_value", "id")
    assert "id" not in got


@pytest.mark.parametrize("name", [0, -7, 2.5, 2**53, 2**60, -(2**62), "18446744073709551616"])
def test_an_id_is_echoed_as_it_is(name: Any) -> None:
    got = one({**PLACED, "id": name})["id"]
    assert got == name
    assert type(got) is type(name)
    assert json.loads(json.dumps(got)) == name


# ------------------------------------------------------------------ what is named first

ON_RAIL = {"object_ball_mm": [300, 606.425], "side": "left", "distance_mm": 400}


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("cut", [0, 20, 60])
def test_a_ghost_ball_in_the_cushion_is_named_before_a_cue_ball_in_it(cut: float, side: str) -> None:
    """The object ball is frozen to the rail and must leave it: no cue ball can do that."""
    for target in ("foot-left", [900, 300], "side-right"):
        got = one({**ON_RAIL, "target_mm": target, "cut_deg": cut, "side": side})["error"]
        assert (got["code"], got["field"]) == ("off_bed", "target_mm")
        assert "ghost ball" in got["message"]


def test_the_refusal_names_the_direction_that_the_cushion_allows() -> None:
    """A ball frozen to a rail can only be driven along it, or into it."""
    for target, way in (([900, 300], 1.0), ([-900, 300], -1.0)):
        asked = {**ON_RAIL, "cut_deg": 0, "target_mm": target}
        message = one(asked)["error"]["message"]
        offered = [float(v) for v in re.findall(r"target_mm \[(.*), (.*)\]", message)[0]]
        assert offered[1] == pytest.approx(606.425, abs=1e-2)
        assert (offered[0] - 300) * way > 0
        assert "shot" in one({**asked, "target_mm": offered})
    into = one({**ON_RAIL, "target_mm": "foot-left", "cut_deg": 0})["error"]["message"]
    assert "no direction that the cushion allows goes clean into the pocket; the nearest" in into


def test_a_ghost_ball_in_the_cushion_is_named_before_a_cut_that_is_too_thin() -> None:
    asked = {"object_ball_mm": [300, 606.425], "target_mm": [900, 300], "cue_ball_mm": [900, 600]}
    assert refused(asked) == ("off_bed", "target_mm")
    # from the same cue ball a target that leaves the ghost ball on the bed needs too thin a cut
    assert refused({**asked, "target_mm": [900, 606.425]}) == ("cut_out_of_range", "target_mm")


def test_frozen_balls_with_their_ghost_ball_in_the_cushion() -> None:
    assert refused({**ON_RAIL, "target_mm": [900, 300], "cut_deg": 0, "distance_mm": 57.15}) == (
        "off_bed",
        "target_mm",
    )


def test_an_object_ball_off_the_bed_is_named_before_anything_else_about_the_shot() -> None:
    asked = {"object_ball_mm": [300, 620], "target_mm": [900, 300], "cue_ball_mm": [300, 625]}
    assert refused(asked) == ("off_bed", "object_ball_mm")
    assert refused({**asked, "object_ball_mm": [1225, 595], "target_mm": "foot-left"}) == (
        "bad_value",
        "object_ball_mm",
    )
