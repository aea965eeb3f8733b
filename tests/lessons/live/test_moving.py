"""The shot under the hand: possible whatever the hand does, and its numbers are those of `aimgeo solve`."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aimgeo.asking.solve import answer
from aimgeo.camera import pixels
from aimgeo.tables import POCKET_NAMES
from lessons.lesson.faults import LessonError
from lessons.lesson.model import Lesson, loads
from lessons.lesson.read import plain, read_text
from lessons.lesson.values import CUT_STEPS, LENGTH_STEPS, cut, cut_near, length, length_near
from lessons.lesson.write import changed
from lessons.live.follow import nearest
from lessons.live.moving import (
    STRIDES,
    Ground,
    Held,
    changes,
    construction_of,
    held_of,
    moved,
    moves_of,
    nudged,
    place_of,
    rebased,
    rows,
    set_values,
    values_of,
    why_not,
    with_moves,
)
from lessons.planning.accuracy import accuracy
from lessons.planning.plan import plan
from lessons.planning.planned import Plan, PlannedClip
from scenes.board import Ball
from scenes.figure.hand import SIDE, TABLE, HandBoard, Manner, hand_board, mm_at, side_at
from scenes.look import LOOKS
from tests.lessons.live.running import BUILD_UP, EYE, LESSON


def clip_of(text: str, name: str) -> tuple[Lesson, Plan, PlannedClip, Ground, Held]:
    lesson = loads(text, "monday.yaml")
    made = plan(lesson)
    clip = next(clip for clip in made.clips if clip.name == name)
    taken = held_of(lesson, clip)
    assert taken is not None
    return lesson, made, clip, *taken


LESSON_, PLAN, CLIP, GROUND, HELD = clip_of(LESSON, BUILD_UP)
places = st.tuples(st.floats(-1400, 1400), st.floats(-800, 800))
grips = st.sampled_from(["cue_ball", "object_ball", "target", "eye", "eye_side"])


def test_what_is_taken_hold_of_is_the_clips_own_shot() -> None:
    shot = CLIP.brief.subject.shot
    assert shot is not None
    assert np.allclose(GROUND.shot(HELD).cue_ball_mm, shot.cue_ball_mm, atol=1e-6)
    assert why_not(GROUND, HELD) == ""
    assert changes(LESSON_, PLAN, CLIP, HELD, HELD, "lesson") == []


@settings(max_examples=120)
@given(st.lists(st.tuples(grips, places, st.booleans()), min_size=1, max_size=6))
def test_wherever_the_hand_goes_the_shot_can_be_set_and_is_answered(moves: list) -> None:
    held = HELD
    for grip, to, is_free in moves:
        held, said = moved(GROUND, held, grip, to, is_free)
        assert why_not(GROUND, held) == "", said
        told = answer([GROUND.request(held)])[0]
        assert "error" not in told, told
        assert told["shot"]["cut_deg"] == pytest.approx(held.cut.cut_deg, abs=1e-6)
        assert told["shot"]["distance_mm"] == pytest.approx(GROUND.mm(held.distance), abs=1e-6)
        assert told["shot"]["side"] == ("left" if held.side > 0 else "right")


@settings(max_examples=60)
@given(st.floats(0.02, 1.4), st.floats(60, 900))
def test_a_ball_put_where_it_can_lie_lies_there(cut_rad: float, far_mm: float) -> None:
    """The hand's place comes back within the finest steps that can be written."""
    shot = GROUND.shot(HELD)
    u = shot.object_direction
    a = np.array([[math.cos(-cut_rad), -math.sin(-cut_rad)], [math.sin(-cut_rad), math.cos(-cut_rad)]]) @ u
    to = shot.ghost_ball_mm[:2] - far_mm * a
    held, said = moved(GROUND, HELD, "cue_ball", (float(to[0]), float(to[1])), is_free=True)
    if said:
        return
    x, y = place_of(GROUND, held, "cue_ball")
    # 0.0005 of overlap turns a cut by that over its cosine
    turn = 0.0005 / math.cos(held.cut.cut_rad) + 1e-6
    assert math.dist((x, y), to) < 0.1 + 1.3 * turn * (far_mm + 60)


