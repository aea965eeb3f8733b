"""A shot under the hand: what a move makes of it, why it goes no farther, and what it would change in the file."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from fractions import Fraction
from functools import lru_cache
from math import degrees
from typing import Any

import numpy as np

from aimgeo.aim_frame import aim_frame
from aimgeo.construct import Construction, Quantity
from aimgeo.methods import METHODS
from aimgeo.methods.method import Method
from aimgeo.methods.own import READING, Own
from aimgeo.methods.readings import judged_readings
from aimgeo.shot import Shot, one_of_many, place_shot, solve_shot
from aimgeo.spots import CUSHION_GAP_BALLS, accepts, is_clear, is_frozen, longest_distances
from aimgeo.tables import POCKET_NAMES, TABLES, Pocket, Table
from aimgeo.units import INCH_MM
from aimgeo.vectors import ArrayLike, dot, left
from lessons.answering.answer import answer
from lessons.lesson.explain import Location
from lessons.lesson.model import Lesson
from lessons.lesson.own import own_words
from lessons.lesson.read import Items, Keys, Node, Text
from lessons.lesson.values import LENGTH_STEPS, MM, Cut, Length, cut, cut_near, length, length_near, length_of
from lessons.lesson.wording import Wording, words_of
from lessons.lesson.write import Edit, node_at
from lessons.planning.given import aimed_at
from lessons.planning.planned import Plan, PlannedClip
from scenes.board.brief import EyeSpec
from scenes.figure.figure import bare

Point = tuple[float, float]

MOST_CUT_RAD = math.radians(85)
NEAR_SIGHT_MM, NEAR_POCKET_MM, NEAR_AIM_MM, NEAR_CUSHION_MM, NEAR_RAIL_MM = 9.0, 130.0, 4.0, 4.0, 40.0
"""A hand that is so near to a round place, a pocket, the aim's plane, a cushion, means it: a ball, a target."""
DIGITS = 6
"""So many decimals say where a ball touches a cushion."""
LEAST_BACK_MM, LEAST_HEIGHT_MM, MOST_HEIGHT_MM, MOST_BACK_MM = 80.0, 60.0, 3000.0, 4000.0
TRIES = 12
STRIDES: Mapping[str, Sequence[tuple[float, str]]] = {
    "mm": ((0.1, "0.1 mm"), (1, "1 mm"), (10, "10 mm"), (50, "50 mm")),
    "in": ((0.01, "0.01 in"), (1 / 16, "1/16 in"), (1 / 2, "1/2 in"), (2, "2 in")),
}
"""By the lesson's unit: how far a key moves with Alt, alone and with Shift, and a button farther than that."""


@dataclass(frozen=True, slots=True)
class Held:
    """The shot as it is held, every value one that can be written into the file.

    `target` is a pocket's name, a place, or a cushion and how far along it. `side` is +1 for an object ball that
    goes left (a straight shot too), -1 for right. `cue` is where the file places the cue ball: then cut, side and
    distance follow from it.
    """

    spot: tuple[Length, Length]
    target: str | tuple[Length, Length] | tuple[str, Length]
    cut: Cut
    side: int
    distance: Length
    back: Length
    offset: Length
    height: Length
    method: str | None
    eye_name: str
    cue: tuple[Length, Length] | None = None


@dataclass(frozen=True, slots=True)
class Ground:
    """What does not move: table and balls, where the clip stands in the lesson, and the lesson's own methods.

    `unit` is that of numbers that are typed and told, 'mm' or 'in'.
    """

    table: Table
    ball_mm: float
    distance_name: str | None
    own: Mapping[str, Own] = field(default_factory=dict)
    words: Mapping[str, Any] = field(default_factory=lambda: words_of("en"))
    unit: str = "mm"

    def mm(self, value: Length) -> float:
        """A length in millimetres."""
        return value.mm(self.ball_mm, self.table.length_mm)

    def near(self, mm: float, like: Length, is_fine: bool) -> Length:
        """The length nearest to so many mm in the unit of another one."""
        return length_near(mm, like.unit, self.ball_mm, self.table.length_mm, is_fine)

    def place(self, held: tuple[Length, Length]) -> Point:
        """A place in millimetres."""
        return self.mm(held[0]), self.mm(held[1])

    def target(self, held: Held) -> Pocket:
        """The target; for a ball at a cushion, and for one that is no pocket, where the way there leads."""
        spot, d = self.object_mm(held), self.ball_mm
        if isinstance(held.target, str):
            pocket = self.table.pocket(held.target)
            return aimed_at(self.table, spot, pocket, d) if self.is_near(held) else pocket
        return aimed_at(self.table, spot, self.table.mark(self.mark(held.target)), d)

    def mark(self, target: tuple[Length, Length] | tuple[str, Length]) -> Point:
        """A target that is no pocket: a place, or a cushion and how far along it."""
        rail, along = target
        if not isinstance(rail, str):
            return self.mm(rail), self.mm(along)
        half = ((self.table.length_mm if rail in ("foot", "head") else self.table.width_mm) - self.ball_mm) / 2
        across = half if rail in ("foot", "left") else -half
        return (across, self.mm(along)) if rail in ("foot", "head") else (self.mm(along), across)

    def is_near(self, held: Held) -> bool:
        """True for an object ball nearer to a cushion than where balls are usually put."""
        return _is_near(self.table, self.object_mm(held), self.ball_mm)

    def object_mm(self, held: Held) -> Point:
        """Where the object ball lies."""
        return self.place(held.spot)

    def shot(self, held: Held) -> Shot:
        """The shot."""
        target = self.target(held).centre_mm
        if held.cue is not None:
            return _solved(self.place(held.cue), self.object_mm(held), target, self.ball_mm)
        signed = held.side * held.cut.cut_rad
        return _shot(self.object_mm(held), target, signed, self.mm(held.distance), self.ball_mm)

    def eye(self, held: Held) -> EyeSpec:
        """The eye."""
        return EyeSpec(held.eye_name, self.mm(held.back), self.mm(held.offset), self.mm(held.height))

    def request(self, held: Held) -> dict[str, Any]:
        """The question to `aimgeo solve` about the shot as it is held."""
        x, y = self.ground_xy(held)
        eye = self.eye(held)
        # a table of the lesson's own has no name that could be asked for: its cushions are left out
        is_named = TABLES.get(self.table.name) == self.table
        # the way along a cushion ends beside the pocket's middle
        is_whole = isinstance(held.target, str) and not self.is_near(held)
        return {
            "object_ball_mm": list(self.object_mm(held)),
            "target_mm": held.target if is_named and is_whole else list(self.target(held).centre_mm),
            "cue_ball_mm": [x, y],
            "table": self.table.name if is_named else None,
            "ball_diameter_mm": self.ball_mm,
            "eye": {"back_mm": eye.back_mm, "offset_mm": eye.offset_mm, "height_mm": eye.height_mm},
        }

    def method(self, held: Held) -> Method | None:
        """The chosen method; one of the lesson's own looks from the eye that is held."""
        if held.method is None or held.method in METHODS:
            return METHODS[held.method] if held.method else None
        eye = self.eye(held)
        return self.own[held.method].method((eye.back_mm, eye.offset_mm, eye.height_mm))

    def ground_xy(self, held: Held) -> Point:
        """Where the cue ball lies."""
        x, y = self.shot(held).cue_ball_mm[:2].tolist()
        return (x, y)


