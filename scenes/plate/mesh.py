"""The table as triangles: bed, cushions, rails, pockets and sights, in table millimetres.

Proportions follow common practice of the trade: a nose at 63.5 % of a ball's height, a cushion 50 mm deep, facings
at 142 degrees (corners) and 104 degrees (sides) to the nose line. Nothing here is measured in a clip; the noses,
the mouths and the sights' spacing are aimgeo's.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from aimgeo.holes import CUSHION_MM, FALL_MM, Hole, hole_of
from aimgeo.tables import NOSE_MM, Table
from aimgeo.vectors import Array, unit

Vertices = NDArray[np.float32]
"""Rows of x, y, z (mm), normal x, y, z, material, shade (1 fully lit), in threes."""
Edges = NDArray[np.float32]
"""Rows of two points, their normals, the material, two shades and whether it is a seam."""

TOP_MM, RAIL_MM = 40.0, 150.0
APRON_MM = -170.0
COLLAR_MM = 12.5
"""How wide the lip of a pocket's liner is: common practice."""
JAW_RADIUS_MM = {"straight": 0.0, "rounded": 40.0}
"""How the noses turn into the facings: common practice."""
FACING_RAD = {"corner": np.radians(38.0), "side": np.radians(76.0)}
RING = ("foot-right", "foot-left", "side-left", "head-left", "head-right", "side-right")
"""The pockets counter-clockwise."""
SIGHT_OFFSET_MM, SIGHT_RADIUS_MM = 97.0, 6.5

CLOTH, RAIL, LINER, DEEP, SIGHT, APRON = range(6)


@dataclass(frozen=True, slots=True)
class TableMesh:
    """The parts in the order in which they are painted; `edges` are the solids' edges, to be feathered."""

    bed: Vertices
    shades: Vertices
    holes: Vertices
    solids: Vertices
    edges: Vertices


def table_mesh(table: Table) -> TableMesh:
    """All triangles of a table."""
    holes = [hole_of(p, table) for p in table.pockets()]
    parts = [
        _cushions(table),
        _rails(table, holes),
        _sights(table),
        *(part(h) for h in holes for part in (_liner, _collar)),
    ]
    half = (table.length_mm / 2 + CUSHION_MM + 45, table.width_mm / 2 + CUSHION_MM + 45)
    solids = np.concatenate([triangles for triangles, _ in parts])
    edges = np.concatenate([edges for _, edges in parts])
    if table.nose_mm != NOSE_MM:  # what stands on the bed is as high as the noses ask
        for heights in (solids[:, 2], edges[:, 2], edges[:, 5]):
            heights[heights > 0] *= table.nose_mm / NOSE_MM
    return TableMesh(
        bed=_bed(*half),
        shades=np.concatenate([_foot_shade(table), *(_lip(h) for h in holes)]),
        holes=np.concatenate([_disc(h.centre_mm, h.radius_mm, 0.0, DEEP, 0.0, 48) for h in holes]),
        solids=solids,
        edges=edges,
    )


@dataclass(frozen=True, slots=True)
class FromAbove:
    """Outlines (n, 2) in table mm as they are seen from straight above, counter-clockwise.

    `opening` is where the rails end: at the backs of the cushions, and at the holes.
    """

    cushions: tuple[Array, ...]
    opening: Array
    collars: tuple[Array, ...]
    holes: tuple[Array, ...]


@cache
def from_above(table: Table) -> FromAbove:
    """The outlines of a table's parts."""
    depths = np.array([0.0, 1.0, 4.0, 11.0, 20.0, CUSHION_MM])
    holes = [hole_of(p, table) for p in table.pockets()]
    by_name = dict(zip((p.name for p in table.pockets()), holes, strict=True))
    return FromAbove(
        tuple(np.concatenate([here.at(depths)[0][::-1], there.at(depths)[0]]) for _, here, there in _ends(table)),
        np.concatenate([_arc(by_name[name], 26) for name in RING]),
        tuple(
            np.concatenate(
                [_arc(replace(h, radius_mm=h.radius_mm + COLLAR_MM), 40), _arc(h, 40)[::-1]],
            )
            for h in holes
        ),
        tuple(_arc(h, 73, np.pi)[:-1] for h in holes),
    )


