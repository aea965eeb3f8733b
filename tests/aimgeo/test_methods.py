"""The aiming methods: what holds for every entry of METHODS, and what each one promises."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
import shapely
import sympy
from hypothesis import given
from hypothesis import strategies as st

from aimgeo.construct import Construction, Line, Position, Quantity
from aimgeo.methods import METHODS
from aimgeo.methods.cue_shift import with_cue_shift
from aimgeo.methods.fixed_marks import mark_offset_mm
from aimgeo.shot import Shot, place_shot, solve_shot
from tests.aimgeo.shots import collide, placed, shots, sizes

MOST_DEG = {
    "ghost_ball": 89.0,
    "contact_points": 89.0,
    "doubled_offset": 30.0,
    "ball_fractions": math.degrees(math.asin(10 / 16)),
    "fixed_marks": 30.0,
}
LENGTHS = ("length_mm", "half_mm", "distance_mm", "ball_mm")

methods = pytest.mark.parametrize("method", METHODS)


def within(method: str) -> st.SearchStrategy[Shot]:
    return shots(0.0, MOST_DEG[method])


def positions(construction: Construction) -> Iterator[Position]:
    for step in construction.steps:
        yield from (p.at_mm for p in step.points)
        for line in step.lines:
            yield from (line.start_mm, line.end_mm)
        yield from (c.centre_mm for c in step.circles)
        for measure in step.measures:
            yield from measure.between_mm or ()
    yield construction.aim_point_mm
    yield from (construction.cue_line.start_mm, construction.cue_line.end_mm)


def shape(construction: Construction) -> list[tuple[str, list[str], list[str], list[str], list[str]]]:
    return [
        (
            s.sentence,
            [p.role for p in s.points],
            [line.role for line in s.lines],
            [c.role for c in s.circles],
            [m.key for m in s.measures],
        )
        for s in construction.steps
    ]


def lines(construction: Construction, role: str) -> list[Line]:
    return [line for step in construction.steps for line in step.lines if line.role == role]


def point(construction: Construction, role: str) -> Position:
    (at,) = (p.at_mm for step in construction.steps for p in step.points if p.role == role)
    return at


def offset_mm(shot: Shot, p: Position) -> float:
    """How far a point lies from the line through the object ball's centre along the aim."""
    centre = shapely.Point(shot.object_ball_mm[:2])
    far = 5000 * shot.aim_direction
    through = shapely.LineString([shot.object_ball_mm[:2] - far, shot.object_ball_mm[:2] + far])
    assert through.distance(centre) < 1e-6
    return float(through.distance(shapely.Point(p[:2])))


# ------------------------------------------------------------------ every method


def test_every_method_has_a_limit_to_test() -> None:
    assert set(METHODS) == set(MOST_DEG)


@given(shots(0.0, 30.0))
def test_the_five_constructions_differ_and_end_on_one_cue_direction(shot: Shot) -> None:
    built = {name: module.construct(shot) for name, module in METHODS.items()}
    for construction in built.values():
        # each one's direction comes from its own points, none is copied from the shot
        np.testing.assert_allclose(construction.aim_direction, shot.aim_direction, atol=1e-9)
        cue = np.subtract(construction.cue_line.end_mm, construction.cue_line.start_mm)[:2]
        np.testing.assert_allclose(cue / np.hypot(*cue), shot.aim_direction, atol=1e-9)
        np.testing.assert_allclose(construction.cue_line.start_mm, shot.cue_ball_mm)
    drawn = {str([parts[1:] for parts in shape(c)]) for c in built.values()}
    assert len(drawn) == len(METHODS)


