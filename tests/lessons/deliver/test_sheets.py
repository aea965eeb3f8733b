"""Printed sheets: the numbers on the paper, read from the PDF's own text, against aimgeo."""

from __future__ import annotations

import math
import re
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from pypdf import PdfReader

from aimgeo.shot import place_shot
from aimgeo.tables import TABLES
from aimgeo.units import written
from lessons.deliver import Wishes, aim_charts, set_up_sheets
from lessons.deliver.footage import Footage
from lessons.lesson.wording import LANGUAGES, words_of

CUTS = [(14.4775, "left"), (14.4775, "right"), (30.0, "left"), (48.5904, "right")]
DISTANCES = [("near", 300.0), ("far", 1000.0)]
SPOT, TARGET = (635.0, 317.5), TABLES["9ft"].pocket("foot-left").centre_mm


def told_shot(cut_deg: float, side: str, distance: float) -> dict:
    shot = place_shot(SPOT, TARGET, math.radians(cut_deg if side == "left" else -cut_deg), distance)
    keys = ("cue_ball_mm", "object_ball_mm", "target_mm", "ghost_ball_mm", "contact_object_mm", "contact_cue_mm")
    return {key: [float(v) for v in getattr(shot, key)] for key in keys} | {"cut_deg": cut_deg, "side": side}


@pytest.fixture
def shots(tmp_path: Path, stock: SimpleNamespace) -> SimpleNamespace:
    """Two methods of eight shots on a 9 ft table; the manifest's positions, and the footage."""
    entries, places = [], []
    table = {
        "name": "9ft",
        "length_mm": 2540.0,
        "width_mm": 1270.0,
        "corner_mouth_mm": 115.9,
        "side_mouth_mm": 128.6,
    }
    for method in ("ghost_ball", "doubled_offset", "ball_fractions", "fixed_marks"):
        for cut, side in CUTS:
            for name, mm in DISTANCES:
                if cut > 40 and method != "ghost_ball":
                    continue
                told = told_shot(cut, side, mm)
                if method == "ghost_ball":
                    places.append((cut, side, mm, told))
                entries.append(
                    stock.entry(f"{method}_{cut:.1f}_{side}_{name}", 4, (25, 1), [("s", 4, "")], method=method,
                                cut_deg=cut, side=side, distance_name=name, distance_mm=mm, shot=told, table=table,
                                target_name="foot-left")
                )  # fmt: skip
    entries.append(stock.entry("quiz", 4, (25, 1), [("s", 4, "")], kind="quiz", table=table,
                               shot=told_shot(20.0, "left", 500.0)))  # fmt: skip
    return SimpleNamespace(footage=stock.write_folder(tmp_path, entries), places=places)


def fraction(text: str) -> float:
    return float(sum(Fraction(part) for part in text.split()))


PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}


@pytest.mark.parametrize("paper", PAPERS)
def test_positions_on_the_set_up_sheet_are_those_of_the_shots(paper: str, shots: SimpleNamespace) -> None:
    """Diamonds: on every table the sights stand at eighths of the length and quarters of the width (WPA)."""
    set_up_sheets.deliver(shots.footage, Wishes())
    reader = PdfReader(shots.footage.folder / "sheets" / f"set-up_{paper}.pdf")
    assert len(reader.pages) == len(shots.places)
    for page, (cut, side, distance, told) in zip(reader.pages, shots.places, strict=True):
        size = [float(v) / 72 * 25.4 for v in (page.mediabox.width, page.mediabox.height)]
        assert size == pytest.approx(PAPERS[paper], abs=0.1)
        text = " ".join(page.extract_text().split())
        assert f"Cut {cut:.1f}° {side}" in text
        for ball, key in (("Object ball", "object_ball_mm"), ("Cue ball", "cue_ball_mm")):
            row = text.index(ball)
            found = re.findall(
                r"(head|foot|left|right) rail (\d+\.\d) ((?:\d+ )?\d+/\d+|\d+) (\d+\.\d\d\d)", text[row:]
            )[:2]
            (end, along, along_in, along_d), (flank, across, across_in, across_d) = found
            x = (1270 - float(along)) * (1 if end == "foot" else -1)
            y = (635 - float(across)) * (1 if flank == "left" else -1)
            assert (x, y) == pytest.approx(told[key][:2], abs=0.051)
            assert fraction(along_in) * 25.4 == pytest.approx(float(along), abs=0.85)
            assert fraction(across_in) * 25.4 == pytest.approx(float(across), abs=0.85)
            assert float(along_d) * 2540 / 8 == pytest.approx(float(along), abs=0.21)
            assert float(across_d) * 1270 / 4 == pytest.approx(float(across), abs=0.21)
            assert min(float(along), float(across)) >= 0
            assert float(along) <= 1270
            assert float(across) <= 635
        assert f"{distance:g} mm between centres" in text
        # 242.85 and 942.85 mm, halves up
        assert {300.0: "242.9 mm", 1000.0: "942.9 mm"}[distance] in text


