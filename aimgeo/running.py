"""How balls run on the cloth: sliding, rolling, standing still; and a whole shot, from the hit to the pocket.

A ball has a velocity v and a rolling velocity w, the velocity at which it would roll without slipping, spinning as
it does: w = v is natural roll, w = 0 a ball that only slides, w against v backspin. Cloth drags the touching point
against its slip u = v - w, with the force of sliding friction, whatever the speed: v loses mu g, w gains 5/2 mu g
along u, so that u keeps its direction and is gone after 2 |u| / (7 mu g); then v = w = (5 v + 2 w) / 7 of the
start. From there on the ball rolls, straight on, slowed by rolling resistance alone. Sidespin is not modelled.
The derivation is in docs/geometry.md. Plane vectors, millimetres, metres a second, seconds.

Friction of cloth: 0.2 sliding and 0.01 rolling are the usual round figures for pool (Marlow, The Physics of Pocket
Billiards, 1995, from memory); measured: sliding 0.178 to 0.245 (Mathavan, Jackson and Parkin, American Journal of
Physics 77, 2009, p. 788, from memory). Cloths and days differ.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import inf

import numpy as np

from aimgeo.pocket import segment_distance_mm
from aimgeo.shot import Shot
from aimgeo.tables import Table
from aimgeo.vectors import Array, ArrayLike, left, length, unit

GRAVITY_MPS2 = 9.81
MM = 1000.0
CUSHION_KEEPS = 0.7
"""Part of the speed across the nose that a cushion gives back: a round figure, common practice. No number that is
told hangs on it."""
SOFTLY_MPS = 0.8
"""How fast an object ball reaches the pocket when it is played softly: neither lost on the way nor hammered in."""
FOLLOWED_S = 3.0
"""For so long after the hit a cue ball must keep out of the pockets."""
LONGEST_S = 12.0
"""Nothing is followed for longer after the hit."""
TOUCH_MM = 1e-6
"""Balls that lie in one another by less only touch."""
MOST_BACKSPIN = 1.25
"""Backspin a cue can give, as a part of the speed: a tip half a radius below the middle, 5/2 x 1/2 (geometry)."""


@dataclass(frozen=True, slots=True)
class Cloth:
    """Friction coefficients of a ball on the cloth, sliding and rolling."""

    sliding: float = 0.2
    rolling: float = 0.01

    @property
    def slide_mps2(self) -> float:
        """What sliding takes from the velocity, a second."""
        return self.sliding * GRAVITY_MPS2

    @property
    def roll_mps2(self) -> float:
        """What rolling takes from the velocity, a second."""
        return self.rolling * GRAVITY_MPS2


CLOTH = Cloth()


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """A ball's way over endless cloth from a start: `start_mm`, `velocity_mps` and `rolling_mps` are (2,).

    Times count from the start. Nothing else is touched on the way.
    """

    start_mm: Array
    velocity_mps: Array
    rolling_mps: Array
    cloth: Cloth = CLOTH

    slip_mps: Array = field(init=False, repr=False)
    """The slip at the start, (2,)."""
    slides_s: float = field(init=False, repr=False)
    """How long the ball slides before it rolls."""
    rolls_mps: Array = field(init=False, repr=False)
    """The velocity with which rolling begins, (2,)."""
    ends_s: float = field(init=False, repr=False)
    """When the ball stands still."""
    slows_mps2: tuple[Array, Array] = field(init=False, repr=False)
    """What sliding, then rolling, takes from the velocity a second, (2,) each."""

    def __post_init__(self) -> None:
        slip = self.velocity_mps - self.rolling_mps
        rolls = (5 * self.velocity_mps + 2 * self.rolling_mps) / 7
        slides_s = 2 * float(length(slip)) / (7 * self.cloth.slide_mps2)
        drag = np.nan_to_num(unit(slip)) * self.cloth.slide_mps2
        slow = np.nan_to_num(unit(rolls)) * self.cloth.roll_mps2
        # a run is asked where it is thousands of times
        for name, value in (
            ("slip_mps", slip), ("slides_s", slides_s), ("rolls_mps", rolls), ("slows_mps2", (drag, slow)),
            ("ends_s", slides_s + float(length(rolls)) / self.cloth.roll_mps2),
        ):  # fmt: skip
            object.__setattr__(self, name, value)

    def velocity_at(self, seconds: ArrayLike) -> Array:
        """Velocity in m/s at times (...), (..., 2)."""
        sliding, rolling = self._parts(seconds)
        drag, slow = self.slows_mps2
        v = np.where((rolling > 0)[..., None], self.rolls_mps, self.velocity_mps - drag * sliding[..., None])
        return v - slow * rolling[..., None]

    def position_at(self, seconds: ArrayLike) -> Array:
        """Centre in mm at times (...), (..., 2); times before the start give the start."""
        sliding, rolling = self._parts(seconds)
        drag, slow = self.slows_mps2
        s, r = sliding[..., None], rolling[..., None]
        way = self.velocity_mps * s - drag * s * s / 2 + self.rolls_mps * r - slow * r * r / 2
        return self.start_mm + MM * way

    def reaches_s(self, way_mm: float) -> float:
        """When the ball is `way_mm` from its start, measured along its first direction; inf if it never is.

        Right for a ball that runs straight: `rolling_mps` along `velocity_mps`, either way round.
        """
        along = unit(self.velocity_mps)
        v, way = float(self.velocity_mps @ along), way_mm / MM
        drag = float(np.sign(self.slip_mps @ along)) * self.cloth.slide_mps2
        slid = _when(v, drag, way)
        if slid <= self.slides_s:
            return slid
        rest = way - float((self.position_at(self.slides_s) - self.start_mm) @ along) / MM
        rolled = _when(float(self.rolls_mps @ along), self.cloth.roll_mps2, rest)
        return self.slides_s + rolled

    def _parts(self, seconds: ArrayLike) -> tuple[Array, Array]:
        """Seconds of sliding and of rolling until the times."""
        t = np.clip(np.asarray(seconds, float), 0.0, self.ends_s)
        sliding = np.minimum(t, self.slides_s)
        return sliding, t - sliding


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """A ball's way on a bed: runs, each from its time on, with a cushion between one and the next."""

    starts_s: tuple[float, ...]
    runs: tuple[Run, ...]

    def position_at(self, seconds: ArrayLike) -> Array:
        """Centre in mm at times (...), (..., 2)."""
        t = np.asarray(seconds, float)
        at = self.runs[0].position_at(t)
        for start, run in zip(self.starts_s[1:], self.runs[1:], strict=True):
            at = np.where((t > start)[..., None], run.position_at(t - start), at)
        return at


