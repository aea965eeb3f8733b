"""A cue ball at a place of the author's own: cut, side and distance follow from where balls and target lie."""

from __future__ import annotations

import math

import pytest

from aimgeo.tables import TABLES
from lessons.deliver.set_up_sheets import shot_told
from lessons.deliver.shots import table_shots
from lessons.lesson.model import loads
from lessons.planning.plan import plan
from lessons.planning.planned import Plan
from tests.lessons.test_numbers import footage_of

D = 57.15
FOOT_LEFT = TABLES["9ft"].pocket("foot-left").centre_mm


def planned(more: str, kind: str = "build-up, methods: ghost-ball") -> Plan:
    return plan(loads(f"title: A\noutput: {{size: 720p, rate: 30}}\nclips: [{{kind: {kind}, {more}}}]\n"))


def by_plain_vectors(
    cue: tuple[float, float], obj: tuple[float, float], target: tuple[float, float]
) -> tuple[float, float]:
    """Signed cut in degrees, left positive, and distance between the centres: complex numbers, nothing of ours."""
    C, O, T = (complex(*p) for p in (cue, obj, target))
    u = (T - O) / abs(T - O)
    G = O - D * u
    turn = u / ((G - C) / abs(G - C))
    return math.degrees(math.atan2(turn.imag, turn.real)), abs(O - C)


@pytest.mark.parametrize(
    ("cue", "obj", "target"),
    [
        ((0.0, 300.0), (635.0, 317.5), None),
        ((-317.5, -500.0), (635.0, 317.5), None),
        ((200.0, 606.425), (635.0, 317.5), None),  # touches the left cushion
        ((-300.0, 50.0), (0.0, 0.0), (400.0, -600.0)),
        ((120.0, -88.0), (0.0, 0.0), (-500.0, 30.0)),
    ],
)
def test_cut_side_and_distance_are_those_of_plain_vectors(
    cue: tuple[float, float], obj: tuple[float, float], target: tuple[float, float] | None
) -> None:
    more = f"spot: [{obj[0]} mm, {obj[1]} mm], cue_ball: [{cue[0]} mm, {cue[1]} mm]"
    more += "" if target is None else f", target: [{target[0]} mm, {target[1]} mm]"
    (clip,) = planned(more).clips
    shot = clip.brief.subject.shot
    assert shot is not None
    cut_deg, distance_mm = by_plain_vectors(cue, obj, target or FOOT_LEFT)
    assert tuple(shot.cue_ball_mm[:2].tolist()) == cue
    assert tuple(shot.object_ball_mm[:2].tolist()) == obj
    assert clip.cut_deg == pytest.approx(abs(cut_deg), abs=1e-9)
    assert clip.distance_mm == pytest.approx(distance_mm, abs=1e-9)
    assert clip.side == ("left" if cut_deg > 0 else "right")
    told = f"{abs(cut_deg):.2f}".rstrip("0").rstrip(".")
    assert clip.name == f"ghost-ball_build-up_cut-{told}_{clip.side}_{distance_mm:.1f}".removesuffix(".0") + "-mm"


def test_a_cue_ball_in_line_is_straight() -> None:
    (clip,) = planned("spot: [0 mm, 0 mm], cue_ball: [-400 mm, 0 mm], target: [900 mm, 0 mm]", "table").clips
    assert clip.name == "table_cut-0_straight_400-mm"
    assert clip.brief.subject.shot is not None
    assert clip.brief.subject.shot.target_mm[:2].tolist() == [900.0, 0.0]


def test_other_groups_and_eyes_stay_as_the_lesson_has_them() -> None:
    text = """title: A
cuts: [20, 40]
sides: left
eyes: {one: {back: 600 mm, height: 300 mm}, two: {back: 400 mm, height: 300 mm}}
distances: {near: 300 mm}
units: in
clips:
  - {kind: players-eye, methods: ghost-ball, spot: [0, 0], cue_ball: [-300 mm, 50 mm]}
  - {kind: table}
"""
    clips = plan(loads(text)).clips
    assert [clip.name for clip in clips[2:]] == ["table_cut-20_left_near", "table_cut-40_left_near"]
    assert [clip.eye for clip in clips[:2]] == ["one", "two"]
    assert len({clip.shots[0].identity for clip in clips[:2]}) == 1
    assert all("304" not in step.narration for step in clips[0].brief.steps)  # told in inches


def test_the_same_shot_by_cut_and_distance_lies_there_too() -> None:
    (given,) = planned("spot: [635 mm, 317.5 mm], cue_ball: [0 mm, 300 mm]", "table").clips
    assert given.cut_deg is not None
    text = f"""title: A
cuts: [{given.cut_deg:.12f}]
sides: {given.side}
distances: {{near: {given.distance_mm:.12f} mm}}
spot: [635 mm, 317.5 mm]
clips: [{{kind: table}}]
"""
    (asked,) = plan(loads(text)).clips
    assert asked.brief.subject.shot is not None
    assert asked.brief.subject.shot.cue_ball_mm[:2].tolist() == pytest.approx([0.0, 300.0], abs=1e-6)


def test_the_set_up_sheet_says_its_distance_once() -> None:
    footage = footage_of(planned("spot: [635 mm, 317.5 mm], cue_ball: [0 mm, 300 mm]", "table"))
    told = shot_told(table_shots(footage)[0], footage.wording(), 1, 1)
    assert told["under"].count("635.2") == 1