@lru_cache(maxsize=64)
def _shot(object_mm: Point, target_mm: Point, cut_rad: float, distance_mm: float, ball_mm: float) -> Shot:
    """The shot; a step of the hand asks for it many times."""
    return place_shot(object_mm, target_mm, cut_rad, distance_mm, ball_mm)


@lru_cache(maxsize=64)
def _solved(cue_mm: Point, object_mm: Point, target_mm: Point, ball_mm: float) -> Shot:
    return solve_shot(cue_mm, object_mm, target_mm, ball_mm)


@lru_cache(maxsize=64)  # a step of the hand asks for both many times, mostly about a ball that rests
def _is_near(table: Table, at_mm: Point, ball_mm: float) -> bool:
    """True for a ball nearer to a cushion than where balls are usually put."""
    return bool(is_frozen(table, at_mm, ball_mm))


@lru_cache(maxsize=64)
def _lies_clear(table: Table, at_mm: Point, ball_mm: float) -> bool:
    """True for a ball on the bed, clear of the pockets."""
    return bool(is_clear(table, np.array(at_mm), ball_mm, 0.0))


# ------------------------------------------------------------------ taking hold


def held_of(lesson: Lesson, clip: PlannedClip) -> tuple[Ground, Held] | None:
    """The shot of a clip as the file has it; None for a clip that shows none."""
    subject = clip.brief.subject
    if subject.shot is None or subject.table is None:
        return None
    shot, drawn, keys = subject.shot, subject.construction, lesson.keys
    words = own_words(words_of("en"), keys.own_methods, lesson.own, "en")
    unit = "in" if keys.units == "in" else "mm"
    ball_mm = float(shot.ball_diameter_mm)
    ground = Ground(subject.table, ball_mm, subject.distance_name, lesson.own, words, unit)
    cut = next((c for c in keys.cuts if abs(c.cut_rad - abs(float(shot.cut_rad))) < 1e-9), None)
    distance = keys.distances.get(subject.distance_name or "")
    name = subject.eye.name if subject.eye is not None else next(iter(keys.eyes))
    eye = eye_of(lesson, ground, name, shot)
    cut_rad = abs(float(shot.cut_rad))

    def exactly(mm: ArrayLike) -> tuple[Length, Length]:
        x, y = np.asarray(mm)[:2].tolist()
        return _exactly(x, unit), _exactly(y, unit)

    levels = tuple(_levels(lesson, clip))
    said = {key: _said(levels, key) for key in ("spot", "target", "pocket", "cue_ball")}
    target = subject.target_name if subject.target_name in POCKET_NAMES else None
    made = Held(
        spot=_in(said["spot"], unit) or exactly(shot.object_ball_mm),
        target=target or _mark_of(said["target"], unit) or exactly(shot.target_mm),
        cut=cut or replace(cut_near(cut_rad, "degrees", is_fine=True), cut_rad=cut_rad),
        side=-1 if int(shot.side) < 0 else 1,
        distance=distance or _exactly(float(shot.distance_mm), unit),
        back=eye[0],
        offset=eye[1],
        height=eye[2],
        method=drawn.method if drawn is not None else None,
        eye_name=name,
        cue=_in(said["cue_ball"], unit),
    )
    return ground, made


def _mark_of(target: Any, unit: str) -> tuple[Length, Length] | tuple[str, Length] | None:
    """A target of the file that is no pocket."""
    return (target.rail, target.at) if hasattr(target, "rail") else _in(target, unit)


def _in(place: tuple[Length, Length] | None, unit: str) -> tuple[Length, Length] | None:
    """A place of the file; a 0 that has no unit counts in the lesson's."""
    if place is None:
        return None
    x, y = (replace(one, unit=unit) if one.text in ("0", "-0", "+0", "0.0") else one for one in place)
    return x, y


