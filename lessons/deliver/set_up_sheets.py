"""Set-up sheets: a page a shot, to place real balls for practice or filming, with a checklist and a score."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from aimgeo.construct import Quantity
from aimgeo.misses import needed_of
from aimgeo.tables import Table
from aimgeo.units import INCH_MM
from lessons.deliver import Delivered, Wishes
from lessons.deliver.manifest import Footage
from lessons.deliver.printing import PAPERS, dashes, print_pdf
from lessons.deliver.shots import TableShot, table_shots
from lessons.lesson.wording import Wording, words_of


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """sheets/set-up_a4.pdf and _letter.pdf; none for a lesson without shots on a table."""
    shots = table_shots(footage)
    if not shots:
        return Delivered(())
    told = {
        "lesson": footage.title,
        "dashes": dashes(),
        "lean": ", ".join(f"{needed_of(n)} of {n}" for n in (6, 8, 10, 15, 20)),
        "shots": [shot_told(shot, k, len(shots)) for k, shot in enumerate(shots, 1)],
    }
    folder = footage.folder / "sheets"
    return Delivered(tuple(print_pdf("set_up.typ", told, folder / f"set-up_{p}.pdf", p) for p in PAPERS))


def shot_told(shown: TableShot, number: int, count: int) -> dict[str, Any]:
    """What the page of a shot says: finished texts, and positions in table millimetres for the drawing."""
    shot, table = shown.shot, shown.table
    words = Wording(words_of("en"), "mm", shown.ball_mm)
    names = words.words["names"]
    distance = float(shot.distance_mm)
    cut, side = words.shown(Quantity(abs(float(shot.cut_rad)), "angle_rad")), shown.side
    balls = {
        "Object ball": tuple(map(float, shot.object_ball_mm)),
        "Cue ball": tuple(map(float, shot.cue_ball_mm)),
    }
    return {
        "number": number,
        "count": count,
        "heading": f"Cut {cut} {side}" if side != "straight" else "Straight",
        "under": ", ".join(filter(None, [shown.distance_name, f"{distance:.0f} mm between the centres"])),
        "target": names.get(shown.target_name, shown.target_name) if shown.target_name else "marked target",
        "table": _table_told(table),
        "ball_mm": shown.ball_mm,
        "cue": balls["Cue ball"],
        "object": balls["Object ball"],
        "ghost": [float(v) for v in shot.ghost_ball_mm],
        "aim": [float(v) for v in shot.target_mm],
        "places": [place_told(name, place, table) for name, place in balls.items()],
        "checks": {
            "centres_mm": f"{distance:.1f}",
            "centres_in": inches(distance),
            "gap_mm": f"{distance - shown.ball_mm:.1f}",
            "gap_in": inches(distance - shown.ball_mm),
            "overlap": words.shown(Quantity(float(shot.overlap), "overlap")),
        },
        "clips": [clip.name for clip in shown.clips],
    }


def place_told(name: str, place_mm: tuple[float, ...], table: Table) -> dict[str, Any]:
    """Where a ball lies, measured to its centre from the noses of the two nearest cushions."""
    x, y = place_mm[0], place_mm[1]
    ends = [
        ("foot" if x > 0 else "head", table.length_mm / 2 - abs(x), table.length_mm / 8),
        ("left" if y > 0 else "right", table.width_mm / 2 - abs(y), table.width_mm / 4),
    ]
    return {
        "name": name,
        "from": [
            {
                "cushion": cushion,
                "mm": f"{away:.1f}",
                "whole_mm": f"{away:.0f}",
                "inches": inches(away),
                "diamonds": f"{away / diamond:.2f}",
            }
            for cushion, away, diamond in ends
        ],
    }


def inches(mm: float) -> str:
    """A length as a tape measure shows it, to the nearest sixteenth of an inch (at most 0.8 mm off).

    >>> inches(300.0), inches(25.4), inches(12.7)
    ('11 13/16', '1', '1/2')
    """
    sixteenths = round(mm / INCH_MM * 16)
    whole, part = divmod(Fraction(sixteenths, 16), 1)
    return f"{whole} {part}" if whole and part else str(part or whole)


def _table_told(table: Table) -> dict[str, Any]:
    return {
        "name": table.name,
        "length_mm": table.length_mm,
        "width_mm": table.width_mm,
        "pockets": [
            {"centre": p.centre_mm, "outward": p.outward, "mouth_mm": p.mouth_mm} for p in table.pockets()
        ],
        "sights": table.sights_mm().tolist(),
    }
