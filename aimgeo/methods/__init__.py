"""The aiming methods. To add one: write its module here and add its line to METHODS.

Sentence keys, in the order of their steps. Every sentence may use the shot's values: `cut` (angle), `side` and
`aim_side` (names: left, right, straight; `aim_side` is where the aim passes the object ball's centre),
`distance`, `overlap`, `contact_offset`, `aim_offset`, `ball` (diameter). Measures are named in brackets.

ghost_ball
    ghost_ball.target_line [cut], .contact_point, .ghost_ball [ball], .base_spot, .aim_line [distance],
    .edge_lines
contact_points
    contact_points.target_line [cut], .contact_point, .contact_cue, .contact_line [contact_offset],
    .aim_line [cue_gap]
doubled_offset
    doubled_offset.target_line [cut], .contact_point, .object_ball_line, .contact_line [contact_offset],
    .aim_line [aim_offset], .halfway [second_offset]
ball_fractions
    ball_fractions.target_line [cut], .marks, one of .centre .halfway .edge,
    one of .shift_outward .shift_inward .shift_none [cue_shift] (left out when nothing is shifted),
    one of .left_over_outward .left_over_inward [left_over, lost] (left out when nothing is left over),
    .aim_line or, when nothing is shifted, .aim_plain [aim_offset],
    .other_way (when a second combination gives the cut too).
    Own values, all but the first step: `target` (name: centre, halfway, edge), `shift_way` (name: outward,
    inward, none), `shift_sixteenths` (count of sixteenths of a ball), `shift`, `tip_shift` (what a 13 mm tip
    shows), `tip_lost` (cut that the tip's measure loses), `left_over`, `given_cut`, `lost` (cut that is lost
    when the left-over is ignored)
fixed_marks
    fixed_marks.target_line [cut], .object_ball_line, .marks, .known_mark or .between_marks [aim_offset],
    .aim_line.
    Own values, all but the first step: `mark` (count: eighths of the radius from the centre), `mark_part`
    (the same as a ratio of the radius), `past_mark` (how far this cut's mark lies past that one), `past_way`
    (name: outward, inward)
the small cue-ball shift, a step that aimgeo.methods.cue_shift adds to any method
    cue_shift.outward, .inward [cue_shift], with `shift`, `shift_sixteenths` and `tip_shift` as above
limits, of every method
    <method>.limit with `cut` and `limit` (angles), and <method>.no_aim (frozen balls have no aim direction)
"""

from __future__ import annotations

from types import ModuleType

from aimgeo.methods import ball_fractions, contact_points, doubled_offset, fixed_marks, ghost_ball

METHODS: dict[str, ModuleType] = {
    "ghost_ball": ghost_ball,
    "contact_points": contact_points,
    "doubled_offset": doubled_offset,
    "ball_fractions": ball_fractions,
    "fixed_marks": fixed_marks,
}
"""Name to module. Each has, for one shot, `limit(shot) -> Limit | None` and `construct(shot) -> Construction`;
for many, `is_usable(shot) -> BoolArray` and `aim_point_mm(shot) -> Array`; and `REACH`, which tells its limit."""
