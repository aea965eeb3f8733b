"""Keys and reasons: what makes a clip render again, in words, and what does not."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import orjson
import pytest

from lessons.lesson.model import load
from lessons.planning.plan import plan
from lessons.planning.planned import Plan, PlannedClip
from lessons.rendering.cache import Key, clip_key, code_digest, digest, drawing_code
from lessons.rendering.folder import Finished, append_record, fault, read_record, record_time_ns
from lessons.rendering.manifest import Clip
from lessons.rendering.reasons import Cause, Reason, changes
from lessons.rendering.render import Settings, Target, reasons, render
from lessons.rendering.workers import Task, Wrote
from scenes.files import sha256
from scenes.kinds import CLIP_KINDS

ROOT = Path(__file__).parents[2]
LESSON = """\
title: Keys
cuts: [14.5°, 22°]
sides: [left]
distances: {near: 300 mm}
output: {size: 320x180, rate: 24}
clips:
  - {kind: title, under: One}
  - {kind: build-up, methods: [ghost-ball]}
  - {kind: players-eye, methods: [ghost-ball]}
  - {kind: table}
  - {kind: summary, title: Two cuts}
"""


def planned(tmp_path: Path, edit: Callable[[str], str] = lambda text: text) -> Plan:
    """The plan of the lesson, edited."""
    path = tmp_path / "keys.yaml"
    path.write_text(edit(LESSON))
    return plan(load(path))


def key(clip: PlannedClip) -> Key:
    """A clip's key, as a folder's record gives it back."""
    made = clip_key(clip, "h264", "encoder")
    return Key(**orjson.loads(orjson.dumps({"parts": made.parts, "facts": made.facts})))


def told(before: Plan, after: Plan, name: str) -> str:
    """Why the first clip of this kind of name would render again."""
    old, new = (next(c for c in p.clips if name in c.name) for p in (before, after))
    reason = changes(key(old), key(new))
    return reason.sentence if reason else ""


@pytest.mark.parametrize(
    ("edit", "reason"),
    [
        (lambda t: t, ""),
        (lambda t: t.replace("14.5°", "10.8°"), "cut 14.5 to 10.8 degrees"),
        (lambda t: t.replace("[left]", "[right]"), "side left to right"),
        (lambda t: t.replace("300 mm", "350 mm"), "distance 300 to 350 mm"),
        (lambda t: t.replace("320x180", "640x360"), "size 320x180 to 640x360"),
    ],
)
def test_reasons_tell_what_changed(tmp_path: Path, edit: Callable[[str], str], reason: str) -> None:
    found = told(planned(tmp_path), planned(tmp_path, edit), "build-up")
    # a ball that rolls farther makes a longer clip
    assert re.sub(r", length \d+ to \d+ frames$", "", found) == reason


def test_reasons_tell_of_the_makers() -> None:
    before = Key(
        {"theme": "dusk", "libraries": "1", "font": "a"}, {"libraries": {"manim": "0.21.0", "av": "18.0"}}
    )
    after = Key({"theme": "day", "libraries": "2", "font": "b"}, {"libraries": {"manim": "0.22.0", "av": "18.0"}})
    reason = changes(before, after)
    assert reason is not None
    assert reason.sentence == "manim 0.21.0 to 0.22.0, theme changed, font changed"


@pytest.mark.parametrize(
    ("maker", "reason"), [("opengl_renderer", "OpenGL renderer changed"), ("font", "font changed")]
)
def test_the_renderer_and_the_font_are_in_the_key_of_what_they_draw(
    maker: str, reason: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two drivers, or two fonts, give different bytes."""
    clips = {clip.kind: clip for clip in planned(tmp_path).clips}
    before = {kind: key(clip) for kind, clip in clips.items()}
    monkeypatch.setattr(f"lessons.rendering.cache.{maker}", lambda: "another")
    after = {kind: key(clip) for kind, clip in clips.items()}
    seen = changes(before["players-eye"], after["players-eye"])
    assert seen is not None
    assert seen.sentence == reason
    # a card has no picture through the eye, so only the font can change it
    assert (changes(before["title"], after["title"]) is None) == (maker == "opengl_renderer")


