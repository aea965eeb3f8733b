"""Names as people say them: in pictures, narration, plan, sheets and review page; file names stay plain."""

from __future__ import annotations

from dataclasses import replace

import pytest

from aimgeo.methods import METHODS
from lessons.commands.plan import listing
from lessons.deliver.aim_charts import chart_told
from lessons.deliver.pictures import about
from lessons.deliver.review_page import clip_told
from lessons.deliver.set_up_sheets import shot_told
from lessons.deliver.shots import table_shots
from lessons.lesson.faults import LessonError
from lessons.lesson.model import loads
from lessons.planning.plan import plan
from lessons.rendering.pace import Pace
from tests.lessons.test_numbers import footage_of

LESSON = """
title: {en: Names, de: Namen}
language: [de, en]
cuts: 30
sides: left
eyes: {right-eye: {back: 600 mm, height: 300 mm, offset: -30 mm}, other: {back: 500 mm, height: 300 mm}}
names:
  eyes: {right-eye: {en: "Right eye, chin on the line", de: "Rechtes Auge, Kinn auf der Linie"}}
  distances: {far: {en: a long way, de: weit}}
  methods: {ghost-ball: {en: phantom ball, de: Phantomkugel}}
  balls: {cue_ball: {en: White, de: Weiße}}
clips:
  - kind: players-eye
    methods: ghost-ball
    distances: far
    eyes: right-eye
    steps:
      view:
        title: {en: "{eye}", de: "{eye}"}
        narration: {en: "{method}, {distance_name}", de: "{method}, {distance_name}"}
  - {kind: alignments, distances: far}
"""


def test_people_read_the_names_and_files_keep_the_plain_ones() -> None:
    made = plan(loads(LESSON))
    eye, alignments = made.clips
    assert eye.name == "ghost-ball_players-eye_cut-30_left_far_right-eye"
    assert eye.brief.steps[0].title == "Rechtes Auge, Kinn auf der Linie"
    assert eye.brief.steps[0].narration == "Phantomkugel, weit"
    assert eye.translations["en"][0] == "phantom ball, a long way"
    assert eye.brief.labels["cue_ball"] == "Weiße"
    assert alignments.brief.steps[0].title == "Rechtes Auge, Kinn auf der Linie"
    assert alignments.brief.steps[-1].measures[0].name == "Rechtes Auge, Kinn auf der Linie"
    assert "Rechtes Auge, Kinn auf der Linie" in "\n".join(listing(made, Pace(1.0)))
    footage = footage_of(replace(made, clips=tuple(replace(clip, translations={}) for clip in made.clips)))
    words = footage.wording()
    assert clip_told(footage.clips[0], words, "names")["picks"]["eye"] == "Rechtes Auge, Kinn auf der Linie"
    assert "weit, Rechtes Auge" in about(footage.clips[0], words)
    sheet = shot_told(table_shots(footage)[0], words, 1, 1)
    assert sheet["under"].startswith("weit, ")
    chart = chart_told(METHODS["ghost_ball"], list(footage.clips[0].shots), "Names", words)
    assert (chart["method"], chart["distances"][0]["called"]) == ("Phantomkugel", "weit")


@pytest.mark.parametrize(
    ("names", "told"),
    [
        ("eyes: {rigth-eye: a}", "unknown eye 'rigth-eye'; did you mean 'right-eye'?"),
        ("distances: {farr: a}", "unknown distance 'farr'; did you mean 'far'?"),
        ("methods: {gost-ball: a}", "did you mean 'ghost-ball'?"),
        ("balls: {eight: a}", "unknown key 'eight' in names.balls"),
    ],
)
def test_a_name_of_nothing_is_a_fault(names: str, told: str) -> None:
    text = "title: A\neyes: {right-eye: {back: 600 mm, height: 300 mm}}\nclips: [{kind: table}]\n"
    with pytest.raises(LessonError, match=told.replace("?", "\\?")):
        plan(loads(f"{text}names: {{{names}}}\n"))
