"""The narration script, as Markdown and printed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from markdown_it import MarkdownIt
from pypdf import PdfReader

from aimgeo.units import written
from lessons.cli import main
from lessons.deliver.script import markdown
from lessons.lesson.model import loads
from lessons.planning.plan import plan
from lessons.planning.planned import Plan

LESSON = """\
title: "A <b>title</b> | with *marks*"
identity: words
cuts: [3/4]
sides: left
distances: {near: 300 mm}
clips:
  - {kind: title}
  - kind: build-up
    methods: [ghost-ball]
    steps:
      aim line: {narration: "Pipe | star * and <i>tag</i> `tick`."}
"""


@pytest.fixture
def made() -> Plan:
    return plan(loads(LESSON))


def rows(text: str) -> list[list[str]]:
    """The cells of every table row, as CommonMark with tables reads them (markdown-it)."""
    tokens = MarkdownIt("commonmark").enable("table").parse(text)
    found: list[list[str]] = []
    for k, token in enumerate(tokens):
        if token.type == "tr_open":
            found.append([])
        if token.type == "td_open":
            cell = tokens[k + 1]
            found[-1].append("".join(t.content for t in cell.children or [] if t.type in ("text", "text_special")))
    return [row for row in found if row]


def test_every_word_and_length_of_the_plan_is_in_the_script(made: Plan) -> None:
    expected = [
        (str(k), " ".join(step.narration.split()), written(step.frames / clip.brief.output.fps, 1))
        for clip in made.clips
        for k, step in enumerate(clip.brief.steps, 1)
    ]
    assert [(r[0], r[2], r[3]) for r in rows(markdown(made))] == expected


def test_seconds_add_up_to_the_clip(made: Plan) -> None:
    text = markdown(made)
    for clip in made.clips:
        (told,) = re.findall(rf"`{re.escape(clip.name)}` \((\d+\.\d) s\)", text)
        assert float(told) == pytest.approx(clip.frames / clip.brief.output.fps, abs=0.051)


def test_the_command_writes_markdown_and_both_papers(tmp_path: Path, made: Plan) -> None:
    (tmp_path / "words.yaml").write_text(LESSON)
    done = CliRunner().invoke(main, ["script", str(tmp_path / "words.yaml"), "--out", str(tmp_path / "to")])
    assert done.exit_code == 0, done.output
    assert sorted(p.name for p in (tmp_path / "to").iterdir()) == [
        "words_script.md", "words_script_a4.pdf", "words_script_letter.pdf",
    ]  # fmt: skip
    printed = "".join(
        "".join(page.extract_text().split()) for page in PdfReader(tmp_path / "to" / "words_script_a4.pdf").pages
    )
    for clip in made.clips:
        for step in clip.brief.steps:
            assert "".join(step.narration.split()) in printed


def test_a_faulty_lesson_is_told_and_gets_no_script(tmp_path: Path) -> None:
    (tmp_path / "words.yaml").write_text(LESSON.replace("3/4", "95"))
    done = CliRunner().invoke(main, ["script", str(tmp_path / "words.yaml"), "--out", str(tmp_path / "to")])
    assert done.exit_code == 1
    assert "words.yaml:3:" in done.stderr
    assert not (tmp_path / "to").exists()