def endless_mesh() -> TableMesh:
    """A cloth without cushions, as far as the eye sees."""
    none = np.zeros((0, 8), np.float32)
    return TableMesh(_bed(40000.0, 40000.0), none, none, none, none)


def _rows(points: Array, normals: Array, material: int, shade: Array | float = 1.0) -> Vertices:
    out = np.empty((*np.broadcast_shapes(points.shape, normals.shape)[:-1], 8), np.float32)
    out[..., :3], out[..., 3:6], out[..., 6], out[..., 7] = points, normals, material, shade
    return out.reshape(-1, 8)


def strip(
    a: Array,
    b: Array,
    na: Array,
    nb: Array,
    material: int,
    sa: Array | float = 1.0,
    sb: Array | float = 1.0,
    closed: bool = False,
) -> Vertices:
    """Triangles between two polylines (n, 3) of the same length, with normals and shades at either edge."""
    A, B = _rows(a, na, material, sa), _rows(b, nb, material, sb)
    if closed:
        A, B = np.concatenate([A, A[:1]]), np.concatenate([B, B[:1]])
    return np.stack([A[:-1], B[:-1], A[1:], A[1:], B[:-1], B[1:]], axis=1).reshape(-1, 8)


def feather(
    points: Array, normals: Array, material: int, shade: float = 1.0, closed: bool = False, seam: bool = False
) -> Edges:
    """The pieces of a polyline (n, 3), for an edge that fades out over a pixel; `seam` where surfaces meet."""
    rows = _rows(points, normals, material, shade)
    if closed:
        rows = np.concatenate([rows, rows[:1]])
    a, b = rows[:-1], rows[1:]
    flat = np.full((len(a), 1), float(seam), np.float32)
    return np.concatenate([a[:, :3], b[:, :3], a[:, 3:6], b[:, 3:6], a[:, 6:8], b[:, 7:8], flat], axis=1)


def _joined(parts: list[tuple[Vertices, Edges]]) -> tuple[Vertices, Edges]:
    return np.concatenate([t for t, _ in parts]), np.concatenate([e for _, e in parts])


def _lifted(xy: Array, z: float) -> Array:
    return np.concatenate([xy, np.full((*xy.shape[:-1], 1), z)], axis=-1)


def _disc(centre: tuple[float, float], radius: float, z: float, material: int, shade: float, n: int) -> Vertices:
    angles = np.linspace(0, 2 * np.pi, n + 1)
    rim = _lifted(np.array(centre) + radius * np.stack([np.cos(angles), np.sin(angles)], -1), z)
    hub = np.broadcast_to([*centre, z], rim[:-1].shape)
    return _rows(np.stack([hub, rim[:-1], rim[1:]], axis=1), np.array([0.0, 0.0, 1.0]), material, shade)


def _bed(half_x: float, half_y: float) -> Vertices:
    corners = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, -1, 0], [1, 1, 0], [-1, 1, 0]], float)
    return _rows(corners * [half_x, half_y, 0], np.array([0.0, 0.0, 1.0]), CLOTH)


def _arc(hole: Hole, n: int, half_arc: float | None = None) -> Array:
    """Points (n, 2) of the hole's outer arc, counter-clockwise."""
    half = hole.half_arc_rad if half_arc is None else half_arc
    angles = hole.outward_rad + np.linspace(-half, half, n)
    return np.array(hole.centre_mm) + hole.radius_mm * np.stack([np.cos(angles), np.sin(angles)], -1)


def _cushions(table: Table) -> tuple[Vertices, Edges]:
    """Six cushions, each from nose tip to nose tip, with facings, top and face."""
    return _joined([_cushion(out, here, there) for out, here, there in _ends(table)])


def _ends(table: Table) -> Iterator[tuple[Array, _Jaw, _Jaw]]:
    """Each cushion's direction out of the table, and its two ends."""
    pockets = {p.name: p for p in table.pockets()}
    for here, there in zip(RING, RING[1:] + RING[:1], strict=True):
        # going round counter-clockwise the table lies to the left; the rail to the right
        ends = [np.array(p) for p in pockets[here].points_mm], [np.array(p) for p in pockets[there].points_mm]
        along, a, b = _facing_points(ends)
        out = np.array([along[1], -along[0]])
        turn_a, turn_b = (FACING_RAD["side" if "side" in n else "corner"] for n in (here, there))
        radius = JAW_RADIUS_MM[table.jaws]
        yield out, _Jaw(a, -along, out, turn_a, radius), _Jaw(b, along, out, turn_b, radius)


