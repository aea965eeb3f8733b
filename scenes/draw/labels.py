"""What stands on the frame itself: text, plates, leaders, shades, pips and the glyph of a hit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aimgeo.vectors import Array
from scenes.board import HitGlyph, Leader, Line, Mark, Pips, Plate, Shade, Text
from scenes.draw.lines import MARKS, draw_line, draw_mark
from scenes.draw.paths import Gradient, Path, circle, ellipse, faded, polyline, rgba, rounded_rect
from scenes.draw.view import View
from scenes.look.fonts import run
from scenes.look.theme import TypeStyle, plate_sizes


def draw_text(text: Text, view: View) -> list[Path]:
    """A line of text in a type style. Raises ValueError for an unknown style or alignment."""
    if text.style not in view.theme.types:
        raise ValueError(f"no type style {text.style!r}; there are {', '.join(view.theme.types)}")
    style = view.theme.types[text.style]
    size = view.scale.text_px(style)
    back = {"left": 0.0, "centre": 0.5, "right": 1.0}
    if text.align not in back:
        raise ValueError(f"no alignment {text.align!r}; there are {', '.join(back)}")
    x = text.at_px[0] - back[text.align] * run(text.text, style.face).width * size
    return _set(text.text, style, (x, text.at_px[1]), size, view.strength)


def _set(text: str, style: TypeStyle, at: tuple[float, float], size: float, strength: float) -> list[Path]:
    curves = run(text, style.face).curves
    return [Path(curves * size + np.array(at), fill=rgba(style.colour, strength))] if len(curves) else []


def draw_plate(plate: Plate, view: View) -> list[Path]:
    """A label: dark plate, a sample of the line or mark that it names, text; outlined while it is new."""
    theme = view.theme
    style = theme.types["label"]
    sizes = plate_sizes(view.scale, style)
    x, y, width, height = plate.rect_px
    box = rounded_rect(x, y, width, height, sizes.radius_px)
    paths = [Path(box, fill=rgba(theme.plate, theme.plate_opacity))]
    if view.fresh > 0:
        outline = rgba(theme.white, view.fresh)
        paths.append(Path(box, stroke=outline, width_px=sizes.outline_px))
    at = x + sizes.padding_px
    if plate.sample is not None:
        lead = sizes.sample_lead_px(plate.sample)
        paths += _sample(plate.sample, at, y + height / 2, lead - sizes.sample_gap_px, view)
        at += lead
    baseline = y + (height - sizes.height_px) / 2 + sizes.baseline_px
    return paths + _set(plate.text, style, (at, baseline), view.scale.text_px(style), view.strength)


def _sample(role: str, x: float, y: float, length: float, view: View) -> list[Path]:
    """A piece of the line as it is drawn, without a casing: the plate is its ground; or a mark."""
    flat = np.array([[1.0, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]])
    plain = replace(view, P=flat, kind="table", drawn=1.0)
    if role in MARKS:
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
        Path(curves, stroke=rgba(view.theme.ink, view.theme.casing_opacity), width_px=2 * width, cap="butt"),
        Path(curves, stroke=rgba(view.theme.white, view.strength), width_px=width, cap="butt"),
    ]


def draw_shade(shade: Shade, view: View) -> list[Path]:
    """A rectangle in a style. Raises ValueError for an unknown one."""
    x, y, width, height = shade.rect_px
    if shade.style == "band":
        return _band(x, y, width, height, view)
    white, theme = view.theme.white, view.theme
    fills = {
        "scrim": rgba(theme.plate, 0.86),
        "surround": rgba(theme.surround),
        "plate": rgba(theme.plate, theme.plate_opacity),
        "gutter": rgba(theme.plate),
        "row": rgba(white, 0.10),
        "row_bar": rgba(white),
        "hairline": rgba(white, 0.16),
        "measure_bar": rgba(white),
    }
    if shade.style == "scrim_top":
        return [_fading(x, y, width, height, view)]
    if shade.style == "window_edge":
        box, width_px = rounded_rect(x, y, width, height, shade.radius_px), view.scale.stroke_px(2.5)
        casing = rgba(theme.ink, theme.casing_opacity)
        return [Path(box, stroke=casing, width_px=2 * width_px), Path(box, stroke=rgba(white), width_px=width_px)]
    if shade.style not in fills:
        raise ValueError(f"no shade {shade.style!r}; there are band, scrim_top, window_edge, {', '.join(fills)}")
    return [
        Path(rounded_rect(x, y, width, height, shade.radius_px), fill=faded(fills[shade.style], view.strength))
    ]


def _fading(x: float, y: float, width: float, height: float, view: View) -> Path:
    """Dark at the top, gone at the bottom. Cairo is given a circle so large that its edge is nearly straight."""
    far = 28000.0
    dark = rgba(view.theme.plate)
    edge = far / (far + height)
    stops = [(0.0, faded(dark, 0.86)), (edge, faded(dark, 0.86))]
    stops += [
        (edge + (1 - edge) * t, faded(dark, 0.86 * (1 - t) ** 1.5 * (1 + 1.5 * t))) for t in (0.35, 0.6, 0.8, 1.0)
    ]
    centre = (x + width / 2, y - far)
    return Path(
        rounded_rect(x, y, width, height, 0.0),
        fill=dark,
        gradient=Gradient(centre, centre, far + height, tuple(stops)),
    )


def _band(x: float, y: float, width: float, height: float, view: View) -> list[Path]:
    """The gap of a broken stage: nothing of the picture below shows, its edges torn in a zigzag."""
    deep, pitch = view.scale.px(13), view.scale.px(28)
    teeth = max(2, 2 * round(width / pitch / 2))
    xs = np.linspace(x, x + width, teeth + 1)
    up = np.arange(teeth + 1) % 2 * deep
    top, bottom = np.stack([xs, y + up], -1), np.stack([xs, y + height - deep + up], -1)
    edge = rgba(view.theme.secondary, 0.8)
    paths = [Path(polyline([*top, *bottom[::-1]], closed=True), fill=rgba(view.theme.plate))]
    line = view.scale.stroke_px(2.5)
    return paths + [Path(polyline(e), stroke=edge, width_px=line) for e in (top, bottom)]


def draw_pips(pips: Pips, view: View) -> list[Path]:
    """One pip a step: done ones light, the present one long, the coming ones dim."""
    x, y = pips.at_px
    height = view.scale.px(12)
    white, paths = rgba(view.theme.white), []
    for i, (left, width) in enumerate(view.scale.pips_px(pips.count, pips.now)):
        alpha = 1.0 if i == pips.now else 0.86 if i < pips.now else 0.3
        pip = rounded_rect(x + left, y - height / 2, width, height, height / 2)
        paths.append(Path(pip, fill=faded(white, alpha)))
    return paths


def draw_hit_glyph(glyph: HitGlyph, view: View) -> list[Path]:
    """Object ball and dashed ghost seen along the aim, their overlap light."""
    theme, r = view.theme, glyph.radius_px
    at = np.array(glyph.at_px)
    ghost = at + np.array([glyph.offset * r, 0.0])
    width = view.scale.stroke_px(2.5)
    paths = [
        Path(circle(at, r), fill=rgba(theme.object_rim)),
        Path(circle(at, r - width), fill=rgba(theme.object_ball)),
    ]
    if abs(glyph.offset) < 2:
        paths.append(Path(_lens(at, ghost, r), fill=rgba(theme.object_rim)))
    n = 20
    rim = [ellipse(ghost, r * np.eye(2), t, t + 1.15 * np.pi / n) for t in (np.arange(n) * 2 * np.pi / n).tolist()]
    paths.append(Path(np.concatenate(rim), stroke=rgba(theme.white), width_px=width, cap="butt"))
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