def test_by_default_the_hand_moves_in_the_authors_own_steps() -> None:
    x, y = place_of(GROUND, HELD, "cue_ball")
    held, _ = moved(GROUND, HELD, "cue_ball", (x - 33.3, y + 21.7), is_free=False)
    assert (held.cut.number * 16).denominator == 1
    assert held.distance.number.denominator == 1
    free, _ = moved(GROUND, HELD, "cue_ball", (x - 33.3, y + 21.7), is_free=True)
    assert math.dist(place_of(GROUND, free, "cue_ball"), (x - 33.3, y + 21.7)) < 0.4


@pytest.mark.parametrize(
    ("grip", "to", "says"),
    [
        ("cue_ball", (1250.0, 0.0), "less than 90|other side"),
        ("object_ball", (1260.0, 640.0), "clear of the pockets"),
        ("object_ball", (1268.0, -600.0), "clear of the pockets|does not take"),
        ("target", (640.0, 10.0), "width|room"),
    ],
)
def test_what_is_not_possible_is_said_why(grip: str, to: tuple[float, float], says: str) -> None:
    import re

    held, said = moved(GROUND, HELD, grip, to, is_free=False)
    assert re.search(says, said), said
    assert why_not(GROUND, held) == ""


@pytest.mark.parametrize(
    "more", ["table: {length: 2200 mm, width: 1100 mm}", "table: 12ft", "output: {theme: paper}"]
)
def test_any_table_and_look_can_be_held(more: str) -> None:
    text = f"title: A\n{more}\nclips:\n  - kind: build-up\n    methods: ghost-ball\n"
    made = plan(loads(text))
    taken = held_of(loads(text), made.clips[0])
    assert taken is not None
    ground, held = taken
    assert why_not(ground, held) == ""
    assert len(rows(ground, held, "mm")) > 8


@pytest.mark.parametrize("cuts", ["[30]", "[1/2]", "[8 sixteenths]"])
@pytest.mark.parametrize("far", ["1200 mm", "48 in", "4 ft", "21 balls", "3.75 diamonds", "1.2 m"])
@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_key_moves_a_ball_about_as_far_as_it_says_whatever_its_place_is_written_in(
    cuts: str, far: str, units: str
) -> None:
    text = (
        f"title: A\nunits: {units}\ncuts: {cuts}\ndistances: {{far: {far}}}\nspot: [0 {units}, 0 {units}]\n"
        "clips:\n  - {kind: build-up, methods: ghost-ball, sides: left}\n"
    )
    lesson = loads(text)
    taken = held_of(lesson, plan(lesson).clips[0])
    assert taken is not None
    ground, held = taken
    for grip in ("cue_ball", "object_ball", "eye"):
        for stride, (by, _) in enumerate(STRIDES[units][:3]):
            far_mm = by * (25.4 if units == "in" else 1.0)
            for toward in ((1, 0), (-1, 0), (0, 1), (0, -1)):
                x, y = place_of(ground, held, grip)
                new, said = nudged(ground, held, grip, toward, stride)
                assert said == ""
                at = place_of(ground, new, grip)
                # the finest cut that is written turns a ball that is 1.2 m away by up to 0.14 mm
                off = math.dist(at, (x + toward[0] * far_mm, y + toward[1] * far_mm))
                assert off <= (0.1 if grip == "cue_ball" else 0.06), (grip, toward, far_mm)
                assert at != (x, y)


def test_in_inches_keys_move_by_parts_of_an_inch_and_these_are_written() -> None:
    text = PLACED.replace("cue_ball: [0 in, 11 in]", "cue_ball: [0 in, 11 1/4 in]")
    full = next(clip.name for clip in plan(loads(text)).clips if "placed" in clip.name)
    *_, ground, held = clip_of(text, full)
    for stride, told in ((1, "[1/16 in, 11 1/4 in]"), (2, "[9/16 in, 11 1/4 in]")):
        held, _ = nudged(ground, held, "cue_ball", (1, 0), stride)
        assert held.cue is not None
        assert f"[{held.cue[0].text}, {held.cue[1].text}]" == told
    held, _ = set_values(ground, held, "object_ball", {"x": 25.3, "y": 12.0625})
    assert [one.text for one in held.spot] == ["25.3 in", "12 1/16 in"]


