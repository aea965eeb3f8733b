"""Numbers, bands and rolling marks are on the balls where the true rotation has brought them, in decoded clips."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import av
import numpy as np
import pytest

from aimgeo.camera import ball_outline, eye_of, pixels
from aimgeo.running import Played, on_bed, play_softly
from aimgeo.tables import Table
from aimgeo.turning import after, matrix, run_turn, way_turn
from aimgeo.vectors import Array
from lessons.lesson.model import loads
from lessons.planning.plan import plan
from scenes.board import Ball, Board, Element, Pane, PlanCamera, constant
from scenes.board.brief import Output, Subject
from scenes.board.painted import DOT_PART, MARKS_LIE, paint_axes
from scenes.draw.picture import picture
from scenes.figure.roll import PACE
from scenes.film.film import Film
from scenes.film.forms import FORMS
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS

LESSON = """
title: Balls
output: {size: 1080p, rate: 30}
cuts: [35]
sides: left
distances: {near: 420 mm}
object_ball: {number: 11}
cue_ball: {marks: yes}
others:
  - {at: [-100 mm, -300 mm], number: 14}
  - {at: [850 mm, -180 mm], number: 5}
clips:
  - {kind: build-up, methods: ghost-ball, only: [roll]}
  - {kind: players-eye, methods: ghost-ball, only: [shot]}
"""
R = 28.575
FRAMES = (2, 6, 9, 15, 18, 21, 25, 30, 36)
"""Frames after the hit on which nothing covers the marks: sliding, with backspin; after the cut, rolling."""


@cache
def shown(kind: str) -> tuple[Board, Subject]:
    clip = next(c for c in plan(loads(LESSON)).clips if c.kind == kind)
    return CLIP_KINDS[kind].board(clip.brief), clip.brief.subject


def element(board: Board, id: str) -> Element:
    return next(e for e in board.elements if e.id == id)


def pane_of(board: Board, id: str) -> Pane:
    return next(p for p in board.panes if p.id == id)


def marks(turn: Array) -> list[Array]:
    """Where the six marks are after a turn."""
    return [sign * axis for axis in (matrix(turn) @ MARKS_LIE).T for sign in (1, -1)]


def first_of(board: Board) -> int:
    """The frame after the hit."""
    return next(m for m in element(board, "cue_ball").offset_mm.moves if m.through).first_frame


def cue_turn(subject: Subject, seconds: float) -> Array:
    """The rotation that the physics give, computed here from the shot and no board."""
    assert subject.shot is not None
    assert isinstance(subject.table, Table)
    played: Played = play_softly(subject.shot, subject.table, subject.others_mm)
    R = float(subject.shot.radius_mm)
    if seconds <= played.impact_s:
        return run_turn(played.before, np.array([seconds]), R)[0]
    bed = subject.table.length_mm / 2, subject.table.width_mm / 2
    way = on_bed(played.cue_after, bed, R, 5.0)
    hit = run_turn(played.before, np.array([played.impact_s]), R)[0]
    rolled_s = min(seconds - played.impact_s, played.cue_meets_s)  # up to a ball in its way it is followed
    return after(way_turn(way, np.array([rolled_s]), R)[0], hit)


def cap(pane: Pane, frame: int, centre: Array, R: float, way: Array) -> tuple[Array, float]:
    """The middle of a mark's picture in pixels, and how squarely it is seen (a cosine)."""
    P = pane.projection(frame)
    toward = eye_of(P) - centre if np.any(P[2, :3]) else np.array([0.0, 0.0, 1.0])
    toward = toward / np.linalg.norm(toward)
    side = np.cross(way, toward + 0.1)
    side /= np.linalg.norm(side)
    points = [
        way * np.sqrt(1 - r * r) + r * (np.cos(t) * side + np.sin(t) * np.cross(way, side))
        for r in DOT_PART * np.sqrt((np.arange(8) + 0.5) / 8)
        for t in np.arange(16) * np.pi / 8
    ]
    # equal parts of the surface fill a picture by how squarely they are seen
    shares = np.clip(np.array(points) @ toward, 0, None)
    at = shares @ pixels(P, centre + R * np.array(points)) / max(float(shares.sum()), 1e-9)
    return at, float(way @ toward)


def dark_middle(luma: Array, at: Array, reach: float) -> Array:
    """The middle of what is dark around a place."""
    y, x = np.mgrid[0 : luma.shape[0], 0 : luma.shape[1]] + 0.5
    near = np.hypot(x - at[0], y - at[1]) < reach
    light = np.percentile(luma[near], 90)
    weight = np.where(near, np.clip(0.6 * light - luma, 0, None), 0)
    return np.array([(weight * x).sum(), (weight * y).sum()]) / weight.sum()


def decoded(board: Board, frames: list[int], path: Path) -> list[Array]:
    """The luma of frames as the written clip shows them."""
    size = board.width_px, board.height_px
    film = Film(path, Output(*size, (30, 1)), FORMS["h264"], steps=())
    for frame in frames:
        rgb = picture(board, frame)[..., :3]
        film.show([((0, 0, *size), np.dstack([rgb, np.full(rgb.shape[:2], 255, np.uint8)]))])
    film.close()
    with av.open(str(path)) as clip:
        return [f.to_ndarray(format="gray").astype(float) for f in clip.decode(video=0)]


