"""Is it a table of the told size? The same picture fits any; but rails, mouths and balls do not grow along."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from aimgeo.camera import Camera, project
from aimgeo.filmed import on_plane, rim_px
from aimgeo.landmarks import Prior, measures_of
from aimgeo.tables import TABLES, Table
from aimgeo.vectors import Array
from lessons.footage.balls import FoundBall, coarse, fine
from lessons.footage.clicked_balls import lines_px
from lessons.footage.fit import BLOOM_PX, Solved, solve
from lessons.footage.matched import NoMatch, Warned
from lessons.footage.rounds import FEW_SIGHTS
from lessons.footage.start import visible_sights
from lessons.footage.view import SoFar, View

GROWN_PX = 0.35
"""One standard error of a ball's radius in the picture: light and shadow move all of an outline."""

DOUBT, REFUSED = 3.0, 7.0
"""Logarithms of odds by which another size is likelier: said, and the told one not taken."""

OPEN = 15.0
"""Of sizes that sights and lines speak against by more than this (logarithm of odds) no balls are looked for."""

STRANGE = 4.0
"""Balls that differ by so many standard errors from their told diameter are no balls of that size."""

CLEARER, LEAST_CLEAR, LEAST_PLACES = 1.1, 0.3, 12
"""Outlines of another size are the balls' own where they are so many times clearer; where none was found, so
clear; and so many places of one tell how large a ball is."""

MOST_TURNS, NEAR = 3, 0.01
"""So often outlines are looked for once more, until they lie so near (in radii) to where they are sought."""


@dataclass(frozen=True, slots=True)
class SizeDoubt:
    """Another size that fits better (None: no named one does), by how much, and how large the balls look."""

    other: str | None
    by: float
    look_mm: float | None
    look_error_mm: float


def size_said(view: View, so_far: SoFar) -> list[Warned]:
    """What speaks against the told size of the table. Raises NoMatch where another is much likelier."""
    clicks = view.clicks
    found = doubt(view, so_far)
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
    told, named = (name.replace("ft", " ft") for name in (clicks.table.name, found.other))
    seen = (
        "sights and pockets fit"
        if look is None
        else f"on {_a(told)} table the balls would be {look} across; with sights and pockets they fit"
    )
    sentence = f"{seen} {_a(named)} table better. Is `table: {found.other}` meant?"
    # a lock with the wrong size finds few sights, and says little against itself
    few = len(so_far.sights) < FEW_SIGHTS * visible_sights(so_far.solved)
    if found.by > REFUSED or few:
        raise NoMatch(sentence, ("table",), found.other)
    return [Warned(sentence, ("table",))]


def _a(size: str) -> str:
    return f"an {size}" if size.startswith("8") else f"a {size}"


def doubt(view: View, so_far: SoFar) -> SizeDoubt | None:
    """What speaks against the told size of table, by everything seen but the scale; None where nothing does.

    A wrong size moves the camera and stretches everything: then sights, mouths and noses do not lie where tables
    have them, and the balls look larger or smaller than they are.
    """
    clicks, solved = view.clicks, so_far.solved.without_balls()
    table, diameter_mm = clicks.table, clicks.ball_diameter_mm
    if not table.has_sights:
        return None
    scales = {name: other.length_mm / table.length_mm for name, other in TABLES.items() if other.has_sights}
    measured = dict(clicks.measured)
    fits = {name: _taken_for(solved, TABLES[name], measured, diameter_mm, scale) for name, scale in scales.items()}
    costs = {name: fit.cost for name, fit in fits.items()}
    rivals = [scale for name, scale in scales.items() if costs[name] < costs[table.name] + OPEN]
    balls, radius = _outlines(view, solved, so_far.balls, rivals)
    looks = {name: _look(fits[name].camera, balls, radius, scale) for name, scale in scales.items()}
    for name, (size, its_error) in looks.items():
        off = 0.0 if size is None else (size - diameter_mm) / its_error
        # as a long-tailed loss: one bad outline must not outvote all the rest
        costs[name] += 8 * np.log1p(off * off / 16)
    look, error = looks[table.name]
    best = min(costs, key=lambda name: costs[name])
    by = costs[table.name] - costs[best]
    if best != table.name and by > DOUBT:
        return SizeDoubt(best, by, look, error)
    if look is not None and abs(look - diameter_mm) > STRANGE * error:
        return SizeDoubt(None, 0.0, look, error)
    return None


