"""Are misses on one side more than chance? The exact binomial test against even odds, two-sided.

It shows bias, never its cause.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

LOPSIDED = 0.05
EXACT_UP_TO = 2000
"""Up to so many misses the tail is summed in whole numbers."""


@lru_cache(maxsize=4096)
def p_value(larger: int, total: int) -> float:
    """The chance, at even odds, that the larger side of `total` misses counts `larger` or more.

    >>> p_value(9, 10)
    0.021484375
    """
    if 2 * larger <= total:
        return 1.0
    if total <= EXACT_UP_TO:
        term = tail = math.comb(total, larger)
        for k in range(larger, total):
            term = term * (total - k) // (k + 1)
            tail += term
        return min(1.0, tail / 2 ** (total - 1))
    # term by term from the first; later terms shrink by (n - k)/(k + 1), soon to nothing
    count = min(total - larger, int(40 * math.sqrt(total)) + 1)
    counts = larger + np.arange(count, dtype=float)
    terms = np.concatenate([[1.0], np.cumprod((total - counts) / (counts + 1))])
    return min(1.0, 2 * _chance(larger, total) * math.fsum(terms.tolist()))


@lru_cache(maxsize=4096)
def needed_of(total: int) -> int | None:
    """The smallest larger side of `total` misses that chance would give in fewer than one case in twenty.

    >>> needed_of(10), needed_of(5)
    (9, None)
    """
    if p_value(total, total) >= LOPSIDED:
        return None
    low, high = (total + 1) // 2, total
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if p_value(middle, total) < LOPSIDED else (middle + 1, high)
    return low


def _chance(k: int, n: int) -> float:
    """Chance of exactly k of n at even odds, by Stirling's series with its error terms, n large."""
    if k == n:
        return 0.5**n
    ln = (
        _stirling_error(n)
        - _stirling_error(k)
        - _stirling_error(n - k)
        - _deviance(k, n / 2)
        - _deviance(n - k, n / 2)
    )
    return math.exp(ln) * math.sqrt(n / (2 * math.pi * k * (n - k)))


def _stirling_error(n: int) -> float:
    """ln n! - ln(sqrt(2 pi n) (n/e)^n)."""
    if n < 16:
        return math.lgamma(n + 1) - (n + 0.5) * math.log(n) + n - 0.5 * math.log(2 * math.pi)
    return 1 / (12 * n) - 1 / (360 * n**3) + 1 / (1260 * n**5) - 1 / (1680 * n**7)


def _deviance(x: float, mean: float) -> float:
    """x ln(x / mean) + mean - x, without cancellation near the mean."""
    part = (x - mean) / mean
    if abs(part) > 0.1:
        return x * math.log(x / mean) + mean - x
    total, power, j = 0.0, part * part, 2
    while True:  # mean * sum over j >= 2 of (-part)^j / (j (j - 1)), alternating and quickly small
        term = (1 if j % 2 == 0 else -1) * power / (j * (j - 1))
        if total + term == total:
            return mean * total
        total += term
        power *= part
        j += 1