def test_pockets_take_the_target_that_is_near_to_them() -> None:
    for name in POCKET_NAMES:
        x, y = GROUND.table.pocket(name).centre_mm
        held, said = moved(GROUND, HELD, "target", (x - 20, y + 15), is_free=False)
        assert held.target == name or said


@pytest.mark.parametrize("notation", list(CUT_STEPS))
@pytest.mark.parametrize("is_fine", [False, True])
def test_a_cut_that_is_written_is_read_back_the_same(notation: str, is_fine: bool) -> None:
    for k in range(0, 850, 7):
        made = cut_near(math.radians(k / 10), notation, is_fine)
        assert cut(made.text) == made
        step = CUT_STEPS[notation][is_fine]
        assert (made.number / step).denominator == 1


@pytest.mark.parametrize("unit", list(LENGTH_STEPS))
@pytest.mark.parametrize("is_fine", [False, True])
def test_a_length_that_is_written_is_read_back_the_same(unit: str, is_fine: bool) -> None:
    for k in range(-300, 3000, 71):
        made = length_near(k / 1.7, unit, 57.15, 2540, is_fine)
        assert length(made.text) == made
        one = length(f"1 {unit}").mm(57.15, 2540)
        step = float(LENGTH_STEPS[unit][is_fine]) * one
        assert abs(made.mm(57.15, 2540) - k / 1.7) <= step / 2 + 1e-9


@settings(max_examples=40)
@given(
    st.lists(st.tuples(grips, places, st.booleans()), min_size=1, max_size=4), st.sampled_from(["lesson", "group"])
)
def test_what_is_written_is_the_shot_that_was_held(moves: list, scope: str) -> None:
    """The file written and read again gives the very shot; its text differs in the named values alone."""
    held = HELD
    for grip, to, is_free in moves:
        held, _ = moved(GROUND, held, grip, to, is_free)
    found = changes(LESSON_, PLAN, CLIP, HELD, held, scope)
    edits = [edit for change in found for edit in change.edits]
    if not edits or not isinstance(held.target, str):
        return
    data = changed(LESSON.encode(), edits)
    try:
        again = plan(loads(data, "monday.yaml"))
    except LessonError:
        # a method that the lesson names does not reach that cut: the page says so, and writes nothing
        assert not held.cut.same_as(HELD.cut)
        return
    clip = next((c for c in again.clips if c.kind == "build-up" and c.distance_name == "near"
                 and c.cut_deg == pytest.approx(held.cut.cut_deg)), None)  # fmt: skip
    if clip is None:
        # another shot of the lesson may not fit there any more; then it is told as left out
        assert again.left_out
        return
    if held.spot != HELD.spot:
        shot = clip.brief.subject.shot
        assert shot is not None
        assert np.allclose(shot.cue_ball_mm[:2], place_of(GROUND, held, "cue_ball"), atol=1e-6)
    before, after = plain(read_text(LESSON, "a")), plain(read_text(data, "a"))
    if scope == "lesson":
        assert {key for key in after if after[key] != before.get(key)} <= {
            "cuts", "distances", "spot", "pocket", "eyes", "clips",
        }  # fmt: skip


def test_a_cut_is_written_at_every_place_that_names_it() -> None:
    lesson, made, clip, ground, held = clip_of(LESSON, EYE)
    x, y = place_of(ground, held, "cue_ball")
    new, _ = moved(ground, held, "cue_ball", (x + 6, y - 40), is_free=False)
    assert not new.cut.same_as(held.cut)
    change = next(c for c in changes(lesson, made, clip, held, new, "lesson") if c.key == "cut")
    assert {edit.location for edit in change.edits} == {("cuts", 1), ("clips", 2, "cuts")}
    assert change.clips == sum("1-2" in c.name for c in made.clips)


