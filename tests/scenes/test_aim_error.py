"""Aim error: the fan's paths and their colours follow from the pocket's two points."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from aimgeo.shot import place_shot
from aimgeo.tables import TABLES
from scenes.board import Board, Line, Mark, Plate
from scenes.board.brief import Brief, BriefStep, MeasureText, Output, Subject
from scenes.kinds import aim_error

TABLE = TABLES["9ft"]
R = 28.575


def a_subject(side: int = 1, **settings: Any) -> Subject:
    one = [
        Subject(
            "aim-error",
            TABLE,
            "foot-left",
            place_shot((700.0, 150.0), TABLE.pocket("foot-left").centre_mm, side * math.radians(22), D),
            settings=aim_error.AimErrorSettings(**settings),
        )
        for D in (400.0, 1200.0)
    ]
    return replace(one[0], companions=tuple(one))


def a_board(subject: Subject, size: tuple[int, int] = (640, 360)) -> Board:
    output = Output(*size, (10, 1))
    steps = tuple(
        BriefStep(
            s.name, s.name, "", output.frames(s.draws_s), tuple(MeasureText(k, k, "1", "°") for k, _ in s.measures)
        )
        for s in aim_error.outline(subject)
    )
    return aim_error.board(Brief("clip", subject, output, steps))


@pytest.mark.parametrize("settings", [{}, {"measured": "millimetres", "miss_mm": 2.0}])
def test_a_path_is_drawn_as_missing_exactly_when_the_ball_comes_nearer_to_a_point_than_its_radius(
    settings: dict[str, Any],
) -> None:
    board = a_board(a_subject(**settings))
    points = [np.array(p) for p in TABLE.pocket("foot-left").points_mm]
    fan = [e for e in board.elements if ".fan." in e.id and isinstance(e.shape, Line)]
    assert {e.role for e in fan} == {"path_in", "error_line"}
    for e in fan:
        assert isinstance(e.shape, Line)
        a, b = (np.array(p)[:2] for p in e.shape.points_mm)
        way = (b - a) / np.linalg.norm(b - a)
        sides = [way[0] * (p - a)[1] - way[1] * (p - a)[0] for p in points]
        between = sides[0] * sides[1] < 0
        clear = between and min(map(abs, sides)) > R
        assert (e.role == "path_in") == clear


def test_one_millimetre_off_at_the_ghost_ball_turns_the_object_ball_alike_near_and_far() -> None:
    """About 1 mm / (d cos cut), whatever the distance (differentiating sin(cut) = offset / d)."""
    steps = {s.name: s for s in aim_error.outline(a_subject(measured="millimetres", miss_mm=1.0))}
    near, far = (q.value for _, q in steps["fan"].measures)
    expected = 1 / (2 * R * math.cos(math.radians(22)))
    assert near == pytest.approx(expected, rel=0.03)
    assert far == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize("side", [1, -1])
def test_the_number_is_that_of_the_thinner_hit_so_a_mirrored_shot_has_the_same(side: int) -> None:
    """From sin(cut) = D sin(turn from the line of centres) / d, solved for the aim turned away from that line."""
    subject = a_subject(side, turn_rad=math.radians(0.5))
    told = [q.value for _, q in next(s for s in aim_error.outline(subject) if s.name == "fan").measures]
    for one, turned in zip(subject.companions, told, strict=True):
        assert one.shot is not None
        away = math.asin(2 * R * math.sin(math.radians(22)) / float(one.shot.distance_mm)) + math.radians(0.5)
        cut = math.asin(float(one.shot.distance_mm) * math.sin(away) / (2 * R))
        assert turned == pytest.approx(cut - math.radians(22) - math.radians(0.5), abs=1e-9)


@pytest.mark.parametrize("side", [1, -1])
def test_a_step_of_error_that_passes_the_object_ball_is_said_in_words(side: int) -> None:
    """At 1200 mm, 2 R (1 - sin 22 degrees) / D is 1.7 degrees to the edge; 3 degrees pass it on the thin side."""
    steps = {s.name: s for s in aim_error.outline(a_subject(side, turn_rad=math.radians(3)))}
    near, far = (q for _, q in steps["fan"].measures)
    assert near.kind == "angle_rad"
    assert (far.kind, far.value) == ("name", "no_hit")


def test_the_same_turn_of_the_aim_does_more_from_afar() -> None:
    steps = {s.name: s for s in aim_error.outline(a_subject())}
    near, far = (float(q.value) for _, q in steps["fan"].measures)
    assert far > 2 * near
    allowed_near, allowed_far = (float(q.value) for k, q in steps["limit"].measures if k == "allowed")
    assert allowed_near > 2 * allowed_far


@pytest.mark.parametrize("side", [1, -1])
def test_what_is_allowed_is_the_smaller_side_of_what_goes_in(side: int) -> None:
    """Worked out for this shot from sin(cut) = D sin(turn)/d and both points (0.0611 and 0.0641 degrees, far)."""
    subject = a_subject(side)
    for one in subject.companions:
        assert one.shot is not None
        alone = replace(one, companions=(one,))
        told = dict(next(s for s in aim_error.outline(alone) if s.name == "limit").measures)
        allowed, D = float(told["allowed"].value), float(one.shot.distance_mm)
        O, C = one.shot.object_ball_mm[:2], one.shot.cue_ball_mm[:2]
        aim = one.shot.aim_direction

        def clear(turn: float, aim: np.ndarray = aim, O: np.ndarray = O, C: np.ndarray = C) -> bool:
            way = np.array(
                [
                    aim[0] * math.cos(turn) - aim[1] * math.sin(turn),
                    aim[0] * math.sin(turn) + aim[1] * math.cos(turn),
                ]
            )
            aside = way[0] * (O - C)[1] - way[1] * (O - C)[0]
            ghost = C + way * (float((O - C) @ way) - math.sqrt(4 * R * R - aside * aside))
            run = (O - ghost) / (2 * R)
            points = [np.array(p) for p in TABLE.pocket("foot-left").points_mm]
            sides = [run[0] * (p - O)[1] - run[1] * (p - O)[0] for p in points]
            return bool(sides[0] * sides[1] < 0 and min(map(abs, sides)) > R)

        assert clear(allowed - 1e-7)
        assert clear(-allowed + 1e-7)
        assert not (clear(allowed + 1e-6) and clear(-allowed - 1e-6))
        assert told["at_tip"].value == pytest.approx(300 * math.tan(allowed))
        assert D > 0


def test_no_way_runs_through_a_cushion() -> None:
    board = a_board(a_subject(turn_rad=math.radians(0.5)))
    half = np.array([TABLE.length_mm, TABLE.width_mm]) / 2
    crosses = [e.shape.at_mm for e in board.elements if isinstance(e.shape, Mark) and e.shape.kind == "miss"]
    assert crosses
    for at in crosses:
        assert (np.abs(np.array(at)[:2]) <= half - R + 1e-6).all() or min(
            math.dist(at[:2], p) for p in TABLE.pocket("foot-left").points_mm
        ) == pytest.approx(R)


def test_each_table_says_whether_it_is_the_near_one_or_the_far_one() -> None:
    board = a_board(a_subject())
    told = {e.id: e.shape.text for e in board.elements if isinstance(e.shape, Plate)}
    assert told == {"0.caption": "half_near: 1°", "1.caption": "half_far: 1°"}
    alone = a_subject()
    captions = [
        e.shape.text
        for e in a_board(replace(alone, companions=alone.companions[:1])).elements
        if isinstance(e.shape, Plate)
    ]
    assert captions == ["1°"]


def test_both_tables_are_drawn_at_one_scale_with_all_balls_and_the_pocket_in_the_picture() -> None:
    for size in ((1920, 1080), (1080, 1920), (1080, 1080)):
        board = a_board(a_subject(), size)
        scales = []
        for n, pane in enumerate(board.panes):
            P = pane.projection(0)
            scales.append(float(np.linalg.norm(P[:2, 0])))
            x, y, w, h = pane.rect_px
            ends = [e.shape for e in board.elements if e.id in (f"{n}.aim_line", f"{n}.target_line")]
            for shape in ends:
                assert isinstance(shape, Line)
                for p in shape.points_mm:
                    u, v, _ = P @ [*p, 1.0]
                    assert x < u < x + w
                    assert y < v < y + h
        assert scales[0] == pytest.approx(scales[1])
