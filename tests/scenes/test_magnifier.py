"""The magnifier shows, exactly so many times as large, what stands too near in a build-up, and covers nothing."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely import LineString, box
from shapely import Point as Spot

from aimgeo.camera import ball_outline
from aimgeo.construct import Measure, Point, Quantity, Step, position
from aimgeo.methods import METHODS
from aimgeo.methods.figure import at
from lessons.rendering.audit import ring_px
from lessons.rendering.manifest import stills
from scenes.board import Ball, Bar, Board, Halo, Leader, Line, Pane, Plate, Shade, Text
from scenes.draw.picture import picture
from scenes.figure.labels import Disc, Obstacles, Stroke
from scenes.figure.magnifier import ground_of
from scenes.frame.layout import layout
from scenes.judge.legible import faults, faults_at
from scenes.judge.shown import panes as shown_panes
from scenes.kinds.build_up import board as build_up
from scenes.kinds.build_up import outline
from scenes.look import LOOKS
from scenes.look.look import rgb
from scenes.look.scale import Scale
from tests.scenes.briefs import FRAMES, board_of, brief_of, shot_of

SHAPES = ("wide", "draft", "square", "tall")


def round_panes(board: Board) -> list[Pane]:
    return [pane for pane in board.panes if pane.is_round]


def whole_at(board: Board, pane: Pane) -> int:
    """The last frame on which a pane is there."""
    return pane.opacity.moves[1].first_frame - 1


def window_of(board: Board, pane: Pane) -> Pane:
    """The pane whose picture it shows larger: the one with its ring."""
    ring = next(e for e in board.elements if e.id == f"{pane.id}.ring")
    return next(p for p in board.panes if p.id in ring.panes)


def middle_px(pane: Pane) -> np.ndarray:
    x, y, w, h = pane.rect_px
    return np.array([x + w / 2, y + h / 2])


def px_per_mm(pane: Pane) -> float:
    return float(np.linalg.norm(pane.projection(0)[:2, 0]))


@pytest.mark.parametrize("shape", SHAPES)
@settings(max_examples=6)
@given(cut_deg=st.sampled_from([-15.0, -5.0, 5.0, 10.0]), distance_mm=st.sampled_from([180.0, 286.0, 900.0]))
def test_it_shows_its_place_so_many_times_as_large_as_its_words_say(
    shape: str, cut_deg: float, distance_mm: float
) -> None:
    """A point stands from its middle as from the place's in the picture, times the number; so does its ring."""
    board = board_of("build-up", shot_of(cut_deg, distance_mm), "doubled_offset", FRAMES[shape])
    for pane in round_panes(board):
        window = window_of(board, pane)
        words = [
            e.shape.text
            for e in board.elements
            if isinstance(e.shape, Text) and e.id.startswith(f"{pane.id}.words")
        ]
        times = int(" ".join(words).split()[0])
        ring = next(e.shape for e in board.elements if e.id == f"{pane.id}.ring")
        assert isinstance(ring, Halo)
        centre = np.array(ring.centre_mm)
        points = centre + np.random.default_rng(1).normal(0, 4, (20, 3))
        seen = pane.px(points) - middle_px(pane)
        assert seen == pytest.approx(times * (window.px(points) - window.px(centre)), abs=1e-6)
        outline_px = ball_outline(window.projection(0), centre, ring.radius_mm)
        assert times * outline_px.mean_radius_px == pytest.approx(pane.rect_px[2] / 2)


@settings(max_examples=30)
@given(
    cut_deg=st.floats(2, 29),
    is_left=st.booleans(),
    distance_mm=st.floats(150, 1400),
    frame=st.sampled_from(list(FRAMES.values())),
)
@example(cut_deg=12.0, is_left=True, distance_mm=488.0, frame=FRAMES["wide"])
def test_it_comes_where_lines_run_into_one_and_nowhere_else(
    cut_deg: float, is_left: bool, distance_mm: float, frame: tuple[int, int]
) -> None:
    """Three parallel lines R sin(cut) apart: below 24 px of 1080 (a fifth more in small frames) there is one,
    whatever the cut, the distance or the frame."""
    shot = shot_of(cut_deg if is_left else -cut_deg, distance_mm)
    board = board_of("build-up", shot, "doubled_offset", frame)
    stage = next(p for p in board.panes if p.id in ("stage", "far"))
    gap = float(shot.radius_mm) * math.sin(math.radians(cut_deg)) * px_per_mm(stage)
    assert bool(round_panes(board)) == (gap < Scale(*frame, board.look).stroke_px(24))


