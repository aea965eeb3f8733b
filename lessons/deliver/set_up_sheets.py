"""Set-up sheets: a page a shot, to place real balls for practice or filming, with a checklist and a score."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import hypot
from typing import Any

from aimgeo.construct import Quantity
from aimgeo.methods.figure import shot_values
from aimgeo.misses import needed_of
from aimgeo.tables import Table
from lessons.deliver import Delivered, Wishes
from lessons.deliver.footage import Footage
from lessons.deliver.printing import PAPERS, dashes, print_pdf
from lessons.deliver.review_page import numbers
from lessons.deliver.shots import FilmedShot, TableShot, filmed_shots, table_shots
from lessons.lesson.wording import THIN, Wording
from lessons.planning.filmed import SetBall
from lessons.rendering.manifest import OtherBall

SAID = ("cut_deg", "overlap", "distance_mm", "aim_offset_mm", "contact_offset_mm")
"""The numbers of a filmed shot that a narration may say."""

MOST_CLIPS = 9
"""So many clips of a shot are listed on its page."""


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """sheets/set-up_a4.pdf and _letter.pdf; none for a lesson without shots on a table.

    A filmed shot has a page as it was set up.
    """
    shots, films = table_shots(footage), filmed_shots(footage)
    if not shots and not films:
        return Delivered(())
    words = footage.wording()
    lean = ", ".join(
        words.text("set_up", "of_total", count=str(needed_of(n)), total=str(n)) for n in (6, 8, 10, 15, 20)
    )
    told = {
        "language": footage.language,
        "words": words.words["set_up"] | words.words["printed"],
        "document": words.text("set_up", "document", lesson=footage.title),
        "lesson": footage.title,
        "dashes": dashes(),
        "lean": words.text("set_up", "lean", counts=lean),
        "shots": [
            shot_told(shot, footage.wording(shot.ball_mm), k, len(shots)) for k, shot in enumerate(shots, 1)
        ],
        "films": [film_told(film, footage.wording(film.shown.ball_mm)) for film in films],
    }
    folder = footage.folder / "sheets"
    return Delivered(
        tuple(print_pdf("set_up.typ", told, folder / f"set-up_{p}.pdf", p, footage.fonts) for p in PAPERS)
    )


def shot_told(
    shown: TableShot, words: Wording, number: int, count: int, is_filmed: bool = False
) -> dict[str, Any]:
    """What the page of a shot says: finished texts, and positions in table millimetres for the drawing."""
    shot, table = shown.shot, shown.table
    values = dict(shot_values(shot))
    told = words.words["set_up"]
    target = words.words["names"][shown.target_name] if shown.target_name else told["marked_target"]
    balls = {"object": tuple(map(float, shot.object_ball_mm)), "cue": tuple(map(float, shot.cue_ball_mm))}
    places = [place_told(ball, place, table, words, is_measured=is_filmed) for ball, place in balls.items()]
    places += [
        place_told("other", one.centre_mm, table, words, one.number, one.name, is_filmed) for one in shown.others
    ]
    described = " ".join(place["described"] for place in places)
    heading = "heading_straight" if values["side"].value == "straight" else "heading"
    between = words.phrase("between_centres", values)
    named = words.called("distance", shown.distance_name or "")
    if named == words.listed(Quantity(float(shot.distance_mm), "distance_mm")):
        named = ""  # a placed cue ball's distance has no other name than its length
    size = {
        "table": words.words["names"].get(table.name, table.name),
        "length": Quantity(table.length_mm, "distance_mm"),
        "width": Quantity(table.width_mm, "distance_mm"),
        "ball": values["ball"],
    }
    more = len(shown.clips) - MOST_CLIPS
    return {
        "shot_of": words.text("set_up", "shot_of", number=str(number), count=str(count)),
        "heading": words.text("set_up", heading, cut=values["cut"], side=values["side"]),
        "under": words.text(
            "set_up",
            "under",
            distance=", ".join(filter(None, [named, between])),
            target=target,
            overlap=values["overlap"],
        ),
        "described": words.text("set_up", "described", places=described, target=target),
        "table_line": words.text("set_up", "table", **size),
        "clear": words.text("set_up", "clear", target=target),
        "columns": [told["ball_centre"], told["from_nose"], *_columns(table, words)],
        "table": table_told(table),
        "ball_mm": shown.ball_mm,
        "cue": balls["cue"],
        "object": balls["object"],
        "others": others_drawn(shown.others),
        "ghost": [float(v) for v in shot.ghost_ball_mm],
        "aim": [float(v) for v in shot.target_mm],
        "places": places,
        "centres": both_units(values["distance"], words),
        "air": both_units(Quantity(float(shot.distance_mm) - shown.ball_mm, "length_mm"), words),
        "clips": [clip.name for clip in shown.clips[:MOST_CLIPS]],
        "more": words.counted("printed", "more", count=more) if more > 0 else None,
    }


def film_told(film: FilmedShot, words: Wording) -> dict[str, Any]:
    """What the page of a filmed shot says: places measured, which way to push, the true numbers."""
    set_up, told = film.set_up, words.words["set_up"]
    page = shot_told(film.shown, words, 1, 1, is_filmed=True)
    values = dict(shot_values(film.shown.shot))
    distance = words.phrase("between_centres", values | {"distance": whole(set_up.distance_mm)})
    target = words.words["names"].get(film.shown.target_name or "", told["marked_target"])
    places = {place["ball"]: place for place in page["places"]}
    balls = [ball_told(ball, places[ball.ball], words) for ball in set_up.balls]
    errors = {
        "cut_deg": f"± {words.decimal(set_up.cut_error_deg, 1)}°",
        "distance_mm": f"± {words.shown(whole(max(set_up.distance_error_mm, 1.0)))}",
    }
    found = dict(numbers_of(set_up.shot, words)) | {"distance_mm": words.shown(whole(set_up.distance_mm))}
    meant = dict(numbers_of(film.planned, words))
    return page | {
        "heading": words.text("set_up", "as_set_up", footage=set_up.footage),
        "under": words.text("set_up", "as_set_up_under", distance=distance, target=target),
        "balls": balls,
        "numbers": [
            [
                words.words["review"]["shot"][key],
                meant.get(key, "–"),
                " ".join([text, errors.get(key, "")]).strip(),
            ]
            for key, text in found.items()
        ],
        "warnings": list(set_up.warnings),
    }


def ball_told(ball: SetBall, place: dict[str, Any], words: Wording) -> dict[str, Any]:
    """A ball's row: where it lies, how far that is from the plan, which way to push it."""
    told = words.words["set_up"]

    def length(mm: float) -> str:
        return words.shown(whole(mm))

    error = hypot(*ball.error_mm)
    row = {
        "ball": place["ball"],
        "name": place["name"],
        "measured": [f"{one['shown']} {told['from_nose']} {one['rail']}" for one in place["from"]],
        "within": words.text("set_up", "within", error=f"± {length(max(ball.error_mm))}"),
    }
    if ball.planned_mm is None:
        return row | {"off": told["no_plan"], "push": []}
    along, across = (meant - there for meant, there in zip(ball.planned_mm, ball.centre_mm, strict=True))
    off = hypot(along, across)
    if off < max(1.0, error):
        return row | {"off": length(off), "push": [told["as_planned"]]}
    rail = words.words["names"]["foot-rail" if along > 0 else "head-rail"]
    ways = [words.text("set_up", "towards", length=length(abs(along)), rail=rail)] if abs(along) >= 0.5 else []
    if abs(across) >= 0.5:
        ways.append(words.text("set_up", "push_left" if across > 0 else "push_right", length=length(abs(across))))
    return row | {"off": length(off), "push": ways}


