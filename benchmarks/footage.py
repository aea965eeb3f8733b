"""How well stills with a known truth are matched: `python -m benchmarks.footage FOLDER`.

The stills are made by benchmarks.stills. For 8 careful picks, 6 quick ones, 4 rough ones and none: what a known
place (anywhere on the bed, in mm from its middle or by the table's own marks; under the shot's balls), the target,
a named point, a ball's outline and centre, cut and distance are off, as medians and 90th percentiles of each
still's worst (and how often the stated 95 % held). The truth is projected by benchmarks.stills' own code. A
further ball that is hidden is told and left out; one of the shot's two ends the match.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from aimgeo.camera import project
from aimgeo.filmed import rim_mm, rim_px
from aimgeo.tables import POCKET_NAMES, TABLES, Table
from aimgeo.vectors import Array
from benchmarks.stills.make import project as truly
from lessons.footage.answer import filmed_shot, target_mm
from lessons.footage.match import match
from lessons.footage.matched import Clicks, Match, NoMatch

WAYS = {"8 careful": (8, 1.0), "6 quick": (6, 2.0), "4 rough": (4, 6.0), "no clicks": (0, 0.0)}


@dataclass(frozen=True, slots=True)
class Off:
    """How far one match is off, and the share of stated limits that hold."""

    place_px: float
    place_by_marks_px: float
    place_at_balls_px: float
    target_px: float
    named_median_px: float
    named_worst_px: float
    rim_px: float
    ball_mm: float
    cut_deg: float
    distance_mm: float
    holds: float
    seconds: float


def clicks(truth: dict[str, Any], count: int, error_px: float, seed: int) -> Clicks:
    """Clicks on a still: so many of its points, and all its balls."""
    wide, high = truth["size_px"]
    draw = np.random.default_rng(seed)
    there = {n: np.array(p) for n, p in truth["points_px"].items() if 4 < p[0] < wide - 4 and 4 < p[1] < high - 4}
    names = list(draw.permutation(sorted(there)))[:count]
    points = {str(n): tuple((there[n] + draw.normal(0, error_px, 2)).tolist()) for n in names}
    centres = [[*at, truth["radius_mm"]] for at in truth["balls_mm"]]
    cue, obj, *others = (truly(truth["camera"], centres) + draw.normal(0, 3, (len(centres), 2))).tolist()
    foot = truly(truth["camera"], [[truth["table"]["length_mm"] * 0.4, 0, 0]])[0].tolist()
    towards: Any = ("foot", tuple(foot)) if count < 3 else None
    return Clicks(_table(truth), points, tuple(cue), tuple(obj), tuple(map(tuple, others)), towards)


def _table(truth: dict[str, Any]) -> Table:
    length = truth["table"]["length_mm"]
    return min(TABLES.values(), key=lambda table: abs(table.length_mm - length))


def off(made: Match, truth: dict[str, Any], seconds: float) -> Off:
    """How far a match is off."""
    camera, R = truth["camera"], truth["radius_mm"]
    L, W = truth["table"]["length_mm"] / 2, truth["table"]["width_mm"] / 2
    grid = np.stack(np.meshgrid(np.linspace(-0.95 * L, 0.95 * L, 9), np.linspace(-0.95 * W, 0.95 * W, 5)), -1)
    places = np.concatenate([grid.reshape(-1, 2), np.zeros((45, 1))], -1)
    px = truly(camera, places)
    with np.errstate(invalid="ignore"):
        inside = ((px > 0) & (px < truth["size_px"])).all(-1)
    places, px = places[inside], px[inside]
    place = np.linalg.norm(project(made.camera, places) - px, axis=-1)
    # as parts of the bed, the way sights and spots divide it: its size may be off
    bed = made.solved.problem.measures_mm(made.solved.x)[:2] / 2
    by_marks = np.linalg.norm(project(made.camera, places * [*(bed / [L, W]), 1.0]) - px, axis=-1)
    named = {n: np.hypot(*(made.points[n].at_px - p)) for n, p in truth["points_px"].items() if n in made.points}
    rims, balls, held = [], [], []
    held += (place <= made.place_error_px(places) + 1e-9).tolist()
    held += [bool(far <= made.points[n].error_px) for n, far in named.items()]
    for ball in made.balls:
        at = min(truth["balls_mm"], key=lambda at: float(np.hypot(*(ball.centre_mm[:2] - at))))
        turn = np.linspace(0, 2 * np.pi, 720)
        own = rim_px(made.camera, ball.centre_mm, R, turn[::12])
        real = truly(camera, rim_mm(np.array(camera["eye_mm"]), np.array([*at, R]), R, turn))
        rims.append(_farthest(own, real))
        balls.append(float(np.hypot(*(ball.centre_mm[:2] - at))))
        held += (np.abs(ball.centre_mm[:2] - at) <= ball.error_mm).tolist()
    values = list(named.values())
    cut, distance, target = _shot(made, truth, held)
    under = np.array([[*at, 0.0] for at in truth["balls_mm"][:2]])
    at_balls = np.linalg.norm(project(made.camera, under) - truly(camera, under), axis=-1)
    return Off(
        float(place.max()), float(by_marks.max()), float(at_balls.max()), target, float(np.median(values)),
        float(max(values)), max(rims), max(balls), cut, distance, float(np.mean(held)), seconds,
    )  # fmt: skip


def _shot(made: Match, truth: dict[str, Any], held: list[bool]) -> tuple[float, float, float]:
    """How far cut (degrees), distance (mm) and the target as drawn (px; nan out of frame) are off, for a pocket
    that both balls allow; nan without.
    """
    cue, obj = (np.array(at) for at in truth["balls_mm"][:2])
    for pocket in POCKET_NAMES:
        shot, _ = filmed_shot(made, pocket)
        if shot is None or abs(shot.cut_deg) > 60:
            continue
        # into the same place: what is measured is the balls
        way = target_mm(made, pocket) - obj
        u = way / np.linalg.norm(way)
        aim = obj - 2 * truth["radius_mm"] * u - cue
        cut = abs(np.degrees(np.arctan2(aim[0] * u[1] - aim[1] * u[0], aim @ u)) - shot.cut_deg)
        distance = abs(float(np.linalg.norm(obj - cue)) - shot.distance_mm)
        held += [bool(cut <= shot.cut_error_deg), bool(distance <= shot.distance_error_mm)]
        own = project(made.camera, [[*target_mm(made, pocket), 0.0]])[0]
        real = truly(truth["camera"], [[*_mouth(truth, pocket), 0.0]])[0]
        seen = bool(((real > 0) & (real < truth["size_px"])).all())
        return float(cut), float(distance), float(np.hypot(*(own - real))) if seen else float("nan")
    return float("nan"), float("nan"), float("nan")


def _mouth(truth: dict[str, Any], pocket: str) -> Array:
    """The middle (2,) of a pocket's mouth, written out once more."""
    table, (end, side) = truth["table"], pocket.split("-")
    sx, sy = {"foot": 1, "head": -1, "side": 0}[end], {"left": 1, "right": -1}[side]
    inside = 0.0 if end == "side" else table["corner_mouth_mm"] / 8**0.5
    return np.array([sx * (table["length_mm"] / 2 - inside), sy * (table["width_mm"] / 2 - inside)])