@methods
@given(data=st.data())
def test_a_ball_rolled_along_the_aim_touches_where_drawn_and_sends_the_object_ball_to_the_target(
    method: str, data: st.DataObject
) -> None:
    shot = data.draw(within(method))
    aim = METHODS[method].construct(shot).aim_direction
    d = float(np.asarray(shot.ball_diameter_mm))
    hit = collide(tuple(shot.cue_ball_mm[:2]), tuple(shot.object_ball_mm[:2]), aim, d)
    assert hit is not None
    touch, way = hit
    # a thin hit turns a rounding of the aim into 1/cos(cut) times as much of the object ball's way
    loose = 1e-6 / math.cos(float(shot.cut_rad))
    np.testing.assert_allclose(touch, shot.ghost_ball_mm[:2], atol=d * loose)
    np.testing.assert_allclose(way, shot.object_direction, atol=loose)
    assert math.dist(touch, shot.object_ball_mm[:2]) == pytest.approx(d)


@methods
@given(data=st.data())
def test_a_mirrored_shot_has_the_mirrored_construction(method: str, data: st.DataObject) -> None:
    # a straight shot has no side to mirror, and counts the right as outward
    shot = data.draw(shots(0.1, MOST_DEG[method]))
    flip = np.array([1.0, -1.0])
    mirrored = place_shot(
        shot.object_ball_mm[:2] * flip, shot.target_mm[:2] * flip, -shot.cut_rad, shot.distance_mm,
        shot.ball_diameter_mm,
    )  # fmt: skip
    ours, theirs = METHODS[method].construct(shot), METHODS[method].construct(mirrored)
    assert shape(ours) == shape(theirs)
    np.testing.assert_allclose(
        np.array(list(positions(theirs))), np.array(list(positions(ours))) * [1, -1, 1], atol=1e-6
    )
    swapped = {"left": "right", "right": "left"}
    for a, b in zip(values(ours), values(theirs), strict=True):
        expected = pytest.approx(a.value, abs=1e-6) if is_number(a) else swapped.get(str(a.value), a.value)
        assert b.value == expected


@methods
@given(data=st.data())
def test_turning_and_moving_the_frame_changes_nothing(method: str, data: st.DataObject) -> None:
    _, bearing, diameters, d = data.draw(sizes())
    cut = math.radians(data.draw(st.floats(0, MOST_DEG[method]))) * data.draw(st.sampled_from([1, -1]))
    turn = data.draw(st.floats(-math.pi, math.pi))
    shift = np.array(data.draw(st.tuples(st.floats(-500, 500), st.floats(-500, 500))))
    at_origin = METHODS[method].construct(placed((0.0, 0.0), bearing, cut, diameters * d, d))
    moved = METHODS[method].construct(placed(tuple(shift), bearing + turn, cut, diameters * d, d))
    assert shape(at_origin) == shape(moved)
    c, s = math.cos(turn), math.sin(turn)
    turned = np.array(list(positions(at_origin))) @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]).T
    np.testing.assert_allclose(np.array(list(positions(moved))), turned + np.array([*shift, 0]), atol=1e-6)
    for a, b in zip(values(at_origin), values(moved), strict=True):
        assert (b.value == pytest.approx(a.value, abs=1e-6)) if is_number(a) else b.value == a.value


@methods
@given(data=st.data())
def test_a_construction_is_a_short_lesson_whose_numbers_are_what_is_drawn(
    method: str, data: st.DataObject
) -> None:
    shot = data.draw(within(method))
    construction = METHODS[method].construct(shot)
    assert construction.method == method
    assert 4 <= len(construction.steps) <= 6
    sentences = [s.sentence for s in construction.steps]
    assert len(set(sentences)) == len(sentences)
    assert all(s.startswith(f"{method}.") for s in sentences)
    kinds = {
        line.role.removesuffix("_back").removesuffix("_parallel") for s in construction.steps for line in s.lines
    }
    assert len(kinds) <= 4
    assert np.isfinite(np.array(list(positions(construction)))).all()
    for step in construction.steps:
        assert step.points or step.lines or step.circles or step.measures
        for measure in step.measures:
            assert is_number(measure.quantity)
            assert float(measure.quantity.value) >= 0
            if measure.between_mm:
                assert measure.quantity.kind in LENGTHS
                assert math.dist(*measure.between_mm) == pytest.approx(measure.quantity.value, abs=1e-6)
            elif measure.quantity.kind in LENGTHS:
                assert measure.quantity.value == pytest.approx(0, abs=1e-6)


