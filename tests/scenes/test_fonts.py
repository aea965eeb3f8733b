"""Text is drawn as it was measured, and measured as another library measures it."""

from __future__ import annotations

import pytest
from PIL import ImageFont, features

from scenes.look.fonts import CAP_HEIGHT, Face, font_file, run, width_px

FACES = (Face(500, 20), Face(660, 28), Face(640, 28, True))
SAMPLES = (
    "Object-ball line",
    "AVATAR To Way",
    "Contact-point line",
    "22.0°",
    "10.7 mm",
    "ghost’s centre",
    "Ty",
    "L",
    "7/8",
)


@pytest.mark.parametrize("text", SAMPLES)
@pytest.mark.parametrize("face", FACES[:2])
def test_widths_agree_with_pillow(text: str, face: Face) -> None:
    # FreeType and HarfBuzz by way of Pillow; without libraqm Pillow does not kern. A ten-thousandth: the two carry
    # different releases of HarfBuzz, which differ by as much in pairs with a space
    if not features.check("raqm"):
        pytest.skip("Pillow finds no libraqm here")
    font = ImageFont.truetype(str(font_file()), 1000)
    font.set_variation_by_axes([face.optical_size, face.weight])
    assert width_px(text, face, 1000) == pytest.approx(font.getlength(text), rel=1e-4)


def test_capitals_are_as_high_as_the_font_says() -> None:
    left, top, right, bottom = run("H", Face()).ink
    assert -top == pytest.approx(CAP_HEIGHT, abs=0.002)
    assert bottom == pytest.approx(0, abs=0.002)
    assert 0 < left < right < run("H", Face()).width


def test_tabular_figures_are_equally_wide_and_others_are_not() -> None:
    assert width_px("1" * 10, FACES[2], 40) == pytest.approx(width_px("0" * 10, FACES[2], 40), abs=0.05)
    assert width_px("1" * 10, FACES[1], 40) < 0.9 * width_px("0" * 10, FACES[1], 40)


def test_weight_and_optical_size_change_the_letters() -> None:
    widths = {width_px("Object ball", Face(w, o), 100) for w in (400, 560, 700) for o in (14, 32)}
    assert len(widths) == 6


def test_markup_in_a_text_is_text() -> None:
    assert width_px("a < b & c", Face(), 40) > width_px("a  b  c", Face(), 40)


def test_blank_text_is_empty() -> None:
    assert run("  ", Face()).width == 0
    assert len(run("", Face()).curves) == 0
