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
from scenes.board import FilmedCamera
from scenes.board.brief import Footage


@dataclass(frozen=True, slots=True)
class Filmed:
    """A matched shot: the footage for its clips, the shot, size and rate, and the two lines over the picture."""

    footage: Footage
    file: Path
    shot: Shot
    pocket: str
    size_px: tuple[int, int]
    rate: tuple[int, int]
    timecode: str
    cut_deg: float
    planned: tuple[float, float] | None


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
    if told.get("of") != digest_of(path):
        raise ValueError(
            f"'{path.name}' has changed since it was matched; run `aimgeo match {path.as_posix()}` again."
        )
    if told["shot"] is None:
        raise ValueError(f"'{path.name}' has no shot: give both balls and a target that they allow.")
    if told["size_px"][0] % 2 or told["size_px"][1] % 2:
        raise ValueError(
            f"the footage of '{path.name}' is {told['size_px'][0]} x {told['size_px'][1]}; clips need even sides."
        )
    target = told["shot"]["target_mm"][:2]
    places = [told["balls"][role]["centre_mm"][:2] for role in ("cue", "object")]
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
    fades = told["fades_from_frame"] if told["fades_from_frame"] is not None else told["holds_to_frame"]
    footage = Footage(
        name=told["footage"],
        size_px=(wide, high),
        frames=told["frames"] if told["rate"] else 90,
        camera=_camera(told["camera"]),
        others_mm=tuple(_position(ball["centre_mm"]) for ball in told["balls"]["others"]),
        noses_mm=_noses(told["table"]),
        fades_from=fades,
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
    )


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
