"""The student's package: all in one folder, and a page that plays the films from the disk, tried in Chromium."""

from __future__ import annotations

import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest

from lessons.deliver import Wishes, captions, pictures, rough_cut
from lessons.deliver.footage import Footage
from lessons.deliver.student import deliver_student

CHROMIUM = shutil.which("chromium")


LATER = """new Promise((done) => {
  const video = document.querySelector("video");
  video.addEventListener("timeupdate", () => { if (video.currentTime > 12.1) done(); });
})"""
"""Waits until the film plays in its second chapter."""


def lesson(folder: Path, stock: SimpleNamespace, identity: str, handle: int = 0) -> tuple[Footage, Wishes]:
    """A delivered lesson of two clips of 12 s, with words and a sheet."""
    folder.mkdir()
    frames = 300
    told = [
        stock.entry(name, frames, (25, 1), [("aim", frames, f"Aim <here> & look, {name}.")], handle_frames=handle)
        for name in ("one", "two")
    ]
    footage = stock.write_folder(folder, told, identity=identity, title=f"Lesson {identity} & more")
    for item in (captions, rough_cut, pictures):
        item.deliver(footage, Wishes())
    (folder / "sheets").mkdir()
    (folder / "sheets" / "set-up_a4.pdf").write_bytes(b"%PDF-1.7")
    return footage, Wishes()


def test_all_that_a_student_needs_lies_in_one_folder(tmp_path: Path, stock: SimpleNamespace) -> None:
    lessons = [lesson(tmp_path / name, stock, name) for name in ("first", "second")]
    done = deliver_student(tmp_path, lessons)
    assert not done.warnings
    out = tmp_path / "student"
    assert {p.relative_to(out).as_posix() for p in out.rglob("*") if p.is_file()} == {
        "index.html", "captions/01_first.en.vtt", "captions/02_second.en.vtt", "films/01_first.jpg",
        "films/01_first.mp4", "films/02_second.jpg", "films/02_second.mp4", "sheets/01_first_set-up_a4.pdf",
        "sheets/02_second_set-up_a4.pdf",
    }  # fmt: skip
    assert (out / "films/02_second.mp4").read_bytes() == (tmp_path / "second/second.mp4").read_bytes()
    page = (out / "index.html").read_text("utf-8")
    assert "Lesson first &amp; more" in page
    assert "<here>" not in page
    assert "http" not in page.replace("http-equiv", "")
    # the package follows the course: what it no longer has goes
    deliver_student(tmp_path, lessons[1:])
    assert {p.name for p in (out / "films").iterdir()} == {"01_second.jpg", "01_second.mp4"}


def test_a_lesson_without_a_rough_cut_is_told(tmp_path: Path, stock: SimpleNamespace) -> None:
    done = deliver_student(tmp_path, [lesson(tmp_path / "held", stock, "held", handle=5)])
    assert not done.files
    assert done.warnings == ("held: no film for students: it has no rough cut as MP4.",)


@pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed")
def test_the_page_plays_chapters_with_captions_from_the_disk(tmp_path: Path, stock: SimpleNamespace) -> None:
    from playwright.sync_api import sync_playwright

    deliver_student(tmp_path, [lesson(tmp_path / "first", stock, "first")])
    flags = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=flags)
        page = browser.new_page(viewport={"width": 390, "height": 844})
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.on("request", lambda asked: said.extend([] if asked.url.startswith("file:") else [asked.url]))
        page.goto((tmp_path / "student" / "index.html").as_uri())
        page.locator("button[data-at]").nth(1).click()
        page.evaluate(LATER)
        track = page.evaluate(
            "(t => [t.mode, t.language, t.activeCues[0].text])(document.querySelector('video').textTracks[0])"
        )
        # nobody speaks in these clips: the words are shown
        assert track == ["showing", "en", "Aim &lt;here&gt; &amp; look, two."]
        page.wait_for_selector("button[data-at='12.0'][aria-current]")
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        assert said == []
        browser.close()
