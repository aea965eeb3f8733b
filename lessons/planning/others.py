"""Other balls on the table: where they lie, how they are painted, and whether they lie in a shot's way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from aimgeo.blocking import clearance_mm
from aimgeo.shot import Shot
from aimgeo.spots import is_clear
from aimgeo.tables import Table
from aimgeo.vectors import length
from lessons.lesson.texts import said
from scenes.board.brief import Other, Paint

NUMBER_COLOURS = (
    "#E8B923", "#1F4FA3", "#C8202F", "#5B2A86", "#E0762A", "#1E6B3A", "#7A1F2B", "#1A1A1A",
)  # fmt: skip
"""What is common on sets of numbered balls, 1 to 8; 9 to 15 are striped in the colours of 1 to 7."""


def paint_of(told: Any) -> Paint:
    """The paint of a ball of the lesson: its colour, or that of its number."""
    number = told.number or 0
    colour = told.colour or (NUMBER_COLOURS[(number - 1) % 8] if number else None)
    return Paint(colour, number)


def others_of(told: Sequence[Any], ball_mm: float, table_length_mm: float, language: str) -> tuple[Other, ...]:
    """The other balls of a lesson on the table, called as they are in a language."""
    found = []
    for one in told:
        x, y = (length.mm(ball_mm, table_length_mm) for length in one.at)
        name = "" if one.name is None else said(one.name, language)
        found.append(Other((x, y, ball_mm / 2), paint_of(one), name))
    return tuple(found)


def wrongs(shot: Shot, others: Sequence[Other], table: Table, meant: Sequence[bool]) -> Iterator[tuple[int, str]]:
    """The others that can't lie there, or lie in the way without its being meant: which one, and why."""
    d = float(shot.ball_diameter_mm)
    C, O, G, T = (p[:2] for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm, shot.target_mm))
    for n, one in enumerate(others):
        p = np.array(one.centre_mm[:2])
        if not is_clear(table, p, d, 0.0):
            yield n, "lies in a cushion or a pocket's mouth; move it onto the bed."
            continue
        rest = [(f"the {name} ball", at) for name, at in (("cue", C), ("object", O))]
        rest += [("another ball of the list", np.array(two.centre_mm[:2])) for two in others[:n]]
        near = next((name for name, at in rest if float(length(p - at)) < d - 1e-6), None)
        if near is not None:
            yield (
                n,
                f"lies in {near}; move it by {d - min(float(length(p - at)) for _, at in rest):.1f} mm or more.",
            )
            continue
        for name, start, end in (("cue", C, G), ("object", O, T)):
            gap = float(clearance_mm(p, start, end, d))
            if gap < -1e-6 and not meant[n]:
                yield n, f"lies {-gap:.1f} mm in the {name} ball's way; move it, or write `in_the_way: yes`."
                break


def is_blocked(shot: Shot, others: Sequence[Other]) -> bool:
    """True where another ball lies in the way of the cue ball or of the object ball."""
    C, O, G, T = (p[:2] for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm, shot.target_mm))
    return any(
        clearance_mm(np.array(one.centre_mm[:2]), start, end, shot.ball_diameter_mm) < -1e-6
        for one in others
        for start, end in ((C, G), (O, T))
    )
