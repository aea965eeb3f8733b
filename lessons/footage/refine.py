"""What is looked for once the camera is nearly known: noses and spots, for the height of the cloth under the
rails.
"""

from __future__ import annotations

import numpy as np

from aimgeo.camera import project
from aimgeo.landmarks import NAMED, noses
from aimgeo.vectors import Array, cross
from lessons.footage.balls import edge_offsets
from lessons.footage.fit import Edges, Solved
from lessons.footage.picture import Picture
from lessons.footage.start import in_frame

NOSE_PX, NOSE_MM = 0.4, 1.2
"""One standard error of where a whole nose lies: the edge is round, and shadows run along it."""

LEAN_PX, BEND_PX = 0.5, 0.35
"""Of how much farther out one end lies than the other, and the middle than both."""

SPOT_PX = 0.25
PLACES = 31


def nose_lines(shade: Picture, solved: Solved) -> Edges | None:
    """The noses where they are seen as edges: a line counts once, however many places it has."""
    camera = solved.camera
    parts: list[tuple[Array, Array, Array]] = []
    mixed: list[Array] = []
    for matrices in noses(PLACES).values():
        matrices = matrices[2:-2]
        places = matrices @ solved.problem.measures_mm(solved.x)
        px = project(camera, places)
        ok = in_frame(px, solved.problem.size_px, 12.0)
        if ok.sum() < 8:
            continue
        along = np.gradient(px, axis=0)
        normals = np.stack([along[:, 1], -along[:, 0]], -1) / np.maximum(
            np.linalg.norm(along, axis=-1, keepdims=True), 1e-9
        )
        depth = (places - camera.eye_mm) @ camera.axes[2]
        if np.linalg.norm(px[ok][-1] - px[ok][0]) < 60:
            continue
        window = float(np.clip(np.median(4.0 * camera.focal_px / depth[ok]) + 2.0, 3.5, 9.0))
        if _open_px(solved, matrices[ok][[0, -1]], normals[ok][[0, -1]]) > window:
            continue  # another edge may lie as near
        offsets, error, _ = edge_offsets(shade, px[ok], normals[ok], window)
        good = np.isfinite(error) & (np.abs(offsets) < window - 1.0)
        if good.sum() < 8:
            continue
        # an edge that runs straight along the line; shadows lean
        k = np.flatnonzero(good)
        for _ in range(3):
            fit = np.polyfit(k, offsets[k], 1)
            left = np.abs(offsets - np.polyval(fit, np.arange(len(offsets))))
            k = np.flatnonzero(good & (left < max(2.5 * float(np.median(left[k])), 0.4)))
            if len(k) < 8:
                break
        if len(k) < max(8, 0.45 * ok.sum()) or np.abs(fit[0]) * len(offsets) > 2.5:
            continue
        parts.append((matrices[ok][k], px[ok][k] + offsets[k, None] * normals[ok][k], normals[ok][k]))
        lies = np.hypot(NOSE_PX, NOSE_MM * camera.focal_px / np.median(depth[ok][k]))
        mixed.append(_mixed(k.astype(float), (lies, LEAN_PX, BEND_PX)))
    if not parts:
        return None
    matrices, at, normals = (np.concatenate(column) for column in zip(*parts, strict=True))
    whole = np.zeros((sum(len(one) for one in mixed), len(at)))
    row = column = 0
    for one in mixed:
        whole[row : row + one.shape[0], column : column + one.shape[1]] = one
        row, column = row + one.shape[0], column + one.shape[1]
    return Edges(matrices, at, normals, whole)


def _open_px(solved: Solved, matrices: Array, normals: Array) -> float:
    """The 95 % along normals (N, 2) within which places of the table are known to be seen: the widest."""
    return float(solved.error(lambda x: np.sum(solved.problem.seen_px(x, matrices) * normals, -1)).max())


def _mixed(places: Array, errors_px: tuple[float, float, float]) -> Array:
    """Rows (3, K) that make of distances at K places along a line its mean, how it leans and how it bends, each in
    standard errors.
    """
    t = 2 * (places - places.mean()) / max(float(np.ptp(places)), 1.0)
    basis = np.stack([np.ones_like(t), t, t * t - np.mean(t * t)], -1)
    # where the line lies is its mean; one end against the other, twice the slope; the middle, the square
    rows = np.array([[1.0], [2.0], [1.0]]) * np.linalg.pinv(basis)
    return np.asarray(rows / np.array(errors_px)[:, None])


def cloth_spots(picture: Picture, solved: Solved, balls_px: Array, balls_radius_px: float) -> dict[str, Array]:
    """Dark spots on the cloth where the table has them: pixels (2,) by name."""
    import cv2

    camera = solved.camera
    found: dict[str, Array] = {}
    grey = picture @ np.array([0.2, 0.5, 0.3], np.float32)
    # a spot is looked for where it must be: elsewhere lie chalk and shadows
    for name in ("spot-head", "spot-centre", "spot-foot"):
        place = NAMED[name] @ solved.problem.measures_mm(solved.x)
        px = project(camera, place)
        if not in_frame(px, solved.problem.size_px, 20.0):
            continue
        if len(balls_px) and np.hypot(*(balls_px - px).T).min() < 2.2 * balls_radius_px:
            continue
        ring = project(camera, place + np.array([[9.0, 0, 0], [0, 9.0, 0], [-9.0, 0, 0], [0, -9.0, 0]]))
        across = float(np.abs(ring - px).max())
        if _open_px(solved, np.stack([NAMED[name]] * 2), np.eye(2)) > 1.6 * across + 2:
            continue
        reach = int(max(4.0 * across, 8))
        x, y = (int(v) for v in px)
        left, top = max(x - reach, 0), max(y - reach, 0)
        part = grey[top : y + reach + 1, left : x + reach + 1]
        dark = np.median(part) - cv2.GaussianBlur(part, (0, 0), 0.6)
        noise = 1.5 * float(np.median(np.abs(dark))) + 1.0
        mask = (dark > max(0.4 * float(dark.max()), 5 * noise)).astype(np.uint8)
        count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
        expected = abs(float(cross(ring[0] - ring[2], ring[1] - ring[3]))) * np.pi / 8
        best = None
        for k in range(1, count):
            area = float(stats[k, cv2.CC_STAT_AREA])
            ys, xs = np.nonzero(labels == k)
            touches = (
                xs.min() == 0 or ys.min() == 0 or xs.max() == part.shape[1] - 1 or ys.max() == part.shape[0] - 1
            )
            if touches or not 0.12 * expected < area < 3.5 * expected + 6 or area < 3:
                continue
            weight = dark[ys, xs]
            at = np.array([left + (xs + 0.5) @ weight / weight.sum(), top + (ys + 0.5) @ weight / weight.sum()])
            off = float(np.hypot(*(at - px)))
            if off < 1.6 * across + 2 and (best is None or off < best[0]):
                best = (off, at)
        if best is not None:
            found[name] = best[1]
    return found
