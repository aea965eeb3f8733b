"""The options `--size` and `--rate`: one size and rate for all lessons, in place of what each says."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from lessons.lesson import values


class _Read(click.ParamType[tuple[int, int]]):
    """A value written as in a lesson."""

    def __init__(self, name: str, read: Callable[[Any], tuple[int, int]]) -> None:
        self.name, self._read = name, read

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[int, int]:
        try:
            return self._read(value)
        except ValueError as error:
            self.fail(str(error), param, ctx)


SIZE = click.option(
    "--size",
    type=_Read("size", values.size),
    metavar="SIZE",
    help="The frame size, in place of the lesson's: 1080p, square, vertical, or width x height such as 1280x720.",
)
RATE = click.option(
    "--rate",
    type=_Read("rate", values.rate),
    metavar="RATE",
    help="Frames a second, in place of the lesson's, to give a whole course the same: 25, 29.97, 30 and others.",
)
