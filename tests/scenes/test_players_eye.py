"""Player's-eye clips: what balls hide is drawn so, the pane magnifies the same picture, nothing flickers."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from aimgeo.camera import ball_outline, pixels
from aimgeo.construct import position
from aimgeo.hidden import hidden_span
from aimgeo.methods import METHODS
from aimgeo.shot import place_shot
from aimgeo.tables import TABLES
from aimgeo.vectors import left
from scenes.board import Ball, Board, Line, Mark, Plate, Ring, Shade
from scenes.board.brief import Brief, BriefStep, EyeSpec, MeasureText, Output, Subject
from scenes.draw.picture import picture as drawn
from scenes.draw.view import Body
from scenes.figure.eye_view import EYE, TARGET, eye_mm
from scenes.judge.legible import faults
from scenes.kinds import players_eye

TABLE = TABLES["9ft"]
R = 28.575
OVER = EyeSpec("over the line", 600.0, 0.0, 300.0)
point3 = st.tuples(*(st.floats(-300, 300) for _ in range(3)))


def a_subject(method: str, cut_deg: float, distance_mm: float, eye: EyeSpec = OVER, **settings: Any) -> Subject:
    pocket = "foot-left" if cut_deg >= 0 else "foot-right"
    y = 150.0 if cut_deg >= 0 else -150.0
    shot = place_shot((500.0, y), TABLE.pocket(pocket).centre_mm, math.radians(cut_deg), distance_mm)
    construction = METHODS[method].construct(shot)
    return Subject(
        "players-eye", TABLE, pocket, shot, construction, eye, settings=players_eye.PlayersEyeSettings(**settings)
    )


def a_board(subject: Subject, size: tuple[int, int] = (640, 360), fps: int = 10) -> Board:
    output = Output(*size, (fps, 1))
    steps = tuple(
        BriefStep(
            s.name,
            s.name,
            "",
            output.frames(s.draws_s),
            tuple(MeasureText(k, k, "10.7", "mm") for k, _ in s.measures),
        )
        for s in players_eye.outline(subject)
    )
    labels = {
        "target_line": "Target line",
        "aim_line": "Aim line",
        "object_ball_line": "Object-ball line",
        "contact_line": "Contact-point line",
        "mark_centre": "Centre",
        "mark_half": "Halfway",
        "target": "Target: foot-left pocket",
        "contact_offset": "contact",
        "aim_offset": "aim",
        "from_centre": "from the ball’s centre",
        "cue_ball_stunned": "Cue ball, hit without spin",
        "cue_ball_rolling": "Cue ball, rolling",
        "beside_pocket": "from the pocket’s middle",
        "mark_edge": "Edge",
        "ghost_ball": "Ghost ball",
        "contact_object": "Contact point",
        "heading": "Cut 22.0° left",
        "viewing_distance": "True from {widths} picture widths",
    }
    return players_eye.board(Brief("clip", subject, output, steps, labels))


def marks(board: Board, role: str) -> list[Mark]:
    return [e.shape for e in board.elements if e.role == role and isinstance(e.shape, Mark)]


# ------------------------------------------------------------------ what is hidden


@given(eye=point3, a=point3, b=point3, centre=point3, radius=st.floats(5, 80))
def test_the_hidden_part_of_a_line_is_where_marching_along_the_sight_meets_the_ball(
    eye: Any, a: Any, b: Any, centre: Any, radius: float
) -> None:
    eye, a, b, centre = map(np.array, (eye, a, b, centre))
    if np.linalg.norm(eye - centre) < radius + 5 or np.linalg.norm(b - a) < 20:
        return
    low, high = hidden_span(eye, a, b, centre, radius)
    t = np.linspace(0, 1, 41)
    points = a + t[:, None] * (b - a)
    way = eye + np.linspace(0, 1, 400)[:, None, None] * (points - eye)
    gap = np.linalg.norm(way - centre, axis=-1).min(axis=0) - radius
    inside = (t >= low) & (t <= high)  # nowhere where both are nan
    for is_inside, g in zip(inside, gap, strict=True):
        assert g < 3 if is_inside else g > -2e-6


def test_a_line_that_only_touches_a_ball_is_not_hidden_by_it() -> None:
    """The notches of the pane's ruler stand on the ball's flank, upright: no rounding may hide a part of one."""
    for offset in np.linspace(-0.9, 0.9, 37) * R:
        at = np.array([-math.sqrt(R * R - offset * offset), offset, R])
        up = np.array([0.0, 0.0, 0.16 * R])
        assert np.isnan(hidden_span([-600.0, 31.0, 300.0], at - up, at + up, [0.0, 0.0, R], R)).all()


def test_the_cue_balls_contact_point_is_hidden_from_behind_and_the_object_balls_is_seen() -> None:
    board = a_board(a_subject("contact_points", 28.0, 640.0))
    assert [m.hollow for m in marks(board, "contact_cue")] == [True]
    assert [m.hollow for m in marks(board, "contact_object")] == [False]


def test_the_object_balls_contact_point_behind_the_cue_ball_is_hollow() -> None:
    """Low and near the cue ball stands in the way; the same from higher up does not."""
    low, high = (EyeSpec("eye", 600.0, 0.0, h) for h in (40.0, 600.0))
    for eye, hidden in ((low, True), (high, False)):
        board = a_board(a_subject("ghost_ball", 10.0, 200.0, eye))
        assert [m.hollow for m in marks(board, "contact_object")] == [hidden]


def test_a_contact_point_on_the_far_side_is_hollow() -> None:
    """From beyond the object ball's flank its contact point lies behind the horizon."""
    shot = a_subject("ghost_ball", 40.0, 640.0).shot
    assert shot is not None
    object_ball = Body("object_ball", shot.object_ball_mm, R)
    ahead = shot.object_ball_mm + np.array([*(700 * shot.object_direction), 200.0])
    behind = shot.object_ball_mm - np.array([*(700 * shot.object_direction), -200.0])
    assert object_ball.hides(ahead, shot.contact_object_mm)
    assert not object_ball.hides(behind, shot.contact_object_mm)


