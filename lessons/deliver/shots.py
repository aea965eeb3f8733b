"""The shots behind a folder's clips: as aimgeo knows them, on their tables, each one once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from aimgeo.shot import Shot, solve_shot
from aimgeo.tables import Table
from lessons.deliver.footage import Footage
from lessons.planning.filmed import SetUp
from lessons.rendering.manifest import Clip, ClipShot, OtherBall


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
    others: tuple[OtherBall, ...] = ()


@dataclass(frozen=True, slots=True)
class FilmedShot:
    """A filmed shot as it was set up, what was measured, and the planned numbers if known."""

    shown: TableShot
    set_up: SetUp
    planned: dict[str, Any] | None


def filmed_shots(footage: Footage) -> tuple[FilmedShot, ...]:
    """The filmed shots under the clips, each once, with the clips over it."""
    from lessons.answering.answer import shot_answer

    found: dict[str, FilmedShot] = {}
    for clip in footage.clips:
        if clip.filmed is None or clip.table is None:
            continue
        set_up = clip.filmed.set_up
        if clip.filmed.file in found:
            one = found[clip.filmed.file]
            found[clip.filmed.file] = replace(one, shown=replace(one.shown, clips=(*one.shown.clips, clip)))
            continue
        ball_mm = 2 * set_up.shot["object_ball_mm"][2]
        cue, object_ball = (ball.centre_mm for ball in set_up.balls)
        target = set_up.shot["target_mm"][:2]
        shot = solve_shot(cue, object_ball, target, ball_mm)
        side = str(set_up.shot["side"])
        shown = TableShot(shot, clip.table, ball_mm, clip.target_name, side, None, (clip,))
        meant = [ball.planned_mm for ball in set_up.balls if ball.planned_mm is not None]
        planned = None
        if len(meant) == 2:
            planned = shot_answer(solve_shot(meant[0], meant[1], target, ball_mm))
        found[clip.filmed.file] = FilmedShot(shown, set_up, planned)
    return tuple(found.values())


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
                found[told.identity] = TableShot(shot, clip.table, ball_mm, *names, (clip,), told.others)
    return tuple(found.values())
