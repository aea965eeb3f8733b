"""What is said is true of the picture, in every language: sides, places, targets, numbers and what is left out.

Lessons of thin and thick, straight and cut shots are planned, near and far, to a corner and a side pocket, to a
place and a cushion, and every sentence is held against the shot that it is said of.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

import numpy as np
import pytest

from aimgeo.construct import Step
from aimgeo.methods import METHODS
from aimgeo.shot import Shot, place_shot
from aimgeo.vectors import left
from lessons.lesson.model import loads
from lessons.lesson.timing import clauses
from lessons.lesson.wording import LANGUAGES, Wording, words_of
from lessons.planning.plan import plan
from lessons.planning.planned import Plan
from scenes.kinds import CLIP_KINDS

LESSON = """\
title: A
language: {language}
cuts: [{cuts}]
sides: [left, right]
distances: {{near: 300 mm, far: 1000 mm}}
{target}
eyes:
  down: {{back: 600 mm, height: 300 mm}}
  beside: {{back: 600 mm, height: 300 mm, offset: -31.5 mm}}
  level: {{back: 600 mm, height: 90 mm}}
clips:
"""
NEED_POCKET = ("aim-error", "throw", "methods-summary", "where-it-works")
OWN_WORDS = ("title", "section", "card", "film", "two-cuts", "on-footage")
SHOWN = tuple(kind for kind in CLIP_KINDS if kind not in OWN_WORDS)
PLACE = "spot: [0 mm, 0 mm]\ntarget: [-500 mm, 300 mm]"
RAIL = "spot: [0 mm, 0 mm]\ntarget: {rail: left, at: 900 mm}"
POCKET = {"en": "pocket", "de": "tasche", "es": "tronera"}
CUT = {"en": r"\bcut\b", "de": r"schnitt", "es": r"\bcorte\b"}
COLOURS = {
    "en": r"\b(white|pink|yellow|blue|green|red|amber|black)\b",
    "de": r"\b(weiß|rosa|gelb|blau|grün|rot|schwarz)\w*\b(?<!Weiße)",
    "es": r"\b(?<!bola )(blanc|rosa|amarill|azul|verde|roj|negr)[aoe]?s?\b(?<!la blanca)",
}


@cache
def planned(language: str, cuts: str, target: str = "", kinds: tuple[str, ...] = SHOWN) -> Plan:
    text = LESSON.format(language=language, cuts=cuts, target=target)
    return plan(loads(text + "".join(f"  - {{kind: {kind}}}\n" for kind in kinds)))


def said(made: Plan) -> Iterator[tuple[str, str, str]]:
    """Each clip's kind, a step's name and its words."""
    for clip in made.clips:
        for step in clip.brief.steps:
            yield clip.kind, step.name, step.narration


# ------------------------------------------------------------------ sides


def shots() -> list[Shot]:
    return [
        place_shot([0.0, 0.0], [900.0, 200.0], np.radians(side * cut), 500.0)
        for side in (1, -1)
        for cut in (2.0, 9.0, 14.4775, 22.0, 30.0, 36.0)
    ]


def beside(shot: Shot, at_mm: Any, of_mm: Any) -> str:
    """On which side of a point another one lies, as one looks along the aim."""
    across = float(np.subtract(at_mm, of_mm)[:2] @ left(shot.aim_direction))
    return "left" if across > 1e-6 else "right" if across < -1e-6 else "straight"


def point(step: Step, role: str) -> Any:
    return next(p.at_mm for p in step.points if p.role == role)


def where_said(step: Step, shot: Shot) -> str | None:
    """The side on which what a step speaks of lies; None where it names none."""
    key = step.sentence.partition(".")[2]
    if key in ("edge", "halfway") and step.sentence.startswith("ball_fractions"):
        return beside(shot, point(step, "sight_point"), shot.object_ball_mm)
    if key in ("shift_outward", "shift_inward"):
        return beside(shot, point(step, "cue_mark"), shot.cue_ball_mm)
    if step.sentence == "doubled_offset.contact_line":
        return beside(shot, shot.contact_object_mm, shot.object_ball_mm)
    return None


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_side_that_is_said_is_the_side_where_it_lies(language: str) -> None:
    words = words_of(language)
    wording = Wording(words, "mm", 57.15)
    names = {side: words["names"][side] for side in ("left", "right")}
    heard = 0
    for shot in shots():
        for name in METHODS:
            if METHODS[name].limit(shot) is not None:
                continue
            for step in METHODS[name].construct(shot).steps:
                side = where_said(step, shot)
                if side is None:
                    continue
                values = dict(step.values)
                title, narration = (tell(step.sentence, values) for tell in (wording.title, wording.narration))
                told, titled = (
                    {one for one, name in names.items() if re.search(rf"\b{name}\b", text)}
                    for text in (narration, title)
                )
                assert told == {side}, (step.sentence, narration)
                assert titled <= {side}, (step.sentence, title)
                heard += 1
    assert heard > 25


@pytest.mark.parametrize("method", ["ball_fractions", "fixed_marks"])
def test_outward_is_away_from_the_centre_and_makes_the_aim_what_it_must_be(method: str) -> None:
    for shot in shots():
        if METHODS[method].limit(shot) is not None:
            continue
        for step in METHODS[method].construct(shot).steps:
            values = {key: q.value for key, q in step.values}
            if step.sentence.startswith("ball_fractions.left_over"):
                start = point(step, "sight_start")
                begun = next(s for s in METHODS[method].construct(shot).steps if s.name == "cue-ball shift")
                # the start goes the other way than the aim
                way = beside(shot, start, point(begun, "cue_mark"))
                outward = "left" if int(shot.outward) > 0 else "right"
                assert (way != outward) == step.sentence.endswith("outward"), step.sentence
            if step.sentence == "fixed_marks.between_marks":
                sign = 1 if values["past_way"] == "outward" else -1
                mark = float(values["mark"]) * 57.15 / 16
                assert mark + sign * float(values["past_mark"]) == pytest.approx(float(values["aim_offset"]))


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_side_of_a_shot_is_the_one_it_was_laid_for(language: str) -> None:
    names = words_of(language)["names"]
    made = planned(language, "22", kinds=("build-up", "table", "practice"))
    for clip in made.clips:
        shot = clip.brief.subject.shot
        assert shot is not None
        side, other = (names[one] for one in (("left", "right") if int(shot.side) > 0 else ("right", "left")))
        first = clip.brief.steps[0].narration.replace(clip.brief.labels["target"].split(": ")[1], "")
        assert side in first
        assert other not in first


# ------------------------------------------------------------------ terms


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_line_is_called_by_its_own_name(language: str) -> None:
    """A clause that speaks of a line, and names one, names that line as its label does."""
    words = words_of(language)
    lines = ("target_line", "aim_line", "contact_line", "edge_line", "line_of_centres")
    called = {role: words["labels"][role].lower() for role in lines}
    heard = 0
    for key, sentence in words["sentences"].items():
        for form in (sentence, sentence.get("straight")):
            if form is None:
                continue
            text, parts = clauses(re.sub(r"\{(\w+)\}", "x", form["narration"]))
            spoken = text.split()
            for part in parts:
                about = {
                    name.replace("_back", "").replace("_parallel", "").replace("error_line", "aim_line")
                    for name in part.names
                }
                if not about & set(lines) or about - set(lines):
                    continue
                clause = " ".join(spoken[part.first : part.end]).lower()
                told = {role for role, name in called.items() if re.search(rf"\b{name}\b", clause)}
                if told and key not in ("over_the_top.behind", "throw.without"):
                    assert told & about, (key, clause, part.names)
                    heard += 1
    assert heard >= 15


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_sentence_tells_a_colour_which_a_look_may_change(language: str) -> None:
    for key, sentence in words_of(language)["sentences"].items():
        for form in (sentence, sentence.get("straight", sentence)):
            assert not re.search(COLOURS[language], form["narration"]), key


# ------------------------------------------------------------------ targets and straight shots


@pytest.mark.parametrize("target", [PLACE, RAIL])
@pytest.mark.parametrize("language", LANGUAGES)
def test_no_pocket_is_spoken_of_where_the_ball_goes_to_a_place(language: str, target: str) -> None:
    kinds = tuple(kind for kind in SHOWN if kind not in NEED_POCKET)
    for kind, step, text in said(planned(language, "0, 22", target, kinds)):
        assert POCKET[language] not in text.lower(), (kind, step, text)


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_straight_shot_is_no_cut_and_has_nothing_of_nought(language: str) -> None:
    units = words_of(language)["spoken_units"]
    nought = "|".join(form for unit in ("degrees", "mm") for form in units[unit])
    all_cuts = ("quiz", "summary", "where-it-works")
    made = planned(language, "0", kinds=tuple(k for k in SHOWN if k not in (*all_cuts, "throw")))
    assert {clip.side for clip in made.clips if clip.side} == {"straight"}
    for kind, step, text in said(made):
        assert not re.search(rf"(?<![\d.,])0 ({nought})\b", text), (kind, step, text)
        if kind in ("build-up", "players-eye", "table", "near-and-far", "aim-error", "practice"):
            assert not re.search(CUT[language], text.lower()), (kind, step, text)


def test_a_straight_shot_is_not_thrown() -> None:
    made = planned("en", "0, 30", kinds=("throw",))
    assert [clip.cut_text for clip in made.clips] == ["30", "30"]
    assert any("this shot is straight" in left.reason for left in made.left_out)


# ------------------------------------------------------------------ numbers


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_said_of_a_number_is_what_is_shown_of_it(language: str) -> None:
    """The number that a sentence tells under a measure's name is the number of that measure, to the last digit."""
    words = words_of(language)
    for clip in planned(language, "0, 2, 14.4775, 22, 37").clips:
        outline = CLIP_KINDS[clip.kind].outline(clip.brief.subject)
        wording = Wording(words, "mm", 57.15)
        shown: dict[str, set[str]] = {}
        for step in outline:
            for key, quantity in step.measures:
                shown.setdefault(key, set()).add(wording.number(quantity)[0])
        for step, brief in zip(outline, clip.brief.steps, strict=False):
            sentence = words["sentences"].get(step.sentence, {}).get("narration", "")
            for key, quantity in step.values:
                if (
                    key in shown
                    and f"{{{key}}}" in sentence
                    and quantity.kind not in ("name", "quarters", "overlap_words")
                ):
                    number = wording.number(quantity)[0]
                    assert number in shown[key], (
                        clip.name,
                        step.name,
                        key,
                        number,
                        shown[key],
                        brief.narration,
                    )


