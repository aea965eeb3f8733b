"""Methods summary and straight-in check as a lesson makes them: true to the table, and silent about the answer."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from itertools import takewhile
from typing import Any

import pytest

from lessons.deliver.pictures import poster_of
from lessons.lesson.faults import LessonError
from lessons.lesson.model import loads
from lessons.planning.accuracy import accuracy
from lessons.planning.plan import plan
from lessons.planning.planned import PlannedClip
from lessons.rendering.manifest import Clip
from scenes.board import Area, Ball, Board, Element
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS, methods_summary, straight_in

LESSON = """
title: Eyes
cuts: [0, 10, 1/2, 45]
distances: {near: 300 mm, far: 700 mm}
eyes:
  over: {back: 600 mm, height: 300 mm}
  left: {back: 600 mm, height: 300 mm, offset: 32 mm}
output: {size: 640 x 360, rate: 24}
clips:
"""
SUMMARY = LESSON + "  - kind: methods-summary\n"
CHECK = LESSON + "  - {kind: straight-in, distances: far, eyes: over, seed: SEED}\n"
DIRECTIONS = ("left", "right", "on the line", "centre")


def board_of(clip: PlannedClip) -> Board:
    board: Board = CLIP_KINDS[clip.kind].board(clip.brief)
    return board


# ------------------------------------------------------------------ methods summary


def test_the_summarys_worst_misses_are_those_of_the_accuracy_table() -> None:
    made = plan(loads(SUMMARY))
    rows, clips = accuracy(made).rows, made.clips
    assert len(clips) == 7  # a straight shot has no second side
    for clip in clips:
        found = methods_summary.costs(clip.brief.subject)
        shown = {one.method: one.worst.miss_mm for one in found if one.worst is not None}
        worst: dict[str, float] = {}
        for row in rows:
            if row["cut"] == clip.cut_text and row["side"] == clip.side and row["usable"]:
                worst[row["method"]] = max(worst.get(row["method"], 0.0), abs(row["miss_mm"]))
        assert shown == pytest.approx(worst, abs=1e-6)


def test_a_method_that_does_not_reach_the_cut_is_not_in_its_summary_and_the_plan_says_why() -> None:
    made = plan(loads(SUMMARY))
    thin = next(clip for clip in made.clips if clip.name == "methods-summary_cut-45_left")
    assert {one.method for one in methods_summary.costs(thin.brief.subject)} == {"ghost_ball", "contact_points"}
    told = [left for left in made.left_out if left.name.startswith(thin.name)]
    assert [left.name.removeprefix(thin.name) for left in told] == [
        f", {method}" for method in ("doubled-offset", "ball-fractions", "fixed-marks")
    ]
    assert len({left.reason for left in told}) == 3


@pytest.mark.parametrize(
    ("size", "units"),
    [("1080p", "in"), ("640 x 360", "mm"), ("square", "in"), ("360 x 360", "mm"), ("vertical", "in")],
)
def test_a_summary_is_legible_in_every_frame_whatever_methods_reach_its_cut(size: str, units: str) -> None:
    text = SUMMARY.replace("640 x 360", size).replace("title:", f"units: {units}\ntitle:")
    made = plan(loads(text)).only(["*_overlap-1-2_left", "*_cut-45_right"])
    assert len(made.clips) == 2
    for clip in made.clips:
        assert faults(board_of(clip)) == [], clip.name


def test_each_methods_row_fills_in_its_own_step_and_the_ball_ends_where_it_misses_to() -> None:
    clip = next(c for c in plan(loads(SUMMARY)).clips if c.cut_text == "1/2" and c.side == "left")
    found, board = methods_summary.costs(clip.brief.subject), board_of(clip)
    elements = {e.id: e for e in board.elements}
    for n, one in enumerate(found):
        told, step = elements[f"told.{n}.0"], board.steps[n + 1]
        assert not told.is_visible(step.first_frame)
        assert told.is_visible(step.end_frame - 1)
        end = elements[f"end.{n}"]
        assert one.worst is not None
        assert isinstance(end.shape, Ball) == (one.worst.is_pocketed or one.is_exact)
        mouth = elements[f"mouth.{n}"].shape
        assert isinstance(mouth, Area)
        per_mm = (mouth.points_mm[1][0] - mouth.points_mm[0][0]) / one.mouth_mm
        off = end.offset_mm.at(step.end_frame - 1)[0] / per_mm
        room = methods_summary.STRIP_MM - one.radius_mm
        assert off == pytest.approx(max(-room, min(room, -one.worst.signed_mm)), abs=0.01)


def test_one_method_alone_is_no_summary() -> None:
    with pytest.raises(LessonError, match="two methods or more"):
        plan(loads(SUMMARY + "    methods: ghost-ball\n"))


# ------------------------------------------------------------------ straight-in check


def checks() -> list[PlannedClip]:
    """The same check in orders that differ from the first look on."""
    clips = [plan(loads(CHECK.replace("SEED", str(seed)))).clips[0] for seed in range(1, 9)]
    orders = {straight_in.offsets_mm(clip.brief.subject) for clip in clips}
    assert len({order[0] for order in orders}) > 2
    return clips


def test_the_check_is_of_a_straight_shot_at_the_lessons_distance_whatever_its_cuts() -> None:
    clip = plan(loads(CHECK.replace("SEED", "1").replace("cuts: [0, ", "cuts: ["))).clips[0]
    shot = clip.brief.subject.shot
    assert shot is not None
    assert float(shot.cut_rad) == pytest.approx(0, abs=1e-12)
    assert float(shot.distance_mm) == pytest.approx(700)
    assert clip.brief.labels["heading"] == "Straight, centres 700\u202fmm apart"


def told_at(board: Board) -> int:
    return next(step.first_frame for step in board.steps if step.name == "told")


def test_the_order_of_the_offsets_shows_in_no_name_title_or_narration() -> None:
    one, *others = checks()
    for other in others:
        assert other.name == one.name
        assert [(s.name, s.title, s.narration, s.frames) for s in other.brief.steps] == [
            (s.name, s.title, s.narration, s.frames) for s in one.brief.steps
        ]
    before = takewhile(lambda step: step.name != "told", one.brief.steps)
    for step in before:
        said = f"{step.title} {step.narration}".lower()
        assert not re.search(r"\d", said)
        assert not any(word in said for word in DIRECTIONS)


def test_until_it_is_told_only_the_eye_itself_depends_on_the_order() -> None:
    """All that is drawn, and when each picture shows, is the same whatever the order: the cameras alone differ."""
    one, *others = [board_of(clip) for clip in checks()]

    def drawn(board: Board) -> list[Element]:
        last = range(0, told_at(board), 3)
        return [e for e in board.elements if any(e.is_visible(frame) for frame in last)]

    for other in others:
        assert drawn(other) == drawn(one)
        panes = zip(one.panes, other.panes, strict=True)
        assert all(replace(b, camera=a.camera) == a for a, b in panes)


def test_the_poster_is_the_opening_picture_which_shows_none_of_the_looks() -> None:
    planned = checks()[0]
    board = board_of(planned)
    shape: dict[str, Any] = {"width_px": 640, "height_px": 360, "rate": Fraction(24), "frames": board.frames}
    clip = Clip(name="c", file="c.mp4", kind=planned.kind, sha256="", steps=(), **shape)
    frame = poster_of(clip)
    shown = [pane.id for pane in board.panes if pane.opacity.at(frame)[0] > 0]
    assert shown == [board.panes[0].id]
    assert not any(e.role == "told" and e.is_visible(frame) for e in board.elements)
