"""Every case with its own sentence: what is told, where, and that nothing is left half written."""

from __future__ import annotations

import json
import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from aimgeo.camera import camera, project
from aimgeo.landmarks import MEASURES, NAMED, measures_of
from aimgeo.tables import TABLES
from lessons.commands.match import command
from lessons.footage.answer import Planned, exchanged
from lessons.footage.balls import FoundBall
from lessons.footage.clicked_balls import check_apart
from lessons.footage.fit import Rim, solve
from lessons.footage.match import match
from lessons.footage.matched import Clicks, Match, NoMatch
from lessons.footage.mistaken import without_mistaken
from lessons.footage.view import SoFar, viewed
from tests.lessons.footage.clicks import still
from tests.lessons.footage.clips import film, rolled, shifted

FAR = ["foot-left-long", "foot-right-short", "side-left-foot", "sight-right-5", "sight-left-6"]


def run(path: Path, *more: str) -> tuple[int, str]:
    """Exit code and all that was printed."""
    done = CliRunner().invoke(command, [str(path), *more])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exc_info
    return done.exit_code, done.output


def read(path: Path) -> np.ndarray:
    """A picture, blue, green, red."""
    picture = cv2.imread(str(path))
    assert picture is not None
    return picture


def seen(
    names: list[str],
    table: str = "9ft",
    eye: tuple[float, float, float] = (-2300, 500, 1000),
    error_px: float = 0.7,
) -> dict[str, tuple[float, float]]:
    """Picks of a table that is exactly as specified, by a camera without a lens: 1280 x 720."""
    view = camera(eye, (200.0, 0.0, 0.0), np.radians(45), 1280, 720)
    measures = np.array([measures_of(TABLES[table])[name].mm for name in MEASURES])
    px = project(view, np.stack([NAMED[name] for name in names]) @ measures)
    px = px + np.random.default_rng(3).normal(0, error_px, px.shape)
    return {name: (float(x), float(y)) for name, (x, y) in zip(names, px, strict=True)}


def by_picks(points: dict[str, tuple[float, float]], table: str = "9ft") -> Match:
    """The match by picks alone."""
    return match(Clicks(TABLES[table], points), None, (1280, 720))


SPREAD = ["foot-left-long", "foot-right-short", "sight-left-3", "sight-right-6", "side-right-foot", "sight-foot-2"]


def test_without_points_a_table_that_is_not_found_is_said(tmp_path: Path) -> None:
    shot = still("turned-35")
    path = shot.match_file(tmp_path, {}, foot=[600, 300])
    path.with_name("shot.match.json").write_text("older")
    code, said = run(path)
    assert code == 1
    assert "the table was not found by itself" in said
    assert "click four points" in said
    assert path.with_name("shot.match.json").read_text() == "older"
    assert not path.with_name("shot.match.jpg").exists()


def test_found_without_a_click_towards_the_foot_it_asks_for_one(tmp_path: Path) -> None:
    code, said = run(still("phone-26").match_file(tmp_path, {}))
    assert code == 1
    assert "add `foot: [x, y]`" in said


def test_points_along_one_rail() -> None:
    with pytest.raises(NoMatch, match=r"all points lie along the left rail; the far side is open to ± \d+ px"):
        by_picks(seen(["sight-left-1", "sight-left-3", "sight-left-5", "sight-left-7", "side-left-foot"]))


def test_left_and_right_exchanged() -> None:
    points = seen(SPREAD)
    other = {"left": "right", "right": "left"}
    mirrored = {"-".join(other.get(part, part) for part in name.split("-")): at for name, at in points.items()}
    with pytest.raises(NoMatch, match="only from under the table"):
        by_picks(mirrored)


def test_a_pick_that_the_others_contradict_is_left_out_without_the_picture() -> None:
    points = seen([*SPREAD, "side-left-head", "sight-left-6"])
    x, y = points["sight-left-6"]
    made = by_picks({**points, "sight-left-6": (x + 70, y)})
    assert made.points["sight-left-6"].kind == "wrong"
    assert any("sight-left-6 lies " in warned.sentence for warned in made.warnings)


@pytest.mark.parametrize("wrong", ["", "sight-left-6"])
def test_the_other_picks_tell_how_careful_the_hand_is_by_which_one_is_judged(wrong: str) -> None:
    """13 px of 1280 off, as 20 are of 1920."""
    points = seen([*SPREAD, "side-left-head", "sight-left-6"])
    made = by_picks({name: (x, y + 13 * (name == wrong)) for name, (x, y) in points.items()})
    assert [name for name, point in made.points.items() if point.kind == "wrong"] == ([wrong] if wrong else [])


