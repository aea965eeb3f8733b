"""From checked requests to shots, aim frames and eyes."""

from __future__ import annotations

from dataclasses import fields
from itertools import chain

import numpy as np

from aimgeo.aim_frame import AimFrame, aim_frame
from aimgeo.asking.asked import Asked
from aimgeo.asking.fields import GHOST_BALL, GIVEN_POCKET, PLACED, POINT, ROLLED, SOLVED
from aimgeo.eye import BallPoints, eye_offset_mm
from aimgeo.pocket import mouth_tips
from aimgeo.roll import rolled_shot
from aimgeo.shot import Shot, place_shot, solve_shot
from aimgeo.vectors import Array, IntArray, direction

FROZEN_MM = 1e-9
"""Balls whose distance is a diameter within this touch."""


def shots_of(asked: Asked) -> Shot:
    """The shots of a batch, each by its own way of asking."""
    made: list[tuple[IntArray, Shot]] = []
    for mode, find in ((PLACED, _placed), (SOLVED, _solved), (ROLLED, _rolled)):
        at = np.flatnonzero(asked["mode"] == mode)
        if at.size:
            made.append((at, find(asked.at(at))))
    if len(made) == 1:
        return made[0][1]
    joined = {}
    for f in fields(Shot):
        parts = [(at, getattr(shot, f.name)) for at, shot in made]
        whole = np.empty((asked.count, *parts[0][1].shape[1:]))
        for places, values in parts:
            whole[places] = values
        joined[f.name] = whole
    return Shot(**joined)


def _placed(asked: Asked) -> Shot:
    D, d = asked["distance_mm"], asked["ball_diameter_mm"]
    D = np.where(np.abs(D - d) <= FROZEN_MM, d, D)
    cut = asked["side"] * np.radians(asked["cut_deg"])
    return place_shot(asked.place_mm("object_ball_mm"), asked.place_mm("target_mm"), cut, D, d)


def _solved(asked: Asked) -> Shot:
    C, O, T = (asked.place_mm(key) for key in ("cue_ball_mm", "object_ball_mm", "target_mm"))
    return solve_shot(C, O, T, asked["ball_diameter_mm"])


def _rolled(asked: Asked) -> Shot:
    C, O, T = (asked.place_mm(key) for key in ("cue_ball_mm", "object_ball_mm", "target_mm"))
    return rolled_shot(C, direction(asked["aim_deg"]), O, T, asked["ball_diameter_mm"], half_bed_mm(asked))


def frames_of(asked: Asked, shot: Shot) -> AimFrame:
    """The aim frames of a batch."""
    return aim_frame(shot, half_bed_mm(asked), asked["mode"] == ROLLED)


def eyes_of(asked: Asked, frame: AimFrame) -> Array:
    """The eyes in the aim frame, (N, 3): behind the cue ball, or a camera's own; nan where none is asked for."""
    offset = eye_offset_mm(frame, asked["eye.offset_mm"], asked["eye.radii"], asked["eye.sines"])
    behind = np.stack([-asked["eye.back_mm"], offset, asked["eye.height_mm"]], axis=-1)
    own = asked.place_mm("camera.eye_mm", 3)
    return np.where(np.isfinite(own[:, :1]), frame.from_table(own), behind)


def look_at_mm(asked: Asked, frame: AimFrame, points: BallPoints) -> Array:
    """The points that the cameras look at, (N, 3); of no meaning where there is no camera."""
    look = asked["camera.look"][:, None]
    ball = np.where(look == GHOST_BALL, points.ghost_ball, points.object_ball)
    return np.where(look == POINT, frame.from_table(asked.place_mm("camera.look_at", 3)), ball)


def half_bed_mm(asked: Asked) -> Array:
    """Half the bed's length and width, (N, 2)."""
    return np.stack([asked["half_length"], asked["half_width"]], axis=-1)


def tips_mm(asked: Asked) -> tuple[Array, Array]:
    """The points of the mouths, (N, 2) each; nan where there is no pocket."""
    A, B = asked.place_mm("tip_a"), asked.place_mm("tip_b")
    given = (asked["pocket"] == GIVEN_POCKET)[:, None]
    if not given.any():
        return A, B
    right, left = mouth_tips(
        asked.place_mm("object_ball_mm"), asked.place_mm("target_mm"), asked["pocket.mouth_mm"],
        np.radians(asked["pocket.approach_deg"]),
    )  # fmt: skip
    return np.where(given, right, A), np.where(given, left, B)


def others_mm(asked: Asked) -> tuple[IntArray, Array]:
    """All other balls of a batch (M, 2), and whose they are (M,)."""
    given = asked.free["others_mm"]
    owner = np.repeat(np.array(list(given), int), [len(balls) for balls in given.values()])
    numbers = chain.from_iterable(chain.from_iterable(given.values()))
    return owner, np.fromiter(numbers, float, 2 * owner.size).reshape(-1, 2)
