"""The words that the pictures need: keys to be worded in a lesson's language, each with what it should say.

Titles come as `BriefStep.title` and may hold line breaks, short, best of at most three lines of 14
letters; measures as `BriefStep.measures`; everything else in the picture as `Brief.labels`. A label whose key is
missing is not drawn.
"""

from __future__ import annotations

from aimgeo.methods import METHODS

SENTENCES: dict[str, str] = {
    "build_up.where": "title of the opening: where the shot is",
    "build_up.roll": "title of the roll: cue ball to the ghost, object ball on its line; values: cut, side",
    "table.where": "title of the table clip: where the shot is; values: cut, side, distance, target",
    "table.object_ball": "where the object ball lies, from the noses of two rails; values: end_rail, flank_rail",
    "table.cue_ball": "where the cue ball lies; values: distance, end_rail, flank_rail",
    "players_eye.view": "player's eye: where it is; values: eye_back, eye_height, eye_offset, eye_side",
    "split.view": "split screen: two views of a shot; values: left, right (what tells the halves apart)",
    "split.draw": "split screen of two methods: both constructions grow at once; values: left, right",
    "split.compare": "split screen: where both eyes see contact point and aim line; values: left, right",
    "alignments.eye": "one of the eyes; values: eye, eye_back, eye_height, eye_offset, eye_side",
    "alignments.together": "all eyes side by side",
    "moving_eye.start": "the true line stays where it is while the eye moves",
    "moving_eye.stop": "how far off this eye judges the line; values: judged_off, judged_side",
    "moving_eye.true": "this eye judges the line true",
    "over_the_top.above": "the shot from above",
    "over_the_top.down": "on the way down to the player's eye; values: eye_back, eye_height",
    "over_the_top.eye": "the same lines as the eye sees them",
    "quiz.question": "a question; nothing that tells its answer; values: number",
    "quiz.answer": "its answer; values: cut, side, overlap, aim_offset",
    "straight_in.set_up": "a long straight shot, set up exactly",
    "straight_in.look": "one look; nothing that tells its offset; values: letter",
    "straight_in.note": "time to note which looked straight",
    "straight_in.told": "where the eye was each time",
    "straight_in.table": "a screen is not depth: the table has the last word",
    "aim_error.exact": "the same cut, near and far, aimed exactly",
    "aim_error.window": "the directions in which the object ball passes the pocket's points",
    "aim_error.fan": "the aim off in steps; values: step",
    "aim_error.limit": "how much error still goes in; values: step",
    "throw.without": "no friction between the balls",
    "throw.speed": "throw at one speed, with its band; values: speed, thrown, low, high",
    "throw.shift": "the parallel shift that makes up for throw; values: shift, speed",
    "methods_summary.shot": "one shot, all the methods that reach it",
    **{
        f"methods_summary.{method}": "its worst miss; values: reading, miss, result, from_eye, from_distance"
        for method in METHODS
    },
    "methods_summary.missed": "its aim can pass the object ball; values: method, reading, from_eye, from_distance",
    "methods_summary.ranked": "the methods ranked by their worst miss",
    "title.card": "the lesson's title",
    "section.card": "the section's title",
    "summary.card": "the summary table's title",
}
"""Sentence keys that the kinds of clip add to those of the methods' steps."""

MEASURES: dict[str, str] = {
    "cut_left": "cut, to the left",
    "cut_right": "cut, to the right",
    "from_foot": "a ball from the nose of the foot rail: in diamonds of the long rail, or as a length",
    "from_head": "the same from the head rail",
    "from_left": "a ball from the nose of the left long rail: in diamonds of the short rail, or as a length",
    "from_right": "the same from the right long rail",
}
"""Names of measures that the kinds of clip add to those of the methods' steps."""

LABELS: dict[str, str] = {
    "units": "what rulers count: mm, in or ball",
    "decimal": "the mark between units and tenths in numbers that the drawing itself finds",
    "cue_ball": "Cue ball",
    "object_ball": "Object ball",
    "ghost_ball": "Ghost ball",
    "base_spot": "Base spot: where the ghost ball touches the cloth",
    "aim_line": "Aim line",
    "target_line": "Target line",
    "contact_line": "Contact-point line",
    "object_ball_line": "Object-ball line",
    "line_of_centres": "Line of centres",
    "tangent_line": "Tangent line",
    "edge_line": "Edge line",
    "sight_line": "Sight line",
    "cue_line": "Cue line",
    "cue_ball_after": "Path of a stunned cue ball after the hit, along the tangent line",
    "contact_object": "Contact point (on the object ball)",
    "contact_cue": "Contact point (on the cue ball)",
    "aim_point": "Aim point",
    "target": "finished phrase: Target: foot-left pocket",
    "head": "head",
    "foot": "foot",
    "heading": "finished phrase: Cut 30.0° left, 640 mm apart",
    "between_centres": "finished phrase: 1400 mm between centres",
    "slowed": "Slowed down (a plate while the balls roll slower than in life)",
    "slowed_cut": "Slowed down, the way between left out (the same where the stage is broken)",
    "viewing_distance": "player's eye: from how many picture widths ({widths}) the perspective is true",
    "no_depth": "straight-in check: a screen shows no depth",
    "off_centre": "player's eye: what the target pane's ruler counts",
    "title": "cards: the title, may hold line breaks (two lines at most)",
    "over": "cards: the small line over the title (Part 3); may be missing",
    "under": "cards: one sentence under the title; may be missing",
}
"""Label keys. The points, lines and circles of a method are labelled by their roles in the same way."""
