"""The language of constructions: the built-in methods written in it, and its geometry against shapely's."""

from __future__ import annotations

import math
from math import hypot, radians

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely import LineString, Point

from aimgeo.aim_frame import aim_frame
from aimgeo.construct.language import (
    Aim,
    Definition,
    Flaw,
    Length,
    Program,
    aim_direction,
    aim_turn_rad,
    checked,
    first_missing,
    needs_eye,
    work_out,
)
from aimgeo.eye import doubled_offset
from aimgeo.methods import METHODS
from aimgeo.methods.ghost_ball import base_spot_turn_rad
from aimgeo.shot import Shot, place_shot
from aimgeo.tables import TABLES
from aimgeo.vectors import Array

D = 57.15
shots = st.builds(
    lambda x, y, cut, far: place_shot([x, y], [1270.0, -635.0], radians(cut), far),
    st.floats(-800, 800),
    st.floats(-400, 400),
    st.floats(-29.9, 29.9).filter(lambda c: abs(c) > 0.1),
    st.floats(120, 1500),
)


def program(aim: Aim, **definitions: tuple[str, dict[str, object]]) -> Program:
    made = checked({name: Definition(op, arguments) for name, (op, arguments) in definitions.items()}, aim)  # type: ignore[arg-type]
    assert isinstance(made, Program), made
    return made


BUILT_IN = {
    "ghost_ball": program(
        Aim("cue_centre", "ghost"),
        ghost=("from by", {"from": "object_centre", "toward": "target", "by": Length(balls=-1)}),
    ),
    "contact_points": program(
        Aim(along="joined"),
        alongside=("parallel through", {"parallel": "target_line", "through": "cue_centre"}),
        on_cue=("meet ball", {"line": "alongside", "ball": "cue_ball", "which": "farther"}),
        joined=("through", {"through": ("on_cue", "contact_object")}),
    ),
    "doubled_offset": program(
        Aim("cue_centre", "twice"),
        twice=("from part", {"from": "object_centre", "toward": "contact_object", "part": 2.0}),
    ),
    "fixed_marks": program(
        Aim("cue_centre", "mark"),
        line=("through", {"through": ("cue_centre", "ghost_centre")}),
        mark=("meet ball", {"line": "line", "ball": "object_ball", "which": "nearer"}),
    ),
    "ball_fractions": program(
        Aim(along="sight"),
        edge=(
            "mark",
            {"mark": "object_ball", "offset": Length(balls=0.5), "side": "outward", "along": "true_aim"},
        ),
        sight=("parallel through", {"parallel": "true_aim", "through": "edge"}),
    ),
}
POINTS = {
    "ghost_ball": {"ghost": "ghost_centre"},
    "contact_points": {"on_cue": "contact_cue"},
    "doubled_offset": {"twice": "aim_point"},
    "fixed_marks": {"mark": "aim_point"},
    "ball_fractions": {"edge": "mark_edge"},
}
"""Names in the programs above, and the roles of the same points in the built-in constructions."""


@pytest.mark.parametrize("method", BUILT_IN)
@given(shot=shots)
def test_the_built_in_methods_can_be_written_in_it(method: str, shot: Shot) -> None:
    written, built = BUILT_IN[method], METHODS[method].construct(shot)
    values = work_out(written, shot)
    assert aim_direction(written, values) == pytest.approx(np.array(built.aim_direction), abs=1e-12)
    drawn: dict[str, list[Array]] = {}
    for step in built.steps:
        for point in step.points:
            drawn.setdefault(point.role, []).append(np.array(point.at_mm))
    for name, role in POINTS[method].items():
        assert min(float(np.abs(values[name] - p).max()) for p in drawn[role]) < 1e-9


@given(shot=shots, back=st.floats(200, 1200), offset=st.floats(-60, 60), height=st.floats(120, 600))
def test_what_the_eye_sees_is_what_the_readings_take_it_for(
    shot: Shot, back: float, offset: float, height: float
) -> None:
    one = place_shot(
        shot.object_ball_mm[None, :2], shot.target_mm[None, :2], shot.cut_rad[None], shot.distance_mm[None]
    )
    frame = aim_frame(one)
    eye = np.array([[-back, offset, height]])
    at = frame.to_table(eye)
    doubled = program(
        Aim("cue_centre", "twice"),
        twice=("seen", {"seen": "contact_object", "about": "object_centre", "times": 2.0}),
    )
    spot = program(Aim("cue_centre", "taken"), taken=("sighted", {"sighted": "base_spot"}))
    assert needs_eye(doubled)
    assert needs_eye(spot)
    assert not needs_eye(BUILT_IN["ghost_ball"])
    apart = aim_turn_rad(doubled, one, at) - doubled_offset(frame, eye).turn_rad
    assert np.sin(apart / 2) == pytest.approx(0.0, abs=1e-9)
    apart = aim_turn_rad(spot, one, at) - base_spot_turn_rad(frame, eye)
    assert np.sin(apart / 2) == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(aim_turn_rad(spot, one)).all()


