"""Contact points: join the two points that will touch, and lay the cue parallel to that line."""

from __future__ import annotations

from aimgeo.construct import Construction, Limit, Line, Point, Step, position
from aimgeo.methods.figure import (
    between_offsets,
    contact_point_step,
    direction,
    parallel,
    reach_limit,
    reaches,
    refuse_beyond,
    shot_values,
    target_line_step,
)
from aimgeo.shot import Shot
from aimgeo.vectors import Array, BoolArray

REACH = "Contact points can be joined for cuts below 90 degrees."


def is_usable(shot: Shot) -> BoolArray:
    """True for every cut below 90 degrees, (...)."""
    return reaches(shot, 1.0)


def limit(shot: Shot) -> Limit | None:
    """None below 90 degrees."""
    return reach_limit(shot, "contact_points", 1.0)


def aim_point_mm(shot: Shot) -> Array:
    """The ghost ball's centre, (..., 3)."""
    return shot.ghost_ball_mm


def construct(shot: Shot) -> Construction:
    """The construction for one shot (scalar fields). ValueError where `limit` gives a reason.

    The cue ball's contact point is the object ball's, mirrored: on the target line's parallel through the cue
    ball's centre, on the other side. Both balls move by the same vector when the line of their contact points
    is moved into the cue ball's centre, so that parallel is the aim line.

    >>> from aimgeo.shot import place_shot
    >>> [step.name for step in construct(place_shot([0, 0], [900, 0], 0.3, 500)).steps]
    ['target line', 'contact point', 'cue-ball contact point', 'contact-point line', 'aim line']
    """
    refuse_beyond(limit, shot)
    C = position(shot.cue_ball_mm)
    on_object, on_cue = position(shot.contact_object_mm), position(shot.contact_cue_mm)
    near, far = float(shot.contact_offset_mm), float(shot.aim_offset_mm)
    aim_line = parallel(shot, "aim_line", far, C)
    values = shot_values(shot)
    return Construction(
        method="contact_points",
        steps=(
            target_line_step(shot, "contact_points"),
            contact_point_step(shot, "contact_points"),
            Step(
                "cue-ball contact point",
                "contact_points.contact_cue",
                values,
                points=(Point("cue_centre", C), Point("contact_cue", on_cue)),
                lines=(Line("target_line_parallel", C, on_cue),),
            ),
            Step(
                "contact-point line",
                "contact_points.contact_line",
                values,
                lines=(parallel(shot, "contact_line", near, on_cue),),
                measures=(between_offsets(shot, "contact_offset", 0.0, near),),
            ),
            Step(
                "aim line",
                "contact_points.aim_line",
                values,
                points=(Point("aim_point", position(shot.ghost_ball_mm)),),
                lines=(aim_line,),
                measures=(between_offsets(shot, "cue_gap", near, far),),
            ),
        ),
        aim_direction=direction(on_cue, on_object),
        aim_point_mm=position(shot.ghost_ball_mm),
        cue_line=aim_line,
    )
