"""Sights and lines that are looked for once the camera is nearly known: the truth is the stills' own."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from aimgeo.camera import camera, project
from aimgeo.landmarks import MEASURES, NAMED, backs, measures_of
from aimgeo.tables import TABLES
from lessons.footage.fit import Problem, Seen, solve
from lessons.footage.match import match
from lessons.footage.matched import Clicks
from lessons.footage.picture import Spots, whiteness
from lessons.footage.sights import glimpse, strays
from tests.lessons.footage.clicks import Still, still


def read(path: Path) -> np.ndarray:
    """A picture's colours."""
    picture = cv2.imread(str(path))
    assert picture is not None
    return picture


def without_sights(shot: Still) -> np.ndarray:
    """The picture with the wood beside it in each sight's place."""
    picture = read(shot.picture)
    for name in shot.visible():
        if name.startswith("sight"):
            x, y = shot.visible()[name].astype(int)
            picture[y - 10 : y + 11, x - 10 : x + 11] = np.median(
                picture[y - 10 : y + 11, x + 11 : x + 14], (0, 1)
            )
    return picture.astype(np.float32)


def off_px(shot: Still, picture: np.ndarray) -> tuple[float, bool]:
    """How far the farthest visible named point is drawn with eight picks; whether the sights were found."""
    made = match(Clicks(TABLES["9ft"], shot.picks(8, 1.0)), picture, shot.size_px)
    there = shot.visible()
    return max(float(np.hypot(*(made.points[n].at_px - there[n]))) for n in there), made.is_locked


def test_back_edges_lie_behind_the_noses_as_high_as_the_rail() -> None:
    measures = np.array([measures_of(TABLES["9ft"])[name].mm for name in MEASURES])
    ends = {name: (line @ measures)[[0, -1]] for name, line in backs(5).items()}
    assert np.allclose(ends["left-foot"][:, 1], 635 + 50.8)
    assert np.allclose(ends["right-head"][:, 1], -635 - 50.8)
    assert np.allclose(ends["foot"][:, 0], 1270 + 50.8)
    assert all(np.allclose(end[:, 2], 41.0) for end in ends.values())


def test_where_no_sight_is_seen_the_lines_of_cloth_and_wood_carry_the_camera() -> None:
    shot = still("behind-35")
    off, locked = off_px(shot, without_sights(shot))
    blank, _ = off_px(shot, np.full((*shot.size_px[::-1], 3), 90, np.float32))
    assert not locked
    assert off < min(2.5, blank)


def test_a_sight_is_seen_where_it_is_and_none_where_none_is() -> None:
    shot = still("behind-35")
    made = match(Clicks(TABLES["9ft"], shot.picks(8, 1.0)), read(shot.picture).astype(np.float32), shot.size_px)
    seen, bare = (whiteness(one) for one in (read(shot.picture).astype(np.float32), without_sights(shot)))
    names = [name for name in NAMED if name.startswith("sight") and name in shot.visible()]
    found = {name: one for name in names if (one := glimpse(seen, made.solved, name, 4.0)) is not None}
    assert len(found) > 0.7 * len(names)
    offs = [np.hypot(*(one.at_px - shot.visible()[name])) for name, one in found.items()]
    assert np.median(offs) < 0.3
    assert max(offs) < 1.0
    assert sum(glimpse(bare, made.solved, name, 4.0) is not None for name in names) <= 0.1 * len(names)


def test_a_lone_spot_where_any_could_be_taken_proves_no_rail() -> None:
    """All sights of one rail, and of the other one spot, or three: strewn spots lie 40 px apart on average."""
    size = (1280, 720)
    view = camera((200, -2600, 1500), (0, 0, 0), np.radians(50), *size)
    measures = np.array([measures_of(TABLES["9ft"])[name].mm for name in MEASURES])
    for count, expected in ((1, {"sight-right-5"}), (3, set())):
        names = [f"sight-left-{k}" for k in (1, 2, 3, 5, 6, 7)] + [f"sight-right-{k}" for k in (5, 3, 6)[:count]]
        names.sort()
        matrices = np.stack([NAMED[name] for name in names])
        at = project(view, matrices @ measures)
        strewn = np.random.default_rng(3).uniform((0, 0), size, (550, 2))
        found = Spots(np.concatenate([at, strewn]), np.full(len(names) + 550, 0.2), np.full(len(names) + 550, 4.0))
        errors = np.full(len(names), 0.2)
        begun, x = Problem(size, 28.575, measures_of(TABLES["9ft"]), Seen(matrices, at, errors)).start(view)
        solved = solve(begun, x)
        assert strays(solved, {name: k for k, name in enumerate(names)}, found, errors) == expected
