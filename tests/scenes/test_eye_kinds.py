"""Split screens, alignments, over the top, the straight-in check and the methods summary: what each must keep."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from aimgeo.camera import pixels
from aimgeo.methods import METHODS
from aimgeo.shot import place_shot
from aimgeo.tables import TABLES
from scenes.board import Area, Ball, Board, EyeCamera, Line, Pane, Plate, Text
from scenes.board.brief import Brief, BriefStep, EyeSpec, MeasureText, Output, Subject
from scenes.figure.eye_view import focal_px, seen_ball
from scenes.frame.column import text_rect
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS, alignments, methods_summary, over_the_top, split, straight_in
from scenes.look.dusk import DUSK
from scenes.look.scale import Scale

TABLE = TABLES["9ft"]
R = 28.575
EYE = EyeSpec("down", 600.0, 0.0, 300.0)
STANDING = EyeSpec("standing", 700.0, 0.0, 900.0)
WIDE, SQUARE, TALL = (1920, 1080), (1080, 1080), (1080, 1920)


def one(kind: str, cut: float, D: float, method: str | None, eye: EyeSpec = EYE, **settings: Any) -> Subject:
    pocket = "foot-left" if cut >= 0 else "foot-right"
    shot = place_shot((500.0, math.copysign(150.0, cut)), TABLE.pocket(pocket).centre_mm, math.radians(cut), D)
    plan = METHODS[method].construct(shot) if method else None
    return Subject(kind, TABLE, pocket, shot, plan, eye, settings=CLIP_KINDS[kind].settings(**settings))


def spanned(*subjects: Subject) -> Subject:
    return replace(subjects[0], companions=subjects)


def near_and_far(cut: float) -> Subject:
    return spanned(*(one("near-and-far", cut, D, "doubled_offset") for D in (300.0, 1200.0)))


def two_methods(cut: float) -> Subject:
    return spanned(*(one("two-methods", cut, 640.0, m) for m in ("ghost_ball", "contact_points")))


def all_eyes(cut: float) -> Subject:
    eyes = (EYE, replace(EYE, name="left", offset_mm=R), replace(EYE, name="right", offset_mm=-R), STANDING)
    return spanned(*(one("alignments", cut, 640.0, None, eye) for eye in eyes))


def from_above(cut: float) -> Subject:
    return one("over-the-top", cut, 640.0, None)


def straight(cut: float) -> Subject:
    return one("straight-in", math.copysign(0.0, cut), 1000.0, None)


def all_methods(cut: float) -> Subject:
    return spanned(
        *(
            one("methods-summary", cut, D, m, eye)
            for m in METHODS
            for D in (400.0, 1200.0)
            for eye in (EYE, STANDING)
        )
    )


CASES: dict[str, tuple[ModuleType, Callable[[float], Subject]]] = {
    "near-and-far": (split, near_and_far),
    "two-methods": (split, two_methods),
    "alignments": (alignments, all_eyes),
    "over-the-top": (over_the_top, from_above),
    "straight-in": (straight_in, straight),
    "methods-summary": (methods_summary, all_methods),
}


def a_board(
    module: ModuleType, subject: Subject, size: tuple[int, int] = (640, 360), fps: int = 10, **more: str
) -> Board:
    output = Output(*size, (fps, 1))
    steps = tuple(
        BriefStep(
            s.name,
            "A title that says it",
            "",
            output.frames(s.draws_s),
            tuple(MeasureText(k, "Contact point", str(q.value)[:5], "") for k, q in s.measures),
        )
        for s in module.outline(subject)
    )
    labels = {
        "viewing_distance": "Perspective true from {widths} picture widths",
        "one_size": "The object balls, brought to one size",
        "ruler_centre": "centre",
        "ruler_edge": "edge",
        "from_side": "From the side",
        "from_above": "From above, same scale",
        "heading": "Cut 22.0° left, centres 640 mm apart",
        "on_the_line": "On the line",
        "no_depth": "A screen shows no depth",
        **more,
    }
    return module.board(Brief("clip", subject, output, steps, labels))


@pytest.mark.parametrize("size", [WIDE, SQUARE, TALL, (640, 360)])
@pytest.mark.parametrize("cut", [22.0, -22.0])
@pytest.mark.parametrize("kind", CASES)
def test_words_stay_in_the_title_safe_area_and_off_each_other_and_the_balls(
    kind: str, cut: float, size: tuple[int, int]
) -> None:
    module, make = CASES[kind]
    board = a_board(module, make(cut), size)
    scale = Scale(*size, DUSK)
    safe = (0.049 * size[0], 0.049 * size[1], 0.951 * size[0], 0.951 * size[1])
    for step in board.steps:
        frame = step.end_frame - 1
        rects = {}
        for e in board.elements:
            if e.panes or not e.is_visible(frame):
                continue
            if isinstance(e.shape, Plate):
                rects[e.id] = e.shape.rect_px
            elif isinstance(e.shape, Text) and e.shape.text:
                rects[e.id] = text_rect(e.shape, scale)
        for id, (x, y, w, h) in rects.items():
            assert safe[0] <= x, id
            assert safe[1] <= y, id
            assert x + w <= safe[2], id
            assert y + h <= safe[3], id
        items = list(rects.items())
        for i, (id, (x, y, w, h)) in enumerate(items):
            for other, (ax, ay, aw, ah) in items[:i]:
                apart = x + w <= ax or ax + aw <= x or y + h <= ay or ay + ah <= y
                assert apart, f"{id} and {other} in {step.name}"
        for pane in board.panes:
            if pane.opacity.at(frame)[0] < 1:
                continue
            P = pane.projection(frame)
            for e in board.elements:
                if isinstance(e.shape, Ball) and pane.id in e.panes and e.shape.look != "ghost":
                    cx, cy = pixels(P, np.array(e.shape.centre_mm))
                    px, py, pw, ph = pane.rect_px
                    if not (px < cx < px + pw and py < cy < py + ph):
                        continue
                    for id, (x, y, w, h) in rects.items():
                        assert not (x < cx < x + w and y < cy < y + h), f"{id} covers a ball in {step.name}"


@pytest.mark.parametrize("kind", CASES)
def test_every_word_can_be_read(kind: str) -> None:
    module, make = CASES[kind]
    assert not list(faults(a_board(module, make(22.0), WIDE)))


@pytest.mark.parametrize("kind", CASES)
def test_every_clip_rests_for_half_a_second_at_its_end(kind: str) -> None:
    module, make = CASES[kind]
    board = a_board(module, make(22.0))
    *_, (first, end) = board.still_stretches()
    assert end == board.frames
    assert end - first >= 5


# ------------------------------------------------------------------ one by one


def test_the_halves_of_a_split_screen_draw_the_same_things_at_the_same_time() -> None:
    board = a_board(split, near_and_far(22.0))
    left = {e.id.removeprefix("half.0."): e for e in board.elements if e.id.startswith("half.0.")}
    right = {e.id.removeprefix("half.1."): e for e in board.elements if e.id.startswith("half.1.")}
    lines = [id for id, e in left.items() if isinstance(e.shape, Line)]
    assert lines
    for id in lines:
        a, b = left[id].drawn.moves[-1], right[id].drawn.moves[-1]
        assert abs(a.first_frame - b.first_frame) <= 1


def test_over_the_aim_the_line_crosses_the_ball_at_twice_the_sine_of_the_cut_near_and_far() -> None:
    """2 sin(22 degrees) = 0.7492 of the visible half-width, within 0.001, at 300 and at 1200 mm."""
    compare = split.outline(near_and_far(22.0))[-1]
    aim = [q.value for key, q in compare.measures if key == "aim_seen"]
    assert aim == pytest.approx([2 * math.sin(math.radians(22))] * 2, abs=0.001)


def two_eyes(cut: float) -> Subject:
    return spanned(*(one("two-eyes", cut, 400.0, "ghost_ball", eye) for eye in (EYE, STANDING)))


@pytest.mark.parametrize("cut", [22.0, -22.0])
@pytest.mark.parametrize("make", [near_and_far, two_methods, two_eyes])
@pytest.mark.parametrize("size", [WIDE, SQUARE, TALL])
def test_both_halves_have_one_lens_object_balls_of_one_size_and_the_target_in_the_picture(
    make: Callable[[float], Subject], cut: float, size: tuple[int, int]
) -> None:
    subject = make(cut)
    board = a_board(split, subject, size)
    panes = {pane.id: pane for pane in board.panes}
    lenses, sizes = [], []
    for n, half in enumerate(split._halves(subject)):
        assert half.shot is not None
        main, closer = panes[f"half.{n}"], panes[f"ball.{n}"]
        assert isinstance(main.camera, EyeCamera)
        lenses.append(focal_px(main.rect_px, main.camera))
        sizes.append(seen_ball(closer, half.shot.object_ball_mm, R).box_px()[2])
        x, y, w, h = main.rect_px
        px, py = main.px(half.shot.target_mm)
        assert x < px < x + w
        assert y < py < y + h
    assert lenses[0] == pytest.approx(lenses[1])
    assert sizes[0] == pytest.approx(sizes[1])


@pytest.mark.parametrize("eye", [EYE, STANDING, replace(EYE, offset_mm=-31.5)])
@pytest.mark.parametrize("cut", [5.0, 22.0, -45.0])
def test_what_drops_to_the_scale_stands_where_the_number_says(eye: EyeSpec, cut: float) -> None:
    """Centre and edge are the visible ball's; so far of the way between them do the two drops end."""
    subject = spanned(*(one("near-and-far", cut, D, "ghost_ball", eye) for D in (400.0, 1200.0)))
    board = a_board(split, subject, WIDE)
    drops = {e.id: e.shape.points_mm[0][0] for e in board.elements if isinstance(e.shape, Line) and "drop" in e.id}
    told = [float(q.value) for _, q in split.outline(subject)[-1].measures]
    for n, half in enumerate(subject.companions):
        assert half.shot is not None
        closer = next(pane for pane in board.panes if pane.id == f"ball.{n}")
        x, _, w, _ = seen_ball(closer, half.shot.object_ball_mm, R).box_px()
        for k in range(2):
            part = abs(drops[f"half.{n}.drop.{k}"] - (x + w / 2)) / (w / 2)
            assert part == pytest.approx(told[2 * n + k], abs=1e-6)