def test_head_and_foot_exchanged(tmp_path: Path) -> None:
    shot = still("behind-35")
    picture = read(shot.picture).astype(np.float32)
    other = {"left": "right", "right": "left", "head": "foot", "foot": "head"}

    def turned(name: str) -> str:
        parts = [other.get(part, part) for part in name.split("-")]
        if parts[0] == "sight":
            parts[2] = str((8 if parts[1] in ("left", "right") else 4) - int(parts[2]))
        return "-".join(parts)

    cue, obj = (tuple(at) for at in shot.balls_px(0.0).tolist())
    points = {turned(name): at for name, at in shot.picks(FAR).items()}
    made = match(Clicks(TABLES["9ft"], points, cue, obj), picture, shot.size_px)
    places = tuple(np.array(at) for at in shot.truth["balls_mm"])
    (warned,) = exchanged(made, Planned(30.0, 800.0, (places[0], places[1])))
    assert "if head and foot are exchanged" in warned.sentence


def test_another_size_of_table_fits_better() -> None:
    names = [*SPREAD, "foot-left-short", "foot-right-long", "side-left-foot", "side-left-head", "sight-foot-1"]
    with pytest.raises(NoMatch, match="Is `table: 7ft` meant"):
        by_picks(seen(names, "7ft", (-1500, 300, 700), 0.1), "10ft")


def test_points_that_fit_no_table() -> None:
    draw = np.random.default_rng(4)
    points = {
        name: (float(x), float(y)) for name, (x, y) in zip(SPREAD, draw.uniform(60, 660, (6, 2)), strict=True)
    }
    with pytest.raises(
        NoMatch, match=r"the points fit no table \((they are missed by \d+ px|no camera sees them so)\)"
    ):
        by_picks(points)


def test_a_pick_that_draws_the_camera_to_itself_is_judged_by_a_fit_without_it() -> None:
    """Eight picks; one is 40 px off, and met by the fit with it to within 20."""
    size, names = (1920, 1080), (*FAR, "head-left-long", "head-right-long", "sight-head-2")
    view = camera((-1800, 600, 1400), (0, 0, 0), np.radians(60), *size)
    measures = np.array([measures_of(TABLES["9ft"])[name].mm for name in MEASURES])
    at = dict(zip(names, project(view, np.stack([NAMED[name] for name in names]) @ measures), strict=True))
    for wrong in ("", "head-left-long"):
        moved = {name: (float(x) + 40.0 * (name == wrong), float(y)) for name, (x, y) in at.items()}
        told = viewed(Clicks(TABLES["9ft"], moved), None, size)
        begun, x = replace(told.problem, points=told.picks).start(view)
        so_far = SoFar(solve(begun, x), told.picks)
        freed = without_mistaken(told, so_far)
        assert freed.wrong == ({wrong} if wrong else set())
        assert len(freed.picks.at_px) == len(names) - len(freed.wrong)
        assert [one.at for one in freed.warnings] == ([("points", wrong)] if wrong else [])


@pytest.mark.parametrize("balls", [True, False])
def test_a_wrong_size_is_said_though_the_sights_are_met(balls: bool) -> None:
    shot = still("behind-35")
    cue, obj = (tuple(at) for at in shot.balls_px().tolist())
    clicks = Clicks(TABLES["8ft"], shot.picks(6, 2.0), *((cue, obj) if balls else ()))
    with pytest.raises(NoMatch, match="Is `table: 9ft` meant") as refused:
        match(clicks, read(shot.picture).astype(np.float32), shot.size_px)
    assert ("the balls would be 5" in refused.value.sentence) == balls


@pytest.mark.parametrize("told", ["7ft", "8ft-pro", "10ft"])
def test_balls_are_looked_for_as_large_as_they_are_whatever_size_is_told(told: str) -> None:
    """Four rough picks fit all sizes nearly alike; the balls of this still are 57 mm across on a 9 ft table."""
    shot = still("action-13")
    cue, obj = (tuple(at) for at in shot.balls_px()[:2].tolist())
    picture = read(shot.picture).astype(np.float32)
    clicks = Clicks(TABLES[told], shot.picks(4, 6.0, seed=5), cue, obj)
    try:
        said = [one.sentence for one in match(clicks, picture, shot.size_px).warnings]
    except NoMatch as error:
        said = [error.sentence]
    assert any("table better. Is `table: " in one for one in said)


