"""Doubled offset: aim twice as far from the object ball's centre as its contact point lies.

Sentence keys in the order of their steps, measures in brackets:
doubled_offset.target_line [cut], .contact_point, .object_ball_line, .contact_line [contact_offset],
.aim_line [aim_offset], .halfway [second_offset]
"""

from __future__ import annotations

import numpy as np

from aimgeo.construct import Construction, Point, Position, Step, position
from aimgeo.eye import doubled_offset as eye_reading
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

SIN_LIMIT = 0.5
"""At 30 degrees the aim line touches the object ball's edge; beyond, there is no ball to aim at."""


def construct(shot: Shot) -> Construction:
    """The construction for one shot (scalar fields) within reach.

    Three parallel lines, R sin(cut) apart. The last step says the same the other way round: move the aim until
    the contact point lies halfway between it and the centre. A straight shot, which has nothing to halve, goes
    without it.

    >>> from aimgeo.shot import place_shot
    >>> [step.name for step in construct(place_shot([0, 0], [900, 0], 0.3, 500)).steps]
    ['target line', 'contact point', 'object-ball line', 'contact-point line', 'aim line', 'halfway']
    """
    C, O, contact = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.contact_object_mm))
    near, far = float(shot.contact_offset_mm), float(shot.aim_offset_mm)
    aim_point = _doubled(O, contact)
    aim_line = parallel(shot, "aim_line", far, C)
    values, second = shot_values(shot), between_offsets(shot, "second_offset", near, far)
    return Construction(
        method="doubled_offset",
        steps=(
            target_line_step(shot, "doubled_offset"),
            contact_point_step(shot, "doubled_offset"),
            Step(
                "object-ball line",
                "doubled_offset.object_ball_line",
                values,
                lines=(parallel(shot, "object_ball_line", 0.0),),
            ),
            Step(
                "contact-point line",
                "doubled_offset.contact_line",
                values,
                points=(Point("contact_cue", position(shot.contact_cue_mm)),),
                lines=(parallel(shot, "contact_line", near, position(shot.contact_cue_mm)),),
                measures=(between_offsets(shot, "contact_offset", 0.0, near),),
            ),
            Step(
                "aim line",
                "doubled_offset.aim_line",
                values,
                points=(Point("aim_point", aim_point),),
                lines=(aim_line,),
                measures=(between_offsets(shot, "aim_offset", 0.0, far),),
            ),
            *(
                (Step("halfway", "doubled_offset.halfway", values, measures=(second,)),)
                if second.between_mm is not None
                else ()
            ),
        ),
        aim_direction=direction(C, aim_point),
        aim_point_mm=aim_point,
        cue_line=aim_line,
    )


def _doubled(centre: Position, contact: Position) -> Position:
    return position(2 * np.asarray(contact) - np.asarray(centre))


METHOD = Method(
    "doubled_offset",
    "Doubling the offset works up to 30 degrees, where the aim leaves the object ball.",
    SIN_LIMIT,
    construct,
    {
        "picture": Reading(
            "The contact point's distance from the object ball's centre is doubled as seen, not as it is.",
            lambda frame, eye, mark: eye_reading(frame, eye).turn_rad,
            uses_eye=True,
        ),
    },
)
