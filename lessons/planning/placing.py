"""Placing: where on the table the shots of a lesson lie, and why some can't be set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import floor
from typing import Any

from aimgeo.construct import Quantity, QuantityKind
from aimgeo.methods.figure import shot_values
from aimgeo.shot import Shot, place_shot
from aimgeo.side import SIDES
from aimgeo.spots import Setup, Unset, find_given, find_spot, is_frozen
from aimgeo.tables import Table
from aimgeo.units import INCH_MM, TAPE_SIXTEENTHS
from lessons.lesson.explain import Location
from lessons.lesson.faults import Fault
from lessons.lesson.model import Lesson
from lessons.lesson.wording import Wording
from lessons.planning.expand import Request, View, cut_word
from lessons.planning.given import aimed_at, kept_from, place_of_target

Spot = tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class PlacedShot:
    """A shot of the lesson where it lies on the table, the same for everything that tells of it.

    Clips of one shot share one of these: the methods and views of a shot are many, its geometry is one. `identity`
    names it in the manifest, beside the clips and in the accuracy table; `cut_deg` is unsigned, `side` is 'left',
    'right' or 'straight', `distance_mm` lies between the centres; `values` are what its sentences may use.
    """

    identity: str
    pocket: str | None
    cut_text: str
    cut_deg: float
    side: str
    distance_name: str
    distance_mm: float
    shot: Shot
    values: Mapping[str, Quantity]


@dataclass(frozen=True, slots=True)
class Unplaced:
    """A shot that can't be set on the table, and why; the centre distance for which there is room, 0 for none."""

    reason: str
    room_mm: float = 0.0


def place_shots(
    lesson: Lesson,
    table: Table,
    ball_diameter_mm: float,
    distances_mm: Mapping[str, float],
    requests: tuple[Request, ...],
    faults: list[Fault],
    told: Wording,
) -> dict[tuple[str, View], PlacedShot | Unplaced]:
    """The placings by clip name and view: shots into one pocket share one object-ball spot unless it is given.

    Adds a fault where a spot or a target that the lesson gives can't be used at all.
    """
    groups: dict[tuple[str, Spot | None, Spot | None], list[tuple[Request, View]]] = {}
    said_at: dict[tuple[str, Spot | None, Spot | None], Location] = {}
    targets: dict[tuple[str, Spot | None, Spot | None], tuple[Any, Location]] = {}
    for request in requests:
        if request.views:
            pocket, spot, at = _where(lesson, request, ball_diameter_mm, table.length_mm)
            target, target_at = _target(lesson, request)
            mark = None if target is None else place_of_target(target, table, ball_diameter_mm)
            which = (pocket, spot, mark)
            groups.setdefault(which, []).extend((request, view) for view in request.views)
            said_at.setdefault(which, target_at if mark is not None and spot is None else at)
            targets.setdefault(which, (target, target_at))
    placings: dict[tuple[str, View], PlacedShot | Unplaced] = {}
    for (pocket, spot, mark), members in groups.items():
        # where the cue ball is given, it has been judged
        wanted = sorted({_signed(view, distances_mm) for request, view in members if request.given is None})
        place = lesson.place(*said_at[pocket, spot, mark])
        aimed = table.pocket(pocket) if mark is None else table.mark(mark)
        if mark is not None and spot is None:
            faults.append(Fault(place, "a target that is a place needs a 'spot' for the object ball.", "place"))
            continue
        said, where = targets[pocket, spot, mark]
        why = "" if said is None or spot is None else kept_from(said, spot, table, ball_diameter_mm, told)
        if why:
            faults.append(Fault(lesson.place(*where), why, "place"))
            continue
        if spot is not None and (mark is not None or is_frozen(table, spot, ball_diameter_mm)):
            aimed = aimed_at(table, spot, aimed, ball_diameter_mm)
            setup = find_given(table, aimed, wanted, ball_diameter_mm, spot)
        else:
            setup = find_spot(table, pocket, wanted, ball_diameter_mm, spot)
        if setup.object_ball_mm is None:
            faults.append(Fault(place, _no_spot(pocket if mark is None else "", spot, setup, told), "place"))
            continue
        unset = {(u.cut_rad, u.distance_mm): u for u in setup.unset}
        object_ball = setup.object_ball_mm
        if unset and spot is None and len(unset) < len(wanted):
            # without what fits nowhere, the others may lie at a more natural spot
            fitting = [shot for shot in wanted if shot not in unset]
            object_ball = find_spot(table, pocket, fitting, ball_diameter_mm).object_ball_mm or object_ball
        target = aimed.centre_mm
        placed: dict[tuple[float, str], PlacedShot | Unplaced] = {}
        for request, view in members:
            aim = pocket if mark is None else None
            if request.given is not None:
                placings[request.name, view] = _placed(view, aim, request.given.shot)
                continue
            signed = _signed(view, distances_mm)
            key = signed[0], view.distance
            if key not in placed and signed in unset:
                one = unset[signed]
                into = f"into the {pocket} pocket" if mark is None else "to that target"
                placed[key] = Unplaced(_unset(view.side, one, into, spot, setup, told), one.longest_mm or 0.0)
            elif key not in placed:
                placed[key] = _placed(view, aim, place_shot(object_ball, target, *signed, ball_diameter_mm))
            placings[request.name, view] = placed[key]
    return placings


