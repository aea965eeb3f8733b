"""The build-up stands where the geometry says, at a size that can be read, and its roll tells the truth."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aimgeo.camera import pixels
from aimgeo.holes import hole_of
from aimgeo.methods import METHODS
from aimgeo.running import play_softly
from aimgeo.shot import Shot
from aimgeo.tables import TABLES
from scenes.board import Ball, Bar, Board, Element, Leader, Line, Mark, Pane, Plate, Shade, Text
from scenes.board.brief import Clause
from scenes.frame.framing import FAR, INSET, NEAR, PLAYED, STAGE, TABLE, framing
from scenes.frame.layout import layout
from scenes.judge.legible import faults
from scenes.kinds.build_up import board as build_up
from scenes.kinds.build_up import outline
from scenes.look.dusk import DUSK
from tests.scenes.briefs import FRAMES, board_of, brief_of, shot_of

SMALLEST = 0.075
"""A ball is at least this part of the frame's short side; where it would be smaller the stage is broken."""
ACTION_SAFE = 0.93


def element(board: Board, id: str) -> Element:
    return next(e for e in board.elements if e.id == id)


def panes(board: Board, *ids: str) -> list[Pane]:
    return [p for p in board.panes if p.id in ids]


def last_of(board: Board, name: str) -> int:
    return next(s.end_frame for s in board.steps if s.name == name) - 1


def centre_px(board: Board, pane: Pane, id: str, frame: int) -> np.ndarray:
    ball = element(board, id)
    assert isinstance(ball.shape, Ball)
    at = np.array(ball.shape.centre_mm) + np.array(ball.offset_mm.at(frame))
    return pixels(pane.projection(frame), at)


@pytest.mark.parametrize("frame", FRAMES)
@settings(max_examples=40)
@given(cut_deg=st.floats(-80, 80), distance_mm=st.floats(58, 2300))
def test_balls_keep_their_least_size_and_stay_in_the_picture(
    frame: str, cut_deg: float, distance_mm: float
) -> None:
    W, H = FRAMES[frame]
    shot = shot_of(cut_deg, distance_mm)
    stage = framing(layout(W, H, DUSK), shot)
    d = float(np.asarray(shot.ball_diameter_mm))
    x0, y0 = (1 - ACTION_SAFE) / 2 * W, (1 - ACTION_SAFE) / 2 * H
    scales = {view.px_per_mm for _, _, view in stage.panes}
    turns = {view.turn_rad for _, _, view in stage.panes}
    assert len(scales) == len(turns) == 1, "both panes at one scale and turn"
    assert scales.pop() * d >= SMALLEST * min(W, H)
    balls = [(stage.panes[0], shot.object_ball_mm), (stage.panes[0], shot.ghost_ball_mm)]
    balls.append((stage.panes[-1], shot.cue_ball_mm))
    for (_, rect, view), at in balls:
        x, y = view.to_px(at)
        r = view.px_per_mm * d / 2
        assert x0 <= x - r
        assert x + r <= W - x0
        assert max(y0, rect[1]) <= y - r
        assert y + r <= min(H - y0, rect[1] + rect[3])


@pytest.mark.parametrize("distance_mm", [60.0, 200.0, 1400.0])
@pytest.mark.parametrize("cut_deg", [-45.0, 0.0, 30.0])
def test_the_aim_points_straight_up_and_left_stays_left(cut_deg: float, distance_mm: float) -> None:
    shot = shot_of(cut_deg, distance_mm)
    stage = framing(layout(1920, 1080, DUSK), shot)
    for _, _, view in stage.panes:
        run = view.to_px(shot.ghost_ball_mm) - view.to_px(shot.cue_ball_mm)
        assert run[0] == pytest.approx(0, abs=1e-6)
        assert run[1] < 0
    u = stage.main.to_px(shot.target_mm) - stage.main.to_px(shot.object_ball_mm)
    assert np.sign(round(u[0], 6)) == -np.sign(cut_deg)