def test_a_split_screen_says_whether_the_aim_is_seen_in_the_same_place() -> None:
    """Over the line near and far give one aim (2 sin of the cut); an eye far beside it sees the aim move."""
    aside = EyeSpec("aside", 300.0, 300.0, 250.0)
    moved = spanned(*(one("near-and-far", 40.0, D, "ghost_ball", aside) for D in (200.0, 1200.0)))
    assert split.outline(near_and_far(22.0))[-1].sentence == "split.near_and_far_same"
    assert split.outline(moved)[-1].sentence == "split.near_and_far_other"
    two_cuts = spanned(*(one("two-cuts", cut, 400.0, "ghost_ball") for cut in (14.5, 30.0)))
    assert [split.outline(two_cuts)[k].sentence for k in (0, -1)] == ["split.two_cuts", "split.two_cuts_seen"]


def test_one_view_alone_is_no_split_screen() -> None:
    with pytest.raises(ValueError, match="two views"):
        split.outline(spanned(one("near-and-far", 22.0, 300.0, "ghost_ball")))


def eye_at(pane: Pane, frame: int) -> np.ndarray:
    P = pane.projection(frame)
    return np.asarray(-np.linalg.solve(P[:, :3], P[:, 3]))


def test_the_eye_of_the_alignments_moves_to_each_place_and_all_come_again_in_the_grid() -> None:
    subject = all_eyes(22.0)
    board = a_board(alignments, subject)
    panes = {pane.id: pane for pane in board.panes}
    for n, view in enumerate(subject.companions):
        assert view.eye is not None
        assert view.shot is not None
        across = np.array([-view.shot.aim_direction[1], view.shot.aim_direction[0]])
        for pane, frame in ((panes["eye"], board.steps[n].end_frame - 1), (panes[f"small.{n}"], board.frames - 1)):
            eye = eye_at(pane, frame)
            assert (eye[:2] - view.shot.cue_ball_mm[:2]) @ across == pytest.approx(view.eye.offset_mm, abs=1e-6)
            assert eye[2] == pytest.approx(view.eye.height_mm)
    at_end = {p.id for p in board.panes if p.opacity.at(board.frames - 1)[0] > 0}
    assert at_end == {f"small.{n}" for n in range(4)}