def test_rewording_a_refusal_renders_no_clip_again(tmp_path: Path) -> None:
    """The question service has no hand in drawing; the geometry below it and every file that draws have."""
    for room in ("aimgeo", "scenes"):
        shutil.copytree(ROOT / room, tmp_path / room, ignore=shutil.ignore_patterns("__pycache__"))
    before = code_digest(tmp_path)
    assert before == drawing_code()
    for name, changed in (("aimgeo/asking/fields.py", False), ("aimgeo/asking/new.py", False),
                          ("aimgeo/methods/readings.py", True), ("aimgeo/methods/ghost_ball.py", True),
                          ("scenes/board/motion.py", True)):  # fmt: skip
        with (tmp_path / name).open("a") as file:
            file.write("# reworded\n")
        after = code_digest(tmp_path)
        assert (after != before) == changed, name
        before = after


def test_the_name_the_place_and_the_spoken_words_are_no_part_of_the_key(tmp_path: Path) -> None:
    for clip in planned(tmp_path).clips:
        spoken = tuple(replace(s, narration=s.narration + " More.") for s in clip.brief.steps)
        other = replace(clip, name="other", brief=replace(clip.brief, name="other", steps=spoken))
        assert key(other) == key(clip)


def test_no_kind_draws_what_is_no_part_of_the_key(tmp_path: Path) -> None:
    """The other half of the claim above: the pictures of such clips are the same."""
    for clip in planned(tmp_path).clips:
        spoken = tuple(replace(s, narration=f"{s.narration} More.") for s in clip.brief.steps)
        kind = CLIP_KINDS[clip.kind]
        one, two = kind.board(clip.brief), kind.board(replace(clip.brief, name="other", steps=spoken))
        assert (one.frames, one.panes, one.look) == (two.frames, two.panes, two.look)
        assert digest(one.elements) == digest(two.elements), clip.name


def test_digests_tell_values_apart_to_the_last_bit() -> None:
    values = [0.1, np.nextafter(0.1, 1), "0.1", (0.1,), [[0.1]], {"x": 0.1}, None, True, np.array([0.1, 0.2])]
    assert len({digest(v) for v in values}) == len(values)
    assert digest(np.array([1.5, 2.5])) == digest((1.5, 2.5))
    with pytest.raises(TypeError):
        digest(object())


def finished(name: str, content: bytes, folder: Path) -> Finished:
    """A file in a folder, and its record."""
    (folder / f"{name}.mp4").write_bytes(content)
    shape: dict[str, Any] = {"width_px": 320, "height_px": 180, "rate": Fraction(24), "frames": 1}
    sha = sha256(folder / f"{name}.mp4")
    entry = Clip(name=name, file=f"{name}.mp4", kind="title", sha256=sha, steps=(), **shape)
    return Finished(len(content), Key({"shot": "1"}, {"libraries": {}}), "spoken", entry)


def test_a_record_survives_a_line_that_was_cut_off(tmp_path: Path) -> None:
    one, two = finished("one", b"1", tmp_path), finished("two", b"2", tmp_path)
    append_record(tmp_path, one)
    whole = (tmp_path / ".aimgeo.jsonl").read_bytes()
    for cut in range(len(whole)):
        (tmp_path / ".aimgeo.jsonl").write_bytes(whole + two.line()[:cut])
        append_record(tmp_path, two)
        assert read_record(tmp_path) == {"one": one, "two": two}


def test_a_file_is_trusted_by_size_and_time_else_by_its_sha256(tmp_path: Path) -> None:
    one = finished("one", b"content", tmp_path)
    append_record(tmp_path, one)
    time_ns = record_time_ns(tmp_path)
    assert fault(tmp_path, one, time_ns, verify=True) is None
    (tmp_path / "one.mp4").write_bytes(b"contenT")
    assert fault(tmp_path, one, 2 * time_ns, verify=False) is None
    assert fault(tmp_path, one, 0, verify=False) == Reason(Cause.ALTERED)
    (tmp_path / "one.mp4").write_bytes(b"short")
    assert fault(tmp_path, one, 2 * time_ns, verify=False) == Reason(Cause.ALTERED)
    (tmp_path / "one.mp4").unlink()
    assert fault(tmp_path, one, 2 * time_ns, verify=False) == Reason(Cause.MISSING)


