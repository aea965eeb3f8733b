"""One picture matched: from clicks (or none) to the camera, the table and the balls, with what is not known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import degrees
from types import MappingProxyType
from typing import Any, Literal

import numpy as np

from aimgeo.camera import Camera, project
from aimgeo.filmed import on_plane
from aimgeo.landmarks import MEASURES, NAMED, RAIL_OF, Prior, measures_of
from aimgeo.tables import TABLES, Table
from aimgeo.vectors import Array
from lessons.footage import balls as ball_fit
from lessons.footage.fit import FIRST_BALL, TABLE, Problem, Seen, Solved, is_sound, solve
from lessons.footage.picture import NO_SPOTS, Picture, Spots, cloth_corners, spots, whiteness
from lessons.footage.refine import SPOT_PX, cloth_spots, table_lines
from lessons.footage.sights import looked_for, strays
from lessons.footage.size import REFUSED, doubt
from lessons.footage.start import (
    ALL_SIGHTS,
    SIGHT_MATRICES,
    SIGHTS_TURNED,
    Lock,
    Start,
    begin,
    corner_starts,
    facing,
    guesses,
    in_frame,
    joined,
    lock,
    matched,
    rank,
    sight_errors,
    starts,
)

TELLING_PX = 3.0
"""Picks that are missed by more than this may be those of another size of table."""

UNDER_PX = 12.0
"""Points seen from under the table are met within this, for a picture 1920 wide: others fit nothing."""

LOCKED, LEAST_LOCKED = 0.5, 5
"""The part of the sights in the frame that must be met; and so many, where lines showed where they are."""

SURE, SURE_OF_MANY, SURER = 18.0, 8.0, 6.0
"""Logarithms of odds: of a lock against chance, with few picks or with many, and against another lock."""

MANY = 6
ENOUGH = 32.0
"""With odds like these no other camera is tried: by chance they were never above 13 on the test stills."""

MOST_OPEN_PX = 60.0
"""Where places are drawn with more than this open, for a picture 1920 wide, no match is given."""

FEW_SIGHTS = 0.7
"""A lock on fewer of the sights in the frame is said, and widens all limits."""

CONTRADICTED = 16.0
"""Square of the standard errors by which a sight without a say is missed: of 3000 good ones one lies farther."""

PLUMB_DEG, LEAST_BY_PLUMB = 75.0, 8
"""Seen from so steep, fewer points than this fit cameras that lean either way."""

ONE_BALL = 0.6
"""Balls nearer than this part of a radius are one ball."""

NEAR_MM = 7.0
"""Balls that touch are measured nearer than a diameter by no more than this."""

MOST_LOCKS, MOST_GUESSED = 9, 3
MOST_ROUNDS = 4

FITTED, ROUGH = 7, 2.0
"""So many of the camera's unknowns a few picks tell; picks that are missed by more than this times the square of
what they should be are rougher than they are taken for.
"""

PointKind = Literal["picked", "found", "computed", "wrong"]
BallRole = Literal["cue", "object", "others"]
Told = tuple[BallRole, int, tuple[float, float]]
"""A clicked ball: its role, its number among the others, the click."""


class NoMatch(Exception):  # noqa: N818 - an answer to the person who clicked, not a fault of the program
    """The picture can't be matched: a sentence, the key of the match file that it is about, and the size of table
    that may be meant.
    """

    def __init__(self, sentence: str, at: tuple[str | int, ...] = (), table: str | None = None) -> None:
        super().__init__(sentence)
        self.sentence, self.at, self.table = sentence, at, table


@dataclass(frozen=True, slots=True)
class Warned:
    """Something to know about a match, and the key of the match file that it is about."""

    sentence: str
    at: tuple[str | int, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Clicks:
    """What a match file says, in px of the picture and mm. `towards` is a click towards the foot or the head
    rail.
    """

    table: Table
    points: Mapping[str, tuple[float, float]]
    cue: tuple[float, float] | None = None
    object: tuple[float, float] | None = None
    others: tuple[tuple[float, float], ...] = ()
    towards: tuple[Literal["foot", "head"], tuple[float, float]] | None = None
    focal_mm: float | None = None
    measured: Mapping[str, Prior] = field(default_factory=dict)
    ball_diameter_mm: float = 57.15
    pick_px: float = 2.5

    def priors(self) -> dict[str, Prior]:
        """What is known of the table before the picture is looked at."""
        return {**measures_of(self.table, self.ball_diameter_mm), **self.measured}

    def balls(self) -> list[Told]:
        """All clicked balls."""
        one: list[Told] = []
        if self.cue is not None:
            one.append(("cue", 0, self.cue))
        if self.object is not None:
            one.append(("object", 0, self.object))
        return one + [("others", k, at) for k, at in enumerate(self.others)]


@dataclass(frozen=True, slots=True, eq=False)
class NamedPoint:
    """A named point: where it is in the picture (2,), its error, how far the pick was off, where it comes from."""

    at_px: Array
    error_px: float
    off_px: float | None
    kind: PointKind


@dataclass(frozen=True, slots=True, eq=False)
class MatchedBall:
    """A ball: its centre (3,), half-widths of 95 % along x and y, the part of its outline seen, its radius in
    px.
    """

    role: BallRole
    index: int
    centre_mm: Array
    error_mm: Array
    seen: float
    radius_px: float


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """A matched picture. `lock` is None where only picks carry it."""

    clicks: Clicks
    size_px: tuple[int, int]
    solved: Solved
    points: dict[str, NamedPoint]
    balls: tuple[MatchedBall, ...]
    sights: int
    sights_in_frame: int
    spots: int
    is_locked: bool
    warnings: tuple[Warned, ...] = ()

    @property
    def camera(self) -> Camera:
        """The camera."""
        return self.solved.camera

    def ball(self, role: BallRole) -> MatchedBall | None:
        """The cue ball or the object ball."""
        return next((b for b in self.balls if b.role == role), None)

    def place_error_px(self, places_mm: Array) -> Array:
        """Half-widths (N,) of 95 % (the longer axis) at which places (N, 3) of the table are drawn."""
        whole = self.solved.spread(lambda x: self.solved.problem.pixels(x, places_mm).reshape(-1))
        n = len(places_mm)
        blocks = np.stack([whole[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] for k in range(n)])
        return np.asarray(1.96 * np.sqrt(np.maximum(np.linalg.eigvalsh(blocks)[:, -1], 0)))


def match(
    clicks: Clicks, picture: Picture | None, size_px: tuple[int, int], doubted: tuple[str, ...] = ()
) -> Match:
    """The match of a picture (None: by its picks alone). `doubted` sizes of table are not asked again. Raises
    NoMatch.
    """
    focal = None if clicks.focal_mm is None else clicks.focal_mm / 36 * max(size_px)
    problem = Problem(size_px, clicks.ball_diameter_mm / 2, clicks.priors(), focal_px=focal)
    names = tuple(sorted(clicks.points))
    picks = _picks(clicks, names)
    found_spots = NO_SPOTS if picture is None else spots(picture)
    if len(names) < 3:
        if picture is None:
            raise NoMatch(
                "fewer than three points are picked; click four: pocket points or sights, far apart.", ("points",)
            )
        solved, locked = _alone(problem, clicks, picture, found_spots, names), True
        warnings: list[Warned] = []
        wrong: set[str] = set()
        sights_said = ""
    else:
        solved, wrong, warnings, sights_said = _with_picks(problem, clicks, picks, names, found_spots)
        locked = not sights_said
    scale = max(size_px) / 1920
    shade = None if picture is None else ball_fit.shades(picture)
    white = None if picture is None else whiteness(picture)
    spots_seen: dict[str, Array] = {}
    found: dict[str, int] = {}
    doubt = 1.0
    fits: list[ball_fit.FoundBall] = []
    told = clicks.balls()
    kept = [k for k, name in enumerate(names) if name not in wrong]
    if locked:
        # before lines are looked for where a wrong sight has drawn them
        found, doubt = _trusted(solved, matched(solved, found_spots, 4.0 * scale), found_spots)
        parts = [_some(picks, kept)] if kept else []
        solved, found = _agreeing(solved.problem, solved.x, parts, found, found_spots, doubt)
        if len(found) < LOCKED * _visible(solved) or len({RAIL_OF[name] for name in found}) < 2:
            locked, sights_said = False, f"{len(found)} of {_visible(solved)} sights found"
    if not locked:
        if len(names) < 3:
            raise NoMatch(_not_found(sights_said))
        sure = [_sights(solved, found, found_spots, doubt)] if found else []
        picks = _as_rough_as_missed(solved, picks, kept)
        solved = solve(replace(solved.problem, points=joined([_some(picks, kept), *sure])), solved.x)
        if shade is not None:
            solved, locked = _by_lines(shade, solved, _some(picks, kept), found_spots)
    edges = None
    for turn in range(2):
        for _ in range(MOST_ROUNDS):
            before = set(found), 0 if edges is None else len(edges.mixed)
            seen_spots = found_spots
            if white is not None:
                found = matched(solved, found_spots, 4.0 * scale) if locked else {}
                found, seen_spots = looked_for(white, solved, found, found_spots)
                found, doubt = _trusted(solved, found, seen_spots)
                doubt *= _by_glare(solved, found)
            parts = [_some(picks, kept)] if kept else []
            if shade is not None and picture is not None:
                spots_seen = _cloth_spots(picture, solved, told, names)
                parts += _of_spots(spots_seen)
                edges = table_lines(shade, solved)
            base = replace(solved.problem, edges=edges, rims=())
            solved, found = _agreeing(base, solved.x[:FIRST_BALL], parts, found, seen_spots, doubt)
            if (set(found), 0 if edges is None else len(edges.mixed)) == before:
                break
        if not turn and not locked:
            locked = len(found) >= max(LEAST_LOCKED, LOCKED * _visible(solved))
            if not locked:
                said = f"{len(found)} of {_visible(solved)} sights found" if found else sights_said
                warnings.append(_by_picks_only(solved, picture, names, kept, said))
        if shade is not None and told:
            try:
                fits = _fit_balls(shade, solved, clicks, told, fits)
            except NoMatch:
                _check_size(solved, clicks, (), picture, doubted)
                raise
            rims = tuple(f.rim for f in fits)
            start, x = replace(solved.problem, rims=rims).start(solved.camera, [f.centre_mm for f in fits])
            x[TABLE] = solved.x[TABLE]
            joint = solve(start, x)
            solved = joint if turn else _without_balls(joint)
        if not is_sound(solved):
            raise NoMatch("the points allow no camera above the table; check their names and places.", ("points",))
    if locked:
        warnings += _check_size(solved, clicks, fits, picture, doubted)
    balls = _balls(solved, told, fits, clicks)
    points = _points(solved, clicks, found, wrong, spots_seen)
    made = Match(clicks, size_px, solved, points, balls, len(found), _visible(solved), len(spots_seen), locked)
    return replace(made, warnings=(*warnings, *_warnings(made)))


def _check_size(
    solved: Solved,
    clicks: Clicks,
    fits: Sequence[ball_fit.FoundBall],
    picture: Picture | None,
    doubted: tuple[str, ...],
) -> list[Warned]:
    """What speaks against the told size of the table. Raises NoMatch where another is much likelier."""
    found = doubt(solved, clicks.table, dict(clicks.measured), clicks.ball_diameter_mm, fits)
    if found is None:
        return []
    look = None if found.look_mm is None else f"{found.look_mm:.0f} ± {1.96 * found.look_error_mm:.0f} mm"
    if found.other is None:
        return [
            Warned(
                f"the balls look {look} across, not {clicks.ball_diameter_mm:.4g};"
                f" check the table's size (`table`), the "
                "balls' (`ball`) and the picture that shows the match.",
                ("table",),
            )
        ]
    meant = found.other
    if meant not in doubted:
        # far from the right size outlines are found askew: the better size is asked once more
        try:
            other = replace(clicks, table=TABLES[meant])
            match(other, picture, solved.problem.size_px, (*doubted, clicks.table.name))
        except NoMatch as error:
            meant = error.table or meant
    told, named = (name.replace("ft", " ft") for name in (clicks.table.name, meant))
    seen = (
        "sights and pockets fit"
        if look is None
        else f"on {_a(told)} table the balls would be {look} across; with sights and pockets they fit"
    )
    sentence = f"{seen} {_a(named)} table better. Is `table: {meant}` meant?"
    if found.by > REFUSED or meant != found.other:
        raise NoMatch(sentence, ("table",), meant)
    return [Warned(sentence, ("table",))]


def _a(size: str) -> str:
    return f"an {size}" if size.startswith("8") else f"a {size}"


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
    share = len(found) / max(_visible(solved), 1)
    return 1.0 if share >= FEW_SIGHTS or not found else 1 / share


def _visible(solved: Solved) -> int:
    """How many sights lie in the frame."""
    px = solved.problem.seen_px(solved.x, SIGHT_MATRICES)
    return int((in_frame(px, solved.problem.size_px) & facing(solved)).sum())


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


def _cloth_spots(picture: Picture, solved: Solved, told: Sequence[Told], names: Sequence[str]) -> dict[str, Array]:
    """The cloth's spots that are seen and not picked: pixels (2,) by name."""
    clicked_px = np.array([at for _, _, at in told], float).reshape(-1, 2)
    found = cloth_spots(picture, solved, clicked_px, _radius_px(solved, clicked_px))
    return {name: at for name, at in found.items() if name not in names}


