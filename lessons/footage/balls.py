"""Balls in a picture: a coarse place near a click, then the outline to a few tenths of a pixel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import inf, log2, pi
from typing import Any

import numpy as np
from numpy.typing import NDArray

from aimgeo.camera import Camera, project
from aimgeo.filmed import on_plane, rim_px
from aimgeo.vectors import Array
from lessons.footage.fit import REST, Rim
from lessons.footage.picture import Picture

RIM_PX = 0.3
"""One standard error of one place on an outline."""

POWER = 0.6
"""Of linear light: between light itself and what is shown."""

CHROMA = 0.8
"""How much colour counts beside brightness: video keeps it at half the resolution."""

NO_LINES = np.zeros((0, 2, 2))

LEAST_APART = 0.5
"""Of an outline of which less lies apart from the table's lines, what lies along them counts too."""


@dataclass(frozen=True, slots=True, eq=False)
class FoundBall:
    """A ball: centre (3,), its outline's places, the part of the outline that is seen, its radius in px."""

    centre_mm: Array
    rim: Rim
    seen: float
    radius_px: float


BLURS_PX = (0.5, 0.8, 1.2, 1.8, 2.6)


FAINT_PX = 12.0
"""Error of an edge in px, times the height of its step."""

WINDOWS = ((0.45, 3.0, 9.0), (0.28, 2.5, 6.0), (0.16, 2.0, 4.0), (0.16, 2.0, 4.0))
"""How far about an outline its edge is looked for, by rounds: parts of the ball's radius, and bounds in px. In the
end so near that a lamp mirrored in the ball lies outside."""

LEAST_LIT = 0.2
"""Light beyond white runs over an edge the farther the more of it there is, and lamps hang above: of places that
look sideways or down so much is lit."""

APART = 24
"""So many places of an outline speak for themselves: what moves one moves its neighbours too."""

WHOLE = 0.85
"""Outlines of which less is seen, other balls apart, may be a stripe's or a shadow's in part: all errors grow."""

LINE = 8.0
"""So much darker than what lies inside of it is a dark line."""

HALF = 0.55
"""Of less of an outline too few places are left to say which of them follow something else."""

AGREE_PX = 0.3
"""Places of a clear outline agree with it to so much; where they do less, all errors grow: some follow a stripe, a
shadow or a lamp.
"""

CLIPPED = 249.0
FOOT = 0.85
"""Cosine between the outward normal and the way down to the cloth: nearer than this is the ball's foot."""


def shades(picture: Picture) -> Picture:
    """A picture made fit for edges: brightness and two colours, on a scale between linear light and as shown."""
    p = np.clip(picture / 255, 0, 1)
    linear = np.where(p <= 0.04045, p / 12.92, ((p + 0.055) / 1.055) ** 2.4)
    v = (255 * linear**POWER).astype(np.float32)
    bright = v @ np.array([0.0722, 0.7152, 0.2126], np.float32)
    return np.stack([bright, CHROMA * (v[..., 0] - bright), CHROMA * (v[..., 2] - bright)], -1)