def test_the_edge_of_a_shadow_is_no_ball_of_another_size() -> None:
    """On a 7 ft table the cue ball would be as large as its shadow reaches: edges there are many, and faint."""
    shot = still("behind-35")
    names = ("sight-foot-2", "sight-right-1", "sight-left-2", "sight-right-2")
    cue, obj = (tuple(at) for at in shot.balls_px().tolist())
    clicks = Clicks(TABLES["7ft"], {name: tuple(shot.truth["points_px"][name]) for name in names}, cue, obj)
    with pytest.raises(NoMatch, match="Is `table: 9ft` meant"):
        match(clicks, read(shot.picture).astype(np.float32), shot.size_px)


def test_locked_on_too_few_sights() -> None:
    shot = still("behind-35")
    picture = read(shot.picture)
    sights = [name for name in shot.visible() if name.startswith("sight")]
    for name in sights[4:]:  # the wood beside it in each one's place
        x, y = shot.visible()[name].astype(int)
        picture[y - 10 : y + 11, x - 10 : x + 11] = np.median(picture[y - 10 : y + 11, x + 11 : x + 14], (0, 1))
    with pytest.raises(NoMatch, match=r"not locked: [3-7] of 1\d sights found .* within ± \d+ px"):
        match(Clicks(TABLES["9ft"], shot.picks(FAR[:4], 1.0)), picture.astype(np.float32), shot.size_px)


def test_few_sights_are_said() -> None:
    shot = still("behind-35")
    picture = read(shot.picture)
    sights = [name for name in shot.visible() if name.startswith("sight")]
    for name in sights[::3]:  # the wood beside it in each one's place
        x, y = shot.visible()[name].astype(int)
        picture[y - 10 : y + 11, x - 10 : x + 11] = np.median(picture[y - 10 : y + 11, x + 11 : x + 14], (0, 1))
    made = match(Clicks(TABLES["9ft"], shot.picks(8, 1.0)), picture.astype(np.float32), shot.size_px)
    assert made.is_locked
    assert made.sights < 0.7 * made.sights_in_frame
    assert any(re.match(r"only \d+ of 1\d sights were found", warned.sentence) for warned in made.warnings)


def test_no_sights_to_lock_on_is_said_with_how_far_places_are_open() -> None:
    shot = still("behind-35")
    flat = np.full((*shot.size_px[::-1], 3), 90, np.float32)
    made = match(Clicks(TABLES["9ft"], shot.picks(8, 1.0)), flat, shot.size_px)
    assert not made.is_locked
    (warned,) = made.warnings
    assert "not locked: no sight was found" in warned.sentence
    assert "drawn places are within ±" in warned.sentence


def test_straight_down() -> None:
    names = ["sight-left-3", "sight-left-5", "sight-right-3", "sight-right-5", "side-left-head", "side-right-foot"]
    view = camera((0, 0, 2200), (0, 0, 0), np.radians(45), 1280, 720, up_when_plumb=(0.0, 1.0))
    measures = np.array([measures_of(TABLES["9ft"])[name].mm for name in MEASURES])
    px = project(view, np.stack([NAMED[name] for name in names]) @ measures)
    made = by_picks({name: (float(x), float(y)) for name, (x, y) in zip(names, px, strict=True)})
    assert any("looking straight down" in warned.sentence for warned in made.warnings)
    flat = np.full((720, 1280, 3), 90, np.float32)
    with pytest.raises(
        NoMatch, match="from straight above few points do not tell how the camera leans; click 8 or more"
    ):
        match(made.clicks, flat, (1280, 720))


def test_low_and_close() -> None:
    points = seen([*SPREAD, "sight-foot-1", "sight-foot-3"], eye=(-2000, 100, 160))
    there = {name: at for name, at in points.items() if 0 < at[0] < 1280 and 0 < at[1] < 720}
    made = match(Clicks(TABLES["9ft"], there, cue=(640.0, 380.0)), None, (1280, 720))
    assert any("a millimetre along the view is" in warned.sentence for warned in made.warnings)


@pytest.mark.parametrize(
    ("ball", "sentence"),
    [
        ([900.0, 600.0], "no ball outline here (only "),
        ([380.0, 620.0], "inside the cushion"),
        ([800.0, 60.0], "no ball can lie here"),
    ],
)
def test_a_ball_that_is_not_there(tmp_path: Path, ball: list[float], sentence: str) -> None:
    shot = still("behind-35")
    cue, obj = shot.balls_px().tolist()
    path = shot.match_file(tmp_path, shot.picks(FAR), balls={"cue": cue, "object": obj, "others": [ball]})
    code, said = run(path)
    assert code == 1
    # any of the sentences: which one depends on what the click's surroundings show
    assert any(known in said for known in (sentence, "no ball outline here", "inside the cushion"))
    assert "shot.yaml:" in said


