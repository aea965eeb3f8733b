"""Starts: cameras that a few picked places allow, over focal lengths and bends; then locked on the sights."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from aimgeo.camera import Camera, Lens, project
from aimgeo.landmarks import MEASURES, NAMED, SIGHTS, cushion_corners, half_turned
from aimgeo.vectors import Array, BoolArray
from lessons.footage.fit import TABLE, Problem, Seen, Solved, is_sound, solve
from lessons.footage.picture import Spots

FOCALS_MM = np.geomspace(12, 110, 15)
BENDS = ((0.0, 0.0), (-0.05, 0.005), (0.05, -0.005), (-0.12, 0.02), (-0.22, 0.05), (-0.33, 0.09), (0.02, 0.0))
LOCK_WITHIN_PX = (18.0, 7.0, 4.0)
"""For a picture 1920 wide."""

GATE = 3.0
"""A sight is looked for within so many standard errors of where the fit puts it,"""

MOST_GATE_PX = 90.0
"""no farther, for a picture 1920 wide,"""

GUESSES = 3000
GUESS_WITHIN_PX = (10.0, 6.0)

MOST_BY_CHANCE = 0.7
"""and where fewer spots than this would lie by chance."""

SIGHT_MISSED = 1 / 6

SIGHT_MM = 0.5
"""One standard error of a sight's place on the rail."""

CLOTH_CORNER_PX = 10.0
"""One standard error of a corner of the cloth as `cloth_corners` finds it, for a picture 1920 wide."""

SIGHT_MATRICES = np.stack([NAMED[name] for name in SIGHTS])
ALL_SIGHTS = np.arange(len(SIGHTS))
SIGHTS_TURNED = np.array([SIGHTS.index(half_turned(name)) for name in SIGHTS])
"""For each sight the one that stands in its place once head and foot are exchanged."""


@dataclass(frozen=True, slots=True, eq=False)
class Start:
    """A camera, and how far (px, root mean square) the places it comes from are missed.

    `corners` are those of the cloth, where no picks carry the camera.
    """

    camera: Camera
    off_px: float
    corners: Seen | None = None


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
    """A fit on sights: which candidate each seen sight is, and how many of those in the frame are met.

    `evidence` is the logarithm of how much likelier the spots are with this camera than strewn as they are.
    """

    solved: Solved
    sights: dict[str, int]
    in_frame: int
    evidence: float

    @property
    def share(self) -> float:
        """The part of the sights in the frame that are met."""
        return len(self.sights) / max(self.in_frame, 1)


def usual_mm(problem: Problem) -> Array:
    """The table's measures before the picture is looked at."""
    return np.array([problem.priors[name].mm for name in MEASURES])


def sight_places(problem: Problem) -> Array:
    """Where the sights (18, 3) of the table as specified lie."""
    return SIGHT_MATRICES @ usual_mm(problem)


def rank(problem: Problem, found: list[Start], spots: Spots, most: int) -> list[Start]:
    """The starts under which most sights fall on spots, the best first."""
    from scipy.spatial import cKDTree

    if not len(spots.at_px) or not found:
        return found[:most]
    tree = cKDTree(spots.at_px)
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


def matched(solved: Solved, spots: Spots, within_px: float) -> dict[str, int]:
    """For each sight the spot that it falls on: the nearest within a distance, each spot once, nearest pairs
    first.
    """
    from scipy.spatial import cKDTree

    px = solved.problem.seen_px(solved.x, SIGHT_MATRICES)
    seen = np.flatnonzero(in_frame(px, solved.problem.size_px) & facing(solved))
    if not len(spots.at_px) or not len(seen):
        return {}
    near, which = cKDTree(spots.at_px).query(px[seen], k=min(3, len(spots.at_px)), distance_upper_bound=within_px)
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


def visible_sights(solved: Solved) -> int:
    """How many sights lie in the frame."""
    px = solved.problem.seen_px(solved.x, SIGHT_MATRICES)
    return int((in_frame(px, solved.problem.size_px) & facing(solved)).sum())


def sight_errors(solved: Solved, sights: Mapping[str, int], spots: Spots) -> Array:
    """One standard error in px of sights, by name, found as spots of the picture; in the order of their names."""
    camera, names = solved.camera, sorted(sights)
    places = np.stack([NAMED[name] for name in names]) @ solved.problem.measures_mm(solved.x)
    depth = np.maximum((places - camera.eye_mm) @ camera.axes[2], 100.0)
    seen = spots.error_px[[sights[name] for name in names]]
    return np.asarray(np.hypot(seen, SIGHT_MM * camera.focal_px / depth))


