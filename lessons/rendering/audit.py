"""Audit: do the pictures of rendered clips show balls and lines where the manifest says that they stand?

Both are looked at while nothing moves; and the balls while they roll, on the frames that the manifest tells.

Only the manifest and the pictures are used, nothing of the code that drew them. A ball's outline is found as the
edge along many short profiles square to where it should be, a line or a ghost ball's rim as the ridge across
them; a robust fit then tells how far the drawn thing lies from its computed place.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lessons.rendering.decoded import decoded
from lessons.rendering.manifest import Ball, Clip, Lens, Line, Pane

Array = NDArray[np.float64]

LIMIT_PX = 1.0
"""Further off than this is a fault."""
STEP_PX = 0.25
NEAR_PX = 0.6
"""Profiles that agree with the fit within this are counted for it."""
LEAST_CONTRAST = 6.0
"""Grey levels that an edge or a ridge must stand out."""
LEAST_SPREAD = 5.0
"""Variance of grey levels about a place below which there is nothing to see."""
LEAST_GAP_PX = 6.0
"""Lines nearer to each other run into one in a decoded picture, however thin they are."""
RIM_PX = 4.0
"""What is nearer to a round pane's rim is left out."""
LEAST_LINE_PX = 30.0
LEAST_BALL_PX = 5.0
"""Shorter pieces of lines and smaller balls are too small to be measured, and are counted as such."""
LEAST_GHOST = 6.0
"""Radius over a line's width of the least ghost ball: on a smaller one dashes and marks lie too close."""
LEAST_ARC = 0.2
"""Part of an outline that must lie open: less is too little to measure."""
HALF = 0.5
"""From less of an outline, as of a ball leaving its pane, place and size cannot be told apart: its edge counts."""
RING_POINTS = 240
"""So many places of a ring are kept off: at 1080p they stand some two pixels apart at the most."""


@dataclass(frozen=True, slots=True)
class Finding:
    """How far a drawn thing lies from its place: `error_px` is infinite when it was not found at all."""

    role: str
    what: str
    frame: int
    error_px: float


@dataclass(frozen=True, slots=True)
class ClipAudit:
    """What was found in a clip: every ball and line that could be measured, and how many were too small."""

    name: str
    findings: tuple[Finding, ...]
    too_small: int

    @property
    def worst(self) -> Finding | None:
        """The largest error; None for a clip in which nothing is to be measured."""
        return max(self.findings, key=lambda f: f.error_px, default=None)

    @property
    def is_exact(self) -> bool:
        """True when nothing is further off than a pixel."""
        return self.worst is None or self.worst.error_px <= LIMIT_PX


@dataclass(frozen=True, slots=True)
class _Window:
    """Where in a picture a pane can be seen, how wide lines are there, and how far apart they must run."""

    grey: Array
    rect: Sequence[float]
    covers: tuple[Sequence[float], ...]
    surround_px: float
    reach_px: float
    gap_px: float
    is_round: bool = False

    def open(self, px: Array) -> NDArray[np.bool_]:
        """Which pixels (..., 2) lie in the pane, two pixels from its edge, and under no later pane."""
        height, width = self.grey.shape
        inside = _in(px, (2, 2, width - 4, height - 4)) & _in(px, _shrunk(self.rect))
        if self.is_round:
            x, y, w, h = self.rect
            inside &= np.linalg.norm(px - np.array([x + w / 2, y + h / 2]), axis=-1) < w / 2 - RIM_PX
        for cover in self.covers:
            inside &= ~_in(px, cover)
        return inside


