"""Steps as somebody wants them: chosen, ordered, joined and split, with nothing drawn elsewhere."""

from __future__ import annotations

from itertools import chain

import pytest

from aimgeo.construct.arrange import arranged, split
from aimgeo.methods import METHODS
from aimgeo.shot import place_shot

SHOT = place_shot([635.0, 317.5], [1270.0, 635.0], 0.4, 500.0)
PLANS = {name: method.construct(SHOT) for name, method in METHODS.items()}


@pytest.mark.parametrize("method", METHODS)
def test_all_steps_in_their_order_are_the_construction_itself(method: str) -> None:
    plan = PLANS[method]
    assert arranged(plan, [[step.name] for step in plan.steps]) == plan


@pytest.mark.parametrize("method", METHODS)
def test_what_is_joined_or_split_draws_the_same(method: str) -> None:
    plan = PLANS[method]
    one = arranged(plan, [[step.name for step in plan.steps]]).steps
    assert len(one) == 1
    for part in ("points", "lines", "circles"):
        every = list(chain.from_iterable(getattr(step, part) for step in plan.steps))
        assert list(getattr(one[0], part)) == every
        apart = plan
        for step in plan.steps:
            apart = split(apart, step.name)
        assert sorted(map(str, chain.from_iterable(getattr(s, part) for s in apart.steps))) == sorted(
            map(str, every)
        )
    assert all(len(s.points) + len(s.lines) + len(s.circles) <= 1 for s in apart.steps)
    assert [m for s in apart.steps for m in s.measures] == [m for s in plan.steps for m in s.measures]


def test_a_step_stays_behind_the_one_whose_point_its_line_ends_on() -> None:
    plan = PLANS["ghost_ball"]
    names = [step.name for step in plan.steps]
    assert names[:3] == ["target line", "contact point", "ghost ball"]
    early = arranged(plan, [["contact point"], ["target line"]])
    assert [step.name for step in early.steps] == ["contact point", "target line"]
    with pytest.raises(ValueError, match="step 'aim line' needs 'ghost ball' before it"):
        arranged(plan, [["aim line"], ["ghost ball"]])
    with pytest.raises(ValueError, match="none of these steps"):
        arranged(plan, [["no such step"]])
