"""Cuts by degrees, overlaps and sixteenths."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from aimgeo.cuts import cut_from_overlap, cut_from_sixteenths, overlap_from_cut, overlap_name, sixteenths_from_cut
from aimgeo.shot import place_shot
from tests.authorities.overlaps import CUT_DEG_BY_OVERLAP, LAST_DIGIT_DEG


@pytest.mark.parametrize(("overlap", "cut_deg"), CUT_DEG_BY_OVERLAP.items())
def test_cut_of_an_overlap_is_the_classic_tables(overlap: Fraction, cut_deg: float) -> None:
    assert math.degrees(cut_from_overlap(float(overlap))) == pytest.approx(cut_deg, abs=LAST_DIGIT_DEG)


@pytest.mark.parametrize(("overlap", "cut_deg"), CUT_DEG_BY_OVERLAP.items())
def test_a_shot_with_the_classic_tables_cut_has_its_overlap(overlap: Fraction, cut_deg: float) -> None:
    shot = place_shot([0, 0], [1000, 300], math.radians(cut_deg), 400)
    # half a digit of the angle moves the overlap by at most that in radians
    assert float(shot.overlap) == pytest.approx(float(overlap), abs=math.radians(LAST_DIGIT_DEG))


@pytest.mark.parametrize(("overlap", "cut_deg"), CUT_DEG_BY_OVERLAP.items())
def test_the_classic_tables_cuts_carry_their_fractions_name(overlap: Fraction, cut_deg: float) -> None:
    assert overlap_name(math.radians(cut_deg)) == overlap


@pytest.mark.parametrize(("cut_deg", "name"), [(20.0, None), (89.9, None), (22.0, Fraction(5, 8)), (22.1, None)])
def test_a_name_is_given_only_when_the_tenth_of_a_degree_agrees(cut_deg: float, name: Fraction | None) -> None:
    assert overlap_name(math.radians(cut_deg)) == name


def test_eight_sixteenths_is_the_half_ball_hit() -> None:
    assert cut_from_sixteenths(8) == pytest.approx(math.pi / 6, abs=1e-15)


@given(st.floats(0, math.pi / 2 - 1e-3))
def test_overlap_and_sixteenths_turn_back_into_the_same_cut(cut_rad: float) -> None:
    assert cut_from_overlap(overlap_from_cut(cut_rad)) == pytest.approx(cut_rad, abs=1e-12)
    assert cut_from_sixteenths(sixteenths_from_cut(cut_rad)) == pytest.approx(cut_rad, abs=1e-12)
