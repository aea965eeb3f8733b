"""Words and numbers: set as a handbook sets them, in the lesson's units; every key worded, every word used."""

from __future__ import annotations

import math
import re
from fractions import Fraction
from functools import cache
from pathlib import Path
from string import Formatter
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import scenes
from aimgeo.construct import Quantity, Step
from aimgeo.fractions import SHIFTS
from aimgeo.methods import METHODS
from aimgeo.methods.cue_shift import with_cue_shift
from aimgeo.shot import Shot, place_shot
from aimgeo.units import rounded
from lessons.lesson.model import loads
from lessons.lesson.wording import LANGUAGES, UnknownField, Values, Wording, words_of
from lessons.planning.plan import WORDLESS, plan
from scenes.board.brief import OutlineStep
from scenes.kinds import CLIP_KINDS
from tests.lessons.footage.clicks import MATCHED

WORDING = Wording(words_of("en"), "mm", 57.15)
INCHES = Wording(words_of("en"), "in", 57.15)
BALLS = Wording(words_of("en"), "ball", 57.15)


def quantity(value: float | str, kind: str) -> Quantity:
    """A quantity of a kind."""
    return Quantity(value, kind)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "kind", "shown", "spoken"),
    [
        (math.radians(22), "angle_rad", "22.0°", "22 degrees"),
        (math.radians(14.4775), "angle_rad", "14.5°", "14.5 degrees"),
        (-1e-9, "angle_rad", "0.0°", "0 degrees"),
        (10.704, "length_mm", "10.7\u202fmm", "10.7 millimetres"),
        (57.15, "length_mm", "57.15\u202fmm", "57.15 millimetres"),
        (57.25, "length_mm", "57.3\u202fmm", "57.3 millimetres"),
        (0.21, "length_mm", "0.21\u202fmm", "0.21 millimetres"),
        (0.06, "length_mm", "0.06\u202fmm", "0.06 millimetres"),
        (28.575, "length_mm", "28.6\u202fmm", "28.6 millimetres"),
        (1200.0, "distance_mm", "1200\u202fmm", "1200 millimetres"),
        (640.4, "distance_mm", "640.4\u202fmm", "640.4 millimetres"),
        (952.5, "distance_mm", "952.5\u202fmm", "952.5 millimetres"),
        (7.14375, "half_mm", "7.14\u202fmm", "7.14 millimetres"),
        (57.15, "ball_mm", "57\u202fmm", "57 millimetres"),
        (5 / 8, "overlap", "5/8", "5/8"),
        (1 - math.sin(math.radians(22)), "overlap", "5/8", "5/8"),
        (0.63, "overlap", "0.63", "0.63"),
        (1.0, "overlap", "1", "1"),
        (3 / 8, "ratio", "3/8", "3/8"),
        (1 / 2, "part", "50\u202f%", "50 percent"),
        (1.0, "part", "100\u202f%", "100 percent"),
        (4.0, "count", "4", "4"),
        (2.74, "quarters", "2¾", "2 and three quarters diamonds"),
        (0.74, "quarters", "¾", "three quarters of a diamond"),
        (1.02, "quarters", "1", "1 diamond"),
        (873.1, "set_mm", "873\u202fmm", "873 millimetres"),
        (2.25, "diamonds", "2.250\u202fdiamonds", "2.25 diamonds"),
        ("left", "name", "left", "left"),
        ("foot-left", "name", "foot-left pocket", "foot-left pocket"),
    ],
)
def test_numbers_are_set_like_a_handbooks(value: float | str, kind: str, shown: str, spoken: str) -> None:
    assert WORDING.shown(quantity(value, kind)) == shown
    assert WORDING.spoken(quantity(value, kind)) == spoken


def test_lengths_in_inches_and_in_balls() -> None:
    assert INCHES.shown(quantity(25.4, "length_mm")) == "1\u202fin"
    assert INCHES.shown(quantity(57.15, "length_mm")) == "2 1/4\u202fin"
    assert INCHES.shown(quantity(1200.0, "distance_mm")) == "47 1/4\u202fin"
    assert INCHES.shown(quantity(12.3 * 25.4, "distance_mm")) == "12.3\u202fin"
    assert INCHES.spoken(quantity(14.2875, "length_mm")) == "9/16 inch"
    assert INCHES.spoken(quantity(25.4, "length_mm")) == "1 inch"
    assert BALLS.shown(quantity(57.15 * 3 / 16, "length_mm")) == "3/16\u202fball"
    assert BALLS.shown(quantity(10.0, "length_mm")) == "0.17\u202fball"
    assert BALLS.spoken(quantity(57.15 * 3 / 16, "length_mm")) == "3/16 of a ball"
    assert BALLS.shown(quantity(300.0, "distance_mm")) == "5.2\u202fballs"