def test_the_head_stands_to_scale_where_the_eye_is() -> None:
    """From the cue ball's centre to the drawn eye, in drawn balls of 57.15 mm: as far as the eye is."""
    subject = all_eyes(22.0)
    board = a_board(alignments, subject)
    drawn = {e.id: e for e in board.elements if isinstance(e.shape, Area)}

    def centre(id: str, frame: int) -> np.ndarray:
        shape = drawn[id].shape
        assert isinstance(shape, Area)
        return np.mean(shape.points_mm, axis=0) + np.array(drawn[id].offset_mm.at(frame))

    ball = drawn["head.side.cue"].shape
    assert isinstance(ball, Area)
    per_mm = np.ptp(np.array(ball.points_mm)[:, 0]) / (2 * R)
    for n, view in enumerate(subject.companions):
        assert view.eye is not None
        frame = board.steps[n].end_frame - 1
        side = (centre("head.eye", frame) - centre("head.side.cue", frame)) / per_mm
        above = (centre("head.top.eye", frame) - centre("head.above.cue", frame)) / per_mm
        assert side[:2] == pytest.approx([-view.eye.back_mm - 6, view.eye.height_mm - R], abs=0.1)
        assert above[:2] == pytest.approx([-view.eye.back_mm - 6, view.eye.offset_mm], abs=0.1)


