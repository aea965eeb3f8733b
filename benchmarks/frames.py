"""`python -m benchmarks.frames`: what a change of the code does to the pictures of the course.

    python -m benchmarks.frames save before
    ... change the code ...
    python -m benchmarks.frames save after
    python -m benchmarks.frames compare before after

`save` draws frames of every kind, method, side and distance of the lessons as PNG; `compare` names those that
differ, by how much, and writes a picture of the difference beside the second one.
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import click
import numpy as np

from benchmarks.runs import planned
from lessons.planning.planned import PlannedClip

COURSE = Path(__file__).parents[1] / "lessons" / "course"
TIGHT = 2
"""Levels of 255 that a pixel may differ by."""


@click.group()
def main() -> None:
    """Draw the course's frames, or compare two drawings of them."""


@main.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option("--lesson", "lessons", multiple=True, type=click.Path(path_type=Path), help="By default the course.")
@click.option("--only", multiple=True, metavar="PATTERN", help="Only clips whose names fit.")
@click.option("--all", "every", is_flag=True, help="Every clip, not one of each kind, method, side and distance.")
@click.option("--frames", "count", default=5, show_default=True, help="Frames of a clip.")
@click.option("--full", is_flag=True, help="At the lesson's own size instead of draft size.")
def save(
    folder: Path, lessons: tuple[Path, ...], only: tuple[str, ...], every: bool, count: int, full: bool
) -> None:
    """Draw frames of the lessons into FOLDER."""
    jobs = []
    for lesson in lessons or sorted(COURSE.glob("*.yaml")):
        seen = set()
        plan = planned(lesson, draft=not full)
        for clip in plan.only(only).clips if only else plan.clips:
            sort = (clip.kind, clip.method, clip.side, clip.distance_mm)
            if every or only or sort not in seen:
                seen.add(sort)
                jobs.append((clip, folder / lesson.stem, count))
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        drawn = sum(pool.map(_draw, jobs))
    click.echo(f"{drawn} frames of {len(jobs)} clips in {folder}")


def _draw(job: tuple[PlannedClip, Path, int]) -> int:
    from scenes.draw.picture import picture, write_png
    from scenes.kinds import CLIP_KINDS

    clip, folder, count = job
    folder.mkdir(parents=True, exist_ok=True)
    board = CLIP_KINDS[clip.brief.subject.kind].board(clip.brief)
    # evenly over the clip's parts, not over its frames: a longer sentence moves no sample to another drawing
    spans = [(s.first_frame, s.end_frame) for s in board.steps]
    for i, share in enumerate(np.linspace(0, len(spans) - 1e-9, count)):
        first, end = spans[int(share)]
        frame = first + int((share % 1) * (end - first))
        write_png(picture(board, min(frame, board.frames - 1)), folder / f"{clip.name}.{i}.png")
    return count


@main.command()
@click.argument("before", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.argument("after", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--most", default=20, show_default=True, help="How many differing frames are listed.")
def compare(before: Path, after: Path, most: int) -> None:
    """List the frames that differ; exit status 1 if any does."""
    from PIL import Image

    old, new = ({p.relative_to(f): p for p in f.rglob("*.png")} for f in (before, after))
    new = {name: path for name, path in new.items() if not path.stem.endswith("-differs")}
    found = []
    for name in sorted(old.keys() & new.keys()):
        a, b = (np.asarray(Image.open(path)).astype(int) for path in (old[name], new[name]))
        if a.shape != b.shape:
            found.append((1.0, 255, name))
            continue
        apart = np.abs(a - b).max(axis=2)
        if (apart > TIGHT).any():
            found.append((float((apart > TIGHT).mean()), int(apart.max()), name))
            Image.fromarray(np.clip(4 * apart, 0, 255).astype(np.uint8)).save(
                new[name].with_name(f"{new[name].stem}-differs.png")
            )
    for share, worst, name in sorted(found, reverse=True)[:most]:
        click.echo(f"{name}: {100 * share:.3f} % of the pixels differ, by up to {worst}")
    alone = len(old.keys() ^ new.keys())
    click.echo(f"{len(old.keys() & new.keys())} frames compared, {len(found)} differ, {alone} on one side only")
    sys.exit(bool(found or alone))


if __name__ == "__main__":
    main()
