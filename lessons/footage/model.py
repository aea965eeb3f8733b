"""The match file: what was clicked on a picture of a real table, read and checked like a lesson."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import isfinite
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PlainValidator, ValidationError, model_validator

from aimgeo.landmarks import MEASURES, NAMED, Prior, measures_of
from aimgeo.tables import TABLES, Table
from lessons.footage.matched import Clicks
from lessons.lesson import explain
from lessons.lesson.faults import Fault, LessonError, Place, did_you_mean
from lessons.lesson.fields import CutValue, Pocket, PositiveLength, Side, Spot, Words, choice
from lessons.lesson.read import Keys, Node, plain, read
from lessons.lesson.texts import Strict

MEASURED = tuple(name for name in MEASURES if not name.endswith(("_x", "_y")))
MEASURED_ERROR_MM = 0.5
"""One standard error of what somebody measured on the table with a tape."""

CLICKED = ("footage", "at", "table", "target", "picked_on", "points", "foot", "balls")
"""The keys of a match file that the page for clicking writes; the others are its author's."""

MANY_OUTSIDE = 3
BALLS_MM = (40.0, 75.0)

WILD = 0.3
"""The part of its usual size by which no measure of a table differs."""


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


def _places(value: Any) -> Any:
    if isinstance(value, list | tuple) and len(value) == 2 and not any(isinstance(v, list | tuple) for v in value):
        raise ValueError(f"is one place; write a list of places, [[{value[0]}, {value[1]}]].")
    return value


def _ball(value: Any) -> Any:
    if isinstance(value, dict):
        raise ValueError("is the balls' diameter, such as 57.15 mm; the clicks on them stand under `balls`.")
    return value


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
    others: Annotated[tuple[Pixel, ...], BeforeValidator(_places)] = ()


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
    ball: Annotated[PositiveLength, BeforeValidator(_ball)] = Field("57.15 mm", validate_default=True)
    target: Pocket = "foot-left"
    points: Any = None  # read apart, so that each name and place is told by its line
    picked_on: PictureSize | None = None
    foot: Pixel | None = None
    head: Pixel | None = None
    balls: Balls = Field(default_factory=Balls)
    lens: Lens | None = None
    measured: dict[Measure, PositiveLength] = Field(default_factory=dict)
    plan: Plan | None = None

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
        self._check_shape(size_px)
        picked = self.keys.picked_on or size_px
        outside = [
            (pixel, location)
            for location, pixel in self._clicked()
            if not (0 <= pixel[0] <= picked[0] and 0 <= pixel[1] <= picked[1])
        ]
        if outside:
            raise LessonError(
                [Fault(self.place(*at), told, "recording") for at, told in _outside(outside, picked)]
            )
        return self._clicks(size_px[0] / picked[0], size_px[1] / picked[1])

    def scaled(self, picked: tuple[int, int], size_px: tuple[int, int]) -> Clicks | None:
        """The clicks on a picture of `size_px` as if made on one of another size; None where some lie outside."""
        if any(x > picked[0] or y > picked[1] for _, (x, y) in self._clicked()):
            return None
        return self._clicks(size_px[0] / picked[0], size_px[1] / picked[1])

    def _clicked(self) -> Iterator[tuple[tuple[str | int, ...], tuple[float, float]]]:
        """All clicks as they are written, each with its key."""
        keys, balls = self.keys, self.keys.balls
        for name, pixel in self.points.items():
            yield ("points", name), pixel
        for role in ("cue", "object"):
            if (one := getattr(balls, role)) is not None:
                yield ("balls", role), one
        for k, pixel in enumerate(balls.others):
            yield ("balls", "others", k), pixel
        for end in ("foot", "head"):
            if (one := getattr(keys, end)) is not None:
                yield (end,), one

    def _clicks(self, fx: float, fy: float) -> Clicks:
        keys, table = self.keys, self.table
        at = {location: (x * fx, y * fy) for location, (x, y) in self._clicked()}
        towards: Any = next(((end, at[end,]) for end in ("foot", "head") if (end,) in at), None)
        return Clicks(
            table=table,
            points={name: at["points", name] for name in self.points},
            cue=at.get(("balls", "cue")),
            object=at.get(("balls", "object")),
            others=tuple(at["balls", "others", k] for k in range(len(keys.balls.others))),
            towards=towards,
            focal_mm=None if keys.lens is None else keys.lens.focal.mm(self.ball_mm, table.length_mm),
            measured={name: Prior(mm, MEASURED_ERROR_MM) for name, mm in self.measured_mm().items()},
            ball_diameter_mm=self.ball_mm,
        )

    def measured_mm(self) -> dict[str, float]:
        """What was measured on the table."""
        lengths = self.keys.measured.items()
        return {name: length.mm(self.ball_mm, self.table.length_mm) for name, length in lengths}

    def _check_shape(self, size_px: tuple[int, int]) -> None:
        picked = self.keys.picked_on
        if picked is not None and abs(size_px[0] * picked[1] / (size_px[1] * picked[0]) - 1) > 0.004:
            shown, own = (" x ".join(map(str, size)) for size in (picked, size_px))
            raise self.fault(
                f"points were picked on {shown}, the footage is {own}; they would be scaled if the shapes agreed. "
                "Pick them on a frame of the footage.",
                ("picked_on",),
            )


