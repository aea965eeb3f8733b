"""Balls, circles and arcs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aimgeo.camera import Outline, ball_outline, circle_outline, eye_of, rays
from aimgeo.hidden import is_hidden_by
from aimgeo.vectors import Array, BoolArray
from scenes.board import Arc, Ball, Halo, Ring
from scenes.board.painted import DISC_PART, DOT_PART, STRIPE_PART, STRIPED_FROM
from scenes.draw.paths import (
    Gradient,
    Path,
    dashes,
    ellipse,
    faded,
    polyline,
    reversed_curves,
    rgba,
    toned,
    unit_arcs,
)
from scenes.draw.view import View
from scenes.look.fonts import CAP_HEIGHT, Face, run

NUMBER_FACE = Face(700, 28, True)


def draw_ball(ball: Ball, view: View) -> list[Path]:
    """A ball. Its outermost edge, or for a ghost the middle of its dashed rim, is the exact outline."""
    outline = ball_outline(view.P, np.array(ball.centre_mm), ball.radius_mm)
    if not outline.is_seen:
        return []
    if ball.look == "ghost":
        return _ghost_rim(ball, outline, view) if view.rendered else _ghost(outline, view)
    look = view.look
    body, rim = ball.colour or look.ball(ball.look), look.rim("object" if ball.colour else ball.look)
    if view.rendered:
        # a cue ball's rim is the plate's to paint: there the cue lies over it
        paths = _rim(outline, look.object_rim, view) if ball.look == "object" else []
        return [*paths, *_number(ball, outline, view)]
    # level with the balls there is no cloth behind them to lie on
    paths = _shadow(outline, look.shadow_opacity) if view.kind != "front" else []
    inner = outline
    if rim:
        paths.append(Path(_curves(outline), fill=rgba(rim)))
        inner = outline.grown(-_rim_px(outline, view))
    paths.append(Path(_curves(inner), fill=rgba(body), gradient=_shading(inner, body)))
    paths += [*_painted(ball, inner, view), *_number(ball, inner, view)]
    if ball.look == "cue" and not rim and outline.mean_radius_px > 18 * view.scale.k:
        width = view.scale.stroke_px(min(2.0, outline.mean_radius_px / view.scale.k / 40))
        paths.append(Path(_curves(outline.scaled(0.9)), stroke=rgba(look.ink, 0.55), width_px=width))
    return paths


LEAST_NUMBER_PX, LEAST_DOT_PX = 7.0, 1.5
"""A smaller disc holds no number that can be read; a smaller mark is a speck."""
FIGURE_PART = 1.25
"""How high a number is, of its disc's radius."""


def _painted(ball: Ball, outline: Outline, view: View) -> list[Path]:
    """Band, discs and rolling marks of a ball whose body is drawn."""
    if view.axes is None:
        return []
    facing, across, upright = view.axes.T
    solid, look = _Solid(ball, outline, view), view.look
    if ball.marks:
        if DOT_PART * outline.mean_radius_px < LEAST_DOT_PX * view.scale.k:
            return []
        ways = [sign * axis for axis in (facing, across, upright) for sign in (1, -1)]
        return [
            Path(curves, fill=rgba(look.ink)) for way in ways if (curves := solid.cap(way, DOT_PART)) is not None
        ]
    paths = []
    if ball.number >= STRIPED_FROM:
        white = look.cue_ball
        edge = float(np.sqrt(1 - STRIPE_PART**2))
        caps = [solid.cap(sign * upright, edge) for sign in (1, -1)]
        paths = [Path(c, fill=rgba(white), gradient=_shading(outline, white)) for c in caps if c is not None]
    if DISC_PART * outline.mean_radius_px >= LEAST_NUMBER_PX * view.scale.k:
        discs = [solid.cap(sign * facing, DISC_PART) for sign in (1, -1)]
        paths += [Path(disc, fill=rgba("#FFFFFF")) for disc in discs if disc is not None]
    return paths


def _number(ball: Ball, outline: Outline, view: View) -> list[Path]:
    """The number on its discs, bent as the ball is, where it can be seen."""
    if view.axes is None or not ball.number or DISC_PART * outline.mean_radius_px < LEAST_NUMBER_PX * view.scale.k:
        return []
    facing, across, upright = view.axes.T
    solid = _Solid(ball, outline, view)
    line = run(str(ball.number), NUMBER_FACE)
    size = FIGURE_PART * DISC_PART
    flat = (line.curves + np.array([-line.width / 2, CAP_HEIGHT / 2])) * size
    for sign in (1, -1):
        # from behind, right is the other way
        ways = sign * facing + flat[..., :1] * sign * across - flat[..., 1:] * upright
        curves = solid.seen(ways)
        if curves is not None:
            return [Path(curves, fill=rgba("#101010"))]
    return []


