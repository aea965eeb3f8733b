"""A filmed still inside the page: clicks, the match that follows them, and the match file that is written."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from lessons.footage.model import load
from lessons.live.filming import match_files, page_of, written
from tests.lessons.footage.clicks import still
from tests.lessons.live.running import TOKEN, Live
from tests.lessons.live.test_page import Shown
from tests.lessons.live.test_server import asked

LESSON = """\
title: Filmed
output: {size: 640x360}
clips:
  - kind: title
  - {kind: on-footage, footage: shot-3.yaml, methods: ghost-ball}
"""
SHOT = still("phone-26")
NAMES = ("foot-left-long", "sight-right-5", "sight-left-3")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "shot-3.jpg").symlink_to(SHOT.picture)
    (tmp_path / "filmed.yaml").write_text(LESSON)
    return tmp_path


@pytest.fixture
def live(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Live]:
    # a match takes seconds, on a busy machine many
    monkeypatch.setattr("tests.lessons.live.running.WAIT_S", 150.0)
    running = Live(folder / "filmed.yaml")
    yield running
    running.stop()


def clicks(names: tuple[str, ...] = NAMES, more: str = "") -> str:
    points = "".join(
        f"  {name}: [{SHOT.visible()[name][0]:.1f}, {SHOT.visible()[name][1]:.1f}]\n" for name in names
    )
    cue, obj = SHOT.balls_px(0.0)[:2].tolist()
    wide, high = SHOT.size_px
    return (
        'footage: "shot-3.jpg"\nat: 0 s\ntable: 9ft\ntarget: foot-left\n'
        f"picked_on: {wide} x {high}\npoints:\n{points}"
        f"balls:\n  cue: [{cue[0]:.1f}, {cue[1]:.1f}]\n  object: [{obj[0]:.1f}, {obj[1]:.1f}]\n{more}"
    )


def test_the_match_follows_the_clicks_and_is_written_with_its_answer(
    browser: Any, live: Live, folder: Path
) -> None:
    context = browser.new_context(viewport={"width": 1400, "height": 1000})
    tab = context.new_page()
    said: list[str] = []
    tab.on("console", lambda m: said.append(m.text))
    tab.on("pageerror", lambda e: said.append(str(e)))
    shown = Shown.__new__(Shown)
    shown.live, shown.tab, shown.said, shown.asked = live, tab, said, []
    tab.goto(f"{live.address}/#{TOKEN}")
    # before its shot is matched the lesson can't be planned: the faults say so, and the still can be clicked on
    shown.until("document.getElementById('faults').textContent.includes('no match file')")
    tab.keyboard.press("m")
    shown.until("document.getElementById('filmed-frame').contentWindow?.clicked !== undefined")
    frame = tab.frame_locator("#filmed-frame")
    wide, high = SHOT.size_px

    def click(x: float, y: float) -> None:
        box = frame.locator("#picture").bounding_box()
        assert box is not None
        frame.locator("#picture").click(
            position={"x": x / wide * box["width"], "y": y / high * box["height"]}, force=True
        )

    for name in NAMES:
        frame.locator(f'#table g[aria-label="{name}"]').click()
        click(*SHOT.visible()[name])
    tab.wait_for_selector("#match-said[data-matched=true]", timeout=150_000)
    assert "matched on" in tab.inner_text("#match-said")
    for word, at in zip(("Cue ball", "Object ball"), SHOT.balls_px(0.0), strict=False):
        frame.get_by_text(word, exact=True).click()
        click(*at)
    tab.wait_for_selector("#match-said :text('the shot cut')", timeout=150_000)
    # the match lies over the picture, and takes no clicks from it
    over = frame.locator("#match")
    assert over.evaluate("e => [e.naturalWidth, getComputedStyle(e).pointerEvents, e.hidden]") == [
        wide,
        "none",
        False,
    ]
    assert not (folder / "shot-3.yaml").exists()  # nothing is written by clicking
    frame.get_by_text("Write the match file").click()
    shown.until("document.getElementById('good').textContent.includes('shot-3.yaml is written')")
    file = load(folder / "shot-3.yaml")
    assert set(file.points) == set(NAMES)
    told = json.loads((folder / "shot-3.match.json").read_text())
    truth = SHOT.truth["balls_mm"]
    for role, at in zip(("cue", "object"), truth, strict=False):
        found = told["balls"][role]["centre_mm"]
        assert max(abs(a - b) for a, b in zip(found, at, strict=False)) < 15
    # now the clip over the footage is there
    shown.until("page.lesson.faults.length === 0 && page.lesson.clips.some((c) => c.kind === 'on-footage')")
    assert said == []
    context.close()


@pytest.mark.parametrize("by", ["keys", "touch"])
def test_points_and_balls_are_set_without_a_mouse_and_written(
    browser: Any, live: Live, folder: Path, by: str
) -> None:
    """By keys alone, and by touch alone; what is matched of it another test says."""
    is_touch = by == "touch"
    context = browser.new_context(viewport={"width": 900, "height": 900}, has_touch=is_touch)
    shown = Shown.__new__(Shown)
    shown.live, shown.tab, shown.said, shown.asked = live, context.new_page(), [], []
    tab = shown.tab
    tab.goto(f"{live.address}/#{TOKEN}")
    shown.until("!document.getElementById('m-filmed').hidden")
    wide, high = SHOT.size_px
    name, press = NAMES[0], tab.keyboard.press
    frame = tab.frame_locator("#filmed-frame")
    text = "document.getElementById('filmed-frame').contentDocument.getElementById('yaml').value"
    ready = "document.getElementById('filmed-frame').contentWindow?.clicked !== undefined"
    inside = "document.getElementById('filmed-frame').contentDocument?.activeElement"

    def keys_to(claim: str) -> None:
        for _ in range(120):
            if shown.is_true(claim):
                return
            press("Tab")
        raise AssertionError(claim)

    def set_it() -> None:
        press("Enter")
        tab.keyboard.down("Shift")
        keys_to(f"{inside}?.id === 'screen'")
        tab.keyboard.up("Shift")
        press("Enter")

    if is_touch:
        tab.tap("#m-filmed")
        shown.until(ready)
        frame.locator(f'#table g[aria-label="{name}"]').tap()
        frame.locator("#screen").tap(position={"x": 40, "y": 60})
        frame.get_by_text("Cue ball", exact=True).tap()
        frame.locator("#screen").tap(position={"x": 80, "y": 60})
    else:
        press("m")
        shown.until(ready)
        keys_to(f"{inside}?.getAttribute('aria-label') === '{name}'")
        set_it()
        for key in ("Control+ArrowLeft", "Shift+ArrowUp", "ArrowRight"):
            press(key)
        shown.until(f"{text}.includes('{name}: [{wide / 2 - 49.8:g}, {high / 2 - 5:g}]')")
        keys_to(f"{inside}?.dataset.key === 'cue'")
        set_it()
        press("ArrowDown")
    shown.until(f"{text}.includes('{name}: [') && {text}.includes('cue: [')")
    # taken back, and set again
    undo = frame.locator("#undo")
    if is_touch:
        undo.tap()
        shown.until(f"!{text}.includes('cue: [')")
        frame.get_by_text("Cue ball", exact=True).tap()
        frame.locator("#screen").tap(position={"x": 90, "y": 60})
        frame.get_by_text("Write the match file").tap()
    else:
        keys_to(f"{inside}?.id === 'save'")
        press("Enter")
    shown.until("document.getElementById('good').textContent.includes('shot-3.yaml is written')")
    file = load(folder / "shot-3.yaml")
    assert set(file.points) == {name}
    context.close()


def test_what_is_clicked_while_the_server_is_away_is_matched_when_it_is_there_again(
    browser: Any, folder: Path
) -> None:
    live = Live(folder / "filmed.yaml")
    context = browser.new_context(viewport={"width": 900, "height": 900})
    shown = Shown.__new__(Shown)
    shown.live, shown.tab, shown.said, shown.asked = live, context.new_page(), [], []
    shown.tab.goto(f"{live.address}/#{TOKEN}")
    shown.until("!document.getElementById('m-filmed').hidden")
    shown.tab.keyboard.press("m")
    shown.until("document.getElementById('filmed-frame').contentWindow?.clicked !== undefined")
    live.stop()
    shown.until("!document.getElementById('state').hidden")
    frame = shown.tab.frame_locator("#filmed-frame")
    frame.locator("#screen").click(position={"x": 40, "y": 60})
    shown.until("document.getElementById('match-said').textContent.startsWith('Matching')")
    frame.get_by_text("Write the match file").click()
    shown.until("document.getElementById('good').textContent.startsWith('Not written: the server is not there.')")
    again = Live(folder / "filmed.yaml", live.port)
    shown.until("document.getElementById('match-said').dataset.matched !== undefined")
    frame.get_by_text("Write the match file").click()
    shown.until("document.getElementById('good').textContent.includes('shot-3.yaml is written')")
    context.close()
    again.stop()


def test_the_page_for_clicking_is_told_once_and_only_to_who_has_the_token(live: Live) -> None:
    wire = live.page()
    wire.wish(do="filmed", which=0)
    told = wire.next("filmed")
    first, again = (asked(live, f"/{told['address']}") for _ in range(2))
    assert (first.status, again.status) == (200, 404)
    policy = first.headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'")
    assert "frame-ancestors 'self'" in policy
    assert "unsafe" not in policy
    assert asked(live, "/filmed/x").status == 404
    wire.wish(do="filmed", which=7)  # not one of the lesson's
    wire.wish(do="filmed", which=0)
    assert wire.next("filmed")["which"] == 0
    assert asked(live, f"/{wire_address(live)}", "evil.example").status == 403
    wire.close()


def wire_address(live: Live) -> str:
    return live.server.lay_out("<p>", "default-src 'none'")


def test_of_clicks_that_come_quickly_the_last_are_matched(live: Live) -> None:
    wire = live.page()
    for n in range(1, 31):
        wire.wish(do="match", which=0, n=n, text=clicks(NAMES[: 1 + n % 3]))
    wire.wish(do="match", which=0, n=31, text=clicks())
    told = wire.next("match", lambda head: head["n"] == 31)
    assert told["is_matched"]
    assert told["body"][:2] == b"\xff\xd8"
    assert sum(head["is"] == "match" for head in wire.heard) <= 4
    wire.wish(do="match", which=0, n=32, text="{")
    assert not wire.next("match", lambda head: head["n"] == 32)["is_matched"]
    wire.close()


def test_a_match_file_that_was_saved_somewhere_else_is_not_written_over_unasked(live: Live, folder: Path) -> None:
    path = folder / "shot-3.yaml"
    wire = live.page()

    def write(text: str, version: str) -> tuple[str, str]:
        wire.wish(do="write_match", which=0, text=text, version=version)
        return wire.next("match_file")["version"], wire.next("said")["sentence"]

    wire.wish(do="filmed", which=0)
    opened = wire.next("filmed")["version"]
    # too few clicks to match: only the writing is looked at
    version, said = write(clicks(NAMES[:1]), opened)
    assert said.startswith("shot-3.yaml is written")
    mine = path.read_text() + "# and by hand\n"
    path.write_text(mine)
    newer, said = write(clicks(NAMES[1:2]), version)
    assert said.startswith("Not written: shot-3.yaml was saved somewhere else meanwhile.")
    assert path.read_text() == mine
    _, said = write(clicks(NAMES[1:2]), newer)
    assert said.startswith("shot-3.yaml is written")
    assert NAMES[1] in path.read_text()
    wire.close()


def test_what_the_page_does_not_know_of_a_match_file_stays(folder: Path) -> None:
    path = folder / "shot-3.yaml"
    mine = "# from the ladder\n" + clicks() + "lens: {focal: 26 mm}  # as the phone says\n"
    path.write_text(mine)
    x, y = SHOT.visible()["foot-left-short"]
    made, before = written(path, clicks((*NAMES, "foot-left-short")))
    assert before == mine.encode()
    lines = made.decode().splitlines()
    assert [line for line in lines if line not in mine.splitlines()] == [f"  foot-left-short: [{x:.1f}, {y:.1f}]"]
    # a click that was taken away goes with its line, and with nothing else
    one = f"  {NAMES[2]}: "
    text = mine.replace(one, f"  # the third\n{one}").replace("balls:\n", "balls:   # by eye\n")
    path.write_text(text)
    made, _ = written(path, clicks(NAMES[:2]))
    assert made.decode() == "".join(line for line in text.splitlines(True) if not line.startswith(one))
    path.write_bytes(made)
    file = load(path)
    assert set(file.points) == set(NAMES[:2])
    assert file.keys.lens is not None
    html, _ = page_of(path)
    assert NAMES[0] in html.partition('"given":')[2].partition("balls")[0]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize(
    ("form", "now", "after"),
    [
        ("balls: {cue: [1, 2], object: [3, 4]} # c", "balls: {cue: [1, 2]}", "balls: {cue: [1, 2]} # c"),
        ("balls: {cue: [1, 2], object: [3, 4]} # c", "balls: {object: [3, 4]}", "balls: {object: [3, 4]} # c"),
        ("balls:\n  others: # all\n    - [1, 2]  # one\n    - [3, 4]\n    - [5, 6]", "balls: {others: [[1, 2]]}",
         "balls:\n  others: # all\n    - [1, 2]  # one"),
        ("balls:\n  others:\n    - [1, 2]  # one", "balls: {others: [[1, 2], [7, 8]]}",
         "balls:\n  others:\n    - [1, 2]  # one\n    - [7, 8]"),
        ("foot: [9, 9] # towards\nballs: {cue: [1, 2]}", "balls: {cue: [1, 5]}", "balls: {cue: [1, 5]}"),
        ("balls: {cue: [1, 2]} # gone", "", ""),
        ("balls: {cue: [1, 2], # white\n  object: [3, 4] # two\n  }", "balls: {cue: [1, 2]}",
         "balls: {cue: [1, 2] # white\n  # two\n  }"),
        ("balls: {cue: [1, 2], # white\n  object: [3, 4] # two\n  }", "balls: {object: [3, 4]}",
         "balls: { # white\n  object: [3, 4] # two\n  }"),
        ("balls: {\n  others: [[1, 2], # near\n    [3, 4], [5, 6]]}", "balls: {others: [[1, 2]]}",
         "balls: {\n  others: [[1, 2] # near\n    ]}"),
        ("balls:\n  cue: [1, 2] # c", "balls: {object: [3, 4]}", "balls:\n  object: [3, 4]"),
    ],
)  # fmt: skip
def test_taking_clicks_away_keeps_every_other_byte(
    folder: Path, form: str, now: str, after: str, end: str
) -> None:
    head = "footage: shot-3.jpg # the still\npoints:\n  foot: [0, 1]   # sharp"
    tail = "lens: {focal: 26 mm}\t# mine\n"
    path = folder / "shot-3.yaml"
    path.write_bytes(f"{head}\n{form}\n{tail}".replace("\n", end).encode())
    made, _ = written(path, f"footage: shot-3.jpg\npoints:\n  foot: [0, 1]\n{now}\n")
    assert made.decode() == "\n".join(part for part in (head, after, tail) if part).replace("\n", end)


def test_the_lesson_says_which_stills_there_are(folder: Path) -> None:
    text = "clips:\n  - {kind: on-footage, footage: [a.yaml, b/c.yaml]}\n  - {kind: title}\n"
    assert [file.relative_to(folder).as_posix() for file in match_files(folder / "x.yaml", text)] == [
        "a.yaml", "b/c.yaml",
    ]  # fmt: skip
    assert match_files(folder / "x.yaml", "clips: [") == ()
    with pytest.raises(ValueError, match=r"no clip or still a\.mov or a\.jpg beside a\.yaml"):
        page_of(folder / "a.yaml")
