"""Captions against published practice, read back by other libraries.

The limits (42 characters, two lines, 5/6 to 7 s, two frames apart, 17 and 20 characters a second) are those
of a streaming service's public timed-text style guide; from memory.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import srt
import webvtt
from hypothesis import example, given, settings
from hypothesis import strategies as st

from lessons.deliver import Wishes
from lessons.deliver.captions import (
    as_srt,
    as_webvtt,
    break_text,
    clip_captions,
    deliver,
    hurried,
    lesson_captions,
)
from lessons.rendering.manifest import Clip, Step

RATES = [(24000, 1001), (24, 1), (25, 1), (30000, 1001), (30, 1), (50, 1), (60000, 1001), (60, 1)]


def spoken(rate: tuple[int, int], *steps: tuple[float, str]) -> Clip:
    at, spans = 0, []
    for k, (seconds, words) in enumerate(steps):
        end = at + round(seconds * rate[0] / rate[1])
        spans.append(Step(f"step {k}", at, end, words))
        at = end
    shape: dict[str, Any] = {"width_px": 96, "height_px": 64, "rate": Fraction(*rate), "frames": at}
    return Clip(name="a", file="a.mp4", kind="build-up", sha256="", steps=tuple(spans), **shape)


text = st.lists(st.text("abcdefghij,.", min_size=1, max_size=12), max_size=60).map(" ".join)


@given(text, st.floats(0.5, 30))
@settings(max_examples=150)
def test_breaking_loses_no_word_and_keeps_to_two_lines_of_42(words: str, seconds: float) -> None:
    captions = break_text(words, seconds)
    assert " ".join(line for lines in captions for line in lines).split() == words.split()
    assert all(1 <= len(lines) <= 2 and all(len(line) <= 42 for line in lines) for lines in captions)


def test_text_breaks_after_sentences_and_never_leaves_an_article_hanging(stock: SimpleNamespace) -> None:
    captions = break_text(stock.words["aim"], 6.0)
    assert captions == (
        ("Send the cue ball to the ghost ball.",),
        ("Its centre is your aim,", "near or far; nothing else changes."),
    )
    for lines in break_text(
        "Move the aim until the contact point lies halfway between the centre and the aim.", 5.0
    ):
        assert not any(line.split()[-1] in {"the", "a", "of", "and"} for line in lines)


def test_a_number_is_not_torn_from_its_unit() -> None:
    captions = break_text("x" * 38 + " 28.6\u202fmm and so on and on and on", 4.0)
    assert any("28.6\u202fmm" in line for lines in captions for line in lines)


@pytest.mark.parametrize("rate", RATES)
def test_times_keep_to_practice_at_every_rate(rate: tuple[int, int], stock: SimpleNamespace) -> None:
    clip = spoken(
        rate,
        (3.2, stock.words["target"]),
        (20.0, "Look."),
        (0.6, "Now."),
        (7.1, stock.words["contact"]),
        (1.0, ""),
    )
    captions = clip_captions(clip)
    fps = rate[0] / rate[1]
    assert captions[0].first_frame == 0
    for now, after in itertools.pairwise(captions):
        assert after.first_frame - now.end_frame >= 2
    for c in captions:
        seconds = (c.end_frame - c.first_frame) / fps
        assert seconds <= 7
        assert c.cps(clip.rate) <= 20
    starts = {c.first_frame for c in captions}
    assert {s.first_frame for s in clip.steps if s.narration} <= starts
    # "Now." has 0.6 s less the gap, and no silence after it to take
    assert [round((c.end_frame - c.first_frame) / fps, 1) for c in captions if c.lines == ("Now.",)] == [
        pytest.approx(0.6 - 2 / fps, abs=0.06)
    ]


def test_a_short_caption_takes_the_silence_after_it() -> None:
    clip = spoken((25, 1), (0.4, "Now."), (3.0, ""))
    (caption,) = clip_captions(clip)
    assert caption.end_frame == math.ceil(25 * 5 / 6)


@given(st.lists(st.tuples(st.integers(1, 9), text), min_size=1, max_size=6))
@example([(6, "a aaaaaaa. " + "aaa aaaaaaaaaaa " * 9)])
@settings(max_examples=60)
def test_in_steps_of_a_few_frames_each_caption_has_a_frame_of_its_own(steps: list[tuple[int, str]]) -> None:
    clip = spoken((25, 1), *((frames / 25, words) for frames, words in steps))
    captions = clip_captions(clip)
    assert all(c.end_frame > c.first_frame for c in captions)
    assert all(after.first_frame >= now.end_frame for now, after in itertools.pairwise(captions))
    assert " ".join(" ".join(c.lines) for c in captions).split() == " ".join(w for _, w in steps).split()


def test_words_that_look_like_times_make_no_caption_of_their_own() -> None:
    clip = spoken((25, 1), (4.0, "00:00:01,000 --> 00:00:02,000 she said --> so"))
    told = as_srt(clip_captions(clip), clip.rate)
    assert told.count("-->") == 2
    assert told.splitlines()[2].startswith("00:00:01,000 ->")


@pytest.mark.parametrize("rate", RATES)
def test_other_libraries_read_back_every_word_on_its_frame(
    rate: tuple[int, int], tmp_path: Path, stock: SimpleNamespace
) -> None:
    clip = spoken(
        rate,
        (4.0, "1 < 2 & 3 --> <b>bold</b>, said she."),
        (7.3, stock.words["contact"]),
        (5.0, stock.words["aim"]),
    )
    captions = clip_captions(clip)
    fps = Fraction(*rate)

    def first_frame_at(ms: int) -> int:
        return math.ceil(ms * fps / 1000)

    read = list(srt.parse(as_srt(captions, clip.rate)))
    assert [s.content for s in read] == ["\n".join(c.lines) for c in captions]
    assert [first_frame_at(round(s.start.total_seconds() * 1000)) for s in read] == [
        c.first_frame for c in captions
    ]
    assert [first_frame_at(round(s.end.total_seconds() * 1000)) for s in read] == [c.end_frame for c in captions]

    path = tmp_path / "a.vtt"
    path.write_text(as_webvtt(captions, clip.rate), "utf-8")
    cues = list(webvtt.read(path))
    escaped = [
        "\n".join(c.lines).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;") for c in captions
    ]
    assert [c.text if "&" in c.text else "\n".join(c.lines) for c in cues] == escaped

    def ms(clock: str) -> int:
        h, m, s = clock.split(":")
        return round((int(h) * 3600 + int(m) * 60 + float(s)) * 1000)

    assert [first_frame_at(ms(c.start)) for c in cues] == [c.first_frame for c in captions]
    assert [first_frame_at(ms(c.end)) for c in cues] == [c.end_frame for c in captions]


def test_reading_speed_is_warned_from_17_and_called_too_fast_above_20() -> None:
    words = "Aim at the centre of the ghost ball here"  # 40 characters
    for seconds, expected in ((4.0, None), (2.2, "comfortable"), (1.6, "say less")):
        clip = spoken((50, 1), (seconds, words))
        sentences = list(hurried(clip, clip_captions(clip)))
        assert len(sentences) == (expected is not None)
        assert all(expected in s for s in sentences if expected)


def test_a_word_wider_than_a_line_is_told() -> None:
    clip = spoken((25, 1), (6.0, "a" * 43))
    assert "wider than a line" in next(iter(hurried(clip, clip_captions(clip))))


def test_the_lesson_is_the_clips_end_to_end_with_a_gap_at_the_cuts(tmp_path: Path, stock: SimpleNamespace) -> None:
    rate = (25, 1)
    entries = [stock.entry(f"c{k}", 60, rate, [("s", 60, "All the way to the end of it.")]) for k in range(3)]
    footage = stock.write_folder(tmp_path, entries)
    whole = lesson_captions(footage)
    assert [c.first_frame for c in whole] == [0, 60, 120]
    assert [c.end_frame for c in whole] == [58, 118, 180]


def test_delivered_files_lie_where_they_are_listed(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(tmp_path, stock.usual_entries((25, 1)))
    files = [p.relative_to(tmp_path).as_posix() for p in deliver(footage, Wishes()).files]
    assert files == [
        "captions/ghost-ball_build-up_cut-14.5_left_near.srt",
        "captions/ghost-ball_build-up_cut-14.5_left_near.vtt",
        "captions/ghost-ball_build-up_cut-14.5_left_far.srt",
        "captions/ghost-ball_build-up_cut-14.5_left_far.vtt",
        "thin-and-full.srt",
        "thin-and-full.vtt",
    ]
    assert all((tmp_path / f).stat().st_size for f in files)


def test_a_silent_lesson_has_no_captions(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(tmp_path, [stock.entry("c", 20, (25, 1), [("s", 20, "")])])
    assert deliver(footage, Wishes()).files == ()


def test_captions_do_not_depend_on_the_clip_staying_in_place(stock: SimpleNamespace) -> None:
    clip = spoken((25, 1), (3.0, stock.words["target"]))
    moved = [c.moved(100) for c in clip_captions(clip)]
    assert moved == [replace(c, first_frame=c.first_frame + 100, end_frame=c.end_frame + 100)
                     for c in clip_captions(clip)]  # fmt: skip
