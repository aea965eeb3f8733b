"""Take the live page's pictures for the docs again: `.venv/bin/python docs/live_figures.py` (needs Chromium)."""

from __future__ import annotations

import io
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Literal

from PIL import Image
from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tests.lessons.live.running import CHROMIUM, FLAGS, Live  # noqa: E402
from tests.lessons.live.test_page import Shown  # noqa: E402

FIGURES = ROOT / "docs" / "figures"
EYE = "contact-points_players-eye_overlap-5-8_left_near_down"


def text(shown: Shown) -> None:
    """The text beside the picture of what it says."""
    shown.show(EYE, 1500)
    shown.tab.keyboard.press("e")
    shown.until("page.words.editor !== null")
    shown.tab.evaluate("() => page.words.editor.to(19, 5)")


def hand(shown: Shown) -> None:
    """A shot under the hand, moved."""
    shown.show(EYE, 1500)
    shown.by_hand()
    shown.tab.locator("[data-grip=cue_ball]").focus()
    for key in ("Shift+ArrowLeft", "Shift+ArrowLeft", "Shift+ArrowDown"):
        shown.tab.keyboard.press(key)
        shown.settled()


def phone(shown: Shown) -> None:
    """The same on a phone."""
    shown.show(EYE, 1500)
    shown.tab.tap("#m-hand")
    shown.until("document.querySelectorAll('.handle').length === 5")
    shown.tab.evaluate("() => scrollTo(0, document.getElementById('modes').offsetTop - 8)")


PICTURES: tuple[tuple[str, tuple[int, int], Literal["light", "dark"], Callable[[Shown], None], bool], ...] = (
    ("live-text", (1400, 860), "light", text, False),
    ("live-hand", (1400, 860), "dark", hand, False),
    ("live-phone", (390, 844), "light", phone, True),
)


def main() -> None:
    """Take all of them."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        path = Path(folder) / "what-the-eye-sees.yaml"
        path.write_bytes((ROOT / "lessons" / "course" / path.name).read_bytes())
        live = Live(path)
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        for name, (width, height), scheme, state, is_phone in PICTURES:
            context = browser.new_context(
                viewport={"width": width, "height": height}, color_scheme=scheme, has_touch=is_phone,
                is_mobile=is_phone, device_scale_factor=2 if is_phone else 1,
            )  # fmt: skip
            shown = Shown(context, live)
            state(shown)
            # the small pictures come when nothing else waits
            shown.until("page.screen.isWhole && page.list.isWhole()")
            shown.tab.wait_for_timeout(800)
            picture = Image.open(io.BytesIO(shown.tab.screenshot())).convert("RGB")
            picture.save(FIGURES / f"{name}.jpg", quality=88, optimize=True, progressive=True)
            print(FIGURES / f"{name}.jpg", picture.size)
            context.close()
        browser.close()
        live.stop()


if __name__ == "__main__":
    main()