class _Solid:
    """A ball's surface under a view: what of it is seen, and where."""

    def __init__(self, ball: Ball, outline: Outline, view: View) -> None:
        self.view, self.centre_mm = view, np.array(ball.centre_mm)
        whole = ball_outline(view.P, self.centre_mm, ball.radius_mm)
        # inside the ball's rim
        self.radius_mm = ball.radius_mm * float(outline.mean_radius_px / whole.mean_radius_px)
        if np.any(view.P[2, :3]):
            off = eye_of(view.P) - self.centre_mm
            self.toward, self.limb = off / np.linalg.norm(off), self.radius_mm / float(np.linalg.norm(off))
        else:
            self.toward, self.limb = np.array([0.0, 0.0, 1.0]), 0.0

    def cap(self, way: Array, part: float) -> Array | None:
        """The outline, as curves, of a cap around a direction, `part` of the radius wide; None when hidden."""
        if float(way @ self.toward) < self.limb * np.sqrt(1 - part**2) - part * np.sqrt(1 - self.limb**2):
            return None
        side = np.cross(way, [0.0, 0.0, 1.0] if abs(way[2]) < 0.9 else [1.0, 0.0, 0.0])
        side /= np.linalg.norm(side)
        turn = np.linspace(0, 2 * np.pi, 49)[:-1, None]
        around = np.cos(turn) * side + np.sin(turn) * np.cross(way, side)
        points = np.sqrt(1 - part**2) * way + part * around
        # what lies behind the limb stands on it: the cap ends there
        depth = points @ self.toward
        off = points - depth[:, None] * self.toward
        on_limb = off / np.linalg.norm(off, axis=-1, keepdims=True)
        limb = self.limb * self.toward + np.sqrt(1 - self.limb**2) * on_limb
        points = np.where((depth < self.limb)[:, None], limb, points)
        return polyline(self.view.px(self.centre_mm + self.radius_mm * points), closed=True)

    def seen(self, ways: Array) -> Array | None:
        """Curves (n, 4, 2) of directions (n, 4, 3) of any length; None where any of them is out of sight."""
        at = ways / np.linalg.norm(ways, axis=-1, keepdims=True)
        if (at @ self.toward < self.limb).any():
            return None
        points = self.centre_mm + self.radius_mm * at
        if self.view.bodies and _are_hidden(points.reshape(-1, 3), self.view).any():
            return None
        return self.view.px(points)


def _curves(outline: Outline) -> Array:
    return ellipse(outline.centre_px, outline.axes_px)


def _rim_px(outline: Outline, view: View) -> float:
    """3 px, 5 for a big ball, never more than a sixth of a small one."""
    radius_px = outline.mean_radius_px
    big = min(max(radius_px / view.scale.k / 100, 0.6), 1.0)
    return min(view.scale.stroke_px(5 * big), radius_px / 6)


def _rim(outline: Outline, colour: str, view: View) -> list[Path]:
    inner = outline.grown(-_rim_px(outline, view))
    ring = np.concatenate([_curves(outline), reversed_curves(_curves(inner))])
    return [Path(ring, fill=rgba(colour))]


def _shading(outline: Outline, colour: str) -> Gradient:
    """5 % lighter up-left, 10 % darker at the rim."""
    c, r = outline.centre_px, outline.mean_radius_px
    base = rgba(colour)
    focus = c - r * np.array([0.32, 0.38])
    stops = ((0.0, toned(base, 0.06)), (0.55, base), (0.85, toned(base, -0.05)), (1.0, toned(base, -0.11)))
    return Gradient((float(focus[0]), float(focus[1])), (float(c[0]), float(c[1])), 1.02 * r, stops)


def _shadow(outline: Outline, opacity: float) -> list[Path]:
    """Soft, just below: dark at the outline, gone at 1.22 radii."""
    r = outline.mean_radius_px
    low = Outline(outline.centre_px + np.array([0.0, 0.07 * r]), outline.axes_px * 1.22)
    centre = (float(low.centre_px[0]), float(low.centre_px[1]))
    dark = rgba("#000000")
    stops = (
        (0.0, faded(dark, opacity)),
        (0.74, faded(dark, 0.84 * opacity)),
        (0.86, faded(dark, 0.32 * opacity)),
        (1.0, faded(dark, 0.0)),
    )
    return [Path(_curves(low), fill=dark, gradient=Gradient(centre, centre, 1.22 * r, stops))]


def _ghost(outline: Outline, view: View) -> list[Path]:
    """A pale body; a cased rim of 12 to 28 dashes."""
    front, r = rgba(view.look.front), outline.mean_radius_px
    width = min(view.scale.stroke_px(3.5), r / 5)
    count = min(max(round(2 * np.pi * r / view.scale.stroke_px(22)), 12), 28)
    rim = unit_arcs(count, 0.6) @ outline.axes_px.T + outline.centre_px
    casing = faded(rgba(view.look.casing), view.look.casing_opacity * 0.75)
    return [
        Path(_curves(outline), fill=faded(front, view.look.ghost_opacity)),
        Path(_curves(outline), stroke=casing, width_px=2 * width),
        Path(rim, stroke=faded(front, view.strength), width_px=width, cap="butt"),
    ]


