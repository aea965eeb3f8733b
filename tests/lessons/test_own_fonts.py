"""Fonts from a file: set as they measure, the same everywhere, looked into at `check`, in all that is written."""

from __future__ import annotations

import pickle
import random
import subprocess
import sys
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import numpy as np
import pypdf
import pytest
from fontTools.ttLib import TTCollection, TTFont
from PIL import Image

from lessons.deliver import Wishes, set_up_sheets
from lessons.deliver.burning import BELOW, lay
from lessons.deliver.footage import Footage
from lessons.deliver.pictures import MARGIN_PX, contact_sheet
from lessons.lesson.faults import LessonError
from lessons.lesson.model import load
from lessons.live.session import Session
from lessons.planning.plan import plan
from lessons.planning.planned import Plan
from lessons.rendering.cache import clip_key
from lessons.rendering.manifest import ManifestError, planned_manifest
from scenes.draw.picture import picture
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS
from scenes.look.fonts import CAP_HEIGHT, Face, own_font, run, width_px
from tests.lessons.letters import BUILT_IN, CAPITAL, advance, box_font

LOOK = "look:\n  type: {font: boxes.ttf}\n"
LESSON = """title: A
language: [en]
cuts: [30]
sides: left
distances: {{near: 300 mm}}
output: {{size: {size}, rate: 30, look: club.yaml}}
clips:
  - {{kind: title}}
  - {{kind: build-up, methods: contact-points, only: [target line, contact point]}}
  - {{kind: table}}
"""


def planned(folder: Path, look: str = LOOK, size: str = "720p", lesson: str = LESSON) -> Plan:
    (folder / "club.yaml").write_text(look, encoding="utf-8")
    (folder / "lesson.yaml").write_text(lesson.format(size=size), encoding="utf-8")
    return plan(load(folder / "lesson.yaml"))


@pytest.fixture
def boxes(tmp_path: Path) -> Path:
    return box_font(tmp_path / "boxes.ttf")


def test_letters_are_as_wide_as_the_font_says_and_capitals_as_high_as_in_every_font(boxes: Path) -> None:
    face = Face(640, 28, file=own_font(boxes))
    em = CAP_HEIGHT / (CAPITAL / 1000)
    text = "Größe 14.5°"
    assert width_px(text, face, 40) == pytest.approx(40 * em * sum(map(advance, text)) / 1000, abs=1e-3)
    left, top, right, bottom = run("H", face).ink
    expected = [0.05 * em, -CAP_HEIGHT, (advance("H") - 50) / 1000 * em, 0.0]
    assert [left, top, right, bottom] == pytest.approx(expected, abs=1e-6)


def test_a_variable_font_is_as_heavy_as_asked(tmp_path: Path) -> None:
    file = own_font(box_font(tmp_path / "boxes.ttf", heavier=90))
    em = CAP_HEIGHT / (CAPITAL / 1000)
    for weight, more in ((300, 0), (400, 0), (500, 30), (700, 90), (900, 90)):
        told = width_px("H", Face(weight, file=file), 1000)
        assert told == pytest.approx(em * (advance("H") + more), abs=0.02)


@pytest.mark.parametrize("size", ["720p", "square", "vertical"])
def test_words_find_their_places_in_a_wide_font(tmp_path: Path, size: str) -> None:
    box_font(tmp_path / "boxes.ttf", wide=480)  # as wide as a typewriter
    for clip in planned(tmp_path, size=size).clips:
        assert faults(CLIP_KINDS[clip.kind].board(clip.brief)) == []


def test_a_font_too_wide_for_some_pictures_is_noted(tmp_path: Path) -> None:
    box_font(tmp_path / "boxes.ttf", wide=400)
    assert planned(tmp_path).notes == ()
    box_font(tmp_path / "boxes.ttf", wide=700)
    (note,) = planned(tmp_path).notes
    assert "the font boxes.ttf is" in note.sentence
    assert "wider than the built-in one" in note.sentence
    assert (Path(note.place.file).name, note.place.line) == ("club.yaml", 2)


def test_a_worker_draws_the_same_picture(tmp_path: Path, boxes: Path) -> None:
    clip = planned(tmp_path).clips[1]
    board = CLIP_KINDS[clip.kind].board(clip.brief)
    here = picture(board, board.frames - 1)
    (tmp_path / "brief").write_bytes(pickle.dumps(clip.brief))
    other = (
        "import pickle, sys; from scenes.kinds import CLIP_KINDS; from scenes.draw.picture import picture\n"
        "brief = pickle.load(open(sys.argv[1], 'rb')); board = CLIP_KINDS[brief.subject.kind].board(brief)\n"
        "sys.stdout.buffer.write(picture(board, board.frames - 1).tobytes())"
    )
    there = subprocess.run(
        [sys.executable, "-c", other, str(tmp_path / "brief")], capture_output=True, check=True
    ).stdout
    assert there == here.tobytes()
    plain = replace(clip.brief, look=planned(tmp_path, "look: {}\n").clips[1].brief.look)
    assert picture(CLIP_KINDS[clip.kind].board(plain), board.frames - 1).tobytes() != there


