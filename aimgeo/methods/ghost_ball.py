"""Ghost ball: see the cue ball where it must be at impact, and send its centre there."""

from __future__ import annotations

from aimgeo.construct import Circle, Construction, Limit, Line, Measure, Point, Quantity, Step, position
from aimgeo.methods.figure import (
    at,
    contact_point_step,
    cue_level_mm,
    direction,
    reach_limit,
    reaches,
    refuse_beyond,
    shot_values,
    target_line_step,
)
from aimgeo.shot import Shot
from aimgeo.vectors import Array, BoolArray

REACH = "The ghost ball can be aimed at for cuts below 90 degrees."
BASE_SPOT_RADII = 0.15
"""Size at which the spot under the ghost ball is drawn, in ball radii: the true contact is a point."""


def is_usable(shot: Shot) -> BoolArray:
    """True for every cut below 90 degrees, (...)."""
    return reaches(shot, 1.0)


def limit(shot: Shot) -> Limit | None:
    """None below 90 degrees."""
    return reach_limit(shot, "ghost_ball", 1.0)


def aim_point_mm(shot: Shot) -> Array:
    """The ghost ball's centre, (..., 3)."""
    return shot.ghost_ball_mm


def construct(shot: Shot) -> Construction:
    """The construction for one shot (scalar fields). ValueError where `limit` gives a reason.

    The ghost ball first, then its base spot on the cloth; the aim line, then the two lines along which the cue
    ball's edges run.

    >>> from aimgeo.shot import place_shot
    >>> [step.name for step in construct(place_shot([0, 0], [900, 0], 0.3, 500)).steps]
    ['target line', 'contact point', 'ghost ball', 'base spot', 'aim line', 'edge lines']
    """
    refuse_beyond(limit, shot)
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
                measures=(Measure("ball", Quantity(2 * R, "length_mm"), (O, G)),),
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
