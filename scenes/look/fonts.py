"""The font: Inter, registered once a process, and its text as outlines. No Manim here.

Pango lays out what is drawn and what is measured alike, so that a label is exactly as wide as its layout thought.
Lengths are in ems: times the size in pixels they are pixels. y runs down from the baseline, x right from the pen.
"""

from __future__ import annotations

import os
import re
import struct
import tempfile
import threading
from dataclasses import dataclass
from functools import cache, lru_cache
from html import escape
from pathlib import Path
from xml.etree import ElementTree

import numpy as np

from aimgeo.vectors import Array

FAMILY = "Inter"
CAP_HEIGHT = 1490 / 2048
"""Height of a capital over the size: the font's own OS/2 sCapHeight."""

_EM_PX = 100.0
_END = '<span font_features="kern=0">|</span>'
"""A mark behind the text, set apart so that it is not kerned to the last letter."""


@dataclass(frozen=True, slots=True)
class Face:
    """A cut of the variable font: weight 100-900, optical size 14-32, and figures of equal width or not."""

    weight: int = 500
    optical_size: int = 20
    tabular: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """A laid out line of text: cubic curves (n, 4, 2), its advance, and the ink's left, top, right, bottom."""

    curves: Array
    width: float
    ink: tuple[float, float, float, float]


def font_file() -> Path:
    """The variable upright font of the bundled package.

    Raises FileNotFoundError when the package carries no such file.
    """
    import fontpkg_inter

    folder = Path(fontpkg_inter.__file__).parent / "files"
    found = sorted(p for p in folder.glob("*.ttf") if p.name.startswith("Inter["))
    if not found:
        raise FileNotFoundError(f"no upright variable Inter in {folder}; reinstall the package fontpkg-inter")
    return found[0]


def without_glyph(text: str) -> str:
    """The characters of a text that the font can't draw, each once; spaces and line ends need no glyph.

    >>> without_glyph("Überlappung ½, 30°: Ψ й"), without_glyph("a שa")
    ('', 'ש')
    """
    known = _known_characters()
    missing = [c for c in text if not c.isspace() and ord(c) not in known]
    return "".join(dict.fromkeys(missing))


@cache
def _known_characters() -> frozenset[int]:
    """The code points that the font maps: format 12 of its cmap table (OpenType, ISO/IEC 14496-22)."""
    font = font_file().read_bytes()
    (tables,) = struct.unpack_from(">H", font, 4)
    records = (struct.unpack_from(">4sIII", font, 12 + 16 * i) for i in range(tables))
    cmap = next(offset for tag, _, offset, _ in records if tag == b"cmap")
    (count,) = struct.unpack_from(">H", font, cmap + 2)
    for i in range(count):
        at = cmap + struct.unpack_from(">HHI", font, cmap + 4 + 8 * i)[2]
        if struct.unpack_from(">H", font, at) == (12,):
            (groups,) = struct.unpack_from(">I", font, at + 12)
            found = (struct.unpack_from(">III", font, at + 16 + 12 * g) for g in range(groups))
            return frozenset(c for first, last, _ in found for c in range(first, last + 1))
    raise ValueError(f"{font_file().name} maps its characters in no way that is read here")


@cache
def register() -> None:
    """Make the font known to Pango, once a process.

    Raises RuntimeError when Pango does not list it: an unknown family would silently become another font.
    """
    import manimpango

    manimpango.register_font(str(font_file()))
    if FAMILY not in manimpango.list_fonts():
        raise RuntimeError(f"Pango does not list {FAMILY} after registering {font_file().name}")


@lru_cache(maxsize=4096)
def run(text: str, face: Face) -> Run:
    """A line of text as outlines, for a size of 1."""
    glyphs, width = _laid_out(text, face)
    placed = [(_curves(path) + np.array([x, 0.0])) / _EM_PX for path, x in glyphs]
    curves = np.concatenate([np.zeros((0, 4, 2)), *placed])
    if not len(curves):
        return Run(curves, width, (0.0, 0.0, 0.0, 0.0))
    low, high = curves.min(axis=(0, 1)), curves.max(axis=(0, 1))
    return Run(curves, width, (float(low[0]), float(low[1]), float(high[0]), float(high[1])))


