"""What a board shows when nothing moves, as the manifest tells it. Plain values, no Manim.

Everything drawn and not hidden is told: with it and the pictures alone anyone can check that what is drawn stands
where it was computed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from aimgeo.camera import Outline, ball_outline, depth, eye_of, pixels
from aimgeo.hidden import rest
from aimgeo.vectors import Array
from scenes.board import Ball, Board, Element, FilmedCamera, Line, Mark, Move, Pane, Plate, Rect, Shade, Text
from scenes.board.brief import LOWER_THIRD
from scenes.draw.view import Body, behind_noses, hidden_spans

LEAST_S = 0.25
"""Shorter rests are not told."""
MOST_PICTURES = 8
"""So many frames of a roll are told, its first and its last among them."""
FALLING_MM = 1e-6
"""A ball so far below the cloth falls."""
COVERING = ("band", "surround", "plate", "gutter")
"""Shades through which nothing can be seen."""


def still_stretches(board: Board) -> list[dict[str, Any]]:
    """The manifest's `still`: every stretch of frames with one picture, its panes, what they show, its labels."""
    least = max(2, round(LEAST_S * board.rate[0] / board.rate[1]))
    return [
        {
            "first_frame": first,
            "end_frame": end,
            "panes": panes(board, first),
            "labels": labels(board, first),
        }
        for first, end in board.still_stretches(least)
    ]


def rolls(board: Board) -> list[dict[str, Any]]:
    """The manifest's `rolls`: every stretch in which balls roll, and some of its frames with the balls in them.

    Of a ball that falls into its pocket, or is not wholly there, nothing is told.
    """
    moving = [(e, m) for e in board.elements if isinstance(e.shape, Ball) for m in e.offset_mm.moves if m.through]
    edges = sorted({m.first_frame for _, m in moving} | {m.end_frame for _, m in moving})
    stretches: list[tuple[int, int]] = []
    for first, end in pairwise(edges):
        if any(m.first_frame < end and first < m.end_frame for _, m in moving):
            if stretches and stretches[-1][1] == first:
                first = stretches.pop()[0]
            stretches.append((first, end))
    out = []
    for first, end in stretches:
        count = min(MOST_PICTURES, end - first)
        frames = sorted({first + round(k * (end - 1 - first) / max(count - 1, 1)) for k in range(count)})
        seen = [(f, _rolling(board, f, [e for e, m in moving if _covers(m, f)])) for f in frames]
        pictures = [
            {"frame": f, "panes": told} for f, told in seen if any(pane["shows"]["balls"] for pane in told)
        ]
        if pictures:
            out.append({"first_frame": first, "end_frame": end, "pictures": pictures})
    return out


def _covers(move: Move, frame: int) -> bool:
    return move.first_frame <= frame < move.end_frame


def _rolling(board: Board, frame: int, balls: list[Element]) -> list[dict[str, Any]]:
    """The panes of a frame with those of the balls that roll on the cloth."""
    ids = frozenset(
        e.id for e in balls if e.opacity.at(frame) == (1.0,) and e.offset_mm.at(frame)[2] > -FALLING_MM
    )
    return panes(board, frame, ids)


def labels(board: Board, frame: int) -> list[dict[str, Any]]:
    """The labels of a frame: rectangle, text, and the role of what each names, if it names anything."""
    roles = {e.id: e.role for e in board.elements}
    third = [e for e in board.elements if e.role == LOWER_THIRD and e.is_visible(frame)]
    told = [
        {
            "rect_px": [float(v) for v in e.shape.rect_px],
            "text": " ".join(e.shape.text for e in third if isinstance(e.shape, Text)),
            "names": None,
        }
        for e in third
        if isinstance(e.shape, Shade) and e.id == LOWER_THIRD
    ]
    return told + [
        {
            "rect_px": [float(v) for v in e.shape.rect_px],
            "text": e.shape.text,
            "names": None if e.names is None else roles.get(e.names, e.names),
        }
        for e in board.elements
        if isinstance(e.shape, Plate) and e.is_visible(frame)
    ]


