"""What a kind of clip is: what multiplies it, what may be set, and the functions that outline and draw it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from scenes.board import Board, Element, Photo
from scenes.board.brief import Brief, OutlineStep, Output, Subject
from scenes.board.cutting import paced, without
from scenes.board.resting import looked_at_again
from scenes.board.settings import Settings
from scenes.figure.others import with_balls
from scenes.frame.layout import Layout, layout
from scenes.kinds.lower_third import with_lower_third
from scenes.look.look import Look


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of clip.

    `shows` says in one line what is seen. `axes` of a lesson multiply it; those that it `spans` are shown in one
    clip, as its subject's companions, from `least` to `most` values of each. `settings` is the class of what only
    this kind knows. A kind that `is_straight` shows straight shots, whatever the lesson's cuts, and one that
    `needs_cut` shows none; one that `is_secret` asks before it tells, so that nobody shows its end beforehand; a
    card (`is_card`) says a text of its own. `texts` are the keys of the texts that a lesson may write on it, and
    with `is_named_by_title` the title is part of the clip's name. A kind that `is_over_cuts` shows its method at
    every cut, whatever the shot's own. One that `is_filmed` lies over footage: its shot, size, rate and length
    are the footage's, its clips have alpha. `in_frame` gives its steps what is told only of pictures laid out
    like this one.
    """

    name: str
    shows: str
    outline: Callable[[Subject], tuple[OutlineStep, ...]]
    draw: Callable[[Brief], Board]
    axes: tuple[str, ...] = ()
    spans: tuple[str, ...] = ()
    least: int = 1
    most: int | None = None
    settings: type[Settings] = Settings
    texts: tuple[str, ...] = ()
    is_named_by_title: bool = False
    is_straight: bool = False
    needs_cut: bool = False
    is_secret: bool = False
    is_over_cuts: bool = False
    is_filmed: bool = False
    is_film: bool = False
    in_frame: Callable[[tuple[OutlineStep, ...], Subject, Layout], tuple[OutlineStep, ...]] | None = None

    def outlined(self, subject: Subject, output: Output, look: Look) -> tuple[OutlineStep, ...]:
        """The steps of a clip of this size, as they are told of its picture."""
        steps = self.outline(subject)
        if self.in_frame is None:
            return steps
        return self.in_frame(steps, subject, layout(output.width_px, output.height_px, look))

    def board(self, brief: Brief) -> Board:
        """The clip that a brief asks for: drawn as the kind does it, then cut and paced; it never rests long."""
        paces = {step.name: step.pace for step in brief.steps if step.pace != 1}
        if not brief.skipped and not paces:
            return self._furnished(self.draw(brief), brief)
        asked = {step.name: step.frames for step in brief.steps if step.name in paces}
        steps = (
            replace(step, frames=max(round(step.frames * paces[step.name]), 1)) if step.name in paces else step
            for step in brief.steps
        )
        board = paced(self.draw(replace(brief, steps=tuple(steps)).whole()), asked)
        board = without(board, frozenset(step.name for _, step in brief.skipped))
        if paces:
            from scenes.kinds.told_pace import with_pace  # looks at the board as the tests do, which takes a while

            board = with_pace(board, brief)
        return self._furnished(board.with_handles(brief.handle_frames), brief)

    def _furnished(self, board: Board, brief: Brief) -> Board:
        """The board without long rests, and with what stands in clips of every kind."""
        if not (self.is_film or self.is_filmed):  # those move by themselves
            board = looked_at_again(board, brief)
        return with_lower_third(self.with_logo(with_balls(board, brief.subject)), brief.lower_third)

    def shows_logo(self, look: Look) -> bool:
        """True where a look's logo stands in clips of this kind."""
        return look.logo is not None and not (self.is_film or self.is_filmed) and (self.is_card or look.in_corner)

    def with_logo(self, board: Board) -> Board:
        """The board with its look's logo: on a card under the words, else small beside all that is read."""
        logo = board.look.logo
        if logo is None or not self.shows_logo(board.look):
            return board
        W, H = board.width_px, board.height_px
        short = min(W, H)
        high, most = (0.10 * short, 0.4 * W) if self.is_card else (0.034 * short, 0.2 * W)
        scale = min(high / logo.height_px, most / logo.width_px)
        wide, high = logo.width_px * scale, logo.height_px * scale
        at = (0.05 * W, 0.95 * H - high) if self.is_card else (W - wide - 0.008 * short, H - high - 0.008 * short)
        shape = Photo(logo.file, logo.sha256, (*at, wide, high))
        return replace(board, elements=(*board.elements, Element("logo", "logo", shape, layer="text")))

    @property
    def is_card(self) -> bool:
        """True for a kind on which a lesson may write."""
        return bool(self.texts)
