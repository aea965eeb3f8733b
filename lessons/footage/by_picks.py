"""The camera from three picks or more: locked on the sights, or by the picks alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from aimgeo.landmarks import NAMED, RAIL_OF, measures_of
from aimgeo.tables import TABLES
from lessons.footage.fit import Problem, Seen, Solved, is_sound, solve
from lessons.footage.locks import agrees_with, holds, locks_of
from lessons.footage.matched import Clicks, NoMatch, Warned
from lessons.footage.mistaken import SURE, astray, wrong_sentence
from lessons.footage.start import Lock, Start, only, starts, usual_mm
from lessons.footage.view import SoFar, View

TELLING_PX = 3.0
"""Picks that are missed by more than this may be those of another size of table."""

NEAR = 2.2
"""Picks that are missed by no more than so many times what they are taken to be off have led near the camera."""

LEAST_OFF = 4.0
"""A pick nearer than so many times that is as good as others."""

UNDER_PX = 12.0
"""Points seen from under the table are met within this, for a picture 1920 wide: others fit nothing."""


def by_picks(view: View) -> SoFar:
    """The camera from picks, locked on the sights; or what is said where these aren't found. Raises NoMatch."""
    solved, wrong, warnings, sights_said = _camera(view)
    kept = [k for k, name in enumerate(view.names) if name not in wrong]
    return SoFar(solved, only(view.picks, kept), frozenset(wrong), not sights_said, sights_said, tuple(warnings))


def _camera(view: View) -> tuple[Solved, set[str], list[Warned], str]:
    """The camera, wrong picks and their sentences, and what is said where the sights were not found."""
    problem, clicks, picks, names = view.problem, view.clicks, view.picks, view.names
    found = starts(problem, picks.matrices @ usual_mm(problem), picks.at_px)
    _check_sides(view, found)
    locks = locks_of(problem, found, picks, view.spots)
    agreeing = [one for one in locks if agrees_with(one.solved, picks, clicks.pick_px)]
    if agreeing and holds(agreeing[0], agreeing, len(names)):
        chosen = agreeing[0]
        return (chosen.solved, *_wrong_when_locked(chosen, picks, names, clicks.pick_px), "")
    if len(names) < 4:
        raise NoMatch(
            f"three points were picked and the sights were not found ({_seen_of(locks)}); add a fourth "
            f"point, far from the others.",
            ("points",),
        )
    return _by_picks_alone(problem, clicks, picks, names, found, locks)


def _check_sides(view: View, found: list[Start]) -> None:
    """Raise NoMatch where all points lie along one rail, or are seen so only from under the table."""
    problem, picks, names, scale = view.problem, view.picks, view.names, view.scale
    rails = {RAIL_OF.get(name, name) for name in names}
    if len(rails) == 1:
        raise NoMatch(_one_rail(problem, picks, found, next(iter(rails))), ("points",))
    if len(names) >= 4:
        best = found[0].off_px if found else np.inf
        under = starts(problem, picks.matrices @ usual_mm(problem), picks.at_px, below=True)
        if (
            under
            and best > 5 * scale
            and under[0].off_px < min(0.4 * best, UNDER_PX * scale)
            and not _one_pick_spoils(problem, picks, names, best)
        ):
            raise NoMatch(
                "these points are seen like this only from under the table. Are left and right taken "
                "for each other? "
                "They are as for someone looking from head to foot.",
                ("points",),
            )


def _wrong_when_locked(
    chosen: Lock, picks: Seen, names: tuple[str, ...], pick_px: float
) -> tuple[set[str], list[Warned]]:
    """Picks that lie far from where the locked camera puts them, with their sentences."""
    off = chosen.solved.problem.seen_px(chosen.solved.x, picks.matrices) - picks.at_px
    far = np.linalg.norm(off, axis=-1)
    typical = max(pick_px, float(np.median(far)))
    wrong = {name for name, d in zip(names, far, strict=True) if d > max(6 * typical, 8.0)}
    return wrong, [wrong_sentence(chosen.solved, name, picks.at_px[names.index(name)]) for name in sorted(wrong)]


def _one_rail(problem: Problem, picks: Seen, found: list[Start], rail: str) -> str:
    solved = _polished(problem, found, picks, 3)
    open_px = ""
    if solved is not None:
        far = {"left": "right", "right": "left", "foot": "head", "head": "foot"}.get(rail, "right")
        names = tuple(n for n in NAMED if RAIL_OF.get(n) == far)
        _, spread = solved.seen_px(names)
        worst = float(1.96 * np.sqrt(np.linalg.eigvalsh(spread)[:, -1].max()))
        open_px = f"the far side is open to ± {min(worst, 9999):.0f} px. "
    where = f"along the {rail} rail" if not rail.startswith("spot") else "on one spot"
    return f"all points lie {where}; {open_px}Click one point on another rail."


def _seen_of(locks: Sequence[Lock]) -> str:
    if not locks:
        return "no sight was found"
    return f"{len(locks[0].sights)} of {locks[0].in_frame} sights found"


