"""Is it a table of the told size? The same picture fits any; but rails, mouths and balls do not grow along."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from aimgeo.camera import Camera
from aimgeo.filmed import rim_px
from aimgeo.landmarks import Prior, measures_of
from aimgeo.tables import TABLES, Table
from aimgeo.vectors import Array
from lessons.footage.balls import FoundBall
from lessons.footage.fit import BLOOM_PX, FIRST_BALL, Solved, solve
from lessons.footage.matched import Clicks, Match, NoMatch, Warned

GROWN_PX = 0.35
"""One standard error of a ball's radius in the picture: light and shadow move all of an outline."""

DOUBT, REFUSED = 3.0, 7.0
"""Logarithms of odds by which another size is likelier: said, and the told one not taken."""

STRANGE = 4.0
"""Balls that differ by so many standard errors from their told diameter are no balls of that size."""


@dataclass(frozen=True, slots=True)
class SizeDoubt:
    """Another size that fits better (None: no named one does), by how much, and how large the balls look."""

    other: str | None
    by: float
    look_mm: float | None
    look_error_mm: float


def size_said(
    clicks: Clicks,
    solved: Solved,
    fits: Sequence[FoundBall],
    again: Callable[[Clicks], Match],
    doubted: tuple[str, ...],
) -> list[Warned]:
    """What speaks against the told size of the table. Raises NoMatch where another is much likelier."""
    found = doubt(solved, clicks.table, dict(clicks.measured), clicks.ball_diameter_mm, fits)
    if found is None:
        return []
    look = None if found.look_mm is None else f"{found.look_mm:.0f} ± {1.96 * found.look_error_mm:.0f} mm"
    if found.other is None:
        return [
            Warned(
                f"the balls look {look} across, not {clicks.ball_diameter_mm:.4g};"
                f" check the table's size (`table`), the "
                "balls' (`ball`) and the picture that shows the match.",
                ("table",),
            )
        ]
    meant = found.other
    if meant not in doubted:
        # far from the right size outlines are found askew: the better size is asked once more
        try:
            again(replace(clicks, table=TABLES[meant]))
        except NoMatch as error:
            meant = error.table or meant
    told, named = (name.replace("ft", " ft") for name in (clicks.table.name, meant))
    seen = (
        "sights and pockets fit"
        if look is None
        else f"on {_a(told)} table the balls would be {look} across; with sights and pockets they fit"
    )
    sentence = f"{seen} {_a(named)} table better. Is `table: {meant}` meant?"
    if found.by > REFUSED or meant != found.other:
        raise NoMatch(sentence, ("table",), meant)
    return [Warned(sentence, ("table",))]


def _a(size: str) -> str:
    return f"an {size}" if size.startswith("8") else f"a {size}"


def doubt(
    solved: Solved,
    table: Table,
    measured: dict[str, Prior],
    diameter_mm: float,
    balls: Sequence[FoundBall],
) -> SizeDoubt | None:
    """What speaks against the told size of table, by everything seen but the scale; None where nothing does.

    A wrong size moves the camera and stretches everything: then sights, mouths and noses do not lie where tables
    have them, and the balls look larger or smaller than they are.
    """
    if not table.has_sights:
        return None
    look, error = _look(solved, balls)
    costs: dict[str, float] = {}
    for name, other in TABLES.items():
        if not other.has_sights:
            continue
        scale = other.length_mm / table.length_mm
        off = 0.0 if look is None else (look * scale - diameter_mm) / (error * scale)
        # as a long-tailed loss: one bad outline must not outvote all the rest
        costs[name] = _cost(solved, other, measured, diameter_mm, scale) + 8 * np.log1p(off * off / 16)
    best = min(costs, key=lambda name: costs[name])
    by = costs[table.name] - costs[best]
    if best != table.name and by > DOUBT:
        return SizeDoubt(best, by, look, error)
    if look is not None and abs(look - diameter_mm) > STRANGE * error:
        return SizeDoubt(None, 0.0, look, error)
    return None


def _cost(solved: Solved, table: Table, measured: dict[str, Prior], diameter_mm: float, scale: float) -> float:
    """Half the sum of squares of points and edges with the table taken for another size."""
    c = solved.camera
    camera = Camera(c.eye_mm * scale, c.axes, c.focal_px, c.principal_px, c.size_px, c.lens)
    base = replace(solved.problem, priors=measures_of(table, diameter_mm) | measured, rims=())
    problem, x = base.start(camera)
    return solve(problem, x[:FIRST_BALL], 25).cost


def _look(solved: Solved, balls: Sequence[FoundBall]) -> tuple[float | None, float]:
    """How large the balls look (mm, weighted mean) and one standard error; None without balls."""
    each = [
        _diameter(solved.camera, ball, solved.problem.radius_mm) for ball in balls if len(ball.rim.angles) >= 12
    ]
    if not each:
        return None, 0.0
    found, errors = (np.array(column) for column in zip(*each, strict=True))
    weight = 1 / errors**2
    # light falls on all of them alike, so their mean is not much better than the best one
    return float(found @ weight / weight.sum()), float(max(errors.min() / np.sqrt(2), weight.sum() ** -0.5))


def _diameter(camera: Camera, ball: FoundBall, radius_mm: float) -> tuple[float, float]:
    """A ball's diameter (mm) by its outline alone, as it rests on the cloth, and one standard error."""
    at = np.array([*ball.centre_mm[:2], radius_mm])

    def off(at: Array) -> Array:
        px = rim_px(camera, at, float(at[2]), ball.rim.angles)
        out = BLOOM_PX * ball.rim.blown
        return np.asarray((np.sum((px - ball.rim.at_px) * ball.rim.normals, -1) + out) / ball.rim.error_px)

    J = np.zeros((len(ball.rim.angles), 3))
    for _ in range(8):
        r = off(at)
        J = np.stack([(off(at + d) - off(at - d)) / 0.02 for d in np.eye(3) * 0.01], -1)
        w = 1 / (1 + (r / 2.5) ** 2)
        step = np.linalg.lstsq(J * w[:, None], -r * w, rcond=None)[0]
        at = at + np.clip(step, -8, 8)
        at[2] = max(at[2], 0.3 * radius_mm)
    spread = np.linalg.pinv(J.T @ J)[2, 2]
    mm_of_px = radius_mm / ball.radius_px
    return 2 * float(at[2]), 2 * float(np.hypot(np.sqrt(spread), GROWN_PX * mm_of_px))
