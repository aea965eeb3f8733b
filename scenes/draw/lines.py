"""Lines, their end marks, and bars between them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from aimgeo.camera import ball_outline, eye_of
from aimgeo.construct import Position
from aimgeo.hidden import rest
from aimgeo.vectors import Array
from scenes.board import Area, Bar, Line, Mark, Pixel
from scenes.draw.paths import DOT_PX, RGBA, Path, circle, dashes, ellipse, faded, polyline, rgba, straight
from scenes.draw.view import View
from scenes.look.look import LineStyle, MarkPart

ARROW_LENGTH = 3.9
"""Of an arrowhead, in core widths."""
MOST_OF_BALL = 0.75
"""A mark on a plan reaches over so much of a ball's radius at most."""

Span = tuple[float, float]


def draw_line(line: Line, view: View) -> list[Path]:
    """A line in its style: casing under the gaps too, core, barbs or arrowhead, and the pen while it is drawn."""
    whole = math.dist(*line.points_mm)
    length = whole * view.drawn
    if length <= 0:
        return []
    style = view.line_style(line.style)
    bend = length if line.faint_after_mm is None else min(line.faint_after_mm, length)
    paths: list[Path] = []
    if bend < length:
        # the faint part first: where they meet, the full part's round cap lies over it
        faint = replace(style, width_px=min(view.look.faint_px, style.width_px), casing_px=4)
        weaker = replace(view, strength=view.strength * view.look.faint_opacity)
        paths += _stretch(line, faint, (bend / whole, view.drawn), weaker, line.arrow)
    paths += _stretch(line, style, (0.0, bend / whole), view, line.arrow and bend == length)
    ends_mm = _part_mm(line, (0.0, view.drawn))
    if view.drawn < 1 and (end := view.segment_px(*ends_mm)) is not None and not _is_hidden(ends_mm[1], view):
        paths += _pen(end[1], view.line_px(style.width_px), view)
    return paths


def _is_hidden(at_mm: Position, view: View) -> bool:
    """True where a ball hides a place from the eye."""
    return bool(view.bodies) and any(body.hides(eye_of(view.P), np.array(at_mm)) for body in view.bodies)


def _part_mm(line: Line, part: Span) -> tuple[Position, Position]:
    """The ends of a part of a line, given in fractions of it."""
    (ax, ay, az), (bx, by, bz) = line.points_mm
    s, t = part
    return (
        (ax + s * (bx - ax), ay + s * (by - ay), az + s * (bz - az)),
        (ax + t * (bx - ax), ay + t * (by - ay), az + t * (bz - az)),
    )


def _stretch(line: Line, style: LineStyle, part: Span, view: View, arrow: bool) -> list[Path]:
    """A part of a line, given in fractions of it."""
    ends = view.segment_px(*_part_mm(line, part))
    length = 0.0 if ends is None else math.dist(*ends)
    if ends is None or length < DOT_PX:
        return []
    start, end = ends
    along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
    width = view.line_px(style.width_px)
    core = rgba(style.colour, view.strength)
    head: list[Path] = []
    if arrow:
        # the head grows out of the pen over the last seventh of the drawing
        size = ARROW_LENGTH * width * min(max((view.drawn - 0.86) / 0.14, 0.0), 1.0)
        head = _arrowhead(np.array(end), np.array(along), size, core, view)
        length = max(length - 0.8 * size, DOT_PX)
    if view.rendered:
        within = _behind_balls(line, part, start, length, view)
    else:
        within = _within_balls(line, style, start, along, length, view)
    outside = rest(within, length)
    pieces = dashes(length, [d * width for d in style.dash])
    casing = rgba(view.look.casing, view.look.casing_opacity)
    cased = width + view.casing_px(style.casing_px)
    # where a solid line meets its ink part both end square, exactly at the outline
    cap = "butt" if within and not style.dash else "round"
    runs = [(outside, casing, cased, cap), (_common(pieces, outside) if within else pieces, core, width, cap)]
    if within:
        ink = rgba(view.look.ink, view.strength)
        if view.rendered:
            dots = _common(_dotted(length, width), within)
            runs.append((dots, faded(ink, 0.6), 0.55 * width, "round"))
        else:
            runs.append((_common(pieces, within), ink, width, cap))
    paths = [_run(start, along, *one) for one in runs if one[0]]
    if style.barbs:
        paths += _barbs(np.array(start), np.array(along), length, style.barbs * width, width, core)
    return [p for p in paths if len(p.curves)] + head


def _within_balls(
    line: Line, style: LineStyle, start: Pixel, along: Pixel, length: float, view: View
) -> list[Span]:
    """Where a front-coloured line crosses a ball that it must turn to ink in, as lengths from its start."""
    if style.colour != view.look.front:
        return []
    end = np.array([start[0] + length * along[0], start[1] + length * along[1]])
    outlines = [view.outline(name) for name in line.ink_in]
    parts = [o.inside(np.array(start), end) for o in outlines if o is not None]
    return sorted((lo * length, hi * length) for lo, hi in (p for p in parts if p is not None))


