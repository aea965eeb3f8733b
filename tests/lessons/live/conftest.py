"""A lesson, its server, a page that is no browser, and Debian's Chromium."""

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