def matched(clicks: Clicks, picture: Any, size_px: tuple[int, int]) -> tuple[Match, int]:
    """The match, and how many further balls were told to be hidden and left out. Raises NoMatch."""
    hidden = 0
    while True:
        try:
            return match(clicks, picture, size_px), hidden
        except NoMatch as error:
            if error.at[:2] != ("balls", "others"):
                raise
            hidden += 1
            k = int(error.at[2])
            clicks = replace(clicks, others=clicks.others[:k] + clicks.others[k + 1 :])


def _farthest(points: Array, line: Array) -> float:
    return float(np.linalg.norm(points[:, None] - line[None], axis=-1).min(1).max())


def stills(folder: Path) -> Iterator[tuple[str, Any, dict[str, Any]]]:
    """Name, picture and truth of every still of a folder."""
    import cv2

    for path in sorted(folder.glob("*.jpg")):
        picture = cv2.imread(str(path))
        yield path.stem, np.asarray(picture, np.float32), json.loads(path.with_suffix(".json").read_text())


def run(folder: Path, seed: int = 5) -> None:
    """Print the table."""
    everything = list(stills(folder))
    for way, (count, error_px) in WAYS.items():
        found: list[Off] = []
        declined: list[str] = []
        hidden = balls = 0
        for name, picture, truth in everything:
            start = time.process_time()
            wide, high = truth["size_px"]
            try:
                made, gone = matched(clicks(truth, count, error_px, seed), picture, (wide, high))
            except NoMatch as error:
                declined.append(f"{name}: {error.sentence}")
                continue
            hidden, balls = hidden + gone, balls + len(made.balls)
            found.append(off(made, truth, time.process_time() - start))
        print(f"{way}: {len(found)} of {len(everything)} stills matched")
        for key in (
            "place_px",
            "place_by_marks_px",
            "place_at_balls_px",
            "target_px",
            "named_median_px",
            "named_worst_px",
            "rim_px",
            "ball_mm",
            "cut_deg",
            "distance_mm",
        ):
            values, unit = [getattr(one, key) for one in found], key.rpartition("_")[2]
            print(
                f"  {key:<17} median {np.nanmedian(values):6.2f}, 90th {np.nanquantile(values, 0.9):6.2f} {unit}"
            )
        held, slowest = np.mean([one.holds for one in found]), max(one.seconds for one in found)
        print(
            f"  stated limits hold {100 * held:.0f} %; slowest {slowest:.1f} s of one core; "
            f"{balls} of {balls + hidden} balls found where clicked"
        )
        for line in declined:
            print(f"  declined {line}")


if __name__ == "__main__":
    run(Path(sys.argv[1]))