@pytest.mark.parametrize("units", ["mm", "in"])
def test_no_place_is_nothing_more_or_less(units: str) -> None:
    text = LESSON.format(language="en", cuts=", ".join(map(str, range(2, 60, 2))), target=f"units: {units}")
    for clip in plan(loads(text + "  - {kind: table}\n")).clips:
        for step in clip.brief.steps:
            assert not any(re.match(r"0\D.*(less|more)", m.name) for m in step.measures), (clip.name, step.name)


@pytest.mark.parametrize("language", LANGUAGES)
def test_one_is_said_in_the_singular(language: str) -> None:
    units = words_of(language)["spoken_units"]
    plurals = [forms[-1] for forms in units.values() if forms[0] != forms[-1]]
    for kind, step, text in said(planned(language, "2, 22, 37")):
        assert not re.search(rf"(?<![\d.,/])1 ({'|'.join(plurals)})\b", text), (kind, step, text)


@pytest.mark.parametrize("language", LANGUAGES)
def test_steps_that_show_different_numbers_do_not_say_the_same(language: str) -> None:
    """What tells two of a clip's steps apart is in their words; only questions are asked alike."""
    for clip in planned(language, "2, 22, 60").clips:
        if clip.kind in ("quiz", "straight-in"):
            continue
        told: dict[str, Any] = {}
        for step in clip.brief.steps:
            numbers = tuple((m.key, m.number) for m in step.measures)
            assert told.setdefault(step.narration, numbers) == numbers, (clip.name, step.name, step.narration)


