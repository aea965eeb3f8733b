"""The model of a lesson file: defaults, and every fault a sentence at its place, all of a file together."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from lessons.lesson.faults import LessonError
from lessons.lesson.model import AXES, LessonKeys, loads
from scenes.board.settings import settings_of
from scenes.kinds import CLIP_KINDS

SHORT = "title: Short\nclips: [{kind: build-up}]\n"


def messages(text: str) -> list[str]:
    """The messages with which a lesson is refused."""
    with pytest.raises(LessonError) as caught:
        loads(text, "cuts.yaml")
    return str(caught.value).splitlines()


def test_a_title_and_a_kind_are_a_lesson() -> None:
    keys = loads(SHORT).keys
    assert [c.text for c in keys.cuts] == ["3/4", "1/2", "1/4"]
    assert keys.sides == ("left", "right")
    assert list(keys.distances) == ["near", "far"]
    assert (keys.output.size, keys.output.rate, keys.output.theme) == ((1920, 1080), (60, 1), "dusk")
    assert keys.table == "9ft"
    assert keys.ball is None
    assert keys.ball_mm() == 57.15
    assert "player" in keys.eyes


def test_the_identity_is_the_files_name_unless_given() -> None:
    assert loads(SHORT, "Évening class 2.yaml").identity == "vening-class-2"
    assert loads("identity: five\n" + SHORT).identity == "five"


def test_the_house_examples_of_messages() -> None:
    lesson = """title: Cuts
clips:
  - kind: title
  - kind: table
  - kind: build-up
    distence: near
    cuts: [30, 95]
