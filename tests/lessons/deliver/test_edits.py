"""Random edits of a lesson, delivered each time: the list of changes says exactly what differs, and an edited
timeline is brought up to date. What differs is found here by decoding the films of both deliveries and comparing
their words.
"""

from __future__ import annotations

import os
import random
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import av
import numpy as np
import opentimelineio as otio
import pytest

from lessons.deliver.footage import Footage
from lessons.rendering.deliveries import Delivery, read_delivery
from tests.lessons.deliver.test_changes import Editor

EDITS = int(os.environ.get("AIMGEO_EDITS", "5"))
"""Deliveries, each after one or two random edits; `make trial` does more of them."""

VISIBLE = 60
"""Grey levels: the films' squares differ from their ground by 140, an encoder's noise is far less."""


@dataclass
class Step:
    """A step of a film: a square stands at `places[0]` in its first half, at `places[1]` in its second."""

    uid: int
    name: str
    frames: int
    words: str
    places: list[int]


@dataclass
class Film:
    """A clip, known by its number whatever it is called."""

    uid: int
    name: str
    steps: list[Step] = field(default_factory=list)


class Author:
    """Edits a lesson at random."""

    def __init__(self, seed: int) -> None:
        self.random, self.count = random.Random(seed), 0
        self.films = [self.film() for _ in range(4)]

    def uid(self) -> int:
        self.count += 1
        return self.count

    def step(self) -> Step:
        uid = self.uid()
        places = [self.random.randrange(0, 70, 10) for _ in range(2)]
        return Step(uid, f"step {uid}", self.random.randrange(8, 30, 2), f"Say {uid}.", places)

    def film(self) -> Film:
        uid = self.uid()
        return Film(uid, f"clip-{uid}", [self.step() for _ in range(self.random.randrange(2, 5))])

    def edit(self) -> str:
        """One edit; what it was."""
        kinds: list[Callable[[], str]] = [
            self.say, self.lengthen, self.draw, self.draw, self.rename, self.rename_step, self.add_step,
            self.remove_step, self.add, self.remove, self.move,
        ]  # fmt: skip
        return self.random.choice(kinds)()

    def any_step(self) -> Step:
        return self.random.choice(self.random.choice(self.films).steps)

    def say(self) -> str:
        self.any_step().words = f"Say another thing, {self.uid()}."
        return "words"

    def lengthen(self) -> str:
        step = self.any_step()
        step.frames = max(4, step.frames + self.random.choice((-6, -4, -2, 2, 4, 10)))
        return "length"

    def draw(self) -> str:
        step = self.any_step()
        step.places[self.random.randrange(2)] = self.random.randrange(0, 70, 10)
        return "pictures"

    def rename(self) -> str:
        self.random.choice(self.films).name = f"called-{self.uid()}"
        return "rename"

    def rename_step(self) -> str:
        self.any_step().name = f"named {self.uid()}"
        return "rename step"

    def add_step(self) -> str:
        steps = self.random.choice(self.films).steps
        step = self.step()
        step.frames += 1  # like no other: what takes the place of a step that goes is another one
        steps.insert(self.random.randrange(len(steps) + 1), step)
        return "add step"

    def remove_step(self) -> str:
        steps = self.random.choice(self.films).steps
        if len(steps) > 1:
            steps.pop(self.random.randrange(len(steps)))
        return "remove step"

    def add(self) -> str:
        if len(self.films) < 7:
            self.films.insert(self.random.randrange(len(self.films) + 1), self.film())
        return "add"

    def remove(self) -> str:
        if len(self.films) > 2:
            self.films.pop(self.random.randrange(len(self.films)))
        return "remove"

    def move(self) -> str:
        film = self.films.pop(self.random.randrange(len(self.films)))
        self.films.insert(self.random.randrange(len(self.films) + 1), film)
        return "move"