def test_the_eye_is_written_into_its_own_mapping_and_a_new_offset_added_to_it() -> None:
    lesson, made, clip, ground, held = clip_of(LESSON, EYE)
    new, said = set_values(ground, held, "eye", {"back": 720, "offset": 12.5, "height": 410})
    assert said == ""
    edits = [edit for c in changes(lesson, made, clip, held, new, "lesson") for edit in c.edits]
    text = changed(LESSON.encode(), edits).decode()
    assert "player: {offset: 12.5 mm, back: 720 mm, height: 410 mm}" in text


def test_defaults_that_are_moved_are_written_out() -> None:
    text = "title: A\nclips:\n  - kind: build-up\n    methods: ghost-ball\n    sides: left\n    cuts: 1/2\n"
    lesson, made, clip, ground, held = clip_of(text, "ghost-ball_build-up_overlap-1-2_left_near")
    x, y = place_of(ground, held, "cue_ball")
    new, _ = moved(ground, held, "cue_ball", (x - 40, y - 30), is_free=False)
    edits = [edit for c in changes(lesson, made, clip, held, new, "lesson") for edit in c.edits]
    again = loads(changed(text.encode(), edits))
    assert again.keys.distances["near"].text == new.distance.text
    assert again.keys.distances["far"].text == "800 mm"


PLACED = """\
title: As it lies
units: in
table: 8ft
cuts: [15]
distances: {near: 12 in}
eyes: {low: {back: 24 in, height: 10 in}}
clips:
  - {kind: build-up, name: cushion, methods: ghost-ball, spot: [0, 0], target: {rail: right, at: 1 ft}}
  - kind: build-up
    name: placed
    methods: ghost-ball
    spot:
      - 25 in    # along
      - 12 1/2 in
    cue_ball: [0 in, 11 in]   # as it lay
  - {kind: table, name: mark, spot: [25 in, 12.5 in], cue_ball: [-5 balls, 1 diamond], target: [44 in, 18 in]}
  - kind: build-up
    name: frozen
    methods: ghost-ball
    spot: [20 in, 20.875 in]
    sides: right
"""
"""Shots of places: a cushion, a mark, a cue ball where it lay, a ball at a cushion."""


def same_shot(ground: Ground, held: Held, text: bytes, clip: PlannedClip) -> PlannedClip:
    """The clip that stands in the written file where one stood, with the shot that was held."""
    again = loads(text, "monday.yaml")
    new = nearest(clip, plan(again).clips)
    taken = held_of(again, new)
    assert taken is not None
    one, other = ground.shot(held), taken[0].shot(taken[1])
    for name in ("cue_ball_mm", "object_ball_mm", "target_mm"):
        assert np.allclose(getattr(one, name), getattr(other, name), atol=1e-6), name
    return new


@settings(max_examples=60)
@given(
    st.sampled_from(["cushion", "placed", "mark", "frozen"]),
    st.lists(st.tuples(grips, places, st.booleans()), min_size=1, max_size=3),
)
def test_a_shot_of_places_is_held_moved_and_written_back(name: str, moves: list) -> None:
    full = next(clip.name for clip in plan(loads(PLACED)).clips if name in clip.name)
    lesson, made, clip, ground, first = clip_of(PLACED, full)
    shot = clip.brief.subject.shot
    assert shot is not None
    assert np.allclose(ground.shot(first).cue_ball_mm, shot.cue_ball_mm, atol=1e-9)
    assert np.allclose(ground.shot(first).target_mm, shot.target_mm, atol=1e-9)
    held = first
    for grip, to, is_free in moves:
        held, _ = moved(ground, held, grip, to, is_free)
        assert why_not(ground, held) == ""
        assert "error" not in answer([ground.request(held)])[0]
    found = changes(lesson, made, clip, first, held, "group")
    assert not any(change.why_not for change in found)
    text = changed(PLACED.encode(), [edit for change in found for edit in change.edits])
    assert text.count(b"# along") == text.count(b"# as it lay") == 1
    try:
        same_shot(ground, held, text, clip)
    except LessonError:
        # a cut or a distance that other clips share suits them no more: the page says so, and writes nothing
        assert held.cue is None


