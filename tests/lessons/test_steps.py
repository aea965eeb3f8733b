"""Steps as the author wants them, in lesson files."""

from __future__ import annotations

import pytest

from lessons.deliver.script import scenes
from lessons.lesson.faults import LessonError
from lessons.lesson.model import loads
from lessons.planning.plan import plan
from lessons.planning.planned import PlannedClip
from lessons.rendering.cache import clip_key
from scenes.board import Ball, Plate, Text
from scenes.board.brief import NEXT
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS


def clip(keys: str, kind: str = "build-up", method: str = "ghost-ball") -> PlannedClip:
    text = f"""title: A
cuts: [1/2]
sides: left
distances: {{near: 300 mm}}
output: {{size: 720p, rate: 30}}
clips:
  - {{kind: {kind}, methods: {method}, {keys}}}
"""
    (made,) = plan(loads(text)).clips
    return made


def names(made: PlannedClip) -> list[str]:
    return [step.name for step in made.brief.steps]


@pytest.mark.parametrize("kind", ["build-up", "players-eye"])
def test_only_the_steps_that_are_named_are_shown_and_legible(kind: str) -> None:
    made = clip("only: [target line, contact-point]", kind)
    assert names(made) == ["target line", "contact point"]
    board = CLIP_KINDS[kind].board(made.brief)
    assert [step.name for step in board.steps] == names(made)
    assert board.frames == made.frames == sum(step.frames for step in made.brief.steps)
    assert faults(board) == []
    last = [e for e in board.elements if e.is_visible(board.frames - 1)]
    assert {"target_line", "contact_object"} <= {e.role for e in last}
    assert "aim_line" not in {e.role for e in last if e.panes != ("inset",)}
    assert all(
        not e.is_visible(f) for e in board.elements if e.role == "ghost_ball" for f in (0, board.frames - 1)
    )


def test_the_played_shot_alone_begins_with_all_that_was_drawn() -> None:
    made = clip("only: [aim line, roll]")
    board = CLIP_KINDS["build-up"].board(made.brief)
    assert names(made) == ["aim line", "roll"]
    moved = next(e for e in board.elements if e.role == "object_ball" and isinstance(e.shape, Ball))
    assert moved.offset_mm.at(board.frames - 1) != (0.0, 0.0, 0.0)


def test_steps_are_joined_ordered_and_split_with_their_words() -> None:
    made = clip("only: [[contact point, target line], ghost ball], split: edge lines")
    assert names(made) == ["contact point + target line", "ghost ball"]
    whole = clip("split: edge lines")
    assert names(whole)[-3:] == ["edge lines 1", "edge lines 2", "roll"]
    apart = {step.name: step for step in whole.brief.steps}
    joined = made.brief.steps[0]
    assert joined.title == apart["contact point"].title
    assert joined.narration == f"{apart['contact point'].narration} {apart['target line'].narration}"
    said = clip("only: [[contact point, target line]], steps: {contact point + target line: {title: Both}}")
    assert said.brief.steps[0].title == "Both"


def test_a_pause_a_pace_and_a_note() -> None:
    usual, slow = clip("name: a"), clip("name: a, steps: {aim line: {pause: 2 s}, roll: {pace: 1/2}}")
    before, after = ({step.name: step for step in made.brief.steps} for made in (usual, slow))
    assert after["aim line"].frames == before["aim line"].frames + 60
    assert after["roll"].frames > 1.6 * before["roll"].frames
    board = CLIP_KINDS["build-up"].board(slow.brief)
    assert board.frames == slow.frames
    told = [e.shape.text for e in board.elements if isinstance(e.shape, Text) and "speed" in e.shape.text]
    assert told == ["Played at 25\u202f% of full speed"]
    moved = next(e for e in board.elements if e.role == "object_ball" and isinstance(e.shape, Ball))
    ends = [CLIP_KINDS["build-up"].board(made.brief) for made in (usual, slow)]
    at = [next(e for e in b.elements if e.id == moved.id).offset_mm.at(b.frames - 1) for b in ends]
    assert at[0] == pytest.approx(at[1])
    assert clip_key(usual, "h264", "").parts["timing"] != clip_key(slow, "h264", "").parts["timing"]
    noted = clip("name: a, steps: {aim line: {note: point at it}}")
    words_told = plan(loads("title: A\nclips: [{kind: title}]\n")).words
    (words,) = [s["words"] for s in scenes(noted, words_told) if s["name"] == "aim line"]
    assert words.endswith("[point at it]")
    assert clip_key(noted, "h264", "").parts == clip_key(usual, "h264", "").parts


@pytest.mark.parametrize("size", ["720p", "square", "vertical"])
@pytest.mark.parametrize(
    ("kind", "step"),
    [
        ("build-up", "aim line"),
        ("players-eye", "aim line"),
        ("table", "cue ball"),
        ("methods-summary", "ghost_ball"),
    ],
)
def test_a_step_drawn_slower_says_so_while_it_lasts_and_stands_on_nothing(size: str, kind: str, step: str) -> None:
    methods = "methods: ghost-ball, " if kind in ("build-up", "players-eye") else ""
    text = f"""title: A
cuts: [1/2]
sides: left
distances: {{near: 300 mm}}
output: {{size: {size}, rate: 30}}
clips:
  - {{kind: {kind}, {methods}steps: {{{step}: {{pace: 1/2}}}}}}
"""
    (made,) = plan(loads(text)).clips
    board = CLIP_KINDS[kind].board(made.brief)
    (span,) = [one for one in board.steps if one.name == step]
    (told,) = [e for e in board.elements if isinstance(e.shape, Plate) and "Shown at" in e.shape.text]
    assert isinstance(told.shape, Plate)
    assert told.shape.text == "Shown at 50\u202f% speed"
    shown = [frame for frame in range(board.frames) if told.is_visible(frame)]
    assert span.first_frame <= shown[0] <= span.first_frame + 2
    assert span.end_frame - 1 <= shown[-1] <= span.end_frame + 15
    assert [fault for fault in faults(board) if "Shown at" in fault] == []


def test_a_bar_in_the_narration_says_when_the_line_begins() -> None:
    text = "One two three four five six seven eight nine ten |eleven."
    made = clip(f'only: [aim line], steps: {{aim line: {{narration: "{text}"}}}}')
    (step,) = made.brief.steps
    assert "|" not in step.narration
    (bar,) = [clause for clause in step.clauses if NEXT in clause.names]
    assert 0.4 < bar.start < 0.95


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ("only: [target lime]", "lesson.yaml:7:50: unknown step 'target lime'; did you mean 'target line'?"),
        ("only: [aim line, ghost ball]", "can't be made: step 'aim line' needs 'ghost ball' before it"),
        ("only: [roll, aim line]", "step 'roll' can't come there; the order of these is aim line, roll"),
        ("split: nothing", "unknown step 'nothing'"),
        ("steps: {aim line: {pace: 9}}", "pace is 9; it goes from 1/4 (four times as slow) to 4."),
        ("steps: {aim line: {pause: -1}}", "pause"),
        ("only: []", "only is empty"),
    ],
)  # fmt: skip
def test_what_can_not_be_is_said(keys: str, told: str) -> None:
    with pytest.raises(LessonError) as caught:
        clip(keys)
    assert told in str(caught.value)
