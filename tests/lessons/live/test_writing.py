"""What was moved is written, and the shot stands in the file where the hand left it."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessons.lesson.model import load, loads
from lessons.live.follow import followed, nearest
from lessons.live.moving import moved, place_of
from lessons.live.session import Page, Session, unpacked
from lessons.planning.plan import plan
from tests.lessons.live.running import BUILD_UP, LESSON

COURSE = Path("lessons/course")
SHARED = """\
title: What is shared
cuts: [3/4, &half 1/2, 20]
distances: {near: &n 300 mm, far: 3 diamonds, again: *n}
eyes: {player: {back: 600 mm, height: 300 mm}, beside: {back: 24 in, height: 12 in, alignment: contact-line}}
clips:
  - kind: build-up
    methods: [ghost-ball, contact-points]
    cuts: *half
    distances: [near, far]
  - kind: players-eye
    name: side
    pocket: side-left
    methods: ghost-ball
    cuts: 20
    overrides:
      - {distances: near, pocket: head-right}
      - distances: far
        spot: [1 diamond, -1/2 diamond]
  - {kind: alignments, cuts: 3/4, distances: near, sides: left}
  - {kind: near-and-far, methods: ghost-ball, cuts: 20, eyes: player}
  - kind: table
    name: other
    pocket: head-left
    others: [{at: [-900 mm, -400 mm]}]
"""
INCHES = """\
title: Inches
units: in
table: 8ft
cuts:
  - 15
  - 30
  - 3/8
distances:
  near: 12 in
  far: 30 1/2 in
clips:
  - kind: build-up
    methods: [ghost-ball, doubled-offset]
  - kind: two-methods
    methods: [ghost-ball, contact-points]
    cuts: 30
    pocket: foot-right
  - {kind: two-cuts, methods: ghost-ball, cuts: [15, 30]}
"""
TEXTS = {
    "short": LESSON,
    "shared": SHARED,
    "inches": INCHES,
    "course": (COURSE / "half-ball-upright.yaml").read_text("utf-8"),
}


@contextmanager
def opened(text: str) -> Iterator[tuple[Session, Page, list[dict[str, Any]]]]:
    """A session with a page, and what it is told."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "lesson.yaml"
        path.write_text(text, encoding="utf-8")
        session, heard = Session(path), list[dict[str, Any]]()
        session.reload(path.read_bytes())
        yield session, session.join(1, lambda message: heard.append(unpacked(message)[0])), heard


def last(heard: list[dict[str, Any]], kind: str) -> dict[str, Any]:
    return next(head for head in reversed(heard) if head["is"] == kind)


grips = st.sampled_from(["cue_ball", "object_ball", "target", "eye", "eye_side"])
ways = st.floats(-1, 1).flatmap(lambda x: st.sampled_from([20.0, 150.0, 900.0]).map(lambda far: far * x))