def _behind_balls(line: Line, part: Span, start: Pixel, length: float, view: View) -> list[Span]:
    """Where balls hide a part of a line, as lengths from its start in the picture: joined, in order."""
    out = []
    for low, high in view.hidden:
        if low < part[1] and high > part[0]:
            edges = view.segment_px(*_part_mm(line, (max(low, part[0]), min(high, part[1]))))
            lengths = [] if edges is None else [min(math.dist(start, edge), length) for edge in edges]
            out += [(lengths[0], lengths[1])] if lengths else []
    shown = rest(out, length)
    return rest(shown, length)


def _dotted(length: float, width: float) -> list[Span]:
    """Short strokes: what a ball hides is told, and told as hidden."""
    return dashes(length, [0.9 * width, 1.3 * width])


def _common(pieces: list[Span], spans: list[Span]) -> list[Span]:
    return [
        (max(p, lo), min(q, hi))
        for p, q in pieces
        for lo, hi in spans
        if max(p, lo) < min(q, hi) or lo <= p == q <= hi
    ]


_THIRDS = np.array([[1, 2 / 3, 1 / 3, 0], [0, 1 / 3, 2 / 3, 1]])


def _run(start: Pixel, along: Pixel, spans: list[Span], colour: RGBA, width: float, cap: str) -> Path:
    """Pieces of a straight line."""
    lengths = np.array([(p, max(q, p + DOT_PX)) for p, q in spans]) @ _THIRDS
    return Path(np.array(start) + lengths[..., None] * np.array(along), stroke=colour, width_px=width, cap=cap)


def _arrowhead(tip: Array, along: Array, size: float, colour: RGBA, view: View) -> list[Path]:
    if size < 1:
        return []
    across = np.array([-along[1], along[0]])
    corners = [tip, tip - size * along + 0.42 * size * across, tip - size * along - 0.42 * size * across]
    edge = polyline(corners, closed=True)
    casing = rgba(view.look.casing, view.look.casing_opacity)
    # the core is opaque under an old line's colour, else the line's end would show through
    return [
        Path(edge, fill=casing, stroke=casing, width_px=view.casing_px(6)),
        Path(edge, fill=colour),
    ]


def _barbs(start: Array, along: Array, length: float, pitch: float, width: float, colour: RGBA) -> list[Path]:
    across = np.array([-along[1], along[0]])
    at = np.arange(pitch, length - width, pitch)[:, None]
    middle = start + at * along
    back = middle - 1.1 * width * along
    barbs = [straight(np.stack([middle, back + side * 1.5 * width * across], axis=1)) for side in (1, -1)]
    return [Path(np.concatenate(barbs), stroke=colour, width_px=0.7 * width)]


def _pen(at: Pixel, width: float, view: View) -> list[Path]:
    front = rgba(view.look.front)
    radius = max(width, view.pen[0] * view.scale.stroke_px(7))
    return [Path(circle(at, 2.6 * radius), fill=faded(front, 0.16)), Path(circle(at, radius), fill=front)]


# ------------------------------------------------------------------ marks


def draw_mark(mark: Mark, view: View) -> list[Path]:
    """A mark at a point. Raises ValueError for an unknown kind."""
    look = view.look
    if mark.kind not in look.marks:
        raise ValueError(f"no mark {mark.kind!r}; there are {', '.join(look.marks)}")
    at = view.px(np.array(mark.at_mm, float))
    if not np.isfinite(at).all():
        return []
    style = look.marks[mark.kind]
    unit = view.pen[1] * view.scale.line_px(4, view.kind) / 4
    unit = min(unit, _most_px(mark, view) / style.reach_px)
    if mark.hollow:
        return _hollow(at, unit, look.colour(style.hollow), view)
    paths = (_part(part, at, unit, rgba(look.colour(part.colour))) for part in style.parts)
    return [path.shown(view.strength) for path in paths]


def _most_px(mark: Mark, view: View) -> float:
    """How far a mark may reach: a third of the radius of the ball that it is on as an eye sees it, and so far on a
    plan that the rim of a ball that lies there is left free."""
    if view.ball_mm:
        return MOST_OF_BALL * view.ball_mm * float(np.hypot(*view.P[:2, 0]))
    at_mm = np.array(mark.at_mm, float)
    outlines = [
        ball_outline(view.P, body.centre_mm, body.radius_mm)
        for body in view.bodies
        if float(np.linalg.norm(at_mm - body.centre_mm)) < 2.2 * body.radius_mm
    ]
    return min((outline.mean_radius_px for outline in outlines if outline.is_seen), default=math.inf) / 3


