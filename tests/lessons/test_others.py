"""Shots as they are played: other balls, a place as the target, a ball frozen on a cushion, painted balls."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import LineString, Point

from aimgeo.tables import TABLES
from lessons.lesson.faults import LessonError
from lessons.lesson.model import loads
from lessons.planning.accuracy import accuracy
from lessons.planning.plan import plan
from lessons.planning.planned import PlannedClip
from lessons.rendering.cache import clip_key
from scenes.board import Ball, Text
from scenes.draw.picture import picture
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS

TABLE = TABLES["9ft"]
R = 57.15 / 2


def clips(keys: str, kind: str = "build-up", more: str = "") -> tuple[PlannedClip, ...]:
    method = "" if kind == "table" else ", methods: ghost-ball"
    return plan(
        loads(f"""title: A
cuts: [35]
sides: left
distances: {{near: 300 mm}}
spot: [635 mm, 317.5 mm]
output: {{size: 720p, rate: 30}}
{keys}
clips: [{{kind: {kind}{method}{more}}}]
""")
    ).clips


OTHERS = """others:
  - {at: [700 mm, -100 mm], number: 9}
  - {at: [500 mm, 200 mm], number: 8}
  - {at: [900 mm, 100 mm], colour: "#3366CC"}"""


@pytest.mark.parametrize("kind", ["build-up", "players-eye", "table"])
def test_other_balls_lie_where_they_are_and_no_label_covers_them(kind: str) -> None:
    (clip,) = clips(OTHERS, kind)
    board = CLIP_KINDS[kind].board(clip.brief)
    balls = [e.shape for e in board.elements if e.role == "other_ball" and isinstance(e.shape, Ball)]
    assert [(b.centre_mm, b.number) for b in balls] == [
        ((700, -100, R), 9),
        ((500, 200, R), 8),
        ((900, 100, R), 0),
    ]
    assert faults(board) == []


def test_a_ball_is_painted_in_its_colour_with_its_number_and_stripe() -> None:
    (clip,) = clips("object_ball: {number: 11}", "build-up", ", only: [target line]")
    board = CLIP_KINDS["build-up"].board(clip.brief)
    (pane,) = (p for p in board.panes if p.id not in ("table", "inset", "played"))
    shown = picture(board, 5).astype(int)
    shot = clip.brief.subject.shot
    assert shot is not None
    x, y = pane.px(shot.object_ball_mm)
    r = abs(pane.px([[0, 0, 0], [R, 0, 0]])[1] - pane.px([[0, 0, 0], [R, 0, 0]])[0]).max()
    red = shown[round(y), round(x - 0.7 * r)]
    white = shown[round(y - 0.78 * r), round(x)]
    assert red[0] > 150 > red[1] + 50
    assert white.min() > 200
    (plain,) = clips("", "build-up", ", only: [target line]")
    assert clip_key(clip, "", "").parts["subject"] != clip_key(plain, "", "").parts["subject"]


def test_ways_are_those_that_shapely_finds_blocked() -> None:
    (clip,) = clips("")
    shot = clip.brief.subject.shot
    assert shot is not None
    flat = [p[:2].tolist() for p in (shot.cue_ball_mm, shot.ghost_ball_mm, shot.object_ball_mm, shot.target_mm)]
    way = LineString(flat[2:])
    at = way.interpolate(250)
    for aside in (-70.0, -50.0, 0.0, 50.0, 70.0):
        n = np.array(shot.object_direction)[::-1] * [-1, 1]
        p = np.array(at.coords[0]) + aside * n
        keys = f"others: [{{at: [{p[0]:.6f} mm, {p[1]:.6f} mm]}}]"
        gap = way.distance(Point(*p)) - 2 * R
        if gap < 0:
            with pytest.raises(LessonError, match="mm in the object ball's way"):
                clips(keys)
            assert clips(keys.replace("mm]}", "mm], in_the_way: true}"))
        else:
            assert clips(keys)


def test_a_target_may_be_a_place_or_one_on_a_cushion() -> None:
    (clip,) = clips("target: {rail: right, at: 400 mm}")
    assert clip.brief.subject.shot is not None
    assert clip.brief.subject.target_name is None
    assert clip.brief.subject.shot.target_mm[:2].tolist() == [400.0, -635 + R]
    last = clip.brief.steps[-1]
    assert last.title == "To the target"
    assert "right rail" in last.narration
    assert faults(CLIP_KINDS["build-up"].board(clip.brief)) == []
    (place,) = clips("target: [900 mm, 600 mm]", "players-eye")
    assert place.brief.subject.shot is not None
    assert place.brief.subject.shot.target_mm[:2].tolist() == [900.0, 600.0]
    rows = accuracy(
        plan(loads("title: A\nspot: [0 mm, 0 mm]\ntarget: [500 mm, 0 mm]\nclips: [{kind: build-up}]\n"))
    ).rows
    assert all(row["pocketed"] is not True and row["pocket"] is None for row in rows)


def test_a_frozen_ball_goes_along_its_cushion() -> None:
    text = """title: A