def test_fields_are_filled_and_braces_doubled() -> None:
    values: Values = {"cut": quantity(math.radians(30), "angle_rad"), "lesson": "A {cut}"}
    assert WORDING.filled("{lesson}: {cut} {{cut}}", values, spoken=False) == "A {cut}: 30.0° {cut}"
    assert WORDING.filled("{cut}", values, spoken=True) == "30 degrees"


@pytest.mark.parametrize("text", ["{}", "{cutt}", "{cut!r}", "{cut:.3f}", "{cut.value}", "{cut[0]}", "{0}"])
def test_only_the_fields_themselves_can_be_named(text: str) -> None:
    with pytest.raises(UnknownField):
        WORDING.filled(text, {"cut": quantity(0.5, "angle_rad")}, spoken=False)


@cache
def shots() -> list[Shot]:
    """Shots of every kind that changes what a method says: straight, on a step, between steps, frozen, beyond."""
    sines = [k / 16 for k in range(11)] + [0.01, 0.1, 0.28, 0.4, 0.44, 0.6, 0.9]
    cuts = [s * float(np.arcsin(x)) for x in sines for s in (1, -1)]
    return [place_shot([635, 300], [1250, 600], c, d) for c in cuts for d in (57.15, 58.0, 300.0, 1500.0)]


@cache
def steps() -> list[Step]:
    """Every step of every method for every shot that it reaches, the small cue-ball shifts too."""
    made = [
        (method.construct(shot), shot) for method in METHODS.values() for shot in shots() if not method.limit(shot)
    ]
    shifted = [with_cue_shift(*made[0], k) for k in SHIFTS]
    return [step for construction in (*(c for c, _ in made), *shifted) for step in construction.steps]


def emitted() -> tuple[set[str], set[str], set[str], set[str]]:
    """All keys that the methods can emit: sentences, limits, measures, and names."""
    found = [method.limit(shot) for method in METHODS.values() for shot in shots()]
    limits = {limit.sentence for limit in found if limit}
    measures = {m.key for step in steps() for m in step.measures}
    names = {str(q.value) for step in steps() for _, q in step.values if q.kind == "name"}
    return {step.sentence for step in steps()}, limits, measures, names


EVERY_KIND = "title: A\ncuts: [0, 1/2]\ndistances: {near: 300 mm, far: 900 mm}\neyes:\n" + "".join(
    f"  {name}: {{back: 600 mm, height: 300 mm, offset: {offset} mm}}\n"
    for name, offset in (("left", 30), ("over", 0), ("right", -30))
)


MISSED = """
title: A thin cut by a low eye
cuts: [58]
distances: {far: 1000 mm}
eyes: {low: {back: 600 mm, height: 105 mm, offset: -35 mm}, other: {back: 600 mm, height: 105 mm, offset: 35 mm}}
clips: [{kind: methods-summary}]
"""
"""One reading's aim passes the object ball."""


ASIDE = """
title: An eye far beside the line
cuts: [40]
distances: {near: 200 mm, far: 1200 mm}
eyes:
  aside: {back: 300 mm, height: 250 mm, offset: 300 mm}
  left: {back: 600 mm, height: 300 mm, offset: 10 mm}
  over: {back: 600 mm, height: 300 mm}
  right: {back: 600 mm, height: 300 mm, offset: -60 mm}
  standing: {back: 800 mm, height: 900 mm}
  standing-beside: {back: 800 mm, height: 900 mm, offset: 100 mm}
clips:
  - {kind: near-and-far, methods: ghost-ball, eyes: aside}
  - {kind: two-eyes, methods: ghost-ball, distances: near, eyes: [left, aside]}
  - {kind: two-eyes, methods: ghost-ball, distances: near, eyes: [standing, standing-beside], name: up}
  - {kind: two-eyes, methods: ghost-ball, distances: near, eyes: [over, right], name: beside}
  - {kind: alignments, distances: near, eyes: [left, right, standing, standing-beside]}
  - {kind: moving-eye, distances: near, eyes: [over, right]}
"""
"""From there the aim is seen elsewhere on the ball near than far."""