def eye_of(lesson: Lesson, ground: Ground, name: str, shot: Shot) -> tuple[Length, Length, Length]:
    """Back, offset and height of an eye of the lesson."""
    eye = lesson.keys.eyes[name]
    R = float(shot.radius_mm)
    beside = {
        "contact-line": float(shot.side * shot.contact_offset_mm),
        "cue-edge-left": R,
        "cue-edge-right": -R,
    }.get(eye.alignment or "", 0.0)
    unit = "in" if lesson.keys.units == "in" else "mm"
    return eye.back, eye.offset or _exactly(beside, unit), eye.height


def _exactly(mm: float, unit: str) -> Length:
    """A length that the file does not write: its text is rounded to so many `DIGITS`, its value is not."""
    number = Fraction(mm) / MM[unit]
    return replace(length_of(Fraction(round(number * 10**DIGITS), 10**DIGITS), unit), number=number)


def _said(levels: Sequence[tuple[Any, Location]], key: str) -> Any:
    """What the file says of a clip under a key, when it does."""
    asked = (keys for keys, at in levels if at or key != "cue_ball")
    return next((found for keys in asked if (found := getattr(keys, key, None)) is not None), None)


def _levels(lesson: Lesson, clip: PlannedClip) -> Iterator[tuple[Any, Location]]:
    """What may set pocket and spot of a clip, with its location: overrides (the last first), group, lesson."""
    from lessons.planning.expand import expand

    request = next((one for one in expand(lesson) if one.name == clip.name), None)
    yield from request.changes if request is not None else ()
    yield lesson.keys, ()


def rebased(held: Held, before: Held, now: Held) -> Held:
    """What is held, after the file has changed: what was moved stays as it is, the rest follows the file."""
    moved = {
        f.name: getattr(held, f.name) for f in fields(Held) if getattr(held, f.name) != getattr(before, f.name)
    }
    return replace(now, **moved)


def moves_of(held: Held, before: Held) -> dict[str, Any]:
    """What was moved, in texts: a page keeps them while it is loaded again, or the server started again."""
    told: dict[str, Any] = {}
    for name in (f.name for f in fields(Held)):
        value = getattr(held, name)
        if value != getattr(before, name):
            parts = value if isinstance(value, tuple) else (value,)
            told[name] = [part.text if isinstance(part, Length | Cut) else part for part in parts]
    return told


def with_moves(ground: Ground, held: Held, moves: Any) -> Held:
    """The shot with what was moved before. Raises ValueError for what is none, or can't be set any more."""
    if not isinstance(moves, dict):
        raise ValueError("no moves.")
    now: dict[str, Any] = {}
    for name, told in moves.items():
        if not (isinstance(told, list) and 0 < len(told) < 3 and all(isinstance(part, str) for part in told)):
            raise ValueError("no moves.")
        if name in ("spot", "cue"):
            now[name] = length(told[0]), length(told[-1])
        elif name == "target":
            rail = told[0] in ("foot", "head", "left", "right")
            now[name] = told[0] if len(told) == 1 else (told[0] if rail else length(told[0]), length(told[1]))
        elif name in ("distance", "back", "offset", "height"):
            now[name] = length(told[0])
        elif name == "cut":
            now[name] = cut(told[0])
    if held.cue is None:
        now.pop("cue", None)
    new = replace(held, **now)
    if isinstance(new.target, str) and new.target not in POCKET_NAMES:
        raise ValueError("no pocket.")
    if why := why_not(ground, new):
        raise ValueError(why)
    return new


# ------------------------------------------------------------------ moving


def why_not(ground: Ground, held: Held) -> str:
    """Why the shot can't be set as it is held, in a sentence; empty when it can."""
    O, target, d = ground.object_mm(held), ground.target(held), ground.ball_mm
    if not _lies_clear(ground.table, O, d):
        return "The object ball lies on the bed, clear of the pockets."
    if not isinstance(held.target, str) and not _is_there(ground, held.target):
        return "A target that is no pocket lies on the bed or on a cushion."
    if math.dist(O, target.centre_mm if isinstance(held.target, str) else ground.mark(held.target)) < d:
        return "The target lies at least a ball’s width from the object ball."
    if held.cue is not None:
        return _why_not_placed(ground, held)
    is_mark = not isinstance(held.target, str)
    if not accepts(target, O, d):
        return f"From there the {held.target} pocket does not take the ball between its points."
    if ground.mm(held.distance) < d:
        return f"The balls would overlap: from centre to centre it is at least {d:g} mm."
    signed = held.side * held.cut.cut_rad
    gap = 0.0 if is_mark or ground.is_near(held) else CUSHION_GAP_BALLS
    longest = float(longest_distances(ground.table, target, [O], [signed], d, gap)[0, 0])
    if longest == 0:
        return "The ghost ball would lie in a cushion there."
    if ground.mm(held.distance) > longest + 1e-6:
        return f"The cue ball has room for {math.floor(longest)} mm between centres on that line, no more."
    return ""


def _is_there(ground: Ground, target: tuple[Length, Length] | tuple[str, Length]) -> bool:
    """True for a place on the bed, and for one on a cushion that is none of a pocket's mouth."""
    x, y = at = ground.mark(target)
    if isinstance(target[0], str):
        return _lies_clear(ground.table, at, ground.ball_mm)
    return abs(x) <= ground.table.length_mm / 2 and abs(y) <= ground.table.width_mm / 2


