"""By keys alone and by touch alone the whole of it can be done: no mouse in one, no keys in the other."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from lessons.lesson.model import load
from lessons.planning.plan import plan
from tests.lessons.live.running import TOKEN, Live
from tests.lessons.live.test_page import Shown

SHORT = """\
title: Short
cuts: [30, 45]
distances: {near: 300 mm}
eyes: {player: {back: 600 mm, height: 300 mm}}
output: {size: 320x180, rate: 24}
clips:
  - kind: title
  - {kind: players-eye, methods: ghost-ball, cuts: 30, sides: left}
"""
EYE = "ghost-ball_players-eye_cut-30_left_near_player"
PICKED = f"page.strip.clip?.clip === '{EYE}' && document.getElementById('screen').dataset.clip === '{EYE}'"
GOOD = "document.getElementById('good').textContent"
CHANGES = "document.querySelector('#changes ul').innerText"
GRIPS = ("cue_ball", "object_ball", "target", "eye", "eye_side")


@pytest.fixture
def live(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Live]:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "first.yaml"
    path.write_text("title: First\nclips:\n  - kind: title\n", encoding="utf-8")
    running = Live(path)
    yield running
    running.stop()


class Keys:
    """A hand on the keyboard."""

    def __init__(self, shown: Shown) -> None:
        self.shown, self.press, self.write = shown, shown.tab.keyboard.press, shown.tab.keyboard.type

    def to(self, selector: str) -> None:
        """Tab until it is there."""
        for _ in range(90):
            if self.shown.is_true(f"document.activeElement.matches({selector!r})"):
                return
            self.press("Tab")
        raise AssertionError(f"Tab never comes to {selector}")


def test_by_keys_alone(browser: Any, live: Live, tmp_path: Path) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 800}, accept_downloads=True)
    context.grant_permissions(["clipboard-read", "clipboard-write"])
    shown = Shown(context, live)
    keys = Keys(shown)
    press, until = keys.press, shown.until
    # a new lesson, and its text
    keys.to("#b-new")
    press("Enter")
    press("Control+a")
    keys.write("By keys")
    keys.to("[name=file]")
    press("Control+a")
    keys.write("by-keys.yaml")
    press("Enter")
    until("document.title.startsWith('By keys')")
    press("e")
    until("page.words.editor !== null && document.activeElement.classList.contains('cm-content')")
    press("Control+a")
    press("Delete")
    shown.tab.keyboard.insert_text(SHORT)
    press("Control+s")
    until("document.getElementById('text-state').textContent === 'saved' && document.title.startsWith('Short')")
    path = live.path.with_name("by-keys.yaml")
    assert path.read_text("utf-8") == SHORT
    press("Escape")
    # a clip, another frame, playing
    keys.to(f".card[data-name='{EYE}']")
    press("Enter")
    until(PICKED)
    keys.to("#seek")
    press("ArrowRight")
    until("document.getElementById('screen').dataset.frame === '1'")
    press("Space")
    until("page.strip.playing !== null")
    press("Space")
    until("page.strip.playing === null")
    # each handle, undo, and back into the file
    press("t")
    until("document.querySelectorAll('.handle').length === 5")
    shown.settled()
    for grip in GRIPS:
        keys.to(f"[data-grip={grip}]")
        before = shown.get("page.hand.told.undo[0]")
        press("Shift+ArrowDown" if grip in ("cue_ball", "eye_side") else "Shift+ArrowLeft")
        until(f"page.hand.told.undo[0] === {before + 1} || document.getElementById('limits').textContent !== ''")
        shown.settled()
    until(f"{CHANGES}.includes('spot') && {CHANGES}.includes('player height')")
    held = shown.get(CHANGES)
    press("Control+z")
    until(f"{CHANGES} !== {held!r}")
    press("Control+y")
    press("Escape")
    until("document.getElementById('changes').hidden")
    keys.to("[data-grip=object_ball]")
    press("ArrowLeft")
    until("!document.getElementById('changes').hidden")
    press("Control+s")
    until(f"{GOOD}.startsWith('Written')")
    assert "spot: [" in path.read_text("utf-8")
    # the player's view alone, moved and left
    shown.settled()
    keys.to("#b-full")
    press("Enter")
    until("document.fullscreenElement !== null && page.hand.layer.hidden")
    press("ArrowRight")
    until("!document.getElementById('changes').hidden")
    keys.to("#b-leave")
    press("Enter")
    until("document.fullscreenElement === null && !page.hand.layer.hidden")
    keys.to("#c-back")
    press("Enter")
    until("document.getElementById('changes').hidden")
    # what is handed over
    press("c")
    until("page.mode === 'clip'")
    keys.to("#b-link")
    press("Enter")
    until(f"{GOOD}.includes('is copied')")
    assert shown.tab.evaluate("() => navigator.clipboard.readText()").startswith(f"{live.address}/#{TOKEN}/{EYE}/")
    shown.tab.evaluate("() => page.open('title')")  # short, and without OpenGL, which is another thread's here
    until("page.strip.clip?.clip === 'title'")
    keys.to("#b-png")
    press("Enter")
    press("Control+a")
    keys.write("480")
    with shown.tab.expect_download() as waiting:
        press("Enter")
    waiting.value.save_as(tmp_path / "taken.png")
    assert Image.open(tmp_path / "taken.png").size == (480, 270)
    keys.to("#b-film")
    press("Enter")
    until("document.querySelector('#film video')?.videoWidth === 320")
    # and the page goes on after it
    path.write_text(path.read_text("utf-8") + "# seen\n", encoding="utf-8")
    until("page.lesson.text.includes('# seen')")
    assert shown.said == []
    context.close()


def test_by_touch_alone(browser: Any, live: Live, tmp_path: Path) -> None:
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True, accept_downloads=True
    )
    context.grant_permissions(["clipboard-read", "clipboard-write"])
    shown = Shown(context, live)
    tap, until = shown.tab.tap, shown.until

    def tap_at(selector: str, across: float, down: float = 0.5) -> None:
        shown.tab.locator(selector).scroll_into_view_if_needed()
        box = shown.tab.locator(selector).bounding_box()
        shown.tab.touchscreen.tap(box["x"] + across * box["width"], box["y"] + down * box["height"])

    tap("#b-new")
    shown.tab.fill("#make [name=file]", "by-touch.yaml")
    tap("#make button[value=make]")
    until("document.title.startsWith('Half-ball hits')")
    tap("#b-text")
    until("page.words.editor !== null")
    # text and picture are in sight together
    until(
        "(([a, b]) => b.top < innerHeight - 150 && b.bottom > b.top + 150 && a.bottom > 60)"
        "(['stage', 'editor'].map((id) => document.getElementById(id).getBoundingClientRect()))"
    )
    tap(".cm-content")
    # what the keyboard on the screen does
    shown.tab.evaluate("() => document.execCommand('selectAll')")
    shown.tab.keyboard.press("Backspace")
    shown.tab.keyboard.insert_text(SHORT)
    until("page.lesson.is_draft && page.lesson.title === 'Short'")
    tap("#text-save")
    path = live.path.with_name("by-touch.yaml")
    until("document.getElementById('text-state').textContent === 'saved'")
    assert path.read_text("utf-8") == SHORT
    tap("#b-text")
    tap(f".card[data-name='{EYE}']")
    until(PICKED)
    tap_at("#seek", 0.5)
    until("page.strip.frame > 100 && document.getElementById('screen').dataset.frame === String(page.strip.frame)")
    tap("#t-play")
    until("page.strip.playing !== null")
    tap("#t-play")
    tap("#m-hand")
    until("document.querySelectorAll('.handle').length === 5")
    shown.settled()
    for grip in GRIPS:
        tap(f"[data-grip={grip}]")
        before = shown.get("page.hand.told.undo[0]")
        if grip == "eye_side":
            x, y = shown.middle(grip)
            shown.tab.touchscreen.tap(x + 4, y - 50)
        else:
            tap(f".nudge button[aria-label='{grip.replace('_', ' ')} {'down' if grip == 'cue_ball' else 'left'}']")
        until(f"page.hand.told.undo[0] === {before + 1} || document.getElementById('limits').textContent !== ''")
        shown.settled()
    until(f"{CHANGES}.includes('spot') && {CHANGES}.includes('player height')")
    held = shown.get(CHANGES)
    tap("#c-undo")
    until(f"{CHANGES} !== {held!r}")
    tap("#c-redo")
    until(f"{CHANGES} === {held!r}")
    tap("#c-back")
    until("document.getElementById('changes').hidden")
    tap("[data-grip=object_ball]")
    tap(".nudge button[aria-label='object ball left']")
    until("!document.getElementById('changes').hidden")
    shown.settled()
    tap("#c-write")
    until(f"{GOOD}.startsWith('Written')")
    assert plan(load(path)).clips
    assert "spot: [" in path.read_text("utf-8")
    # written, and taken back: undo reaches behind it
    until("document.getElementById('changes').hidden")
    tap("#c-undo")
    until("!document.getElementById('changes').hidden")
    tap("#c-redo")
    until("document.getElementById('changes').hidden")
    tap("#b-full")
    until("document.fullscreenElement !== null && page.hand.layer.hidden")
    tap("#b-leave")
    until("document.fullscreenElement === null && !page.hand.layer.hidden")
    tap("#m-clip")
    tap("#b-full")
    until("document.fullscreenElement !== null")
    tap_at("#screen", 0.3)
    until("page.strip.playing !== null")
    tap("#b-leave")
    until("document.fullscreenElement === null")
    tap("#b-link")
    until(f"{GOOD}.includes('is copied')")
    tap(".card[data-name=title]")
    until("page.strip.clip?.clip === 'title'")
    tap("#b-png")
    with shown.tab.expect_download() as waiting:
        tap("#picture button[value=save]")
    waiting.value.save_as(tmp_path / "taken.png")
    assert Image.open(tmp_path / "taken.png").size == (320, 180)
    tap("#b-film")
    until("document.querySelector('#film video')?.videoWidth === 320")
    assert shown.said == []
    context.close()
