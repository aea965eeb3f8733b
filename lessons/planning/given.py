"""Shots whose cue ball the author places: cut, side and distance follow from balls and target."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import degrees, dist
from typing import Any

import numpy as np

from aimgeo.construct import Quantity, QuantityKind
from aimgeo.shot import Shot, solve_shot
from aimgeo.side import NAMES
from aimgeo.spots import allowed_target, is_clear, is_frozen
from aimgeo.tables import Pocket, Table
from lessons.lesson.explain import Location
from lessons.lesson.faults import Fault, LessonError
from lessons.lesson.model import AXES, Group, Lesson
from lessons.lesson.values import Cut
from lessons.lesson.wording import Wording, words_of

Place_mm = tuple[float, float]

FOLLOWING = ("cut", "side", "distance")
"""The axes that follow from where the balls lie."""
MOVING: tuple[str, ...] = ("pocket", "spot", "target")
"""What an override may not set where they follow: the shot would be another."""


@dataclass(frozen=True, slots=True, eq=False)
class Given:
    """A group's shot as its balls lie: where the axes that follow from it stand, and the shot itself."""

    shot: Shot
    cut: Cut
    side: str
    distance: str

    def on(self) -> dict[str, tuple[Any, ...]]:
        """What the group covers on these axes: one value each."""
        return {"cut": (self.cut,), "side": (self.side,), "distance": (self.distance,)}


def given_shots(lesson: Lesson) -> Mapping[int, Given]:
    """The shots of the groups that place their cue ball, by the group's index.

    Raises LessonError with what keeps them from being shots: a ball missing or off the bed, balls in each other,
    a cut of 90 degrees or more, or keys that would say the same in another way.
    """
    found: dict[int, Given] = {}
    faults: list[Fault] = []
    for index, group in enumerate(lesson.keys.clips):
        if getattr(group, "cue_ball", None) is not None:
            told_twice = list(_told_twice(lesson, index, group))
            faults += told_twice
            if not told_twice:
                one = _given(lesson, index, group)
                if isinstance(one, Given):
                    found[index] = one
                else:
                    faults.append(one)
    if faults:
        raise LessonError(faults)
    return found


def aimed_at(table: Table, spot_mm: Place_mm, target: Pocket, ball_mm: float) -> Pocket:
    """The target from a spot: along the cushion where the ghost ball would lie in it."""
    return replace(target, centre_mm=allowed_target(table, spot_mm, target.centre_mm, ball_mm))


def place_of_target(target: Any, table: Table, ball_mm: float) -> Place_mm:
    """A target of a lesson in table millimetres; on a cushion where a ball's centre is when it touches."""
    if not hasattr(target, "rail"):
        x, y = (length.mm(ball_mm, table.length_mm) for length in target)
        return (x, y)
    along = target.at.mm(ball_mm, table.length_mm)
    half = ((table.length_mm if target.rail in ("foot", "head") else table.width_mm) - ball_mm) / 2
    across = half if target.rail in ("foot", "left") else -half
    return (across, along) if target.rail in ("foot", "head") else (along, across)


def kept_from(target: Any, spot_mm: Place_mm, table: Table, ball_mm: float, told: Wording) -> str:
    """Why a target that is a place can't be played at from a spot, as a sentence; empty when it can."""
    x, y = at = place_of_target(target, table, ball_mm)
    if hasattr(target, "rail"):
        if not is_clear(table, np.array(at), ball_mm, 0.0):
            kind: QuantityKind = "length_mm" if told.units == "in" else "distance_mm"
            where = told.listed(Quantity(target.at.mm(ball_mm, table.length_mm), kind))
            return f"at {where} along the {target.rail} rail there is no cushion; choose one between two pockets."
    elif abs(x) > table.length_mm / 2 or abs(y) > table.width_mm / 2:
        return "the target lies off the bed; choose a place between the noses."
    if dist(at, spot_mm) < ball_mm:
        return "the target lies less than a ball's width from the object ball; move one."
    return ""


def _told_twice(lesson: Lesson, index: int, group: Group) -> Iterator[Fault]:
    """Keys of the group that would say what follows from the balls, and overrides that would move them."""
    at: Location = ("clips", index)
    holders: list[tuple[Any, Location, tuple[str, ...]]] = [(group, at, ())]
    for key in ("exclude", "overrides"):
        moving = MOVING if key == "overrides" else ()
        holders += [(one, (*at, key, i), moving) for i, one in enumerate(getattr(group, key, ()))]
    for holder, here, moving in holders:
        for key in (*(AXES[axis] for axis in FOLLOWING), *moving):
            if key in holder.model_fields_set:
                does = "would move the shot" if key in moving else "follows from where the balls lie"
                sentence = f"'{key}' {does}; this group has a 'cue_ball': leave one of the two out."
                yield Fault(lesson.place_of_key(*here, key), sentence, "given-twice")


def _given(lesson: Lesson, index: int, group: Any) -> Given | Fault:
    """A group's shot, or why there is none."""
    table, ball_mm = lesson.keys.known_table(), lesson.keys.ball_mm()
    told = Wording(words_of("en"), lesson.keys.units, ball_mm)

    def fault(sentence: str, *at: str | int) -> Fault:
        return Fault(lesson.place(*(at or ("clips", index, "cue_ball"))), sentence, "place")

    levels = (group, lesson.keys)
    spot = next((one.spot for one in levels if one.spot is not None), None)
    if spot is None:
        return fault("a 'cue_ball' at a place of its own needs a 'spot' for the object ball.")
    cue_ball, object_ball = (place_of_target(at, table, ball_mm) for at in (group.cue_ball, spot))
    if not is_clear(table, np.array(cue_ball), ball_mm, 0.0):
        return fault("the cue ball lies in a cushion or a pocket's mouth, or off the bed; move it.")
    if not is_clear(table, np.array(object_ball), ball_mm, 0.0):
        at: Location = ("spot",) if group.spot is None else ("clips", index, "spot")
        return fault("the object ball lies in a cushion or a pocket's mouth, or off the bed; move it.", *at)
    says = next(one for one in levels if one.target is not None or one.pocket is not None)
    if says.target is not None:
        if why := kept_from(says.target, object_ball, table, ball_mm, told):
            return fault(why, *(("target",) if says is lesson.keys else ("clips", index, "target")))
        target, is_mark = table.mark(place_of_target(says.target, table, ball_mm)), True
    else:
        target, is_mark = table.pocket(says.pocket), False
    if is_mark or is_frozen(table, object_ball, ball_mm):
        target = aimed_at(table, object_ball, target, ball_mm)
    shot = solve_shot(cue_ball, object_ball, target.centre_mm, ball_mm)
    between_mm = float(shot.distance_mm)
    if between_mm <= ball_mm:
        between, wide = (told.listed(Quantity(mm, "distance_mm")) for mm in (between_mm, ball_mm))
        return fault(f"the balls touch or overlap: {between} between centres, and they are {wide} wide; move one.")
    cut_deg = degrees(abs(float(shot.cut_rad)))
    if not cut_deg < 90:
        return fault(
            f"from there the cut is {cut_deg:.1f} degrees; a ball can be cut by less than 90: move a ball."
        )
    side = NAMES[int(shot.side)]
    text = f"{0 if side == 'straight' else cut_deg:.2f}".rstrip("0").rstrip(".")
    cut = Cut(text, "placed", Fraction(text), 0.0 if side == "straight" else abs(float(shot.cut_rad)))
    return Given(shot, cut, side, f"{between_mm:.1f}".removesuffix(".0") + "-mm")
