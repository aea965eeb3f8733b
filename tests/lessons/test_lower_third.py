"""The lower third: comes in where a step asks for it, covers nothing, and is told in the manifest."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from aimgeo.camera import ball_outline
from lessons.deliver.burning import place_of
from lessons.deliver.captions import clip_captions
from lessons.lesson.faults import LessonError
from lessons.lesson.model import load
from lessons.planning.plan import plan
from lessons.planning.planned import PlannedClip
from lessons.rendering.cache import clip_key
from lessons.rendering.manifest import clip_told, drawn
from scenes.board import Ball, Board, Plate, Rect, Shade, Text
from scenes.frame.column import text_rect
from scenes.judge.legible import faults
from scenes.judge.shown import labels
from scenes.kinds import CLIP_KINDS
from scenes.kinds.lower_third import LOWEST
from scenes.look.scale import Scale

LOOK = "look:\n  lower_third: {name: Anna Beispiel, under: Aiming at pool, seconds: 3}\n"
LESSON = """title: A
cuts: [30]
sides: left
distances: {{near: 300 mm}}
output: {{size: {size}, rate: 30, look: club.yaml}}
clips:
  - {{kind: title, steps: {{card: {{lower_third: yes}}}}}}
  - {{kind: build-up, methods: ghost-ball, steps: {{ghost ball: {{lower_third: yes}}}}}}
  - {{kind: table, steps: {{where: {{lower_third: yes}}}}}}
  - {{kind: players-eye, methods: ghost-ball, steps: {{view: {{lower_third: yes}}}}}}
