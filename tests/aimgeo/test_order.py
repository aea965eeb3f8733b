"""The order of places: against all orders, tried one by one."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aimgeo.order import MOST_EXACT, short_order, way_mm

PLACES = st.lists(st.tuples(st.floats(-1000, 1000), st.floats(-500, 500)), min_size=1, max_size=6)


@given(PLACES)
@settings(max_examples=30)
def test_no_order_of_a_few_places_is_shorter(places: list[tuple[float, float]]) -> None:
    order = short_order(places)
    assert sorted(order) == list(range(len(places)))
    shortest = min(way_mm(places, other) for other in permutations(range(len(places))))
    assert way_mm(places, order) == pytest.approx(shortest, abs=1e-6)


def test_many_places_on_a_line_are_taken_one_after_the_other() -> None:
    line = np.arange(2 * MOST_EXACT, dtype=float)
    shuffled = np.random.default_rng(1).permutation(line)
    places = np.stack([shuffled, 0 * shuffled], axis=-1)
    assert way_mm(places, short_order(places)) == pytest.approx(line[-1] - line[0])


def test_turning_pieces_round_never_makes_the_way_longer_than_the_nearest_next() -> None:
    places = np.random.default_rng(2).uniform(-500, 500, (30, 2))
    order, at, left = [0], 0, set(range(1, 30))
    while left:
        at = min(left, key=lambda k: float(np.hypot(*(places[k] - places[at]))))
        left.remove(at)
        order.append(at)
    assert way_mm(places, short_order(places)) <= way_mm(places, order) + 1e-9
