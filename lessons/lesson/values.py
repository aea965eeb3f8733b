"""The values of a lesson file as an author writes them: cuts, lengths, angles, rates and picture sizes.

Every reader takes the text, gives a value or raises ValueError with a sentence that says what to write.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from math import degrees, isfinite, radians, sin
from typing import Any

from aimgeo.cuts import cut_from_overlap, cut_from_sixteenths
from lessons.lesson.faults import FaultId

NUMBER = r"(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
FRACTION = r"[0-9]+\s*/\s*[0-9]+"


SIGNS = str.maketrans({"−": "-", "–": "-", "º": "°", "˚": "°", "′": "'", "’": "'", "″": '"', "”": '"', "⁄": "/"})
"""Signs that look like those that are read, or mean the same."""
FRACTION_SIGNS = {
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅓": "1/3",
    "⅔": "2/3",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
}
IN_WORDS = {"half": "1/2", "quarter": "1/4", "three quarters": "3/4", "full": "1"}


class Refused(ValueError):  # noqa: N818 - named for what it says
    """A value with a fault of its own id."""

    def __init__(self, sentence: str, id: FaultId) -> None:
        super().__init__(sentence)
        self.id = id


@dataclass(frozen=True, slots=True)
class Cut:
    """A cut angle as the author wrote it: `notation` is 'degrees', 'overlap' or 'sixteenths'. Unsigned radians.

    'placed' where it follows from where the balls lie: `number` is then rounded degrees, for names.
    """

    text: str
    notation: str
    number: Fraction
    cut_rad: float

    @property
    def cut_deg(self) -> float:
        """The angle in degrees: exactly the number written, where degrees were written."""
        return float(self.number) if self.notation == "degrees" else degrees(self.cut_rad)

    def same_as(self, other: Cut) -> bool:
        """True when both are the same angle, however written."""
        return abs(self.cut_rad - other.cut_rad) < 1e-9


def cut(value: Any) -> Cut:
    """A cut: '14.5' or '14.5 deg' in degrees, '3/4' or '3/4 overlap', '8 sixteenths' (sin cut = 8/16).

    >>> [round(cut(t).cut_deg, 2) for t in ("14.5", "3/4", "0.5 overlap", "8 sixteenths")]
    [14.5, 14.48, 30.0, 30.0]
    """
    text = _text(value, "a cut")
    match = re.fullmatch(rf"({FRACTION}|{NUMBER})\s*(deg|degrees?|°|overlap|sixteenths?|%)?", text)
    if not match:
        raise ValueError(f"'{_short(text)}' is no cut; {_cut_instead(text)}")
    number = _number(match[1], text)
    if match[2] == "%":
        raise ValueError(f"'{text}' is no cut; an overlap is written as a part: {_decimal(number / 100)} overlap.")
    word = match[2] or ("overlap" if "/" in match[1] else "degrees")
    if word.startswith("sixteenth"):
        if not 0 <= number < 16:
            raise ValueError(f"cut is {text}; sixteenths go from 0 (full ball) to less than 16.")
        return Cut(text, "sixteenths", number, cut_from_sixteenths(float(number)))
    if word == "overlap":
        if not match[2] and number.denominator != 1 and match[1].replace(" ", "").endswith("/16"):
            raise ValueError(
                f"'{text}' could be an overlap or a cut in sixteenths; write '{text} overlap' "
                f"or '{match[1].split('/')[0].strip()} sixteenths'."
            )
        if not 0 < number <= 1:
            raise ValueError(f"overlap is {match[1]}; it goes from 1 (full ball) down to more than 0 (a graze).")
        return Cut(text, "overlap", number, cut_from_overlap(float(number)))
    if "/" in match[1]:
        raise ValueError(f"'{text}' is no cut; write degrees as a decimal number.")
    if number >= 90:
        raise ValueError(f"cut is {match[1]} degrees; a ball can be cut by less than 90.")
    return Cut(text, "degrees", number, radians(float(number)))


def _cut_instead(text: str) -> str:
    """What to write in place of what is no cut."""
    if text in IN_WORDS:
        return f"write the overlap as a number: {IN_WORDS[text]}{' overlap' if text == 'full' else ''}."
    if re.fullmatch(rf"{NUMBER}\s*-\s*{NUMBER}", text):
        return f"there are no ranges; list the cuts: [{text.replace('-', ', ')}]."
    if text.startswith("-"):
        return "a cut has no sign; the side is said by 'sides'."
    return "write degrees (14.5), an overlap (3/4) or '8 sixteenths'."


UNITS = {
    "mm": "mm", "cm": "cm", "m": "m", "in": "in", '"': "in", "inch": "in", "inches": "in", "ft": "ft", "'": "ft",
    "foot": "ft", "feet": "ft",
    "ball": "ball", "balls": "ball", "diamond": "diamond", "diamonds": "diamond",
}  # fmt: skip
MM = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": Fraction(254, 10),
    "ft": Fraction(3048, 10),
}


@dataclass(frozen=True, slots=True)
class Length:
    """A length as written; 'ball' counts ball widths, 'diamond' eighths of the table's length."""

    text: str
    number: Fraction
    unit: str

    def mm(self, ball_diameter_mm: float, table_length_mm: float) -> float:
        """Millimetres.

        >>> [length(text).mm(57.15, 2540) for text in ("2 diamonds", "1/2 ball", "12 in")]
        [635.0, 28.575, 304.8]
        """
        if self.unit == "mm":
            return float(self.number)
        if self.unit == "ball":
            return float(self.number) * ball_diameter_mm
        if self.unit == "diamond":
            return float(self.number) * table_length_mm / 8
        return float(self.number * MM[self.unit])


