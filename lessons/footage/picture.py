"""What a picture shows before anything is known of the camera: small bright spots, and the cloth's four
corners.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from aimgeo.vectors import Array

Picture = NDArray[np.float32]
"""Height x width x 3, blue, green, red (OpenCV's order), 0 to 255, as shown."""

MOST_SPOTS = 400


def whiteness(picture: Picture) -> Picture:
    """Brightness, most of it of the darkest colour: a pale sight stands out of pale wood by its blue."""
    return 0.4 * (picture @ np.array([0.2, 0.5, 0.3], np.float32)) + 0.6 * picture.min(-1)


def spots(picture: Picture) -> tuple[Array, Array]:
    """Small bright spots that may be sights: centres (M, 2) in px and their sizes (M,) in px.

    White top-hats of three sizes; what stands out of its own surroundings by contrast, not by a fixed brightness.
    """
    import cv2

    grey = whiteness(picture)
    scale = max(picture.shape[:2]) / 1920
    found: list[tuple[float, float, float, float]] = []
    for reach in (7, 13, 25, 45):
        size = max(3, round(reach * scale) | 1)
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
        hat = cv2.morphologyEx(grey, cv2.MORPH_TOPHAT, kernel)
        blurred = cv2.GaussianBlur(hat, (0, 0), 0.7)
        noise = np.median(hat) + 1e-3
        mask = (blurred > max(9.0, 5 * noise)).astype(np.uint8)
        count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
        most = (0.9 * size) ** 2
        for k in range(1, count):
            x, y, w, h, area = (int(v) for v in stats[k])
            if area < 3 or area > most or max(w, h) > 1.2 * size + 2 or area < 0.3 * w * h:
                continue
            found.append(
                (
                    *_centroid(grey, hat, labels, k, (x, y, w, h)),
                    float(np.sqrt(area)),
                    float(blurred[y : y + h, x : x + w].max()),
                )
            )
    if not found:
        return np.zeros((0, 2)), np.zeros(0)
    rows = np.array(found)
    rows = rows[np.argsort(-rows[:, 3], kind="stable")]
    kept: list[int] = []
    for i, row in enumerate(rows):
        near = [j for j in kept if np.hypot(*(rows[j, :2] - row[:2])) < 2.0]
        if not near:
            kept.append(i)
        if len(kept) >= MOST_SPOTS:
            break
    return _middles(grey, rows[kept, :2], rows[kept, 2]), rows[kept, 2]


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


def _centroid(
    grey: Picture, hat: Picture, labels: NDArray[np.int32], k: int, box: tuple[int, int, int, int]
) -> tuple[float, float]:
    """The middle of one spot, weighted by how much it stands out of its rim."""
    x, y, w, h = box
    pad = 2
    top, left = max(y - pad, 0), max(x - pad, 0)
    part = grey[top : y + h + pad, left : x + w + pad]
    own = labels[top : y + h + pad, left : x + w + pad]
    import cv2

    near = cv2.dilate((own == k).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    ring = ~near & (own != k)
    weight = np.where(near, np.maximum(part - (np.median(part[ring]) if ring.any() else part.min()), 0), 0.0)
    ys, xs = np.mgrid[top : top + part.shape[0], left : left + part.shape[1]] + 0.5
    total = weight.sum()
    if total <= 0:
        return x + w / 2, y + h / 2
    return float((xs * weight).sum() / total), float((ys * weight).sum() / total)


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