def test_another_font_renders_again_and_another_place_does_not(tmp_path: Path, boxes: Path) -> None:
    before = clip_key(planned(tmp_path).clips[1], "", "").parts
    (tmp_path / "fonts").mkdir()
    boxes.rename(tmp_path / "fonts" / "b.ttf")
    moved = clip_key(planned(tmp_path, LOOK.replace("boxes", "fonts/b")).clips[1], "", "").parts
    assert moved == before
    box_font(tmp_path / "fonts" / "b.ttf", wide=520)
    after = clip_key(planned(tmp_path, LOOK.replace("boxes", "fonts/b")).clips[1], "", "").parts
    assert {key for key in before if before[key] != after[key]} == {"font"}


def broken(content: bytes) -> bytes:
    return content[:12] + bytes(200) + content[212:]


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (lambda good: None, "there is no font 'boxes.ttf' beside this file; check the name."),
        (lambda good: b"", "is no font; name a TTF or OTF file."),
        (lambda good: b"%PDF-1.7 and so on", "is no font; name a TTF or OTF file."),
        (lambda good: good[:300], "is broken: it holds no letters; take it once more from where it came."),
        (broken, "is broken: it holds no letters; take it once more from where it came."),
        (lambda good: good + bytes(20_000_000), "is larger than 20 MB; take one with fewer scripts"),
        (lambda good: b"wOF2" + good[4:], "is packed for web pages; name the same font's TTF or OTF file."),
        (lambda good: b"ttcf" + good[4:], "is a collection of several fonts; save the one that you mean"),
    ],
)
def test_what_is_no_usable_font_is_one_sentence_at_its_place(tmp_path: Path, boxes: Path, made, told: str) -> None:  # type: ignore[no-untyped-def]
    content = made(boxes.read_bytes())
    boxes.unlink()
    if content is not None:
        boxes.write_bytes(content)
    with pytest.raises(LessonError) as caught:
        planned(tmp_path)
    (fault,) = caught.value.faults
    assert (Path(fault.place.file).name, fault.place.line, fault.place.column) == ("club.yaml", 2, 16)
    assert told in fault.sentence
    assert fault.sentence.endswith(".")


def test_hostile_fonts_are_used_or_refused_in_a_sentence(tmp_path: Path) -> None:
    good, file = box_font(tmp_path / "good.ttf", heavier=40).read_bytes(), tmp_path / "boxes.ttf"
    used, told = 0, []
    for seed in range(150):
        chance, content = random.Random(seed), bytearray(good)
        for _ in range(chance.choice((1, 5, 50))):
            content[chance.randrange(chance.choice((300, len(content))))] = chance.randrange(256)
        file.write_bytes(bytes(content[: chance.choice((len(content), chance.randrange(len(content))))]))
        try:
            own = own_font(file)
        except ValueError as error:
            told.append(str(error))
            continue
        run("Größe 14.5°", Face(600, 20, True, own))
        used += 1
    assert used > 10 < len(told)
    assert all(sentence.endswith(".") for sentence in told)


def test_a_real_collection_is_refused_and_a_font_without_capitals_too(tmp_path: Path, boxes: Path) -> None:
    both = TTCollection()
    both.fonts = [TTFont(boxes), TTFont(boxes)]
    both.save(tmp_path / "boxes.ttf")
    with pytest.raises(LessonError, match="is a collection of several fonts"):
        planned(tmp_path)
    box_font(boxes, "abc ")
    with pytest.raises(LessonError, match="has no plain capital letters"):
        planned(tmp_path)


def test_letters_that_the_font_lacks_are_told_where_they_are_written(tmp_path: Path) -> None:
    box_font(tmp_path / "boxes.ttf", BUILT_IN.replace("ß", "").replace("°", ""))
    lesson = LESSON.replace("title: A", "title: Große Schnitte").replace("[en]", "[de]")
    with pytest.raises(LessonError) as caught:
        planned(tmp_path, lesson=lesson)
    told = [(Path(f.place.file).name, f.place.line, f.place.column, f.sentence) for f in caught.value.faults]
    assert [row[:3] for row in told] == [("club.yaml", 2, 16), ("lesson.yaml", 1, 8)]
    assert told[0][3].startswith("the font boxes.ttf has no '°', which the pictures or captions show")
    assert told[1][3].startswith("holds 'ß', which the font boxes.ttf can't draw; write it another way")


def test_every_language_of_the_lesson_counts(tmp_path: Path) -> None:
    box_font(tmp_path / "boxes.ttf", BUILT_IN.replace("ü", ""))
    planned(tmp_path)
    lesson = LESSON.replace("title: A", "title: {{en: A, de: A}}").replace("[en]", "[en, de]")
    with pytest.raises(LessonError, match=r"the font boxes\.ttf has no 'ü'"):
        planned(tmp_path, lesson=lesson)


