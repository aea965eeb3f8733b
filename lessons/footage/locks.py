"""Which lock on the sights is taken: the likeliest, if it is no chance and no other camera does nearly as well."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from aimgeo.vectors import Array
from lessons.footage.fit import Problem, Seen, Solved
from lessons.footage.picture import Spots
from lessons.footage.start import (
    ALL_SIGHTS,
    SIGHT_MATRICES,
    SIGHTS_TURNED,
    Lock,
    Start,
    begin,
    guesses,
    in_frame,
    lock,
    rank,
)

LOCKED = 0.5
"""The part of the sights in the frame that must be met."""

SURE, SURE_OF_MANY, SURER = 18.0, 8.0, 6.0
"""Logarithms of odds: of a lock against chance, with few picks or with many, and against another lock."""

MANY = 6

ENOUGH = 32.0
"""With odds like these no other camera is tried: by chance they were never above 13 on the test stills."""

MOST_LOCKS, MOST_GUESSED = 9, 3


def locks_of(problem: Problem, found: list[Start], picks: Seen | None, spots: Spots) -> list[Lock]:
    """Locks from the most promising starts, and from guesses about these, the likeliest first."""
    if not len(spots.at_px):
        return []
    locks: list[Lock] = []

    def tried(begun: Solved, carried: Seen, guess: Array | None = None) -> bool:
        one = lock(begun, carried, spots, guess)
        if one is None:
            return False
        locks.append(one)
        agrees = picks is None or agrees_with(one.solved, picks, 2.0)
        return agrees and one.share >= 0.7 and one.evidence > ENOUGH

    carried = [(start, picks or start.corners) for start in rank(problem, found, spots, MOST_LOCKS)]
    begun = [(begin(problem, start.camera, seen), seen) for start, seen in carried if seen is not None]
    if any(tried(*one) for one in begun):
        return sorted(locks, key=lambda one: -one.evidence)
    apart = [one for k, one in enumerate(begun) if all(one[0].cost != other[0].cost for other in begun[:k])]
    for one in apart[:MOST_GUESSED]:
        for guess in guesses(one[0], spots, MOST_LOCKS):
            if tried(*one, guess):
                break
    return sorted(locks, key=lambda one: -one.evidence)


def holds(one: Lock, others: Sequence[Lock], picked: int) -> bool:
    """True where the sights are met far better than by chance, and no other camera does it nearly as well."""
    if one.evidence < (SURE if picked < MANY else SURE_OF_MANY) or one.share < LOCKED:
        return False
    px = one.solved.problem.seen_px(one.solved.x, SIGHT_MATRICES)
    within = 10.0 * max(one.solved.problem.size_px) / 1920
    for other in others:
        theirs = other.solved.problem.seen_px(other.solved.x, SIGHT_MATRICES)
        # turned by half a turn the table looks the same: without picks that is asked for, not found out
        offs = [np.linalg.norm(theirs[order] - px, axis=-1) for order in (ALL_SIGHTS, SIGHTS_TURNED)]
        apart = min(float(np.median(off[in_frame(px, one.solved.problem.size_px)])) for off in offs)
        if other.evidence > one.evidence - SURER and apart > within:
            return False
    return True


def agrees_with(solved: Solved, picks: Seen, pick_px: float) -> bool:
    """True where the camera meets most of the picks."""
    off = np.linalg.norm(solved.problem.seen_px(solved.x, picks.matrices) - picks.at_px, axis=-1)
    scale = max(solved.problem.size_px) / 1920
    near = off < max(7 * pick_px, 14 * scale)
    return bool(near.sum() >= max(2, int(np.ceil(0.6 * len(off)))))
