"""A matched shot for a lesson: its camera, shot and table from the match file's answer, as plain values."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import orjson

from aimgeo.construct import Position
from aimgeo.landmarks import MEASURES, noses
from aimgeo.shot import Shot, solve_shot
from aimgeo.tables import TABLES, Table
from lessons.lesson.values import RATES
from scenes.board import FilmedCamera
from scenes.board.brief import Footage


@dataclass(frozen=True, slots=True)
class SetBall:
    """A ball of a filmed shot: where it lay and where it was planned (mm), and half-widths of 95 %."""

    ball: str
    centre_mm: tuple[float, float]
    error_mm: tuple[float, float]
    planned_mm: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class SetUp:
    """A filmed shot as it was set up: the match file, its footage's name, and what was measured against the plan.

    `shot` is as `aimgeo solve` answers it. Cuts are in degrees, to the left positive; errors half-widths of 95 %.
    """

    match_file: str
    footage: str
    is_still: bool
    balls: tuple[SetBall, ...]
    shot: dict[str, Any]
    cut_deg: float
    cut_error_deg: float
    distance_mm: float
    distance_error_mm: float
    planned_cut_deg: float | None = None
    planned_distance_mm: float | None = None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Filmed:
    """A matched shot: the footage for its clips, the shot and its table, size and rate, and what was measured."""

    footage: Footage
    file: Path
    shot: Shot
    pocket: str
    size_px: tuple[int, int]
    rate: tuple[int, int]
    timecode: str
    cut_deg: float
    planned: tuple[float, float] | None
    table: Table
    set_up: SetUp


def digest_of(path: Path) -> str:
    """What tells one state of a match file from another."""
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16]


def filmed(path: Path, is_planned: bool) -> Filmed:
    """The matched shot of a match file, as it was filmed or as it was planned. Raises ValueError with a
    sentence.
    """
    if not path.is_file():
        raise ValueError(f"there is no match file '{path.name}' there; check the name.")
    answer = path.with_name(f"{path.stem}.match.json")
    try:
        told: dict[str, Any] = orjson.loads(answer.read_bytes())
    except OSError:
        raise ValueError(
            f"'{path.name}' is not matched yet; run `aimgeo match {path.as_posix()}` first."
        ) from None
    except orjson.JSONDecodeError:
        raise ValueError(f"'{answer.name}' is no match; run `aimgeo match {path.as_posix()}` again.") from None
    if not isinstance(told, dict) or told.get("of") != digest_of(path):
        raise ValueError(
            f"'{path.name}' has changed since it was matched; run `aimgeo match {path.as_posix()}` again."
        )
    try:
        return _of_answer(path, told, is_planned)
    except (LookupError, TypeError, AttributeError):
        raise ValueError(
            f"'{answer.name}' is not what a match writes; run `aimgeo match {path.as_posix()}` again."
        ) from None


def _of_answer(path: Path, told: dict[str, Any], is_planned: bool) -> Filmed:
    """The matched shot of an answer. Raises ValueError with a sentence, others where the answer is damaged."""
    if told["shot"] is None:
        raise ValueError(f"'{path.name}' has no shot: give both balls and a target that they allow.")
    if told["rate"] is not None and tuple(told["rate"]) not in RATES.values():
        rate = told["rate"][0] / told["rate"][1]
        raise ValueError(
            f"the footage of '{path.name}' has {rate:.5g} frames a second, which no timecode counts; "
            f"conform it to one of {', '.join(RATES)} first."
        )
    target = told["shot"]["target_mm"][:2]
    cue, obj = (_position(told["balls"][role]["centre_mm"]) for role in ("cue", "object"))
    places = [list(cue[:2]), list(obj[:2])]
    plan = told["plan"]
    if is_planned:
        if plan is None or "cue" not in plan:
            raise ValueError(
                f"'{path.name}' names no plan with places for the balls; write `plan`, or `shot: as-filmed`."
            )
        places = [plan[role]["planned_mm"] for role in ("cue", "object")]
    ball_mm = float(told["table"]["ball_diameter_mm"])
    shot = solve_shot(places[0], places[1], target, ball_mm)
    if not np.isfinite(shot.aim_direction).all():
        raise ValueError(f"the planned shot of '{path.name}' can't be played.")
    rate = tuple(told["rate"] or (30, 1))
    wide, high = told["size_px"]
    ends = [frame for frame in (told["fades_from_frame"], told["holds_to_frame"]) if frame is not None]
    footage = Footage(
        name=told["footage"],
        size_px=(wide, high),
        frames=told["frames"] if told["rate"] else 90,
        camera=_camera(told["camera"]),
        balls_mm=(cue, obj),
        others_mm=tuple(_position(ball["centre_mm"]) for ball in told["balls"]["others"]),
        noses_mm=_noses(told["table"]),
        begins_at=told["holds_from_frame"],
        fades_from=min(ends, default=None),
    )
    planned = (
        None if plan is None else ((-1 if plan["side"] == "right" else 1) * plan["cut_deg"], plan["distance_mm"])
    )
    return Filmed(
        footage,
        path.parent / told["footage"],
        shot,
        told["target"],
        (wide, high),
        (rate[0], rate[1]),
        told["timecode"] or "00:00:00:00",
        float(np.degrees(shot.cut_rad)),
        planned,
        TABLES[told["table"]["name"]],
        _set_up(path, told, planned),
    )


def _set_up(path: Path, told: dict[str, Any], planned: tuple[float, float] | None) -> SetUp:
    plan, shot = told["plan"] or {}, told["shot"]
    balls = []
    for role in ("cue", "object"):
        ball, meant = told["balls"][role], plan.get(role)
        place = None if meant is None else _pair(meant["planned_mm"])
        balls.append(SetBall(role, _pair(ball["centre_mm"]), _pair(ball["error_mm"]), place))
    cut = -shot["cut_deg"] if shot["side"] == "right" else shot["cut_deg"]
    return SetUp(
        match_file=path.name,
        footage=told["footage"],
        is_still=told["rate"] is None,
        balls=tuple(balls),
        shot={key: value for key, value in shot.items() if key not in ("cut_error_deg", "distance_error_mm")},
        cut_deg=cut,
        cut_error_deg=shot["cut_error_deg"],
        distance_mm=shot["distance_mm"],
        distance_error_mm=shot["distance_error_mm"],
        planned_cut_deg=None if planned is None else planned[0],
        planned_distance_mm=None if planned is None else planned[1],
        warnings=tuple(told["warnings"]),
    )


def _pair(value: list[float]) -> tuple[float, float]:
    return value[0], value[1]


def _position(value: list[float]) -> Position:
    x, y, z = value
    return (x, y, z)


def _camera(told: dict[str, Any]) -> FilmedCamera:
    axes = tuple(_position(told[name]) for name in ("right", "down", "forward"))
    x, y = told["principal_px"]
    lens = told["lens"]
    return FilmedCamera(
        _position(told["eye_mm"]), (axes[0], axes[1], axes[2]), told["focal_px"], (x, y), lens["k1"], lens["k2"]
    )


def _noses(table: dict[str, Any]) -> tuple[tuple[Position, Position], ...]:
    measures = np.array([table[f"{name}_mm"]["mm"] if f"{name}_mm" in table else 0.0 for name in MEASURES])
    ends = [(matrices @ measures).tolist() for matrices in noses(2).values()]
    return tuple((_position(a), _position(b)) for a, b in ends)
