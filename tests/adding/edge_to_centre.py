"""A method of a test: a line from the object ball's edge shows where the ghost ball's centre lies."""

from __future__ import annotations

from aimgeo.construct import Construction, Point, Step, position
from aimgeo.methods.figure import direction, parallel, shot_values, target_line_step
from aimgeo.methods.method import Method, Reading
from aimgeo.shot import Shot


def construct(shot: Shot) -> Construction:
    """Two steps: the target line, then the aim with a line of the method's own."""
    C, G, offset = position(shot.cue_ball_mm), position(shot.ghost_ball_mm), float(shot.aim_offset_mm)
    aim = parallel(shot, "aim_line", offset, C)
    return Construction(
        method="edge_to_centre",
        steps=(
            target_line_step(shot, "edge_to_centre"),
            Step(
                "aim line",
                "edge_to_centre.aim_line",
                shot_values(shot),
                points=(Point("own_point", G),),
                lines=(parallel(shot, "own_line", offset / 2), aim),
            ),
        ),
        aim_direction=direction(C, G),
        aim_point_mm=G,
        cue_line=aim,
    )


METHOD = Method(
    "edge_to_centre",
    "The edge can be seen for cuts below 90 degrees.",
    1.0,
    construct,
    {
        "straight_on": Reading(
            "The cue is pointed wide of the true aim.", lambda frame, eye, mark: 0.01 + 0 * frame.cut_rad
        )
    },
    roles={"own_line": "contact_line", "own_point": "contact_object"},
)
