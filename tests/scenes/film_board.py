"""A small board with everything that moves: camera, ball, line, labels fading, a second pane with its own clip."""

from __future__ import annotations

import math

from scenes.board import (
    Ball,
    Board,
    Element,
    Line,
    Move,
    Pane,
    PlanCamera,
    Plate,
    StepSpan,
    Text,
    Track,
    constant,
)

CUE, OBJECT = (-100.0, -60.0, 28.6), (420.0, 120.0, 28.6)


def small_board(width_px: int = 320, height_px: int = 180, rate: tuple[int, int] = (10, 1)) -> Board:
    """Ten seconds, half of them held."""
    u = height_px / 1080

    def at(seconds: float) -> int:
        return round(seconds * rate[0] / rate[1])

    camera = PlanCamera(
        Track((0, 0, 0, math.log(0.6 * u)), (Move(at(1), at(2), (300, 50, 0.3, math.log(2.2 * u)), "quintic"),))
    )
    main = Pane("main", (0, 0, width_px, height_px), "plan", camera, "cloth")
    inset = Pane(
        "inset",
        (1400 * u, 700 * u, 400 * u, 300 * u),
        "plan",
        PlanCamera(constant(-100, -60, 0.3, math.log(4 * u))),
        "cloth",
        Track((0,), (Move(at(7), at(7.5), (1,)),)),
    )
    elements = (
        Element(
            "cue",
            "cue_ball",
            Ball(CUE, 28.575, "cue"),
            ("main", "inset"),
            "ball",
            offset_mm=Track((0, 0, 0), (Move(at(8), at(9), (300, 40, 0), "linear"),)),
        ),
        Element("object", "object_ball", Ball(OBJECT, 28.575, "object"), ("main",), "ball"),
        Element(
            "ghost",
            "ghost_ball",
            Ball((370.0, 100.0, 28.6), 28.575, "ghost"),
            ("main",),
            "ghost",
            opacity=Track((0,), (Move(at(3), at(3.5), (1,)),)),
        ),
        Element(
            "aim",
            "aim_line",
            Line((CUE, OBJECT), "aim_line"),
            ("main",),
            "line",
            drawn=Track((0,), (Move(at(5), at(6), (1,)),)),
        ),
        Element(
            "label",
            "label",
            Plate("Aim line", (1200 * u, 200 * u, 260 * u, 56 * u), "aim_line"),
            (),
            "label",
            opacity=Track((0,), (Move(at(5), at(5.4), (1,)),)),
            fresh=Track((1,), (Move(at(6.5), at(6.8), (0,)),)),
        ),
        Element("heading", "heading", Text("Cut 30.0° left", (120 * u, 120 * u), "heading"), (), "text"),
    )
    steps = (StepSpan("see", 0, at(5), "Two balls."), StepSpan("aim", at(5), at(10), "The aim line."))
    return Board(width_px, height_px, rate, at(10), (main, inset), elements, steps)