def test_a_ghost_ball_partly_behind_the_object_ball_is_not_drawn_over_it() -> None:
    """Seen from beyond the object ball: its picture stays as it is where it covers the ghost."""
    from scenes.board import Element, EyeCamera, Pane, StepSpan, TableTop, constant

    shot = a_subject("ghost_ball", 20.0, 640.0).shot
    assert shot is not None
    u = np.array([*shot.object_direction, 0.0])
    side = np.array([*left(shot.object_direction), 0.0])
    eye = shot.object_ball_mm + 500 * u + 120 * side + np.array([0, 0, 60.0])
    camera = EyeCamera(constant(*eye, *shot.object_ball_mm, math.radians(16)))
    pane = Pane("eye", (0, 0, 320, 180), "eye", camera, "plate")
    balls = [
        Element("table", "table", TableTop(TABLE), ("eye",), "table"),
        Element("object_ball", "object_ball", Ball(position(shot.object_ball_mm), R, "object"), ("eye",), "ball"),
    ]
    ghost = Element("ghost", "ghost_ball", Ball(position(shot.ghost_ball_mm), R, "ghost"), ("eye",), "ghost")
    shots = []
    for elements in (balls, [*balls, ghost]):
        shots.append(
            drawn(Board(320, 180, (10, 1), 1, (pane,), tuple(elements), (StepSpan("a", 0, 1),)), 0).astype(int)
        )
    change = np.abs(shots[1] - shots[0]).sum(axis=-1)
    P = pane.projection(0)
    for offset in (0.0, 0.5, 0.8):
        x, y = pixels(P, shot.object_ball_mm + offset * R * -side).astype(int)
        assert change[y - 2 : y + 3, x - 2 : x + 3].max() <= 12
    assert change.max() > 60, "and beside the object ball the ghost is seen"