def test_rolling_marks_stand_where_the_true_rotation_has_them(tmp_path: Path) -> None:
    board, subject = shown("players-eye")
    pane, cue = pane_of(board, "eye"), element(board, "cue_ball")
    assert isinstance(cue.shape, Ball)
    first = first_of(board)
    frames = [first + k for k in FRAMES]
    seen = 0
    for frame, luma in zip(frames, decoded(board, frames, tmp_path / "clip.mp4"), strict=True):
        turn = cue_turn(subject, (frame - first + 1) * PACE / 30)
        assert np.allclose(matrix(cue.turn.at(frame)), matrix(turn), atol=1e-9)
        centre = np.add(cue.shape.centre_mm, cue.offset_mm.at(frame))
        outline = ball_outline(pane.projection(frame), centre, cue.shape.radius_mm)
        reach = DOT_PART * float(outline.mean_radius_px)
        for way in marks(turn):
            at, square = cap(pane, frame, centre, cue.shape.radius_mm, way)
            # a speck, a mark seen from the side, and one that the stick may cover, measure nothing
            is_low = frame - first < 10 and at[1] > outline.centre_px[1]
            if square < 0.65 or reach < 3.0 or is_low:
                continue
            assert np.linalg.norm(dark_middle(luma, at, 1.35 * reach) - at) < 0.3, (frame, at)
            seen += 1
    assert seen >= 7


@pytest.mark.parametrize("seconds", [0.05, 0.12, 0.3, 0.7])
def test_from_above_too(seconds: float) -> None:
    _, subject = shown("players-eye")
    turn = cue_turn(subject, seconds)
    camera = PlanCamera(constant(0.0, 0.0, 0.7, float(np.log(3.0))))
    pane = Pane("plan", (0.0, 0.0, 320.0, 240.0), "plan", camera, "cloth")
    ball = Element(
        "cue_ball", "cue_ball", Ball((5.0, -3.0, R), R, "cue", marks=True), ("plan",), turn=constant(*turn)
    )
    luma = picture(Board(320, 240, (30, 1), 1, (pane,), (ball,), ()), 0)[..., :3].astype(float) @ [
        0.2126,
        0.7152,
        0.0722,
    ]
    seen = [cap(pane, 0, np.array([5.0, -3.0, R]), R, way) for way in marks(turn)]
    squarely = [at for at, square in seen if square > 0.7]
    assert squarely
    for at in squarely:
        assert np.linalg.norm(dark_middle(luma, at, 20.0) - at) < 0.4


def test_a_number_faces_the_eye_and_goes_around_with_the_ball() -> None:
    board, subject = shown("players-eye")
    pane, ball = pane_of(board, "eye"), element(board, "object_ball")
    assert isinstance(ball.shape, Ball)
    rolls = next(m for m in ball.turn.moves if m.through)
    contact = next(k for k, value in enumerate(rolls.through) if value != (1.0, 0.0, 0.0, 0.0)) + rolls.first_frame
    seen = {}
    for name, frame in (("rests", rolls.first_frame - 1), ("rolls", contact + 4)):
        centre = np.add(ball.shape.centre_mm, ball.offset_mm.at(frame))
        axes = paint_axes(ball, pane, frame)
        toward = eye_of(pane.projection(frame)) - centre
        seen[name] = float(axes[:, 0] @ toward / np.linalg.norm(toward))
        # on the decoded picture: the disc is white, the band red, and white again above it
        rgb = picture(board, frame)[..., :3].astype(float)
        if name == "rests":
            for way, is_white in (((0.7, 0.72, 0.0), False), ((0.93, 0.0, 0.37), True), ((0.6, 0.0, 0.8), True)):
                local = axes @ (np.array(way) / np.linalg.norm(way))
                u, v = pixels(pane.projection(frame), centre + ball.shape.radius_mm * local)
                red, green, _ = rgb[int(v), int(u)]
                assert (green > 0.75 * red) == is_white, way
    assert seen["rests"] == pytest.approx(1.0, abs=1e-9)
    assert seen["rolls"] < 0.95
    shot = subject.shot
    assert shot is not None
    assert subject.table is not None
    turn = run_turn(play_softly(shot, subject.table).object_after, np.array([0.03]), float(shot.radius_mm))[0]
    # it rolls over its front: the top goes the way that the ball goes
    assert (matrix(turn) @ [0, 0, 1])[:2] @ shot.object_direction > 0


@pytest.mark.parametrize("kind", ["build-up", "players-eye"])
def test_other_balls_are_banded_and_numbered_and_labels_stay_legible(kind: str) -> None:
    board, _ = shown(kind)
    assert [e.shape.number for e in board.elements if isinstance(e.shape, Ball) and e.shape.look == "other"] == [
        14,
        5,
    ]
    assert faults(board) == []


def test_a_card_shows_the_lessons_own_object_ball() -> None:
    (clip,) = plan(loads(LESSON[: LESSON.index("clips:")] + "clips: [{kind: title}]\n")).clips
    shapes = [e.shape for e in CLIP_KINDS["title"].board(clip.brief).elements if isinstance(e.shape, Ball)]
    assert [ball.number for ball in shapes if ball.look == "object"] == [11]


def test_balls_without_paint_are_drawn_as_before() -> None:
    plain = LESSON.replace("object_ball: {number: 11}", "").replace("cue_ball: {marks: yes}", "")
    clip = plan(loads(plain)).clips[1]
    board = CLIP_KINDS[clip.kind].board(clip.brief)
    still = replace(board, elements=tuple(replace(e, turn=constant(1.0, 0.0, 0.0, 0.0)) for e in board.elements))
    frame = first_of(board) + 20
    assert np.array_equal(picture(board, frame), picture(still, frame))
