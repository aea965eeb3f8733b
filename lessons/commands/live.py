"""aimgeo live: see a lesson while it is written."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.argument("lesson", type=click.Path(path_type=Path), required=False)
@click.option("--no-browser", is_flag=True, help="Print the address only; do not open it.")
@click.option("--port", type=click.IntRange(1024, 65535), help="This port, in place of a free one.")
def command(lesson: Path | None, no_browser: bool, port: int | None) -> None:
    """See a lesson while you write it, and move the shot by hand. Without a lesson, begin a new one.

    The page opens in the browser, is served to this machine alone, and ends with Ctrl-C.
    """
    from lessons.live.serve import PACKAGES, serve

    try:
        serve(lesson, opens_browser=not no_browser, port=port)
    except ModuleNotFoundError as error:
        if error.name not in PACKAGES:
            raise
        raise click.ClickException(
            f"the page needs {error.name}, which is not installed; pip install 'aimgeo[live]' brings it."
        ) from None
