"""Looks of one's own: their colours and logo, checked also for those who see otherwise, refused at their place."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from lessons.lesson.faults import LessonError
from lessons.lesson.model import load
from lessons.planning.plan import plan
from lessons.planning.planned import PlannedClip
from lessons.rendering.cache import clip_key
from scenes.board import Photo
from scenes.draw.picture import picture
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS
from scenes.look import LOOKS
from scenes.look.look import rgb
from tests.lessons.mutations import FONT, LOOK, tried_look

GOOD = LOOK.replace("corner: no", "corner: yes")
SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"><rect width="10" height="10" fill="{}"/></svg>'


def clips(folder: Path, look: str = GOOD, logo: str = "#3366CC") -> dict[str, PlannedClip]:
    (folder / "club.yaml").write_text(look)
    (folder / "logo.svg").write_text(SVG.format(logo))
    lesson = folder / "lesson.yaml"
    lesson.write_text(
        "title: A\ncuts: [30]\nsides: left\ndistances: {near: 300 mm}\n"
        "output: {size: 720p, rate: 30, look: club.yaml}\n"
        "clips:\n  - {kind: title}\n  - {kind: build-up, methods: ghost-ball, only: [target line]}\n"
    )
    return {clip.kind: clip for clip in plan(load(lesson)).clips}


def test_a_look_file_changes_what_it_names_and_what_goes_with_the_cloth(tmp_path: Path) -> None:
    look = clips(tmp_path)["title"].brief.look
    assert look.cloth == "#4A2230"
    assert look.surfaces.cloth_near == "#5A2A3A"
    assert look.lines["target_line"].colour == "#FFC94D"
    dusk = LOOKS["dusk"]
    assert look.types["title"].face.weight == 700
    # in dusk the inset is lighter than the cloth and the cushions are darker: here too, in wine
    red = [rgb(colour) for colour in (look.cushion, look.cloth, look.cloth_inset)]
    assert red == sorted(red)
    assert all(r > g and r > b for r, g, b in (*red, rgb(look.surfaces.cloth_far)))
    back = replace(look, cloth=dusk.cloth, secondary=dusk.secondary, logo=None, in_corner=False, types=dusk.types)
    back = replace(back, cloth_inset=dusk.cloth_inset, cushion=dusk.cushion)
    assert replace(back, surfaces=dusk.surfaces, lines=dusk.lines) == dusk


@pytest.mark.parametrize("kind", ["title", "build-up"])
def test_the_logo_stands_on_cards_and_small_in_the_corner(tmp_path: Path, kind: str) -> None:
    clip = clips(tmp_path)[kind]
    board = CLIP_KINDS[kind].board(clip.brief)
    (logo,) = (e.shape for e in board.elements if e.id == "logo")
    assert isinstance(logo, Photo)
    x, y, w, h = logo.rect_px
    assert picture(board, board.frames - 1)[round(y + h / 2), round(x + w / 2)].tolist() == [0x33, 0x66, 0xCC]
    assert (h > 0.08 * 720) == (kind == "title")
    assert faults(board) == []
    plain = clips(tmp_path, LOOK)["build-up"]
    assert not [e for e in CLIP_KINDS["build-up"].board(plain.brief).elements if e.id == "logo"]


def test_a_changed_logo_renders_only_the_clips_that_show_it(tmp_path: Path) -> None:
    before = {kind: clip_key(clip, "", "").parts for kind, clip in clips(tmp_path, LOOK).items()}
    after = {kind: clip_key(clip, "", "").parts for kind, clip in clips(tmp_path, LOOK, "#112233").items()}
    assert {key for key in before["title"] if before["title"][key] != after["title"][key]} == {"theme"}
    assert before["build-up"] == after["build-up"]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            'cloth: "#4A2230"',
            'cloth: "#A08890"',
            "club.yaml:3:13: front #FFFFFF on cloth #A08890 has a",
        ),
        ('target_line: "#FFC94D"', 'target_line: "#203040"', "club.yaml:5:11: target_line #203040 on casing"),
        ('target_line: "#FFC94D"', 'target_lime: "#FFC94D"', "club.yaml:5:11: unknown key 'target_lime'"),
        ('"#4A2230"', '"wine"', "'wine' is no colour; write six hex digits"),
        (
            'cloth: "#4A2230"',
            'cloth: "#C24A00"',
            "Nothing passes on it; the nearest cloth on which front #FFFFFF passes is #883400.",
        ),
        (
            'cloth: "#4A2230"',
            'object_ball: "#FFF8C9"',
            "object_ball #FFF8C9 and cue_ball #F5F0E3 differ by 2.9 in tritanopia; they need 20. The nearest",
        ),
        ("{titles: 700", "{titles: 70", "look.type.weights.titles is 70; it goes from 300 to 900."),
        ("{titles: 700", "{titles: bold", "look.type.weights.titles is 'bold'; write a whole number."),
        ("based_on: dusk", "based_on: dawn", "look.based_on is 'dawn'"),
        ("logo: logo.svg", "logo: none.svg", "there is no picture 'none.svg'"),
        ("look:", "looks:", "unknown key 'looks'"),
    ],
)
def test_what_is_wrong_is_said_in_the_look_file(tmp_path: Path, old: str, new: str, told: str) -> None:
    with pytest.raises(LessonError) as caught:
        clips(tmp_path, GOOD.replace(old, new))
    assert told in str(caught.value)


def test_hostile_look_files_are_used_or_refused_in_sentences(tmp_path: Path) -> None:
    told = [tried_look(seed, tmp_path) for seed in range(150)]
    assert 5 < told.count("good") < 145
    assert sorted(p.name for p in tmp_path.iterdir()) == [FONT, "lesson.yaml", "look.yaml"]
