"""Ball fractions: sight at the object ball's centre, halfway or edge, and shift the cue a little, parallel.

Sentence keys in the order of their steps, measures in brackets:
ball_fractions.target_line [cut], .marks, one of .centre .halfway .edge,
one of .shift_outward .shift_inward .shift_none [cue_shift] (left out when nothing is shifted),
one of .left_over_outward .left_over_inward [left_over, lost] (left out when nothing is left over),
.aim_line or, when nothing is shifted, .aim_plain [aim_offset],
.other_way (when a second combination gives the cut too).
Own values, all but the first step: `target` (name: centre, halfway, edge), `shift_way` (name: outward,
inward, none), `shift_sixteenths` (count of sixteenths of a ball), `tip_part` (name: the part of the tip's width
that shows it), `shift`, `tip_shift` (what a 13 mm tip
shows), `tip_lost` (cut that the tip's measure loses), `left_over`, `given_cut`, `lost` (cut that is lost
when the left-over is ignored)
"""

from __future__ import annotations

import numpy as np

from aimgeo.aim_frame import AimFrame
from aimgeo.construct import Construction, Line, Measure, Point, Position, Quantity, Step, position
from aimgeo.fractions import (
    MAX_SIXTEENTHS,
    TARGETS,
    TIP_PARTS,
    Combination,
    combinations,
    exact_shift_mm,
    tip_lost_rad,
    tip_shift_mm,
)
from aimgeo.methods.figure import (
    Values,
    between_offsets,
    cue_point,
    direction,
    on_front,
    parallel,
    shot_values,
    target_line_step,
    way_name,
)
from aimgeo.methods.method import Method, Reading
from aimgeo.shot import Shot
from aimgeo.vectors import Array

SIN_LIMIT = MAX_SIXTEENTHS / 16
SHOWN_LEFT_OVER_MM = 0.05
"""A left-over below this is not given a step: it would be shown as 0.0 mm."""


def construct(shot: Shot) -> Construction:
    """The construction for one shot (scalar fields) within reach.

    The marks, the preferred one, the taught shift at the cue ball, what is left over as a last small shift, and
    the sighting line moved into the cue ball's centre. The last shift makes the direction exact for any cut;
    without it the method gives the combination's own cut, and the values say how much that loses. A cut that
    two combinations give shows the other one too.

    >>> from aimgeo.shot import place_shot
    >>> [step.name for step in construct(place_shot([0, 0], [900, 0], 0.3, 500)).steps]
    ['target line', 'marks', 'target', 'cue-ball shift', 'what is left over', 'aim line']
    """
    d = float(np.asarray(shot.ball_diameter_mm))
    best, *others = combinations(float(shot.cut_rad), d)
    has_left_over = abs(best.left_over_mm) >= SHOWN_LEFT_OVER_MM
    is_plain = best.shift_sixteenths == 0 and not has_left_over
    aim_offset, mark = float(shot.aim_offset_mm), on_front(shot, TARGETS[best.target] * d / 16)
    sight_start = cue_point(shot, float(exact_shift_mm(best.target, shot.cut_rad, d)))
    G = position(shot.ghost_ball_mm)
    values = shot_values(shot) + _combination_values(best, d)
    aim_line = parallel(shot, "aim_line", aim_offset, position(shot.cue_ball_mm))
    return Construction(
        method="ball_fractions",
        steps=(
            target_line_step(shot, "ball_fractions"),
            _marks_step(shot, values, d),
            Step("target", f"ball_fractions.{best.target}", values, points=(Point("sight_point", mark),)),
            *(() if is_plain else (_shift_step(shot, best, values, d, not has_left_over),)),
            *((_left_over_step(shot, best, values, d, sight_start),) if has_left_over else ()),
            Step(
                "aim line",
                "ball_fractions.aim_plain" if is_plain else "ball_fractions.aim_line",
                values,
                points=(Point("aim_point", G),),
                lines=(parallel(shot, "object_ball_line", 0.0), aim_line),
                measures=(between_offsets(shot, "aim_offset", 0.0, aim_offset),),
            ),
            *(_other_step(shot, other, d) for other in others if not has_left_over),
        ),
        aim_direction=direction(sight_start, mark),
        aim_point_mm=G,
        cue_line=aim_line,
    )


def _marks_step(shot: Shot, values: Values, d: float) -> Step:
    offsets = {role: TARGETS[target] * d / 16 for role, target in _MARK_ROLES.items()}
    return Step(
        "marks",
        "ball_fractions.marks",
        values,
        points=tuple(Point(role, on_front(shot, offset)) for role, offset in offsets.items()),
    )


