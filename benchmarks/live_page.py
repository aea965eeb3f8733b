"""What the live page costs by the clock: a server of its own, a real browser with software OpenGL, a hand.

Aims stand beside what was measured; a busy machine misses them. Debian's Chromium and playwright have to be there.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from lessons.lesson.model import loads
from lessons.lesson.write import Edit, changed
from lessons.planning.plan import plan

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-background-networking",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
]
VIEW_PX = {"width": 1400, "height": 900}
START_AIM_S, SAVE_AIM_S, FAULT_AIM_S, FRAME_AIM_S, SCRIPT_AIM_S, PICTURES_AIM = 2.0, 0.2, 0.2, 0.1, 0.004, 10
MANY_STEPS, DRAG_S, MANY_FRAMES = 60, 8.0, 60
WAIT_S = 60.0
REST_MS = 1000
"""Nobody saves twice a second: the rest of the last save is done by then."""

NOTE = """() => {
  window.noted = [];
  const put = page.put.bind(page);
  page.put = (message, frame) => {
    put(message, frame);
    if (message) requestAnimationFrame(() => noted.push([message.why, message.clip, message.frame, Date.now()]));
  };
}"""
"""The page notes what it painted, and when the browser took it up."""

Rows = list[tuple[str, str, str]]


def measure(folder: Path, course: Path) -> Rows:
    """Rows of what, seconds and note; one that says why where there is no browser."""
    try:
        from playwright.sync_api import sync_playwright
    except ModuleNotFoundError:
        return [("the page in a browser", "", "playwright is not installed")]
    if not CHROMIUM.exists():
        return [("the page in a browser", "", "Debian's chromium is not installed")]
    shutil.copytree(course, folder / "page")
    paths = sorted((folder / "page").glob("*.yaml"))
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        starts: list[float] = []
        saves: list[float] = []
        faults: list[float] = []
        rows: Rows = []
        for path in paths:
            with _shown(browser, path, starts) as tab:
                rows += _dragged(tab) if path.stem == "demo" else []
                rows += _sought(tab, path) if path.stem == "eight-cuts" else []
                saves += _saved(tab, path)
                faults.append(_broken(tab, path))
        browser.close()
    return [
        _row("clock: start to the first picture", starts, START_AIM_S),
        _row("clock: save to picture, every clip of the course", saves, SAVE_AIM_S),
        _row("clock: save to fault", faults, FAULT_AIM_S),
        *rows,
    ]


def _row(what: str, times: list[float], aim_s: float) -> tuple[str, str, str]:
    ordered = sorted(times)
    middle, late = (ordered[round(part * (len(ordered) - 1))] for part in (0.5, 0.95))
    return (
        what,
        f"{middle:.4f}",
        f"95th percentile {late:.4f}, most {ordered[-1]:.4f}, aim {aim_s:g}, {len(times)} times",
    )


@contextmanager
def _shown(browser: Any, path: Path, starts: list[float]) -> Iterator[Any]:
    """A page of a lesson, as `aimgeo live` serves it; how long that took from the start of the program goes to
    `starts`."""
    began = time.time()
    command = [sys.executable, "-m", "lessons.cli", "live", str(path), "--no-browser"]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    assert server.stdout is not None
    address = next(word for line in server.stdout for word in line.split() if word.startswith("http://"))
    tab = browser.new_context(viewport=VIEW_PX).new_page()
    tab.goto(address)
    _until(tab, "document.getElementById('screen').dataset.frame !== undefined")
    starts.append(time.time() - began)
    tab.evaluate(NOTE)
    _until(tab, "page.screen.isWhole && page.lesson?.clips")
    try:
        yield tab
    finally:
        tab.context.close()
        server.terminate()
        server.wait()


def _until(tab: Any, claim: str) -> None:
    end = time.monotonic() + WAIT_S
    while not tab.evaluate(f"() => Boolean({claim})"):
        if time.monotonic() > end:
            raise TimeoutError(f"never came: {claim}")
        tab.wait_for_timeout(10)


def _written(path: Path, text: bytes) -> float:
    """Saved as editors do, beside and renamed; when."""
    part = path.with_suffix(".part")
    part.write_bytes(text)
    at = time.time()
    os.replace(part, path)
    return at


def _saved(tab: Any, path: Path) -> list[float]:
    """Every clip on show while its lesson is saved with other distances: until the browser took its picture up."""
    data = path.read_bytes()
    lesson = loads(data, path.as_posix())
    made, keys = plan(lesson), lesson.keys
    distances = {name: one.mm(keys.ball_mm(), made.table.length_mm) for name, one in keys.distances.items()}
    times = []
    for k, clip in enumerate(made.clips):
        tab.evaluate(f"() => page.open({json.dumps(clip.name)})")
        _until(tab, f"page.strip.clip?.clip === {json.dumps(clip.name)}")
        last = f"(page.lesson.clips.find(({{ name }}) => name === {json.dumps(clip.name)}).frames - 1)"
        tab.evaluate(f"() => page.strip.to({last})")
        _until(tab, f"document.getElementById('screen').dataset.frame === String({last})")
        tab.evaluate("() => { noted.length = 0; }")
        edits = [Edit(("distances", name), f"{mm - k % 7 - 1:g} mm") for name, mm in distances.items()]
        text = changed(data, edits)
        tab.wait_for_timeout(REST_MS)
        at = _written(path, text)
        _until(tab, "noted.some(([why]) => why === 'save')")
        times.append(tab.evaluate("() => noted.find(([why]) => why === 'save')[3]") / 1e3 - at)
        _until(tab, f"page.lesson.text === {json.dumps(text.decode())}")
    _written(path, data)
    _until(tab, f"page.lesson.text === {json.dumps(data.decode())}")
    return times


def _broken(tab: Any, path: Path) -> float:
    """Until a fault stands at the page's foot."""
    tab.evaluate(
        "() => new MutationObserver(() => { window.faultAt ??= Date.now(); })"
        ".observe(document.getElementById('faults'), { childList: true, characterData: true, subtree: true })"
    )
    at = _written(path, path.read_bytes() + b"\nnonsense: 1\n")
    _until(tab, "window.faultAt")
    return float(tab.evaluate("() => window.faultAt")) / 1e3 - at


