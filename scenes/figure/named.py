"""What other balls on the table are called, as labels."""

from __future__ import annotations

from scenes.figure.figure import Figure, disc_of
from scenes.figure.labels import Wanted
from scenes.figure.placer import BALL_RANK, plate_size


def other_names(figure: Figure) -> list[tuple[Wanted, int]]:
    """The labels of the other balls that have names and are shown, each with its rank."""
    out = []
    for n, one in enumerate(figure.brief.subject.others):
        disc = disc_of(figure, f"other.{n}", one.centre_mm, figure.radius_mm) if one.name else None
        if disc is not None:
            w, h = plate_size(figure, one.name, None)
            out.append((Wanted(f"other.{n}", f"other.{n}", one.name, w, h, around=disc), BALL_RANK))
    return out