def panes(board: Board, frame: int, balls: frozenset[str] | None = None) -> list[dict[str, Any]]:
    """The panes of a frame that can be seen, the lowest first; of balls only those named, unless that is None."""
    out = []
    for i, pane in enumerate(board.panes):
        if pane.opacity.at(frame)[0] <= 0:
            continue
        sight = _Sight(
            pane, pane.projection(frame), frame, _covering(board, i, frame), _solid_balls(board, pane, frame)
        )
        out.append(
            {
                "rect_px": [float(v) for v in pane.rect_px],
                "view": pane.view,
                "projection": sight.P.tolist(),
                "shows": _shows(board, sight, balls),
                "lens": _lens(pane.camera) if isinstance(pane.camera, FilmedCamera) else None,
                "is_round": pane.is_round,
                "line_scale": pane.pen[0],
            }
        )
    return out


def _lens(camera: FilmedCamera) -> dict[str, Any]:
    return {
        "focal_px": float(camera.focal_px),
        "principal_px": [float(v) for v in camera.principal_px],
        "k1": float(camera.k1),
        "k2": float(camera.k2),
    }


@dataclass(frozen=True, slots=True)
class _Solid:
    """A ball that hides what is behind it: where it stands, its outline, its place in the order of painting."""

    body: Body
    outline: Outline
    order: tuple[int, int]


@dataclass(frozen=True, slots=True)
class _Sight:
    """A pane on a frame: its projection, the rectangles that lie over it, its solid balls.

    Where the table is rendered a ball hides what is behind it from the eye, elsewhere what is painted before it.
    """

    pane: Pane
    P: Array
    frame: int
    covers: tuple[Rect, ...]
    solids: tuple[_Solid, ...]

    @property
    def is_rendered(self) -> bool:
        """True for the rendered table of a player's eye."""
        return self.pane.has_real_balls

    def over(self, order: tuple[int, int]) -> list[_Solid]:
        """The balls painted after a place in the order of painting."""
        return [s for s in self.solids if s.order > order]


def _shows(board: Board, sight: _Sight, only: frozenset[str] | None) -> dict[str, Any]:
    balls, lines, points = [], [], []
    for i, element in enumerate(board.elements):
        if sight.pane.id not in element.panes or not element.is_visible(sight.frame):
            continue
        offset = np.array(element.offset_mm.at(sight.frame))
        shape, order = element.shape, (board.look.layers.index(element.layer), i)
        if isinstance(shape, Ball):
            radius = shape.radius_mm * element.size.at(sight.frame)[0]
            body = Body(element.id, np.array(shape.centre_mm) + offset, radius)
            if sight.pane.background == "footage" and shape.look != "ghost":
                continue  # a real ball: it hides, but nothing of it is drawn
            if (only is None or element.id in only) and _ball_is_seen(body, order, sight):
                balls.append({"role": element.role, "centre_mm": body.centre_mm.tolist(), "radius_mm": radius})
        elif isinstance(shape, Line):
            start, end = (np.array(p) + offset for p in shape.points_mm)
            end = start + element.drawn.at(sight.frame)[0] * (end - start)
            for piece in _seen_pieces(start, end, order, sight):
                lines.append({"role": element.role, "points_mm": piece.tolist()})
        elif isinstance(shape, Mark) and not shape.hollow:
            at = np.array(shape.at_mm) + offset
            px = pixels(sight.P, at[None])
            is_under = not sight.is_rendered and any(_within(px, s.outline)[0] for s in sight.over(order))
            if _open_px(px, sight)[0] and not is_under:
                points.append({"role": element.role, "at_mm": at.tolist()})
    return {"balls": balls, "lines": lines, "points": points}


