"""Each aiming method taken literally: the aim that it gives to a player who does just what its words say.

Names and exact definitions are in docs/geometry.md. Turns of the aim in radians, left positive, (N,).
"""

from __future__ import annotations

import numpy as np

from aimgeo.aim_frame import AimFrame
from aimgeo.eye import doubled_offset
from aimgeo.judging import Outcome, outcome
from aimgeo.pocket import Window
from aimgeo.side import side_of
from aimgeo.vectors import Array

READINGS: dict[str, dict[str, str]] = {
    "ghost_ball": {
        "base_spot": "The ghost ball's spot on the cloth is taken, as the eye sees it, for its centre.",
        "centre": "The cloth seen behind the ghost ball's centre is taken for the spot that it stands on.",
        "edge": "The seen outer edges of cue ball and ghost ball are joined; the aim runs parallel to the join.",
    },
    "contact_points": {
        "cue_at_contact": "The cue's own line, through the cue ball's centre, is pointed at the contact point "
        "instead of running parallel to the line through both contact points.",
    },
    "doubled_offset": {
        "picture": "The contact point's distance from the object ball's centre is doubled as seen, not as it is.",
    },
    "ball_fractions": {
        "line_of_centres": "The aim's offset is taken square to the line through both centres instead of square "
        "to the aim line.",
        "visible_disc": "The overlap is judged on the object ball's visible disc, and the aim goes through the "
        "point of that sight line abreast of the object ball's centre.",
    },
    "fixed_marks": {
        "memorised_mark": "The mark memorised for one cut is used as it is, so the ball is cut by that much.",
    },
}
"""Method to name to the sentence that says what the player does."""
NEED_AN_EYE = frozenset({"base_spot", "centre", "edge", "visible_disc"})
"""The others need none; `picture` without an eye looks from the cue ball's centre."""


def reading_turns(frame: AimFrame, eye: Array | None, mark_cut_rad: Array) -> dict[str, dict[str, Array]]:
    """Method to name to the turn of the aim; without an eye the readings that need none.

    mark_cut: the unsigned cut whose mark is used, (N,).
    """
    watching = eye if eye is not None else _cue_centre(frame)
    made: dict[str, dict[str, Array]] = {method: {} for method in READINGS}
    if eye is not None:
        made["ghost_ball"] = {
            "base_spot": base_spot_turn_rad(frame, eye),
            "centre": centre_turn_rad(frame, eye),
            "edge": edge_turn_rad(frame, eye),
        }
    made["contact_points"]["cue_at_contact"] = cue_at_contact_turn_rad(frame)
    made["doubled_offset"]["picture"] = doubled_offset(frame, watching).turn_rad
    made["ball_fractions"]["line_of_centres"] = line_of_centres_turn_rad(frame)
    if eye is not None:
        made["ball_fractions"]["visible_disc"] = visible_disc_turn_rad(frame, eye)
    made["fixed_marks"]["memorised_mark"] = memorised_mark_turn_rad(frame, mark_cut_rad)
    return made


def judged_readings(
    frame: AimFrame, eye: Array | None, mark_cut_rad: Array | None = None, window: Window | None = None
) -> dict[str, dict[str, Outcome]]:
    """Method to name to what comes of that reading, (N,) each; without an eye the readings that need none.

    frame: the shots (N,); eye (N, 3): in the aim frame; mark_cut (N,): the unsigned cut whose mark is used, the
    shot's own when it is left out. `Outcome.has_aim` tells an eye that gives no such aim from an aim that passes
    the ball (`hit`).
    """
    mark = np.abs(frame.cut_rad) if mark_cut_rad is None else mark_cut_rad
    turns = reading_turns(frame, eye, mark)
    found = outcome(frame, np.stack([turn for named in turns.values() for turn in named.values()]), window=window)
    each = (found.row(k) for k in range(len(found.hit)))
    return {method: {name: next(each) for name in named} for method, named in turns.items()}


def _cue_centre(frame: AimFrame) -> Array:
    zero = np.zeros_like(frame.cut_rad)
    return np.stack([zero, zero, frame.radius_mm], axis=-1)


def base_spot_turn_rad(frame: AimFrame, eye: Array) -> Array:
    """The sight line to (q, 0, 0) is cut at the height of the balls' centres; the cue ball is sent through there.

    nan for an eye that is not above the balls' centres.
    """
    x, y, z = eye[..., 0], eye[..., 1], eye[..., 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(z > frame.radius_mm, 1 - frame.radius_mm / z, np.nan)
    return np.arctan2(y * (1 - part), x + (frame.travel_mm - x) * part)


def centre_turn_rad(frame: AimFrame, eye: Array) -> Array:
    """The sight line through G is carried on to the cloth; the cue ball is sent over that spot.

    nan for an eye that is not above the balls' centres.
    """
    x, y, z = eye[..., 0], eye[..., 1], eye[..., 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(z > frame.radius_mm, z / (z - frame.radius_mm), np.nan)
    return np.arctan2(y * (1 - part), x + (frame.travel_mm - x) * part)


def edge_turn_rad(frame: AimFrame, eye: Array) -> Array:
    """The points where level sight lines touch cue ball and ghost ball on the side away from the object ball are
    joined, and the cue ball is sent parallel to the join; in a straight shot both sides are averaged.

    nan for an eye right above one of the two balls.
    """
    outer = np.where(np.abs(frame.sin_cut) < 1e-12, 0.0, -np.sign(frame.sin_cut))
    cue = _touch(frame, eye, np.zeros_like(frame.travel_mm), outer)
    ghost = _touch(frame, eye, frame.travel_mm, outer)
    return np.arctan2(ghost[1] - cue[1], ghost[0] - cue[0])


def _touch(frame: AimFrame, eye: Array, ball_x: Array, outer: Array) -> tuple[Array, Array]:
    """Where the level sight line touches a ball at (x, 0) on its outer side: 1 the left of the picture."""
    R = frame.radius_mm
    x, y = eye[..., 0] - ball_x, eye[..., 1]
    away = np.hypot(x, y)
    with np.errstate(divide="ignore", invalid="ignore"):
        nearer = R / away
        aside = outer * np.sqrt((1 - nearer) * (1 + nearer))
        ex, ey = x / away, y / away
    # as seen from the eye, left is the way to the eye turned a quarter clockwise
    return ball_x + R * (nearer * ex + aside * ey), R * (nearer * ey - aside * ex)


def cue_at_contact_turn_rad(frame: AimFrame) -> Array:
    """The cue ball's centre is sent at the object ball's contact point, G + R u."""
    R = frame.radius_mm
    return np.arctan2(R * frame.sin_cut, frame.travel_mm + R * frame.cos_cut)


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


def memorised_mark_turn_rad(frame: AimFrame, mark_cut_rad: Array) -> Array:
    """The aim passes the object ball's centre at 2 R sin(the mark's cut), on the side of this shot's aim.

    nan for a straight shot with another cut's mark, which has no side, and where the distance is too short.
    """
    side = side_of(frame.sin_cut)
    passing = side * frame.diameter_mm * np.sin(mark_cut_rad)
    turn = np.arctan2(frame.object_y_mm, frame.object_x_mm) - np.arctan2(
        passing, np.sqrt((frame.distance_mm - passing) * (frame.distance_mm + passing))
    )
    return np.where((side == 0) & (np.sin(mark_cut_rad) >= 1e-12), np.nan, turn)
