"""Starts: cameras that a few picked places allow, over focal lengths and bends; then locked on the sights."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from aimgeo.camera import Camera, Lens, project
from aimgeo.landmarks import MEASURES, NAMED, SIGHTS, cushion_corners
from aimgeo.vectors import Array, BoolArray
from lessons.footage.fit import Problem, Seen, Solved, is_sound, solve

FOCALS_MM = np.geomspace(12, 110, 15)
BENDS = ((0.0, 0.0), (-0.05, 0.005), (0.05, -0.005), (-0.12, 0.02), (-0.22, 0.05), (-0.33, 0.09), (0.02, 0.0))
LOCK_WITHIN_PX = (18.0, 12.0, 7.0, 4.0)
"""For a picture 1920 wide."""

SIGHT_PX, SIGHT_MM = 0.12, 0.5
"""One standard error of a sight's centre in the picture, and of its place on the rail."""

SIGHT_MATRICES = np.stack([NAMED[name] for name in SIGHTS])


@dataclass(frozen=True, slots=True, eq=False)
class Start:
    """A camera, and how far (px, root mean square) the places it comes from are missed."""

    camera: Camera
    off_px: float


def starts(problem: Problem, points_mm: Array, at_px: Array, below: bool = False) -> list[Start]:
    """Cameras that see some places (N, 3) at some pixels (N, 2), N >= 3; above the cloth, or below it."""
    import cv2

    wide, high = problem.size_px
    middle = np.array([wide, high]) / 2
    diagonal = float(np.hypot(wide, high))
    found: list[Start] = []
    focals = (
        FOCALS_MM
        if problem.focal_px is None
        else np.array([0.95, 1.0, 1.05]) * problem.focal_px / max(wide, high) * 36
    )
    for focal_mm in focals:
        focal = focal_mm / 36 * max(wide, high)
        corner = diagonal / 2 / focal
        for d1, d2 in BENDS:
            k1, k2 = d1 / corner**2, d2 / corner**4
            xy = Lens(k1, k2).straightened((at_px - middle) / focal)
            if not np.isfinite(xy).all():
                continue
            try:
                if len(points_mm) == 3:
                    _, turns, shifts = cv2.solveP3P(
                        points_mm.reshape(-1, 1, 3), xy.reshape(-1, 1, 2), np.eye(3), None, cv2.SOLVEPNP_AP3P
                    )
                else:
                    _, turns, shifts, _ = cv2.solvePnPGeneric(
                        points_mm, xy, np.eye(3), None, flags=cv2.SOLVEPNP_SQPNP
                    )
            except cv2.error:
                continue
            for turn, shift in zip(turns, shifts, strict=True):
                R = cv2.Rodrigues(turn)[0]
                eye = (-R.T @ shift).ravel()
                if not np.isfinite(eye).all() or (eye[2] < 60) != below or np.linalg.norm(eye) > 40_000:
                    continue
                camera = Camera(eye, R, np.array(focal), middle, np.array([wide, high], float), Lens(k1, k2))
                off = project(camera, points_mm) - at_px
                if np.isfinite(off).all():
                    found.append(Start(camera, float(np.sqrt(np.mean(off**2)))))
    return sorted(found, key=lambda start: start.off_px)


@dataclass(frozen=True, slots=True, eq=False)
class Lock:
    """A fit on sights: which candidate each seen sight is, and how many of those in the frame are met."""

    solved: Solved
    sights: dict[str, int]
    in_frame: int

    @property
    def share(self) -> float:
        """The part of the sights in the frame that are met."""
        return len(self.sights) / max(self.in_frame, 1)


def sight_places(problem: Problem) -> Array:
    """Where the sights (18, 3) of the table as specified lie."""
    return SIGHT_MATRICES @ np.array([problem.priors[name].mm for name in MEASURES])


def rank(problem: Problem, found: list[Start], spots_px: Array, most: int) -> list[Start]:
    """The starts under which most sights fall on spots, the best first."""
    from scipy.spatial import cKDTree

    if not len(spots_px) or not found:
        return found[:most]
    tree = cKDTree(spots_px)
    wide, high = problem.size_px
    places = sight_places(problem)
    within = LOCK_WITHIN_PX[0] * max(wide, high) / 1920
    scored = []
    for start in found:
        px = project(start.camera, places)
        seen = in_frame(px, problem.size_px)
        if seen.sum() < 3:
            scored.append((0.0, start))
            continue
        near, _ = tree.query(px[seen])
        # a spot for each sight, and near: so many spots lie about that nearness must count
        score = np.exp(-((near / within) ** 2)).sum() / (seen.sum() + 2)
        scored.append((float(score), start))
    scored.sort(key=lambda pair: (-pair[0], pair[1].off_px))
    kept: list[Start] = []
    for _, start in scored:
        # starts with nearly the same picture lead to the same fit
        px = project(start.camera, places)
        if all(np.nanmax(np.abs(px - project(other.camera, places))) > within for other in kept):
            kept.append(start)
        if len(kept) >= most:
            break
    return kept


