"""Paints a plate: table, balls and cue under one projection, with OpenGL and without a window.

Each ball is a quad just large enough for its outline; every pixel of it intersects its ray with the sphere, takes
its coverage from the distance to the exact outline ellipse and writes the depth of the point hit. The table is
triangles whose edges are drawn once more as lines that fade over a pixel in their surface's own colour: smoother
than four samples a pixel, and twice as fast in software.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import moderngl
import numpy as np
from numpy.typing import NDArray

from aimgeo.tables import Table
from aimgeo.vectors import Array
from scenes.plate.cue import cue_edges, cue_mesh, cue_shadow
from scenes.plate.mesh import Vertices, endless_mesh, table_mesh

Picture = NDArray[np.uint8]

NEAR_MM, FAR_MM = 20.0, 30000.0
SURROUND = (0.036, 0.075, 0.080)
TINTS = {
    "cue": (0.961, 0.941, 0.890),
    "object": (0.875, 0.416, 0.200),
    "other": (0.47, 0.56, 0.60),
    "ghost": (1.0, 1.0, 1.0),
}
GLOSS = {"cue": 0.55, "object": 0.50, "other": 0.45, "ghost": 0.0}
SHADOW_RADII = 5.0
"""How far a ball's shadow reaches, in its radii, as shadow.vert.glsl has it."""
VEIL = 0.13
"""How much a ghost ball covers."""


class NoOpenGLError(RuntimeError):
    """No OpenGL 3.3 can be had on this machine; the message says what to install."""


@dataclass(frozen=True, slots=True)
class BallBody:
    """A ball to paint: centre (x, y, z) and radius in mm; look 'cue', 'object', 'other' or 'ghost'."""

    centre_mm: tuple[float, float, float]
    radius_mm: float
    look: str
    opacity: float = 1.0


@dataclass(frozen=True, slots=True)
class CueStick:
    """A cue: the middle of its tip in mm, and the direction in which it points (any length)."""

    tip_mm: tuple[float, float, float]
    direction: tuple[float, float, float]


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


@cache
def _source(name: str) -> str:
    return files("scenes.plate").joinpath(name).read_text("utf-8")


def renderer_name() -> str:
    """Name and version of the OpenGL renderer that paints here. Raises NoOpenGLError."""
    told = _context().info
    return f"{told['GL_RENDERER']}, {told['GL_VERSION']}"


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


@cache
def _program(part: str) -> Any:
    vertex, fragment = PARTS[part]
    head = "#version 330\n" + _source("common.glsl")
    return _context().program(
        vertex_shader=head + _source(f"{vertex}.vert.glsl"),
        fragment_shader=head + "".join(_source(f"{text}.glsl") for text in fragment),
    )


@cache
def _weave() -> Any:
    """A small tile of cloth: crossed threads of uneven strength, made here, with its mip chain."""
    size, threads = 512, 64
    rng = np.random.default_rng(7)
    y, x = np.mgrid[0:size, 0:size] * (threads * np.pi / size)
    over = np.where((np.floor(x / np.pi) + np.floor(y / np.pi)) % 2 == 0, np.abs(np.sin(x)), np.abs(np.sin(y)))
    slubs = rng.normal(0, 1, (threads, 1)).repeat(size // threads, 0) + rng.normal(0, 1, (1, threads)).repeat(
        size // threads, 1
    )
    cloud = np.real(np.fft.ifft2(np.fft.fft2(rng.normal(0, 1, (size, size))) * _low_pass(size)))
    tile = 0.5 + 0.30 * (over - over.mean()) + 0.035 * slubs + 0.10 * cloud / cloud.std()
    texture = _context().texture((size, size), 1, (np.clip(tile, 0, 1) * 255).astype(np.uint8).tobytes())
    texture.build_mipmaps()
    texture.filter = (moderngl.LINEAR_MIPMAP_NEAREST, moderngl.LINEAR)
    texture.repeat_x = texture.repeat_y = True
    return texture


def _low_pass(size: int) -> Array:
    f = np.fft.fftfreq(size)
    return np.asarray(np.exp(-((f[:, None] ** 2 + f[None, :] ** 2) * 14.0**2)), float)


