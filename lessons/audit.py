"""Audit: do the pictures of rendered clips show balls and lines where the manifest says that they stand?

Only the manifest and the pictures are used, nothing of the code that drew them. A ball's outline is found as the
edge along many short profiles square to where it should be, a line or a ghost ball's rim as the ridge across
them; a robust fit then tells how far the drawn thing lies from its computed place.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LIMIT_PX = 1.0
"""Further off than this is a fault."""
STEP_PX = 0.25
NEAR_PX = 0.6
"""Profiles that agree with the fit within this are counted for it."""
LEAST_CONTRAST = 6.0
"""Grey levels that an edge or a ridge must stand out."""
LEAST_LINE_PX = 30.0
LEAST_BALL_PX = 4.0
"""Shorter pieces of lines and smaller balls are too small to be measured, and are counted as such."""


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
    """Where in a picture a pane can be seen, and how wide lines are there."""

    grey: Array
    rect: Sequence[float]
    covers: tuple[Sequence[float], ...]
    surround_px: float
    reach_px: float

    def open(self, px: Array) -> NDArray[np.bool_]:
        """Which pixels (..., 2) lie in the pane, two pixels from its edge, and under no later pane."""
        height, width = self.grey.shape
        inside = _in(px, (2, 2, width - 4, height - 4)) & _in(px, _shrunk(self.rect))
        for cover in self.covers:
            inside &= ~_in(px, cover)
        return inside


def audit_clip(path: Path, entry: Mapping[str, Any]) -> ClipAudit:
    """Audit one clip against its manifest entry. Raises OSError or ValueError when the file cannot be decoded."""
    stills = entry["still"]
    frames = [(s["first_frame"] + s["end_frame"]) // 2 for s in stills]
    findings: list[Finding] = []
    too_small = 0
    for still, (frame, grey) in zip(stills, pictures(path, frames, Fraction(*entry["rate"])), strict=True):
        if grey.shape != (entry["height_px"], entry["width_px"]):
            raise ValueError(f"the picture is {grey.shape[1]}x{grey.shape[0]}, not as the manifest says")
        found, small = audit_picture(grey, still["panes"], frame)
        findings += found
        too_small += small
    return ClipAudit(entry["name"], tuple(findings), too_small)


def audit_picture(grey: Array, panes: Sequence[Mapping[str, Any]], frame: int = 0) -> tuple[list[Finding], int]:
    """Findings in one picture (height, width) of grey levels, and how many things were too small to measure."""
    findings: list[Finding] = []
    too_small = 0
    k = min(grey.shape) / 1080
    k *= 1.2 if k < 0.67 else 1.0
    for i, pane in enumerate(panes):
        thin = 1.0 if pane["view"] == "plan" else 0.75
        covers = tuple(p["rect_px"] for p in panes[i + 1 :])
        window = _Window(grey, pane["rect_px"], covers, max(5.5 * k * thin, 1.8), max(7.5 * k, 3.5))
        P = np.array(pane["projection"], float)
        measured = [
            *(("ball", b["role"], _ball_error(window, P, b)) for b in pane["shows"]["balls"]),
            *(("line", s["role"], _line_error(window, P, s)) for s in pane["shows"]["lines"]),
        ]
        too_small += sum(error is None for _, _, error in measured)
        findings += [Finding(role, what, frame, error) for what, role, error in measured if error is not None]
    return findings, too_small


def pictures(path: Path, frames: Sequence[int], rate: Fraction) -> Iterator[tuple[int, Array]]:
    """The luma (height, width) of the given frames of a clip, which must come in order."""
    import av

    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        if stream.time_base is None:
            raise ValueError("the video stream tells no time base")
        tick = stream.time_base
        for frame in frames:
            container.seek(int(frame / rate / tick), stream=stream, backward=True)
            for decoded in container.decode(stream):
                if decoded.pts is not None and round(decoded.pts * tick * rate) == frame:
                    yield frame, decoded.to_ndarray(format="gray").astype(float)
                    break
            else:
                raise ValueError(f"frame {frame} is missing; render the clip again")


# ------------------------------------------------------------------ balls


def _ball_error(window: _Window, P: Array, ball: Mapping[str, Any]) -> float | None:
    """How far a ball's outline lies off: shift and growth of the best fit together; None when it is too small."""
    rim = ball_contour_px(P, np.array(ball["centre_mm"], float), float(ball["radius_mm"]))
    if rim is None:
        return None
    normals = _normals(rim)
    size = float(np.sqrt(np.ptp(rim[:, 0]) * np.ptp(rim[:, 1])) / 2)
    reach = min(window.reach_px, 0.45 * size)
    usable = window.open(rim) & window.open(rim + reach * normals) & window.open(rim - reach * normals)
    if size < LEAST_BALL_PX or usable.sum() < 0.15 * len(rim):
        return None
    rim, normals = rim[usable], normals[usable]
    offsets, profiles = _profiles(window.grey, rim, normals, reach)
    if ball["role"].startswith("ghost"):
        at = np.array([_ridge(offsets, p, min(window.surround_px * 0.6, reach / 2)) for p in profiles])
    else:
        at = np.array([_edge(offsets, p) for p in profiles])
    terms = np.concatenate([normals, np.ones((len(normals), 1))], axis=1)
    fitted = _robust(terms, at, 0.3)
    if fitted is None:
        return float("inf")
    (dx, dy, growth), _ = fitted
    return float(np.hypot(dx, dy) + abs(growth))


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


def _normals(rim: Array) -> Array:
    """Unit normals (n, 2) of a closed curve, outwards."""
    along = np.roll(rim, -1, axis=0) - np.roll(rim, 1, axis=0)
    normals = np.stack([along[:, 1], -along[:, 0]], axis=1)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    outwards = np.sum(normals * (rim - rim.mean(axis=0)), axis=1)
    return normals * np.sign(outwards.sum())


# ------------------------------------------------------------------ lines


def _line_error(window: _Window, P: Array, line: Mapping[str, Any]) -> float | None:
    """How far a line lies off at worst, square to itself, over the part that can be seen; None when too short."""
    ends = _projected(P, _in_front(P, np.array(line["points_mm"], float)))
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
    at, places = at[open_], places[open_]
    if len(at) < 0.6 * LEAST_LINE_PX:
        return None
    offsets, profiles = _profiles(window.grey, places, np.broadcast_to(normal, places.shape), window.reach_px)
    # pieces longer than a dash and its gap: their mean shows the core however it is dashed
    pieces = np.array_split(np.arange(len(at)), int(np.clip(len(at) / (10 * window.surround_px), 4, 40)))
    middles = np.array([at[p].mean() for p in pieces])
    found = np.array([_ridge(offsets, profiles[p].mean(axis=0), window.surround_px) for p in pieces])
    t = (middles - at[0]) / max(at[-1] - at[0], 1.0)
    terms = np.stack([1 - t, t], axis=1)
    fitted = _robust(terms, found, 0.35)
    if fitted is None:
        return float("inf")
    fit, agree = fitted
    return float(np.abs(terms[agree] @ fit).max())


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