def test_a_far_shot_has_two_panes_and_lines_run_on_across_the_break() -> None:
    shot = shot_of(22, 1400)
    board = board_of("build-up", shot, "contact_points")
    far, near = panes(board, FAR, NEAR)
    frame = last_of(board, "aim line")
    ends = [pixels(p.projection(frame), np.stack([shot.cue_ball_mm, shot.ghost_ball_mm])) for p in (far, near)]
    assert ends[0][:, 0] == pytest.approx(ends[1][:, 0]), "one vertical line in both"
    pieces = [
        e for e in board.elements if e.role == "aim_line" and isinstance(e.shape, Line) and "under" not in e.id
    ]
    assert {e.panes for e in pieces if INSET not in e.panes} == {(FAR,), (NEAR,), (PLAYED,)}


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("cut_deg", [-22.0, 14.48])
def test_every_mark_stands_where_the_construction_says(method: str, cut_deg: float) -> None:
    """The drawn marks are the construction's points, once each, and stay to the last step."""
    shot = shot_of(cut_deg, 180)
    board = board_of("build-up", shot, method)
    plan = METHODS[method].construct(shot)
    frame = last_of(board, plan.steps[-1].name)
    shown = {
        (e.role, e.shape.at_mm)
        for e in board.elements
        if isinstance(e.shape, Mark) and INSET not in e.panes and e.is_visible(frame)
    }
    assert {(p.role, p.at_mm) for step in plan.steps for p in step.points} <= shown


@pytest.mark.parametrize("method", METHODS)
def test_what_a_step_adds_is_absent_before_and_whole_at_its_end(method: str) -> None:
    shot = shot_of(14.48, 180)
    board = board_of("build-up", shot, method)
    plan = METHODS[method].construct(shot)
    for step in plan.steps:
        span = next(s for s in board.steps if s.name == step.name)
        for line in step.lines:
            drawn = [
                e
                for e in board.elements
                if isinstance(e.shape, Line)
                and e.role == line.role
                and e.panes[0] == STAGE
                and "under" not in e.id
                and math.dist(e.shape.points_mm[0], line.start_mm) < 1e-6
            ]
            assert drawn
            assert all(not e.is_visible(span.first_frame - 1) for e in drawn) or line.role == "target_line_back"
            assert all(e.drawn.at(span.end_frame - 1) == (1.0,) for e in drawn)


def test_one_camera_move_opens_the_clip_and_the_build_up_never_moves() -> None:
    board = board_of("build-up", shot_of(30, 180), "ghost_ball")
    table, stage = panes(board, TABLE, STAGE)
    (move,) = table.camera.track.moves
    assert move.easing == "quintic"
    assert (move.end_frame - move.first_frame) / 30 == pytest.approx(1.9, abs=0.05)
    assert stage.camera.track.moves == ()
    last = move.end_frame - 1
    assert table.projection(last) == pytest.approx(stage.projection(last)), "it ends where the stage stands"
    assert table.opacity.at(last - 1) == (1.0,)
    assert (table.opacity.at(last), stage.opacity.at(last)) == ((0.0,), (1.0,))
    words = [e for e in board.elements if not e.panes and e.is_visible(move.first_frame)]
    assert words == [], "no words while the camera moves"