# ------------------------------------------------------------------ the pane


@pytest.mark.parametrize("eye", [OVER, EyeSpec("left", 600.0, 40.0, 300.0), EyeSpec("up", 700.0, 0.0, 900.0)])
def test_the_target_pane_is_the_same_picture_magnified(eye: EyeSpec) -> None:
    board = a_board(a_subject("doubled_offset", 22.0, 640.0, eye))
    main, target = board.panes
    rng = np.random.default_rng(3)
    points = np.array([500.0, 150.0, R]) + rng.normal(0, 60, (40, 3))
    a, b = (pixels(p.projection(0), points) for p in (main, target))
    fit = (
        np.polynomial.polynomial.polyfit(a[:, 0], b[:, 0], 1),
        np.polynomial.polynomial.polyfit(a[:, 1], b[:, 1], 1),
    )
    assert fit[0][1] == pytest.approx(fit[1][1], rel=1e-9)
    assert np.abs(fit[0][0] + fit[0][1] * a[:, 0] - b[:, 0]).max() < 1e-6
    assert np.abs(fit[1][0] + fit[1][1] * a[:, 1] - b[:, 1]).max() < 1e-6


@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1080), (1080, 1920)])
def test_the_target_pane_shows_object_and_ghost_ball_whole_and_centred(size: tuple[int, int]) -> None:
    for cut in (10.0, -30.0, 50.0):
        subject = a_subject("ghost_ball", cut, 640.0)
        target = a_board(subject, size).panes[1]
        shot = subject.shot
        assert shot is not None
        x, y, w, h = target.rect_px
        boxes = []
        for centre in (shot.object_ball_mm, shot.ghost_ball_mm):
            outline = ball_outline(target.projection(0), centre, R)
            boxes.append(outline.box_px())
        low = np.min([b[:2] for b in boxes], axis=0)
        high = np.max([(b[0] + b[2], b[1] + b[3]) for b in boxes], axis=0)
        assert (low > [x, y]).all()
        assert (high < [x + w, y + h]).all()
        assert (low + high) / 2 == pytest.approx([x + w / 2, y + h / 2], abs=1e-6)


@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1080), (1080, 1920), (640, 360)])
@pytest.mark.parametrize("cut", [30.0, -22.0])
def test_both_balls_stand_in_the_picture_clear_of_the_pane(size: tuple[int, int], cut: float) -> None:
    for distance in (200.0, 640.0, 1500.0):
        board = a_board(a_subject("ghost_ball", cut, distance), size)
        main = board.panes[0]
        pane = next(e.shape for e in board.elements if e.id == "pane.edge")
        assert isinstance(pane, Shade)
        x, y, w, h = pane.rect_px
        for e in board.elements:
            if not isinstance(e.shape, Ball) or EYE not in e.panes:
                continue
            px, py = pixels(main.projection(0), np.array(e.shape.centre_mm))
            assert 0.05 * size[0] < px < 0.95 * size[0]
            assert 0.2 * size[1] < py < 0.93 * size[1]
            assert not (x < px < x + w and y < py < y + h)


def test_an_eye_over_the_aim_sees_the_aim_line_upright() -> None:
    board = a_board(a_subject("ghost_ball", 22.0, 640.0))
    line = next(e.shape for e in board.elements if e.role == "aim_line" and isinstance(e.shape, Line))
    a, b = pixels(board.panes[0].projection(0), np.array(line.points_mm))
    assert a[0] == pytest.approx(b[0], abs=1e-6)


