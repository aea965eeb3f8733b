"""The numbers that tests use and nobody published are those that an independent program printed."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.authorities import aiming, collisions, first_principles

FOLDER = Path(first_principles.__file__).parent
PRINTED = dict(
    line.rsplit(": ", 1) for line in (FOLDER / "first_principles.txt").read_text(encoding="utf-8").splitlines()
)


def printed(name: str) -> float:
    return float(PRINTED[name])


def test_the_output_is_what_the_program_prints_and_the_program_knows_nothing_of_the_project() -> None:
    assert first_principles.text() == (FOLDER / "first_principles.txt").read_text(encoding="utf-8")
    tree = ast.parse((FOLDER / "first_principles.py").read_text(encoding="utf-8"))
    names = {a.name for node in ast.walk(tree) if isinstance(node, ast.Import) for a in node.names}
    names |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert names == {"__future__", "collections.abc", "typing", "mpmath"}


def test_the_numbers_that_the_tests_use_are_the_printed_ones() -> None:
    for back, height, distance, thick in aiming.DOUBLED_BY_EYE_DEG:
        eye = "none" if back is None else f"{back:g},{height:g}"
        assert round(printed(f"doubled_thick_deg eye={eye} distance={distance:g}"), 2) == thick
    far, less = aiming.DOUBLED_FAR_DEG
    assert round(printed(f"doubled_thick_deg eye=600,300 distance={far:g}"), 2) == less
    assert round(printed("doubled_miss_at_1_m_mm")) == aiming.DOUBLED_MISS_AT_1_M_MM
    assert printed("aim_place_over_twice_the_sine_minus_1, worst") < aiming.AIM_LINE_ON_DISC_SLACK
    assert round(printed("object_turn_deg_per_mm"), 1) == aiming.OBJECT_TURN_DEG_PER_MM
    offset, back, turn = aiming.PLANE_READING_DEG
    assert round(printed(f"plane_reading_deg offset={offset:g} back={back:g}"), 2) == turn
    for speed, most in collisions.THROW_MAXIMA_DEG.items():
        assert printed(f"largest_throw_deg speed={speed}") == pytest.approx(
            most, abs=collisions.THROW_LAST_DIGIT_DEG
        )