class PlatePainter:
    """Paints plates of one size for one table (None: an endless cloth). Not for use from several threads."""

    def __init__(self, table: Table | None, width_px: int, height_px: int) -> None:
        gl = self._gl = _context()
        self.size_px = (width_px, height_px)
        self._canvas = gl.framebuffer(gl.renderbuffer(self.size_px, 4), gl.depth_renderbuffer(self.size_px))
        self._pixels = np.empty((height_px, width_px, 4), np.uint8)
        mesh = table_mesh(table) if table else endless_mesh()
        self._half_bed = (table.length_mm / 2, table.width_mm / 2) if table else (20000.0, 20000.0)
        self._bed = self._triangles(mesh.bed, "bed")
        self._shades = self._triangles(mesh.shades, "shade")
        self._holes = self._triangles(mesh.holes, "hole")
        self._solids = self._triangles(mesh.solids, "solid")
        self._edges = self._feathers(mesh.edges)
        self._painted: tuple[bytes, Counter[BallBody | CueStick]] | None = None

    def paint(self, P: Array, balls: Sequence[BallBody] = (), cue: CueStick | None = None) -> Picture:
        """The plate (height, width, 4) as RGBA, opaque, top row first.

        P (3, 4): (u, v, w) = P (x, y, z, 1), pixel (u/w, v/w) of this plate, x right, y down, (0, 0) the outer
        corner of the top-left pixel; w > 0 in front. The picture is valid until the next call. A ball that
        reaches the plane through the eye is left out.
        """
        gl = self._gl
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
        self._canvas.clear(*SURROUND, 1.0, depth=1.0, viewport=viewport)
        gl.enable_only(moderngl.DEPTH_TEST)
        gl.depth_func = "1"
        gl.blend_func = (
            moderngl.SRC_ALPHA,
            moderngl.ONE_MINUS_SRC_ALPHA,
            moderngl.ONE,
            moderngl.ONE_MINUS_SRC_ALPHA,
        )
        _weave().use(0)
        _draw(self._bed)
        gl.enable_only(moderngl.BLEND)
        _draw(self._shades)
        _draw(self._shadows([ball for ball in balls if ball.look != "ghost"]))
        if cue:
            _draw(self._triangles(cue_shadow(cue), "shade"))
        gl.enable_only(moderngl.DEPTH_TEST)
        _draw(self._holes)
        gl.depth_func = "<="
        _draw(self._solids)
        gl.enable(moderngl.BLEND)
        _draw(self._edges, moderngl.TRIANGLE_STRIP)
        _draw(self._bodies(P, balls), moderngl.TRIANGLE_STRIP)
        if cue:
            _draw(self._triangles(cue_mesh(cue), "solid"))
            _draw(self._feathers(cue_edges(cue, _eye(P))), moderngl.TRIANGLE_STRIP)
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
        width, height = self.size_px
        a = (FAR_MM + NEAR_MM) / (FAR_MM - NEAR_MM)
        b = -2 * FAR_MM * NEAR_MM / (FAR_MM - NEAR_MM)
        # rows of the picture grow downwards and OpenGL's upwards: read from the bottom, the top row comes first
        clip = np.stack(
            [2 * P[0] / width - P[2], 2 * P[1] / height - P[2], a * P[2] + [0, 0, 0, b], P[2]],
        )
        inverse = np.linalg.inv(P[:, :3])
        focal_px = float(np.linalg.norm(np.cross(P[0, :3], P[2, :3])))
        values = {
            "clip_from_table": clip.T.astype("f4").tobytes(),
            "ray_from_pixel": inverse.T.astype("f4").tobytes(),
            "eye_mm": np.asarray(-inverse @ P[:, 3], "f4").tobytes(),
            "half_bed_mm": np.asarray(self._half_bed, "f4").tobytes(),
            "depth_terms": np.asarray([a, b], "f4").tobytes(),
            "depth_row": P[2].astype("f4").tobytes(),
            "pixel_rad": np.asarray([1 / focal_px], "f4").tobytes(),
            "size_px": np.asarray(self.size_px, "f4").tobytes(),
        }
        for part in PARTS:
            program = _program(part)
            for name, value in values.items():
                if name in program:
                    program[name].write(value)

    def _triangles(self, vertices: Vertices, part: str) -> Any:
        return self._array(part, vertices, (("at_mm", 3), ("normal", 3), ("material_shade", 2)))

    def _feathers(self, pieces: Vertices) -> Any:
        each = (("from_mm", 3), ("to_mm", 3), ("from_normal", 3), ("to_normal", 3), ("material_shades", 4))
        return self._array("edge", pieces, each, corners=[(0, -1), (1, -1), (0, 1), (1, 1)])

    def _array(
        self,
        part: str,
        rows: Array | Vertices,
        layout: Sequence[tuple[str, int]],
        corners: Sequence[tuple[int, int]] = (),
    ) -> Any:
        """Rows of floats as a program's attributes: one a vertex, or one for each copy of a quad's `corners`."""
        if not len(rows):
            return None
        program = _program(part)
        known = [
            name for name, _ in layout if name in program
        ]  # a shader's unused inputs are dropped by its compiler
        form = " ".join(f"{count}f" if name in program else f"{count}x4" for name, count in layout)
        content = [(self._gl.buffer(np.ascontiguousarray(rows, "f4").tobytes()), form, *known)]
        if corners:
            quad = self._gl.buffer(np.array(corners, "f4").tobytes())
            content = [(quad, "2f", "corner"), (content[0][0], form + " /i", *known)]
        array = self._gl.vertex_array(program, content)
        if corners:
            array.instances = len(rows)
        return array

    def _shadows(self, balls: Sequence[BallBody]) -> Any:
        quad = [(-1, -1), (1, -1), (1, 1), (-1, -1), (1, 1), (-1, 1)]
        rows = [(*q, *b.centre_mm[:2], b.radius_mm, b.centre_mm[2], b.opacity) for b in balls for q in quad]
        return self._array("shadow", np.array(rows), (("corner", 2), ("ball", 3), ("height_opacity", 2)))

    def _bodies(self, P: Array, balls: Sequence[BallBody]) -> Any:
        rows = []
        for ball in sorted(balls, key=lambda b: -float(P[2] @ [*b.centre_mm, 1.0])):
            outline = outline_terms(P, ball.centre_mm, ball.radius_mm)
            if outline is None:
                continue
            (cx, cy), A, (hx, hy) = outline
            box = (cx - hx - 1.5, cy - hy - 1.5, cx + hx + 1.5, cy + hy + 1.5)
            sphere = (*ball.centre_mm, ball.radius_mm)
            covers = ball.opacity * (-VEIL if ball.look == "ghost" else 1.0)
            more = (A[1, 1], GLOSS[ball.look], covers)
            rows.append((*box, *sphere, *TINTS[ball.look], cx, cy, A[0, 0], A[0, 1], *more))
        each = (("box", 4), ("sphere", 4), ("tint", 3), ("outline", 4), ("more", 3))
        return self._array("ball", np.array(rows), each, corners=[(-1, -1), (1, -1), (-1, 1), (1, 1)])