def _of_spots(found: Mapping[str, Array]) -> list[Seen]:
    if not found:
        return []
    at = np.array(list(found.values()))
    return [Seen(np.stack([NAMED[name] for name in found]), at, np.full(len(found), SPOT_PX))]


def _picks(clicks: Clicks, names: Sequence[str]) -> Seen:
    at = np.array([clicks.points[name] for name in names], float).reshape(-1, 2)
    matrices = np.stack([NAMED[name] for name in names]) if names else np.zeros((0, 3, len(MEASURES)))
    return Seen(matrices, at, np.full(len(names), clicks.pick_px))


def _mean(problem: Problem) -> Array:
    return np.array([problem.priors[name].mm for name in MEASURES])


# ------------------------------------------------------------------ with picks


def _with_picks(
    problem: Problem, clicks: Clicks, picks: Seen, names: tuple[str, ...], spots: Spots
) -> tuple[Solved, set[str], list[Warned], str]:
    """The camera from three picks or more, locked on the sights; or what is said where these aren't found."""
    places = picks.matrices @ _mean(problem)
    rails = {RAIL_OF.get(name, name) for name in names}
    scale = max(problem.size_px) / 1920
    found = starts(problem, places, picks.at_px)
    if len(rails) == 1:
        raise NoMatch(_one_rail(problem, picks, found, next(iter(rails))), ("points",))
    if len(names) >= 4:
        best = found[0].off_px if found else np.inf
        under = starts(problem, places, picks.at_px, below=True)
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
    locks = _locks(problem, found, picks, spots)
    agreeing = [one for one in locks if _agree(one.solved, picks, clicks.pick_px)]
    if agreeing and _holds(agreeing[0], agreeing, len(names)):
        chosen = agreeing[0]
        return (chosen.solved, *_wrong_when_locked(chosen, picks, names, clicks.pick_px), "")
    if len(names) < 4:
        raise NoMatch(
            f"three points were picked and the sights were not found ({_seen_of(locks)}); add a fourth "
            f"point, far from the others.",
            ("points",),
        )
    return _by_picks_alone(problem, clicks, picks, names, found, locks)


