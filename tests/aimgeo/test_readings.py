"""Each reading of each method, done again as a player would do it: points, sight lines, joins on the table."""

from __future__ import annotations

import math
from typing import Any

import mpmath as mp
import pytest

from aimgeo.asking.solve import answer
from aimgeo.methods import METHODS
from tests.aimgeo import plain as p
from tests.aimgeo.test_against_plain import EYES, Plain, agrees, requests

Request = dict[str, Any]


def cut_at(E: p.Vec, through: p.Vec, height: Any) -> p.Vec | None:
    """Where the sight line from E through a point passes a height, in front of the eye; None where it does not."""
    w = p.sub(through, E)
    k = (height - E[2]) / w[2] if w[2] != 0 else mp.mpf(-1)
    return p.add(E, w, k)[:2] if k > 0 else None


def touch(E: p.Vec, centre: p.Vec, R: Any, which: int) -> p.Vec:
    """Where the level sight line touches a ball on the left (1) or right (-1) as the eye sees it."""
    w = p.sub(centre, E[:2])
    turn = mp.asin(R / p.norm(w))
    way = p.turned(p.unit(w), which * turn)
    return p.add(E[:2], way, p.inner(w, way))


def aims(w: Plain, E: p.Vec, mark_deg: float) -> dict[str, p.Vec | None]:
    """The direction in which each reading sends the cue ball."""
    R, d = w.z, w.d

    def through(point: p.Vec | None) -> p.Vec | None:
        return None if point is None else p.unit(p.sub(point, w.C))

    outer = -w.s  # the object ball is on the side to which it goes
    edges = [touch(E, ball, R, outer) for ball in (w.C, w.G)]
    centres = p.unit(p.sub(w.O, w.C))
    sine = abs(mp.sin(w.cut))
    flat = p.sub(w.O, E[:2])
    b = p.norm(flat)
    half = R / mp.sqrt(b * b - R * R)
    sight = p.turned(p.unit(flat), -w.s * mp.atan(2 * sine * half))
    D = p.norm(p.sub(w.O, w.C))
    aside = mp.asin(d * mp.sin(p.radians(mark_deg)) / D)
    return {
        "base_spot": through(cut_at(E, (*w.G, mp.mpf(0)), R)) if E[2] > R else None,
        "centre": through(cut_at(E, w.high(w.G), mp.mpf(0))) if E[2] > R else None,
        "edge": p.unit(p.sub(edges[1], edges[0])),
        "cue_at_contact": through(p.add(w.O, w.u, -R)),
        "line_of_centres": through(p.add(w.O, p.left(centres), -w.s * d * sine)),
        "visible_disc": through(p.add(E[:2], sight, p.inner(flat, sight))),
        "memorised_mark": p.turned(centres, -w.s * aside),
    }


@pytest.mark.parametrize("eye", EYES)
def test_every_reading_done_by_hand(eye: Request) -> None:
    asked = [
        r for r in requests(11, 120, eye=eye, fixed_marks={"for_cut_deg": 12.0}) if 1e-5 < r["cut_deg"] < 89.9
    ]
    compared = 0
    for r, got in zip(asked, answer(asked), strict=True):
        w = Plain(r)
        given = {key: found for part in got["methods"].values() for key, found in part["readings"].items()}
        for name, aim in aims(w, w.eye(r), 12.0).items():
            if aim is None:
                assert given[name]["cut_deg"] is None
                continue
            agrees(given[name], w.judge(aim), (name, r))
            compared += 1
        # doubling on the picture is the part of the eye that is given with every shot
        doubled = got["eye"]["doubled_offset"]
        picture = given["picture"]
        assert all(picture[key] == doubled[key] for key in doubled if key in picture)
    assert compared > 300


def test_every_method_has_its_readings_and_a_sentence_for_each() -> None:
    with_eye, without = answer([{**r, **eye} for r in requests(12, 1) for eye in ({"eye": EYES[1]}, {})])
    for name, method in METHODS.items():
        own = method.readings
        assert list(with_eye["methods"][name]["readings"]) == list(own)
        assert list(without["methods"][name]["readings"]) == [k for k in own if not own[k].needs_eye]
        for key, found in with_eye["methods"][name]["readings"].items():
            assert found["reading"] == own[key].says
            assert found["reading"].count(". ") == 0
            assert found["reading"].endswith(".")
            assert found["pocketed"] is None


def test_another_mark_cuts_by_its_own_angle() -> None:
    for side, sign in (("left", 1), ("right", -1)):
        base = {"object_ball_mm": [0, 0], "target_mm": [900, 0], "cut_deg": 25, "side": side, "distance_mm": 600}
        (got,) = answer([{**base, "table": None, "fixed_marks": {"for_cut_deg": 20}}])
        mark = got["methods"]["fixed_marks"]["readings"]["memorised_mark"]
        assert mark["cut_deg"] == pytest.approx(sign * 20, abs=1e-9)
    (got,) = answer([{**base, "cut_deg": 0, "table": None, "fixed_marks": {"for_cut_deg": 20}}])
    assert got["methods"]["fixed_marks"]["readings"]["memorised_mark"]["cut_deg"] is None


