"""How loud the clips' narration is, by EBU R 128: told, and left as it is."""

from __future__ import annotations

import csv
import io

import numpy as np

from lessons.deliver import Delivered, Wishes
from lessons.deliver.footage import Footage, has_sound
from lessons.deliver.writing import write_text
from lessons.planning.sound import blocks, loudness

HEADER = ("clip", "integrated_lufs", "range_lu", "true_peak_dbtp")
TARGET_LUFS = -23.0
"""What EBU R 128 asks of programmes; named in the warning, never applied."""
SPREAD_LU = 3.0
"""Clips further apart than this are heard as a jump from one to the next."""


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """<lesson>_loudness.csv, a line for every clip with sound; nothing when all are silent."""
    rows = []
    for clip in footage.clips:
        if not has_sound(footage.path(clip)):
            continue
        parts = list(blocks(footage.path(clip)))
        rows.append((clip.name, loudness(np.concatenate([part for part, _ in parts]), parts[0][1])))
    if not rows:
        return Delivered(())
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(HEADER)
    for name, found in rows:
        numbers = (found.integrated_lufs, found.range_lu, found.true_peak_dbtp)
        table.writerow([name, *(f"{v:.1f}" for v in numbers)])
    path = footage.folder / f"{footage.identity}_loudness.csv"
    levels = [found.integrated_lufs for _, found in rows]
    return Delivered((write_text(path, text.getvalue()),), tuple(_warnings(levels)))


def _warnings(levels: list[float]) -> list[str]:
    softest, loudest = min(levels), max(levels)
    if loudest - softest <= SPREAD_LU:
        return []
    return [
        (
            f"the narration's loudness differs from clip to clip, {softest:.1f} to {loudest:.1f} LUFS "
            f"(EBU R 128 asks for {TARGET_LUFS:.0f}); even it out in the recording or the edit."
        )
    ]