def _why_not_placed(ground: Ground, held: Held) -> str:
    """Why not, where the file says where the cue ball lies."""
    assert held.cue is not None
    if not _lies_clear(ground.table, ground.place(held.cue), ground.ball_mm):
        return "The cue ball lies on the bed, clear of the pockets."
    shot = ground.shot(held)
    if float(shot.distance_mm) <= ground.ball_mm:
        return f"The balls would overlap: from centre to centre it is at least {ground.ball_mm:g} mm."
    if not abs(float(shot.cut_rad)) <= MOST_CUT_RAD:
        return f"A ball can be cut by less than 90 degrees; the hand goes up to {degrees(MOST_CUT_RAD):.0f}."
    return ""


def moved(ground: Ground, held: Held, grip: str, to: Any, is_free: bool) -> tuple[Held, str]:
    """The shot after a grip was moved to a place on the table (x, y in mm), and why it went no farther.

    The eye from the side goes to a place in the plane of the aim: before the cue ball, and above the cloth.

    Where the place itself is not possible, the nearest one that the way there has. `is_free` moves by the finest
    steps that can be written, otherwise by those in which authors write.
    """
    if grip == "cue_ball":
        return _cue_moved(ground, held, to, is_free)
    if grip == "object_ball":
        return _object_moved(ground, held, to, is_free)
    if grip == "target":
        return _target_moved(ground, held, to, is_free)
    if grip == "eye_side":
        return _eye_raised(ground, held, to, is_free)
    return _eye_moved(ground, held, to, is_free)


def _cue_moved(ground: Ground, held: Held, to: Point, is_free: bool) -> tuple[Held, str]:
    if held.cue is not None:
        like = held.cue

        def at(place: Sequence[float]) -> Held:
            return replace(held, cue=_placed_near(ground, place, like, is_free))

        touching = None if is_free else _at_cushion(ground, to, like)
        if touching is not None and not why_not(ground, new := replace(held, cue=touching)):
            return new, ""
        return _as_far_as_it_goes(ground, held, at, ground.place(like), to)
    shot = solve_shot(to, ground.object_mm(held), ground.target(held).centre_mm, ground.ball_mm)
    signed, apart = float(shot.cut_rad) * held.side, float(shot.distance_mm)
    said = ""
    if not signed >= 0:
        said = "To the other side it is another clip; choose it among the clips."
    elif signed > MOST_CUT_RAD:
        said = f"A ball can be cut by less than 90 degrees; the hand goes up to {degrees(MOST_CUT_RAD):.0f}."
    notation = held.cut.notation
    least = cut_near(0.0, notation, is_fine=True)
    turned = cut_near(min(max(signed, 0.0), MOST_CUT_RAD), notation, is_free)
    if turned.cut_rad == 0:  # a straight shot has no side, and would be another clip too
        turned = held.cut if least.same_as(held.cut) else _smallest(notation, is_free)
    new = replace(held, cut=turned, distance=ground.near(max(apart, ground.ball_mm), held.distance, is_free))
    new, why = _shortened(ground, new)
    return (held if why_not(ground, new) else new), said or why


def _smallest(notation: str, is_free: bool) -> Cut:
    """The thinnest cut that is not straight."""
    from lessons.lesson.values import CUT_STEPS

    step = float(CUT_STEPS[notation][is_free])
    angle = (
        math.radians(step) if notation == "degrees" else math.asin(step / (16 if notation == "sixteenths" else 1))
    )
    return cut_near(angle, notation, is_free)


def _shortened(ground: Ground, held: Held) -> tuple[Held, str]:
    """The shot with the distance that is possible on its line, nearest to the one asked for."""
    why = why_not(ground, held)
    if not why:
        return held, ""
    signed = held.side * held.cut.cut_rad
    O, target, d = ground.object_mm(held), ground.target(held), ground.ball_mm
    gap = 0.0 if not isinstance(held.target, str) or ground.is_near(held) else CUSHION_GAP_BALLS
    longest = float(longest_distances(ground.table, target, [O], [signed], d, gap)[0, 0])
    asked = ground.mm(held.distance)
    wanted = min(max(asked, d + 0.1), longest)
    step = ground.mm(Length("", LENGTH_STEPS[held.distance.unit][1], held.distance.unit))
    for k in range(4):
        at = wanted + (k * step if asked < d else -k * step)
        new = replace(held, distance=ground.near(at, held.distance, is_fine=True))
        if not why_not(ground, new):
            return new, why
    return held, why


def _object_moved(ground: Ground, held: Held, to: Point, is_free: bool) -> tuple[Held, str]:
    def at(place: Sequence[float]) -> Held:
        spot = _placed_near(ground, _round_place(ground, place, is_free), held.spot, is_free)
        return replace(held, spot=spot)

    touching = None if is_free else _at_cushion(ground, to, held.spot)
    if touching is not None and not why_not(ground, new := replace(held, spot=touching)):
        return new, ""
    return _as_far_as_it_goes(ground, held, at, ground.object_mm(held), to)


def _placed_near(
    ground: Ground, place: Sequence[float], like: tuple[Length, Length], is_free: bool
) -> tuple[Length, Length]:
    """The place nearest to this one that an author would write as he wrote another."""
    x, y = (ground.near(mm, one, is_free) for mm, one in zip(place, like, strict=True))
    return x, y


