"""The look: colours, line styles, type styles, sizes and timings. Plain values, no Manim.

Sizes are given for a frame whose short side is 1080 px; `Scale` turns them into the pixels of a frame.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from scenes.look.fonts import CAP_HEIGHT, Face, width_px


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
    """A kind of text: size as a fraction of the frame's short side, face and colour."""

    size: float
    face: Face
    colour: str = "#FFFFFF"


@dataclass(frozen=True, slots=True)
class Theme:
    """All the colours, lines and types of a look."""

    cloth_centre: str = "#1A4646"
    cloth_edge: str = "#102F30"
    cloth_inset: str = "#24595B"
    cushion: str = "#0C2627"
    surround: str = "#0B1B1C"
    rail: str = "#2B2420"
    pocket: str = "#030607"
    sight: str = "#8F8A82"
    ink: str = "#04110F"
    plate: str = "#061715"
    plate_opacity: float = 0.88
    white: str = "#FFFFFF"
    secondary: str = "#B4CCC6"
    cue_ball: str = "#F5F0E3"
    object_ball: str = "#DF6A33"
    object_rim: str = "#FFE9DC"
    other_ball: str = "#7E938F"
    casing_opacity: float = 0.8
    old_strength: float = 0.66
    faint_px: float = 5.0
    faint_opacity: float = 0.7
    lines: Mapping[str, LineStyle] = field(default_factory=dict)
    types: Mapping[str, TypeStyle] = field(default_factory=dict)


_AIM = LineStyle("#FFFFFF", 8)
_THIN = LineStyle("#FFFFFF", 3, casing_px=4)

LINES: dict[str, LineStyle] = {
    "aim_line": _AIM,
    "target_line": LineStyle("#FFC13D", 7, (5, 2.6)),
    "contact_line": LineStyle("#63CCFF", 7, (3.6, 2.3, 0, 2.3)),
    "object_ball_line": LineStyle("#FF9C86", 7, (1.3, 2.3)),
    "line_of_centres": LineStyle("#B493FF", 8, (0, 2.4)),
    "tangent_line": LineStyle("#B5EE9C", 6, (4, 2.2, 0, 2.2, 0, 2.2)),
    "cue_ball_after": LineStyle("#FFFFFF", 6, (2, 6)),
    "error_line": LineStyle("#FF7FB5", 6, (), 7),
    # a sight line lies where the eye looks, not where a ball goes: thin, of long strokes
    "sight_line": LineStyle("#FFFFFF", 4, (9, 3)),
    "edge_line": LineStyle("#FFFFFF", 3, (3, 4)),
    "thin_line": _THIN,
}
"""Role to style. Every kind of line keeps its colour and its pattern in every clip."""

_LABEL = Face(560, 20)
_NUMBER = Face(640, 28, True)

TYPES: dict[str, TypeStyle] = {
    "title": TypeStyle(0.054, Face(660, 28)),
    "heading": TypeStyle(0.044, Face(600, 28)),
    "label": TypeStyle(0.0355, _LABEL),
    "small": TypeStyle(0.0350, Face(500, 20), "#B4CCC6"),
    "measure_name": TypeStyle(0.0350, Face(500, 20), "#B4CCC6"),
    "measure": TypeStyle(0.061, _NUMBER),
    "unit": TypeStyle(0.061 * 0.60, Face(500, 20), "#B4CCC6"),
    "tick": TypeStyle(0.0350, Face(560, 20, True)),
    "break": TypeStyle(0.0370, Face(600, 20)),
    "card_over": TypeStyle(0.044, Face(500, 28), "#B4CCC6"),
    "card_title": TypeStyle(0.122, Face(680, 32)),
    "card_title_long": TypeStyle(0.084, Face(680, 32)),
    "card_text": TypeStyle(0.042, Face(500, 24)),
    "table_head": TypeStyle(0.0350, Face(500, 20), "#B4CCC6"),
    "table_cell": TypeStyle(0.052, _NUMBER),
}
"""Name to style. The smallest has capitals of 2.5 % of the short side."""

THEMES: dict[str, Theme] = {"dusk": Theme(lines=LINES, types=TYPES)}

