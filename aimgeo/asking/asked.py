"""Reading many requests at once: those that differ in numbers alone are read together, as columns.

`aimgeo.asking.request.read` says what a request may hold. Requests of the same keys are nearly always asked in
long runs, so one of them is read in full and stands for all: where another has the same keys and words, and
plain numbers in the ranges of their own that `read` allows them, its row is the first one's with these numbers.
Whatever leaves a doubt is read in full as well, so this module accepts and refuses nothing by itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Any

import numpy as np

from aimgeo.asking.request import (
    AIM_DEG,
    APPROACH_DEG,
    CUE_OFFSET,
    CUE_X,
    CUT_DEG,
    DISTANCE,
    ERROR,
    EYE_BACK,
    EYE_HEIGHT,
    EYE_OFFSET,
    EYE_X,
    FIELDS,
    FOV_DEG,
    FREE,
    LARGEST,
    LOOK_X,
    MARK_DEG,
    OBJECT_OFFSET,
    OBJECT_X,
    ROLL,
    SIDE,
    SPEED,
    TARGET_X,
    Refusal,
    read,
)
from aimgeo.vectors import Array, BoolArray, IntArray

LEAST_ALIKE = 8
"""Fewer requests of the same keys are read one by one."""

_ANY = (-LARGEST, LARGEST)
_CUT = (0.0, math.nextafter(90.0, 0.0))
_POSITIVE = (math.nextafter(0.0, 1.0), LARGEST)
NUMBERS: dict[str, tuple[int, float, float]] = {
    "cut_deg": (CUT_DEG, *_CUT),
    "distance_mm": (DISTANCE, *_ANY),
    "aim_deg": (AIM_DEG, *_ANY),
    "eye.back_mm": (EYE_BACK, 0.0, LARGEST),
    "eye.offset_mm": (EYE_OFFSET, *_ANY),
    "eye.height_mm": (EYE_HEIGHT, *_POSITIVE),
    "camera.vertical_fov_deg": (FOV_DEG, math.nextafter(0.0, 1.0), math.nextafter(180.0, 0.0)),
    "aim_error.rotate_deg": (ERROR, *_ANY),
    "aim_error.at_ghost_mm": (ERROR, *_ANY),
    "aim_error.parallel_mm": (ERROR, *_ANY),
    "fraction.object_offset_mm": (OBJECT_OFFSET, *_ANY),
    "fraction.cue_offset_mm": (CUE_OFFSET, *_ANY),
    "pocket.approach_deg": (APPROACH_DEG, -90.0, 90.0),
    "fixed_marks.for_cut_deg": (MARK_DEG, *_CUT),
    "speed_mps": (SPEED, *_POSITIVE),
    "cue_ball_roll": (ROLL, 0.0, 1.0),
}
"""The numbers that are judged by themselves alone: their column, the least and the most allowed.