def test_every_shot_has_one_page_that_names_its_clips_and_a_quiz_has_none(shots: SimpleNamespace) -> None:
    set_up_sheets.deliver(shots.footage, Wishes())
    reader = PdfReader(shots.footage.folder / "sheets" / "set-up_a4.pdf")
    text = ["".join(p.extract_text().split()) for p in reader.pages]
    for clip in shots.footage.clips:
        assert sum(clip.name in page for page in text) == (0 if clip.kind == "quiz" else 1)


def test_a_page_that_cannot_list_all_clips_says_how_many_more(tmp_path: Path, stock: SimpleNamespace) -> None:
    table = {
        "name": "9ft",
        "length_mm": 2540.0,
        "width_mm": 1270.0,
        "corner_mouth_mm": 115.9,
        "side_mouth_mm": 128.6,
    }
    entries = [
        stock.entry(f"clip-number-{k}", 2, (25, 1), [("s", 2, "")], table=table, shot=told_shot(30, "left", 400))
        for k in range(20)
    ]
    footage = stock.write_folder(tmp_path, entries)
    for path in set_up_sheets.deliver(footage, Wishes()).files:
        reader = PdfReader(path)
        assert len(reader.pages) == 1
        assert "and 11 more" in " ".join(reader.pages[0].extract_text().split())


def is_tagged(reader: PdfReader) -> bool:
    root: Any = reader.trailer["/Root"]
    return bool(root["/MarkInfo"]["/Marked"]) and "/StructTreeRoot" in root and root["/Lang"] == "en"


def test_sheets_are_tagged_vector_and_the_same_bytes_every_time(shots: SimpleNamespace) -> None:
    first = [(f, f.read_bytes()) for f in set_up_sheets.deliver(shots.footage, Wishes()).files]
    for path, content in first:
        reader = PdfReader(path)
        assert is_tagged(reader)
        assert not any(page.images for page in reader.pages)
        assert reader.metadata is not None
        assert reader.metadata.title == "Set-up sheets: Thin and full"
        path.unlink()
        assert content
    assert [(f, f.read_bytes()) for f in set_up_sheets.deliver(shots.footage, Wishes()).files] == first


def test_the_diagram_is_described_in_words(shots: SimpleNamespace) -> None:
    set_up_sheets.deliver(shots.footage, Wishes())
    content = (shots.footage.folder / "sheets" / "set-up_a4.pdf").read_bytes()
    reader = PdfReader(shots.footage.folder / "sheets" / "set-up_a4.pdf")
    alts = [
        o["/Alt"] for k in range(len(reader.xref[0])) if isinstance(o := _object(reader, k), dict) and "/Alt" in o
    ]
    assert content
    assert sum("Object ball: 635.0\u202fmm from the nose of the foot rail" in alt for alt in alts) == len(
        shots.places
    )


def _object(reader: PdfReader, number: int) -> object:
    try:
        return reader.get_object(number)
    except Exception:  # noqa: BLE001 - holes in the numbering are of no interest here
        return None


