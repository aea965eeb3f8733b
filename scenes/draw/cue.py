"""The cue from above, in a plan: tip, ferrule and shaft at their true widths."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from scenes.board import Cue
from scenes.draw.paths import Path, polyline, rgba
from scenes.draw.view import View
from scenes.look.cue import SECTIONS


def draw_cue(cue: Cue, view: View) -> list[Path]:
    """Its outline, section by section. A rendered table has its own."""
    if view.rendered:
        return []
    tip, forward = np.array(cue.tip_mm), np.array([*cue.direction[:2], 0.0])
    forward /= np.linalg.norm(forward)
    side = np.array([-forward[1], forward[0], 0.0])
    casing = rgba(view.look.casing, view.look.casing_opacity)
    outlines, fills = [], []
    for (near, r1, material), (far, r2, other) in pairwise(SECTIONS):
        if material != other:
            continue
        corners = [
            tip - s * forward + k * r * side
            for s, r, k in ((near, r1, 1), (near, r1, -1), (far, r2, -1), (far, r2, 1))
        ]
        edge = polyline(view.px(np.array(corners)), closed=True)
        outlines.append(Path(edge, stroke=casing, width_px=view.scale.stroke_px(5)))
        fills.append(Path(edge, fill=rgba(getattr(view.look.surfaces, material))))
    return [*outlines, *fills]
