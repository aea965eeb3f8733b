"""Contact points: join the two points that will touch, and lay the cue parallel to that line.

Sentence keys in the order of their steps, measures in brackets:
contact_points.target_line [cut], .contact_point, .contact_cue, .contact_line [contact_offset],
.aim_line [cue_gap]
"""

from __future__ import annotations

import numpy as np

from aimgeo.aim_frame import AimFrame
from aimgeo.construct import Construction, Line, Point, Step, position
from aimgeo.methods.figure import (
    between_offsets,
    contact_point_step,
    direction,
    parallel,
    shot_values,
    target_line_step,
)
from aimgeo.methods.method import Method, Reading
from aimgeo.shot import Shot
from aimgeo.vectors import Array


def construct(shot: Shot) -> Construction:
    """The construction for one shot (scalar fields) within reach.

    The cue ball's contact point is the object ball's, mirrored: on the target line's parallel through the cue
    ball's centre, on the other side. Both balls move by the same vector when the line of their contact points
    is moved into the cue ball's centre, so that parallel is the aim line.

    >>> from aimgeo.shot import place_shot
    >>> [step.name for step in construct(place_shot([0, 0], [900, 0], 0.3, 500)).steps]
    ['target line', 'contact point', 'cue-ball contact point', 'contact-point line', 'aim line']
    """
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


def cue_at_contact_turn_rad(frame: AimFrame) -> Array:
    """The cue ball's centre is sent at the object ball's contact point, G + R u."""
    R = frame.radius_mm
    return np.arctan2(R * frame.sin_cut, frame.travel_mm + R * frame.cos_cut)


METHOD = Method(
    "contact_points",
    "Contact points can be joined for cuts below 90 degrees.",
    1.0,
    construct,
    {
        "cue_at_contact": Reading(
            "The cue's own line, through the cue ball's centre, is pointed at the contact point "
            "instead of running parallel to the line through both contact points.",
            lambda frame, eye, mark: cue_at_contact_turn_rad(frame),
        ),
    },
)