def _sought(tab: Any, path: Path) -> Rows:
    """Any frame of any clip, from the wish to the browser's taking it up."""
    dice, clips = random.Random(1), plan(loads(path.read_bytes(), path.as_posix())).clips
    times = []
    for clip in dice.choices(clips, k=MANY_FRAMES):
        tab.evaluate(f"() => page.open({json.dumps(clip.name)})")
        _until(tab, f"page.strip.clip?.clip === {json.dumps(clip.name)}")
        tab.wait_for_timeout(100)
        frame = dice.randrange(1, clip.frames)
        tab.evaluate(f"() => {{ noted.length = 0; window.wishedAt = Date.now(); page.strip.to({frame}); }}")
        _until(tab, f"noted.some(([, , at]) => at === {frame})")
        times.append(tab.evaluate(f"() => noted.find(([, , at]) => at === {frame})[3] - wishedAt") / 1e3)
    return [_row("clock: any frame", times, FRAME_AIM_S)]


def _dragged(tab: Any) -> Rows:
    """The cue ball under the hand: the page's script for a step, in processor time, and pictures a second."""
    tab.evaluate("() => page.open('ghost-ball_build-up_overlap-3-4_left_near')")
    _until(tab, "page.strip.clip?.clip === 'ghost-ball_build-up_overlap-3-4_left_near'")
    tab.keyboard.press("t")
    _until(tab, "document.querySelector('[data-grip=cue_ball]')")
    tab.wait_for_timeout(1000)
    box = tab.locator("[data-grip=cue_ball]").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    counters = tab.context.new_cdp_session(tab)
    counters.send("Performance.enable", {"timeDomain": "threadTicks"})

    def script_s() -> float:
        told = counters.send("Performance.getMetrics")["metrics"]
        return next(float(one["value"]) for one in told if one["name"] == "ScriptDuration")

    tab.mouse.move(x, y)
    tab.mouse.down()
    steps = []
    for k in range(MANY_STEPS + 10):
        n, before = tab.evaluate("() => page.hand.n"), script_s()
        tab.mouse.move(x + 4 + k % 30, y - k % 20)
        tab.wait_for_timeout(120)  # shorter than the hand's rest, in which labels find new places
        spent = script_s() - before
        if k >= 10 and tab.evaluate("() => page.hand.n") == n + 1 and not tab.evaluate("() => page.hand.flight"):
            steps.append(spent)
    tab.evaluate("() => { noted.length = 0; }")
    k, end = 0, time.monotonic() + DRAG_S
    while time.monotonic() < end:
        k += 1
        tab.mouse.move(x + k % 60, y - k % 40)
        tab.wait_for_timeout(8)
    rate = tab.evaluate("() => noted.filter(([why]) => why === 'hand').length") / DRAG_S
    tab.mouse.up()
    tab.keyboard.press("Escape")
    tab.evaluate("() => page.turn('clip')")
    return [
        _row("processor time: the page's script for a step of the hand", steps, SCRIPT_AIM_S),
        ("clock: pictures a second under the hand, without a graphics card", f"{rate:.1f}", f"aim {PICTURES_AIM}"),
    ]
