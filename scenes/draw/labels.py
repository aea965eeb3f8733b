"""What stands on the frame itself: text, plates, leaders, shades, pips and the glyph of a hit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aimgeo.vectors import Array
from scenes.board import HitGlyph, Leader, Line, Mark, Pips, Plate, Shade, Text
from scenes.draw.lines import draw_line, draw_mark
from scenes.draw.paths import Gradient, Path, circle, ellipse, faded, polyline, rgba, rounded_rect
from scenes.draw.view import View
from scenes.look.fonts import run
from scenes.look.look import TypeStyle
from scenes.look.scale import plate_sizes, sample_px, second_px


def draw_text(text: Text, view: View) -> list[Path]:
    """A line of text in a type style. Raises ValueError for an unknown style or alignment."""
    if text.style not in view.look.types:
        raise ValueError(f"no type style {text.style!r}; there are {', '.join(view.look.types)}")
    style = view.look.types[text.style]
    size = view.scale.text_px(text.style)
    back = {"left": 0.0, "centre": 0.5, "right": 1.0}
    if text.align not in back:
        raise ValueError(f"no alignment {text.align!r}; there are {', '.join(back)}")
    x = text.at_px[0] - back[text.align] * run(text.text, style.face).width * size
    return _set(text.text, style, (x, text.at_px[1]), size, view)


def _set(text: str, style: TypeStyle, at: tuple[float, float], size: float, view: View) -> list[Path]:
    curves, colour = run(text, style.face).curves, view.look.colour(style.colour)
    return [Path(curves * size + np.array(at), fill=rgba(colour, view.strength))] if len(curves) else []


def draw_plate(plate: Plate, view: View) -> list[Path]:
    """A label: dark plate, a sample of the line or mark that it names, text; outlined while it is new."""
    look = view.look
    style, sizes = look.types["label"], plate_sizes(view.scale)
    x, y, width, height = plate.rect_px
    box = rounded_rect(x, y, width, height, sizes.radius_px)
    paths = [Path(box, fill=rgba(look.plate, look.plate_opacity))]
    if view.fresh > 0:
        outline = rgba(look.front, view.fresh)
        paths.append(Path(box, stroke=outline, width_px=sizes.outline_px))
    at = x + sizes.padding_px
    if plate.sample is not None:
        length = sample_px(view.scale, plate.sample)
        paths += _sample(plate.sample, at, y + height / 2, length, view)
        at += length + sizes.sample_gap_px
    below = second_px(view.scale) if plate.second else 0.0
    baseline = y + (height - sizes.height_px - below) / 2 + sizes.baseline_px
    paths += _set(plate.text, style, (at, baseline), view.scale.text_px("label"), view)
    return paths + _set(
        plate.second, look.types["small"], (at, baseline + below), view.scale.text_px("small"), view
    )


def _sample(role: str, x: float, y: float, length: float, view: View) -> list[Path]:
    """A piece of the line as it is drawn, without a casing: the plate is its ground; or a mark."""
    plain = replace(view, kind="table", drawn=1.0)
    if role in view.look.marks:
        return draw_mark(Mark((x + length / 2, y, 0.0), role), plain)
    style = view.line_style(role)
    width = view.scale.stroke_px(style.width_px * 0.75)
    half = width / 2
    paths = draw_line(Line(((x + half, y, 0.0), (x + length - half, y, 0.0)), role), plain)
    return paths[1:]


def draw_leader(leader: Leader, view: View) -> list[Path]:
    """A thin cased line from a label to what it names."""
    curves = polyline(leader.points_px)
    width = view.scale.stroke_px(3)
    return [
        Path(curves, stroke=rgba(view.look.casing, view.look.casing_opacity), width_px=2 * width, cap="butt"),
        Path(curves, stroke=rgba(view.look.front, view.strength), width_px=width, cap="butt"),
    ]


def draw_shade(shade: Shade, view: View) -> list[Path]:
    """A rectangle in a style; a plain one that is being drawn, its left part. Raises ValueError for an unknown
    style."""
    x, y, width, height = shade.rect_px
    if shade.style == "band":
        return _band(x, y, width, height, view)
    front, look = view.look.front, view.look
    fills = {
        "scrim": rgba(look.plate, look.scrim_opacity),
        "surround": rgba(look.surround),
        "plate": rgba(look.plate, look.plate_opacity),
        "gutter": rgba(look.plate),
        "row": rgba(front, 0.10),
        "row_bar": rgba(front),
        "finger": rgba(look.object_rim),
        "hairline": rgba(front, 0.16),
        "measure_bar": rgba(front),
    }
    if shade.style == "scrim_top":
        return [_fading(x, y, width, height, view)]
    if shade.style == "window_edge":
        box, width_px = rounded_rect(x, y, width, height, shade.radius_px), view.scale.stroke_px(2.5)
        casing = rgba(look.casing, look.casing_opacity)
        return [Path(box, stroke=casing, width_px=2 * width_px), Path(box, stroke=rgba(front), width_px=width_px)]
    if shade.style not in fills:
        raise ValueError(f"no shade {shade.style!r}; there are band, scrim_top, window_edge, {', '.join(fills)}")
    wide = width * view.drawn
    box = rounded_rect(x, y, wide, height, min(shade.radius_px, wide / 2))
    return [Path(box, fill=faded(fills[shade.style], view.strength))]


def _fading(x: float, y: float, width: float, height: float, view: View) -> Path:
    """Covered at the top, clear at the bottom: for Cairo a circle so large that its edge is nearly straight."""
    far = 28000.0
    veil, opacity = rgba(view.look.plate), view.look.scrim_opacity
    held = height * view.look.scrim_held
    edge = (far + held) / (far + height)
    stops = [(0.0, faded(veil, opacity)), (edge, faded(veil, opacity))]
    stops += [
        (edge + (1 - edge) * t, faded(veil, opacity * (1 - t) ** 1.5 * (1 + 1.5 * t)))
        for t in (0.35, 0.6, 0.8, 1.0)
    ]
    centre = (x + width / 2, y - far)
    return Path(
        rounded_rect(x, y, width, height, 0.0),
        fill=veil,
        gradient=Gradient(centre, centre, far + height, tuple(stops)),
    )


def _band(x: float, y: float, width: float, height: float, view: View) -> list[Path]:
    """The gap of a broken stage: nothing of the picture below shows, its edges torn in a zigzag."""
    deep, pitch = view.scale.px(13), view.scale.px(28)
    teeth = max(2, 2 * round(width / pitch / 2))
    xs = np.linspace(x, x + width, teeth + 1)
    up = np.arange(teeth + 1) % 2 * deep
    top, bottom = np.stack([xs, y + up], -1), np.stack([xs, y + height - deep + up], -1)
    edge = rgba(view.look.secondary, 0.8)
    paths = [Path(polyline([*top, *bottom[::-1]], closed=True), fill=rgba(view.look.plate))]
    line = view.scale.stroke_px(2.5)
    return paths + [Path(polyline(e), stroke=edge, width_px=line) for e in (top, bottom)]


def draw_pips(pips: Pips, view: View) -> list[Path]:
    """One pip a step: done ones light, the present one long, the coming ones dim."""
    x, y = pips.at_px
    height = view.scale.px(12)
    front, paths = rgba(view.look.front), []
    for i, (left, width) in enumerate(view.scale.pips_px(pips.count, pips.now)):
        alpha = 1.0 if i == pips.now else 0.86 if i < pips.now else 0.3
        pip = rounded_rect(x + left, y - height / 2, width, height, height / 2)
        paths.append(Path(pip, fill=faded(front, alpha)))
    return paths


def draw_hit_glyph(glyph: HitGlyph, view: View) -> list[Path]:
    """Object ball and dashed ghost seen along the aim, their overlap light."""
    look, r = view.look, glyph.radius_px
    at = np.array(glyph.at_px)
    ghost = at + np.array([glyph.offset * r, 0.0])
    width = view.scale.stroke_px(2.5)
    paths = [
        Path(circle(at, r), fill=rgba(look.object_rim)),
        Path(circle(at, r - width), fill=rgba(look.object_ball)),
    ]
    if abs(glyph.offset) < 2:
        paths.append(Path(_lens(at, ghost, r), fill=rgba(look.object_rim)))
    # the rim where it lies outside of the object ball: on their overlap it would chew the light edge
    n = 20
    starts = (np.arange(n) * 2 * np.pi / n).tolist()
    arcs = [ellipse(ghost, r * np.eye(2), t, t + 1.15 * np.pi / n) for t in starts]
    rim = [arc for arc in arcs if min(np.linalg.norm(arc[0, 0] - at), np.linalg.norm(arc[-1, 3] - at)) > r - width]
    if not rim:  # a full hit: the two circles are one
        return paths
    paths.append(Path(np.concatenate(rim), stroke=rgba(look.front), width_px=width, cap="butt"))
    return paths


def _lens(a: Array, b: Array, r: float) -> Array:
    """Curves of the overlap of two circles of radius r."""
    gap = float(np.linalg.norm(b - a))
    if gap == 0:
        return circle(a, r)
    turn = float(np.arctan2(*(b - a)[::-1]))
    half = float(np.arccos(gap / 2 / r))
    first = ellipse(a, r * np.eye(2), turn - half, turn + half)
    second = ellipse(b, r * np.eye(2), turn + np.pi - half, turn + np.pi + half)
    second[0, 0], second[-1, -1] = first[-1, -1], first[0, 0]
    return np.concatenate([first, second])