def render(editor: Editor, films: list[Film]) -> Footage:
    """The films in the lesson's folder; each shows a shot of its own, which outlives its name."""
    clips = []
    for film in films:
        squares, at = {}, 0
        for step in film.steps:
            squares[at], squares[at + step.frames // 2] = step.places
            at += step.frames
        clips.append((film.name, [(s.name, s.frames, s.words) for s in film.steps], squares))
    return editor.render(*clips, shows={film.name: f"eye {film.uid}" for film in films})


def decoded(path: Path) -> np.ndarray:
    with av.open(str(path)) as container:
        return np.stack([f.to_ndarray(format="gray").astype(int) for f in container.decode(video=0)])


def starts(films: list[Film]) -> dict[int, tuple[int, int]]:
    """Where each film stands on the timeline."""
    found, at = {}, 0
    for film in films:
        end = at + sum(step.frames for step in film.steps)
        found[film.uid] = (at, end)
        at = end
    return found


def inside(film: Film) -> dict[int, tuple[Step, int]]:
    """Each step with its first frame."""
    found, at = {}, 0
    for step in film.steps:
        found[step.uid] = (step, at)
        at += step.frames
    return found


def runs(differ: np.ndarray, first: int) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], differ, [False]]).astype(int)))
    return [(first + int(a), first + int(b)) for a, b in edges.reshape(-1, 2)]


def expected(
    old: list[Film], now: list[Film], before: dict[int, np.ndarray], after: dict[int, np.ndarray]
) -> dict[str, Any]:
    """What the list of changes should say, by a clip's name: kinds, where it was and is, and what of its steps."""
    was, at_old, at_now = {f.uid: f for f in old}, starts(old), starts(now)
    told: dict[str, Any] = {f.name: (("gone",), at_old[f.uid], None, set()) for f in old
                            if f.uid not in at_now}  # fmt: skip
    for film in now:
        if film.uid not in was:
            told[film.name] = (("new",), None, at_now[film.uid], set())
            continue
        kinds, steps = set(), set()
        first, then = inside(was[film.uid]), inside(film)
        if was[film.uid].name != film.name:
            kinds.add("renamed")
        for uid, (step, at) in then.items():
            if uid not in first:
                kinds.add("steps")
                steps.add((step.name, at, at + step.frames, "new step"))
                continue
            earlier, stood = first[uid]
            span = (at, at + step.frames)
            if earlier.name != step.name:
                kinds.add("steps")
                steps.add((step.name, *span, f"was called {earlier.name}"))
            if earlier.words != step.words:
                kinds.add("words")
                steps.add((step.name, *span, f"words were: {earlier.words}"))
            if earlier.frames != step.frames:
                kinds.add("length")
                more = step.frames - earlier.frames
                steps.add((step.name, *span, f"{more:+} frames ({earlier.frames} to {step.frames})"))
            frames = np.minimum(np.arange(step.frames), earlier.frames - 1) + stood
            apart = np.abs(before[film.uid][frames] - after[film.uid][at : at + step.frames])
            for run in runs(apart.max(axis=(1, 2)) > VISIBLE, at):
                kinds.add("pictures")
                steps.add((step.name, *run, "pictures differ"))
        end = sum(step.frames for step in film.steps)
        for uid, (step, at) in first.items():
            if uid not in then:
                kinds.add("steps")
                at = min(at, end - 1)
                steps.add((step.name, at, at + 1, f"step is gone; it had {step.frames} frames"))
        if sum(s.frames for s in was[film.uid].steps) != end:
            kinds.add("length")
        if not kinds and at_old[film.uid][0] != at_now[film.uid][0]:
            kinds.add("moved")
        if kinds:
            told[film.name] = (tuple(sorted(kinds)), at_old[film.uid], at_now[film.uid], steps)
    return told


def said(delivery: Delivery) -> dict[str, Any]:
    """What the list of changes says."""
    return {
        c.name: (
            tuple(sorted(set(c.kinds) - {"file"})),
            c.before,
            c.now,
            {(s.step, s.first_frame, s.end_frame, s.says) for s in c.steps},
        )
        for c in delivery.changes
        if set(c.kinds) != {"file"}
    }


# ------------------------------------------------------------------ an editor's own timeline


