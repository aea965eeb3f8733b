"""aimgeo plan: list the clips that a lesson makes."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import click

from aimgeo.construct import Quantity
from aimgeo.room import BRIDGE_MM, air_mm, behind_mm
from aimgeo.tables import TABLES, FromRail
from aimgeo.units import written
from lessons.commands.frames import RATE, SIZE
from lessons.files import lesson_files
from lessons.lesson.faults import LessonError
from lessons.lesson.model import load, with_output
from lessons.lesson.timing import clock
from lessons.lesson.wording import Wording
from lessons.planning.plan import plan
from lessons.planning.planned import LeftOut, Plan, PlannedClip
from lessons.rendering.pace import Pace, read_pace
from lessons.rendering.sizes import size_sentence
from scenes.film.forms import CHOSEN_FORMS


@click.command()
@click.argument("lessons", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--only", multiple=True, metavar="PATTERN", help="Clips whose name fits, such as 'ghost-ball_*_left_*'."
)
@SIZE
@RATE
@click.option(
    "--table", type=click.Choice(list(TABLES)), help="Tell instead which of the shots can be set up on this table."
)
@click.option("--form", type=click.Choice(CHOSEN_FORMS), help="The files' form, in place of the lesson's.")
@click.option("--draft", is_flag=True, help="As render --draft would make it: small and quick.")
@click.option("--out", type=click.Path(path_type=Path), help="The folder of the clips: say why each will render.")
@click.option("--verify", is_flag=True, help="Read every clip in the folder to see whether it was altered.")
def command(
    lessons: tuple[Path, ...],
    only: tuple[str, ...],
    size: tuple[int, int] | None,
    rate: tuple[int, int] | None,
    table: str | None,
    form: str | None,
    draft: bool,
    out: Path | None,
    verify: bool,
) -> None:
    """List the clips of lessons: name, shot, frames and duration; where the balls lie, and what can't be shown.

    Several lessons have a folder each inside the one named, by their identity, as render makes them.

    \b
    aimgeo plan cuts.yaml --only 'ghost-ball_*'
    aimgeo plan cuts.yaml --table 7ft
    """
    plans, is_faulty = [], False
    for path in lesson_files(lessons):
        try:
            lesson = with_output(load(path), size, rate)
            if table is not None:
                lesson = replace(lesson, keys=lesson.keys.model_copy(update={"table": table}))
            made = plan(lesson, draft=draft)
            plans.append(made if form is None or draft else replace(made, form=form))
        except LessonError as error:
            is_faulty = True
            click.echo(error.told(), err=True)
    if table is not None:
        click.echo("\n".join(line for made in plans for line in on_table(made.only(only))))
        sys.exit(1 if is_faulty else 0)
    for made in plans:
        why = None
        if out is not None:
            from lessons.rendering.folder import FolderError
            from lessons.rendering.render import reasons

            folder = out if len(plans) == 1 and not is_faulty else out / made.identity
            try:
                why = {n: r.sentence for n, r in reasons(made, folder, made.form, verify).items()}
            except FolderError as error:
                raise click.ClickException(str(error)) from error
        click.echo("\n".join(listing(made.only(only), read_pace(made.form), why)))
    if only and plans and not any(made.only(only).clips or made.only(only).left_out for made in plans):
        asked = " or ".join(map(repr, only))
        raise click.ClickException(f"no clip fits {asked}; `aimgeo plan` without --only lists their names.")
    sys.exit(1 if is_faulty else 0)


def listing(made: Plan, pace: Pace, why: Mapping[str, str] | None = None) -> list[str]:
    """The lines that show a plan; `why` tells of each clip that will render the reason."""
    told = made.words.words["plan"]
    head = tuple(
        told[key] for key in ("clip", "shot", "frames", "seconds", *(("because",) if why is not None else ()))
    )
    rows = [head]
    for clip in made.clips:
        row = (clip.name, shot_text(clip, made.words), str(clip.frames), written(clip.duration_s, 1))
        rows.append((*row, why.get(clip.name, "")) if why is not None else row)
    wide = [max(len(row[i]) for row in rows) for i in range(len(head))]
    aligned = [
        "  ".join(
            f"{cell:>{w}}" if i in (2, 3) else f"{cell:<{w}}"
            for i, (cell, w) in enumerate(zip(row, wide, strict=True))
        )
        for row in rows
    ]
    return [
        f"{made.title} ({made.file})",
        "",
        *(line.rstrip() for line in aligned),
        "",
        totals(made, pace, why),
        *steps(made),
        *places(made),
        *left_out(made.left_out, made.words),
        "",
    ]


def on_table(made: Plan) -> list[str]:
    """Which shots of a lesson can be set up on its table, where, and why the others can't."""
    count = len(made.shots)
    name = made.words.words["names"].get(made.table.name, made.table.name)
    of = str(count + len(made.unplaced))
    lines = [
        f"{made.title} ({made.file})",
        "",
        made.words.text("plan", "can_be_set", count=str(count), of=of, table=name),
    ]
    lines += places(made)
    by_reason: dict[str, list[str]] = {}
    for shot, reason in made.unplaced.items():
        by_reason.setdefault(reason, []).append(shot)
    lines += ["", made.words.text("plan", "cannot")] if by_reason else []
    for reason, shots in by_reason.items():
        lines += [f"  {'; '.join(shots)}", f"    {reason}"]
    return [*lines, ""]


