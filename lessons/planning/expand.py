"""Expand: the matrix of each clip group becomes single clips, each with a name and a place in the file."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise, product
from math import prod
from pathlib import PurePath
from typing import Any

from lessons.lesson.explain import Location
from lessons.lesson.faults import Fault, LessonError, Place, did_you_mean
from lessons.lesson.fields import METHOD_NAMES
from lessons.lesson.model import AXES, CardGroup, Changes, Group, Lesson, slug
from lessons.lesson.texts import Translated, said
from lessons.lesson.values import Cut
from lessons.lesson.wording import LANGUAGES
from lessons.planning.given import Given, given_shots
from scenes.kinds import CLIP_KINDS
from scenes.kinds.kind import Kind

MOST_SHOTS = 5_000
"""The most shots that the clips of one lesson may show: beyond any course, and quick to refuse."""
MOST_OVERRIDES = 100
"""The most overrides that may change one clip."""
MOST_LISTED = 20
"""So many cuts are told at most where one is not among them."""
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
    and the group set, the last override first, each with its location in the file. `given` is the shot of a group
    that places its cue ball. `is_explicit` tells that the
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
    given: Given | None = None

    @property
    def kind(self) -> str:
        """The clip's kind."""
        return self.keys.kind


def expand(lesson: Lesson) -> tuple[Request, ...]:
    """The lesson's clips in order. Raises LessonError with all faults of the groups."""
    faults = list(_unknown_names(lesson))
    if faults:
        raise LessonError(faults)
    faults += _too_many(lesson)
    if faults:
        raise LessonError(faults)
    cuts, given = Cuts(lesson.keys.cuts), given_shots(lesson)
    requests: list[Request] = []
    for index, group in enumerate(lesson.keys.clips):
        made = list(_requests(lesson, index, group, cuts, given.get(index), faults))
        if not made:
            faults.append(
                Fault(lesson.place("clips", index), f"clips[{index}] excludes every clip that it makes.", "clips")
            )
        requests += made
    faults += _same_names(requests)
    if faults:
        raise LessonError(faults)
    return tuple(requests)


class Cuts:
    """The cuts of a lesson, found by their angle however they are written."""

    def __init__(self, cuts: tuple[Cut, ...]) -> None:
        self._cuts = sorted(cuts, key=lambda cut: cut.cut_rad)
        self._angles = [cut.cut_rad for cut in self._cuts]

    def find(self, cut: Cut) -> Cut | None:
        """The lesson's own cut of this angle, as the lesson writes it."""
        at = bisect_left(self._angles, cut.cut_rad)
        return next((near for near in self._cuts[max(at - 1, 0) : at + 1] if near.same_as(cut)), None)

    def as_listed(self, cuts: tuple[Cut, ...]) -> tuple[Cut, ...]:
        """Cuts as the lesson writes them; those that it does not have are left out."""
        return tuple(found for cut in cuts if (found := self.find(cut)) is not None)


def _too_many(lesson: Lesson) -> Iterator[Fault]:
    """A matrix beyond what a lesson, or a clip, may show: told before anything of it is walked."""
    count = 0
    for index, group in enumerate(lesson.keys.clips):
        kind = CLIP_KINDS[group.kind]
        covered = _covered(lesson, group, (*kind.axes, *kind.spans))
        count += prod(map(len, covered.values()))
        for axis in kind.spans:
            if kind.most is not None and len(covered[axis]) > kind.most:
                key = AXES[axis]
                yield Fault(
                    lesson.place("clips", index),
                    f"a {kind.name} clip shows {kind.most} {key} at most, not {len(covered[axis]):,}; "
                    f"name those that it shows under '{key}'.",
                    "clips",
                )
            if len(covered[axis]) < kind.least:
                has = "this group" if chosen(group, axis) else "this lesson"
                article = "an" if kind.name[0] in "aeiou" else "a"
                yield Fault(
                    lesson.place("clips", index, AXES[axis] if chosen(group, axis) else "kind"),
                    f"{article} {kind.name} clip compares two {AXES[axis]} or more; {has} has one.",
                    "clips",
                )
    if count > MOST_SHOTS:
        sentence = f"the clips multiply to {count:,} shots; a lesson may have {MOST_SHOTS:,} at most."
        yield Fault(lesson.place("clips"), sentence, "clips")


def _covered(
    lesson: Lesson, group: Group, axes: tuple[str, ...], cuts: Cuts | None = None
) -> dict[str, tuple[Any, ...]]:
    """What a group covers on some axes: all that the lesson has, unless it says otherwise.

    With the lesson's `cuts` they are as it writes them, so that a clip's name does not hang on the group.
    """
    covered = {axis: chosen(group, axis) or every for axis, every in _every(lesson).items() if axis in axes}
    if "cut" in covered and cuts is not None:
        covered["cut"] = cuts.as_listed(covered["cut"])
    return covered


