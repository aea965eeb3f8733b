"""Matched stills against their truth: the limits are those of the page that asks for the match."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from aimgeo.camera import project
from lessons.commands.match import command
from tests.lessons.footage.clicks import Still, still

NAMES = ("behind-35", "phone-26", "turned-35", "action-13")


def run(*paths: Path) -> tuple[int, str]:
    """Exit code and all that was printed."""
    done = CliRunner().invoke(command, [str(path) for path in paths])
    return done.exit_code, done.output


def answer(path: Path) -> dict:
    """The written answer."""
    return json.loads(path.with_name("shot.match.json").read_text())


def pixels(told: dict, points_mm: np.ndarray) -> np.ndarray:
    """Pixels by the written camera, as the page's formula says."""
    camera = told["camera"]
    w = points_mm - np.array(camera["eye_mm"])
    X, Y, Z = (w @ np.array(camera[k]) for k in ("right", "down", "forward"))
    x, y = X / Z, Y / Z
    rr = x * x + y * y
    bent = 1 + camera["lens"]["k1"] * rr + camera["lens"]["k2"] * rr**2
    return np.array(camera["principal_px"]) + camera["focal_px"] * np.stack([x * bent, y * bent], -1)


def cloth(shot: Still) -> np.ndarray:
    """Places of the cloth in the frame."""
    grid = np.stack(np.meshgrid(np.linspace(-1200, 1200, 9), np.linspace(-600, 600, 5)), -1).reshape(-1, 2)
    places = np.concatenate([grid, np.zeros((len(grid), 1))], -1)
    px = shot.project(places)
    return places[((px > 0) & (px < shot.size_px)).all(-1)]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("count", "error_px"), [(8, 1.0), (6, 2.0)])
def test_a_few_clicks_give_the_camera_and_the_balls(
    name: str, count: int, error_px: float, tmp_path: Path
) -> None:
    shot = still(name)
    path = shot.match_file(tmp_path, shot.picks(count, error_px))
    code, said = run(path)
    assert code == 0, said
    told = answer(path)
    places = cloth(shot)
    off = np.linalg.norm(pixels(told, places) - shot.project(places), axis=-1)
    assert off.max() < 2.5
    there = shot.visible()
    named = [np.hypot(*(np.array(told["points"][n]["at_px"]) - there[n])) for n in there]
    assert np.median(named) < 0.6
    assert max(named) < 3.0
    for place, ball in zip(shot.truth["balls_mm"], [*(told["balls"][r] for r in ("cue", "object"))], strict=False):
        assert np.hypot(*(np.array(ball["centre_mm"][:2]) - place)) < 6.0
        assert max(ball["error_mm"]) < 12.0


def test_no_clicks_but_one_towards_the_foot(tmp_path: Path) -> None:
    shot = still("phone-26")
    path = shot.match_file(tmp_path, {}, foot=shot.project([[1100.0, 0.0, 0.0]])[0].round().tolist())
    code, said = run(path)
    assert code == 0, said
    places = cloth(shot)
    assert np.linalg.norm(pixels(answer(path), places) - shot.project(places), axis=-1).max() < 2.5


def test_the_same_file_twice_gives_the_same_bytes(tmp_path: Path) -> None:
    shot = still("turned-35")
    path = shot.match_file(tmp_path, shot.picks(5, 1.0))
    written = [tmp_path / "shot.match.json", tmp_path / "shot.match.jpg"]
    run(path)
    first = [one.read_bytes() for one in written]
    run(path)
    assert [one.read_bytes() for one in written] == first


def test_the_camera_written_is_the_camera_that_draws(tmp_path: Path) -> None:
    from lessons.footage.matching import answer as matched

    shot = still("turned-35")
    path = shot.match_file(tmp_path, shot.picks(5, 1.0))
    made, _ = matched(path)
    run(path)
    places = cloth(shot)
    assert np.abs(pixels(answer(path), places) - project(made.match.camera, places)).max() < 1e-4


def test_a_sight_named_as_its_neighbour_is_told_and_left_out(tmp_path: Path) -> None:
    shot = still("behind-35")
    picks = shot.picks(["foot-left-long", "foot-right-short", "sight-right-5", "side-left-foot", "sight-left-6"])
    picks["sight-left-7"] = picks.pop("sight-left-6")
    path = shot.match_file(tmp_path, picks)
    code, said = run(path)
    assert code == 0
    assert "sight-left-7 lies" in said
    assert "exactly where sight-left-6 is; it was left out" in said
    assert answer(path)["points"]["sight-left-7"]["kind"] in ("wrong", "found")