def _ball_is_seen(body: Body, order: tuple[int, int], sight: _Sight) -> bool:
    """True when any of its outline, or its middle, lies open and under no other ball."""
    outline = ball_outline(sight.P, body.centre_mm, body.radius_mm)
    if not outline.is_seen:
        return False
    turns = np.linspace(0, 2 * np.pi, 49)[:-1]
    rim = outline.centre_px + np.stack([np.cos(turns), np.sin(turns)], -1) @ outline.axes_px.T
    px = np.concatenate([rim, outline.centre_px[None]])
    open_ = _open_px(px, sight)
    at = depth(sight.P, body.centre_mm)
    nearer = [s for s in sight.solids if depth(sight.P, s.body.centre_mm) < at - 1e-6]
    for solid in nearer if sight.is_rendered else sight.over(order):
        open_ &= ~_within(px, solid.outline)
    return bool(open_.any())


def _seen_pieces(start: Array, end: Array, order: tuple[int, int], sight: _Sight) -> Iterator[Array]:
    """The pieces (2, 3) of a line that no ball hides and that lie open, at least in part."""
    spans = []
    if sight.is_rendered:
        eye = eye_of(sight.P)
        (spans,) = hidden_spans(eye, start[None], end[None], [s.body for s in sight.solids])
        spans += behind_noses(eye, start, end, sight.pane.noses_mm)
    else:
        px = pixels(sight.P, np.stack([start, end]))
        if np.isfinite(px).all():
            crossed = [s.outline.inside(*px) for s in sight.over(order)]
            spans = [span for span in crossed if span is not None]
    for low, high in rest(spans):
        piece = np.stack([start + low * (end - start), start + high * (end - start)])
        t = np.linspace(0, 1, 129)[:, None]
        if _open_px(pixels(sight.P, piece[0] + t * (piece[1] - piece[0])), sight).any():
            yield piece


def _open_px(px: Array, sight: _Sight) -> np.ndarray:
    """Which of the pixels (n, 2) lie in the pane and under nothing that covers it."""
    if isinstance(sight.pane.camera, FilmedCamera):
        px = sight.pane.camera.bent(px)
    with np.errstate(invalid="ignore"):
        open_ = _in_rect(px, sight.pane.rect_px)
        if sight.pane.is_round:
            x, y, w, h = sight.pane.rect_px
            open_ &= np.linalg.norm(px - (x + w / 2, y + h / 2), axis=1) < w / 2
        for rect in sight.covers:
            open_ &= ~_in_rect(px, rect)
    return open_


def _in_rect(px: Array, rect: Rect) -> np.ndarray:
    x, y, width, height = rect
    return (px[:, 0] >= x) & (px[:, 0] <= x + width) & (px[:, 1] >= y) & (px[:, 1] <= y + height)


def _within(px: Array, outline: Outline) -> np.ndarray:
    inside: np.ndarray = np.linalg.norm((px - outline.centre_px) @ np.linalg.inv(outline.axes_px).T, axis=1) < 1
    return inside


def _covering(board: Board, index: int, frame: int) -> tuple[Rect, ...]:
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


def _solid_balls(board: Board, pane: Pane, frame: int) -> tuple[_Solid, ...]:
    """The balls of a pane through which nothing shows."""
    P, out = pane.projection(frame), []
    for i, e in enumerate(board.elements):
        if not isinstance(e.shape, Ball) or e.shape.look == "ghost" or pane.id not in e.panes:
            continue
        if e.opacity.at(frame)[0] < 1:
            continue
        centre = np.array(e.shape.centre_mm) + e.offset_mm.at(frame)
        body = Body(e.id, centre, e.shape.radius_mm * e.size.at(frame)[0])
        outline = ball_outline(P, centre, body.radius_mm)
        if outline.is_seen:
            out.append(_Solid(body, outline, (board.look.layers.index(e.layer), i)))
    return tuple(out)
