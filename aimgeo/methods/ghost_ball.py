"""Ghost ball: see the cue ball where it must be at impact, and send its centre there."""

from __future__ import annotations

from aimgeo.construction import Circle, Construction, Limit, Line, Measure, Point, Quantity, Step, position
from aimgeo.shot import Shot


def limit(shot: Shot) -> Limit | None:
    """None: the ghost ball works for every cut below 90 degrees."""
    return None


def construct(shot: Shot) -> Construction:
    """The construction for one shot (scalar fields)."""
    C, O, G, T = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm, shot.target_mm))
    contact = position(shot.contact_object_mm)
    R = float(shot.radius_mm)
    cut = Quantity(abs(float(shot.cut_rad)), "angle_rad")
    aim_line = Line("aim_line", C, G)
    return Construction(
        method="ghost_ball",
        steps=(
            Step(
                "target line",
                "ghost_ball.target_line",
                lines=(Line("target_line", O, T),),
                points=(Point("object_centre", O),),
                measures=(Measure("cut", cut),),
            ),
            Step("contact point", "ghost_ball.contact_point", points=(Point("contact_object", contact),)),
            Step("ghost ball", "ghost_ball.ghost_ball", circles=(Circle("ghost_ball", G, R),)),
            Step(
                "aim line",
                "ghost_ball.aim_line",
                points=(Point("aim_point", G),),
                lines=(aim_line,),
                measures=(Measure("distance", Quantity(float(shot.distance_mm), "distance_mm"), (C, O)),),
            ),
        ),
        aim_direction=(float(shot.aim_direction[0]), float(shot.aim_direction[1])),
        aim_point_mm=G,
        cue_line=aim_line,
    )