def _locks(problem: Problem, found: list[Start], picks: Seen | None, spots: Spots) -> list[Lock]:
    """Locks from the most promising starts, and from guesses about these, the likeliest first."""
    if not len(spots.at_px):
        return []
    locks: list[Lock] = []

    def tried(begun: Solved, carried: Seen, guess: Array | None = None) -> bool:
        one = lock(begun, carried, spots, guess)
        if one is None:
            return False
        locks.append(one)
        agrees = picks is None or _agree(one.solved, picks, 2.0)
        return agrees and one.share >= 0.7 and one.evidence > ENOUGH

    carried = [(start, picks or start.corners) for start in rank(problem, found, spots, MOST_LOCKS)]
    begun = [(begin(problem, start.camera, seen), seen) for start, seen in carried if seen is not None]
    if any(tried(*one) for one in begun):
        return sorted(locks, key=lambda one: -one.evidence)
    apart = [one for k, one in enumerate(begun) if all(one[0].cost != other[0].cost for other in begun[:k])]
    for one in apart[:MOST_GUESSED]:
        for guess in guesses(one[0], spots, MOST_LOCKS):
            if tried(*one, guess):
                break
    return sorted(locks, key=lambda one: -one.evidence)


def _holds(one: Lock, others: Sequence[Lock], picked: int) -> bool:
    """True where the sights are met far better than by chance, and no other camera does it nearly as well."""
    if one.evidence < (SURE if picked < MANY else SURE_OF_MANY) or one.share < LOCKED:
        return False
    px = one.solved.problem.seen_px(one.solved.x, SIGHT_MATRICES)
    within = 10.0 * max(one.solved.problem.size_px) / 1920
    for other in others:
        theirs = other.solved.problem.seen_px(other.solved.x, SIGHT_MATRICES)
        # turned by half a turn the table looks the same: without picks that is asked for, not found out
        offs = [np.linalg.norm(theirs[order] - px, axis=-1) for order in (ALL_SIGHTS, SIGHTS_TURNED)]
        apart = min(float(np.median(off[in_frame(px, one.solved.problem.size_px)])) for off in offs)
        if other.evidence > one.evidence - SURER and apart > within:
            return False
    return True


