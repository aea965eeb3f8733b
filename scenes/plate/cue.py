"""The cue as triangles: tip, ferrule, shaft and butt, a tapered round stick."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from aimgeo.vectors import Array
from scenes.look.cue import SECTIONS as PROFILE
from scenes.plate.mesh import CLOTH, Edges, Vertices, feather, strip

TIP, FERRULE, SHAFT, BUTT = 6, 7, 8, 9
PARTS = {"cue_tip": TIP, "cue_ferrule": FERRULE, "cue_shaft": SHAFT, "cue_butt": BUTT}
SECTIONS = tuple((behind, radius, PARTS[part]) for behind, radius, part in PROFILE)
"""Distance behind the tip, radius (mm) and material along the cue."""
_STATIONS = np.array(SECTIONS)
_FROM = np.flatnonzero(_STATIONS[1:, 2] == _STATIONS[:-1, 2])
"""Where a piece of one material begins."""


@dataclass(frozen=True, slots=True)
class CueStick:
    """A cue: the middle of its tip in mm, and the direction in which it points (any length)."""

    tip_mm: tuple[float, float, float]
    direction: tuple[float, float, float]


def _axes(cue: CueStick) -> tuple[Array, Array, Array, Array]:
    tip, forward = np.array(cue.tip_mm, float), np.array(cue.direction, float)
    forward /= np.linalg.norm(forward)
    side = np.cross(forward, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side)
    return tip, forward, side, np.cross(side, forward)


@lru_cache(maxsize=16)  # several panes show one cue, and it rests while eyes move
def cue_mesh(cue: CueStick) -> Vertices:
    """All triangles of the cue."""
    tip, forward, side, up = _axes(cue)
    turn = np.linspace(0, 2 * np.pi, 29)[:-1]
    around = np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * up
    parts = []
    for (s1, r1, m1), (s2, r2, m2) in pairwise(SECTIONS):
        if m1 == m2:
            a, b = tip - forward * s1 + around * r1, tip - forward * s2 + around * r2
            parts.append(strip(a, b, around, around, m1, closed=True))
    hub = np.broadcast_to(tip, around.shape)
    ahead = np.broadcast_to(forward, around.shape)
    parts.append(strip(hub, tip + around * SECTIONS[0][1], ahead, ahead, TIP, closed=True))
    return np.concatenate(parts)


def cue_edges(cue: CueStick, eye_mm: Array) -> Edges:
    """Its outline as this eye sees it: the two sides, where the line of sight touches it, and the front ring."""
    tip, forward, side, up = _axes(cue)
    behind, radii = _STATIONS[:, :1], _STATIONS[:, 1]
    parts = []
    for sign in (-1.0, 1.0):
        points, normals = _touched(tip - forward * behind, radii, side, up, eye_mm, sign)
        told = np.column_stack([_STATIONS[_FROM, 2], np.ones((len(_FROM), 2)), np.zeros(len(_FROM))])
        rows = points[_FROM], points[_FROM + 1], normals[_FROM], normals[_FROM + 1], told
        parts.append(np.concatenate(rows, axis=1).astype(np.float32))
    turn = np.linspace(0, 2 * np.pi, 25)[:-1]
    around = np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * up
    for s, r, material in (SECTIONS[0], SECTIONS[2], SECTIONS[4], SECTIONS[6], SECTIONS[9]):
        parts.append(feather(tip - forward * s + around * r, around, material, closed=True))
    return np.concatenate(parts)


def _touched(at: Array, radius: Array, side: Array, up: Array, eye_mm: Array, sign: float) -> tuple[Array, Array]:
    """Where the eye's lines of sight touch circles (n,) about `at` (n, 3), and the normals there."""
    x, y = (eye_mm - at) @ side, (eye_mm - at) @ up
    turn = np.arctan2(y, x) + sign * np.arccos(np.minimum(radius / np.hypot(x, y), 1.0))
    normal = np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * up
    return at + radius[:, None] * normal, normal


@lru_cache(maxsize=16)
def cue_shadow(cue: CueStick) -> Vertices:
    """Its shadow on the cloth, wider and fainter where the cue is higher."""
    tip, forward, side, _ = _axes(cue)
    along = np.linspace(0.0, 1460.0, 24)
    axis = tip - forward * along[:, None]
    height = np.maximum(axis[:, 2], 1.0)
    ground = axis * [1, 1, 0]
    radius = np.interp(along, [s for s, _, _ in SECTIONS], [r for _, r, _ in SECTIONS])
    dark = 0.62 * np.exp(-height / 75.0)
    dark[0] = 0.0
    up = np.array([0.0, 0.0, 1.0])
    half = [(-1.0, 0.0), (-0.35, 0.75), (0.0, 1.0), (0.35, 0.75), (1.0, 0.0)]
    spread = (radius + 0.55 * height)[:, None]
    edges = [(ground + side * spread * k, dark * d) for k, d in half]
    return np.concatenate([strip(a, b, up, up, CLOTH, sa, sb) for (a, sa), (b, sb) in pairwise(edges)])
