"""A look: the colours, lines, marks and types that a clip is drawn with, as plain values passed on. No Manim.

Sizes are given for a frame whose short side is 1080 px; `Scale` turns them into the pixels of a frame.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import ceil
from typing import Literal, get_args

from scenes.look.fonts import Face

Layer = Literal[
    "table", "shadow", "area", "line_under", "ball", "ghost", "line", "bar", "mark", "break", "inset", "leader",
    "label", "text",
]  # fmt: skip
"""What may lie over what, by name."""


@dataclass(frozen=True, slots=True)
class LineStyle:
    """A kind of line: colour, core width in px, dash pattern in widths.

    `dash` alternates drawn and blank lengths, measured between the centres of the round caps: a drawn length of 0
    is a dot, and a solid line has no dash. `barbs`: distance of the barbs in widths, 0 for none.
    """

    colour: str
    width_px: float
    dash: tuple[float, ...] = ()
    barbs: float = 0.0
    casing_px: float = 6.0


@dataclass(frozen=True, slots=True)
class TypeStyle:
    """A kind of text: size as a fraction of the frame's short side, face, and the look's name of its colour."""

    size: float
    face: Face
    colour: Literal["front", "secondary"] = "front"


@dataclass(frozen=True, slots=True)
class MarkPart:
    """A disc, a cross or a diamond about a mark's point, and the look's name of its colour (or a line's role)."""

    shape: Literal["disc", "cross", "diamond", "saltire"]
    radius_px: float
    colour: str


@dataclass(frozen=True, slots=True)
class MarkStyle:
    """A kind of mark: its parts, the lowest first. `hollow` is the colour of its ring where it cannot be seen."""

    parts: tuple[MarkPart, ...]
    hollow: str = "front"

    @property
    def reach_px(self) -> int:
        """How far it reaches from its point, rounded up."""
        return ceil(max(part.radius_px for part in self.parts))


def discs(*parts: tuple[float, str]) -> tuple[MarkPart, ...]:
    """Discs over each other, the largest first: radius and colour."""
    return tuple(MarkPart("disc", radius, colour) for radius, colour in parts)


@dataclass(frozen=True, slots=True)
class Surfaces:
    """What the rendered table is made of, as the player's eye sees it under its lamp.

    The cloth below the lamp, far from it, and where an endless one ends; what lies around the table; the lamp's
    light and the room that a ball mirrors, low and high; shadows on the cloth; rails, sights and the parts of
    a pocket; the parts of a cue. `thrown_back`: how much of its colour the cloth throws on a ball from below.
    `weave_depth`: how much its threads show close by. `fill_light`: how much of a bright room's light reaches what
    is turned away from the lamp. `grain_depth`: how much the grain of the rails' wood shows.
    """

    cloth_near: str
    cloth_far: str
    horizon: str
    surround: str
    lamp_light: str
    room_low: str
    room_high: str
    cloth_shade: str
    rail: str
    sight: str
    hole: str
    pocket_rim: str
    throat: str
    drop: str
    cue_tip: str
    cue_ferrule: str
    cue_shaft: str
    cue_butt: str
    thrown_back: float
    weave_depth: float = 0.22
    fill_light: float = 0.0
    grain_depth: float = 0.30


def rgb(colour: str) -> tuple[float, float, float]:
    """Red, green and blue, 0 to 1, of '#RRGGBB'.

    >>> rgb("#FF0033")
    (1.0, 0.0, 0.2)
    """
    red, green, blue = bytes.fromhex(colour[1:])
    return red / 255, green / 255, blue / 255


def mixed(over: str, under: str, opacity: float) -> str:
    """A colour of some opacity over another: sRGB values mix, as Cairo mixes them.

    >>> mixed("#FFFFFF", "#000000", 0.5)
    '#808080'
    """
    pairs = zip(rgb(over), rgb(under), strict=True)
    return "#" + "".join(f"{round(255 * (opacity * a + (1 - opacity) * b)):02X}" for a, b in pairs)


@dataclass(frozen=True, slots=True)
class Logo:
    """A picture that stands on cards: its file and digest, and its size as it is seen."""

    file: str
    sha256: str
    width_px: float
    height_px: float


@dataclass(frozen=True, slots=True)
class Look:
    """All that a clip is drawn with. Colours are '#RRGGBB'.

    `front` is what text, ghost balls and frames are drawn with, `casing` what lies under lines and in marks, and
    `ink` a front-coloured line where it crosses a ball. `lines` by role, `marks` by kind, `types` by name.
    `view_width` makes lines thinner by the pane's view, never under `view_least_px`. `layers`: the lowest first.
    `logo` stands on cards, and with `in_corner` small in every other clip. `scrim_held`: the part of the veil
    under a picture's words that is full, before it fades.
    """

    cloth: str
    cloth_inset: str
    cushion: str
    surround: str
    rail: str
    pocket: str
    sight: str
    ink: str
    casing: str
    plate: str
    front: str
    secondary: str
    cue_ball: str
    object_ball: str
    object_rim: str
    other_ball: str
    surfaces: Surfaces
    lines: Mapping[str, LineStyle] = field(hash=False)
    marks: Mapping[str, MarkStyle] = field(hash=False)
    types: Mapping[str, TypeStyle] = field(hash=False)
    cue_rim: str | None = None
    ghost_opacity: float = 0.13
    shadow_opacity: float = 0.5
    plate_opacity: float = 0.88
    scrim_opacity: float = 0.86
    scrim_held: float = 0.0
    casing_opacity: float = 0.8
    old_strength: float = 0.66
    old_label: float = 0.8
    faint_px: float = 5.0
    faint_opacity: float = 0.7
    view_width: Mapping[str, float] = field(
        default_factory=lambda: {
            "plan": 1.0,
            "front": 0.75,
            "table": 0.75,
            "eye": 0.75,
            "face": 0.75,
            "inset": 0.5,
        },
        hash=False,
    )
    view_least_px: Mapping[str, float] = field(
        default_factory=lambda: {"plan": 0.0, "front": 4.0, "table": 4.0, "eye": 4.0, "face": 4.0, "inset": 3.5},
        hash=False,
    )
    layers: tuple[Layer, ...] = get_args(Layer)
    logo: Logo | None = None
    in_corner: bool = False

    def rim(self, look: str) -> str | None:
        """The colour of a ball's rim by what it is; None for a ball that stands out without one."""
        return {"cue": self.cue_rim, "object": self.object_rim}.get(look)

    def ball(self, look: str) -> str:
        """The colour of a ball by what it is: 'cue', 'object', 'other' or 'ghost'."""
        colours = {"cue": self.cue_ball, "object": self.object_ball, "other": self.other_ball, "ghost": self.front}
        return colours[look]

    def line(self, role: str) -> LineStyle:
        """The style of a role's line; a role without one of its own is a thin line."""
        return self.lines.get(role, self.lines["thin_line"])

    def colour(self, name: str) -> str:
        """A colour by its name here, or that of a role's line."""
        return self.lines[name].colour if name in self.lines else str(getattr(self, name))
