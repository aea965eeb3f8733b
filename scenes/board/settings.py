"""Settings: the values that only one kind of clip knows, each with its default, its bounds and a line of help.

A kind writes them as a frozen dataclass whose fields come from `setting`. The keys of lesson files, their faults,
the JSON Schema and the table in the docs are made from these fields.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields, replace
from typing import Protocol, Self, TypeVar

Value = float | int | bool | str
T = TypeVar("T", bound=Value)
UNITS = {"mm": " mm", "rad": "°", "s": " s"}
"""What the ending of a setting's name says of its value, and how it is written."""


@dataclass(frozen=True, slots=True)
class Setting:
    """One value of a kind: a number between two bounds, one of some choices, or yes and no.

    A name that ends in `_mm`, `_rad` or `_s` is a length, an angle or a time. `only` names another setting and the
    choice of it with which this one has a meaning. One that `takes_methods` may be the name of a lesson's own
    method as well, which the lesson knows.
    """

    name: str
    default: Value
    says: str
    least: float | None = None
    greatest: float | None = None
    choices: tuple[str, ...] = ()
    only: tuple[str, str] | None = None
    takes_methods: bool = False

    @property
    def unit(self) -> str:
        """'mm', 'rad', 's', or nothing."""
        stem, _, unit = self.name.rpartition("_")
        return unit if stem and unit in UNITS else ""

    @property
    def key(self) -> str:
        """Its key in a lesson file: the name without the unit, since the value is written with one."""
        return self.name.removesuffix(f"_{self.unit}") if self.unit else self.name

    def written(self, value: Value) -> str:
        """A value as a person writes it: '6 mm', '0.2°', '3', 'yes'."""
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, str):
            return value
        return f"{math.degrees(value) if self.unit == 'rad' else value:.10g}{UNITS.get(self.unit, '')}"

    @property
    def range(self) -> str:
        """'from 0 to 1'; empty for choices."""
        if self.least is None or self.greatest is None:
            return ""
        return f"from {self.written(self.least)} to {self.written(self.greatest)}"

    def is_allowed(self, value: Value) -> bool:
        """True for a choice that there is, or a number within the bounds; nan is in none."""
        if self.choices:
            return value in self.choices or (self.takes_methods and isinstance(value, str))
        if self.least is None or self.greatest is None:
            return isinstance(value, bool)
        slack = 1e-9 * self.greatest  # a bound in degrees is a bound after its way through radians too
        return not isinstance(value, str) and self.least - slack <= value <= self.greatest + slack

    def corners(self) -> tuple[Value, ...]:
        """The values that a test should try: every choice, or the least, the usual and the greatest."""
        if self.least is None or self.greatest is None:
            return self.choices or (True, False)
        kind = type(self.default)
        return (kind(self.least), self.default, kind(self.greatest))


def setting(
    default: T,
    says: str,
    *,
    least: float | None = None,
    greatest: float | None = None,
    choices: tuple[str, ...] = (),
    only: tuple[str, str] | None = None,
    takes_methods: bool = False,
) -> T:
    """A field of a kind's settings."""
    told = Setting("", default, says, least, greatest, choices, only, takes_methods)
    made: T = field(default=default, metadata={"setting": told})
    return made


class Subject(Protocol):
    """What brings settings: a clip's subject."""

    @property
    def kind(self) -> str:
        """The kind's name."""

    @property
    def settings(self) -> Settings:
        """Its kind's settings."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What only one kind of clip knows; a kind that knows nothing has this one. ValueError out of bounds."""

    def __post_init__(self) -> None:
        for one in settings_of(type(self)):
            if not one.is_allowed(value := getattr(self, one.name)):
                allowed = one.range or f"one of {', '.join(map(one.written, one.corners()))}"
                raise ValueError(f"{one.key} is {one.written(value)}; it is {allowed}")

    @classmethod
    def of(cls, subject: Subject) -> Self:
        """The settings of a clip's subject; the defaults where it brings none. TypeError for another kind's."""
        if type(subject.settings) is Settings:
            return cls()
        if not isinstance(subject.settings, cls):
            raise TypeError(f"a {subject.kind} clip is given {type(subject.settings).__name__}")
        return subject.settings


def settings_of(cls: type[Settings]) -> tuple[Setting, ...]:
    """The settings of a kind, in order."""
    return tuple(replace(one.metadata["setting"], name=one.name) for one in fields(cls))