def _at_cushion(
    ground: Ground, place: Sequence[float], like: tuple[Length, Length]
) -> tuple[Length, Length] | None:
    """The place where a ball touches the cushion that a hand has moved it to; None where it is at none."""
    found, is_any = list(_placed_near(ground, place, like, is_free=False)), False
    for axis, across_mm in enumerate((ground.table.length_mm, ground.table.width_mm)):
        room = (across_mm - ground.ball_mm) / 2
        if room - NEAR_CUSHION_MM < abs(place[axis]) < room + ground.ball_mm:
            one = ground.mm(Length("", Fraction(1), like[axis].unit))
            steps = math.floor(room / one * 10**DIGITS + 1e-3)  # never beyond the nose
            found[axis] = length_of(Fraction(steps, 10**DIGITS) * (1 if place[axis] > 0 else -1), like[axis].unit)
            is_any = True
    return (found[0], found[1]) if is_any else None


def _round_place(ground: Ground, place: Sequence[float], is_free: bool) -> Sequence[float]:
    """A place, or the crossing of quarters of the sights' spacing that is near to it."""
    grid = ground.table.length_mm / 32
    near = [round(v / grid) * grid for v in place]
    return near if not is_free and math.dist(near, place) < NEAR_SIGHT_MM else place


def _as_far_as_it_goes(ground: Ground, held: Held, at: Any, start: Point, to: Point) -> tuple[Held, str]:
    wanted = at(to)
    why = why_not(ground, wanted)
    if not why:
        return wanted, ""
    best, low, high = held, 0.0, 1.0
    for _ in range(TRIES):
        t = (low + high) / 2
        tried = at([a + (b - a) * t for a, b in zip(start, to, strict=True)])
        # a ball lies at a cushion only where the hand has put it there
        if why_not(ground, tried) or (ground.is_near(tried) and not ground.is_near(held)):
            high = t
        else:
            best, low = tried, t
    return best, why


def _target_moved(ground: Ground, held: Held, to: Point, is_free: bool) -> tuple[Held, str]:
    nearest = min(ground.table.pockets(), key=lambda pocket: math.dist(pocket.centre_mm, to))
    if not is_free and math.dist(nearest.centre_mm, to) < NEAR_POCKET_MM:
        new = replace(held, target=nearest.name)
        why = why_not(ground, new)
        return (held, why) if why else (new, "")
    like = held.target if isinstance(held.target, tuple) else held.spot
    unit = like[1]

    def at(place: Sequence[float]) -> Held:
        x, y = (ground.near(mm, unit, is_free) for mm in place)
        return replace(held, target=(x, y))

    if not is_free and (rail := _rail_at(ground, to)) is not None:
        along = ground.near(to[1] if rail in ("foot", "head") else to[0], unit, is_free)
        new = replace(held, target=(rail, along))
        if not why_not(ground, new):
            return new, ""
    start = ground.target(held).centre_mm
    return _as_far_as_it_goes(ground, held, at, start, to)


def _rail_at(ground: Ground, to: Point) -> str | None:
    """The cushion that a hand has moved the target to."""
    half = ground.table.length_mm / 2, ground.table.width_mm / 2
    rails = (("foot", "left"), ("head", "right"))
    for axis in (0, 1):
        if abs(to[axis]) > half[axis] - ground.ball_mm / 2 - NEAR_RAIL_MM and abs(to[1 - axis]) < half[1 - axis]:
            return rails[to[axis] < 0][axis]
    return None


def _eye_moved(ground: Ground, held: Held, to: Point, is_free: bool) -> tuple[Held, str]:
    shot = ground.shot(held)
    a = shot.aim_direction
    way = np.array(to) - shot.cue_ball_mm[:2]
    back, offset = -float(dot(way, a)), float(dot(way, left(a)))
    if not is_free and abs(offset) < NEAR_AIM_MM:
        offset = 0.0
    said = "" if back >= LEAST_BACK_MM else "The eye stands behind the cue ball."
    back = min(max(back, LEAST_BACK_MM), MOST_BACK_MM)
    return replace(
        held, back=ground.near(back, held.back, is_free), offset=ground.near(offset, held.offset, is_free)
    ), said


BOUNDS = "The eye stands behind the cue ball, between 60 mm and 3 m above the cloth."


def _eye_raised(ground: Ground, held: Held, to: Point, is_free: bool) -> tuple[Held, str]:
    back, height = min(max(-to[0], LEAST_BACK_MM), MOST_BACK_MM), min(max(to[1], LEAST_HEIGHT_MM), MOST_HEIGHT_MM)
    new = replace(
        held, back=ground.near(back, held.back, is_free), height=ground.near(height, held.height, is_free)
    )
    return new, "" if (back, height) == (-to[0], to[1]) else BOUNDS


def nudged(ground: Ground, held: Held, grip: str, toward: Point, stride: int) -> tuple[Held, str]:
    """The shot after a grip was moved by one of the `STRIDES` of the lesson's unit, and why it went no farther."""
    far_mm = STRIDES[ground.unit][stride][0] * float(MM[ground.unit])
    x, y = place_of(ground, held, grip)
    return moved(ground, held, grip, (x + toward[0] * far_mm, y + toward[1] * far_mm), is_free=True)