def test_two_clicks_on_one_ball(tmp_path: Path) -> None:
    shot = still("phone-26")
    cue, obj, other = shot.balls_px().tolist()
    twice = [other, [other[0] + 4, other[1] - 3]]
    path = shot.match_file(tmp_path, shot.picks(6, 1.0), balls={"cue": cue, "object": obj, "others": twice})
    code, said = run(path)
    assert code == 1
    assert "the first and second of `others` are the same ball; click on each ball once." in said


def test_the_cue_ball_clicked_as_another_ball_too(tmp_path: Path) -> None:
    shot = still("turned-35")
    cue, obj = shot.balls_px().tolist()
    balls = {"cue": cue, "object": obj, "others": [[cue[0] + 4, cue[1] + 2]]}
    code, said = run(shot.match_file(tmp_path, shot.picks(6, 1.0), balls=balls))
    assert code == 1
    assert "this click and the cue ball's are the same ball" in said


def test_two_balls_nearer_than_a_diameter() -> None:
    def ball(x: float) -> FoundBall:
        none = np.zeros(0)
        return FoundBall(np.array([x, 0.0, 28.575]), Rim(none, none, none, none, none, none), 1.0, 14.0)

    solved = by_picks(seen(SPREAD)).solved
    roles: list[Any] = [("object", 0, (0.0, 0.0)), ("others", 1, (0.0, 0.0))]
    with pytest.raises(
        NoMatch, match="this ball and the object ball would be 40 mm apart, nearer than a diameter"
    ) as told:
        check_apart(solved, roles, [ball(0.0), ball(40.0)])
    assert told.value.at == ("balls", "others", 1)
    check_apart(solved, roles, [ball(0.0), ball(56.0)])  # touching, and measured a little too near


def test_another_shape_of_picture_than_the_points_were_picked_on(tmp_path: Path) -> None:
    shot = still("behind-35")
    code, said = run(shot.match_file(tmp_path, shot.picks(FAR), picked_on="1280 x 800"))
    assert code == 1
    assert "points were picked on 1280 x 800, the footage is 1600 x 900" in said


def test_points_picked_on_a_smaller_picture_are_scaled(tmp_path: Path) -> None:
    shot = still("behind-35")
    half = {name: (x / 2, y / 2) for name, (x, y) in shot.picks(FAR).items()}
    balls = (shot.balls_px() / 2).tolist()
    path = shot.match_file(tmp_path, half, picked_on="800 x 450", balls={"cue": balls[0], "object": balls[1]})
    code, said = run(path)
    assert code == 0, said


@pytest.mark.parametrize(
    ("by", "keys", "sentence"),
    [
        (
            0.4,
            {},
            "shot.yaml:3:12: the points fit if they were picked on 640 x 360, not 1600 x 900; write `pick",
        ),
        (
            1.0,
            {"picked_on": "1920 x 1080"},
            "the points fit if they were picked on the footage's own 1600 x 900; remove",
        ),
        (
            1.0,
            {"lens": {"focal": "85 mm"}},
            "without it they fit, and tell a focal length of 26 mm. Write the full-frame",
        ),
    ],
)
def test_what_keeps_points_from_fitting_is_found(by: float, keys: dict, sentence: str, tmp_path: Path) -> None:
    shot = still("phone-26")
    picks = {name: (by * x, by * y) for name, (x, y) in shot.picks(7, 1.0).items()}
    cue, obj, _ = (by * shot.balls_px()).tolist()
    path = shot.match_file(tmp_path, picks, balls={"cue": cue, "object": obj}, **keys)
    code, said = run(path)
    assert code == 1
    assert sentence in said


