"""The clip kinds. To add one: write its module here and add its line to CLIP_KINDS (names only, no Manim)."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from math import radians
from types import ModuleType
from typing import TYPE_CHECKING

from aimgeo.methods.cue_shift import SHIFT_NAMES
from scenes.board.brief import Brief, Setting

if TYPE_CHECKING:
    from scenes.board import Board


@dataclass(frozen=True, slots=True)
class ClipKind:
    """A kind of clip: its module, the axes of a lesson that multiply it, and those that one clip spans.

    What a clip spans becomes its subject's companions. A kind that `is_straight` shows straight shots,
    whatever the lesson's cuts. The module has
    `outline(subject) -> tuple[OutlineStep, ...]` and `board(brief) -> Board`.
    """

    module: str
    axes: tuple[str, ...]
    spans: tuple[str, ...] = ()
    settings: tuple[Setting, ...] = ()
    is_straight: bool = False

    def load(self) -> ModuleType:
        """The kind's module."""
        return import_module(self.module)

    def board(self, brief: Brief) -> Board:
        """The kind's board of a brief, with the handles that the brief asks for."""
        board: Board = self.load().board(brief)
        return board.with_handles(brief.handle_frames)


CLIP_KINDS: dict[str, ClipKind] = {
    "table": ClipKind("scenes.kinds.table_view", ("cut", "side", "distance")),
    "build-up": ClipKind(
        "scenes.kinds.build_up",
        ("method", "cut", "side", "distance"),
        settings=(
            Setting("cue_shift", "none", "adds the small shift at the cue ball, in balls", tuple(SHIFT_NAMES)),
        ),
    ),
    "players-eye": ClipKind(
        "scenes.kinds.players_eye",
        ("method", "cut", "side", "distance", "eye"),
        settings=(Setting("cue", True, "shows the cue as it lies for this aim"),),
    ),
    "near-and-far": ClipKind("scenes.kinds.split", ("method", "cut", "side", "eye"), spans=("distance",)),
    "two-methods": ClipKind("scenes.kinds.split", ("cut", "side", "distance", "eye"), spans=("method",)),
    "two-cuts": ClipKind("scenes.kinds.split", ("method", "side", "distance", "eye"), spans=("cut",)),
    "two-eyes": ClipKind("scenes.kinds.split", ("method", "cut", "side", "distance"), spans=("eye",)),
    "alignments": ClipKind("scenes.kinds.alignments", ("cut", "side", "distance"), spans=("eye",)),
    "moving-eye": ClipKind("scenes.kinds.moving_eye", ("cut", "side", "distance"), spans=("eye",)),
    "quiz": ClipKind(
        "scenes.kinds.quiz",
        ("eye",),
        spans=("cut", "side", "distance"),
        settings=(
            Setting("questions", 3, "how many shots are asked"),
            Setting("seed", 1, "fixes the order of the questions"),
            Setting("think_s", 5.0, "time to think about each"),
        ),
    ),
    "aim-error": ClipKind(
        "scenes.kinds.aim_error",
        ("cut", "side"),
        spans=("distance",),
        settings=(
            Setting("measured", "degrees", "how the error is given", ("degrees", "millimetres")),
            Setting("turn_rad", radians(0.2), "one step of error, as a turn of the aim"),
            Setting("miss_mm", 1.0, "one step of error, at the ghost ball"),
        ),
    ),
    "throw": ClipKind(
        "scenes.kinds.throw",
        ("cut", "side"),
        settings=(Setting("roll", 0.0, "of the cue ball at impact, from 0 (stun) to 1 (natural roll)"),),
    ),
    "over-the-top": ClipKind("scenes.kinds.over_the_top", ("cut", "side", "distance", "eye")),
    "straight-in": ClipKind(
        "scenes.kinds.straight_in",
        ("distance", "eye"),
        settings=(
            Setting("looks", 5, "from how many places the shot is seen"),
            Setting("step_mm", 6.0, "how far these places are apart"),
            Setting("seed", 1, "fixes their order"),
            Setting("look_s", 4.0, "time for each look"),
        ),
        is_straight=True,
    ),
    "methods-summary": ClipKind(
        "scenes.kinds.methods_summary", ("cut", "side"), spans=("method", "distance", "eye")
    ),
    "title": ClipKind("scenes.kinds.cards", ()),
    "section": ClipKind("scenes.kinds.cards", ()),
    "summary": ClipKind("scenes.kinds.summary_card", (), spans=("cut",)),
}