def audit_clip(path: Path, clip: Clip) -> ClipAudit:
    """Audit one clip against its manifest entry. Raises OSError or ValueError when the file cannot be decoded."""
    looked = [((s.first_frame + s.end_frame) // 2, s.panes, False) for s in clip.still]
    looked += [(one.frame, one.panes, True) for roll in clip.rolls for one in roll.pictures]
    looked.sort(key=lambda one: one[0])
    findings: list[Finding] = []
    too_small = 0
    frames = [frame for frame, _, _ in looked]
    for (_, panes, rolls), (frame, grey) in zip(looked, pictures(path, frames, clip.rate), strict=True):
        if grey.shape != (clip.height_px, clip.width_px):
            raise ValueError(f"the picture is {grey.shape[1]}x{grey.shape[0]}, not as the manifest says")
        # a picture bent by a lens is straightened first: all panes of one share the frame
        lens = next((pane.lens for pane in panes if pane.lens is not None), None)
        straight = grey if lens is None else straightened(grey, lens)
        found, small = audit_picture(straight, panes, frame, only_balls=rolls)
        findings += found
        too_small += small
    return ClipAudit(clip.name, tuple(findings), too_small)


def audit_picture(
    grey: Array, panes: Sequence[Pane], frame: int = 0, only_balls: bool = False
) -> tuple[list[Finding], int]:
    """Findings in one picture (height, width) of grey levels, and how many things were too small to measure."""
    findings: list[Finding] = []
    too_small = 0
    k = min(grey.shape) / 1080
    k *= 1.2 if k < 0.67 else 1.0
    for i, pane in enumerate(panes):
        full = 5.5 * k * pane.line_scale
        surround = max(full * (1.0 if pane.view == "plan" else 0.75), 1.8)
        # over footage lines are as wide as in a plan: side by side they cover each other sooner
        gap = max(1.6 * (full if pane.view == "footage" else surround), LEAST_GAP_PX)
        covers = tuple(p.rect_px for p in panes[i + 1 :])
        reach = max(7.5 * k * pane.line_scale, 3.5)
        window = _Window(grey, pane.rect_px, covers, surround, reach, gap, pane.is_round)
        P = np.array(pane.projection, float)
        shows = pane.shows
        ends = [_ends_px(P, line) for line in shows.lines]
        marks = _projected(P, np.array([p.at_mm for p in shows.points], float).reshape(-1, 3))
        contours = [_contour(P, ball) for ball in shows.balls]
        rings = np.concatenate([np.zeros((0, 2)), *(ring_px(P, p) for p in panes[i + 1 :] if p.is_round)])
        rims = np.concatenate([rings, *(c for c in contours if c is not None)])
        drawn = [e for e in ends if e is not None]
        measured = [
            ("ball", ball.role, _ball_error(window, ball, contour, drawn, marks, rings))
            for ball, contour in zip(shows.balls, contours, strict=True)
        ]
        for j, line in enumerate(() if only_balls else shows.lines):
            others = [e for e in ends[:j] + ends[j + 1 :] if e is not None]
            measured.append(("line", line.role, _line_error(window, ends[j], others, marks, rims)))
        too_small += sum(error is None for _, _, error in measured)
        findings += [Finding(role, what, frame, error) for what, role, error in measured if error is not None]
    return findings, too_small


def straightened(grey: Array, lens: Lens) -> Array:
    """A picture as the pinhole saw it: every pixel taken from where the lens put it."""
    high, wide = grey.shape
    at = np.stack(np.meshgrid(np.arange(wide) + 0.5, np.arange(high) + 0.5), -1)
    flat = (at - lens.principal_px) / lens.focal_px
    r2 = np.sum(flat * flat, -1, keepdims=True)
    bent = flat * (1 + lens.k1 * r2 + lens.k2 * r2 * r2) * lens.focal_px + lens.principal_px - 0.5
    x, y = np.clip(bent[..., 0], 0, wide - 1.001), np.clip(bent[..., 1], 0, high - 1.001)
    i, j = x.astype(int), y.astype(int)
    u, v = x - i, y - j
    upper = grey[j, i] * (1 - u) + grey[j, i + 1] * u
    lower = grey[j + 1, i] * (1 - u) + grey[j + 1, i + 1] * u
    return np.asarray(upper * (1 - v) + lower * v)


def pictures(path: Path, frames: Sequence[int], rate: Fraction) -> Iterator[tuple[int, Array]]:
    """The luma (height, width) of the given frames of a clip, which must come in order; over black where the clip
    is clear, so that a clip with alpha is measured as it is seen.
    """
    import av

    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        if stream.time_base is None:
            raise ValueError("the video stream tells no time base")
        tick = stream.time_base
        for frame in frames:
            container.seek(int(frame / rate / tick), stream=stream, backward=True)
            for picture in decoded(container, stream):
                if picture.pts is not None and round(picture.pts * tick * rate) == frame:
                    yield frame, _seen(picture)
                    break
            else:
                raise ValueError(f"frame {frame} is missing; render the clip again")


def _seen(picture: Any) -> Array:
    """A decoded picture's luma (height, width), over black."""
    luma = picture.to_ndarray(format="gray").astype(float)
    if not any(component.is_alpha for component in picture.format.components):
        return np.asarray(luma)
    alpha = picture.reformat(format="rgba").to_ndarray()[..., 3]
    return np.asarray(luma * (alpha / 255))


# ------------------------------------------------------------------ balls


def _ball_error(
    window: _Window, ball: Ball, rim: Array | None, lines: Sequence[Array], marks: Array | None, rings: Array
) -> float | None:
    """How far a ball's outline lies off: shift and growth of the best fit together; None when too little is open.

    Left out are the places near lines, marks and the rings around what a magnifier shows.
    """
    if rim is None:
        return None
    normals = _normals(rim)
    size = float(np.sqrt(np.ptp(rim[:, 0]) * np.ptp(rim[:, 1])) / 2)
    reach = min(window.reach_px, 0.45 * size)
    usable = window.open(rim) & window.open(rim + reach * normals) & window.open(rim - reach * normals)
    for line in lines:
        usable &= _distance(rim, *line) > 1.6 * window.surround_px
    for mark in marks if marks is not None else ():
        usable &= np.linalg.norm(rim - mark, axis=1) > 4.0 * window.surround_px
    if len(rings):
        apart = np.linalg.norm(rim[:, None] - rings, axis=-1).min(axis=1)
        usable &= apart > 1.6 * window.surround_px
    least = LEAST_GHOST * window.surround_px if ball.role.startswith("ghost") else LEAST_BALL_PX
    if size < least or usable.sum() < LEAST_ARC * len(rim):
        return None
    rim, normals = rim[usable], normals[usable]
    offsets, profiles = _profiles(window.grey, rim, normals, reach)
    if ball.role.startswith("ghost"):
        at = np.array([_ridge(offsets, p, min(window.surround_px * 0.6, reach / 2)) for p in profiles])
    else:
        at = np.array([_edge(offsets, p) for p in profiles])
    if len(rim) < HALF * len(usable):
        return float(np.median(np.abs(at)))
    terms = np.concatenate([normals, np.ones((len(normals), 1))], axis=1)
    fitted = _robust(terms, at, 0.3)
    if fitted is None:
        return float("inf")
    (dx, dy, growth), _ = fitted
    return float(np.hypot(dx, dy) + abs(growth))


def _contour(P: Array, ball: Ball) -> Array | None:
    return ball_contour_px(P, np.array(ball.centre_mm), ball.radius_mm)


def ball_contour_px(P: Array, centre: Array, radius: float, count: int = 160) -> Array | None:
    """Pixels (count, 2) of the outline: the circle in which the lines of sight touch the ball, projected.

    None when part of it lies behind the camera.
    """
    # the camera's centre is the null vector of P; a plan view's lies infinitely far away
    eye = np.linalg.svd(P)[2][-1]
    if abs(eye[3]) < 1e-12 * np.abs(eye[:3]).max():
        axis, along, across = eye[:3] / np.linalg.norm(eye[:3]), 0.0, radius
    else:
        to_eye = eye[:3] / eye[3] - centre
        distance = float(np.linalg.norm(to_eye))
        if distance <= radius:
            return None
        axis = to_eye / distance
        along, across = radius**2 / distance, radius * np.sqrt(1 - (radius / distance) ** 2)
    first = np.cross(axis, [1.0, 0, 0] if abs(axis[0]) < 0.7 else [0, 1.0, 0])
    first /= np.linalg.norm(first)
    second = np.cross(axis, first)
    turn = np.arange(count)[:, None] * 2 * np.pi / count
    return _projected(P, centre + along * axis + across * (np.cos(turn) * first + np.sin(turn) * second))


def _projected(P: Array, points: Array) -> Array | None:
    uvw = points @ P[:, :3].T + P[:, 3]
    if (uvw[:, 2] <= 0).any():
        return None
    px: Array = uvw[:, :2] / uvw[:, 2:]
    return px


def ring_px(P: Array, magnifier: Pane) -> Array:
    """Points (n, 2) of the ring that encircles, in a plan of projection `P`, what a round pane shows larger."""
    closer = np.array(magnifier.projection, float)
    x, y, w, h = magnifier.rect_px
    turns = np.linspace(0, 2 * np.pi, RING_POINTS, endpoint=False)
    rim = np.array([x + w / 2, y + h / 2]) + 0.5 * w * np.stack([np.cos(turns), np.sin(turns)], -1)
    # both are plans: what is seen of the bed does not depend on the height
    on_bed = (closer[:2, :2] - rim[..., None] * closer[2, :2], rim * closer[2, 3] - closer[:2, 3])
    places = np.linalg.solve(on_bed[0], on_bed[1][..., None])[..., 0]
    seen = _projected(P, np.concatenate([places, np.zeros((len(places), 1))], axis=1))
    return np.zeros((0, 2)) if seen is None else seen


def _normals(rim: Array) -> Array:
    """Unit normals (n, 2) of a closed curve, outwards."""
    along = np.roll(rim, -1, axis=0) - np.roll(rim, 1, axis=0)
    normals = np.stack([along[:, 1], -along[:, 0]], axis=1)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    outwards = np.sum(normals * (rim - rim.mean(axis=0)), axis=1)
    return normals * np.sign(outwards.sum())


# ------------------------------------------------------------------ lines


def _ends_px(P: Array, line: Line) -> Array | None:
    return _projected(P, _in_front(P, np.array(line.points_mm)))


def _line_error(
    window: _Window, ends: Array | None, others: Sequence[Array], marks: Array | None, rims: Array
) -> float | None:
    """How far a line lies off at worst, square to itself, where it lies open; None where that is too short.

    Left out are the places near other lines, marks and the rims of balls.
    """
    if ends is None:
        return None
    start, length = ends[0], float(np.linalg.norm(ends[1] - ends[0]))
    if length < LEAST_LINE_PX:
        return None
    along = (ends[1] - ends[0]) / length
    normal = np.array([-along[1], along[0]])
    margin = min(max(2.5 * window.surround_px, 0.03 * length), 0.2 * length)
    at = np.arange(margin, length - margin, 1.0)
    places = start + at[:, None] * along
    open_ = window.open(places) & window.open(places + window.reach_px * normal)
    open_ &= window.open(places - window.reach_px * normal)
    for other in others:
        open_ &= _distance(places, *other) > window.gap_px
    for mark in marks if marks is not None else ():
        open_ &= np.linalg.norm(places - mark, axis=1) > 4.0 * window.surround_px
    for piece in np.array_split(rims, max(1, len(rims) // 40)):
        gaps = np.linalg.norm(places[:, None] - piece, axis=2)
        open_ &= gaps.min(axis=1, initial=np.inf) > 1.6 * window.surround_px
    at, places = at[open_], places[open_]
    if len(at) < max(0.6 * LEAST_LINE_PX, 8 * window.surround_px):
        return None
    t = (at - at[0]) / max(at[-1] - at[0], 1.0)
    half = 1.35 * window.surround_px
    square = np.broadcast_to(normal, places.shape)
    offsets, profiles = _profiles(window.grey, places, square, window.reach_px + half)
    rough = _rough_line(offsets, profiles, t, half)
    if rough is None:
        return float("inf")
    # straightened along the rough line, each piece has its middle nearby, whatever else crosses the picture
    straightened = places + (rough[0] + (rough[1] - rough[0]) * t)[:, None] * normal
    narrow, profiles = _profiles(window.grey, straightened, square, 1.25 + half)
    pieces = np.array_split(np.arange(len(at)), int(np.clip(len(at) / (4 * window.surround_px), 4, 80)))
    middles = np.array([t[p].mean() for p in pieces])
    found = np.array([_middle(narrow, profiles[p].mean(axis=0), half) for p in pieces])
    found += rough[0] + (rough[1] - rough[0]) * middles
    terms = np.stack([1 - middles, middles], axis=1)
    fitted = _robust(terms, found, 0.2)
    if fitted is None:
        return float("inf")
    fit, agree = fitted
    return float(np.abs(terms[agree] @ fit).max())


def _distance(px: Array, a: Array, b: Array) -> Array:
    """How far pixels (n, 2) are from the segment a-b."""
    along = b - a
    t = np.clip((px - a) @ along / max(float(along @ along), 1e-9), 0, 1)
    return np.asarray(np.linalg.norm(px - (a + t[:, None] * along), axis=1), float)


def _mirrored(offsets: Array, profiles: Array, half: float) -> tuple[Array, Array]:
    """Inner offsets (m,), and how unlike (n, m) each profile is to its mirror image about them: 0 alike, nan flat.

    A line with its casing is the same on both sides of its middle, drawn or blank, light on dark or dark on light;
    an edge or a line that crosses is not. An even slope of the ground, as in a ball's shadow, does not count.
    """
    step = round(half / STEP_PX)
    windows = np.lib.stride_tricks.sliding_window_view(profiles, 2 * step + 1, axis=1)
    away = np.arange(-step, step + 1.0) / step
    slope = windows @ away / (away @ away)
    odd = np.mean((windows - windows[..., ::-1]) ** 2, axis=-1) - 4 * slope**2 * np.mean(away**2)
    spread = np.var(windows, axis=-1) - slope**2 * np.mean(away**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(spread > LEAST_SPREAD, odd / (2 * spread), np.nan)
    return offsets[step:-step], ratio


def _rough_line(offsets: Array, profiles: Array, t: Array, half: float) -> tuple[float, float] | None:
    """Offsets at both ends of the straight line about which most profiles mirror themselves; None when few do.

    Of several that do nearly as well, such as parallel neighbours, the one nearest to the computed place.
    """
    every = max(1, len(t) // 250)
    # a few profiles together: what a codec loses in one is there in their mean
    together = np.apply_along_axis(np.convolve, 0, profiles, np.full(5, 0.2), "same")
    inner, unlike = _mirrored(offsets, together[::every], half)
    votes, t = np.nan_to_num(np.clip(1 - 2 * unlike, 0, 1)), t[::every]
    ends = np.arange(0, len(inner), 2)
    at = ends[:, None, None] * (1 - t) + ends[None, :, None] * t
    score = votes[np.arange(len(t)), np.rint(at).astype(int)].mean(axis=2)
    if score.max() < 0.2:
        return None
    padded = np.pad(score, 1, constant_values=-np.inf)
    around = [padded[1 + i : 1 + i + len(ends), 1 + j : 1 + j + len(ends)] for i in (-1, 0, 1) for j in (-1, 0, 1)]
    is_peak = (score >= np.max(around, axis=0)) & (score >= 0.75 * score.max())
    first, last = np.nonzero(is_peak)
    off = np.maximum(np.abs(inner[ends[first]]), np.abs(inner[ends[last]]))
    best = int(np.argmin(off))
    return float(inner[ends[first[best]]]), float(inner[ends[last[best]]])


def _middle(offsets: Array, profile: Array, half: float) -> float:
    """Where a profile is most like its mirror image, between samples by a parabola; nan when it never is."""
    inner, unlike = _mirrored(offsets, profile[None], half)
    unlike = np.nan_to_num(unlike[0], nan=np.inf)
    i = int(np.argmin(unlike))
    if not 0 < i < len(inner) - 1 or unlike[i] > 0.25 or not np.isfinite(unlike[i - 1 : i + 2]).all():
        return float("nan")
    before, here, after = unlike[i - 1 : i + 2]
    return float(inner[i] + STEP_PX * 0.5 * (before - after) / (before - 2 * here + after))


def _in_front(P: Array, ends: Array) -> Array:
    """The ends (2, 3) with one that lies behind the camera moved to just before it."""
    depth = ends @ P[2, :3] + P[2, 3]
    near = 1e-3 * max(1.0, float(np.abs(depth).max()))
    out = ends.copy()
    for i in (0, 1):
        if depth[i] <= near < depth[1 - i]:
            out[i] += (near - depth[i]) / (depth[1 - i] - depth[i]) * (ends[1 - i] - ends[i])
    return out


# ------------------------------------------------------------------ profiles


def _profiles(grey: Array, places: Array, normals: Array, reach: float) -> tuple[Array, Array]:
    """Offsets (m,) along the normals, and the grey levels (n, m) there, between pixels linearly."""
    count = int(np.ceil(reach / STEP_PX))
    offsets = np.arange(-count, count + 1) * STEP_PX
    at = places[:, None] + offsets[:, None] * normals[:, None] - 0.5
    cell = np.floor(at).astype(int)
    x = np.clip(cell[..., 0], 0, grey.shape[1] - 2)
    y = np.clip(cell[..., 1], 0, grey.shape[0] - 2)
    fx, fy = np.clip(at[..., 0] - x, 0, 1), np.clip(at[..., 1] - y, 0, 1)
    upper = grey[y, x] * (1 - fx) + grey[y, x + 1] * fx
    lower = grey[y + 1, x] * (1 - fx) + grey[y + 1, x + 1] * fx
    return np.asarray(offsets, float), np.asarray(upper * (1 - fy) + lower * fy, float)


def _edge(offsets: Array, profile: Array) -> float:
    """Where the picture turns lighter inwards: the nearest strong rise, by its centre of gravity."""
    rise = -np.gradient(profile, STEP_PX)
    return _nearest_peak(offsets, rise, LEAST_CONTRAST / 2, 1.25)


def _ridge(offsets: Array, profile: Array, surround: float) -> float:
    """Where the picture is lighter, or darker, than on both sides: the nearest strong ridge."""
    step = max(1, round(surround / STEP_PX))
    if 2 * step >= len(profile) - 2:
        step = (len(profile) - 3) // 2
    sides = (profile[2 * step :] + profile[: -2 * step]) / 2
    response, inner = profile[step:-step] - sides, offsets[step:-step]
    # beside a light core its dark borders are ridges too, weaker ones: only the stronger kind counts
    sign = np.sign(response[np.argmax(np.abs(response))])
    peak = _peak(inner, sign * response, LEAST_CONTRAST)
    if peak is None:
        return float("nan")
    near = np.abs(offsets - inner[peak]) <= surround
    weight = np.maximum(sign * (profile[near] - sides[peak]), 0)
    return float(np.sum(weight * offsets[near]) / np.sum(weight))


def _peak(offsets: Array, strength: Array, least: float) -> int | None:
    """The index of the local maximum nearest to offset 0 among those at least half as strong as the strongest."""
    padded = np.concatenate([[-np.inf], strength, [-np.inf]])
    is_peak = (strength >= padded[:-2]) & (strength > padded[2:]) & (strength >= max(least, 0.5 * strength.max()))
    if not is_peak.any():
        return None
    candidates = np.flatnonzero(is_peak)
    return int(candidates[np.argmin(np.abs(offsets[candidates]))])


def _nearest_peak(offsets: Array, strength: Array, least: float, around: float) -> float:
    peak = _peak(offsets, strength, least)
    if peak is None:
        return float("nan")
    near = np.abs(offsets - offsets[peak]) <= around
    weight = np.maximum(strength[near], 0)
    return float(np.sum(weight * offsets[near]) / np.sum(weight))


def _robust(terms: Array, values: Array, least_share: float) -> tuple[Array, NDArray[np.bool_]] | None:
    """Least squares over the values that agree, and which they are; None when fewer than a share of all do.

    Random minimal samples (RANSAC, Fischler and Bolles 1981; from memory) with a fixed seed.
    """
    finite = np.flatnonzero(np.isfinite(values))
    size = terms.shape[1]
    if len(finite) < max(size + 1, least_share * len(values)):
        return None
    rng = np.random.default_rng(1)
    best: NDArray[np.bool_] | None = None
    for _ in range(120):
        some = rng.choice(finite, size, replace=False)
        if abs(np.linalg.det(terms[some])) < 1e-3:
            continue
        fit = np.linalg.solve(terms[some], values[some])
        agree = np.abs(terms @ fit - values) < NEAR_PX
        if best is None or agree.sum() > best.sum():
            best = agree
    if best is None or best.sum() < max(size + 1, least_share * len(values)):
        return None
    for _ in range(4):
        fit, *_ = np.linalg.lstsq(terms[best], values[best], rcond=None)
        off = np.abs(terms @ fit - values)
        # 3.7 median deviations are 2.5 standard deviations of a normal distribution
        closer = off < np.clip(3.7 * np.median(off[best]), 0.1, NEAR_PX)
        if closer.sum() <= size:
            break
        best = closer
    return np.asarray(fit, float), best


def _in(px: Array, rect: Sequence[float]) -> NDArray[np.bool_]:
    x, y, width, height = rect
    u, v = px[..., 0], px[..., 1]
    inside: NDArray[np.bool_] = (u >= x) & (u <= x + width) & (v >= y) & (v <= y + height)
    return inside


def _shrunk(rect: Sequence[float]) -> tuple[float, float, float, float]:
    return rect[0] + 2, rect[1] + 2, rect[2] - 4, rect[3] - 4