"""


def planned(folder: Path, look: str = LOOK, size: str = "720p", lesson: str = LESSON) -> dict[str, PlannedClip]:
    (folder / "club.yaml").write_text(look, encoding="utf-8")
    (folder / "lesson.yaml").write_text(lesson.format(size=size), encoding="utf-8")
    return {clip.kind: clip for clip in plan(load(folder / "lesson.yaml")).clips}


def standing(board: Board) -> tuple[Rect, int, int]:
    """Where it stands, and its first and last frame."""
    plate = next(e for e in board.elements if e.id == "lower_third")
    assert isinstance(plate.shape, Shade)
    come, go = plate.opacity.moves
    return plate.shape.rect_px, come.first_frame, go.end_frame


def overlap(a: Rect, b: Rect) -> bool:
    wide = min(a[0] + a[2], b[0] + b[2]) - max(a[0], b[0])
    return wide > 0 and min(a[1] + a[3], b[1] + b[3]) - max(a[1], b[1]) > 0


@pytest.mark.parametrize("size", ["720p", "square", "vertical"])
def test_it_covers_no_word_label_ball_or_pane_and_leaves_room_for_captions(size: str, tmp_path: Path) -> None:
    for kind, clip in planned(tmp_path, size=size).items():
        board = CLIP_KINDS[kind].board(clip.brief)
        rect, first, end = standing(board)
        scale = Scale(board.width_px, board.height_px, board.look)
        assert rect[0] >= 0.05 * board.width_px - 0.01
        assert rect[0] + rect[2] <= 0.95 * board.width_px + 0.01
        assert rect[1] + rect[3] <= LOWEST[size == "vertical"] * board.height_px + 0.01
        for frame in range(first, end, 5):
            for e in board.elements:
                if e.role == "lower_third" or not e.is_visible(frame):
                    continue
                if isinstance(e.shape, Text | Plate) and not e.panes:
                    other = e.shape.rect_px if isinstance(e.shape, Plate) else text_rect(e.shape, scale)
                    assert not overlap(rect, other), (kind, e.id)
                for pane in board.panes if isinstance(e.shape, Ball) else ():
                    if pane.id in e.panes and pane.view != "inset" and pane.opacity.at(frame)[0]:
                        assert isinstance(e.shape, Ball)
                        centre = np.add(e.shape.centre_mm, e.offset_mm.at(frame))
                        seen = ball_outline(pane.projection(frame), centre, e.shape.radius_mm)
                        half = seen.half_box_px()
                        box = (*(seen.centre_px - half), *(2 * half))
                        is_inside = overlap(box, pane.rect_px)
                        assert not (seen.is_seen and is_inside and overlap(rect, box)), (kind, e.id)
            for pane in board.panes:
                if pane.rect_px[2] * pane.rect_px[3] < 0.3 * board.width_px * board.height_px:
                    assert not (pane.opacity.at(frame)[0] and overlap(rect, pane.rect_px)), (kind, pane.id)
        assert faults(board) == []


def test_it_comes_with_its_step_stands_as_long_as_asked_and_is_a_label_of_the_manifest(tmp_path: Path) -> None:
    clip = planned(tmp_path)["build-up"]
    board = CLIP_KINDS["build-up"].board(clip.brief)
    rect, first, end = standing(board)
    step = next(step for step in board.steps if step.name == "ghost ball")
    assert step.first_frame < first < step.first_frame + 20
    assert end - first == 90
    for frame, is_there in ((first - 1, False), (first + 30, True), (end, False)):
        told = [one for one in labels(board, frame) if one["text"] == "Anna Beispiel Aiming at pool"]
        assert [one["rect_px"] for one in told] == ([list(rect)] if is_there else [])


def test_captions_in_the_picture_keep_off_it(tmp_path: Path) -> None:
    clip = planned(tmp_path)["title"]
    board = CLIP_KINDS["title"].board(clip.brief)
    told = clip_told(clip, "title.mp4", "", drawn(board))
    rect = standing(board)[0]
    assert any(overlap(label.rect_px, rect) for still in told.still for label in still.labels)
    place = place_of(told, clip_captions(told))
    assert board.height_px * (1 - place.above) > rect[1] + rect[3]


def test_other_words_render_only_the_clips_that_show_it(tmp_path: Path) -> None:
    lesson = LESSON.replace("steps: {{where: {{lower_third: yes}}}}", "steps: {{where: {{lower_third: no}}}}")
    before = {kind: clip_key(clip, "", "").digest for kind, clip in planned(tmp_path, lesson=lesson).items()}
    changed = LOOK.replace("Anna", "Bea")
    after = {
        kind: clip_key(clip, "", "").digest for kind, clip in planned(tmp_path, changed, lesson=lesson).items()
    }
    assert {kind for kind in before if before[kind] != after[kind]} == {"title", "build-up", "players-eye"}


@pytest.mark.parametrize(
    ("look", "lesson", "told"),
    [
        ("look: {}\n", LESSON, "lesson.yaml:7:47: there is no lower third to come in; write one in a look file"),
        (
            LOOK,
            LESSON.replace("ghost ball: {{", "contact point: {{lower_third: yes}}, ghost ball: {{"),
            "ghost-ball_build-up_cut-30_left_near has two steps with a lower third; leave one out.",
        ),
        (
            LOOK.replace(
                "Aiming at pool",
                "A line that is much longer than any frame is wide whatever it may say here or anywhere",
            ),
            LESSON,
            "in title there is no room for the lower third with this step; choose another step",
        ),
        (LOOK.replace("seconds: 3", "seconds: 100"), LESSON, "club.yaml:2:"),
        (LOOK.replace("name: Anna Beispiel, ", ""), LESSON, "'name' is missing"),
        (LOOK, LESSON.replace("{{where:", "{{wherever:"), "unknown step 'wherever'"),
    ],
)
def test_what_is_wrong_is_said(tmp_path: Path, look: str, lesson: str, told: str) -> None:
    with pytest.raises(LessonError) as caught:
        planned(tmp_path, look, lesson=lesson)
    assert told in str(caught.value)


def test_it_speaks_the_language_of_the_pictures(tmp_path: Path) -> None:
    look = LOOK.replace("Aiming at pool", "{en: Aiming, de: Zielen}")
    lesson = LESSON.replace("title: A", "title: {{en: A, de: A}}\nlanguage: [de, en]")
    told = planned(tmp_path, look, lesson=lesson)["title"].brief.lower_third
    assert told is not None
    assert told.under == "Zielen"
