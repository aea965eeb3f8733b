"""A lesson's accuracy table: what each method, taken literally, makes of each shot that the clips show."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from aimgeo.aim_frame import aim_frame
from aimgeo.construct import Quantity
from aimgeo.methods.own import READING, Own
from aimgeo.methods.readings import judged_readings
from aimgeo.pocket import window_into
from aimgeo.shot import Shot, one_of_many
from aimgeo.tables import TABLES, Table
from aimgeo.vectors import angle_rad
from lessons.answering.answer import answer
from lessons.lesson.wording import Wording
from lessons.planning.placing import PlacedShot
from lessons.planning.planned import Plan, PlannedClip

COLUMNS = (
    "method", "reading", "shot", "cut", "cut_deg", "side", "distance", "distance_mm", "pocket", "object_ball_x_mm",
    "object_ball_y_mm", "eye", "usable", "hit", "aim_error_deg", "result_cut_deg", "object_error_deg", "miss_mm",
    "pocketed",
)  # fmt: skip
RESULTS = ("hit", "aim_error_deg", "object_error_deg", "miss_mm", "pocketed")
TOGETHER = ("eye", "distance", "side", "pocket", "object_ball_x_mm", "object_ball_y_mm")
"""What the rows of one block share; the cut runs across."""


@dataclass(frozen=True, slots=True)
class Accuracy:
    """The rows, each with COLUMNS, in the order method, reading, shot, eye; and what has no row.

    `unset` are sentences about shots that cannot be set on the lesson's table.
    """

    title: str
    told: Wording
    rows: tuple[Mapping[str, Any], ...]
    unset: tuple[str, ...]


def accuracy(made: Plan) -> Accuracy:
    """The table of all the shots that a plan's clips show, where they lie, by each eye of the lesson."""
    asked, names = [], []
    for shot, (eye_name, eye) in product(made.shots, made.eyes.items()):
        x, y = shot.shot.object_ball_mm[:2].tolist()
        names.append({
            "shot": shot.identity, "cut": shot.cut_text, "cut_deg": shot.cut_deg, "side": shot.side,
            "distance": shot.distance_name, "distance_mm": shot.distance_mm, "pocket": shot.pocket,
            "object_ball_x_mm": x, "object_ball_y_mm": y, "eye": eye_name,
        })  # fmt: skip
        asked.append({
            "object_ball_mm": [x, y], "cue_ball_mm": shot.shot.cue_ball_mm[:2].tolist(),
            **_asked(made.table, shot.pocket, shot.shot), "ball_diameter_mm": made.ball_mm, "eye": eye,
        })  # fmt: skip
    rows = (*_rows(names, answer(asked)), *_own_rows(made))
    return Accuracy(made.title, made.told, rows, made.unset)


def _own_rows(made: Plan) -> Iterator[Mapping[str, Any]]:
    """The rows of the lesson's own methods, judged in the same way: READING is the only one of each."""
    for own, shot, (eye_name, eye) in product(made.own, made.shots, made.eyes.items()):
        if (found := _judged(made, own, shot, eye)) is None:
            continue
        x, y = shot.shot.object_ball_mm[:2].tolist()
        yield {
            "method": own.name, "reading": READING, "shot": shot.identity, "cut": shot.cut_text,
            "cut_deg": shot.cut_deg, "side": shot.side, "distance": shot.distance_name,
            "distance_mm": shot.distance_mm, "pocket": shot.pocket, "object_ball_x_mm": x, "object_ball_y_mm": y,
            "eye": eye_name, "usable": found["hit"] is not None, "result_cut_deg": found["cut_deg"],
            **{key: found[key] for key in RESULTS},
        }  # fmt: skip


def _judged(made: Plan, own: Own, shot: PlacedShot, eye: Mapping[str, Any]) -> dict[str, Any] | None:
    """What comes of a shot by a method of the lesson's own, in the words of `solve`; None where no aim is one."""
    if not np.isfinite(shot.shot.aim_direction).all():
        return None
    frame = aim_frame(one_of_many(shot.shot), (made.table.length_mm / 2, made.table.width_mm / 2))
    at = np.array([[-eye["back_mm"], eye_offset_mm(eye, shot.shot), eye["height_mm"]]])
    pocket = None if shot.pocket is None else made.table.pocket(shot.pocket)
    window = None if pocket is None else window_into(pocket, frame.object_ball_mm, frame.radius_mm)
    method = own.method(pocket=pocket)
    found = judged_readings(frame, at, window=window, methods={own.name: method})[own.name][READING].row(0)
    return {
        "hit": bool(found.hit) if found.has_aim else None,
        "aim_error_deg": _degrees(found.aim_error_rad),
        "cut_deg": _degrees(found.cut_rad),
        "object_error_deg": _degrees(found.object_error_rad),
        "miss_mm": float(found.miss_mm) if np.isfinite(found.miss_mm) else None,
        "pocketed": bool(found.pocketed) if found.hit else None,
    }


def own_readings(made: Plan, clip: PlannedClip) -> dict[str, dict[str, Any]]:
    """What comes of a clip's shot by each method of the lesson's own, for the clip's eye: by its shown name."""
    if not clip.shots:
        return {}
    eye = made.eyes.get(clip.eye or "") or next(iter(made.eyes.values()))
    judged = ((own, _judged(made, own, clip.shots[0], eye)) for own in made.own)
    return {made.names[f"method.{own.name}"]: found for own, found in judged if found is not None}


def eye_offset_mm(eye: Mapping[str, Any], shot: Shot) -> float:
    """How far an eye of the plan stands to the left of a shot's aim line."""
    if "offset_mm" in eye:
        return float(eye["offset_mm"])
    R = float(shot.radius_mm)
    contact = float(shot.side * shot.contact_offset_mm)
    return {"aim_line": 0.0, "contact_line": contact, "cue_edge_left": R, "cue_edge_right": -R}[eye["alignment"]]


