"""Expand: the matrix of each clip group becomes single clips, each with a name and a place in the file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import prod
from typing import Any

from lessons.faults import Fault, LessonError, Place, did_you_mean
from lessons.model import AXES, METHOD_NAMES, CardGroup, Changes, Group, Lesson, slug
from lessons.values import Cut
from scenes import CLIP_KINDS

MOST_CLIPS = 5_000
"""The most clips of one lesson: far beyond any course, and quick to refuse."""


@dataclass(frozen=True, slots=True)
class Request:
    """One clip that a lesson asks for. What does not apply is None; `side` is 'straight' for a cut of 0.

    `changes` are what the overrides and the group set, the last override first. `is_explicit` tells that the
    group itself names both the method and the cut, so that an impossible pair is the author's mistake.
    """

    name: str
    group: int
    keys: Group
    place: Place
    method: str | None = None
    cut: Cut | None = None
    side: str | None = None
    distance: str | None = None
    eye: str | None = None
    changes: tuple[tuple[Changes, tuple[str | int, ...]], ...] = ()
    is_explicit: bool = False

    @property
    def kind(self) -> str:
        """The clip's kind."""
        return self.keys.kind


def expand(lesson: Lesson) -> tuple[Request, ...]:
    """The lesson's clips in order. Raises LessonError with all faults of the groups."""
    faults = list(_unknown_names(lesson))
    axes = [_axes(lesson, group) for group in lesson.keys.clips]
    count = sum(prod(len(choices) for choices in group.values()) for group in axes)
    if count > MOST_CLIPS:
        place = lesson.place("clips")
        faults.append(Fault(place, f"the clips multiply to {count:,}; a lesson may have {MOST_CLIPS:,} at most."))
    if faults:
        raise LessonError(faults)
    requests: list[Request] = []
    for index, (group, choices) in enumerate(zip(lesson.keys.clips, axes, strict=True)):
        made = list(_requests(lesson, index, group, choices, faults))
        if not made:
            faults.append(
                Fault(lesson.place("clips", index), f"clips[{index}] excludes every clip that it makes.")
            )
        requests += made
    faults += _same_names(requests)
    if faults:
        raise LessonError(faults)
    return tuple(requests)


def _axes(lesson: Lesson, group: Group) -> dict[str, tuple[Any, ...]]:
    """What a group covers on each axis of its kind: all, unless it says otherwise."""
    keys = lesson.keys
    every: dict[str, tuple[Any, ...]] = {
        "method": METHOD_NAMES,
        "cut": keys.cuts,
        "side": keys.sides,
        "distance": tuple(keys.distances),
        "eye": tuple(keys.eyes),
    }
    return {axis: chosen(group, axis) or every[axis] for axis in AXES if axis in CLIP_KINDS[group.kind].axes}


def chosen(keys: Any, axis: str) -> tuple[Any, ...]:
    """What a group, an exclusion or an override names on an axis; empty when it names nothing."""
    return getattr(keys, AXES[axis], ())


def _requests(
    lesson: Lesson, index: int, group: Group, choices: dict[str, tuple[Any, ...]], faults: list[Fault]
) -> Iterator[Request]:
    place = lesson.place("clips", index)
    excludes = getattr(group, "exclude", ())
    overrides = getattr(group, "overrides", ())
    used: set[tuple[str, int]] = set()
    made: set[str] = set()
    explicit = bool(chosen(group, "method") and chosen(group, "cut"))
    for combination in product(*choices.values()):
        on = dict(zip(choices, combination, strict=True))
        if "cut" in on and on["cut"].cut_rad == 0 and "side" in on:
            on["side"] = "straight"
        if hit := [i for i, keys in enumerate(excludes) if _fits(keys, on)]:
            used |= {("exclude", i) for i in hit}
            continue
        hit = [i for i, keys in enumerate(overrides) if _fits(keys, on)]
        used |= {("overrides", i) for i in hit}
        name = clip_name(group, on)
        if name in made:  # a straight shot has no second side
            continue
        made.add(name)
        changes = [(overrides[i], ("clips", index, "overrides", i)) for i in reversed(hit)]
        yield Request(
            name, index, group, place, **on, changes=(*changes, (group, ("clips", index))), is_explicit=explicit
        )
    for key, items in (("exclude", excludes), ("overrides", overrides)):
        for i in range(len(items)):
            if (key, i) not in used:
                faults.append(
                    Fault(
                        lesson.place("clips", index, key, i),
                        f"clips[{index}].{key}[{i}] fits no clip of its group.",
                    )
                )


