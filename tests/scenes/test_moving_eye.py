"""The moving eye: smooth, the true line at rest on the table, and the numbers those of the shot."""

from __future__ import annotations

import math

import numpy as np
import pytest

from aimgeo.camera import pixels
from aimgeo.shot import place_shot
from aimgeo.tables import TABLES
from scenes.board import Board, Line
from scenes.board.brief import Brief, BriefStep, EyeSpec, MeasureText, Output, Subject
from scenes.kinds import moving_eye

TABLE = TABLES["9ft"]
ON = EyeSpec("on", 600.0, 0.0, 300.0)
LEFT = EyeSpec("left", 600.0, 5.0, 300.0)
STANDING = EyeSpec("standing", 800.0, 0.0, 900.0)


def a_subject(*eyes: EyeSpec) -> Subject:
    shot = place_shot((500.0, 150.0), TABLE.pocket("foot-left").centre_mm, math.radians(22), 640.0)
    halves = tuple(Subject("moving-eye", TABLE, "foot-left", shot, None, eye) for eye in eyes)
    return Subject("moving-eye", TABLE, "foot-left", shot, None, eyes[0], companions=halves)


def a_board(subject: Subject, size: tuple[int, int], fps: int) -> Board:
    output = Output(*size, (fps, 1))
    steps = tuple(
        BriefStep(
            s.name,
            s.name,
            "",
            output.frames(s.draws_s),
            tuple(MeasureText(k, k, "1", "mm") for k, _ in s.measures),
        )
        for s in moving_eye.outline(subject)
    )
    return moving_eye.board(Brief("clip", subject, output, steps))


@pytest.mark.parametrize("eyes", [(ON, EyeSpec("far left", 600.0, 60.0, 300.0)), (STANDING, ON)])
def test_ball_centres_change_their_speed_by_less_than_a_quarter_pixel_a_frame(eyes: tuple[EyeSpec, ...]) -> None:
    board = a_board(a_subject(*eyes), (1920, 1080), 60)
    balls = [e.shape.centre_mm for e in board.elements if e.id in ("cue_ball", "object_ball")]  # type: ignore[union-attr]
    for pane in board.panes:
        px = np.array([pixels(pane.projection(f), np.array(balls)) for f in range(board.frames)])
        if pane.id == "eye":
            assert np.abs(np.diff(px, 2, axis=0)).max() < 0.25
        assert np.ptp(px, axis=0).max() > 20, "the eye does move"


def test_an_eye_5_mm_off_judges_0_48_degrees_off_from_600_mm_behind() -> None:
    """atan(5 / 600) = 0.4775 degrees: elementary geometry."""
    steps = moving_eye.outline(a_subject(ON, LEFT))
    off = [dict(s.measures)["judged_off"].value for s in steps]
    assert off[0] == pytest.approx(0, abs=1e-12)
    assert off[1] == pytest.approx(math.atan2(5, 600), rel=1e-12)
    assert dict(steps[1].values)["judged_side"].value == "right"


def test_the_judged_line_runs_from_the_cue_ball_away_from_the_eye() -> None:
    subject = a_subject(ON, LEFT)
    board = a_board(subject, (640, 360), 10)
    shapes = {e.id: e.shape for e in board.elements}
    assert "judged.0" not in shapes, "an eye on the line judges it true"
    line = shapes["judged.1"]
    assert isinstance(line, Line)
    P = board.panes[0].projection(board.frames - 1)
    eye = -np.linalg.solve(P[:, :3], P[:, 3])
    start, end = np.array(line.points_mm)
    a, b = (start - eye)[:2], (end - start)[:2]
    assert a[0] * b[1] - a[1] * b[0] == pytest.approx(0, abs=1e-6)


def test_one_eye_alone_cannot_move() -> None:
    with pytest.raises(ValueError, match="two eyes"):
        moving_eye.outline(a_subject(ON))
