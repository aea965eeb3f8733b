"""Rounds of looking and solving, once the camera is nearly known."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np

from aimgeo.filmed import on_plane
from aimgeo.landmarks import NAMED, RAIL_OF
from aimgeo.vectors import Array
from lessons.footage.balls import mean_radius_px
from lessons.footage.by_itself import not_found
from lessons.footage.clicked_balls import found_balls
from lessons.footage.fit import TABLE, Problem, Seen, Solved, is_sound, solve
from lessons.footage.locks import LOCKED, holds
from lessons.footage.matched import NoMatch
from lessons.footage.mistaken import without_mistaken
from lessons.footage.picture import Picture, Spots
from lessons.footage.refine import SPOT_PX, cloth_spots, table_lines
from lessons.footage.sights import looked_for, strays
from lessons.footage.start import joined, lock, matched, sight_errors, visible_sights
from lessons.footage.view import SoFar, View

MET_PX = 4.0
"""Spots within this of where a sight should be are taken for it, for a picture 1920 wide."""

LEAST_LOCKED = 5
"""So many sights carry a camera where lines showed where they are."""

FEW_SIGHTS = 0.7
"""Fewer than this part of the sights in the frame widen all limits."""

CONTRADICTED = 16.0
"""Square of the standard errors by which a sight without a say is missed: of 3000 good ones one lies farther."""

MOST_ROUNDS = 4


def begun(view: View, so_far: SoFar) -> SoFar:
    """The lock without the sights that the others contradict; the picks and the table's lines where too few are
    left, or none were found. Raises NoMatch where there are no picks.
    """
    # before lines are looked for where a wrong sight has drawn them
    met: list[Seen] = []
    if so_far.is_locked:
        so_far, met = _met(view, so_far)
    if so_far.is_locked:
        return so_far
    if len(view.names) < 3:
        raise NoMatch(not_found(so_far.sights_said))
    picks = _as_rough_as_missed(so_far.solved, so_far.picks)
    solved, locked = solve(replace(so_far.solved.problem, points=joined([picks, *met])), so_far.solved.x), False
    if view.shade is not None:
        solved, locked = _by_lines(view.shade, solved, picks, view.spots)
    return replace(so_far, solved=solved, picks=picks, is_locked=locked)


def _met(view: View, so_far: SoFar) -> tuple[SoFar, list[Seen]]:
    """The fit to the sights that agree, unlocked where they are too few; and these."""
    solved = so_far.solved
    found, doubt = _trusted(solved, matched(solved, view.spots, MET_PX * view.scale), view.spots)
    solved, found = _agreeing(solved.problem, solved.x, so_far.sure(), found, view.spots, doubt)
    so_far, said = replace(so_far, solved=solved, sights=frozenset(found)), sights_found(solved, found)
    if len(found) < LOCKED * visible_sights(solved) or len({RAIL_OF[name] for name in found}) < 2:
        so_far = replace(so_far, is_locked=False, sights_said=said)
    return so_far, [_sights(solved, found, view.spots, doubt)] if found else []


def looked_again(view: View, so_far: SoFar) -> SoFar:
    """Sights, spots and lines looked for where they must be and solved along, until nothing more is found; picks
    that they contradict are left out.
    """
    solved, found, edges, cloth = so_far.solved.without_balls(), so_far.sights, so_far.edges, so_far.cloth_spots
    for _ in range(MOST_ROUNDS):
        before = found, 0 if edges is None else len(edges.mixed)
        sights, spots, doubt = dict[str, int](), view.spots, 1.0
        if view.white is not None:
            near = matched(solved, view.spots, MET_PX * view.scale) if so_far.is_locked else {}
            sights, spots = looked_for(view.white, solved, near, view.spots)
            sights, doubt = _trusted(solved, sights, spots)
            doubt *= _by_glare(solved, sights)
        parts = so_far.sure()
        if view.shade is not None:
            cloth = _cloth_spots(view, solved)
            parts += _of_spots(cloth)
            edges = table_lines(view.shade, solved)
        base = replace(solved.problem, edges=edges, rims=())
        solved, sights = _agreeing(base, solved.x, parts, sights, spots, doubt)
        found = frozenset(sights)
        if (found, 0 if edges is None else len(edges.mixed)) == before:
            break
    so_far = replace(so_far, solved=solved, sights=found, edges=edges, cloth_spots=cloth)
    freed = without_mistaken(view, so_far)
    return so_far if freed is so_far else looked_again(view, freed)


def sights_found(solved: Solved, found: Collection[str]) -> str:
    """How many of the sights in the frame were found, in words."""
    return f"{len(found)} of {visible_sights(solved)} sights found"


def locked_late(so_far: SoFar) -> SoFar:
    """Locked where enough sights were found at last; else with what is said of those that were."""
    solved, found = so_far.solved, so_far.sights
    if so_far.is_locked or len(found) >= max(LEAST_LOCKED, LOCKED * visible_sights(solved)):
        return replace(so_far, is_locked=True)
    return replace(so_far, sights_said=sights_found(solved, found) if found else so_far.sights_said)


def with_balls(view: View, so_far: SoFar) -> SoFar:
    """The balls found and solved along. Raises NoMatch."""
    solved, told, fits = so_far.solved, view.clicks.balls(), so_far.balls
    if view.shade is not None and told:
        fits = tuple(found_balls(view.shade, solved, told, fits))
        rims = tuple(f.rim for f in fits)
        start, x = replace(solved.problem, rims=rims).start(solved.camera, [f.centre_mm for f in fits])
        x[TABLE] = solved.x[TABLE]
        solved = solve(start, x)
    if not is_sound(solved):
        raise NoMatch("the points allow no camera above the table; check their names and places.", ("points",))
    return replace(so_far, solved=solved, balls=fits)


def _trusted(solved: Solved, found: dict[str, int], spots: Spots) -> tuple[dict[str, int], float]:
    """The sights that fit among the others, and how much larger than expected their errors are (1 or more)."""
    names = sorted(found)
    if len(names) < 5:
        return found, 1.0
    off = (
        solved.problem.seen_px(solved.x, np.stack([NAMED[n] for n in names]))
        - spots.at_px[[found[n] for n in names]]
    )
    z = np.linalg.norm(off, axis=-1) / sight_errors(solved, found, spots)
    # the median of a two-dimensional error is 1.18 standard errors
    doubt = max(1.0, float(np.median(z)) / 1.18)
    return {name: found[name] for name, far in zip(names, z, strict=True) if far < 6 * doubt}, doubt


def _by_glare(solved: Solved, found: Mapping[str, int]) -> float:
    """How much larger errors of sights are where few are seen: the glare that hides some moves others alike."""
    share = len(found) / max(visible_sights(solved), 1)
    return 1.0 if share >= FEW_SIGHTS or not found else 1 / share


def _sights(solved: Solved, found: Mapping[str, int], spots: Spots, doubt: float) -> Seen:
    names = sorted(found)
    at = spots.at_px[[found[name] for name in names]]
    return Seen(np.stack([NAMED[n] for n in names]), at, doubt * sight_errors(solved, found, spots))


def _agreeing(
    base: Problem, x: Array, parts: Sequence[Seen], found: dict[str, int], spots: Spots, doubt: float
) -> tuple[Solved, dict[str, int]]:
    """The fit to all that is seen, and the sights that are left in it: neither contradicted by the rest, nor
    spots that nothing but themselves takes for sights.
    """
    solved = Solved(base, x, np.eye(len(x)), 0.0)
    while True:
        seen = [*parts, _sights(solved, found, spots, doubt)] if found else [*parts]
        solved = solve(replace(base, points=joined(seen)), solved.x)
        odd = _contradicted(solved, found, spots, doubt)
        out = {odd} if odd is not None else set[str]()
        if found and not out:
            out = strays(solved, found, spots, doubt * sight_errors(solved, found, spots))
        if not out:
            return solved, found
        found = {name: spot for name, spot in found.items() if name not in out}
        if not found and not parts:
            return solved, found


def _contradicted(solved: Solved, found: Mapping[str, int], spots: Spots, doubt: float) -> str | None:
    """The sight whose spot all else contradicts most; None where none is contradicted.

    How far a place would be missed by a fit without it follows from the fit with it: the less is left of what it
    had to say for itself, the more its residual counts.
    """
    if len(found) < 5:
        return None
    names = tuple(sorted(found))
    px, spread = solved.seen_px(names)
    errors = doubt * sight_errors(solved, found, spots)
    z = (spots.at_px[[found[name] for name in names]] - px) / errors[:, None]
    left, axes = np.linalg.eigh(np.eye(2) - spread / errors[:, None, None] ** 2)
    missed = np.sum(np.einsum("nij,ni->nj", axes, z) ** 2 / np.maximum(left, 1e-3), -1)
    worst = int(np.argmax(missed))
    return names[worst] if missed[worst] > CONTRADICTED else None


def _cloth_spots(view: View, solved: Solved) -> dict[str, Array]:
    """The cloth's spots that are seen and not picked: pixels (2,) by name."""
    if view.picture is None:
        return {}
    clicked_px = np.array([at for _, _, at in view.clicks.balls()], float).reshape(-1, 2)
    found = cloth_spots(view.picture, solved, clicked_px, _radius_px(solved, clicked_px))
    return {name: at for name, at in found.items() if name not in view.names}


