"""What a picture shows before anything is known of the camera: small bright spots, and the cloth's four
corners.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from aimgeo.vectors import Array

Picture = NDArray[np.float32]
"""Height x width x 3, blue, green, red (OpenCV's order), 0 to 255, as shown."""

MOST_SPOTS, MOST_PEAKS = 400, 900
FAINTEST = 7.0
"""Spots that stand out less are left to the grain."""

SPOT_PX, FAINT_PX, PALE_PX = 0.1, 6.0, 0.5
PALE = (120.0, 220.0)
"""One standard error of a spot's middle; of a faint one's, times its height; and of one on ground nearly as bright
as the picture can show, where glare eats it from one side. Measured on path-traced stills of 46 tables.
"""


def whiteness(picture: Picture) -> Picture:
    """Brightness, most of it of the darkest colour: a pale sight stands out of pale wood by its blue."""
    return 0.4 * (picture @ np.array([0.2, 0.5, 0.3], np.float32)) + 0.6 * picture.min(-1)


@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """Small bright spots: their middles (M, 2) in px, how far (M,) these may be off along x and along y (one
    standard error), and how large (M,) they are: the root of their area.
    """

    at_px: Array
    error_px: Array
    across_px: Array


NO_SPOTS = Spots(np.zeros((0, 2)), np.zeros(0), np.zeros(0))


def spots(picture: Picture) -> Spots:
    """Small bright spots that may be sights, those that stand out farthest first.

    White top-hats of four sizes. Each of their peaks is a spot with what around it is more than half as high: so a
    sight stays one beside the bright edge of a rail, which a fixed brightness would join it to.
    """
    import cv2

    grey = whiteness(picture)
    scale = max(picture.shape[:2]) / 1920
    found: list[tuple[float, float, float, float]] = []
    for reach in (7, 13, 25, 45):
        size = max(3, round(reach * scale) | 1)
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
        hat = cv2.GaussianBlur(cv2.morphologyEx(grey, cv2.MORPH_TOPHAT, kernel), (0, 0), 0.7)
        least = max(FAINTEST, 4 * float(np.median(hat)))
        ys, xs = np.nonzero((hat >= cv2.dilate(hat, np.ones((3, 3), np.uint8))) & (hat > least))
        ys, xs = _standing_alone(hat, ys, xs, round(0.7 * size) + 1)
        for y, x in zip(ys.tolist(), xs.tolist(), strict=True):
            one = _one_spot(hat, y, x, size)
            if one is not None:
                found.append(one)
    if not found:
        return NO_SPOTS
    rows = np.array(found)
    rows = rows[np.argsort(-rows[:, 3], kind="stable")]
    kept = np.zeros(0, int)
    for i, row in enumerate(rows):
        if (np.hypot(*(rows[kept, :2] - row[:2]).T) >= 2.0).all():
            kept = np.append(kept, i)
        if len(kept) >= MOST_SPOTS:
            break
    at, height = rows[kept, :2], rows[kept, 3]
    peaks = cv2.GaussianBlur(grey, (0, 0), 0.7)[at[:, 1].astype(int), at[:, 0].astype(int)]
    return Spots(_middles(grey, at, rows[kept, 2]), spot_errors(height, peaks - height), rows[kept, 2])


def spot_errors(height: Array, ground: Array) -> Array:
    """One standard error (M,) in px of spots by how far they stand out of their ground, and how bright that is."""
    pale = np.clip((ground - PALE[0]) / (PALE[1] - PALE[0]), 0.0, 1.0)
    return np.asarray(np.sqrt(SPOT_PX**2 + (FAINT_PX / height) ** 2 + (PALE_PX * pale) ** 2))


def _standing_alone(
    hat: Picture, ys: NDArray[Any], xs: NDArray[Any], reach: int
) -> tuple[NDArray[Any], NDArray[Any]]:
    """The peaks, the highest first, that are twice as high as most of what lies around them at a distance."""
    order = np.argsort(-hat[ys, xs], kind="stable")
    ys, xs = ys[order], xs[order]
    turn = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    high, wide = hat.shape
    around_y = np.clip(ys[:, None] + np.round(reach * np.sin(turn)).astype(int), 0, high - 1)
    around_x = np.clip(xs[:, None] + np.round(reach * np.cos(turn)).astype(int), 0, wide - 1)
    alone = (hat[around_y, around_x] > 0.5 * hat[ys, xs][:, None]).sum(1) <= 1
    return ys[alone][:MOST_PEAKS], xs[alone][:MOST_PEAKS]


def _one_spot(hat: Picture, y: int, x: int, size: int) -> tuple[float, float, float, float] | None:
    """Middle (x, y), size in px and height of the spot with a peak; None where it is too large or no peak of its
    own.
    """
    import cv2

    top, left = max(y - size, 0), max(x - size, 0)
    part, height = hat[top : y + size + 1, left : x + size + 1], float(hat[y, x])
    _, labels, stats, _ = cv2.connectedComponentsWithStats((part > 0.5 * height).astype(np.uint8), connectivity=4)
    k = labels[y - top, x - left]
    x0, y0, w, h, area = (int(v) for v in stats[k])
    touches = x0 == 0 or y0 == 0 or x0 + w == part.shape[1] or y0 + h == part.shape[0]
    if touches or area > (0.9 * size) ** 2 or max(w, h) > 1.2 * size + 2 or area < 0.3 * w * h:
        return None
    ys, xs = np.nonzero(labels == k)
    if part[ys, xs].max() > height:
        return None
    weight = part[ys, xs] - 0.4 * height
    middle = np.array([left + xs + 0.5, top + ys + 0.5]) @ weight / weight.sum()
    return float(middle[0]), float(middle[1]), float(np.sqrt(area)), height


def _middles(grey: Picture, at_px: Array, sizes_px: Array) -> Array:
    """The spots' middles (M, 2), to a tenth or two of a pixel.

    Each is weighted by an ellipse of its own shape (its adaptive moments) over the slope of its surroundings: a
    sight is drawn long by perspective, and grain runs right beside it.
    """
    made = at_px.copy()
    reach = np.clip(np.ceil(1.6 * sizes_px), 5, 40).astype(int)
    reach = np.where(reach < 9, 8, np.where(reach < 17, 16, 40))
    high, wide = grey.shape
    for r in np.unique(reach):
        corner = at_px.astype(int) - r
        chosen = np.flatnonzero((reach == r) & (corner >= 0).all(1) & (corner + 2 * r + 1 <= (wide, high)).all(1))
        if not len(chosen):
            continue
        steps = np.arange(2 * r + 1)
        rows, columns = corner[chosen, 1, None] + steps, corner[chosen, 0, None] + steps
        patch = grey[rows[:, :, None], columns[:, None, :]].astype(float).reshape(len(chosen), -1)
        places = np.stack(np.meshgrid(steps + 0.5, steps + 0.5), -1).reshape(-1, 2)
        found = corner[chosen] + _by_moments(patch, places, at_px[chosen] - corner[chosen], sizes_px[chosen])
        near = np.hypot(*(found - at_px[chosen]).T) < 2.5
        made[chosen] = np.where(near[:, None], found, at_px[chosen])
    return made


def _by_moments(patch: Array, places: Array, start: Array, sizes_px: Array) -> Array:
    """Middles (M, 2) of bright spots in patches (M, P) of places (P, 2) by adaptive moments; nan where none is."""
    c = start.copy()
    shape = np.eye(2) * np.maximum(0.8, 0.33 * sizes_px)[:, None, None] ** 2
    most = np.maximum(2.0, (0.55 * sizes_px) ** 2)[:, None]
    lift = np.zeros_like(patch)
    with np.errstate(all="ignore"):
        for turn in range(14):
            d = places - c[:, None]
            inverse = np.linalg.inv(shape)
            far2 = np.einsum("mpi,mij,mpj->mp", d, inverse, d)
            if turn < 6:
                lift = patch - _surroundings(patch, places - start[:, None], (far2 > 2.4**2) & (far2 < 5.5**2))
            w = np.exp(-far2 / 2) * lift
            total = w.sum(1)
            m = np.einsum("mp,mpi->mi", w, d) / total[:, None]
            spread = np.einsum("mp,mpi,mpj->mij", w, d, d) / total[:, None, None] - m[:, :, None] * m[:, None]
            # a spot and its weight multiply: the inverse of what is measured is the sum of their inverses
            size, turned = np.linalg.eigh(_inverse(_inverse(spread) - inverse))
            size = np.clip(np.where((size > 0) & np.isfinite(size), size, 25.0), 0.35, most)
            fine = np.isfinite(turned).all((1, 2)) & np.isfinite(m).all(1) & (total > 0)
            new = 0.5 * shape + 0.5 * np.einsum("mij,mj,mkj->mik", turned, size, turned)
            shape = np.where(fine[:, None, None], new, shape)
            c = c + np.where(fine[:, None], np.clip(2 * m, -1, 1), 0.0)
    return np.where(fine[:, None], c, np.nan)


def _inverse(m: Array) -> Array:
    """Inverses of symmetric matrices (M, 2, 2); not finite, or the unit matrix, where there is none."""
    bad = ~np.isfinite(m).all((1, 2)) | (np.abs(np.linalg.det(np.nan_to_num(m))) < 1e-12)
    return np.asarray(np.linalg.inv(np.where(bad[:, None, None], np.eye(2), m)))


def _surroundings(patch: Array, d: Array, ring: NDArray[np.bool_]) -> Array:
    """The sloping shade (M, P) of what lies in a ring about each spot, without what stands out of it."""
    basis = np.concatenate([np.ones((*d.shape[:2], 1)), d], -1)
    weight = ring.astype(float)
    shade = patch
    for turn in range(4):
        normal = np.einsum("mp,mpi,mpj->mij", weight, basis, basis) + 1e-6 * np.eye(3)
        told = np.einsum("mp,mpi,mp->mi", weight, basis, patch)
        shade = np.einsum("mpi,mi->mp", basis, np.linalg.solve(normal, told[..., None])[..., 0])
        if turn < 3:
            off = np.where(ring, np.abs(patch - shade), np.nan)
            typical = 1.48 * np.nanmedian(off, 1, keepdims=True)
            weight = (ring & (np.abs(patch - shade) < 2.0 * typical + 1e-3)).astype(float)
    return np.asarray(shade)


def cloth_corners(picture: Picture) -> list[Array]:
    """Candidates for the four corners (4, 2) of cloth and cushions, around in the picture; may lie outside of
    it.
    """
    import cv2

    high, wide = picture.shape[:2]
    shrink = 480 / max(high, wide)
    small = cv2.resize(picture, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    lab = cv2.cvtColor(np.clip(small / 255, 0, 1).astype(np.float32), cv2.COLOR_BGR2Lab)
    smooth = cv2.GaussianBlur(lab, (0, 0), 2.0)
    pixels = smooth[::3, ::3].reshape(-1, 3).copy()
    pixels[:, 0] *= 0.35  # lamps make light and dark of one cloth
    cv2.setRNGSeed(7)
    _, _, centres = cv2.kmeans(
        pixels, 6, None, (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.2), 2, cv2.KMEANS_PP_CENTERS
    )
    flat = smooth * np.array([0.35, 1, 1], np.float32)
    owner = np.argmin(((flat[:, :, None] - centres[None, None]) ** 2).sum(-1), -1)
    regions: list[tuple[float, NDArray[np.uint8]]] = []
    groups = [(k,) for k in range(len(centres))] + [
        pair
        for pair in combinations(range(len(centres)), 2)
        if np.hypot(*(centres[pair[0], 1:] - centres[pair[1], 1:])) < 22
    ]
    for group in groups:
        mask = np.isin(owner, group).astype(np.uint8)
        mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
        count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
        if count < 2:
            continue
        k = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
        if stats[k, cv2.CC_STAT_AREA] < 0.03 * mask.size:
            continue
        chroma = np.mean([np.hypot(*centres[g, 1:]) for g in group])
        regions.append((float(stats[k, cv2.CC_STAT_AREA]) * (1 + chroma / 10), (labels == k).astype(np.uint8)))
    regions.sort(key=lambda r: -r[0])
    found = []
    for _, mask in regions[:7]:
        quad = _quad(mask)
        if quad is not None:
            found.append((quad / shrink).astype(float))
    return found


def _quad(mask: NDArray[np.uint8]) -> Array | None:
    """The four straight sides of a region's hull that are not the frame's, met in corners; None when there
    aren't.
    """
    import cv2

    high, wide = mask.shape
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=cv2.contourArea)
    hull = cv2.convexHull(contour)[:, 0].astype(float)
    around = np.concatenate(
        [
            np.linspace(a, b, max(int(np.hypot(*(b - a))), 1), endpoint=False)
            for a, b in zip(hull, np.roll(hull, -1, 0), strict=True)
        ]
    )
    inside = (around[:, 0] > 2) & (around[:, 0] < wide - 3) & (around[:, 1] > 2) & (around[:, 1] < high - 3)
    points = around[inside]
    if len(points) < 60:
        return None
    draw = np.random.default_rng(11)
    lines: list[tuple[Array, Array]] = []
    left = points
    for _ in range(4):
        if len(left) < 15:
            return None
        best, most = None, 0
        for _ in range(160):
            a, b = left[draw.choice(len(left), 2, replace=False)]
            d = b - a
            size = np.hypot(*d)
            if size < 12:
                continue
            n = np.array([-d[1], d[0]]) / size
            near = np.abs((left - a) @ n) < 1.6
            if near.sum() > most:
                best, most = near, int(near.sum())
        if best is None or most < 12:
            return None
        on = left[best]
        middle = on.mean(0)
        along = np.linalg.svd(on - middle)[2][0]
        lines.append((middle, along))
        left = left[np.abs((left - middle) @ np.array([-along[1], along[0]])) > 4.0]
    centre = points.mean(0)
    lines.sort(key=lambda line: float(np.arctan2(*(line[0] - centre)[::-1])))
    corners = []
    for (p, d), (q, e) in zip(lines, [*lines[1:], lines[0]], strict=True):
        cross = d[0] * e[1] - d[1] * e[0]
        if abs(cross) < 0.03:
            return None
        t = ((q - p)[0] * e[1] - (q - p)[1] * e[0]) / cross
        corners.append(p + t * d)
    quad = np.array(corners)
    edges = np.roll(quad, -1, 0) - quad
    after = np.roll(edges, -1, 0)
    turns = edges[:, 0] * after[:, 1] - edges[:, 1] * after[:, 0]
    if not ((turns > 0).all() or (turns < 0).all()) or np.abs(quad).max() > 8 * max(high, wide):
        return None
    return quad