def _placed(view: View, pocket: str | None, shot: Shot) -> PlacedShot:
    x, y = (f"{round(mm, 6) + 0.0:.12g}" for mm in shot.object_ball_mm[:2].tolist())
    to = pocket or "_".join(f"{round(mm, 6) + 0.0:.12g}" for mm in shot.target_mm[:2].tolist())
    identity = f"{cut_word(view.cut)}_{view.side}_{view.distance}_{to}_{x}_{y}"
    return PlacedShot(
        identity,
        pocket,
        view.cut.text,
        view.cut.cut_deg,
        view.side,
        view.distance,
        float(shot.distance_mm),
        shot,
        dict(shot_values(shot)),
    )


def _where(
    lesson: Lesson, request: Request, ball_diameter_mm: float, table_length_mm: float
) -> tuple[str, Spot | None, Location]:
    """Pocket, spot and where the file says so: an override before its group before the lesson."""
    pocket, spot, at = None, None, None
    levels: tuple[tuple[Any, Location], ...] = (*request.changes, (lesson.keys, ()))
    for changes, place in levels:
        if pocket is None and changes.pocket is not None:
            pocket = changes.pocket
            at = at or (*place, "pocket")
        if spot is None and changes.spot is not None:
            x, y = (length.mm(ball_diameter_mm, table_length_mm) for length in changes.spot)
            spot, at = (x, y), (*place, "spot")
    assert pocket is not None
    return pocket, spot, at or ("pocket",)


def _target(lesson: Lesson, request: Request) -> tuple[Any, Location]:
    """The place that is the target, where the file names one nearer to the clip than a pocket, and where."""
    levels: tuple[tuple[Any, Location], ...] = (*request.changes, (lesson.keys, ()))
    for changes, place in levels:
        if changes.target is not None:
            return changes.target, (*place, "target")
        if place and changes.pocket is not None:
            break
    return None, ()


def _signed(view: View, distances_mm: Mapping[str, float]) -> tuple[float, float]:
    return SIDES[view.side] * view.cut.cut_rad, distances_mm[view.distance]


def _no_spot(pocket: str, spot: Spot | None, setup: Setup, told: Wording) -> str:
    if spot is None:
        return f"no spot on this table serves the {pocket} pocket with this ball; choose another pocket or ball."
    if not pocket:
        return f"the spot {_place(spot, told)} lies in a cushion or a pocket's mouth; move it onto the bed."
    sentence = f"the spot {_place(spot, told)} can't serve the {pocket} pocket: the ball must lie clear of "
    sentence += "the cushions, and its way into the pocket clear of both points"
    return sentence + _instead(setup, told)


def _unset(side: str, unset: Unset, into: str, spot: Spot | None, setup: Setup, told: Wording) -> str:
    where = "the given spot" if spot else "a spot that all clips share"
    angle = told.shown(Quantity(abs(unset.cut_rad), "angle_rad"))
    if unset.longest_mm:
        longest, asked = room_told(unset.longest_mm, told), told.listed(Quantity(unset.distance_mm, "distance_mm"))
        what = f"from {where} the cue ball has room for {longest} between centres, not for "
        what += f"{asked}, at a cut of {angle} to the {side} {into}"
    else:
        what = f"from {where} the cue ball would lie in a cushion at a cut of {angle} to the {side}"
    return what + _instead(setup, told)


def room_told(longest_mm: float, told: Wording) -> str:
    """The longest distance that has room: rounded down, so that it fits when it is written into a lesson."""
    step = {"mm": 1.0, "in": INCH_MM / TAPE_SIXTEENTHS, "ball": told.ball_diameter_mm / 10}[told.units]
    return told.listed(Quantity(floor(longest_mm / step) * step, "distance_mm"))


def _place(spot: Spot, told: Wording) -> str:
    kind: QuantityKind = "length_mm" if told.units == "in" else "distance_mm"
    return f"[{', '.join(told.listed(Quantity(mm, kind)) for mm in spot)}]"


def _instead(setup: Setup, told: Wording) -> str:
    """What would make it fit."""
    ways = []
    if setup.other_spot_mm:
        ways.append(f"the spot {_place(setup.other_spot_mm, told)}")
    if setup.pockets:
        ways.append(f"the {' or '.join(setup.pockets)} pocket")
    if setup.tables:
        ways.append(f"the {' or '.join(setup.tables)} table")
    return f"; everything fits with {', or '.join(ways)}." if ways else "; shorten the distance or leave it out."
