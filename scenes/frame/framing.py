"""How a shot is put into the frame: the cameras of the table view, of the build-up, and of the table inset."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from aimgeo.camera import pixels
from aimgeo.shot import Shot
from aimgeo.tables import Table
from aimgeo.vectors import Array
from scenes.board import Move, Pane, Pixel, PlanCamera, Rect, Track, Values, constant, eased
from scenes.frame.layout import Layout

STAGE, FAR, NEAR, TABLE, INSET, PLAYED = "stage", "far", "near", "table", "inset", "played"
ZIGZAG_PX = 8.0
"""Depth of a break's zigzag edge in px of a 1080 px frame; the panes run on under it."""


@dataclass(frozen=True, slots=True)
class View:
    """A plan view at rest: the table point `at_mm` stands at `at_px`, `turn_rad` points up."""

    at_mm: tuple[float, float]
    at_px: Pixel
    turn_rad: float
    px_per_mm: float

    def values(self, anchor_px: Pixel) -> Values:
        """The camera's values when it is anchored at another pixel."""
        s, c = math.sin(self.turn_rad), math.cos(self.turn_rad)
        right, up = (anchor_px[0] - self.at_px[0]), (self.at_px[1] - anchor_px[1])
        x = self.at_mm[0] + (right * s + up * c) / self.px_per_mm
        y = self.at_mm[1] + (-right * c + up * s) / self.px_per_mm
        return (x, y, self.turn_rad, math.log(self.px_per_mm))

    def camera(self, rect: Rect) -> PlanCamera:
        """The camera of a pane at this rectangle."""
        return PlanCamera(constant(*self.values(self.at_px)), _anchor(self.at_px, rect))

    def to_px(self, points_mm: Array) -> Array:
        """Pixels (..., 2) of points (..., 3)."""
        return pixels(self.camera((0.0, 0.0, 1.0, 1.0)).projection((0.0, 0.0, 1.0, 1.0), 0), points_mm)

    def to_mm(self, px: Pixel, z_mm: float = 0.0) -> tuple[float, float, float]:
        """The table point seen at a pixel."""
        x, y, _, _ = self.values(px)
        return (x, y, z_mm)


@dataclass(frozen=True, slots=True)
class Framing:
    """A build-up's stage: one view of both balls, or a far and a near view of the same scale and turn."""

    panes: tuple[tuple[str, Rect, View], ...]

    @property
    def is_broken(self) -> bool:
        """True when the two balls stand in panes of their own."""
        return len(self.panes) > 1

    @property
    def main(self) -> View:
        """The view with the object ball."""
        return self.panes[0][2]

    @property
    def ids(self) -> tuple[str, ...]:
        """The panes' names."""
        return tuple(pane_id for pane_id, _, _ in self.panes)


def framing(frame: Layout, shot: Shot) -> Framing:
    """The stage for one shot: whole where a ball keeps its size, else broken between the balls."""
    d = float(np.asarray(shot.ball_diameter_mm))
    cut, travel = float(shot.cut_rad), float(shot.travel_mm)
    height_mm = d * math.cos(cut) + travel + d
    room_px = frame.figure_bottom_px - frame.figure_top_px
    scale = min(frame.ball_px / d, room_px / height_mm)
    turn = math.atan2(float(shot.aim_direction[1]), float(shot.aim_direction[0]))
    O, C = _plane(shot.object_ball_mm), _plane(shot.cue_ball_mm)
    sin_mm = d * math.sin(cut)  # the ghost ball lies so far to the right of the object ball
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
    if scale * d >= frame.least_ball_px:
        middle = (frame.figure_top_px + frame.figure_bottom_px) / 2
        top = middle - scale * height_mm / 2
        view = View(O, (_object_x(frame, sin_mm * scale), top + scale * d / 2), turn, scale)
        return Framing(((STAGE, full, view),))
    scale = frame.broken_ball_px / d
    top, bottom = frame.upper_px
    span = scale * (d * math.cos(cut) + d)
    x = _object_x(frame, sin_mm * scale)
    far = View(O, (x, (top + bottom) / 2 - span / 2 + scale * d / 2), turn, scale)
    near = View(C, (x + sin_mm * scale, frame.near_cue_px), turn, scale)
    _, band_y, _, band_h = frame.band_px
    z = frame.scale.px(ZIGZAG_PX)
    upper: Rect = (0.0, 0.0, full[2], band_y + z)
    lower: Rect = (0.0, band_y + band_h - z, full[2], full[3] - (band_y + band_h - z))
    return Framing(((FAR, upper, far), (NEAR, lower, near)))