def test_a_cue_ball_that_the_file_places_is_written_where_it_stands_in_the_authors_unit() -> None:
    full = next(clip.name for clip in plan(loads(PLACED)).clips if "placed" in clip.name)
    lesson, made, clip, ground, held = clip_of(PLACED, full)
    x, y = place_of(ground, held, "cue_ball")
    new, said = moved(ground, held, "cue_ball", (x - 100, y - 260), is_free=False)
    assert said == ""
    (change,) = changes(lesson, made, clip, held, new, "lesson")
    assert (change.key, change.was, change.text) == ("cue_ball", "[0 in, 11 in]", "[-4 in, 3/4 in]")
    assert (change.line, change.clips) == (15, 1)
    text = changed(PLACED.encode(), change.edits)
    assert b"cue_ball: [-4 in, 3/4 in]   # as it lay" in text
    # the clip has another name now, and the page stays with it
    assert "placed" in same_shot(ground, new, text, clip).name


def test_a_ball_at_a_cushion_touches_it_and_a_target_at_one_is_a_place_on_it() -> None:
    full = next(clip.name for clip in plan(loads(PLACED)).clips if "placed" in clip.name)
    lesson, made, clip, ground, held = clip_of(PLACED, full)
    room = (ground.table.width_mm - ground.ball_mm) / 2
    new, said = moved(ground, held, "cue_ball", (-300.0, room + 2.0), is_free=False)
    assert said == ""
    assert new.cue is not None
    assert ground.place(new.cue)[1] == pytest.approx(room, abs=1e-4)
    new, _ = moved(ground, held, "target", (1100.0, -150.0), is_free=False)
    assert new.target[0] == "foot"
    (change,) = changes(lesson, made, clip, held, new, "group")
    assert change.text == "{rail: foot, at: -6 in}"
    text = changed(PLACED.encode(), change.edits).decode()
    # and back to a pocket, under its own key
    again, made, clip, ground, held = clip_of(text, same_shot(ground, new, text.encode(), clip).name)
    back, said = moved(ground, held, "target", ground.table.pocket("foot-left").centre_mm, is_free=False)
    assert (back.target, said) == ("foot-left", "")
    (change,) = changes(again, made, clip, held, back, "group")
    text = changed(text.encode(), change.edits).decode()
    assert text.count("rail:") == 1
    assert "pocket: foot-left" in text


def test_a_shot_whose_places_no_list_names_is_held_exactly_as_it_is() -> None:
    text = (
        "title: A\neyes: {side: {back: 600 mm, height: 300 mm, alignment: contact-line}}\nclips:\n"
        "  - {kind: table, spot: [635 mm, 317.5 mm], cue_ball: [0 mm, 301.3 mm]}\n"
        "  - {kind: players-eye, methods: ghost-ball, cuts: 1/2, sides: left, distances: near}\n"
    )
    for clip in plan(loads(text)).clips:
        taken = held_of(loads(text), clip)
        shot = clip.brief.subject.shot
        assert taken is not None
        assert shot is not None
        ground, held = taken
        again = ground.shot(held)
        assert np.allclose(again.cue_ball_mm, shot.cue_ball_mm, atol=1e-9)
        assert np.allclose(again.object_ball_mm, shot.object_ball_mm, atol=1e-9)
        eye = clip.brief.subject.eye
        assert eye is None or ground.eye(held).offset_mm == pytest.approx(eye.offset_mm, abs=1e-9)


