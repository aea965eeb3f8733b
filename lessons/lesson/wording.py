"""Wording: sentence keys and quantities become the words and numbers of a lesson's language and units.

Numbers are set as a handbook sets them: 22.0°, 10.7 mm, overlaps as fractions. Here and in `aimgeo.units` every
number is written that a person reads in a picture, a caption, a list, a sheet or a page.
"""

from __future__ import annotations

import gettext
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from math import degrees, isfinite
from pathlib import Path
from string import Formatter
from typing import Any

from aimgeo.construct import Limit, Quantity
from aimgeo.cuts import cut_from_overlap, overlap_name
from aimgeo.units import (
    INCH_MM,
    TAPE_SIXTEENTHS,
    fine,
    is_small,
    on_a_mark,
    on_a_tape,
    rounded,
    trimmed,
    written,
)
from lessons.lesson.read import plain, read
from lessons.lesson.timing import clauses
from scenes.board.brief import NEXT, MeasureText

WORDS = Path(__file__).parents[1] / "words"
LANGUAGES = {"en": "English", "de": "German", "es": "Spanish"}
"""The languages, by their ISO 639-1 codes; all that one needs stands in its file in `words`."""
RIGHT_TO_LEFT = ("ar", "fa", "he", "ur", "yi")
"""Languages whose words neither pictures nor captions can set yet, by their ISO 639-1 codes."""
THIN = "\u202f"
"""The narrow no-break space between a number and its unit in pictures; spoken text has a plain space."""

FRACTION_TOLERANCE = 0.001
"""A part of a ball or radius this near to a fraction is written as one: 0.06 mm of a ball."""
NOTHING_MM = 1e-6
"""What is left of nothing by calculation: a straight shot's offsets, of which no digit counts."""

