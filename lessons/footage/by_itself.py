"""The camera from the picture alone; a click or a pick tells foot from head."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aimgeo.camera import Camera, project
from aimgeo.landmarks import MEASURES, NAMED, RAIL_OF
from lessons.footage.fit import TABLE, Problem, Solved
from lessons.footage.locks import holds, locks_of
from lessons.footage.matched import Clicks, NoMatch
from lessons.footage.picture import Picture, Spots, cloth_corners
from lessons.footage.start import Lock, corner_starts, usual_mm
from lessons.footage.view import SoFar, View


def by_itself(view: View) -> SoFar:
    """The camera from the picture alone. Raises NoMatch."""
    if view.picture is None:
        raise NoMatch(
            "fewer than three points are picked; click four: pocket points or sights, far apart.", ("points",)
        )
    solved = _camera(view.problem, view.clicks, view.picture, view.spots, view.names)
    return SoFar(solved, view.picks)


def _camera(problem: Problem, clicks: Clicks, picture: Picture, spots: Spots, names: tuple[str, ...]) -> Solved:
    """The camera by the cloth's corners; a click or a pick tells foot from head."""
    found = corner_starts(problem, cloth_corners(picture))
    locks = locks_of(problem, found, None, spots)
    good = [one for one in locks[:1] if holds(one, locks, 0) and _on_three_rails(one)]
    if not good:
        best = max(locks, key=lambda one: len(one.sights), default=None)
        raise NoMatch(not_found("" if best is None else f"{len(best.sights)} of {best.in_frame} sights found"))
    solved = good[0].solved
    if names:
        both = [solved, turned_half(solved)]
        at = np.array([clicks.points[name] for name in names])
        matrices = np.stack([NAMED[name] for name in names])
        offs = [float(np.linalg.norm(s.problem.seen_px(s.x, matrices) - at, axis=-1).max()) for s in both]
        if min(offs) > 14 * max(problem.size_px) / 1920:
            raise NoMatch(
                f"the table was found by itself, but {names[0]} is not where it was clicked "
                f"({min(offs):.0f} px away); check the name, or click four points.",
                ("points", names[0]),
            )
        return both[int(np.argmin(offs))]
    if clicks.towards is None:
        raise NoMatch(
            "the table was found by itself, but it looks the same turned by half a turn; add `foot: [x, "
            "y]`, one click towards the foot rail."
        )
    end, at_px = clicks.towards
    L = usual_mm(problem)[MEASURES.index("length")] / 2
    ends = project(solved.camera, [[L, 0, 0], [-L, 0, 0]])
    middle = project(solved.camera, [[0, 0, 0]])[0]
    ends = np.where(np.isfinite(ends), ends, 2 * middle - ends[::-1])
    way = np.asarray(at_px) - middle
    is_foot = float(way @ (ends[0] - middle)) / np.linalg.norm(ends[0] - middle) > float(
        way @ (ends[1] - middle)
    ) / np.linalg.norm(ends[1] - middle)
    return solved if is_foot == (end == "foot") else turned_half(solved)


def not_found(sights_said: str) -> str:
    """What is said where few sights were seen and no picks carry the camera."""
    seen = f" ({sights_said.replace('found', 'seen')})" if sights_said else ""
    return f"the table was not found by itself{seen}; click four points: pocket points or sights, far apart."


def _on_three_rails(one: Lock) -> bool:
    return len({RAIL_OF[name] for name in one.sights}) >= 3


def turned_half(solved: Solved) -> Solved:
    """The same picture with head and foot exchanged."""
    c = solved.camera
    half = np.diag([-1.0, -1.0, 1.0])
    turned = Camera(half @ c.eye_mm, c.axes @ half, c.focal_px, c.principal_px, c.size_px, c.lens)
    problem, x = replace(solved.problem, points=None, edges=None).start(turned)
    x[TABLE] = solved.x[TABLE]
    return Solved(problem, x, solved.covariance, solved.cost)
