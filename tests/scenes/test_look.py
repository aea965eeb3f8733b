"""Every look keeps its promises: contrast, also for colour-vision deficiencies, patterns, smallest text."""

from __future__ import annotations

import itertools
import random
from dataclasses import fields, replace

import numpy as np
import pytest
from colorspacious import cspace_convert, deltaE

from scenes.look import LOOKS
from scenes.look.check import (
    DEFICIENCIES,
    GROUNDS,
    LINE_CONTRAST,
    TEXT_CONTRAST,
    contrast,
    demands,
    difference,
    faults,
    linear,
    nearest,
    seen,
)
from scenes.look.dusk import DUSK
from scenes.look.fonts import CAP_HEIGHT
from scenes.look.look import Look, mixed, rgb
from scenes.look.scale import Scale, plate_sizes, plate_width_px

every_look = pytest.mark.parametrize("look", LOOKS.values(), ids=list(LOOKS))


# ------------------------------------------------------------------ the measures


def test_contrast_agrees_with_published_values() -> None:
    # WCAG 2.2, definition of contrast ratio: 21:1 for black on white; #767676 on white is the known 4.54:1
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.005)


def any_colours(count: int) -> list[str]:
    choose = random.Random(5)
    return [f"#{choose.randrange(1 << 24):06X}" for _ in range(count)]


@pytest.mark.parametrize(
    ("deficiency", "name"),
    [("protanopia", "protanomaly"), ("deuteranopia", "deuteranomaly"), ("tritanopia", "tritanomaly")],
)
def test_what_a_deficiency_sees_agrees_with_colorspacious(deficiency: str, name: str) -> None:
    # colorspacious has the tables of Machado, Oliveira and Fernandes 2009; severity 100 % is the dichromat's
    space = {"name": "sRGB1+CVD", "cvd_type": name, "severity": 100}
    for colour in any_colours(60):
        other = cspace_convert(rgb(colour), space, "sRGB1-linear")
        assert seen(colour, deficiency) == pytest.approx(np.clip(other, 0, 1), abs=2e-4), colour


def test_colour_differences_agree_with_colorspacious() -> None:
    # it takes the white point of CIE 15 to more digits than sRGB's own matrix has
    for one, other in itertools.pairwise(any_colours(60)):
        theirs = deltaE(rgb(one), rgb(other), input_space="sRGB1", uniform_space="CIELab")
        assert difference(one, other) == pytest.approx(float(theirs), abs=0.1), (one, other)


# ------------------------------------------------------------------ the promises


@every_look
def test_a_look_keeps_its_promises(look: Look) -> None:
    assert faults(look) == []


@every_look
def test_everything_that_is_read_or_told_apart_is_promised(look: Look) -> None:
    """Text 4.5:1 on every ground of its own, lines and outlines 3:1 for everybody, over any picture."""
    promised = list(demands(look))
    for text in ("front", "secondary"):
        on = {d.against for d in promised if d.of == text and d.least == TEXT_CONTRAST}
        assert on >= {"cloth", "surround", "plate"}
    for role in look.lines:
        asked = {(d.against, d.deficiency) for d in promised if d.of == role and d.least == LINE_CONTRAST}
        assert asked >= {(f"casing over {g}", d) for g in (*GROUNDS, "cloth") for d in DEFICIENCIES}


@every_look
@pytest.mark.parametrize("name", ["secondary", "object_ball_line", "object_rim"])
def test_a_colour_that_fails_is_named_with_the_nearest_that_passes(look: Look, name: str) -> None:
    poor = mixed(look.colour(name), look.cloth, 0.35)

    def repaint(colour: str) -> Look:
        if name in look.lines:
            return replace(look, lines={**look.lines, name: replace(look.lines[name], colour=colour)})
        return replace(look, **{name: colour})  # type: ignore[arg-type]

    told = [fault for fault in faults(repaint(poor)) if fault.startswith(f"{name} {poor} on ")]
    assert told
    assert all("has a contrast of" in fault and "it needs" in fault for fault in told)
    better = told[0].rpartition("passes is ")[2].rstrip(".")
    assert not [fault for fault in faults(repaint(better)) if fault.startswith(f"{name} {better} on ")]


