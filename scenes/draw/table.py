"""The table from above."""

from __future__ import annotations

import numpy as np

from aimgeo.holes import hole_of
from aimgeo.tables import Table
from aimgeo.vectors import Array
from scenes.board import TableTop
from scenes.draw.paths import Path, circle, polyline, reversed_curves, rgba
from scenes.draw.view import View

RAIL_MM = 127.0
"""Width of the whole rail seen from above: common practice."""
SIGHT_MM = 95.0
"""The sights lie so far outside the noses: common practice."""
FAR_MM = 6000.0
"""The surround reaches so far from the middle of the table."""


def draw_table_top(top: TableTop, view: View) -> list[Path]:
    """Rails, cushions, pockets and sights around the bed; the bed itself is the cloth behind, or a flat inset."""
    table = top.table
    assert isinstance(table, Table)
    if view.rendered:
        return []
    return _detailed(table, view) if top.detail else _inset(table, view)


def _detailed(table: Table, view: View) -> list[Path]:
    from scenes.plate.mesh import from_above

    look, seen = view.look, from_above(table)

    def outline(points_mm: Array) -> Array:
        return polyline(view.px(_lifted(points_mm)), closed=True)

    opening = outline(seen.opening)
    far = polyline(_corners(FAR_MM, FAR_MM, view), closed=True)
    paths = [
        Path(_ring(far, opening), fill=rgba(look.surround)),
        Path(_ring(_rounded(table, view, RAIL_MM, 60.0), opening), fill=rgba(look.rail)),
        *(Path(outline(cushion), fill=rgba(look.cushion)) for cushion in seen.cushions),
        *(Path(outline(hole), fill=rgba(look.pocket)) for hole in seen.holes),
        *(Path(outline(collar), fill=rgba(look.surfaces.pocket_rim)) for collar in seen.collars),
    ]
    scale = _px_per_mm(view)
    sights = [circle(view.px(_lifted(at)), max(7.0 * scale, view.scale.px(2.5))) for at in _sights_mm(table)]
    return [*paths, Path(np.concatenate(sights), fill=rgba(look.sight))] if sights else paths


def _inset(table: Table, view: View) -> list[Path]:
    look = view.look
    return [
        Path(_rounded(table, view, 80.0, 60.0), fill=rgba(look.plate)),
        Path(_rect(table, view, 0.0), fill=rgba(look.cloth_inset)),
        *_pockets(table, view, least_px=view.scale.px(10)),
    ]


def _ring(outer: Array, inner: Array) -> Array:
    return np.concatenate([outer, reversed_curves(inner)])


def _lifted(xy: Array) -> Array:
    return np.concatenate([np.asarray(xy, float), np.zeros((*np.shape(xy)[:-1], 1))], axis=-1)


def _corners(x: float, y: float, view: View) -> Array:
    return view.px(_lifted(np.array([[-x, -y], [x, -y], [x, y], [-x, y]])))


def _rect(table: Table, view: View, beyond_mm: float) -> Array:
    return polyline(_corners(table.length_mm / 2 + beyond_mm, table.width_mm / 2 + beyond_mm, view), closed=True)


def _rounded(table: Table, view: View, beyond_mm: float, radius_mm: float) -> Array:
    x, y = table.length_mm / 2 + beyond_mm - radius_mm, table.width_mm / 2 + beyond_mm - radius_mm
    turns = np.linspace(0, np.pi / 2, 13)
    points = [
        [sx * x + radius_mm * np.cos(t + start), sy * y + radius_mm * np.sin(t + start)]
        for sx, sy, start in ((1, 1, 0.0), (-1, 1, np.pi / 2), (-1, -1, np.pi), (1, -1, 1.5 * np.pi))
        for t in turns
    ]
    # run like the corners of the bed: counter-clockwise in the table
    return polyline(view.px(_lifted(np.array(points))), closed=True)


def _px_per_mm(view: View) -> float:
    return float(np.linalg.norm(view.P[:2, 0]) / abs(view.P[2, 3]))


def _pockets(table: Table, view: View, least_px: float) -> list[Path]:
    """Each pocket as its round hole."""
    scale, holes = _px_per_mm(view), [hole_of(pocket, table) for pocket in table.pockets()]
    return [
        Path(
            circle(view.px(_lifted(np.array(hole.centre_mm))), max(hole.radius_mm * scale, least_px)),
            fill=rgba(view.look.pocket),
        )
        for hole in holes
    ]


def _sights_mm(table: Table) -> Array:
    """The sights, moved from the nose line onto the rail."""
    sights = table.sights_mm()
    on_long = np.abs(np.abs(sights[:, 1]) - table.width_mm / 2) < 1e-6
    outward = np.where(on_long[:, None], [0.0, 1.0], [1.0, 0.0]) * np.sign(sights)
    return np.asarray(sights + SIGHT_MM * outward, float)
