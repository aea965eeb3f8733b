"""Tables against the published equipment specification, and pockets against its definitions."""

import math

import numpy as np
import pytest

from aimgeo.shot import BALL_DIAMETER_MM
from aimgeo.tables import POCKET_NAMES, TABLES, Table
from tests.authorities import equipment as spec

ALL = list(TABLES.values())
POOL = [table for table in ALL if table.has_sights]


@pytest.mark.parametrize(("name", "bed_in"), spec.BED_IN.items())
def test_bed_is_the_wpa_specifications(name: str, bed_in: tuple[float, float]) -> None:
    table = TABLES[name]
    assert table.basis == "published"
    bed_mm = np.array(bed_in) * spec.INCH_MM
    tolerance_mm = spec.BED_TOLERANCE_IN * spec.INCH_MM
    np.testing.assert_allclose([table.length_mm, table.width_mm], bed_mm, atol=tolerance_mm)
    np.testing.assert_allclose([table.length_mm, table.width_mm], bed_mm, atol=0.05)


@pytest.mark.parametrize(("name", "bed_in"), spec.COMMON_PRACTICE_BED_IN.items())
def test_sizes_without_a_specification_are_common_practice_and_say_so(
    name: str, bed_in: tuple[float, float]
) -> None:
    table = TABLES[name]
    assert table.basis == "common practice"
    np.testing.assert_allclose([table.length_mm, table.width_mm], np.array(bed_in) * spec.INCH_MM, atol=0.05)


def test_every_named_table_is_in_one_of_the_two_lists() -> None:
    assert set(TABLES) == set(spec.BED_IN) | set(spec.COMMON_PRACTICE_BED_IN) | {"12ft"}


def test_the_snooker_table_is_that_of_the_official_rules() -> None:
    """Mouths are not published: the ball of the rules goes in with less room than a pool ball has (judged)."""
    table = TABLES["12ft"]
    bed = [table.length_mm, table.width_mm]
    np.testing.assert_allclose(bed, spec.SNOOKER_BED_MM, atol=spec.SNOOKER_BED_TOLERANCE_MM)
    np.testing.assert_allclose(np.array(bed) / spec.INCH_MM, [11 * 12 + 8.5, 5 * 12 + 10], atol=0.02)
    assert table.ball_mm == pytest.approx(spec.SNOOKER_BALL_MM, abs=spec.SNOOKER_BALL_TOLERANCE_MM)
    assert len(table.sights_mm()) == 0
    pool = TABLES["9ft"]
    for own, usual in zip(table.pockets(), pool.pockets(), strict=True):
        assert table.ball_mm < own.mouth_mm
        assert own.mouth_mm / table.ball_mm < usual.mouth_mm / pool.ball_mm


@pytest.mark.parametrize("place", [(635.0, -317.5), (-900.0, 20.0), (1.0, 600.0), (0.0, 0.0)])
def test_a_place_is_counted_from_the_nearer_noses(place: tuple[float, float]) -> None:
    """Distances to the bed's sides by shapely; a diamond is an eighth of the length, a quarter of the width."""
    from shapely import LineString, Point

    table = TABLES["9ft"]
    x, y = 1270.0, 635.0
    noses = {
        "foot": [(x, -y), (x, y)],
        "head": [(-x, -y), (-x, y)],
        "left": [(-x, y), (x, y)],
        "right": [(-x, -y), (x, -y)],
    }
    away = {rail: LineString(ends).distance(Point(place)) for rail, ends in noses.items()}
    for found, pair in zip(table.from_rails(place), (("foot", "head"), ("left", "right")), strict=True):
        assert found.away_mm == pytest.approx(away[found.rail]) == pytest.approx(min(away[rail] for rail in pair))
        assert found.diamonds * 317.5 == pytest.approx(found.away_mm)
        assert math.dist(found.nose_mm, place) == pytest.approx(found.away_mm)