def _hollow(at: Array, unit: float, colour: str, view: View) -> list[Path]:
    """A point that cannot be seen from here: an open broken ring."""
    starts = np.arange(6) * np.pi / 3
    ring = np.concatenate([ellipse(at, 10 * unit * np.eye(2), t, t + 0.62) for t in starts.tolist()])
    casing = rgba(view.look.casing, view.look.casing_opacity)
    return [
        Path(circle(at, 10 * unit), stroke=casing, width_px=8 * unit),
        Path(ring, stroke=rgba(colour, view.strength), width_px=3.5 * unit, cap="butt"),
    ]


def _part(part: MarkPart, at: Array, unit: float, colour: RGBA) -> Path:
    r = part.radius_px * unit
    if part.shape == "cross":
        arms = np.array([[[-r, 0.0], [r, 0.0]], [[0.0, -r], [0.0, r]]]) + at
        return Path(straight(arms), stroke=colour, width_px=3 * unit, cap="butt")
    if part.shape == "saltire":
        arms = np.array([[[-r, -r], [r, r]], [[-r, r], [r, -r]]]) + at
        return Path(straight(arms), stroke=colour, width_px=4 * unit, cap="butt")
    if part.shape == "diamond":
        corners = np.array([[0.0, -r], [r, 0.0], [0.0, r], [-r, 0.0]])
        return Path(polyline(at + corners, closed=True), fill=colour)
    return Path(circle(at, r), fill=colour)


# ------------------------------------------------------------------ areas and bars


def draw_area(area: Area, view: View) -> list[Path]:
    """A filled polygon: 'region' with its first edge heavy, 'window', 'band', or a plain thing in its colour.

    Of an area that is being drawn there is the left part.
    """
    points = view.px(np.array(area.points_mm, float))
    if not np.isfinite(points).all():
        return []
    if view.drawn < 1:
        points = _left_part(points, view.drawn)
    front, edge = rgba(view.look.front), polyline(points, closed=True)
    if area.style == "region":
        thin, heavy = view.scale.stroke_px(2), view.scale.stroke_px(6)
        return [
            Path(edge, fill=faded(front, 0.18), stroke=faded(front, 0.9), width_px=thin),
            Path(straight(points[None, :2]), stroke=front, width_px=heavy, cap="butt"),
        ]
    flat = {
        "head": view.look.other_ball,
        "cue_ball": view.look.cue_ball,
        "object_ball": view.look.object_ball,
        "bed": view.look.cloth_inset,
        "mouth": view.look.pocket,
        "wood": view.look.surfaces.cue_shaft,
    }
    if area.style in flat:
        return [Path(edge, fill=rgba(flat[area.style]))]
    fills = {"window": ("target_line", 0.22), "band": ("error_line", 0.22), "gain": ("target_line", 0.95),
             "loss": ("error_line", 0.45)}  # fmt: skip
    if area.style in fills:
        role, opacity = fills[area.style]
        return [Path(edge, fill=faded(rgba(view.look.lines[role].colour), opacity))]
    raise ValueError(f"no area style {area.style!r}; there are region, {', '.join((*fills, *flat))}")


def _left_part(points: Array, part: float) -> Array:
    """A polygon (n, 2) up to a part of its width."""
    left, right = points[:, 0].min(), points[:, 0].max()
    edge = left + part * (right - left)
    out = []
    for a, b in zip(points, np.roll(points, -1, axis=0), strict=True):
        if a[0] <= edge:
            out.append(a)
        if (a[0] - edge) * (b[0] - edge) < 0:
            out.append(a + (edge - a[0]) / (b[0] - a[0]) * (b - a))
    return np.array(out)


def draw_bar(bar: Bar, view: View) -> list[Path]:
    """Equal pieces between two points, like a map's scale: filled ones white, the others hollow."""
    start, end = view.px(np.array(bar.points_mm, float))
    length = float(np.linalg.norm(end - start))
    if not length > 0:
        return []
    along = (end - start) / length
    across, half = np.array([-along[1], along[0]]), view.scale.stroke_px(11)

    def piece(first: float, last: float, inset: float) -> Array:
        ends = (start + (first * length + inset) * along, start + (last * length - inset) * along)
        h = (half - inset) * across
        return polyline([ends[0] - h, ends[1] - h, ends[1] + h, ends[0] + h], closed=True)

    casing, front, line = rgba(view.look.casing), rgba(view.look.front), view.scale.stroke_px(3.5)
    paths = [
        Path(piece(0, 1, -view.scale.stroke_px(4)), fill=faded(casing, 0.92)),
        Path(piece(0, 1, 0), fill=faded(front, view.strength)),
    ]
    hollow = [(i / bar.pieces, (i + 1) / bar.pieces) for i in range(bar.filled, bar.pieces)]
    return paths + [Path(piece(a, b, line), fill=casing) for a, b in hollow]