OWN = """
title: Methods of one's own that end in every way
cuts: [0, 30, 60]
distances: {near: 300 mm, far: 900 mm}
own_methods:
  right:
    points: {a: {foot: ghost_centre, on: true_aim}}
    aim: {from: cue_centre, through: a}
    steps: [{show: [aim, true_aim], title: A}]
  wrong: {aim: {from: cue_centre, through: contact_object}}
  nearly:
    points: {a: {edge: object_ball, side: left, along: centre_line}, b: {from: ghost_centre, toward: a, by: 0.3mm}}
    aim: {from: cue_centre, through: b}
  passes:
    points: {a: {from: object_centre, toward: ghost_centre, by: 9 balls}}
    aim: {from: cue_centre, through: a}
  back:
    points: {a: {mirrored: ghost_centre, in: centre_line}}
    aim: {from: cue_centre, through: a}
  centre:
    points: {a: {edge: object_ball, side: outward, along: true_aim}}
    aim: {from: cue_centre, through: a}
  nowhere:
    points: {a: {meet: [true_aim, b]}, b: {parallel: true_aim, by: 1 mm, side: left}}
    aim: {from: cue_centre, through: a}
clips:
  - {kind: build-up, methods: [right, wrong, passes, back]}
  - {kind: where-it-works, methods: [right, wrong, passes, centre, nowhere], sides: left}
  - {kind: methods-summary}
  - {kind: near-and-far, methods: wrong, cuts: 30, sides: left}
  - {kind: two-cuts, methods: wrong, distances: far, sides: left}
  - {kind: two-methods, methods: [ghost-ball, wrong], cuts: 30, distances: far, sides: left}
  - {kind: two-methods, name: nearly, methods: [wrong, nearly], cuts: 0, distances: far}
"""
"""All that can come of an aim, and what is drawn of it."""


ALONE = """
title: One distance alone, and an eye that goes with the cut
cuts: [30]
distances: {near: 400 mm}
eyes: {over: {back: 600 mm, height: 300 mm, alignment: contact-line}}
clips: [{kind: aim-error}, {kind: practice, balls: 10}, {kind: where-it-works, methods: ghost-ball}]
"""
PLACED = """
title: To a place
cuts: [20]
spot: [0 mm, 0 mm]
target: {rail: foot, at: 100 mm}
clips: [{kind: build-up, methods: ghost-ball}, {kind: players-eye, methods: ghost-ball}]
"""
SELDOM = {"build_up.broken",
    "aim_error.limit_none", "methods_summary.no_aim", "where_it_works.parts",
    "table.cue_ball", "table.object_ball_about", "table.touching", "all_methods.own", "throw.speed_sure",
}  # fmt: skip
"""Said where nothing goes in from far away, where no eye of the lesson has an aim by a method, where an aim is
right at two cuts far from each other, of throw that no friction changes, of balls that happen to lie on a quarter
of a diamond, or don't, or touch, and of an own method that aims true."""


