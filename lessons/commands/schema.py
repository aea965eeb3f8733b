"""aimgeo schema: write the JSON Schema of lesson files, or of the files that they name."""

from __future__ import annotations

from pathlib import Path

import click

from lessons.lesson.schema import look_schema_text, methods_schema_text, schema_text

TEXTS = {"lesson": schema_text, "methods": methods_schema_text, "look": look_schema_text}


@click.command()
@click.option(
    "--of", type=click.Choice(list(TEXTS)), default="lesson", help="Which kind of file; a lesson's by default."
)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Write to this file.")
def command(of: str, out: Path | None) -> None:
    """Write the JSON Schema of lesson files, for editors: to a file, or to be read here."""
    text = TEXTS[of]()
    if out is None:
        click.echo(text, nl=False)
        return
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise click.ClickException(
            f"{out.as_posix()}: can't be written: {(error.strerror or str(error)).lower()}."
        ) from None
