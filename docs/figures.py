"""Draw the pictures of the documentation from lesson files: python docs/figures.py [NAME...].

Written as JPEG: the cloth's dither would make PNGs ten times as large.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

from lessons.lesson.model import load, loads
from lessons.planning.plan import plan
from lessons.planning.planned import Plan
from scenes.board import Board
from scenes.draw.picture import picture
from scenes.kinds import CLIP_KINDS
from scenes.look import LOOKS
from scenes.look.look import Look

HERE = Path(__file__).parent
COURSE = HERE.parent / "lessons" / "course"

METHODS = {
    "ghost-ball": "edge lines",
    "contact-points": "aim line",
    "doubled-offset": "aim line",
    "ball-fractions": "aim line",
    "fixed-marks": "aim line",
}
"""Method, which begins its clip's name, to the step at whose end geometry.md shows it."""

SHEETS = {"from-above": "demo.yaml", "through-the-eye": "what-the-eye-sees.yaml"}
"""Picture sheet to the lesson whose kinds it shows: each kind's first, middle and last frames."""

STILLS = {
    "build-up": ("demo.yaml", "doubled-offset_build-up_overlap-1-2_left_near", "aim line"),
    "far": ("demo.yaml", "contact-points_build-up_overlap-5-8_right_far", "aim line"),
    "players-eye": ("what-the-eye-sees.yaml", "doubled-offset_players-eye_*", None),
    "table": ("demo.yaml", "table_*_right_far", None),
    "where-it-works": ("ways-of-my-own.yaml", "edge-and-back_where-it-works_*", None),
}
"""Picture of the README to its lesson, clip and step."""

IN_EVERY_LOOK = ("build-up", "players-eye")
"""The README's pictures that `looks` shows in every look."""

STILL_PX = (960, 540)
THUMBNAIL_PX = (480, 270)


def method_figures() -> Iterator[tuple[str, Image.Image]]:
    """A figure a method."""
    planned = plan(load(HERE / "figures.yaml"))
    for method, step in METHODS.items():
        board = _board(planned, f"{method}_*")
        (end,) = (s.end_frame for s in board.steps if s.name == step)
        yield method, Image.fromarray(picture(board, end - 1))


def sheets() -> Iterator[tuple[str, Image.Image]]:
    """A sheet a lesson: a row a kind, in the lesson's order."""
    for name, lesson in SHEETS.items():
        planned = plan(load(COURSE / lesson))
        firsts = {clip.brief.subject.kind: clip.brief for clip in reversed(planned.clips)}
        kinds = dict.fromkeys(clip.brief.subject.kind for clip in planned.clips)
        rows = [_row(CLIP_KINDS[kind].board(firsts[kind])) for kind in kinds]
        yield name, Image.fromarray(np.concatenate(rows, axis=0))


def operations() -> Iterator[tuple[str, Image.Image]]:
    """Each operation of a method of one's own on one shot, and the method that the guide begins with."""
    planned = plan(load(HERE / "operations.yaml"))
    parts = []
    for clip in planned.clips:
        board = _board(planned, clip.name)
        (end,) = (s.end_frame for s in board.steps if s.name == "step 1")
        parts.append(Image.fromarray(picture(board, end - 1)).resize(THUMBNAIL_PX, Image.Resampling.LANCZOS))
    across, (w, h) = 3, THUMBNAIL_PX
    sheet = Image.new("RGB", (across * w, -(-len(parts) // across) * h))
    for n, part in enumerate(parts):
        sheet.paste(part.convert("RGB"), (n % across * w, n // across * h))
    yield "operations", sheet
    text = re.findall(r"```yaml\n(.*?)```", (HERE / "methods.md").read_text(encoding="utf-8"), re.DOTALL)[0]
    board = _board(plan(loads(text)), "half-way_build-up_overlap-1-4_left_far")
    (end,) = (s.end_frame for s in board.steps if s.name == "what it gives")
    yield "own-method", Image.fromarray(picture(board, end - 1)).resize(STILL_PX, Image.Resampling.LANCZOS)


def stills() -> Iterator[tuple[str, Image.Image]]:
    """The pictures of the README."""
    for name in STILLS:
        yield name, _still(name)


def looks() -> Iterator[tuple[str, Image.Image]]:
    """The same moments in every look: a row a look."""
    rows = [[np.asarray(_still(name, look).convert("RGB")) for name in IN_EVERY_LOOK] for look in LOOKS.values()]
    yield "looks", Image.fromarray(np.concatenate([np.concatenate(row, axis=1) for row in rows], axis=0))


def _still(name: str, look: Look | None = None) -> Image.Image:
    lesson, pattern, step = STILLS[name]
    board = _board(plan(load(COURSE / lesson)), pattern, look)
    end = board.frames if step is None else next(s.end_frame for s in board.steps if s.name == step)
    return Image.fromarray(picture(board, end - 1)).resize(STILL_PX, Image.Resampling.LANCZOS)


def _row(board: Board) -> np.ndarray:
    middle = board.frames // 2
    if len(board.steps) > 1:  # the step there, finished
        middle = next(s.end_frame - 1 for s in board.steps if s.end_frame > middle)
    frames = (board.frames // 12, middle, board.frames - 1)
    thumbnails = [
        Image.fromarray(picture(board, f)).resize(THUMBNAIL_PX, Image.Resampling.LANCZOS) for f in frames
    ]
    return np.concatenate([np.asarray(t.convert("RGB")) for t in thumbnails], axis=1)


def _board(planned: Plan, pattern: str, look: Look | None = None) -> Board:
    brief = planned.only((pattern,)).clips[0].brief
    brief = replace(brief, look=look or brief.look)
    board: Board = CLIP_KINDS[brief.subject.kind].board(brief)
    return board


def main(names: list[str]) -> None:
    """Write the named pictures, or all."""
    (HERE / "figures").mkdir(exist_ok=True)
    for group in (method_figures, stills, looks, sheets, operations):
        for name, image in group():
            if not names or name in names:
                image.convert("RGB").save(HERE / "figures" / f"{name}.jpg", quality=88, subsampling=0)


if __name__ == "__main__":
    main(sys.argv[1:])
