"""Numbers as people read them: one inch, and one way of rounding for pictures, words, tables and sheets."""

from __future__ import annotations

from decimal import ROUND_DOWN, ROUND_HALF_UP, Decimal
from functools import lru_cache

INCH_MM = 25.4
"""An inch: exact by the international agreement of 1959."""
NOISE_DIGITS = 8
"""Decimals that calculated lengths and angles are good for: a hundred-thousandth of a micrometre."""
TAPE_SIXTEENTHS = 16
"""A tape measure divides an inch so finely."""
ON_A_MARK = 0.003
"""So near to a mark of the tape, in parts of the way to the next, a length is on it: 5 micrometres."""


@lru_cache(4096)  # pictures, words and sheets of a lesson show the same lengths
def rounded(value: float, digits: int, *, down: bool = False) -> Decimal:
    """The value to so many decimals: halves away from zero, as a reader with a pencil rounds; or towards zero.

    What is rounded is the shortest decimal that names the float, freed of what calculation leaves behind, since
    nobody sees the binary number: 242.85 by way of a square root is 242.849999999999. Never minus zero. ValueError
    for what is not finite.

    >>> [str(rounded(value, 1)) for value in (57.15, 242.85, -0.04)], str(rounded(1.125, 2))
    (['57.2', '242.9', '0.0'], '1.13')
    """
    exact = Decimal(repr(round(float(value), NOISE_DIGITS)))
    if not exact.is_finite():
        raise ValueError(f"{value} is no number to be read")
    found = exact.quantize(Decimal(1).scaleb(-digits), ROUND_DOWN if down else ROUND_HALF_UP)
    return found if found else abs(found)


def written(value: float, digits: int, mark: str = ".", *, signed: bool = False, down: bool = False) -> str:
    """The value as text: `rounded`, with this decimal mark, and its plus sign where it is `signed`.

    >>> written(-1.05, 1), written(1.05, 1, ",", signed=True), written(0.04, 1, signed=True)
    ('-1.1', '+1,1', '0.0')
    """
    found = rounded(value, digits, down=down)
    return f"{found:+f}".replace(".", mark) if signed and found else f"{found:f}".replace(".", mark)


def trimmed(value: float, digits: int, mark: str = ".") -> str:
    """As `written`, without zeros at the end: 300 and 952.5.

    >>> trimmed(300.0, 1), trimmed(952.5, 1), trimmed(20.0, 0)
    ('300', '952.5', '20')
    """
    text = written(value, digits, mark)
    return text.rstrip("0").removesuffix(mark) if mark in text else text


def fine(value: float, digits: int, mark: str = ".", *, down: bool = False) -> str:
    """As `written`, with a digit more for a small number, so that 0.21 and 0.06 differ as much as they do.

    >>> fine(0.21, 1), fine(0.06, 1), fine(0.5, 1), fine(7.14, 1), fine(0.0, 1)
    ('0.21', '0.06', '0.5', '7.1', '0.0')
    """
    text = written(value, digits + is_small(value, digits), mark, down=down)
    return text[:-1] if is_small(value, digits) and text.endswith("0") else text


def is_small(value: float, digits: int) -> bool:
    """True for a number that so many decimals tell with a single digit."""
    return abs(rounded(value, digits + 1)) < Decimal(1).scaleb(1 - digits)


def on_a_mark(mm: float, parts: int = TAPE_SIXTEENTHS) -> str | None:
    """A length that lies on a mark of a tape of inches, as the tape shows it; None for one between the marks.

    >>> on_a_mark(57.15), on_a_mark(28.575), on_a_mark(7.14), on_a_mark(304.8)
    ('2 1/4', '1 1/8', None, '12')
    """
    count = mm / INCH_MM * parts
    return on_a_tape(mm, parts) if abs(count - round(count)) <= ON_A_MARK else None


def on_a_tape(mm: float, parts: int = TAPE_SIXTEENTHS) -> str:
    """A length in inches as a tape measure shows it, to the nearest sixteenth (at most 0.8 mm off), or other part.

    >>> on_a_tape(300.0), on_a_tape(25.4), on_a_tape(12.7)
    ('11 13/16', '1', '1/2')
    """
    count = int(rounded(mm / INCH_MM * parts, 0))
    whole, part = divmod(abs(count), parts)
    below = parts
    while part and part % 2 == 0:
        part, below = part // 2, below // 2
    text = f"{whole} {part}/{below}" if whole and part else f"{part}/{below}" if part else str(whole)
    return f"-{text}" if count < 0 else text