def _by_picks_alone(
    problem: Problem, clicks: Clicks, picks: Seen, names: tuple[str, ...], found: list[Start], locks: list[Lock]
) -> tuple[Solved, set[str], list[Warned], str]:
    """The camera from four picks or more where the sights are not found: less is known, and it is said."""
    solved = _polished(problem, found, picks)
    scale = max(problem.size_px) / 1920
    off = _rms(solved, picks) if solved is not None else np.inf
    limit = max(4 * clicks.pick_px, 7.0 * scale)
    wrong: set[str] = set()
    said: list[Warned] = []
    if len(names) >= 5:
        solved, wrong, said = _leaving_one_out(problem, picks, names, solved, clicks.pick_px)
        kept = [k for k, name in enumerate(names) if name not in wrong]
        off = _rms(solved, only(picks, kept)) if solved is not None else np.inf
    if solved is None or off > TELLING_PX * scale:
        other = _other_table(clicks, problem, picks)
        if other is not None and other[1] < 0.4 * off and (off > limit or len(names) >= 6):
            shown = f"to {off:.0f} px" if np.isfinite(off) else "not at all"
            raise NoMatch(
                f"the points fit a {clicks.table.name.replace('ft', ' ft')} table {shown}, "
                f"a {other[0].replace('ft', ' ft')} table to {other[1]:.1f} px. Is `table: {other[0]}` "
                f"meant?",
                ("table",),
            )
    if solved is None or off > limit:
        miss = f"they are missed by {off:.0f} px" if np.isfinite(off) else "no camera sees them so"
        raise NoMatch(
            f"the points fit no table ({miss}); check their names and places, or click others.", ("points",)
        )
    return solved, wrong, said, _seen_of(locks)


def _polished(problem: Problem, found: Sequence[Start], picks: Seen, most: int = 6) -> Solved | None:
    """The best fit to picks alone, from a few starts."""
    best: Solved | None = None
    for start in _spread_out(found, most):
        base, x = replace(problem, points=picks).start(start.camera)
        one = solve(base, x)
        if is_sound(one) and (best is None or one.cost < best.cost):
            best = one
    return best


def _spread_out(found: Sequence[Start], most: int) -> list[Start]:
    kept: list[Start] = []
    for start in found:
        if all(abs(np.log(start.camera.focal_px / k.camera.focal_px)) > 0.1 for k in kept):
            kept.append(start)
        if len(kept) >= most:
            break
    return kept


def _rms(solved: Solved, picks: Seen) -> float:
    off = solved.problem.seen_px(solved.x, picks.matrices) - picks.at_px
    return float(np.sqrt(np.mean(np.sum(off**2, -1))))


def _one_pick_spoils(problem: Problem, picks: Seen, names: tuple[str, ...], best: float) -> bool:
    """True where the points fit a camera above the table once one of them is left out."""
    if len(names) < 5:
        return False
    mean = usual_mm(problem)
    for k in range(len(names)):
        rest = [j for j in range(len(names)) if j != k]
        found = starts(problem, picks.matrices[rest] @ mean, picks.at_px[rest])
        if found and found[0].off_px < 0.4 * best:
            return True
    return False


def _leaving_one_out(
    problem: Problem, picks: Seen, names: tuple[str, ...], whole: Solved | None, pick_px: float
) -> tuple[Solved | None, set[str], list[Warned]]:
    """Leave each pick out in turn: one that the others contradict is wrong."""
    mean = usual_mm(problem)
    is_near = whole is not None and _rms(whole, picks) <= NEAR * pick_px
    tries: list[tuple[float, float, int, Solved]] = []
    for k in range(len(names)):
        some = only(picks, [j for j in range(len(names)) if j != k])
        if whole is not None and is_near:
            one: Solved | None = solve(replace(whole.problem, points=some), whole.x)
        else:
            one = _polished(problem, starts(problem, some.matrices @ mean, some.at_px), some, 3)
        if one is not None and is_sound(one):
            tries.append((*astray(one, only(picks, [k])), k, one))
    if not tries:
        return whole, set(), []
    _, odds, k, one = max(tries, key=lambda t: t[0])
    missed = float(np.linalg.norm(one.problem.seen_px(one.x, picks.matrices[k : k + 1])[0] - picks.at_px[k]))
    off = _rms(one, only(picks, [j for j in range(len(names)) if j != k]))
    if odds < SURE or missed < LEAST_OFF * pick_px or off > 2.5 * pick_px:
        return whole, set(), []
    return one, {names[k]}, [wrong_sentence(one, names[k], picks.at_px[k])]


def _other_table(clicks: Clicks, problem: Problem, picks: Seen) -> tuple[str, float] | None:
    """The named size that the picks fit best, other than the one that is told, and how well (px)."""
    found: list[tuple[float, str]] = []
    for name, table in TABLES.items():
        if name == clicks.table.name:
            continue
        other = replace(problem, priors={**measures_of(table, clicks.ball_diameter_mm), **clicks.measured})
        begun = starts(other, picks.matrices @ usual_mm(other), picks.at_px)
        one = _polished(other, begun, picks, 3)
        if one is not None:
            found.append((_rms(one, picks), name))
    return (min(found)[1], min(found)[0]) if found else None
