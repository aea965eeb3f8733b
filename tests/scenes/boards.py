"""Boards set up by hand for tests: a shot in plan view with lines of a construction, and the same by an eye."""

from __future__ import annotations

import math

import numpy as np

from aimgeo.construct import Position, position
from aimgeo.shot import Shot, place_shot
from scenes.board import (
    Ball,
    Board,
    Element,
    EyeCamera,
    Line,
    Mark,
    Move,
    Pane,
    PlanCamera,
    Plate,
    StepSpan,
    Text,
    Track,
    constant,
)

R_MM = 28.575


def shot_of(cut_deg: float = 30.0, distance_mm: float = 190.0) -> Shot:
    """A shot in the middle of the cloth."""
    return place_shot([400, 100], [1240, 600], math.radians(cut_deg), distance_mm)


def moved(at: Position, by: np.ndarray) -> Position:
    """A position moved along the cloth."""
    return (at[0] + float(by[0]), at[1] + float(by[1]), at[2])


def elements(shot: Shot, panes: tuple[str, ...], hold: int = 10, draw: int = 12) -> tuple[Element, ...]:
    """Balls, marks and four lines; the aim line is drawn from frame `hold` to frame `hold + draw`."""
    C, O, G = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm))
    a, u = shot.aim_direction, shot.object_direction
    contact = position(shot.contact_object_mm)
    back = 160.0

    def line(name: str, start: Position, end: Position, **keys: object) -> Element:
        shape = Line((start, end), name, **keys)  # type: ignore[arg-type]
        drawn = Track((0.0,), (Move(hold, hold + draw, (1.0,)),)) if name == "aim_line" else constant(1.0)
        return Element(name, name, shape, panes, "line", drawn=drawn)

    return (
        Element("cue_ball", "cue_ball", Ball(C, R_MM, "cue"), panes, "ball"),
        Element("object_ball", "object_ball", Ball(O, R_MM, "object"), panes, "ball"),
        Element("ghost_ball", "ghost_ball", Ball(G, R_MM, "ghost"), panes, "ghost"),
        line("target_line", O, moved(O, 110 * u), arrow=True),
        line("aim_line", C, moved(G, 40 * a), ink_in=("cue_ball",), faint_after_mm=math.dist(C, G)),
        line("contact_line", moved(contact, -back * a), contact),
        line("object_ball_line", moved(O, -back * a), moved(O, 60 * a)),
        Element("object_centre", "object_centre", Mark(O, "object_centre"), panes, "mark"),
        Element("contact_object", "contact_object", Mark(contact, "contact"), panes, "mark"),
        Element("aim_point", "aim_point", Mark(G, "aim"), panes, "mark"),
    )


def plan_board(
    width_px: int = 640, height_px: int = 360, rate: tuple[int, int] = (24, 1), frames: int = 40, **shot: float
) -> Board:
    """A shot in plan view, aim straight up, a ball a fifth of the height; 10 frames rest, 12 draw, rest."""
    placed = shot_of(**shot)
    middle = (placed.cue_ball_mm + placed.object_ball_mm) / 2
    turn = math.atan2(placed.aim_direction[1], placed.aim_direction[0])
    scale = math.log(min(width_px, height_px) / 5.4 / (2 * R_MM))
    camera = PlanCamera(constant(float(middle[0]), float(middle[1]), turn, scale), (0.52, 0.53))
    pane = Pane("main", (0, 0, width_px, height_px), "plan", camera, "cloth")
    return Board(
        width_px,
        height_px,
        rate,
        frames,
        (pane,),
        elements(placed, ("main",)),
        (StepSpan("aim", 0, frames, "Aim."),),
    )


def eye_board(
    offset_mm: float = 40.0, width_px: int = 640, height_px: int = 360, background: str | None = "cloth"
) -> Board:
    """The same shot as a pinhole camera sees it from behind and beside the cue ball."""
    placed = shot_of(distance_mm=500.0)
    C, a = placed.cue_ball_mm, placed.aim_direction
    left = np.array([-a[1], a[0]])
    eye = C[:2] - 350 * a + offset_mm * left
    track = constant(float(eye[0]), float(eye[1]), 330.0, *position(placed.object_ball_mm), math.radians(38))
    pane = Pane("main", (0, 0, width_px, height_px), "eye", EyeCamera(track), background)
    return Board(
        width_px,
        height_px,
        (24, 1),
        40,
        (pane,),
        elements(placed, ("main",)),
        (StepSpan("aim", 0, 40, "Aim."),),
    )


def words(*elements: Element) -> Board:
    """A board of frame elements alone."""
    return Board(640, 360, (24, 1), 10, (), elements, (StepSpan("all", 0, 10),))


def text(content: str, style: str, at: tuple[float, float] = (40.0, 100.0)) -> Element:
    """A text element."""
    return Element(content, "text", Text(content, at, style), (), "text")


def plate(content: str, rect: tuple[float, float, float, float], sample: str | None = None) -> Element:
    """A label's plate."""
    return Element(content, "label", Plate(content, rect, sample), (), "label")
