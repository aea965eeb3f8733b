"""Fonts, and lines of text as outlines: the built-in Inter, and fonts of the author's own. No Manim.

HarfBuzz shapes what is drawn and what is measured alike, from the font's bytes alone, so that a label is exactly
as wide as its layout thought, and the same on a machine that has no such font. Lengths are in ems: times the size
in pixels they are pixels. An em is set so that capitals are `CAP_HEIGHT` high in every face: layouts that stand
capitals in the middle of a plate, or ask for legible ones, hold for any font. y runs down from the baseline, x
right from the pen.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache, lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np

from aimgeo.vectors import Array

CAP_HEIGHT = 1490 / 2048
"""Height of a capital over the size, in every face: Inter's own (OS/2 sCapHeight)."""
LEAST_CAPITAL, MOST_CAPITAL = 0.35, 1.1
"""A font of the author's own has capitals between so many of its own ems: else its letters are no plain ones."""
MOST_FONT_BYTES = 20_000_000
FINER = 64
"""HarfBuzz counts in whole units: so many make one of the font's, whose weights lie between its masters."""
OPENTYPE = (b"\0\1\0\0", b"OTTO", b"true")


@dataclass(frozen=True, slots=True)
class FontFile:
    """A font of the author's own, known by its digest wherever it lies."""

    sha256: str
    path: str = field(compare=False)


@dataclass(frozen=True, slots=True)
class Face:
    """A cut of a font, Inter where there is no `file`: weight 100-900, optical size 14-32, and figures of equal
    width or not. A font that knows no weights has its one.
    """

    weight: int = 500
    optical_size: int = 20
    tabular: bool = False
    file: FontFile | None = None


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


# ------------------------------------------------------------------ a font of one's own


def own_font(path: Path) -> FontFile:
    """A TTF or OTF file as a font, looked into. ValueError with the end of a sentence where it can't be used."""
    try:
        told = path.stat()
        seen = path.as_posix(), told.st_size, told.st_mtime_ns
        if seen in _SEEN:
            return _SEEN[seen]
        if told.st_size > MOST_FONT_BYTES:
            raise ValueError(
                f"is larger than {MOST_FONT_BYTES // 1_000_000} MB; take one with fewer scripts, or a part of it."
            )
        content = path.read_bytes()
    except OSError as error:
        raise ValueError(f"can't be read: {(error.strerror or str(error)).lower()}.") from None
    if content[:4] == b"ttcf":
        raise ValueError("is a collection of several fonts; save the one that you mean as a TTF or OTF file.")
    if content[:4] in (b"wOFF", b"wOF2"):
        raise ValueError("is packed for web pages; name the same font's TTF or OTF file.")
    if content[:4] not in OPENTYPE:
        raise ValueError("is no font; name a TTF or OTF file.")
    found = FontFile(sha256(content).hexdigest(), str(path))
    _CONTENTS[found.sha256] = content
    try:
        face = _opened(found)
        if not face.glyph_count or not face.unicodes:
            raise ValueError("is broken: it holds no letters; take it once more from where it came.")
        if not any(face.reference_table(table).data for table in ("glyf", "CFF ", "CFF2")):
            raise ValueError("holds pictures of letters, not outlines; take a TTF or OTF file with outlines.")
        height = _capital(face)
        if not LEAST_CAPITAL <= height <= MOST_CAPITAL:
            raise ValueError("has no plain capital letters, by which its size is set; take another one.")
    except ValueError:
        del _CONTENTS[found.sha256]
        raise
    _SEEN[seen] = found
    return found


_SEEN: dict[tuple[str, int, int], FontFile] = {}
"""By path, size and time of change: a live page asks after every keystroke."""
_CONTENTS: dict[str, bytes] = {}
"""The bytes of own fonts by digest, as they were when the look was read."""


def _content(file: FontFile) -> bytes:
    content = _CONTENTS.get(file.sha256)
    if content is None:  # another process has read the look
        try:
            content = Path(file.path).read_bytes()
        except OSError:
            raise ValueError(
                f"the font {Path(file.path).name} is not where it was when the look was read"
            ) from None
        if sha256(content).hexdigest() != file.sha256:
            raise ValueError(f"the font {Path(file.path).name} was changed while clips were drawn; render again")
        _CONTENTS[file.sha256] = content
    return content


@lru_cache(maxsize=16)
def _opened(file: FontFile | None) -> Any:
    import uharfbuzz as hb

    return hb.Face(hb.Blob(font_file().read_bytes() if file is None else _content(file)))


def _capital(face: Any) -> float:
    """How high an H is, in the font's own ems; 0 where it has none."""
    import uharfbuzz as hb

    font = hb.Font(face)
    glyph = font.get_nominal_glyph(ord("H"))
    extents = font.get_glyph_extents(glyph) if glyph else None
    return float(extents.y_bearing) / float(face.upem) if extents else 0.0