FEET = r"(?:ft|feet|foot|')"
INCHES = r"(?:in|inch|inches|\")"


def length(value: Any, units: str = "mm") -> Length:
    """A length with its unit: '300 mm', '12 in', '12 1/2 in', '1 ft 6 in', '5 balls', '2 diamonds', '-10 mm'.

    `units` are the lesson's, named where one is missing.

    >>> [str(length(text).number) for text in ("12 1/2 in", "1 ft 6 in", "5'6\"")]
    ['25/2', '18', '66']
    """
    text = _text(value, "a length")
    sign, bare = ("-", text[1:].strip()) if text[:1] == "-" else ("", text.removeprefix("+").strip())
    feet = re.fullmatch(rf"([0-9]+)\s*{FEET}\s*(?:([0-9]+)\s+)?({FRACTION}|{NUMBER})\s*{INCHES}", bare)
    match = re.fullmatch(rf"(?:([0-9]+)\s+)?({FRACTION}|{NUMBER})\s*([a-z\"']+)?", bare)
    if feet:
        whole = 12 * int(feet[1]) + int(feet[2] or 0) if len(feet[1]) < 6 else 10**9
        number, unit = whole + _number(feet[3], text), "in"
    elif not match or (match[3] and match[3] not in UNITS) or (match[1] and "/" not in match[2]):
        raise ValueError(f"'{_short(text)}' is no length; {_length_instead(text)}")
    else:
        if match[1] and len(match[1]) > 20:
            raise ValueError(f"'{_short(text)}' has too many digits.")
        number = (int(match[1]) if match[1] else 0) + _number(match[2], text)
        if not match[3] and number:
            told = {"mm": ("mm", "in, balls or diamonds"), "in": ("in", "mm, balls or diamonds")}
            first, others = told.get(units, ("balls", "mm, in or diamonds"))
            raise ValueError(f"'{_short(text)}' has no unit; write '{_short(text)} {first}', or {others}.")
        unit = UNITS[match[3]] if match[3] else "mm"
    number = -number if sign else number
    if abs(number) > 100_000:
        raise ValueError(f"'{_short(text)}' is longer than any room with a table in it.")
    return Length(text, number, unit)


def _length_instead(text: str) -> str:
    pieces = text.split(",")
    if len(pieces) == 2 and text.count("[") == 0:
        return f"two lengths stand in brackets: [{pieces[0].strip()}, {pieces[1].strip()}]."
    return "write a number and mm, cm, m, in, ft, balls or diamonds."


CUT_STEPS = {"degrees": (Fraction(1, 2), Fraction(1, 1000)), "sixteenths": (Fraction(1), Fraction(1, 1000)),
             "overlap": (Fraction(1, 16), Fraction(1, 10_000))}  # fmt: skip
"""By notation: the steps in which authors write cuts, and the finest that is written: a tenth of a millimetre at
the cue ball is some of them."""
LENGTH_STEPS = {
    "mm": (Fraction(1), Fraction(1, 10)), "cm": (Fraction(1, 10), Fraction(1, 100)),
    "m": (Fraction(1, 1000), Fraction(1, 10_000)), "in": (Fraction(1, 4), Fraction(1, 1000)),
    "ft": (Fraction(1, 48), Fraction(1, 10_000)), "ball": (Fraction(1, 8), Fraction(1, 1000)),
    "diamond": (Fraction(1, 8), Fraction(1, 10_000)),
}  # fmt: skip
TAPE = 64
"""Inches in so many parts are written as fractions, as on a tape."""