def _facing_points(ends: tuple[list[Array], list[Array]]) -> tuple[Array, Array, Array]:
    """The two tips that share a nose line, and the direction between them."""
    best = min(
        ((abs(d := q - p).min(), float(np.hypot(*d)), p, q) for p in ends[0] for q in ends[1]),
        key=lambda c: (round(c[0], 6), c[1]),
    )
    return unit(best[3] - best[2]), best[2], best[3]


@dataclass(frozen=True, slots=True)
class _Jaw:
    """A cushion's end: the nose, rounded by `radius_mm`, turns by `turn_rad` into the facing beside the pocket.

    `away` runs along the nose towards the pocket, `out` behind the nose.
    """

    tip: Array
    away: Array
    out: Array
    turn_rad: float
    radius_mm: float

    def at(self, back_mm: Array) -> tuple[Array, Array]:
        """The end's points (n, 2) so far behind the nose line, and its normals there."""
        r, turn, back = self.radius_mm, self.turn_rad, np.asarray(back_mm, float)
        on_arc = back < r * (1 - np.cos(turn))
        angle = np.where(on_arc, np.arccos(np.clip(1 - back / (r or 1.0), -1, 1)), turn)
        beyond = np.where(on_arc, r * (np.sin(angle) - np.tan(turn / 2)), back / np.tan(turn))
        points = self.tip + beyond[:, None] * self.away + back[:, None] * self.out
        return points, np.sin(angle)[:, None] * self.away - np.cos(angle)[:, None] * self.out


def _cushion(out: Array, here: _Jaw, there: _Jaw) -> tuple[Vertices, Edges]:
    # cross-section: (behind the nose, height), from the foot of the face over the rounded nose to the rail
    section = np.array(
        [
            (20.0, 0.0),
            (7.0, 27.0),
            (2.2, 32.2),
            (0.3, 34.8),
            (0.0, 36.3),
            (0.9, 37.6),
            (3.5, 38.4),
            (CUSHION_MM, TOP_MM),
        ]
    )
    shades = [0.30, 0.52, 0.72, 0.92, 1.05, 1.06, 1.0, 0.9]
    steps = np.diff(section, axis=0)
    flat = unit(np.stack([-steps[:, 1], steps[:, 0]], -1))
    smooth = unit(np.concatenate([flat[:1], flat[:-1] + flat[1:], flat[-1:]]))

    def edge(i: int) -> Array:
        back, z = section[i]
        return _lifted(np.concatenate([jaw.at(np.array([back]))[0] for jaw in (here, there)]), z)

    def normal(i: int) -> Array:
        return np.array([*(out * smooth[i][0]), smooth[i][1]])

    parts = [
        strip(edge(i), edge(i + 1), normal(i), normal(i + 1), CLOTH, shades[i], shades[i + 1])
        for i in range(len(section) - 1)
    ]
    edges = [feather(edge(i), normal(i), CLOTH, shades[i], seam=i == 0) for i in range(len(section) - 1)]
    for jaw in (here, there):
        depths = {0.0, 2.2, 7.0, 20.0, CUSHION_MM}
        back = np.array(sorted(depths | ({0.3, 1.0, 4.0, 11.0, 15.0, 26.0, 33.0} if jaw.radius_mm else set())))
        at, normals = jaw.at(back)
        n = _lifted(normals, 0.0)
        under = np.interp(back, *section[4::-1].T)
        top = np.concatenate([at, np.interp(back, *section[4:].T)[:, None]], axis=-1)
        foot = np.concatenate([at, np.where(back < 20.0, under, 0.0)[:, None]], axis=-1)
        parts.append(strip(foot, top, n, n, CLOTH, 0.3, 0.62))
        edges.append(feather(foot, n, CLOTH, 0.5))
        edges.append(feather(top, np.array([0.0, 0.0, 1.0]), CLOTH, 0.98))
    return np.concatenate(parts), np.concatenate(edges)


