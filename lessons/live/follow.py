"""Where a clip stands after its file was changed: a changed cut renames it, or a cue ball put elsewhere."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

from lessons.lesson.model import Lesson
from lessons.planning.expand import Request
from lessons.planning.planned import PlannedClip

Standing = TypeVar("Standing", PlannedClip, Request)


def nearest(old: PlannedClip, now: Sequence[Standing]) -> Standing:
    """What stands where a clip stood in the matrix: a changed cut renames it, or a cue ball put elsewhere."""
    is_placed = old.distance_name is not None and PLACED.fullmatch(old.distance_name) is not None

    def apart(one: Standing) -> tuple[bool | float | int, ...]:
        kind, method, side, distance, eye, cut_deg = _stands(one)
        return (
            one.name != old.name,
            kind != old.kind,
            method != old.method,
            stem(one.name, method) != stem(old.name, old.method),
            abs(one.place.line - old.place.line) if is_placed else 0,
            side != old.side,
            distance != old.distance_name,
            eye != old.eye,
            abs((cut_deg or 0.0) - (old.cut_deg or 0.0)),
            abs(one.place.line - old.place.line),
        )

    return min(now, key=apart)


PLACED = re.compile(r"[0-9.]+-mm")
"""The distance in the name of a clip whose cue ball the file places."""


def followed(clip: PlannedClip, before: Lesson, now: Lesson) -> PlannedClip:
    """A clip under the cut, distance and eye that took the place of its own in the lesson's lists."""
    was, new = before.keys, now.keys
    cut_deg = clip.cut_deg if clip.cut_deg is not None else math.nan
    cut = next((k for k, one in enumerate(was.cuts) if abs(one.cut_deg - cut_deg) < 1e-7), None)
    if (
        cut is not None
        and len(was.cuts) == len(new.cuts)
        and not any(one.same_as(was.cuts[cut]) for one in new.cuts)
    ):
        clip = replace(clip, cut_deg=new.cuts[cut].cut_deg)
    return replace(
        clip,
        distance_name=_in_its_place(clip.distance_name, list(was.distances), list(new.distances)),
        eye=_in_its_place(clip.eye, list(was.eyes), list(new.eyes)),
    )


def _in_its_place(name: str | None, was: Sequence[str], now: Sequence[str]) -> str | None:
    if name is None or name in now or name not in was or len(was) != len(now):
        return name
    return now[was.index(name)]


def is_same_place(old: PlannedClip, new: PlannedClip) -> bool:
    """True for a clip of the same kind, method, side, distance, eye and cut as another, however it is called."""
    (*names, cut_deg), (*others, other_deg) = _stands(old), _stands(new)
    return names == others and abs((cut_deg or 0.0) - (other_deg or 0.0)) < 1e-7


def stem(name: str, method: str | None) -> str:
    """What of a clip's name is its group's: the kind, or the name that the author gave."""
    return name.split("_")[1 if method else 0]


def _stands(
    one: PlannedClip | Request,
) -> tuple[str, str | None, str | None, str | None, str | None, float | None]:
    """Kind, method, side, distance, eye and cut."""
    if isinstance(one, PlannedClip):
        return one.kind, one.method, one.side, one.distance_name, one.eye, one.cut_deg
    on = one.on
    method, cut = on.get("method"), on.get("cut")
    return (
        one.kind,
        method and method.replace("-", "_"),
        on.get("side"),
        on.get("distance"),
        on.get("eye"),
        cut and cut.cut_deg,
    )


def carried(frame: int, old: PlannedClip, new: PlannedClip) -> int:
    """The frame at the same part of the same step."""
    at = frame - old.brief.handle_frames
    spans = dict(zip((s.name for s in new.brief.steps), new.brief.spans, strict=True))
    for step, (first, end) in zip(old.brief.steps, old.brief.spans, strict=True):
        if first <= at < end and step.name in spans:
            to_first, to_end = spans[step.name]
            part = (at - first) / max(end - first - 1, 1)
            return new.brief.handle_frames + to_first + round(part * max(to_end - to_first - 1, 0))
    return min(frame, new.frames - 1)
