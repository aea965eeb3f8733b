"""What a plate is made of: the programs' values and rows of floats, in the order in which they are drawn.

OpenGL paints from them here, and a page of the live view draws the same with WebGL. Nothing here knows either.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cache, lru_cache
from importlib.resources import files
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from aimgeo.camera import ball_outline, depth, eye_of
from aimgeo.tables import Table
from aimgeo.vectors import Array
from scenes.look.look import Look, Surfaces, rgb
from scenes.plate.cue import CueStick, cue_edges, cue_mesh, cue_shadow
from scenes.plate.mesh import endless_mesh, table_mesh

Floats = NDArray[np.float32]

NEAR_MM, FAR_MM = 20.0, 30000.0
GLOSS = {"cue": 0.55, "object": 0.50, "other": 0.45, "ghost": 0.0}

PARTS = {
    "bed": ("table", ("light", "bed.frag")),
    "shade": ("table", ("shade.frag",)),
    "hole": ("table", ("hole.frag",)),
    "solid": ("table", ("light", "surface", "solid.frag")),
    "edge": ("edge", ("light", "surface", "edge.frag")),
    "shadow": ("shadow", ("light", "shadow.frag")),
    "ball": ("ball", ("light", "ball.frag")),
}
"""Each program's vertex shader, and the texts that make its fragment shader."""

State = Literal["cover", "over", "solid", "soft"]
"""How a batch meets what is there: 'cover' goes over all and sets the depth, 'over' blends and leaves the depth,
'solid' stands before what is farther, 'soft' does so blended."""

VERTEX = (("at_mm", 3), ("normal", 3), ("material_shade", 2))
PIECE = (("from_mm", 3), ("to_mm", 3), ("from_normal", 3), ("to_normal", 3), ("material_shades", 4))
BODY = (("box", 4), ("sphere", 4), ("tint", 3), ("outline", 4), ("more", 3), ("edge", 4),
        ("facing", 4), ("upright", 3), ("second", 3))  # fmt: skip
SHADOW = (("corner", 2), ("ball", 3), ("height_opacity", 2))
CORNERS = {"edge": ((0, -1), (1, -1), (0, 1), (1, 1)), "ball": ((-1, -1), (1, -1), (-1, 1), (1, 1))}
"""Programs whose rows are each drawn as a quad: the attribute `corner` of its four vertices."""


@dataclass(frozen=True, slots=True)
class Painted:
    """What is painted on a ball: 'numbered', 'striped' or 'marks'; where its number is and what its band runs
    around, as unit vectors. The figures themselves are drawn over the plate.
    """

    what: Literal["numbered", "striped", "marks"]
    facing: tuple[float, float, float]
    upright: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class BallBody:
    """A ball to paint: centre (x, y, z) and radius in mm; look 'cue', 'object', 'other' or 'ghost'.

    A cue ball gets its look's rim, `rim_px` wide and at most a sixth of its radius.
    """

    centre_mm: tuple[float, float, float]
    radius_mm: float
    look: str
    opacity: float = 1.0
    rim_px: float = 0.0
    colour: str | None = None
    paint: Painted | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Rows (n, k) of a program: `layout` names the attributes that a row holds, with their counts of floats."""

    part: str
    layout: tuple[tuple[str, int], ...]
    rows: Floats


@dataclass(frozen=True, slots=True, eq=False)
class TableBatches:
    """A table's batches, which never change, and half its bed in mm."""

    bed: Batch
    shades: Batch
    holes: Batch
    solids: Batch
    edges: Batch
    half_bed_mm: tuple[float, float]

    def all(self) -> tuple[Batch, ...]:
        """All of them."""
        return (self.bed, self.shades, self.holes, self.solids, self.edges)


@cache
def table_batches(table: Table | None) -> TableBatches:
    """The batches of a table (None: an endless cloth)."""
    mesh = table_mesh(table) if table else endless_mesh()
    half = (table.length_mm / 2, table.width_mm / 2) if table else (20000.0, 20000.0)
    return TableBatches(
        _batch("bed", VERTEX, mesh.bed),
        _batch("shade", VERTEX, mesh.shades),
        _batch("hole", VERTEX, mesh.holes),
        _batch("solid", VERTEX, mesh.solids),
        _batch("edge", PIECE, mesh.edges),
        half,
    )


def drawn(
    table: TableBatches, P: Array, balls: Sequence[BallBody], cue: CueStick | None, look: Look
) -> Iterator[tuple[State, Batch]]:
    """Everything that a plate shows under a projection of unit depth row, the first to be drawn first."""
    yield "cover", table.bed
    yield "over", table.shades
    yield "over", _shadows([ball for ball in balls if ball.look != "ghost"])
    if cue:
        yield "over", _batch("shade", VERTEX, cue_shadow(cue))
    yield "cover", table.holes
    yield "solid", table.solids
    yield "soft", table.edges
    yield "soft", _bodies(P, balls, look)
    if cue:
        yield "soft", _batch("solid", VERTEX, cue_mesh(cue))
        yield "soft", _batch("edge", PIECE, cue_edges(cue, eye_of(P)))


