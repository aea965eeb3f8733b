"""What is looked for once the camera is nearly known: noses and spots, for the height of the cloth under the
rails.
"""

from __future__ import annotations

import numpy as np

from aimgeo.camera import project
from aimgeo.landmarks import MEASURES, NAMED, backs, noses
from aimgeo.vectors import Array, cross
from lessons.footage.balls import edge_offsets
from lessons.footage.fit import Edges, Solved
from lessons.footage.picture import Picture
from lessons.footage.start import in_frame

NOSE_PX, NOSE_MM = 0.4, 1.2
"""One standard error of where a whole nose lies: the edge is round, and shadows run along it."""

BACK_PX, BACK_MM, BACK_HIGH_MM = 0.4, 1.0, 1.5
"""Of where a whole cushion's back edge lies: strips are fitted by hand, a little lower than the wood."""

BACK_WINDOWS = ((0.45, 9.0), (0.8, 18.0))
"""How far about it a back edge is looked for: parts of its distance from the nose, and bounds in px."""

LEAST_APART_PX, LEAST_LINE_PX, LEANS_PX = 7.0, 60.0, 2.5

LEAN_PX, BEND_PX = 0.5, 0.35
"""Of how much farther out one end lies than the other, and the middle than both."""

BLOWN_PX = 1.8
"""More of each beside wood or cloth brighter than white: light runs over, and hides the other edges there."""

MERGED_PX, MERGED_WITHIN_PX = 1.5, 5.0
"""More of where a nose lies whose cushion's back edge is seen so near that both run into one: it falls as a
Gaussian of their distance. On 40 path-traced stills noses were off by 1.1 px where the two lay 3 px apart, by 0.7
at 5, and no more than elsewhere from 7 on; nothing else that was measured of an edge told how far off it was."""

SPOT_PX = 0.25
PLACES = 27

_Line = tuple[Array, Array, Array, Array]


def table_lines(shade: Picture, solved: Solved) -> Edges | None:
    """The noses, and the lines where cloth meets wood, where they are seen as edges: a line counts once, however
    many places it has.
    """
    from scipy.linalg import block_diag

    camera = solved.camera
    measures = solved.problem.measures_mm(solved.x)
    lines: list[_Line] = []
    for nose, back in zip(noses(PLACES).values(), backs(PLACES).values(), strict=True):
        depth = (nose @ measures - camera.eye_mm) @ camera.axes[2]
        per_mm = float(camera.focal_px / max(np.median(depth), 1.0))
        window = float(np.clip(4.0 * per_mm + 2.0, 3.5, 9.0))
        apart, back_lies = _back_px(solved, nose, back)
        merged = MERGED_PX * float(np.exp(-((apart / MERGED_WITHIN_PX) ** 2)))
        found = [_line(shade, solved, nose, window, float(np.hypot(NOSE_PX, NOSE_MM * per_mm)), merged)]
        # before a back edge lies the nose, behind it, farther off, the rail's outer edge
        if apart > LEAST_APART_PX:
            near, far = (min(part * apart, most) for part, most in BACK_WINDOWS)
            found.append(_line(shade, solved, back, near, back_lies) or _line(shade, solved, back, far, back_lies))
        lines += [line for line in found if line is not None]
    if not lines:
        return None
    matrices, at, normals = (np.concatenate(column) for column in zip(*(one[:3] for one in lines), strict=True))
    return Edges(matrices, at, normals, block_diag(*(one[3] for one in lines)))


def _line(
    shade: Picture, solved: Solved, matrices: Array, window: float, lies_px: float, merged_px: float = 0.0
) -> _Line | None:
    """A straight line of the table (N, 3, measures) as an edge within a window about where it should be: its
    places, pixels and normals, and the rows that say what is known of it; None where it is not seen, or too open.
    """
    camera = solved.camera
    matrices = _in_view(solved, matrices)
    if not len(matrices):
        return None
    px = project(camera, matrices @ solved.problem.measures_mm(solved.x))
    if not np.isfinite(px).all() or np.linalg.norm(px[-1] - px[0]) < LEAST_LINE_PX:
        return None
    along = np.gradient(px, axis=0)
    normals = np.stack([along[:, 1], -along[:, 0]], -1) / np.maximum(
        np.linalg.norm(along, axis=-1, keepdims=True), 1e-9
    )
    if _open_px(solved, matrices[[0, -1]], normals[[0, -1]]) > window:
        return None  # another edge may lie as near
    offsets, error, blown = edge_offsets(shade, px, normals, window)
    good = np.isfinite(error) & (np.abs(offsets) < window - 1.0)
    if good.sum() < 8:
        return None
    # an edge that runs straight along the line; shadows lean
    k = np.flatnonzero(good)
    for _ in range(3):
        fit = np.polyfit(k, offsets[k], 1)
        left = np.abs(offsets - np.polyval(fit, np.arange(len(offsets))))
        k = np.flatnonzero(good & (left < max(2.5 * float(np.median(left[k])), 0.4)))
        if len(k) < 8:
            break
    if len(k) < max(8, 0.45 * len(px)) or np.abs(fit[0]) * len(offsets) > LEANS_PX:
        return None
    at_px = px[k] + offsets[k, None] * normals[k]
    more = float(np.hypot(merged_px, BLOWN_PX * blown[k].mean()))
    errors = (np.hypot(lies_px, more), np.hypot(LEAN_PX, more), np.hypot(BEND_PX, more))
    return matrices[k], at_px, normals[k], _mixed(k.astype(float), errors)


def _in_view(solved: Solved, matrices: Array) -> Array:
    """As many places of a line, evenly along the part of it that is in the picture, short of the pockets."""
    along = np.linspace(0.06, 0.94, 200)[:, None, None]
    fine = (1 - along) * matrices[0] + along * matrices[-1]
    places = fine @ solved.problem.measures_mm(solved.x)
    ahead = (places - solved.camera.eye_mm) @ solved.camera.axes[2] > 10.0
    seen = np.flatnonzero(ahead & in_frame(project(solved.camera, places), solved.problem.size_px, 12.0))
    if len(seen) < len(fine) / 10:
        return fine[:0]
    return fine[seen[np.linspace(0, len(seen) - 1, PLACES).round().astype(int)]]


def _back_px(solved: Solved, nose: Array, back: Array) -> tuple[float, float]:
    """How far in the picture a cushion's back edge lies from its nose, and one standard error of where it lies."""
    measures = solved.problem.measures_mm(solved.x)
    apart = project(solved.camera, np.stack([nose, back]) @ measures)
    matrices = np.stack([back, back])
    moved = measures + np.stack(
        [
            BACK_MM * (np.arange(len(measures)) == MEASURES.index("cushion")),
            BACK_HIGH_MM * (np.arange(len(measures)) == MEASURES.index("rail_top")),
        ]
    )
    off = project(solved.camera, np.einsum("anij,aj->ani", matrices, moved)) - apart[1]
    along = np.gradient(apart[1], axis=0)
    normals = np.stack([along[:, 1], -along[:, 0]], -1) / np.maximum(
        np.linalg.norm(along, axis=-1, keepdims=True), 1e-9
    )
    ok = in_frame(apart[1], solved.problem.size_px, 12.0)
    if not ok.any():
        return 0.0, 0.0
    far = np.abs(np.sum((apart[1] - apart[0]) * normals, -1))[ok]
    lies = np.linalg.norm(np.sum(off * normals, -1), axis=0)[ok]
    return float(np.min(far)), float(np.hypot(BACK_PX, np.median(lies)))


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
