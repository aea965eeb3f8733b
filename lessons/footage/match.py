"""One picture matched: from clicks (or none) to the camera, the table and the balls, with what is not known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aimgeo.landmarks import NAMED
from lessons.footage.by_itself import by_itself
from lessons.footage.by_picks import by_picks
from lessons.footage.cautions import by_picks_only, cautions
from lessons.footage.clicked_balls import placed_balls
from lessons.footage.matched import Clicks, Match, NamedPoint, NoMatch, PointKind
from lessons.footage.picture import Picture
from lessons.footage.rounds import begun, locked_late, looked_again, with_balls
from lessons.footage.size import size_said
from lessons.footage.start import in_frame, visible_sights
from lessons.footage.view import SoFar, View, viewed


def match(clicks: Clicks, picture: Picture | None, size_px: tuple[int, int]) -> Match:
    """The match of a picture (None: by its picks alone). Raises NoMatch."""
    view = viewed(clicks, picture, size_px)
    so_far = begun(view, by_itself(view) if len(view.names) < 3 else by_picks(view))
    so_far = locked_late(looked_again(view, so_far))
    if not so_far.is_locked:
        so_far = so_far.said(by_picks_only(view, so_far))
    try:
        # the balls tell how high the cloth lies: then all is looked for once more
        so_far = with_balls(view, so_far)
        so_far = looked_again(view, so_far)
        so_far = with_balls(view, so_far)
    except NoMatch as error:
        if error.at[:1] == ("balls",):
            size_said(view, replace(so_far, balls=()))
        raise
    return _made(view, so_far.said(*size_said(view, so_far)))


def _made(view: View, so_far: SoFar) -> Match:
    """The answer."""
    solved, clicks = so_far.solved, view.clicks
    made = Match(
        clicks,
        view.size_px,
        solved,
        _points(clicks, so_far),
        placed_balls(solved, clicks.balls(), so_far.balls),
        len(so_far.sights),
        visible_sights(solved),
        len(so_far.cloth_spots),
        so_far.is_locked,
    )
    return replace(made, warnings=(*so_far.warnings, *cautions(made)))


def _points(clicks: Clicks, so_far: SoFar) -> dict[str, NamedPoint]:
    """The named points that are picked or in the frame."""
    solved = so_far.solved
    names = tuple(NAMED)
    px, spread = solved.seen_px(names)
    ahead = (
        np.stack([NAMED[n] for n in names]) @ solved.problem.measures_mm(solved.x) - solved.camera.eye_mm
    ) @ solved.camera.axes[2] > 0
    made: dict[str, NamedPoint] = {}
    for k, name in enumerate(names):
        picked = clicks.points.get(name)
        if not ahead[k] or (picked is None and not in_frame(px[k], solved.problem.size_px, 0.0)):
            continue
        off = None if picked is None else float(np.hypot(*(np.array(picked) - px[k])))
        kind: PointKind = (
            "wrong"
            if name in so_far.wrong
            else "found"
            if name in so_far.sights or name in so_far.cloth_spots
            else "picked"
            if picked is not None
            else "computed"
        )
        error = float(1.96 * np.sqrt(max(np.linalg.eigvalsh(spread[k])[-1], 0)))
        made[name] = NamedPoint(px[k], error, off, kind)
    return made