@every_look
def test_lines_that_only_colour_tells_apart_are_named(look: Look) -> None:
    twin = replace(look.lines["target_line"], colour=look.lines["contact_line"].colour)
    told = [f for f in faults(replace(look, lines={**look.lines, "tangent_line": twin})) if "colour alone" in f]
    assert [fault.split(" have ")[0] for fault in told] == ["target_line and tangent_line"]


def test_lines_that_somebody_cannot_tell_apart_by_colour_are_named() -> None:
    # red and green of one lightness: the pair that protanopes and deuteranopes take for one
    red, green = "#D98B6F", "#9DA86B"
    assert difference(red, green) > 20
    lines = {
        **DUSK.lines,
        "target_line": replace(DUSK.lines["target_line"], colour=red),
        "tangent_line": replace(DUSK.lines["tangent_line"], colour=green),
    }
    told = [f for f in faults(replace(DUSK, lines=lines)) if f.startswith(f"target_line {red} and tangent_line")]
    assert len(told) == 1
    assert "deuteranopia" in told[0]


def test_no_lighter_or_darker_colour_may_pass() -> None:
    assert nearest("#777777", lambda c: False) is None
    assert nearest("#777777", lambda c: float(linear(c).min()) > 0.9) not in (None, "#777777")


# ------------------------------------------------------------------ one language


@every_look
def test_a_kind_of_line_or_mark_has_its_pattern_and_size_in_every_look(look: Look) -> None:
    """What is learnt in one look is known in the other, printed sheets too; and words find the same places."""
    colourless = {role: replace(style, colour="") for role, style in look.lines.items()}
    assert colourless == {role: replace(style, colour="") for role, style in DUSK.lines.items()}
    assert {k: m.reach_px for k, m in look.marks.items()} == {k: m.reach_px for k, m in DUSK.marks.items()}
    assert (look.types, look.view_width, look.layers) == (DUSK.types, DUSK.view_width, DUSK.layers)


@every_look
def test_patterns_differ_by_more_than_a_little(look: Look) -> None:
    def described(dash: tuple[float, ...]) -> tuple[float, float, int]:
        period = sum(dash)
        dots = sum(on == 0 for on in dash[::2])
        return sum(on + 1 for on in dash[::2]) / period, period, dots

    dashed = {role: style for role, style in look.lines.items() if style.dash}
    for (a, one), (b, other) in itertools.combinations(dashed.items(), 2):
        p, q = described(one.dash), described(other.dash)
        assert p[2] != q[2] or abs(p[0] - q[0]) > 0.07 or max(p[1], q[1]) / min(p[1], q[1]) > 1.4, f"{a} and {b}"


@every_look
def test_a_look_is_one_value(look: Look) -> None:
    """It can be kept as a key, and one changed colour makes another look."""
    assert {look: 1}[replace(look)] == 1
    assert replace(look, front="#123456") != look
    assert replace(look, surfaces=replace(look.surfaces, rail="#123456")) != look
    assert all(rgb(getattr(look.surfaces, f.name)) for f in fields(look.surfaces) if f.type == "str")


# ------------------------------------------------------------------ sizes


@every_look
@pytest.mark.parametrize("size", [(1920, 1080), (3840, 2160), (1280, 720), (1080, 1080), (1080, 1920), (640, 360)])
def test_capitals_are_a_fortieth_of_the_short_side_or_more(look: Look, size: tuple[int, int]) -> None:
    scale = Scale(*size, look)
    assert all(CAP_HEIGHT * scale.text_px(style) >= 0.025 * scale.short_px for style in look.types)


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