def numbers_of(shot: Mapping[str, Any] | None, words: Wording) -> list[tuple[str, str]]:
    """The numbers of a shot that a narration says: key, and text."""
    told = (
        []
        if shot is None
        else [(key, dict(numbers({key: shot.get(key), "side": shot.get("side")}, words))) for key in SAID]
    )
    return [(key, text) for key, found in told for text in found.values()]


OTHER_COLOUR = "#9AA6A3"
"""Another ball without a colour of its own, on paper."""


def others_drawn(others: Iterable[OtherBall]) -> list[dict[str, Any]]:
    """Other balls on the table, as the drawing takes them."""
    return [
        {"at": list(one.centre_mm), "colour": one.colour or OTHER_COLOUR, "number": str(one.number or "")}
        for one in others
    ]


def place_told(
    ball: str,
    place_mm: tuple[float, ...],
    table: Table,
    words: Wording,
    number: int = 0,
    called: str = "",
    is_measured: bool = False,
) -> dict[str, Any]:
    """Where a ball lies, to its centre from the noses of the nearer end rail and the nearer long rail. What was
    measured in a picture is told in whole millimetres: it is known no better.
    """
    found = table.from_rails(place_mm)
    names = words.words["names"]
    name = called or " ".join(filter(None, (words.words["labels"][f"{ball}_ball"], str(number or ""))))
    away = [whole(one.away_mm) if is_measured else Quantity(one.away_mm, "length_mm") for one in found]
    lengths = [both_units(one, words) for one in away]
    rails = [names[f"{one.rail}-rail"] for one in found]
    counted = [[words.number(Quantity(one.diamonds, "diamonds"))[0]] if table.has_sights else [] for one in found]
    return {
        "ball": ball,
        "name": name,
        "described": words.text(
            "set_up",
            "place_described",
            ball=name,
            along=lengths[0][0],
            end_rail=rails[0],
            across=lengths[1][0],
            flank_rail=rails[1],
        ),
        "from": [
            {"rail": rail, "shown": both[0], "cells": [*(text.partition(THIN)[0] for text in both), *diamonds]}
            for rail, both, diamonds in zip(rails, lengths, counted, strict=True)
        ],
    }


def whole(mm: float) -> Quantity:
    """A length in whole millimetres."""
    return Quantity(float(round(mm)), "distance_mm")


def both_units(quantity: Quantity, words: Wording) -> tuple[str, str]:
    """A length in millimetres and as a tape of inches shows it, the lesson's own units first."""
    metric, tape = words.in_units("mm").shown(quantity), words.on_a_tape(float(quantity.value))
    return (tape, metric) if words.units == "in" else (metric, tape)


def _columns(table: Table, words: Wording) -> list[str]:
    units = [words.words["units"][key] for key in ("mm", "in", "diamonds")]
    order = [units[1], units[0]] if words.units == "in" else units[:2]
    return [*order, units[2]] if table.has_sights else order


def table_told(table: Table) -> dict[str, Any]:
    """A table's bed, pockets and sights for a drawing."""
    return {
        "name": table.name,
        "length_mm": table.length_mm,
        "width_mm": table.width_mm,
        "pockets": [
            {"centre": p.centre_mm, "outward": p.outward, "mouth_mm": p.mouth_mm} for p in table.pockets()
        ],
        "sights": table.sights_mm().tolist(),
    }
