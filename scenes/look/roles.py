"""How the roles of a construction are drawn: which line style, which mark, which bar, and what needs no name."""

from __future__ import annotations

from aimgeo.methods import METHODS

OWN = "own_"
"""So begin the roles and measures of a method of a lesson's own."""
LINE_STYLE = {
    "target_line_back": "target_line",
    "target_line_parallel": "target_line",
    "true_aim": "edge_line",
    "given_path": "error_line",
}
"""Roles of lines drawn in another role's style; the rest are styles by their own name."""
MARK_KIND = {
    "object_centre": "object_centre",
    "cue_centre": "cue_centre",
    "contact_object": "contact",
    "contact_cue": "contact",
    "aim_point": "aim",
    "fixed_mark": "notch",
}
"""Roles of points to kinds of mark; the rest are small light rings."""
for _method in METHODS.values():  # a method says which known role its own ones are drawn like
    for _role, _like in _method.roles.items():
        _styles = MARK_KIND if _like in MARK_KIND else LINE_STYLE
        _styles[_role] = _styles.get(_like, _like)
UNLABELLED = frozenset(
    {"target_line_back", "target_line_parallel", "object_centre", "cue_centre", "ghost_centre", "mark_centre"}
)
"""What explains itself, or stands where its neighbour's label already is."""
BARS = frozenset({"contact_offset", "cue_gap", "aim_offset", "second_offset", "cue_shift"})
"""Measures that are shown as a bar between their two points."""


def line_style(role: str) -> str:
    """The style of a role's lines."""
    return LINE_STYLE.get(role, "contact_line" if role.startswith(OWN) else role)


def is_bar(measure: str) -> bool:
    """True for a measure that is shown as a bar between its two points."""
    return measure in BARS or measure.startswith(OWN)


_OF_KINDS = [
    "band",
    "caption",
    "method",
    "mouth",
    "heading",
    "closing",
    "window",
    "place_cue_ball",
    "place_object_ball",
    "circle",
    "mark",
    "finger",
    "double",
    "left.mark",
    "right.mark",
    "right_finger",
    "left_finger",
    "stays",
    "leads",
    "jumps",
    "stays_mark",
    "leading",
    "each_eye",
    "leans",
    "both",
    "told",
    "no_depth",
    "near",
    "far",
    "measure",
    "fan",
    "ends_in",
    "ends_out",
    "path_in",
    "window_edge",
    "sight",
    "head.aim",
    "judged_line",
    "left",
    "right",
    "aim_left",
    "aim_right",
    "contact_left",
    "contact_right",
    "friction_band",
    "aim_line_shifted",
    "thrown_line",
    "aim_drop",
    "contact_drop",
    "object_ball.way.0",
    "object_ball.way.1",
    "cue_ball.way.0",
    "cue_ball.way.1",
]
"""Parts of the pictures of single kinds: roles, ids, and what begins with its clause."""
NAMED = frozenset(
    {"pocket", "cue", "between", "sweep", "cut", "halo", "ruler", "error_line", "tip_key", *BARS, *_OF_KINDS}
)
"""What a sentence may name beside what has a label: see `scenes.board.pointing`."""