@pytest.mark.parametrize("size", [WIDE, SQUARE, TALL, (640, 360)])
def test_no_name_of_where_the_head_is_is_cut_short(size: tuple[int, int]) -> None:
    board = a_board(alignments, all_eyes(22.0), size)
    names = [e.shape.text for e in board.elements if e.id.endswith(".name") and isinstance(e.shape, Text)]
    assert names
    assert not [name for name in names if "…" in name]


def test_every_eye_of_the_alignments_has_a_sentence_of_its_own() -> None:
    steps = alignments.outline(all_eyes(22.0))[:-1]
    assert [step.sentence for step in steps] == [
        f"alignments.{body}" for body in ("eye_over", "eye_chin_left", "eye_chin_right", "eye_standing")
    ]
    assert len({(step.sentence, step.values) for step in steps}) == len(steps)


@pytest.mark.parametrize("size", [WIDE, SQUARE, TALL])
@pytest.mark.parametrize("cut", [22.0, -45.0])
def test_over_the_top_begins_behind_the_line_and_goes_down_to_the_eye_with_the_pocket_in_its_pictures(
    cut: float, size: tuple[int, int]
) -> None:
    subject = from_above(cut)
    shot = subject.shot
    assert shot is not None
    board = a_board(over_the_top, subject, size)
    (pane,) = board.panes
    heights = [eye_at(pane, step.end_frame - 1)[2] for step in board.steps]
    assert heights == pytest.approx([1500, 2600, 300, 300], abs=1)
    # behind the object ball, in the plane of the target line: ball, contact point and target above each other
    line = pane.px(np.stack([shot.target_mm, shot.object_ball_mm, shot.contact_object_mm]), 0)
    assert line[:, 0] == pytest.approx(line[0, 0], abs=1e-6)
    assert line[0, 1] < line[1, 1] < line[2, 1]
    for step in board.steps[:2]:
        x, y = pane.px(shot.target_mm, step.end_frame - 1)
        assert 0.05 * size[0] < x < 0.95 * size[0]
        assert 0.16 * size[1] < y < size[1]
        for ball in (shot.object_ball_mm, shot.cue_ball_mm)[: 1 if step.name == "behind" else 2]:
            x, y = pane.px(ball, step.end_frame - 1)
            assert 0 < x < size[0]
            assert 0 < y < size[1]