def _reach_px(P: Array, body: BallBody | CueStick) -> Array | None:
    """Points (n, 2) around every pixel that a body and its shadow touch; None for a ball at the eye's plane."""
    if isinstance(body, CueStick):
        return _seen_corners(P, np.concatenate([cue_mesh(body), cue_shadow(body)])[:, :3].reshape(-1, 3, 3))
    outline = outline_terms(P, body.centre_mm, body.radius_mm)
    if outline is None:
        return None
    centre, _, half = outline
    square = SHADOW_RADII * body.radius_mm * np.array([[-1.0, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]])
    shadow = _seen_corners(P, (np.array([*body.centre_mm[:2], 0.0]) + square)[None])
    return np.concatenate([[centre - half, centre + half], shadow])


def _seen_corners(P: Array, polygons: Array) -> Array:
    """The corners (n, 2) in pixels of what lies before the near plane of polygons (m, k, 3)."""
    uvw = polygons.astype(float) @ P[:, :3].T + P[:, 3]
    w, after = uvw[..., 2], np.roll(uvw, -1, axis=1)
    crossing = (w < NEAR_MM) != (after[..., 2] < NEAR_MM)
    a, b = uvw[crossing], after[crossing]
    t = (NEAR_MM - a[:, 2:]) / (b[:, 2:] - a[:, 2:])
    corners = np.concatenate([uvw[w >= NEAR_MM], a + t * (b - a)])
    return np.asarray(corners[:, :2] / corners[:, 2:], float)


def _eye(P: Array) -> Array:
    return np.asarray(-np.linalg.solve(P[:, :3], P[:, 3]), float)


def _draw(array: Any, mode: int = moderngl.TRIANGLES) -> None:
    if array is not None:
        array.render(mode)


def outline_terms(
    P: Array, centre_mm: Sequence[float], radius_mm: float
) -> tuple[Array, Array, tuple[float, float]] | None:
    """A ball's outline as centre c (2,), matrix A (2, 2) with (p - c)' A (p - c) = 1, and half its box, in pixels.

    None when the ball reaches the plane through the eye. The rays that touch a sphere project to the conic whose
    dual is P Q P', Q the sphere's dual quadric (Hartley and Zisserman, Multiple View Geometry, 2nd ed., 8.3).
    """
    C = np.append(np.asarray(centre_mm, float), 1.0)
    if P[2] @ C <= radius_mm * np.linalg.norm(P[2, :3]):
        return None
    Q = np.outer(C, C)
    Q[:3, :3] -= radius_mm**2 * np.eye(3)
    dual = P @ Q @ P.T
    dual /= dual[2, 2]
    c = dual[:2, 2]
    spread = np.outer(c, c) - dual[:2, :2]
    return (
        c,
        np.asarray(np.linalg.inv(spread), float),
        (float(np.sqrt(spread[0, 0])), float(np.sqrt(spread[1, 1]))),
    )