@methods
@given(data=st.data())
def test_the_aim_point_lies_on_the_aim_line_and_parallels_to_it_pass_the_object_ball(
    method: str, data: st.DataObject
) -> None:
    shot = data.draw(within(method))
    construction = METHODS[method].construct(shot)
    assert offset_mm(shot, construction.aim_point_mm) == pytest.approx(float(shot.aim_offset_mm), abs=1e-6)
    a, O, R = shot.aim_direction, shot.object_ball_mm[:2], float(shot.radius_mm)
    for role in ("contact_line", "object_ball_line", "sight_line"):
        for line in lines(construction, role):
            run = np.subtract(line.end_mm, line.start_mm)[:2]
            np.testing.assert_allclose(run / np.hypot(*run), a, atol=1e-9)
            assert np.dot(np.array(line.end_mm[:2]) - O, a) > R


@methods
@given(data=st.data(), sixteenths=st.sampled_from([-2, -1, 1, 2]))
def test_a_cue_ball_shift_adds_a_parallel_sight_and_leaves_the_cue_direction(
    method: str, data: st.DataObject, sixteenths: int
) -> None:
    shot = data.draw(shots(0.1, MOST_DEG[method]))
    plain = METHODS[method].construct(shot)
    shifted = with_cue_shift(plain, shot, sixteenths)
    assert shifted.steps[:-1] == plain.steps
    assert (shifted.aim_direction, shifted.cue_line) == (plain.aim_direction, plain.cue_line)
    added = shifted.steps[-1]
    (sight,) = added.lines
    size = abs(sixteenths) * float(np.asarray(shot.ball_diameter_mm)) / 16
    run = np.subtract(sight.end_mm, sight.start_mm)[:2]
    np.testing.assert_allclose(run / np.hypot(*run), shot.aim_direction, atol=1e-9)
    assert math.dist(sight.start_mm, shot.cue_ball_mm) == pytest.approx(size)
    assert dict(added.values)["shift"].value == pytest.approx(size)
    # moved outward into the centre: the sight passes nearer to the object ball's centre than the aim does
    outward = np.subtract(shot.cue_ball_mm, sight.start_mm)[:2]
    away = np.subtract(shot.ghost_ball_mm, shot.object_ball_mm)[:2]
    assert np.sign(np.dot(outward, away - np.dot(away, shot.aim_direction) * shot.aim_direction)) == np.sign(
        sixteenths
    )
    for mark in (p.at_mm for p in added.points if p.role == "sight_point"):
        assert math.dist(mark, shot.object_ball_mm) == pytest.approx(float(shot.radius_mm))


def test_only_taught_shifts_are_added() -> None:
    shot = place_shot([0, 0], [900, 0], 0.3, 500)
    plain = METHODS["ghost_ball"].construct(shot)
    assert with_cue_shift(plain, shot, 0) == plain
    with pytest.raises(ValueError, match="not taught"):
        with_cue_shift(plain, shot, 3)


@methods
def test_straight_shots_construct(method: str) -> None:
    shot = place_shot([100, 0], [1100, 0], 0.0, 600)
    construction = METHODS[method].construct(shot)
    np.testing.assert_allclose(construction.aim_direction, [1, 0], atol=1e-12)
    assert dict(construction.steps[0].values)["side"].value == "straight"


@methods
@pytest.mark.parametrize("side", [1, -1])
def test_a_method_is_usable_up_to_and_including_its_limit(method: str, side: int) -> None:
    module, most = METHODS[method], math.radians(MOST_DEG[method])
    at_limit = place_shot([0, 0], [1000, 300], side * most, 600)
    assert module.limit(at_limit) is None
    module.construct(at_limit)
    C, O, T = (p[:2] for p in (at_limit.cue_ball_mm, at_limit.object_ball_mm, at_limit.target_mm))
    assert module.limit(solve_shot(C, O, T)) is None


