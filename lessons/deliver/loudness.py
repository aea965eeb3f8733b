"""How loud the clips' narration is, by EBU R 128; and its sound at a loudness, where one is wished for."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np

from aimgeo.vectors import Array
from lessons.deliver import Delivered, Wishes
from lessons.deliver.footage import Footage, has_sound
from lessons.deliver.levels import MOST_DBTP, levelled
from lessons.deliver.timecode import source_of, timecode_of
from lessons.deliver.writing import whole_file, write_text
from lessons.planning.sound import LAYOUTS, Loudness, blocks, encoded, loudness
from lessons.rendering.manifest import Clip

HEADER = ("clip", "integrated_lufs", "range_lu", "true_peak_dbtp")
TARGET_LUFS = -23.0
"""What EBU R 128 asks of programmes."""
NEAR_ENOUGH_LU = 0.5
"""What EBU R 128 takes for the same."""
SPREAD_LU = 3.0
"""Clips further apart than this are heard as a jump from one to the next."""


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """<lesson>_loudness.csv, a line for every clip with sound; nothing when all are silent.

    When a loudness is wished for, sound/<clip>.wav too: the clip's sound at it, as long as the clip.
    """
    rows: list[tuple[str, Loudness]] = []
    files: list[Path] = []
    for clip in footage.clips:
        if not has_sound(footage.path(clip)):
            continue
        parts = list(blocks(footage.path(clip)))
        heard, rate = np.concatenate([part for part, _ in parts]), parts[0][1]
        if wishes.lufs is not None:
            heard = levelled(heard, rate, wishes.lufs)
            files.append(_write_wave(footage, clip, heard, rate))
        rows.append((clip.name, loudness(heard, rate)))
    if not rows:
        return Delivered(())
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(HEADER)
    for name, found in rows:
        numbers = (found.integrated_lufs, found.range_lu, found.true_peak_dbtp)
        table.writerow([name, *(f"{v:.1f}" for v in numbers)])
    path = footage.folder / f"{footage.identity}_loudness.csv"
    return Delivered((write_text(path, text.getvalue()), *files), tuple(_warnings(rows, wishes.lufs)))


def _write_wave(footage: Footage, clip: Clip, heard: Array, rate: int) -> Path:
    """A clip's sound as 24-bit PCM, exactly as long as its pictures, with its time as broadcast WAV tells it."""
    import av

    wanted = round(Fraction(clip.frames) / clip.rate * rate)
    heard = np.pad(heard, ((0, max(wanted - len(heard), 0)), (0, 0)))[:wanted]
    first = source_of(clip, timecode_of(clip.rate, non_drop=False)).first_frame
    path = footage.folder / "sound" / f"{clip.name}.wav"
    with whole_file(path) as part, av.open(str(part), "w", format="wav", options={"write_bext": "1"}) as target:
        # EBU Tech 3285: the time of the first sample, counted in samples since midnight
        target.metadata["time_reference"] = str(round(first / clip.rate * rate))
        target.metadata["description"] = clip.name
        voice = target.add_stream("pcm_s24le", rate=rate, layout=LAYOUTS[heard.shape[1]])
        for packets, _ in encoded(voice, [heard]):
            target.mux(packets)
    return path


def _warnings(rows: list[tuple[str, Loudness]], lufs: float | None) -> Iterator[str]:
    levels = {name: found.integrated_lufs for name, found in rows}
    softest, loudest = min(levels.values()), max(levels.values())
    if loudest - softest > SPREAD_LU:
        yield (
            f"the narration's loudness differs from clip to clip, {softest:.1f} to {loudest:.1f} LUFS; even it "
            f"out in the recording, or deliver with --loudness {TARGET_LUFS:.0f}, as EBU R 128 asks."
        )
    name, found = max(rows, key=lambda row: row[1].true_peak_dbtp)
    if found.true_peak_dbtp > MOST_DBTP:
        yield (
            f"{name}: the sound's true peak is {found.true_peak_dbtp:.1f} dBTP, EBU R 128 allows {MOST_DBTP:.0f}; "
            "record it softer, or deliver with --loudness."
        )
    far = [name for name, level in levels.items() if lufs is not None and abs(level - lufs) > NEAR_ENOUGH_LU]
    if far:
        yield (
            f"{far[0]}: the sound is {levels[far[0]]:.1f} LUFS and gets no nearer to {lufs:.0f} below the highest "
            "peak; record it with less difference between soft and loud."
        )