@pytest.mark.parametrize("size", [WIDE, SQUARE, TALL])
@pytest.mark.parametrize("cut", [22.0, -45.0])
def test_over_the_top_names_what_its_words_speak_of_while_the_picture_rests(
    cut: float, size: tuple[int, int]
) -> None:
    board = a_board(
        over_the_top,
        from_above(cut),
        size,
        target_line="Target line",
        aim_line="Aim line",
        contact_object="Contact point",
        ghost_ball="Ghost ball",
        target="The pocket",
    )
    told = {
        step.name: {
            e.names for e in board.elements if isinstance(e.shape, Plate) and e.is_visible(step.end_frame - 1)
        }
        for step in board.steps
    }
    assert {"target_line", "contact_object"} <= told["behind"]
    assert {"target_line", "aim_line"} <= told["above"]
    assert "pocket" in told["behind"] | told["above"]
    assert {"target_line", "aim_line"} <= told["eye"]
    # no name stands still while the picture moves under it
    (pane,) = board.panes
    for move in pane.camera.track.moves:
        middle = (move.first_frame + move.end_frame) // 2
        assert not [e.id for e in board.elements if isinstance(e.shape, Plate) and e.opacity.at(middle)[0] > 0]
    assert faults(board) == []


@pytest.mark.parametrize("size", [WIDE, TALL])
def test_both_balls_stay_in_the_picture_on_the_way_down_and_go_one_way_only(size: tuple[int, int]) -> None:
    subject = from_above(22.0)
    shot = subject.shot
    assert shot is not None
    board = a_board(over_the_top, subject, size)
    (pane,) = board.panes
    down = board.steps[2]
    balls = np.stack([shot.cue_ball_mm, shot.object_ball_mm])
    px = np.array([pane.px(balls, frame) for frame in range(down.first_frame, down.end_frame)])
    assert ((px > 0) & (px < size)).all()
    for ball in range(2):
        steps = np.diff(px[:, ball, 1])
        assert (steps <= 1e-6).all() or (steps >= -1e-6).all()
    before = pane.px(balls, down.first_frame - 1)
    assert px[0] == pytest.approx(before, abs=0.01 * size[1])


def test_the_straight_in_check_tells_no_offset_before_its_step() -> None:
    board = a_board(straight_in, straight(22.0))
    told = next(s for s in board.steps if s.name == "told")
    for frame in range(told.first_frame):
        assert not any(e.role == "told" and e.is_visible(frame) for e in board.elements)


@pytest.mark.parametrize("own_mm", [0.0, -31.5])
def test_the_straight_in_checks_eyes_stand_as_told_in_steps_beside_the_lessons_eye(own_mm: float) -> None:
    subject = one("straight-in", 0.0, 1000.0, None, replace(EYE, offset_mm=own_mm))
    shot = subject.shot
    assert shot is not None
    board = a_board(straight_in, subject)
    offsets = straight_in.offsets_mm(subject)
    assert np.diff(sorted(offsets)) == pytest.approx(12.0)
    assert own_mm in offsets
    normal = np.array([-shot.aim_direction[1], shot.aim_direction[0]])
    for n, offset in enumerate(offsets, 1):
        P = board.panes[n].projection(0)
        eye = -np.linalg.solve(P[:, :3], P[:, 3])
        assert (eye[:2] - shot.cue_ball_mm[:2]) @ normal == pytest.approx(offset, abs=1e-6)


