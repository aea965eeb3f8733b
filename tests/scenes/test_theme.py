"""The look keeps its promises: contrast, also for colour-vision deficiencies, patterns, and the smallest text."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from scenes.look.dusk import DUSK
from scenes.look.fonts import CAP_HEIGHT
from scenes.look.scale import Scale, plate_sizes, plate_width_px

# G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-based Model for Simulation of Color Vision
# Deficiency", IEEE TVCG 15(6), 2009, severity 1.0, applied to linear RGB; matrices from memory.
DEFICIENCIES = {
    "normal": np.eye(3),
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanopia": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
TEXT_CONTRAST, LINE_CONTRAST = 4.5, 3.0
"""WCAG 2.2, success criteria 1.4.3 (text) and 1.4.11 (graphical objects)."""
GROUNDS = {
    "our cloth": "#1A4646",
    "green cloth": "#0B6B43",
    "blue cloth": "#1F5FA8",
    "grey": "#8C9399",
    "white": "#FFFFFF",
}
THEME = DUSK
LINES, TYPES = DUSK.lines, DUSK.types


def linear(colour: str) -> np.ndarray:
    """Linear RGB of a colour, by the transfer function of sRGB (IEC 61966-2-1)."""
    value = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def mixed(over: str, under: str, alpha: float) -> str:
    """What is seen when a colour of some alpha lies over another: sRGB values mix, as Cairo mixes them."""
    pair = (np.array([int(c[i : i + 2], 16) for i in (1, 3, 5)]) for c in (over, under))
    a, b = pair
    return "#" + "".join(f"{round(v):02X}" for v in alpha * a + (1 - alpha) * b)


def contrast(a: str, b: str, deficiency: str = "normal") -> float:
    """Contrast ratio of WCAG 2.2."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    matrix = np.array(DEFICIENCIES[deficiency])
    low, high = sorted(float(weights @ np.clip(matrix @ linear(c), 0, 1)) for c in (a, b))
    return (high + 0.05) / (low + 0.05)


def test_contrast_agrees_with_published_values() -> None:
    # WCAG 2.2, definition of contrast ratio: 21:1 for black on white; #767676 on white is the known 4.54:1
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("deficiency", DEFICIENCIES)
@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("role", list(LINES))
def test_lines_stand_out_from_their_casing_on_any_ground(role: str, ground: str, deficiency: str) -> None:
    casing = mixed(THEME.casing, GROUNDS[ground], THEME.casing_opacity)
    assert contrast(LINES[role].colour, casing, deficiency) >= LINE_CONTRAST


@pytest.mark.parametrize("role", list(LINES))
def test_old_lines_stand_out_on_our_cloth(role: str) -> None:
    casing = mixed(THEME.casing, THEME.cloth_centre, THEME.casing_opacity)
    old = mixed(LINES[role].colour, casing, THEME.old_strength)
    assert contrast(old, casing) >= LINE_CONTRAST


@pytest.mark.parametrize("deficiency", DEFICIENCIES)
@pytest.mark.parametrize("ball", ["cue_ball", "object_rim"])
def test_outlines_of_balls_stand_out_from_the_cloth(ball: str, deficiency: str) -> None:
    assert contrast(getattr(THEME, ball), THEME.cloth_centre, deficiency) >= LINE_CONTRAST


@pytest.mark.parametrize("style", TYPES)
def test_text_reads_on_cloth_surround_and_plates(style: str) -> None:
    plate = mixed(THEME.plate, GROUNDS["white"], THEME.plate_opacity)
    for ground in (THEME.cloth_centre, THEME.cloth_edge, THEME.surround, plate):
        assert contrast(THEME.colour(TYPES[style].colour), ground) >= TEXT_CONTRAST


def test_old_label_text_reads_on_its_plate() -> None:
    plate = mixed(THEME.plate, THEME.cloth_centre, THEME.plate_opacity)
    assert contrast(mixed("#FFFFFF", plate, 0.8), plate) >= TEXT_CONTRAST


def test_no_two_kinds_of_line_share_pattern_and_width() -> None:
    # pattern tells lines apart where colour can't
    for (a, one), (b, other) in itertools.combinations(LINES.items(), 2):
        same_pattern = one.dash == other.dash and one.barbs == other.barbs
        assert not (same_pattern and abs(one.width_px - other.width_px) < 2), f"{a} and {b} look alike"


def test_patterns_differ_by_more_than_a_little() -> None:
    def described(dash: tuple[float, ...]) -> tuple[float, float, int]:
        period = sum(dash)
        dots = sum(on == 0 for on in dash[::2])
        return sum(on + 1 for on in dash[::2]) / period, period, dots

    dashed = {role: style for role, style in LINES.items() if style.dash}
    for (a, one), (b, other) in itertools.combinations(dashed.items(), 2):
        p, q = described(one.dash), described(other.dash)
        assert p[2] != q[2] or abs(p[0] - q[0]) > 0.07 or max(p[1], q[1]) / min(p[1], q[1]) > 1.4, f"{a} and {b}"


@pytest.mark.parametrize("size", [(1920, 1080), (3840, 2160), (1280, 720), (1080, 1080), (1080, 1920), (640, 360)])
def test_capitals_are_a_fortieth_of_the_short_side_or_more(size: tuple[int, int]) -> None:
    scale = Scale(*size, DUSK)
    assert all(CAP_HEIGHT * scale.text_px(style) >= 0.025 * scale.short_px for style in TYPES)


def test_sizes_grow_with_the_frame() -> None:
    assert Scale(3840, 2160, DUSK).stroke_px(8) == 16
    assert Scale(1080, 1920, DUSK).k == 1.0
    assert Scale(640, 360, DUSK).text_px("label") == pytest.approx(
        1.2 / 3 * Scale(1920, 1080, DUSK).text_px("label")
    )


def test_a_plate_is_as_wide_as_its_parts() -> None:
    scale = Scale(1920, 1080, DUSK)
    bare, with_sample = (plate_width_px("Aim line", scale, s) for s in (False, True))
    sizes = plate_sizes(scale)
    assert with_sample - bare == pytest.approx(sizes.sample_px + sizes.sample_gap_px)
    assert bare > 2 * sizes.padding_px
