"""Room on the table: against shapely's distances and intersections."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, box

from aimgeo.room import air_mm, at_tip_mm, behind_mm
from aimgeo.shot import solve_shot
from aimgeo.tables import TABLES

R = 28.575
TABLE = TABLES["9ft"]
BED = box(-TABLE.length_mm / 2, -TABLE.width_mm / 2, TABLE.length_mm / 2, TABLE.width_mm / 2)
X, Y = st.floats(-1200, 1200), st.floats(-600, 600)


@given(X, Y)
def test_the_air_to_the_nearest_cushion_is_shapelys_distance_to_the_noses(x: float, y: float) -> None:
    assert float(air_mm(TABLE, (x, y), R)) == pytest.approx(BED.exterior.distance(Point(x, y)) - R, abs=1e-9)


@given(X, Y, st.floats(-math.pi, math.pi))
def test_the_cloth_behind_the_cue_ball_ends_where_shapelys_line_leaves_the_bed(
    x: float, y: float, way: float
) -> None:
    along = np.array([math.cos(way), math.sin(way)])
    shot = solve_shot((x, y), np.array([x, y]) + 300 * along, np.array([x, y]) + 900 * along, 2 * R)
    back = LineString([(x, y), np.array([x, y]) - 5000 * along])
    assert behind_mm(TABLE, shot) == pytest.approx(back.intersection(BED).length - R, abs=1e-6)


def test_the_tip_goes_aside_by_the_bridge_times_the_tangent() -> None:
    assert float(at_tip_mm(math.radians(45), 300.0)) == pytest.approx(300.0)