def cut_up(path: Path, pick: random.Random) -> Any:
    """An editor's timeline out of a delivered one: shuffled, trimmed, with music and a note of the editor's."""
    timeline = otio.adapters.read_from_file(str(path))
    (track,) = timeline.video_tracks()
    cuts = [cut.deepcopy() for cut in track.find_clips()]
    pick.shuffle(cuts)
    del track[:]
    for cut in cuts:
        whole = cut.source_range
        head = pick.randrange(int(whole.duration.value) // 2)
        length = pick.randrange(2, int(whole.duration.value) // 2 + 1)
        cut.source_range = otio.opentime.TimeRange(
            otio.opentime.RationalTime(whole.start_time.value + head, 25), otio.opentime.RationalTime(length, 25)
        )
        track.append(cut)
        track.append(otio.schema.Gap(duration=otio.opentime.RationalTime(5, 25)))
    music = otio.schema.Track("Music", kind=otio.schema.TrackKind.Audio)
    music.append(
        otio.schema.Clip("song", otio.schema.ExternalReference("../music/song.wav"),
                         otio.opentime.TimeRange(duration=otio.opentime.RationalTime(100, 25)))
    )  # fmt: skip
    timeline.tracks.append(music)
    return timeline


def spans(timeline: Any) -> list[tuple[str, int, int]]:
    """Every item by kind, with its place on its track: what no conform may move."""
    return [
        (type(item).__name__, int(item.range_in_parent().start_time.value), int(item.duration().value))
        for track in timeline.tracks
        for item in track
    ]


def moment(film_then: Film, frame: int, film_now: Film, length: int) -> int | None:
    """Where a cut that started at a frame must start now; None when it no longer fits."""
    now = inside(film_now)
    total = sum(step.frames for step in film_now.steps)
    if length > total:
        return None
    at, found = 0, None
    for step in film_then.steps:
        if at <= frame < at + step.frames or found == -1:
            if step.uid in now:
                same, first = now[step.uid]
                found = first + (min(frame - at, same.frames - 1) if found is None else 0)
                break
            found = -1
        at += step.frames
    if found in (None, -1):
        found = total - 1
    return min(found, total - length)


def check_conformed(before: Any, after: Any, old: list[Film], now: list[Film]) -> int:
    """Every cut of ours is the same moment of the newer clip; how many were looked at."""
    assert spans(before) == spans(after)
    then, by_uid = {f.uid: f for f in old}, {f.uid: f for f in now}
    looked = 0
    for one, other in zip(before.find_clips(), after.find_clips(), strict=True):
        if "aimgeo" not in one.metadata:
            assert one.is_equivalent_to(other)
            continue
        uid = int(one.metadata["aimgeo"]["eye"].split()[-1])
        if uid not in by_uid or uid not in then:
            assert one.is_equivalent_to(other)
            continue
        start, length = int(one.source_range.start_time.value), int(one.source_range.duration.value)
        wanted = moment(then[uid], start, by_uid[uid], length)
        if wanted is None:
            assert one.is_equivalent_to(other)
            continue
        assert int(other.source_range.start_time.value) == wanted
        assert other.media_reference.target_url == f"{by_uid[uid].name}.mp4"
        looked += 1
    return looked


@pytest.mark.parametrize("seed", range(-(-EDITS // 25)))
def test_after_any_edits_the_list_says_what_differs_and_a_cut_timeline_conforms(
    seed: int, tmp_path: Path, stock: SimpleNamespace
) -> None:
    editor, author = Editor(tmp_path, stock), Author(seed)
    render(editor, author.films)
    editor.deliver()
    timeline = cut_up(editor.folder / "thin-and-full.otio", author.random)
    edited = tmp_path / "edited.otio"
    looked = 0
    for _ in range(min(EDITS, 25)):
        old = deepcopy(author.films)
        before = {f.uid: decoded(editor.folder / f"{f.name}.mp4") for f in old}
        edits = [author.edit() for _ in range(author.random.choice((1, 1, 2)))]
        render(editor, author.films)
        after = {f.uid: decoded(editor.folder / f"{f.name}.mp4") for f in author.films}
        otio.adapters.write_to_file(timeline, str(edited))
        number = len(list((editor.folder / "deliveries").glob("????.json")))
        editor.deliver("--conform", str(edited))
        wanted = expected(old, author.films, before, after)
        path = editor.folder / "deliveries" / f"{number + 1:04}.json"
        assert path.exists() == bool(wanted or [f.name for f in old] != [f.name for f in author.films]), edits
        assert (said(read_delivery(editor.folder, number + 1)) if path.exists() else {}) == wanted, edits
        conformed = otio.adapters.read_from_file(str(tmp_path / "edited_conformed.otio"))
        looked += check_conformed(timeline, conformed, old, author.films)
        timeline = conformed
    assert looked
