"""A sentence knows its clauses; what they name is drawn or pointed at with them; pictures do not stand still."""

from __future__ import annotations

from statistics import mean, median

import numpy as np
import pytest

from benchmarks import teaching
from lessons.lesson.faults import LessonError
from lessons.lesson.model import loads
from lessons.lesson.timing import clauses, said_by_s, spread
from lessons.lesson.wording import LANGUAGES, words_of
from lessons.planning.plan import plan
from lessons.planning.planned import PlannedClip
from scenes.board import Board, Glow
from scenes.board.brief import NEXT
from scenes.kinds import CLIP_KINDS
from scenes.look.roles import NAMED

TINY = """title: Tiny
cuts: [22, 30]
sides: [left, right]
distances: {near: 300 mm, far: 1200 mm}
clips:
  - {kind: build-up}
  - {kind: players-eye, cuts: 22}
"""


@pytest.fixture(scope="module")
def clips() -> tuple[PlannedClip, ...]:
    """A clip of every method, near and far, to both sides."""
    return plan(loads(TINY)).clips


@pytest.fixture(scope="module")
def boards(clips: tuple[PlannedClip, ...]) -> tuple[Board, ...]:
    """Their boards."""
    return tuple(CLIP_KINDS[clip.kind].board(clip.brief) for clip in clips)


def test_a_clause_begins_after_a_sign_and_at_a_mark() -> None:
    text, found = clauses("Carry it back: [contact_object, pocket] where it comes out, is [aim-line] the [[dot].")
    assert text == "Carry it back: where it comes out, is the [dot]."
    assert [(one.first, one.end, one.names) for one in found] == [
        (0, 3, ()),
        (3, 7, ("contact_object", "pocket")),
        (7, 8, ()),
        (8, 10, ("aim_line",)),
    ]


def test_clauses_lie_in_their_step_where_their_words_are_spoken() -> None:
    brief = plan(loads(TINY)).only(("ghost-ball_build-up_cut-22_left_near",)).clips[0].brief
    step = brief.steps[2]
    seconds = step.frames / brief.output.fps
    words = 0
    for clause in step.clauses:
        assert clause.start * seconds == pytest.approx(said_by_s(step.narration, words, 140, 0.35), abs=1e-6)
        words += len(clause.text.split())
        assert clause.start < clause.end <= 1
    assert " ".join(clause.text for clause in step.clauses) == step.narration


def test_a_sentence_names_the_same_in_every_language_and_only_what_there_is() -> None:
    english = words_of("en")
    known = {*english["labels"], *english["measures"], *NAMED, NEXT}
    for code in LANGUAGES:
        sentences = words_of(code)["sentences"]
        for key, sentence in english["sentences"].items():
            for form in ("narration", "straight"):
                ours, theirs = sentence.get(form, ""), sentences[key].get(form, "")
                ours, theirs = (x if isinstance(x, str) else x["narration"] for x in (ours, theirs))
                named = [sorted(n for one in clauses(text)[1] for n in one.names) for text in (ours, theirs)]
                assert named[0] == named[1], (code, key)
                assert set(named[0]) <= known, key


def test_what_a_sentence_names_is_in_the_pictures(
    clips: tuple[PlannedClip, ...], boards: tuple[Board, ...]
) -> None:
    drawn = {name for board in boards for e in board.elements for name in (e.id, e.role)}
    measures = {m.key for clip in clips for step in clip.brief.steps for m in step.measures}
    named = {n for clip in clips for step in clip.brief.steps for one in step.clauses for n in one.names}
    assert named <= drawn | measures


def test_drawings_begin_with_their_clauses(boards: tuple[Board, ...]) -> None:
    gaps = [gap for board in boards for gap in teaching.gaps_s(board)]
    assert len(gaps) > 60
    assert median(map(abs, gaps)) <= 0.5
    assert np.mean(np.abs(gaps) > 1.0) < 0.05


def test_build_ups_and_eye_clips_stand_still_less_than_half_of_the_time(
    clips: tuple[PlannedClip, ...], boards: tuple[Board, ...]
) -> None:
    for kind in ("build-up", "players-eye"):
        shares = []
        for clip, board in zip(clips, boards, strict=True):
            if clip.kind == kind:
                fps = clip.brief.output.fps
                rests = [(end - first) / fps for first, end in board.still_stretches(round(fps / 4))]
                shares.append(sum(rests) * fps / board.frames)
                assert max(rests) <= 3.05, clip.name
        assert mean(shares) < 0.45, kind


def test_labels_stand_on_their_side_and_the_pocket_is_in_view(
    clips: tuple[PlannedClip, ...], boards: tuple[Board, ...]
) -> None:
    for clip, board in zip(clips, boards, strict=True):
        assert not any(teaching.on_wrong_side(board)), clip.name
        assert not teaching.target_is_out(board, clip.brief), clip.name


def test_pointing_moves_nothing_and_ends_with_its_step(boards: tuple[Board, ...]) -> None:
    found = 0
    for board in boards:
        ends = sorted(step.end_frame for step in board.steps)
        for e in board.elements:
            if isinstance(e.shape, Glow):
                found += 1
                first, last = e.opacity.moves[0].first_frame, e.opacity.moves[-1].end_frame
                step_end = next(end for end in ends if end > first)
                assert last <= step_end + 1
                assert e.opacity.at(last) == (0.0,)
    assert found > 100


OWN = """title: Own words
cuts: 22
sides: left
distances: {near: 300 mm}
clips:
  - kind: build-up
    methods: ghost-ball
    steps:
      aim line: {narration: "Take your time and look. [%s] Now it comes."}
"""


def test_a_name_of_nothing_in_a_lessons_own_sentence_is_a_fault() -> None:
    with pytest.raises(LessonError, match=r"'\[aim_lime\]' names nothing in the picture; did you mean 'aim_line'"):
        plan(loads(OWN % "aim-lime"))


def test_a_lessons_own_sentence_says_where_a_line_begins() -> None:
    clip = plan(loads(OWN % "aim-line"), draft=True).clips[0]
    board = CLIP_KINDS["build-up"].board(clip.brief)
    step = next(s for s in board.steps if s.name == "aim line")
    line = next(e for e in board.elements if e.role == "aim_line" and e.drawn.start == (0.0,) and e.drawn.moves)
    assert step.narration == "Take your time and look. Now it comes."
    assert (line.drawn.moves[0].first_frame - step.first_frame) / 30 == pytest.approx(5 * 60 / 140 + 0.35, abs=0.1)


def test_a_sentence_without_marks_speaks_of_what_its_step_draws() -> None:
    text = "Go to the spot of the ghost ball and from there come half-way back to the edge."
    found = spread(text, clauses(text)[1], {"spot": "", "half": "Half-way", "edge": "The edge"})
    assert [one.names for one in found] == [("spot",), ("spot",), ("half", "edge")]
    assert [one.first for one in found] == sorted({one.first for one in found})
    assert (found[0].first, found[-1].end) == (0, len(text.split()))
    assert spread(text, clauses(text)[1], {}) == clauses(text)[1]