@pytest.mark.parametrize("method", [m for m in METHODS if MOST_DEG[m] < 80])
def test_beyond_its_limit_a_method_refuses_and_names_that_limit(method: str) -> None:
    module = METHODS[method]
    shot = place_shot([0, 0], [1000, 300], math.radians(MOST_DEG[method] + 0.01), 600)
    limit = module.limit(shot)
    assert limit is not None
    assert limit.sentence == f"{method}.limit"
    told = dict(limit.values)
    assert math.degrees(float(told["limit"].value)) == pytest.approx(MOST_DEG[method])
    assert told["cut"].value == pytest.approx(float(shot.cut_rad))
    with pytest.raises(ValueError, match=f"{method}.limit"):
        module.construct(shot)


@methods
def test_no_method_cuts_by_90_degrees_or_more_or_aims_frozen_balls(method: str) -> None:
    behind = solve_shot([0, 0], [500, 0], [300, 400])
    assert METHODS[method].limit(behind) is not None
    frozen = solve_shot([0, 0], [57.15, 0], [1000, 0])
    assert METHODS[method].limit(frozen) is not None
    assert not METHODS[method].is_usable(frozen)


@methods
@given(st.lists(st.floats(-89.5, 89.5), min_size=1, max_size=20))
def test_usable_for_many_shots_at_once_says_what_the_limit_says_of_each(
    method: str, cuts_deg: list[float]
) -> None:
    cuts = np.radians(cuts_deg)
    usable = METHODS[method].is_usable(place_shot([0, 0], [1000, 0], cuts, 600))
    assert usable.shape == cuts.shape
    one_by_one = [METHODS[method].limit(place_shot([0, 0], [1000, 0], cut, 600)) is None for cut in cuts]
    assert usable.tolist() == one_by_one


@methods
@given(st.lists(st.floats(-89.0, 89.0), min_size=1, max_size=8))
def test_aim_points_of_many_shots_are_the_constructions(method: str, cuts_deg: list[float]) -> None:
    module = METHODS[method]
    together = place_shot([100, -50], [900, 300], np.radians(cuts_deg), 600)
    found, usable = module.aim_point_mm(together), module.is_usable(together)
    assert found.shape == (len(cuts_deg), 3)
    for i, cut_deg in enumerate(cuts_deg):
        alone = place_shot([100, -50], [900, 300], math.radians(cut_deg), 600)
        if usable[i]:
            np.testing.assert_allclose(found[i], module.construct(alone).aim_point_mm, atol=1e-9)


def test_a_million_shots_at_once_are_the_same_as_one_at_a_time() -> None:
    many = 1_000_000
    rng = np.random.default_rng(7)
    O = rng.uniform([-1200, -600], [1200, 600], (many, 2))
    T = O + rng.uniform(200, 900, (many, 1)) * np.stack([np.cos(t := rng.uniform(0, 7, many)), np.sin(t)], axis=-1)
    cut, distance = rng.uniform(-1.5, 1.5, many), rng.uniform(60, 2500, many)
    together = place_shot(O, T, cut, distance)
    names = ("cue_ball_mm", "ghost_ball_mm", "contact_object_mm", "contact_cue_mm", "aim_direction", "overlap")
    found = {name: getattr(together, name) for name in names}
    usable = {name: module.is_usable(together) for name, module in METHODS.items()}
    for i in rng.choice(many, 100, replace=False):
        alone = place_shot(O[i], T[i], cut[i], distance[i])
        for name in names:
            np.testing.assert_allclose(found[name][i], getattr(alone, name), atol=1e-9)
        for name, module in METHODS.items():
            assert usable[name][i] == module.is_usable(alone)


def values(construction: Construction) -> list[Quantity]:
    return [q for s in construction.steps for _, q in s.values] + [
        m.quantity for s in construction.steps for m in s.measures
    ]


def is_number(quantity: Quantity) -> bool:
    return quantity.kind != "name"


# ------------------------------------------------------------------ what each one promises


