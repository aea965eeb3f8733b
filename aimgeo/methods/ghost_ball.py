"""Ghost ball: see the cue ball where it must be at impact, and send its centre there.

Sentence keys in the order of their steps, measures in brackets:
ghost_ball.target_line [cut], .contact_point, .ghost_ball [ball], .base_spot, .aim_line [distance],
.edge_lines
"""

from __future__ import annotations

import numpy as np

from aimgeo.aim_frame import AimFrame
from aimgeo.construct import Circle, Construction, Line, Measure, Point, Quantity, Step, position
from aimgeo.methods.figure import (
    at,
    contact_point_step,
    cue_level_mm,
    direction,
    shot_values,
    target_line_step,
)
from aimgeo.methods.method import Method, Reading
from aimgeo.shot import Shot
from aimgeo.vectors import Array

BASE_SPOT_RADII = 0.15
"""Size at which the spot under the ghost ball is drawn, in ball radii: the true contact is a point."""


def construct(shot: Shot) -> Construction:
    """The construction for one shot (scalar fields) within reach.

    The ghost ball first, then its base spot on the cloth; the aim line, then the two lines along which the cue
    ball's edges run.

    >>> from aimgeo.shot import place_shot
    >>> [step.name for step in construct(place_shot([0, 0], [900, 0], 0.3, 500)).steps]
    ['target line', 'contact point', 'ghost ball', 'base spot', 'aim line', 'edge lines']
    """
    C, O, G = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm))
    contact = position(shot.contact_object_mm)
    R, offset = float(shot.radius_mm), float(shot.aim_offset_mm)
    start, end = cue_level_mm(shot), cue_level_mm(shot) + float(shot.travel_mm)
    aim_line = Line("aim_line", C, G)
    values = shot_values(shot)
    return Construction(
        method="ghost_ball",
        steps=(
            target_line_step(shot, "ghost_ball"),
            contact_point_step(shot, "ghost_ball"),
            Step(
                "ghost ball",
                "ghost_ball.ghost_ball",
                values,
                points=(Point("ghost_centre", G),),
                lines=(Line("target_line_back", contact, G),),
                circles=(Circle("ghost_ball", G, R),),
                measures=(Measure("ball", Quantity(2 * R, "ball_mm"), (O, G)),),
            ),
            Step(
                "base spot",
                "ghost_ball.base_spot",
                values,
                circles=(Circle("base_spot", (G[0], G[1], 0.0), BASE_SPOT_RADII * R),),
            ),
            Step(
                "aim line",
                "ghost_ball.aim_line",
                values,
                points=(Point("aim_point", G),),
                lines=(aim_line,),
                measures=(Measure("distance", Quantity(float(shot.distance_mm), "distance_mm"), (C, O)),),
            ),
            Step(
                "edge lines",
                "ghost_ball.edge_lines",
                values,
                lines=tuple(
                    Line("edge_line", at(shot, start, offset + edge), at(shot, end, offset + edge))
                    for edge in (-R, R)
                ),
            ),
        ),
        aim_direction=direction(C, G),
        aim_point_mm=G,
        cue_line=aim_line,
    )


def base_spot_turn_rad(frame: AimFrame, eye: Array) -> Array:
    """The sight line to (q, 0, 0) is cut at the height of the balls' centres; the cue ball is sent through there.

    nan for an eye that is not above the balls' centres.
    """
    x, y, z = eye[..., 0], eye[..., 1], eye[..., 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(z > frame.radius_mm, 1 - frame.radius_mm / z, np.nan)
    return np.arctan2(y * (1 - part), x + (frame.travel_mm - x) * part)


def centre_turn_rad(frame: AimFrame, eye: Array) -> Array:
    """The sight line through G is carried on to the cloth; the cue ball is sent over that spot.

    nan for an eye that is not above the balls' centres.
    """
    x, y, z = eye[..., 0], eye[..., 1], eye[..., 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(z > frame.radius_mm, z / (z - frame.radius_mm), np.nan)
    return np.arctan2(y * (1 - part), x + (frame.travel_mm - x) * part)


def edge_turn_rad(frame: AimFrame, eye: Array) -> Array:
    """The points where level sight lines touch cue ball and ghost ball on the side away from the object ball are
    joined, and the cue ball is sent parallel to the join; in a straight shot both sides are averaged.

    nan for an eye right above one of the two balls.
    """
    outer = np.where(np.abs(frame.sin_cut) < 1e-12, 0.0, -np.sign(frame.sin_cut))
    cue = _touch(frame, eye, np.zeros_like(frame.travel_mm), outer)
    ghost = _touch(frame, eye, frame.travel_mm, outer)
    return np.arctan2(ghost[1] - cue[1], ghost[0] - cue[0])


def _touch(frame: AimFrame, eye: Array, ball_x: Array, outer: Array) -> tuple[Array, Array]:
    """Where the level sight line touches a ball at (x, 0) on its outer side: 1 the left of the picture."""
    R = frame.radius_mm
    x, y = eye[..., 0] - ball_x, eye[..., 1]
    away = np.hypot(x, y)
    with np.errstate(divide="ignore", invalid="ignore"):
        nearer = R / away
        aside = outer * np.sqrt((1 - nearer) * (1 + nearer))
        ex, ey = x / away, y / away
    # as seen from the eye, left is the way to the eye turned a quarter clockwise
    return ball_x + R * (nearer * ex + aside * ey), R * (nearer * ey - aside * ex)


METHOD = Method(
    "ghost_ball",
    "The ghost ball can be aimed at for cuts below 90 degrees.",
    1.0,
    construct,
    {
        "base_spot": Reading(
            "The ghost ball's spot on the cloth is taken, as the eye sees it, for its centre.",
            lambda frame, eye, mark: base_spot_turn_rad(frame, eye),
            needs_eye=True,
        ),
        "centre": Reading(
            "The cloth seen behind the ghost ball's centre is taken for the spot that it stands on.",
            lambda frame, eye, mark: centre_turn_rad(frame, eye),
            needs_eye=True,
        ),
        "edge": Reading(
            "The seen outer edges of cue ball and ghost ball are joined; the aim runs parallel to the join.",
            lambda frame, eye, mark: edge_turn_rad(frame, eye),
            needs_eye=True,
        ),
    },
)
