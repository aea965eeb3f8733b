"""Paints a plate: table, balls and cue under one projection, with OpenGL and without a window.

Each ball is a quad just large enough for its outline; every pixel of it intersects its ray with the sphere, takes
its coverage from the distance to the exact outline ellipse and writes the depth of the point hit. The table is
triangles whose edges are drawn once more as lines that fade over a pixel in their surface's own colour: smoother
than four samples a pixel, and twice as fast in software.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import cache
from typing import Any

import moderngl
import numpy as np
from numpy.typing import NDArray

from aimgeo.camera import ball_outline, depth, pixels
from aimgeo.tables import Table
from aimgeo.vectors import Array
from scenes.look.look import Look, Surfaces, rgb
from scenes.plate.cue import CueStick, cue_mesh, cue_shadow
from scenes.plate.values import (
    CORNERS,
    NEAR_MM,
    PARTS,
    BallBody,
    Batch,
    State,
    drawn,
    program,
    surface_values,
    table_batches,
    uniforms,
    weave,
)

Picture = NDArray[np.uint8]

SHADOW_RADII = 5.0
"""How far a ball's shadow reaches, in its radii, as shadow.vert.glsl has it."""


class NoOpenGLError(RuntimeError):
    """No OpenGL 3.3 can be had on this machine; the message says what to install."""


@cache
def _context() -> Any:
    """One context a process, shared by all painters."""
    reasons = []
    for backend in ("egl", "default"):
        choice: dict[str, Any] = {"backend": backend} if backend != "default" else {}
        try:
            context = moderngl.create_context(standalone=True, require=330, **choice)
        except Exception as fault:  # noqa: BLE001 - drivers fail in their own ways; all mean the same here
            reasons.append(f"{backend}: {fault}")
            continue
        context.gc_mode = "auto"  # buffers of a frame go with their Python objects
        return context
    raise NoOpenGLError(
        "the player's-eye views need OpenGL 3.3, and none could be opened "
        f"({'; '.join(reasons)}). On Debian or Ubuntu: apt-get install libegl1 libgl1-mesa-dri "
        "(software rendering is enough, no graphics card is needed)."
    )


def renderer_name() -> str:
    """Name and version of the OpenGL renderer that paints here. Raises NoOpenGLError."""
    told = _context().info
    return f"{told['GL_RENDERER']}, {told['GL_VERSION']}"


@cache
def _program(part: str, surfaces: Surfaces) -> Any:
    """A program that wears a look's surfaces."""
    vertex, fragment = program(part)
    made = _context().program(vertex_shader=vertex, fragment_shader=fragment)
    for name, value in surface_values(surfaces).items():
        if name in made:
            made[name].write(value.tobytes())
    return made


@cache
def _weave() -> Any:
    """The tile of cloth with its mip chain."""
    tile = weave()
    texture = _context().texture(tile.shape[::-1], 1, tile.tobytes())
    texture.build_mipmaps()
    texture.filter = (moderngl.LINEAR_MIPMAP_NEAREST, moderngl.LINEAR)
    texture.repeat_x = texture.repeat_y = True
    return texture


_STATES = {
    "cover": ("1", False, True),
    "over": ("1", True, False),
    "solid": ("<=", False, True),
    "soft": ("<=", True, True),
}
"""Depth function, whether it blends, whether it looks at the depth."""