def _ghost_rim(ball: Ball, outline: Outline, view: View) -> list[Path]:
    """Over a rendered table, which shows the ghost's body: the dashes and casing that no ball hides."""
    _, casing, dashed = _ghost(outline, view)
    arcs = unit_arcs(120, 1.0) @ outline.axes_px.T + outline.centre_px
    middles = np.concatenate([dashed.curves[:, [0, 3]].mean(axis=1), arcs.mean(axis=1)])
    seen = ~_are_hidden(_touched_mm(middles, ball, view), view)
    dashes = len(dashed.curves)
    return [
        replace(casing, curves=arcs[seen[dashes:]], cap="butt"),
        replace(dashed, curves=dashed.curves[seen[:dashes]]),
    ]


def _are_hidden(points_mm: Array, view: View) -> BoolArray:
    """Which points (n, 3) any of the balls hides."""
    if not view.bodies:
        return np.zeros(len(points_mm), bool)
    centres, radii = (np.array([getattr(b, name) for b in view.bodies]) for name in ("centre_mm", "radius_mm"))
    return np.asarray(is_hidden_by(eye_of(view.P), points_mm[:, None], centres, radii).any(axis=1))


def _touched_mm(px: Array, ball: Ball | Halo, view: View) -> Array:
    """Where the rays of pixels (n, 2) at a ball's outline touch it, (n, 3)."""
    eye, ways = eye_of(view.P), rays(view.P, px)
    return np.asarray(eye + ways * (ways @ (np.array(ball.centre_mm) - eye))[:, None], float)


def draw_halo(halo: Halo, view: View) -> list[Path]:
    """A thin circle around a ball, as the outline of a larger ball: what no ball before it hides."""
    outline = ball_outline(view.P, np.array(halo.centre_mm), halo.radius_mm)
    if not outline.is_seen:
        return []
    rim = _curves(outline)
    if view.bodies:
        arcs = unit_arcs(120, 1.0) @ outline.axes_px.T + outline.centre_px
        rim = arcs[~_are_hidden(_touched_mm(arcs.mean(axis=1), halo, view), view)]
    casing = rgba(view.look.casing, view.look.casing_opacity)
    width = min(view.scale.stroke_px(2.5), outline.mean_radius_px / 12)
    return [
        Path(rim, stroke=casing, width_px=2.2 * width),
        Path(rim, stroke=rgba(view.look.front, view.strength), width_px=width),
    ]


def draw_ring(ring: Ring, view: View) -> list[Path]:
    """A thin horizontal circle, cased, in the style's colour and pattern."""
    outline = circle_outline(view.P, np.array(ring.centre_mm), ring.radius_mm)
    if not outline.is_seen:
        return []
    style = view.line_style(ring.style)
    width = view.line_px(min(style.width_px, 4))
    end = 2 * np.pi * view.drawn
    whole = ellipse(outline.centre_px, outline.axes_px, 0.0, end)
    core = whole
    if style.dash:
        r = outline.mean_radius_px
        count = max(6, round(2 * np.pi * r / (width * sum(style.dash))))
        unit = 2 * np.pi / count / sum(style.dash)
        pieces = dashes(end, [d * unit for d in style.dash])
        core = np.concatenate(
            [ellipse(outline.centre_px, outline.axes_px, a, max(b, a + 0.05 / r)) for a, b in pieces if a < end]
        )
    casing = rgba(view.look.casing, view.look.casing_opacity)
    return [
        Path(whole, stroke=casing, width_px=width + view.scale.stroke_px(3)),
        Path(core, stroke=rgba(style.colour, view.strength), width_px=width),
    ]


def draw_arc(arc: Arc, view: View) -> list[Path]:
    """A pale sector with a white edge."""
    end = arc.from_rad + (arc.to_rad - arc.from_rad) * view.drawn
    angles = np.linspace(arc.from_rad, end, max(2, int(abs(end - arc.from_rad) / 0.03) + 2))
    centre = np.array(arc.centre_mm)
    around = np.stack([np.cos(angles), np.sin(angles), 0 * angles], -1)
    edge = view.px(centre + arc.radius_mm * around)
    corner = view.px(centre)
    if not (np.isfinite(edge).all() and np.isfinite(corner).all()):
        return []
    front, width = rgba(view.look.front), view.line_px(4)
    casing = rgba(view.look.casing, view.look.casing_opacity)
    return [
        Path(polyline([corner, *edge], closed=True), fill=faded(front, 0.16)),
        Path(polyline(edge), stroke=casing, width_px=width + view.scale.stroke_px(4)),
        Path(polyline(edge), stroke=faded(front, view.strength), width_px=width),
    ]