def test_the_straight_in_check_never_shows_two_pictures_of_an_eye_at_once_nor_a_telling_middle() -> None:
    board = a_board(straight_in, straight(0.0), fps=30)
    told = next(s for s in board.steps if s.name == "note").first_frame
    shown = [[p.id for p in board.panes if p.opacity.at(f)[0] > 0] for f in range(told)]
    assert all(len(ids) <= 1 for ids in shown)
    looks = [key for key, _ in itertools.groupby(map(tuple, shown))]
    empty = looks[1::2]
    assert set(empty) == {()}
    assert [ids[0] for ids in looks[::2] if ids] == ["above", *(f"eye.{letter}" for letter in "ABCDE")]
    seeds = (one("straight-in", 0.0, 1000.0, None, seed=seed) for seed in range(20))
    below = {sum(offset < 0 for offset in straight_in.offsets_mm(subject)) for subject in seeds}
    assert below == {0, 1, 2, 3, 4}


def test_a_shot_that_is_not_straight_is_no_straight_in_check() -> None:
    with pytest.raises(ValueError, match="straight shot"):
        straight_in.outline(one("straight-in", 1.0, 1000.0, None))


def test_methods_stand_in_their_order_and_aiming_the_cue_at_the_contact_point_costs_most() -> None:
    """Aimed at the contact point, the cue ball's centre passes R sin(cut) from O: the cut becomes about half."""
    subject = all_methods(22.0)
    found = methods_summary.costs(subject)
    asked = [one.construction.method for one in subject.companions if one.construction]
    assert [one.method for one in found] == list(dict.fromkeys(asked))
    worst = {one.method: one.worst for one in found if one.worst is not None}
    most = max(worst.values(), key=lambda miss: miss.miss_mm)
    assert worst["contact_points"] is most
    shot = most.view.shot
    assert shot is not None
    far = float(np.hypot(*(shot.target_mm - shot.object_ball_mm)[:2]))
    half = math.asin(math.sin(math.radians(22)) / 2)
    assert most.miss_mm == pytest.approx(far * math.tan(math.radians(22) - half), rel=0.15)
    # too thick: to the other side than the cut
    assert most.signed_mm < 0
    assert [one.method for one in found if one.is_exact] == ["fixed_marks"]


def at_worst(cut: float, distance: float, eye: EyeSpec) -> Subject:
    return spanned(*(one("methods-summary", cut, distance, m, eye) for m in ("ghost_ball", "contact_points")))


def test_an_aim_that_passes_the_ball_is_not_an_eye_that_has_no_such_aim() -> None:
    """A low eye aims past a thin cut; an eye below the balls' centres sees only the edges, and nearly hits."""
    missing = at_worst(58.0, 1000.0, EyeSpec("low", 600.0, -35.0, 105.0))
    worst = {one.method: one.worst for one in methods_summary.costs(missing) if one.worst}
    assert (worst["ghost_ball"].reading, worst["ghost_ball"].hits) == ("base_spot", False)
    said = [step.sentence for step in methods_summary.outline(missing)[1:3]]
    assert said == ["methods_summary.missed", "methods_summary.contact_points"]
    seeing = at_worst(20.0, 300.0, EyeSpec("under", 600.0, 0.0, 25.0))
    worst = {one.method: one.worst for one in methods_summary.costs(seeing) if one.worst}
    assert (worst["ghost_ball"].reading, worst["ghost_ball"].hits) == ("edge", True)
    assert worst["ghost_ball"].miss_mm < 5