@settings(max_examples=16)
@given(
    st.sampled_from(sorted(TEXTS)),
    st.integers(0, 10_000),
    st.lists(st.tuples(grips, ways, ways), min_size=1, max_size=4),
    st.sampled_from(["lesson", "group"]),
)
def test_after_writing_the_shot_stands_where_the_hand_left_it(
    name: str, which: int, moves: list[tuple[str, float, float]], scope: str
) -> None:
    """The file is read and planned anew; the clip that the page then shows has the very shot that was held."""
    with opened(TEXTS[name]) as (session, page, heard):
        assert session.good is not None
        clips = [clip for clip in session.good.clips if clip.brief.subject.shot is not None]
        page.clip = clips[which % len(clips)].name
        page.scope, grasp = scope, session.grasp(page, page.clip)
        assert grasp is not None
        ground = grasp.ground
        for grip, x, y in moves:
            at = place_of(ground, grasp.held, grip)
            grasp.held, _ = moved(ground, grasp.held, grip, (at[0] + x, at[1] + y), is_free=abs(x) < abs(y))
        held = grasp.held
        session._send_numbers(page)
        session.effect(page)
        told, effect = last(heard, "numbers")["changes"], last(heard, "effect")["sentence"]
        session.write(page)
        said = last(heard, "said")["sentence"]
        text = session.path.read_text("utf-8")
        if not said.startswith("Written"):
            assert text == TEXTS[name]
            assert said.startswith("Nothing")
            # what can't be written was told before it was tried
            assert effect.startswith("It can’t be written") or not any(not one["why_not"] for one in told)
            return
        now = next(clip for clip in plan(load(session.path)).clips if clip.name == page.clip)
        lies = now.brief.subject.shot
        assert lies is not None
        if any(one["why_not"] for one in told):
            # what has no place in the file stays under the hand
            assert page.grasp is not None
            assert page.grasp.held != page.grasp.base
            return
        shot = ground.shot(held)
        for place in ("cue_ball_mm", "object_ball_mm", "target_mm"):
            assert np.allclose(getattr(shot, place), getattr(lies, place), rtol=0, atol=1e-4), place
        # and all that was written was told before
        before = TEXTS[name]
        assert all(one["text"] in text for one in told if one["key"] in ("spot", "target", "pocket"))
        assert ("spot:" in text) == ("spot:" in before or any(one["key"] == "spot" for one in told))


def test_a_shot_that_would_find_another_spot_is_given_its_own_and_it_is_told_before() -> None:
    with opened(LESSON) as (session, page, heard):
        page.clip = BUILD_UP
        session.hand(page, {"clip": BUILD_UP})
        session.hand(page, {"by": "move", "grip": "cue_ball", "toward": [-40, -200], "stride": 1})
        assert {one["key"] for one in last(heard, "numbers")["changes"]} == {"cut", "near"}
        session.effect(page)
        spot = next(one for one in last(heard, "numbers")["changes"] if one["key"] == "spot")
        assert spot["note"] == "so that the object ball stays where it is"
        asked = len(heard)
        session.effect(page)  # the same shot is not planned again
        assert [head["is"] for head in heard[asked:]] == ["effect"]
        session.write(page)
        assert f"spot: {spot['text']}" in session.path.read_text("utf-8")


def test_a_shot_that_stays_by_itself_is_given_no_spot() -> None:
    with opened(LESSON) as (session, page, heard):
        page.clip = BUILD_UP
        session.hand(page, {"clip": BUILD_UP})
        session.hand(page, {"by": "move", "grip": "cue_ball", "toward": [-5, -5], "stride": 1})
        session.effect(page)
        session.write(page)
        assert last(heard, "said")["sentence"].startswith("Written")
        assert "spot" not in session.path.read_text("utf-8")


LIST = """\
title: A
cuts: [10, 12]
distances: {near: 300 mm, far: 600 mm}
clips:
  - {kind: build-up, methods: ghost-ball, sides: left}
"""


@pytest.mark.parametrize(
    ("old", "new", "clip", "then"),
    [
        ("cuts: [10, 12]", "cuts: [20, 12]", "ghost-ball_build-up_cut-10_left_near", "cut-20_left_near"),
        ("near: 300", "close: 300", "ghost-ball_build-up_cut-12_left_near", "cut-12_left_close"),
        ("cuts: [10, 12]", "cuts: [12]", "ghost-ball_build-up_cut-10_left_near", "cut-12_left_near"),
        ("cuts: [10, 12]", "cuts: [11, 10, 12]", "ghost-ball_build-up_cut-10_left_near", "cut-10_left_near"),
    ],
)
def test_a_clip_is_followed_to_what_took_its_place_in_the_list(old: str, new: str, clip: str, then: str) -> None:
    before, now = loads(LIST), loads(LIST.replace(old, new))
    one = next(each for each in plan(before).clips if each.name == clip)
    assert nearest(followed(one, before, now), plan(now).clips).name == f"ghost-ball_build-up_{then}"