def _agree(solved: Solved, picks: Seen, pick_px: float) -> bool:
    """True where the camera meets most of the picks."""
    off = np.linalg.norm(solved.problem.seen_px(solved.x, picks.matrices) - picks.at_px, axis=-1)
    scale = max(solved.problem.size_px) / 1920
    near = off < max(7 * pick_px, 14 * scale)
    return bool(near.sum() >= max(2, int(np.ceil(0.6 * len(off)))))


def _wrong_when_locked(
    chosen: Lock, picks: Seen, names: tuple[str, ...], pick_px: float
) -> tuple[set[str], list[Warned]]:
    """Picks that lie far from where the locked camera puts them, with their sentences."""
    off = chosen.solved.problem.seen_px(chosen.solved.x, picks.matrices) - picks.at_px
    far = np.linalg.norm(off, axis=-1)
    typical = max(pick_px, float(np.median(far)))
    wrong = {name for name, d in zip(names, far, strict=True) if d > max(6 * typical, 8.0)}
    return wrong, [_wrong_sentence(chosen.solved, name, picks.at_px[names.index(name)]) for name in sorted(wrong)]


def _wrong_sentence(solved: Solved, name: str, at_px: Array) -> Warned:
    every = tuple(NAMED)
    px = solved.problem.seen_px(solved.x, np.stack([NAMED[n] for n in every]))
    off = np.linalg.norm(px - at_px, axis=-1)
    k = int(np.argmin(off))
    own = float(off[every.index(name)])
    exactly = f", and exactly where {every[k]} is" if every[k] != name and off[k] < max(4.0, 0.12 * own) else ""
    return Warned(
        f"{name} lies {own:.0f} px from where the other points put it{exactly}; it was left out.", ("points", name)
    )


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
    mean = _mean(problem)
    for k in range(len(names)):
        rest = [j for j in range(len(names)) if j != k]
        found = starts(problem, picks.matrices[rest] @ mean, picks.at_px[rest])
        if found and found[0].off_px < 0.4 * best:
            return True
    return False


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
    if off > 2.2 * clicks.pick_px and len(names) >= 5:
        solved, wrong, said = _leaving_one_out(problem, picks, names, found, solved, clicks.pick_px)
        kept = [k for k, name in enumerate(names) if name not in wrong]
        off = _rms(solved, _some(picks, kept)) if solved is not None else np.inf
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


