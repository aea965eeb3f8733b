"""The small cue-ball shift, added to any method: the same aim seen along a parallel line a little beside it.

The cue is first laid from a point beside the cue ball's centre and then moved, parallel, into the centre. So the
eye may rest on a better mark of the object ball than the one on the aim line, or on the ball at all where the aim
line passes beside it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aimgeo.construct import Construction, Measure, Point, Quantity, Step, position
from aimgeo.fractions import TIP_PARTS, tip_shift_mm
from aimgeo.methods.figure import cue_point, on_front, parallel, shot_values, way_name
from aimgeo.shot import Shot

SHIFT_NAMES = {"none": 0, "1/16-outward": 1, "1/8-outward": 2, "1/16-inward": -1, "1/8-inward": -2}
"""The taught shifts by name, in sixteenths of the ball's diameter: outward is positive."""


def with_cue_shift(construction: Construction, shot: Shot, sixteenths: int) -> Construction:
    """The construction of a shot with one step more: the shift, in sixteenths of the ball, outward positive.

    The cue direction stays what it was. 0 changes nothing; ValueError for a shift that is not taught.

    >>> from aimgeo.methods import ghost_ball
    >>> from aimgeo.shot import place_shot
    >>> shot = place_shot([0, 0], [900, 0], 0.3, 500)
    >>> with_cue_shift(ghost_ball.construct(shot), shot, 1).steps[-1].sentence
    'cue_shift.outward'
    """
    if sixteenths not in SHIFT_NAMES.values():
        raise ValueError(f"a shift of {sixteenths} sixteenths is not taught; taught are {', '.join(SHIFT_NAMES)}")
    if sixteenths == 0:
        return construction
    d = float(np.asarray(shot.ball_diameter_mm))
    shift_mm = sixteenths * d / 16
    start = cue_point(shot, shift_mm)
    sighted_mm = float(shot.aim_offset_mm) - shift_mm
    is_on_ball = abs(sighted_mm) <= float(shot.radius_mm)
    size = Quantity(abs(shift_mm), "length_mm")
    step = Step(
        "parallel sight",
        f"cue_shift.{way_name(sixteenths)}",
        (
            *shot_values(shot),
            ("shift", size),
            ("shift_sixteenths", Quantity(abs(sixteenths), "count")),
            ("tip_part", Quantity(TIP_PARTS[abs(sixteenths)], "name")),
            ("tip_shift", Quantity(abs(tip_shift_mm(sixteenths)), "length_mm")),
        ),
        points=(
            Point("cue_mark", start),
            *((Point("sight_point", on_front(shot, sighted_mm)),) if is_on_ball else ()),
        ),
        lines=(parallel(shot, "sight_line", sighted_mm, start),),
        measures=(Measure("cue_shift", size, (start, position(shot.cue_ball_mm))),),
    )
    return replace(construction, steps=(*construction.steps, step))
