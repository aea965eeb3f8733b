"""The values of a lesson file, as an author writes them."""

from __future__ import annotations

import math

import pytest

from lessons.lesson import values

INCH_MM = 25.4
"""Exact by definition: international inch (International Yard and Pound Agreement, 1959)."""


@pytest.mark.parametrize(
    ("overlap", "degrees"),
    [("1/1", 0.0), ("3/4", 14.48), ("1/2", 30.0), ("1/4", 48.59), ("1/8", 61.04)],
)
def test_overlaps_are_the_classic_cut_angles(overlap: str, degrees: float) -> None:
    # the classic table of hits, to its two printed decimals
    assert values.cut(overlap).cut_deg == pytest.approx(degrees, abs=0.005)
    assert values.cut(f"{overlap} overlap").same_as(values.cut(overlap))


@pytest.mark.parametrize("k", range(16))
def test_sixteenths_count_the_sine_of_the_cut(k: int) -> None:
    assert math.sin(math.radians(values.cut(f"{k} sixteenths").cut_deg)) == pytest.approx(k / 16, abs=1e-15)


def test_the_three_notations_of_the_half_ball_hit_are_one_cut() -> None:
    one, two, three = values.cut("30"), values.cut("1/2"), values.cut("8 sixteenths")
    assert one.same_as(two)
    assert two.same_as(three)


def test_degrees_stay_exactly_as_written() -> None:
    assert values.cut("14.5").cut_deg == 14.5
    assert values.cut("0.1 deg").cut_deg == 0.1
    assert values.cut("22.5°").cut_deg == 22.5


def test_a_fraction_with_sixteenths_below_must_say_which_it_is() -> None:
    with pytest.raises(ValueError, match=r"write '4/16 overlap' or '4 sixteenths'"):
        values.cut("4/16")


@pytest.mark.parametrize(
    "text",
    ["90", "95", "-5", "nan", "inf", "1e1", "", "x", "3/0", "5/4", "0/4", "16 sixteenths", "1/2/3", "3/4 deg",
     "0 overlap", "9" * 400, "1.1 overlap"],
)  # fmt: skip
def test_what_is_no_cut_is_refused_with_a_sentence(text: str) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        values.cut(text)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("300 mm", 300.0),
        ("30cm", 300.0),
        ("1.2 m", 1200.0),
        ("12 in", 12 * INCH_MM),
        ('12"', 12 * INCH_MM),
        ("12 1/2 in", 12.5 * INCH_MM),
        ("1 ft", 12 * INCH_MM),
        ("2 balls", 114.3),
        ("1/2 ball", 28.575),
        ("3 diamonds", 952.5),
        ("-5 mm", -5.0),
        ("0", 0.0),
    ],
)
def test_lengths_are_millimetres(text: str, mm: float) -> None:
    assert values.length(text).mm(57.15, 2540.0) == pytest.approx(mm, rel=1e-12)


@pytest.mark.parametrize(
    "text", ["300", "mm", "1 yard", "nan mm", "1e3 mm", "1 2 mm", "9999999 m", "-9999999 m", "", "5 5/ mm"]
)
def test_what_is_no_length_is_refused_with_a_sentence(text: str) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        values.length(text)


def test_a_length_without_a_unit_is_told_which_units_there_are() -> None:
    with pytest.raises(ValueError, match="'300' has no unit; write '300 mm', or in, balls or diamonds"):
        values.length("300")


@pytest.mark.parametrize("n", [24, 25, 30, 50, 60])
def test_whole_rates(n: int) -> None:
    assert values.rate(str(n)) == (n, 1)
    assert values.rate(f"{n}/1") == (n, 1)


@pytest.mark.parametrize(("name", "n"), [("23.976", 24000), ("29.97", 30000), ("59.94", 60000)])
def test_broadcast_rates_are_exact_fractions(name: str, n: int) -> None:
    # SMPTE ST 12-1: nominal rates times 1000/1001
    assert values.rate(name) == values.rate(f"{n}/1001") == (n, 1001)


@pytest.mark.parametrize("text", ["61", "29.98", "0", "30/0", "1001/30000", "x"])
def test_other_rates_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"choose 23\.976, 24"):
        values.rate(text)


def test_sizes() -> None:
    assert values.size("2160p") == (3840, 2160)
    assert values.size("vertical") == (1080, 1920)
    assert values.size("320 × 180") == values.size("320x180") == (320, 180)


@pytest.mark.parametrize("text", ["1081x1080", "100x100", "99999x99999", "4k", "1920", "-2x4"])
def test_sizes_that_no_encoder_takes_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"^size is"):
        values.size(text)


def test_seconds_and_angles() -> None:
    assert values.seconds("4.5 s") == 4.5
    assert values.angle_rad("-90°") == pytest.approx(-math.pi / 2)
    assert values.seconds("500 ms") == 0.5
    for text in ("0", "-1", "601", "nan"):
        with pytest.raises(ValueError, match=f"is '{text}'; write seconds"):
            values.seconds(text)
    for text in ("361", "north"):
        with pytest.raises(ValueError, match="no angle"):
            values.angle_rad(text)


@pytest.mark.parametrize(
    "reader", [values.cut, values.length, values.rate, values.size, values.seconds, values.angle_rad]
)
@pytest.mark.parametrize("value", [["1"], {"a": "1"}])
def test_lists_and_mappings_are_no_values(reader: object, value: object) -> None:
    assert callable(reader)
    with pytest.raises(ValueError, match=r"needs a.* not a (list|mapping)"):
        reader(value)
