"""Fonts made for the tests: every letter a box, so that its measures are known by heart."""

from __future__ import annotations

from pathlib import Path

import yaml
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib.tables.TupleVariation import TupleVariation

UPEM, CAPITAL = 1000, 600
WORDS = Path(__file__).parents[2] / "lessons" / "words"
BUILT_IN = "".join(
    sorted(
        {
            c
            for path in WORDS.glob("*.yaml")
            for c in str(yaml.safe_load(path.read_text("utf-8")))
            if c.isprintable()
        }
        | set(map(chr, range(32, 127)))
        | set("–—‘’“”½¼¾⅛⅜⅝⅞×°→←↑↓•·−…′″®©ÄÖÜäöüß¿¡áéíóúñÁÉÍÓÚÑ")
    )
)
"""What pictures show without an author's words."""


def advance(letter: str, wide: int = 500) -> int:
    """How far the pen moves over a letter, in thousandths: uneven on purpose."""
    return wide + 10 * (ord(letter) % 7)


def box_font(path: Path, letters: str = BUILT_IN, wide: int = 500, heavier: int = 0, name: str = "Boxes") -> Path:
    """Write a font whose letters are boxes `CAPITAL` high; variable from 400 to 700 with `heavier` advances."""
    names = {letter: f"u{ord(letter):04X}" for letter in letters}
    order = [".notdef", *names.values()]
    glyphs, widths = {".notdef": TTGlyphPen(None).glyph()}, {".notdef": (500, 0)}
    for letter, glyph in names.items():
        pen, right = TTGlyphPen(None), advance(letter, wide) - 50
        if letter.strip():
            pen.moveTo((50, 0))
            pen.lineTo((50, CAPITAL))
            pen.lineTo((right, CAPITAL))
            pen.lineTo((right, 0))
            pen.closePath()
        glyphs[glyph], widths[glyph] = pen.glyph(), (advance(letter, wide), 50)
    font = FontBuilder(UPEM, isTTF=True)
    font.setupGlyphOrder(order)
    font.setupCharacterMap({ord(letter): glyph for letter, glyph in names.items()})
    font.setupGlyf(glyphs)
    font.setupHorizontalMetrics(widths)
    font.setupHorizontalHeader(ascent=800, descent=-200)
    font.setupNameTable({"familyName": name, "styleName": "Regular", "psName": name})
    font.setupOS2(sTypoAscender=800, sTypoDescender=-200, usWinAscent=800, usWinDescent=200)
    font.setupPost()
    if heavier:
        font.setupFvar([("wght", 400, 400, 700, "Weight")], [])
        moved = [(0, 0), (0, 0), (heavier, 0), (heavier, 0), (0, 0), (heavier, 0), (0, 0), (0, 0)]
        font.setupGvar(
            {
                glyph: [TupleVariation({"wght": (0, 1, 1)}, moved if letter.strip() else moved[4:])]
                for letter, glyph in names.items()
            }
        )
    font.save(path)
    return path
