"""The clips of the lessons that come with the project can be read: checked on their boards, without rendering."""

from __future__ import annotations

from dataclasses import replace
from itertools import cycle
from pathlib import Path

import numpy as np
import pytest

import lessons
from lessons.lesson.model import load
from lessons.planning.plan import plan
from lessons.planning.planned import PlannedClip
from scenes.board import Text
from scenes.board.brief import Output
from scenes.draw.picture import picture
from scenes.frame.column import text_rect
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS
from scenes.look import LOOKS
from scenes.look.check import TEXT_CONTRAST
from scenes.look.look import Look, rgb
from scenes.look.scale import Scale

COURSE = Path(lessons.__file__).parent / "course"
SHARES = {"demo.yaml": 1, "half-ball-upright.yaml": 1, "eight-cuts.yaml": 8}
"""Of the large lesson every so many clips, which meets every method and kind; of the demo all."""
DRAWN_FLAT = ("build-up", "table", "title", "section", "summary")


def clips(lesson: str) -> list[PlannedClip]:
    made = plan(load(COURSE / lesson)).clips
    return [clip for clip in made if clip.kind in DRAWN_FLAT][:: SHARES[lesson]]


@pytest.mark.parametrize("lesson", SHARES)
def test_no_word_of_a_lesson_covers_anything(lesson: str) -> None:
    """The looks take turns: words find the same places in all of them."""
    found = {}
    for clip, look in zip(clips(lesson), cycle(LOOKS.values()), strict=False):
        found[clip.name] = faults(CLIP_KINDS[clip.kind].board(replace(clip.brief, look=look)))
    assert {name: told for name, told in found.items() if told} == {}


def test_the_demo_shows_all_five_methods_three_cuts_both_sides_near_and_far() -> None:
    made = [clip for clip in clips("demo.yaml") if clip.kind == "build-up"]
    assert len({clip.method for clip in made}) == 5
    assert len({clip.cut_text for clip in made}) >= 3
    assert {clip.side for clip in made} >= {"left", "right"}
    assert {clip.distance_name for clip in made} >= {"near", "far"}


@pytest.mark.parametrize("size", [(640, 360), (1080, 1080), (1080, 1920), (360, 360)])
def test_no_word_of_what_the_eye_sees_covers_anything(size: tuple[int, int]) -> None:
    """In wide pictures every clip; in other shapes one of a kind, with those of a teacher's own methods."""
    made = plan(load(COURSE / "what-the-eye-sees.yaml")).clips
    if size[0] <= size[1]:
        own = plan(load(COURSE / "ways-of-my-own.yaml")).clips
        made = tuple({clip.kind: clip for clip in (*own, *made)}.values())
    found = {}
    for clip, look in zip(made, cycle(LOOKS.values()), strict=False):
        brief = replace(clip.brief, look=look, output=Output(*size, clip.brief.output.rate))
        found[clip.name] = faults(CLIP_KINDS[clip.kind].board(brief))
    assert {name: told for name, told in found.items() if told} == {}


@pytest.mark.parametrize("lesson", ["demo.yaml", "what-the-eye-sees.yaml", "ways-of-my-own.yaml"])
def test_every_kind_can_be_cut_to_at_its_first_frame_and_held_on_its_last(lesson: str) -> None:
    """The first frame has its title whole and more than words on bare cloth; on the last nothing is on its way."""
    bare, moving = [], []
    for clip in {clip.kind: clip for clip in plan(load(COURSE / lesson)).clips}.values():
        board = CLIP_KINDS[clip.kind].board(clip.brief)
        shown = [e for e in board.elements if e.is_visible(0) and e.opacity.at(0) == (1.0,)]
        titles = {e.shape.text for e in shown if isinstance(e.shape, Text)}
        more = [e for e in shown if e.role not in ("title", "pips", "logo") and not e.id.startswith("title.")]
        if not titles or not (more or clip.kind == "card"):
            bare.append(clip.name)
        tracks = [track for e in board.elements for track in e.tracks()]
        tracks += [track for pane in board.panes for track in (pane.camera.track, pane.opacity)]
        if any(m.first_frame < board.frames < m.end_frame for track in tracks for m in track.moves):
            moving.append(clip.name)
    assert (bare, moving) == ([], [])


@pytest.mark.parametrize("look", LOOKS.values(), ids=list(LOOKS))
def test_text_reads_over_the_rendered_table(look: Look) -> None:
    """Its contrast with what is painted behind it, measured in pictures: 4.5:1 (WCAG 2.2, 1.4.3), strays apart."""
    clips_by_kind = {clip.kind: clip for clip in plan(load(COURSE / "what-the-eye-sees.yaml"), draft=True).clips}
    low = []
    for kind, clip in clips_by_kind.items():
        board = CLIP_KINDS[kind].board(replace(clip.brief, look=look))
        scale = Scale(board.width_px, board.height_px, look)
        bare = replace(board, elements=tuple(e for e in board.elements if not isinstance(e.shape, Text)))
        for step in {board.steps[0], board.steps[len(board.steps) // 2], board.steps[-1]}:
            behind = relative_luminance(picture(bare, step.end_frame - 1))
            for element in board.elements:
                text, frame = element.shape, step.end_frame - 1
                if isinstance(text, Text) and element.opacity.at(frame) == element.strength.at(frame) == (1.0,):
                    x, y, w, h = (round(v) for v in text_rect(text, scale))
                    own = relative_luminance(np.array(rgb(look.colour(look.types[text.style].colour))) * 255)
                    ground = behind[max(y, 0) : y + h + 1, max(x, 0) : x + w + 1]
                    ratio = (np.maximum(ground, own) + 0.05) / (np.minimum(ground, own) + 0.05)
                    if (worst := float(np.quantile(ratio, 0.02))) < TEXT_CONTRAST:
                        low.append(f"{clip.name}, {step.name}: {text.text!r} {worst:.2f}:1")
    assert low == []


def relative_luminance(levels: np.ndarray) -> np.ndarray:
    """Of levels (..., 3) of 255: WCAG 2.2, by the transfer function of sRGB (IEC 61966-2-1)."""
    value = levels / 255
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ np.array([0.2126, 0.7152, 0.0722]))
