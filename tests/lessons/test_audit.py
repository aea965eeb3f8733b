"""The audit finds things where they are, says how far off they are, and can fail."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from aimgeo.camera import ball_outline
from aimgeo.vectors import Array
from lessons.cli import main
from lessons.rendering.audit import LIMIT_PX, audit_clip, audit_picture, ball_contour_px
from lessons.rendering.manifest import read_clip, stills
from scenes.board import Ball, Board, EyeCamera, Move, PlanCamera, Track, constant
from scenes.board.brief import Output
from scenes.draw.picture import picture as drawn
from scenes.film.film import Film
from scenes.film.perform import perform
from scenes.judge.shown import rolls, still_stretches
from tests.scenes.boards import eye_board, plan_board

GREY = np.array([0.2126, 0.7152, 0.0722])
"""Luma weights of ITU-R BT.709."""


def findings(board: Board, picture: Array | None = None) -> dict[str, float]:
    """Error by role at the board's end, of its own or another picture."""
    still = still_stretches(board)[-1]
    grey = (drawn(board, board.frames - 1) if picture is None else picture).astype(float) @ GREY
    found, _ = audit_picture(grey, stills([still])[0].panes)
    return {f"{f.role} {f.what}": f.error_px for f in found}


BOARDS = {
    "plan 360": plan_board(),
    "plan 1080": plan_board(1920, 1080),
    "thin cut": plan_board(1280, 720, cut_deg=60.0),
    "nearly straight": plan_board(1920, 1080, cut_deg=14.5),
    "upright": plan_board(1080, 1920),
    "eye left": eye_board(60.0, 1280, 720),
    "eye right": eye_board(-90.0, 1280, 720),
}


@pytest.mark.parametrize("name", BOARDS)
def test_everything_drawn_is_found_within_a_third_of_a_pixel(name: str) -> None:
    found = findings(BOARDS[name])
    assert {"cue_ball ball", "object_ball ball", "ghost_ball ball", "aim_line line"} <= set(found)
    assert max(found.values()) < 0.33, found


@pytest.mark.parametrize(("down", "right"), [(2, 0), (0, 2), (-1, 2)])
def test_a_shifted_picture_is_found_out(down: int, right: int) -> None:
    board = plan_board(1280, 720)
    shifted = np.roll(drawn(board, 39), (down, right), (0, 1))
    found = findings(board, shifted)
    expected = float(np.hypot(down, right))
    for ball in ("cue_ball ball", "object_ball ball", "ghost_ball ball"):
        assert found[ball] == pytest.approx(expected, abs=0.35)
    # the aim points straight up: only a shift to the side moves its line
    assert found["aim_line line"] == pytest.approx(abs(right), abs=0.25)


def test_a_scaled_ball_is_found_out() -> None:
    board = plan_board(1280, 720)
    bigger = tuple(replace(e, size=constant(1.03)) if e.id == "object_ball" else e for e in board.elements)
    found = findings(board, drawn(replace(board, elements=bigger), 39))
    radius_px = 720 / 5.4 / 2
    assert found["object_ball ball"] == pytest.approx(0.03 * radius_px, abs=0.3)
    assert found["cue_ball ball"] < 0.3


def test_what_is_told_but_not_drawn_is_missed() -> None:
    board = plan_board(1280, 720)
    bare = drawn(replace(board, elements=()), 39)
    assert all(np.isinf(e) for e in findings(board, bare).values())


def test_a_turned_line_is_found_out() -> None:
    board = plan_board(1280, 720)
    elements = []
    for e in board.elements:
        if e.id == "contact_line":
            shape: Any = e.shape
            (x, y, z), end = shape.points_mm
            e = replace(e, shape=replace(shape, points_mm=((x + 1.0, y - 1.0, z), end)))
        elements.append(e)
    found = findings(board, drawn(replace(board, elements=tuple(elements)), 39))
    assert LIMIT_PX < found["contact_line line"] < 4
    assert found["object_ball_line line"] < 0.3