@given(within("ghost_ball"))
def test_ghost_ball_touches_the_object_ball_and_its_edge_lines_touch_both_balls(shot: Shot) -> None:
    construction = METHODS["ghost_ball"].construct(shot)
    (ghost,) = (c for s in construction.steps for c in s.circles if c.role == "ghost_ball")
    R = float(shot.radius_mm)
    assert math.dist(ghost.centre_mm, shot.object_ball_mm) == pytest.approx(2 * R)
    assert math.dist(point(construction, "contact_object"), ghost.centre_mm) == pytest.approx(R)
    assert math.dist(point(construction, "contact_object"), shot.object_ball_mm) == pytest.approx(R)
    edges = lines(construction, "edge_line")
    assert len(edges) == 2
    for edge in edges:
        # tangent, by shapely: the line comes as near to each centre as a radius, at its own end
        drawn = shapely.LineString([edge.start_mm[:2], edge.end_mm[:2]])
        for centre, end in ((shot.cue_ball_mm, edge.start_mm), (ghost.centre_mm, edge.end_mm)):
            assert drawn.distance(shapely.Point(centre[:2])) == pytest.approx(R)
            assert math.dist(end, centre) == pytest.approx(R)
    (spot,) = (c for s in construction.steps for c in s.circles if c.role == "base_spot")
    assert spot.centre_mm == (ghost.centre_mm[0], ghost.centre_mm[1], 0.0)


def test_ghost_ball_centre_is_where_sympy_meets_the_aim_line_with_the_circle_of_two_radii() -> None:
    # cue ball at the origin, object ball at (400, 30), aim along +x, diameter 50: all rational
    O = sympy.Point(400, 30)
    met = sympy.Circle(O, 50).intersection(sympy.Line(sympy.Point(0, 0), sympy.Point(1, 0)))
    ghost = min(met, key=lambda p: p.x)
    assert ghost == sympy.Point(360, 0)
    target = O + (O - ghost) * 10
    shot = solve_shot([0, 0], [400, 30], [float(target.x), float(target.y)], 50)
    construction = METHODS["ghost_ball"].construct(shot)
    np.testing.assert_allclose(construction.aim_point_mm[:2], [360, 0], atol=1e-9)
    np.testing.assert_allclose(construction.aim_direction, [1, 0], atol=1e-12)


@given(within("contact_points"))
def test_contact_points_are_mirrored_and_become_one_point_at_impact(shot: Shot) -> None:
    construction = METHODS["contact_points"].construct(shot)
    on_object, on_cue = (
        np.array(point(construction, "contact_object")),
        np.array(point(construction, "contact_cue")),
    )
    C, O, G = shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm
    np.testing.assert_allclose(on_cue - C, -(on_object - O), atol=1e-9)
    np.testing.assert_allclose(on_cue + (G - C), on_object, atol=1e-9)
    (contact,) = lines(construction, "contact_line")
    drawn = shapely.LineString([contact.start_mm[:2], contact.end_mm[:2]])
    assert drawn.distance(shapely.Point(on_object[:2])) < 1e-6
    assert drawn.distance(shapely.Point(on_cue[:2])) < 1e-6
    (gap,) = (m for s in construction.steps for m in s.measures if m.key == "cue_gap")
    (aim,) = lines(construction, "aim_line")
    beside = shapely.LineString([aim.start_mm[:2], aim.end_mm[:2]])
    assert gap.quantity.value == pytest.approx(drawn.distance(beside), abs=1e-6)


@given(within("doubled_offset"))
def test_doubled_offset_has_three_evenly_spaced_lines_and_an_aim_on_the_ball(shot: Shot) -> None:
    construction = METHODS["doubled_offset"].construct(shot)
    (centre,), (contact,), (aim,) = (
        lines(construction, role) for role in ("object_ball_line", "contact_line", "aim_line")
    )
    spacing = float(shot.radius_mm) * abs(math.sin(float(shot.cut_rad)))
    for line, steps in ((centre, 0), (contact, 1), (aim, 2)):
        for end in (line.start_mm, line.end_mm):
            assert offset_mm(shot, end) == pytest.approx(steps * spacing, abs=1e-6)
    middle = (np.array(centre.end_mm) + np.array(aim.end_mm)) / 2
    np.testing.assert_allclose(middle, contact.end_mm, atol=1e-6)
    assert 2 * spacing <= float(shot.radius_mm) + 1e-6
    measures = {m.key: m.quantity.value for s in construction.steps for m in s.measures}
    assert measures["aim_offset"] == pytest.approx(2 * measures["contact_offset"], abs=1e-9)
    if "second_offset" in measures:
        assert measures["second_offset"] == pytest.approx(measures["contact_offset"], abs=1e-9)
    else:  # a straight shot has nothing to halve
        assert float(measures["contact_offset"]) < 1e-8