@pytest.mark.parametrize("cut_deg", [-30.0, 0.0, 14.48, 60.0])
@pytest.mark.parametrize("distance_mm", [120.0, 1400.0])
def test_the_roll_is_a_collision_and_ends_in_the_pocket(cut_deg: float, distance_mm: float) -> None:
    """No easing; contact at the ghost position; ways just after the hit as for equal balls that lose nothing.

    A stunned cue ball leaves along the tangent with tan(cut) times the object ball's speed (any textbook of
    mechanics for an elastic collision of equal masses); both then slide for a while and lose the same a second.
    """
    shot: Shot = shot_of(cut_deg, distance_mm)
    board = board_of("build-up", shot, "ghost_ball")
    cue, target = element(board, "cue_ball").offset_mm, element(board, "object_ball").offset_mm
    (rolls,) = target.moves
    hit = next(f for f in range(rolls.first_frame, rolls.end_frame) if target.at(f) != (0.0, 0.0, 0.0))
    cue_at = [shot.cue_ball_mm + np.array(cue.at(f)) for f in range(hit - 2, hit + 4)]
    apart = [
        float(np.hypot(*(p - shot.object_ball_mm - np.array(target.at(hit - 2 + i)))[:2]))
        for i, p in enumerate(cue_at)
    ]
    assert min(apart) >= float(shot.ball_diameter_mm) - 1e-9
    assert np.hypot(*(cue_at[1] - shot.ghost_ball_mm)[:2]) < np.hypot(*(cue_at[0] - shot.ghost_ball_mm)[:2])
    object_run = np.array(target.at(hit + 3)) - target.at(hit + 1)
    cue_run = cue_at[5] - cue_at[3]
    assert object_run[:2] / np.linalg.norm(object_run) == pytest.approx(shot.object_direction, abs=1e-9)
    if play_softly(shot, TABLES["9ft"]).roll == 0:
        assert cue_run @ object_run == pytest.approx(0, abs=1e-6)
        c = math.radians(abs(cut_deg))
        # the slower ball has lost the larger part of its speed
        ratio = np.linalg.norm(cue_run) / np.linalg.norm(object_run) / max(math.tan(c), 1e-9)
        assert cut_deg == 0 or (0.75 < ratio < 1.001 if abs(cut_deg) < 45 else 0.999 < ratio < 1.1)
    end = shot.object_ball_mm + np.array(target.at(rolls.end_frame))
    hole = hole_of(TABLES["9ft"].pocket("foot-left"), TABLES["9ft"])
    assert np.hypot(*(end[:2] - hole.centre_mm)) < hole.radius_mm
    assert end[2] < 0


@pytest.mark.parametrize(("cut_deg", "distance_mm"), [(-30.0, 300.0), (22.0, 1400.0), (5.0, 900.0)])
@pytest.mark.parametrize("size", ["wide", "square", "tall"])
def test_the_whole_shot_is_in_the_picture_below_the_words(cut_deg: float, distance_mm: float, size: str) -> None:
    shot = shot_of(cut_deg, distance_mm)
    board = board_of("build-up", shot, "ghost_ball", FRAMES[size])
    (pane,) = panes(board, PLAYED)
    roll = board.steps[-1]
    P = pane.projection(roll.end_frame - 1)
    texts = [e.shape for e in board.elements if e.role == "title" and e.is_visible(roll.end_frame - 1)]
    below = max(t.at_px[1] for t in texts if isinstance(t, Text))
    for id, at in (("cue_ball", shot.cue_ball_mm), ("object_ball", shot.object_ball_mm)):
        track = element(board, id).offset_mm
        for frame in range(track.moves[0].first_frame, roll.end_frame, 5):
            x, y = pixels(P, at + np.array(track.at(frame)))
            assert 0 < x < board.width_px
            assert below < y < board.height_px


def test_steps_are_as_long_as_the_brief_says_and_one_picture_stands_half_a_second_when_complete() -> None:
    brief = brief_of("build-up", shot_of(22, 180), "doubled_offset")
    board = build_up(brief)
    assert [s.end_frame - s.first_frame for s in board.steps] == [s.frames for s in brief.steps]
    assert board.frames == brief.frames
    built = board.steps[-2]
    rests = [(a, b) for a, b in board.still_stretches(15) if built.first_frame <= a < b <= built.end_frame + 1]
    assert rests


def test_a_step_given_less_than_it_needs_is_squeezed_not_spilled() -> None:
    brief = brief_of("build-up", shot_of(22, 180), "doubled_offset")
    short = replace(brief, steps=tuple(replace(s, frames=20) for s in brief.steps))
    board = build_up(short)
    assert board.frames == 20 * len(brief.steps)
    for e in board.elements:
        for track in e.tracks():
            for one, other in zip(track.moves, track.moves[1:], strict=False):
                assert one.end_frame <= other.first_frame