def uniforms(P: Array, size_px: tuple[int, int], half_bed_mm: tuple[float, float]) -> Mapping[str, Floats]:
    """The programs' values by name, matrices column after column, for a projection of unit depth row.

    Rows of the picture grow downwards and OpenGL's upwards: read from the bottom, the top row comes first.
    """
    width, height = size_px
    a = (FAR_MM + NEAR_MM) / (FAR_MM - NEAR_MM)
    b = -2 * FAR_MM * NEAR_MM / (FAR_MM - NEAR_MM)
    clip = np.stack([2 * P[0] / width - P[2], 2 * P[1] / height - P[2], a * P[2] + [0, 0, 0, b], P[2]])
    inverse = np.linalg.inv(P[:, :3])
    focal_px = float(np.linalg.norm(np.cross(P[0, :3], P[2, :3])))
    values = {
        "clip_from_table": clip.T,
        "ray_from_pixel": inverse.T,
        "eye_mm": -inverse @ P[:, 3],
        "half_bed_mm": half_bed_mm,
        "depth_terms": (a, b),
        "depth_row": P[2],
        "pixel_rad": 1 / focal_px,
        "size_px": size_px,
    }
    return {name: np.asarray(value, np.float32).ravel() for name, value in values.items()}


@lru_cache(maxsize=16)
def surface_values(surfaces: Surfaces) -> Mapping[str, Floats]:
    """A look's surfaces by name, for the programs: colours as red, green and blue, 0 to 1."""
    values = {field.name: getattr(surfaces, field.name) for field in fields(surfaces)}
    return {
        name: np.asarray(rgb(value) if isinstance(value, str) else value, np.float32).ravel()
        for name, value in values.items()
    }


@cache
def weave() -> NDArray[np.uint8]:
    """A small tile of cloth (512, 512): crossed threads of uneven strength, made here."""
    size, threads = 512, 64
    rng = np.random.default_rng(7)
    y, x = np.mgrid[0:size, 0:size] * (threads * np.pi / size)
    over = np.where((np.floor(x / np.pi) + np.floor(y / np.pi)) % 2 == 0, np.abs(np.sin(x)), np.abs(np.sin(y)))
    slubs = rng.normal(0, 1, (threads, 1)).repeat(size // threads, 0) + rng.normal(0, 1, (1, threads)).repeat(
        size // threads, 1
    )
    cloud = np.real(np.fft.ifft2(np.fft.fft2(rng.normal(0, 1, (size, size))) * _low_pass(size)))
    tile = 0.5 + 0.30 * (over - over.mean()) + 0.035 * slubs + 0.10 * cloud / cloud.std()
    return (np.clip(tile, 0, 1) * 255).astype(np.uint8)


def _low_pass(size: int) -> Array:
    f = np.fft.fftfreq(size)
    return np.asarray(np.exp(-((f[:, None] ** 2 + f[None, :] ** 2) * 14.0**2)), float)


@cache
def source(name: str) -> str:
    """A shader's text."""
    return files("scenes.plate").joinpath(f"{name}.glsl").read_text("utf-8")


def program(part: str, head: str = "#version 330\n") -> tuple[str, str]:
    """A program's vertex and fragment shader. The same texts serve OpenGL 3.3 and OpenGL ES 3.00 (WebGL 2)."""
    vertex, fragment = PARTS[part]
    head += source("common")
    return head + source(f"{vertex}.vert"), head + "".join(source(text) for text in fragment)


def _shadows(balls: Sequence[BallBody]) -> Batch:
    quad = [(-1, -1), (1, -1), (1, 1), (-1, -1), (1, 1), (-1, 1)]
    rows = [(*q, *b.centre_mm[:2], b.radius_mm, b.centre_mm[2], b.opacity) for b in balls for q in quad]
    return _batch("shadow", SHADOW, rows)


def _bodies(P: Array, balls: Sequence[BallBody], look: Look) -> Batch:
    if not balls:
        return _batch("ball", BODY, [])
    balls = sorted(balls, key=lambda b: -float(depth(P, b.centre_mm)))
    seen = ball_outline(P, [b.centre_mm for b in balls], [b.radius_mm for b in balls])
    half = seen.half_box_px() + 1.5
    inverse = np.linalg.inv(seen.axes_px)
    forms = inverse @ inverse  # A of (p - c)' A (p - c) = 1
    rows = []
    for n in np.flatnonzero(seen.is_seen):
        ball, c, A = balls[n], seen.centre_px[n], forms[n]
        box = (*(c - half[n]), *(c + half[n]))
        sphere = (*ball.centre_mm, ball.radius_mm)
        covers = ball.opacity * (-look.ghost_opacity if ball.look == "ghost" else 1.0)
        more = (A[1, 1], GLOSS[ball.look], covers)
        rows.append(
            (
                *box,
                *sphere,
                *rgb(ball.colour or look.ball(ball.look)),
                *c,
                A[0, 0],
                A[0, 1],
                *more,
                *_edge(ball, float(half[n].min()), look),
                *_paint(ball, look),
            )
        )
    return _batch("ball", BODY, rows)


def _edge(ball: BallBody, radius_px: float, look: Look) -> tuple[float, float, float, float]:
    if ball.look != "cue" or look.cue_rim is None:
        return (0.0, 0.0, 0.0, 0.0)
    return (*rgb(look.cue_rim), min(ball.rim_px, radius_px / 6))


def _paint(ball: BallBody, look: Look) -> tuple[float, ...]:
    if ball.paint is None:
        return (0.0,) * 10
    second = look.ink if ball.paint.what == "marks" else look.cue_ball
    kind = 1.0 + ("numbered", "striped", "marks").index(ball.paint.what)
    return (*ball.paint.facing, kind, *ball.paint.upright, *rgb(second))


def _batch(
    part: str, layout: tuple[tuple[str, int], ...], rows: Sequence[Sequence[float]] | Array | Floats
) -> Batch:
    width = sum(count for _, count in layout)
    return Batch(part, layout, np.ascontiguousarray(rows, np.float32).reshape(-1, width))
