"""What a page is told about a clip besides its pictures: its steps, words and captions."""

from __future__ import annotations

from typing import Any

from lessons.deliver.captions import clip_captions
from lessons.lesson.model import Lesson
from lessons.planning.planned import PlannedClip
from lessons.rendering import manifest
from scenes.board import Board


def clip_told(lesson: Lesson, clip: PlannedClip, board: Board) -> dict[str, Any]:
    """Steps with their frames, words and lines in the file; captions as the delivered files have them."""
    return {
        "clip": clip.name,
        "line": clip.place.line,
        "frames": board.frames,
        "rate": board.rate,
        "steps": [
            {
                "name": step.name,
                "first": step.first_frame,
                "end": step.end_frame,
                "title": " ".join(words.title.split()),
                "narration": step.narration,
                "line": _line(lesson, clip, step.name),
            }
            for step, words in zip(board.steps, clip.brief.steps, strict=True)
        ],
        "still": list(board.still_stretches(board.rate[0] // board.rate[1] // 2)),
        "captions": [
            {"first": one.first_frame, "end": one.end_frame, "lines": one.lines}
            for one in clip_captions(_footage(clip, board))
        ],
        "has_sound": clip.sound is not None,
    }


def _footage(clip: PlannedClip, board: Board) -> manifest.Clip:
    """The clip as it would stand in a manifest: captions are made from that."""
    return manifest.clip_told(clip, "", "", manifest.Drawn(manifest.steps(board), ()))


def _line(lesson: Lesson, clip: PlannedClip, step: str) -> int:
    """The line that words a step, or the one that makes its clip."""
    for index in range(len(lesson.keys.clips)):
        at = ("clips", index)
        if lesson.place(*at) == clip.place:
            return lesson.place_of_key(*at, "steps", step).line
    return clip.place.line
