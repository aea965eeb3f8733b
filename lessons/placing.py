"""Placing: where on the table the shots of a lesson lie, and why some can't be set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import degrees
from typing import Any

from aimgeo.setup import Setup, Unset, find_spot
from aimgeo.shot import Shot, place_shot
from aimgeo.table import Table
from lessons.expand import Request
from lessons.faults import Fault
from lessons.model import Lesson

SIDE_SIGN = {"left": 1, "right": -1, "straight": 1}


@dataclass(frozen=True, slots=True)
class Placing:
    """A clip's shot on the table, or the reason why it can't be set there."""

    pocket: str
    shot: Shot | None
    reason: str = ""


def place_shots(
    lesson: Lesson,
    table: Table,
    ball_diameter_mm: float,
    distances_mm: Mapping[str, float],
    requests: tuple[Request, ...],
    faults: list[Fault],
) -> dict[str, Placing]:
    """The placings by clip name: all shots into one pocket share one object-ball spot, unless the lesson gives it.

    Adds a fault where a spot that the lesson gives can't be used at all.
    """
    groups: dict[tuple[str, tuple[float, float] | None], list[Request]] = {}
    spot_keys: dict[tuple[str, tuple[float, float] | None], tuple[str | int, ...]] = {}
    for request in requests:
        if request.cut is None or request.side is None or request.distance is None:
            continue
        pocket, spot, at = _where(lesson, request, ball_diameter_mm, table.length_mm)
        groups.setdefault((pocket, spot), []).append(request)
        spot_keys.setdefault((pocket, spot), at)
    placings: dict[str, Placing] = {}
    for (pocket, spot), members in groups.items():
        wanted = {r.name: _signed(r, distances_mm) for r in members}
        setup = find_spot(table, pocket, sorted(set(wanted.values())), ball_diameter_mm, spot)
        if setup.object_ball_mm is None:
            faults.append(Fault(lesson.place(*spot_keys[pocket, spot]), _no_spot(pocket, spot, setup)))
            continue
        unset = {(u.cut_rad, u.distance_mm): u for u in setup.unset}
        target = table.pocket(pocket).centre_mm
        for request in members:
            key = wanted[request.name]
            if key in unset:
                placings[request.name] = Placing(pocket, None, _unset(request, unset[key], pocket, spot, setup))
            else:
                shot = place_shot(setup.object_ball_mm, target, *key, ball_diameter_mm)
                placings[request.name] = Placing(pocket, shot)
    return placings


def _where(
    lesson: Lesson, request: Request, ball_diameter_mm: float, table_length_mm: float
) -> tuple[str, tuple[float, float] | None, tuple[str | int, ...]]:
    """Pocket, spot and where the file says so: an override before its group before the lesson."""
    pocket, spot, at = None, None, None
    levels: tuple[tuple[Any, tuple[str | int, ...]], ...] = (*request.changes, (lesson.keys, ()))
    for changes, place in levels:
        if pocket is None and changes.pocket is not None:
            pocket = changes.pocket
            at = at or (*place, "pocket")
        if spot is None and changes.spot is not None:
            x, y = (length.mm(ball_diameter_mm, table_length_mm) for length in changes.spot)
            spot, at = (x, y), (*place, "spot")
    assert pocket is not None
    return pocket, spot, at or ("pocket",)


def _signed(request: Request, distances_mm: Mapping[str, float]) -> tuple[float, float]:
    assert request.cut is not None
    assert request.side is not None
    assert request.distance is not None
    return SIDE_SIGN[request.side] * request.cut.cut_rad, distances_mm[request.distance]


def _no_spot(pocket: str, spot: tuple[float, float] | None, setup: Setup) -> str:
    if spot is None:
        return f"no spot on this table serves the {pocket} pocket with this ball; choose another pocket or ball."
    sentence = (
        f"the spot [{spot[0]:g} mm, {spot[1]:g} mm] can't serve the {pocket} pocket: the ball must lie clear of "
    )
    sentence += "the cushions, and its way into the pocket clear of both points"
    return sentence + _instead(setup)


def _unset(request: Request, unset: Unset, pocket: str, spot: tuple[float, float] | None, setup: Setup) -> str:
    x, y = setup.object_ball_mm or (0.0, 0.0)
    where = "the given spot" if spot else f"the best spot for all of them, [{x:g} mm, {y:g} mm],"
    angle = f"{degrees(abs(unset.cut_rad)):.1f}°"
    if unset.longest_mm:
        what = f"from {where} the cue ball has room for {unset.longest_mm:.0f} mm between centres, not for "
        what += f"{unset.distance_mm:.0f} mm, at a cut of {angle} to the {request.side} into the {pocket} pocket"
    else:
        what = f"from {where} the cue ball would lie in a cushion at a cut of {angle} to the {request.side}"
    return what + _instead(setup)


def _instead(setup: Setup) -> str:
    """What would make it fit."""
    ways = []
    if setup.other_spot_mm:
        ways.append(f"the spot [{setup.other_spot_mm[0]:g} mm, {setup.other_spot_mm[1]:g} mm]")
    if setup.pockets:
        ways.append(f"the {' or '.join(setup.pockets)} pocket")
    if setup.tables:
        ways.append(f"the {' or '.join(setup.tables)} table")
    return f"; everything fits with {', or '.join(ways)}." if ways else "; shorten the distance or leave it out."
