"""aimgeo still: write one picture of a clip."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from lessons.lesson.faults import LessonError, did_you_mean
from lessons.lesson.model import load
from lessons.lesson.wording import LANGUAGES
from lessons.planning.arranging import step_key
from lessons.planning.plan import plan
from scenes.board.brief import Brief
from scenes.kinds import CLIP_KINDS


@click.command()
@click.argument("lesson", type=click.Path(path_type=Path))
@click.option("--only", multiple=True, metavar="PATTERN", help="The clip: the first whose name fits.")
@click.option("--step", metavar="NAME", help="The end of this step; without it, the end of the clip.")
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="The PNG file; by default CLIP.png here."
)
@click.option("--draft", is_flag=True, help="Small, as render --draft would draw it.")
@click.option(
    "--language", type=click.Choice(LANGUAGES), help="One of the lesson's languages; its first if left out."
)
def command(
    lesson: Path, only: tuple[str, ...], step: str | None, out: Path | None, draft: bool, language: str | None
) -> None:
    """Write one picture of a clip: its end, or the end of one of its steps. `aimgeo plan` lists both.

    \b
    aimgeo still cuts.yaml --only 'ghost-ball_*' --step aim-line
    """
    try:
        made = plan(load(lesson), draft=draft, language=language).only(only)
    except LessonError as error:
        click.echo(error.told(), err=True)
        sys.exit(1)
    if not made.clips:
        raise click.ClickException(
            f"no clip of {lesson} fits {' or '.join(map(repr, only))}; `aimgeo plan {lesson}` lists their names."
        )
    brief = made.clips[0].brief
    names = [s.name for s in brief.steps]
    if step is not None and step not in names:
        # in a shell it is easier to type ghost-ball than 'ghost ball'
        step = next((n for n in names if step_key(n) == step_key(step)), step)
    if step is not None and step not in names:
        raise click.ClickException(f"clip '{brief.name}' has no step '{step}'{did_you_mean(step, names)}")
    path = out or Path(f"{brief.name}{'' if step is None else '_' + step.replace(' ', '-')}.png")
    try:
        _draw(brief, step, path)
    except (ValueError, RuntimeError) as error:
        raise click.ClickException(f"clip '{brief.name}': {error}") from error
    more = f" (the first of {len(made.clips)} clips that fit)" if len(made.clips) > 1 else ""
    click.echo(f"{path}{more}")


def _draw(brief: Brief, step: str | None, path: Path) -> None:
    from scenes.draw.picture import picture, write_png

    board = CLIP_KINDS[brief.subject.kind].board(brief)
    ends = {span.name: span.end_frame for span in board.steps}
    write_png(picture(board, (board.frames if step is None else ends[step]) - 1), path)
