"""What is heard during a clip, as a WAV file."""

from __future__ import annotations

import io
import wave
from fractions import Fraction

import numpy as np

from lessons.planning.planned import PlannedClip, ScratchVoice
from lessons.planning.scratch_voice import spoken
from lessons.planning.sound import stretch


def wav_of(clip: PlannedClip) -> bytes:
    """The clip's sound (16 bits), exactly as long as its pictures. Raises SoundError."""
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
    return file.getvalue()
