"""Loudness of the clips' sound, told in a table."""

from __future__ import annotations

import csv
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest

from lessons.deliver import Wishes, loudness
from lessons.deliver.footage import Footage


def test_a_tone_reads_as_bs_1770_says(tmp_path: Path, stock: SimpleNamespace) -> None:
    """A mono sine of 1 kHz reads 3.01 LU below the stereo one of EBU Tech 3341, which reads its level in dBFS."""
    entries = [stock.entry(f"c{k}", 125, (25, 1), [("s", 125, "")]) for k in range(3)]
    footage = stock.write_folder(tmp_path, entries)
    stock.with_tone(footage.path(footage.clips[0]), 1000, 10 ** (-20 / 20))
    stock.with_tone(footage.path(footage.clips[2]), 1000, 10 ** (-26 / 20))
    done = loudness.deliver(footage, Wishes())
    rows = list(csv.DictReader(done.files[0].read_text().splitlines()))
    assert [r["clip"] for r in rows] == ["c0", "c2"]
    assert [float(r["integrated_lufs"]) for r in rows] == pytest.approx([-23.01, -29.01], abs=0.15)
    # the codec overshoots where the tone begins; the meter must see that peak, or a higher one between the samples
    for row in rows:
        with av.open(str(tmp_path / f"{row['clip']}.mp4")) as container:
            peak = max(float(np.abs(frame.to_ndarray()).max()) for frame in container.decode(audio=0))
        assert -0.1 < float(row["true_peak_dbtp"]) - 20 * np.log10(peak) < 0.5
    assert "differs from clip to clip, -29.0 to -23.0 LUFS" in done.warnings[0]


def test_a_silent_lesson_has_no_loudness(footage: Footage) -> None:
    assert loudness.deliver(footage, Wishes()).files == ()
