"""Clips with alpha are read with it, whatever codec they are of."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from lessons.deliver.pictures import read_frame
from lessons.rendering.audit import pictures
from lessons.rendering.decoded import decoded
from scenes.board.brief import Output
from scenes.film.forms import FORMS
from scenes.film.masters import MasterFilm


def drawn(folder: Path, form: str) -> Path:
    """Five pictures of a white square that moves over nothing."""
    path = folder / f"clip{FORMS[form].extension}"
    film = MasterFilm(path, Output(128, 96, (25, 1)), FORMS[form])
    for k in range(5):
        picture = np.zeros((96, 128, 4), np.uint8)
        picture[20:60, 20 + 8 * k : 60 + 8 * k] = 255
        film.show([((0, 0, 128, 96), picture)])
    film.close()
    return path


@pytest.mark.parametrize("form", ["prores-alpha", "png-alpha", "vp9-alpha"])
def test_alpha_is_read_from_every_form(form: str, tmp_path: Path) -> None:
    path = drawn(tmp_path, form)
    with av.open(str(path)) as container:
        frames = list(decoded(container, container.streams.video[0]))
    assert len(frames) == 5
    for k, frame in enumerate(frames):
        alpha = frame.reformat(format="rgba").to_ndarray()[..., 3]
        assert alpha[40, 40 + 8 * k] > 240
        assert alpha[40, 10] < 10
        assert alpha[80, 64] < 10
    still = np.asarray(read_frame(path, 3, Fraction(25)))
    assert still[40, 64].min() > 230
    assert still[80, 64].max() < 60


@pytest.mark.parametrize("form", ["prores-alpha", "png-alpha", "vp9-alpha"])
def test_an_audit_sees_what_alpha_lets_through(form: str, tmp_path: Path) -> None:
    """A white picture whose alpha is a square: without alpha there would be no square."""
    path = tmp_path / f"clip{FORMS[form].extension}"
    film = MasterFilm(path, Output(128, 96, (25, 1)), FORMS[form])
    for _ in range(3):
        picture = np.full((96, 128, 4), 255, np.uint8)
        picture[..., 3] = 0
        picture[20:60, 30:70, 3] = 255
        film.show([((0, 0, 128, 96), picture)])
    film.close()
    ((_, grey),) = pictures(path, [1], Fraction(25))
    assert grey[40, 50] > 220
    assert grey[80, 100] < 12
