"""Numbers as people read them, against the decimal arithmetic of whole numbers."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from aimgeo.units import INCH_MM, on_a_tape, rounded, trimmed, written

LENGTHS = st.integers(-5 * 10**9, 5 * 10**9).map(lambda k: k / 10**6)


@given(LENGTHS, st.integers(0, 4))
def test_a_number_is_at_most_half_a_digit_off_and_its_half_goes_away_from_zero(value: float, digits: int) -> None:
    exact, read = Fraction(repr(value)), Fraction(written(value, digits))
    step = Fraction(1, 10**digits)
    assert abs(read - exact) <= step / 2
    assert abs(read - exact) < step / 2 or abs(read) > abs(exact)


@given(LENGTHS, st.integers(0, 2))
def test_a_half_told_a_digit_finer_and_doubled_is_the_whole_as_it_is_told(half: float, digits: int) -> None:
    read = Fraction(written(half, digits + 1))
    assert rounded(float(2 * read), digits) == rounded(2 * half, digits)


def test_tape_measure_fractions() -> None:
    lengths = (0.0, 0.0625, 12.5, 11.999, 3.8125, 0.5, -1.25)
    told = ["0", "1/16", "12 1/2", "12", "3 13/16", "1/2", "-1 1/4"]
    assert [on_a_tape(inches * INCH_MM) for inches in lengths] == told


@given(LENGTHS)
def test_a_tape_is_at_most_a_thirty_second_of_an_inch_off(mm: float) -> None:
    sign = -1 if on_a_tape(mm).startswith("-") else 1
    read = sign * sum(Fraction(part) for part in on_a_tape(mm).removeprefix("-").split())
    assert abs(float(read) - mm / INCH_MM) <= 1 / 32 + 1e-9


def test_what_calculation_leaves_behind_is_not_read() -> None:
    assert written(math.nextafter(242.85, 0), 1) == written(242.849999999997, 1) == "242.9"
    assert written(math.nextafter(0.5625, 0), 3) == "0.563"


def test_signs_marks_and_zeros() -> None:
    assert [written(v, 1, signed=True) for v in (0.04, -0.04, 0.05, -0.05)] == ["0.0", "0.0", "+0.1", "-0.1"]
    assert (written(0.0611, 2, down=True), written(0.069, 2, ",", down=True)) == ("0.06", "0,06")
    assert [trimmed(v, 2, ",") for v in (10.0, 10.5, 100.25)] == ["10", "10,5", "100,25"]
    with pytest.raises(ValueError, match="no number"):
        written(math.nan, 1)
