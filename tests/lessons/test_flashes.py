"""No clip flashes: tested on the pictures decoded from small clips of every kind that the course shows."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest

import lessons
from lessons.lesson.model import load
from lessons.planning.plan import plan
from scenes.board.brief import Brief, Output
from scenes.film.perform import film_clip
from scenes.kinds import CLIP_KINDS

COURSE = Path(lessons.__file__).parent / "course"
FPS = 8
SMALL = Output(160, 90, (FPS, 1))
MOST_A_SECOND = 3


def first_of_each_kind() -> dict[str, Brief]:
    """Small and short briefs: each step at its own speed, but with its rests cut to what it draws."""
    found: dict[str, Brief] = {}
    for clip in plan(load(COURSE / "what-the-eye-sees.yaml"), draft=True).clips:
        if clip.brief.subject.eye is not None and clip.kind not in found:
            drawn = CLIP_KINDS[clip.kind].outline(clip.brief.subject)
            steps = tuple(
                replace(step, frames=SMALL.frames(one.draws_s))
                for step, one in zip(clip.brief.steps, drawn, strict=True)
            )
            found[clip.kind] = replace(clip.brief, output=SMALL, steps=steps)
    return found


BRIEFS = first_of_each_kind()


def flashes(lights: np.ndarray, fps: float) -> int:
    """The most flashes within a second in any part of the picture, from luminances (frames, parts) in 0..1.

    WCAG 2.3.1 and its definition of a general flash: a pair of opposed changes of a tenth of the greatest
    luminance or more, where the darker picture is below 0.80.
    """
    most = 0
    for light in lights.T:
        # only changes against the last counted one: small wiggles in between do not count
        turns: list[int] = []
        low = high = float(light[0])
        up = 0
        for frame, value in enumerate(light.tolist()):
            low, high = min(low, value), max(high, value)
            if up <= 0 and value - low >= 0.1 and low < 0.8:
                up, low, high = 1, value, value
                turns.append(frame)
            elif up >= 0 and high - value >= 0.1 and value < 0.8:
                up, low, high = -1, value, value
                turns.append(frame)
        pairs = turns[1::2]
        most = max([most, *(sum(a <= b < a + fps for b in pairs) for a in pairs)])
    return most


def luminances(path: Path) -> np.ndarray:
    """Relative luminance (frames, 16) of a clip's sixteen parts: each smaller than the quarter of a 341 x 256 px
    window in a 1024 x 768 picture that WCAG allows to flash, whatever the size (from memory)."""
    with av.open(str(path)) as container:
        pictures = np.stack([f.to_ndarray(format="rgb24") for f in container.decode(video=0)]).astype(float) / 255
    linear = np.where(pictures <= 0.04045, pictures / 12.92, ((pictures + 0.055) / 1.055) ** 2.4)
    light = (linear @ [0.2126, 0.7152, 0.0722])[:, :88]
    return light.reshape(len(light), 4, 22, 4, 40).mean(axis=(2, 4)).reshape(len(light), 16)


@pytest.mark.parametrize("kind", BRIEFS)
def test_no_clip_flashes_more_than_three_times_a_second(kind: str, tmp_path: Path) -> None:
    film_clip(BRIEFS[kind], tmp_path / "clip.mp4")
    lights = luminances(tmp_path / "clip.mp4")
    assert len(lights) == BRIEFS[kind].frames
    assert np.ptp(lights) > 0.01, "there is a picture"
    assert flashes(lights, FPS) <= MOST_A_SECOND


def test_flashes_are_found_and_slow_changes_are_not() -> None:
    blinks = np.array(list(itertools.islice(itertools.cycle([0.1, 0.1, 0.5, 0.5]), 40)))
    assert flashes(blinks[:, None], 40) == pytest.approx(10, abs=1)
    assert flashes(np.linspace(0, 1, 40)[:, None], 40) == 0
    assert flashes((0.3 + 0.04 * np.sin(np.arange(40)))[:, None], 40) == 0