def test_other_balls_and_their_paint_are_there_under_the_hand() -> None:
    text = (
        "title: A\nspot: [635 mm, 0 mm]\npocket: foot-left\nobject_ball: {number: 3}\n"
        "others: [{at: [-400 mm, -300 mm], number: 12}]\nclips:\n"
        "  - {kind: build-up, methods: ghost-ball, cuts: 1/2, sides: left, distances: near}\n"
    )
    clip = plan(loads(text)).clips[0]
    taken, subject = held_of(loads(text), clip), clip.brief.subject
    assert taken is not None
    assert subject.construction is not None
    ground, held = taken
    made = hand_board(
        ground.shot(held), ground.table, subject.construction, 9, ground.eye(held), LOOKS["dusk"], like=subject
    )
    shown = [(e.role, e.panes, e.shape.number) for e in made.board.elements if isinstance(e.shape, Ball)]
    assert ("other_ball", ("eye", "table"), 12) in shown
    assert {number for role, _, number in shown if role == "object_ball"} == {3}


def test_what_was_moved_stays_when_the_file_changes_under_it() -> None:
    x, y = place_of(GROUND, HELD, "cue_ball")
    held, _ = moved(GROUND, HELD, "cue_ball", (x - 100, y - 20), is_free=False)
    _, _, _, _, now = clip_of(LESSON.replace("height: 300 mm", "height: 350 mm"), BUILD_UP)
    new = rebased(held, HELD, now)
    assert new.distance == held.distance
    assert new.height.text == "350 mm"


@pytest.mark.parametrize("shape", ["wide", "tall"])
def test_every_grip_stands_where_its_thing_is_drawn(shape: str) -> None:
    construction = CLIP.brief.subject.construction
    assert construction is not None
    made = hand_board(GROUND.shot(HELD), GROUND.table, construction, 9, GROUND.eye(HELD), LOOKS["dusk"], shape)
    pane = next(pane for pane in made.board.panes if pane.id == TABLE)
    for grip in ("cue_ball", "object_ball", "target", "eye"):
        at = place_of(GROUND, HELD, grip)
        px = pixels(pane.projection(0), np.array([*at, 0.0]))
        assert np.allclose(made.grips_px[grip], px, atol=1e-6)
        assert np.allclose(mm_at(made.grips_px[grip], GROUND.table, shape), at, atol=1e-6)
    side = next(pane for pane in made.board.panes if pane.id == SIDE)
    at = place_of(GROUND, HELD, "eye_side")
    assert np.allclose(made.grips_px["eye_side"], pixels(side.projection(0), np.array([*at, 0.0])), atol=1e-6)
    assert np.allclose(side_at(made.grips_px["eye_side"], shape), at, atol=1e-6)


def test_from_the_side_the_eye_goes_where_the_hand_goes_between_its_bounds() -> None:
    held, said = moved(GROUND, HELD, "eye_side", (-713.4, 418.7), is_free=True)
    assert (GROUND.mm(held.back), GROUND.mm(held.height)) == pytest.approx((713.4, 418.7), abs=0.06)
    assert said == ""
    low, said = moved(GROUND, HELD, "eye_side", (200.0, -50.0), is_free=False)
    assert (GROUND.mm(low.back), GROUND.mm(low.height)) == (80, 60)
    assert "above the cloth" in said


def test_while_the_hand_moves_labels_keep_their_offset_and_the_lens_stays() -> None:
    """Then, at rest, they stand where a picture that was never moved has them."""
    construction = CLIP.brief.subject.construction
    assert construction is not None
    words, look = CLIP.brief.labels, LOOKS["dusk"]

    def shown(held: Held, before: Manner | None, is_moving: bool) -> HandBoard:
        plan = construction_of(GROUND, held)[0]
        eye = GROUND.eye(held)
        return hand_board(GROUND.shot(held), GROUND.table, plan, 9, eye, look, "wide", words, before, is_moving)

    first = shown(HELD, None, False)
    assert len(first.manner.labels) >= 3
    x, y = place_of(GROUND, HELD, "cue_ball")
    held, _ = moved(GROUND, HELD, "cue_ball", (x - 30, y - 25), is_free=True)
    during = shown(held, first.manner, True)
    assert during.manner.lens_px == pytest.approx(first.manner.lens_px)
    before = {one.placed.wanted.name: one for one in first.manner.labels}
    assert during.manner.labels
    for one in during.manner.labels:
        was = before[one.placed.wanted.name]
        offset = np.array(one.placed.rect_px[:2]) - one.at_px
        assert np.allclose(offset, np.array(was.placed.rect_px[:2]) - was.at_px)
        assert one.at_px != was.at_px
    rested, fresh = shown(held, during.manner, False), shown(held, Manner(first.manner.lens_px, ()), False)
    assert rested.manner.labels == fresh.manner.labels