@pytest.mark.parametrize(
    ("keys", "sentence"),
    [
        ({"points": {"sight-left-4": [5, 5]}}, "unknown point 'sight-left-4'"),
        ({"points": {"sight-left-3": [5, 5000]}}, "lies outside the picture"),
        ({"points": {"sight-left-3": ["nan", 5]}}, "not finite"),
        ({"points": {"sight-left-3": [".inf", 5]}}, "not finite"),
        ({"points": {"sight-left-3": [5]}}, "needs two numbers"),
        ({"plan": {"lesson": "gone.yaml", "clip": "x"}}, "there is no lesson 'gone.yaml' beside this file"),
        ({"table": "11ft"}, "table is '11ft'"),
        ({"footge": "x"}, "unknown key 'footge'; did you mean 'footage'?"),
        ({"footage": "gone.mov"}, "there is no footage 'gone.mov'"),
        ({"footage": "shot.yaml"}, "cannot be read as a clip or a picture"),
        ({"at": "soon"}, "'soon' is no moment"),
        ({"foot": [1, 2], "head": [3, 4]}, "one click is enough"),
        ({"plan": {"cut": -30, "side": "left"}}, "a cut has no sign; the side is said by 'side'"),
        ({"plan": {"cut": 30}}, "needs 'lesson' and 'clip', or 'cut', 'side' and 'distance'"),
        ({"plan": {"cut": 30, "side": "left", "distance": "20 mm"}}, "balls touch at 57.15"),
        (
            {"plan": {"cut": 30, "side": "left", "distance": "80 cm", "object": ["5 m", "0 mm"]}},
            "lie 3759 mm beyond",
        ),
        ({"plan": "demo.yaml"}, "write {lesson: FILE, clip: NAME}, or {cut: 30, side: left, distance: 800 mm}"),
        ({"lens": "26 mm"}, "write its focal length as on full frame: {focal: 26 mm}"),
        ({"lens": {"focal": 26}}, "'26' has no unit; write '26 mm'"),
        ({"measured": {"corner_mouth": "118 cm"}}, "corner mouth is 1180 mm; a 9ft table has about 115.9."),
        ({"ball": "57.15 cm"}, "a ball is 40 to 75 mm across, not 571.5; check the unit."),
        ({"ball": {"cue": [900, 600]}}, "ball is the balls' diameter, such as 57.15 mm; the clicks on them stand"),
        ({"balls": {"others": [900, 600]}}, "balls.others is one place; write a list of places, [[900, 600]]."),
        (
            {"points": {n: [2000, 5] for n in FAR}},
            "5 clicks lie outside the picture, which is 1600 x 900. If they were",
        ),
        (
            {"footage": "Behind-35.JPG"},
            "there is no footage 'Behind-35.JPG' beside this file; did you mean 'behind-35.jpg'?",
        ),
        ({"footage": "."}, "is a folder; name the clip or the still in it."),
    ],
)
def test_faults_of_the_file_are_told_with_their_place(tmp_path: Path, keys: dict, sentence: str) -> None:
    shot = still("behind-35")
    code, said = run(shot.match_file(tmp_path, shot.picks(FAR), **keys))
    assert code == 1
    assert sentence in said
    assert f"{tmp_path / 'shot.yaml'}:" in said


def test_a_file_that_is_not_there_does_not_stop_the_others(tmp_path: Path) -> None:
    shot = still("turned-35")
    path = shot.match_file(tmp_path, shot.picks(6, 0.5))
    empty = tmp_path / "empty.yaml"
    empty.write_text("")
    code, said = run(tmp_path / "gone.yaml", str(empty), str(path))
    assert code == 1
    assert "gone.yaml: there is no such file; check the name." in said
    assert "empty.yaml:1:1: is empty; a match file needs `footage`." in said
    assert path.with_name("shot.match.json").exists()


def clip_file(tmp_path: Path, **keys: object) -> Path:
    """A match file for a clip, beside it."""
    shot = still("turned-35")
    path = shot.match_file(tmp_path, shot.picks(6, 0.5), footage="shot.mp4")
    data = json.loads(path.read_text()) | keys
    path.write_text(json.dumps(data, indent=1))
    return path


def test_a_knocked_camera_is_told_with_its_frame(tmp_path: Path) -> None:
    picture = read(still("turned-35").picture)
    film(tmp_path / "shot.mp4", picture, 32, lambda p, k: shifted(p, 3.4, 0.0) if k < 4 or k >= 25 else p)
    code, said = run(clip_file(tmp_path, at="0.5 s"))
    assert code == 0, said
    assert re.search(r"the picture moves by 3\.[2-6] px at frame 25; the match holds up to there", said)
    assert "the camera stands still only from frame 4 on; the match holds from there" in said


def test_a_moment_after_the_end_is_told_with_the_last_one(tmp_path: Path) -> None:
    film(tmp_path / "shot.mp4", read(still("turned-35").picture), 6)
    code, said = run(clip_file(tmp_path, at="3 s"))
    assert code == 1
    assert "the footage ends before that; its last frame is at 0.17 s" in said


