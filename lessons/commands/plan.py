"""aimgeo plan: list the clips that a lesson makes."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from lessons.faults import LessonError
from lessons.files import lesson_files
from lessons.model import load
from lessons.plan import Plan, PlannedClip, plan


@click.command()
@click.argument("lessons", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--only", multiple=True, metavar="PATTERN", help="Clips whose name fits, such as 'ghost-ball_*_left_*'."
)
@click.option("--draft", is_flag=True, help="As render --draft would make it: small and quick.")
def command(lessons: tuple[Path, ...], only: tuple[str, ...], draft: bool) -> None:
    """List the clips of lessons: name, shot, frames and duration; and what can't be shown, and why."""
    is_faulty = False
    for path in lesson_files(lessons):
        try:
            made = plan(load(path), draft=draft).only(only)
        except LessonError as error:
            is_faulty = True
            click.echo(str(error), err=True)
            continue
        click.echo("\n".join(listing(made)))
    sys.exit(1 if is_faulty else 0)


def listing(made: Plan) -> list[str]:
    """The lines that show a plan."""
    lines = [f"{made.title} ({made.file})", ""]
    rows = [("clip", "shot", "frames", "seconds")]
    rows += [(c.name, shot_text(c), str(c.frames), f"{c.duration_s:.1f}") for c in made.clips]
    wide = [max(len(row[i]) for row in rows) for i in range(4)]
    lines += [f"{a:<{wide[0]}}  {b:<{wide[1]}}  {c:>{wide[2]}}  {d:>{wide[3]}}" for a, b, c, d in rows]
    minutes, seconds = divmod(round(made.duration_s), 60)
    lines += ["", f"{len(made.clips)} clips, {made.frames:,} frames, {minutes} min {seconds:02d} s."]
    if made.left_out:
        lines += ["", "Left out:"]
        lines += [f"  {out.name} (line {out.place.line}): {out.reason}" for out in made.left_out]
    return lines


def shot_text(clip: PlannedClip) -> str:
    """A clip's shot in a few words; empty for a card."""
    if clip.cut_deg is None:
        return ""
    parts = [f"{clip.cut_deg:.1f}° {clip.side}" if clip.side != "straight" else "straight"]
    if clip.distance_mm is not None:
        parts.append(f"{clip.distance_mm:.0f} mm")
    return ", ".join(parts + ([f"eye {clip.eye}"] if clip.eye else []))