def weights(file: FontFile | None) -> tuple[int, int] | None:
    """The lightest and the heaviest that a variable font can be; None for one of a single weight."""
    found = next((axis for axis in _opened(file).axis_infos if axis.tag == "wght"), None)
    return None if found is None else (round(found.min_value), round(found.max_value))


def without_glyph(text: str, file: FontFile | None = None) -> str:
    """The characters of a text that a font can't draw, each once; spaces and line ends need no glyph.

    >>> without_glyph("Überlappung ½, 30°: Ψ й"), without_glyph("a שa")
    ('', 'ש')
    """
    known = _known_characters(file)
    return "".join(dict.fromkeys(c for c in text if ord(c) not in known and not c.isspace()))


@lru_cache(maxsize=16)
def _known_characters(file: FontFile | None) -> frozenset[int]:
    return frozenset(_opened(file).unicodes)


# ------------------------------------------------------------------ lines of text


@lru_cache(maxsize=4096)
def run(text: str, face: Face) -> Run:
    """A line of text as outlines, for a size of 1."""
    glyphs, width = _laid_out(text, face)
    cut = face.file, face.weight, face.optical_size
    placed = [_outline(glyph, *cut) + np.array([x, y]) for glyph, x, y in glyphs]
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
def _laid_out(text: str, face: Face) -> tuple[tuple[tuple[int, float, float], ...], float]:
    """Each glyph and where it stands, and the pen after the last."""
    import uharfbuzz as hb

    if not text.strip():
        return (), 0.0
    if "\n" in text:
        raise ValueError(f"text {text!r} does not fit on one line")
    font, unit = _cut(face.file, face.weight, face.optical_size)
    line = hb.Buffer()
    line.add_str(text)
    line.guess_segment_properties()
    hb.shape(font, line, {"tnum": face.tabular})
    pen, out = 0, []
    for glyph, place in zip(line.glyph_infos, line.glyph_positions, strict=True):
        out.append((glyph.codepoint, (pen + place.x_offset) * unit, -place.y_offset * unit))
        pen += place.x_advance
    return tuple(out), pen * unit


@lru_cache(maxsize=64)
def _cut(file: FontFile | None, weight: int, optical_size: int) -> tuple[Any, float]:
    """A font at a weight and an optical size, and how many ems its unit is."""
    import uharfbuzz as hb

    face = _opened(file)
    font = hb.Font(face)
    axes = {axis.tag: axis for axis in face.axis_infos}
    wanted = {"wght": weight, "opsz": optical_size}
    font.set_variations(
        {
            tag: min(max(float(value), axes[tag].min_value), axes[tag].max_value)
            for tag, value in wanted.items()
            if tag in axes
        }
    )
    font.scale = (FINER * face.upem, FINER * face.upem)
    return font, _em(file) / (FINER * face.upem)


@lru_cache(maxsize=16)
def _em(file: FontFile | None) -> float:
    """A font's own em, in ems."""
    return 1.0 if file is None else CAP_HEIGHT / _capital(_opened(file))


def em(file: FontFile) -> float:
    """How much larger than its size a font of the author's own is set, so that its capitals are `CAP_HEIGHT`."""
    return _em(file)


@lru_cache(maxsize=4096)
def _outline(glyph: int, file: FontFile | None, weight: int, optical_size: int) -> Array:
    """The cubic curves (n, 4, 2) of a glyph at the pen."""
    font, unit = _cut(file, weight, optical_size)
    pen = _Pen()
    font.draw_glyph(glyph, _drawing(), pen)
    return np.array(pen.curves, float).reshape(-1, 4, 2) * [unit, -unit]


class _Pen:
    """What HarfBuzz draws with: gathers cubic curves, and closes what is open."""

    def __init__(self) -> None:
        self.curves: list[tuple[float, ...]] = []
        self.start = self.at = (0.0, 0.0)

    def line(self, x: float, y: float) -> None:
        (u, v), self.at = self.at, (x, y)
        if (x, y) != (u, v):
            dx, dy = (x - u) / 3, (y - v) / 3
            self.curves.append((u, v, u + dx, v + dy, x - dx, y - dy, x, y))


@cache
def _drawing() -> Any:
    import uharfbuzz as hb

    def move(x: float, y: float, pen: _Pen) -> None:
        pen.start = pen.at = (x, y)

    def curve(a: float, b: float, c: float, d: float, x: float, y: float, pen: _Pen) -> None:
        pen.curves.append((*pen.at, a, b, c, d, x, y))
        pen.at = (x, y)

    def quadratic(a: float, b: float, x: float, y: float, pen: _Pen) -> None:
        (u, v) = pen.at
        curve(u + (a - u) * 2 / 3, v + (b - v) * 2 / 3, x + (a - x) * 2 / 3, y + (b - y) * 2 / 3, x, y, pen)

    made = hb.DrawFuncs()
    made.set_move_to_func(move)
    made.set_line_to_func(lambda x, y, pen: pen.line(x, y))
    made.set_quadratic_to_func(quadratic)
    made.set_cubic_to_func(curve)
    made.set_close_path_func(lambda pen: pen.line(*pen.start))
    return made