def test_a_ruler_tick_stands_where_its_point_through_the_object_balls_centre_is_seen() -> None:
    subject = a_subject("doubled_offset", 22.0, 640.0)
    board = a_board(subject)
    shot = subject.shot
    assert shot is not None
    right = np.array([*-left(shot.aim_direction), 0.0])
    P = board.panes[1].projection(0)
    for k in (0, 2, 4):
        tick = next(e.shape for e in board.elements if e.id == f"ruler.{k}")
        assert isinstance(tick, Shade)
        seen = pixels(P, shot.object_ball_mm + 5 * k * right)
        assert tick.rect_px[0] + tick.rect_px[2] / 2 == pytest.approx(seen[0], abs=1e-6)


# ------------------------------------------------------------------ the whole clip


def test_labels_cover_no_ball_and_no_other_label() -> None:
    for method, cut in (("ghost_ball", 35.0), ("doubled_offset", 22.0), ("contact_points", -28.0)):
        board = a_board(a_subject(method, cut, 640.0), (1920, 1080))
        frame = next(s for s in board.steps if s.name == "aim line").end_frame - 1
        plates = [e.shape.rect_px for e in board.elements if isinstance(e.shape, Plate) and e.is_visible(frame)]
        assert plates
        P = board.panes[0].projection(0)
        for i, (x, y, w, h) in enumerate(plates):
            for ax, ay, aw, ah in plates[:i]:
                assert x + w < ax or ax + aw < x or y + h < ay or ay + ah < y
            for e in board.elements:
                if isinstance(e.shape, Ball) and EYE in e.panes and e.shape.look != "ghost":
                    cx, cy = pixels(P, np.array(e.shape.centre_mm))
                    assert not (x < cx < x + w and y < cy < y + h)


@pytest.mark.parametrize("method", METHODS)
def test_every_word_can_be_read(method: str) -> None:
    for cut, distance, size in (
        (8.0, 1300.0, (1920, 1080)),
        (-22.0, 640.0, (1080, 1920)),
        (30.0, 200.0, (640, 360)),
    ):
        assert not list(faults(a_board(a_subject(method, cut, distance), size)))


def test_the_cue_can_be_left_out() -> None:
    with_cue, without = (a_board(a_subject("ghost_ball", 22.0, 640.0, cue=c)) for c in (True, False))
    assert "cue" in {e.id for e in with_cue.elements}
    assert "cue" not in {e.id for e in without.elements}


def test_a_brief_with_other_steps_is_refused() -> None:
    subject = a_subject("ghost_ball", 22.0, 640.0)
    with pytest.raises(ValueError, match="has the steps view, larger, target line"):
        players_eye.board(Brief("clip", subject, Output(640, 360, (10, 1)), (BriefStep("view", "", "", 30),)))


def test_no_picture_flashes_more_than_three_times_a_second() -> None:
    """WCAG 2.3.1: a flash is a pair of opposed changes of a tenth of the luminance; here over a 341 x 256 px
    quarter of a 1024 x 768 picture, taken as 1/16 of the frame at any size (stricter)."""
    board = a_board(a_subject("ghost_ball", 22.0, 640.0), (160, 90), 6)
    lights: list[np.ndarray] = []
    for frame in range(board.frames):
        if not board.changing[frame]:
            lights.append(lights[-1])
            continue
        picture = drawn(board, frame).astype(float) / 255
        linear = np.where(picture <= 0.04045, picture / 12.92, ((picture + 0.055) / 1.055) ** 2.4)
        light = linear @ [0.2126, 0.7152, 0.0722]
        lights.append(light[:88, :160].reshape(4, 22, 4, 40).mean(axis=(1, 3)))
    change = np.diff(np.array(lights), axis=0)
    big = np.where(np.abs(change) >= 0.1, np.sign(change), 0.0)
    for cell in big.reshape(len(big), -1).T:
        turns = np.flatnonzero(cell)
        opposed = [b for a, b in itertools.pairwise(turns) if cell[a] != cell[b]]
        assert all(sum(f <= g < f + 6 for g in opposed) <= 6 for f in opposed)


