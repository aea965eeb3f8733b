"""A kind of clip of a test: both balls from above, and a count."""

from __future__ import annotations

from dataclasses import dataclass

from aimgeo.construct import Quantity, position
from scenes.board import Ball, Board, Pane, Rect, Text
from scenes.board.brief import Brief, OutlineStep, Subject
from scenes.board.motion import Sheet
from scenes.board.settings import Settings, setting
from scenes.frame.framing import View
from scenes.kinds.kind import Kind


@dataclass(frozen=True, slots=True)
class TwoBallsSettings(Settings):
    """What may be set of it."""

    count: int = setting(2, "what is counted to", least=1, greatest=9)


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """One step."""
    values = (("number", Quantity(TwoBallsSettings.of(subject).count, "count")),)
    return (OutlineStep("shown", "two_balls.shown", values, draws_s=1.0),)


def board(brief: Brief) -> Board:
    """The two balls, and as many words as are set."""
    shot = brief.subject.shot
    assert shot is not None
    sheet = Sheet()
    rect: Rect = (0.0, 0.0, float(brief.output.width_px), float(brief.output.height_px))
    for role, at, look in (("cue_ball", shot.cue_ball_mm, "cue"), ("object_ball", shot.object_ball_mm, "object")):
        sheet.put(role, Ball(position(at), float(shot.radius_mm), look), "ball", panes=("all",), opacity=1.0)
    for n in range(TwoBallsSettings.of(brief.subject).count):
        words = Text(brief.steps[0].title, (60.0, 60.0 + 40 * n), "label")
        sheet.put(f"words.{n}", words, "text", opacity=1.0)
    x, y, _ = position(shot.object_ball_mm)
    view = View((x, y), (rect[2] / 2, rect[3] / 2), 0.0, 0.3)
    return sheet.board(brief, (Pane("all", rect, "plan", view.camera(rect), "cloth"),))


KIND = Kind(
    "two-balls",
    "both balls from above",
    outline,
    board,
    axes=("cut", "side", "distance"),
    settings=TwoBallsSettings,
)
