"""Other balls on the table, in every picture of it, and the object ball as the lesson paints it."""

from __future__ import annotations

from dataclasses import replace

from scenes.board import Ball, Board, Element, constant
from scenes.board.brief import Subject

SHOWS_A_CARD = frozenset({"card", "chart", "figure"})
"""Panes that show no table, by their ids."""


def with_balls(board: Board, subject: Subject) -> Board:
    """The board with the subject's other balls in its panes, under all that is drawn, and its object ball
    and cue ball painted."""
    if not subject.others and subject.object_paint is None and not subject.has_marks:
        return board
    paint = subject.object_paint

    def painted(element: Element) -> Element:
        ball = element.shape
        if isinstance(ball, Ball) and ball.look == "cue" and subject.has_marks:
            return replace(element, shape=replace(ball, marks=True))
        if paint is None or not isinstance(ball, Ball) or ball.look != "object":
            return element
        return replace(element, shape=replace(ball, colour=paint.colour, number=paint.number))

    panes = tuple(p.id for p in board.panes if p.background in ("cloth", "plate") and p.id not in SHOWS_A_CARD)
    others: tuple[Element, ...] = ()
    if subject.shot is not None and panes:
        R = float(subject.shot.radius_mm)
        others = tuple(
            Element(
                f"other.{n}",
                "other_ball",
                Ball(one.centre_mm, R, "other", one.paint.colour, one.paint.number),
                panes,
                "ball",
                constant(1.0),
            )
            for n, one in enumerate(subject.others)
        )
    return replace(board, elements=(*map(painted, board.elements), *others))