def set_values(ground: Ground, held: Held, grip: str, values: dict[str, float]) -> tuple[Held, str]:
    """The shot with numbers that were typed, in the lesson's unit: places; for the eye back, offset and height."""
    values = {name: value * float(MM[ground.unit]) for name, value in values.items()}
    if grip == "eye":
        eye = ground.eye(held)
        given = {"back": eye.back_mm, "offset": eye.offset_mm, "height": eye.height_mm} | values
        kept = {
            "back": min(max(given["back"], LEAST_BACK_MM), MOST_BACK_MM),
            "offset": min(max(given["offset"], -1000.0), 1000.0),
            "height": min(max(given["height"], LEAST_HEIGHT_MM), MOST_HEIGHT_MM),
        }
        said = "" if kept == given else BOUNDS
        new = {name: ground.near(mm, getattr(held, name), is_fine=True) for name, mm in kept.items()}
        same: dict[str, Any] = {
            n: v for n, v in new.items() if abs(ground.mm(v) - ground.mm(getattr(held, n))) > 1e-6
        }
        return replace(held, **same), said
    now = place_of(ground, held, grip)
    return moved(ground, held, grip, (values.get("x", now[0]), values.get("y", now[1])), is_free=True)


def place_of(ground: Ground, held: Held, grip: str) -> Point:
    """Where a grip's thing stands on the table."""
    shot = ground.shot(held)
    if grip == "eye_side":
        return -ground.eye(held).back_mm, ground.eye(held).height_mm
    if grip == "eye":
        a, eye = shot.aim_direction, ground.eye(held)
        x, y = (shot.cue_ball_mm[:2] - eye.back_mm * a + eye.offset_mm * left(a)).tolist()
        return (x, y)
    at = {"cue_ball": shot.cue_ball_mm, "object_ball": shot.object_ball_mm, "target": shot.target_mm}[grip]
    x, y = at[:2].tolist()
    return (x, y)


def construction_of(ground: Ground, held: Held) -> tuple[Construction, str]:
    """The construction of the chosen method, and the sentence of its limit where it does not reach the cut."""
    shot = ground.shot(held)
    method = ground.method(held)
    if method is None:
        return bare(shot), ""
    if limit := method.limit(shot):
        wording = Wording(ground.words, "mm", ground.ball_mm)
        return bare(shot), wording.limit(limit)
    return method.construct(shot), ""


# ------------------------------------------------------------------ numbers

LENGTHS = (
    ("distance_mm", "Between centres", "distance_mm"), ("travel_mm", "Cue ball travels", "distance_mm"),
    ("contact_offset_mm", "Contact offset", "length_mm"), ("aim_offset_mm", "Aim offset", "length_mm"),
)  # fmt: skip


def rows(ground: Ground, held: Held, units: str) -> list[list[str]]:
    """What `aimgeo solve` answers about the shot as it is held, in the lesson's units: name and number."""
    told = answer([ground.request(held)], only=("shot", "methods", "pocket"))[0]
    if "error" in told:
        return [["", told["error"]["message"]]]
    shot, out = told["shot"], []
    wording = Wording(ground.words, units, ground.ball_mm)

    def shown(value: float, kind: str) -> str:
        return wording.shown(Quantity(value, kind))  # type: ignore[arg-type]

    if shot.get("cut_deg") is not None:
        out.append(["Cut", f"{shown(math.radians(shot['cut_deg']), 'angle_rad')} {shot['side']}"])
        out.append(["Overlap", f"{shot['overlap']:.3f}"])
    out += [[name, shown(shot[key], kind)] for key, name, kind in LENGTHS if shot.get(key) is not None]
    window = (told.get("pocket") or {}).get("window_deg")
    if window is not None:
        out.append(["Pocket’s window", shown(math.radians(window), "angle_rad")])
    for key, name in (("object_ball_mm", "Object ball at"), ("cue_ball_mm", "Cue ball at")):
        out.append([name, _placed(shot[key], wording)])
    names = ground.words["names"]
    out.append(["Each method, taken literally"])
    for method, found in (told.get("methods") or {}).items():
        if not found["usable"]:
            out.append([names[method].capitalize(), "does not reach"])
            continue
        for reading, one in found["readings"].items():
            name = f"{names[method].capitalize()}, {names.get(f'reading.{reading}', reading)}"
            out.append([name, _missed(one["hit"], one["miss_mm"], wording)])
    return out + _own_rows(ground, held, wording)


def _placed(at_mm: Sequence[float], wording: Wording) -> str:
    """A place on the table: both numbers and their unit."""
    a_unit, digits, unit = (INCH_MM, 2, "in") if wording.units == "in" else (1.0, 1, "mm")
    x, y = (wording.decimal(v / a_unit, digits).replace("-", "−") for v in at_mm[:2])
    return f"{x}, {y} {unit}"


def _own_rows(ground: Ground, held: Held, wording: Wording) -> list[list[str]]:
    """What the lesson's own methods do, judged in the same way."""
    if not ground.own:
        return []
    shot, eye, out = ground.shot(held), ground.eye(held), []
    frame = aim_frame(one_of_many(shot), (ground.table.length_mm / 2, ground.table.width_mm / 2))
    at = np.array([[-eye.back_mm, eye.offset_mm, eye.height_mm]])
    for name, own in ground.own.items():
        found = judged_readings(frame, at, methods={name: own.method()})[name][READING].row(0)
        hit = bool(found.hit) if found.has_aim else None
        miss = float(found.miss_mm) if np.isfinite(found.miss_mm) else None
        out.append([ground.words["names"][name].capitalize(), _missed(hit, miss, wording)])
    return out


def _missed(hit: bool | None, miss_mm: float | None, wording: Wording) -> str:
    """By how much a method's aim misses the target, in a few words."""
    if miss_mm is None:
        return {None: "no such aim", False: "misses the ball", True: "90° or more off"}[hit]
    return f"{wording.signed(miss_mm)} {'in' if wording.units == 'in' else 'mm'}".replace("-", "−")


