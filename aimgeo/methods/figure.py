"""What several constructions share: one shot in the frame of its aim, its lines, and how far a method reaches.

Levels run along the aim direction from the object ball's centre (negative towards the cue ball); offsets run
outward from it, to the side on which the aim line passes. A straight shot counts the right as outward.
"""

from __future__ import annotations

import numpy as np

from aimgeo.construct import Limit, Line, Measure, Point, Position, Quantity, Step, position
from aimgeo.shot import Shot
from aimgeo.side import NAMES
from aimgeo.vectors import BoolArray, unit

Values = tuple[tuple[str, Quantity], ...]

BEYOND_RADII = 1.75
"""How far the parallel lines run on past the object ball's centre, in ball radii."""
REACH_TOLERANCE = 1e-9
"""Slack of a method's limit as a sine, so that a cut of exactly 30 degrees survives rounding."""


def at(shot: Shot, level_mm: float, offset_mm: float) -> Position:
    """The point of one shot at a level along the aim and an offset outward from the object ball's centre."""
    # plain floats: a construction asks for a dozen of these, and arrays of two cost twenty times as much
    (ax, ay), (x, y, z) = shot.aim_direction.tolist(), shot.object_ball_mm.tolist()
    outward = offset_mm * int(shot.outward)
    return (x + level_mm * ax - outward * ay, y + level_mm * ay + outward * ax, z)


def on_front(shot: Shot, offset_mm: float) -> Position:
    """The point of the object ball's equator that faces the cue ball, at an offset outward (at most R)."""
    R = float(shot.radius_mm)
    return at(shot, -float(np.sqrt(max(R * R - offset_mm * offset_mm, 0.0))), offset_mm)


def parallel(shot: Shot, role: str, offset_mm: float, start: Position | None = None) -> Line:
    """A line along the aim at an offset, from `start` (or level with the cue ball) to beyond the object ball."""
    end = at(shot, BEYOND_RADII * float(shot.radius_mm), offset_mm)
    return Line(role, at(shot, cue_level_mm(shot), offset_mm) if start is None else start, end)


def cue_level_mm(shot: Shot) -> float:
    """The cue ball's level: minus its travel, and one ghost-ball step in front of the object ball."""
    return -float(shot.travel_mm + np.asarray(shot.ball_diameter_mm) * np.cos(shot.cut_rad))


def cue_point(shot: Shot, shift_mm: float) -> Position:
    """The point of the cue ball from which the aim moves outward by a shift: as far inward of its centre."""
    return at(shot, cue_level_mm(shot), float(shot.aim_offset_mm) - shift_mm)


def way_name(shift: float) -> str:
    """Which way a shift goes: outward is positive."""
    return "outward" if shift > 0 else "inward" if shift < 0 else "none"


def bar_level_mm(shot: Shot) -> float:
    """Where offsets are measured: behind the ghost ball's centre, but not past half of the cue ball's travel."""
    behind = min(BEYOND_RADII * float(shot.radius_mm), float(shot.travel_mm) / 2)
    return -float(np.asarray(shot.ball_diameter_mm) * np.cos(shot.cut_rad)) - behind


def between_offsets(
    shot: Shot, key: str, start_mm: float, end_mm: float, level_mm: float | None = None
) -> Measure:
    """The gap between two lines along the aim, with no place to show it when the lines coincide.

    The aim offset is the whole; every other gap is its half.
    """
    level = bar_level_mm(shot) if level_mm is None else level_mm
    gap = abs(end_mm - start_mm)
    shown = (at(shot, level, start_mm), at(shot, level, end_mm)) if gap > REACH_TOLERANCE else None
    return Measure(key, Quantity(gap, "length_mm" if key == "aim_offset" else "half_mm"), shown)


def target_line_step(shot: Shot, method: str) -> Step:
    """Every method begins here: where the object ball must go, and how big the cut is."""
    O, T = position(shot.object_ball_mm), position(shot.target_mm)
    return Step(
        "target line",
        f"{method}.target_line",
        shot_values(shot),
        points=(Point("object_centre", O),),
        lines=(Line("target_line", O, T),),
        measures=(Measure("cut", Quantity(abs(float(shot.cut_rad)), "angle_rad")),),
    )


def contact_point_step(shot: Shot, method: str) -> Step:
    """The target line carried back through the object ball to the contact point."""
    O, contact = position(shot.object_ball_mm), position(shot.contact_object_mm)
    return Step(
        "contact point",
        f"{method}.contact_point",
        shot_values(shot),
        points=(Point("contact_object", contact),),
        lines=(Line("target_line_back", O, contact),),
    )


def shot_values(shot: Shot) -> Values:
    """The values that every sentence of a construction may use."""
    side = int(shot.side)
    return (
        ("cut", Quantity(abs(float(shot.cut_rad)), "angle_rad")),
        ("side", Quantity(NAMES[side], "name")),
        ("aim_side", Quantity(NAMES[-side], "name")),
        ("distance", Quantity(float(shot.distance_mm), "distance_mm")),
        ("overlap", Quantity(float(shot.overlap), "overlap")),
        ("contact_offset", Quantity(float(shot.contact_offset_mm), "half_mm")),
        ("aim_offset", Quantity(float(shot.aim_offset_mm), "length_mm")),
        ("ball", Quantity(float(np.asarray(shot.ball_diameter_mm)), "ball_mm")),
    )


def direction(start: Position, end: Position) -> tuple[float, float]:
    """The unit direction in the plane from one point of a construction to another."""
    x, y = unit(np.subtract(end, start)[:2]).tolist()
    return (x, y)


def reaches(shot: Shot, sin_cut: float) -> BoolArray:
    """True where the shot has an aim and its cut is at most that of a given sine, and below 90 degrees, (...)."""
    with np.errstate(invalid="ignore"):
        return (
            np.isfinite(shot.aim_direction).all(axis=-1)
            & (np.abs(shot.cut_rad) < np.pi / 2)
            & (np.abs(np.sin(shot.cut_rad)) <= sin_cut + REACH_TOLERANCE)
        )


def reach_limit(shot: Shot, method: str, sin_cut: float) -> Limit | None:
    """Why one shot lies beyond a method that reaches to the cut of a given sine; None when it does not."""
    if bool(reaches(shot, sin_cut)):
        return None
    if not np.isfinite(shot.aim_direction).all():
        return Limit(f"{method}.no_aim")
    cut = Quantity(abs(float(shot.cut_rad)), "angle_rad")
    return Limit(f"{method}.limit", (("cut", cut), ("limit", Quantity(float(np.arcsin(sin_cut)), "angle_rad"))))
