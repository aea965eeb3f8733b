"""Do the stated limits hold? `python -m benchmarks.coverage [COUNT]`, by picks alone.

Tables and lenses are drawn from the priors; each has eight picks with the error that a pick is taken to have. Told
is the share of drawn places of the cloth that lie within their stated 95 %.
"""

from __future__ import annotations

import sys

import numpy as np

from aimgeo.camera import Camera, Lens, camera, project
from aimgeo.landmarks import MEASURES, NAMED, RAIL_OF, measures_of
from aimgeo.tables import TABLES
from aimgeo.vectors import BoolArray
from lessons.footage.fit import BEND_ERRORS, MIDDLE_ERROR
from lessons.footage.match import Clicks, NoMatch, match

SIZE_PX = (1920, 1080)
TABLE = TABLES["9ft"]
NAMES = tuple(RAIL_OF)


def held(seed: int, count: int = 8) -> BoolArray | None:
    """Which drawn places (n,) of one table lie within their limits; None where it is declined."""
    draw = np.random.default_rng(seed)
    priors = measures_of(TABLE)
    mean, error = (np.array([getattr(priors[name], key) for name in MEASURES]) for key in ("mm", "error_mm"))
    measures = mean + draw.normal(0, 1, len(MEASURES)) * error
    matrices = np.stack([NAMED[name] for name in NAMES])
    for _ in range(50):
        view = _camera(draw)
        px = project(view, matrices @ measures)
        chosen = draw.permutation(np.flatnonzero(_inside(px)))[:count]
        if len(chosen) == count and len({RAIL_OF[NAMES[k]] for k in chosen}) >= 3:
            break
    else:
        return None
    clicks = Clicks(TABLE, {})
    off = draw.normal(0, clicks.pick_px, (count, 2))
    picks = {NAMES[k]: (float(x), float(y)) for k, (x, y) in zip(chosen, px[chosen] + off, strict=True)}
    try:
        made = match(Clicks(TABLE, picks), None, SIZE_PX)
    except NoMatch:
        return None
    grid = np.stack(np.meshgrid(np.linspace(-1100, 1100, 7), np.linspace(-550, 550, 4)), -1).reshape(-1, 2)
    places = np.concatenate([grid, np.zeros((len(grid), 1))], -1)
    true = project(view, places)
    places, true = places[_inside(true)], true[_inside(true)]
    stated = made.solved.error(lambda x: made.solved.problem.pixels(x, places).reshape(-1))
    return np.abs(project(made.camera, places) - true).reshape(-1) <= stated


def _inside(px: np.ndarray) -> BoolArray:
    with np.errstate(invalid="ignore"):
        return np.asarray((px > 5).all(-1) & (px < np.array(SIZE_PX) - 5).all(-1))


def _camera(draw: np.random.Generator) -> Camera:
    """A camera about the table, with a lens and a principal point drawn from their priors."""
    turn, far = draw.uniform(0, 2 * np.pi), draw.uniform(1700, 3400)
    eye = (1.04 * far * np.cos(turn), 0.9 * far * np.sin(turn), draw.uniform(700, 1700))
    pose = camera(eye, (draw.normal(0, 250), draw.normal(0, 150), 0.0), np.radians(50), *SIZE_PX)
    focal = 33 / 36 * SIZE_PX[0] * np.exp(draw.normal(0, 0.3))
    corner = np.hypot(*SIZE_PX) / 2 / focal
    d1, d2 = draw.normal(0, BEND_ERRORS)
    size = np.array(SIZE_PX, float)
    principal = size / 2 + draw.normal(0, MIDDLE_ERROR * SIZE_PX[0], 2)
    lens = Lens(d1 / corner**2, d2 / corner**4)
    return Camera(pose.eye_mm, pose.axes, np.array(focal), principal, size, lens)


def run(count: int = 500) -> tuple[int, float]:
    """How many tables were matched, and the share of places within their stated 95 %."""
    made = [one for seed in range(count) if (one := held(seed)) is not None]
    return len(made), float(np.mean(np.concatenate(made)))


if __name__ == "__main__":
    tables = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    matched, share = run(tables)
    print(f"{matched} of {tables} tables matched; {100 * share:.1f} % of places within their stated 95 %")
