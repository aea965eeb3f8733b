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
    return rows[kept, :2], rows[kept, 2]


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
