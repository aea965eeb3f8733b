"""What is pointed at: a pale band along a line, a ring around a ball or a mark."""

from __future__ import annotations

import numpy as np

from aimgeo.camera import ball_outline, circle_outline
from scenes.board import Glow
from scenes.draw.paths import Path, circle, ellipse, rgba, straight
from scenes.draw.view import View

BANDS = ((1.0, 0.22), (0.62, 0.38))
"""Parts of its reach and their strength: a band is softer outside."""
CORE_PX = 4.0
"""Half of what a band encloses at least."""
RING_PX = 4.0


def draw_glow(glow: Glow, view: View) -> list[Path]:
    """A band as far as it has run, or a ring."""
    if len(glow.points_mm) == 1:
        return _ring(glow, view)
    (ax, ay, az), (bx, by, bz) = glow.points_mm
    t = view.drawn
    ends = view.segment_px((ax, ay, az), (ax + t * (bx - ax), ay + t * (by - ay), az + t * (bz - az)))
    if ends is None or not np.isfinite(ends).all():
        return []
    curves, front = straight(np.array([ends])), view.look.front
    core, reach = view.line_px(CORE_PX), view.line_px(glow.reach_px)
    return [
        Path(curves, stroke=rgba(front, strength), width_px=2 * (core + part * reach), cap="round")
        for part, strength in BANDS
    ]


def _ring(glow: Glow, view: View) -> list[Path]:
    at = np.array(glow.points_mm[0], float)
    if glow.radius_mm:
        outline_of = circle_outline if glow.is_flat else ball_outline
        outline = outline_of(view.P, at, glow.radius_mm * view.size)
        if not outline.is_seen:
            return []
        wide = outline.grown(view.scale.stroke_px(glow.reach_px))
        curves = ellipse(wide.centre_px, wide.axes_px)
    else:
        centre = view.px(at)
        if not np.isfinite(centre).all():
            return []
        curves = circle(centre, view.line_px(glow.reach_px) * view.size)
    width = view.scale.stroke_px(RING_PX)
    casing = rgba(view.look.casing, 0.5 * view.look.casing_opacity)
    return [
        Path(curves, stroke=casing, width_px=2 * width),
        Path(curves, stroke=rgba(view.look.front), width_px=width),
    ]