def flat(value: Array) -> tuple[float, float]:
    return (float(value[0]), float(value[1]))


def long(line: Array) -> LineString:
    """The line, far beyond both of its ends."""
    (ax, ay), (bx, by) = flat(line[0]), flat(line[1])
    far = 1e5 / hypot(bx - ax, by - ay)
    return LineString([(ax - far * (bx - ax), ay - far * (by - ay)), (bx + far * (bx - ax), by + far * (by - ay))])


@given(shot=shots, angle=st.floats(5, 80), by=st.floats(5, 25))
def test_its_geometry_is_shapelys(shot: Shot, angle: float, by: float) -> None:
    made = program(
        Aim("cue_centre", "crossing"),
        beside=("parallel beside", {"parallel": "true_aim", "by": Length(mm=by), "side": "left"}),
        slanted=(
            "turned",
            {"turned": "centre_line", "by": radians(angle), "side": "right", "about": "object_centre"},
        ),
        crossing=("meet", {"meet": ("beside", "slanted")}),
        foot=("foot", {"foot": "object_centre", "on": "beside"}),
        edge=("edge", {"edge": "object_ball", "side": "outward", "along": "true_aim"}),
        touching=("tangent", {"tangent": "object_ball", "from": "cue_centre", "side": "inward"}),
        image=("mirrored", {"mirrored": "contact_object", "in": "slanted"}),
        twin=("mirrored", {"mirrored": "contact_object", "in": "object_centre"}),
        middle=("halfway", {"halfway": ("contact_object", "twin")}),
        spot=("below", {"below": "edge"}),
        third=("along part", {"on": "slanted", "part": 1 / 3}),
        away=("along by", {"on": "slanted", "by": Length(balls=-1.5)}),
    )
    v = work_out(made, shot)
    R, O = D / 2, Point(flat(shot.object_ball_mm))
    near = pytest.approx(0.0, abs=1e-6)
    crossing = long(v["beside"]).intersection(long(v["slanted"]))
    assume(not crossing.is_empty)
    assert crossing.distance(Point(flat(v["crossing"]))) == near
    assert long(v["beside"]).distance(long(v["true_aim"])) == pytest.approx(by, abs=1e-6)
    assert long(v["beside"]).distance(Point(flat(v["foot"]))) == near
    assert O.distance(Point(flat(v["foot"]))) == pytest.approx(O.distance(long(v["beside"])), abs=1e-6)
    assert O.distance(Point(flat(v["edge"]))) == pytest.approx(R)
    assert O.distance(long(v["touching"])) == pytest.approx(R, abs=1e-6)
    assert Point(flat(v["touching"][1])).distance(O) == pytest.approx(R, abs=1e-6)
    assert Point(flat(v["image"])).distance(O) == pytest.approx(R, abs=1e-6)  # the mirror passes the centre
    between = LineString([flat(v["image"]), flat(v["contact_object"])])
    assert between.centroid.distance(long(v["slanted"])) == near
    assert v["middle"] == pytest.approx(shot.object_ball_mm)
    slanted = LineString([flat(end) for end in v["slanted"]])
    assert flat(v["third"]) == pytest.approx(slanted.interpolate(1 / 3, normalized=True).coords[0], abs=1e-9)
    assert Point(flat(v["away"])).distance(Point(flat(v["slanted"][0]))) == pytest.approx(1.5 * D)
    assert Point(flat(v["away"])).distance(slanted) == pytest.approx(1.5 * D)  # before its start
    assert v["spot"] == pytest.approx([*flat(v["edge"]), 0.0])
    # outward is where the aim passes: the aim line lies on the same side of the object ball as the edge
    assert float((v["edge"] - shot.object_ball_mm) @ (shot.ghost_ball_mm - shot.object_ball_mm)) > 0