def test_a_lesson_without_shots_has_no_sheet(footage: Footage) -> None:
    assert set_up_sheets.deliver(footage, Wishes()).files == ()  # the fixture's clips name no table


def test_the_sheet_says_when_misses_lean(shots: SimpleNamespace) -> None:
    """Exact binomial tails against even odds, by scipy: the smallest count with p below 0.05."""
    from scipy.stats import binomtest

    path = set_up_sheets.deliver(shots.footage, Wishes()).files[0]
    text = " ".join(PdfReader(path).pages[0].extract_text().split())
    told = re.findall(r"(\d+) of (\d+)[, (]", text[text.index("more than chance") :])
    assert [int(n) for _, n in told] == [6, 8, 10, 15, 20]
    for side, total in told:
        assert binomtest(int(side), int(total)).pvalue < 0.05 <= binomtest(int(side) - 1, int(total)).pvalue


def test_hostile_words_are_printed_as_they_are(tmp_path: Path, stock: SimpleNamespace) -> None:
    table = {
        "name": "9ft",
        "length_mm": 2540.0,
        "width_mm": 1270.0,
        "corner_mouth_mm": 115.9,
        "side_mouth_mm": 128.6,
    }
    title = '#panic() "] $x$ \\ <a> *b* #sys.inputs'
    told = stock.entry("a", 2, (25, 1), [("s", 2, "")], table=table, shot=told_shot(30, "left", 400))
    footage = stock.write_folder(tmp_path, [told], title=title)
    path = set_up_sheets.deliver(footage, Wishes()).files[0]
    assert title.replace(" ", "") in PdfReader(path).pages[0].extract_text().replace(" ", "")


# ------------------------------------------------------------------ aim charts

FRACTIONS = {14.4775: "overlap 3/4", 30.0: "overlap 1/2", 48.5904: "overlap 1/4"}


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("method", ["ghost_ball", "doubled_offset", "ball_fractions", "fixed_marks"])
def test_numbers_on_the_aim_chart_follow_from_the_cut_and_the_distance(
    method: str, paper: str, shots: SimpleNamespace
) -> None:
    """R sin(cut) and 2R sin(cut); asin(2R sin(cut) / D) from the line of centres to the aim: plane geometry."""
    aim_charts.deliver(shots.footage, Wishes())
    reader = PdfReader(shots.footage.folder / "sheets" / f"aim-chart_{method.replace('_', '-')}_{paper}.pdf")
    text = " ".join(" ".join(page.extract_text().split()) for page in reader.pages)
    assert "near 300 mm" in text
    assert "far 1000 mm" in text
    at = 0
    for cut in sorted({c for c, _ in CUTS if c < 40 or method == "ghost_ball"}):
        offset = 57.15 * math.sin(math.radians(cut))
        at = text.index(f"{cut:.1f}° {FRACTIONS[cut]}", at)
        row = text[at:]
        for name, mm, digits in (("contact point", offset / 2, 2), ("aim", offset, 1)):
            found = re.search(rf"(\d+\.\d+) mm ([\d./ ]+) in · {name}", row)
            assert found is not None
            assert found[1] == written(mm, digits)
            # a mark of the tape, or decimals that are at most half a digit off
            inches = float(sum(Fraction(part) for part in found[2].split()))
            assert inches == pytest.approx(mm / 25.4, abs=0.51 * 10 ** -(digits + 1))
        seen = [float(v) for v in re.findall(r"seen (\d+\.\d+)°", row)[:2]]
        turns = [float(v) for v in re.findall(r"turn (\d+\.\d+)°", row)[:2]]
        expected = [math.degrees(math.asin(offset / mm)) for _, mm in DISTANCES]
        assert turns == pytest.approx(expected, abs=0.051)
        assert [a + b for a, b in zip(seen, turns, strict=True)] == pytest.approx([cut, cut], abs=0.11)


