"""Methods of one's own in lesson files: what is wrong is said at its place; what is right is drawn and judged."""

from __future__ import annotations

import math
import os
from itertools import combinations
from pathlib import Path

import pytest

from aimgeo.construct.language import work_out
from aimgeo.shot import place_shot
from lessons.lesson.faults import LessonError
from lessons.lesson.model import load, loads
from lessons.planning.accuracy import accuracy, as_text
from lessons.planning.plan import plan
from scenes.board import Mark, Text
from scenes.frame.column import text_rect
from scenes.frame.layout import layout
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS
from tests.lessons.mutations import GOOD, tried


def refused(old: str, new: str) -> str:
    """What is said of the good file with one text exchanged."""
    assert GOOD.count(old) == 1, old
    with pytest.raises(LessonError) as caught:
        plan(loads(GOOD.replace(old, new)))
    return str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("half: {halfway: [spot, edge]}", "half: {halfway: [spto, edge]}",
         "lesson.yaml:12:24: own_methods.half-way.points.half.halfway[0]: unknown point or line 'spto'; "),
        ("half: {halfway: [spot, edge]}", "half: {halfway: [spot, join]}", "'join' is a line; a point is needed"),
        ("along: centre_line}", "along: spot}", "'spot' is a point; a line is needed, such as {through:"),
        ("half: {halfway: [spot, edge]}", "half: {halfway: [half, edge]}", "goes in a circle: half needs half."),
        ("half: {halfway: [spot, edge]}", "half: {halfway: [aim, edge]}", "the aim is what comes out at the end"),
        ("half: {halfway: [spot, edge]}", "half: {half way: [spot, edge]}", "'half way' is no operation; known"),
        ("half: {halfway: [spot, edge]}", "half: {halfway: spot}", "needs two points, such as"),
        ("side: outward, along: centre_line", "along: centre_line", "'side' is missing; a ball's edge, square to"),
        ("side: outward, along", "side: outwards, along", "'outwards' is no side; did you mean 'outward'?"),
        ("edge: object_ball", "edge: red_ball", "'red_ball' is no ball; known are: cue_ball"),
        ("by: -1 ball", "by: -1", "'-1' has no unit; write '-1 mm', or in, balls or"),
        ("by: -1 ball", "by: 1 diamond", "'1 diamond' is no length of a construction; write mm, in, balls"),
        ("by: 1/2 tip", "by: half a tip", "write a number, for example 0.5"),
        ("by: 2, side: left", "by: 400, side: left", "'400' is no angle; write degrees"),
        ("part: 0.25", "part: 1e9", "write a number, for example 0.5"),
        ("part: 0.25", "part: 5000", "it goes from -1000 to 1000"),
        ("aim: {from: cue_centre, through: half}", "aim: {from: cue_centre}", "says where the cue ball is sent"),
        ("aim: {from: cue_centre, through: half}", "aim: {along: half}", "'half' is a point; a line is needed"),
        ("    aim: {from: cue_centre, through: half}\n", "", "'aim' is missing in own_methods.half-way."),
        ("show: half,", "show: hlaf,", "unknown point or line 'hlaf'; did you mean 'half'?"),
        ("show: half,", "show: spot,", "'spot' is shown already, in a step before."),
        ("show: half,", "show: target,", "the target lies in the pocket; show target_line."),
        ("lie {gap} apart", "lie {gapp} apart", "unknown field '{gapp}'; did you mean '{gap}'?"),
        ("measures: {gap:", "measures: {cut:", "the field 'cut' is taken already; choose another name."),
        ("between: [spot, edge]", "between: [spot, join]", "needs two points for their gap, or two lines"),
        ("labels: {half:", "labels: {hlaf:", "unknown point or line 'hlaf'; did you mean 'half'?"),
        ("  half-way:\n", "  half-way: {aim: {along: true_aim}}\n  ghost-ball:\n",
         "is a method that aimgeo"),
        ("turned-aim: {", "true-aim: {", "'true-aim' is known already; choose another name."),
        ("kind: build-up\n    methods: half-way", "kind: build-up\n    methods: half-wya",
         "clips[0].methods is 'half-wya'; did you mean 'half-way'?"),
        ("reach: 50", "reach: 95", "a ball can be cut by less than 90"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_at_its_place(old: str, new: str, told: str) -> None:
    said = refused(old, new)
    assert told.replace("'{gap}'", "'gap'") in said
    assert len(said.splitlines()) <= 3


def test_lines_that_do_not_meet_leave_the_shot_out_or_are_the_authors_mistake() -> None:
    beside = GOOD.replace("half: {halfway: [spot, edge]}", "half: {meet: [true_aim, beside]}")
    made = plan(loads(beside.replace("    methods: half-way\n", "")))
    reasons = {left.reason for left in made.left_out if left.name.startswith("half-way")}
    assert reasons == {"Halfway to the ghost gives no aim here: 'half' is nowhere, or farther than 10 m away."}
    with pytest.raises(LessonError, match="can't be made: Halfway to the ghost gives no aim here: 'half'"):
        plan(loads(beside.replace("    methods: half-way\n", "    methods: half-way\n    cuts: 1/2\n")))


def test_every_kind_that_shows_methods_draws_it_legibly_with_its_own_words() -> None:
    kinds = "".join(f"  - {{kind: {kind}, {more}}}\n" for kind, more in (
        ("near-and-far", "methods: half-way"), ("two-methods", "methods: [half-way, contact-points]"),
        ("two-cuts", "methods: half-way, distances: near"), ("two-eyes", "methods: half-way, distances: near"),
    ))  # fmt: skip
    eyes = "eyes: {one: {back: 600 mm, height: 300 mm}, other: {back: 600 mm, height: 300 mm, offset: 30 mm}}\n"
    made = plan(loads(eyes + GOOD.replace("cuts: [3/4, 1/2, 1/4]", "cuts: [3/4, 1/2]") + kinds))
    own = [clip for clip in made.clips if clip.method == "half_way"]
    assert {clip.kind for clip in made.clips} == {
        "build-up", "players-eye", "methods-summary", "near-and-far", "two-methods", "two-cuts", "two-eyes",
    }  # fmt: skip
    titles = [step.title for step in own[0].brief.steps]
    assert titles[1:4] == ["Find the\nspot", "Join them", "Take half"]
    assert own[0].brief.steps[2].narration == "The ghost ball's centre and the edge lie 58.5 millimetres apart."
    assert own[0].brief.steps[4].title == "The aim"
    seen = {clip.kind: clip for clip in made.clips}
    for clip in seen.values():
        board = CLIP_KINDS[clip.kind].board(clip.brief)
        if clip.kind != "methods-summary":  # which tells what comes of it
            assert any(element.role.startswith("own_half_way_") for element in board.elements), clip.name
        if clip.kind in ("build-up", "players-eye", "methods-summary"):
            assert faults(board) == [], clip.name


def test_an_aim_that_misses_is_told_in_the_clip_and_in_the_table() -> None:
    made = plan(loads(GOOD))
    clip = next(c for c in made.clips if c.name == "half-way_build-up_overlap-1-4_left_far")
    last = clip.brief.steps[-2:]
    assert last[0].title == "It cuts 38.5°,\nnot 48.6°"
    assert [m.name for m in last[0].measures] == ["Off the target line", "Misses by"]
    assert last[1].title == "And this\nplayed right"
    row = next(r for r in accuracy(made).rows if r["method"] == "half_way" and r["cut"] == "1/4"
               and r["distance"] == "far")  # fmt: skip
    assert row["result_cut_deg"] == pytest.approx(38.5, abs=0.05)
    assert not row["pocketed"]
    assert "half way: as written" in as_text(accuracy(made))


def test_hostile_files_are_planned_or_refused_in_sentences(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    told = [tried(seed) for seed in range(200)]
    assert 10 < told.count("good") < 180
    assert os.listdir(tmp_path) == []


METHODS_FILE = GOOD[GOOD.index("own_methods:") : GOOD.index("clips:")]
SHORT = (
    "title: A\ncuts: [1/2]\nsides: left\nmethods_files: {files}\nclips: [{{kind: build-up, methods: half-way}}]\n"
)


def test_several_lessons_share_a_file_of_methods(tmp_path: Path) -> None:
    (tmp_path / "mine.yaml").write_text(METHODS_FILE)
    for name in ("monday", "tuesday"):
        (tmp_path / f"{name}.yaml").write_text(SHORT.format(files="mine.yaml"))
        made = plan(load(tmp_path / f"{name}.yaml"))
        assert [clip.method for clip in made.clips] == ["half_way"] * 2
    both = plan(loads(GOOD))
    alone = {clip.name: clip.brief.subject.construction for clip in made.clips}
    for clip in both.clips:
        if clip.name in alone:
            told = clip.brief.subject.construction
            assert told is not None
            assert [step.points for step in told.steps[1:4]] != []


@pytest.mark.parametrize(
    ("file", "told"),
    [
        (METHODS_FILE.replace("{halfway: [spot,", "{halfway: [spto,"), "mine.yaml:8:24: own_methods"),
        ("own_methods: [a]\n", "mine.yaml:1:14: own_methods must be a mapping"),
        ("- a\n", "mine.yaml:1:1: is no file of methods"),
        ("own_method: {}\n", "mine.yaml:1:1: unknown key 'own_method' in a file of methods; did you mean"),
        ("{}\n", "mine.yaml:1:1: holds no methods"),
        ("own_methods: {a: {aim: {along: true_aim}}, b: {\n", "mine.yaml:"),
        ("own_methods:\n  a: {aim: {along: true_aim}, title: B}\n", "mine.yaml:2:31: unknown key 'title'"),
        (METHODS_FILE.replace("show: half,", "show: pocket_left,"), "'pocket_left' lies at the pocket; show"),
    ],
)  # fmt: skip
def test_what_is_wrong_in_a_file_of_methods_is_said_there(tmp_path: Path, file: str, told: str) -> None:
    (tmp_path / "mine.yaml").write_text(file)
    (tmp_path / "lesson.yaml").write_text(SHORT.format(files="mine.yaml"))
    with pytest.raises(LessonError) as caught:
        load(tmp_path / "lesson.yaml")
    assert told in str(caught.value)


def test_files_of_methods_that_are_not_there_or_say_the_same_twice(tmp_path: Path) -> None:
    (tmp_path / "mine.yaml").write_text(METHODS_FILE)
    (tmp_path / "again.yaml").write_text(METHODS_FILE)
    lesson = tmp_path / "lesson.yaml"
    lesson.write_text(SHORT.format(files="[mine.yaml, yours.yaml]"))
    with pytest.raises(LessonError, match=r"lesson.yaml:4:28: there is no file of methods 'yours.yaml' beside"):
        load(lesson)
    lesson.write_text(SHORT.format(files="[mine.yaml, again.yaml]"))
    with pytest.raises(LessonError, match=r"again.yaml:2:3: 'half-way' is a method of .*mine.yaml too, in line 2"):
        load(lesson)
    lesson.write_text(SHORT.format(files=[f"{n}.yaml" for n in range(30)]))
    with pytest.raises(LessonError, match="names more than 20 files of methods"):
        load(lesson)


def test_where_it_works_is_drawn_for_each_distance_and_for_each_eye_that_matters() -> None:
    eyes = "eyes: {one: {back: 600 mm, height: 300 mm}, other: {back: 600 mm, height: 300 mm, offset: 30 mm}}\n"
    text = eyes + GOOD[: GOOD.index("clips:")] + "clips: [{kind: where-it-works, sides: left}]\n"
    made = {clip.method: clip for clip in plan(loads(text)).clips}
    assert len(made["half_way"].brief.steps) == 2 + 4  # it asks where the eye is
    assert len(made["contact_points"].brief.steps) == 2 + 2
    clip = made["doubled_offset"]
    board = CLIP_KINDS["where-it-works"].board(clip.brief)
    assert len([e for e in board.elements if e.role == "window"]) >= 4
    many = text.replace("near: 300 mm", "near: 300 mm, a: 310 mm, b: 320 mm, c: 330 mm")
    with pytest.raises(LessonError, match="compares 6 pairs of distance and eye at most, not 10"):
        plan(loads(many))


def test_a_card_shows_a_method_of_ones_own() -> None:
    text = GOOD.partition("clips:")[0] + "clips:\n  - {kind: section, title: Half way, figure: half-way}\n"
    (clip,) = plan(loads(text)).clips
    board = CLIP_KINDS["section"].board(clip.brief)
    own = clip.brief.subject.own
    assert own is not None
    values = work_out(own.program, place_shot([0.0, 0.0], [0.0, 1000.0], math.radians(30), 600.0))
    marks = {e.role: e.shape.at_mm for e in board.elements if isinstance(e.shape, Mark)}
    assert marks["own_half_way_half"] == pytest.approx(values["half"].tolist(), abs=1e-9)
    assert faults(board) == []
    with pytest.raises(LessonError, match="figure is 'half-wya'; did you mean 'half-way'"):
        plan(loads(text.replace("figure: half-way", "figure: half-wya")))
    short = text.replace("reach: 50", "reach: 20")
    with pytest.raises(LessonError, match="figure 'half-way' can't stand beside the words, on a half-ball hit: "):
        plan(loads(short))


@pytest.mark.parametrize("size", ["1080p", "640x360", "square", "vertical"])
@pytest.mark.parametrize("count", [7, 12])
def test_no_row_of_a_full_methods_summary_stands_in_another(count: int, size: str) -> None:
    names = [f"way-{k}" for k in range(1, count)]
    ways = "".join(f"  {name}: {{name: A way called {name}, aim: *aim}}\n" for name in names)
    text = (
        f"title: A\ncuts: 1/2\nsides: left\ndistances: {{near: 300 mm}}\noutput: {{size: {size}}}\nown_methods:\n"
        "  far: {name: Contact to the far edge, aim: &aim {from: cue_centre, through: contact_object}}\n"
        f"{ways}clips: [{{kind: methods-summary, methods: [far, {', '.join(names)}]}}]\n"
    )
    (clip,) = plan(loads(text)).clips
    brief = clip.brief
    scale = layout(brief.output.width_px, brief.output.height_px, brief.look).scale
    board = CLIP_KINDS["methods-summary"].board(brief)
    rects = [
        (one.id, text_rect(one.shape, scale))
        for one in board.elements
        if isinstance(one.shape, Text) and one.id.startswith(("name.", "told."))
    ]
    assert len(rects) >= 2 * count
    for (a, (x, y, w, h)), (b, (u, v, k, m)) in combinations(rects, 2):
        across, down = min(x + w, u + k) - max(x, u), min(y + h, v + m) - max(y, v)
        assert across <= 0 or down <= 0.08 * scale.text_px("small"), (a, b)