def test_a_method_of_ones_own_is_held_drawn_and_judged() -> None:
    path = Path(__file__).parents[1] / "own_method.yaml"
    lesson = loads(path.read_bytes(), "own.yaml")
    clip = next(clip for clip in plan(lesson).clips if clip.kind == "build-up")
    taken = held_of(lesson, clip)
    assert taken is not None
    ground, held = taken
    drawn, drawn_limit = construction_of(ground, held)
    assert held.method == "half_way"
    assert drawn == clip.brief.subject.construction
    assert drawn_limit == ""
    table = accuracy(plan(lesson))
    row = next(
        row for row in table.rows
        if row["method"] == "half_way" and row["shot"] == clip.shots[0].identity and row["eye"] == held.eye_name
    )  # fmt: skip
    shown = {row[0]: row[1] for row in rows(ground, held, "mm") if len(row) == 2}
    assert shown["Halfway to the ghost"] == f"{row['miss_mm']:+.1f} mm".replace("-", "−")
    # beyond its reach the sentence of its limit stands, and the shot stays
    plain_shot, limit = construction_of(ground, replace(held, cut=cut("60")))
    assert "alfway to the ghost" in limit
    assert plain_shot.method != "half_way"


def test_the_numbers_are_those_of_solve() -> None:
    told = answer([GROUND.request(HELD)])[0]
    shown = {row[0]: row[1] for row in rows(GROUND, HELD, "mm") if len(row) == 2}
    assert shown["Cut"] == f"{told['shot']['cut_deg']:.1f}° left"
    assert shown["Overlap"] == f"{told['shot']['overlap']:.3f}"
    assert shown["Between centres"] == f"{told['shot']['distance_mm']:.0f}\u202fmm"
    assert shown["Aim offset"] == f"{told['shot']['aim_offset_mm']:.1f}\u202fmm"
    miss = told["methods"]["contact_points"]["readings"]["cue_at_contact"]["miss_mm"]
    assert shown["Contact points, point the cue at the contact"] == f"{miss:+.1f} mm".replace("-", "−")
    assert [one["id"] for one in values_of(GROUND, HELD)] == [
        "cue_ball",
        "object_ball",
        "target",
        "eye",
        "eye_side",
    ]


@settings(max_examples=40)
@given(
    st.sampled_from(["cushion", "placed", "mark", "frozen"]),
    st.lists(st.tuples(grips, places, st.booleans()), min_size=1, max_size=3),
)
def test_what_was_moved_is_told_in_texts_and_taken_up_again(name: str, moves: list) -> None:
    full = next(clip.name for clip in plan(loads(PLACED)).clips if name in clip.name)
    *_, ground, first = clip_of(PLACED, full)
    held = first
    for grip, to, is_free in moves:
        held, _ = moved(ground, held, grip, to, is_free)
    told = moves_of(held, first)
    assert moves_of(with_moves(ground, first, told), first) == told
    assert with_moves(ground, first, {}) == first


@pytest.mark.parametrize(
    "moves",
    [None, [], "x", {"spot": "here"}, {"spot": ["1 mm", "2 mm", "3 mm"]}, {"spot": ["NaN", "1 mm"]},
     {"cut": ["95"]}, {"target": ["nowhere"]}, {"target": ["foot", "x"]},
     {"distance": ["1 mm"]}, {"spot": [["1 mm"], "2 mm"]}],
)  # fmt: skip
def test_moves_that_are_none_are_not_taken_up(moves: object) -> None:
    with pytest.raises(ValueError, match=r"."):
        with_moves(GROUND, HELD, moves)
