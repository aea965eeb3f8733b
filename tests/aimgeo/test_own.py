"""Methods of one's own: what is told of their aim, against a collision that is simulated ball by ball."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point

from aimgeo.aim_frame import aim_frame
from aimgeo.construct.language import Aim, Definition, Length, Program, aim_direction, checked, work_out
from aimgeo.methods import METHODS
from aimgeo.methods.over_cuts import over_cuts
from aimgeo.methods.own import READING, Own, OwnMeasure, OwnStep
from aimgeo.methods.readings import judged_readings
from aimgeo.shot import Shot, one_of_many, place_shot
from aimgeo.tables import TABLES

D = 57.15


def own(reach: float = 1.0, **definitions: Definition) -> Own:
    made = checked(definitions, Aim("cue_centre", next(reversed(definitions))))
    assert isinstance(made, Program)
    return Own("tried", made, (OwnStep("one", tuple(definitions)),), reach)


def half_way() -> Own:
    """Half the way from the object ball's edge to the ghost ball's centre."""
    edge = Definition("edge", {"edge": "object_ball", "side": "outward", "along": "centre_line"})
    return own(edge=edge, half=Definition("halfway", {"halfway": ("edge", "ghost_centre")}))


def simulated(shot: Shot, way: tuple[float, float]) -> tuple[float, float] | None:
    """Where the object ball goes, by following the cue ball in ever smaller steps until the balls touch, and the
    miss where it is level with the target: nothing here is shared with aimgeo's own formulas."""
    x, y = (float(v) for v in shot.cue_ball_mm[:2])
    ox, oy = (float(v) for v in shot.object_ball_mm[:2])
    step, gone = 8.0, 0.0
    while step > 1e-12:
        nx, ny = x + way[0] * step, y + way[1] * step
        nearest = abs((ox - x) * way[1] - (oy - y) * way[0])
        level = (ox - x) * way[0] + (oy - y) * way[1]
        if nearest >= D or level <= 0:
            return None
        if math.hypot(ox - nx, oy - ny) < D or step > level:
            step /= 2
        else:
            x, y, gone = nx, ny, gone + step
    dx, dy = ox - x, oy - y
    tx, ty = (float(v) for v in (shot.target_mm - shot.object_ball_mm)[:2])
    far = math.hypot(tx, ty)
    ahead, aside = (dx * tx + dy * ty) / far, (tx * dy - ty * dx) / far
    cut = math.atan2(way[0] * dy - way[1] * dx, way[0] * dx + way[1] * dy)
    return cut, far * aside / ahead


@given(
    cut=st.floats(-60, 60).filter(lambda c: abs(c) > 0.5),
    far=st.floats(120, 1500),
    x=st.floats(-600, 600),
    y=st.floats(-300, 300),
)
def test_the_cut_and_the_miss_are_those_of_a_simulated_collision(
    cut: float, far: float, x: float, y: float
) -> None:
    shot = place_shot([x, y], [1270.0, 635.0], math.radians(cut), far)
    method = half_way().method()
    plan = method.construct(shot)
    found = simulated(shot, plan.aim_direction)
    told = dict(plan.steps[-1].values)
    read = judged_readings(aim_frame(one_of_many(shot)), None, methods={"tried": method})["tried"][READING]
    (ax, ay), (wx, wy) = shot.aim_direction.tolist(), plan.aim_direction
    turn = math.atan2(ax * wy - ay * wx, ax * wx + ay * wy)
    assert read.aim_error_rad[0] == pytest.approx(turn, abs=1e-9)
    if found is None:
        assert plan.steps[-1].sentence == "own.passes"
        assert not read.hit[0]
        return
    assert read.cut_rad[0] == pytest.approx(found[0], abs=1e-6)
    assert float(told["given_cut"].value) == pytest.approx(abs(found[0]), abs=1e-6)
    if plan.steps[-1].sentence.startswith("own.given"):
        is_other = cut * found[0] < 0 and abs(found[0]) > math.radians(0.05)
        assert plan.steps[-1].sentence == ("own.given_other" if is_other else "own.given")
    if abs(float(read.object_error_rad[0])) < 1.2:
        assert float(told["miss"].value) == pytest.approx(abs(found[1]), abs=1e-2)
        assert read.miss_mm[0] == pytest.approx(found[1], abs=1e-2)


def test_a_true_aim_is_told_to_go_to_the_target() -> None:
    spot = Definition("from by", {"from": "object_centre", "toward": "target", "by": Length(balls=-1)})
    plan = own(spot=spot).method().construct(place_shot([0, 0], [900, 100], 0.5, 500))
    assert [step.sentence for step in plan.steps] == ["own.target_line", "tried.one", "own.aim_line", "own.true"]


