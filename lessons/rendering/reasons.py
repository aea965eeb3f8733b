"""Why a clip will be drawn: what differs, as a value. The sentence is made from it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from lessons.rendering.cache import Key


class Cause(StrEnum):
    """What makes a clip render; each is its own sentence, except that a change tells what changed."""

    NEW = "new"
    CHANGED = "changed"
    FORM = "output settings changed"
    MISSING = "file missing"
    ALTERED = "file altered"
    UNREADABLE = "file unreadable"


@dataclass(frozen=True, slots=True)
class Change:
    """A fact or the version of a library that was one thing and is another."""

    name: str
    before: Any
    now: Any


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a clip will be drawn. `facts`, `libraries` and other `parts` of its key tell what changed."""

    cause: Cause
    facts: tuple[Change, ...] = ()
    libraries: tuple[Change, ...] = ()
    parts: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """The reason in words."""
        return ", ".join(_told(self)) or self.cause.value


FACT_WORDS = {
    "kind": ("kind", ""),
    "method": ("method", ""),
    "cut_deg": ("cut", " degrees"),
    "side": ("side", ""),
    "distance_mm": ("distance", " mm"),
    "eye": ("eye", ""),
    "size": ("size", ""),
    "rate": ("rate", " frames a second"),
    "frames": ("length", " frames"),
}

PART_WORDS = {
    "shot": "the shot changed",
    "subject": "what it shows changed",
    "words": "words in the picture changed",
    "timing": "timing of the steps changed",
    "output": "output size or rate changed",
    "theme": "theme changed",
    "encoder": "output settings changed",
    "sound": "its recording changed",
    "drawing": "the code that draws it changed",
    "libraries": "libraries changed",
    "font": "font changed",
    "opengl": "OpenGL renderer changed",
}

EXPLAINS = {
    "cut_deg": ("shot", "subject", "words"),
    "side": ("shot", "subject", "words"),
    "distance_mm": ("shot", "subject", "words"),
    "method": ("subject", "words", "timing"),
    "kind": ("subject", "words", "timing", "shot"),
    "eye": ("subject", "words", "opengl"),
    "size": ("output",),
    "rate": ("output", "timing"),
    "frames": ("timing",),
}
"""The parts that change because a fact does; what the numbers tell is not told twice."""


def changes(before: Key, now: Key) -> Reason | None:
    """Why a clip's pixels differ; None when they don't.

    >>> one = Key({"shot": "a", "theme": "dusk"}, {"cut_deg": 10.8})
    >>> changes(one, Key({"shot": "b", "theme": "dusk"}, {"cut_deg": 14.5})).sentence
    'cut 10.8 to 14.5 degrees'
    >>> changes(one, Key({"shot": "a", "theme": "day"}, {"cut_deg": 10.8})).parts
    ('theme',)
    """
    differing = [p for p in now.parts if before.parts.get(p) != now.parts[p]]
    if not differing:
        return None
    facts = _differences(FACT_WORDS, before.facts, now.facts)
    explained = {part for fact in facts for part in EXPLAINS[fact.name]}
    libraries: tuple[Change, ...] = ()
    if "libraries" in differing:
        old, new = before.facts.get("libraries", {}), now.facts.get("libraries", {})
        libraries = _differences(sorted(old.keys() | new.keys()), old, new)
        explained.add("libraries")
    return Reason(Cause.CHANGED, facts, libraries, tuple(p for p in differing if p not in explained))


def _differences(names: Iterable[str], before: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[Change, ...]:
    told = (Change(name, before.get(name), now.get(name)) for name in names)
    return tuple(one for one in told if one.before != one.now)


def _told(reason: Reason) -> Iterable[str]:
    for fact in reason.facts:
        word, unit = FACT_WORDS[fact.name]
        yield f"{word} {_shown(fact.before)} to {_shown(fact.now)}{unit}"
    for library in reason.libraries:
        yield f"{library.name} {_shown(library.before)} to {_shown(library.now)}"
    for part in reason.parts:
        yield PART_WORDS[part]


def _shown(value: Any) -> str:
    if value is None:
        return "none"
    return f"{value:.5g}" if isinstance(value, float) else str(value)