def values_of(ground: Ground, held: Held) -> list[dict[str, Any]]:
    """The grips with what is said of them and the numbers that can be typed."""
    shot, eye = ground.shot(held), ground.eye(held)
    side, cut_deg = "left" if int(shot.side) >= 0 else "right", degrees(abs(float(shot.cut_rad)))
    wording = Wording(ground.words, ground.unit, ground.ball_mm)

    def shown(mm: float) -> str:
        return wording.shown(Quantity(mm, "distance_mm"))

    def typed(mm: float) -> float:
        return round(mm / float(MM[ground.unit]), 1 if ground.unit == "mm" else 4) + 0.0

    def place(grip: str) -> list[list[Any]]:
        x, y = place_of(ground, held, grip)
        return [["x", "x", typed(x)], ["y", "y", typed(y)]]

    told = f"{shown(eye.back_mm)} behind the cue ball, {shown(eye.height_mm)} high"
    if eye.offset_mm:
        told += f", {shown(abs(eye.offset_mm))} {'left' if eye.offset_mm > 0 else 'right'}"
    cue = f"{shown(float(shot.distance_mm))} from the object ball, cut {cut_deg:.1f}° {side}"
    eye_at = [
        ["back", "back", typed(eye.back_mm)],
        ["offset", "left", typed(eye.offset_mm)],
        ["height", "high", typed(eye.height_mm)],
    ]
    at = f"at {_placed(ground.object_mm(held), wording)}"
    target = _target_told(ground, held, wording)
    raised = f"{shown(eye.height_mm)} high, {shown(eye.back_mm)} behind the cue ball"
    return [
        {"id": "cue_ball", "name": "cue ball", "value": cue, "fields": place("cue_ball")},
        {"id": "object_ball", "name": "object ball", "value": at, "fields": place("object_ball")},
        {
            "id": "target",
            "name": "target",
            "value": target,
            "fields": place("target"),
        },
        {"id": "eye", "name": "eye", "value": told, "fields": eye_at},
        {"id": "eye_side", "name": "height", "value": raised, "fields": []},
    ]


def _target_told(ground: Ground, held: Held, wording: Wording) -> str:
    if isinstance(held.target, str):
        return f"{held.target} pocket"
    at, rail = _placed(ground.mark(held.target), wording), held.target[0]
    return f"on the {rail} cushion, at {at}" if isinstance(rail, str) else f"at {at}"


# ------------------------------------------------------------------ what would be written


@dataclass(frozen=True, slots=True)
class Change:
    """A value that would be written: its key, as it is and as it was, where, for how many clips, and edits.

    `why_not` says why it can't be written; there are no edits then. `scoped` ones may be written for a group.
    `note` says why it is written though the hand did not move it. `field` is Held's, of one that can't be written.
    """

    key: str
    text: str
    was: str
    line: int
    clips: int
    edits: tuple[Edit, ...] = ()
    why_not: str = ""
    scoped: bool = False
    note: str = ""
    field: str = ""


def changes(
    lesson: Lesson, plan: Plan, clip: PlannedClip, before: Held, held: Held, scope: str, pins: str = ""
) -> list[Change]:
    """What of the file the moves would change.

    `pins` writes the spot of an object ball that was not moved as well: "said" beside the pocket or target that
    the file says, "group" for the clip's group.
    """
    found: list[Change] = []
    if held.cue is not None and before.cue is not None and held.cue != before.cue:
        found.append(_placing_change(lesson, plan, clip, "cue_ball", _pair(held.cue), _pair(before.cue), "group"))
    if held.distance != before.distance:
        found.append(_distance_change(lesson, plan, clip, held))
    if not held.cut.same_as(before.cut):
        found.append(_cut_change(lesson, plan, before, held))
    is_at_mark = not isinstance(held.target, str) and held.target != before.target
    if held.spot != before.spot:
        found.append(_placing_change(lesson, plan, clip, "spot", _pair(held.spot), _pair(before.spot), scope))
    elif (pins or is_at_mark) and _said(tuple(_levels(lesson, clip)), "spot") is None:
        level = "group" if "group" in (pins, scope) else "said"
        found.append(replace(_placing_change(lesson, plan, clip, "spot", _pair(held.spot), "", level), note=STAYS))
    if held.target != before.target:
        found.append(_target_change(lesson, plan, clip, before, held, scope))
    if held.eye_name == before.eye_name:
        for name in ("back", "offset", "height"):
            if getattr(held, name) != getattr(before, name):
                found.append(_eye_change(lesson, plan, held, name))
    return found


def writable(found: Sequence[Change], before: Held, held: Held) -> Held:
    """The shot with what of the moves can be written."""
    return replace(held, **{one.field: getattr(before, one.field) for one in found if one.field})


STAYS = "so that the object ball stays where it is"


def _pair(place: tuple[Length, Length]) -> str:
    return f"[{place[0].text}, {place[1].text}]"


def _target_text(target: str | tuple[Length, Length] | tuple[str, Length]) -> str:
    if isinstance(target, str):
        return target
    if isinstance(target[0], str):
        return f"{{rail: {target[0]}, at: {target[1].text}}}"
    return f"[{target[0].text}, {target[1].text}]"


