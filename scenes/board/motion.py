"""Writing down motion: elements with the moves of what changes about them, and steps cut into spans of frames."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from scenes.board import Board, Easing, Element, Move, Pane, Shape, StepSpan, Track, Values
from scenes.board import Span as Span
from scenes.board.brief import Brief
from scenes.board.pointing import pointed
from scenes.board.timing import frames_of as frames_of
from scenes.board.timing import in_turn as in_turn
from scenes.look.look import Layer


@dataclass(slots=True)
class Sheet:
    """The elements of a clip while they are being written down; `elements` gives the finished ones.

    A move that begins before the last one of its track has ended begins when that has ended.
    """

    _elements: dict[str, Element] = field(default_factory=dict)
    _moves: dict[tuple[str, str], list[Move]] = field(default_factory=dict)
    _pointed: list[tuple[str, Span]] = field(default_factory=list)

    def put(
        self,
        id: str,
        shape: Shape,
        layer: Layer,
        role: str = "",
        panes: tuple[str, ...] = (),
        opacity: float = 0.0,
        drawn: float = 1.0,
        strength: float = 1.0,
        fresh: float = 0.0,
        names: str | None = None,
    ) -> str:
        """Add an element, hidden unless said otherwise; its id."""
        if id in self._elements:
            raise ValueError(f"two elements are called {id}")
        self._elements[id] = Element(
            id,
            role or id,
            shape,
            panes,
            layer,
            opacity=Track((opacity,)),
            drawn=Track((drawn,)),
            strength=Track((strength,)),
            fresh=Track((fresh,)),
            names=names,
        )
        return id

    def move(self, id: str, what: str, span: Span, *to: float, easing: Easing = "cubic") -> None:
        """Change one of an element's tracks to new values over a span of at least one frame."""
        moves = self._moves.setdefault((id, what), [])
        first, end = span
        if moves:
            first = max(first, moves[-1].end_frame)
        moves.append(Move(first, max(end, first + 1), tuple(to), easing))

    def follow(self, id: str, what: str, first_frame: int, values: Sequence[Values]) -> None:
        """Give one of an element's tracks a value for each frame from one on. ValueError where it still moves."""
        moves = self._moves.setdefault((id, what), [])
        if moves and moves[-1].end_frame > first_frame:
            raise ValueError(f"{id} still moves at frame {first_frame}")
        if values:
            moves.append(Move(first_frame, first_frame + len(values), values[-1], "linear", tuple(values)))

    def show(self, id: str, span: Span) -> None:
        """Fade in."""
        self.move(id, "opacity", span, 1.0)

    def hide(self, id: str, span: Span) -> None:
        """Fade out."""
        self.move(id, "opacity", span, 0.0)

    def point(self, id: str, span: Span) -> None:
        """Point at an element while its words are spoken, where no clause can name it."""
        self._pointed.append((id, span))

    def shape(self, id: str) -> Shape:
        """The shape of an element."""
        return self._elements[id].shape

    def ids(self) -> tuple[str, ...]:
        """All elements in the order in which they were put down."""
        return tuple(self._elements)

    def role(self, id: str) -> str:
        """The role of an element."""
        return self._elements[id].role

    def panes(self, id: str) -> tuple[str, ...]:
        """The panes of an element."""
        return self._elements[id].panes

    def is_shown_at_end(self, id: str) -> bool:
        """True when the element is visible after all its moves so far."""
        return self.end_of(id, "opacity")[0] > 0

    def end_of(self, id: str, what: str) -> Values:
        """An element's values after all its moves so far."""
        moves = self._moves.get((id, what))
        track: Track = getattr(self._elements[id], what)
        return moves[-1].to if moves else track.start

    def moves(self, id: str, what: str) -> tuple[Move, ...]:
        """All changes of one of an element's tracks so far."""
        return tuple(self._moves.get((id, what), ()))

    def elements(self) -> tuple[Element, ...]:
        """The finished elements."""
        changes: dict[str, dict[str, Any]] = {}
        for (id, what), moves in self._moves.items():
            start: Track = getattr(self._elements[id], what)
            changes.setdefault(id, {})[what] = replace(start, moves=tuple(moves))
        return tuple(replace(e, **changes[id]) if id in changes else e for id, e in self._elements.items())

    def board(self, brief: Brief, panes: tuple[Pane, ...]) -> Board:
        """The finished clip: these elements in these panes, with the brief's steps and handles."""
        steps = tuple(
            StepSpan(step.name, first, end, step.narration)
            for step, (first, end) in zip(brief.steps, brief.spans, strict=True)
        )
        size = brief.output.width_px, brief.output.height_px
        board = Board(*size, brief.output.rate, brief.frames, panes, self.elements(), steps, brief.look)
        return pointed(board, brief, self._pointed).with_handles(brief.handle_frames)
