"""The quiz: nothing tells the answer before its step, and the series is fixed by its seed."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from aimgeo.shot import place_shot
from aimgeo.tables import TABLES
from scenes.board import Ball, Board, Element, Plate, Text
from scenes.board.brief import Brief, BriefStep, EyeSpec, MeasureText, Output, Subject
from scenes.kinds import quiz

TABLE = TABLES["9ft"]
EYE = EyeSpec("down", 600.0, 0.0, 300.0)


def a_subject(**settings: Any) -> Subject:
    one = []
    for cut in (14.478, 22.0, 30.0):
        for side in (1, -1):
            for distance in (400.0, 800.0):
                pocket = "foot-left" if side > 0 else "foot-right"
                shot = place_shot(
                    (500.0, 150.0 * side), TABLE.pocket(pocket).centre_mm, math.radians(side * cut), distance
                )
                one.append(Subject("quiz", TABLE, pocket, shot, None, EYE))
    return replace(one[0], companions=tuple(one), settings=quiz.QuizSettings(**settings))


def a_board(subject: Subject) -> Board:
    output = Output(640, 360, (10, 1))
    steps = []
    for s in quiz.outline(subject):
        measures = tuple(
            MeasureText(k, k, q.value if isinstance(q.value, str) else f"{q.value:.4f}", "") for k, q in s.measures
        )
        steps.append(BriefStep(s.name, s.sentence, "", output.frames(s.draws_s), measures))
    return quiz.board(Brief("clip", subject, output, tuple(steps), {"viewing_distance": "true from {widths}"}))


def test_every_cut_is_asked_before_one_comes_again_and_the_seed_fixes_the_order() -> None:
    cuts = [abs(float(s.cut_rad)) for s in quiz.questions(a_subject(questions=6, seed=3))]
    assert sorted(cuts[:3]) == pytest.approx(sorted(cuts[3:]))
    assert len({round(c, 6) for c in cuts[:3]}) == 3
    again = [abs(float(s.cut_rad)) for s in quiz.questions(a_subject(questions=6, seed=3))]
    assert cuts == again
    others = {
        tuple(abs(float(s.cut_rad)) for s in quiz.questions(a_subject(questions=6, seed=k))) for k in range(9)
    }
    assert len(others) > 3


def test_side_place_direction_and_distance_vary_whatever_the_cut() -> None:
    shots = [s for k in range(40) for s in quiz.questions(a_subject(questions=3, seed=k))]
    for cut in (14.478, 22.0, 30.0):
        same = [s for s in shots if abs(abs(math.degrees(float(s.cut_rad))) - cut) < 1e-6]
        assert {int(s.side) for s in same} == {1, -1}
        assert {round(float(s.distance_mm)) for s in same} == {400, 800}
        assert len({(bool(s.object_ball_mm[0] > 0), bool(s.object_ball_mm[1] > 0)) for s in same}) == 4
        assert len({bool(s.aim_direction[0] > 0) for s in same}) == 2


def test_the_answer_tells_the_side_to_which_the_object_ball_goes_and_an_unsigned_cut() -> None:
    """Worked out from the balls' places: seen along the aim, the target lies to the left or to the right."""
    told = set()
    for seed in range(8):
        subject = a_subject(questions=3, seed=seed)
        answers = [s for s in quiz.outline(subject) if s.name.startswith("answer")]
        for shot, step in zip(quiz.questions(subject), answers, strict=True):
            values = dict(step.values)
            away, aim = (shot.target_mm - shot.object_ball_mm)[:2], (shot.ghost_ball_mm - shot.cue_ball_mm)[:2]
            across = float(aim[0] * away[1] - aim[1] * away[0])
            assert values["side"].value == ("left" if across > 0 else "right")
            cut = math.acos(float(aim @ away / np.linalg.norm(aim) / np.linalg.norm(away)))
            assert values["cut"].value == pytest.approx(cut, abs=1e-9)
            assert float(values["cut"].value) > 0
            assert values["overlap"].value == pytest.approx(1 - math.sin(cut), abs=1e-9)
            told.add(values["side"].value)
    assert told == {"left", "right"}


@pytest.mark.parametrize("seed", range(6))
def test_one_of_the_choices_is_right_and_the_answer_names_its_letter_and_the_side_of_the_aim(seed: int) -> None:
    subject = a_subject(questions=3, seed=seed)
    answers = [s for s in quiz.outline(subject) if s.name.startswith("answer")]
    for n, (shot, step) in enumerate(zip(quiz.questions(subject), answers, strict=True)):
        hits, values = quiz.choices(subject, n), dict(step.values)
        assert hits == quiz.choices(subject, n)
        assert len(hits) == 3
        assert list(hits) == sorted(hits, reverse=True)
        assert min(a - b for a, b in pairwise(hits)) > 0.02
        right = hits["ABC".index(str(values["letter"].value))]
        assert right == pytest.approx(1 - math.sin(abs(float(shot.cut_rad))), abs=1e-9)
        aim, O = shot.aim_direction, (shot.object_ball_mm - shot.cue_ball_mm)[:2]
        passes_left = aim[0] * O[1] - aim[1] * O[0] < 0
        assert values["aim_side"].value == ("left" if passes_left else "right")