def test_limits_and_aim_points() -> None:
    base = {"object_ball_mm": [0, 0], "target_mm": [900, 0], "side": "left", "distance_mm": 600, "table": None}
    for cut, usable in ((30, {*METHODS}), (38, {"ghost_ball", "contact_points", "ball_fractions"}),
                        (60, {"ghost_ball", "contact_points"})):  # fmt: skip
        (got,) = answer([{**base, "cut_deg": cut}])
        for name, part in got["methods"].items():
            assert part["usable"] == (name in usable)
            assert (part["limit"] is None) == part["usable"]
            assert (part["aim_point_mm"] is None) == (not part["usable"])
        assert got["methods"]["ghost_ball"]["aim_point_mm"] == got["shot"]["ghost_ball_mm"]


def test_pocketed_needs_a_pocket_and_a_hit() -> None:
    eye = {"back_mm": 600, "offset_mm": 30, "height_mm": 300}
    base = {"object_ball_mm": [0, 0], "cut_deg": 30, "side": "left", "distance_mm": 600, "eye": eye}
    (got,) = answer([{**base, "target_mm": "foot-left"}])
    low, high = got["pocket"]["low_deg"], got["pocket"]["high_deg"]
    for part in got["methods"].values():
        for found in part["readings"].values():
            assert found["pocketed"] == (low < found["object_error_deg"] < high)


def test_a_cushion_in_the_way_is_no_hit() -> None:
    """The object ball lies on the rail; an aim further out would need the cue ball inside the cushion."""
    asked = {"object_ball_mm": [0, 606.425], "target_mm": [900, 606.425], "cue_ball_mm": [-700, 606.425 - 60]}
    outward, inward = ({**asked, "aim_error": {"at_ghost_mm": e}} for e in (5.0, -5.0))
    out, into, free = answer([outward, inward, {**outward, "table": None}])
    assert [one["aim_error"]["hit"] for one in (out, into, free)] == [False, True, True]
    assert set(out["aim_error"].values()) == {False, None}
    # a start inside the cushion is none
    asked = {"object_ball_mm": [0, 560], "target_mm": [900, 590.0], "cue_ball_mm": [-700, 606.425]}
    (shifted,) = answer([{**asked, "aim_error": {"parallel_mm": 1.0}}])
    assert shifted["aim_error"]["hit"] is False


def test_the_cue_ball_hides_the_object_balls_contact_point_from_low_behind() -> None:
    base = {
        "object_ball_mm": [0, 0],
        "target_mm": [900, 0],
        "cut_deg": 5,
        "side": "left",
        "distance_mm": 300,
        "table": None,
    }
    shot = {**base, "camera": {"eye_mm": [600, 0, 400]}}  # from beyond the object ball
    low, high, ahead = answer([*({**base, "eye": {"back_mm": 600, "offset_mm": 0, "height_mm": height}}
                                 for height in (35, 400)), shot])  # fmt: skip
    assert [one["eye"]["visible"]["contact_object"] for one in (low, high, ahead)] == [False, True, False]
    assert [one["eye"]["visible"]["contact_cue"] for one in (low, high, ahead)] == [False, False, True]


def test_an_eye_over_the_contact_line_of_a_ball_that_is_missed_stands_nowhere() -> None:
    rolled = {"object_ball_mm": [0, 0], "cue_ball_mm": [-500, 200], "aim_deg": 0}
    eye = {"back_mm": 500, "height_mm": 300}
    unknown, known = answer(
        [{**rolled, "eye": {**eye, "alignment": name}} for name in ("contact_line", "aim_line")]
    )
    assert unknown["eye"]["eye_mm"] is None
    assert known["eye"]["eye_mm"] == pytest.approx([-1000, 200, 300])
    for one in (unknown, known):
        assert one["shot"]["hit"] is False
        assert "methods" not in one
        assert one["sensitivity"] == {"cut_per_aim": None, "object_per_aim": None}
        assert one["eye"]["visible"] == {"contact_object": None, "contact_cue": None}
        assert set(one["eye"]["doubled_offset"].values()) == {None}


def test_a_rolled_ball_is_followed_where_the_object_ball_goes() -> None:
    rolled = {"object_ball_mm": [0, 0], "cue_ball_mm": [-500, 28.575], "aim_deg": 0, "target_mm": [900, 0]}
    way = (math.cos(math.radians(-30)), math.sin(math.radians(-30)))
    others = [[600, 0], [600 * way[0], 600 * way[1]], [-250, 50], [-250, -40]]
    (got,) = answer([{**rolled, "others_mm": others}])
    assert [b["index"] for b in got["paths"]["object_ball"]["blocked_by"]] == [1]
    assert [b["index"] for b in got["paths"]["cue_ball"]["blocked_by"]] == [2]
    aimless, missed = answer([{**{k: v for k, v in rolled.items() if k != "target_mm"}, "others_mm": others},
                              {**rolled, "cue_ball_mm": [-500, 90], "others_mm": others}])  # fmt: skip
    assert aimless["paths"]["object_ball"] is None
    assert aimless["paths"]["cue_ball"]["clear"] is False
    assert missed["paths"] == {"cue_ball": None, "object_ball": None}