@pytest.mark.parametrize(("cut_deg", "side"), [(5.0, 1), (-10.0, -1)])
def test_the_painted_lines_stand_apart_by_the_offset_times_its_scale(cut_deg: float, side: int) -> None:
    """In the painted picture: the middles of the centre, contact-point and aim line on a row of the magnifier."""
    shot = shot_of(cut_deg, 286)
    board = board_of("build-up", shot, "doubled_offset")
    (pane,) = round_panes(board)
    pixels = picture(board, whole_at(board, pane)).astype(float) / 255
    _, cy = middle_px(pane)
    found = []
    for style in ("object_ball_line", "contact_line", "aim_line"):
        colour = np.array(rgb(board.look.lines[style].colour))
        x, _, w, _ = pane.rect_px
        # a band of rows, since two of the lines are dashed, below the bar and beside the names
        rows = pixels[round(cy + 0.66 * w / 2) : round(cy + 0.86 * w / 2), round(x) : round(x + w)]
        near = (np.abs(rows - colour).max(axis=2) < 0.12).sum(axis=0)
        half = round(0.5 * w / 2)
        near[: round(w / 2) - half] = near[round(w / 2) + half :] = 0
        (wide,) = np.nonzero(near > near.max() / 2)
        found.append((wide[0] + wide[-1] + 1) / 2 + round(x))
    step = float(shot.radius_mm) * abs(math.sin(math.radians(cut_deg))) * px_per_mm(pane)
    assert np.diff(found) == pytest.approx([side * step, side * step], abs=0.75)
    # and the middle one where the contact point is, seen along the aim
    assert found[1] == pytest.approx(pane.px(shot.contact_object_mm)[0], abs=0.75)


@pytest.mark.parametrize("frame", FRAMES)
@pytest.mark.parametrize("method", ["doubled_offset", "contact_points", "ball_fractions", "fixed_marks"])
def test_thin_cuts_are_legible_in_every_frame(method: str, frame: str) -> None:
    turn = list(FRAMES).index(frame) + len(method)
    cut_deg = (5.0, -10.0, 15.0, -5.0, 10.0)[turn % 5]
    look = list(LOOKS.values())[turn % len(LOOKS)]
    board = board_of("build-up", shot_of(cut_deg, (286.0, 1000.0)[turn % 2]), method, FRAMES[frame], look)
    built = board.steps[-1].first_frame
    assert [fault for fault in faults(board) if int(fault.split()[1][:-1]) < built] == []


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("cut_deg", [-5.0, 8.0])
@pytest.mark.parametrize("distance_mm", [286.0, 1000.0])
def test_it_covers_no_ball_no_line_and_no_other_pane(shape: str, cut_deg: float, distance_mm: float) -> None:
    board = board_of("build-up", shot_of(cut_deg, distance_mm), "doubled_offset", FRAMES[shape])
    for pane in round_panes(board):
        frame, middle, radius = whole_at(board, pane), middle_px(pane), pane.rect_px[2] / 2
        for other in board.panes:
            if other.is_round or other.opacity.at(frame)[0] == 0:
                continue
            if other.view == "inset":
                x, y, w, h = other.rect_px
                off = np.maximum(np.maximum(np.array([x, y]) - middle, middle - (x + w, y + h)), 0)
                assert np.hypot(*off) > radius
            for e in board.elements:
                if other.id not in e.panes or not e.is_visible(frame) or other.view == "inset":
                    continue
                if isinstance(e.shape, Ball):
                    ball = ball_outline(other.projection(frame), np.array(e.shape.centre_mm), e.shape.radius_mm)
                    assert np.linalg.norm(ball.centre_px - middle) > radius + ball.mean_radius_px, e.id
                if isinstance(e.shape, Line | Bar):
                    a, b = other.px(np.array(e.shape.points_mm), frame)
                    along = a + np.linspace(0, 1, 400)[:, None] * (b - a)
                    inside = along[(along[:, 1] > other.rect_px[1]) & (along[:, 1] < sum(other.rect_px[1::2]))]
                    assert np.linalg.norm(inside - middle, axis=1).min(initial=np.inf) > radius, e.id