def width_px(text: str, face: Face, size_px: float) -> float:
    """How far the pen moves over a line of text of this size.

    >>> width_px("", Face(), 40.0)
    0.0
    """
    return _laid_out(text, face)[1] * size_px


@lru_cache(maxsize=8192)
def _laid_out(text: str, face: Face) -> tuple[tuple[tuple[str, float], ...], float]:
    """Each glyph's outline as SVG and where it stands, and the pen after the last (by a mark set behind it)."""
    if not text.strip():
        return (), 0.0
    tree = _svg(text, face)
    outlines: dict[str, str] = {}
    pens: list[tuple[str, float, float]] = []
    for node in tree.iter():
        # cairo before 1.18 writes <symbol id>, later ones <g id>
        if (name := node.get("id", "")).startswith("glyph"):
            drawing = node.find("{*}path")
            outlines[name] = "" if drawing is None else drawing.get("d", "")
        elif node.tag.endswith("}use"):
            href = node.get("{http://www.w3.org/1999/xlink}href", node.get("href", ""))
            pens.append((href.lstrip("#"), float(node.get("x", 0)), float(node.get("y", 0))))
    if any(y != pens[-1][2] for _, _, y in pens):
        raise ValueError(f"text {text!r} does not fit on one line")
    return tuple((outlines[name], x) for name, x, _ in pens[:-1]), pens[-1][1] / _EM_PX


def _svg(text: str, face: Face) -> ElementTree.Element:
    """The line of text as Pango sets it and Cairo writes it."""
    from manimpango import MarkupUtils

    register()
    markup = (
        f'<span font_desc="{FAMILY} @wght={face.weight},opsz={face.optical_size}" size="{_EM_PX * 0.75:g}pt"'
        f' font_features="{"tnum=1" if face.tabular else "tnum=0"}">{escape(text, quote=False)}{_END}</span>'
    )
    if fault := MarkupUtils.validate(markup):
        raise ValueError(f"text {text!r} cannot be set: {fault}")
    width = int(_EM_PX * (len(text) + 4) * 1.5)
    path = str(Path(_folder().name, f"{os.getpid()}-{threading.get_ident()}.svg"))
    MarkupUtils.text2svg(
        markup, "", "NORMAL", "NORMAL", _EM_PX * 0.75, None, False, path, 0, 0, width, int(3 * _EM_PX)
    )
    return ElementTree.parse(path).getroot()


@cache
def _folder() -> tempfile.TemporaryDirectory[str]:
    """This process's own place for what Pango writes; it goes when the process does."""
    return tempfile.TemporaryDirectory(prefix="aimgeo-text-")


@lru_cache(maxsize=2048)
def _curves(path: str) -> Array:
    """The cubic curves (n, 4, 2) of an outline that cairo wrote: absolute M, L, C and Z only."""
    curves: list[tuple[float, ...]] = []
    x = y = 0.0
    start: tuple[float, ...] = (x, y)
    for command, body in re.findall(r"([MLCZ])([^MLCZ]*)", path):
        numbers = tuple(map(float, body.split()))
        if command == "M":
            x, y = start = numbers
            continue
        if command == "C":
            curves.append((x, y, *numbers))
            x, y = numbers[4:]
            continue
        to_x, to_y = numbers or start
        if (to_x, to_y) != (x, y):
            dx, dy = (to_x - x) / 3, (to_y - y) / 3
            curves.append((x, y, x + dx, y + dy, to_x - dx, to_y - dy, to_x, to_y))
        x, y = to_x, to_y
    return np.array(curves).reshape(-1, 4, 2)