def _outside(
    clicks: list[tuple[tuple[float, float], tuple[str | int, ...]]], size: tuple[int, int]
) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """What is told of clicks outside a picture, with the key of each; of many one sentence."""
    shown = " x ".join(map(str, size))
    if len(clicks) < MANY_OUTSIDE:
        for (x, y), at in clicks:
            yield at, f"[{x:g}, {y:g}] lies outside the picture, which is {shown}."
        return
    told = f"{len(clicks)} clicks lie outside the picture, which is {shown}. If they were made on another size,"
    yield clicks[0][1], f"{told} write that: `picked_on: WIDTH x HEIGHT`."


def is_match_file(path: Path) -> bool:
    """True for a YAML file whose first level has `footage`, also where it can't be read for a fault: what a folder
    may hold beside lessons.
    """
    try:
        tree = read(path)
    except LessonError:
        try:
            return re.search(r"^footage\s*:", path.read_text("utf-8", "replace"), re.MULTILINE) is not None
        except OSError:
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
    file = MatchFile(path, keys, points, tree)
    if faults := list(_wild(file)):
        raise LessonError(faults)
    return file


def _wild(file: MatchFile) -> Iterator[Fault]:
    """Measures that no table or ball has: another unit, or another place."""
    if not BALLS_MM[0] <= file.ball_mm <= BALLS_MM[1]:
        sentence = f"a ball is {BALLS_MM[0]:g} to {BALLS_MM[1]:g} mm across, not {file.ball_mm:g}; check the unit."
        yield Fault(file.place("ball"), sentence, "value")
        return
    usual = measures_of(file.table, file.ball_mm)
    for name, mm in file.measured_mm().items():
        if abs(mm / usual[name].mm - 1) > WILD:
            told = f"{name.replace('_', ' ')} is {mm:.4g} mm; a {file.keys.table} table has about"
            sentence = f"{told} {usual[name].mm:.4g}. Check the unit and what was measured."
            yield Fault(file.place("measured", name), sentence, "value")


def _of_match_file(fault: Fault) -> Fault:
    """A fault that reading words for a lesson, in the words of a match file."""
    sentence = fault.sentence.replace("a lesson needs at least a title and clips", "a match file needs `footage`")
    for lessons, own in ((" in the lesson.", " in this file."), ("by 'sides'", "by 'side'")):
        sentence = sentence.replace(lessons, own)
    return replace(fault, sentence=sentence)


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
