"""The match file: what was clicked on a picture of a real table, read and checked like a lesson."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from math import isfinite
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PlainValidator, ValidationError, model_validator

from aimgeo.landmarks import MEASURES, NAMED, Prior
from aimgeo.tables import TABLES, Table
from lessons.footage.match import Clicks
from lessons.lesson import explain
from lessons.lesson.faults import Fault, LessonError, Place, did_you_mean
from lessons.lesson.fields import CutValue, Name, Pocket, PositiveLength, Side, Spot, Words, choice
from lessons.lesson.read import Keys, Node, plain, read
from lessons.lesson.texts import Strict

MEASURED = tuple(name for name in MEASURES if not name.endswith(("_x", "_y")))
MEASURED_ERROR_MM = 0.5
"""One standard error of what somebody measured on the table with a tape."""


def _moment(value: Any) -> float:
    match = re.fullmatch(r"([0-9]+(?:\.[0-9]*)?|\.[0-9]+)\s*s?", str(value).strip())
    if not match or not 0 <= float(match[1]) < 86_400:
        raise ValueError(
            f"'{value}' is no moment of the footage; write seconds from its start, for example 0.5 s."
        )
    return float(match[1])


def _pixel(value: Any) -> tuple[float, float]:
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise ValueError("needs two numbers, [x, y] in pixels: x to the right, y down.")
    try:
        # YAML writes what is not finite with a dot
        x, y = (float(str(part).removeprefix(".")) for part in value)
    except (TypeError, ValueError):
        raise ValueError("needs two numbers, [x, y] in pixels: x to the right, y down.") from None
    if not (isfinite(x) and isfinite(y)):
        raise ValueError("holds a number that is not finite; write pixels, [x, y].")
    return x, y


def _picture_size(value: Any) -> tuple[int, int]:
    match = re.fullmatch(r"\s*([0-9]{1,5})\s*[x×]\s*([0-9]{1,5})\s*", str(value))
    if not match or min(int(match[1]), int(match[2])) < 1:
        raise ValueError(f"'{value}' is no picture size; write width x height, for example 1920 x 1080.")
    return int(match[1]), int(match[2])


def _measure(value: Any) -> Any:
    return value.strip().replace(" ", "_").replace("-", "_") if isinstance(value, str) else value


Measure = Annotated[Literal[MEASURED], BeforeValidator(_measure)]  # type: ignore[valid-type]
Moment = Annotated[float, PlainValidator(_moment)]
Pixel = Annotated[tuple[float, float], PlainValidator(_pixel)]
PictureSize = Annotated[tuple[int, int], PlainValidator(_picture_size)]


class Balls(Strict):
    """Where the balls were clicked: anywhere on each."""

    cue: Pixel | None = None
    object: Pixel | None = None
    others: tuple[Pixel, ...] = ()


class Lens(Strict):
    """What is told of the lens."""

    focal: PositiveLength


class Plan(Strict):
    """The shot that should have been set up: a lesson's clip, or cut, side and distance, with the object ball's
    place.
    """

    lesson: Words | None = None
    clip: Words | None = None
    cut: CutValue | None = None
    side: Side | None = None
    distance: PositiveLength | None = None
    object: Spot | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Plan:
        by_clip, by_shot = (self.lesson, self.clip), (self.cut, self.side, self.distance)
        if any(v is not None for v in by_clip):
            if None in by_clip or any(v is not None for v in (*by_shot, self.object)):
                raise ValueError(
                    "needs both 'lesson' and 'clip' and nothing else, or 'cut', 'side' and 'distance'."
                )
        elif None in by_shot:
            raise ValueError("needs 'lesson' and 'clip', or 'cut', 'side' and 'distance'.")
        return self


class MatchKeys(Strict):
    """The keys of a match file."""

    footage: Words
    at: Moment = 0.0
    table: choice(TABLES) = "9ft"  # type: ignore[valid-type]
    ball: PositiveLength = Field("57.15 mm", validate_default=True)
    target: Pocket = "foot-left"
    points: Any = None  # read apart, so that each name and place is told by its line
    picked_on: PictureSize | None = None
    foot: Pixel | None = None
    head: Pixel | None = None
    balls: Balls = Field(default_factory=Balls)
    lens: Lens | None = None
    measured: dict[Measure, PositiveLength] = Field(default_factory=dict)
    plan: Plan | None = None
    name: Name | None = None

    @model_validator(mode="after")
    def _one_end(self) -> MatchKeys:
        if self.foot is not None and self.head is not None:
            raise ValueError("'foot' and 'head' are both given; one click is enough.")
        return self


@dataclass(frozen=True, slots=True)
class MatchFile:
    """A match file that holds together: its keys, and the place of each."""

    path: Path
    keys: MatchKeys
    points: dict[str, tuple[float, float]]
    tree: Node

    @property
    def footage(self) -> Path:
        """The clip or still, beside the file."""
        return self.path.parent / self.keys.footage

    @property
    def stem(self) -> str:
        """What the files made from it are named after."""
        return self.path.stem

    @property
    def table(self) -> Table:
        """The table's named size."""
        return TABLES[self.keys.table]

    @property
    def ball_mm(self) -> float:
        """The balls' diameter."""
        return self.keys.ball.mm(0.0, self.table.length_mm)

    def place(self, *location: str | int) -> Place:
        """Where a key's value stands in the file."""
        return explain.place_of(self.tree, location)

    def fault(self, sentence: str, at: tuple[str | int, ...] = ()) -> LessonError:
        """A fault of this file at a key."""
        of_key = at[:1] == ("points",) and len(at) == 2
        return LessonError([Fault(explain.place_of(self.tree, at, of_key=of_key), sentence, "recording")])

    def clicks(self, size_px: tuple[int, int]) -> Clicks:
        """The clicks on a picture of this size. Raises LessonError for pixels outside of it or another shape."""
        keys, table = self.keys, self.table
        scale = self._scale(size_px)
        faults: list[Fault] = []

        def at(pixel: tuple[float, float], *location: str | int) -> tuple[float, float]:
            x, y = pixel[0] * scale[0], pixel[1] * scale[1]
            if not (0 <= x <= size_px[0] and 0 <= y <= size_px[1]):
                shown = " x ".join(map(str, keys.picked_on or size_px))
                faults.append(
                    Fault(
                        self.place(*location),
                        f"[{pixel[0]:g}, {pixel[1]:g}] lies outside the picture, which is {shown}.",
                        "recording",
                    )
                )
            return x, y

        points = {name: at(pixel, "points", name) for name, pixel in self.points.items()}
        cue = None if keys.balls.cue is None else at(keys.balls.cue, "balls", "cue")
        object_ball = None if keys.balls.object is None else at(keys.balls.object, "balls", "object")
        others = tuple(at(pixel, "balls", "others", k) for k, pixel in enumerate(keys.balls.others))
        towards: Any = None
        for end in ("foot", "head"):
            if (pixel := getattr(keys, end)) is not None:
                towards = (end, at(pixel, end))
        if faults:
            raise LessonError(faults)
        mm = {name: length.mm(self.ball_mm, table.length_mm) for name, length in keys.measured.items()}
        return Clicks(
            table=table,
            points=points,
            cue=cue,
            object=object_ball,
            others=others,
            towards=towards,
            focal_mm=None if keys.lens is None else keys.lens.focal.mm(self.ball_mm, table.length_mm),
            measured={name: Prior(value, MEASURED_ERROR_MM) for name, value in mm.items()},
            ball_diameter_mm=self.ball_mm,
        )

    def _scale(self, size_px: tuple[int, int]) -> tuple[float, float]:
        picked = self.keys.picked_on
        if picked is None or picked == size_px:
            return 1.0, 1.0
        fx, fy = size_px[0] / picked[0], size_px[1] / picked[1]
        if abs(fx / fy - 1) > 0.004:
            shown, own = (" x ".join(map(str, size)) for size in (picked, size_px))
            raise self.fault(
                f"points were picked on {shown}, the footage is {own}; they would be scaled if the shapes agreed. "
                "Pick them on a frame of the footage.",
                ("picked_on",),
            )
        return fx, fy


