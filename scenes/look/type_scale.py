"""The type scale: name to style, the same in every built-in look."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from scenes.look.fonts import Face, FontFile
from scenes.look.look import TypeStyle

_LABEL = Face(560, 20)
_NUMBER = Face(640, 28, True)
_SMALL = Face(500, 20)

TYPES: dict[str, TypeStyle] = {
    "title": TypeStyle(0.054, Face(660, 28)),
    "heading": TypeStyle(0.044, Face(600, 28)),
    "label": TypeStyle(0.0355, _LABEL),
    "small": TypeStyle(0.0350, _SMALL, "secondary"),
    "measure_name": TypeStyle(0.0350, _SMALL, "secondary"),
    "measure": TypeStyle(0.061, _NUMBER),
    "unit": TypeStyle(0.061 * 0.60, _SMALL, "secondary"),
    "tick": TypeStyle(0.0350, Face(560, 20, True)),
    "break": TypeStyle(0.0370, Face(600, 20)),
    "card_over": TypeStyle(0.044, Face(500, 28), "secondary"),
    "card_title": TypeStyle(0.122, Face(680, 32)),
    "card_title_long": TypeStyle(0.084, Face(680, 32)),
    "card_text": TypeStyle(0.042, Face(500, 24)),
    "table_head": TypeStyle(0.0350, _SMALL, "secondary"),
    "table_cell": TypeStyle(0.052, _NUMBER),
}
"""The smallest has capitals of 2.5 % of the short side."""

GROUPS = {
    "titles": ("title", "heading", "card_title", "card_title_long"),
    "numbers": ("measure", "table_cell"),
    "words": (
        "label", "small", "measure_name", "unit", "tick", "break", "card_over", "card_text", "table_head",
    ),
}  # fmt: skip
"""What a look of one's own sets together: styles by name."""


@dataclass(frozen=True, slots=True)
class Setting:
    """How a group of styles is set in place of the built-in way: font, weight, and a factor of the size."""

    font: FontFile | None = None
    weight: int | None = None
    size: float = 1.0


def set_as(types: Mapping[str, TypeStyle], settings: Mapping[str, Setting]) -> dict[str, TypeStyle]:
    """The type scale with groups of it set otherwise."""
    out = dict(types)
    for group, told in settings.items():
        for name in GROUPS[group]:
            style = out[name]
            face = replace(style.face, file=told.font, weight=told.weight or style.face.weight)
            out[name] = replace(style, face=face, size=style.size * told.size)
    return out