@pytest.mark.parametrize("language", LANGUAGES)
def test_two_eyes_that_stand_alike_are_told_apart(language: str) -> None:
    for clip in planned(language, "22", kinds=("alignments", "where-it-works")).clips:
        if clip.kind == "alignments":
            eyes = [(m.name, m.number) for m in clip.brief.steps[-1].measures]
            assert len(set(eyes)) == len(eyes)


@pytest.mark.parametrize("language", LANGUAGES)
def test_an_eye_that_goes_with_the_cut_is_told_without_a_number(language: str) -> None:
    """Over the contact-point line it stands elsewhere at each cut, and the clip goes over all of them."""
    text = f"""title: A
language: {language}
cuts: 10
sides: left
distances: {{near: 500 mm}}
eyes: {{contact: {{back: 600 mm, height: 300 mm, alignment: contact-line}}}}
clips: [{{kind: where-it-works, methods: ghost-ball}}]
"""
    (clip,) = plan(loads(text)).clips
    row = clip.brief.steps[1]
    assert row.measures[1].key == "eye_contact"
    said_of_eye = row.narration.rpartition(". ")[2]
    assert not re.search(r"\d", said_of_eye), said_of_eye


@pytest.mark.parametrize("language", LANGUAGES)
def test_an_aim_beyond_the_edge_is_on_no_way_to_it(language: str) -> None:
    words = {"en": "of the way", "de": "des Weg", "es": "del camino"}[language]
    kinds = ("near-and-far", "two-methods", "two-eyes")
    for kind, step, text in said(planned(language, "60", kinds=kinds)):
        assert words not in text, (kind, step, text)


