"""Practice sheets from the lesson alone: what they say, and true-scale drawings in millimetres on paper.

The drawings are read back from the PDF's own operators (ISO 32000-1: a unit is 1/72 inch) with pypdf.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from pypdf import PageObject, PdfReader
from pypdf.generic import ContentStream

from lessons.cli import main
from lessons.deliver import Wishes, practice_sheets
from lessons.deliver.footage import Footage
from lessons.lesson.model import loads
from lessons.lesson.wording import words_of
from lessons.planning.plan import plan
from lessons.rendering.manifest import planned_manifest

LESSON = """
title: Paper
language: {language}
units: {units}
cuts: [15, 30, 48.6]
distances: {{near: 12 in, far: 800 mm}}
eyes:
  left: {{back: 600 mm, height: 300 mm, offset: 32 mm}}
  right: {{back: 600 mm, height: 300 mm, offset: -32 mm}}
clips: [{{kind: table}}]
"""
MM = 25.4 / 72
BALL = 57.15
Line = tuple[tuple[float, float], tuple[float, float]]


def sheets(folder: Path, language: str = "en", units: str = "mm") -> list[PdfReader]:
    made = plan(loads(LESSON.format(language=language, units=units)))
    footage = Footage(folder, planned_manifest(made))
    return [PdfReader(path) for path in practice_sheets.deliver(footage, Wishes()).files]


def drawn(page: PageObject) -> tuple[list[Line], list[tuple[float, float, float]]]:
    """Straight lines, and circles as (x, y, diameter), in mm from the page's lower left corner."""
    lines: list[Line] = []
    circles: list[tuple[float, float, float]] = []
    now, kept = np.eye(3), []
    path: list[tuple[float, float]] = []
    curves = 0

    def at(x: Any, y: Any) -> tuple[float, float]:
        u, v, _ = np.array([float(x), float(y), 1.0]) @ now * MM
        return float(u), float(v)

    contents = page.get_contents()
    assert contents is not None
    for operands, operator in ContentStream(contents, page.pdf).operations:
        match operator:
            case b"q":
                kept.append(now)
            case b"Q":
                now = kept.pop()
            case b"cm":
                a, b, c, d, e, f = map(float, operands)
                now = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ now
            case b"m":
                path, curves = [at(*operands)], 0
            case b"l":
                path.append(at(*operands))
            case b"c":
                path.append(at(*operands[4:]))
                curves += 1
            case b"S" | b"s" | b"f" | b"B" | b"b" | b"f*" | b"B*":
                if len(path) == 2 and not curves:
                    lines.append((path[0], path[1]))
                if curves == 4:
                    xs, ys = zip(*path, strict=True)
                    wide = max(xs) - min(xs)
                    circles.append(((max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2, wide))
    return lines, circles


def length(line: Line) -> float:
    return math.dist(*line)


@pytest.mark.parametrize("paper", [0, 1])
def test_the_check_ruler_the_balls_and_the_fan_are_true_to_scale(tmp_path: Path, paper: int) -> None:
    reader = sheets(tmp_path)[paper]
    fan = next(page for page in reader.pages if "Angle fan" in page.extract_text())
    lines, circles = drawn(fan)
    level = [length(one) for one in lines if abs(one[0][1] - one[1][1]) < 0.01]
    assert any(mm == pytest.approx(100.0, abs=0.02) for mm in level)
    assert any(mm == pytest.approx(101.6, abs=0.02) for mm in level)
    balls = [one for one in circles if one[2] == pytest.approx(BALL, abs=0.02)]
    assert len(balls) == 2
    ghost, ball = sorted(balls, key=lambda one: one[1])
    assert math.dist(ghost[:2], ball[:2]) == pytest.approx(BALL, abs=0.02)
    rays = [one for one in lines if math.dist(one[0], ghost[:2]) < 0.02 and length(one) > 20]
    cuts = sorted(math.degrees(math.atan2(one[1][0] - one[0][0], one[0][1] - one[1][1])) for one in rays)
    assert cuts == pytest.approx([-48.6, -30, -15, 15, 30, 48.6], abs=0.02)


def test_the_strips_pieces_add_up_to_the_lessons_distances(tmp_path: Path) -> None:
    page = next(p for p in sheets(tmp_path)[0].pages if "Distance strip" in p.extract_text())
    lines, _ = drawn(page)
    ticks = [one for one in lines if length(one) == pytest.approx(5.0, abs=0.01) and one[0][1] == one[1][1]]
    marks = [one for one in lines if length(one) == pytest.approx(174 / 7, abs=0.05)]
    top = max(one[0][1] for one in ticks)
    left = min(one[0][0] for one in ticks)
    found = []
    for (x, y), _ in marks:
        piece = round((x - left) / (174 / 7))
        found.append(piece * practice_sheets.STRIP_MM + top - y)
    assert sorted(found) == pytest.approx([304.8, 800.0], abs=0.05)


@pytest.mark.parametrize(("language", "units"), [("en", "in"), ("de", "mm"), ("es", "in")])
def test_every_page_speaks_the_lessons_language_and_units(tmp_path: Path, language: str, units: str) -> None:
    words = words_of(language)
    a4, letter = sheets(tmp_path, language, units)
    texts = [" ".join(page.extract_text().replace("\u202f", " ").split()) for page in a4.pages]
    assert len(texts) == len(letter.pages) == 5
    for text, key in zip(texts[1:], ("eyes", "fan", "strip", "blank"), strict=True):
        assert words["practice_sheet"][key] in text
    place = {
        "en": "12 1/2 in from the foot rail",
        "de": "317,5 mm von der Fußbande",
        "es": "12 1/2 pulg. desde la banda de pie",
    }
    assert place[language] in texts[0]
    assert all(f"{number} " in texts[0] for number in range(1, 13))
    side = words["names"]["right"]
    assert {"en": "1 1/4 in", "de": "32,0 mm", "es": "1 1/4 pulg."}[language] + f" {side}" in texts[1]


def test_sheets_need_no_rendering_and_a_card_has_none(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text(LESSON.format(language="en", units="mm"), encoding="utf-8")
    done = CliRunner().invoke(main, ["sheets", str(path), "--out", str(tmp_path / "paper")])
    assert done.exit_code == 0, done.output
    names = sorted(file.name for file in (tmp_path / "paper" / "a" / "sheets").iterdir())
    assert names == ["practice_a4.pdf", "practice_letter.pdf", "set-up_a4.pdf", "set-up_letter.pdf"]
    path.write_text("title: A\nclips: [{kind: title}]\n", encoding="utf-8")
    done = CliRunner().invoke(main, ["sheets", str(path), "--out", str(tmp_path / "none")])
    assert "nothing to print" in done.output
    assert not (tmp_path / "none").exists()


def test_sheets_with_other_balls_are_one_page_a_shot_and_tell_where_these_lie(tmp_path: Path) -> None:
    others = ["{at: [10 in, -15 in], number: 6}",
              "{at: [-10 in, 15 in], name: the eleven}", "{at: [-20 in, 0 in]}",
              "{at: [-30 in, 10 in]}"]  # fmt: skip
    for count in (1, 4):
        (tmp_path / "a.yaml").write_text(
            "title: A\nunits: in\ncuts: [12, 18]\nsides: left\ndistances: {near: 8 in}\n"
            f"others: [{', '.join(others[:count])}]\nclips: [{{kind: table}}]\n",
            encoding="utf-8",
        )
        done = CliRunner().invoke(main, ["sheets", str(tmp_path / "a.yaml"), "--out", str(tmp_path / "out")])
        assert done.exit_code == 0, done.output
        folder = tmp_path / "out" / "a" / "sheets"
        for paper in ("a4", "letter"):
            assert len(PdfReader(folder / f"set-up_{paper}.pdf").pages) == 2
        text = PdfReader(folder / "practice_a4.pdf").pages[0].extract_text().replace("\u202f", " ")
        told = " ".join(text.split())
        assert "Other ball 6: 40 in from the nose of the foot rail, 10 in from that of the right rail." in told
        assert ("the eleven: 40 in from the nose of the head rail" in told) == (count > 1)