def _fits(keys: Any, on: dict[str, Any]) -> bool:
    return all(_is_among(value, chosen(keys, axis)) for axis, value in on.items() if chosen(keys, axis))


def _is_among(value: Any, named: tuple[Any, ...]) -> bool:
    if isinstance(value, Cut):
        return any(value.same_as(cut) for cut in named)
    return value in named


def clip_name(group: Group, on: dict[str, Any]) -> str:
    """A clip's name: it says what is shown, and stays the same whatever else the lesson holds."""
    stem = group.name or group.kind
    if isinstance(group, CardGroup) and group.kind == "section" and not group.name:
        stem = f"section_{slug(group.title or '')}"
    parts = [on.get("method"), stem, cut_word(on["cut"]) if "cut" in on else None]
    parts += [on.get("side"), on.get("distance"), on.get("eye")]
    return "_".join(part for part in parts if part)


def cut_word(cut: Cut) -> str:
    """A cut as part of a name: 'cut-14.5', 'overlap-3-4', 'sixteenths-8'."""
    stem = "cut" if cut.notation == "degrees" else cut.notation
    if cut.notation == "overlap" and "/" in cut.text:
        return f"{stem}-{cut.number.numerator}-{cut.number.denominator}"
    return f"{stem}-{float(cut.number):.12g}"


def _unknown_names(lesson: Lesson) -> Iterator[Fault]:
    """Names and cuts that the groups use and the lesson does not have, and cuts given twice."""
    keys = lesson.keys
    yield from _twice(lesson, keys.cuts, ("cuts",))
    for index, group in enumerate(keys.clips):
        at: tuple[str | int, ...] = ("clips", index)
        yield from _unknown(lesson, group, at)
        for key in ("exclude", "overrides"):
            for i, item in enumerate(getattr(group, key, ())):
                yield from _unknown(lesson, item, (*at, key, i))
                if key == "exclude" and not any(chosen(item, axis) for axis in AXES):
                    yield Fault(
                        lesson.place(*at, key, i), "an exclusion that names nothing would exclude everything."
                    )


def _unknown(lesson: Lesson, keys: Any, at: tuple[str | int, ...]) -> Iterator[Fault]:
    for axis, known in (("distance", lesson.keys.distances), ("eye", lesson.keys.eyes)):
        for i, name in enumerate(chosen(keys, axis)):
            if name not in known:
                yield Fault(
                    lesson.place(*at, AXES[axis], i), f"unknown {axis} '{name}'{did_you_mean(name, known)}"
                )
    cuts = chosen(keys, "cut")
    yield from _twice(lesson, cuts, (*at, "cuts"))
    for i, cut in enumerate(cuts):
        if not _is_among(cut, lesson.keys.cuts):
            listed = ", ".join(c.text for c in lesson.keys.cuts)
            yield Fault(lesson.place(*at, "cuts", i), f"cut {cut.text} is not among the lesson's cuts ({listed}).")


def _twice(lesson: Lesson, cuts: tuple[Cut, ...], at: tuple[str | int, ...]) -> Iterator[Fault]:
    for i, cut in enumerate(cuts):
        for earlier in cuts[:i]:
            if cut.same_as(earlier):
                yield Fault(
                    lesson.place(*at, i), f"cut {cut.text} is the same as {earlier.text}, which is listed too."
                )
                break


def _same_names(requests: list[Request]) -> Iterator[Fault]:
    first: dict[str, Request] = {}
    told: set[tuple[int, int]] = set()
    for request in requests:
        other = first.setdefault(request.name, request)
        if other is request or (other.group, request.group) in told:
            continue
        told.add((other.group, request.group))
        yield Fault(
            request.place,
            f"clip '{request.name}' is made by line {other.place.line} too; give one of the two groups a 'name'.",
        )
