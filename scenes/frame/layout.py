"""Where things stand: the layouts of the frame shapes, as pure functions of the frame's size in pixels.

Three shapes: wide (16:9 and the like), square and tall (9:16). Fractions are of the frame's height unless said.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from scenes.board import Pixel, Rect
from scenes.look.look import Look
from scenes.look.scale import Scale

FrameShape = Literal["wide", "square", "tall"]

TITLE_SAFE = 0.90
ACTION_SAFE = 0.93
"""Parts of the frame's width and height (SMPTE ST 2046-1)."""


@dataclass(frozen=True, slots=True)
class Layout:
    """The places of one frame size, in pixels.

    The figure's balls lie between `figure_top_px` and `figure_bottom_px`; a ball is `ball_px` across if it fits,
    at least `least_ball_px`, and `broken_ball_px` when the stage is broken by `band_px`. `axis_px` is the x of the
    figure's middle (`axis_on_cue`: of the cue ball),
    `dimension_x_px` that of the line which measures a whole shot. `up_along_table` turns the table view so that
    the foot is up.
    """

    shape: FrameShape
    scale: Scale
    label_zone: Rect
    pips_px: Pixel
    title_px: Pixel
    title_width_px: float
    title_lines: int
    measures_px: Pixel
    measure_width_px: float
    measures_most: int
    inset_px: Rect
    figure_top_px: float
    figure_bottom_px: float
    ball_px: float
    least_ball_px: float
    broken_ball_px: float
    axis_px: float
    axis_on_cue: bool
    dimension_x_px: float | None
    band_px: Rect
    upper_px: tuple[float, float]
    near_cue_px: float
    bed_centre_px: Pixel
    bed_px: tuple[float, float]
    table_title_px: Pixel
    heading_px: Pixel
    heading_align: str
    up_along_table: bool

    @property
    def look(self) -> Look:
        """The look that is laid out."""
        return self.scale.look

    @property
    def width_px(self) -> int:
        """The frame's width."""
        return self.scale.width_px

    @property
    def height_px(self) -> int:
        """The frame's height."""
        return self.scale.height_px

    @property
    def title_safe(self) -> Rect:
        """Where text may stand."""
        return _inner(self.scale, TITLE_SAFE)

    @property
    def action_safe(self) -> Rect:
        """Where balls and arrowheads may stand."""
        return _inner(self.scale, ACTION_SAFE)

    @property
    def title_pitch_px(self) -> float:
        """From one line of a title to the next."""
        return 0.0598 / 0.054 * self.scale.text_px("title")

    @property
    def measure_pitch_px(self) -> float:
        """From one measure to the next."""
        return 0.12 * self.scale.short_px * self.scale.gain

    @property
    def name_pitch_px(self) -> float:
        """From the baseline of a measure's name to that of its number."""
        return 0.062 * self.scale.short_px * self.scale.gain


def layout(width_px: int, height_px: int, look: Look) -> Layout:
    """The layout of a frame size in a look.

    >>> from scenes.look import LOOKS
    >>> [layout(*size, LOOKS["dusk"]).shape for size in ((1920, 1080), (1080, 1080), (1080, 1920))]
    ['wide', 'square', 'tall']
    """
    aspect = width_px / height_px
    scale = Scale(width_px, height_px, look)
    return _wide(scale) if aspect > 1.3 else _square(scale) if aspect > 0.77 else _tall(scale)