def sample(shade: Picture, at_px: Array) -> Array:
    """Values (..., 3) at pixels (..., 2), between the pixels' middles; the border's beyond it."""
    import cv2

    at = np.asarray(at_px, np.float32) - 0.5
    flat = at.reshape(-1, 1, 2)
    out = []
    for k in range(0, len(flat), 30_000):  # as many as a map may hold
        part = flat[k : k + 30_000]
        out.append(cv2.remap(shade, part[..., 0], part[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    return np.concatenate(out).reshape(*at.shape[:-1], 3).astype(float)


def outline_px(camera: Camera, centre_mm: Array, radius_mm: float, angles: Array) -> tuple[Array, Array]:
    """Pixels (..., K, 2) of outlines of balls (..., 3), and the normals (..., K, 2) that point out of them."""
    step = 1e-3
    px, after, before = (rim_px(camera, centre_mm, radius_mm, angles + turn) for turn in (0.0, step, -step))
    along = after - before
    normals = np.stack([along[..., 1], -along[..., 0]], -1) / np.maximum(
        np.linalg.norm(along, axis=-1, keepdims=True), 1e-12
    )
    outward = np.sum(normals * (px - px.mean(-2, keepdims=True)), (-2, -1)) > 0
    return px, np.where(outward[..., None, None], normals, -normals)


def mean_radius_px(camera: Camera, centre_mm: Array, radius_mm: float) -> float:
    """Mean radius of a ball in the picture."""
    px = rim_px(camera, centre_mm, radius_mm, np.linspace(0, 2 * pi, 24, endpoint=False))
    return float(np.linalg.norm(px - px.mean(0), axis=-1).mean())


def coarse(
    shade: Picture, camera: Camera, radius_mm: float, click_px: Array, taken_mm: Sequence[Array] = ()
) -> Array | None:
    """A ball's place (3,) near a click: where the colour changes most all along the outline; None off the bed.

    Where balls of `taken_mm` lie, no other can.
    """
    start = on_plane(camera, np.asarray(click_px, float), radius_mm)
    if not np.isfinite(start).all():
        return None
    angles = np.linspace(0, 2 * pi, 40, endpoint=False)
    radius = mean_radius_px(camera, start, radius_mm)
    if not np.isfinite(radius) or radius < 2.5:
        return None
    best = np.asarray(click_px, float)
    for reach, step in ((1.15 * radius, radius / 6), (radius / 5, radius / 24)):
        n = max(round(reach / step), 1)
        grid = np.stack(np.meshgrid(np.arange(-n, n + 1), np.arange(-n, n + 1)), -1).reshape(-1, 2) * step
        grid = grid[np.hypot(*grid.T) <= reach + 1e-9] + best
        places = on_plane(camera, grid, radius_mm)
        ok = np.isfinite(places).all(-1)
        grid, places = grid[ok], places[ok]
        if not len(grid):
            return None
        gap = max(1.0, 0.1 * radius)
        px, normals = outline_px(camera, places, radius_mm, angles)
        jump = np.linalg.norm(sample(shade, px + gap * normals) - sample(shade, px - gap * normals), axis=-1)
        # the sharpest step must stand on the outline, not a little beside it
        score = np.minimum(jump, 30.0).mean(-1) + 0.15 * np.sqrt(np.minimum(jump, 90.0)).mean(-1)
        for other in taken_mm:
            score -= np.where(np.linalg.norm((places - other)[:, :2], axis=-1) < 1.8 * radius_mm, 20.0, 0.0)
        best = grid[int(np.argmax(score))]
    return on_plane(camera, best, radius_mm)


def fine(
    shade: Picture,
    camera: Camera,
    radius_mm: float,
    centre_mm: Array,
    others_mm: Sequence[Array],
    size_open_px: float = 0.0,
    lines_px: Array = NO_LINES,
) -> FoundBall | None:
    """The ball whose outline starts near `centre_mm`, with the outline's places; None where there is no outline.

    What balls of `others_mm` cover, or confuse by being near, is left out, and so is what lies along the table's
    lines, of which `lines_px` (N, 2, 2) are pieces. Where the ball meets the cloth its edge is looked for close
    by: a darkest line, between the underside and the shadow.
    """
    centre = np.asarray(centre_mm, float)
    radius = mean_radius_px(camera, centre, radius_mm)
    if not np.isfinite(radius) or radius < 2.5:
        return None
    count = int(np.clip(2 * pi * radius / 1.5, 32, 128))
    angles = np.linspace(0, 2 * pi, count, endpoint=False)
    rim = None
    seen, doubt, spread = 0.0, 1.0, 0.0
    for k, (part, least, most) in enumerate(WINDOWS):
        window = float(np.clip(part * radius, least, most))
        px, normals = outline_px(camera, centre, radius_mm, angles)
        if not np.isfinite(px).all():
            return None
        down = normals @ _towards_cloth(camera, centre, radius_mm)
        foot = down > FOOT
        free = _free(camera, centre, radius_mm, px, normals, others_mm, window, shade.shape[:2])
        apart = free & ~_by_lines(px, lines_px, window)
        free = apart if apart.sum() > LEAST_APART * free.sum() else free
        offsets, error, blown = edge_offsets(shade, px, normals, window, radius)
        good = free & np.isfinite(error) & (np.abs(offsets) < window - 0.6)
        if k and foot.any():
            close = float(np.clip(0.15 * radius, 2.5, 4.0))
            offsets[foot], error[foot], blown[foot] = edge_offsets(shade, px[foot], normals[foot], close, radius)
            # the farther from where the ball touches it the brighter the cloth: an edge out there is the shadow's
            offsets[foot] = np.minimum(offsets[foot], _darkest(shade, px[foot], normals[foot], close))
            good[foot] = free[foot] & np.isfinite(error[foot]) & (np.abs(offsets[foot]) < close - 0.6)
        if good.sum() < max(8, 0.25 * count):
            if rim is not None and k > 1:
                # so soft an edge shows from farther off only; how far its places disagree is what is known of them
                rim = replace(rim, error_px=np.hypot(rim.error_px, spread))
                break
            none = Rim(angles, px, normals, error, blown, blown).only(slice(0))
            return FoundBall(centre, none, float(good.mean()), radius)
        # beside the foot the ball is dark, and the shadow's own edge crosses the ball's
        error = np.where((down > 0.3) & ~foot, 2.5, 1.0) * error
        whole = px + np.where(np.isfinite(offsets), offsets, 0.0)[:, None] * normals
        over = blown * _lit(camera, centre, down)
        rim = Rim(angles, whole, normals, error, over, foot.astype(float), size_open_px).only(good)
        centre, left = _moved(camera, centre, radius_mm, rim)
        # a place far from the outline that the others agree on is another edge
        near = np.abs(left) < np.where(rim.foot > 0, 2.0, max(3.5 * np.median(np.abs(left)), 0.6))
        rim = rim.only(near)
        seen, spread = float(near.sum() / count), 1.48 * float(np.median(np.abs(left)))
        missing = max(WHOLE * float(free.sum() / near.sum()), HALF / seen) ** 2
        doubt = max(1.0, missing, float(np.std(left[near])) / AGREE_PX)
    assert rim is not None
    alike = max(1.0, len(rim.angles) / APART) ** 0.5
    return FoundBall(centre, replace(rim, error_px=alike * doubt * rim.error_px, doubt=doubt), seen, radius)


def edge_offsets(
    shade: Picture, px: Array, normals: Array, window: float, radius_px: float = inf
) -> tuple[Array, Array, Array]:
    """How far out along the normals (K, 2) from pixels (K, 2) an edge lies, its error (nan where there is
    none), and how much of it (0 to 1) is brighter than white. `radius_px` is that of a ball which it bounds.

    Along each normal a blurred step between two sloping shades is fitted: peaks of the plain gradient are pulled
    by a ball's shadow, and by its rim, which mirrors what lies behind it.
    """
    t, grid, bases = _step_bases(round(window * 2) / 2, round(4 * log2(radius_px)) / 4 if radius_px < inf else inf)
    y = sample(shade, px[:, None] + t[:, None] * normals[:, None])
    middle = y.mean(1)
    y = y - middle[:, None]
    flat = y.transpose(0, 2, 1).reshape(-1, len(t))
    power = np.sum(flat * flat, -1).reshape(len(px), -1).sum(-1)
    # (blurs, edge places, profiles): brightness and colour each have a blur of their own, colour being coarser
    explained = ((bases @ flat.T) ** 2).sum(2).reshape(len(bases), len(grid), len(px), 3)
    bright, colour = explained[:4, ..., 0], explained[1:, ..., 1:].sum(-1)
    best: tuple[float, Array, float] | None = None
    for one, blur in zip(bright, BLURS_PX, strict=False):
        for other in colour:
            left = np.maximum(power - one - other, 0.0)
            score = float(np.median(left.min(0)))
            if best is None or score < best[0]:
                best = score, left, blur
    assert best is not None
    _, left, blur = best
    at = np.argmin(left, 0)
    inner = np.clip(at, 1, len(grid) - 2)
    k = np.arange(len(px))
    a, b, c = left[inner - 1, k], left[inner, k], left[inner + 1, k]
    curve = a - 2 * b + c
    with np.errstate(invalid="ignore", divide="ignore"):
        shift = np.where(curve > 0, 0.5 * (a - c) / curve, 0.0)
    offset = grid[inner] + np.clip(shift, -1, 1) * (grid[1] - grid[0])
    edge = (at == 0) | (at == len(grid) - 1)
    noise2 = np.maximum(b / (len(t) * y.shape[-1] - 12), 0.3)
    with np.errstate(invalid="ignore", divide="ignore"):
        random = np.sqrt(2 * noise2 / np.maximum(curve / (grid[1] - grid[0]) ** 2, 1e-9))
    step = power - b
    strong = step > 12 * noise2 + 60.0
    with np.errstate(invalid="ignore", divide="ignore"):
        # a faint step is drawn aside by any shade; one that is no clean step may be two
        height = 2 * np.sqrt(np.maximum(step, 1e-9) / len(t))
        doubt = np.hypot(FAINT_PX / height, np.sqrt(b / np.maximum(step, 1e-9)))
    # light beyond white in any colour, on either side, moves the edge
    whole = y + middle[:, None]
    offset = offset - _light_shift(whole, offset, t, blur)
    most = whole[..., 0] + np.maximum(0.0, whole[..., 1:].max(-1) / CHROMA)
    half = len(t) // 2
    blown = np.maximum((most[:, :half] > CLIPPED).mean(1), (most[:, half:] > CLIPPED).mean(1))
    error = np.where(~edge & strong & (random < 1.2), np.sqrt(RIM_PX**2 + random**2 + doubt**2), np.nan)
    return offset, (1 + 0.6 * blown) * error, blown


def _light_shift(shade: Array, offset: Array, t: Array, blur: float) -> Array:
    """How far out (K,) the edges of profiles (K, samples, 3) look: light is blurred before it is coded, and so the
    brighter side of an edge looks wider.
    """
    from scipy.special import ndtri

    k = np.arange(len(shade))
    beside = offset + np.array([[-1.6], [1.6]]) * blur
    at = np.clip(np.round((beside - t[0]) / (t[1] - t[0])).astype(int), 0, len(t) - 1)
    # blue, green and red on either side (2, K, 3)
    bright, blue, red = np.moveaxis(shade[k, at], -1, 0)
    blue, red = bright + blue / CHROMA, bright + red / CHROMA
    green = (bright - 0.0722 * blue - 0.2126 * red) / 0.7152
    coded = np.clip(np.stack([blue, green, red], -1) / 255, 0.01, 1.0)
    light, middle = coded ** (1 / POWER), coded.mean(0) ** (1 / POWER)
    # where a blurred step of light passes what is the middle once it is coded
    high = light[0] - light[1]
    part = (middle - light[1]) / np.where(np.abs(high) > 1e-3, high, np.inf)
    part = np.where(np.abs(high) > 1e-3, part, 0.5)
    weight = (coded[0] - coded[1]) ** 2 + 1e-9
    return np.asarray(-blur * np.sum(weight * ndtri(np.clip(part, 0.01, 0.99)), -1) / weight.sum(-1))


def mirrored(deep_px: Array, radius_px: float) -> Array:
    """How much (0 to 1) of what a polished ball shows so far within its outline is mirrored, of what lies behind.

    Fresnel's reflection of a body of refractive index 1.5, as Schlick approximates it (1994; from memory).
    """
    if radius_px == inf:
        return np.zeros(np.shape(deep_px))
    level = 1 - np.clip(deep_px / radius_px, 0.0, 1.0)
    return np.asarray(0.04 + 0.96 * (1 - np.sqrt(1 - level**2)) ** 5)


def _darkest(shade: Picture, px: Array, normals: Array, window: float) -> float:
    """How far out along the normals a dark line lies, on the average; infinite where what lies inside is no
    brighter.
    """
    t = np.arange(-window, window + 1e-9, 0.25)
    profile = sample(shade, px[:, None] + t[:, None] * normals[:, None])[..., 0].mean(0)
    at = int(np.argmin(profile))
    return float(t[at]) if profile[: at + 1].max() > profile[at] + LINE else inf


@cache
def _step_bases(window: float, octave: float) -> tuple[Array, Array, NDArray[Any]]:
    """Samples t, edge places, and for each blur and place an orthonormal basis (4, samples) of two sloping
    shades. `octave` is the logarithm (of 2) of the radius of a ball that they bound; infinite for an edge of a
    plane.
    """
    from scipy.ndimage import gaussian_filter1d

    fine = 0.05
    far = np.arange(-3 * window, 3 * window + fine / 2, fine)
    sharp = np.clip(0.5 - far / fine, 0.0, 1.0) * (1 - mirrored(-far, 2.0**octave))
    t = np.arange(-window, window + 1e-9, 0.5)
    grid = np.arange(-window + 0.8, window - 0.8 + 1e-9, 0.1)
    bases = []
    for blur in BLURS_PX:
        inside = np.interp(t - grid[:, None], far, gaussian_filter1d(sharp, blur / fine, mode="nearest"))
        lean = (t - grid[:, None]) / window
        parts = np.stack([inside, inside * lean, 1 - inside, (1 - inside) * lean], -1)
        parts = parts - parts.mean(1, keepdims=True)  # the profiles' mean is taken off too
        u, s, _ = np.linalg.svd(parts, full_matrices=False)
        u = np.where(s[:, None, :] > 1e-3 * s[:, None, :1], u, 0.0)
        bases.append(u.transpose(0, 2, 1))
    return t, grid, np.stack(bases)


OUTS = [0, 3, 4]
"""Of what is known of an outline, all but its shift, which a move on the cloth would hide."""


def _moved(camera: Camera, centre: Array, radius_mm: float, rim: Rim) -> tuple[Array, Array]:
    """The ball's place on the cloth by its outline's places, long-tailed; and what is left at each, px."""
    known = np.concatenate([centre[:2], REST[OUTS]])
    prior = np.concatenate([[0.0, 0.0], rim.rest_errors[OUTS] ** -2.0])
    at = known.copy()
    out = np.stack([np.ones(len(rim.angles)), rim.blown, rim.foot], -1)

    beside = np.array([[0.0, 0.0], [0.01, 0.0], [-0.01, 0.0], [0.0, 0.01], [0.0, -0.01]])

    def off(at: Array, beside: Array) -> Array:
        """How far (..., K) the outlines of balls beside a place lie out."""
        centres = np.concatenate([at[:2] + beside, np.full((*beside.shape[:-1], 1), radius_mm)], -1)
        px = rim_px(camera, centres, radius_mm, rim.angles)
        return np.asarray(np.sum((px - rim.at_px) * rim.normals, -1) + out @ at[2:])

    for _ in range(6):
        r, right, left, up, down = off(at, beside)
        J = np.stack([(right - left) / 0.02, (up - down) / 0.02, *out.T], -1)
        # a blown-out top outvotes the foot unless that is heard from afar
        scale = np.where(rim.foot > 0, 1.0, max(1.4 * float(np.median(np.abs(r))), 0.25))
        w = 1 / (1 + (r / (1.5 * scale)) ** 2) / rim.error_px**2
        H = (J * w[:, None]).T @ J + np.diag(prior)
        step = np.linalg.solve(H, -(J * w[:, None]).T @ r - prior * (at - known))
        at += np.clip(step, -30, 30)
    return np.array([at[0], at[1], centre[2]]), off(at, beside[0])


def _towards_cloth(camera: Camera, centre: Array, radius_mm: float) -> Array:
    """The direction (2,) in the picture from a ball's middle to where it touches the cloth; 0 seen from above."""
    ends = project(camera, np.stack([centre, centre - [0, 0, radius_mm]]))
    way = ends[1] - ends[0]
    size = float(np.linalg.norm(way))
    return way / size if size > 1.0 else np.zeros(2)


def _lit(camera: Camera, centre: Array, down: Array) -> Array:
    """How much light from above falls on places of an outline, by the cosines (K,) of their way down."""
    way = centre - camera.eye_mm
    level = float(np.hypot(*way[:2]) / np.linalg.norm(way))
    return np.asarray(np.clip(-level * down, LEAST_LIT, 1.0))


def _free(
    camera: Camera,
    centre: Array,
    radius_mm: float,
    px: Array,
    normals: Array,
    others: Sequence[Array],
    window: float,
    shape: tuple[int, int],
) -> NDArray[np.bool_]:
    """True for places on an outline that lie in the picture and that no other ball covers or comes near to."""
    high, wide = shape
    free = (px[:, 0] > 2) & (px[:, 0] < wide - 2) & (px[:, 1] > 2) & (px[:, 1] < high - 2)
    angles = np.linspace(0, 2 * pi, 48, endpoint=False)
    for other in others:
        if np.hypot(*(np.asarray(other)[:2] - centre[:2])) < 1.0:
            continue
        ring = rim_px(camera, np.asarray(other, float), radius_mm, angles)
        if not np.isfinite(ring).all():
            continue
        middle = ring.mean(0)
        reach = float(np.linalg.norm(ring - middle, axis=-1).max())
        far = np.linalg.norm(px - middle, axis=-1)
        if far.min() > reach + 2 * window:
            continue
        # the nearest place of the other's outline, by its polygon
        import cv2

        polygon = ring.astype(np.float32).reshape(-1, 1, 2)
        depth = np.array([cv2.pointPolygonTest(polygon, (float(x), float(y)), True) for x, y in px])
        free &= depth < -0.6 * window
    return free


def _apart(at_px: Array, lines_px: Array) -> Array:
    """Distances (K, N) of pixels (K, 2) from pieces of lines (N, 2, 2)."""
    way, along = at_px[:, None] - lines_px[:, 0], lines_px[:, 1] - lines_px[:, 0]
    part = np.sum(way * along, -1) / np.maximum(np.sum(along * along, -1), 1e-9)
    return np.asarray(np.linalg.norm(way - np.clip(part, 0.0, 1.0)[..., None] * along, axis=-1))


def _by_lines(px: Array, lines_px: Array, window: float) -> NDArray[np.bool_]:
    """True for places on an outline (K, 2) that lie within a window of pieces of lines (N, 2, 2)."""
    middle = px.mean(0)
    reach = float(np.linalg.norm(px - middle, axis=-1).max()) + window
    near = lines_px[_apart(middle[None], lines_px)[0] < reach]
    return np.asarray((_apart(px, near) < window).any(-1))