@pytest.mark.parametrize("table", POOL, ids=lambda t: t.name)
def test_mouths_are_within_the_wpa_specification(table: Table) -> None:
    for kind, (least, most) in (("foot-left", spec.CORNER_MOUTH_IN), ("side-left", spec.SIDE_MOUTH_IN)):
        a, b = table.pocket(kind).points_mm
        assert least * spec.INCH_MM <= math.dist(a, b) <= most * spec.INCH_MM


def test_ball_is_the_wpa_specifications() -> None:
    assert pytest.approx(spec.BALL_DIAMETER_IN * spec.INCH_MM, abs=0.005) == BALL_DIAMETER_MM


@pytest.mark.parametrize(("name", "spacing_in"), spec.SIGHT_SPACING_IN.items())
def test_sights_are_spaced_as_the_wpa_specifies(name: str, spacing_in: float) -> None:
    table = TABLES[name]
    sights = table.sights_mm()
    assert len({tuple(s) for s in sights.tolist()}) == spec.SIGHTS
    for x, y in sights:
        on_long = abs(abs(y) - table.width_mm / 2) < 1e-9
        along, half = (x, table.length_mm / 2) if on_long else (y, table.width_mm / 2)
        steps = (along + half) / (spacing_in * spec.INCH_MM)
        assert steps == pytest.approx(round(steps), abs=1e-9)
        # the middle of a long rail is the side pocket, the ends are the corner pockets
        assert round(steps) not in ((0, 4, 8) if on_long else (0, 4))


@pytest.mark.parametrize("table", POOL, ids=lambda t: t.name)
def test_strings_join_the_second_sights_and_spots_lie_where_they_cross_the_long_string(table: Table) -> None:
    sights = [tuple(s) for s in table.sights_mm().round(6).tolist()]
    strings, spots = table.strings_mm(), table.spots_mm()
    assert set(spots) == {"head", "centre", "foot"}
    for end, sign in (("head", -1), ("foot", 1)):
        for point in strings[end]:
            assert tuple(np.round(point, 6).tolist()) in sights
        # second sight from its end: a quarter of the bed away from that rail
        assert table.length_mm / 2 - sign * spots[end][0] == pytest.approx(table.length_mm / 4)
        assert spots[end] == (strings[end][0][0], 0.0)
    assert spots["centre"] == (0.0, 0.0)
    assert strings["long"] == ((-table.length_mm / 2, 0.0), (table.length_mm / 2, 0.0))


@pytest.mark.parametrize("table", ALL, ids=lambda t: t.name)
@pytest.mark.parametrize("name", POCKET_NAMES)
def test_a_pockets_points_lie_on_the_nose_lines_and_its_outward_direction_leaves_the_bed(
    table: Table, name: str
) -> None:
    pocket = table.pocket(name)
    L, W = table.length_mm / 2, table.width_mm / 2
    for x, y in pocket.points_mm:
        assert abs(x) == pytest.approx(L) or abs(y) == pytest.approx(W)
        assert abs(x) <= L
        assert abs(y) <= W
    a, b = map(np.array, pocket.points_mm)
    assert math.dist(a, b) == pytest.approx(pocket.mouth_mm)
    np.testing.assert_allclose(pocket.centre_mm, (a + b) / 2)
    assert np.dot(pocket.outward, b - a) == pytest.approx(0, abs=1e-9)
    assert np.dot(pocket.outward, pocket.centre_mm) > 0
    assert math.hypot(*pocket.outward) == pytest.approx(1)
    end, side = name.split("-")
    assert pocket.centre_mm[1] > 0 if side == "left" else pocket.centre_mm[1] < 0
    assert {"foot": pocket.centre_mm[0] > 0, "head": pocket.centre_mm[0] < 0, "side": pocket.centre_mm[0] == 0}[
        end
    ]


def test_corner_points_of_the_9ft_table_are_mouth_over_root_two_from_the_corner() -> None:
    (x, y), _ = TABLES["9ft"].pocket("foot-left").points_mm
    assert (1270 - x, y) == pytest.approx((115.9 / math.sqrt(2), 635))
