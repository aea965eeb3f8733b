"""How each shape of a board is drawn.

To add a shape: write its function in a module here and add its line to DRAW.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from scenes import board
from scenes.draw.balls import draw_arc, draw_ball, draw_halo, draw_ring
from scenes.draw.cue import draw_cue
from scenes.draw.glow import draw_glow
from scenes.draw.labels import draw_hit_glyph, draw_leader, draw_pips, draw_plate, draw_shade, draw_text
from scenes.draw.lines import draw_area, draw_bar, draw_line, draw_mark
from scenes.draw.paths import Path
from scenes.draw.photos import draw_photo
from scenes.draw.table import draw_table_top
from scenes.draw.view import View

DRAW: dict[type, Callable[[Any, View], list[Path]]] = {
    board.Ball: draw_ball,
    board.Halo: draw_halo,
    board.Cue: draw_cue,
    board.Line: draw_line,
    board.Mark: draw_mark,
    board.Ring: draw_ring,
    board.Arc: draw_arc,
    board.Area: draw_area,
    board.TableTop: draw_table_top,
    board.Text: draw_text,
    board.Plate: draw_plate,
    board.Leader: draw_leader,
    board.Shade: draw_shade,
    board.Pips: draw_pips,
    board.HitGlyph: draw_hit_glyph,
    board.Bar: draw_bar,
    board.Photo: draw_photo,
    board.Glow: draw_glow,
}


def draw(shape: board.Shape, view: View) -> list[Path]:
    """The paths of a shape, the lowest first."""
    return DRAW[type(shape)](shape, view)
