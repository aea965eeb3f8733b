"""The table of shots and the chapter list, as people and video platforms read them."""

from __future__ import annotations

import csv
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from lessons.deliver import Wishes, lists
from lessons.lesson.wording import LANGUAGES, words_of
from scenes.kinds import CLIP_KINDS


def test_the_table_tells_every_clip(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(tmp_path, stock.usual_entries((25, 1)))
    table, _ = lists.deliver(footage, Wishes()).files
    rows = list(csv.DictReader(table.read_text("utf-8-sig").splitlines()))
    assert [row["name"] for row in rows] == [clip.name for clip in footage.clips]
    assert [row["in"] for row in rows] == ["01:00:00:00", "01:00:09:11", "01:00:10:03"]
    assert [row["out"] for row in rows[:-1]] == [row["in"] for row in rows[1:]]
    assert [int(row["frames"]) for row in rows] == [clip.frames for clip in footage.clips]
    assert [row["sha256"] for row in rows] == [clip.sha256 for clip in footage.clips]
    assert rows[0]["words"] == f"{stock.words['target']} {stock.words['contact']}"
    assert len({row["identity"] for row in rows}) == 3


def test_chapters_start_at_0_00_and_last_ten_seconds(tmp_path: Path, stock: SimpleNamespace) -> None:
    """Common practice of video platforms: 0:00 first, ten seconds each. Cards of four seconds would break that."""
    lengths = [("title", 100, "title"), ("a", 300, "build-up"), ("b", 150, "build-up"), ("c", 300, "build-up"),
               ("section_two", 100, "section"), ("d", 400, "build-up"), ("e", 120, "build-up")]  # fmt: skip
    entries = [stock.entry(n, k, (25, 1), [("s", k, "")], kind=kind) for n, k, kind in lengths]
    footage = stock.write_folder(tmp_path, entries)
    wishes = Wishes(titles={"title": "Thin and full", "section_two": "Two"})
    _, chapters = lists.deliver(footage, wishes).files
    assert chapters.read_text("utf-8").splitlines() == [
        "0:00 Thin and full",
        "0:16 Ghost ball: 14.5° left, near",
        "0:34 Two",
    ]
    starts = [at for at, _ in lists.chapter_list(footage, wishes)]
    ends = [*starts[1:], footage.frames]
    assert all(end - at >= 10 * 25 for at, end in zip(starts, ends, strict=True))
    assert all(re.fullmatch(r"\d+:\d\d \S.*", line) for line in chapters.read_text("utf-8").splitlines())


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_kind_has_a_name_in_every_language(language: str) -> None:
    names = words_of(language)["names"]
    told = [names[f"kind.{kind}"] for kind in CLIP_KINDS]
    assert len(set(told)) == len(told)


def test_a_chapter_names_method_and_kind_in_the_pictures_language(tmp_path: Path, stock: SimpleNamespace) -> None:
    kinds = ("near-and-far", "moving-eye", "build-up")
    entries = [stock.entry(kind, 300, (25, 1), [("s", 300, "")], kind=kind) for kind in kinds]
    footage = stock.write_folder(tmp_path, entries, language="de")
    clips = [replace(clip, method=None) if clip.kind == "moving-eye" else clip for clip in footage.clips]
    told = [lists.titled(clip, footage.wording()).partition(":")[0] for clip in clips]
    assert told == ["Geisterball, nah und fern", "Das wandernde Auge", "Geisterball"]
