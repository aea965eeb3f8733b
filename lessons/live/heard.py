"""What is heard during a clip, as a WAV file and as an outline."""

from __future__ import annotations

import io
import wave
from fractions import Fraction
from itertools import pairwise

import numpy as np

from lessons.planning.planned import PlannedClip, ScratchVoice
from lessons.planning.scratch_voice import spoken
from lessons.planning.sound import stretch

COLUMNS = 600
"""So many heights tell the outline of a clip's sound."""


def heard(clip: PlannedClip) -> tuple[bytes, list[float]]:
    """The clip's sound as WAV (16 bits), exactly as long as its pictures, and how loud it is along its length.

    Of the outline, 1 is its loudest place. Raises SoundError.
    """
    rate = Fraction(*clip.brief.output.rate)
    seconds, lead = clip.frames / rate, clip.brief.handle_frames / rate
    assert clip.sound is not None
    if isinstance(clip.sound, ScratchVoice):
        samples, a_second = spoken(clip.sound, seconds, lead)
    else:
        samples, a_second = stretch(clip.sound, seconds, lead)
    file = io.BytesIO()
    with wave.open(file, "wb") as out:
        out.setnchannels(samples.shape[1])
        out.setsampwidth(2)
        out.setframerate(a_second)
        out.writeframes(np.round(np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())
    loud = np.abs(samples).max(axis=1)
    ends = np.linspace(0, len(loud), COLUMNS + 1).astype(int)
    heights = np.array([loud[a:b].max(initial=0.0) for a, b in pairwise(ends.tolist())])
    return file.getvalue(), np.round(heights / max(float(heights.max()), 1e-9), 3).tolist()