def test_the_pane_and_the_picture_show_the_same_eye() -> None:
    subject = a_subject("ghost_ball", 22.0, 640.0, EyeSpec("left", 650.0, 30.0, 280.0))
    board = a_board(subject)
    assert subject.shot is not None
    expected = eye_mm(subject.shot, subject.eye)  # type: ignore[arg-type]
    for pane in board.panes:
        assert pane.id in (EYE, TARGET)
        P = pane.projection(0)
        assert -np.linalg.solve(P[:, :3], P[:, 3]) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1080), (1080, 1920)])
@pytest.mark.parametrize("cut", [-30.0, -22.0, -8.0, 8.0, 22.0, 30.0])
@pytest.mark.parametrize("distance", [300.0, 640.0, 1200.0])
def test_the_pocket_is_ringed_and_named_only_where_it_is_in_the_picture(
    size: tuple[int, int], cut: float, distance: float
) -> None:
    board = a_board(a_subject("ghost_ball", cut, distance), size)
    rings = [e for e in board.elements if e.role == "pocket"]
    names = [e for e in board.elements if e.names == "pocket"]
    if not rings:
        assert not names
        return
    (ring,) = rings
    assert isinstance(ring.shape, Ring)
    turn = np.linspace(0, 2 * np.pi, 90)
    around = np.stack([np.cos(turn), np.sin(turn), 0 * turn], -1)
    at = pixels(board.panes[0].projection(0), np.array(ring.shape.centre_mm) + ring.shape.radius_mm * around)
    assert (at >= 0).all()
    assert (at <= np.array(size)).all()


@pytest.mark.parametrize(("cut", "distance"), [(22.0, 300.0), (-30.0, 640.0), (8.0, 1200.0)])
def test_the_pocket_has_its_name_while_a_shot_is_played_into_it_or_beside_it(cut: float, distance: float) -> None:
    board = a_board(a_subject("contact_points", cut, distance), (1920, 1080))
    names = [e for e in board.elements if e.names == "pocket" and isinstance(e.shape, Plate)]
    last = [step for step in board.steps if step.name in ("shot", "mistake")]
    assert last
    for step in last:
        for frame in (step.end_frame - 1, (step.first_frame + step.end_frame) // 2):
            assert sum(e.opacity.at(frame)[0] == 1 for e in names) == 1, (step.name, frame)
    assert faults(board) == []


@pytest.mark.parametrize("cut", [28.0, -28.0, 14.5])
def test_a_pocket_at_the_edge_is_shown_whole(cut: float) -> None:
    board = a_board(a_subject("fixed_marks", cut, 150.0), (1920, 1080))
    assert [e.id for e in board.elements if e.role == "pocket"] == ["pocket"]
    assert [e for e in board.elements if e.names == "pocket" and isinstance(e.shape, Plate)]


@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1080), (1080, 1920)])
@pytest.mark.parametrize("cut", [3.0, -22.0])
def test_somebody_who_stands_sees_the_pocket_of_a_near_shot_too(size: tuple[int, int], cut: float) -> None:
    subject = a_subject("ghost_ball", cut, 150.0, EyeSpec("standing", 800.0, 0.0, 900.0))
    assert subject.shot is not None
    x, y = a_board(subject, size).panes[0].px(subject.shot.target_mm)
    assert 0 < x < size[0]
    assert 0.15 * size[1] < y < size[1]


def test_the_pane_comes_in_a_step_of_its_own() -> None:
    board = a_board(a_subject("ghost_ball", 22.0, 640.0), (1920, 1080))
    view, larger = board.steps[:2]
    target = board.panes[1]
    assert target.opacity.at(view.end_frame - 1) == (0.0,)
    assert target.opacity.at(larger.end_frame - 1) == (1.0,)
    early = [
        e.id for e in board.elements if e.id.startswith(("ruler", "pane", "halo", "link")) and e.is_visible(5)
    ]
    assert early == []
