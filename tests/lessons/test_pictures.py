"""A picture of every kind of clip and of every look, held to one that a person has looked at.

`pytest tests/lessons/test_pictures.py --update-pictures` writes the pictures anew: look at them before you commit.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lessons.lesson.model import loads
from lessons.planning.plan import plan
from scenes.draw.picture import picture
from scenes.kinds import CLIP_KINDS
from scenes.look import LOOKS
from tests.lessons.footage.clicks import MATCHED

PICTURES = Path(__file__).parent / "pictures"
MOMENT = 0.7
"""The picture at rest that begins last before this part of the clip."""
BLOCK_PX = 4
"""Pictures are kept as the means of blocks, so that neither dither nor a driver's rounding counts."""
BLOCK_LEVELS, MEAN_LEVELS = 40.0, 1.0
"""How far the worst block and all blocks on average may differ, in grey levels of 255."""

LESSON = """\
title: A picture of every kind
pocket: foot-left
output: {{theme: {look}}}
cuts: [20, 30]
sides: [left]
distances: {{near: 300 mm, far: 900 mm}}
eyes:
  behind: {{back: 600 mm, height: 300 mm}}
  beside: {{back: 600 mm, offset: 60 mm, height: 300 mm}}
clips:
  - kind: """
KEYS = {
    "card": "\n    title: Set this up\n    lines: [Five balls, Note how many]",
    "section": "\n    title: Where the cue ball must arrive",
    "on-footage": f"\n    footage: {MATCHED}",
}
"""What a kind needs beside its name."""
WITH_ALL_PARTS = ("build-up", "players-eye", "table")
"""Kinds that show every part of a look: drawn in each; the others in the first."""
FIRST, *OTHERS = LOOKS


def blocks_of(kind: str, look: str) -> np.ndarray:
    """The kind's picture as means of blocks, uint8."""
    clip = plan(loads(f"{LESSON.format(look=look)}{kind}{KEYS.get(kind, '')}\n"), draft=True).clips[0]
    board = CLIP_KINDS[kind].board(clip.brief)
    rests = [first for first, _ in board.still_stretches() if first <= MOMENT * board.frames]
    pixels = picture(board, rests[-1]).astype(float)
    height, width = (side // BLOCK_PX for side in pixels.shape[:2])
    shape = (height, BLOCK_PX, width, BLOCK_PX, 3)
    return np.rint(pixels[: height * BLOCK_PX, : width * BLOCK_PX].reshape(shape).mean(axis=(1, 3))).astype(
        np.uint8
    )


@pytest.mark.parametrize(
    ("kind", "look"),
    [(kind, FIRST) for kind in CLIP_KINDS if kind != "film"]
    + [(kind, look) for look in OTHERS for kind in WITH_ALL_PARTS],
)
def test_a_kinds_picture_is_the_one_that_was_looked_at(
    kind: str, look: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    name = kind if look == FIRST else f"{kind}_{look}"
    actual, path = blocks_of(kind, look), PICTURES / f"{name}.png"
    if request.config.getoption("--update-pictures"):
        PICTURES.mkdir(exist_ok=True)
        Image.fromarray(actual).save(path, optimize=True)
        return
    assert path.is_file(), f"there is no picture of {name} yet; write it with --update-pictures and look at it"
    expected = np.asarray(Image.open(path).convert("RGB"))
    difference = np.abs(actual.astype(float) - expected)
    if difference.max() > BLOCK_LEVELS or difference.mean() > MEAN_LEVELS:
        shown = np.clip(3 * difference, 0, 255).astype(np.uint8)
        beside = tmp_path / f"{name}_expected_actual_difference.png"
        Image.fromarray(np.concatenate([expected, actual, shown], axis=1)).save(beside)
        pytest.fail(f"worst {difference.max():.0f}, mean {difference.mean():.2f} levels off; look at {beside}")