def _taken_for(
    solved: Solved, table: Table, measured: dict[str, Prior], diameter_mm: float, scale: float
) -> Solved:
    """The fit to points and edges with the table taken for another size, so many times as large."""
    c = solved.camera
    camera = Camera(c.eye_mm * scale, c.axes, c.focal_px, c.principal_px, c.size_px, c.lens)
    problem, x = replace(solved.problem, priors=measures_of(table, diameter_mm) | measured).start(camera)
    return solve(problem, x, 25)


def _outlines(
    view: View, solved: Solved, found: Sequence[FoundBall], scales: Sequence[float]
) -> tuple[Sequence[FoundBall], float]:
    """Outlines of the clicked balls, and the radius (mm) with which they were looked for: as large as balls are on
    a table of the size with which they are clearest.

    About where balls have their outlines on a table of the told size lies something else if that size is wrong.
    """
    camera, R = solved.camera, solved.problem.radius_mm
    shade = view.shade
    if shade is None or not view.clicks.balls():
        return (), R
    clicked = [coarse(shade, camera, R, np.array(at)) for _, _, at in view.clicks.balls()] if not found else []
    told = [ball.centre_mm for ball in found] or [near for near in clicked if near is not None]
    best, kept = (CLEARER * _clear(found) if found else LEAST_CLEAR), (found, R)
    if not told:
        return kept
    middles, lines = project(camera, np.stack(told)), lines_px(solved)

    def outlines(radius: float) -> list[FoundBall]:
        places = on_plane(camera, middles, radius)
        if not np.isfinite(places).all():
            return []
        each = [
            fine(shade, camera, radius, place, [*places[:k], *places[k + 1 :]], 0.0, lines)
            for k, place in enumerate(places)
        ]
        return [one for one in each if one is not None]

    for radius in (R / scale for scale in scales if scale != 1.0 or not found):
        balls = outlines(radius)
        if (clear := _clear(balls) * len(balls) / len(middles)) > best:
            best, kept = clear, (balls, radius)
    # an edge is found a little beside where it is looked for: once more about where it was
    for _ in range(MOST_TURNS if kept[1] != R else 0):
        look, _ = _look(camera, *kept)
        if look is None or abs(look / 2 - kept[1]) < NEAR * kept[1] or not (balls := outlines(look / 2)):
            break
        kept = balls, look / 2
    return kept


def _clear(balls: Sequence[FoundBall]) -> float:
    """How much of outlines is seen, on the average, and how clearly: a shadow has edges too, but faint ones."""
    told = [ball.seen / np.median(ball.rim.error_px) for ball in balls if len(ball.rim.angles)]
    return float(np.sum(told)) / len(balls) if balls else 0.0


def _look(
    camera: Camera, balls: Sequence[FoundBall], radius_mm: float, scale: float = 1.0
) -> tuple[float | None, float]:
    """How large balls that were looked for with a radius look (mm, weighted mean) to a camera, and one standard
    error; None without balls. `scale` is that of its table by the one on which they were looked for.
    """
    each = [_diameter(camera, ball, radius_mm, scale) for ball in balls if len(ball.rim.angles) >= LEAST_PLACES]
    if not each:
        return None, 0.0
    found, errors = (np.array(column) for column in zip(*each, strict=True))
    weight = 1 / errors**2
    # light falls on all of them alike, so their mean is not much better than the best one
    return float(found @ weight / weight.sum()), float(max(errors.min() / np.sqrt(2), weight.sum() ** -0.5))


def _diameter(camera: Camera, ball: FoundBall, radius_mm: float, scale: float) -> tuple[float, float]:
    """A ball's diameter (mm) by its outline alone, as it rests on the cloth, and one standard error."""
    at = scale * np.array([*ball.centre_mm[:2], radius_mm])

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
        at[2] = max(at[2], 0.3 * scale * radius_mm)
    spread = np.linalg.pinv(J.T @ J)[2, 2]
    mm_of_px = scale * radius_mm / ball.radius_px
    return 2 * float(at[2]), 2 * float(np.hypot(np.sqrt(spread), GROWN_PX * mm_of_px))
