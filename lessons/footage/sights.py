"""Sights looked for where they must be, once the camera is nearly known: bright against the rail beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from aimgeo.camera import project
from aimgeo.landmarks import MEASURES, NAMED, RAIL_OF, SIGHTS
from aimgeo.vectors import Array
from lessons.footage.fit import Solved
from lessons.footage.picture import Picture, Spots, spot_errors
from lessons.footage.start import GATE, facing, in_frame, strewn

SIGHT_RADIUS_MM = 5.0
"""Of the weight by which a sight is looked for: they are pearls or diamonds of 5 to 10 mm."""

BESIDE_MM = 35.0
"""How much rail beside a sight tells what it would look like without one, on either side."""

LEAST_CLEAR = 6.0
"""A sight stands out by so many standard errors of what the rail beside it does,"""

RIVAL = 0.6
"""and nothing else there by more than this part of it."""

FINENESS_PX = 0.5


MOST_OPEN_PX = 8.0
"""Sights that may lie farther than this from where the fit has them are left: px of a picture 1920 wide."""

MOST_BY_CHANCE = 0.1
"""So many ways for a rail's sights to be other spots and they are left out."""

ROW = 3
"""So many sights of a rail lie in a row as no other spots do."""

MORE_PX = 1.5
"""How much farther they are looked for than the fit has them, for such a picture."""


def looked_for(
    white: Picture, solved: Solved, found: Mapping[str, int], spots: Spots
) -> tuple[dict[str, int], Spots]:
    """The sights found as spots and those seen where they must be, and the spots with these added.

    What was seen twice is taken for the mean of both, as far off as they are from each other.
    """
    scale = max(solved.problem.size_px) / 1920
    px, spread = solved.seen_px(SIGHTS)
    every = dict(found)
    at, errors, across = list(spots.at_px), list(spots.error_px), list(spots.across_px)
    for name in np.array(SIGHTS)[in_frame(px, solved.problem.size_px) & facing(solved)].tolist():
        open_px = 1.96 * float(np.sqrt(np.linalg.eigvalsh(spread[SIGHTS.index(name)])[-1]))
        if open_px > MOST_OPEN_PX * scale:
            continue
        seen = glimpse(white, solved, name, open_px + MORE_PX * scale)
        if seen is None:
            continue
        error = float(spot_errors(np.array(seen.height), np.array(seen.ground)))
        place = seen.at_px
        if name in found:
            own = spots.at_px[found[name]]
            error = float(np.hypot(min(error, spots.error_px[found[name]]), np.linalg.norm(place - own) / 2))
            place = (place + own) / 2
        every[name] = len(at)
        at.append(place)
        errors.append(error)
        across.append(0.0)
    return every, Spots(np.array(at).reshape(-1, 2), np.array(errors), np.array(across))


def strays(solved: Solved, found: Mapping[str, int], spots: Spots, errors_px: Array) -> set[str]:
    """Sights of a fit that any spot might be: the one or two of a rail that nothing else tells where to lie.

    Each such rail's sights are left out (their say is taken from the fit's information) and taken up again, the
    surest first. Where by chance as many spots lie within reach, they prove nothing; given is the rail with most
    such chances. `errors_px` are one standard error of the sights in the order of their names.
    """
    names = sorted(found)
    unit = np.sqrt(np.maximum(np.diag(solved.covariance), 1e-300))
    known = np.linalg.pinv(solved.covariance / np.outer(unit, unit), rcond=1e-13)
    scale = max(solved.problem.size_px) / 1920
    matrices = np.stack([NAMED[name] for name in names]) if names else np.zeros((0, 3, len(MEASURES)))
    slopes = solved.slopes(lambda x: solved.problem.seen_px(x, matrices).reshape(-1)) * unit
    slopes = slopes.reshape(-1, 2, len(unit))
    px = solved.problem.seen_px(solved.x, matrices)
    told = np.einsum("nki,nkj,n->nij", slopes, slopes, errors_px**-2.0)
    crowd = strewn(px, spots, scale) * np.pi * GATE**2
    worst, made = MOST_BY_CHANCE, set[str]()
    for rail in sorted({RAIL_OF[name] for name in names}):
        own = [name for name in names if RAIL_OF[name] == rail]
        left = [names.index(name) for name in own]
        if len(own) >= ROW:
            continue
        rest, chance = known - told[left].sum(0), 1.0
        while left:
            sizes, axes = np.linalg.eigh((rest + rest.T) / 2)
            spread = np.einsum(
                "nki,ij,nlj->nkl", slopes[left], axes / np.maximum(sizes, 1e-4) @ axes.T, slopes[left]
            )
            by_chance = crowd[left] * np.sqrt(np.linalg.det(spread + np.eye(2) * scale**2))
            k = left.pop(int(np.argmin(by_chance)))
            chance *= float(by_chance.min())
            rest = rest + told[k]
        if chance > worst:
            worst, made = chance, set(own)
    return made


