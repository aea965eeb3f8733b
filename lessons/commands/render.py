"""aimgeo render: render the clips that are new or changed."""

from __future__ import annotations

import shutil
import signal
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from lessons.commands.frames import RATE, SIZE
from lessons.files import lesson_files
from lessons.lesson.faults import LessonError
from lessons.lesson.model import load, with_output
from lessons.lesson.timing import clock
from lessons.lesson.wording import LANGUAGES
from lessons.planning.plan import plan
from lessons.planning.planned import Plan
from lessons.rendering.cluster import ClusterError
from lessons.rendering.cluster import draw_all as draw_on_cluster
from lessons.rendering.folder import FolderError
from lessons.rendering.manifest import Clip, ManifestError, read_manifest
from lessons.rendering.pace import keep_pace
from lessons.rendering.render import Draw, Outcome, Settings, Target, render
from lessons.rendering.sizes import estimated_bytes, size_sentence, size_text
from lessons.rendering.verdicts import REDO, differences, read_verdicts, version_of
from lessons.rendering.workers import Began, Drew, Failed, Report, Task, Wrote, draw_all
from scenes.files import whole_name
from scenes.film.forms import CHOSEN_FORMS

Watch = Callable[[Report | Sequence[Task]], None]


@click.command()
@click.argument("lessons", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="The folder for the clips.")
@click.option(
    "--only", multiple=True, metavar="PATTERN", help="Clips whose name fits, such as 'ghost-ball_*_left_*'."
)
@click.option(
    "--redo",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="LIST",
    help="Clips marked to be redone in a list that the review page exported.",
)
@click.option("--draft", is_flag=True, help="Small and quick, to look at.")
@click.option("--form", type=click.Choice(CHOSEN_FORMS), help="The files' form, in place of the lesson's.")
@SIZE
@RATE
@click.option("--workers", type=click.IntRange(1), help="Worker processes; by default one for each processor.")
@click.option("--cluster", metavar="ADDRESS", help="Draw on the workers of this Dask scheduler.")
@click.option("--prune", is_flag=True, help="Remove clips in the folder that the lesson no longer has.")
@click.option("--verify", is_flag=True, help="Read every clip in the folder to see whether it was altered.")
@click.option(
    "--language", type=click.Choice(LANGUAGES), help="One of the lesson's languages; its first if left out."
)
def command(
    lessons: tuple[Path, ...],
    out: Path,
    only: tuple[str, ...],
    redo: tuple[Path, ...],
    draft: bool,
    form: str | None,
    size: tuple[int, int] | None,
    rate: tuple[int, int] | None,
    language: str | None,
    workers: int | None,
    cluster: str | None,
    prune: bool,
    verify: bool,
) -> None:
    """Render the clips of lessons into a folder, and its manifest; clips that are there already are kept.

    Several lessons get a folder each inside it, by their identity. Ctrl-C stops it; the same command goes on. Exit
    status: 0 when all is rendered, 1 when a clip failed, 130 when it was stopped.

    \b
    aimgeo render cuts.yaml --out clips/cuts --draft
    aimgeo render lessons/ --out clips
    """
    plans = _plans(lesson_files(lessons), draft, language, size, rate)
    targets = [Target(one, out if len(plans) == 1 else out / one.identity) for one in plans]
    _check_only(only, plans)
    only += _to_redo(redo, targets)
    settings = Settings(_form(plans, draft, form), only, workers or 0, prune, verify)
    if warning := _no_room(targets, settings):
        click.echo(warning, err=True)
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    began = time.monotonic()
    try:
        with _watching() as watch:
            outcome = render(targets, settings, watch, _drawing_on(cluster))
    except (FolderError, ClusterError) as error:
        raise click.ClickException(str(error)) from error
    except OSError as error:
        raise click.ClickException(
            f"{whole_name(str(error.filename or out))}: {error.strerror or error}; nothing is lost."
        ) from error
    except KeyboardInterrupt:
        click.echo("Stopped. What was finished is kept; run the same command again to go on.", err=True)
        sys.exit(130)
    seconds = time.monotonic() - began
    if outcome.frames:
        keep_pace(settings.form, outcome.frames, outcome.pixels, seconds)
    _summary(outcome, seconds, out)
    sys.exit(1 if outcome.failures or outcome.waiting else 0)