def test_what_does_not_exist_is_named_and_never_drawn() -> None:
    alongside = Definition("parallel through", {"parallel": "target_line", "through": "cue_centre"})
    crossing = Definition("meet", {"meet": ("alongside", "target_line")})
    method = own(alongside=alongside, crossing=crossing).method()
    shot = place_shot([0, 0], [900, 100], 0.5, 500)
    limit = method.limit(shot)
    assert limit is not None
    assert (limit.sentence, dict(limit.values)["what"].value) == ("own.missing", "crossing")
    assert not method.is_usable(shot)
    with pytest.raises(ValueError, match=r"own\.missing"):
        method.construct(shot)


def test_beyond_its_reach_it_is_not_used() -> None:
    edge = Definition("edge", {"edge": "object_ball", "side": "outward", "along": "centre_line"})
    method = own(math.sin(math.radians(40)), edge=edge).method()
    within, beyond = (place_shot([0, 0], [900, 0], math.radians(cut), 500) for cut in (40, 41))
    assert method.limit(within) is None
    assert method.limit(beyond) is not None
    read = judged_readings(aim_frame(one_of_many(beyond)), None, methods={"tried": method})["tried"][READING]
    assert not read.has_aim[0]


def test_gaps_and_angles_are_measured() -> None:
    one = half_way()
    measures = (OwnMeasure("gap", "edge", "ghost_centre"), OwnMeasure("turn", "target_line", "true_aim"))
    plan = (
        Own("tried", one.program, (OwnStep("one", ("half",), measures),))
        .method()
        .construct(place_shot([0, 0], [900, 0], 0.5, 500))
    )
    gap, turn = plan.steps[1].measures
    values = work_out(one.program, place_shot([0, 0], [900, 0], 0.5, 500))
    assert float(gap.quantity.value) == pytest.approx(
        float(np.linalg.norm(values["edge"] - values["ghost_centre"]))
    )
    assert float(turn.quantity.value) == pytest.approx(0.5)
    assert aim_direction(one.program, values) == pytest.approx(np.array(plan.aim_direction))


def goes_in(shot: Shot, way: tuple[float, float]) -> bool:
    """Whether the object ball's straight way, from a simulated collision, crosses the mouth clear of both points:
    by shapely's distances.
    """
    found = simulated(shot, way)
    if found is None:
        return False
    tips = TABLES["9ft"].pocket("foot-left").points_mm
    x, y = (float(v) for v in shot.object_ball_mm[:2])
    turn = math.atan2(way[1], way[0]) + found[0]
    path = LineString([(x, y), (x + 5000 * math.cos(turn), y + 5000 * math.sin(turn))])
    return path.intersects(LineString(tips)) and all(path.distance(Point(tip)) > D / 2 for tip in tips)


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("far", [250.0, 1100.0])
def test_where_it_works_is_where_simulated_balls_go_in(side: float, far: float) -> None:
    pocket = TABLES["9ft"].pocket("foot-left")
    one = half_way()
    shot = place_shot([635.0, 250.0], pocket.centre_mm, side * 0.5, far)
    judged = over_cuts(one.method(pocket=pocket), shot, (600.0, 0.0, 300.0), pocket)
    assert judged.runs
    assert not judged.pocketed.all()
    for k in range(2, len(judged.cut_rad), 7):
        cut = place_shot([635.0, 250.0], pocket.centre_mm, side * judged.cut_rad[k], far)
        way = aim_direction(one.program, work_out(one.program, cut)).tolist()
        found = simulated(cut, way)
        assert found is not None
        assert judged.miss_mm[k] == pytest.approx(abs(found[1]), abs=1e-6)
        assert judged.pocketed[k] == goes_in(cut, way)
    low, high = judged.runs[0]
    inside = (judged.cut_rad >= low) & (judged.cut_rad <= high)
    assert (judged.pocketed == inside).all()
    assert judged.at(low) == judged.miss_mm[inside][0]


def test_over_cuts_keep_to_the_reach_and_follow_the_eye() -> None:
    pocket = TABLES["9ft"].pocket("foot-left")
    shot = place_shot([635.0, 250.0], pocket.centre_mm, 0.5, 400.0)
    eye = (600.0, 0.0, 300.0)
    doubled = over_cuts(METHODS["doubled_offset"], shot, eye, pocket)
    assert np.isnan(doubled.at(math.radians(45)))
    assert np.isfinite(doubled.at(math.radians(29)))
    seen = Definition("seen", {"seen": "contact_object", "about": "object_centre", "times": 2.0})
    ahead = over_cuts(own(seen=seen).method(), shot, eye, pocket)
    beside = over_cuts(own(seen=seen).method(), shot, (600.0, 40.0, 300.0), pocket)
    follows = over_cuts(own(seen=seen).method(), shot, eye, pocket, eye_sines=1.0)
    assert abs(ahead.at(0.7) - beside.at(0.7)) > 0.01
    assert abs(ahead.at(0.7) - follows.at(0.7)) > 0.01
    assert ahead.at(0.0) == pytest.approx(follows.at(0.0))
    assert not over_cuts(METHODS["ghost_ball"], shot, eye, None).pocketed.any()
