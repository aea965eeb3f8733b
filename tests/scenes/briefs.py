"""Briefs written by hand for tests: English words, a shot on a 9 ft table, any method, any frame."""

from __future__ import annotations

import math
from dataclasses import replace

from aimgeo.construct import Quantity
from aimgeo.methods import METHODS
from aimgeo.shot import Shot, place_shot
from aimgeo.tables import TABLES
from scenes.board import Board
from scenes.board.brief import Brief, BriefStep, MeasureText, Output, Subject
from scenes.kinds import CLIP_KINDS
from scenes.look.dusk import DUSK
from scenes.look.look import Look

FRAMES = {
    "wide": (1920, 1080),
    "wide 720": (1280, 720),
    "wide 2160": (3840, 2160),
    "draft": (640, 360),
    "square": (1080, 1080),
    "small square": (360, 360),
    "tall": (1080, 1920),
    "small tall": (360, 640),
}
LABELS = {
    "cue_ball": "Cue ball",
    "object_ball": "Object ball",
    "ghost_ball": "Ghost ball",
    "base_spot": "Base spot",
    "aim_line": "Aim line",
    "target_line": "Target line",
    "contact_line": "Contact-point line",
    "object_ball_line": "Centre line",
    "edge_line": "Edge line",
    "sight_line": "Where you look",
    "cue_ball_stunned": "Cue ball, hit without spin",
    "cue_ball_rolling": "Cue ball, rolling",
    "cue_ball_stopped": "Cue ball, until it meets a ball",
    "contact_object": "Contact point",
    "contact_cue": "Contact point",
    "aim_point": "Aim point",
    "true_to_scale": "true to scale",
    "times_as_large": "{times} times as large",
    "seen_along_aim": "Seen along the aim",
    "ruler_centre": "centre",
    "ruler_edge": "edge",
    "contact_offset": "contact",
    "aim_offset": "aim",
    "cue_mark": "from here",
    "sight_start": "From here",
    "sight_point": "Look here",
    "mark_half": "Halfway",
    "mark_edge": "Edge",
    "fixed_mark": "Eighths of the way",
    "head": "head",
    "foot": "foot",
    "target": "Target: foot-left pocket",
    "half_speed": "Played at half speed",
}
TITLE = "Said on screen,\nin two lines"


def number(quantity: Quantity) -> tuple[str, str]:
    """A quantity as a number and its unit."""
    value = float(quantity.value)
    if quantity.kind == "angle_rad":
        return f"{math.degrees(value):.1f}°", ""
    if quantity.kind == "quarters":
        return f"{round(4 * value) / 4:g}", ""
    if quantity.kind == "diamonds":
        return f"{value:.2f}", "diamonds"
    return f"{value:.{0 if quantity.kind == 'distance_mm' else 1}f}", "mm"


def shot_of(
    cut_deg: float, distance_mm: float, pocket: str = "foot-left", at: tuple[float, float] = (500, 100)
) -> Shot:
    """A shot to a pocket; the cut is signed, left positive."""
    target = TABLES["9ft"].pocket(pocket).centre_mm
    return place_shot(at, target, math.radians(cut_deg), distance_mm)


def brief_of(
    kind: str,
    shot: Shot | None,
    method: str | None = None,
    size: tuple[int, int] = FRAMES["wide"],
    rate: tuple[int, int] = (30, 1),
    labels: dict[str, str] | None = None,
) -> Brief:
    """A brief with the steps of the kind's outline, each as long as it needs."""
    construction = METHODS[method].construct(shot) if method and shot is not None else None
    subject = Subject(kind, TABLES["9ft"] if shot else None, "foot-left", shot, construction)
    output = Output(*size, rate)
    steps = tuple(
        BriefStep(
            step.name,
            TITLE,
            "",
            output.frames(step.draws_s),
            tuple(MeasureText(key, key.replace("_", " ").capitalize(), *number(q)) for key, q in step.measures),
        )
        for step in CLIP_KINDS[kind].outline(subject)
    )
    words = dict(LABELS if labels is None else labels)
    if shot is not None and labels is None:
        side = {1: " left", -1: " right", 0: ""}[int(shot.side)]
        words["distance"] = f"{float(shot.distance_mm):.0f} mm"
        cut = f"Cut {abs(math.degrees(float(shot.cut_rad))):.1f}°{side}"
        words["heading"] = f"{cut}, centres {words['distance']} apart"
        words["between_centres"] = f"{float(shot.distance_mm):.0f} mm between centres"
    return Brief("clip", subject, output, steps, words)


def board_of(
    kind: str,
    shot: Shot | None,
    method: str | None = None,
    size: tuple[int, int] = FRAMES["wide"],
    look: Look = DUSK,
) -> Board:
    """The board of such a brief."""
    board: Board = CLIP_KINDS[kind].board(replace(brief_of(kind, shot, method, size), look=look))
    return board
