"""A lesson in several languages: texts by language, pictures in any of them, captions in all."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import av
import pytest
import srt
import webvtt
from click.testing import CliRunner

from lessons.cli import main
from lessons.lesson.faults import LessonError
from lessons.lesson.model import load, loads
from lessons.lesson.wording import LANGUAGES, Wording, words_of
from lessons.planning.plan import plan
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS

LESSON = """\
title: {en: Half ball, de: Halber Ball}
identity: half-ball
language: [en, de]
cuts: 1/2
sides: left
distances: {near: 300 mm}
output: {size: 320x180, rate: 24}
clips:
  - kind: title
    narration: {en: "{lesson}, seen from here.", de: "{lesson}, von hier gesehen."}
  - kind: section
    title: {en: The cut, de: Der Schnitt}
  - kind: table
"""

NEED_MORE = ("section", "card", "film", "two-cuts", "on-footage")
"""Kinds that need more than their name."""


def messages(text: str) -> list[str]:
    with pytest.raises(LessonError) as caught:
        plan(loads(text, "a.yaml"))
    return str(caught.value).splitlines()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("de: Der Schnitt}", "fr: La coupe}", "a.yaml:12:26: unknown key 'fr' in clips[1].title; known are"),
        (", de: Der Schnitt", "", "a.yaml:12:12: 'de' is missing; the lesson is in that language."),
        ("{en: The cut, de: Der Schnitt}", "Cut", "a.yaml:12:12: the lesson is in en and de: write this"),
        ("{en: The cut, de: Der Schnitt}", "{}", "a.yaml:12:12: clips[1].title is empty; write the words"),
        ("von hier", "von {hierr}", "a.yaml:10:54: unknown field '{hierr}'; known are: lesson."),
        ("[en, de]", "[en, he]", "a.yaml:3:16: language[1] is 'he', which is written from right to"),
        ("[en, de]", "ar", "a.yaml:3:11: language is 'ar', which is written from right to left"),
        ("de: Der Schnitt", "ar: x", "a.yaml:12:12: clips[1].title is 'ar', which is written from right to left"),
        ("von hier", "مرحبا", "which is written from right to left; pictures and captions can't set that yet."),
    ],
)  # fmt: skip
def test_a_text_that_cannot_be_used_is_told_with_its_place(old: str, new: str, message: str) -> None:
    assert old in LESSON
    assert any(message in line for line in messages(LESSON.replace(old, new))), messages(LESSON.replace(old, new))


def test_the_pictures_are_in_one_language_and_the_clips_have_the_same_names_in_all() -> None:
    english, german = plan(loads(LESSON)), plan(loads(LESSON), language="de")
    assert [c.name for c in english.clips] == [c.name for c in german.clips]
    assert (english.title, german.title) == ("Half ball", "Halber Ball")
    assert english.clips[1].brief.labels["title"] == "The cut"
    assert german.clips[1].brief.labels["title"] == "Der Schnitt"
    assert german.clips[2].brief.labels["heading"] == "Schnitt 30,0° links, Mitten auf 300\u202fmm"
    assert english.clips[0].translations == {"de": ("Halber Ball, von hier gesehen.",)}
    assert german.clips[0].translations == {"en": ("Half ball, seen from here.",)}
    assert "30 Grad" in english.clips[2].translations["de"][0]


def test_a_language_that_the_lesson_has_not_is_refused() -> None:
    with pytest.raises(LessonError, match=r"a\.yaml:3:11: 'de' is not among the lesson's languages \(en\)"):
        plan(loads("title: A\nclips: [{kind: title}]\nlanguage: en", "a.yaml"), language="de")


def test_a_text_in_two_languages_serves_a_lesson_in_one() -> None:
    assert plan(loads(LESSON.replace("[en, de]", "de"))).title == "Halber Ball"


def invoke(*words: object) -> str:
    done = CliRunner().invoke(main, [*map(str, words)])
    assert done.exit_code == 0, done.output
    return done.output


def test_captions_come_in_every_language_and_new_words_render_nothing(tmp_path: Path) -> None:
    """Read by the parsers of the libraries srt and webvtt-py, the rough cut's tracks by FFmpeg."""
    lesson, out = tmp_path / "lesson.yaml", tmp_path / "out"
    lesson.write_text(LESSON, "utf-8")
    invoke("render", lesson, "--out", out)
    invoke("deliver", lesson, "--out", out)
    told = json.loads((out / "manifest.json").read_text("utf-8"))
    assert told["lesson"]["language"] == "en"
    assert told["clips"][0]["steps"][0]["translations"] == {"de": "Halber Ball, von hier gesehen."}

    english, german = (list(srt.parse((out / f"half-ball{m}.srt").read_text("utf-8"))) for m in ("", ".de"))
    assert english[0].content == "Half ball, seen from here."
    assert german[0].content == "Halber Ball, von hier gesehen."
    assert german[0].start == english[0].start
    assert webvtt.read(str(out / "half-ball.de.vtt")).captions[0].text == german[0].content
    assert (out / "captions" / "title.de.srt").is_file()
    with av.open(str(out / "half-ball.mp4")) as cut:
        assert [track.metadata["language"] for track in cut.streams.subtitles] == ["eng", "deu"]

    lesson.write_text(LESSON.replace("von hier", "von dort"), "utf-8")
    assert "0 rendered, 3 unchanged" in invoke("render", lesson, "--out", out)
    invoke("deliver", lesson, "--out", out)
    assert "von dort" in (out / "half-ball.de.srt").read_text("utf-8")