VIEW_WIDTH = {"plan": 1.0, "table": 0.75, "eye": 0.75, "face": 0.75, "inset": 0.5}
"""Line widths by the pane's view, as a factor; never under VIEW_LEAST_PX for a 1080 px frame."""
VIEW_LEAST_PX = {"plan": 0.0, "table": 4.0, "eye": 4.0, "face": 4.0, "inset": 3.5}


@dataclass(frozen=True, slots=True)
class Timing:
    """Seconds of the house's motion."""

    fade_s: float = 0.25
    rest_s: float = 0.2
    draw_s: float = 0.6
    draw_per_height_s: float = 0.5
    hold_s: float = 1.2
    dim_s: float = 0.4
    camera_s: float = 1.4
    camera_rest_s: float = 0.6
    contact_s: float = 0.5
    end_s: float = 1.5


TIMING = Timing()

SMALL_FRAME = 0.67
SMALL_FRAME_GAIN = 1.2


@dataclass(frozen=True, slots=True)
class Scale:
    """Sizes of a frame. Below 0.67 of 1080 px, widths and text grow by a fifth so that they stay legible."""

    width_px: int
    height_px: int

    @property
    def short_px(self) -> int:
        """The shorter side."""
        return min(self.width_px, self.height_px)

    @property
    def k(self) -> float:
        """Short side over 1080: the factor of distances.

        >>> Scale(1920, 1080).k
        1.0
        """
        return self.short_px / 1080

    @property
    def gain(self) -> float:
        """Factor of widths and text beyond k: 1, or 1.2 in a small frame."""
        return SMALL_FRAME_GAIN if self.k < SMALL_FRAME else 1.0

    def px(self, length: float) -> float:
        """A distance given for 1080 px."""
        return length * self.k

    def stroke_px(self, width: float) -> float:
        """A width given for 1080 px.

        >>> Scale(854, 480).stroke_px(9)
        4.8
        """
        return width * self.k * self.gain

    def text_px(self, style: TypeStyle) -> float:
        """The size of a type style."""
        return style.size * self.short_px * self.gain

    def pips_px(self, count: int, now: int) -> list[tuple[float, float]]:
        """Where each step's pip begins and how wide it is; the present one is long."""
        widths = [self.px(44.0 if i == now else 16.0) for i in range(count)]
        return [(sum(widths[:i]) + i * self.px(12.0), width) for i, width in enumerate(widths)]

    def text_width_px(self, text: str, style: TypeStyle) -> float:
        """The advance of a line of text in a type style."""
        return width_px(text, style.face, self.text_px(style))


@dataclass(frozen=True, slots=True)
class PlateSizes:
    """The parts of a label's plate in px, for one frame size."""

    height_px: float
    padding_px: float
    sample_px: float
    sample_gap_px: float
    baseline_px: float
    radius_px: float
    outline_px: float
    mark_px: float

    def sample_lead_px(self, sample: bool | str) -> float:
        """From a plate's padding to its text, with the sample of a line (or True), or of a mark."""
        is_mark = isinstance(sample, str) and sample not in LINES
        return (self.mark_px if is_mark else self.sample_px) + self.sample_gap_px


def plate_sizes(scale: Scale, style: TypeStyle = TYPES["label"]) -> PlateSizes:
    """Sizes of a plate: height 1.62 of its text, padding 18, a line's sample 56 wide before the text, a mark's 30.

    `baseline_px` is the baseline below the plate's top edge: capitals stand in the middle.
    """
    text = scale.text_px(style)
    height = 1.62 * text
    s = scale.stroke_px
    return PlateSizes(height, s(18), s(56), s(18), (height + CAP_HEIGHT * text) / 2, s(9), s(2.5), s(30))


def plate_width_px(text: str, scale: Scale, sample: bool | str | None, style: TypeStyle = TYPES["label"]) -> float:
    """How wide a plate must be for its text, with or without a sample: of a line (or True), or of a mark."""
    sizes = plate_sizes(scale, style)
    lead = sizes.sample_lead_px(sample) if sample else 0.0
    return 2 * sizes.padding_px + lead + scale.text_width_px(text, style)