def cut_near(cut_rad: float, notation: str, is_fine: bool = False) -> Cut:
    """The cut nearest to an unsigned angle that an author would write in a notation; `is_fine` in its finest step.

    >>> [cut_near(radians(17.3), notation).text for notation in ("degrees", "overlap", "sixteenths")]
    ['17.5', '11/16 overlap', '5 sixteenths']
    """
    step = CUT_STEPS[notation][is_fine]
    if notation == "degrees":
        number = min(_nearest(degrees(cut_rad), step), 90 - step)
        return cut(_decimal(number))
    if notation == "sixteenths":
        number = min(_nearest(16 * sin(cut_rad), step), 16 - step)
        return cut(f"{_decimal(number)} sixteenths")
    number = max(_nearest(1 - sin(cut_rad), step), step)
    if is_fine or number.denominator == 1:
        return cut(f"{_decimal(number)} overlap")
    return cut(f"{number}{' overlap' if number.denominator == 16 else ''}")


def length_near(
    mm: float, unit: str, ball_diameter_mm: float, table_length_mm: float, is_fine: bool = False
) -> Length:
    """The length nearest to so many mm that an author would write in a unit; `is_fine` in its finest step.

    >>> [length_near(431.3, unit, 57.15, 2540).text for unit in ("mm", "in", "ball")]
    ['431 mm', '17 in', '7 1/2 balls']
    """
    one = Length("", Fraction(1), unit).mm(ball_diameter_mm, table_length_mm)
    number = _nearest(mm / one, LENGTH_STEPS[unit][is_fine])
    if is_fine:
        on_tape = _nearest(mm / one, Fraction(1, TAPE))
        return length_of(on_tape if unit == "in" and abs(mm / one - on_tape) < NEAR_TAPE_IN else number, unit)
    return length_of(number, unit) if unit in ("mm", "cm", "m") else _in_parts(number, unit)


NEAR_TAPE_IN = 6e-5
"""What is shown in four places is meant when it is typed."""
_WORDS = {"ball": "balls", "diamond": "diamonds"}


def length_of(number: Fraction, unit: str) -> Length:
    """A length as a decimal number of its unit, of six places at most; inches that are on a tape as there.

    >>> length_of(Fraction(606425, 1000), "mm").text, length_of(Fraction(193, 16), "in").text
    ('606.425 mm', '12 1/16 in')
    """
    if unit == "in" and (number * TAPE).denominator == 1:
        return _in_parts(number, unit)
    return length(f"{_decimal(number)} {_WORDS.get(unit, unit)}")


def _in_parts(number: Fraction, unit: str) -> Length:
    whole, part = divmod(abs(number), 1)
    told = f"{whole} {part}" if whole and part else f"{part or whole}"
    return length(f"{'-' if number < 0 else ''}{told} {_WORDS.get(unit, unit)}")


def _nearest(value: float, step: Fraction) -> Fraction:
    return round(Fraction(value) / step) * step


def _decimal(number: Fraction) -> str:
    return f"{float(number):.6f}".rstrip("0").rstrip(".")


def positive_length(value: Any, units: str = "mm") -> Length:
    """A length above zero."""
    found = length(value, units)
    if found.number <= 0:
        raise ValueError(f"'{found.text}' must be more than 0.")
    return found


def angle_rad(value: Any) -> float:
    """An angle in radians from '12', '12 deg' or '12°'."""
    text = _text(value, "an angle")
    match = re.fullmatch(rf"([+-]?{NUMBER})\s*(deg|degrees?|°)?", text)
    if not match or abs(float(match[1])) > 360:
        raise ValueError(f"'{_short(text)}' is no angle; write degrees, for example 12.5.")
    return radians(float(match[1]))


def seconds(value: Any) -> float:
    """Seconds above zero, up to ten minutes: '4', '4.5 s', '500 ms'."""
    found = time_s(value)
    if not 0 < found <= 600:
        raise ValueError(f"is '{_short(_text(value, ''))}'; write seconds between 0 and 600, for example 4.5.")
    return found


def time_s(value: Any) -> float:
    """A time in seconds: '4', '4.5 s', '500 ms'."""
    text = _text(value, "a time in seconds")
    match = re.fullmatch(rf"({NUMBER})\s*(s|sec|seconds?|ms)?", text)
    if not match or len(match[1]) > 20:
        raise ValueError(f"is '{_short(text)}'; write seconds, for example 4.5.")
    return float(match[1]) / (1000 if match[2] == "ms" else 1)


def mark_s(value: Any) -> float:
    """A moment of a recording in seconds, at most a day: '7.25', '0:07.25', '1:02:03'.

    >>> [mark_s(text) for text in ("7.25", "0:07.25", "1:02:03")]
    [7.25, 7.25, 3723.0]
    """
    text = _text(value, "a time in seconds")
    match = re.fullmatch(rf"(?:(?:([0-9]{{1,3}}):)?([0-9]{{1,3}}):)?({NUMBER})\s*s?", text)
    found = 86_401.0
    if match and len(match[3]) <= 20:
        found = 3600 * int(match[1] or 0) + 60 * int(match[2] or 0) + float(match[3])
    if found > 86_400:
        raise ValueError(
            f"is '{_short(text)}'; write the second at which the step starts, such as 7.25 or 0:07.25."
        )
    return found