def test_every_method_of_the_lesson_has_a_chart_and_no_other(shots: SimpleNamespace) -> None:
    files = [f.name for f in aim_charts.deliver(shots.footage, Wishes()).files]
    methods = ("ghost-ball", "doubled-offset", "ball-fractions", "fixed-marks")
    assert files == [f"aim-chart_{m}_{p}.pdf" for m in methods for p in ("a4", "letter")]


def test_marks_stand_at_their_fractions_of_the_ball() -> None:
    """Halfway is a quarter of the diameter from the centre, the edge a half; fixed marks at R/8 steps."""
    from aimgeo.methods import METHODS

    for side in (1, -1):
        shot = place_shot(SPOT, TARGET, side * math.asin(5 / 16), 400.0)
        marks = list(aim_charts.marks_mm(shot, METHODS["ball_fractions"].construct(shot)))
        ticks = sorted(mm / 57.15 for look, mm in marks if look == "tick")
        assert ticks == pytest.approx([0.0, 0.25, 0.5], abs=1e-9)
        (sight,) = (mm for look, mm in marks if look == "sight")
        assert sight / 57.15 == pytest.approx(0.25, abs=1e-9)
        fixed = [mm / 28.575 for _, mm in aim_charts.marks_mm(shot, METHODS["fixed_marks"].construct(shot))]
        assert fixed == pytest.approx([k / 8 for k in range(9)], abs=1e-9)


def test_aim_charts_are_tagged_and_the_same_bytes_every_time(shots: SimpleNamespace) -> None:
    first = [(f, f.read_bytes()) for f in aim_charts.deliver(shots.footage, Wishes()).files]
    assert all(is_tagged(PdfReader(f)) for f, _ in first)
    assert [(f, f.read_bytes()) for f in aim_charts.deliver(shots.footage, Wishes()).files] == first


# ------------------------------------------------------------------ language and units


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("units", ["mm", "in", "ball"])
def test_sheets_speak_the_lessons_language_and_count_in_its_units(
    language: str, units: str, tmp_path: Path, stock: SimpleNamespace
) -> None:
    """A half ball at 12 in: aim offset 1.125 in, a mark of the tape (its ball is 2 1/4 in wide)."""
    table = {
        "name": "9ft",
        "length_mm": 2540.0,
        "width_mm": 1270.0,
        "corner_mouth_mm": 115.9,
        "side_mouth_mm": 128.6,
    }
    told = told_shot(30.0, "left", 304.8)
    axes = {"cut_deg": 30.0, "side": "left", "distance_name": "near", "distance_mm": 304.8}
    shown = {"table": table, "shot": told, "method": "doubled_offset", "target_name": "foot-left"}
    entry = stock.entry("a", 2, (25, 1), [("s", 2, "")], **axes, **shown)
    footage = stock.write_folder(tmp_path, [entry], language=language, units=units)
    words, mark = words_of(language), words_of(language)["decimal"]
    pages = []
    for made in (set_up_sheets, aim_charts):
        reader = PdfReader(made.deliver(footage, Wishes()).files[0])
        root: Any = reader.trailer["/Root"]
        assert root["/Lang"] == language
        pages.append(" ".join(reader.pages[0].extract_text().replace("\u202f", " ").split()))
    set_up, chart = pages
    assert words["set_up"]["before"] in set_up
    assert words["names"]["foot-rail"] in set_up
    assert words["aim_chart"]["where"] in chart
    inch = words["units"]["in"]
    both = {
        "in": f"12 {inch} (304{mark}8 mm)",
        "mm": f"304{mark}8 mm (12 {inch})",
        "ball": f"304{mark}8 mm (12 {inch})",
    }
    assert both[units] in set_up
    assert {"mm": f"28{mark}6 mm 1 1/8 {inch}", "in": f"1 1/8 {inch} 28{mark}6 mm",
            "ball": f"1/2 {words['units']['ball']} 28{mark}6 mm"}[units] in chart  # fmt: skip