cuts: [20]
sides: [left, right]
distances: {near: 300 mm}
spot: [600 mm, 606.425 mm]
pocket: foot-left
clips: [{kind: build-up, methods: ghost-ball}]
"""
    made = plan(loads(text))
    (clip,) = made.clips
    shot = clip.brief.subject.shot
    assert shot is not None
    assert shot.object_ball_mm[1] == shot.target_mm[1] == 635 - R
    assert shot.ghost_ball_mm[1] <= 635 - R + 1e-6  # the cushion allows it
    assert [left.name for left in made.left_out] != []


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ("others: [{at: [635 mm, 330 mm]}]", "others[0] lies in the object ball; move it by 44.6 mm or more."),
        ("others: [{at: [1260 mm, 0 mm]}]", "[0] lies in a cushion or a pocket's mouth; move it onto the bed."),
        ("others: [{at: [0 mm, 606.425 mm]}]", "others[0] lies in a cushion or a pocket's mouth; move it onto"),
        ("others: [{at: [0 mm, 0 mm], number: 16}]", "number is 16; balls are numbered from 1 to 15."),
        ("others: [{at: [0 mm, 0 mm], colour: blue}]", "'blue' is no colour; write six hex digits"),
        ("target: [635 mm, 317.5 mm]", "the target lies less than a ball's width from the object ball; move one."),
        ("target: [655 mm, 317.5 mm]", "7:9: the target lies less than a ball's width from the object ball"),
        ("target: [4 m, 0 mm]", "7:9: the target lies off the bed; choose a place between the noses."),
        ("target: {rail: left, at: 4 m}", "7:9: at 4000 mm along the left rail there is no cushion; choose one"),
        ("target: {rail: left, at: 10 mm}", "at 10 mm along the left rail there is no cushion"),
        ("target: {rail: foot, at: -600 mm}", "at -600 mm along the foot rail there is no cushion"),
        ("target: {rail: top, at: 0}", "target.rail is 'top'"),
    ],
)
def test_what_can_not_lie_there_is_said(keys: str, told: str) -> None:
    with pytest.raises(LessonError) as caught:
        clips(keys)
    assert told in str(caught.value)


def test_a_place_needs_a_spot() -> None:
    with pytest.raises(LessonError, match=r"lesson.yaml:2:9: a target that is a place needs a 'spot'"):
        plan(loads("title: A\ntarget: [0 mm, 0 mm]\nclips: [{kind: build-up}]\n"))


def test_numbers_are_read_at_their_size() -> None:
    (clip,) = clips("object_ball: {number: 15}", "players-eye", ", only: [view]")
    board = CLIP_KINDS["players-eye"].board(clip.brief)
    assert all(not isinstance(e.shape, Text) or e.shape.text != "15" for e in board.elements)
    assert faults(board) == []


def test_another_ball_beside_or_behind_the_eye_is_not_in_its_picture() -> None:
    (made,) = plan(
        loads(
            "title: A\ncuts: 30\nsides: left\ndistances: {near: 300 mm}\noutput: {size: 320x180, rate: 24}\n"
            "spot: [635 mm, 317.5 mm]\nothers: [{at: [-500 mm, 450 mm]}, {at: [-700 mm, -100 mm]}]\n"
            "clips: [{kind: players-eye, methods: ghost-ball}]\n"
        )
    ).clips
    board = CLIP_KINDS["players-eye"].board(made.brief)
    assert faults(board) == []
    assert {e.id for e in board.elements if e.role == "other_ball"} == {"other.0", "other.1"}


@pytest.mark.parametrize(("kind", "played"), [("build-up", "roll"), ("players-eye", "shot")])
def test_no_shot_is_played_through_a_ball_in_its_way(kind: str, played: str) -> None:
    def steps(at: str) -> list[str]:
        text = (
            "title: A\ncuts: 30\nsides: left\ndistances: {near: 300 mm}\nspot: [635 mm, 317.5 mm]\n"
            f"others: [{{at: {at}, in_the_way: yes}}]\nclips: [{{kind: {kind}, methods: ghost-ball}}]\n"
        )
        (made,) = plan(loads(text)).clips
        board = CLIP_KINDS[kind].board(made.brief)
        assert [step.name for step in board.steps] == [step.name for step in made.brief.steps]
        return [step.name for step in board.steps]

    assert played in steps("[0 mm, -300 mm]")
    assert played not in steps("[900 mm, 460 mm]")
