"""The aiming methods. To add one: write its file here, a `Method` at its end, and add that value's line below.

Every sentence may use the shot's values: `cut` (angle), `side` and `aim_side` (names: left, right, straight;
`aim_side` is where the aim passes the object ball's centre), `distance`, `overlap`, `contact_offset`,
`aim_offset`, `ball` (diameter). Limits of every method: <method>.limit with `cut` and `limit` (angles), and
<method>.no_aim (frozen balls have no aim direction). `aimgeo.methods.cue_shift` adds a step to any method.
"""

from __future__ import annotations

from aimgeo.methods import ball_fractions, contact_points, doubled_offset, fixed_marks, ghost_ball
from aimgeo.methods.method import Method

METHODS: dict[str, Method] = {
    method.name: method
    for method in (
        ghost_ball.METHOD,
        contact_points.METHOD,
        doubled_offset.METHOD,
        ball_fractions.METHOD,
        fixed_marks.METHOD,
    )
}
"""Name to method, in the order in which they are told."""
