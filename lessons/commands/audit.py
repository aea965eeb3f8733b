"""aimgeo audit: check that everything in rendered clips stands where it was computed."""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
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
    audits = [_report(footage, clip, width) for clip in footage.clips]
    click.echo(total(audits))
    sys.exit(0 if all(audit is not None and audit.is_exact for audit in audits) else 1)


def total(audits: Sequence[ClipAudit | None]) -> str:
    """What was found in all clips, None for those that cannot be read, in one line."""
    bad = sum(audit is None or not audit.is_exact for audit in audits)
    if bad:
        return f"{len(audits)} clips, {bad} not as computed."
    if empty := sum(audit is not None and audit.worst is None for audit in audits):
        found = f"{len(audits) - empty} within {LIMIT_PX:g} px, " if empty < len(audits) else ""
        return f"{len(audits)} clips: {found}in {empty} there is nothing to measure."
    return f"{len(audits)} clips, all within {LIMIT_PX:g} px."


def _report(footage: Footage, clip: Clip, width: int) -> ClipAudit | None:
    path = footage.path(clip)
    if not path.is_file():
        click.echo(f"{clip.name:{width}}  missing: {path} is not there; render the lesson again.")
        return None
    try:
        audit = audit_clip(path, clip)
    except (OSError, ValueError, KeyError, TypeError) as error:
        click.echo(f"{clip.name:{width}}  unreadable: {path}: {error}; render the lesson again.")
        return None
    click.echo(f"{clip.name:{width}}  {sentence(audit)}")
    return audit


def sentence(audit: ClipAudit) -> str:
    """What an audit found, in one line."""
    worst = audit.worst
    small = f", {audit.too_small} too small or too close to measure" if audit.too_small else ""
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
