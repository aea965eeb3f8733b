"""The clicked balls: found, measured, and checked against the table and each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

import numpy as np

from aimgeo.camera import project
from aimgeo.filmed import on_plane
from aimgeo.landmarks import MEASURES, backs, noses
from aimgeo.vectors import Array
from lessons.footage import balls as ball_fit
from lessons.footage.fit import Solved
from lessons.footage.matched import MatchedBall, NoMatch, Told, ball_key, ordinal, said_of
from lessons.footage.picture import Picture

ONE_BALL = 0.6
"""Balls nearer than this part of a radius are one ball."""

NEAR_MM = 7.0
"""Balls that touch are measured nearer than a diameter by no more than this."""


PIECES = 24
"""Lines that a lens bends are looked at in so many places."""


def found_balls(
    shade: Picture, solved: Solved, told: list[Told], before: Sequence[ball_fit.FoundBall]
) -> list[ball_fit.FoundBall]:
    """The clicked balls' outlines, around the clicks or where they were found before. Raises NoMatch."""
    camera, R = solved.camera, solved.problem.radius_mm
    twins: dict[int, int] = {}
    if before:
        places = [b.centre_mm for b in before]
    else:
        places = []
        for role, index, at in told:
            near = ball_fit.coarse(shade, camera, R, np.array(at))
            if near is None:
                raise NoMatch("no ball can lie here; click on the ball, on the cloth.", ball_key(role, index))
            places.append(near)
        for k, place in enumerate(places):
            if same := [j for j in range(k) if np.hypot(*(places[j] - place)[:2]) < ONE_BALL * R]:
                twins[k] = same[0]
        # once more, now that the others' places are known: in a crowd two clicks can slide to one ball
        for k, (_, _, at) in enumerate(told):
            others = [p for j, p in enumerate(places) if j != k]
            if min((np.hypot(*(p - places[k])[:2]) for p in others), default=np.inf) < 5 * R:
                near = ball_fit.coarse(shade, camera, R, np.array(at), others)
                places[k] = places[k] if near is None else near
    made: list[ball_fit.FoundBall] = []
    lines = lines_px(solved)
    for k, (role, index, _) in enumerate(told):
        others = [p for j, p in enumerate(places) if j != k]
        one = ball_fit.fine(shade, camera, R, places[k], others, _size_open_px(solved, places[k]), lines)
        if one is None or one.seen < 0.3 or len(one.rim.angles) < 10:
            for later, earlier in twins.items():
                if k in (later, earlier):
                    raise _same_ball(told[earlier], told[later])
            share = 0 if one is None else round(100 * one.seen)
            raise NoMatch(
                f"no ball outline here (only {share} % of one is seen); click nearer to its middle.",
                ball_key(role, index),
            )
        made.append(one)
    check_apart(solved, told, made, twins)
    return made


def lines_px(solved: Solved) -> Array:
    """Where the cushions show edges: their noses, feet and backs, in short pieces (N, 2, 2) of the picture."""
    measures = solved.problem.measures_mm(solved.x)
    tops = [nose @ measures for nose in noses(PIECES).values()]
    feet = [top * [1.0, 1.0, 0.0] for top in tops]
    px = project(solved.camera, np.stack([*tops, *feet, *(back @ measures for back in backs(PIECES).values())]))
    pieces = np.stack([px[:, :-1], px[:, 1:]], 2).reshape(-1, 2, 2)
    return np.asarray(pieces[np.isfinite(pieces).all((1, 2))])


def _same_ball(one: Told, other: Told) -> NoMatch:
    """What is told of two clicks on one ball, the second of which is at fault."""
    if one[0] == other[0] == "others":
        both = f"{ordinal(one[1])} and {ordinal(other[1]).removeprefix('the ')} of `others`"
        return NoMatch(f"{both} are the same ball; click on each ball once.", ball_key(*other[:2]))
    first = said_of(*one[:2]).removeprefix("the ")
    return NoMatch(
        f"this click and the {first}'s are the same ball; click on each ball once.", ball_key(*other[:2])
    )


def _size_open_px(solved: Solved, centre_mm: Array) -> float:
    """One standard error of a ball's radius in the picture, by what is known of the camera so far."""
    across = centre_mm + solved.problem.radius_mm * np.outer([1.0, -1.0], solved.camera.axes[0])

    def radius(x: Array) -> Array:
        ends = solved.problem.pixels(x, across)
        return np.asarray(np.linalg.norm(ends[..., 0, :] - ends[..., 1, :], axis=-1)[..., None] / 2)

    return float(solved.error(radius)[0] / 1.96)


def check_apart(
    solved: Solved,
    told: list[Told],
    made: list[ball_fit.FoundBall],
    twins: Mapping[int, int] = MappingProxyType({}),
) -> None:
    """Raise NoMatch where balls lie in a cushion, in one another, or are one ball. `twins` are balls, by their
    later click, that were found in one place.
    """
    R = solved.problem.radius_mm
    measures = dict(zip(MEASURES, solved.problem.measures_mm(solved.x).tolist(), strict=True))
    for k, (role, index, _) in enumerate(told):
        x, y = made[k].centre_mm[:2]
        over = max(abs(x) - measures["length"] / 2, abs(y) - measures["width"] / 2) + R
        if over > 0.4 * R:
            raise NoMatch(
                f"this ball would lie {over:.0f} mm inside the cushion; is it a ball on the bed?",
                ball_key(role, index),
            )
        for j in range(k):
            apart = float(np.hypot(*(made[k].centre_mm - made[j].centre_mm)[:2]))
            other = told[j]
            if apart < ONE_BALL * R or (twins.get(k) == j and apart < 2 * R - NEAR_MM):
                raise _same_ball(other, told[k])
            if apart < 2 * R - max(NEAR_MM, 0.2 * R):
                raise NoMatch(
                    f"this ball and "
                    f"{'the ' if other[0] != 'others' else ''}{said_of(other[0], other[1])} would be "
                    f"{apart:.0f} mm apart, "
                    f"nearer than a diameter; click nearer to their middles.",
                    ball_key(role, index),
                )


def placed_balls(solved: Solved, told: list[Told], fits: Sequence[ball_fit.FoundBall]) -> tuple[MatchedBall, ...]:
    """Where the clicked balls lie: by their outlines, or by their clicks where no picture was looked at."""
    if fits:
        made = []
        for k, ((role, index, _), one) in enumerate(zip(told, fits, strict=True)):
            centre = solved.problem.ball_mm(solved.x, k)
            error = solved.error(lambda x, k=k: solved.problem.ball_mm(x, k)[..., :2])
            made.append(MatchedBall(role, index, centre, error, one.seen, one.radius_px))
        return tuple(made)
    # by picks alone a click is taken for the ball's middle
    made = []
    R = solved.problem.radius_mm
    for role, index, at in told:
        place = on_plane(solved.camera, np.array(at, float), R)
        if not np.isfinite(place).all():
            raise NoMatch("no ball can lie here; click on the ball, on the cloth.", ball_key(role, index))
        radius = ball_fit.mean_radius_px(solved.camera, place, R)

        def where(x: Array, at: Any = at) -> Array:
            return np.asarray(on_plane(solved.problem.camera(x), np.array(at, float), R)[:2])

        spread = np.sqrt(solved.error(where) ** 2 + (1.96 * 0.15 * R) ** 2)
        made.append(MatchedBall(role, index, place, spread, 0.0, radius))
    return tuple(made)