def number(value: Any) -> float:
    """A plain number: '0.5', '1/2'."""
    text = _text(value, "a number")
    if not re.fullmatch(rf"[+-]?(?:{FRACTION}|{NUMBER})", text):
        raise ValueError(f"is '{_short(text)}'; write a number, for example 0.5.")
    return float(_number(text.lstrip("+-"), text)) * (-1 if text.startswith("-") else 1)


def whole(value: Any) -> int:
    """A whole number."""
    text = _text(value, "a whole number")
    if not re.fullmatch(r"[+-]?[0-9]+", text):
        raise ValueError(f"is '{_short(text)}'; write a whole number.")
    if len(text) > 20:
        raise ValueError(f"'{_short(text)}' has too many digits.")
    return int(text)


RATES = {
    "23.976": (24000, 1001), "24": (24, 1), "25": (25, 1), "29.97": (30000, 1001), "30": (30, 1), "50": (50, 1),
    "59.94": (60000, 1001), "60": (60, 1),
}  # fmt: skip
"""The frame rates on offer, by the name that video people use."""


def rate(value: Any) -> tuple[int, int]:
    """A frame rate as a fraction: '60', '29.97' or '30000/1001'.

    >>> rate("29.97"), rate("30000/1001"), rate("25")
    ((30000, 1001), (30000, 1001), (25, 1))
    """
    text = _text(value, "a frame rate").removesuffix("fps").strip().replace(" ", "")
    by_fraction = {f"{n}/{d}": (n, d) for n, d in RATES.values()}
    found = RATES.get(text) or by_fraction.get(text)
    if not found:
        raise ValueError(f"frame rate is '{_short(text)}'; choose {', '.join(RATES)}.")
    return found


SIZES = {
    "720p": (1280, 720), "1080p": (1920, 1080), "2160p": (3840, 2160),
    "square": (1080, 1080), "vertical": (1080, 1920),
}  # fmt: skip
SMALLEST_PX, LARGEST_PX = 160, 8192


def size(value: Any) -> tuple[int, int]:
    """A picture size in pixels: a name of SIZES or '1440 x 1080'; both sides even, as video asks.

    >>> size("1080p"), size("320x180")
    ((1920, 1080), (320, 180))
    """
    text = _text(value, "a picture size")
    if text in SIZES:
        return SIZES[text]
    match = re.fullmatch(r"([0-9]{1,6})\s*[x×]\s*([0-9]{1,6})", text)
    if not match:
        raise ValueError(f"size is '{_short(text)}'; choose {', '.join(SIZES)}, or write width x height.")
    wide, high = int(match[1]), int(match[2])
    if wide % 2 or high % 2 or not (min(wide, high) >= SMALLEST_PX and max(wide, high) <= LARGEST_PX):
        raise ValueError(f"size is {text}; both sides must be even numbers from {SMALLEST_PX} to {LARGEST_PX}.")
    return wide, high


def _text(value: Any, what: str) -> str:
    if not isinstance(value, str):
        is_list = isinstance(value, list | tuple)
        raise Refused(f"needs {what}, not {'a list' if is_list else 'a mapping'}.", "wrong-shape")
    text = value
    if not text.isascii():
        text = text.translate(SIGNS)
        for sign, written in FRACTION_SIGNS.items():
            text = text.replace(sign, f" {written}")
    text = " ".join(text.split()).lower()
    if text.endswith(","):
        raise Refused(f"'{_short(text)}' ends in a comma; remove it.", "decimal-comma")
    if thousands := re.fullmatch(r"(\d{1,3}),(\d{3})(\D.*)?", text):
        whole = f"{thousands[1]}{thousands[2]}{thousands[3] or ''}"
        sentence = f"'{_short(text)}' has a comma; write {_short(whole)}, or a point for a decimal."
        raise Refused(sentence, "decimal-comma")
    if "," in text and re.search(r"\d,\d", text):
        point = re.sub(r"(\d),(\d)", r"\1.\2", text)
        raise Refused(f"'{_short(text)}' has a comma; a decimal needs a point: {_short(point)}.", "decimal-comma")
    if ", " in text and re.fullmatch(rf"{NUMBER}[^,]*(, ?{NUMBER}[^,]*)+", text):
        raise Refused(f"'{_short(text)}' are several; a list needs brackets: [{_short(text)}].", "wrong-shape")
    return text


def _number(text: str, whole: str) -> Fraction:
    if len(text) > 20:
        raise ValueError(f"'{_short(whole)}' has too many digits.")
    above, _, below = text.replace(" ", "").partition("/")
    if below and not int(below):
        raise ValueError(f"'{whole}' divides by 0.")
    found = Fraction(above) / (Fraction(below) if below else 1)
    assert isfinite(found)
    return found


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."
