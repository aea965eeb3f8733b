"""The order in which to set up places one after the other, so that the way from each to the next is short."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from aimgeo.vectors import Array

MOST_EXACT = 11
"""Up to so many places the shortest way of all is found."""


def short_order(places_mm: ArrayLike) -> tuple[int, ...]:
    """The numbers of the places (N, 2) in an order with a short way through all of them; both ends are free.

    Up to MOST_EXACT places no order is shorter (dynamic programming over sets of places, after Held and Karp, A
    dynamic programming approach to sequencing problems, J. SIAM 10, 1962). With more, the nearest place comes
    next, and pieces of the way are turned round as long as that makes it shorter (2-opt).

    >>> short_order([[0, 0], [30, 0], [10, 0], [20, 0]])
    (0, 2, 3, 1)
    """
    places = np.asarray(places_mm, float).reshape(-1, 2)
    ways = np.hypot(*np.moveaxis(places[:, None] - places[None], -1, 0))
    order = _exact(ways) if len(places) <= MOST_EXACT else _turned(_nearest(ways), ways)
    return tuple(order if not order or order[0] < order[-1] else order[::-1])


def way_mm(places_mm: ArrayLike, order: ArrayLike) -> float:
    """How long the way through the places is in an order."""
    placed = np.asarray(places_mm, float)[np.asarray(order, int)]
    return float(np.hypot(*np.diff(placed, axis=0).T).sum())


def _exact(ways: Array) -> list[int]:
    count = len(ways)
    if count < 2:
        return list(range(count))
    # best[set][last]: the shortest way through a set of places that ends in one of them
    best = np.full((1 << count, count), np.inf)
    before = np.zeros((1 << count, count), int)
    best[[1 << k for k in range(count)], range(count)] = 0.0
    for chosen in range(1, 1 << count):
        for last in range(count):
            if not chosen >> last & 1 or chosen == 1 << last:
                continue
            found = best[chosen ^ (1 << last)] + ways[:, last]
            before[chosen, last] = int(np.argmin(found))
            best[chosen, last] = found[before[chosen, last]]
    chosen, last = (1 << count) - 1, int(np.argmin(best[-1]))
    order = [last]
    while chosen != 1 << last:
        chosen, last = chosen ^ (1 << last), int(before[chosen, last])
        order.append(last)
    return order


def _nearest(ways: Array) -> list[int]:
    order, left = [0], set(range(1, len(ways)))
    while left:
        order.append(min(sorted(left), key=lambda k: float(ways[order[-1], k])))
        left.remove(order[-1])
    return order


def _turned(order: list[int], ways: Array) -> list[int]:
    is_better = True
    while is_better:
        is_better = False
        for i in range(len(order) - 1):
            for j in range(i + 1, len(order)):
                a, b, c = order[i - 1] if i else None, order[i], order[j]
                d = order[j + 1] if j + 1 < len(order) else None
                now = (ways[a, b] if a is not None else 0.0) + (ways[c, d] if d is not None else 0.0)
                then = (ways[a, c] if a is not None else 0.0) + (ways[b, d] if d is not None else 0.0)
                if then < now - 1e-9:
                    order[i : j + 1] = order[i : j + 1][::-1]
                    is_better = True
    return order
