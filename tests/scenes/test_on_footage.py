"""Lines over filmed footage: through the lens, hidden by real balls and cushions, faded when the balls leave."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from aimgeo.camera import Lens
from aimgeo.holes import hole_of
from aimgeo.tables import TABLES
from lessons.lesson.model import loads
from lessons.planning.filmed import filmed
from lessons.planning.plan import in_footage, plan
from lessons.rendering.audit import audit_picture, straightened
from lessons.rendering.manifest import stills
from scenes.board import Ball, Board, FilmedCamera, Halo, Line, Plate
from scenes.draw.display import Display
from scenes.draw.paths import Path as Drawn
from scenes.draw.paths import bent, circle, polyline
from scenes.draw.picture import picture
from scenes.draw.view import behind_noses
from scenes.figure.eye_view import seen_ball
from scenes.judge.shown import still_stretches
from scenes.kinds import CLIP_KINDS
from tests.lessons.footage.clicks import MATCHED


def clip(more: str = "") -> Board:
    """The board of a clip over the matched still."""
    text = f"title: T\nclips:\n  - kind: on-footage\n    footage: {MATCHED}\n    methods: ghost-ball\n{more}"
    return CLIP_KINDS["on-footage"].board(plan(loads(text)).clips[0].brief)


def test_straightened_and_bent_places_are_those_of_opencv() -> None:
    lens, K = Lens(-0.21, 0.07), np.eye(3)
    places = np.random.default_rng(2).uniform(-0.7, 0.7, (200, 2))
    points = np.concatenate([places, np.ones((200, 1))], -1)
    theirs = cv2.projectPoints(points, np.zeros(3), np.zeros(3), K, np.array([lens.k1, lens.k2, 0, 0]))[0][:, 0]
    assert np.abs(lens.bent(places) - theirs).max() < 1e-12
    assert np.abs(lens.straightened(theirs) - places).max() < 1e-12


def test_a_lens_shows_nothing_beyond_its_turning_radius() -> None:
    lens = Lens(-0.3)
    r = lens.turning_radius
    assert np.isnan(lens.bent([[1.01 * r, 0.0]])).all()
    assert np.isnan(lens.straightened([[1.01 * lens.reach, 0.0]])).all()
    assert np.allclose(lens.bent(lens.straightened([[0.999 * lens.reach, 0.0]])), [[0.999 * lens.reach, 0.0]])


def test_bent_curves_follow_the_lens_to_a_thousandth_of_a_pixel() -> None:
    camera = FilmedCamera((0, 0, 0), ((1, 0, 0), (0, 1, 0), (0, 0, 1)), 900.0, (960.0, 540.0), -0.12, 0.02)
    for curves in (polyline([(100.0, 80.0), (1800.0, 1000.0)]), circle((1500.0, 300.0), 60.0)):
        (path,) = bent([Drawn(curves, stroke=(1, 1, 1, 1), width_px=3)], camera.bent)
        t = np.linspace(0, 1, 9)[:, None, None]
        weights = [(1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3]
        drawn = np.sum([w * path.curves[None, :, k] for k, w in enumerate(weights)], 0).reshape(-1, 2)
        dense = np.linspace(0, 1, 4001)[:, None, None]
        weights = [(1 - dense) ** 3, 3 * dense * (1 - dense) ** 2, 3 * dense * dense * (1 - dense), dense**3]
        true = camera.bent(np.sum([w * curves[None, :, k] for k, w in enumerate(weights)], 0).reshape(-1, 2))
        for point in drawn[::7]:
            assert np.linalg.norm(true - point, axis=-1).min() < 0.25


def test_size_rate_length_and_timecode_are_those_of_the_footage() -> None:
    made = filmed(MATCHED, False)
    board = clip()
    assert (board.width_px, board.height_px) == made.size_px
    assert board.frames == made.footage.frames


def test_the_lines_stand_where_the_matched_camera_sees_them() -> None:
    board, made = clip(), filmed(MATCHED, False)
    lines = {e.role: e.shape for e in board.elements if isinstance(e.shape, Line)}
    (pane,) = board.panes
    ends = np.array(lines["aim_line"].points_mm)
    shot = made.shot
    assert np.allclose(ends[0, :2], shot.cue_ball_mm[:2])
    assert np.allclose(ends[1, :2], shot.ghost_ball_mm[:2])
    display = Display(board)
    slot = next(s for s in display.slots if s.element is not None and s.element.role == "aim_line")
    drawn = np.concatenate([p.curves for p in display.paths(slot, board.frames - 1)])[:, [0, 3]].reshape(-1, 2)
    places = shot.cue_ball_mm + np.linspace(0, 1, 4000)[:, None] * (shot.ghost_ball_mm - shot.cue_ball_mm)
    true = pane.px(places)
    assert max(np.linalg.norm(true - point, axis=-1).min() for point in drawn) < 0.3


def test_real_balls_are_not_drawn_and_hide_what_is_behind_them() -> None:
    board = clip()
    display = Display(board)
    for slot in display.slots:
        if (
            slot.element is not None
            and isinstance(slot.element.shape, Ball)
            and slot.element.shape.look != "ghost"
        ):
            assert display.paths(slot, board.frames - 1) == []
    slot = next(s for s in display.slots if s.element is not None and s.element.role == "aim_line")
    assert {body.name for body in display.view(slot, board.frames - 1).bodies} >= {"cue_ball", "object_ball"}


def test_what_is_below_a_nose_from_the_eye_is_hidden() -> None:
    eye = np.array([-2000.0, 0.0, 300.0])
    nose = [((-1270.0, -500.0, 36.0), (-1270.0, 500.0, 36.0))]
    near, far = np.array([-1260.0, 0.0, 28.6]), np.array([0.0, 0.0, 28.6])
    ((low, high),) = behind_noses(eye, near, far, nose)
    # the way over the nose meets the line's height 730 (36 - 28.6) / (300 - 36) mm
    meets = -1270 + 730 * (36 - 28.6) / (300 - 36)
    assert low == 0.0
    assert -1260 + high * 1260 == pytest.approx(meets, abs=3.0)


def test_everything_is_gone_after_the_balls_have_left() -> None:
    text = f"title: T\nclips: [{{kind: on-footage, footage: {MATCHED}, methods: ghost-ball}}]\n"
    brief = plan(loads(text)).clips[0].brief
    assert brief.subject.footage is not None
    leaving = replace(brief, subject=replace(brief.subject, footage=replace(brief.subject.footage, fades_from=40)))
    board = CLIP_KINDS["on-footage"].board(leaving)
    display = Display(board)
    assert any(display.paths(slot, 39) for slot in display.slots)
    assert not any(display.paths(slot, 60) for slot in display.slots)


def test_labels_keep_off_the_real_balls() -> None:
    board = clip()
    (pane,) = board.panes
    balls = [e.shape for e in board.elements if isinstance(e.shape, Ball) and e.shape.look != "ghost"]
    for element in board.elements:
        if isinstance(element.shape, Plate):
            x, y, w, h = element.shape.rect_px
            for ball in balls:
                bx, by = pane.px(np.array(ball.centre_mm))
                assert not (x < bx < x + w and y < by < y + h)


def leaving(**changes: object) -> Board:
    """The board with other facts of its footage; the steps in their spans."""
    text = f"title: T\nclips: [{{kind: on-footage, footage: {MATCHED}, methods: ghost-ball}}]\n"
    brief = plan(loads(text)).clips[0].brief
    assert brief.subject.footage is not None
    footage = replace(brief.subject.footage, **changes)  # type: ignore[arg-type]
    steps = in_footage(brief.steps, footage)
    return CLIP_KINDS["on-footage"].board(
        replace(brief, steps=steps, subject=replace(brief.subject, footage=footage))
    )


def test_nothing_is_drawn_before_the_balls_lie_in_their_places() -> None:
    board = leaving(begins_at=30, fades_from=80)
    display = Display(board)
    assert board.frames == leaving().frames
    assert not any(display.paths(slot, frame) for slot in display.slots for frame in (0, 15, 29))
    shown = [slot.element.role for slot in display.slots if slot.element and display.paths(slot, 78)]
    assert {"target_line", "aim_line", "heading"} <= set(shown)


def test_balls_planned_elsewhere_are_outlined_there_and_the_real_ones_hide(tmp_path: Path) -> None:
    path = tmp_path / "shot.yaml"
    path.write_bytes(MATCHED.read_bytes())
    told = json.loads(MATCHED.with_name("shot.match.json").read_text())
    places = {role: told["balls"][role]["centre_mm"][:2] for role in ("cue", "object")}
    meant = {"cue": [places["cue"][0] - 80, places["cue"][1] + 30], "object": places["object"]}
    told["plan"] = {"cut_deg": 20.0, "side": "left", "distance_mm": 800.0} | {
        role: {"planned_mm": at, "off_mm": [0, 0], "distance_mm": 0} for role, at in meant.items()
    }
    path.with_name("shot.match.json").write_text(json.dumps(told))
    text = f"title: T\nclips: [{{kind: on-footage, footage: {path}, methods: ghost-ball, shot: plan}}]\n"
    board = CLIP_KINDS["on-footage"].board(plan(loads(text)).clips[0].brief)
    balls = {e.id: e.shape.centre_mm[:2] for e in board.elements if isinstance(e.shape, Ball)}
    assert balls["cue_ball"] == pytest.approx(places["cue"])
    outlined = {e.id: e.shape.centre_mm[:2] for e in board.elements if isinstance(e.shape, Halo)}
    assert outlined == {"planned.cue_ball": pytest.approx(meant["cue"])}
    (line,) = [e.shape for e in board.elements if isinstance(e.shape, Line) and e.role == "aim_line"]
    assert line.points_mm[0][:2] == pytest.approx(meant["cue"])


def test_the_pen_is_no_larger_than_its_line_and_never_drawn_on_a_ball_that_hides_it() -> None:
    """At the ball's size, a pen of the usual size would be taken for another ball."""
    board = clip()
    display = Display(board)
    slot = next(s for s in display.slots if s.element is not None and s.element.role == "aim_line")
    assert slot.element is not None
    (pane,) = board.panes
    balls = {e.id: np.array(e.shape.centre_mm) for e in board.elements if isinstance(e.shape, Ball)}
    radius_px = seen_ball(pane, balls["object_ball"], 28.575).mean_radius_px
    drawing = [f for f in range(board.frames) if 0 < slot.element.drawn.at(f)[0] < 1]
    pens = []
    for frame in drawing:
        pens += [(frame, p) for p in display.paths(slot, frame) if p.fill is not None and p.stroke is None]
    assert pens
    cue = seen_ball(pane, balls["cue_ball"], 28.575)
    for _, path in pens:
        reach = np.ptp(path.curves.reshape(-1, 2), axis=0).max() / 2
        assert reach < 0.9 * radius_px
        # the line begins in the cue ball: the pen comes out where that ends
        assert np.linalg.norm(path.curves.reshape(-1, 2).mean(0) - cue.centre_px) > 0.6 * cue.mean_radius_px