@cache
def outlined() -> tuple[tuple[str, OutlineStep], ...]:
    """Every step, by its kind, of a lesson that uses every kind of clip."""
    clips = "clips:\n" + "".join(
        f"  - {{kind: {kind}}}\n" for kind in CLIP_KINDS if kind not in ("section", "card", "film", "on-footage")
    )
    clips += f"  - {{kind: on-footage, footage: {MATCHED}}}\n"
    made = plan(loads(EVERY_KIND + clips + "  - {kind: section, title: B}\n  - {kind: card, lines: [C]}\n"))
    assert {clip.kind for clip in made.clips} == set(CLIP_KINDS) - {"film"}
    return tuple(
        (clip.kind, step)
        for clip in (
            *made.clips,
            *(c for text in (MISSED, ASIDE, ALONE, OWN, PLACED) for c in plan(loads(text)).clips),
        )
        for step in CLIP_KINDS[clip.kind].outline(clip.brief.subject)
    )


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_key_of_methods_and_kinds_is_worded_and_every_word_is_used(language: str) -> None:
    words = words_of(language)
    sentences, limits, measures, names = emitted()
    # which mistake is replayed hangs on the eye; a mark that is remembered exactly is none
    replays = {f"players_eye.mistake.{name}" for m in METHODS.values() for name in m.readings}
    replays = replays - {"players_eye.mistake.memorised_mark"} | {"players_eye.mistake.as_written"}
    outline = {key for _, step in outlined() for key in (step.sentence, step.then)} - {
        "",
        "right.step 1",
        *WORDLESS,
    }
    # by which eye a row is judged: any place of the eye, or what tells two of them apart
    outline |= {f"where_it_works.{key}" for key in words["measures"] if key.startswith("eye_")} - {
        "where_it_works.eye_offset", "where_it_works.eye_side",
    }  # fmt: skip
    assert set(words["sentences"]) == sentences | outline | replays | SELDOM
    assert set(words["measures"]) == measures | {key for _, step in outlined() for key, _ in step.measures}
    said = {str(q.value) for _, step in outlined() for _, q in step.values if q.kind == "name"}
    # the lesson's own words for its eyes, and letters, need no wording
    own = {"left", "over", "right", "low", "other", "player", "wrong", "nearly", "passes", "back"}
    names |= {name for name in said - own if len(name) > 1}
    # some limits lie where no shot of a lesson can be, yet stand in the methods' list of keys; the command line
    # tells them, and it speaks English
    told = set(words_of("en")["limits"])
    assert limits <= told <= {f"{m}.{k}" for m in (*METHODS, "own") for k in ("limit", "no_aim")} | {"own.missing"}
    assert language == "en" or "limits" not in words
    assert names <= set(words["names"])
    assert set(METHODS) <= set(words["names"])


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_role_of_the_methods_has_its_label(language: str) -> None:
    words = words_of(language)
    drawing = "".join(path.read_text(encoding="utf-8") for path in Path(scenes.__file__).parent.rglob("*.py"))
    finished = {
        "heading",
        "between_centres",
        "distance",
        "target",
        "title",
        "over",
        "under",
        "text",
        "decimal",
        "units",
    }
    asked_for = set(re.findall(r'labels(?:\.get\(|\[)"(\w+)"', drawing)) - finished
    parts: list[Any] = [part for step in steps() for part in (*step.points, *step.lines, *step.circles)]
    roles = {part.role for part in parts} | {"true_aim", "given_path"}
    assert len(asked_for) >= 4
    assert asked_for | roles <= set(words["labels"])
    assert set(words["labels"]) == set(words_of("en")["labels"])
    assert [key for key in set(words["labels"]) - roles if f'"{key}"' not in drawing] == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_sentence_can_be_filled_for_every_shot(language: str) -> None:
    wording = Wording(words_of(language), "mm", 57.15)
    for method in METHODS.values():
        for shot in shots():
            if limit := method.limit(shot):
                assert WORDING.limit(limit).endswith(".")
    for step in steps():
        values = dict(step.values) | {"pocket": "foot-left pocket"}
        assert wording.title(step.sentence, values)
        assert wording.narration(step.sentence, values).endswith((".", "?"))
        assert all(wording.measure(m.key, m.quantity, values).name for m in step.measures)


@pytest.mark.parametrize("language", LANGUAGES)
def test_titles_are_short_and_broken_by_hand(language: str) -> None:
    for key, sentence in words_of(language)["sentences"].items():
        # a build-up's title stands in a column beside the picture, other titles over the whole of it
        kind = key.split(".")[0]
        is_beside = kind in {*METHODS, "own", "build_up", "table", "cue_shift"}
        # a comparison's title says what it shows; none is a whole sentence more
        widest = 18 if is_beside else {"split": 44, "aim_error": 42}.get(kind, 34)
        most = 9 if kind in ("split", "methods_summary") else 7
        for form in (sentence, *([sentence["straight"]] if "straight" in sentence else [])):
            lines = form["title"].split("\n")
            plain = [re.sub(r"\{\w+\}", "22.0°", line) for line in lines]
            assert len(lines) <= 3, key
            assert all(len(line) <= widest for line in plain), key
            assert sum(len(line.split()) for line in plain) <= most, key


def test_languages_use_the_same_fields() -> None:
    def fields(text: str) -> set[str]:
        return {name for _, name, _, _ in Formatter().parse(text) if name}

    english = words_of("en")["sentences"]
    for language in LANGUAGES:
        for key, sentence in words_of(language)["sentences"].items():
            # a translation may say less in a title, but it never asks for what the English can't give
            assert fields(sentence["narration"]) == fields(english[key]["narration"]), key


@given(st.floats(0.2, 30.0))
def test_a_half_doubled_is_the_whole_beside_it_in_every_unit(half_mm: float) -> None:
    """Read as a pupil adds: twice the half, to the digits of the whole, is the whole."""
    for wording in (WORDING, INCHES):
        half, whole = (
            wording.number(quantity(mm, kind))[0]
            for mm, kind in ((half_mm, "half_mm"), (2 * half_mm, "length_mm"))
        )
        read, told = (sum(Fraction(part) for part in text.split()) for text in (half, whole))
        digits = len(whole.partition(".")[2])
        assert (
            2 * read == told if "/" in whole else rounded(float(2 * read), digits) == rounded(float(told), digits)
        )


def test_a_table_of_inches_has_fractions_or_decimals_alone() -> None:
    exact, other = (quantity(mm, "length_mm") for mm in (14.2875, 14.31))
    assert INCHES.table([[exact]]) == [[("9/16", "in")]]
    assert INCHES.table([[exact], [other]]) == [[("0.56", "in")], [("0.56", "in")]]
