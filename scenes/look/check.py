"""Whether a look can be read: contrasts, also with a colour-vision deficiency, and lines that are told apart.

Each promise is a `Demand` on one colour of the look; `faults` names those that are not kept, and the nearest
colour that keeps all that is demanded of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations

import numpy as np

from aimgeo.vectors import Array
from scenes.look.look import LineStyle, Look, mixed, rgb

TEXT_CONTRAST, LINE_CONTRAST = 4.5, 3.0
"""WCAG 2.2, success criteria 1.4.3 (text) and 1.4.11 (graphical objects)."""
APART = 10.0
"""The least difference of two kinds of line in colour (CIE 1976), where they differ in it at all: house rule."""
BALLS_APART = 20.0
"""The least difference of the object ball from the cue ball (CIE 1976): house rule."""
SAME_WIDTH_PX = 2.0
"""Lines of one pattern that differ by less in width look alike."""

DEFICIENCIES = {
    "normal vision": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    "protanopia": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritanopia": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}
"""What linear red, green and blue become. G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-
based Model for Simulation of Color Vision Deficiency", IEEE TVCG 15(6), 2009, severity 1.0."""
GROUNDS = {
    "green cloth": "#0B6B43",
    "blue cloth": "#1F5FA8",
    "grey": "#8C9399",
    "white": "#FFFFFF",
    "black": "#000000",
}
"""What a clip with a clear background may be laid over."""


# ------------------------------------------------------------------ colours


def linear(colour: str) -> Array:
    """Linear red, green and blue of a colour: the transfer function of sRGB (IEC 61966-2-1)."""
    value = np.array(rgb(colour))
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def seen(colour: str, deficiency: str = "normal vision") -> Array:
    """Linear red, green and blue as somebody with a deficiency sees them."""
    return np.clip(np.array(DEFICIENCIES[deficiency]) @ linear(colour), 0, 1)


def contrast(a: str, b: str, deficiency: str = "normal vision") -> float:
    """The contrast ratio of WCAG 2.2, 1 to 21.

    >>> round(contrast("#000000", "#FFFFFF"), 6)
    21.0
    """
    low, high = sorted(float(np.array([0.2126, 0.7152, 0.0722]) @ seen(c, deficiency)) for c in (a, b))
    return (high + 0.05) / (low + 0.05)


def difference(a: str, b: str, deficiency: str = "normal vision") -> float:
    """The colour difference of CIE 1976 (ISO/CIE 11664-4), under the white point D65 of sRGB.

    >>> round(difference("#000000", "#FFFFFF"), 3)
    100.0
    """
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    one, other = (_lab(to_xyz @ seen(c, deficiency) / to_xyz.sum(axis=1)) for c in (a, b))
    return float(np.linalg.norm(one - other))


