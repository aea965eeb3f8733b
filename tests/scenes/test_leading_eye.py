"""The leading eye's pictures stand where two eyes see them; the practice card tells what a count is worth."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from scipy.stats import binomtest

from aimgeo.eye import PUPIL_DISTANCE_MM
from aimgeo.shot import place_shot
from aimgeo.tables import TABLES
from scenes.board.brief import Subject
from scenes.kinds import leading_eye, practice
from tests.scenes.briefs import brief_of, shot_of


@pytest.mark.parametrize("leads", leading_eye.SIDES)
def test_the_other_eye_sees_the_finger_aside_by_the_angle_between_two_lines_of_sight(leads: str) -> None:
    """Eyes at 0 and 63 mm, finger and mark straight ahead of the leading one: worked out from their places."""
    other = "left" if leads == "right" else "right"
    assert leading_eye.finger_rad(leads, leads) == 0
    at = -PUPIL_DISTANCE_MM if other == "left" else PUPIL_DISTANCE_MM
    finger = math.atan2(-at, leading_eye.FINGER_MM)
    mark = math.atan2(-at, leading_eye.MARK_MM)
    assert leading_eye.finger_rad(other, leads) == pytest.approx(finger - mark)
    # from the left eye the nearer thing stands to the right of the farther one
    assert math.copysign(1, leading_eye.finger_rad(other, leads)) == (1 if other == "left" else -1)


@pytest.mark.parametrize("leads", leading_eye.SIDES)
def test_with_both_eyes_the_object_ball_is_single_and_the_cue_ball_double(leads: str) -> None:
    """By how much: the angles at both eyes between cue ball and object ball, worked out from the eyes' places."""
    brief = brief_of("leading-eye", shot_of(22, 400))
    brief = replace(brief, subject=replace(brief.subject, settings=leading_eye.LeadingEyeSettings(leads=leads)))
    board = leading_eye.board(brief)
    shot = brief.subject.shot
    assert shot is not None
    panes = {pane.id: pane for pane in board.panes if pane.id.startswith("double.")}
    last = board.frames - 1
    ball, cue = (
        {id: pane.px(at, last)[0] for id, pane in panes.items()} for at in (shot.object_ball_mm, shot.cue_ball_mm)
    )
    assert ball["double.left"] == pytest.approx(ball["double.right"], abs=1e-6)
    other = "left" if leads == "right" else "right"
    # what lies nearer stands to the right of the farther for the left eye, and the other way round
    apart = cue[f"double.{other}"] - cue[f"double.{leads}"]
    assert math.copysign(1, apart) == (1 if other == "left" else -1)
    away = PUPIL_DISTANCE_MM * (1 / 600 - 1 / (600 + 400))
    high = panes["double.left"].rect_px[3]
    per_rad = high / 2 / math.tan(leading_eye.TALL_RAD / 2)
    assert abs(apart) == pytest.approx(away * per_rad, rel=0.15)


@pytest.mark.parametrize("balls", range(3, 13))
def test_the_closing_numbers_are_those_of_the_exact_binomial_test(balls: int) -> None:
    """Two-sided at even odds, against scipy.stats.binomtest."""
    table = TABLES["9ft"]
    shot = place_shot((500.0, 150.0), table.pocket("foot-left").centre_mm, math.radians(22), 400.0)
    subject = Subject("practice", table, "foot-left", shot, settings=practice.PracticeSettings(balls=balls))
    last = practice.outline(subject)[-1]
    values = {key: quantity.value for key, quantity in last.values}
    needed, of = int(values["needed"]), int(values["of"])
    assert binomtest(needed, of).pvalue < 0.05 <= binomtest(needed - 1, of).pvalue
    if last.sentence == practice.COUNT:
        assert binomtest(balls, balls).pvalue >= 0.05
        assert values["chance"] == round(1 / binomtest(balls, balls).pvalue)
    else:
        assert of == balls