@pytest.mark.parametrize(
    "camera",
    [
        PlanCamera(constant(10.0, -20.0, 0.4, 0.3)),
        EyeCamera(constant(-600.0, 80.0, 250.0, 0.0, 0.0, 28.0, 0.7)),
        EyeCamera(constant(-120.0, 40.0, 90.0, 0.0, 0.0, 28.0, 1.2)),
    ],
)
def test_the_audits_own_outline_agrees_with_the_conic(camera: PlanCamera | EyeCamera) -> None:
    P, centre = camera.projection((0, 0, 1280, 720), 0), np.array([5.0, 9.0, 28.575])
    points, conic = ball_contour_px(P, centre, 28.575), ball_outline(P, centre, 28.575)
    assert points is not None
    inner = np.linalg.solve(conic.axes_px, (points - conic.centre_px).T)
    np.testing.assert_allclose(np.linalg.norm(inner, axis=0), 1, atol=1e-9)


def test_an_outline_behind_the_camera_is_none() -> None:
    P = EyeCamera(constant(0.0, 0.0, 200.0, 500.0, 0.0, 28.0, 0.7)).projection((0, 0, 1280, 720), 0)
    assert ball_contour_px(P, np.array([-400.0, 0.0, 28.0]), 28.575) is None
    assert ball_contour_px(P, np.array([0.0, 0.0, 190.0]), 28.575) is None


# ------------------------------------------------------------------ written clips


def entry(board: Board, path: Path) -> dict[str, Any]:
    """The clip's manifest entry as far as the audit needs it."""
    return {
        "name": path.stem,
        "file": path.name,
        "kind": "build-up",
        "width_px": board.width_px,
        "height_px": board.height_px,
        "rate": list(board.rate),
        "frames": board.frames,
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "source": {"file": "lesson.yaml", "line": 3},
        "steps": [],
        "still": still_stretches(board),
        "rolls": rolls(board),
    }


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two written clips, of a plan and of an eye's view, and their manifest."""
    folder = tmp_path_factory.mktemp("clips")
    clips = []
    for name, board in (("plan", plan_board(rate=(24000, 1001))), ("eye", eye_board())):
        path = folder / f"{name}.mp4"
        perform(board, lambda path=path, board=board: Film(path, Output(640, 360, board.rate)))  # type: ignore[misc]
        clips.append(entry(board, path))
    manifest = {
        "schema": 1,
        "lesson": {"title": "A lesson", "identity": "a", "source": "lesson.yaml"},
        "made_with": {},
        "clips": clips,
    }
    (folder / "manifest.json").write_text(json.dumps(manifest))
    return folder


def changed(folder: Path, into: Path, change: Any) -> Path:
    """A copy of the folder with something done to its manifest."""
    into.mkdir()
    for path in folder.iterdir():
        (into / path.name).write_bytes(path.read_bytes())
    manifest = json.loads((into / "manifest.json").read_text())
    change(manifest["clips"])
    (into / "manifest.json").write_text(json.dumps(manifest))
    return into


def test_written_clips_pass(folder: Path) -> None:
    result = CliRunner().invoke(main, ["audit", str(folder)])
    assert result.exit_code == 0, result.output
    assert "2 clips, all within 1 px." in result.output
    first, second, *_ = result.output.splitlines()
    assert first.startswith("plan  0.")
    assert second.startswith("eye   0.")
    assert "6 balls" in first


def test_a_manifest_that_tells_another_place_fails(folder: Path, tmp_path: Path) -> None:
    def push(clips: list[dict[str, Any]]) -> None:
        for still in clips[0]["still"]:
            # two pixels to the right
            still["panes"][0]["projection"][0][3] += 2.0

    result = CliRunner().invoke(main, ["audit", str(changed(folder, tmp_path / "a", push))])
    assert result.exit_code == 1
    assert "plan  BEYOND: 2." in result.output
    assert "2 clips, 1 not as computed." in result.output


def test_a_ball_that_is_told_and_not_drawn_fails(folder: Path, tmp_path: Path) -> None:
    def add(clips: list[dict[str, Any]]) -> None:
        ball = clips[0]["still"][0]["panes"][0]["shows"]["balls"][0]
        x, y, z = ball["centre_mm"]
        clips[0]["still"][0]["panes"][0]["shows"]["balls"].append({**ball, "centre_mm": [x + 40, y + 70, z]})

    result = CliRunner().invoke(main, ["audit", str(changed(folder, tmp_path / "a", add))])
    assert result.exit_code == 1
    assert "plan  NOT FOUND: cue ball at frame 5" in result.output


