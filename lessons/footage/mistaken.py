"""Picks that all the rest contradicts, once sights and lines are solved along: each judged by a fit without it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aimgeo.landmarks import NAMED
from aimgeo.vectors import Array
from lessons.footage.fit import Seen, Solved, solve
from lessons.footage.matched import Warned
from lessons.footage.start import only
from lessons.footage.view import SoFar, View

FAR = 4.0
"""A pick is wrong that a fit without it misses by so many times what picks are missed by,"""

CONTRADICTED = 14.0
"""and by the square root of this in standard errors of that fit and of picks: of 1000 good ones one does."""

LIKELIEST = 2
"""So many picks are tried: one that is wrong draws blame on those beside it."""

LEAST_LEFT = 4
"""So many picks are left at least where they carry the camera."""

HANDS = (0.3, 0.5, 0.8, 1.3, 2.1)
"""How far off one person's picks are, as parts of what picks are taken to be off: nobody tells how careful
one is,
"""

USUAL_HAND, HANDS_DIFFER = 0.6, 0.5
"""most about so much, by this factor's logarithm more or less."""

STRAY_PX = (12.0, 40.0, 130.0)
"""How far off wrong picks are, for a picture 1920 wide."""

SURE = 4.5
"""A pick is wrong where the logarithm of the odds that it is lies above this."""


def without_mistaken(view: View, so_far: SoFar) -> SoFar:
    """The same without the pick that the rest contradicts most, which is said; itself where none is contradicted.

    A pick that nothing but itself holds at its place draws the camera there, and seems to be met.
    """
    names = [name for name in view.names if name not in so_far.wrong]
    solved, picks = so_far.solved, so_far.picks
    if len(names) < (2 if so_far.is_locked else LEAST_LEFT + 1) or solved.problem.points is None:
        return so_far
    px, spread = solved.seen_px(tuple(names))
    # by how much a fit without each would be better, were all of it linear
    left, axes = np.linalg.eigh(np.eye(2) - spread / picks.error_px[:, None, None] ** 2)
    off = np.einsum("nij,ni->nj", axes, px - picks.at_px) / picks.error_px[:, None]
    better = np.sum(off**2 / np.maximum(left, 0.05), -1)
    tried = [k for k in np.argsort(-better, kind="stable")[:LIKELIEST].tolist() if better[k] > CONTRADICTED / 2]
    judged = [(*_missed(view, so_far, tuple(names), k), k) for k in tried]
    far = [one for one in judged if one[0] > CONTRADICTED]
    if not far:
        return so_far
    _, without, k = max(far, key=lambda one: one[0])
    kept = only(picks, [j for j in range(len(names)) if j != k])
    told = wrong_sentence(without, names[k], picks.at_px[k])
    return replace(so_far, solved=without, picks=kept, wrong=so_far.wrong | {names[k]}).said(told)


def _missed(view: View, so_far: SoFar, names: tuple[str, ...], k: int) -> tuple[float, Solved]:
    """By how many standard errors, squared, a fit without a pick misses it (0 where it is near), and that fit."""
    seen, picks = so_far.solved.problem.points, so_far.picks
    assert seen is not None
    rest = [j for j in range(len(seen.at_px)) if j != k]  # picks come first
    without = solve(replace(so_far.solved.problem, points=only(seen, rest)), so_far.solved.x)
    px, spread = without.seen_px(names)
    off = px - picks.at_px
    typical = max(view.clicks.pick_px, float(np.median(np.linalg.norm(np.delete(off, k, 0), axis=-1))))
    if np.linalg.norm(off[k]) <= FAR * typical:
        return 0.0, without
    return float(off[k] @ np.linalg.solve(spread[k] + typical**2 * np.eye(2), off[k])), without


def astray(without: Solved, pick: Seen) -> tuple[float, float]:
    """Whether one pick is wrong, by a fit to the others: logarithms of how likely all are if it is (up to a
    constant for all picks of one picture), and of the odds that it is.

    The others tell how careful the hand is: each care is tried, and counts by how likely it makes them.
    """
    from scipy.special import logsumexp

    seen, x = without.problem.points, without.x
    assert seen is not None
    stray2 = (np.array(STRAY_PX) * max(without.problem.size_px) / 1920) ** 2
    good, wrong = [], []
    for hand in HANDS[::-1]:
        care = hand * float(pick.error_px[0])
        one = solve(replace(without.problem, points=replace(seen, error_px=hand * seen.error_px)), x)
        x = one.x
        others = -one.cost - 2 * len(seen.at_px) * np.log(care) + np.linalg.slogdet(one.covariance)[1] / 2
        others -= (np.log(hand / USUAL_HAND) / HANDS_DIFFER) ** 2 / 2
        off = (one.problem.seen_px(x, pick.matrices) - pick.at_px)[0]
        spread = one.spread(lambda x, one=one: one.problem.seen_px(x, pick.matrices)[0]) + care**2 * np.eye(2)
        good.append(others + _log_density(off, spread))
        wrong.append(others + logsumexp([_log_density(off, spread + s * np.eye(2)) for s in stray2]))
    is_wrong = float(logsumexp(wrong) - np.log(len(STRAY_PX)))
    return is_wrong, is_wrong - float(logsumexp(good))


def _log_density(off: Array, spread: Array) -> float:
    """The logarithm of the normal density of an error (2,), but for its constant."""
    return float(-off @ np.linalg.solve(spread, off) - np.linalg.slogdet(spread)[1]) / 2


def wrong_sentence(solved: Solved, name: str, at_px: Array) -> Warned:
    """What is said of a pick that was left out: how far off it is, and whether another point is there."""
    every = tuple(NAMED)
    px = solved.problem.seen_px(solved.x, np.stack([NAMED[n] for n in every]))
    off = np.linalg.norm(px - at_px, axis=-1)
    k = int(np.argmin(off))
    own = float(off[every.index(name)])
    exactly = f", and exactly where {every[k]} is" if every[k] != name and off[k] < max(4.0, 0.12 * own) else ""
    return Warned(
        f"{name} lies {own:.0f} px from where the other points put it{exactly}; it was left out.", ("points", name)
    )