def test_its_number_is_led_to_the_bar_that_it_shows_and_the_bar_is_nowhere_else() -> None:
    board = board_of("build-up", shot_of(5, 286), "doubled_offset")
    (pane,) = round_panes(board)
    frame = whole_at(board, pane)
    bars = [e for e in board.elements if isinstance(e.shape, Bar) and e.is_visible(frame)]
    assert [e.panes for e in bars] == [(pane.id,)]
    label = next(
        e for e in board.elements if isinstance(e.shape, Plate) and e.names == bars[0].id and e.is_visible(frame)
    )
    leader = next(
        e for e in board.elements if isinstance(e.shape, Leader) and e.names == bars[0].id and e.is_visible(frame)
    )
    assert isinstance(label.shape, Plate)
    assert isinstance(leader.shape, Leader)
    x, y, w, h = label.shape.rect_px
    end = np.array(leader.shape.points_px[-1])
    ends = pane.px(np.array(bars[0].shape.points_mm))  # type: ignore[union-attr]
    assert ends[:, 0].min() < end[0] < ends[:, 0].max()
    assert not (x < end[0] < x + w and y < end[1] < y + h)


def test_it_is_open_before_what_it_shows_is_drawn_to_its_end_and_gone_with_the_construction() -> None:
    board = board_of("build-up", shot_of(5, 286), "doubled_offset")
    (pane,) = round_panes(board)
    line = next(e for e in board.elements if e.role == "contact_line" and pane.id in e.panes)
    came, gone = pane.opacity.moves
    assert came.end_frame <= line.drawn.moves[0].end_frame
    roll = board.steps[-1]
    assert roll.first_frame <= gone.first_frame < roll.first_frame + 10
    last = [e.id for e in board.elements if e.id.startswith("magnifier") and e.is_visible(roll.end_frame - 1)]
    assert [id for id in last if board_opacity(board, id, roll.end_frame - 1) > 0] == []


def board_opacity(board: Board, id: str, frame: int) -> float:
    return next(e for e in board.elements if e.id == id).opacity.at(frame)[0]


def test_points_of_a_method_of_ones_own_are_shown_apart_too() -> None:
    """Two points 2 mm apart with a measure between them, of roles that nobody knows."""
    shot = shot_of(20, 286)
    brief = brief_of("build-up", shot, "ghost_ball")
    assert brief.subject.construction is not None
    plan = brief.subject.construction
    places = [at(shot, -120.0, offset) for offset in (10.0, 12.0)]
    points = tuple(Point(f"own_{name}", place) for name, place in zip("ab", places, strict=True))
    gap = Measure("own_gap", Quantity(2.0, "length_mm"), (places[0], places[1]))
    plan = replace(
        plan, steps=(*plan.steps, Step("mine", "own.mine", plan.steps[0].values, points, (), (), (gap,)))
    )
    subject = replace(brief.subject, construction=plan)
    told = outline(subject)
    steps = [*brief.steps[:-1], replace(brief.steps[-2], name="mine"), brief.steps[-1]]
    assert [s.name for s in told] == [s.name for s in steps]
    labels = {**brief.labels, "own_a": "My first", "own_b": "My second"}
    board = build_up(replace(brief, subject=subject, steps=tuple(steps), labels=labels))
    (pane,) = round_panes(board)
    assert faults(board) == []
    seen = np.array([pane.px(np.array(place)) for place in places])
    assert np.linalg.norm(seen - middle_px(pane), axis=1).max() < pane.rect_px[2] / 2
    assert np.linalg.norm(seen[1] - seen[0]) == pytest.approx(2.0 * px_per_mm(pane))
    assert np.linalg.norm(seen[1] - seen[0]) > 26
    frame = whole_at(board, pane)
    names = {e.names for e in board.elements if isinstance(e.shape, Plate) and e.is_visible(frame)}
    assert {"own_a", "own_b"} <= names