def _by_picks_only(
    solved: Solved, picture: Picture | None, names: Sequence[str], kept: Sequence[int], sights_said: str
) -> Warned:
    """What to know of a camera that picks carry and few sights. Raises NoMatch where it is too open."""
    if picture is not None and _tilt_deg(solved.camera) > PLUMB_DEG and len(names) < LEAST_BY_PLUMB:
        raise NoMatch(
            "the sights were not found (glare? too small?), and from straight above few points do not tell how "
            f"the camera leans; click {LEAST_BY_PLUMB} or more, far apart, or film from the side.",
            ("points",),
        )
    worst = _open_px(solved)
    sentence = (
        f"not locked: {sights_said} (glare? too small?). Add two points; drawn places are within ± {worst:.0f} px."
    )
    scale = max(solved.problem.size_px) / 1920
    if worst > MOST_OPEN_PX * scale or len(kept) < 5:  # four places say nothing against each other
        raise NoMatch(sentence, ("points",))
    return Warned(sentence)


def _as_rough_as_missed(solved: Solved, picks: Seen, kept: Sequence[int]) -> Seen:
    """Picks with larger errors where those that are kept miss by much more than they should."""
    off = solved.problem.seen_px(solved.x, picks.matrices[kept]) - picks.at_px[kept]
    free = max(2 * len(kept) - FITTED, 1)
    missed = float(np.sum((off / picks.error_px[kept, None]) ** 2)) / free
    return replace(picks, error_px=picks.error_px * np.sqrt(missed)) if missed > ROUGH else picks


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
    if one is not None and _holds(one, [one], len(picks.at_px)):
        return one.solved, True
    return solved, False


def _open_px(solved: Solved) -> float:
    """The 95 % within which nine tenths of the bed in the frame are drawn."""
    L, W = (solved.problem.measures_mm(solved.x)[k] / 2 for k in (0, 1))
    grid = np.stack(np.meshgrid(np.linspace(-L, L, 9), np.linspace(-W, W, 5)), -1).reshape(-1, 2)
    places = np.concatenate([grid, np.zeros((len(grid), 1))], -1)
    px = project(solved.camera, places)
    places = places[in_frame(px, solved.problem.size_px)]
    if not len(places):
        return float("inf")
    each = solved.error(lambda x: solved.problem.pixels(x, places).reshape(-1)).reshape(-1, 2).max(1)
    return float(np.quantile(each, 0.9))


def _some(picks: Seen, kept: Sequence[int]) -> Seen:
    index = list(kept)
    return Seen(picks.matrices[index], picks.at_px[index], picks.error_px[index])


def _leaving_one_out(
    problem: Problem, picks: Seen, names: tuple[str, ...], found: list[Start], whole: Solved | None, pick_px: float
) -> tuple[Solved | None, set[str], list[Warned]]:
    """Leave each pick out in turn: one that the others contradict is wrong."""
    mean = _mean(problem)
    tries: list[tuple[float, int, Solved]] = []
    for k in range(len(names)):
        rest = [j for j in range(len(names)) if j != k]
        some = _some(picks, rest)
        begun = starts(problem, some.matrices @ mean, some.at_px)
        one = _polished(problem, begun, some, 3)
        if one is not None:
            tries.append((_rms(one, some), k, one))
    if not tries:
        return whole, set(), []
    tries.sort(key=lambda t: t[0])
    off, k, one = tries[0]
    before = _rms(whole, picks) if whole is not None else np.inf
    missed = float(np.linalg.norm(one.problem.seen_px(one.x, picks.matrices[k : k + 1])[0] - picks.at_px[k]))
    if off > 0.5 * before or missed < 6 * pick_px or off > 2.5 * pick_px:
        return whole, set(), []
    return one, {names[k]}, [_wrong_sentence(one, names[k], picks.at_px[k])]