def _target_change(lesson: Lesson, plan: Plan, clip: PlannedClip, before: Held, held: Held, scope: str) -> Change:
    """A target is a pocket or a place, each under its own key: the one that is there becomes the other."""
    key, other = ("pocket", "target") if isinstance(held.target, str) else ("target", "pocket")
    text, was = _target_text(held.target), _target_text(before.target)
    change = _placing_change(lesson, plan, clip, key, text, was, scope)
    (edit,) = change.edits
    at = (*edit.location[:-1], other)
    if node_at(lesson.tree, at) is None:
        return change
    return replace(change, line=lesson.place(*at).line, edits=(Edit(at, text, renamed=key),))


def _distance_change(lesson: Lesson, plan: Plan, clip: PlannedClip, held: Held) -> Change:
    name = clip.brief.subject.distance_name
    if name is None:
        why_not = "this clip shows no distance of the lesson's"
        return Change("distance", held.distance.text, "", 0, 0, why_not=why_not, field="distance")
    keys, count = lesson.keys, sum(c.distance_name == name for c in plan.clips)
    was = keys.distances[name].text
    if node_at(lesson.tree, ("distances", name)) is None:
        all_of_them = {n: held.distance.text if n == name else d.text for n, d in keys.distances.items()}
        edit = Edit(("distances",), "{" + ", ".join(f"{n}: {t}" for n, t in all_of_them.items()) + "}")
    else:
        edit = Edit(("distances", name), held.distance.text)
    return Change(name, held.distance.text, was, lesson.place("distances", name).line, count, (edit,))


def _cut_change(lesson: Lesson, plan: Plan, before: Held, held: Held) -> Change:
    """A cut is written at every place that names it: the lesson's, and its groups'."""
    count = sum(c.cut_deg is not None and abs(c.cut_deg - before.cut.cut_deg) < 1e-7 for c in plan.clips)
    was = next((c.text for c in lesson.keys.cuts if c.same_as(before.cut)), None)
    if was is None:
        why_not = "this clip's cut is none of the lesson's"
        return Change("cut", held.cut.text, "", 0, 0, why_not=why_not, field="cut")
    if node_at(lesson.tree, ("cuts",)) is None:
        listed = [held.cut.text if c.same_as(before.cut) else c.text for c in lesson.keys.cuts]
        edits = [Edit(("cuts",), f"[{', '.join(listed)}]")]
    else:
        edits = []
    edits += [Edit(at, held.cut.text) for at in _named_cuts(lesson.tree, before.cut)]
    line = lesson.place("cuts").line if len(edits) == 1 else lesson.place(*edits[0].location).line
    return Change("cut", held.cut.text, was, line, count, tuple(edits))


_cut_of = lru_cache(maxsize=1024)(cut)


def _named_cuts(tree: Node, wanted: Cut) -> Iterator[Location]:
    def walk(node: Node, at: Location) -> Iterator[Location]:
        if isinstance(node, Keys):
            for key, (_, value) in node.entries.items():
                if key == "cuts":
                    items = list(enumerate(value.items)) if isinstance(value, Items) else [(None, value)]
                    for index, item in items:
                        if isinstance(item, Text) and _cut_of(item.text).same_as(wanted):
                            yield (*at, key) if index is None else (*at, key, index)
                else:
                    yield from walk(value, (*at, key))
        elif isinstance(node, Items):
            for index, item in enumerate(node.items):
                yield from walk(item, (*at, index))

    yield from walk(tree, ())


def _placing_change(
    lesson: Lesson, plan: Plan, clip: PlannedClip, key: str, text: str, was: str, scope: str
) -> Change:
    levels = list(_levels(lesson, clip))
    # the spot that goes with a pocket or a target stands beside it
    alike = ("pocket", "target") if key in ("pocket", "target") or scope == "said" else (key,)
    said = next((at for _, at in levels if any(node_at(lesson.tree, (*at, one)) is not None for one in alike)), ())
    group = next((at for _, at in levels if len(at) == 2), ())
    at = group if scope == "group" and len(said) < 2 else said
    location: Location = (*at, key)
    shots = [other for other in plan.clips if other.brief.subject.shot is not None]
    if at:
        count = sum(other.place == clip.place for other in shots)
    else:
        groups = getattr(node_at(lesson.tree, ("clips",)), "items", ())
        own = {
            lesson.place("clips", k) for k, one in enumerate(groups)
            if any(node_at(one, (key,)) is not None for key in alike)
        }  # fmt: skip
        count = sum(other.place not in own for other in shots)
    line = lesson.place(*location).line if node_at(lesson.tree, location) is not None else 0
    return Change(key, text, was, line, count, (Edit(location, text),), scoped=bool(group) and len(said) < 2)


def _eye_change(lesson: Lesson, plan: Plan, held: Held, name: str) -> Change:
    value, eye = getattr(held, name), lesson.keys.eyes[held.eye_name]
    count = sum(c.eye == held.eye_name for c in plan.clips)
    key = f"{held.eye_name} {name}"
    was = getattr(eye, name)
    line = lesson.place("eyes", held.eye_name, name).line
    if name == "offset" and eye.alignment is not None:
        why_not = f"it stands by its alignment, {eye.alignment}"
        return Change(key, value.text, eye.alignment, line, count, why_not=why_not, field=name)
    if node_at(lesson.tree, ("eyes", held.eye_name)) is None:
        told = {"back": held.back.text, "height": held.height.text}
        if held.offset.number:
            told["offset"] = held.offset.text
        inner = ", ".join(f"{n}: {t}" for n, t in told.items())
        edit = Edit(("eyes",), "{" + f"{held.eye_name}: {{{inner}}}" + "}")
    else:
        edit = Edit(("eyes", held.eye_name, name), value.text)
    return Change(key, value.text, was.text if was is not None else "none", line, count, (edit,))