def test_a_folder_in_another_language_is_delivered_in_that(tmp_path: Path) -> None:
    lesson, out = tmp_path / "lesson.yaml", tmp_path / "out"
    lesson.write_text(LESSON, "utf-8")
    invoke("render", lesson, "--out", out, "--language", "de", "--only", "title")
    invoke("deliver", lesson, "--out", out)
    assert "Halber Ball, von hier gesehen." in (out / "captions" / "title.srt").read_text("utf-8")
    assert "Half ball, seen from here." in (out / "captions" / "title.en.srt").read_text("utf-8")


EVERY_KIND = """\
title: {en: Every kind, de: Alle Arten, es: Todos los tipos}
language: [en, de, es]
cuts: 1/2
sides: left
distances: {near: 300 mm, far: 900 mm}
eyes:
  left: {back: 600 mm, height: 300 mm, offset: 30 mm}
  over: {back: 600 mm, height: 300 mm}
clips:
"""


@pytest.mark.parametrize("language", [code for code in LANGUAGES if code != "en"])
def test_the_words_fit_their_places_wherever_the_english_do(language: str, tmp_path: Path) -> None:
    rows = [f"  - {{kind: {kind}}}\n" for kind in CLIP_KINDS if kind not in NEED_MORE]
    lesson = tmp_path / "kinds.yaml"
    lesson.write_text(EVERY_KIND + "".join(rows), "utf-8")
    firsts = {clip.kind: clip for clip in reversed(plan(load(lesson), language=language).clips)}
    assert len(firsts) == len(rows)
    boards = {kind: CLIP_KINDS[kind].board(clip.brief) for kind, clip in firsts.items()}
    assert {kind: told for kind, board in boards.items() if (told := faults(board))} == {}


def texts(words: Any, at: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], str]]:
    """Every text of a language's file with its keys; plural forms have one place together."""
    if isinstance(words, dict):
        for key, value in words.items():
            yield from texts(value, (*at, key))
    else:
        yield at, " ".join(str(form) for form in words) if isinstance(words, list) else words


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_language_is_one_file_with_the_same_texts_and_fields_as_the_english(language: str) -> None:
    """Names of languages: ISO 639-1 and ISO 639-2/T, from memory; plural rules: gettext's manual, 12.2.6."""
    words, english = words_of(language), words_of("en")
    # spoken units hang on the words of that language, limits are told on the command line, which speaks English
    own = {"spoken_units", "limits", "joints", "leaning"}
    found, wanted = (dict(texts({k: v for k, v in w.items() if k not in own})) for w in (words, english))
    assert set(found) == set(wanted)
    fields = {at: set(re.findall(r"{(\w+)}", text)) for at, text in found.items()}
    told = {at: set(re.findall(r"{(\w+)}", text)) for at, text in wanted.items()}
    assert {at for at in fields if at[0] in ("printed", "set_up", "aim_chart", "script", "review", "phrases")
            and fields[at] != told[at]} == set()  # fmt: skip
    assert set(words["spoken_units"]) == {"degrees", *(u for k, u in words["units"].items())}
    assert words["language"]["name"] == LANGUAGES[language]
    assert (language, words["language"]["iso_639_2"]) in {("en", "eng"), ("de", "deu"), ("es", "spa")}
    assert words["joints"]
    assert words["leaning"]


def test_plural_forms_follow_the_rule_of_the_language() -> None:
    """gettext's manual, 12.2.6, from memory: French counts 0 as one, Polish has three forms."""
    french, polish = dict(words_of("en")), dict(words_of("en"))
    french["language"] = {"plural": "n > 1"}
    polish["language"] = {"plural": "n==1 ? 0 : n%10>=2 && n%10<=4 && (n%100<10 || n%100>=20) ? 1 : 2"}
    forms = ("kula", "kule", "kul")
    assert [Wording(polish, "mm", 57.15).form(forms, n) for n in ("1", "2", "5", "12", "22", "2.5")] == [
        "kula", "kule", "kul", "kul", "kule", "kul",
    ]  # fmt: skip
    assert [Wording(french, "mm", 57.15).form(("bille", "billes"), n) for n in "012"] == [
        "bille",
        "bille",
        "billes",
    ]