def _rails(table: Table, holes: list[Hole]) -> tuple[Vertices, Edges]:
    """The frame's top with the holes cut out of it, its rounded edge and the apron below."""
    by_name = dict(zip((p.name for p in table.pockets()), holes, strict=True))
    L, W = table.length_mm / 2 + RAIL_MM, table.width_mm / 2 + RAIL_MM
    inner, outer = [], []
    n, round_mm = 26, 70.0
    for name in RING:
        arc = _arc(by_name[name], n)
        inner.append(arc)
        if name.startswith("side"):
            outer.append(np.stack([arc[:, 0], np.full(n, np.sign(arc[0, 1]) * W)], -1))
            continue
        sx, sy = np.sign(by_name[name].centre_mm)
        start = (
            np.array([arc[0, 0], sy * W]) if abs(arc[0, 1]) > abs(arc[-1, 1]) else np.array([sx * L, arc[0, 1]])
        )
        end = np.array([arc[-1, 0], sy * W]) if start[0] == sx * L else np.array([sx * L, arc[-1, 1]])
        hub = np.array([sx * (L - round_mm), sy * (W - round_mm)])
        middle = np.arctan2(sy, sx)
        turn = middle + np.linspace(-np.pi / 4, np.pi / 4, n - 2)
        corner = hub + round_mm * np.stack([np.cos(turn), np.sin(turn)], -1)
        outer.append(np.concatenate([start[None], corner, end[None]]))
    inside, outside = np.concatenate(inner), np.concatenate(outer)
    up = np.array([0.0, 0.0, 1.0])
    outward = _outward(outside)
    parts = [strip(_lifted(inside, TOP_MM), _lifted(outside, TOP_MM), up, up, RAIL, closed=True)]
    # at the holes a collar lies over the wood's edge
    straight = (np.stack([here[-1], there[0]]) for here, there in zip(inner, inner[1:] + inner[:1], strict=True))
    edges = [feather(_lifted(piece, TOP_MM), up, RAIL, seam=True) for piece in straight]
    profile = [(0.0, TOP_MM, 0.0), (5.0, TOP_MM - 2.0, 0.5), (8.0, TOP_MM - 8.0, 1.0), (8.0, APRON_MM, 1.0)]
    rings = [
        (_lifted(outside + outward * o, z), np.concatenate([outward * t, np.full((len(outward), 1), 1.0 - t)], -1))
        for o, z, t in profile
    ]
    for (a, na), (b, nb), (_, z, _) in zip(rings, rings[1:], profile[1:], strict=False):
        parts.append(strip(a, b, na, nb, RAIL if z > 0 else APRON, closed=True))
    for (ring, normals), (_, z, _) in zip(rings, profile, strict=True):
        edges.append(feather(ring, normals, RAIL if z > 0 else APRON, closed=True))
    return np.concatenate(parts), np.concatenate(edges)


def _outward(loop: Array) -> Array:
    """Unit normals (n, 2) of a counter-clockwise closed polyline."""
    ahead, behind = np.roll(loop, -1, 0), np.roll(loop, 1, 0)
    t = ahead - behind
    return unit(np.stack([t[:, 1], -t[:, 0]], -1))


def _liner(hole: Hole) -> tuple[Vertices, Edges]:
    """The wall of a pocket: above the cloth along the rail, below it all round, and the dark floor."""
    parts, edges = [], []
    low, table_side = _arc(hole, 48, np.pi), Hole(hole.centre_mm, hole.radius_mm, hole.outward_rad + np.pi, 0.0)
    walls = ((_arc(hole, 26), TOP_MM, 0.0, 1.0, 0.62), (low, 0.0, FALL_MM, 0.62, 0.0))
    for ring, top, foot, s_top, s_foot in walls:
        n = _inward(hole, ring)
        parts.append(strip(_lifted(ring, top), _lifted(ring, foot), n, n, LINER, s_top, s_foot))
    parts.append(_disc(hole.centre_mm, hole.radius_mm, FALL_MM, DEEP, 0.0, 32))
    behind = _arc(hole, 26)
    edges.append(feather(_lifted(behind, 0.0), _inward(hole, behind), LINER, 0.62, seam=True))
    before = _arc(table_side, 26, np.pi - hole.half_arc_rad)
    edges.append(feather(_lifted(before, 0.0), np.array([0.0, 0.0, 1.0]), CLOTH, 0.42, seam=True))
    return np.concatenate(parts), np.concatenate(edges)


