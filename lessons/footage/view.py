"""One picture while it is matched: what is told and seen of it, and what is found so far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from aimgeo.landmarks import MEASURES, NAMED
from aimgeo.vectors import Array
from lessons.footage.balls import FoundBall, shades
from lessons.footage.fit import Edges, Problem, Seen, Solved
from lessons.footage.matched import Clicks, Warned
from lessons.footage.picture import NO_SPOTS, Picture, Spots, spots, whiteness


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """What is told and seen: the clicks, the named picks among them in the order of their names, the picture in
    the forms in which it is looked at (None: by its picks alone), its bright spots.
    """

    clicks: Clicks
    size_px: tuple[int, int]
    problem: Problem
    names: tuple[str, ...]
    picks: Seen
    spots: Spots
    picture: Picture | None
    shade: Picture | None
    white: Picture | None

    @property
    def scale(self) -> float:
        """How much larger the picture is than one 1920 wide."""
        return max(self.size_px) / 1920


@dataclass(frozen=True, slots=True, eq=False)
class SoFar:
    """What is found: the camera; the picks that are kept, and those that are wrong; whether the sights carry it,
    or what is said where they don't; then the sights themselves, lines, the cloth's spots, balls.
    """

    solved: Solved
    picks: Seen
    wrong: frozenset[str] = frozenset()
    is_locked: bool = True
    sights_said: str = ""
    warnings: tuple[Warned, ...] = ()
    sights: frozenset[str] = frozenset()
    edges: Edges | None = None
    cloth_spots: Mapping[str, Array] = field(default_factory=dict)
    balls: tuple[FoundBall, ...] = ()

    def said(self, *more: Warned) -> SoFar:
        """The same with more to know of it."""
        return replace(self, warnings=(*self.warnings, *more))

    def sure(self) -> list[Seen]:
        """What is seen of the table whatever else is found: the picks that are kept."""
        return [self.picks] if len(self.picks.at_px) else []


def viewed(clicks: Clicks, picture: Picture | None, size_px: tuple[int, int]) -> View:
    """A picture as it is looked at."""
    focal = None if clicks.focal_mm is None else clicks.focal_mm / 36 * max(size_px)
    problem = Problem(size_px, clicks.ball_diameter_mm / 2, clicks.priors(), focal_px=focal)
    names = tuple(sorted(clicks.points))
    picks = _picks(clicks, names)
    if picture is None:
        return View(clicks, size_px, problem, names, picks, NO_SPOTS, None, None, None)
    return View(
        clicks, size_px, problem, names, picks, spots(picture), picture, shades(picture), whiteness(picture)
    )


def _picks(clicks: Clicks, names: tuple[str, ...]) -> Seen:
    at = np.array([clicks.points[name] for name in names], float).reshape(-1, 2)
    matrices = np.stack([NAMED[name] for name in names]) if names else np.zeros((0, 3, len(MEASURES)))
    return Seen(matrices, at, np.full(len(names), clicks.pick_px))
