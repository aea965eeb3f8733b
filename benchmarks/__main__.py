"""`python -m benchmarks`: small tables, every ratio measured in one run."""

from __future__ import annotations

import os
import platform
import shutil
import tempfile
from pathlib import Path

import click

from benchmarks import again, batch, check, eye, live, solve
from lessons.rendering.render import processors

PARTS = ("batch", "check", "eye", "live", "again", "growth", "solve")


@click.command()
@click.option("--part", type=click.Choice(PARTS), multiple=True, help="Only these tables.")
@click.option("--only", multiple=True, metavar="PATTERN", help="Clips of the batch; all by default.")
@click.option("--stock", default=3, show_default=True, help="Clips that stock Manim renders for comparison.")
@click.option("--small", default=300, show_default=True, help="Small clips for running again.")
@click.option("--grow", default="10,100,1000", show_default=True, help="Numbers of small clips for growth.")
def main(part: tuple[str, ...], only: tuple[str, ...], stock: int, small: int, grow: str) -> None:
    """Measure and print tables in Markdown."""
    folder = Path(tempfile.mkdtemp(prefix="aimgeo-bench-"))
    workers = processors()
    click.echo(
        f"{workers} processors, {platform.system()} {platform.machine()}, Python {platform.python_version()}"
    )
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else 0.0
    if load > 0.5:
        click.echo(f"The machine is busy (load {load:.1f}): times are too long, ratios less certain.")
    try:
        for name in part or PARTS:
            if name == "batch":
                rows = batch.measure(folder, only, workers, stock)
            elif name == "check":
                rows = check.measure()
            elif name == "eye":
                rows = eye.measure(folder)
            elif name == "live":
                rows = live.measure(folder)
            elif name == "solve":
                rows = solve.measure(folder)
            elif name == "again":
                rows = again.measure(folder, small, workers)
            else:
                rows = again.growth(folder, [int(count) for count in grow.split(",")], workers)
            click.echo(f"\n## {name}\n\n| what | seconds | |\n|---|---|---|")
            for row in rows:
                click.echo("| " + " | ".join(row) + " |")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
