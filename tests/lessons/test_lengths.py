"""Locked lengths: what was delivered keeps its frames, or is told with the change that would make it fit."""

from __future__ import annotations

import os
import random
import re
from pathlib import Path

import pytest

from lessons.lesson.faults import LessonError
from lessons.lesson.model import load
from lessons.planning.lengths import (
    Lengths,
    at_rate,
    fitted,
    known,
    lengths_path,
    read_lengths,
    shows,
    write_lengths,
)
from lessons.planning.plan import plan
from lessons.planning.planned import Plan
from scenes.kinds import CLIP_KINDS

EDITS = int(os.environ.get("AIMGEO_EDITS", "12"))
"""Random edits of a lesson; `make trial` does more of them."""

STEPS = ("target line", "ghost ball", "aim line")
WORDS = ("look", "along", "this", "line", "to", "the", "ball", "and", "let", "your", "eye", "rest", "there")


def lesson(folder: Path, narrations: dict[str, int], title: str = "Thin", name: str = "shot") -> Path:
    """A lesson of a card and a build-up, whose steps say so many words."""
    steps = "".join(
        f"      {step}: {{narration: {' '.join((WORDS * 9)[:count])}.}}\n" for step, count in narrations.items()
    )
    path = folder / "lesson.yaml"
    path.write_text(
        f"title: {title}\ncuts: [3/4]\nsides: left\ndistances: {{near: 300 mm}}\n"
        "output: {lengths: locked, rate: 25}\nclips:\n"
        f"  - {{kind: title}}\n  - kind: build-up\n    name: {name}\n    methods: ghost-ball\n    steps:\n{steps}"
    )
    return path


def deliver(made: Plan, path: Path) -> dict[str, int]:
    """Lock the lengths of a plan; the frames of its clips."""
    rate = made.clips[0].brief.output.rate
    locked = {
        clip.name: Lengths(shows(clip), rate, {step.name: step.frames for step in clip.brief.steps})
        for clip in made.clips
    }
    write_lengths(lengths_path(str(path), "en", "en"), locked)
    return {clip.name: clip.frames for clip in made.clips}


@pytest.mark.parametrize("seed", range(EDITS))
def test_after_any_edit_lengths_are_kept_or_the_change_that_keeps_them_is_told(seed: int, tmp_path: Path) -> None:
    chance = random.Random(seed)
    words = {step: chance.randint(4, 40) for step in STEPS}
    path = lesson(tmp_path, words)
    first = plan(load(path))
    frames = deliver(first, path)
    assert [clip.brief.steps for clip in plan(load(path)).clips] == [clip.brief.steps for clip in first.clips]
    changed = {step: max(1, count + chance.randint(-14, 14)) for step, count in words.items()}
    lesson(tmp_path, changed, title=chance.choice(["Thin", "Another title"]))
    for _ in range(60):
        try:
            made = plan(load(path))
            break
        except LessonError as error:
            (fault,) = error.faults
            told = re.search(r"step '(.+)' \(.*say some (\d+) words less there", fault.sentence)
            assert told, fault.sentence
            assert int(told[2]) > 0
            changed[told[1]] = max(1, changed[told[1]] - int(told[2]))
            lesson(tmp_path, changed)
    else:
        pytest.fail("what is told to say less does not lead to lengths that fit")
    assert {clip.name: clip.frames for clip in made.clips} == frames
    for clip in made.clips:
        outline = CLIP_KINDS[clip.kind].outline(clip.brief.subject)
        for step, told_of in zip(clip.brief.steps, outline, strict=True):
            # what is drawn has its time, and words are said at most a tenth faster
            assert step.frames >= clip.brief.output.frames(told_of.draws_s)
            pace = len(step.narration.split()) * 60 / 140 / 1.1
            assert step.frames + 1 >= pace * 25


def test_words_that_do_not_fit_are_a_fault_with_seconds_step_and_the_least_change(tmp_path: Path) -> None:
    path = lesson(tmp_path, {"aim line": 20})
    deliver(plan(load(path)), path)
    lesson(tmp_path, {"aim line": 60})
    with pytest.raises(LessonError) as caught:
        plan(load(path))
    (fault,) = caught.value.faults
    assert re.match(
        r"ghost-ball_shot_\S+ is locked at \d+\.\d s and needs \d+\.\d s more, most of it in step 'aim line' "
        r"\(10\.2 s, now 27\.3 s at least\): "
        r"say some \d+ words less there, or remove its line from lesson\.lengths\.json",
        fault.sentence,
    ), fault.sentence
    assert fault.place.line == 8


def test_a_clip_keeps_its_length_under_another_name(tmp_path: Path) -> None:
    path = lesson(tmp_path, {"aim line": 30})
    first = deliver(plan(load(path)), path)
    lesson(tmp_path, {"aim line": 20}, name="other")
    made = plan(load(path))
    assert [clip.name.split("_")[:2] for clip in made.clips] == [["title"], ["ghost-ball", "other"]]
    assert [clip.frames for clip in made.clips] == list(first.values())
    # two clips of one content are told apart by nothing but their names
    one = made.clips[1]
    assert known((one, one), ("a", "b"), {"shot": Lengths(shows(one), (25, 1), {})}) == {}


def test_at_another_rate_steps_start_on_the_nearest_frame() -> None:
    locked = Lengths("", (60, 1), {"a": 91, "b": 90, "c": 59})
    found = at_rate(locked, (30000, 1001))
    assert list(found.values()) == [45, 45, 30]
    assert sum(found.values()) == round(240 * 30000 / 1001 / 60)
    assert at_rate(locked, (60, 1)) == locked.steps


def test_what_a_lesson_gives_in_seconds_is_not_moved() -> None:
    assert fitted([50, 50, 50], [50, 60, 20], [True, True, False], 150) == [50, 60, 40]
    assert fitted([50, 50], [50, 60], [True, True], 100) is None


def test_a_file_that_holds_no_lengths_is_a_fault(tmp_path: Path) -> None:
    path = lesson(tmp_path, {"aim line": 20})
    lengths = lengths_path(str(path), "en", "en")
    lengths.write_text("[1]")
    with pytest.raises(LessonError, match=r"lesson\.lengths\.json holds no lengths"):
        plan(load(path))
    write_lengths(lengths, {})
    assert read_lengths(lengths) == {}
