"""The eye behind the cue ball: what it sees of a shot, and what it aims at when it takes the picture at its word.

Everything is in the aim frame (origin C, x along the aim, y left; z from the cloth). An eye is an array (N, 3).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aimgeo.aim_frame import AimFrame
from aimgeo.hidden import faces, is_hidden_by
from aimgeo.vectors import Array, ArrayLike, BoolArray

PUPIL_DISTANCE_MM = 63.0
"""Between the pupils of an adult, on average; each eye stands half of it off a line under the nose."""


@dataclass(frozen=True, slots=True, eq=False)
class BallPoints:
    """A shot's points in the aim frame, (N, 3) each."""

    cue_ball: Array
    object_ball: Array
    ghost_ball: Array
    contact_object: Array
    contact_cue: Array


def ball_points(frame: AimFrame) -> BallPoints:
    """The points that the eye's questions are about; nan about an impact that does not happen."""
    R, sin, cos = frame.radius_mm, frame.sin_cut, frame.cos_cut
    zero, q = np.zeros_like(R), frame.travel_mm
    x, y = frame.object_x_mm, frame.object_y_mm
    return BallPoints(
        np.stack([zero, zero, R], axis=-1),
        np.stack([x, y, R], axis=-1),
        np.stack([q, np.where(np.isnan(q), np.nan, zero), R], axis=-1),
        np.stack([x - R * cos, y - R * sin, R], axis=-1),
        np.stack([R * cos, R * sin, R], axis=-1),
    )


def eye_offset_mm(frame: AimFrame, offset_mm: ArrayLike, radii: ArrayLike, sines: ArrayLike) -> Array:
    """The eye's offset to the left of the aim (N,): the sum of mm, ball radii, and radii times sin(signed cut).

    nan where the last is asked for and a rolled ball has no cut.
    """
    lines = np.where(np.asarray(sines) == 0, 0.0, sines * frame.sin_cut)
    return offset_mm + frame.radius_mm * (np.asarray(radii) + lines)


def visible_contacts(frame: AimFrame, points: BallPoints, eye: Array) -> tuple[BoolArray, BoolArray]:
    """Which contact points are seen: the object ball's and the cue ball's, (N,) each.

    Hidden is what lies behind its own ball's horizon, or behind the cue ball.
    """
    u = np.stack([frame.cos_cut, frame.sin_cut, np.zeros_like(frame.sin_cut)], axis=-1)
    on_object = faces(eye, points.contact_object, -u)
    on_object &= ~is_hidden_by(eye, points.contact_object, points.cue_ball, frame.radius_mm)
    return on_object, faces(eye, points.contact_cue, u)


@dataclass(frozen=True, slots=True, eq=False)
class Doubled:
    """The doubled offset taken literally, (N,): seen distance of G over the contact point's, turn of the aim."""

    seen_ratio: Array
    turn_rad: Array


def doubled_offset(frame: AimFrame, eye: Array) -> Doubled:
    """Doubling the contact point's distance from the object ball's centre as a camera looking at it shows it.

    A point O - s u appears at s / (h - s g) from the middle, h the eye's distance from O and g the part of -u that
    comes nearer. Twice the contact point's distance is reached at s = d h / (h + R u.f), f the direction of view:
    short of G whenever the object ball goes away from the eye. At a cut of 0 all this stays meaningful, as the
    limit. nan where the contact point is not in front of such a camera.
    """
    R, d = frame.radius_mm, frame.diameter_mm
    sx, sy = frame.object_x_mm - eye[..., 0], frame.object_y_mm - eye[..., 1]
    h = np.hypot(np.hypot(sx, sy), R - eye[..., 2])
    away = (sx * frame.cos_cut + sy * frame.sin_cut) / h
    contact_depth, ghost_depth = h - R * away, h - d * away
    in_front = contact_depth > 0
    ratio = np.where(in_front & (ghost_depth > 0), 2 * contact_depth / ghost_depth, np.nan)
    # G lies at (q, 0); the point s short of it, at G + (d - s) u, with d - s = d R u.f / (h + R u.f)
    short = d * R * away / (h + R * away)
    turn = np.arctan2(short * frame.sin_cut, frame.travel_mm + short * frame.cos_cut)
    return Doubled(ratio, np.where(in_front, turn, np.nan))


def plane_turn_rad(frame: AimFrame, eye: Array) -> Array:
    """Turn of the aim when the level direction from eye to cue ball is taken for it, (N,); nan right above."""
    x, y = -eye[..., 0], -eye[..., 1]
    return np.where((x == 0) & (y == 0), np.nan, np.arctan2(y, x))


def surface_turn_rad(frame: AimFrame, eye: Array) -> Array:
    """Turn of the aim when it runs parallel to the join from the cue ball's spot nearest to the eye to G, (N,)."""
    R = frame.radius_mm
    x, y, z = eye[..., 0], eye[..., 1], eye[..., 2] - R
    part = R / np.hypot(np.hypot(x, y), z)
    return np.arctan2(-part * y, frame.travel_mm - part * x)


@dataclass(frozen=True, slots=True, eq=False)
class Apparent:
    """What the picture of a camera looking at the object ball shows, (N,); places are parts of the visible disc's
    half-width, left positive. nan where it shows no such thing.

    `ghost_overlap`: part of the visible disc's width that the ghost ball's outline covers. `contact_place`: the
    contact point. `aim_place`: where the aim line crosses the level line through the disc's middle.
    """

    ghost_overlap: Array
    contact_place: Array
    aim_place: Array


def apparent(frame: AimFrame, points: BallPoints, eye: Array) -> Apparent:
    """What the eye sees against what is: widths in the picture, from the exact outlines."""
    R = frame.radius_mm
    w = points.object_ball - eye
    ground = np.hypot(w[..., 0], w[..., 1])
    h = np.hypot(ground, w[..., 2])
    lx, ly = -w[..., 1] / ground, w[..., 0] / ground
    fx, fy, fz = w[..., 0] / h, w[..., 1] / h, w[..., 2] / h
    half_width = R / np.sqrt((h - R) * (h + R))

    def aside_and_depth(p: Array) -> tuple[Array, Array]:
        v = p - eye
        depth = v[..., 0] * fx + v[..., 1] * fy + v[..., 2] * fz
        return v[..., 0] * lx + v[..., 1] * ly, np.where(depth > 0, depth, np.nan)

    aside, depth = aside_and_depth(points.contact_object)
    contact_place = aside / depth / half_width
    aside, depth = aside_and_depth(points.ghost_ball)
    # the level extent of a ball's outline: X Z -+ R sqrt(X^2 + Z^2 - R^2), over Z^2 - R^2
    span = np.where(depth > R, (depth - R) * (depth + R), np.nan)
    spread = R * np.sqrt(aside * aside + span)
    first, last = (aside * depth - spread) / span, (aside * depth + spread) / span
    covered = np.minimum(last, half_width) - np.maximum(first, -half_width)
    # in the level line through the middle lie the points O + t l; the aim line holds the one with y = 0
    with np.errstate(divide="ignore", invalid="ignore"):
        aim_place = -points.object_ball[..., 1] / ly / h / half_width
    aim_place = np.where(np.abs(ly) > 1e-12, aim_place, np.nan)
    return Apparent(np.maximum(covered, 0.0) / (2 * half_width), contact_place, aim_place)