def on_bed(run: Run, half_bed_mm: ArrayLike, radius_mm: float, until_s: float) -> Way:
    """A run that meets cushions, as far as a time: half_bed (2,), half the bed's length and width, inf for none.

    A cushion mirrors the way and keeps `CUSHION_KEEPS` of the speed across it; the ball rolls on from there.
    Mouths of pockets are not looked at.
    """
    room = np.asarray(half_bed_mm, float) - radius_mm
    starts, runs, begun = [0.0], [run], 0.0
    while True:
        times = np.linspace(0.0, max(until_s - begun, 0.0), 2 + round(max(until_s - begun, 0.0) * 100))
        at, v = runs[-1].position_at(times), runs[-1].velocity_at(times)
        # out of the bed and still going further out
        beyond = ((np.abs(at) > room) & (at * v > 0)).any(axis=-1)
        if not beyond.any():
            return Way(tuple(starts), tuple(runs))
        touched = _crossing(
            runs[-1], room, float(times[max(int(np.argmax(beyond)) - 1, 0)]), float(times[np.argmax(beyond)])
        )
        at, v = runs[-1].position_at(touched), runs[-1].velocity_at(touched)
        across = (np.abs(at) >= room - 1e-6) & (at * v > 0)
        v = np.where(across, -CUSHION_KEEPS * v, v)
        begun += touched
        starts.append(begun)
        runs.append(Run(np.clip(at, -room, room), v, v, run.cloth))


def _crossing(run: Run, room: Array, inside_s: float, outside_s: float) -> float:
    # 64 parts at a time: the last float inside and the first one outside are found in ten looks instead of 60
    for _ in range(10):
        if math.nextafter(inside_s, outside_s) >= outside_s:
            break
        times = np.linspace(inside_s, outside_s, 65)
        is_out = (np.abs(run.position_at(times)) > room).any(axis=-1)
        first = max(int(np.argmax(is_out)), 1) if is_out.any() else 64
        inside_s, outside_s = float(times[first - 1]), float(times[first])
    return outside_s


