"""No picture rests for more than three seconds, whatever is said over it and in whatever language."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from PIL import Image

from lessons.lesson.model import load, loads
from lessons.planning.plan import plan
from lessons.planning.planned import PlannedClip
from scenes.board import Board, Element, Glow, Photo
from scenes.board.motion import Sheet
from scenes.board.pointing import TURN_S
from scenes.board.resting import LOOK_S, looked_at_again
from scenes.kinds import CLIP_KINDS

MOST_S = 3.0
MOVES_ITSELF = ("film", "on-footage")
"""Kinds that lie over a film or are one: what is filmed moves."""
KEYS = {
    "title": "under: Welcome",
    "section": "title: The second part of the evening, figure: table",
    "card": 'title: Set this up, text: "Five balls, a hand apart.", lines: [One try each, Note how many went in]',
    "two-cuts": "cuts: [8, 45]",
    "summary": "cuts: [8, 30, 45]",
    "quiz": "cuts: [8, 30, 45], distances: near",
    "near-and-far": "methods: [ghost-ball, doubled-offset], eyes: chin",
    "two-methods": "methods: [ghost-ball, doubled-offset], distances: near, eyes: chin",
    "methods-summary": "distances: near, eyes: chin",
    "build-up": "distances: near",
    "players-eye": "methods: [contact-points, ball-fractions], distances: far, eyes: chin",
    "two-eyes": "methods: [ghost-ball, ball-fractions], distances: near",
}
"""What a kind needs beside its name, or needs not multiply."""
LESSON = """\
title: A lesson of every kind
language: {language}
cuts: [8, 30, 45]
sides: left
distances: {{near: 250 mm, far: 1500 mm}}
eyes:
  chin: {{back: 600 mm, height: 300 mm}}
  beside: {{back: 600 mm, height: 300 mm, offset: 32 mm}}
output: {{size: {size}, rate: 30}}
clips:
"""


def every_kind(language: str, size: str) -> tuple[PlannedClip, ...]:
    groups = [
        f"  - {{kind: {kind}, {', '.join(keys(kind))}}}\n" for kind in CLIP_KINDS if kind not in MOVES_ITSELF
    ]
    return plan(loads(LESSON.format(language=language, size=size) + "".join(groups))).clips


def keys(kind: str) -> Iterator[str]:
    """What a group of this kind says beside its name: one value of each axis, if it does not need several."""
    told = KEYS.get(kind, "")
    axes = CLIP_KINDS[kind].axes
    if "cut" in axes and "cuts" not in told:
        yield "cuts: 30"
    if "eye" in axes and "eyes" not in told:
        yield "eyes: chin"
    if told:
        yield told


def longest_s(board: Board) -> float:
    rests = [end - first for first, end in board.still_stretches()]
    return max(rests) * board.rate[1] / board.rate[0]


@pytest.mark.parametrize(("language", "size"), [("en", "1080p"), ("de", "square"), ("es", "vertical")])
def test_no_kind_rests_long_in_any_language(language: str, size: str) -> None:
    clips = every_kind(language, size)
    assert {clip.kind for clip in clips} == CLIP_KINDS.keys() - set(MOVES_ITSELF)
    found = {clip.name: longest_s(CLIP_KINDS[clip.kind].board(clip.brief)) for clip in clips}
    assert {name: rest for name, rest in found.items() if rest > MOST_S} == {}


LONG = "Take all the time that you need here and look until the picture is one that you would know again anywhere."
OWN = f"""\
title: A teacher's own sentences
cuts: 22
sides: right
distances: {{near: 300 mm}}
eyes: {{chin: {{back: 600 mm, height: 300 mm}}}}
output: {{size: 720p, rate: 25}}
clips:
  - kind: build-up
    methods: ghost-ball
    steps:
      where: {{narration: "{LONG} {LONG}"}}
      aim line: {{narration: "{LONG}", pause: 9 s}}
      ghost ball: {{seconds: 20, narration: Short.}}
      roll: {{pace: 1/4, pause: 6 s}}
  - {{kind: players-eye, methods: contact-points, steps: {{view: {{narration: "{LONG}", pause: 7 s}}}}}}
  - {{kind: table, steps: {{distance: {{pause: 12 s}}}}}}
  - {{kind: two-methods, methods: [ghost-ball, doubled-offset], steps: {{compare: {{seconds: 30}}}}}}
  - {{kind: title, narration: "{LONG} {LONG}"}}
  - {{kind: card, title: A break, steps: {{card: {{seconds: 15}}}}}}
  - {{kind: card, title: An introduction, text: "{LONG} {LONG}"}}
