"""Placing a lesson's shots on a table: checked with shapely, by brute force, and by mirrored tables."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from aimgeo.shot import BALL_DIAMETER_MM, place_shot
from aimgeo.spots import Setup, accepts, find_spot, is_clear, is_frozen, longest_distances
from aimgeo.tables import TABLES, Table

D = BALL_DIAMETER_MM
GAP_MM = 0.1 * D
Shots = list[tuple[float, float]]


def cuts_both_sides(cuts_deg: list[float], distances_mm: list[float]) -> Shots:
    return [(s * math.radians(c), far) for c in cuts_deg for s in (1, -1) for far in distances_mm]


def faults(table: Table, pocket_name: str, spot: tuple[float, float], shots: Shots, gap_mm: float) -> list[str]:
    """What is wrong with a spot, by shapely alone: polygons, buffers and distances."""
    pocket = table.pocket(pocket_name)
    L, W = table.length_mm / 2, table.width_mm / 2
    corners = [p for name in ("foot-left", "head-left", "head-right", "foot-right") for p in _points(table, name)]
    open_bed = shapely.Polygon(corners)
    assert open_bed.convex_hull.area < 4 * L * W
    room = open_bed.convex_hull.exterior
    found = []
    swept = shapely.LineString([spot, pocket.centre_mm]).buffer(D / 2, quad_segs=64)
    found += ["point" for p in pocket.points_mm if swept.contains(shapely.Point(p))]
    balls: dict[str, Any] = {"object": spot}
    for cut, far in shots:
        shot = place_shot(spot, pocket.centre_mm, cut, far)
        assert math.dist(shot.cue_ball_mm, shot.object_ball_mm) == pytest.approx(far)
        balls |= {f"cue {cut} {far}": shot.cue_ball_mm[:2], f"ghost {cut}": shot.ghost_ball_mm[:2]}
    for name, centre in balls.items():
        at = shapely.Point(centre)
        if not open_bed.convex_hull.contains(at) or room.distance(at) < D / 2 + gap_mm - 1e-6:
            found.append(name)
    return found


def _points(table: Table, name: str) -> list[tuple[float, float]]:
    return list(table.pocket(name).points_mm)


LESSON = cuts_both_sides([0, 3.6, 7.2, 10.8, 14.5, 18.2, 22.0, 30], [200, 640, 1300])


@pytest.mark.parametrize("pocket", ["foot-left", "head-right", "foot-right"])
def test_a_lesson_of_eight_cuts_both_sides_near_and_far_has_one_spot_on_a_9ft_table(pocket: str) -> None:
    found = find_spot(TABLES["9ft"], pocket, LESSON)
    assert found.fits
    assert found.object_ball_mm is not None
    assert faults(TABLES["9ft"], pocket, found.object_ball_mm, LESSON, GAP_MM) == []


small = st.lists(st.tuples(st.floats(0, 70), st.floats(70, 1700)), min_size=1, max_size=5)
any_table = st.sampled_from(sorted(TABLES))
any_pocket = st.sampled_from(["foot-left", "head-right", "side-right"])


@settings(max_examples=25)
@given(small, any_table, any_pocket, st.integers(0, 2**32 - 1))
def test_a_spot_found_is_good_and_where_none_is_found_random_spots_are_bad(
    lesson: list[tuple[float, float]], table_name: str, pocket: str, seed: int
) -> None:
    table = TABLES[table_name]
    shots = [(s * math.radians(cut), far) for cut, far in lesson for s in (1, -1)]
    found = find_spot(table, pocket, shots)
    if found.fits:
        assert found.object_ball_mm is not None
        assert faults(table, pocket, found.object_ball_mm, shots, GAP_MM) == []
        return
    # the grid is 10 mm wide, so a good spot with that much to spare on all sides would have been seen
    half = np.array([table.length_mm, table.width_mm]) / 2
    for spot in np.random.default_rng(seed).uniform(-half, half, (30, 2)).tolist():
        assert faults(table, pocket, tuple(spot), shots, GAP_MM + 25) != []


@settings(max_examples=15)
@given(small, any_pocket)
def test_the_longest_distances_are_what_fits_at_the_spot_told(
    lesson: list[tuple[float, float]], pocket: str
) -> None:
    table = TABLES["7ft"]
    shots = [(s * math.radians(cut), far + 600) for cut, far in lesson for s in (1, -1)]
    found = find_spot(table, pocket, shots)
    if found.object_ball_mm is None:
        return
    longest = {(u.cut_rad, u.distance_mm): u.longest_mm for u in found.unset}
    assert all(u.longest_mm < u.distance_mm for u in found.unset)
    shortened = [(cut, longest.get((cut, far), far)) for cut, far in shots]
    possible = [shot for shot in shortened if shot[1] > 0]
    assert find_spot(table, pocket, possible, spot_mm=found.object_ball_mm).fits
    assert faults(table, pocket, found.object_ball_mm, possible, GAP_MM) == []
    for cut, far in possible:
        if (cut, far) not in shots:
            assert faults(table, pocket, found.object_ball_mm, [(cut, far + 0.1)], GAP_MM) != []


@given(st.floats(-70, 70), st.floats(-600, 600), st.floats(-300, 300))
def test_the_longest_distance_ends_where_shapely_meets_the_border(cut_deg: float, x: float, y: float) -> None:
    table = TABLES["9ft"]
    pocket = table.pocket("foot-left")
    corners = [p for n in ("foot-left", "head-left", "head-right", "foot-right") for p in _points(table, n)]
    room = shapely.Polygon(corners).convex_hull.buffer(-(D / 2 + GAP_MM), join_style="mitre")
    longest = float(longest_distances(table, pocket, [[x, y]], [math.radians(cut_deg)])[0, 0])
    shot = place_shot([x, y], pocket.centre_mm, math.radians(cut_deg), 500)
    back = shapely.LineString([shot.ghost_ball_mm[:2], shot.ghost_ball_mm[:2] - 5000 * shot.aim_direction])
    end = back.intersection(room.exterior)
    assert math.dist((end.x, end.y), (x, y)) == pytest.approx(longest, abs=1e-6)


@given(any_pocket, st.floats(-1200, 1200), st.floats(-600, 600))
def test_a_pocket_accepts_a_ball_that_shapely_sweeps_past_both_points(
    pocket_name: str, x: float, y: float
) -> None:
    pocket = TABLES["9ft"].pocket(pocket_name)
    way = shapely.LineString([(x, y), pocket.centre_mm])
    nearest = min(way.distance(shapely.Point(p)) for p in pocket.points_mm)
    if abs(nearest - D / 2) > 1e-6:
        assert bool(accepts(pocket, (x, y))) == (nearest > D / 2)


@given(small, any_table)
def test_mirrored_pockets_have_mirrored_spots(lesson: list[tuple[float, float]], table_name: str) -> None:
    shots = [(math.radians(cut), far) for cut, far in lesson]
    mirrored = [(-cut, far) for cut, far in shots]
    left = find_spot(TABLES[table_name], "foot-left", shots)
    right = find_spot(TABLES[table_name], "foot-right", mirrored)
    assert left.fits == right.fits
    if left.fits and left.object_ball_mm and right.object_ball_mm:
        assert right.object_ball_mm == pytest.approx((left.object_ball_mm[0], -left.object_ball_mm[1]))


def test_the_spot_is_round_in_sights_where_the_lesson_is_easy() -> None:
    spot = find_spot(TABLES["9ft"], "foot-left", cuts_both_sides([10, 20, 30], [200, 600])).object_ball_mm
    assert spot is not None
    sights = np.array(spot) / (TABLES["9ft"].length_mm / 8)
    np.testing.assert_allclose(sights, sights.round(), atol=1e-9)


def test_a_spot_may_be_given_and_is_kept() -> None:
    given_spot = (500.0, 100.0)
    found = find_spot(TABLES["9ft"], "foot-left", cuts_both_sides([20], [400]), spot_mm=given_spot)
    assert found == Setup(given_spot)


def test_a_given_spot_that_is_too_tight_names_the_combination_the_remedy_and_a_better_spot() -> None:
    shots = cuts_both_sides([10], [400, 1200])
    found = find_spot(TABLES["9ft"], "foot-left", shots, spot_mm=(0.0, 0.0))
    assert found.object_ball_mm == (0.0, 0.0)
    assert {u.distance_mm for u in found.unset} == {1200}
    assert all(400 < u.longest_mm < 1200 for u in found.unset)
    assert found.other_spot_mm is not None
    assert faults(TABLES["9ft"], "foot-left", found.other_spot_mm, shots, GAP_MM) == []


def test_a_given_spot_that_the_pocket_does_not_accept_serves_nothing_and_says_what_would() -> None:
    shots = cuts_both_sides([10], [400])
    spot = (900.0, 560.0)
    found = find_spot(TABLES["9ft"], "side-left", shots, spot_mm=spot)
    assert found.object_ball_mm is None
    assert not found.fits
    assert found.unset == ()
    assert found.pockets == ("foot-left",)
    assert faults(TABLES["9ft"], "foot-left", spot, shots, GAP_MM) == []
    assert found.other_spot_mm is not None
    assert faults(TABLES["9ft"], "side-left", found.other_spot_mm, shots, GAP_MM) == []


@pytest.mark.parametrize(("table_name", "distance_mm"), [("7ft", 1700), ("8ft", 1800), ("9ft", 2000)])
def test_larger_tables_and_other_pockets_are_named_exactly_when_the_lesson_fits_there(
    table_name: str, distance_mm: float
) -> None:
    shots = cuts_both_sides([0, 5, 10, 20], [distance_mm])
    table = TABLES[table_name]
    found = find_spot(table, "foot-left", shots)
    assert found.unset
    # those made for the same balls
    same = [t for t in TABLES.values() if t.ball_mm == table.ball_mm]
    larger = sorted((t for t in same if t.length_mm > table.length_mm), key=lambda t: t.length_mm)
    assert found.tables == tuple(t.name for t in larger if find_spot(t, "foot-left", shots).fits)
    assert "10ft" in found.tables
    others = ("foot-right", "head-left", "head-right", "side-left", "side-right")
    assert found.pockets == tuple(name for name in others if find_spot(table, name, shots).fits)


def test_a_lesson_too_long_for_one_pocket_names_the_pockets_that_take_it() -> None:
    shots = cuts_both_sides([0], [1900])
    found = find_spot(TABLES["9ft"], "side-left", shots)
    assert found.unset
    assert found.pockets == ("foot-left", "foot-right", "head-left", "head-right")


places = st.tuples(st.floats(-1, 1), st.floats(-1, 1), st.sampled_from(["inside", "cushion", "end", "mouth"]))


@given(places, any_table, st.sampled_from([0.0, 0.1]))
def test_a_ball_is_clear_where_shapely_says_so(
    place: tuple[float, float, str], table_name: str, gap_balls: float
) -> None:
    table = TABLES[table_name]
    d, L, W = table.ball_mm, table.length_mm / 2, table.width_mm / 2
    x, y, at = place
    centre = {
        "inside": (x * L, y * W),
        "cushion": (x * L, math.copysign(W - d / 2, y)),
        "end": (math.copysign(L - d / 2, x), y * W),
        "mouth": (x * table.side_mouth_mm, math.copysign(W - d / 2 - abs(y) * d, y)),
    }[at]
    corners = [p for name in ("foot-left", "head-left", "head-right", "foot-right") for p in _points(table, name)]
    bed, ball = shapely.Polygon(corners).convex_hull, shapely.Point(centre)
    mouths = [shapely.LineString(pocket.points_mm) for pocket in table.pockets()]
    near = bed.exterior.distance(ball) - d / 2 - gap_balls * d
    off_mouths = min(mouth.distance(ball) for mouth in mouths) - d / 2
    if 0 < abs(near) < 1e-5 or 0 < abs(off_mouths) < 1e-5:
        return  # nearer to touching than the tolerance on either side
    expected = bed.contains(ball) and near >= -1e-9 and off_mouths > 1e-9
    assert bool(is_clear(table, np.array(centre), d, gap_balls)) == expected


def test_between_a_side_pockets_points_no_ball_is_frozen() -> None:
    table = TABLES["9ft"]
    beside = table.side_mouth_mm / 2 + 1
    assert not is_frozen(table, (0.0, table.width_mm / 2 - D / 2), D)
    assert is_frozen(table, (beside, table.width_mm / 2 - D / 2), D)
    assert not is_clear(table, np.array([0.0, table.width_mm / 2 - D / 2]), D, 0.0)