The others (a ball's diameter, a mouth, the size of a picture) must be the same as in the request read in full.
"""
POINTS = {
    "object_ball_mm": (OBJECT_X, (-LARGEST, -LARGEST)),
    "target_mm": (TARGET_X, (-LARGEST, -LARGEST)),
    "cue_ball_mm": (CUE_X, (-LARGEST, -LARGEST)),
    "camera.look_at": (LOOK_X, (-LARGEST, -LARGEST, -LARGEST)),
    "camera.eye_mm": (EYE_X, (-LARGEST, -LARGEST, _POSITIVE[0])),
}
"""The points that are given as lists: the first column, and the least allowed of each coordinate."""
SIDES = {"left": 1.0, "right": -1.0}


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """Checked requests: a row of `numbers` for each of FIELDS, (len(FIELDS), N), and what has no fixed length.

    `free`: by its name as in FREE, then by the request's place among the N, in rising order.
    """

    numbers: Array
    free: dict[str, dict[int, Any]]

    @property
    def count(self) -> int:
        """How many requests there are."""
        return int(self.numbers.shape[1])

    def at(self, places: IntArray) -> Asked:
        """Those at some places, in rising order."""
        if places.size == self.count:
            return self
        return Asked(self.numbers[:, places], {name: _at(values, places) for name, values in self.free.items()})


def _at(values: dict[int, Any], places: IntArray) -> dict[int, Any]:
    if not values:
        return values
    return {new: values[old] for new, old in enumerate(places.tolist()) if old in values}


def ask(requests: Sequence[Any]) -> tuple[Asked, IntArray, dict[int, Refusal]]:
    """The sound requests, the place of each, and by their places the refusals of the others."""
    numbers = np.empty((len(FIELDS), len(requests)))
    free: dict[str, dict[int, Any]] = {name: {} for name in FREE}
    refused: dict[int, Refusal] = {}
    rows: dict[int, list[float]] = {}

    def read_in_full(place: int) -> bool:
        try:
            row = read(requests[place])
        except Refusal as refusal:
            # without its traceback, which would tie it to this frame in a cycle and keep whole batches alive
            refused[place] = refusal.with_traceback(None)
            return False
        rows[place] = row.numbers
        for name, value in row.free.items():
            free[name][place] = value
        return True

    for places in _of_same_keys(requests):
        left = iter(places)
        first = next((place for place in left if read_in_full(place)), None)
        rest = list(left)
        if first is not None and len(rest) >= LEAST_ALIKE:
            columns, values, alike = _compared(requests[first], [requests[place] for place in rest])
            at = np.array(rest)
            numbers[:, at] = np.array(rows[first])[:, None]
            for field, column in columns.items():
                numbers[field, at] = column
            for name, given in values.items():
                free[name] |= {
                    place: value for place, value, is_alike in zip(rest, given, alike, strict=True) if is_alike
                }
            rest = at[~alike].tolist()
        for place in rest:
            read_in_full(place)
    if rows:
        numbers[:, list(rows)] = np.transpose(list(rows.values()))
    sound = np.array([place for place in range(len(requests)) if place not in refused], int)
    asked = Asked(numbers, {name: dict(sorted(values.items())) for name, values in free.items()})
    return asked.at(sound), sound, refused


def _of_same_keys(requests: Sequence[Any]) -> Iterable[list[int]]:
    """The places of requests with the same keys and the same named pocket."""
    found: dict[Any, list[int]] = {}
    for place, request in enumerate(requests):
        kind = None
        if type(request) is dict:
            target = request.get("target_mm")
            kind = (target if type(target) is str else None, *request)
        if kind in found:
            found[kind].append(place)
        else:
            found[kind] = [place]
    return found.values()


def _compared(
    first: Mapping[str, Any], others: Sequence[Mapping[str, Any]], path: str = ""
) -> tuple[dict[int, Array], dict[str, list[Any]], BoolArray]:
    """The columns and the free values in which requests of the same keys differ from a sound one; and which of
    them can be taken for sound as well, (N,).
    """
    columns: dict[int, Array] = {}
    free: dict[str, list[Any]] = {}
    sound = np.ones(len(others), bool)
    for (key, wanted), values in zip(
        first.items(), zip(*[one.values() for one in others], strict=True), strict=True
    ):
        name = path + key
        if name in FREE:
            free[name] = [_free(name, value) for value in values]
            sound &= [value is not None for value in free[name]]
        elif name in NUMBERS and (name != "cut_deg" or "side" in first):  # without a side, the cut must be 0
            field, least, most = NUMBERS[name]
            columns[field] = _numbers(values)
            sound &= (least <= columns[field]) & (columns[field] <= most)
        elif name in POINTS and type(wanted) is list:
            field, low = POINTS[name]
            points = _points(values, len(low))
            columns |= zip(range(field, field + len(low)), points.T, strict=True)
            sound &= np.all((low <= points) & (points <= LARGEST), axis=-1)
        elif name == "side":
            columns[SIDE] = np.array([SIDES.get(v, math.nan) if type(v) is str else math.nan for v in values])
            sound &= np.isfinite(columns[SIDE])
        elif type(wanted) is dict:
            keys = tuple(wanted)
            has_keys = [type(value) is dict and tuple(value) == keys for value in values]
            parts = [value if has else wanted for value, has in zip(values, has_keys, strict=True)]
            inner_columns, inner_free, inner_sound = _compared(wanted, parts, f"{name}.")
            columns |= inner_columns
            free |= inner_free
            sound &= inner_sound & has_keys
        else:  # a word, null or a number: 1, 1.0 and true are equal but not all allowed
            kind = type(wanted)
            sound &= [type(value) is kind and value == wanted for value in values]
    return columns, free, sound


def _free(name: str, value: Any) -> Any:
    try:
        return FREE[name](value)
    except Refusal:
        return None


def _numbers(values: Sequence[Any]) -> Array:
    """Plain numbers as they are, (N,), nan for anything else."""
    if set(map(type, values)) != {float}:
        values = [
            v if type(v) is float or (type(v) is int and -LARGEST <= v <= LARGEST) else math.nan for v in values
        ]
    return np.array(values, float)


def _points(values: Sequence[Any], count: int) -> Array:
    """Lists of plain numbers, (N, count), nan where there is anything else."""
    if set(map(type, values)) != {list} or set(map(len, values)) != {count}:
        values = [v if type(v) is list and len(v) == count else [math.nan] * count for v in values]
    return _numbers(list(chain.from_iterable(values))).reshape(-1, count)
