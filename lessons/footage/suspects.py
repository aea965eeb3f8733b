"""What else in a match file may be wrong where its points fit no table: a told lens or measure, another picture.

Each suspect is left out or changed in turn; the points must then fit far better, and a whole match must follow.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from aimgeo.landmarks import MEASURES, NAMED, measures_of
from lessons.footage.fit import Problem
from lessons.footage.match import match
from lessons.footage.matched import Clicks, Match, NoMatch
from lessons.footage.model import MatchFile
from lessons.footage.picture import Picture
from lessons.footage.start import starts

WIDTHS = (640, 720, 854, 960, 1024, 1080, 1280, 1440, 1600, 1920, 2048, 2560, 3840, 4096)
"""Longer sides of pictures that are clicked on in place of the clip's own."""

BETTER, FITS_PX = 0.4, 8.0
"""Points fit another way when they are missed by this part of what they were missed by before, and by less than
this for a picture 1920 wide."""


@dataclass(frozen=True, slots=True, eq=False)
class Suspect:
    """Clicks without something that may be wrong: its key, and the size of picture where that is it."""

    clicks: Clicks
    at: tuple[str | int, ...]
    picked_on: tuple[int, int] | None = None


def accused(
    file: MatchFile, clicks: Clicks, picture: Picture, size_px: tuple[int, int]
) -> tuple[str, tuple[str | int, ...]] | None:
    """A sentence, and its key, about what makes points fit once it is changed; None where nothing does."""
    if len(clicks.points) < 4:
        return None
    before = _missed_px(clicks, size_px)
    most = min(FITS_PX * max(size_px) / 1920, BETTER * before)
    fitting = [(off, k, one) for k, one in enumerate(suspects(file, clicks, size_px))
               if (off := _missed_px(one.clicks, size_px)) < most]  # fmt: skip
    for _, _, one in sorted(fitting, key=lambda told: told[:2])[:2]:
        try:
            made = match(one.clicks, picture, size_px)
        except NoMatch:
            continue
        return _told(file, one, made, size_px), one.at
    return None


def suspects(file: MatchFile, clicks: Clicks, size_px: tuple[int, int]) -> Iterator[Suspect]:
    """Whatever may be wrong, each by itself."""
    if clicks.focal_mm is not None:
        yield Suspect(replace(clicks, focal_mm=None), ("lens", "focal"))
    for name in clicks.measured:
        rest = {key: value for key, value in clicks.measured.items() if key != name}
        yield Suspect(replace(clicks, measured=rest), ("measured", name))
    told = file.keys.picked_on or size_px
    for longer in WIDTHS:
        by = longer / max(size_px)
        size = round(size_px[0] * by), round(size_px[1] * by)
        if size != told and (scaled := file.scaled(size, size_px)) is not None:
            at = ("picked_on",) if file.keys.picked_on else ("points",)
            yield Suspect(scaled, at, size)


def _missed_px(clicks: Clicks, size_px: tuple[int, int]) -> float:
    focal = None if clicks.focal_mm is None else clicks.focal_mm / 36 * max(size_px)
    problem = Problem(size_px, clicks.ball_diameter_mm / 2, clicks.priors(), focal_px=focal)
    mean = np.array([problem.priors[name].mm for name in MEASURES])
    at = np.array(list(clicks.points.values()))
    found = starts(problem, np.stack([NAMED[name] for name in clicks.points]) @ mean, at)
    return found[0].off_px if found else float("inf")


def _told(file: MatchFile, one: Suspect, made: Match, size_px: tuple[int, int]) -> str:
    if one.picked_on is not None:
        size, own = (" x ".join(map(str, shown)) for shown in (one.picked_on, size_px))
        if one.picked_on == size_px:
            return f"the points fit if they were picked on the footage's own {own}; remove this line."
        return f"the points fit if they were picked on {size}, not {own}; write `picked_on: {size}`."
    if one.at[0] == "lens":
        found = float(made.camera.focal_px) * 36 / max(size_px)
        return (
            f"with this lens the points fit no table; without it they fit, and tell a focal length of {found:.0f} "
            "mm. Write the full-frame equivalent, or remove `lens`."
        )
    name = str(one.at[1])
    usual = measures_of(file.table, file.ball_mm)[name].mm
    told = f"with this {name.replace('_', ' ')} the points fit no table, without it they do"
    return f"{told} (usual are {usual:.0f} mm); measure it again, or remove it."
