"""Wording: sentence keys and quantities become the words and numbers of a lesson's language and units.

Numbers are set as a handbook sets them: 22.0°, 10.7 mm, whole millimetres for distances, overlaps as fractions.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import cache, lru_cache
from math import degrees
from pathlib import Path
from string import Formatter
from typing import Any

from aimgeo.construct import Limit, Quantity
from aimgeo.cuts import cut_from_overlap, overlap_name
from aimgeo.units import INCH_MM
from lessons.lesson.read import plain, read
from scenes.board.brief import MeasureText

WORDS = Path(__file__).parents[1] / "words"
LANGUAGES = {"en": "English", "de": "German"}
RIGHT_TO_LEFT = ("ar", "fa", "he", "ur", "yi")
"""Languages whose words neither pictures nor captions can set yet, by their ISO 639-1 codes."""
THIN = "\u202f"
"""The narrow no-break space between a number and its unit in pictures; spoken text has a plain space."""

FRACTION_TOLERANCE = 0.001
"""A part of a ball or radius this near to a fraction is written as one: 0.06 mm of a ball."""

Values = Mapping[str, Quantity | str]


class UnknownField(ValueError):  # noqa: N818 - named for what it says
    """A text names a field that it cannot use. `field` is the name, `known` what it may be."""

    def __init__(self, field: str, known: Iterable[str]) -> None:
        self.field, self.known = field, tuple(known)
        super().__init__(f"unknown field '{field}'")


@dataclass(frozen=True, slots=True)
class Wording:
    """The words of a language, with lengths in a lesson's units ('mm', 'in' or 'ball')."""

    words: Mapping[str, Any]
    units: str
    ball_diameter_mm: float

    # -------------------------------------------------------------- numbers

    def number(self, quantity: Quantity) -> tuple[str, str]:
        """A quantity's number and unit for a picture; a name has no unit, the degree sign closes up."""
        value = quantity.value
        if isinstance(value, str):
            return self.words["names"].get(value, value), ""
        match quantity.kind:
            case "angle_rad":
                return self._decimal(degrees(value), 1) + "°", ""
            case "length_mm":
                return self._length(value, {"mm": 1, "in": 2}, "ball")
            case "distance_mm":
                return self._length(value, {"mm": 0, "in": 1}, "balls")
            case "overlap":
                named = overlap_name(cut_from_overlap(value))
                return str(named) if named is not None else self._decimal(value, 2), ""
            case "ratio":
                return self._fraction(value), ""
            case "part":
                return self._decimal(value, 2), ""
            case "diamonds":
                return self._decimal(value, 2), self.words["units"]["diamonds"]
            case "speed_mps":
                return self._decimal(value, 1), self.words["units"]["mps"]
            case _:
                return str(round(value)), ""

    def shown(self, quantity: Quantity) -> str:
        """A quantity as it stands in a picture: '22.0°', '10.7 mm' with a narrow space."""
        number, unit = self.number(quantity)
        return f"{number}{THIN}{unit}" if unit else number

    def spoken(self, quantity: Quantity) -> str:
        """A quantity as it is read aloud: '22 degrees', '10.7 millimetres'."""
        number, unit = self.number(quantity)
        decimal = self.words["decimal"]
        if quantity.kind == "angle_rad":
            number, unit = number.removesuffix("°"), "degrees"
        if decimal in number:
            number = number.rstrip("0").removesuffix(decimal)
        if not unit:
            return number
        one, many = self.words["spoken_units"][unit]
        return f"{number} {one if number == '1' else many}"

    def _length(self, mm: float, digits: Mapping[str, int], ball_unit: str) -> tuple[str, str]:
        if self.units == "ball":
            balls = mm / self.ball_diameter_mm
            number = self._fraction(balls) if ball_unit == "ball" else self._decimal(balls, 1)
            return number, self.words["units"][ball_unit]
        value = mm / INCH_MM if self.units == "in" else mm
        return self._decimal(value, digits[self.units]), self.words["units"][self.units]

    def _fraction(self, value: float) -> str:
        for below in (1, 2, 4, 8, 16):
            above = round(value * below)
            if abs(value - above / below) <= FRACTION_TOLERANCE:
                return str(above) if below == 1 else f"{above}/{below}"
        return self._decimal(value, 2)

    def _decimal(self, value: float, digits: int) -> str:
        # halves go up, as a reader with a pencil rounds: 57.15 mm is 57.2 mm, which binary floats would make 57.1
        rounded = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP)
        return f"{rounded if rounded else abs(rounded)}".replace(".", self.words["decimal"])

    # -------------------------------------------------------------- sentences

    def title(self, key: str, values: Values) -> str:
        """The words on screen for a sentence key; lines are broken by hand."""
        return self.filled(self._sentence(key, values)["title"], values, spoken=False)

    def narration(self, key: str, values: Values) -> str:
        """The words spoken for a sentence key."""
        return self.filled(self._sentence(key, values)["narration"], values, spoken=True)

    def limit(self, limit: Limit) -> str:
        """Why a method cannot be used."""
        return self.filled(self.words["limits"][limit.sentence], dict(limit.values), spoken=False)

    def measure(self, key: str, quantity: Quantity) -> MeasureText:
        """A measure with its name, number and unit."""
        number, unit = self.number(quantity)
        return MeasureText(key, self.words["measures"][key], number, unit)

    def phrase(self, key: str, values: Values) -> str:
        """A finished phrase of the picture."""
        return self.filled(self.words["phrases"][key], values, spoken=False)

    def filled(self, text: str, values: Values, *, spoken: bool) -> str:
        """A text with its {fields} filled in; UnknownField, or ValueError for a lone brace."""
        done = []
        for literal, field, spec, conversion in _parsed(text):
            done.append(literal)
            if field is None:
                continue
            if field not in values or spec or conversion:
                raise UnknownField(field, values)
            value = values[field]
            done.append(value if isinstance(value, str) else self.spoken(value) if spoken else self.shown(value))
        text = "".join(done)
        # what is spoken has no lines, and a title that asks needs no full stop after it
        return re.sub(r"([.!?…])\.$", r"\1", " ".join(text.split())) if spoken else text

    def _sentence(self, key: str, values: Values) -> Mapping[str, Any]:
        sentence: Mapping[str, Any] = self.words["sentences"][key]
        side = values.get("side")
        is_straight = isinstance(side, Quantity) and side.value == "straight"
        return sentence["straight"] if is_straight and "straight" in sentence else sentence


@lru_cache(4096)
def _parsed(text: str) -> tuple[tuple[str, str | None, str | None, str | None], ...]:
    return tuple(Formatter().parse(text))


@cache
def words_of(language: str) -> Mapping[str, Any]:
    """The words of a language, as its file lays them out."""
    words: Mapping[str, Any] = plain(read(WORDS / f"{language}.yaml", f"words/{language}.yaml"))
    return words
