"""aimgeo schema: write the JSON Schema of lesson files."""

from __future__ import annotations

from pathlib import Path

import click

from lessons.lesson.schema import schema_text


@click.command()
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Write to this file.")
def command(out: Path | None) -> None:
    """Write the JSON Schema of lesson files, for editors: to a file, or to be read here."""
    text = schema_text()
    if out is None:
        click.echo(text, nl=False)
        return
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise click.ClickException(
            f"{out.as_posix()}: can't be written: {(error.strerror or str(error)).lower()}."
        ) from None
