"""Reading lesson files: places, plain texts, and refusals of what YAML offers to hide or multiply.

The counter-check is PyYAML's own composer: an independent walk of the same text gives the same values and marks.
"""

from __future__ import annotations

import re
import tracemalloc
from contextlib import suppress
from pathlib import Path

import pytest
import yaml
from hypothesis import example, given
from hypothesis import strategies as st

from lessons.lesson.faults import LessonError
from lessons.lesson.read import MOST_BYTES, Items, Keys, Node, Text, plain, read, read_text
from tests.counting import at_most_calls

COURSE = sorted((Path(__file__).parents[2] / "lessons" / "course").glob("*.yaml"))


def refusal(text: str | bytes) -> str:
    """The one message with which a text is refused, before much is done with it."""
    with at_most_calls(1_000_000), pytest.raises(LessonError) as caught:
        read_text(text, "a.yaml")
    return str(caught.value)


@pytest.mark.parametrize(
    "word", ["no", "yes", "on", "017", "0x1F", "1:30", "2024-02-29", "1e3", "~", "null", ".inf", "3/4"]
)
def test_bare_words_stay_the_text_that_was_written(word: str) -> None:
    assert plain(read_text(f"a: {word}", "a.yaml")) == {"a": word}


def test_an_empty_value_is_none_and_an_empty_quoted_text_is_a_text() -> None:
    assert plain(read_text("a:\nb: ''\nc: ~", "a.yaml")) == {"a": None, "b": "", "c": "~"}


def test_line_and_column_count_from_one_and_point_at_the_value() -> None:
    tree = read_text("a: 1\nclips:\n  - kind: title\n", "a.yaml")
    assert isinstance(tree, Keys)
    clips = tree.entries["clips"][1]
    assert isinstance(clips, Items)
    assert isinstance(clips.items[0], Keys)
    key, value = clips.items[0].entries["kind"]
    assert (key.line, key.column, value.place.line, value.place.column) == (3, 5, 3, 11)


def marks(node: Node | yaml.Node) -> list[tuple[int, int, str]]:
    """Line, column and text of every scalar value, in order, from either tree."""
    if isinstance(node, Text):
        return [(node.place.line, node.place.column, node.text)]
    if isinstance(node, yaml.ScalarNode):
        return [(node.start_mark.line + 1, node.start_mark.column + 1, node.value)]
    if isinstance(node, Items):
        return [m for item in node.items for m in marks(item)]
    if isinstance(node, Keys):
        return [m for _, value in node.entries.values() for m in marks(value)]
    assert isinstance(node, yaml.CollectionNode)
    children = node.value if isinstance(node, yaml.SequenceNode) else [value for _, value in node.value]
    return [m for child in children for m in marks(child)]


@pytest.mark.parametrize("path", COURSE, ids=lambda p: p.stem)
def test_values_and_places_agree_with_pyyamls_own_composer(path: Path) -> None:
    composed = yaml.compose(path.read_text(encoding="utf-8"), Loader=yaml.SafeLoader)
    assert composed is not None
    assert marks(read(path)) == marks(composed)


