"""A lesson's accuracy table: what each method, taken literally, makes of each cut, distance and eye."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

from aimgeo.asking.solve import answer
from aimgeo.spots import find_spot
from aimgeo.tables import TABLES
from lessons.lesson.faults import Fault, LessonError
from lessons.lesson.model import Lesson, said
from lessons.lesson.values import Cut

COLUMNS = (
    "method", "reading", "cut", "cut_deg", "side", "distance", "distance_mm", "eye", "usable", "aim_error_deg",
    "result_cut_deg", "object_error_deg", "miss_mm", "pocketed",
)  # fmt: skip
RESULTS = ("aim_error_deg", "object_error_deg", "miss_mm", "pocketed")
INCH_MM = 25.4


@dataclass(frozen=True, slots=True)
class Accuracy:
    """The rows, each with COLUMNS, in the order method, reading, eye, distance, side, cut; and what has no row.

    `unset` are sentences about shots that cannot be set on the lesson's table.
    """

    title: str
    units: str
    rows: tuple[Mapping[str, Any], ...]
    unset: tuple[str, ...]


def accuracy(lesson: Lesson) -> Accuracy:
    """The table of all the lesson's cuts, sides, distances and eyes. Raises LessonError where no spot serves.

    The object ball lies where it serves all shots, as for the clips; what cannot be set from there is left out.
    """
    keys = lesson.keys
    table = TABLES[keys.table]
    ball = keys.ball.mm(0.0, table.length_mm)
    distances = {name: length.mm(ball, table.length_mm) for name, length in keys.distances.items()}
    shots = list(_shots(keys.cuts, keys.sides, distances))
    spot = None if keys.spot is None else tuple(length.mm(ball, table.length_mm) for length in keys.spot)
    wanted = sorted({(_sign(side) * cut.cut_rad, distances[name]) for cut, side, name in shots})
    setup = find_spot(table, keys.pocket, wanted, ball, spot)  # type: ignore[arg-type]
    if setup.object_ball_mm is None:
        raise LessonError(
            [Fault(lesson.place("pocket"), f"no spot serves the {keys.pocket} pocket for these shots.")]
        )
    cannot = {(one.cut_rad, one.distance_mm) for one in setup.unset}
    asked, names, unset = [], [], []
    for (cut, side, name), (eye_name, eye) in product(shots, keys.eyes.items()):
        if (_sign(side) * cut.cut_rad, distances[name]) in cannot:
            sentence = f"A cut of {cut.text} to the {side} at the distance {name} cannot be set on this table."
            unset += [sentence] if sentence not in unset else []
            continue
        place: dict[str, Any] = {
            "back_mm": eye.back.mm(ball, table.length_mm),
            "height_mm": eye.height.mm(ball, table.length_mm),
        }
        if eye.alignment is not None:
            place["alignment"] = eye.alignment.replace("-", "_")
        else:
            place["offset_mm"] = 0.0 if eye.offset is None else eye.offset.mm(ball, table.length_mm)
        names.append({"cut": cut.text, "cut_deg": cut.cut_deg, "side": side, "distance": name,
                      "distance_mm": distances[name], "eye": eye_name})  # fmt: skip
        asked.append({
            "object_ball_mm": list(setup.object_ball_mm), "target_mm": keys.pocket, "table": keys.table,
            "ball_diameter_mm": ball, "cut_deg": cut.cut_deg, "side": side, "distance_mm": distances[name],
            "eye": place,
        })  # fmt: skip
    return Accuracy(
        said(keys.title, keys.language[0]), keys.units, tuple(_rows(names, answer(asked))), tuple(unset)
    )


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

    Left of the target is positive. An x marks a ball that the pocket does not take, a dash a method that does not
    reach this cut or an aim that misses the ball.
    """
    in_inches = table.units == "in"
    unit, factor, digits = ("in", 1 / INCH_MM, 2) if in_inches else ("mm", 1.0, 1)
    lines = [table.title, f"Miss at the pocket in {unit}, left positive; x: not pocketed; -: no such aim.", ""]
    groups: dict[tuple[str, str, str], list[Mapping[str, Any]]] = {}
    for row in table.rows:
        groups.setdefault((row["eye"], row["distance"], row["side"]), []).append(row)
    for (eye, distance, side), rows in groups.items():
        cuts = list(dict.fromkeys(row["cut"] for row in rows))
        lines.append(f"Eye {eye}, distance {distance} ({rows[0]['distance_mm']:.0f} mm), {_towards(side)}")
        cells: dict[str, dict[str, str]] = {}
        for row in rows:
            name = f"{row['method']}: {row['reading']}".replace("_", " ")
            cells.setdefault(name, {})[row["cut"]] = _cell(row, factor, digits)
        wide = [max(len(cut), *(len(line.get(cut, "")) for line in cells.values())) for cut in cuts]
        first = max(len(name) for name in cells)
        lines.append("  ".join([" " * first, *(f"{cut:>{w}}" for cut, w in zip(cuts, wide, strict=True))]))
        for name, line in cells.items():
            lines.append(
                "  ".join(
                    [f"{name:<{first}}", *(f"{line.get(c, ''):>{w}}" for c, w in zip(cuts, wide, strict=True))]
                )
            )
        lines.append("")
    return "\n".join([*lines, *table.unset]).rstrip() + "\n"


def _shots(
    cuts: Sequence[Cut], sides: Sequence[str], distances: Mapping[str, float]
) -> Iterator[tuple[Cut, str, str]]:
    for name, side, cut in product(distances, sides, cuts):
        straight = cut.cut_rad == 0
        if not straight or side == sides[0]:  # a straight shot has no second side
            yield cut, "straight" if straight else side, name


def _sign(side: str) -> int:
    return -1 if side == "right" else 1


def _towards(side: str) -> str:
    return "straight" if side == "straight" else f"to the {side}"


def _rows(names: Sequence[Mapping[str, Any]], answers: Sequence[Mapping[str, Any]]) -> Iterator[Mapping[str, Any]]:
    made = []
    for name, got in zip(names, answers, strict=True):
        for method, part in got["methods"].items():
            for reading, found in part["readings"].items():
                row = {"method": method, "reading": reading, **name, "usable": part["usable"]}
                row |= {"result_cut_deg": found["cut_deg"], **{key: found[key] for key in RESULTS}}
                made.append({key: row[key] for key in COLUMNS})
    order = {(row["method"], row["reading"]): i for i, row in reversed(list(enumerate(made)))}
    yield from sorted(made, key=lambda row: order[row["method"], row["reading"]])


def _cell(row: Mapping[str, Any], factor: float, digits: int) -> str:
    if not row["usable"] or row["miss_mm"] is None:
        return "-"
    miss = round(row["miss_mm"] * factor, digits) + 0.0
    return (
        f"{miss:+.{digits}f}{'' if row['pocketed'] else ' x'}" if miss else f"0{'' if row['pocketed'] else ' x'}"
    )
