"""Aim charts: one for each method, with its cuts, the marked ball to scale, and how near differs from far."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import hypot
from typing import Any

from aimgeo.construct import Construction, Quantity, Step
from aimgeo.methods import METHODS
from aimgeo.methods.figure import shot_values
from aimgeo.methods.method import Method
from aimgeo.methods.own import OwnMethod
from aimgeo.shot import Shot
from aimgeo.tables import POCKET_NAMES, Pocket
from aimgeo.vectors import angle_rad, cross
from lessons.deliver import Delivered, Wishes
from lessons.deliver.footage import Footage
from lessons.deliver.printing import PAPERS, dashes, print_pdf
from lessons.deliver.shots import solved
from lessons.lesson.wording import Wording
from lessons.rendering.manifest import Clip, ClipShot

MARKS = {
    "mark_centre": "tick", "mark_half": "tick", "mark_edge": "tick", "fixed_mark": "tick", "sight_point": "sight",
}  # fmt: skip
"""Roles of construction points that the drawn ball carries besides contact and aim point, and how they look."""

OWN = "own_"
"""With this the roles of a lesson's own points begin; those on the object ball are marks too."""

OF_THIS_CUT = {"target", "cue-ball shift", "what is left over", "this cut's mark", "what it gives"}
"""Steps whose words differ from cut to cut; the others are the same on the whole chart."""


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """sheets/aim-chart_<method>_a4.pdf and _letter.pdf for every method of the lesson."""
    files = []
    own = {} if wishes.own is None else wishes.own.methods
    for name, method in {**METHODS, **own}.items():
        clips = [clip for clip in footage.clips if clip.method == name and not clip.hides_its_answer]
        if isinstance(method, OwnMethod) and clips:
            method = method.into(_pocket(clips[0]))
        shots = [shot for clip in clips for shot in clip.shots if bool(method.is_usable(solved(shot)[0]))]
        if not shots:
            continue
        words = footage.wording(solved(shots[0])[1])
        if name in own and wishes.own is not None:
            words = replace(words, words=wishes.own.words)
        chart = chart_told(method, shots, footage.title, words)
        told = {
            "language": footage.language,
            "lesson": footage.title,
            "dashes": dashes(),
            **chart,
        }
        stem = f"aim-chart_{name.replace('_', '-')}"
        files += [
            print_pdf("aim_chart.typ", told, footage.folder / "sheets" / f"{stem}_{p}.pdf", p, footage.fonts)
            for p in PAPERS
        ]
    return Delivered(tuple(files))


def _pocket(clip: Clip) -> Pocket | None:
    is_pocket = clip.table is not None and clip.target_name in POCKET_NAMES
    return clip.table.pocket(clip.target_name) if is_pocket else None  # type: ignore[union-attr,arg-type]


def chart_told(method: Method, told: list[ClipShot], lesson: str, words: Wording) -> dict[str, Any]:
    """What a method's chart says: a row a cut, a place for every distance; finished texts and millimetres."""
    shots: dict[str, dict[str, Shot]] = {}
    distances: dict[str, str] = {}
    ball_mm = 0.0
    for one in told:
        shot, ball_mm = solved(one)
        name = one.distance_name or ""
        between = Quantity(float(shot.distance_mm), "distance_mm")
        distances.setdefault(name, words.shown(between))
        # a cut to the right has the numbers of its mirror image to the left
        shots.setdefault(f"{one.cut_deg:.3f}", {}).setdefault(name, shot)
    name = words.words["names"][method.name]
    ruler = "in" if words.units == "in" else "mm"
    ball = words.shown(Quantity(ball_mm, "length_mm"))
    rows = [row_told(method, shots[cut], words) for cut in sorted(shots, key=float)]
    first = next(iter(next(iter(shots.values())).values()))
    return {
        "method": name[:1].upper() + name[1:],
        "document": words.text("aim_chart", "document", method=name, lesson=lesson),
        "words": {
            **words.words["aim_chart"],
            "note": words.text("aim_chart", "note", ball=ball),
            "off_centre": words.text("aim_chart", "off_centre", unit=words.words["units"][ruler]),
        },
        "ruler": ruler,
        "ball_mm": ball_mm,
        "distances": [
            {"name": name, "called": words.called("distance", name), "shown": shown}
            for name, shown in distances.items()
        ],
        "steps": list(titles(method.construct(first), words, of_this_cut=False)),
        "rows": rows,
    }


def row_told(method: Method, shots: dict[str, Shot], words: Wording) -> dict[str, Any]:
    """A cut's row, from its shots by distance."""
    shot = next(iter(shots.values()))
    construction = method.construct(shot)
    values = dict(shot_values(shot))
    contact, aim = both_units(values["contact_offset"], words), both_units(values["aim_offset"], words)
    cut, overlap = words.shown(values["cut"]), words.shown(values["overlap"])
    return {
        "cut": cut,
        "overlap": words.text("aim_chart", "overlap", overlap=overlap),
        "described": words.text("aim_chart", "described", cut=cut, contact=contact[0], aim=aim[0]),
        "contact_mm": float(shot.contact_offset_mm),
        "aim_mm": float(shot.aim_offset_mm),
        "contact": contact,
        "aim": aim,
        "marks": [{"look": look, "mm": mm} for look, mm in marks_mm(shot, construction)],
        "titles": list(titles(construction, words, of_this_cut=True)),
        "distances": {name: _seen(shot, words) for name, shot in shots.items()},
    }


def marks_mm(shot: Shot, construction: Construction) -> Iterator[tuple[str, float]]:
    """The object ball's marks: look, and offset from the centre across the aim, positive where the aim passes."""
    for step in _steps(construction):
        for point in step.points:
            away = [p - o for p, o in zip(point.at_mm[:2], shot.object_ball_mm[:2], strict=True)]
            is_own = point.role.startswith(OWN) and hypot(*away) <= float(shot.radius_mm) * (1 + 1e-9)
            if point.role in MARKS or is_own:
                yield MARKS.get(point.role, "tick"), int(shot.outward) * float(cross(shot.aim_direction, away))


def titles(construction: Construction, words: Wording, *, of_this_cut: bool) -> Iterator[str]:
    """The steps' words on one line each, with what they measure: those of this cut alone, or all the others."""
    for step in _steps(construction):
        if (step.name in OF_THIS_CUT) == of_this_cut:
            title = " ".join(words.title(step.sentence, dict(step.values)).split()).replace("'", "’")
            measured = [words.shown(m.quantity) for m in step.measures if of_this_cut and m.key != "aim_offset"]
            yield ": ".join([title, ", ".join(measured)]) if measured else title


def _steps(construction: Construction) -> Iterator[Step]:
    # a second combination for the same cut would put a second target on the drawn ball
    return (step for step in construction.steps if step.name != "other way")


def _seen(shot: Shot, words: Wording) -> dict[str, str]:
    """How the shot looks from the cue ball: the parts of the cut before and beyond the line of centres."""
    to_object = shot.object_ball_mm[:2] - shot.cue_ball_mm[:2]
    turn = abs(float(angle_rad(to_object, shot.aim_direction)))
    return {
        "line_of_centres": words.shown(Quantity(abs(float(shot.line_of_centres_rad)), "angle_rad")),
        "turn": words.shown(Quantity(turn, "angle_rad")),
    }


def both_units(quantity: Quantity, words: Wording) -> tuple[str, str]:
    """A length in the lesson's units, and in others: inches beside millimetres, millimetres beside the rest."""
    return words.shown(quantity), words.in_units("in" if words.units == "mm" else "mm").shown(quantity)
