"""Handles: a board held before its first frame and after its last, everything else as it was, only later."""

from __future__ import annotations

import numpy as np

from lessons.lesson.model import loads
from lessons.planning.plan import plan
from lessons.planning.planned import PlannedClip
from scenes.board import Board, Track
from scenes.kinds import CLIP_KINDS

LESSON = """\
title: Handles
cuts: 1/2
sides: left
distances: {near: 300 mm}
output: {size: 320x180, rate: 24}
clips: [{kind: build-up, methods: ghost-ball}, {kind: players-eye, methods: ghost-ball}]
"""
HANDLES = LESSON.replace("rate: 24", "rate: 24, handles: 0.5 s")


def tracks(board: Board) -> list[Track]:
    cameras = [track for pane in board.panes for track in (pane.camera.track, pane.opacity)]
    return cameras + [track for element in board.elements for track in element.tracks()]


def board(clip: PlannedClip) -> Board:
    return CLIP_KINDS[clip.kind].board(clip.brief)


def test_every_value_is_the_same_twelve_frames_later_and_still_before_and_after() -> None:
    for plain, held in zip(plan(loads(LESSON)).clips, plan(loads(HANDLES)).clips, strict=True):
        before, after = board(plain), board(held)
        assert (held.brief.handle_frames, held.frames, after.frames) == (12, plain.frames + 24, plain.frames + 24)
        for old, new in zip(tracks(before), tracks(after), strict=True):
            for frame in range(0, before.frames, 7):
                assert new.at(frame + 12) == old.at(frame)
            assert new.at(0) == new.at(11) == old.start
            assert new.at(after.frames - 1) == old.at(before.frames - 1)
        assert not after.changing[1:12].any()
        assert not after.changing[-12:].any()
        assert np.array_equal(after.changing[13:-12], before.changing[1:])
        steps = [(s.first_frame - 12, s.end_frame - 12) for s in after.steps]
        assert steps == [(s.first_frame, s.end_frame) for s in before.steps]


def test_without_handles_a_clip_begins_with_its_first_step() -> None:
    clip = plan(loads(LESSON)).clips[0]
    steps = board(clip).steps
    assert (steps[0].first_frame, steps[-1].end_frame) == (0, clip.brief.frames)