@pytest.mark.parametrize(
    ("sixteenths", "steps"),
    [
        (0, ["target_line", "marks", "centre", "aim_plain"]),
        (1, ["target_line", "marks", "centre", "shift_outward", "aim_line"]),
        (4, ["target_line", "marks", "halfway", "aim_plain"]),
        (6, ["target_line", "marks", "edge", "shift_inward", "aim_line", "other_way"]),
        (8.2, ["target_line", "marks", "edge", "shift_none", "left_over_outward", "aim_line"]),
        (9.9, ["target_line", "marks", "edge", "shift_outward", "left_over_inward", "aim_line"]),
        (10, ["target_line", "marks", "edge", "shift_outward", "aim_line"]),
    ],
)
def test_ball_fractions_teach_what_the_cut_needs(sixteenths: float, steps: list[str]) -> None:
    shot = place_shot([0, 0], [900, 0], math.asin(sixteenths / 16), 500)
    construction = METHODS["ball_fractions"].construct(shot)
    assert [s.sentence.split(".")[1] for s in construction.steps] == steps


@given(within("ball_fractions"))
def test_ball_fractions_report_the_left_over_that_their_drawing_corrects(shot: Shot) -> None:
    construction = METHODS["ball_fractions"].construct(shot)
    told: dict[str, Any] = {key: q.value for key, q in construction.steps[1].values}
    given_sine, wanted_sine = math.sin(told["given_cut"]), abs(math.sin(float(shot.cut_rad)))
    d = float(np.asarray(shot.ball_diameter_mm))
    assert told["left_over"] == pytest.approx(d * abs(wanted_sine - given_sine), abs=1e-9)
    assert told["lost"] == pytest.approx(abs(abs(float(shot.cut_rad)) - told["given_cut"]), abs=1e-9)
    has_step = any("left_over" in s.sentence for s in construction.steps)
    assert has_step == (told["left_over"] >= 0.05)
    for line in lines(construction, "sight_line"):
        # sighted along its own point of the cue ball, at most an eighth of a ball and the left-over off centre
        off = abs(offset_mm(shot, line.start_mm) - float(shot.aim_offset_mm))
        assert off <= d / 8 + d / 32 + 1e-6


@given(within("fixed_marks"))
def test_fixed_marks_lie_on_the_object_ball_where_the_aim_line_enters_it(shot: Shot) -> None:
    construction = METHODS["fixed_marks"].construct(shot)
    R = float(shot.radius_mm)
    marks = [p.at_mm for s in construction.steps for p in s.points if p.role == "fixed_mark"]
    assert len(marks) == 9
    for k, mark in enumerate(marks):
        assert math.dist(mark, shot.object_ball_mm) == pytest.approx(R)
        assert offset_mm(shot, mark) == pytest.approx(k * R / 8, abs=1e-6)
    own = point(construction, "aim_point")
    assert math.dist(own, shot.object_ball_mm) == pytest.approx(R)
    offset = float(mark_offset_mm(abs(shot.cut_rad), shot.ball_diameter_mm))
    assert offset_mm(shot, own) == pytest.approx(offset, abs=1e-6)
    told: dict[str, Any] = {key: q.value for key, q in construction.steps[1].values}
    past = told["past_mark"] * (1 if told["past_way"] == "outward" else -1)
    assert told["mark"] * R / 8 + past == pytest.approx(offset, abs=1e-9)
    assert abs(past) <= R / 16 + 1e-9


def test_fixed_mark_of_a_cut_beyond_30_degrees_does_not_exist() -> None:
    assert np.isnan(mark_offset_mm(math.radians(31)))
