"""What was clicked on a picture, and what a match of it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from aimgeo.camera import Camera
from aimgeo.landmarks import Prior, measures_of
from aimgeo.tables import Table
from aimgeo.vectors import Array
from lessons.footage.fit import Solved

PointKind = Literal["picked", "found", "computed", "wrong"]

BallRole = Literal["cue", "object", "others"]

Told = tuple[BallRole, int, tuple[float, float]]
"""A clicked ball: its role, its number among the others, the click."""


class NoMatch(Exception):  # noqa: N818 - an answer to the person who clicked, not a fault of the program
    """The picture can't be matched: a sentence, the key of the match file that it is about, and the size of table
    that may be meant.
    """

    def __init__(self, sentence: str, at: tuple[str | int, ...] = (), table: str | None = None) -> None:
        super().__init__(sentence)
        self.sentence, self.at, self.table = sentence, at, table


@dataclass(frozen=True, slots=True)
class Warned:
    """Something to know about a match, and the key of the match file that it is about."""

    sentence: str
    at: tuple[str | int, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Clicks:
    """What a match file says, in px of the picture and mm. `towards` is a click towards the foot or the head
    rail.
    """

    table: Table
    points: Mapping[str, tuple[float, float]]
    cue: tuple[float, float] | None = None
    object: tuple[float, float] | None = None
    others: tuple[tuple[float, float], ...] = ()
    towards: tuple[Literal["foot", "head"], tuple[float, float]] | None = None
    focal_mm: float | None = None
    measured: Mapping[str, Prior] = field(default_factory=dict)
    ball_diameter_mm: float = 57.15
    pick_px: float = 2.5

    def priors(self) -> dict[str, Prior]:
        """What is known of the table before the picture is looked at."""
        return {**measures_of(self.table, self.ball_diameter_mm), **self.measured}

    def balls(self) -> list[Told]:
        """All clicked balls."""
        one: list[Told] = []
        if self.cue is not None:
            one.append(("cue", 0, self.cue))
        if self.object is not None:
            one.append(("object", 0, self.object))
        return one + [("others", k, at) for k, at in enumerate(self.others)]


@dataclass(frozen=True, slots=True, eq=False)
class NamedPoint:
    """A named point: where it is in the picture (2,), its error, how far the pick was off, where it comes from."""

    at_px: Array
    error_px: float
    off_px: float | None
    kind: PointKind


@dataclass(frozen=True, slots=True, eq=False)
class MatchedBall:
    """A ball: its centre (3,), half-widths of 95 % along x and y, the part of its outline seen, its radius in
    px.
    """

    role: BallRole
    index: int
    centre_mm: Array
    error_mm: Array
    seen: float
    radius_px: float


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """A matched picture. `is_locked` is False where picks carry it, and not the sights."""

    clicks: Clicks
    size_px: tuple[int, int]
    solved: Solved
    points: dict[str, NamedPoint]
    balls: tuple[MatchedBall, ...]
    sights: int
    sights_in_frame: int
    spots: int
    is_locked: bool
    warnings: tuple[Warned, ...] = ()

    @property
    def camera(self) -> Camera:
        """The camera."""
        return self.solved.camera

    def ball(self, role: BallRole) -> MatchedBall | None:
        """The cue ball or the object ball."""
        return next((b for b in self.balls if b.role == role), None)

    def place_error_px(self, places_mm: Array) -> Array:
        """Half-widths (N,) of 95 % (the longer axis) at which places (N, 3) of the table are drawn."""
        whole = self.solved.spread(lambda x: self.solved.problem.pixels(x, places_mm).reshape(-1))
        n = len(places_mm)
        blocks = np.stack([whole[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] for k in range(n)])
        return np.asarray(1.96 * np.sqrt(np.maximum(np.linalg.eigvalsh(blocks)[:, -1], 0)))


def ball_key(role: BallRole, index: int) -> tuple[str | int, ...]:
    """A ball's key in the match file."""
    return ("balls", "others", index) if role == "others" else ("balls", role)


def said_of(role: BallRole, index: int) -> str:
    """A ball's name in a sentence."""
    return {"cue": "cue ball", "object": "object ball"}.get(role, f"{ordinal(index)} of `others`")


def ordinal(index: int) -> str:
    """A ball's number among the others, counted from one, in words."""
    words = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
    return f"the {words[index]}" if index < len(words) else f"number {index + 1}"