"""
    assert messages(lesson) == [
        "cuts.yaml:6:5: unknown key 'distence' in clips[2]; did you mean 'distances'?",
        "cuts.yaml:7:16: cut is 95 degrees; a ball can be cut by less than 90.",
    ]


@pytest.mark.parametrize(
    ("lesson", "message"),
    [
        ("clips: [{kind: title}]", "1:1: 'title' is missing in the lesson."),
        ("title: a", "1:1: 'clips' is missing in the lesson."),
        ("title: a\nclips: []", "2:8: clips is empty; write an entry"),
        ("title: a\nclips: title", "2:8: clips must be a list, not 'title'."),
        ("title: a\nclips: [{kind: buildup}]", "2:16: unknown kind 'buildup' in clips[0]; did you mean 'build"),
        ("title: ' '\nclips: [{kind: title}]", "1:8: title is empty; write the words"),
        (f"title: {'a' * 700}\nclips: [{{kind: title}}]", "1:8: title is 700 characters long; at most 600 fit."),
        ('title: "a\\u0000b"\nclips: [{kind: title}]', "1:8: title holds control characters"),
        ('title: "a\\u202eb"\nclips: [{kind: title}]', "1:8: title holds control characters"),
        ("title: 'שלום'\nclips: [{kind: title}]", "1:8: title holds 'שלום', which is written from right to"),
        ("[1]", "1:1: is no lesson; a lesson is a mapping of keys"),
        ("title", "1:1: is no lesson"),
        (SHORT + "pocket: foot-lefft", "3:9: pocket is 'foot-lefft'; did you mean 'foot-left'?"),
        (SHORT + "language: xx", "3:11: language is 'xx'; known are: en"),
        (SHORT + "cuts: []", "3:7: cuts is empty"),
        (SHORT + "cuts: [,]", "3:8: a value is expected here"),
        (SHORT + "cuts:\n  -\n", "4:4: an entry of the list is empty"),
        (SHORT + "sides: up", "3:8: sides is 'up'; known are: left, right."),
        (SHORT + "distances: {near: 300}", "3:19: '300' has no unit; write '300 mm'"),
        (SHORT + "distances: {near: -3 mm}", "3:19: '-3 mm' must be more than 0."),
        (SHORT + "distances: {Near: 300 mm}", "3:19: 'Near' is no name"),
        (SHORT + "distances: {../up: 300 mm}", "'../up' is no name"),
        (SHORT + "distances: {nul: 300 mm}", "'nul' is a name that Windows keeps for itself"),
        (SHORT + "distances: {}", "3:12: distances is empty"),
        (SHORT + "identity: ../x", "3:11: '../x' is no name; names become parts of file names"),
        (SHORT + "identity: com1", "3:11: 'com1' is a name that Windows keeps for itself; choose another."),
        (SHORT + f"identity: {'a' * 33}", "is no name"),
        (SHORT + "output: {rate: 61}", "3:16: frame rate is '61'; choose 23.976, 24"),
        (SHORT + "output: {size: 8k}", "3:16: size is '8k'; choose 720p"),
        (SHORT + "output: {fps: 30}", "3:10: unknown key 'fps' in output; known are: size, rate, theme"),
        (SHORT + "speech: {words_a_minute: nan}", "3:26: speech.words_a_minute is 'nan'"),
        (SHORT + "eyes: {a: {back: 3 mm}}", "3:11: 'height' is missing in eyes.a."),
        (SHORT + "eyes: {a: {back: 1 mm, height: 1 mm, offset: 0, alignment: aim line}}", "eyes.a has both"),
        (SHORT + "eyes: {a: {back: 1 mm, height: 1 mm, alignment: nose}}", "is 'nose'; known are: aim-line"),
        ("title: a\nclips: [{kind: title, cuts: 3}]", "2:23: unknown key 'cuts' in clips[0]"),
        ("title: a\nclips: [{kind: build-up, methods: gost ball}]", "did you mean 'ghost-ball'?"),
        ("title: a\nclips: [{kind: build-up, exclude: {cut: 3}}]", "in clips[0].exclude; did you mean 'cuts'?"),
        ("title: a\nclips: [{kind: build-up, steps: {x: {titel: a}}}]", "did you mean 'title'?"),
        ("title: a\nclips: [{kind: build-up, name: Intro}]", "'Intro' is no name"),
    ],
)  # fmt: skip
def test_every_fault_is_a_sentence_at_its_place(lesson: str, message: str) -> None:
    found = messages(lesson)
    assert any(message in line for line in found), found
    assert all(re.match(r"cuts\.yaml:\d+:\d+: .*[.?]$", line) for line in found), found


def test_all_faults_of_a_file_are_reported_together_in_the_files_order() -> None:
    lesson = "title:\ncuts: [95, x, 3/16]\nbogus: 1\nclips:\n- {kind: nothing}\n- {kind: table, cuts: y}\n"
    lesson += "output: {rate: 7}\n"
    lines = [int(m.split(":")[1]) for m in messages(lesson)]
    assert lines == [1, 2, 2, 2, 3, 5, 6, 7]


def test_of_a_thousand_faults_the_first_hundred_are_told_and_the_rest_counted() -> None:
    found = messages("title: a\nclips:\n" + "- x\n" * 1000)
    assert len(found) == 101
    assert found[-1] == "cuts.yaml:103:3: here and below are 900 faults more."


def test_a_single_value_stands_for_a_list_of_one() -> None:
    one = loads("title: a\ncuts: 30\nsides: left\nclips: [{kind: build-up, methods: ghost ball}]").keys
    assert [c.text for c in one.cuts] == ["30"]
    assert one.sides == ("left",)
    assert one.clips[0].methods == ("ghost-ball",)


@pytest.mark.parametrize("word", ["ghost-ball", "ghost_ball", "ghost ball", "Ghost Ball"])
def test_names_of_the_trade_may_be_written_with_spaces(word: str) -> None:
    assert loads(f"title: a\nclips: [{{kind: build-up, methods: {word}}}]").keys.clips[0].methods == (
        "ghost-ball",
    )


KEYS = [*sorted(LessonKeys.model_fields), "kind", "steps", "x"]
VALUES = st.recursive(
    st.sampled_from(["1", "-1", "nan", "build-up", "title", "30 mm", "", "~", "1/2", "a" * 50, "{", "\x00"])
    | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(KEYS), inner, max_size=4),
    max_leaves=12,
)


@settings(max_examples=200)
@given(st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=8))
@example({"clips": [], "others": {"kind": []}})
@example({"clips": [{"kind": []}]})
@example({"clips": [{"kind": {}}]})
def test_no_lesson_gives_a_traceback(data: dict[str, Any]) -> None:
    try:
        loads(json.dumps(data), "cuts.yaml")
    except LessonError as error:
        text = str(error)
    else:
        text = "cuts.yaml:"
    assert text.startswith("cuts.yaml:")


@pytest.mark.parametrize("kind", CLIP_KINDS)
def test_every_setting_of_a_kind_has_a_key_of_its_own(kind: str) -> None:
    keys = [one.key for one in settings_of(CLIP_KINDS[kind].settings)]
    assert len(set(keys)) == len(keys)
    assert not {*keys} & {
        "kind",
        "name",
        "title",
        "over",
        "under",
        "steps",
        "narration",
        "pocket",
        "spot",
        *AXES.values(),
    }


def test_settings_are_read_with_their_units() -> None:
    group = loads("title: a\nclips: [{kind: quiz, questions: 5, think: 3.5 s}]").keys.clips[0]
    assert (group.questions, group.think, group.seed) == (5, 3.5, 1)
    assert loads("title: a\nclips: [{kind: players-eye, cue: no}]").keys.clips[0].cue is False
    wrong = "title: a\nclips: [{kind: quiz, questions: many}]"
    assert messages(wrong) == ["cuts.yaml:2:33: clips[0].questions is 'many'; write a whole number."]