@given(
    shot=shots,
    place=st.floats(-0.99, 0.99),
    back=st.floats(300, 1200),
    offset=st.floats(-60, 60),
    height=st.floats(120, 600),
)
def test_a_place_on_the_visible_disc_is_seen_there(
    shot: Shot, place: float, back: float, offset: float, height: float
) -> None:
    """By a pinhole that looks at the ball's centre: its outline's half-width is tan(asin(R over the distance))."""
    a = shot.aim_direction
    flat_eye = shot.cue_ball_mm[:2] - back * a + offset * np.array([-a[1], a[0]])
    eye = np.array([*flat_eye, height])
    made = program(Aim("cue_centre", "p"), p=("disc", {"disc": "object_ball", "place": place, "side": "left"}))
    at, O, R = work_out(made, shot, eye)["p"], shot.object_ball_mm, D / 2
    assert float(np.linalg.norm(at - O)) == pytest.approx(R, abs=1e-9)  # on the ball
    assert float((at - O) @ (eye - O)) > R * R - 1e-6  # on the side that is seen
    forward = (O - eye) / np.linalg.norm(O - eye)
    level = np.array([-forward[1], forward[0], 0.0]) / np.hypot(*forward[:2])
    ray = (at - eye) / ((at - eye) @ forward)
    half_width = math.tan(math.asin(R / float(np.linalg.norm(O - eye))))
    assert float(ray @ level) == pytest.approx(place * half_width, abs=1e-12)
    assert float(ray @ np.cross(forward, level)) == pytest.approx(0.0, abs=1e-12)
    outside = program(Aim("cue_centre", "p"), p=("disc", {"disc": "object_ball", "place": 1.01, "side": "left"}))
    assert np.isnan(work_out(outside, shot, eye)["p"]).all()


def test_the_pockets_points_are_told_apart_as_the_ball_comes() -> None:
    pocket = TABLES["9ft"].pocket("side-right")
    shot = place_shot([100.0, -300.0], pocket.centre_mm, radians(20), 400.0)
    made = program(Aim("cue_centre", "p"), p=("halfway", {"halfway": ("pocket_left", "pocket_right")}))
    values = work_out(made, shot, mouth_mm=pocket.points_mm)
    assert flat(values["p"]) == pytest.approx(pocket.centre_mm)
    assert flat(values["pocket_left"]) == max(pocket.points_mm)  # for someone who looks to the right rail
    assert first_missing(made, work_out(made, shot)) == "p"


def test_many_shots_take_the_path_of_one() -> None:
    cuts = np.radians([[5.0, -12.0], [20.0, 29.0]])
    many = place_shot([100.0, 50.0], [1270.0, 635.0], cuts, 500.0)
    written = BUILT_IN["ball_fractions"]
    together = work_out(written, many)["edge"]
    for i in np.ndindex(2, 2):
        one = place_shot([100.0, 50.0], [1270.0, 635.0], cuts[i], 500.0)
        assert (together[i] == work_out(written, one)["edge"]).all()


def test_what_does_not_exist_is_named() -> None:
    shot = place_shot([0.0, 0.0], [1270.0, 0.0], radians(40), 500.0)
    made = program(
        Aim("cue_centre", "there"),
        alongside=("parallel beside", {"parallel": "target_line", "by": Length(mm=4), "side": "left"}),
        there=("meet", {"meet": ("target_line", "alongside")}),
    )
    assert first_missing(made, work_out(made, shot)) == "there"
    past = program(
        Aim("cue_centre", "hit"),
        line=("parallel beside", {"parallel": "true_aim", "by": Length(balls=1), "side": "outward"}),
        hit=("meet ball", {"line": "line", "ball": "object_ball", "which": "nearer"}),
    )
    assert first_missing(past, work_out(past, shot)) == "hit"
    assert np.isnan(aim_turn_rad(past, shot))


def flaws_of(aim: Aim, **definitions: tuple[str, dict[str, object]]) -> list[Flaw]:
    made = checked({n: Definition(op, arguments) for n, (op, arguments) in definitions.items()}, aim)  # type: ignore[arg-type]
    assert isinstance(made, list)
    return made


def test_flaws_are_told_with_their_place() -> None:
    good = Aim("cue_centre", "a")
    assert flaws_of(good, a=("halfway", {"halfway": ("contact", "target")})) == [Flaw("unknown", "a", "contact")]
    assert flaws_of(good, a=("halfway", {"halfway": ("target", "target_line")})) == [
        Flaw("not_a_point", "a", "target_line")
    ]
    assert flaws_of(good, a=("foot", {"foot": "target", "on": "target"})) == [Flaw("not_a_line", "a", "target")]
    assert flaws_of(good, a=("halfway", {"halfway": ("target", "aim")})) == [Flaw("own_aim", "a", "aim")]
    assert flaws_of(Aim(along="target")) == [Flaw("not_a_line", "aim", "target")]
    circle = flaws_of(
        good,
        a=("halfway", {"halfway": ("target", "b")}),
        b=("halfway", {"halfway": ("target", "c")}),
        c=("halfway", {"halfway": ("target", "b")}),
    )
    assert [(f.code, set(f.names)) for f in circle] == [("circle", {"b", "c"})]
    crowd = {f"p{n}": ("below", {"below": "target"}) for n in range(65)}
    assert flaws_of(good, **crowd) == [Flaw("too_many", "aim")]  # type: ignore[arg-type]