def places(made: Plan) -> list[str]:
    """Where the balls of each shot lie, how near they come to a cushion, and where nobody could bridge."""
    told, tight = made.words, []
    heads = ("shot", "object_ball", "cushion", "cue_ball", "behind")
    rows: list[tuple[str, ...]] = [tuple(told.text("plan", key) for key in heads)]
    for placed in made.shots:
        shot, R = placed.shot, made.ball_mm / 2
        at = made.table.from_rails(shot.object_ball_mm)
        where = ", ".join(_from(one, told) for one in at)
        behind = behind_mm(made.table, shot)
        cut = _cut(placed.cut_deg, placed.side, told)
        name = f"{cut}, {told.called('distance', placed.distance_name)}"
        air = [_mm(float(air_mm(made.table, ball, R)), told) for ball in (shot.object_ball_mm, shot.cue_ball_mm)]
        rows.append((name, where, *air, _mm(behind, told)))
        if behind < BRIDGE_MM:
            tight.append(f"  {told.text('plan', 'cloth', shot=name, length=_mm(behind, told))}")
    if len(rows) == 1:
        return []
    wide = [max(len(row[i]) for row in rows) for i in range(5)]
    lines = ["  " + "  ".join(f"{cell:<{w}}" for cell, w in zip(row, wide, strict=True)).rstrip() for row in rows]
    if tight:
        tight = [told.text("plan", "no_bridge", least=_mm(BRIDGE_MM, told)), *tight]
    return ["", told.text("plan", "places"), *lines, *tight]


def _cut(cut_deg: float, side: str, told: Wording) -> str:
    named: str = told.words["names"][side]
    return named if side == "straight" else f"{told.decimal(cut_deg, 1)}° {named}"


def _from(found: FromRail, told: Wording) -> str:
    rail = told.words["names"][f"{found.rail}-rail"]
    return told.text("practice_sheet", "from_rail", length=_mm(found.away_mm, told), rail=rail)


def _mm(mm: float, told: Wording) -> str:
    return told.listed(Quantity(float(mm), "distance_mm"))


def totals(made: Plan, pace: Pace, why: Mapping[str, str] | None) -> str:
    """How much there is, how much of it will render, and about how long that takes."""
    clips = "1 clip" if len(made.clips) == 1 else f"{len(made.clips)} clips"
    said = f"{clips}, {made.frames:,} frames, {clock(made.duration_s)}"
    to_do = [clip for clip in made.clips if why is None or clip.name in why]
    if why is not None:
        count = "all" if len(to_do) == len(made.clips) else str(len(to_do))
        said += f"; {count} of them will render" if to_do else "; all of them are rendered"
    if not to_do:
        return f"{said}."
    frames = sum(clip.frames for clip in to_do)
    pixels = sum(clip.frames * clip.brief.output.width_px * clip.brief.output.height_px for clip in to_do)
    took = (
        "at the pace of the last render here"
        if pace.is_measured
        else "by a stated pace, until this machine has rendered"
    )
    return (
        f"{said}. Rendering takes about {clock(pace.seconds(frames, pixels))}, {took}.\n"
        f"{size_sentence(to_do, made.form)}"
    )


def steps(made: Plan) -> list[str]:
    """The names of the steps, for `steps`, marks and `still --step`: a line for clips that have the same."""
    named: dict[tuple[str, ...], dict[str, None]] = {}
    for clip in made.clips:
        kind = f"{clip.method.replace('_', '-')} {clip.kind}" if clip.method else clip.kind
        named.setdefault(tuple(step.name for step in clip.brief.steps), {})[kind] = None
    return [
        "",
        made.words.text("plan", "steps"),
        *(f"  {', '.join(kinds)}: {', '.join(names)}" for names, kinds in named.items()),
    ]


def left_out(items: Sequence[LeftOut], told: Wording) -> list[str]:
    """What can't be shown: each reason once, with all that it holds for."""
    by_reason: dict[str, list[LeftOut]] = {}
    for item in items:
        by_reason.setdefault(item.reason, []).append(item)
    lines = ["", told.text("plan", "left_out")] if items else []
    for reason, group in by_reason.items():
        lines.append(f"  {reason}")
        lines += [f"    {told.text('plan', 'line', line=str(item.place.line), clip=item.name)}" for item in group]
    return lines


def shot_text(clip: PlannedClip, told: Wording) -> str:
    """A clip's shot in a few words; empty for a card."""
    if clip.cut_deg is None:
        return ""
    parts = [_cut(clip.cut_deg, clip.side or "straight", told)]
    if clip.distance_mm is not None:
        parts.append(told.listed(Quantity(clip.distance_mm, "distance_mm")))
    return ", ".join(parts + ([told.called("eye", clip.eye)] if clip.eye else []))