def test_a_lesson_of_one_cut_still_has_wrong_choices_an_eighth_apart() -> None:
    subject = a_subject(questions=1)
    alone = replace(subject, companions=subject.companions[:4])
    (right,) = {round(float(one.shot.overlap), 6) for one in alone.companions if one.shot}
    hits = quiz.choices(alone, 0)
    assert len(hits) == 3
    assert any(hit == pytest.approx(right, abs=1e-6) for hit in hits)
    assert all(round(abs(hit - right) * 8, 3) in (0, 1, 2) for hit in hits)


def test_in_a_lesson_of_one_cut_no_letter_is_right_every_time() -> None:
    """Of a full ball the fullest hit is the right one; of any other each of the three is, now and then."""
    letters = set()
    for seed in range(12):
        subject = a_subject(questions=1, seed=seed)
        alone = replace(subject, companions=subject.companions[:4])
        letters |= {dict(s.values)["letter"].value for s in quiz.outline(alone) if s.name.startswith("answer")}
    assert letters == set("ABC")


def test_the_clock_runs_after_the_question_has_been_spoken_and_until_the_answer() -> None:
    board = a_board(a_subject(questions=2))
    spans = {s.name: s for s in board.steps}
    for n in range(2):
        clock = [e for e in board.elements if e.id.startswith(f"q{n}.clock.") and e.id[9:].isdigit()]
        thought = spans[f"think {n + 1}"]

        def left(frame: int, clock: list[Element] = clock) -> float:
            return sum(e.opacity.at(frame)[0] for e in clock) / len(clock)

        assert left(thought.first_frame - 1) == 0
        assert left(thought.first_frame + 3) > 0.9
        assert 0.4 < left((thought.first_frame + thought.end_frame) // 2) < 0.65
        assert left(thought.end_frame) == 0


def test_the_pocket_is_named_for_where_the_shot_was_laid() -> None:
    subject = a_subject(questions=3)
    asked = [s for s in quiz.outline(subject) if s.name.startswith("question")]
    for shot, step in zip(quiz.questions(subject), asked, strict=True):
        name = str(dict(step.measures)["pocket"].value)
        assert math.dist(TABLE.pocket(name).centre_mm, shot.target_mm[:2]) < 1


def test_the_four_mirrors_lay_a_shot_in_four_places() -> None:
    shot = a_subject().shot
    assert shot is not None
    laid = [quiz.laid(shot, mirror) for mirror in quiz.MIRRORS]
    assert len({tuple(np.round(one.object_ball_mm, 6)) for one in laid}) == 4
    assert {tuple(np.sign(one.object_ball_mm[:2])) for one in laid} == {(1, 1), (1, -1), (-1, 1), (-1, -1)}


@pytest.mark.parametrize("mirror", quiz.MIRRORS)
def test_a_shot_laid_elsewhere_stays_the_same_shot(mirror: tuple[float, float]) -> None:
    shot = a_subject().shot
    assert shot is not None
    new = quiz.laid(shot, mirror)
    assert float(new.distance_mm) == pytest.approx(float(shot.distance_mm), rel=1e-12)
    assert float(new.cut_rad) == pytest.approx(float(shot.cut_rad) * mirror[0] * mirror[1], rel=1e-9)
    corners = [np.array(p.centre_mm) for p in TABLE.pockets()]
    assert min(np.linalg.norm(new.target_mm[:2] - c) for c in corners) < 1e-6


def test_no_answer_is_seen_before_its_step() -> None:
    board = a_board(a_subject(questions=3))
    spans = {s.name: s for s in board.steps}
    for n in range(3):
        asked, thought = spans[f"question {n + 1}"], spans[f"think {n + 1}"]
        for frame in range(asked.first_frame + 4, thought.end_frame):
            for e in board.elements:
                if not e.is_visible(frame) or (e.panes and not any(_is_open(board, p, frame) for p in e.panes)):
                    continue
                assert e.role not in ("readout", "aim_line", "contact_object", "aim_point", "cue")
                assert not (isinstance(e.shape, Ball) and e.shape.look == "ghost")
                if isinstance(e.shape, Text | Plate):
                    assert "°" not in e.shape.text
                    assert "quiz.answer" not in e.shape.text


def _is_open(board: Board, pane: str, frame: int) -> bool:
    return next(p for p in board.panes if p.id == pane).opacity.at(frame)[0] > 0


def test_while_a_question_stands_the_aim_is_in_the_middle_of_the_frame() -> None:
    board = a_board(a_subject(questions=3))
    for n in range(3):
        pane = next(p for p in board.panes if p.id == f"eye.{n}")
        cue = next(e.shape for e in board.elements if e.id == f"q{n}.cue_ball")
        assert isinstance(cue, Ball)
        P = pane.projection(0)
        u, _, w = P @ [*cue.centre_mm, 1.0]
        assert u / w == pytest.approx(320, abs=1e-6)