def _of_spots(found: Mapping[str, Array]) -> list[Seen]:
    if not found:
        return []
    at = np.array(list(found.values()))
    return [Seen(np.stack([NAMED[name] for name in found]), at, np.full(len(found), SPOT_PX))]


def _radius_px(solved: Solved, clicked_px: Array) -> float:
    if not len(clicked_px):
        return 0.0
    R = solved.problem.radius_mm
    places = on_plane(solved.camera, clicked_px, R)
    sizes = [mean_radius_px(solved.camera, p, R) for p in places if np.isfinite(p).all()]
    return max((s for s in sizes if np.isfinite(s)), default=0.0)


def _as_rough_as_missed(solved: Solved, picks: Seen) -> Seen:
    """Picks with larger errors where they miss by more than they should: a wrong one may be among them, untold."""
    matrices, error2 = picks.matrices, picks.error_px**2
    off = solved.problem.seen_px(solved.x, matrices) - picks.at_px
    spread = solved.spread(lambda x: solved.problem.seen_px(x, matrices).reshape(-1))
    # what the fit has taken from the picks says nothing of them
    free = max(2 * len(off) - float(np.sum(np.diag(spread) / np.repeat(error2, 2))), 1.0)
    missed = float(np.sum(off**2 / error2[:, None])) / free
    return replace(picks, error_px=picks.error_px * np.sqrt(max(missed, 1.0)))


def _by_lines(shade: Picture, solved: Solved, picks: Seen, spots: Spots) -> tuple[Solved, bool]:
    """The camera that picks alone carry, narrowed by the table's lines; and whether the sights are found now.

    Each line that is sure tells where the next must be.
    """
    lines = 0
    for _ in range(MOST_ROUNDS):
        edges = table_lines(shade, solved)
        if edges is None or edges.mixed.shape[0] <= lines:
            break
        lines = edges.mixed.shape[0]
        narrower = solve(replace(solved.problem, edges=edges), solved.x)
        if not is_sound(narrower):
            break
        solved = narrower
    one = lock(solved, picks, spots) if lines and len(spots.at_px) else None
    if one is not None and holds(one, [one], len(picks.at_px)):
        return one.solved, True
    return solved, False