SPLITS = """title: A
cuts: [10, 30]
sides: left
distances: {near: 400 mm, far: 900 mm}
own_methods:
  full: {aim: {from: cue_centre, through: contact_object}}
  same: {points: {a: {foot: ghost_centre, on: true_aim}}, aim: {from: cue_centre, through: a}}
clips:
"""


def split(group: str) -> list[str]:
    """What is said in a split screen between its first sentence and its end."""
    (clip,) = plan(loads(SPLITS + f"  - {group}\n")).clips
    return [step.narration for step in clip.brief.steps[1:]]


def test_a_sentence_of_two_pictures_tells_the_numbers_of_both() -> None:
    """R sin(c) and twice that, R = 28.575 mm: by hand 4.962 and 14.2875 mm, 9.924 and 28.575 mm."""
    told = split("{kind: two-cuts, methods: doubled-offset, distances: near}")
    assert any("the contact point, 4.96 and 14.29 millimetres to the right." in one for one in told)
    assert any("twice as far from the centre line, 9.9 and 28.6 millimetres." in one for one in told)
    (given,) = (one for one in split("{kind: near-and-far, methods: full, cuts: 30}") if "instead of" in one)
    assert re.search(r"cut by [\d.]+ and [\d.]+ degrees instead of 30 degrees, and passes .* and .* millim", given)


def test_two_methods_have_one_aim_only_where_they_do() -> None:
    two = "{{kind: two-methods, methods: [ghost-ball, {}], cuts: 30, distances: near}}"
    assert "the aim does not" in split(two.format("contact-points"))[-1]
    assert "the aim does not" in split(two.format("same"))[-1]
    assert "so does the aim" in split(two.format("full"))[-1]