def test_missing_and_broken_clips_are_told_in_sentences(folder: Path, tmp_path: Path) -> None:
    copy = changed(folder, tmp_path / "a", lambda clips: None)
    (copy / "plan.mp4").unlink()
    (copy / "eye.mp4").write_bytes((folder / "eye.mp4").read_bytes()[:3000])
    result = CliRunner().invoke(main, ["audit", str(copy)])
    assert result.exit_code == 1
    assert f"plan  missing: {copy / 'plan.mp4'} is not there; render the lesson again." in result.output
    assert f"eye   unreadable: {copy / 'eye.mp4'}: " in result.output
    assert "Traceback" not in result.output


def test_a_clip_of_another_size_or_length_is_told(folder: Path, tmp_path: Path) -> None:
    def change(clips: list[dict[str, Any]]) -> None:
        clips[0]["width_px"] = 1280
        clips[1]["still"][-1]["end_frame"] = 900

    result = CliRunner().invoke(main, ["audit", str(changed(folder, tmp_path / "a", change))])
    assert result.exit_code == 1
    assert "the picture is 640x360, not as the manifest says" in result.output
    assert "is missing; render the clip again" in result.output


def test_a_folder_without_a_manifest_is_told(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["audit", str(tmp_path)])
    assert result.exit_code == 1
    assert "manifest.json: there is no such file; render the lesson into this folder first." in result.output


def test_a_clip_without_anything_to_measure_is_told(folder: Path, tmp_path: Path) -> None:
    def empty(clips: list[dict[str, Any]]) -> None:
        for still in clips[0]["still"]:
            still["panes"] = []

    result = CliRunner().invoke(main, ["audit", str(changed(folder, tmp_path / "a", empty))])
    assert result.exit_code == 0
    assert "plan  nothing to measure" in result.output
    assert "2 clips: 1 within 1 px, in 1 there is nothing to measure." in result.output


# ------------------------------------------------------------------ balls that roll

ROLLS = range(12, 30)


def rolling(board: Board, off_mm: float = 0.0) -> Board:
    """The board whose object ball runs off ever slower, so far beside the way."""
    ways = []
    for frame in ROLLS:
        t = (frame + 1 - ROLLS.start) / len(ROLLS)
        ways.append((60 * (2 * t - t * t) + off_mm, 20 * (2 * t - t * t), 0.0))
    move = Move(ROLLS.start, ROLLS.stop, ways[-1], "linear", tuple(ways))
    elements = tuple(
        replace(e, offset_mm=Track((0.0, 0.0, 0.0), (move,)))
        if isinstance(e.shape, Ball) and e.role == "object_ball"
        else e
        for e in board.elements
        if e.role in ("cue_ball", "object_ball")
    )
    return replace(board, elements=elements)


def test_frames_of_a_roll_are_told_with_the_balls_that_roll() -> None:
    (told,) = rolls(rolling(plan_board()))
    assert (told["first_frame"], told["end_frame"]) == (ROLLS.start, ROLLS.stop)
    frames = [one["frame"] for one in told["pictures"]]
    assert (frames[0], frames[-1], len(frames)) == (ROLLS.start, ROLLS.stop - 1, 8)
    assert {b["role"] for one in told["pictures"] for pane in one["panes"] for b in pane["shows"]["balls"]} == {
        "object_ball"
    }


@pytest.mark.parametrize(("off_mm", "is_exact"), [(0.0, True), (8.0, False)])
@pytest.mark.parametrize("make", [plan_board, eye_board])
def test_a_rolling_ball_is_followed_in_decoded_frames(
    make: Any, off_mm: float, is_exact: bool, tmp_path: Path
) -> None:
    board, path = make(), tmp_path / "roll.mp4"
    drawn_board = rolling(board, off_mm)
    perform(drawn_board, lambda: Film(path, Output(640, 360, board.rate)))
    told = entry(rolling(board), path) | {"still": []}
    clip = read_clip(told)
    assert clip is not None
    audit = audit_clip(path, clip)
    assert {f.role for f in audit.findings} == {"object_ball"}
    assert len(audit.findings) == 8
    assert audit.is_exact is is_exact
