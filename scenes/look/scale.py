"""A look at a frame's size: its lengths in pixels."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from scenes.look.fonts import CAP_HEIGHT, width_px
from scenes.look.look import Look

SMALL_FRAME = 0.67
SMALL_FRAME_GAIN = 1.2


@dataclass(frozen=True)
class Scale:
    """A look's sizes in a frame. Below 0.67 of 1080 px, widths and text grow by a fifth to stay legible."""

    width_px: int
    height_px: int
    look: Look

    @cached_property
    def short_px(self) -> int:
        """The shorter side."""
        return min(self.width_px, self.height_px)

    @cached_property
    def k(self) -> float:
        """Short side over 1080: the factor of distances.

        >>> from scenes.look import LOOKS
        >>> Scale(1920, 1080, LOOKS["dusk"]).k
        1.0
        """
        return self.short_px / 1080

    @cached_property
    def gain(self) -> float:
        """Factor of widths and text beyond k: 1, or 1.2 in a small frame."""
        return SMALL_FRAME_GAIN if self.k < SMALL_FRAME else 1.0

    def px(self, length: float) -> float:
        """A distance given for 1080 px."""
        return length * self.k

    def stroke_px(self, width: float) -> float:
        """A width given for 1080 px.

        >>> from scenes.look import LOOKS
        >>> Scale(854, 480, LOOKS["dusk"]).stroke_px(9)
        4.8
        """
        return width * self.k * self.gain

    def line_px(self, width: float, view: str) -> float:
        """A line's width in a pane of this view, given for a 1080 px frame of the plan view."""
        factor, least = self.look.view_width.get(view, 1.0), self.look.view_least_px.get(view, 0.0)
        return self.stroke_px(max(width * factor, min(width, least)))

    def text_px(self, style: str) -> float:
        """The size of a type style."""
        return self.look.types[style].size * self.short_px * self.gain

    def text_width_px(self, text: str, style: str) -> float:
        """The advance of a line of text in a type style."""
        return width_px(text, self.look.types[style].face, self.text_px(style))

    def pips_px(self, count: int, now: int) -> list[tuple[float, float]]:
        """Where each step's pip begins and how wide it is; the present one is long."""
        widths = [self.px(44.0 if i == now else 16.0) for i in range(count)]
        return [(sum(widths[:i]) + i * self.px(12.0), width) for i, width in enumerate(widths)]


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


def plate_sizes(scale: Scale) -> PlateSizes:
    """Sizes of a plate: height 1.62 of its text, padding 18, a line's sample 56 wide before the text, a mark's 30.

    `baseline_px` is the baseline below the plate's top edge: capitals stand in the middle.
    """
    text = scale.text_px("label")
    height = 1.62 * text
    s = scale.stroke_px
    return PlateSizes(height, s(18), s(56), s(18), (height + CAP_HEIGHT * text) / 2, s(9), s(2.5), s(30))


def sample_px(scale: Scale, sample: bool | str) -> float:
    """Length of a plate's sample: of a line (or True), or of a mark."""
    sizes = plate_sizes(scale)
    return sizes.mark_px if isinstance(sample, str) and sample in scale.look.marks else sizes.sample_px


def plate_width_px(text: str, scale: Scale, sample: bool | str | None, second: str = "") -> float:
    """How wide a plate must be for its text, with or without a sample: of a line (or True), or of a mark."""
    sizes = plate_sizes(scale)
    lead = sample_px(scale, sample) + sizes.sample_gap_px if sample else 0.0
    widest = max(scale.text_width_px(text, "label"), scale.text_width_px(second, "small") if second else 0.0)
    return 2 * sizes.padding_px + lead + widest


def second_px(scale: Scale) -> float:
    """How much higher a plate's second line makes it."""
    return 1.25 * scale.text_px("small")
