"""aimgeo audit: check that everything in rendered clips stands where it was computed."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import click

from lessons.deliver.footage import Footage, read_footage
from lessons.rendering.audit import LIMIT_PX, ClipAudit, audit_clip
from lessons.rendering.manifest import Clip, ManifestError


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
def command(folder: Path) -> None:
    """Decode the clips of FOLDER and measure where balls and lines stand.

    Prints each clip's worst error in pixels against its manifest. The exit status is 1 when one is beyond a pixel,
    something is not found in the picture, or a clip cannot be read.
    """
    try:
        footage = read_footage(folder)
    except ManifestError as error:
        raise click.ClickException(str(error)) from error
    width = max(len(c.name) for c in footage.clips)
    exact = [_report(footage, clip, width) for clip in footage.clips]
    bad = exact.count(False)
    click.echo(
        f"{len(exact)} clips, {bad} not as computed."
        if bad
        else f"{len(exact)} clips, all within {LIMIT_PX:g} px."
    )
    sys.exit(1 if bad else 0)


def _report(footage: Footage, clip: Clip, width: int) -> bool:
    path = footage.path(clip)
    if not path.is_file():
        click.echo(f"{clip.name:{width}}  missing: {path} is not there; render the lesson again.")
        return False
    try:
        audit = audit_clip(path, clip)
    except (OSError, ValueError, KeyError, TypeError) as error:
        click.echo(f"{clip.name:{width}}  unreadable: {path}: {error}; render the lesson again.")
        return False
    click.echo(f"{clip.name:{width}}  {sentence(audit)}")
    return audit.is_exact


def sentence(audit: ClipAudit) -> str:
    """What an audit found, in one line."""
    worst = audit.worst
    small = f", {audit.too_small} too small to measure" if audit.too_small else ""
    if worst is None:
        return f"nothing to measure{small}"
    where = f"{worst.role.replace('_', ' ')} at frame {worst.frame}"
    counts = ", ".join(
        f"{n} {what}{'' if n == 1 else 's'}"
        for what in ("ball", "line")
        if (n := sum(f.what == what for f in audit.findings))
    )
    if math.isinf(worst.error_px):
        return f"NOT FOUND: {where} ({counts}{small})"
    mark = "" if audit.is_exact else "BEYOND: "
    return f"{mark}{worst.error_px:.2f} px, {where} ({counts}{small})"