def test_balls_that_move_at_the_moment_are_told_with_when_they_rest(tmp_path: Path) -> None:
    shot = still("turned-35")
    picture = read(shot.picture)
    x, y = shot.balls_px(0.0)[0]
    film(tmp_path / "shot.mp4", picture, 40, lambda p, k: rolled(p, (x, y), 14, (3 * k, k)) if k < 12 else p)
    path = clip_file(tmp_path, at="0.2 s")
    code, said = run(path)
    assert code == 1
    assert re.search(
        r"shot.yaml:\d+:\d+: the cue ball moves at 0.2 s; it lies still from 0\.[45] s to 1\.[23] s", said
    )
    assert not path.with_name("shot.match.json").exists()
    # the same clip, once it lies: lines begin with that
    path.write_text(path.read_text().replace("0.2 s", "0.9 s"))
    code, said = run(path)
    assert code == 0, said
    assert re.search(r"the balls lie in their places only from frame 1[0-4] on; lines begin there", said)
    told = json.loads(path.with_name("shot.match.json").read_text())
    assert told["holds_from_frame"] in range(10, 15)
    assert told["fades_from_frame"] is None


def test_a_ball_that_comes_to_lie_where_it_was_clicked_is_told_with_when(tmp_path: Path) -> None:
    shot = still("turned-35")
    x, y = shot.balls_px(0.0)[0].round().astype(int).tolist()
    r = 26

    def bare(picture: np.ndarray, k: int) -> np.ndarray:
        """The cloth beside the ball in the ball's place, up to a frame."""
        if k < 16:
            picture[y - r : y + r, x - r : x + r] = picture[y - r : y + r, x + r : x + 3 * r]
        return picture

    film(tmp_path / "shot.mp4", read(shot.picture), 40, bare)
    code, said = run(clip_file(tmp_path))
    assert code == 1
    assert re.search(r"shot.yaml:\d+:\d+: no ball outline here.* write `at: 0\.[67] s`", said)


def test_the_overlay_fades_from_the_frame_on_which_a_ball_leaves(tmp_path: Path) -> None:
    shot = still("turned-35")
    picture = read(shot.picture)
    x, y = shot.balls_px(0.0)[0]
    film(
        tmp_path / "shot.mp4", picture, 40,
        lambda p, k: rolled(p, (x, y), 14, (6 * (k - 25), 0)) if k > 25 else p, timecode="01:02:03:04",
    )  # fmt: skip
    path = clip_file(tmp_path)
    code, said = run(path)
    assert code == 0, said
    told = json.loads(path.with_name("shot.match.json").read_text())
    assert told["fades_from_frame"] in (26, 27, 28)
    assert (told["frames"], told["rate"], told["timecode"]) == (40, [30000, 1001], "01:02:03:04")


def test_what_is_not_installed_is_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from importlib import util

    real = util.find_spec
    monkeypatch.setattr(util, "find_spec", lambda name, *more: None if name == "cv2" else real(name, *more))
    code, said = run(still("turned-35").match_file(tmp_path, {}))
    assert code == 1
    assert "pip install 'aimgeo[footage]'" in said


def test_a_folder_is_searched_for_match_files(tmp_path: Path) -> None:
    (tmp_path / "lesson.yaml").write_text("title: T\nclips: []\n")
    code, said = run(tmp_path)
    assert code == 1
    assert "no match file" in said
    shot = still("turned-35")
    shot.match_file(tmp_path, shot.picks(6, 0.5))
    assert run(tmp_path)[0] == 0


def test_a_match_file_that_cannot_be_read_is_not_passed_over_in_a_folder(tmp_path: Path) -> None:
    (tmp_path / "lesson.yaml").write_text("title: T\nclips:\n  - kind: on-footage\n    footage: [shot.yaml\n")
    (tmp_path / "shot.yaml").write_text("footage: shot.jpg\npoints: {sight-left-3: [5, 5}\n")
    code, said = run(tmp_path)
    assert code == 1
    assert "shot.yaml:2:" in said
    assert "lesson.yaml" not in said


def test_reading_a_match_file_imports_nothing_heavy() -> None:
    import subprocess

    code = "import lessons.footage.model, sys; print(*{n.partition('.')[0] for n in sys.modules})"
    names = set(
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    )
    assert not {"cv2", "scipy", "av", "PIL", "OpenEXR"} & names