def _collar(hole: Hole) -> tuple[Vertices, Edges]:
    """The liner's rounded lip on the rail: thick enough to be seen."""
    ring = _arc(hole, 40)
    outward = -_inward(hole, ring)
    centre = np.array(hole.centre_mm)
    profile = [(-0.5, -4.0, -1.0, 0.1), (0.2, 1.4, -0.7, 0.7), (2.6, 3.2, 0.0, 1.0), (8.4, 3.2, 0.0, 1.0)]
    profile += [(11.4, 2.0, 0.6, 0.8), (COLLAR_MM, 0.0, 1.0, 0.2)]
    rings = [
        (
            _lifted(centre + (ring - centre) * (1 + beyond / hole.radius_mm), TOP_MM + up),
            unit(outward * n_out + np.array([0.0, 0.0, n_up])),
        )
        for beyond, up, n_out, n_up in profile
    ]
    parts = [strip(a, b, na, nb, LINER) for (a, na), (b, nb) in pairwise(rings)]
    edges = [feather(at, normals, LINER) for at, normals in (rings[1], rings[-1])]
    return np.concatenate(parts), np.concatenate(edges)


def _inward(hole: Hole, ring: Array) -> Array:
    flat = (np.array(hole.centre_mm) - ring) / hole.radius_mm
    return np.concatenate([flat, np.zeros((len(ring), 1))], -1)


def _lip(hole: Hole) -> Vertices:
    """The cloth bending down into a hole: a shade, strongest at the edge."""
    ring = _arc(hole, 64, np.pi)
    centre = np.array(hole.centre_mm)
    wide = centre + (ring - centre) * (1 + 9.0 / hole.radius_mm)
    up = np.array([0.0, 0.0, 1.0])
    return strip(_lifted(ring, 0.0), _lifted(wide, 0.0), up, up, CLOTH, 0.62, 0.0)


def _foot_shade(table: Table) -> Vertices:
    """The soft dark under the noses, where little light comes in."""
    L, W = table.length_mm / 2, table.width_mm / 2
    parts = []
    for inset, beyond, s_in, s_out in (
        (46.0, 12.0, 0.0, 0.16),
        (12.0, -4.0, 0.16, 0.42),
        (-4.0, -60.0, 0.42, 0.62),
    ):
        for s in (1.0, -1.0):
            x, y = np.array([-L, L]), np.array([-W, W])
            up = np.array([0.0, 0.0, 1.0])
            one, two = (_lifted(np.stack([x, np.full(2, s * (W - i))], -1), 0.0) for i in (inset, beyond))
            parts.append(strip(one, two, up, up, CLOTH, s_in, s_out))
            one, two = (_lifted(np.stack([np.full(2, s * (L - i)), y], -1), 0.0) for i in (inset, beyond))
            parts.append(strip(one, two, up, up, CLOTH, s_in, s_out))
    return np.concatenate(parts)


def _sights(table: Table) -> tuple[Vertices, Edges]:
    """Round inlays on the rails beside the sights' places on the nose lines."""
    L, W = table.length_mm / 2, table.width_mm / 2
    parts = [(np.zeros((0, 8), np.float32), np.zeros((0, 16), np.float32))]
    up = np.array([0.0, 0.0, 1.0])
    turn = np.linspace(0, 2 * np.pi, 21)[:-1]
    circle = SIGHT_RADIUS_MM * np.stack([np.cos(turn), np.sin(turn)], -1)
    for x, y in table.sights_mm():
        long_rail = abs(abs(y) - W) < abs(abs(x) - L)
        if long_rail and abs(x) < 1e-6:
            continue  # the side pocket's place
        at = (x, np.sign(y) * (W + SIGHT_OFFSET_MM)) if long_rail else (np.sign(x) * (L + SIGHT_OFFSET_MM), y)
        z = TOP_MM + 0.4
        rim = feather(_lifted(np.array(at) + circle, z), up, SIGHT, closed=True, seam=True)
        parts.append((_disc((float(at[0]), float(at[1])), SIGHT_RADIUS_MM, z, SIGHT, 1.0, 20), rim))
    return _joined(parts)
