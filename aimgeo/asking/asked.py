"""Reading many requests at once: those that differ in numbers alone are read together, as columns.

`aimgeo.asking.fields` says what a request may hold. Requests of the same keys are nearly always asked in
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

from aimgeo.asking.fields import BY_KEY, COLUMNS, FIRST, FREE, INDEX, LARGEST, Free, Number, Place, Refusal
from aimgeo.asking.request import read
from aimgeo.vectors import Array, BoolArray, IntArray

LEAST_ALIKE = 8
"""Fewer requests of the same keys are read one by one."""
SIDES = {"left": 1.0, "right": -1.0}


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """Checked requests: a row of `numbers` for each of COLUMNS, (len(COLUMNS), N), and what has no fixed length.

    `free`: by its name as in FREE, then by the request's place among the N, in rising order.
    """

    numbers: Array
    free: dict[str, dict[int, Any]]

    def __getitem__(self, name: str) -> Array:
        """A column (N,) by its name: mm, degrees or m/s as in the request; as in COLUMNS where not asked."""
        return self.numbers[INDEX[name]]

    def place_mm(self, key: str, count: int = 2) -> Array:
        """The points of a key, (N, count); nan where not asked."""
        first = INDEX[f"{key}.x"]
        return self.numbers[first : first + count].T

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
    numbers = np.empty((len(COLUMNS), len(requests)))
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
        field = BY_KEY[name]
        if isinstance(field, Free):
            free[name] = [_free(field, value) for value in values]
            sound &= [value is not None for value in free[name]]
        elif isinstance(field, Number) and field.is_alone and (name != "cut_deg" or "side" in first):
            # without a side the cut must be 0, so it is not judged by itself
            column = columns[FIRST[name]] = _numbers(values)
            sound &= (field.least <= column) & (column <= field.most)
            if field.is_whole:
                sound &= column == np.rint(column)
        elif isinstance(field, Place) and type(wanted) is list:
            count, at = len(field.least), FIRST[name]
            points = _points(values, count)
            columns |= zip(range(at, at + count), points.T, strict=True)
            sound &= np.all((field.least <= points) & (points <= LARGEST), axis=-1)
        elif name == "side":
            columns[FIRST["side"]] = np.array(
                [SIDES.get(v, math.nan) if type(v) is str else math.nan for v in values]
            )
            sound &= np.isfinite(columns[FIRST["side"]])
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


def _free(field: Free, value: Any) -> Any:
    try:
        return field.check(value)
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
