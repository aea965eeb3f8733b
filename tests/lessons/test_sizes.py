"""How large files will be, told before they are rendered."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from lessons.cli import main
from lessons.lesson.model import loads
from lessons.planning.plan import plan
from lessons.rendering.render import Outcome
from lessons.rendering.sizes import BYTES, FACTOR, estimated_bytes, size_sentence
from lessons.rendering.workers import Task, draw
from scenes.film.forms import FORMS
from tests.lessons.footage.clicks import MATCHED

LESSON = """\
title: Half ball
cuts: [1/2]
sides: left
distances: {near: 300 mm}
output: {size: 960x540, rate: 25}
clips: [{kind: title}]
"""


def test_every_form_has_its_measure() -> None:
    assert BYTES.keys() == FORMS.keys()


@pytest.mark.parametrize("form", ["h264", "prores", "prores-once"])
def test_a_card_is_as_large_as_told_before(form: str, tmp_path: Path) -> None:
    (clip,) = plan(loads(LESSON)).clips
    path = tmp_path / f"clip{FORMS[form].extension}"
    size = draw(Task(clip, path, form, "REEL"))["size"]
    about = estimated_bytes([clip], form)
    assert about / FACTOR < size < about * FACTOR


@pytest.mark.parametrize(
    ("size", "rate", "measured"),
    [("320x180", "25", 2_807_881), ("960x540", "25", 12_588_122), ("1080p", "60", 42_408_294)],
)
def test_the_bounds_hold_what_was_measured_at_small_and_large_sizes(size: str, rate: str, measured: int) -> None:
    """Bytes of a title, a build-up and a player's eye as rendered once (regression)."""
    text = LESSON.replace("960x540, rate: 25", f"{size}, rate: {rate}").replace(
        "{kind: title}",
        "{kind: title}, {kind: build-up, methods: doubled-offset}, {kind: players-eye, methods: doubled-offset}",
    )
    about = estimated_bytes(plan(loads(text)).clips, "h264")
    assert about / FACTOR < measured < about * FACTOR


def test_plan_and_render_tell_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "t.yaml"
    path.write_text(LESSON.replace("960x540", "320x180"))
    told = CliRunner().invoke(main, ["plan", str(path), "--form", "prores"]).stdout
    assert "The files take about 1 MB as prores (between 1 MB and 3 MB)." in told
    small = SimpleNamespace(free=10_000_000)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: small)
    words = ["render", str(path), "--out", str(tmp_path / "clips"), "--form", "prores", "--size", "8000x4000"]
    monkeypatch.setattr("lessons.commands.render.render", lambda *_: Outcome())
    done = CliRunner().invoke(main, words)
    assert "The files take about 832 MB as prores" in done.stderr
    assert "The disk has 10 MB free." in done.stderr


def test_the_form_told_is_the_one_that_clips_over_footage_get() -> None:
    """H.264 has no alpha, so they are ProRes 4444 in a lesson of H.264. 12.1 MB: one of 1599 x 899, 60 frames."""
    clip = f"{{kind: on-footage, footage: {MATCHED}, methods: ghost-ball}}"
    (made,) = plan(loads(f"title: T\nclips: [{clip}]\n")).clips
    assert " as prores-alpha (" in size_sentence([made], "h264")
    output = replace(made.brief.output, width_px=1599, height_px=899)
    steps = (replace(made.brief.steps[0], frames=60),)
    like = replace(made, brief=replace(made.brief, output=output, steps=steps))
    assert estimated_bytes([like], "h264") == pytest.approx(12_082_205, rel=0.2)
