"""Columns of a batch into rows: one plain dict for each request."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

Column = Any
"""An array whose first axis is the batch, a list with one value for each row, or one constant for all rows."""


def rows(columns: Mapping[str, Column], count: int) -> list[dict[str, Any]]:
    """One dict for each of `count` rows, nested like `columns`. A number or vector that is not finite is None.

    >>> rows({"cut_deg": np.array([30.0, np.nan]), "where": {"unit": "deg"}}, 2)
    [{'cut_deg': 30.0, 'where': {'unit': 'deg'}}, {'cut_deg': None, 'where': {'unit': 'deg'}}]
    """
    keys = tuple(columns)
    values = [_values(column, count) for column in columns.values()]
    return [dict(zip(keys, row, strict=True)) for row in zip(*values, strict=True)]


def _values(column: Column, count: int) -> list[Any]:
    if isinstance(column, Mapping):
        return rows(column, count)
    if isinstance(column, list):
        return column
    if not isinstance(column, np.ndarray):
        return [column] * count
    values: list[Any] = column.tolist()
    if column.dtype.kind == "f":
        finite: np.ndarray = np.isfinite(column)
        if finite.ndim > 1:
            finite = np.asarray(finite.all(axis=-1))
        if not finite.all():
            for i in np.flatnonzero(~finite).tolist():
                values[i] = None
    return values
