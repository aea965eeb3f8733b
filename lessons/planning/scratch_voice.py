"""A scratch voice: the narration spoken by the program espeak-ng, to judge the timing before anyone records it."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from dataclasses import replace
from fractions import Fraction
from itertools import accumulate
from pathlib import Path

import numpy as np

from aimgeo.vectors import Array
from lessons.lesson.faults import Fault, LessonError
from lessons.lesson.model import Lesson
from lessons.planning.planned import Plan, PlannedClip, ScratchVoice
from lessons.planning.sound import RATES, SoundError, blocks

PROGRAM = "espeak-ng"
RATE = RATES[-1]
FASTEST_WORDS_A_MINUTE = 450
"""The program speaks no faster."""
TRIES = 4


def with_voice(lesson: Lesson, made: Plan) -> Plan:
    """The plan with a scratch voice in every clip that has words and no recording, when the lesson asks for it.

    The steps keep their lengths. Raises LessonError when the program is not installed.
    """
    told = lesson.keys.recordings
    if told is None or told.voice is None:
        return made
    if shutil.which(PROGRAM) is None:
        sentence = f"{PROGRAM} is not installed; install the Debian package {PROGRAM}, or leave 'voice' out."
        raise LessonError([Fault(lesson.place("recordings", "voice"), sentence, "recording")])
    pace, pause_s = lesson.keys.speech.words_a_minute, lesson.keys.speech.pause or 0.0
    clips = (
        clip if clip.sound else replace(clip, sound=_voice(clip, made.language, pace, pause_s))
        for clip in made.clips
    )
    return replace(made, clips=tuple(clips))


def _voice(clip: PlannedClip, language: str, words_a_minute: float, pause_s: float) -> ScratchVoice | None:
    tick = 1 / Fraction(*clip.brief.output.rate)
    steps = clip.brief.steps
    starts = accumulate((step.frames for step in steps), initial=0)
    texts = tuple(
        (step.narration, float(at * tick), max(float(step.frames * tick) - pause_s, float(tick)))
        for at, step in zip(starts, steps, strict=False)
        if step.narration
    )
    return ScratchVoice(language, words_a_minute, texts) if texts else None


def spoken(voice: ScratchVoice, seconds: Fraction, lead: Fraction = Fraction(0)) -> tuple[Array, int]:
    """The samples (n, 1), exactly `seconds` long with `lead` seconds of silence before them, and their rate.

    A text that takes longer than it may is spoken faster, and cut off where the fastest is too slow.
    """
    heard: Array = np.zeros((round(seconds * RATE), 1))
    for text, start_s, longest_s in voice.texts:
        first = round((float(lead) + start_s) * RATE)
        part = _in_time(text, voice, longest_s)[: len(heard) - first]
        heard[first : first + len(part)] = part
    return heard, RATE


def _in_time(text: str, voice: ScratchVoice, longest_s: float) -> Array:
    pace, longest = voice.words_a_minute, round(longest_s * RATE)
    part = _said(text, voice.language, pace)
    for _ in range(TRIES):
        if len(part) <= longest or pace >= FASTEST_WORDS_A_MINUTE:
            break
        pace = min(pace * max(len(part) / longest, 1.0) * 1.05, FASTEST_WORDS_A_MINUTE)
        part = _said(text, voice.language, pace)
    return part[:longest]


def _said(text: str, language: str, words_a_minute: float) -> Array:
    """Samples (n, 1) of a text at a pace, without the silence around it."""
    with tempfile.TemporaryDirectory(prefix="aimgeo-voice-") as folder:
        path = Path(folder) / "said.wav"
        # the text comes by the standard input, where nothing in it can be an option
        command = [PROGRAM, "-v", language, "-s", str(round(words_a_minute)), "--stdin", "-w", str(path)]
        done = subprocess.run(command, input=text.encode("utf-8"), capture_output=True, check=False)
        if done.returncode or not path.exists():
            reason = done.stderr.decode("utf-8", "replace").strip() or f"exit status {done.returncode}"
            raise SoundError(f"{PROGRAM} could not speak {text[:40]!r}: {reason}")
        heard = np.concatenate([np.zeros((0, 1)), *(block[:, :1] for block, _ in blocks(path))])
    loud = np.flatnonzero(np.abs(heard[:, 0]) > 1e-3)
    return heard[loud[0] : loud[-1] + 1] if len(loud) else heard[:0]
