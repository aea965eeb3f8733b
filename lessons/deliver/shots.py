"""The shots behind a folder's clips: as aimgeo knows them, on their tables, each one once."""

from __future__ import annotations

from dataclasses import dataclass, replace

from aimgeo.shot import Shot, solve_shot
from aimgeo.tables import Table
from lessons.deliver.footage import Footage
from lessons.rendering.manifest import Clip, ClipShot


@dataclass(frozen=True, slots=True)
class TableShot:
    """A shot on a table, and the clips that show it."""

    shot: Shot
    table: Table
    ball_mm: float
    target_name: str | None
    side: str
    distance_name: str | None
    clips: tuple[Clip, ...]


def solved(told: ClipShot) -> tuple[Shot, float]:
    """A shot and its balls' diameter (mm), solved again from the manifest's three positions."""
    ball_mm = 2 * told.shot["object_ball_mm"][2]
    cue, object_ball, target = (told.shot[key][:2] for key in ("cue_ball_mm", "object_ball_mm", "target_mm"))
    return solve_shot(cue, object_ball, target, ball_mm), ball_mm


def table_shots(footage: Footage) -> tuple[TableShot, ...]:
    """The different shots of the lesson in their order; those of clips that hide their answer are left out."""
    found: dict[str, TableShot] = {}
    for clip in footage.clips:
        if clip.table is None or clip.hides_its_answer:
            continue
        for told in clip.shots:
            if told.identity in found:
                one = found[told.identity]
                found[told.identity] = replace(one, clips=(*one.clips, clip))
            else:
                shot, ball_mm = solved(told)
                names = (told.target_name, told.side, told.distance_name)
                found[told.identity] = TableShot(shot, clip.table, ball_mm, *names, (clip,))
    return tuple(found.values())