def _other_table(clicks: Clicks, problem: Problem, picks: Seen) -> tuple[str, float] | None:
    """The named size that the picks fit best, other than the one that is told, and how well (px)."""
    found: list[tuple[float, str]] = []
    for name, table in TABLES.items():
        if name == clicks.table.name:
            continue
        other = replace(problem, priors={**measures_of(table, clicks.ball_diameter_mm), **clicks.measured})
        begun = starts(other, picks.matrices @ _mean(other), picks.at_px)
        one = _polished(other, begun, picks, 3)
        if one is not None:
            found.append((_rms(one, picks), name))
    return (min(found)[1], min(found)[0]) if found else None


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


# ------------------------------------------------------------------ without picks


def _alone(problem: Problem, clicks: Clicks, picture: Picture, spots: Spots, names: tuple[str, ...]) -> Solved:
    """The camera from the picture alone, by the cloth's corners; a click or a pick tells foot from head."""
    found = corner_starts(problem, cloth_corners(picture))
    locks = _locks(problem, found, None, spots)
    good = [one for one in locks[:1] if _holds(one, locks, 0) and _on_three_rails(one)]
    if not good:
        best = max(locks, key=lambda one: len(one.sights), default=None)
        raise NoMatch(_not_found("" if best is None else f"{len(best.sights)} of {best.in_frame} sights found"))
    solved = good[0].solved
    if names:
        both = [solved, turned_half(solved)]
        at = np.array([clicks.points[name] for name in names])
        matrices = np.stack([NAMED[name] for name in names])
        offs = [float(np.linalg.norm(s.problem.seen_px(s.x, matrices) - at, axis=-1).max()) for s in both]
        if min(offs) > 14 * max(problem.size_px) / 1920:
            raise NoMatch(
                f"the table was found by itself, but {names[0]} is not where it was clicked "
                f"({min(offs):.0f} px away); check the name, or click four points.",
                ("points", names[0]),
            )
        return both[int(np.argmin(offs))]
    if clicks.towards is None:
        raise NoMatch(
            "the table was found by itself, but it looks the same turned by half a turn; add `foot: [x, "
            "y]`, one click towards the foot rail."
        )
    end, at_px = clicks.towards
    L = _mean(problem)[MEASURES.index("length")] / 2
    ends = project(solved.camera, [[L, 0, 0], [-L, 0, 0]])
    middle = project(solved.camera, [[0, 0, 0]])[0]
    ends = np.where(np.isfinite(ends), ends, 2 * middle - ends[::-1])
    way = np.asarray(at_px) - middle
    is_foot = float(way @ (ends[0] - middle)) / np.linalg.norm(ends[0] - middle) > float(
        way @ (ends[1] - middle)
    ) / np.linalg.norm(ends[1] - middle)
    return solved if is_foot == (end == "foot") else turned_half(solved)


def _not_found(sights_said: str) -> str:
    seen = f" ({sights_said.replace('found', 'seen')})" if sights_said else ""
    return f"the table was not found by itself{seen}; click four points: pocket points or sights, far apart."


def _on_three_rails(one: Lock) -> bool:
    return len({RAIL_OF[name] for name in one.sights}) >= 3


def turned_half(solved: Solved) -> Solved:
    """The same picture with head and foot exchanged."""
    c = solved.camera
    half = np.diag([-1.0, -1.0, 1.0])
    turned = Camera(half @ c.eye_mm, c.axes @ half, c.focal_px, c.principal_px, c.size_px, c.lens)
    problem, x = replace(solved.problem, points=None, edges=None).start(turned)
    x[TABLE] = solved.x[TABLE]
    return Solved(problem, x, solved.covariance, solved.cost)


# ------------------------------------------------------------------ balls and answers


def _radius_px(solved: Solved, clicked_px: Array) -> float:
    if not len(clicked_px):
        return 0.0
    R = solved.problem.radius_mm
    places = on_plane(solved.camera, clicked_px, R)
    sizes = [ball_fit.mean_radius_px(solved.camera, p, R) for p in places if np.isfinite(p).all()]
    return max((s for s in sizes if np.isfinite(s)), default=0.0)


def _said_of(role: BallRole, index: int) -> str:
    return {"cue": "cue ball", "object": "object ball"}.get(role, f"{_ordinal(index)} of `others`")


def _ordinal(index: int) -> str:
    words = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
    return f"the {words[index]}" if index < len(words) else f"number {index + 1}"