def _wide(scale: Scale) -> Layout:
    W, H = scale.width_px, scale.height_px
    margin = max(0.089 * H, 0.05 * W)
    stage_x0, stage_x1 = 0.574 * H, W - margin
    bed = min(1.36 * H, (W - 2 * margin) / 1.11)
    return Layout(
        shape="wide",
        scale=scale,
        label_zone=(stage_x0, 0.055 * H, stage_x1 - stage_x0, 0.825 * H),
        pips_px=(margin, 0.078 * H),
        title_px=(margin, 0.163 * H),
        title_width_px=0.53 * H - margin,
        title_lines=3,
        measures_px=(margin, 0.37 * H),
        measure_width_px=0.53 * H - margin,
        measures_most=2,
        inset_px=(margin, 0.67 * H, 0.37 * H, 0.2 * H),
        figure_top_px=0.185 * H,
        figure_bottom_px=0.90 * H,
        ball_px=0.193 * H,
        least_ball_px=0.075 * H,
        broken_ball_px=0.205 * H,
        axis_px=(stage_x0 + stage_x1) / 2,
        axis_on_cue=False,
        dimension_x_px=stage_x1 - 0.085 * H,
        band_px=(stage_x0, 0.595 * H, stage_x1 - stage_x0, 0.057 * H),
        upper_px=(0.165 * H, 0.587 * H),
        near_cue_px=0.80 * H,
        bed_centre_px=(W / 2, 0.543 * H),
        bed_px=(bed, bed / 2),
        table_title_px=(margin, 0.108 * H),
        heading_px=(W - margin, 0.108 * H),
        heading_align="right",
        up_along_table=False,
    )


def _square(scale: Scale) -> Layout:
    W, H = scale.width_px, scale.height_px
    g = scale.gain
    return Layout(
        shape="square",
        scale=scale,
        label_zone=(0.05 * W, 0.20 * H, 0.90 * W, 0.745 * H),
        pips_px=(0.05 * W, 0.072 * H),
        title_px=(0.05 * W, 0.145 * H),
        title_width_px=0.90 * W,
        title_lines=2,
        measures_px=(0.05 * W, (0.80 - 0.035 * (g - 1) * 5) * H),
        measure_width_px=0.40 * W,
        measures_most=1,
        inset_px=(0.68 * W, 0.775 * H, 0.27 * W, 0.145 * H),
        figure_top_px=0.27 * H,
        figure_bottom_px=0.90 * H,
        ball_px=0.155 * H,
        least_ball_px=0.085 * H,
        broken_ball_px=0.150 * H,
        axis_px=0.55 * W,
        axis_on_cue=True,
        dimension_x_px=None,
        band_px=(0.05 * W, 0.60 * H, 0.90 * W, 0.062 * H),
        upper_px=(0.28 * H, 0.595 * H),
        near_cue_px=0.77 * H,
        bed_centre_px=(0.5 * W, 0.59 * H),
        bed_px=(0.81 * W, 0.405 * W),
        table_title_px=(0.05 * W, 0.145 * H),
        heading_px=(0.05 * W, 0.215 * H),
        heading_align="left",
        up_along_table=False,
    )


def _tall(scale: Scale) -> Layout:
    W, H = scale.width_px, scale.height_px
    x0, x1 = 0.054 * W, 0.95 * W
    bed = min(0.56 * H, 1.28 * W)
    return Layout(
        shape="tall",
        scale=scale,
        label_zone=(x0, 0.205 * H, x1 - x0, 0.59 * H),
        pips_px=(x0, 0.108 * H),
        title_px=(x0, 0.152 * H),
        title_width_px=x1 - x0,
        title_lines=2,
        measures_px=(x0, 0.68 * H),
        measure_width_px=0.36 * W,
        measures_most=1,
        inset_px=(x1 - 0.125 * W - 0.01 * W, 0.645 * H, 0.125 * W, 0.1406 * H),
        figure_top_px=0.31 * H,
        figure_bottom_px=0.79 * H,
        ball_px=0.123 * H,
        least_ball_px=0.060 * H,
        broken_ball_px=0.115 * H,
        axis_px=0.537 * W,
        axis_on_cue=True,
        dimension_x_px=None,
        band_px=(x0, 0.562 * H, x1 - x0, 0.036 * H),
        upper_px=(0.315 * H, 0.559 * H),
        near_cue_px=0.69 * H,
        bed_centre_px=(0.5 * W, 0.53 * H),
        bed_px=(bed / 2, bed),
        table_title_px=(x0, 0.142 * H),
        heading_px=(x0, 0.182 * H),
        heading_align="left",
        up_along_table=True,
    )


def _inner(scale: Scale, part: float) -> Rect:
    W, H = scale.width_px, scale.height_px
    return ((1 - part) / 2 * W, (1 - part) / 2 * H, part * W, part * H)