def _every(lesson: Lesson) -> dict[str, tuple[Any, ...]]:
    keys = lesson.keys
    return {
        "method": (*METHOD_NAMES, *keys.own_methods),
        "cut": keys.cuts,
        "side": keys.sides,
        "distance": tuple(keys.distances),
        "eye": tuple(keys.eyes),
    }


def chosen(keys: Any, axis: str) -> tuple[Any, ...]:
    """What a group, an exclusion or an override names on an axis; empty when it names nothing."""
    return getattr(keys, AXES[axis], ())


def _requests(
    lesson: Lesson, index: int, group: Group, cuts: Cuts, given: Given | None, faults: list[Fault]
) -> Iterator[Request]:
    place = lesson.place("clips", index)
    kind = CLIP_KINDS[group.kind]
    choices = _covered(lesson, group, kind.axes, cuts)
    spanned = _covered(lesson, group, kind.spans, cuts)
    if given is not None:
        choices |= given.on()
    exclude, overrides = (_Fitting(getattr(group, key, ()), kind.axes, cuts) for key in ("exclude", "overrides"))
    made: set[str] = set()
    changes: dict[int, tuple[tuple[Changes, Location], ...]] = {}
    explicit = bool(chosen(group, "method") and (given or chosen(group, "cut")))
    if kind.is_filmed:
        choices = {"footage": getattr(group, "footage", ()), **choices}
    if kind.is_film:
        choices = {"footage": (getattr(group, "film", ""),)}
    for combination in product(*choices.values()):
        on = _sided(dict(zip(choices, combination, strict=True)))
        axes = {axis: value for axis, value in on.items() if axis in kind.axes}
        hits = overrides.fit(axes)
        name = clip_name(group, on)
        if exclude.fit(axes) or name in made:  # a straight shot has no second side
            continue
        made.add(name)
        if hits not in changes:
            if hits.bit_count() > MOST_OVERRIDES:
                sentence = f"{hits.bit_count():,} overrides change {name}; at most {MOST_OVERRIDES} may."
                raise LessonError([*faults, Fault(lesson.place("clips", index, "overrides"), sentence, "clips")])
            # the last one first
            at = [i for i in reversed(range(hits.bit_length())) if hits >> i & 1]
            own = [(overrides.items[i], ("clips", index, "overrides", i)) for i in at]
            changes[hits] = (*own, (group, ("clips", index)))
        views = _views(lesson, kind, spanned, on)
        yield Request(name, index, group, place, on, views, changes[hits], explicit, given)
    for key, fitting in (("exclude", exclude), ("overrides", overrides)):
        for i in fitting.unused():
            where = lesson.place("clips", index, key, i)
            faults.append(Fault(where, f"clips[{index}].{key}[{i}] fits no clip of its group.", "clips"))


class _Fitting:
    """The exclusions or the overrides of a group: which of them fit a combination, as the bits of a number.

    For each axis a value knows the items that name it, or that name nothing on the axis: thousands of items cost a
    combination no more than a few steps.
    """

    def __init__(self, items: tuple[Any, ...], axes: tuple[str, ...], cuts: Cuts) -> None:
        self.items = items
        self._used = 0
        self._every = (1 << len(items)) - 1
        self._anything: dict[str, int] = {}
        self._named: dict[str, dict[Any, int]] = {}
        for axis in axes:
            named: dict[Any, int] = {}
            open_to_all = self._every
            for i, item in enumerate(items):
                values = chosen(item, axis)
                if values:
                    open_to_all &= ~(1 << i)
                for value in cuts.as_listed(values) if axis == "cut" else values:
                    named[value] = named.get(value, 0) | 1 << i
            self._anything[axis], self._named[axis] = open_to_all, named

    def fit(self, on: Mapping[str, Any]) -> int:
        """The items that fit, bit i for item i."""
        fitting = self._every
        for axis, value in on.items():
            fitting &= self._anything[axis] | self._named[axis].get(value, 0)
        self._used |= fitting
        return fitting

    def unused(self) -> Iterator[int]:
        """The items that have fitted nothing so far."""
        return (i for i in range(len(self.items)) if not self._used >> i & 1)


def _sided(on: dict[str, Any]) -> dict[str, Any]:
    is_straight = "cut" in on and on["cut"].cut_rad == 0
    return {**on, "side": "straight"} if is_straight and "side" in on else on


