"""What a board shows when nothing moves, as the manifest tells it. Plain values, no Manim.

Everything drawn and not hidden is told: with it and the pictures alone anyone can check that what is drawn stands
where it was computed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from aimgeo.vectors import Array
from scenes.board import Ball, Board, Element, EyeCamera, Line, Mark, Pane, Rect, Shade, project
from scenes.display import shifted
from scenes.draw.outline import Outline, ball_outline

LEAST_S = 0.25
"""Shorter rests are not told."""
COVERING = ("band", "surround", "plate", "gutter")
"""Shades through which nothing can be seen."""


def still_stretches(board: Board) -> list[dict[str, Any]]:
    """The manifest's `still`: every stretch of frames with one picture, with its panes and what they show."""
    least = max(2, round(LEAST_S * board.rate[0] / board.rate[1]))
    return [
        {"first_frame": first, "end_frame": end, "panes": panes(board, first)}
        for first, end in board.still_stretches(least)
    ]


def panes(board: Board, frame: int) -> list[dict[str, Any]]:
    """The panes of a frame that can be seen, the lowest first."""
    out = []
    for i, pane in enumerate(board.panes):
        if pane.opacity.at(frame)[0] <= 0:
            continue
        sight = _Sight(
            pane, pane.projection(frame), frame, _covers(board, i, frame), _solid_balls(board, pane, frame)
        )
        out.append(
            {
                "rect_px": [float(v) for v in pane.rect_px],
                "view": pane.view,
                "projection": sight.P.tolist(),
                "shows": _shows(board, sight),
            }
        )
    return out


@dataclass(frozen=True, slots=True)
class _Sight:
    """A pane on a frame: its projection, the rectangles that lie over it, its solid balls (outline, depth)."""

    pane: Pane
    P: Array
    frame: int
    covers: tuple[Rect, ...]
    solids: tuple[tuple[Outline, float], ...]


def _shows(board: Board, sight: _Sight) -> dict[str, Any]:
    balls, lines, points = [], [], []
    for element in board.elements:
        if sight.pane.id not in element.panes or not element.is_visible(sight.frame):
            continue
        offset = np.array(element.offset_mm.at(sight.frame))
        shape = element.shape
        if isinstance(shape, Ball):
            radius = shape.radius_mm * element.size.at(sight.frame)[0]
            centre = np.array(shape.centre_mm) + offset
            if _ball_is_seen(centre, radius, sight):
                balls.append({"role": element.role, "centre_mm": centre.tolist(), "radius_mm": radius})
        elif isinstance(shape, Line):
            start, end = (np.array(p) + offset for p in shape.points_mm)
            end = start + element.drawn.at(sight.frame)[0] * (end - start)
            if _line_is_seen(start, end, sight):
                lines.append({"role": element.role, "points_mm": [start.tolist(), end.tolist()]})
        elif isinstance(shape, Mark) and not shape.hollow:
            at = np.array(shape.at_mm) + offset
            if _open_px(project(sight.P, at[None]), sight)[0]:
                points.append({"role": element.role, "at_mm": at.tolist()})
    return {"balls": balls, "lines": lines, "points": points}


def _ball_is_seen(centre: Array, radius: float, sight: _Sight) -> bool:
    """True when any of its outline, or its middle, lies open and not behind a nearer ball."""
    outline = ball_outline(sight.P, centre, radius)
    if outline is None:
        return False
    turns = np.linspace(0, 2 * np.pi, 49)[:-1]
    rim = outline.centre_px + np.stack([np.cos(turns), np.sin(turns)], -1) @ outline.axes_px.T
    open_ = _open_px(np.concatenate([rim, outline.centre_px[None]]), sight)
    depth = float(sight.P[2, :3] @ centre + sight.P[2, 3])
    for other, other_depth in sight.solids:
        if other_depth < depth - radius / 2:
            open_ &= ~_within(np.concatenate([rim, outline.centre_px[None]]), other)
    return bool(open_.any())


def _line_is_seen(start: Array, end: Array, sight: _Sight) -> bool:
    t = np.linspace(0, 1, 129)[:, None]
    return bool(_open_px(project(sight.P, start + t * (end - start)), sight).any())


def _open_px(px: Array, sight: _Sight) -> np.ndarray:
    """Which of the pixels (n, 2) lie in the pane and under nothing that covers it."""
    with np.errstate(invalid="ignore"):
        open_ = _in_rect(px, sight.pane.rect_px)
        for rect in sight.covers:
            open_ &= ~_in_rect(px, rect)
    return open_


def _in_rect(px: Array, rect: Rect) -> np.ndarray:
    x, y, width, height = rect
    return (px[:, 0] >= x) & (px[:, 0] <= x + width) & (px[:, 1] >= y) & (px[:, 1] <= y + height)


def _within(px: Array, outline: Outline) -> np.ndarray:
    inside: np.ndarray = np.linalg.norm((px - outline.centre_px) @ np.linalg.inv(outline.axes_px).T, axis=1) < 1
    return inside


def _covers(board: Board, index: int, frame: int) -> tuple[Rect, ...]:
    """Rectangles over a pane: later panes with a background, and opaque shades on the frame."""
    over = [
        p.rect_px for p in board.panes[index + 1 :] if p.background is not None and p.opacity.at(frame)[0] >= 1
    ]
    over += [_shade_rect(e) for e in board.elements if not e.panes and _covers_all(e, frame)]
    return tuple(over)


def _covers_all(element: Element, frame: int) -> bool:
    is_cover = isinstance(element.shape, Shade) and element.shape.style in COVERING
    return is_cover and element.is_visible(frame) and element.opacity.at(frame)[0] >= 1


def _shade_rect(element: Element) -> Rect:
    assert isinstance(element.shape, Shade)
    return element.shape.rect_px


def _solid_balls(board: Board, pane: Pane, frame: int) -> tuple[tuple[Outline, float], ...]:
    """Outlines and depths of the balls that hide what is behind them; none when looking straight down."""
    if not isinstance(pane.camera, EyeCamera):
        return ()
    out = []
    for e in board.elements:
        if not isinstance(e.shape, Ball) or e.shape.look == "ghost" or pane.id not in e.panes:
            continue
        if not e.is_visible(frame):
            continue
        P = shifted(pane.projection(frame), e.offset_mm.at(frame))
        centre = np.array(e.shape.centre_mm)
        outline = ball_outline(P, centre, e.shape.radius_mm * e.size.at(frame)[0])
        if outline is not None:
            out.append((outline, float(P[2, :3] @ centre + P[2, 3])))
    return tuple(out)