def _no_room(targets: Sequence[Target], settings: Settings) -> str | None:
    """A sentence when the files may not fit on the disk."""
    clips = [clip for target in targets for clip in target.plan.only(settings.only).clips]
    about = estimated_bytes(clips, settings.form)
    folder = next(
        (one for one in (targets[0].folder, *targets[0].folder.absolute().parents) if one.is_dir()), None
    )
    free = shutil.disk_usage(folder).free if folder else about
    if about < free:
        return None
    return f"{size_sentence(clips, settings.form)} The disk has {size_text(free)} free."


def _drawing_on(cluster: str | None) -> Draw:
    if cluster is None:
        return draw_all
    return lambda tasks, _: draw_on_cluster(tasks, cluster)


def _plans(
    files: Sequence[Path],
    draft: bool,
    language: str | None,
    size: tuple[int, int] | None,
    rate: tuple[int, int] | None,
) -> list[Plan]:
    plans, faults = [], []
    for path in files:
        try:
            plans.append(plan(with_output(load(path), size, rate), draft=draft, language=language))
        except LessonError as error:
            faults.append(error.told())
    if faults:
        click.echo("\n".join(faults), err=True)
        click.echo("Nothing was rendered.", err=True)
        sys.exit(1)
    by_identity: dict[str, Plan] = {}
    for one in plans:
        other = by_identity.setdefault(one.identity, one)
        if other is not one:
            raise click.ClickException(
                f"{one.file}: has the identity {one.identity!r} of {other.file}; give it another one."
            )
    return plans


def _form(plans: Sequence[Plan], draft: bool, form: str | None) -> str:
    """The form of a batch: what the command line says, or all its lessons."""
    if draft and form:
        raise click.ClickException("--draft has a form of its own; leave --form out.")
    named = {one.form for one in plans}
    if form is None and len(named) > 1:
        listed = ", ".join(sorted(named))
        raise click.ClickException(
            f"these lessons name different forms ({listed}); render them one by one, or say --form."
        )
    return form or named.pop()


def _check_only(only: Sequence[str], plans: Sequence[Plan]) -> None:
    for pattern in only:
        if not any(one.only([pattern]).clips for one in plans):
            raise click.ClickException(f"no clip fits {pattern!r}; `aimgeo plan` lists the names.")


def _to_redo(lists: Sequence[Path], targets: Sequence[Target]) -> tuple[str, ...]:
    """The clips that the lists mark to be redone and that are still as they were then; none without a list."""
    if not lists:
        return ()
    try:
        verdicts = read_verdicts(lists)
    except ManifestError as error:
        raise click.ClickException(str(error)) from None
    for sentence in differences(verdicts):
        click.echo(sentence)
    redo = [verdict for verdict in verdicts if verdict.verdict == REDO]
    names: list[str] = []
    for target in targets:
        rendered = _rendered(target.folder)
        for clip in target.plan.clips:
            marks = [v for v in redo if v.is_of(target.plan.identity, clip.name)]
            now = rendered.get(clip.name)
            fitting = [v for v in marks if now is None or v.version in ("", version_of(now))]
            if marks and not fitting:
                click.echo(f"{clip.name}: rendered again since it was marked; look at it anew.")
            for note in (note for verdict in fitting for note in verdict.notes):
                click.echo(f"{clip.name}: {note}")
            names += [clip.name] if fitting else []
    if not names:
        raise click.ClickException("no clip of the lesson is marked to be redone, as it is now.")
    return tuple(dict.fromkeys(names))


def _rendered(folder: Path) -> dict[str, Clip]:
    """The clips that are in a folder, by name; none where it has no manifest."""
    try:
        return {clip.name: clip for clip in read_manifest(folder).clips}
    except ManifestError:
        return {}