def _views(
    lesson: Lesson, kind: Kind, spanned: Mapping[str, tuple[Any, ...]], on: dict[str, Any]
) -> tuple[View, ...]:
    """The shots of a clip: one, or all that its kind spans."""
    if kind.is_filmed or kind.is_film or (not kind.axes and not kind.spans):
        return ()
    first = {axis: every[0] for axis, every in _every(lesson).items() if axis in ("cut", "side", "distance")}
    views = []
    for combination in product(*spanned.values()):
        values = {**first, **on, **dict(zip(spanned, combination, strict=True))}
        if kind.is_over_cuts:
            values["cut"] = next((cut for cut in lesson.keys.cuts if cut.cut_rad), first["cut"])
        if kind.is_straight:
            values |= {"cut": STRAIGHT, "side": "straight"}
        views.append(View(**_sided(values)))
    return tuple(dict.fromkeys(views))


def clip_name(group: Group, on: dict[str, Any]) -> str:
    """A clip's name: it says what is shown, and stays the same whatever else the lesson holds."""
    stem = group.name or group.kind
    if isinstance(group, CardGroup) and CLIP_KINDS[group.kind].is_named_by_title and not group.name:
        stem = f"{group.kind}_{slug(_first_text(group.title or next(iter(getattr(group, 'lines', ())), None)))}"
    film = slug(PurePath(on["footage"]).stem) if "footage" in on else None
    parts = [film, on.get("method"), stem, cut_word(on["cut"]) if "cut" in on else None]
    parts += [on.get("side"), on.get("distance"), on.get("eye")]
    return "_".join(part for part in parts if part)


def _first_text(text: Translated | None) -> str:
    """A text in one language, whatever the lesson's: a clip has the same name in all of them."""
    return next((found for one in LANGUAGES if text and (found := said(text, one))), "")


def cut_word(cut: Cut) -> str:
    """A cut as part of a name: 'cut-14.5', 'overlap-3-4', 'sixteenths-8'."""
    stem = "cut" if cut.notation in ("degrees", "placed") else cut.notation
    if cut.notation == "overlap" and "/" in cut.text:
        return f"{stem}-{cut.number.numerator}-{cut.number.denominator}"
    return f"{stem}-{float(cut.number):.12g}"


def _unknown_names(lesson: Lesson) -> Iterator[Fault]:
    """Names and cuts that the groups use and the lesson does not have, and cuts given twice."""
    keys = lesson.keys
    cuts = Cuts(keys.cuts)
    yield from _twice(lesson, keys.cuts, ("cuts",))
    for part, known in (("eyes", keys.eyes), ("distances", keys.distances)):
        for name in getattr(keys.names, part):
            if name not in known:
                place = lesson.place_of_key("names", part, name)
                sentence = f"unknown {part.removesuffix('s')} '{name}'{did_you_mean(name, known)}"
                yield Fault(place, sentence, "unknown-name")
    for index, group in enumerate(keys.clips):
        at: Location = ("clips", index)
        yield from _unknown(lesson, group, cuts, at)
        for key in ("exclude", "overrides"):
            for i, item in enumerate(getattr(group, key, ())):
                yield from _unknown(lesson, item, cuts, (*at, key, i))
                if key == "exclude" and not any(chosen(item, axis) for axis in AXES):
                    sentence = "an exclusion that names nothing would exclude everything."
                    yield Fault(lesson.place(*at, key, i), sentence, "clips")


def _unknown(lesson: Lesson, keys: Any, listed: Cuts, at: Location) -> Iterator[Fault]:
    for axis, known in (("distance", lesson.keys.distances), ("eye", lesson.keys.eyes)):
        for i, name in enumerate(chosen(keys, axis)):
            if name not in known:
                sentence = f"unknown {axis} '{name}'{did_you_mean(name, known)}"
                yield Fault(lesson.place(*at, AXES[axis], i), sentence, "unknown-name")
    cuts = chosen(keys, "cut")
    yield from _twice(lesson, cuts, (*at, "cuts"))
    for i, cut in enumerate(cuts):
        if listed.find(cut) is None:
            told = ", ".join(c.text for c in lesson.keys.cuts[:MOST_LISTED])
            more = ", ..." if len(lesson.keys.cuts) > MOST_LISTED else ""
            sentence = f"cut {cut.text} is not among the lesson's cuts ({told}{more})."
            yield Fault(lesson.place(*at, "cuts", i), sentence, "unknown-name")


def _twice(lesson: Lesson, cuts: tuple[Cut, ...], at: Location) -> Iterator[Fault]:
    order = sorted(range(len(cuts)), key=lambda i: (cuts[i].cut_rad, i))
    for one, other in pairwise(order):
        if cuts[one].same_as(cuts[other]):
            first, second = sorted((one, other))
            sentence = f"cut {cuts[second].text} is the same as {cuts[first].text}, which is listed too."
            yield Fault(lesson.place(*at, second), sentence, "given-twice")


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
            "given-twice",
        )
