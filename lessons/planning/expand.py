"""Expand: the matrix of each clip group becomes single clips, each with a name and a place in the file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise, product
from math import prod
from typing import Any

from lessons.lesson.explain import Location
from lessons.lesson.faults import Fault, LessonError, Place, did_you_mean
from lessons.lesson.fields import METHOD_NAMES
from lessons.lesson.model import AXES, CardGroup, Changes, Group, Lesson, Translated, said, slug
from lessons.lesson.values import Cut
from lessons.lesson.wording import LANGUAGES
from scenes.kinds import CLIP_KINDS

MOST_SHOTS = 5_000
"""The most shots that the clips of one lesson may show: beyond any course, and quick to refuse."""
STRAIGHT = Cut("0", "degrees", Fraction(0), 0.0)


@dataclass(frozen=True, slots=True)
class View:
    """One shot as it is to be shown: what the axes say, and the lesson's first where no axis says it.

    `side` is 'straight' for a cut of 0; `method` and `eye` are None for a kind that shows none.
    """

    cut: Cut
    side: str
    distance: str
    method: str | None = None
    eye: str | None = None


@dataclass(frozen=True, slots=True)
class Request:
    """One clip that a lesson asks for; `on` says where it stands on the axes of its kind.

    A card that shows no shot has no views; a kind that spans axes has several. `changes` are what the overrides
    and the group set, the last override first, each with its location in the file. `is_explicit` tells that the
    group itself names both method and cut, so that an impossible pair is the author's mistake.
    """

    name: str
    group: int
    keys: Group
    place: Place
    on: Mapping[str, Any]
    views: tuple[View, ...]
    changes: tuple[tuple[Changes, Location], ...]
    is_explicit: bool = False

    @property
    def kind(self) -> str:
        """The clip's kind."""
        return self.keys.kind


def expand(lesson: Lesson) -> tuple[Request, ...]:
    """The lesson's clips in order. Raises LessonError with all faults of the groups."""
    faults = list(_unknown_names(lesson))
    if faults:
        raise LessonError(faults)
    kinds = [CLIP_KINDS[group.kind] for group in lesson.keys.clips]
    shots = [_covered(lesson, g, (*k.axes, *k.spans)) for g, k in zip(lesson.keys.clips, kinds, strict=True)]
    count = sum(prod(len(choices) for choices in group.values()) for group in shots)
    if count > MOST_SHOTS:
        sentence = f"the clips multiply to {count:,} shots; a lesson may have {MOST_SHOTS:,} at most."
        raise LessonError([Fault(lesson.place("clips"), sentence)])
    axes = [{a: c for a, c in g.items() if a in k.axes} for g, k in zip(shots, kinds, strict=True)]
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


def _covered(lesson: Lesson, group: Group, axes: tuple[str, ...]) -> dict[str, tuple[Any, ...]]:
    """What a group covers on some axes: all that the lesson has, unless it says otherwise."""
    covered = {axis: chosen(group, axis) or every for axis, every in _every(lesson).items() if axis in axes}
    if "cut" in covered:  # as the lesson writes them, so that a clip's name does not hang on the group
        covered["cut"] = tuple(next(c for c in lesson.keys.cuts if c.same_as(cut)) for cut in covered["cut"])
    return covered


def _every(lesson: Lesson) -> dict[str, tuple[Any, ...]]:
    keys = lesson.keys
    return {
        "method": METHOD_NAMES,
        "cut": keys.cuts,
        "side": keys.sides,
        "distance": tuple(keys.distances),
        "eye": tuple(keys.eyes),
    }


def chosen(keys: Any, axis: str) -> tuple[Any, ...]:
    """What a group, an exclusion or an override names on an axis; empty when it names nothing."""
    return getattr(keys, AXES[axis], ())


def _requests(
    lesson: Lesson, index: int, group: Group, choices: dict[str, tuple[Any, ...]], faults: list[Fault]
) -> Iterator[Request]:
    place = lesson.place("clips", index)
    chances = {key: getattr(group, key, ()) for key in ("exclude", "overrides")}
    used: set[tuple[str, int]] = set()
    made: set[str] = set()
    explicit = bool(chosen(group, "method") and chosen(group, "cut"))
    for combination in product(*choices.values()):
        on = _sided(dict(zip(choices, combination, strict=True)))
        hits = {key: [i for i, keys in enumerate(items) if _fits(keys, on)] for key, items in chances.items()}
        used |= {(key, i) for key, hit in hits.items() for i in hit}
        name = clip_name(group, on)
        if hits["exclude"] or name in made:  # a straight shot has no second side
            continue
        made.add(name)
        changes: list[tuple[Changes, Location]] = [
            (chances["overrides"][i], ("clips", index, "overrides", i)) for i in reversed(hits["overrides"])
        ]
        changes.append((group, ("clips", index)))
        yield Request(name, index, group, place, on, _views(lesson, group, on), tuple(changes), explicit)
    for key, items in chances.items():
        for i in range(len(items)):
            if (key, i) not in used:
                at = lesson.place("clips", index, key, i)
                faults.append(Fault(at, f"clips[{index}].{key}[{i}] fits no clip of its group."))


def _sided(on: dict[str, Any]) -> dict[str, Any]:
    is_straight = "cut" in on and on["cut"].cut_rad == 0
    return {**on, "side": "straight"} if is_straight and "side" in on else on


def _views(lesson: Lesson, group: Group, on: dict[str, Any]) -> tuple[View, ...]:
    """The shots of a clip: one, or all that its kind spans."""
    kind = CLIP_KINDS[group.kind]
    if not kind.axes and not kind.spans:
        return ()
    spanned = _covered(lesson, group, kind.spans)
    first = {axis: every[0] for axis, every in _every(lesson).items() if axis in ("cut", "side", "distance")}
    views = []
    for combination in product(*spanned.values()):
        values = {**first, **on, **dict(zip(spanned, combination, strict=True))}
        if kind.is_straight:
            values |= {"cut": STRAIGHT, "side": "straight"}
        views.append(View(**_sided(values)))
    return tuple(dict.fromkeys(views))


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
        stem = f"section_{slug(_first_text(group.title))}"
    parts = [on.get("method"), stem, cut_word(on["cut"]) if "cut" in on else None]
    parts += [on.get("side"), on.get("distance"), on.get("eye")]
    return "_".join(part for part in parts if part)


def _first_text(text: Translated | None) -> str:
    """A text in one language, whatever the lesson's: a clip has the same name in all of them."""
    return next((found for one in LANGUAGES if text and (found := said(text, one))), "")


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
        at: Location = ("clips", index)
        yield from _unknown(lesson, group, at)
        for key in ("exclude", "overrides"):
            for i, item in enumerate(getattr(group, key, ())):
                yield from _unknown(lesson, item, (*at, key, i))
                if key == "exclude" and not any(chosen(item, axis) for axis in AXES):
                    yield Fault(
                        lesson.place(*at, key, i), "an exclusion that names nothing would exclude everything."
                    )


def _unknown(lesson: Lesson, keys: Any, at: Location) -> Iterator[Fault]:
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


def _twice(lesson: Lesson, cuts: tuple[Cut, ...], at: Location) -> Iterator[Fault]:
    order = sorted(range(len(cuts)), key=lambda i: (cuts[i].cut_rad, i))
    for one, other in pairwise(order):
        if cuts[one].same_as(cuts[other]):
            first, second = sorted((one, other))
            sentence = f"cut {cuts[second].text} is the same as {cuts[first].text}, which is listed too."
            yield Fault(lesson.place(*at, second), sentence)


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