def table_view(frame: Layout, table: Table) -> View:
    """The whole table from above, head to the left (or at the bottom of a tall frame)."""
    along, across = frame.bed_px if not frame.up_along_table else (frame.bed_px[1], frame.bed_px[0])
    scale = min(along / table.length_mm, across / table.width_mm)
    return View((0.0, 0.0), frame.bed_centre_px, 0.0 if frame.up_along_table else math.pi / 2, scale)


def over_table(middle_mm: Array, half_mm: Array, table: Table, room_mm: float) -> tuple[float, float]:
    """The place nearest to the middle (2,) of a picture that reaches so far (2,) at which it shows no more than
    the room beside the table; the table's own middle where it shows all of it."""
    most = np.maximum(np.array([table.length_mm, table.width_mm]) / 2 + room_mm - half_mm, 0.0)
    x, y = np.clip(middle_mm, -most, most).tolist()
    return (x, y)


def inset_view(frame: Layout, table: Table) -> View:
    """The table in the inset, turned like the table view."""
    x, y, w, h = frame.inset_px
    rail = 0.04 * max(w, h)
    along, across = (h, w) if frame.up_along_table else (w, h)
    scale = min((along - 2 * rail) / table.length_mm, (across - 2 * rail) / table.width_mm)
    return View((0.0, 0.0), (x + w / 2, y + h / 2), 0.0 if frame.up_along_table else math.pi / 2, scale)


def pane(pane_id: str, rect: Rect, view: View, kind: str, opacity: Track, background: str | None) -> Pane:
    """A pane whose camera rests."""
    return Pane(pane_id, rect, kind, view.camera(rect), background, opacity)


def moving_camera(
    rect: Rect, start: View, end: View, first_frame: int, end_frame: int, rides_mm: Array | None = None
) -> PlanCamera:
    """From one view to another in one move, the shorter way round, anchored where the second one is.

    A table point that `rides` along, by default the second view's own, goes straight from where it stands in the
    picture to where it will stand.
    """
    at = np.array([*end.at_mm, 0.0]) if rides_mm is None else np.array([rides_mm[0], rides_mm[1], 0.0])
    places = np.array([start.to_px(at), end.to_px(at)])
    _, _, turn, log_scale = start.values(end.at_px)
    turn = end.turn_rad + (turn - end.turn_rad + math.pi) % (2 * math.pi) - math.pi
    frames = end_frame - first_frame
    through = []
    for k in range(frames):
        t = eased((k + 1) / frames, "quintic")
        x, y = (places[0] + t * (places[1] - places[0])).tolist()
        scale = math.exp(log_scale + t * (math.log(end.px_per_mm) - log_scale))
        view = View((float(at[0]), float(at[1])), (x, y), turn + t * (end.turn_rad - turn), scale)
        through.append(view.values(end.at_px))
    move = Move(first_frame, end_frame, end.values(end.at_px), "quintic", tuple(through))
    x, y, _, _ = start.values(end.at_px)
    return PlanCamera(Track((x, y, turn, log_scale), (move,)), _anchor(end.at_px, rect))


def _object_x(frame: Layout, ghost_right_px: float) -> float:
    """Where the object ball stands, so that the figure (or the cue ball) stands on the axis."""
    return frame.axis_px - (ghost_right_px if frame.axis_on_cue else ghost_right_px / 2)


def _anchor(px: Pixel, rect: Rect) -> Pixel:
    return ((px[0] - rect[0]) / rect[2], (px[1] - rect[1]) / rect[3])


def _plane(p: Array) -> tuple[float, float]:
    return (float(p[0]), float(p[1]))