def meets_s(way: Way, others_mm: ArrayLike, ball_diameter_mm: float, until_s: float) -> float:
    """When a ball on its way first touches one of some balls that lie still, (n, 2), up to a time; else inf."""
    others = np.asarray(others_mm, float).reshape(-1, 2)
    times = np.union1d(np.linspace(0.0, until_s, 2 + math.ceil(400 * until_s)), way.starts_s)
    at = way.position_at(times)
    gaps = segment_distance_mm(others[:, None], at[:-1], at[1:]) - ball_diameter_mm
    touched = np.flatnonzero((gaps < -TOUCH_MM).any(axis=0))
    if not touched.size:
        return inf
    apart_s, in_s = float(times[touched[0]]), float(times[touched[0] + 1])
    for _ in range(8):
        times = np.linspace(apart_s, in_s, 65)
        nearest = length(way.position_at(times) - others[:, None]).min(axis=0)
        first = max(int(np.argmax(nearest < ball_diameter_mm)), 1)
        if not (nearest < ball_diameter_mm).any():
            return float(times[np.argmin(nearest)])  # it grazes one
        apart_s, in_s = float(times[first - 1]), float(times[first])
    return apart_s


@dataclass(frozen=True, slots=True, eq=False)
class Played:
    """A shot as it runs. Times count from the cue's hit; the balls touch at `impact_s`.

    `before` is the cue ball's way to the ghost ball, `cue_after` and `object_after` start at the impact. The
    object ball's centre passes the target at `arrives_s`. `cue_meets_s` and `object_meets_s` after the impact the
    ball would touch another one on the table: what happens then is not told.
    """

    before: Run
    cue_after: Run
    object_after: Run
    impact_s: float
    arrives_s: float
    impact_mps: float
    roll: float
    cue_meets_s: float = inf
    object_meets_s: float = inf

    @property
    def strike_mps(self) -> float:
        """Speed of the cue ball as it leaves the cue."""
        return float(length(self.before.velocity_mps))

    def object_ball_at(self, seconds: ArrayLike) -> Array:
        """The object ball's centre in mm at times (...), (..., 2), as if the cloth went on beyond the target."""
        return self.object_after.position_at(np.asarray(seconds, float) - self.impact_s)


def play(
    shot: Shot,
    arrives_mps: float,
    roll: float = 1.0,
    cloth: Cloth = CLOTH,
    turned_rad: float = 0.0,
) -> Played:
    """One shot, played so that the object ball reaches the target at a speed above 0.

    roll: of the cue ball at impact, 0 stun to 1 natural roll. turned_rad: how far the object ball leaves to the
    left of the shot's line (a throw, say); its speed stays. Balls are equal and lose nothing in the hit: the
    object ball takes V cos(cut) along the line of centres, the cue ball keeps V sin(cut) along the tangent and
    its spin. ValueError when the shot is none, or when a cue cannot give the backspin that such a roll needs over
    so long a way (`MOST_BACKSPIN`): roll more, or arrive faster.
    """
    cut, travel = float(shot.cut_rad), float(shot.travel_mm)
    if not np.isfinite(cut) or abs(cut) >= np.pi / 2 or arrives_mps <= 0 or not 0 <= roll <= 1:
        raise ValueError("a played shot needs a cut below 90 degrees, a speed above 0 and a roll from 0 to 1")
    a, u = np.asarray(shot.aim_direction, float), np.asarray(shot.object_direction, float)
    way_mm = float(length((shot.target_mm - shot.object_ball_mm)[:2]))
    object_mps = speed_to_arrive(way_mm, arrives_mps, cloth)
    V = object_mps / np.cos(cut)
    before, impact_s = _to_impact(shot.cue_ball_mm[:2], a, travel, V, roll, cloth)
    u_out = np.cos(turned_rad) * u + np.sin(turned_rad) * left(u)
    tangent = a - np.cos(cut) * u
    object_after = Run(shot.object_ball_mm[:2], object_mps * u_out, np.zeros(2), cloth)
    cue_after = Run(shot.ghost_ball_mm[:2], V * tangent, roll * V * a, cloth)
    return Played(before, cue_after, object_after, impact_s, impact_s + object_after.reaches_s(way_mm), V, roll)