def test_the_manifest_tells_its_pane_and_nothing_beyond_its_rim() -> None:
    board = board_of("build-up", shot_of(5, 286), "doubled_offset")
    (pane,) = round_panes(board)
    told = shown_panes(board, whole_at(board, pane))
    (mine,) = [one for one in told if one["is_round"]]
    assert {line["role"] for line in mine["shows"]["lines"]} == {"object_ball_line", "contact_line", "aim_line"}
    assert mine["shows"]["points"] == []
    assert mine["shows"]["balls"] == []
    assert mine["rect_px"] == list(pane.rect_px)


def test_a_word_on_a_rim_is_told() -> None:
    board = board_of("build-up", shot_of(5, 286), "doubled_offset")
    (pane,) = round_panes(board)
    frame = whole_at(board, pane)
    x, y, w, _ = pane.rect_px
    edge = next(e for e in board.elements if e.id == f"{pane.id}.edge")
    assert isinstance(edge.shape, Shade)
    word = replace(edge, id="word", shape=Text("Across", (x + 0.95 * w, y + w / 2), "small"), layer="text")
    bad = replace(board, elements=(*board.elements, word))
    assert any("covers the rim" in fault for fault in faults_at(bad, frame))


def test_every_method_without_narrow_gaps_has_none() -> None:
    for method in METHODS:
        if METHODS[method].limit(shot_of(30, 286)) is None and method not in ("ball_fractions", "contact_points"):
            assert round_panes(board_of("build-up", shot_of(30, 286), method)) == [], method
    assert position(shot_of(30, 286).cue_ball_mm)


def test_the_audit_knows_the_ring_that_it_must_not_take_for_a_ball() -> None:
    board = board_of("build-up", shot_of(5.0, 286.0), "doubled_offset", FRAMES["wide"])
    magnified = round_panes(board)[0]
    frame = whole_at(board, magnified)
    told = stills([{"first_frame": frame, "end_frame": frame + 1, "panes": shown_panes(board, frame)}])[0].panes
    ring = next(e.shape for e in board.elements if e.id == f"{magnified.id}.ring")
    assert isinstance(ring, Halo)
    P = window_of(board, magnified).projection(frame)
    outline = ball_outline(P, np.array(ring.centre_mm), ring.radius_mm)
    found = ring_px(P, next(pane for pane in told if pane.is_round))
    away = np.linalg.norm(found - outline.centre_px, axis=1)
    np.testing.assert_allclose(away, outline.mean_radius_px, atol=1e-6)


@settings(max_examples=10)
@given(seed=st.integers(0, 10_000), radius=st.floats(60, 260), frame=st.sampled_from(list(FRAMES.values())))
def test_room_is_seen_wherever_a_circle_meets_nothing(seed: int, radius: float, frame: tuple[int, int]) -> None:
    """shapely measures how far each place is from balls, lines and rectangles scattered over the frame."""
    dice, laid = np.random.default_rng(seed), layout(*frame, LOOKS["dusk"])
    spots = (dice.random((4, 6, 2)) * frame).tolist()
    balls = tuple(Disc((x, y), 10 + 5 * n) for n, (x, y) in enumerate(spots[0]))
    lines = tuple(Stroke("", (a, b), (c, d), 3.0) for (a, b), (c, d) in zip(spots[1], spots[2], strict=True))
    rects = tuple((x, y, 80.0, 40.0) for x, y in spots[3])
    ground = ground_of(laid, Obstacles(balls, (), lines, rects))
    x, y, w, h = laid.label_zone
    xs, ys = np.arange(x, x + w, 23.0), np.arange(y, y + h, 23.0)
    found = ground.may_fit(xs, ys, radius)
    found = found[ground.has_room(found, radius)]
    apart = [(LineString([one.start_px, one.end_px]), one.half_width_px + ground.gap) for one in lines] + [
        (Spot(ball.at_px), ball.radius_px + ground.gap) for ball in balls
    ]
    apart += [(box(a, b, a + c, b + d), ground.gap / 2) for a, b, c, d in rects]
    free = [
        (a, b) for b in ys for a in xs if all(shape.distance(Spot(a, b)) > radius + gap for shape, gap in apart)
    ]
    assert [tuple(place) for place in found.tolist()] == free