class PlatePainter:
    """Paints plates of one size, table (None: an endless cloth) and look. Not for use from several threads."""

    def __init__(self, table: Table | None, width_px: int, height_px: int, look: Look) -> None:
        gl = self._gl = _context()
        self.size_px = (width_px, height_px)
        self._canvas = gl.framebuffer(gl.renderbuffer(self.size_px, 4), gl.depth_renderbuffer(self.size_px))
        self._pixels = np.empty((height_px, width_px, 4), np.uint8)
        self._look, self._table = look, table_batches(table)
        self._arrays = {id(batch): self._array(batch) for batch in self._table.all()}
        self._painted: tuple[bytes, Counter[BallBody | CueStick]] | None = None

    def paint(self, P: Array, balls: Sequence[BallBody] = (), cue: CueStick | None = None) -> Picture:
        """The plate (height, width, 4) as RGBA, opaque, top row first.

        P (3, 4): (u, v, w) = P (x, y, z, 1), pixel (u/w, v/w) of this plate, x right, y down, (0, 0) the outer
        corner of the top-left pixel; w > 0 in front. The picture is valid until the next call. A ball that
        reaches the plane through the eye is left out.
        """
        P = np.asarray(P, float)
        P = P / np.linalg.norm(P[2, :3])
        region = self._region(P, Counter([*balls, cue] if cue else balls))
        if region[2] <= region[0] or region[3] <= region[1]:
            return self._pixels
        left, top, right, bottom = region
        viewport = left, top, right - left, bottom - top
        self._aim(P)
        self._canvas.use()
        self._canvas.scissor = viewport
        self._canvas.clear(*rgb(self._look.surfaces.surround), 1.0, depth=1.0, viewport=viewport)
        self._gl.blend_func = (
            moderngl.SRC_ALPHA,
            moderngl.ONE_MINUS_SRC_ALPHA,
            moderngl.ONE,
            moderngl.ONE_MINUS_SRC_ALPHA,
        )
        _weave().use(0)
        for state, batch in drawn(self._table, P, balls, cue, self._look):
            self._draw(state, batch)
        read = self._canvas.read(viewport, components=4, alignment=1)
        self._pixels[top:bottom, left:right] = np.frombuffer(read, np.uint8).reshape(bottom - top, right - left, 4)
        return self._pixels

    def _region(self, P: Array, bodies: Counter[BallBody | CueStick]) -> tuple[int, int, int, int]:
        """Left, top, right and bottom of what differs from the last plate: all of it when the eye has moved."""
        width, height = self.size_px
        last, self._painted = self._painted, (P.tobytes(), bodies)
        if last is None or last[0] != self._painted[0]:
            return 0, 0, width, height
        reached = [_reach_px(P, body) for body in (last[1] - bodies) + (bodies - last[1])]
        if any(px is None for px in reached):
            return 0, 0, width, height
        px = np.concatenate([np.zeros((0, 2)), *(px for px in reached if px is not None)])
        if not len(px):
            return 0, 0, 0, 0
        # two pixels: the soft edges of outlines
        (left, top), (right, bottom) = np.floor(px.min(0) - 2).tolist(), np.ceil(px.max(0) + 2).tolist()
        return max(int(left), 0), max(int(top), 0), min(int(right), width), min(int(bottom), height)

    def _aim(self, P: Array) -> None:
        """Hand the projection to the programs."""
        values = uniforms(P, self.size_px, self._table.half_bed_mm)
        for part in PARTS:
            program = _program(part, self._look.surfaces)
            for name, value in values.items():
                if name in program:
                    program[name].write(value.tobytes())

    def _draw(self, state: State, batch: Batch) -> None:
        array = self._arrays.get(id(batch)) or self._array(batch)
        if array is None:
            return
        depth_func, blends, looks = _STATES[state]
        self._gl.enable_only(moderngl.BLEND * blends | moderngl.DEPTH_TEST * looks)
        self._gl.depth_func = depth_func
        array.render(moderngl.TRIANGLE_STRIP if batch.part in CORNERS else moderngl.TRIANGLES)

    def _array(self, batch: Batch) -> Any:
        """A batch as its program's attributes: a row a vertex, or a row for each copy of a quad's corners."""
        if not len(batch.rows):
            return None
        program = _program(batch.part, self._look.surfaces)
        # a shader's unused inputs are dropped by its compiler
        known = [name for name, _ in batch.layout if name in program]
        form = " ".join(f"{count}f" if name in program else f"{count}x4" for name, count in batch.layout)
        content = [(self._gl.buffer(batch.rows.tobytes()), form, *known)]
        corners = CORNERS.get(batch.part)
        if corners:
            quad = self._gl.buffer(np.array(corners, "f4").tobytes())
            content = [(quad, "2f", "corner"), (content[0][0], form + " /i", *known)]
        array = self._gl.vertex_array(program, content)
        if corners:
            array.instances = len(batch.rows)
        return array


def _reach_px(P: Array, body: BallBody | CueStick) -> Array | None:
    """Points (n, 2) around every pixel that a body and its shadow touch; None for a ball at the eye's plane."""
    if isinstance(body, CueStick):
        return _seen_corners(P, np.concatenate([cue_mesh(body), cue_shadow(body)])[:, :3].reshape(-1, 3, 3))
    outline = ball_outline(P, body.centre_mm, body.radius_mm)
    if not outline.is_seen:
        return None
    centre, half = outline.centre_px, outline.half_box_px()
    square = SHADOW_RADII * body.radius_mm * np.array([[-1.0, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]])
    shadow = _seen_corners(P, (np.array([*body.centre_mm[:2], 0.0]) + square)[None])
    return np.concatenate([[centre - half, centre + half], shadow])


def _seen_corners(P: Array, polygons: Array) -> Array:
    """The corners (n, 2) in pixels of what lies before the near plane of polygons (m, k, 3)."""
    at, after = polygons.astype(float), np.roll(polygons.astype(float), -1, axis=1)
    w, w_after = depth(P, at), depth(P, after)
    crossing = (w < NEAR_MM) != (w_after < NEAR_MM)
    t = (NEAR_MM - w[crossing]) / (w_after[crossing] - w[crossing])
    cut = at[crossing] + t[:, None] * (after[crossing] - at[crossing])
    return pixels(P, np.concatenate([at[w >= NEAR_MM], cut]))
