"""Practice sheets: all cue-ball places of a spot on a page, eyes from the side, true-scale templates, a blank."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import degrees
from typing import Any

from aimgeo.construct import Quantity
from aimgeo.order import MOST_EXACT, short_order
from aimgeo.tables import FromRail
from lessons.deliver import Delivered, Wishes
from lessons.deliver.footage import Footage
from lessons.deliver.printing import PAPERS, dashes, print_pdf
from lessons.deliver.set_up_sheets import both_units, others_drawn, place_told, table_told
from lessons.deliver.shots import TableShot, table_shots
from lessons.lesson.wording import Wording

STRIP_MM = 180.0
"""How much of the distance strip stands in one column."""
LONGEST_STRIP_MM = 7 * STRIP_MM


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """sheets/practice_a4.pdf and _letter.pdf; none for a lesson without shots on a table."""
    shots = table_shots(footage)
    if not shots:
        return Delivered(())
    words = footage.wording(shots[0].ball_mm)
    told = {
        "language": footage.language,
        "lesson": footage.title,
        "document": words.text("practice_sheet", "document", lesson=footage.title),
        "words": words.words["practice_sheet"] | words.words["printed"],
        "dashes": dashes(),
        "inches": words.units == "in",
        "inch": words.words["units"]["in"],
        "spots": [spot_told(spot, words) for spot in by_spot(shots)],
        "eyes": eyes_told(footage.manifest.lesson.eyes, words),
        "eye_places": eye_places(footage.manifest.lesson.eyes),
        "ball_mm": shots[0].ball_mm,
        "ball": words.shown(Quantity(shots[0].ball_mm, "length_mm")),
        "cuts": cuts_told(shots, words),
        "strip": strip_told(shots, words),
        "table": table_told(shots[0].table),
    }
    folder = footage.folder / "sheets"
    return Delivered(
        tuple(print_pdf("practice.typ", told, folder / f"practice_{p}.pdf", p, footage.fonts) for p in PAPERS)
    )


def by_spot(shots: Iterable[TableShot]) -> list[list[TableShot]]:
    """The shots with the same object ball and target, each cue-ball place once, in an order with a short way."""
    spots: dict[tuple[Any, ...], dict[tuple[float, ...], TableShot]] = {}
    for one in shots:
        at = tuple(round(float(mm), 3) for mm in one.shot.object_ball_mm[:2])
        place = tuple(round(float(mm), 3) for mm in one.shot.cue_ball_mm[:2])
        spots.setdefault((at, one.target_name), {}).setdefault(place, one)
    made = []
    for places in spots.values():
        order = short_order(list(places))
        made.append([list(places.values())[k] for k in order])
    return made


def spot_told(spot: list[TableShot], words: Wording) -> dict[str, Any]:
    """A page of cue-ball places around one object ball."""
    first = spot[0]
    names, told = words.words["names"], words.words["practice_sheet"]
    target = names[first.target_name] if first.target_name else words.words["set_up"]["marked_target"]
    rows = []
    for number, one in enumerate(spot, 1):
        found = one.table.from_rails(one.shot.cue_ball_mm)
        cut = words.shown(Quantity(abs(float(one.shot.cut_rad)), "angle_rad"))
        side = names[one.side]
        rows.append(
            {
                "number": str(number),
                "shot": side if one.side == "straight" else f"{cut} {side}",
                "distance": words.called("distance", one.distance_name or ""),
                "from": [_from(one_rail, words) for one_rail in found],
                "at": [float(mm) for mm in one.shot.cue_ball_mm[:2]],
            }
        )
    object_from = [_from(one, words) for one in first.table.from_rails(first.shot.object_ball_mm)]
    others = tuple(dict.fromkeys(ball for one in spot for ball in one.others))
    standing = [
        place_told("other", ball.centre_mm, first.table, words, ball.number, ball.name)["described"]
        for ball in others
    ]
    how = "exact" if len(spot) <= MOST_EXACT else "improved"
    return {
        "heading": words.text("practice_sheet", "places", target=target),
        "under": " ".join([words.text("practice_sheet", "object", places=", ".join(object_from)), *standing]),
        "others": others_drawn(others),
        "order": words.text("practice_sheet", how, count=str(len(spot))),
        "described": words.text("practice_sheet", "described", count=str(len(spot)), target=target),
        "table": table_told(first.table),
        "ball_mm": first.ball_mm,
        "object": [float(mm) for mm in first.shot.object_ball_mm[:2]],
        "aim": [float(mm) for mm in first.shot.target_mm[:2]],
        "rows": rows,
        "columns": [told["number"], told["shot"], told["distance"], told["cue_ball"]],
    }


def _from(found: FromRail, words: Wording) -> str:
    rail = words.words["names"][f"{found.rail}-rail"]
    return words.text("practice_sheet", "from_rail", length=_length(found.away_mm, words), rail=rail)


def _length(mm: float, words: Wording) -> str:
    return both_units(Quantity(mm, "length_mm"), words)[0]


def eyes_told(eyes: Mapping[str, Mapping[str, Any]], words: Wording) -> list[dict[str, Any]]:
    """Where each eye is: behind the cue ball, above the cloth, and beside the aim."""
    told = words.words["practice_sheet"]
    made = []
    for number, (name, eye) in enumerate(eyes.items(), 1):
        offset = eye.get("offset_mm")
        if offset is None:
            beside = told["alignments"][eye.get("alignment", "aim_line")]
        elif not offset:
            beside = told["alignments"]["aim_line"]
        else:
            side = words.words["names"]["left" if offset > 0 else "right"]
            beside = f"{_length(abs(offset), words)} {side}"
        back, height = (float(eye[key]) for key in ("back_mm", "height_mm"))
        made.append(
            {
                "number": str(number),
                "name": words.called("eye", name),
                "back_mm": back,
                "height_mm": height,
                "cells": [_length(back, words), _length(height, words), beside],
            }
        )
    return made


def eye_places(eyes: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The places in the drawing from the side, each with the numbers of the eyes that are there."""
    found: dict[tuple[float, float], list[str]] = {}
    for number, eye in enumerate(eyes.values(), 1):
        found.setdefault((float(eye["back_mm"]), float(eye["height_mm"])), []).append(str(number))
    return [
        {"back_mm": back, "height_mm": height, "numbers": ", ".join(numbers)}
        for (back, height), numbers in found.items()
    ]


def cuts_told(shots: Iterable[TableShot], words: Wording) -> list[dict[str, Any]]:
    """The cuts for the fan, thickest first: degrees for the drawing, and their text."""
    found = sorted({round(abs(degrees(float(one.shot.cut_rad))), 6) for one in shots})
    return [{"deg": deg, "text": f"{words.decimal(deg, 1)}°"} for deg in found]


def strip_told(shots: Iterable[TableShot], words: Wording) -> dict[str, Any]:
    """The strip of distances: as long as the longest, in pieces, with the distances marked."""
    named = {
        round(float(one.shot.distance_mm), 3): words.called("distance", one.distance_name or "") for one in shots
    }
    marks: list[dict[str, Any]] = [
        {"mm": mm, "text": f"{name}, {_length(mm, words)}"}
        for mm, name in sorted(named.items())
        if mm <= LONGEST_STRIP_MM
    ]
    longest = max((mark["mm"] for mark in marks), default=STRIP_MM)
    return {"pieces": int(-(-(longest + 10) // STRIP_MM)), "piece_mm": STRIP_MM, "marks": marks}
