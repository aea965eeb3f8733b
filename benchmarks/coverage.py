"""Do the stated limits hold? `python -m benchmarks.coverage [COUNT]`.

Tables, lenses and cameras are drawn from the priors; each table has eight picks, outlines of two balls, with the
errors that these are taken to have. Told is the share within its stated 95 %: of places of the cloth as
drawn, of the balls' centres, cuts and distances. A share of 500 is known to 2 % (binomial, two standard errors).
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from aimgeo.camera import Camera, Lens, camera, project
from aimgeo.landmarks import MEASURES, NAMED, RAIL_OF, measures_of
from aimgeo.tables import TABLES
from aimgeo.vectors import Array, BoolArray
from lessons.footage.answer import filmed_shot, middle_of_pocket
from lessons.footage.balls import FOOT, RIM_PX, mean_radius_px, outline_px
from lessons.footage.fit import BEND_ERRORS, MIDDLE_ERROR, REST, TABLE, Rim, solve
from lessons.footage.match import match
from lessons.footage.matched import Clicks, Match, MatchedBall, NoMatch

SIZE_PX = (1920, 1080)
NINE = TABLES["9ft"]
NAMES = tuple(RAIL_OF)
POCKET = "foot-left"
R_MM = 28.575


def held(seed: int, count: int = 8) -> dict[str, BoolArray] | None:
    """What of one table lies within its limits, by what it is; None where it is declined."""
    draw = np.random.default_rng(seed)
    priors = measures_of(NINE)
    mean, error = (np.array([getattr(priors[name], key) for name in MEASURES]) for key in ("mm", "error_mm"))
    measures = mean + draw.normal(0, 1, len(MEASURES)) * error
    matrices = np.stack([NAMED[name] for name in NAMES])
    for _ in range(200):
        view = _camera(draw)
        px = project(view, matrices @ measures)
        chosen = draw.permutation(np.flatnonzero(_inside(px)))[:count]
        balls = np.array([_place(draw), _place(draw)])
        cut, distance = _truth(balls, middle_of_pocket(measures, POCKET))
        is_shot = _inside(project(view, balls)).all() and distance > 250 and abs(cut) < 70
        if is_shot and len(chosen) == count and len({RAIL_OF[NAMES[k]] for k in chosen}) >= 3:
            break
    else:
        return None
    off = draw.normal(0, Clicks(NINE, {}).pick_px, (count, 2))
    picks = {NAMES[k]: (float(x), float(y)) for k, (x, y) in zip(chosen, px[chosen] + off, strict=True)}
    try:
        made = _with_balls(match(Clicks(NINE, picks), None, SIZE_PX), view, balls, draw)
    except NoMatch:
        return None
    grid = np.stack(np.meshgrid(np.linspace(-1100, 1100, 7), np.linspace(-550, 550, 4)), -1).reshape(-1, 2)
    places = np.concatenate([grid, np.zeros((len(grid), 1))], -1)
    true = project(view, places)
    places, true = places[_inside(true)], true[_inside(true)]
    stated = made.solved.error(lambda x: made.solved.problem.pixels(x, places).reshape(-1))
    found = {"places": np.abs(project(made.camera, places) - true).reshape(-1) <= stated}
    pairs = list(zip(made.balls, balls, strict=True))
    found["balls"] = np.concatenate([np.abs(ball.centre_mm - at)[:2] <= ball.error_mm for ball, at in pairs])
    shot, _ = filmed_shot(made, POCKET)
    if shot is not None:
        found["cuts"] = np.array([abs(shot.cut_deg - cut) <= shot.cut_error_deg])
        found["distances"] = np.array([abs(shot.distance_mm - distance) <= shot.distance_error_mm])
    return found


def _with_balls(made: Match, view: Camera, balls: Array, draw: np.random.Generator) -> Match:
    """The match with the outlines of two balls, off by what outlines are taken to be off."""
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    rims = []
    for at in balls:
        px, normals = outline_px(view, at, R_MM, turn)
        # light falls from above, the ball meets the cloth below
        blown, foot = (normals[:, 1] < -0.3).astype(float), (normals[:, 1] > FOOT).astype(float)
        rim = Rim(turn, px, normals, np.full(len(turn), RIM_PX), blown, foot)
        out, shift, bloom, low = np.split(draw.normal(REST, rim.rest_errors), [1, 3, 4])
        grown = out + bloom * blown + low * foot + draw.normal(0, RIM_PX, len(turn))
        rims.append(replace(rim, at_px=px + normals * grown[:, None] + shift))
    problem, x = replace(made.solved.problem, rims=tuple(rims)).start(
        made.camera, balls + np.array([3.0, -3.0, 0.0])
    )
    x[TABLE] = made.solved.x[TABLE]
    solved = solve(problem, x)
    told = []
    for k, role in enumerate(("cue", "object")):
        error = solved.error(lambda x, k=k: solved.problem.ball_mm(x, k)[..., :2])
        centre = solved.problem.ball_mm(solved.x, k)
        told.append(MatchedBall(role, 0, centre, error, 1.0, mean_radius_px(solved.camera, centre, R_MM)))  # type: ignore[arg-type]
    return replace(made, solved=solved, balls=tuple(told))


def _truth(balls: Array, target: Array) -> tuple[float, float]:
    """Signed cut (degrees, left positive) and distance (mm) of two balls, written out once more."""
    C, O = balls[:, :2]
    u = (target - O) / np.linalg.norm(target - O)
    aim = O - 2 * R_MM * u - C
    return float(np.degrees(np.arctan2(aim[0] * u[1] - aim[1] * u[0], aim @ u))), float(np.linalg.norm(O - C))


def _place(draw: np.random.Generator) -> Array:
    return np.array([draw.uniform(-1000, 1000), draw.uniform(-500, 500), R_MM])


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


def run(count: int = 500) -> tuple[int, dict[str, float]]:
    """How many tables were matched, and by what it is the share that lies within its stated 95 %."""
    made = [one for seed in range(count) if (one := held(seed)) is not None]
    kinds = ("places", "balls", "cuts", "distances")
    return len(made), {k: float(np.mean(np.concatenate([one[k] for one in made if k in one]))) for k in kinds}


if __name__ == "__main__":
    tables = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    matched, shares = run(tables)
    print(f"{matched} of {tables} tables matched; within their stated 95 %:")
    print(", ".join(f"{kind} {100 * share:.1f} %" for kind, share in shares.items()))