@pytest.mark.parametrize(
    ("look", "told"),
    [
        ("type: {bold: boxes.ttf}", "look.type has 'bold' and no 'font'"),
        ("type: {font: boxes.ttf, weights: {titles: 600}}", "the font 'boxes.ttf' has one weight only"),
        ("type: {font: heavy.ttf, weights: {titles: 750}}", "the font 'heavy.ttf' goes from 400 to 700"),
        ("type: {sizes: {titles: 3}}", "look.type.sizes.titles"),
        ("type: {size: 1}", "unknown key 'size'"),
    ],
)
def test_what_type_can_not_be_is_said(tmp_path: Path, boxes: Path, look: str, told: str) -> None:
    box_font(tmp_path / "heavy.ttf", heavier=50)
    with pytest.raises(LessonError) as caught:
        planned(tmp_path, f"look:\n  {look}\n")
    assert told in str(caught.value)
    assert len(caught.value.faults) == 1


def test_weights_and_sizes_reach_their_styles_alone(tmp_path: Path) -> None:
    plain = planned(tmp_path, "look: {}\n").clips[0].brief.look.types
    set_so = (
        planned(tmp_path, "look:\n  type: {weights: {titles: 800}, sizes: {numbers: 0.9}}\n")
        .clips[0]
        .brief.look.types
    )
    changed = {name for name in plain if plain[name] != set_so[name]}
    assert changed == {"title", "heading", "card_title", "card_title_long", "measure", "table_cell"}
    assert set_so["title"].face.weight == 800
    assert set_so["measure"].size == pytest.approx(0.9 * plain["measure"].size)


def test_sheets_are_set_in_it_and_say_so_when_it_is_lost(tmp_path: Path, boxes: Path) -> None:
    out = tmp_path / "out" / "lesson"
    box_font(tmp_path / "bold.ttf", name="Another")
    look = "look:\n  type: {font: boxes.ttf, bold: bold.ttf}\n"
    footage = Footage(out, planned_manifest(planned(tmp_path, look), out))
    assert footage.manifest.lesson.fonts[0].file == "../../boxes.ttf"
    (a4, _) = set_up_sheets.deliver(footage, Wishes()).files
    used = {
        str(font["/BaseFont"]).split("+")[-1]
        for page in pypdf.PdfReader(a4).pages
        for font in (reference.get_object() for reference in page["/Resources"]["/Font"].values())  # type: ignore[index]
    }
    assert {name.split("-")[0] for name in used} == {"Boxes"}
    boxes.write_bytes(boxes.read_bytes() + b" ")
    with pytest.raises(ManifestError, match=r"the font boxes\.ttf of the lesson's look is no longer in"):
        set_up_sheets.deliver(Footage(out, footage.manifest), Wishes())


def test_captions_in_the_picture_are_written_in_it(boxes: Path) -> None:
    plain, own = (np.zeros((720, 1280, 4), np.uint8) for _ in range(2))
    lay(plain, ("HHHH",), BELOW)
    lay(own, ("HHHH",), replace(BELOW, letters=boxes))
    white = own[..., 0] > 250
    # four boxes with gaps: what the font draws, and its capitals stand as high as the built-in one's
    row = white[np.flatnonzero(white.any(axis=1))[len(np.flatnonzero(white.any(axis=1))) // 2]]
    assert np.count_nonzero(np.diff(row.astype(int)) == 1) == 4
    assert abs(int(white.any(axis=1).sum()) - int((plain[..., 0] > 250).any(axis=1).sum())) <= 2


def test_contact_sheets_are_written_in_it(boxes: Path) -> None:
    cells = [(Image.new("RGB", (400, 225), "black"), "HHHH", "HH")]
    sheet = np.asarray(contact_sheet("HHHHH", cells, (boxes,)).convert("L"))
    title = sheet[: MARGIN_PX + 60] > 150
    row = title[np.flatnonzero(title.any(axis=1))[title.any(axis=1).sum() // 2]]
    assert np.count_nonzero(np.diff(row.astype(int)) == 1) == 5  # boxes, with gaps


def test_the_live_page_watches_look_and_font(tmp_path: Path, boxes: Path) -> None:
    planned(tmp_path)
    session = Session(tmp_path / "lesson.yaml", "lesson.yaml", tmp_path / "cache")
    session.reload((tmp_path / "lesson.yaml").read_bytes())
    assert {tmp_path / "boxes.ttf", tmp_path / "club.yaml"} <= session.named
    assert tmp_path / "other.yaml" not in session.named
    digest = sha256(boxes.read_bytes()).hexdigest()
    assert session.good is not None
    assert session.good.plan is not None
    assert session.good.plan.clips[0].brief.look.types["title"].face.file == own_font(boxes)
    box_font(boxes, wide=520)
    session.again()
    file = session.good.plan.clips[0].brief.look.types["title"].face.file
    assert file is not None
    assert file.sha256 == sha256(boxes.read_bytes()).hexdigest() != digest
