"""aimgeo match: the camera of filmed shots, and where the balls lie on the real table."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path

import click

from lessons.lesson.faults import LessonError


@click.command()
@click.argument("files", nargs=-1, type=click.Path(path_type=Path))
@click.option("--picture/--no-picture", default=True, help="Draw what was found over the picture: NAME.match.jpg.")
@click.option("--camera", is_flag=True, help="Write the camera for 3D tools: glTF, ST maps, OpenTrackIO.")
@click.option("--points", is_flag=True, help="Print the names of the points, with a drawing.")
@click.option(
    "--page", is_flag=True, help="Write a page for clicking points and balls: of a clip, a still or a match file."
)
def command(files: tuple[Path, ...], picture: bool, camera: bool, points: bool, page: bool) -> None:
    """Match filmed shots: camera, lens and balls from a few clicks, or none.

    FILES are match files, or folders with match files. Beside each, NAME.match.json and NAME.match.jpg are
    written.
    """
    from lessons.footage import matching

    if points:
        from lessons.footage.names import drawing

        click.echo(drawing())
        return
    if not files:
        raise click.UsageError(
            "Give match files or a folder; `aimgeo match --points` prints the names of the points."
        )
    try:
        matching.check_installed(camera)
    except matching.NeedsError as error:
        raise click.ClickException(str(error)) from None
    if page:
        sys.exit(_pages(files))
    failed = 0
    found, missing = match_files(files)
    for sentence in missing:
        failed += 1
        click.echo(f"Error: {sentence}", err=True)
    for path in found:
        try:
            click.echo(_matched(path, picture, camera))
        except LessonError as error:
            failed += 1
            click.echo(error.told(), err=True)
        except OSError as error:
            failed += 1
            click.echo(
                f"{path.as_posix()}: cannot be written: {(error.strerror or str(error)).lower()}.", err=True
            )
    sys.exit(1 if failed else 0)


def _matched(path: Path, picture: bool, camera: bool) -> str:
    """Match one file and write what is asked for; the lines to print."""
    from lessons.footage import camera_files, matching
    from lessons.footage.answer import summary

    made, pixels = matching.answer(path)
    wrote = matching.write(made, pixels if picture else None)
    if camera:
        wrote += camera_files.write(made)
    return summary(made, wrote)


def _pages(files: Iterable[Path]) -> int:
    """Write a page for clicking for each clip, still or match file; the exit status."""
    from lessons.footage.frames import UnreadableError
    from lessons.footage.points_page import write_page

    failed = 0
    for path in files:
        try:
            click.echo(str(write_page(path)))
        except UnreadableError as error:
            failed = 1
            click.echo(f"{path.as_posix()}: {error}", err=True)
        except LessonError as error:
            failed = 1
            click.echo(error.told(), err=True)
    return failed


def match_files(paths: Iterable[Path]) -> tuple[tuple[Path, ...], tuple[str, ...]]:
    """The files themselves and the match files of each folder and below, in the order of their names; a sentence
    for each path where there is none.
    """
    from lessons.files import ENDINGS
    from lessons.footage.model import is_match_file

    found: list[Path] = []
    missing: list[str] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(p for p in path.rglob("*") if p.suffix in ENDINGS and p.is_file() and is_match_file(p))
            if not inside:
                missing.append(f"{path.as_posix()}: no match file (*.yaml with `footage`) in this folder.")
            found += inside
        elif path.exists():
            found.append(path)
        else:
            missing.append(f"{path.as_posix()}: there is no such file; check the name.")
    return tuple(dict.fromkeys(found)), tuple(missing)
