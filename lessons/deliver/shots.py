"""The shots behind a folder's clips: as aimgeo knows them, on their tables, each one once."""

from __future__ import annotations

from dataclasses import dataclass, replace

from aimgeo.shot import Shot, solve_shot
from aimgeo.tables import Table
from lessons.deliver.manifest import Clip, Footage


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


def clip_shot(clip: Clip) -> tuple[Shot, float] | None:
    """The clip's shot and its ball's diameter (mm), solved again from the manifest's three positions."""
    told = clip.entry.get("shot")
    if not told:
        return None
    ball_mm = 2 * told["object_ball_mm"][2]
    cue, object_ball, target = (told[key][:2] for key in ("cue_ball_mm", "object_ball_mm", "target_mm"))
    return solve_shot(cue, object_ball, target, ball_mm), ball_mm


def clip_table(clip: Clip) -> Table | None:
    """The clip's table."""
    told = clip.entry.get("table")
    return Table(**told) if told else None


def table_shots(footage: Footage) -> tuple[TableShot, ...]:
    """The different shots of the lesson in their order; those of clips that hide their answer are left out."""
    found: dict[tuple[float, ...], TableShot] = {}
    for clip in footage.clips:
        solved, table = clip_shot(clip), clip_table(clip)
        if solved is None or table is None or clip.hides_its_answer:
            continue
        shot, ball_mm = solved
        places = (*shot.cue_ball_mm, *shot.object_ball_mm, *shot.target_mm)
        key = tuple(round(float(v), 3) for v in places)
        if key in found:
            found[key] = replace(found[key], clips=(*found[key].clips, clip))
            continue
        told = clip.entry
        names = (told.get("target_name"), told["side"], told.get("distance_name"))
        found[key] = TableShot(shot, table, ball_mm, *names, (clip,))
    return tuple(found.values())