"""


@pytest.fixture(scope="module")
def own() -> tuple[PlannedClip, ...]:
    """Clips with long sentences, pauses, given lengths and a slow step."""
    return plan(loads(OWN)).clips


def test_long_sentences_pauses_and_slow_steps_do_not_rest(own: tuple[PlannedClip, ...]) -> None:
    for clip in own:
        board = CLIP_KINDS[clip.kind].board(clip.brief)
        assert longest_s(board) <= MOST_S, clip.name
        assert board.frames == clip.frames, clip.name


def test_words_that_last_longer_than_planned_do_not_rest(own: tuple[PlannedClip, ...]) -> None:
    # a recording gives a step its frames, and its clauses their share of them
    for clip in own:
        slow = replace(clip.brief, steps=tuple(replace(s, frames=2 * s.frames) for s in clip.brief.steps))
        assert longest_s(CLIP_KINDS[clip.kind].board(slow)) <= MOST_S, clip.name


def test_there_is_time_to_look_before_something_is_pointed_at_again(own: tuple[PlannedClip, ...]) -> None:
    count = 0
    for clip in own:
        board = CLIP_KINDS[clip.kind].board(clip.brief)
        quiet = round(LOOK_S * board.rate[0] / board.rate[1])
        turn = round(TURN_S * board.rate[0] / board.rate[1]) + 1
        for before, first in pairwise([-quiet, *sorted({begins(e) for e, _ in with_hosts(board)})]):
            if first - before <= turn:  # several of one name come one after the other
                continue
            count += 1
            assert not board.changing[first - quiet + 1 : first].any(), (clip.name, first)
    assert count > 20


def test_a_long_pause_points_at_what_the_step_has_drawn_one_after_the_other(own: tuple[PlannedClip, ...]) -> None:
    clip = own[0]
    board = CLIP_KINDS[clip.kind].board(clip.brief)
    step = next(step for step in board.steps if step.name == "aim line")
    drawn = {
        e.role
        for e in board.elements
        if any(step.first_frame <= m.first_frame < step.end_frame for t in (e.drawn, e.opacity) for m in t.moves)
    }
    again = [
        (begins(e), host.role) for e, host in with_hosts(board) if step.first_frame <= begins(e) < step.end_frame
    ]
    said = [clause.end for clause in clip.brief.steps[board.steps.index(step)].clauses]
    silent = [role for at, role in again if at > step.first_frame + said[-1] * (step.end_frame - step.first_frame)]
    assert len(silent) >= 2
    assert set(silent) <= drawn
    assert all(a != b for a, b in pairwise(silent))


def begins(glow: Element) -> int:
    return glow.opacity.moves[0].first_frame


def with_hosts(board: Board) -> Iterator[tuple[Element, Element]]:
    """What is pointed at again, with its emphasis: it lies beside it among the elements."""
    for k, e in enumerate(board.elements):
        if e.id.startswith("glow.again"):
            assert isinstance(e.shape, Glow)
            way = 1 if len(e.shape.points_mm) > 1 else -1
            at = k
            while board.elements[at].role == "glow":
                at += way
            yield e, board.elements[at]


def test_a_sentence_of_a_lessons_own_points_at_what_it_calls_by_its_name() -> None:
    words = "I take my time, and look for a good while at the ghost ball, and only then I go down."
    steps = f'{{edge lines: {{narration: "[aim-line] {words}"}}}}'
    text = f"  - {{kind: build-up, methods: ghost-ball, steps: {steps}}}\n"
    (clip,) = plan(loads(OWN[: OWN.index("  - kind: build-up")] + text)).clips
    assert clip.brief.subject.shot is not None
    board = CLIP_KINDS[clip.kind].board(clip.brief)
    step = next(step for step in board.steps if step.name == "edge lines")
    rings = [
        e.shape.points_mm
        for e in board.elements
        if isinstance(e.shape, Glow) and e.shape.radius_mm and step.first_frame <= begins(e) < step.end_frame
    ]
    assert set(rings) == {(tuple(float(x) for x in clip.brief.subject.shot.ghost_ball_mm),)}


def test_a_card_with_nothing_but_a_picture_does_not_rest(tmp_path: Path) -> None:
    Image.new("RGB", (120, 80), "#336699").save(tmp_path / "room.png")
    lesson = tmp_path / "lesson.yaml"
    lesson.write_text("title: A\nclips:\n  - {kind: card, picture: room.png, steps: {card: {seconds: 12}}}\n")
    (clip,) = plan(load(lesson)).clips
    board = CLIP_KINDS[clip.kind].board(clip.brief)
    assert longest_s(board) <= MOST_S
    # what moves is seen: it lies within the picture, over it
    picture = next(e.shape for e in board.elements if isinstance(e.shape, Photo))
    x, y, w, h = picture.rect_px
    bands = [e for e in board.elements if isinstance(e.shape, Glow)]
    assert bands
    for e in bands:
        assert isinstance(e.shape, Glow)
        assert all(x < px < x + w and y < py < y + h for px, py, _ in e.shape.points_mm)
        assert board.look.layers.index(e.layer) > board.look.layers.index("area")


def test_what_shows_nothing_to_point_at_stays_as_it_is(own: tuple[PlannedClip, ...]) -> None:
    empty = Sheet().board(own[-1].brief, ())
    assert looked_at_again(empty, own[-1].brief) == empty