def _shift_step(shot: Shot, best: Combination, values: Values, d: float, is_exact: bool) -> Step:
    cue_mark = cue_point(shot, best.shift_sixteenths * d / 16)
    gap = Quantity(abs(best.shift_sixteenths) * d / 16, "length_mm")
    shown = (cue_mark, position(shot.cue_ball_mm)) if best.shift_sixteenths else None
    return Step(
        "cue-ball shift",
        f"ball_fractions.shift_{way_name(best.shift_sixteenths)}",
        values,
        points=(Point("cue_mark", cue_mark),),
        lines=(_sight_line(shot, best, d),) if is_exact else (),
        measures=(Measure("cue_shift", gap, shown),),
    )


def _left_over_step(shot: Shot, best: Combination, values: Values, d: float, sight_start: Position) -> Step:
    taught = cue_point(shot, best.shift_sixteenths * d / 16)
    left_over = Quantity(abs(best.left_over_mm), "length_mm")
    return Step(
        "what is left over",
        f"ball_fractions.left_over_{way_name(best.left_over_mm)}",
        values,
        points=(Point("sight_start", sight_start),),
        lines=(_sight_line(shot, best, d),),
        measures=(
            Measure("left_over", left_over, (taught, sight_start)),
            Measure("lost", Quantity(abs(best.lost_rad), "angle_rad")),
        ),
    )


def _other_step(shot: Shot, other: Combination, d: float) -> Step:
    return Step(
        "other way",
        "ball_fractions.other_way",
        shot_values(shot) + _combination_values(other, d),
        points=(Point("sight_point", on_front(shot, TARGETS[other.target] * d / 16)),),
        lines=(_sight_line(shot, other, d),),
    )


def _sight_line(shot: Shot, combination: Combination, d: float) -> Line:
    shift = float(exact_shift_mm(combination.target, shot.cut_rad, d))
    return parallel(shot, "sight_line", TARGETS[combination.target] * d / 16, cue_point(shot, shift))


def _combination_values(combination: Combination, d: float) -> Values:
    k = combination.shift_sixteenths
    return (
        ("target", Quantity(combination.target, "name")),
        ("shift_way", Quantity(way_name(k), "name")),
        ("shift_sixteenths", Quantity(abs(k), "count")),
        ("tip_part", Quantity(TIP_PARTS[abs(k)], "name")),
        ("shift", Quantity(abs(k) * d / 16, "length_mm")),
        ("tip_shift", Quantity(abs(tip_shift_mm(k)), "length_mm")),
        ("tip_lost", Quantity(abs(tip_lost_rad(combination.target, k, d)), "angle_rad")),
        ("left_over", Quantity(abs(combination.left_over_mm), "length_mm")),
        ("given_cut", Quantity(combination.cut_rad, "angle_rad")),
        ("lost", Quantity(abs(combination.lost_rad), "angle_rad")),
    )


_MARK_ROLES = {"mark_centre": "centre", "mark_half": "halfway", "mark_edge": "edge"}


def line_of_centres_turn_rad(frame: AimFrame) -> Array:
    """The cue ball is sent at the point d sin(cut) beside O, square to the line C O, on the side of the aim."""
    aside = -frame.diameter_mm * frame.sin_cut
    return np.arctan2(frame.object_y_mm, frame.object_x_mm) + np.arctan2(aside, frame.distance_mm)


def visible_disc_turn_rad(frame: AimFrame, eye: Array) -> Array:
    """The sight line at 2 sin(cut) of the visible half-width beside the object ball's middle; the cue ball is sent
    through its point nearest to O. Seen in the level plane of the centres.

    nan for an eye above the object ball.
    """
    x, y = frame.object_x_mm - eye[..., 0], frame.object_y_mm - eye[..., 1]
    away, R = np.hypot(x, y), frame.radius_mm
    with np.errstate(invalid="ignore", divide="ignore"):
        half_width = R / np.sqrt((away - R) * (away + R))
        beside = -np.arctan(2 * frame.sin_cut * half_width)
    sight, reach = np.arctan2(y, x) + beside, away * np.cos(beside)
    return np.arctan2(eye[..., 1] + reach * np.sin(sight), eye[..., 0] + reach * np.cos(sight))


METHOD = Method(
    "ball_fractions",
    "Ball fractions reach sin(cut) = 10/16 (38.7 degrees): the edge with the largest shift.",
    SIN_LIMIT,
    construct,
    {
        "line_of_centres": Reading(
            "The aim's offset is taken square to the line through both centres instead of square to the aim line.",
            lambda frame, eye, mark: line_of_centres_turn_rad(frame),
        ),
        "visible_disc": Reading(
            "The overlap is judged on the object ball's visible disc, and the aim goes through the "
            "point of that sight line abreast of the object ball's centre.",
            lambda frame, eye, mark: visible_disc_turn_rad(frame, eye),
            needs_eye=True,
        ),
    },
    counts_eighths=True,
)