DIGITS = {
    "mm": {"length_mm": 1, "half_mm": 2, "distance_mm": 1},
    "in": {"length_mm": 2, "half_mm": 3, "distance_mm": 1},
}
"""Decimals of lengths, one more for small ones. Distances leave out zeros at the end. Halves have one more than
the wholes beside them: what is read of a half, doubled and rounded, is what is read of the whole, so that sums in
a picture come out. What lies on a mark of a tape of inches is told as the tape has it."""

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
        if not isfinite(value):  # where there is nothing to measure, such as the turn of a ball that is not hit
            return "–", ""
        match quantity.kind:
            case "angle_rad":
                return fine(degrees(value), 1, self.words["decimal"]) + "°", ""
            case "length_mm" | "half_mm" | "distance_mm":
                return self._length(value, quantity.kind)
            case "ball_mm" if self.units == "mm":  # as every player knows it: 57, not 57.2
                return self.decimal(value, 0), self.words["units"]["mm"]
            case "ball_mm" if self.units == "in":
                return on_a_tape(value), self.words["units"]["in"]
            case "ball_mm":
                return self._length(value, "length_mm")
            case "limit_rad":  # what is allowed is never rounded up
                return fine(degrees(value), 2, self.words["decimal"], down=True) + "°", ""
            case "limit_mm":
                unit, digits = ("in", 2) if self.units == "in" else ("mm", 1)
                value = value / INCH_MM if unit == "in" else value
                return fine(value, digits, self.words["decimal"], down=True), self.words["units"][unit]
            case "times":
                return trimmed(value, 1, self.words["decimal"]), ""
            case "seconds":
                return trimmed(value, 1, self.words["decimal"]), self.words["units"]["s"]
            case "overlap":
                named = overlap_name(cut_from_overlap(value))
                return str(named) if named is not None else self.decimal(value, 2), ""
            case "overlap_words":
                named = overlap_name(cut_from_overlap(value))
                if named is None:
                    return self.decimal(100 * value, 0), self.words["units"]["percent"]
                return self.words["names"].get(f"overlap.{named}", str(named)), ""
            case "ratio":
                return self._fraction(value), ""
            case "part":
                return self.decimal(100 * value, 0), "%"
            case "quarters":
                return quarters(value), ""
            case "diamond_quarters":
                forms, whole = self.words["spoken_units"][self.words["units"]["diamonds"]], round(4 * value) // 4
                number = quarters(value)
                return number, self.form(forms, number) if whole else forms[0]
            case "set_mm":  # what a person sets with a rule
                if self.units == "in":
                    return on_a_tape(value), self.words["units"]["in"]
                return self.decimal(value, 0), self.words["units"]["mm"]
            case "diamonds":
                return self.decimal(value, 3), self.words["units"]["diamonds"]
            case "speed_mps":
                return self.decimal(value, 1), self.words["units"]["mps"]
            case _:
                return self.decimal(value, 0), ""

    def table(self, rows: Sequence[Sequence[Quantity]]) -> list[list[tuple[str, str]]]:
        """Numbers and units of a table's cells: fractions of an inch where all lengths are some, else decimals."""
        found = [[self.number(quantity) for quantity in row] for row in rows]
        lengths = [
            number
            for row, told in zip(rows, found, strict=True)
            for quantity, (number, _) in zip(row, told, strict=True)
            if quantity.kind in DIGITS["in"]
        ]
        if self.units != "in" or not any(self.words["decimal"] in number for number in lengths):
            return found
        return [
            [
                (self.decimal(float(q.value) / INCH_MM, DIGITS["in"][q.kind]), unit)
                if q.kind in DIGITS["in"]
                else one
                for q, one in zip(row, told, strict=True)
                for unit in one[1:]
            ]
            for row, told in zip(rows, found, strict=True)
        ]

    def shown(self, quantity: Quantity) -> str:
        """A quantity as it stands in a picture: '22.0°', '10.7 mm' with a narrow space."""
        if quantity.beside is not None:
            return self._of_two(quantity, self.shown, THIN)
        number, unit = self.number(quantity)
        return f"{number}{THIN}{unit}" if unit else number

    def listed(self, quantity: Quantity) -> str:
        """A quantity as it stands in a line of text, with a plain space: '10.7 mm'."""
        return self.shown(quantity).replace(THIN, " ")

    def spoken(self, quantity: Quantity) -> str:
        """A quantity as it is read aloud: '22 degrees', '10.7 millimetres', '2 and a half diamonds'."""
        if quantity.beside is not None:
            return self._of_two(quantity, self.spoken, " ")
        if quantity.kind == "quarters" and not isinstance(quantity.value, str):
            return self._quarters_spoken(quantity.value)
        number, unit = self.number(quantity)
        decimal = self.words["decimal"]
        if unit and re.fullmatch(r"\d+/\d+", number):  # 9/16 inch, but 1 1/8 inches
            return f"{number} {self.words['spoken_units'][unit][0]}"
        if quantity.kind in ("angle_rad", "limit_rad"):
            number, unit = number.removesuffix("°"), "degrees"
        if decimal in number:
            number = number.rstrip("0").removesuffix(decimal)
        if not unit:
            return number
        return f"{number} {self.form(self.words['spoken_units'][unit], number)}"

    def _of_two(self, quantity: Quantity, told: Callable[[Quantity], str], space: str) -> str:
        """Both values, a unit that they share once: '5 and 14.3 millimetres'; one where they read alike."""
        assert quantity.beside is not None
        first, second = (told(Quantity(value, quantity.kind)) for value in (quantity.value, quantity.beside))
        if first == second:
            return first
        number, _, unit = first.partition(space)
        if unit and second.endswith(f"{space}{unit}"):
            first = number
        return f"{first} {self.words['names']['and']} {second}"

    def _quarters_spoken(self, diamonds: float) -> str:
        whole, part = divmod(round(4 * diamonds), 4)
        spoken = self.words["spoken_units"][self.words["units"]["diamonds"]]
        counted = f"{whole} {self.form(spoken, str(whole))}"
        if not part:
            return counted
        words: str = self.words["names"][f"quarters.and.{part}" if whole else f"quarters.{part}"]
        return words.format(whole=whole, diamonds=counted)

    def form(self, forms: Sequence[str], number: str) -> str:
        """The plural form for a number as written: by the language's rule for whole ones, else the last form."""
        return forms[plural_rule(self.words["language"]["plural"])(int(number)) if number.isdigit() else -1]

    def decimal(self, value: float, digits: int, *, signed: bool = False, down: bool = False) -> str:
        """A bare number with this language's decimal mark."""
        return written(value, digits, self.words["decimal"], signed=signed, down=down)

    def on_a_tape(self, mm: float) -> str:
        """A length as a tape of inches shows it: '11 13/16 in'."""
        return f"{on_a_tape(mm)}{THIN}{self.words['units']['in']}"

    def called(self, part: str, name: str) -> str:
        """What people read for the plain name of an 'eye' or a 'distance'."""
        called: str = self.words["names"].get(f"{part}.{name}", name)
        return called

    def signed(self, mm: float) -> str:
        """A length with its sign and without its unit: '+12.3', '0'; lessons in balls have millimetres here."""
        value, digits = (mm / INCH_MM, 2) if self.units == "in" else (mm, 1)
        return self.decimal(value, digits, signed=True) if rounded(value, digits) else "0"

    def in_units(self, units: str) -> Wording:
        """The same words with lengths in other units."""
        return replace(self, units=units)

    def _length(self, mm: float, kind: str) -> tuple[str, str]:
        is_distance = kind == "distance_mm"
        if self.units == "ball":
            balls = mm / self.ball_diameter_mm
            number = trimmed(balls, 1, self.words["decimal"]) if is_distance else self._fraction(balls)
            return number, self.words["units"]["balls" if is_distance else "ball"]
        value, digits, mark = mm, DIGITS[self.units][kind], self.words["decimal"]
        if self.units == "in":
            value = mm / INCH_MM
            parts = 2 * TAPE_SIXTEENTHS if kind == "half_mm" else TAPE_SIXTEENTHS
            fraction = on_a_mark(mm, parts)
            if fraction is None and is_distance and abs(value - round(value, 1)) > 1e-6:
                fraction = on_a_tape(mm)
            if fraction is not None:
                return fraction, self.words["units"]["in"]
        if abs(mm) < NOTHING_MM:
            number = "0"
        elif abs(mm - self.ball_diameter_mm) < 1e-9:  # 57.15 mm are no 57.2
            number = trimmed(value, max(digits, 2), mark)
        elif is_distance:
            number = trimmed(value, digits, mark)
        elif kind == "half_mm":
            number = self.decimal(value, digits + is_small(2 * value, digits - 1))
        else:
            number = fine(value, digits, mark)
        return number, self.words["units"][self.units]

    def _fraction(self, value: float) -> str:
        for below in (1, 2, 4, 8, 16):
            above = round(value * below)
            if abs(value - above / below) <= FRACTION_TOLERANCE:
                return str(above) if below == 1 else f"{above}/{below}"
        return self.decimal(value, 2)

    # -------------------------------------------------------------- sentences

    def title(self, key: str, values: Values) -> str:
        """The words on screen for a sentence key; lines are broken by hand."""
        return self.filled(self._sentence(key, values)["title"], values, spoken=False)

    def narration(self, key: str, values: Values) -> str:
        """The words spoken for a sentence key."""
        return clauses(self.marked_narration(key, values))[0]

    def marked_narration(self, key: str, values: Values) -> str:
        """The words spoken for a sentence key, with the marks of what they speak of."""
        return self.filled(self._sentence(key, values)["narration"], values, spoken=True)

    def limit(self, limit: Limit) -> str:
        """Why a method cannot be used."""
        return self.filled(self.words["limits"][limit.sentence], dict(limit.values), spoken=False)

    def measure(self, key: str, quantity: Quantity, values: Values) -> MeasureText:
        """A measure with its name, which may use the step's values, its number and unit."""
        number, unit = self.number(quantity)
        return MeasureText(key, self.filled(self.words["measures"][key], values, spoken=False), number, unit)

    def phrase(self, key: str, values: Values) -> str:
        """A finished phrase of the picture."""
        return self.filled(self.words["phrases"][key], values, spoken=False)

    def text(self, *keys: str, **fields: Quantity | str) -> str:
        """A text of the sheets, the script or the review page, with its fields filled in."""
        found: Any = self.words
        for key in keys:
            found = found[key]
        return self.filled(found, fields, spoken=False)

    def counted(self, *keys: str, count: int, **fields: str) -> str:
        """A text that has a plural form for its count."""
        forms: Any = self.words
        for key in keys:
            forms = forms[key]
        return self.filled(self.form(forms, str(count)), {"count": str(count), **fields}, spoken=False)

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
            if isinstance(value, str):
                # a bracket or a bar in it is none of the sentence's marks
                done.append(value.replace("[", "[[").replace(NEXT, " ") if spoken else value)
            else:
                done.append(self.spoken(value) if spoken else self.shown(value))
        text = "".join(done)
        # what is spoken has no lines, and a title that asks needs no full stop after it
        return re.sub(r"([.!?…])\.$", r"\1", " ".join(text.split())) if spoken else text

    def _sentence(self, key: str, values: Values) -> Mapping[str, Any]:
        sentence: Mapping[str, Any] = self.words["sentences"][key]
        side = values.get("side")
        is_straight = isinstance(side, Quantity) and side.value == "straight"
        return sentence["straight"] if is_straight and "straight" in sentence else sentence


def quarters(value: float) -> str:
    """A number to the nearest quarter.

    >>> quarters(2.74), quarters(0.25), quarters(3.0), quarters(0.05)
    ('2¾', '¼', '3', '0')
    """
    whole, part = divmod(round(4 * value), 4)
    return (str(whole) if whole or not part else "") + ("", "¼", "½", "¾")[part]


@lru_cache(4096)
def _parsed(text: str) -> tuple[tuple[str, str | None, str | None, str | None], ...]:
    return tuple(Formatter().parse(text))


@cache
def plural_rule(rule: str) -> Callable[[int], int]:
    """A rule for plural forms as a function of a whole number; written as in gettext's Plural-Forms header."""
    return gettext.c2py(rule)


@cache
def words_of(language: str) -> Mapping[str, Any]:
    """The words of a language, as its file lays them out."""
    words: Mapping[str, Any] = plain(read(WORDS / f"{language}.yaml", f"words/{language}.yaml"))
    return words