def begin(problem: Problem, start: Camera, picks: Seen) -> Solved:
    """The fit to picks alone from a start."""
    problem, x = replace(problem, points=picks).start(start)
    return solve(problem, x, 15)


def lock(begun: Solved, picks: Seen, spots: Spots, guess: Array | None = None) -> Lock | None:
    """The camera solved on the sights' spots, from a fit to picks; None when it comes to nothing sound.

    Sights are taken one after the other, the surest first: each narrows where the next can lie. From a guess of
    the unknowns, first all that lie near, each counting the less the farther off one may be.
    """
    problem = begun.problem
    scale = max(problem.size_px) / 1920
    solved, sights = begun, dict[str, int]()
    if guess is not None:
        solved = replace(begun, x=guess)
        for within in GUESS_WITHIN_PX:
            sights = matched(solved, spots, within * scale)
            if len(sights) < 3:
                return None
            solved = solve(with_sights(solved, picks, sights, spots, within * scale / 3), solved.x, 8)
    for _ in range(len(SIGHTS)):
        more = _surest(solved, sights, spots)
        if not more:
            break
        sights |= more
        solved = solve(with_sights(solved, picks, sights, spots), solved.x, 10)
        off = solved.problem.seen_px(solved.x, np.stack([NAMED[n] for n in sights]))
        far = np.linalg.norm(off - spots.at_px[list(sights.values())], axis=-1)
        sights = {n: k for (n, k), d in zip(sights.items(), far, strict=True) if d < LOCK_WITHIN_PX[-2] * scale}
    for within in LOCK_WITHIN_PX[-2:]:
        sights = matched(solved, spots, within * scale)
        if len(sights) < 3:
            return None
        solved = solve(with_sights(solved, picks, sights, spots), solved.x, 15)
    sights = matched(solved, spots, LOCK_WITHIN_PX[-1] * scale)
    if not is_sound(solved) or len(sights) < 3:
        return None
    solved = solve(with_sights(solved, picks, sights, spots), solved.x, 15)
    px = solved.problem.seen_px(solved.x, SIGHT_MATRICES)
    visible = in_frame(px, problem.size_px) & facing(solved)
    return Lock(solved, sights, int(visible.sum()), _evidence(begun, solved, sights, px, visible, spots))


def _surest(solved: Solved, sights: dict[str, int], spots: Spots) -> dict[str, int]:
    """Sights not met yet, each with the only spot that lies where it must be, if few would lie there by chance."""
    from scipy.spatial import cKDTree

    scale = max(solved.problem.size_px) / 1920
    px, spread = solved.seen_px(SIGHTS)
    spread = spread + np.eye(2) * (1.0 * scale) ** 2
    seen = in_frame(px, solved.problem.size_px) & facing(solved)
    tree, taken = cKDTree(spots.at_px), set(sights.values())
    found: list[tuple[float, str, int]] = []
    for k in np.flatnonzero(seen):
        if SIGHTS[k] in sights:
            continue
        reach = GATE * float(np.sqrt(np.linalg.eigvalsh(spread[k])[-1]))
        if reach > MOST_GATE_PX * scale:
            continue
        near = [j for j in tree.query_ball_point(px[k], reach) if j not in taken]
        off = spots.at_px[near] - px[k]
        inside = [
            j
            for j, z2 in zip(near, np.einsum("ni,ij,nj->n", off, np.linalg.inv(spread[k]), off), strict=True)
            if z2 < GATE**2
        ]
        inside = _whole(inside, spots)
        by_chance = strewn(px[k : k + 1], spots, scale)[0] * np.pi * GATE**2 * np.sqrt(np.linalg.det(spread[k]))
        if len(inside) == 1 and by_chance < MOST_BY_CHANCE:
            found.append((float(by_chance), SIGHTS[k], inside[0]))
    found.sort()
    made: dict[str, int] = {}
    for by_chance, name, spot in found:
        if spot not in made.values() and (not made or by_chance < 0.1):
            made[name] = spot
    return made


def _whole(some: list[int], spots: Spots) -> list[int]:
    """Some spots without those that lie on a larger one: a sight near the camera has bright tips of its own."""
    at, across = spots.at_px[some], spots.across_px[some]
    apart = np.linalg.norm(at[:, None] - at, axis=-1)
    covered = (apart < 0.7 * across) & (across[:, None] < 0.8 * across)
    return [one for one, is_part in zip(some, covered.any(1), strict=True) if not is_part]


def strewn(px: Array, spots: Spots, scale: float) -> Array:
    """Spots a square pixel about places (N, 2), one of them taken for a sight's own."""
    reach = 60.0 * scale
    count = (np.linalg.norm(spots.at_px[None] - px[:, None], axis=-1) < reach).sum(1)
    return np.asarray(np.maximum(count - 1, 1) / (np.pi * reach**2))