def _summary(outcome: Outcome, seconds: float, out: Path) -> None:
    told = [f"{outcome.rendered} rendered", f"{outcome.unchanged} unchanged"]
    told += [f"{outcome.reused} taken over"] if outcome.reused else []
    told += [f"{len(outcome.failures)} failed"] if outcome.failures else []
    told += [f"{outcome.waiting} left to do"] if outcome.waiting else []
    told += [f"{outcome.pruned} removed"] if outcome.pruned else []
    speed = f", {outcome.frames / seconds:.0f} frames a second" if outcome.frames else ""
    click.echo(f"{out}: {', '.join(told)}; {clock(seconds)}{speed}.")
    for path in outcome.forgotten:
        click.echo(f"{path}: no lesson names it any more; --prune removes it.")
    for clip, sentence in outcome.failures:
        click.echo(f"{clip.place}: clip {clip.name}: {sentence}", err=True)
    if outcome.waiting:
        click.echo("The rest was not tried; run the same command again to go on.", err=True)


@contextmanager
def _watching() -> Iterator[Watch]:
    """A live display on a terminal, a line for each clip elsewhere."""
    if not sys.stderr.isatty():
        yield _log()
        return
    from rich.console import Console
    from rich.live import Live

    board = _Board()
    # the stream itself: what stands in for standard error meanwhile would write the display's own signs out
    with Live(console=Console(file=sys.stderr), get_renderable=board.shown, refresh_per_second=4, transient=True):
        yield board.take


class _Pace:
    """Counts frames: how many are done of how many, how fast, and how long the rest will take."""

    def __init__(self) -> None:
        self.total = self.done = self.clips = self.finished = 0
        self.now: dict[Path, int] = defaultdict(int)
        self.began = time.monotonic()

    def take(self, told: Report | Sequence[Task]) -> None:
        """Count what happened."""
        if isinstance(told, Drew):
            self.now[told.task.part] = told.frames
        elif isinstance(told, Wrote | Failed):
            self.now.pop(told.task.part, None)
            self.done += told.task.clip.frames
            self.finished += 1
        elif not isinstance(told, Began):
            self.total = sum(task.clip.frames for task in told)
            self.clips = len(told)
            self.began = time.monotonic()

    @property
    def frames(self) -> int:
        """Frames done, of unfinished clips too."""
        return self.done + sum(self.now.values())

    @property
    def per_second(self) -> float:
        """Frames a second since the start."""
        return self.frames / max(time.monotonic() - self.began, 1e-3)

    def left(self) -> str:
        """Time left in words; empty while nothing is known and when nothing is left."""
        if not 0 < self.frames < self.total:
            return ""
        return f"; about {clock((self.total - self.frames) / self.per_second)} left"


def _log() -> Watch:
    pace = _Pace()

    def take(told: Report | Sequence[Task]) -> None:
        pace.take(told)
        if isinstance(told, Wrote):
            name, count = told.task.clip.name, f"{pace.finished}/{pace.clips}"
            click.echo(f"{count} {name}, {told.task.clip.frames} frames{pace.left()}", err=True)
        elif isinstance(told, Failed):
            click.echo(f"{pace.finished}/{pace.clips} {told.task.clip.name} failed", err=True)

    return take


class _Board:
    """The live display: the whole, and what each worker is at."""

    def __init__(self) -> None:
        self.pace = _Pace()
        self.at: dict[int, Task] = {}

    def take(self, told: Report | Sequence[Task]) -> None:
        """Keep up with what happened."""
        self.pace.take(told)
        if isinstance(told, Began):
            self.at[told.worker] = told.task
        elif isinstance(told, Wrote | Failed):
            self.at.pop(told.worker, None)

    def shown(self) -> Any:
        """What the terminal shows now."""
        from rich.console import Group
        from rich.progress_bar import ProgressBar
        from rich.table import Table
        from rich.text import Text

        pace = self.pace
        if not pace.clips:
            return Text("")
        rows = Table.grid(padding=(0, 2))
        rows.add_row(
            f"{pace.finished}/{pace.clips} clips",
            ProgressBar(pace.total, pace.frames, width=40),
            f"{pace.per_second:.0f} frames a second",
            pace.left().removeprefix("; "),
        )
        for worker, task in sorted(self.at.items()):
            frames = pace.now.get(task.part, 0)
            rows.add_row(
                f"  worker {worker + 1}",
                ProgressBar(task.clip.frames, frames, width=40),
                f"{frames}/{task.clip.frames}",
                task.clip.name,
            )
        return Group(rows)