def _lab(xyz: Array) -> Array:
    small = (6 / 29) ** 3
    x, y, z = np.where(xyz > small, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


# ------------------------------------------------------------------ promises


@dataclass(frozen=True, slots=True)
class Demand:
    """What is promised of the look's colour named `of`: a contrast with a ground, by its name and colour.

    `opacity`: how strongly the colour is drawn over the ground.
    """

    of: str
    against: str
    ground: str
    least: float
    deficiency: str = "normal vision"
    opacity: float = 1.0

    def ratio(self, colour: str) -> float:
        """The contrast of a colour drawn so."""
        return contrast(mixed(colour, self.ground, self.opacity), self.ground, self.deficiency)

    def is_kept(self, colour: str) -> bool:
        """True for a colour that keeps the promise."""
        return self.ratio(colour) >= self.least


def demands(look: Look) -> Iterator[Demand]:
    """Every contrast that a look promises."""
    yield from _texts(look)
    casings = {
        f"casing over {name}": mixed(look.casing, ground, look.casing_opacity)
        for name, ground in {"cloth": look.cloth, **GROUNDS}.items()
    }
    for role in look.lines:
        for deficiency in DEFICIENCIES:
            yield from (Demand(role, name, casing, LINE_CONTRAST, deficiency) for name, casing in casings.items())
        casing = casings["casing over cloth"]
        yield Demand(role, "casing, no longer new,", casing, LINE_CONTRAST, opacity=look.old_strength)
    cloths = {"cloth": look.cloth}
    cloths |= {f"surfaces.{name}": getattr(look.surfaces, name) for name in ("cloth_near", "cloth_far")}
    for deficiency in DEFICIENCIES:
        for outline in ("cue_rim" if look.cue_rim else "cue_ball", "object_rim"):
            yield from (Demand(outline, name, cloth, LINE_CONTRAST, deficiency) for name, cloth in cloths.items())
        yield Demand("ink", "cue_ball", look.cue_ball, LINE_CONTRAST, deficiency)


def _texts(look: Look) -> Iterator[Demand]:
    grounds = {name: getattr(look, name) for name in ("cloth", "surround", "plate")}
    grounds |= {f"plate over {name}": mixed(look.plate, c, look.plate_opacity) for name, c in GROUNDS.items()}
    for text in ("front", "secondary"):
        yield from (Demand(text, name, ground, TEXT_CONTRAST) for name, ground in grounds.items())
    plate = mixed(look.plate, look.cloth, look.plate_opacity)
    yield Demand("front", "plate, no longer new,", plate, TEXT_CONTRAST, opacity=look.old_label)
    for text, least in (("front", TEXT_CONTRAST), ("secondary", LINE_CONTRAST)):
        yield Demand(text, "cloth, no longer new,", look.cloth, least, opacity=look.old_strength)


def faults(look: Look) -> list[str]:
    """One sentence for each promise that the look does not keep; none for one that can be read."""
    promised: dict[str, list[Demand]] = {}
    for demand in demands(look):
        promised.setdefault(demand.of, []).append(demand)
    return [
        *(fault for of, all_ in promised.items() for fault in _contrasts(look, of, all_)),
        *_alike(look),
        *_one_ball_for_another(look),
    ]


def _contrasts(look: Look, of: str, all_: list[Demand]) -> Iterator[str]:
    """The worst broken promise of a colour against each ground, and on its casing, whatever lies under that."""
    colour = look.colour(of)
    worst: dict[str, Demand] = {}
    for demand in all_:
        if not demand.is_kept(colour):
            key = "casing" if demand.against.startswith("casing") else demand.against
            before = worst.get(key)
            if before is None or demand.ratio(colour) < before.ratio(colour):
                worst[key] = demand
    if not worst:
        return
    found = nearest(colour, lambda c: all(demand.is_kept(c) for demand in all_))
    for d in worst.values():
        advice = _advice(found) if found else _of_ground(look, of, colour, all_, d)
        yield (
            f"{d.of} {colour} on {d.against} {d.ground} has a contrast of {d.ratio(colour):.2f}:1 "
            f"in {d.deficiency}; it needs {d.least:g}:1. {advice}"
        )


def _of_ground(look: Look, of: str, colour: str, all_: list[Demand], broken: Demand) -> str:
    """The nearest ground on which a colour passes, where no other colour would pass on this one."""
    ground = broken.against.partition(",")[0]
    if not hasattr(look, ground):
        return _advice(None)
    here = [demand for demand in all_ if demand.against.partition(",")[0] == ground]

    def passes(other: str, text: str = colour) -> bool:
        return all(replace(demand, ground=other).is_kept(text) for demand in here)

    if found := nearest(broken.ground, passes):
        return f"Nothing passes on it; the nearest {ground} on which {of} {colour} passes is {found}."
    for extreme in ("#FFFFFF", "#000000"):
        if found := nearest(broken.ground, partial(passes, text=extreme)):
            return f"Nothing passes on it; {of} {extreme} does on {ground} {found}."
    return _advice(None)


def _advice(colour: str | None) -> str:
    return (
        f"The nearest colour that passes is {colour}."
        if colour
        else "No lighter or darker one passes: change both."
    )


def nearest(colour: str, passes: Callable[[str], bool]) -> str | None:
    """The colour mixed with the least white or black that passes; None when none does."""
    steps = (
        (share, mixed(end, colour, share))
        for share in np.linspace(0, 1, 101).tolist()
        for end in ("#000000", "#FFFFFF")
    )
    return next((made for _, made in steps if passes(made)), None)


def _alike(look: Look) -> Iterator[str]:
    """Kinds of line that only colour tells apart, and those whose colours are nearly the same."""
    for (a, one), (b, other) in combinations(look.lines.items(), 2):
        if _same_pattern(one, other):
            yield f"{a} and {b} have one pattern and one width; colour alone must tell no lines apart"
        if one.colour == other.colour:
            continue
        worst = min(DEFICIENCIES, key=partial(difference, one.colour, other.colour))
        if (apart := difference(one.colour, other.colour, worst)) < APART:
            yield (
                f"{a} {one.colour} and {b} {other.colour} differ by {apart:.1f} in {worst}; they need {APART:g}. "
                f"{_advice(nearest(other.colour, partial(_are_apart, one.colour)))}"
            )


def _one_ball_for_another(look: Look) -> Iterator[str]:
    """A cue ball and an object ball that somebody may take for each other."""
    ball, cue = look.object_ball, look.cue_ball
    worst = min(DEFICIENCIES, key=partial(difference, ball, cue))
    if (apart := difference(ball, cue, worst)) < BALLS_APART:
        found = nearest(ball, partial(_are_apart, cue, least=BALLS_APART))
        yield (
            f"object_ball {ball} and cue_ball {cue} differ by {apart:.1f} in {worst}; they need {BALLS_APART:g}. "
            f"{_advice(found)}"
        )


def _are_apart(one: str, other: str, least: float = APART) -> bool:
    return all(difference(one, other, deficiency) >= least for deficiency in DEFICIENCIES)


def _same_pattern(one: LineStyle, other: LineStyle) -> bool:
    same = one.dash == other.dash and one.barbs == other.barbs
    return same and abs(one.width_px - other.width_px) < SAME_WIDTH_PX