def _evidence(
    begun: Solved, solved: Solved, sights: dict[str, int], px: Array, visible: BoolArray, spots: Spots
) -> float:
    """Log of the odds of a lock against chance, by Laplace's approximation of both fits.

    A spot met is as likely as the fit makes it, against so many a square pixel; a sight missed happens to one in
    six. What a fit gains by its freedom to move is taken off by how much narrower it has become.
    """
    scale = max(solved.problem.size_px) / 1920
    names = sorted(sights)
    errors = sight_errors(solved, sights, spots)
    at = px[[SIGHTS.index(name) for name in names]]
    met = -np.log(2 * np.pi * errors**2 * strewn(at, spots, scale)).sum()
    met += len(names) * np.log(1 - SIGHT_MISSED) + (int(visible.sum()) - len(names)) * np.log(SIGHT_MISSED)
    n = len(begun.x)
    narrower = np.linalg.slogdet(_whitened(solved, n))[1] - np.linalg.slogdet(_whitened(begun, n))[1]
    return float(met + 0.5 * narrower - (solved.cost - begun.cost))


def _whitened(solved: Solved, n: int) -> Array:
    scale = np.concatenate([[100.0] * 3, [0.1] * 3, [0.1, 0.06, 0.02], [10.0] * 2, np.ones(n - TABLE.start)])
    return solved.covariance[:n, :n] / np.outer(scale, scale)


def guesses(begun: Solved, spots: Spots, most: int) -> list[Array]:
    """Unknowns that picks allow as well, under which most sights fall on spots, the best first."""
    from scipy.spatial import cKDTree

    scale = max(begun.problem.size_px) / 1920
    size, axes = np.linalg.eigh(begun.covariance)
    draw = np.random.default_rng(17).normal(0, 1, (GUESSES, len(size))) * np.sqrt(np.maximum(size, 0)) @ axes.T
    tried = begun.x + np.concatenate([np.zeros((1, len(size))), draw])
    px = begun.problem.seen_px(tried, SIGHT_MATRICES)
    seen = in_frame(px, begun.problem.size_px)
    within = GUESS_WITHIN_PX[0] * scale
    near, _ = cKDTree(spots.at_px).query(px, distance_upper_bound=3 * within)
    score = np.where(seen, np.exp(-((near / within) ** 2)), 0.0).sum(1) / (seen.sum(1) + 2)
    kept: list[int] = []
    for k in np.argsort(-score, kind="stable"):
        if all(np.abs(px[k] - px[j]).max() > within for j in kept):
            kept.append(int(k))
        if len(kept) >= most:
            break
    return [tried[k] for k in kept]


def with_sights(
    solved: Solved, picks: Seen | None, sights: dict[str, int], spots: Spots, more_px: float = 0.0
) -> Problem:
    """The problem with the sights found added to the picks; `more_px` is added to their errors."""
    names = sorted(sights)
    parts = [picks] if picks is not None else []
    if names:
        at = spots.at_px[[sights[name] for name in names]]
        errors = np.hypot(sight_errors(solved, sights, spots), more_px)
        parts.append(Seen(np.stack([NAMED[name] for name in names]), at, errors))
    return replace(solved.problem, points=joined(parts))


def only(seen: Seen, kept: Sequence[int]) -> Seen:
    """Some of the seen places, by their index."""
    index = list(kept)
    return Seen(seen.matrices[index], seen.at_px[index], seen.error_px[index])


def joined(parts: list[Seen]) -> Seen | None:
    """Several lists of seen places as one."""
    if not parts:
        return None
    return Seen(*(np.concatenate([getattr(p, key) for p in parts]) for key in ("matrices", "at_px", "error_px")))


def corner_starts(problem: Problem, quads: list[Array]) -> list[Start]:
    """Starts from the corners of the cloth, in all four ways that keep left and right."""
    corners = cushion_corners()
    measures = usual_mm(problem)
    # around the table clockwise as seen from above, as the picture's corners are with y down
    names = ("foot-left", "foot-right", "head-right", "head-left")
    matrices = np.stack([corners[name] for name in names])
    error = np.full(4, CLOTH_CORNER_PX * max(problem.size_px) / 1920)
    found: list[Start] = []
    for quad in quads:
        nxt = np.roll(quad, -1, 0)
        area = float(np.sum(quad[:, 0] * nxt[:, 1] - quad[:, 1] * nxt[:, 0]))
        ordered = quad if area > 0 else quad[::-1]
        for shift in range(4):
            at = np.roll(ordered, shift, 0)
            seen = Seen(matrices, at, error)
            found += [replace(one, corners=seen) for one in starts(problem, matrices @ measures, at)]
    return found