def ball_key(role: BallRole, index: int) -> tuple[str | int, ...]:
    """A ball's key in the match file."""
    return ("balls", "others", index) if role == "others" else ("balls", role)


def _fit_balls(
    shade: Picture,
    solved: Solved,
    clicks: Clicks,
    told: list[Told],
    before: list[ball_fit.FoundBall],
) -> list[ball_fit.FoundBall]:
    camera, R = solved.camera, solved.problem.radius_mm
    twins: dict[int, int] = {}
    if before:
        places = [b.centre_mm for b in before]
    else:
        places = []
        for role, index, at in told:
            near = ball_fit.coarse(shade, camera, R, np.array(at))
            if near is None:
                raise NoMatch("no ball can lie here; click on the ball, on the cloth.", ball_key(role, index))
            places.append(near)
        for k, place in enumerate(places):
            if same := [j for j in range(k) if np.hypot(*(places[j] - place)[:2]) < ONE_BALL * R]:
                twins[k] = same[0]
        # once more, now that the others' places are known: in a crowd two clicks can slide to one ball
        for k, (_, _, at) in enumerate(told):
            others = [p for j, p in enumerate(places) if j != k]
            if min((np.hypot(*(p - places[k])[:2]) for p in others), default=np.inf) < 5 * R:
                near = ball_fit.coarse(shade, camera, R, np.array(at), others)
                places[k] = places[k] if near is None else near
    made: list[ball_fit.FoundBall] = []
    for k, (role, index, _) in enumerate(told):
        others = [p for j, p in enumerate(places) if j != k]
        one = ball_fit.fine(shade, camera, R, places[k], others, _size_open_px(solved, places[k]))
        if one is None or one.seen < 0.3 or len(one.rim.angles) < 10:
            for later, earlier in twins.items():
                if k in (later, earlier):
                    raise _same_ball(told[earlier], told[later])
            share = 0 if one is None else round(100 * one.seen)
            raise NoMatch(
                f"no ball outline here (only {share} % of one is seen); click nearer to its middle.",
                ball_key(role, index),
            )
        made.append(one)
    check_apart(solved, told, made, twins)
    return made


def _same_ball(one: Told, other: Told) -> NoMatch:
    """What is told of two clicks on one ball, the second of which is at fault."""
    if one[0] == other[0] == "others":
        both = f"{_ordinal(one[1])} and {_ordinal(other[1]).removeprefix('the ')} of `others`"
        return NoMatch(f"{both} are the same ball; click on each ball once.", ball_key(*other[:2]))
    first = _said_of(*one[:2]).removeprefix("the ")
    return NoMatch(
        f"this click and the {first}'s are the same ball; click on each ball once.", ball_key(*other[:2])
    )


def _size_open_px(solved: Solved, centre_mm: Array) -> float:
    """One standard error of a ball's radius in the picture, by what is known of the camera so far."""
    across = centre_mm + solved.problem.radius_mm * np.outer([1.0, -1.0], solved.camera.axes[0])

    def radius(x: Array) -> Array:
        ends = solved.problem.pixels(x, across)
        return np.asarray(np.linalg.norm(ends[..., 0, :] - ends[..., 1, :], axis=-1)[..., None] / 2)

    return float(solved.error(radius)[0] / 1.96)


def check_apart(
    solved: Solved,
    told: list[Told],
    made: list[ball_fit.FoundBall],
    twins: Mapping[int, int] = MappingProxyType({}),
) -> None:
    """Raise NoMatch where balls lie in a cushion, in one another, or are one ball. `twins` are balls, by their
    later click, that were found in one place.
    """
    R = solved.problem.radius_mm
    measures = dict(zip(MEASURES, solved.problem.measures_mm(solved.x).tolist(), strict=True))
    for k, (role, index, _) in enumerate(told):
        x, y = made[k].centre_mm[:2]
        over = max(abs(x) - measures["length"] / 2, abs(y) - measures["width"] / 2) + R
        if over > 0.4 * R:
            raise NoMatch(
                f"this ball would lie {over:.0f} mm inside the cushion; is it a ball on the bed?",
                ball_key(role, index),
            )
        for j in range(k):
            apart = float(np.hypot(*(made[k].centre_mm - made[j].centre_mm)[:2]))
            other = told[j]
            if apart < ONE_BALL * R or (twins.get(k) == j and apart < 2 * R - NEAR_MM):
                raise _same_ball(other, told[k])
            if apart < 2 * R - max(NEAR_MM, 0.2 * R):
                raise NoMatch(
                    f"this ball and "
                    f"{'the ' if other[0] != 'others' else ''}{_said_of(other[0], other[1])} would be "
                    f"{apart:.0f} mm apart, "
                    f"nearer than a diameter; click nearer to their middles.",
                    ball_key(role, index),
                )