def test_without_a_table_the_clip_begins_with_the_construction() -> None:
    brief = brief_of("build-up", shot_of(22, 180), "ghost_ball")
    subject = replace(brief.subject, table=None)
    names = [step.name for step in outline(subject)]
    assert names[0] == "target line"
    board = build_up(replace(brief, subject=subject, steps=brief.steps[1:]))
    assert [p.id for p in board.panes] == [STAGE, PLAYED]
    assert element(board, "cue_ball").is_visible(0)


def test_steps_that_are_not_the_outlines_are_refused() -> None:
    brief = brief_of("build-up", shot_of(22, 180), "ghost_ball")
    with pytest.raises(ValueError, match="has the steps where, target line"):
        build_up(replace(brief, steps=brief.steps[:-1]))


@pytest.mark.parametrize("frame", ["wide", "square", "tall"])
@pytest.mark.parametrize("distance_mm", [300.0, 1200.0])
@pytest.mark.parametrize("cut_deg", [-36.0, -30.0, -22.0, -14.5, 12.0, 20.0, 25.0, 33.0])
def test_where_to_look_is_named_on_the_side_where_it_is(frame: str, distance_mm: float, cut_deg: float) -> None:
    board = board_of("build-up", shot_of(cut_deg, distance_mm), "ball_fractions", FRAMES[frame])
    step = last_of(board, "target")
    ends = [
        (e.shape.points_px[0][0], e.shape.points_px[-1][0])
        for e in board.elements
        if isinstance(e.shape, Leader) and e.names == "sight_point" and e.is_visible(step)
    ]
    assert len(ends) == 1, "one leader to the place to look at"
    # a cut to the left is aimed at on the right
    assert np.sign(ends[0][0] - ends[0][1]) == np.sign(cut_deg)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("cut_deg", [-30.0, -22.0, 12.0, 25.0])
@pytest.mark.parametrize("distance_mm", [300.0, 1200.0])
def test_a_number_in_the_picture_is_led_to_what_it_measures(
    method: str, cut_deg: float, distance_mm: float
) -> None:
    board = board_of("build-up", shot_of(cut_deg, distance_mm), method)
    bars = {e.id for e in board.elements if isinstance(e.shape, Bar)}
    plates = {
        e.id.removeprefix("label.") for e in board.elements if isinstance(e.shape, Plate) and e.names in bars
    }
    leaders = {e.id.removeprefix("leader.") for e in board.elements if isinstance(e.shape, Leader)}
    assert plates <= leaders


@pytest.mark.parametrize("frame", ["wide", "square", "tall"])
@pytest.mark.parametrize("cut_deg", [-45.0, -5.0, 14.5, 30.0])
def test_a_near_shot_is_whole_and_to_scale(frame: str, cut_deg: float) -> None:
    shot = shot_of(cut_deg, 300.0)
    board = board_of("build-up", shot, "ghost_ball", FRAMES[frame])
    (stage,) = panes(board, STAGE)
    O, C = pixels(stage.projection(0), np.stack([shot.object_ball_mm, shot.cue_ball_mm]))
    scale = math.dist(O, C) / 300.0
    assert scale * 57.15 >= SMALLEST * min(FRAMES[frame])
    told = [
        e for e in board.elements if isinstance(e.shape, Text) and "300" in e.shape.text and e.role == "dimension"
    ]
    strokes = [
        e.shape.rect_px for e in board.elements if isinstance(e.shape, Shade) and e.shape.style == "row_bar"
    ]
    assert bool(told) == bool(strokes) == (frame == "wide")
    if strokes:
        assert min(y for _, y, _, _ in strokes) == pytest.approx(O[1], abs=2)
        assert max(y + h for _, y, _, h in strokes) == pytest.approx(C[1], abs=2)