def test_a_byte_order_mark_and_windows_line_ends_are_read() -> None:
    tree = read_text(b"\xef\xbb\xbfa: 1\r\nb: 2\r\n", "a.yaml")
    assert plain(tree) == {"a": "1", "b": "2"}
    assert marks(tree) == [(1, 4, "1"), (2, 4, "2")]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a: 1\nb: 2\na: 3", "a.yaml:3:1: 'a' is given twice; first in line 1."),
        (
            "a: !!python/object/apply:os.system [x]",
            "a.yaml:1:4: the tag 'tag:yaml.org,2002:python/object/apply:os.system' is not",
        ),
        ("a: !env HOME", "a.yaml:1:4: the tag '!env' is not allowed"),
        ("a: !!str 1", "a.yaml:1:4: the tag"),
        ("a: ! x", "a.yaml:1:4: the tag"),
        ("x: &x {b: 1}\na:\n  <<: *x", "a.yaml:3:3: the merge key '<<' is not allowed"),
        ("a: *nowhere", "a.yaml:1:4: '*nowhere' names nothing above"),
        ("a: &a [*a]", "a.yaml:1:8: '*a' stands inside the value that it names."),
        ("? [1, 2]\n: a", "a.yaml:1:3: a key must be a single word"),
        ("a: 1\n---\nb: 2", "a.yaml:2:1: starts a second document"),
        ("", "a.yaml:1:1: is empty; a lesson needs"),
        ("# nothing\n", "is empty"),
        ("a: [1, 2", "a.yaml:1:4: the '[' that opens here is not closed"),
        ("a:\n\t- 1", "a.yaml:2:1: a tab; indent with spaces."),
        ("a: b: c", "a text with ': ' in it needs quotes: \"b: c\""),
        ("a: 1\nb: \x07", "a.yaml:2:1: holds a character that YAML does not allow"),
        (b"a: 1\nb: \xff", "a.yaml:2:1: is not UTF-8 text"),
        ("[" * 14 + "]" * 14, "is nested deeper than 12 levels."),
        ("{a: " * 30 + "1" + "}" * 30, "is nested deeper than 12 levels."),
    ],
)
def test_what_a_lesson_may_not_hold_is_refused_at_its_place(text: str | bytes, message: str) -> None:
    assert message in refusal(text)


def test_all_duplicate_keys_are_reported_together() -> None:
    assert len(refusal("a: 1\na: 2\nb: 1\nb: 2\n").splitlines()) == 2


@pytest.mark.parametrize("loader", ["CSafeLoader", "SafeLoader"])
def test_hostile_texts_are_refused_at_once_with_either_parser(
    loader: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lessons.lesson.read.LOADER", getattr(yaml, loader))
    laughs = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    laughs += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 10)}]" for i in range(1, 12)]
    assert "grows beyond 20,000 values" in refusal("\n".join(laughs))
    assert "deep" in refusal("[" * 200_000) or "depth" in refusal("[" * 200_000)
    assert refusal("- " * 100_000 + "x")
    assert refusal("{" * 100_000)


def test_a_file_of_nothing_but_values_is_refused() -> None:
    assert "a.yaml:1:" in refusal("[" + "a, " * 300_000 + "]")
    assert "grows beyond 20,000 values" in refusal("\n".join(f"k{i}: 1" for i in range(21_000)))


def test_aliases_repeat_a_value_and_keep_its_place() -> None:
    tree = read_text("a: &x [1, 2]\nb: *x\n", "a.yaml")
    assert plain(tree) == {"a": ["1", "2"], "b": ["1", "2"]}
    assert marks(tree)[2] == (1, 8, "1")


def test_a_large_file_is_refused_before_it_is_parsed(tmp_path: Path) -> None:
    path = tmp_path / "large.yaml"
    with path.open("wb") as file:
        file.truncate(200 * MOST_BYTES)
    tracemalloc.start()
    try:
        with pytest.raises(LessonError, match="is larger than 1000 kB"):
            read(path)
        _, most_bytes = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most_bytes < 3 * MOST_BYTES


def test_a_file_that_cannot_be_read_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(LessonError, match="cannot be read: no such file"):
        read(tmp_path / "missing.yaml")
    with pytest.raises(LessonError, match="cannot be read: is a directory"):
        read(tmp_path)


@given(st.text(max_size=80) | st.binary(max_size=80))
@example("?")
@example("- ?\n")
@example('{"\'}?\n]"\n')
def test_any_text_gives_a_tree_or_faults_and_nothing_else(text: str | bytes) -> None:
    with suppress(LessonError):
        plain(read_text(text, "a.yaml"))


BRACKETS = """\
footage: shot-3.mov
points: {foot-left-long: [655, 352], foot-right-short: [1438, 380],
  sight-left-5: [556, 391], sight-right-3: [1880, 857]}
balls:
  cue: [985, 742]   # the white one's middle
  others: [[580, 470], [600, 500]]
lens: {focal: 26 mm}
"""


def test_a_bracket_too_many_is_told_in_its_line() -> None:
    """Each bracket written twice: the sentence is about brackets, and names the line."""
    for k in [k for k, sign in enumerate(BRACKETS) if sign in "[]{}"]:
        with pytest.raises(LessonError) as caught:
            read_text(BRACKETS[:k] + BRACKETS[k] + BRACKETS[k:], "a.yaml")
        (fault,) = caught.value.faults
        assert fault.place.line == BRACKETS.count("\n", 0, k) + 1
        assert re.search("not closed|closes nothing|closed before|a single word|are expected", fault.sentence)


