"""A brief becomes a finished file: board, stage, film."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from manim import logger, tempconfig

from scenes.board import Board
from scenes.board.brief import Brief, Output
from scenes.files import part_path, place
from scenes.film.film import Film, FilmRenderer
from scenes.film.forms import FORMS, Form
from scenes.film.masters import MasterFilm
from scenes.film.stage import BoardScene, frame_config
from scenes.kinds import CLIP_KINDS


@dataclass(frozen=True, slots=True)
class Written:
    """A written clip: its board, and the size in bytes and SHA-256 of its file."""

    board: Board
    size: int
    sha256: str


def film_clip(
    brief: Brief,
    path: Path,
    form: str = "h264",
    on_frames: Callable[[int], None] | None = None,
    is_aside: bool = False,
) -> Written:
    """Draw the clip that a brief asks for and write it to `path`; nothing is left there when that fails.

    `on_frames` is told how many frames are done, now and then. `is_aside` encodes beside the drawing, for a
    processor that would be idle; the bytes are the same. Raises ValueError when a brief cannot be drawn, and
    OSError when the file cannot be written.
    """
    board = CLIP_KINDS[brief.subject.kind].board(brief)
    if FORMS[form].alpha:
        board = over_footage(board)
    output = Output(board.width_px, board.height_px, board.rate, brief.output.timecode)
    try:
        perform(board, lambda: open_film(path, output, FORMS[form], on_frames, board, is_aside), FORMS[form].alpha)
        with open(path, "rb+") as file:
            os.fsync(file.fileno())
            return Written(board, path.stat().st_size, hashlib.file_digest(file, "sha256").hexdigest())
    except BaseException:
        path.unlink(missing_ok=True)
        raise


FALSE_OVER_FOOTAGE = frozenset({"scrim", "heading", "note"})
"""A dark veil, the shot's cut and distance, from where the perspective is true: they tell of our own picture."""


def over_footage(board: Board) -> Board:
    """The board without what is false when it lies over a filmed shot."""
    return replace(board, elements=tuple(e for e in board.elements if e.id not in FALSE_OVER_FOOTAGE))


def render_clip(brief: Brief, path: Path, form: str = "h264") -> Written:
    """As `film_clip`, under the file's name only when it is whole."""
    part = part_path(path)
    written = film_clip(brief, part, form)
    place(part, path)
    return written


def open_film(
    path: Path,
    output: Output,
    form: Form,
    on_frames: Callable[[int], None] | None,
    board: Board,
    is_aside: bool = False,
) -> Film | MasterFilm:
    """The film that writes a form."""
    if form.is_master:
        return MasterFilm(path, output, form, on_frames, board.steps)
    return Film(path, output, form, on_frames, board.steps, is_aside)


def perform(board: Board, open_film: Callable[[], Film | MasterFilm], is_clear: bool = False) -> None:
    """Perform a board with Manim and film it; every frame of the board is filmed, or ValueError is raised.

    `is_clear` leaves out cloth and plate.
    """
    rate = Fraction(*board.rate)
    logger.setLevel("WARNING")
    with tempconfig({**frame_config(board), "progress_bar": "none"}):
        renderer = FilmRenderer(open_film, rate)
        BoardScene(board, renderer=renderer, is_clear=is_clear, is_inked=False).render()
    filmed = renderer.file_writer.film.frames
    if filmed != board.frames:
        raise ValueError(f"{filmed} frames were filmed of a board of {board.frames}")
