"""Columns of a batch, and their rows: one plain dict for each request.

A column is one of: a float array (N,) or (N, k), where what is not finite stands for null; a bool array (N,);
`Choice`; `Nullable`; a mapping of columns; a list with one plain value for each row; or one constant.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, TypeVar

import numpy as np

from aimgeo.vectors import BoolArray, IntArray

Column = Any
Columns = Mapping[str, Column]
Record = TypeVar("Record")


@dataclass(frozen=True, slots=True, eq=False)
class Choice:
    """One of a few plain values for each row: `words[codes]`."""

    codes: IntArray
    words: tuple[Any, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Nullable:
    """Columns where `present`, null elsewhere."""

    columns: Columns
    present: BoolArray


def flags(values: BoolArray, known: BoolArray) -> Choice:
    """True or false where known, null elsewhere."""
    return Choice(np.where(known, values, 2).astype(np.intp), (False, True, None))


def taken(value: Record, places: IntArray) -> Record:
    """A frozen dataclass of arrays, at some places of their first axis."""
    arrays = [getattr(value, f.name) for f in fields(value)]  # type: ignore[arg-type]
    if np.array_equal(places, np.arange(len(arrays[0]))):
        return value
    return type(value)(*(array[places] for array in arrays))


def rows(columns: Columns, count: int) -> list[dict[str, Any]]:
    """One dict for each of `count` rows, nested like `columns`.

    >>> rows({"cut_deg": np.array([30.0, np.nan]), "in": {"unit": "deg"}}, 2)
    [{'cut_deg': 30.0, 'in': {'unit': 'deg'}}, {'cut_deg': None, 'in': {'unit': 'deg'}}]
    """
    if not columns:
        return [{} for _ in range(count)]
    keys = tuple(columns)
    values = [plain_values(column, count) for column in columns.values()]
    return [dict(zip(keys, row, strict=True)) for row in zip(*values, strict=True)]


def chosen(columns: Columns, places: IntArray | BoolArray) -> dict[str, Column]:
    """The columns at some rows."""
    return {key: _chosen(column, places) for key, column in columns.items()}


def _chosen(column: Column, places: IntArray | BoolArray) -> Column:
    if isinstance(column, Mapping):
        return chosen(column, places)
    if isinstance(column, np.ndarray):
        return column[places]
    if isinstance(column, Choice):
        return Choice(column.codes[places], column.words)
    if isinstance(column, Nullable):
        return Nullable(chosen(column.columns, places), column.present[places])
    if isinstance(column, list):
        return [column[i] for i in np.arange(len(column))[places].tolist()]
    return column


def plain_values(column: Column, count: int) -> list[Any]:
    """A column's value for each row."""
    if isinstance(column, Mapping):
        return list(rows(column, count))
    if isinstance(column, list):
        return column
    if isinstance(column, Choice):
        return [column.words[code] for code in column.codes.tolist()]
    if isinstance(column, Nullable):
        made = rows(column.columns, count)
        return [one if there else None for one, there in zip(made, column.present.tolist(), strict=True)]
    if not isinstance(column, np.ndarray):
        return [column] * count
    if column.dtype.kind != "f":
        return list(column.tolist())
    values: list[Any] = (column + 0.0).tolist()  # no minus zero
    if not np.isfinite(column).all():
        for i in np.flatnonzero(~is_known(column)).tolist():
            values[i] = None
    return values


def is_known(column: np.ndarray) -> BoolArray:
    """True for the rows of a float column (N,) or (N, k) that are wholly finite, (N,)."""
    finite: BoolArray = np.isfinite(column)
    return finite if finite.ndim == 1 else np.asarray(finite.all(axis=-1))