def test_a_drawing_begins_with_the_clause_that_names_it() -> None:
    brief = brief_of("build-up", shot_of(22, 300), "ghost_ball")
    k = [step.name for step in brief.steps].index("contact point")

    def drawn(*clauses: Clause) -> tuple[int, int, int]:
        told = replace(brief.steps[k], frames=240, clauses=clauses)
        board = build_up(replace(brief, steps=(*brief.steps[:k], told, *brief.steps[k + 1 :])))
        first = next(s.first_frame for s in board.steps if s.name == "contact point")
        line = next(e for e in board.elements if e.role == "target_line_back")
        point = element(board, "contact_object.1.0")
        label = next(e for e in board.elements if isinstance(e.shape, Plate) and e.names == "contact_object")
        begins = line.drawn.moves[0], point.opacity.moves[0], label.opacity.moves[0]
        return tuple(move.first_frame - first for move in begins)  # type: ignore[return-value]

    there, back = ("contact_object",), ("target_line_back",)
    assert drawn(Clause(0.3, 0.6, "Carry it back.", back), Clause(0.6, 1, "There it is.", there)) == (72, 144, 144)
    assert drawn(Clause(0.3, 0.6, "There it will be", there), Clause(0.6, 1, "if you go back.", back))[:2] == (
        144,
        72,
    )
    # without names the words of the labels say it
    said = Clause(0, 0.5, "Carry it back."), Clause(0.5, 1, "It is the contact point.")
    assert drawn(*said)[1] == 120
    # words at the very end leave the drawing its time all the same
    line, point, _ = drawn(Clause(0.98, 0.99, "Back,", back), Clause(0.99, 1, "there.", there))
    assert line < point < 240 - 6


@pytest.mark.parametrize("cut_deg", [-22.0, 33.0])
def test_the_tip_that_measures_a_shift_ends_on_the_aim(cut_deg: float) -> None:
    board = board_of("build-up", shot_of(cut_deg, 1200), "ball_fractions")
    tip = element(board, "tip")
    aside = tip.offset_mm.at(last_of(board, "cue-ball shift"))
    assert min(abs(math.hypot(*aside) - 57.15 / parts) for parts in (8, 16)) < 1e-6
    assert tip.offset_mm.at(last_of(board, "aim line")) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("cut_deg", [8.0, -33.0])
def test_the_tip_is_shown_as_a_ruler_with_the_part_that_the_shift_takes(cut_deg: float) -> None:
    words = {
        "tip_ruler": "the tip as a ruler",
        "tip_whole": "one tip",
        "tip_half": "half",
        "tip_quarter": "a quarter",
    }
    brief = brief_of("build-up", shot_of(cut_deg, 300), "ball_fractions")
    board = build_up(replace(brief, labels={**brief.labels, **words}))
    step = next(s for s in board.steps if s.name == "cue-ball shift")
    told = {e.id: e for e in board.elements if e.role == "tip_key" and e.is_visible(step.end_frame - 1)}
    whole, part = told["tip_key.tip.1"].shape, told["tip_key.part"].shape
    assert isinstance(whole, Shade)
    assert isinstance(part, Shade)
    named = {e.shape.text for e in told.values() if isinstance(e.shape, Text)}
    construction = brief.subject.construction
    assert construction is not None
    values = dict(next(s for s in construction.steps if s.name == "cue-ball shift").values)
    # common practice: a quarter of a tip stands for a sixteenth of the ball, half a tip for an eighth
    sixteenths = round(float(values["shift"].value) / (2 * 28.575 / 16))
    assert part.rect_px[2] / whole.rect_px[2] == pytest.approx(sixteenths / 4)
    assert {"half", "a quarter"} & named == {"half" if sixteenths == 2 else "a quarter"}
    assert faults(board) == []
    after = board.steps[board.steps.index(step) + 1]
    assert not [e.id for e in told.values() if e.opacity.at(after.end_frame - 1)[0] > 0]
