"""The page for clicking: opens from disk, fetches nothing, and what it saves can be matched."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from lessons.cli import main
from lessons.footage.model import load
from lessons.footage.points_page import write_page
from tests.lessons.footage.clicks import still

CHROMIUM = Path("/usr/bin/chromium")


def test_the_page_is_one_file(tmp_path: Path) -> None:
    shot = still("phone-26")
    (tmp_path / "shot.jpg").symlink_to(shot.picture)
    text = write_page(tmp_path / "shot.jpg").read_text()
    assert "{{ " not in text
    assert "http://" not in text.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in text
    assert "default-src 'none'" in text


@pytest.mark.skipif(not CHROMIUM.exists(), reason="Debian's chromium is not installed")
def test_clicks_are_saved_as_a_match_file(tmp_path: Path) -> None:
    from playwright.sync_api import sync_playwright

    shot = still("phone-26")
    (tmp_path / "shot.jpg").symlink_to(shot.picture)
    page_file = write_page(tmp_path / "shot.jpg")
    wide, high = shot.size_px
    names = ["foot-left-long", "sight-right-5", "sight-left-3"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1500, "height": 1000})
        fetched: list[str] = []
        page.on(
            "request", lambda r: None if r.url.startswith(("file:", "data:", "blob:")) else fetched.append(r.url)
        )
        problems: list[str] = []
        page.on("pageerror", lambda error: problems.append(str(error)))
        page.goto(page_file.as_uri())
        box = page.locator("#picture").bounding_box()
        assert box is not None

        def click(x: float, y: float) -> None:
            page.mouse.click(box["x"] + x / wide * box["width"], box["y"] + y / high * box["height"])

        for name in names:
            page.locator(f'#table g[aria-label="{name}"]').click()
            click(*shot.visible()[name])
        for word, at in zip(("Cue ball", "Object ball"), shot.balls_px(0.0), strict=False):
            page.get_by_text(word, exact=True).click()
            click(*at)
        # pressed and moved on, a point follows at a quarter of the way
        page.select_option("#point", "sight-left-5")
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.mouse.down()
        page.mouse.move(box["x"] + box["width"] / 2 + 40, box["y"] + box["height"] / 2)
        page.mouse.up()
        with page.expect_download() as saved:
            page.click("#save")
        saved.value.save_as(tmp_path / "saved.yaml")
        browser.close()
    assert not fetched
    assert not problems
    file = load(tmp_path / "saved.yaml")
    assert set(file.points) == {*names, "sight-left-5"}
    assert file.points["sight-left-5"][0] == pytest.approx(wide / 2 + 10 * wide / box["width"], abs=0.6)
    assert file.keys.picked_on == (wide, high)
    for name in names:
        assert abs(file.points[name][0] - shot.visible()[name][0]) < 1.5


@pytest.mark.skipif(not CHROMIUM.exists(), reason="Debian's chromium is not installed")
def test_a_match_file_is_taken_up_and_every_step_can_be_taken_back(tmp_path: Path) -> None:
    from playwright.sync_api import sync_playwright

    shot = still("phone-26")
    more = {"lens": {"focal": "26 mm"}, "measured": {"rail_top": "41 mm"}, "target": "foot-right"}
    path = shot.match_file(tmp_path, shot.picks(6, 0.5), **more)
    before = load(path)
    done = CliRunner().invoke(main, ["match", "--page", str(path)])
    assert done.exit_code == 0, done.output
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1500, "height": 1000})
        page.goto(path.with_name("shot.points.html").as_uri())
        begun = page.input_value("#yaml")
        others = [[0.2, 0.5], [0.4, 0.5], [0.6, 0.5]]
        page.get_by_text("Another ball", exact=True).click()
        box = page.locator("#picture").bounding_box()
        assert box is not None
        for x, y in others:
            page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])
        three = page.input_value("#yaml")
        page.locator("#screen").focus()
        for key in ("ArrowLeft", "ArrowLeft", "ArrowLeft", "Delete"):
            page.keyboard.press(key)
        page.keyboard.press("Control+z")
        page.keyboard.press("Control+z")
        assert page.input_value("#yaml") == three
        # a ball between others is taken away and put back between them
        page.evaluate("last = 'others 0'")
        page.keyboard.press("Delete")
        page.keyboard.press("Control+z")
        assert page.input_value("#yaml") == three
        for _ in others:
            page.keyboard.press("Control+z")
        assert page.input_value("#yaml") == begun
        (tmp_path / "saved.yaml").write_text(begun)
        browser.close()
    after = load(tmp_path / "saved.yaml")
    for key in ("target", "lens", "measured", "footage", "table"):
        assert getattr(after.keys, key) == getattr(before.keys, key)
    assert (after.points, after.keys.balls) == (before.points, before.keys.balls)
