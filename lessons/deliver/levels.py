"""The narration at a loudness: one gain a clip, and a limiter where its peaks would pass what EBU R 128 allows."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

import numpy as np

from aimgeo.vectors import Array
from lessons.planning.sound import LAYOUTS, loudness

MOST_DBTP = -1.0
"""The highest true peak that EBU R 128 allows."""
LIMIT_DB = -1.2
"""Where the limiter holds samples at four times their rate, so that what is left between them stays below."""
SILENT_LUFS = -70.0
"""The absolute gate of ITU-R BS.1770: below it there is nothing to be loud."""
NEAR_LU = 0.1
ROUNDS = 5
EAGER = 1.7
"""Each round asks for so much more than is missing: the limiter takes a part of it back."""


def levelled(heard: Array, rate: int, lufs: float) -> Array:
    """Samples (n, channels) at an integrated loudness, none above the highest true peak; silence as it is."""
    found = loudness(heard, rate)
    if not math.isfinite(found.integrated_lufs) or found.integrated_lufs <= SILENT_LUFS:
        return heard
    gain_db = lufs - found.integrated_lufs
    if found.true_peak_dbtp + gain_db <= MOST_DBTP:
        return np.asarray(heard * 10 ** (gain_db / 20), np.float32)
    done = heard
    for _ in range(ROUNDS):
        done = limited(np.asarray(heard * 10 ** (gain_db / 20), np.float32), rate)
        short = lufs - loudness(done, rate).integrated_lufs
        if abs(short) < NEAR_LU:
            break
        gain_db += EAGER * short
    return done


def limited(heard: Array, rate: int) -> Array:
    """Samples with their peaks held below the limit, by FFmpeg's look-ahead limiter at four times the rate."""
    import av

    layout = LAYOUTS[heard.shape[1]]
    graph = av.filter.Graph()
    nodes: list[Any] = [
        graph.add_abuffer(sample_rate=rate, format="flt", layout=layout, time_base=Fraction(1, rate)),
        graph.add("aresample", str(4 * rate)),
        graph.add("alimiter", f"limit={10 ** (LIMIT_DB / 20):.6f}:attack=5:release=60:level=0:latency=1"),
        graph.add("aresample", str(rate)),
        graph.add("aformat", f"sample_fmts=flt:channel_layouts={layout}"),
        graph.add("abuffersink"),
    ]
    graph.link_nodes(*nodes).configure()
    frame = av.AudioFrame.from_ndarray(
        np.ascontiguousarray(heard, np.float32).reshape(1, -1), format="flt", layout=layout
    )
    frame.sample_rate, frame.pts, frame.time_base = rate, 0, Fraction(1, rate)
    nodes[0].push(frame)
    nodes[0].push(None)
    parts = []
    while True:
        try:
            parts.append(nodes[-1].pull().to_ndarray().reshape(-1, heard.shape[1]))
        except (av.BlockingIOError, av.EOFError):
            break
    done = np.concatenate(parts)
    return np.pad(done, ((0, max(len(heard) - len(done), 0)), (0, 0)))[: len(heard)]