def _without_balls(solved: Solved) -> Solved:
    """The fit without the balls' unknowns, to start the next round from."""
    problem = replace(solved.problem, rims=())
    return Solved(problem, solved.x[:FIRST_BALL], solved.covariance[:FIRST_BALL, :FIRST_BALL], solved.cost)


def _balls(
    solved: Solved,
    told: list[Told],
    fits: list[ball_fit.FoundBall],
    clicks: Clicks,
) -> tuple[MatchedBall, ...]:
    if fits:
        made = []
        for k, ((role, index, _), one) in enumerate(zip(told, fits, strict=True)):
            centre = solved.problem.ball_mm(solved.x, k)
            error = solved.error(lambda x, k=k: solved.problem.ball_mm(x, k)[..., :2])
            made.append(MatchedBall(role, index, centre, error, one.seen, one.radius_px))
        return tuple(made)
    # by picks alone a click is taken for the ball's middle
    made = []
    R = solved.problem.radius_mm
    for role, index, at in told:
        place = on_plane(solved.camera, np.array(at, float), R)
        if not np.isfinite(place).all():
            raise NoMatch("no ball can lie here; click on the ball, on the cloth.", ball_key(role, index))
        radius = ball_fit.mean_radius_px(solved.camera, place, R)

        def where(x: Array, at: Any = at) -> Array:
            return np.asarray(on_plane(solved.problem.camera(x), np.array(at, float), R)[:2])

        spread = np.sqrt(solved.error(where) ** 2 + (1.96 * 0.15 * R) ** 2)
        made.append(MatchedBall(role, index, place, spread, 0.0, radius))
    return tuple(made)


def _points(
    solved: Solved, clicks: Clicks, found: Mapping[str, int], wrong: set[str], spots_seen: Mapping[str, Array]
) -> dict[str, NamedPoint]:
    names = tuple(NAMED)
    px, spread = solved.seen_px(names)
    ahead = (
        np.stack([NAMED[n] for n in names]) @ solved.problem.measures_mm(solved.x) - solved.camera.eye_mm
    ) @ solved.camera.axes[2] > 0
    made: dict[str, NamedPoint] = {}
    for k, name in enumerate(names):
        picked = clicks.points.get(name)
        if not ahead[k] or (picked is None and not in_frame(px[k], solved.problem.size_px, 0.0)):
            continue
        off = None if picked is None else float(np.hypot(*(np.array(picked) - px[k])))
        kind: PointKind = (
            "wrong"
            if name in wrong
            else "found"
            if name in found or name in spots_seen
            else "picked"
            if picked is not None
            else "computed"
        )
        error = float(1.96 * np.sqrt(max(np.linalg.eigvalsh(spread[k])[-1], 0)))
        made[name] = NamedPoint(px[k], error, off, kind)
    return made


def _tilt_deg(camera: Camera) -> float:
    """How far down a camera looks: 90 is straight down."""
    return degrees(np.arcsin(np.clip(-camera.axes[2][2], -1, 1)))


def _warnings(made: Match) -> list[Warned]:
    said: list[Warned] = []
    camera = made.camera
    if made.is_locked and made.sights < FEW_SIGHTS * made.sights_in_frame:
        said.append(
            Warned(
                f"only {made.sights} of {made.sights_in_frame} sights were found, and some may be other spots; "
                "compare the picture that shows the match, and click what lies beside its mark.",
                ("points",) if made.clicks.points else (),
            )
        )
    tilt = _tilt_deg(camera)
    focal_error = float(np.sqrt(made.solved.covariance[6, 6]))
    if tilt > 80 or focal_error > 0.12:
        said.append(
            Warned(
                "looking straight down the lens and the height cannot be told apart; places on the cloth "
                "are unaffected."
                if tilt > 80
                else f"the lens's focal length is open to ± {196 * focal_error:.0f} %; give `lens: "
                f"{{focal: ... mm}}` or add points."
            )
        )
    for ball in made.balls:
        way = ball.centre_mm - camera.eye_mm
        rise = degrees(np.arctan2(-way[2], np.hypot(*way[:2])))
        along = way[:2] / np.hypot(*way[:2])
        if rise < 8:
            ends = project(camera, np.stack([ball.centre_mm, ball.centre_mm + np.append(along, 0.0)]))
            px = float(np.hypot(*(ends[1] - ends[0])))
            worst = float(np.abs(along) @ ball.error_mm)
            named = {"cue": "the cue ball", "object": "the object ball"}.get(
                ball.role, f"{_ordinal(ball.index)} of `others`"
            )
            seen = f"seen at {rise:.0f} degrees a millimetre along the view is {px:.2f} px"
            sentence = f"{seen}; {named}'s place is ± {worst:.0f} mm that way."
            said.append(Warned(sentence, ball_key(ball.role, ball.index)))
            break
    return said