@lru_cache(maxsize=128)  # a shot is asked for by each of its clips, and by each of their steps
def play_softly(
    shot: Shot, table: Table | None = None, others_mm: tuple[tuple[float, float], ...] = (), cloth: Cloth = CLOTH
) -> Played:
    """The shot as a teacher would play it: softly, the cue ball stunned where a cue can do it.

    Where it would take more backspin than a cue gives, or where the stunned ball ran into a pocket of the table
    or into one of the others, it rolls a little, or rolls; where every way ends so, it is the first that ends in
    no pocket, else the first that a cue can do. ValueError when the shot is none.
    """
    found: dict[bool, Played] = {}
    for roll in (0.0, 0.5, 1.0):
        try:
            played = play(shot, SOFTLY_MPS, roll, cloth)
        except ValueError:
            if roll == 1.0 and not found:
                raise
            continue
        if others_mm:
            played = _among(played, shot, table, others_mm)
        scratches = table is not None and _scratches(played, table, float(shot.radius_mm))
        if not scratches and played.cue_meets_s > FOLLOWED_S:
            return played
        found.setdefault(scratches, played)
    return found[min(found)]


def _among(played: Played, shot: Shot, table: Table | None, others_mm: tuple[tuple[float, float], ...]) -> Played:
    """The shot among other balls: when each of its two balls would touch one."""
    half_bed = (inf, inf) if table is None else (table.length_mm / 2, table.width_mm / 2)
    R = float(shot.radius_mm)
    cue, other = (
        meets_s(on_bed(run, half_bed, R, LONGEST_S), others_mm, 2 * R, LONGEST_S)
        for run in (played.cue_after, played.object_after)
    )
    return replace(played, cue_meets_s=cue, object_meets_s=other)


def _scratches(played: Played, table: Table, radius_mm: float) -> bool:
    """True when the cue ball runs into a pocket's mouth within a few seconds of the hit."""
    half_bed = (table.length_mm / 2, table.width_mm / 2)
    times = np.minimum(np.arange(0.0, FOLLOWED_S, 0.015), played.cue_meets_s)
    at = on_bed(played.cue_after, half_bed, radius_mm, FOLLOWED_S).position_at(times)
    return any(
        bool((length(at - np.asarray(pocket.centre_mm)) < pocket.mouth_mm / 2 + radius_mm / 2).any())
        for pocket in table.pockets()
    )


def speed_to_arrive(way_mm: float, arrives_mps: float, cloth: Cloth = CLOTH) -> float:
    """Speed in m/s that a ball without spin needs at its start to have `arrives_mps` after a way in mm.

    It slides over 12 v^2 / (49 mu g), has 5/7 v then, and rolls on.

    >>> round(speed_to_arrive(1000, 0.5), 3)
    0.914
    """
    way, mu, rolls = way_mm / MM, cloth.slide_mps2, cloth.roll_mps2
    squared = (arrives_mps**2 + 2 * rolls * way) / ((25 + 24 * rolls / mu) / 49)
    if 12 * squared / (49 * mu) > way:
        squared = arrives_mps**2 + 2 * mu * way
    return float(np.sqrt(squared))


def _to_impact(start: Array, a: Array, travel_mm: float, V: float, roll: float, cloth: Cloth) -> tuple[Run, float]:
    """The cue ball's way that ends, after its travel, with speed V and a roll; and its seconds."""
    way = travel_mm / MM
    if roll == 1.0:
        v = float(np.sqrt(V * V + 2 * cloth.roll_mps2 * way))
        return Run(start, v * a, v * a, cloth), (v - V) / cloth.roll_mps2
    v = float(np.sqrt(V * V + 2 * cloth.slide_mps2 * way))
    seconds = (v - V) / cloth.slide_mps2
    w = roll * V - 2.5 * (v - V)
    if w < -MOST_BACKSPIN * v:
        raise ValueError(
            f"no cue gives the backspin for a roll of {roll:g} after {travel_mm:.0f} mm at {V:.2f} m/s"
        )
    return Run(start, v * a, w * a, cloth), seconds


def _when(v: float, slowed: float, way: float) -> float:
    """The first time at which a speed v, losing `slowed` a second, has gone a way; inf if it stops short."""
    left_over = v * v - 2 * slowed * way
    if left_over < 0 or v + np.sqrt(max(left_over, 0.0)) <= 0:
        return inf
    return float(2 * way / (v + np.sqrt(left_over)))