def fake_draw(drawn: list[str]) -> Callable[..., object]:
    """Stands in for the workers: writes a file of the clip's name and tells what was drawn."""

    def draw(tasks: list[Task], workers: int) -> object:
        from lessons.rendering.manifest import drawn as told_of

        for task in tasks:
            drawn.append(task.clip.name)
            content = task.clip.name.encode()
            task.part.write_bytes(content)
            board = CLIP_KINDS[task.clip.kind].board(task.clip.brief)
            yield Wrote(0, task, len(content), sha256(task.part), told_of(board))

    return draw


def run(plan: Plan, folder: Path, only: tuple[str, ...] = ()) -> list[str]:
    """Render with the stand-in; the names that were drawn."""
    drawn: list[str] = []
    render([Target(plan, folder)], Settings(only=only), draw=fake_draw(drawn))  # type: ignore[arg-type]
    return drawn


def test_a_plan_tells_beforehand_what_render_does(tmp_path: Path) -> None:
    made, folder = planned(tmp_path), tmp_path / "clips"
    assert set(reasons(made, folder).values()) == {Reason(Cause.NEW)}
    assert not folder.exists()
    assert run(made, folder) == [c.name for c in sorted(made.clips, key=lambda c: -c.frames)]
    assert reasons(made, folder) == {}
    changed = planned(tmp_path, lambda t: t.replace("22°", "23°"))
    why = {name: reason.sentence for name, reason in reasons(changed, folder).items()}
    assert why["summary"] == "the shot changed, words in the picture changed"
    assert sorted(run(changed, folder)) == sorted(why)
    assert not any("22" in c["name"] for c in orjson.loads((folder / "manifest.json").read_bytes())["clips"])


def test_a_renamed_clip_is_taken_over(tmp_path: Path) -> None:
    made, folder = planned(tmp_path), tmp_path / "clips"
    run(made, folder)
    renamed = planned(tmp_path, lambda t: t.replace("kind: table", "kind: table, name: where"))
    assert run(renamed, folder) == []
    told = {c["name"]: c for c in orjson.loads((folder / "manifest.json").read_bytes())["clips"]}
    for clip in renamed.clips:
        assert (folder / told[clip.name]["file"]).name == f"{clip.name}.mp4"
        assert sha256(folder / f"{clip.name}.mp4") == told[clip.name]["sha256"]


def test_a_new_sentence_of_the_same_length_touches_the_manifest_alone(tmp_path: Path) -> None:
    def speak(words: str) -> Callable[[str], str]:
        return lambda t: t.replace(
            "under: One", f"under: One, steps: {{card: {{narration: {words}, seconds: 6}}}}"
        )

    folder = tmp_path / "clips"
    run(planned(tmp_path, speak("First words.")), folder)
    assert run(planned(tmp_path, speak("Other words.")), folder) == []
    told = orjson.loads((folder / "manifest.json").read_bytes())["clips"]
    assert told[0]["steps"][0]["narration"] == "Other words."


def test_only_leaves_the_others_as_they_lie(tmp_path: Path) -> None:
    made, folder = planned(tmp_path), tmp_path / "clips"
    run(made, folder)
    before = orjson.loads((folder / "manifest.json").read_bytes())["clips"]
    changed = planned(tmp_path, lambda t: t.replace("300 mm", "350 mm"))
    assert all(name.startswith("table") for name in run(changed, folder, ("table*",)))
    after = {c["name"]: c for c in orjson.loads((folder / "manifest.json").read_bytes())["clips"]}
    for clip in before:
        if clip["kind"] == "build-up":
            assert after[clip["name"]] == clip, "its file is the old one"
        if clip["kind"] == "table":
            assert after[clip["name"]]["distance_mm"] == pytest.approx(350)