def is_match_file(path: Path) -> bool:
    """True for a YAML file whose first level has `footage`: what a folder may hold beside lessons."""
    try:
        tree = read(path)
    except LessonError:
        return False
    return isinstance(tree, Keys) and "footage" in tree.entries


def load(path: Path) -> MatchFile:
    """The match file at a path. Raises LessonError with every fault of its form and keys."""
    try:
        tree = read(path)
    except LessonError as error:
        raise LessonError([_of_match_file(fault) for fault in error.faults]) from None
    if not isinstance(tree, Keys):
        sentence = "is no match file; it is a mapping of keys: footage, points, balls and others."
        raise LessonError([Fault(tree.place, sentence, "recording")])
    faults = list(explain.empty_values(tree))
    known: dict[int, tuple[str, ...]] = {}
    data = plain(tree)
    points, more = _clicked(tree)
    faults += more
    try:
        keys = MatchKeys.model_validate(data, context=known)
    except ValidationError as error:
        faults += [f for e in error.errors(include_url=False) if (f := explain.fault(e, tree, data, known))]
    if faults:
        raise LessonError([_of_match_file(fault) for fault in faults])
    return MatchFile(path, keys, points, tree)


def _of_match_file(fault: Fault) -> Fault:
    """A fault that reading words for a lesson, in the words of a match file."""
    sentence = fault.sentence.replace("a lesson needs at least a title and clips", "a match file needs `footage`")
    return replace(fault, sentence=sentence.replace(" in the lesson.", " in this file."))


def _clicked(tree: Keys) -> tuple[dict[str, tuple[float, float]], list[Fault]]:
    """The picked points by name, and what is wrong with them."""
    if "points" not in tree.entries:
        return {}, []
    place, node = tree.entries["points"]
    if not isinstance(node, Keys):
        return {}, [Fault(place, "points must be a mapping: a point's name and [x, y] on each line.", "recording")]
    found: dict[str, tuple[float, float]] = {}
    faults: list[Fault] = []
    for name, (at, value) in node.entries.items():
        if name not in NAMED:
            faults.append(Fault(at, f"unknown point '{name}'{_near(name)}", "recording"))
            continue
        try:
            found[name] = _pixel(plain(value))
        except ValueError as error:
            faults.append(Fault(value.place, f"points.{name} {error}", "recording"))
    return found, faults


def _near(name: str) -> str:
    hint = did_you_mean(name, NAMED)
    return hint if hint.startswith("; did") else "; `aimgeo match --points` prints the names."
