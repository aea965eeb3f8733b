"""A lesson, its server, a page that is no browser, and Debian's Chromium.

What the live page promises, and where it is proved (`bench` is `make bench --part live`, in processor time;
`trial` is `trial_live.py`, run by `make trial`):

- a save is shown in 0.2 s, any frame's orders in 30 ms, a step of the hand in 10 ms: bench;
- frames are the same whatever was asked before: tests/scenes/test_orders.py;
- the newest wish wins: test_server (two hundred wishes, held and at once; saves in a row), test_filmed
  (clicks);
- the film's picture and its plate: test_page at one size, trial for every kind at three;
- the numbers of `aimgeo solve`: test_page by mouse, touch and keys, test_moving for the rest;
- written bytes: tests/lessons/test_write.py over generated files; the shot stands where the hand left it:
  test_writing;
- nothing is written while the file has a fault, another's save is never overwritten: test_page, test_write,
  test_serve;
- faults in place and the last good picture: test_page, test_server;
- playing within two frames of the sound: trial; caption, sound and skipped frames: test_page;
- three hundred saves, a thousand moves, memory, fifty faults, two pages, a file that goes, a server that is
  started again: trial; moves that are not written outlive a reload and another start: test_page;
- nothing leaves the machine: the log of requests in test_page's `shown`;
- who is let in (Host, Origin, token, paths, sizes, rates, pages, silence): test_server, test_filmed,
  test_serve;
- all of it by keys alone and by touch alone: test_alone, test_filmed; axe, 360 px to 4K, light and dark, twice
  the zoom, reduced motion: test_page.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.lessons.live.running import BUILD_UP, CHROMIUM, FLAGS, LESSON, Live, Wire


@pytest.fixture
def lesson(tmp_path: Path) -> Path:
    path = tmp_path / "monday.yaml"
    path.write_text(LESSON, encoding="utf-8")
    return path


@pytest.fixture
def live(lesson: Path) -> Iterator[Live]:
    running = Live(lesson)
    yield running
    running.stop()


@pytest.fixture
def wire(live: Live) -> Iterator[Wire]:
    page = live.page(clip=BUILD_UP, size_px=[320, 180])
    page.next("frame")
    yield page
    page.close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Debian's Chromium with software OpenGL."""
    if not CHROMIUM.exists():
        pytest.skip("Debian's chromium is not installed")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield browser
        browser.close()
