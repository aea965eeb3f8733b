"""Answers to requests about shots, for one or many at once, as docs/solve.md lays down."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from aimgeo.asking.asked import Asked, ask
from aimgeo.asking.fields import ROLLED, Refusal
from aimgeo.asking.parts import Part, parts_of, shot_columns
from aimgeo.asking.request import identity_of
from aimgeo.asking.resolve import FROZEN_MM, eyes_of, frames_of, shots_of
from aimgeo.asking.rows import plain_values, rows, taken
from aimgeo.asking.unanswerable import refused_eyes, refused_shots
from aimgeo.shot import Shot, one_of_many
from aimgeo.vectors import BoolArray, IntArray, angle_rad

AIM_KEYS = ("aim_direction", "cut_deg", "side", "travel_mm", "overlap", "aim_offset_mm", "contact_offset_mm")
"""What a shot does not have when the balls touch."""
IMPACT_KEYS = ("ghost_ball_mm", "contact_object_mm", "contact_cue_mm", "object_direction", "line_of_centres_deg")
"""What a rolled ball then does not have either."""


def answer(requests: Sequence[Any], only: Sequence[str] | None = None) -> list[dict[str, Any]]:
    """One answer for each request, in order; a request that has none gets an `error`.

    `only` some of an answer's keys may be asked for; errors are told all the same.

    >>> asked = {"object_ball_mm": [0, 0], "target_mm": [900, 0], "cut_deg": 30, "side": "left", "distance_mm": 99}
    >>> answer([asked])[0]["shot"]["overlap"]
    0.5
    >>> answer([{**asked, "cut_deg": 95}])[0]["error"]["code"]
    'cut_out_of_range'
    """
    parts, _ = answer_parts(requests, only)
    answers: list[dict[str, Any]] = [{} for _ in requests]
    for part in parts:
        columns = {key: part.columns[key] for key in part.columns if only is None or key in (*only, "error")}
        for i, one in zip(part.places.tolist(), rows(columns, part.places.size), strict=True):
            answers[i].update(one)
    return answers


def shot_answer(shot: Shot) -> dict[str, Any]:
    """The `shot` part of the answer for one shot (scalar fields)."""
    return rows(shot_columns(one_of_many(shot)), 1)[0]


def answer_parts(requests: Sequence[Any], only: Sequence[str] | None = None) -> tuple[list[Part], int]:
    """The answers to a batch as columns, in the order of an answer's keys; and how many of them are refusals."""
    asked, where, refused = ask(requests)
    parts: list[Part] = []
    if where.size:
        with np.errstate(all="ignore"):
            found, parts = _answered(asked, only is None or "eye" in only)
        refused |= {int(where[i]): refusal for i, refusal in found.items()}
    names = {i: name for i, request in enumerate(requests) if (name := identity_of(request)) is not None}
    errors = {i: refused[i].as_dict() for i in sorted(refused)}
    return [
        *_part("id", names),
        *_part("error", errors),
        *(Part(where[part.places], part.columns) for part in parts),
    ], len(refused)


def _part(key: str, values: Mapping[int, Any]) -> list[Part]:
    return [Part(np.array(list(values)), {key: list(values.values())})] if values else []


def _answered(asked: Asked, tells_eye: bool) -> tuple[dict[int, Refusal], list[Part]]:
    shot = shots_of(asked)
    refused = refused_shots(asked, shot)
    frozen = np.abs(shot.distance_mm - shot.ball_diameter_mm) <= FROZEN_MM
    live = _but(np.flatnonzero(~frozen), refused)
    alive = asked.at(live)
    frame = frames_of(alive, taken(shot, live))
    eye = eyes_of(alive, frame)
    refused |= {int(live[i]): refusal for i, refusal in refused_eyes(alive, frame, eye).items()}
    kept = _but(live, refused)
    touching = _but(np.flatnonzero(frozen), refused)
    parts: list[Part] = []
    if touching.size:
        rolled = asked["mode"][touching] == ROLLED
        parts.append(Part(touching, {"shot": _frozen_answers(taken(shot, touching), rolled)}))
    if kept.size:
        at = np.flatnonzero(np.isin(live, kept))
        made = parts_of(asked.at(kept), taken(shot, kept), taken(frame, at), eye[at], tells_eye)
        parts += [Part(kept[part.places], part.columns) for part in made]
    return refused, parts


def _but(places: IntArray, refused: Mapping[int, Refusal]) -> IntArray:
    return places if not refused else places[~np.isin(places, list(refused))]


def _frozen_answers(shot: Shot, rolled: BoolArray) -> list[dict[str, Any]]:
    """The `shot` parts for touching balls: no aim direction, so no cut either; rolled, no impact at all."""
    count = len(rolled)
    centres = shot.object_ball_mm[:, :2] - shot.cue_ball_mm[:, :2]
    turns = plain_values(np.degrees(angle_rad(centres, shot.object_direction)), count)
    answers = rows(shot_columns(shot), count)
    for one, turn, is_rolled in zip(answers, turns, rolled.tolist(), strict=True):
        one["line_of_centres_deg"] = turn
        one.update(dict.fromkeys(AIM_KEYS + IMPACT_KEYS if is_rolled else AIM_KEYS), frozen=True)
    return answers