@pytest.mark.parametrize("at", [(0.2, 0.12), (0.8, 0.12), (0.2, 0.88), (0.8, 0.88)])
def test_words_cover_neither_lines_nor_pockets_wherever_the_shot_lies(at: tuple[float, float]) -> None:
    """The shot's target line is moved into each corner of the picture; the heading takes another."""
    before = leaving()
    (pane,) = before.panes
    middle = next(e.shape for e in before.elements if isinstance(e.shape, Line) and e.role == "target_line")
    x, y = pane.px(np.array(middle.points_mm).mean(0))
    camera = filmed(MATCHED, False).footage.camera
    wide, high = before.width_px, before.height_px
    principal = camera.principal_px[0] + at[0] * wide - x, camera.principal_px[1] + at[1] * high - y
    board = leaving(camera=replace(camera, principal_px=principal), heading=("As filmed: 30°", "Plan: 31°"))
    (pane,) = board.panes
    lines = [np.array(e.shape.points_mm) for e in board.elements if isinstance(e.shape, Line)]
    drawn = pane.px(np.concatenate([a + np.linspace(0, 1, 200)[:, None] * (b - a) for a, b in lines]))
    pockets = pane.px(np.array([[*hole_of(p, TABLES["9ft"]).centre_mm, 0.0] for p in TABLES["9ft"].pockets()]))
    assert sum(e.role == "heading" for e in board.elements) == 2
    for plate in [e.shape for e in board.elements if isinstance(e.shape, Plate)]:
        left, top, w, h = plate.rect_px
        for places in (drawn, pockets):
            inside = (places > (left, top)) & (places < (left + w, top + h))
            assert not inside.all(-1).any(), plate.text


def test_the_audit_measures_fine_lines_finely() -> None:
    """Where balls are small, edge and aim line run seven pixels apart: one is not to be taken for another."""
    camera = filmed(MATCHED, False).footage.camera
    board = leaving(camera=replace(camera, focal_px=0.4 * camera.focal_px))
    panes = stills([still_stretches(board)[-1]])[0].panes
    assert panes[0].lens is not None
    assert panes[0].line_scale < 0.5
    grey = picture(board, board.frames - 1).astype(float) @ np.array([0.2126, 0.7152, 0.0722])
    found, _ = audit_picture(straightened(grey, panes[0].lens), panes)
    assert [f.role for f in found].count("edge_line") == 2
    assert max(f.error_px for f in found) < 0.33
