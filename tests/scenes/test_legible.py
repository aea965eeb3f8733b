"""Words in the pictures cover nothing, in any clip of any matrix; and the check of it can fail."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from aimgeo.camera import pixels
from aimgeo.methods import METHODS
from scenes.board import (
    Ball,
    Board,
    Element,
    EyeCamera,
    Leader,
    Line,
    Mark,
    Pane,
    PlanCamera,
    Plate,
    StepSpan,
    Text,
    constant,
)
from scenes.figure.labels import Disc, Obstacles, Port, Spacing, Stroke, Wanted, place
from scenes.judge.legible import faults
from scenes.look import LOOKS
from scenes.look.dusk import DUSK
from scenes.look.scale import Scale, plate_sizes, plate_width_px
from tests.scenes.briefs import FRAMES, board_of, shot_of

CUTS_DEG = (0.0, 7.18, 14.48, 22.02, 30.0, 38.68, 48.59, 61.04, 80.0)
DISTANCES_MM = (60.0, 100.0, 150.0, 200.0, 250.0, 700.0, 1400.0)
ANY = settings(max_examples=12, suppress_health_check=[HealthCheck.too_slow])


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("frame", FRAMES)
def test_every_clip_of_a_matrix_is_legible(method: str, frame: str) -> None:
    """Each method in each frame; its cuts, sides, distances and looks are shared out among the frames."""
    start = list(FRAMES).index(frame)
    usable = [cut for cut in CUTS_DEG if METHODS[method].limit(shot_of(cut, 400.0)) is None]
    cut_deg = (1 if start % 2 else -1) * usable[(2 * start + len(method)) % len(usable)]
    distance_mm = DISTANCES_MM[(start + len(method)) % len(DISTANCES_MM)]
    look = list(LOOKS.values())[(start + len(method)) % len(LOOKS)]
    board = board_of("build-up", shot_of(cut_deg, distance_mm), method, FRAMES[frame], look)
    assert faults(board) == [], f"cut {cut_deg}, {distance_mm} mm"


@ANY
@given(
    method=st.sampled_from(sorted(METHODS)),
    look=st.sampled_from(sorted(LOOKS)),
    frame=st.sampled_from(sorted(FRAMES)),
    cut_deg=st.floats(-80, 80),
    distance_mm=st.floats(60, 1400),
)
def test_a_build_up_of_any_shot_is_legible(
    method: str, look: str, frame: str, cut_deg: float, distance_mm: float
) -> None:
    shot = shot_of(cut_deg, distance_mm)
    if METHODS[method].limit(shot) is None:
        assert faults(board_of("build-up", shot, method, FRAMES[frame], LOOKS[look])) == []


@ANY
@example(frame="draft", look="dusk", cut_deg=0.0, distance_mm=80.0, x=0.0, y=0.0, pocket="foot-left")
@given(
    frame=st.sampled_from(sorted(FRAMES)),
    look=st.sampled_from(sorted(LOOKS)),
    cut_deg=st.floats(-60, 60),
    distance_mm=st.floats(80, 700),
    x=st.floats(-400, 400),
    y=st.floats(-450, 450),
    pocket=st.sampled_from(["foot-left", "foot-right", "head-left", "side-right"]),
)
def test_a_table_clip_of_any_shot_is_legible(
    frame: str, look: str, cut_deg: float, distance_mm: float, x: float, y: float, pocket: str
) -> None:
    shot = shot_of(cut_deg, distance_mm, pocket, (x, y))
    on_bed = np.abs(shot.cue_ball_mm[:2]) < np.array([1270.0, 635.0]) - float(shot.radius_mm)
    if on_bed.all():
        assert faults(board_of("table", shot, None, FRAMES[frame], LOOKS[look])) == []


# ------------------------------------------------------------------ the check can fail


def hand_made(*elements: Element) -> Board:
    """A ball of 100 px at (800, 500), an aim line up through (1200, 100..900), a mark at its top; and more."""
    frame = (0.0, 0.0, 1920.0, 1080.0)
    # one pixel a millimetre, x right, y up from the frame's centre
    camera = PlanCamera(constant(0.0, 0.0, math.pi / 2, 0.0))
    ball = Ball((800 - 960, 540 - 500, 28.0), 100.0, "object")
    line = Line(((240.0, -360.0, 28.0), (240.0, 440.0, 28.0)), "aim_line")
    own = (
        Element("object_ball", "object_ball", ball, ("stage",), "ball"),
        Element("aim_line", "aim_line", line, ("stage",), "line"),
        Element("aim_point", "aim_point", Mark((240.0, 440.0, 28.0), "aim"), ("stage",), "mark"),
    )
    pane = Pane("stage", frame, "plan", camera, "cloth")
    return Board(1920, 1080, (30, 1), 30, (pane,), (*own, *elements), (StepSpan("one", 0, 30),))


def plate(text: str, x: float, y: float, names: str | None = None) -> Element:
    scale = Scale(1920, 1080, DUSK)
    rect = (x, y, plate_width_px(text, scale, False), plate_sizes(scale).height_px)
    return Element(f"label.{text}", "label", Plate(text, rect), layer="label", names=names)


def leader(names: str, *points: tuple[float, float]) -> Element:
    return Element(f"leader.{names}", "leader", Leader(points), layer="leader", names=names)


def test_the_hand_made_board_stands_where_it_says() -> None:
    board = hand_made()
    at = pixels(board.panes[0].projection(0), np.array([-160.0, 40.0, 28.0]))
    assert at.tolist() == pytest.approx([800, 500])
    assert faults(board) == []


@pytest.mark.parametrize(
    ("element", "fault"),
    [
        (plate("On the ball", 700, 480), "covers object_ball"),
        (plate("On the line", 1150, 700, names="aim_line"), "covers the line aim_line"),
        (plate("On the mark", 1206, 60), "covers aim_point"),
        (plate("Outside", 60, 700), "leaves the title-safe area"),
        (Element("t", "title", Text("Low", (300, 1060), "title")), "leaves the title-safe area"),
        (leader("object_ball", (1400, 500), (900, 500)), "crosses the line aim_line"),
        (leader("aim_line", (1400, 700), (1230, 700)), "does not end on it"),
    ],
)
def test_a_bad_board_is_told(element: Element, fault: str) -> None:
    found = faults(hand_made(element))
    assert any(fault in sentence for sentence in found), found


def test_labels_and_leaders_over_each_other_are_told() -> None:
    one, other = plate("One", 300, 300), plate("Other", 340, 320)
    assert any("covers label" in s for s in faults(hand_made(one, other)))
    crossing = leader("aim_line", (1400, 700), (1300, 700), (1300, 760), (1200, 760))
    across = leader("aim_point", (1400, 730), (1250, 730), (1250, 100), (1215, 100))
    assert any("crosses the leader" in s for s in faults(hand_made(crossing, across)))
    through = leader("aim_line", (200, 310), (1200, 310))
    assert any("crosses label 'One'" in s for s in faults(hand_made(one, through)))


def test_a_plate_too_narrow_for_its_text_and_five_kinds_of_line_are_told() -> None:
    narrow = plate("A long text", 300, 300)
    assert isinstance(narrow.shape, Plate)
    narrow = replace(narrow, shape=replace(narrow.shape, rect_px=(300, 300, 60, 58)))
    assert any("wider than its plate" in s for s in faults(hand_made(narrow)))
    kinds = ("target_line", "contact_line", "object_ball_line", "tangent_line")
    lines = [
        Element(
            kind, kind, Line(((300.0 + 40 * i, -300.0, 28.0), (300.0 + 40 * i, 300.0, 28.0)), kind), ("stage",)
        )
        for i, kind in enumerate(kinds)
    ]
    assert any("5 kinds of line" in s for s in faults(hand_made(*lines)))


def test_four_kinds_of_line_may_stand_in_each_of_two_eyes_pictures_and_no_fifth_in_either() -> None:
    camera = EyeCamera(constant(0.0, -800.0, 300.0, 0.0, 0.0, 0.0, math.radians(40)))
    panes = tuple(Pane(id, (x, 0.0, 960.0, 1080.0), "eye", camera) for id, x in (("one", 0.0), ("two", 960.0)))
    kinds = ("target_line", "contact_line", "object_ball_line", "tangent_line", "line_of_centres")

    def board(*where: tuple[str, ...]) -> Board:
        shape = Line(((0.0, -200.0, 28.0), (0.0, 200.0, 28.0)), "aim_line")
        lines = [Element(k, k, replace(shape, style=k), panes=ids) for k, ids in zip(kinds, where, strict=True)]
        return Board(1920, 1080, (30, 1), 30, panes, tuple(lines), (StepSpan("one", 0, 30),))

    both, one, two = ("one", "two"), ("one",), ("two",)
    assert faults(board(both, both, both, one, two)) == []
    assert any("5 kinds of line" in s for s in faults(board(both, both, both, one, one)))


# ------------------------------------------------------------------ finding a place


def test_a_label_finds_the_only_gap() -> None:
    """Everything but one window is taken: the label stands in it, and its leader runs free."""
    line = Stroke("aim_line", (500.0, 100.0), (500.0, 900.0), 7.0)
    walls = ((520.0, 0.0, 400.0, 600.0), (520.0, 700.0, 400.0, 300.0), (0.0, 0.0, 480.0, 1000.0))
    ports = tuple(Port((500.0, y), side) for y in np.linspace(150, 850, 71) for side in (-1, 1))
    want = Wanted("aim_line", "aim_line", "Aim line", 200.0, 58.0, ports)
    found = place(want, Obstacles((), (), (line,), walls), ((0, 0, 1000, 1000),), (), Spacing())
    assert found is not None
    x, y, w, h = found.rect_px
    assert x > 520
    assert x + w <= 1000
    assert 600 < y < y + h < 700
    assert found.leader_px[-1][0] == 500
    shut = (*walls, (520.0, 600.0, 400.0, 100.0))
    assert place(want, Obstacles((), (), (line,), shut), ((0, 0, 900, 1000),), (), Spacing()) is None


def test_a_leader_never_crosses_the_line_between() -> None:
    """The named line lies behind another: the label comes from the other side, or over the end."""
    strokes = (Stroke("aim_line", (500, 200), (500, 800), 7), Stroke("contact_line", (540, 100), (540, 900), 7))
    ports = tuple(Port((500.0, y), side) for y in np.linspace(250, 750, 21) for side in (-1, 1))
    want = Wanted("aim_line", "aim_line", "Aim line", 200.0, 58.0, ports, prefer=1)
    found = place(want, Obstacles((), (), strokes), ((0, 0, 1000, 1000),), (), Spacing())
    assert found is not None
    assert found.rect_px[0] + found.rect_px[2] < 500


def test_a_ball_label_keeps_off_the_other_ball() -> None:
    ball, other = Disc((500, 500), 100, True, "a"), Disc((760, 500), 100, True, "b")
    want = Wanted("a", "a", "Object ball", 200.0, 58.0, around=ball, prefer=1)
    found = place(want, Obstacles((ball, other)), ((0, 0, 1000, 1000),), (), Spacing())
    assert found is not None
    x, y, w, h = found.rect_px
    for disc in (ball, other):
        near = (min(max(disc.at_px[0], x), x + w), min(max(disc.at_px[1], y), y + h))
        assert math.dist(near, disc.at_px) > disc.radius_px
