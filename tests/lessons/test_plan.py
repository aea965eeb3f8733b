"""The plan: shots placed on the table, words and lengths of steps, what is left out and what is refused."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from aimgeo.tables import TABLES
from lessons.lesson.faults import LessonError
from lessons.lesson.model import loads
from lessons.lesson.timing import spoken_s, step_frames
from lessons.planning.accuracy import accuracy
from lessons.planning.plan import draft_output, plan
from lessons.planning.planned import Plan, PlannedClip
from scenes.board.brief import Output
from scenes.kinds.straight_in import StraightInSettings

HEAD = "title: A\ncuts: [14.5, 1/2, 45]\ndistances: {near: 300 mm, far: 900 mm}\n"


def planned(clips: str, head: str = HEAD, draft: bool = False) -> Plan:
    """The plan of a lesson with these clips."""
    return plan(loads(f"{head}clips:\n{clips}", "cuts.yaml"), draft=draft)


def messages(clips: str, head: str = HEAD) -> list[str]:
    """The messages with which the lesson is refused."""
    with pytest.raises(LessonError) as caught:
        planned(clips, head)
    return str(caught.value).splitlines()


def one(clips: str, head: str = HEAD) -> PlannedClip:
    """The only clip of a plan."""
    (clip,) = planned(clips, head).clips
    return clip


def test_a_clips_shot_is_the_one_the_lesson_names() -> None:
    for clip in planned("  - kind: build-up").clips:
        shot = clip.brief.subject.shot
        assert shot is not None
        assert clip.cut_deg is not None
        assert math.degrees(abs(shot.cut_rad)) == pytest.approx(clip.cut_deg, abs=1e-9)
        assert {1: "left", -1: "right"}[int(shot.side)] == clip.side
        to_object = shot.object_ball_mm[:2] - shot.cue_ball_mm[:2]
        assert np.hypot(*to_object) == pytest.approx(clip.distance_mm, abs=1e-9)
        assert tuple(shot.target_mm[:2]) == TABLES["9ft"].pocket("foot-left").centre_mm
        assert abs(shot.cue_ball_mm[0]) <= 1270 - 57.15 / 2
        assert abs(shot.cue_ball_mm[1]) <= 635 - 57.15 / 2


def test_all_clips_share_one_spot() -> None:
    shots = [clip.brief.subject.shot for clip in planned("  - kind: table\n  - kind: build-up").clips]
    spots = {tuple(shot.object_ball_mm) for shot in shots if shot is not None}
    assert len(spots) == 1


def test_the_author_may_fix_the_spot_the_pocket_and_the_ball() -> None:
    clip = one(
        "  - {kind: table, cuts: 30, sides: left, distances: near, pocket: head left,"
        " spot: [-2 diamonds, 5 balls]}",
        HEAD + "ball: 52.4 mm\ntable: 7ft\n",
    )
    shot = clip.brief.subject.shot
    assert shot is not None
    assert tuple(shot.object_ball_mm) == pytest.approx((-2 * TABLES["7ft"].length_mm / 8, 5 * 52.4, 26.2))
    assert tuple(shot.target_mm[:2]) == TABLES["7ft"].pocket("head-left").centre_mm
    assert clip.brief.subject.target_name == "head-left"


def test_an_override_moves_only_its_clips() -> None:
    made = planned(
        "  - kind: table\n    cuts: 30\n    distances: near\n    overrides: {sides: left, spot: [1 diamond, 0]}"
    )
    x = {c.side: float(c.brief.subject.shot.object_ball_mm[0]) for c in made.clips}  # type: ignore[union-attr]
    assert x["left"] == pytest.approx(317.5)
    assert x["right"] != pytest.approx(317.5)


def test_a_method_beyond_its_limit_is_left_out_with_the_methods_own_sentence() -> None:
    made = planned("  - {kind: build-up, sides: left, distances: near}")
    assert [(o.name, o.place.line) for o in made.left_out] == [
        (f"{method}_build-up_cut-45_left_near", 5)
        for method in ("doubled-offset", "ball-fractions", "fixed-marks")
    ]
    assert made.left_out[0].reason == (
        "doubled offset reaches cuts up to 30.0°, where the aim line leaves the object ball; this cut is 45.0°."
    )
    assert len(made.clips) == 15 - 3


def test_a_method_beyond_its_limit_is_a_fault_where_the_group_names_both() -> None:
    (message,) = messages("  - {kind: build-up, methods: doubled-offset, cuts: 45, sides: left, distances: near}")
    assert message.startswith(
        "cuts.yaml:5:5: doubled-offset_build-up_cut-45_left_near can't be made: doubled offset"
    )


def test_what_has_no_room_is_left_out_with_what_would_make_it_fit() -> None:
    made = planned("  - {kind: table, cuts: 45}", HEAD.replace("900 mm", "2300 mm"))
    assert {c.distance_name for c in made.clips if c.side == "right"} == {"near"}
    assert [o.name for o in made.left_out] == ["table_cut-45_right_far"]
    reason = made.left_out[0].reason
    assert re.search(
        r"the cue ball has room for \d+ mm between centres, not for 2300 mm, at a cut of 45\.0°", reason
    )


def test_a_spot_that_serves_no_pocket_is_a_fault_at_its_place() -> None:
    (message,) = messages("  - kind: table", HEAD + "spot: [1300 mm, 0]\n")
    assert message.startswith("cuts.yaml:4:7: the spot [1300 mm, 0 mm] can't serve the foot-left pocket")


def test_a_lesson_of_which_nothing_is_left_is_a_fault() -> None:
    (message,) = messages("  - {kind: build-up, methods: fixed-marks}", HEAD.replace("14.5, 1/2, 45", "45"))
    assert message.startswith("cuts.yaml:5:3: no clip is left to make: fixed marks reach cuts up to 30.0°")


def stepped(step: str, keys: str) -> str:
    """A group of build-ups with a changed step."""
    return f"  - kind: build-up\n    steps: {{{step}: {{{keys}}}}}"


@pytest.mark.parametrize(
    ("clips", "message"),
    [
        (stepped("aim lin", "seconds: 9"), "6:13: unknown step 'aim lin'; did you mean 'aim line'?"),
        (stepped("aim line", "seconds: 0.1"), "6:33: step 'aim line' is given 0.1 s; to draw it takes"),
        (stepped("aim line", "narration: 'At {cutt}.'"), "6:35: unknown field '{cutt}'; did you mean 'cut'?"),
        (stepped("aim line", "title: 'At {cut'"), "6:31: has a single brace; write a field as {cut}"),
        ("  - kind: build-up\n    narration: Look.", "6:16: a build-up clip has"),
        ("  - {kind: title, under: 'A {cut}'}", "5:26: unknown field '{cut}'; known are: lesson."),
        ("  - {kind: build-up, overrides: {cuts: 30, steps: {rol: {seconds: 9}}}}", "did you mean 'roll'?"),
    ],
)
def test_faults_that_show_only_in_the_plan(clips: str, message: str) -> None:
    found = messages(clips)
    assert any(message in line for line in found), found
    assert all(re.match(r"cuts\.yaml:\d+:\d+: .*[.?]$", line) for line in found), found


def test_sizes_that_make_no_shot_are_faults() -> None:
    (near,) = messages("  - kind: table", HEAD.replace("300 mm", "30 mm"))
    assert near.startswith("cuts.yaml:3:19: distance 'near' is 30 mm from centre to centre; balls 57.15 mm wide")
    (ball,) = messages("  - kind: title", HEAD + "ball: 5 mm\n")
    assert ball == "cuts.yaml:4:7: ball is 5 mm; balls from 20 to 120 mm are drawn."


def test_a_fault_of_a_text_is_told_once_however_many_clips_it_stands_in() -> None:
    assert len(messages("  - kind: build-up\n    steps: {aim line: {narration: '{x}'}}")) == 1


def test_words_of_the_lesson_take_the_place_of_our_own() -> None:
    clip = one(
        "  - kind: build-up\n    methods: ghost-ball\n    cuts: 30\n    sides: left\n    distances: far\n"
        "    steps:\n      aim line:\n        title: Aim, {side}\n        seconds: 9\n"
        "        narration: 'Cut {cut}, {distance_name}: {distance}.'\n"
    )
    steps = {s.name: s for s in clip.brief.steps}
    assert steps["aim line"].title == "Aim, left"
    assert steps["aim line"].narration == "Cut 30 degrees, far: 900 millimetres."
    assert steps["aim line"].frames == 9 * 60
    assert steps["contact point"].title == "Find the\ncontact point"


def test_an_override_words_only_its_clips() -> None:
    made = planned(
        "  - kind: build-up\n    methods: ghost-ball\n    overrides:\n"
        "      - {cuts: 30, steps: {aim line: {title: thirty}}}\n"
    )
    for clip in made.clips:
        title = next(s.title for s in clip.brief.steps if s.name == "aim line")
        assert (title == "thirty") == (clip.cut_deg == pytest.approx(30.0)), clip.name


def test_a_step_lasts_as_long_as_its_words_and_never_shorter_than_its_drawing() -> None:
    # common practice: 140 words a minute and 0.35 s after each sentence
    assert spoken_s(
        "One two three four five six seven. Eight nine ten eleven twelve thirteen fourteen!"
    ) == pytest.approx(6.7)
    assert spoken_s("") == 0
    output = Output(1920, 1080, (30000, 1001))
    assert step_frames(output, "One two three.", 5.0) == math.ceil(5.0 * 30000 / 1001)
    assert step_frames(output, "word " * 70, 5.0) == math.ceil(30.35 * 30000 / 1001)
    assert step_frames(output, "word " * 70, 1.0, given_s=2.0) == math.ceil(2.0 * 30000 / 1001)
    for clip in planned("  - kind: build-up").clips:
        for step in clip.brief.steps:
            assert step.frames >= spoken_s(step.narration) * 60 - 1e-6


def test_slower_speech_makes_longer_steps() -> None:
    slow, usual = (
        one("  - {kind: build-up, methods: ghost-ball, cuts: 30, sides: left, distances: near}", HEAD + more)
        for more in ("speech: {words_a_minute: 80, pause: 1 s}\n", "")
    )
    assert slow.frames > usual.frames


def test_draft_is_small_with_the_same_step_lengths() -> None:
    full, draft = (planned("  - kind: build-up", draft=d) for d in (False, True))
    assert [c.name for c in full.clips] == [c.name for c in draft.clips]
    assert draft.clips[0].brief.output == Output(640, 360, (30, 1))
    assert draft.duration_s == pytest.approx(full.duration_s, rel=0.02)
    assert draft_output(Output(1080, 1920, (25, 1))) == Output(360, 640, (25, 1))
    assert draft_output(Output(320, 180, (60000, 1001))) == Output(320, 180, (30000, 1001))


def test_planning_twice_gives_the_same_briefs() -> None:
    first, second = (planned("  - kind: build-up\n  - kind: title") for _ in range(2))
    assert [c.name for c in first.clips] == [c.name for c in second.clips]
    assert [c.brief.steps for c in first.clips] == [c.brief.steps for c in second.clips]
    assert [c.brief.labels for c in first.clips] == [c.brief.labels for c in second.clips]


def test_only_picks_clips_by_pattern() -> None:
    made = planned("  - kind: build-up\n  - kind: title")
    assert {c.method for c in made.only(["ghost-ball_*"]).clips} == {"ghost_ball"}
    assert made.only([]).clips == made.clips
    assert len(made.only(["title", "*_left_far"]).clips) == 1 + 5 * 3 - 3


def test_labels_name_the_shot_in_words() -> None:
    labels = one("  - {kind: table, cuts: 30, sides: right, distances: far}").brief.labels
    assert labels["heading"] == "Cut 30.0° right, centres 900\u202fmm apart"
    assert labels["between_centres"] == "900\u202fmm between centres"
    assert labels["target"] == "Target: foot-left pocket"
    assert labels["aim_line"] == "Aim line"
    straight = one("  - {kind: table, sides: right, distances: far}", HEAD.replace("14.5, 1/2, 45", "0"))
    assert straight.side == "straight"
    assert straight.brief.labels["heading"] == "Straight, centres 900\u202fmm apart"


def test_cards_carry_their_words() -> None:
    made = planned("  - {kind: title, under: 'In {lesson}'}\n  - {kind: section, over: Part 1, title: Lines}")
    title, section = (c.brief.labels for c in made.clips)
    assert (title["title"], title["under"]) == ("A", "In A")
    assert "over" not in title
    assert (section["title"], section["over"]) == ("Lines", "Part 1")


def test_a_section_without_a_title_is_a_fault() -> None:
    assert messages("  - kind: section") == [
        "cuts.yaml:5:5: 'title' is missing in clips[0]; a section card needs one."
    ]


def test_eyes_stand_where_the_lesson_says() -> None:
    head = HEAD + (
        "eyes:\n  plain: {back: 600 mm, height: 300 mm}\n  left: {back: 2 ft, height: 12 in, offset: 32 mm}\n"
        "  contact: {back: 600 mm, height: 300 mm, alignment: contact line}\n"
        "  edge: {back: 600 mm, height: 300 mm, alignment: cue-edge-right}\n"
    )
    made = planned("  - {kind: players-eye, methods: ghost-ball, cuts: 30, distances: near}", head)
    eyes = {(c.eye, c.side): c.brief.subject.eye for c in made.clips}
    R = 57.15 / 2
    offsets = {key: eye.offset_mm for key, eye in eyes.items() if eye}
    assert offsets["plain", "left"] == 0
    assert offsets["left", "right"] == 32
    assert offsets["contact", "left"] == pytest.approx(R / 2)
    assert offsets["contact", "right"] == pytest.approx(-R / 2)
    assert offsets["edge", "left"] == offsets["edge", "right"] == -R
    left = eyes["left", "left"]
    assert left is not None
    assert (left.back_mm, left.height_mm) == pytest.approx((609.6, 304.8))


def test_a_summary_spans_the_cuts_of_the_lesson() -> None:
    clip = one("  - kind: summary")
    shots = [s.shot for s in clip.brief.subject.companions]
    assert [round(math.degrees(abs(s.cut_rad)), 1) for s in shots if s] == [14.5, 30.0, 45.0]
    assert clip.cut_deg is None
    assert clip.method is None


def test_a_kind_that_compares_needs_something_to_compare() -> None:
    one_eye = "  - {kind: two-eyes, methods: ghost-ball, cuts: 30, sides: left, distances: near}"
    (message,) = messages(one_eye)
    assert message == "cuts.yaml:5:12: a two-eyes clip compares two eyes or more; this lesson has one."


def test_a_comparison_of_which_a_part_is_left_out_is_left_out_too() -> None:
    made = planned("  - {kind: table}\n  - {kind: two-methods, methods: [ghost-ball, fixed-marks], sides: left}")
    left = [o for o in made.left_out if "cut-45" in o.name]
    assert len(left) == 4
    assert {c.brief.subject.companions[-1].construction.method for c in made.clips if c.kind == "two-methods"} == {  # type: ignore[union-attr]
        "fixed_marks"
    }


def test_a_title_broken_by_hand_is_spoken_in_one_line_with_one_full_stop() -> None:
    section, title = planned('  - {kind: section, title: "Where must\\nit go?"}\n  - kind: title').clips
    assert section.brief.labels["title"] == "Where must\nit go?"
    assert section.brief.steps[0].narration == "Where must it go?"
    assert title.brief.steps[0].narration == "A."


@pytest.mark.parametrize(
    ("clip", "said"),
    [
        ("{kind: throw, roll: 5}", "roll is 5; it goes from 0 to 1."),
        ("{kind: throw, roll: -0.1}", "roll is -0.1; it goes from 0 to 1."),
        ("{kind: straight-in, looks: 40}", "looks is 40; it goes from 2 to 7."),
        ("{kind: straight-in, step: 2 m}", "step is 2 m; it goes from 1 mm to 25 mm."),
        ("{kind: straight-in, look: 0}", "look is 0 s; it goes from 1 s to 60 s."),
        ("{kind: aim-error, turn: 40}", "turn is 40°; it goes from 0.05° to 3°."),
        ("{kind: aim-error, turn: 0}", "turn is 0°; it goes from 0.05° to 3°."),
        ("{kind: aim-error, turn: 360}", "turn is 360°; it goes from 0.05° to 3°."),
        (
            "{kind: aim-error, miss: 2 mm}",
            "miss is used with 'measured: millimetres' only; write that too, or leave it out.",
        ),
        (
            "{kind: aim-error, turn: 1, measured: millimetres}",
            "turn is used with 'measured: degrees' only; write that too, or leave it out.",
        ),
        ("{kind: quiz, questions: 1000000}", "questions is 1000000; it goes from 1 to 12."),
        ("{kind: quiz, questions: 0}", "questions is 0; it goes from 1 to 12."),
        ("{kind: quiz, seed: -1}", "seed is -1; it goes from 0 to 9999."),
    ],
)
def test_a_setting_out_of_bounds_or_without_a_meaning_is_a_fault_at_its_place(clip: str, said: str) -> None:
    key = f"{said.split()[0]}: "
    assert messages(f"  - {clip}") == [f"cuts.yaml:5:{5 + clip.index(key) + len(key)}: {said}"]


@pytest.mark.parametrize("bound", ["turn: 0.05", "turn: 3", "measured: millimetres, miss: 0.1 mm"])
def test_a_setting_may_be_its_bound(bound: str) -> None:
    lesson = f"title: T\ncuts: 1/2\nclips: [{{kind: aim-error, {bound}}}]"
    assert plan(loads(lesson)).clips


def test_a_clip_takes_what_its_group_sets_and_else_the_kinds_own() -> None:
    made = plan(loads("title: T\ncuts: 1/2\nsides: left\nclips: [{kind: straight-in, looks: 3, step: 1/4 in}]"))
    own = StraightInSettings.of(made.clips[0].brief.subject)
    assert own == StraightInSettings(looks=3, step_mm=6.35)
    assert (own.seed, own.look_s) == (1, 4.0)


OWN = """\
title: Own
units: in
table: {length: 100 in, width: 50 in, corner_mouth: 4.5 in, side_mouth: 5 in, ball: 57.15 mm}
cuts: 1/2
sides: left
distances: {near: 12 in, far: 12 ft}
clips: [{kind: table}]
"""


def test_a_lesson_writes_its_own_table() -> None:
    """100 x 50 in is the 9 ft bed (WPA): the same shot lies at the same place on both."""
    own, named = plan(loads(OWN)), plan(loads(re.sub("table: {.*}", "table: 9ft", OWN)))
    assert own.table.length_mm == 2540.0
    assert own.table.corner_mouth_mm == pytest.approx(114.3)
    (shot,), (same,) = own.clips[0].shots, named.clips[0].shots
    assert shot.shot.cue_ball_mm == pytest.approx(same.shot.cue_ball_mm, abs=2.0)
    assert "144 in" in own.unset[0]
    assert "12ft" not in own.unset[0]
    assert accuracy(own).rows


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("length: 100 in", "length: 100 balls", "3:17: length is '100 balls'; write it in mm, cm, m, in or ft."),
        ("width: 50 in", "width: 5 in", "3:32: width is 5 in; it goes from 500 to 3000 mm."),
        ("width: 50 in", "width: 110 in", "3:8: table is wider than long; the length runs from head to foot."),
        ("ball: 57.15", "ball: 118", "3:8: table has a corner_mouth of 114.3 mm, which takes no ball of 118 mm."),
        ("ball:", "bal:", "3:79: unknown key 'bal' in table; did you mean 'ball'?"),
    ],
)
def test_a_table_that_is_none_is_told_at_its_place(old: str, new: str, message: str) -> None:
    with pytest.raises(LessonError) as told:
        plan(loads(OWN.replace(old, new), "own.yaml"))
    assert f"own.yaml:{message}" in str(told.value)


def test_a_snooker_lesson_has_its_own_balls_and_no_diamonds() -> None:
    made = plan(loads(re.sub("table: {.*}", "table: 12ft", OWN).replace("units: in", "units: mm")))
    assert float(made.clips[0].shots[0].shot.ball_diameter_mm) == 52.5
    assert {m.unit for step in made.clips[0].brief.steps for m in step.measures} == {"mm"}
    assert plan(loads(re.sub("table: {.*}", "table: 12ft\nball: 2 in", OWN))).ball_mm == pytest.approx(50.8)


@pytest.mark.parametrize("written", ["object-ball line", "object-ball-line", "object_ball_line"])
def test_a_steps_name_may_be_written_with_spaces_hyphens_or_underscores(written: str) -> None:
    steps = f"steps: {{{written}: {{title: Mine}}}}"
    made = plan(loads(f"title: a\ncuts: 20\nclips: [{{kind: build-up, methods: doubled-offset, {steps}}}]"))
    assert [step.title for step in made.clips[0].brief.steps if step.name == "object-ball line"] == ["Mine"]


def test_the_plan_lists_the_names_of_the_steps() -> None:
    from lessons.commands.plan import steps

    made = plan(loads("title: a\ncuts: 20\nclips: [{kind: table}, {kind: build-up, methods: ghost-ball}]"))
    told = "where, target line, contact point, ghost ball, base spot, aim line, edge lines, roll"
    assert f"  ghost-ball build-up: {told}" in steps(made)