@pytest.mark.parametrize(
    ("before", "after", "place", "sentence"),
    [
        ("857]}", "857}", "3:44", "the '[' that opens here is not closed."),
        ("352], foot", "352, foot", "2:26", "the '[' that opens here is not closed."),
        ("391], sight", "391] sight", "3:28", "a ',' is missing before 'sight-right-3'."),
        ("-5: [556", "-5 [556", "3:3", "':' is missing after 'sight-left-5'."),
        ("[1438, 380]", "1438, 380]", "2:65", "this ']' closes nothing; take it away, or open it."),
        ("[[580", "[580", "6:21", "what begins this line is closed before this ','; check the brackets."),
        ("742]", "742]]", "5:18", "this ']' closes nothing; take it away, or open it."),
        ("lens: {", "lens {", "7:1", "':' is missing after 'lens'."),
    ],
)
def test_a_bracket_colon_or_comma_that_is_missing_is_told(
    before: str, after: str, place: str, sentence: str
) -> None:
    with pytest.raises(LessonError) as caught:
        read_text(BRACKETS.replace(before, after, 1), "a.yaml")
    (fault,) = caught.value.faults
    assert (str(fault.place), fault.sentence) == (f"a.yaml:{place}", sentence)


SLIPS = """\
title: Thin cuts
eyes: {chin: {back: 600 mm, height: 300 mm}}
clips:
  - kind: section   # the first: a word
    over: Part 1
  - kind: build-up
    methods: [ghost-ball]
    steps:
      aim line:
        title: "Aim here"
        narration: >-
          [aim-line] Lay the cue
          along the line.
  - kind: quiz
    over: "Which one?"
    exclude: &near {distances: near}
  - {kind: table, exclude: *near}
"""
"""A lesson in which each slip below is one character, or a line's indent."""


@pytest.mark.parametrize(
    ("before", "after", "place", "sentence"),
    [
        ("kind: section", "kind section", "4:5", "':' is missing after 'kind'."),
        ("over: P", "over :P", "5:5", "write 'over: ', with its ':' right behind it and then a space."),
        ("steps:", "steps", "8:5", "':' is missing after 'steps'."),
        ("title: Thin", "  title: Thin", "1:3",
         "'title' is indented, and the keys below are not; begin it at the line's start."),
        ("    methods", "   methods", "7:4",
         "'methods' is not indented like 'kind' in line 6; indent both alike."),
        ("  - kind: quiz", "    - kind: quiz", "14:5",
         "this '- ' begins no entry of a list; indent it like the '- ' of the list that it belongs to."),
        ("  - {", "   - {", "17:4",
         "this '- ' begins no entry of a list; indent it like the '- ' of the list that it belongs to."),
        ("- {", "-{", "17:3", "a space is missing after '-'."),
        ('here"', "here", "10:16", "the quote that opens here is not closed."),
        ("    methods: [", '"   methods: [', "7:1", "the quote that opens here is not closed."),
        ("  [aim-line]", "[aim-line]", "12:9",
         "the text under 'narration: >' begins here; indent it deeper than 'narration'."),
        ("  [aim-line]", "   [aim-line]", "13:11",
         "the text under 'narration: >' is indented less here than in line 12."),
        ("eyes: {", "eyes: ", "2:43", "this '}' closes nothing; take it away, or open it."),
        ("&near", "&naer", "17:28", "'*near' names nothing above; did you mean '*naer'?"),
    ],
)  # fmt: skip
def test_a_slip_is_told_where_it_is_not_where_yaml_noticed(
    before: str, after: str, place: str, sentence: str
) -> None:
    assert plain(read_text(SLIPS, "a.yaml"))
    assert refusal(SLIPS.replace(before, after, 1)) == f"a.yaml:{place}: {sentence}"


def test_a_quoted_text_of_several_lines_is_not_taken_for_an_open_quote() -> None:
    told = refusal('title: "Thin\n  cuts"\nclips:\n  - kind: quiz\n    over: "One\n      more" two\n')
    assert "not closed" not in told