def in_frame(px: Array, size_px: tuple[int, int], margin: float = 3.0) -> BoolArray:
    """True where pixels (..., 2) lie within the picture."""
    with np.errstate(invalid="ignore"):
        return np.asarray((px > margin).all(-1) & (px < np.array(size_px) - margin).all(-1))


def matched(solved: Solved, spots_px: Array, within_px: float) -> dict[str, int]:
    """For each sight the spot that it falls on: the nearest within a distance, each spot once, nearest pairs
    first.
    """
    from scipy.spatial import cKDTree

    px = solved.problem.seen_px(solved.x, SIGHT_MATRICES)
    seen = np.flatnonzero(in_frame(px, solved.problem.size_px) & facing(solved))
    if not len(spots_px) or not len(seen):
        return {}
    near, which = cKDTree(spots_px).query(px[seen], k=min(3, len(spots_px)), distance_upper_bound=within_px)
    near, which = np.atleast_2d(near.T).T, np.atleast_2d(which.T).T
    pairs = sorted(
        (float(near[i, j]), int(s), int(which[i, j]))
        for i, s in enumerate(seen)
        for j in range(near.shape[1])
        if np.isfinite(near[i, j])
    )
    found: dict[str, int] = {}
    taken: set[int] = set()
    for _, s, w in pairs:
        if SIGHTS[s] not in found and w not in taken:
            found[SIGHTS[s]] = w
            taken.add(w)
    return found


def facing(solved: Solved) -> BoolArray:
    """True for sights that are in front of the camera."""
    camera = solved.camera
    places = SIGHT_MATRICES @ solved.problem.measures_mm(solved.x)
    return np.asarray((places - camera.eye_mm) @ camera.axes[2] > 10.0)


def sight_errors(solved: Solved, names: list[str]) -> Array:
    """One standard error in px of sights found in the picture."""
    camera = solved.camera
    places = np.stack([NAMED[name] for name in names]) @ solved.problem.measures_mm(solved.x)
    depth = np.maximum((places - camera.eye_mm) @ camera.axes[2], 100.0)
    return np.asarray(np.hypot(SIGHT_PX, SIGHT_MM * camera.focal_px / depth))


def lock(problem: Problem, start: Camera, picks: Seen | None, spots_px: Array, rounds: int = 2) -> Lock | None:
    """The camera solved on the sights' spots, from a start; None when it comes to nothing sound."""
    scale = max(problem.size_px) / 1920
    problem, x = replace(problem, points=picks).start(start)
    if picks is not None and len(picks.at_px) >= 4:
        solved = solve(problem, x, 15)
    else:
        solved = Solved(problem, x, np.eye(len(x)), 0.0)
    sights: dict[str, int] = {}
    for within in (*LOCK_WITHIN_PX, *([LOCK_WITHIN_PX[-1]] * (rounds - 1))):
        sights = matched(solved, spots_px, within * scale)
        if len(sights) + (0 if picks is None else len(picks.at_px)) < 4:
            return None
        solved = solve(with_sights(solved, picks, sights, spots_px), solved.x, 15)
        if solved.camera.eye_mm[2] < 20:
            return None
    px = solved.problem.seen_px(solved.x, SIGHT_MATRICES)
    sights = matched(solved, spots_px, LOCK_WITHIN_PX[-1] * scale)
    visible = int((in_frame(px, problem.size_px) & facing(solved)).sum())
    if not is_sound(solved):
        return None
    return Lock(solved, sights, visible)


def with_sights(solved: Solved, picks: Seen | None, sights: dict[str, int], spots_px: Array) -> Problem:
    """The problem with the sights found added to the picks."""
    names = sorted(sights)
    parts = [picks] if picks is not None else []
    if names:
        at = spots_px[[sights[name] for name in names]]
        parts.append(Seen(np.stack([NAMED[name] for name in names]), at, sight_errors(solved, names)))
    return replace(solved.problem, points=joined(parts))


def joined(parts: list[Seen]) -> Seen | None:
    """Several lists of seen places as one."""
    if not parts:
        return None
    return Seen(*(np.concatenate([getattr(p, key) for p in parts]) for key in ("matrices", "at_px", "error_px")))


def corner_starts(problem: Problem, quads: list[Array]) -> list[Start]:
    """Starts from the corners of the cloth, in all four ways that keep left and right."""
    corners = cushion_corners()
    measures = np.array([problem.priors[name].mm for name in MEASURES])
    # around the table clockwise as seen from above, as the picture's corners are with y down
    names = ("foot-left", "foot-right", "head-right", "head-left")
    places = np.stack([corners[name] for name in names]) @ measures
    found: list[Start] = []
    for quad in quads:
        nxt = np.roll(quad, -1, 0)
        area = float(np.sum(quad[:, 0] * nxt[:, 1] - quad[:, 1] * nxt[:, 0]))
        ordered = quad if area > 0 else quad[::-1]
        for shift in range(4):
            found += starts(problem, places, np.roll(ordered, shift, 0))
    return found