def _degrees(angle_rad: Any) -> float | None:
    return float(np.degrees(angle_rad)) if np.isfinite(angle_rad) else None


def asked_shot(made: Plan, clip: PlannedClip) -> dict[str, Any]:
    """The shot of a clip in the words of `solve`, with its eye; ValueError for a clip that shows none."""
    if not clip.shots:
        raise ValueError(f"clip '{clip.name}' shows no shot.")
    placed, others = clip.shots[0], clip.brief.subject.others
    eye = made.eyes.get(clip.eye or "") or next(iter(made.eyes.values()))
    return {
        "object_ball_mm": placed.shot.object_ball_mm[:2].tolist(),
        "cue_ball_mm": placed.shot.cue_ball_mm[:2].tolist(),
        **_asked(made.table, placed.pocket, placed.shot),
        "ball_diameter_mm": made.ball_mm,
        "eye": dict(eye),
        **({"others_mm": [list(one.centre_mm[:2]) for one in others]} if others else {}),
    }


def _asked(table: Table, pocket: str | None, shot: Shot) -> dict[str, Any]:
    """Table and target in the words of `solve`, which knows named tables; other pockets go by their mouth."""
    if pocket is None:
        return {"table": None, "target_mm": shot.target_mm[:2].tolist()}
    if TABLES.get(table.name) == table:
        return {"table": table.name, "target_mm": pocket}
    own = table.pocket(pocket)
    approach_deg = float(np.degrees(angle_rad(shot.object_direction, own.outward)))
    mouth = {"mouth_mm": own.mouth_mm, "approach_deg": approach_deg}
    return {"table": None, "target_mm": list(own.centre_mm), "pocket": mouth}


def as_csv(table: Accuracy) -> str:
    """Comma-separated values with one head line; empty where there is no number."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    words = {None: "", True: "true", False: "false"}
    for row in table.rows:
        writer.writerow({key: words[v] if v is None or isinstance(v, bool) else v for key, v in row.items()})
    return out.getvalue()


def as_json(table: Accuracy) -> str:
    """One JSON object: title, rows, and what could not be set."""
    made = {"title": table.title, "rows": [dict(row) for row in table.rows], "unset": list(table.unset)}
    return json.dumps(made, indent=1, ensure_ascii=False) + "\n"


def as_text(table: Accuracy) -> str:
    """For reading: for each eye, distance and side, how far each reading misses at the pocket, by cut.

    Left of the target is positive. An x marks a ball that the pocket does not take, "passes" an aim that misses
    the ball, a dash a method that does not reach this cut or a reading that gives this eye no aim.
    """
    told = table.told
    unit = "inches" if told.units == "in" else "mm"
    lines = [table.title, f"Miss at the pocket in {unit}, left positive; x: not pocketed;"]
    lines += ["passes: the aim misses the ball; -: no such aim.", ""]
    groups: dict[tuple[Any, ...], list[Mapping[str, Any]]] = {}
    for row in table.rows:
        groups.setdefault(tuple(row[key] for key in TOGETHER), []).append(row)
    for rows in groups.values():
        cuts = list(dict.fromkeys(row["cut"] for row in sorted(rows, key=lambda row: row["cut_deg"])))
        first = rows[0]
        between = told.listed(Quantity(first["distance_mm"], "distance_mm"))
        x, y = (told.listed(Quantity(first[f"object_ball_{axis}_mm"], "length_mm")) for axis in "xy")
        lines.append(
            f"Eye {first['eye']}, distance {first['distance']} ({between}), "
            f"{'straight' if first['side'] == 'straight' else 'to the ' + first['side']}; object ball at "
            f"{x}, {y}, {first['pocket'] + ' pocket' if first['pocket'] else 'to a place'}"
        )
        cells: dict[str, dict[str, str]] = {}
        for row in rows:
            name = f"{row['method']}: {row['reading']}".replace("_", " ")
            cells.setdefault(name, {})[row["cut"]] = _cell(row, told)
        wide = [max(len(cut), *(len(line.get(cut, "")) for line in cells.values())) for cut in cuts]
        longest = max(len(name) for name in cells)
        lines.append("  ".join([" " * longest, *(f"{cut:>{w}}" for cut, w in zip(cuts, wide, strict=True))]))
        for name, line in cells.items():
            lines.append(
                "  ".join(
                    [f"{name:<{longest}}", *(f"{line.get(c, ''):>{w}}" for c, w in zip(cuts, wide, strict=True))]
                )
            )
        lines.append("")
    return "\n".join([*lines, *table.unset]).rstrip() + "\n"


def _rows(names: Sequence[Mapping[str, Any]], answers: Sequence[Mapping[str, Any]]) -> Iterator[Mapping[str, Any]]:
    made = []
    for name, got in zip(names, answers, strict=True):
        for method, part in got.get("methods", {}).items():  # balls that touch have no aim
            for reading, found in part["readings"].items():
                row = {"method": method, "reading": reading, **name, "usable": part["usable"]}
                row |= {"result_cut_deg": found["cut_deg"], **{key: found[key] for key in RESULTS}}
                made.append({key: row[key] for key in COLUMNS})
    order = {(row["method"], row["reading"]): i for i, row in reversed(list(enumerate(made)))}
    yield from sorted(made, key=lambda row: order[row["method"], row["reading"]])


def _cell(row: Mapping[str, Any], told: Wording) -> str:
    if row["usable"] and row["hit"] is False:
        return "passes"
    if not row["usable"] or row["miss_mm"] is None:
        return "-"
    return told.signed(row["miss_mm"]) + ("" if row["pocketed"] else " x")