@dataclass(frozen=True, slots=True, eq=False)
class Glimpse:
    """A sight seen: its middle (2,) in px, how far it stands out of the rail, and how bright that is there."""

    at_px: Array
    height: float
    ground: float


def glimpse(white: Picture, solved: Solved, name: str, reach_px: float) -> Glimpse | None:
    """A sight within a reach of where the fit has it; None where none is clear.

    The picture is laid flat on the rail. What runs along a rail (grain, edges, the cloth beside it) is the same on
    both sides of a sight, and taken off.
    """
    import cv2

    place = NAMED[name] @ solved.problem.measures_mm(solved.x)
    along, across = np.eye(3)[:2] if name.split("-")[1] in ("left", "right") else np.eye(3)[1::-1]
    camera = solved.camera
    step = project(camera, place + np.stack([np.zeros(3), along, across]))
    per_mm = np.linalg.norm(step[1:] - step[0], axis=-1)
    if not np.isfinite(step).all() or per_mm.min() < 0.02:
        return None
    fine = FINENESS_PX / per_mm
    size = np.hypot(SIGHT_RADIUS_MM, 0.8 / per_mm)
    reach = reach_px / per_mm
    if reach[0] > 120.0:
        return None
    half = np.array([reach[0] + 2.5 * size[0] + BESIDE_MM, reach[1] + 2.5 * size[1]])
    u, v = (np.arange(-h, h + 1e-9, s) for h, s in zip(half, fine, strict=True))
    grid = place + u[None, :, None] * along + v[:, None, None] * across
    at = project(camera, grid.reshape(-1, 3)).astype(np.float32) - 0.5
    high, wide = white.shape
    inside = (at > 0).all(-1) & (at < (wide - 1, high - 1)).all(-1)
    if not np.isfinite(at).all() or not inside.all():
        return None
    flat = at.reshape(len(v), len(u), 2)
    rail = cv2.remap(white, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR).astype(float)
    beside = np.abs(u) > reach[0] + 2.5 * size[0]
    left, right = (np.median(rail[:, beside & side], 1) for side in (u < 0, u > 0))
    share = (np.clip(u / (half[0] - BESIDE_MM / 2), -1, 1) + 1) / 2
    lifted = rail - (left[:, None] * (1 - share) + right[:, None] * share)
    smooth = cv2.GaussianBlur(lifted, (0, 0), sigmaX=size[0] / fine[0], sigmaY=size[1] / fine[1])
    near = np.hypot(u[None] / reach[0], v[:, None] / reach[1]) <= 1.0
    noise = max(float(np.sqrt(np.mean(smooth[:, beside] ** 2))), 0.3)
    best = np.unravel_index(int(np.argmax(np.where(near, smooth, -np.inf))), smooth.shape)
    clear = float(smooth[best]) / noise
    if clear < LEAST_CLEAR:
        return None
    apart = np.hypot((u[None] - u[best[1]]) / size[0], (v[:, None] - v[best[0]]) / size[1])
    if (smooth * near * (apart > 2.5)).max() > RIVAL * smooth[best]:
        return None
    middle = np.array([u[best[1]], v[best[0]]])
    lift = np.maximum(lifted, 0.0)
    for _ in range(12):
        far2 = ((u[None] - middle[0]) / size[0]) ** 2 + ((v[:, None] - middle[1]) / size[1]) ** 2
        weight = np.exp(-far2 / 2) * lift
        total = weight.sum()
        if total <= 0:
            return None
        middle = (
            middle
            + np.array([(weight * (u[None] - middle[0])).sum(), (weight * (v[:, None] - middle[1])).sum()]) / total
        )
    px = project(camera, place + middle[0] * along + middle[1] * across)
    return Glimpse(px, float(lifted[best]), float(rail[best] - lifted[best]))
