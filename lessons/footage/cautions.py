"""What to know of a match that was made."""

from __future__ import annotations

from math import degrees

import numpy as np

from aimgeo.camera import Camera, project
from lessons.footage.fit import Solved
from lessons.footage.matched import Match, NoMatch, Warned, ball_key, ordinal
from lessons.footage.rounds import FEW_SIGHTS
from lessons.footage.start import in_frame
from lessons.footage.view import SoFar, View

MOST_OPEN_PX = 60.0
"""Where places are drawn with more than this open, for a picture 1920 wide, no match is given."""

PLUMB_DEG, LEAST_BY_PLUMB = 75.0, 8
"""Seen from so steep, fewer points than this fit cameras that lean either way."""


def by_picks_only(view: View, so_far: SoFar) -> Warned:
    """What to know of a camera that picks carry and few sights. Raises NoMatch where it is too open."""
    tilt = _tilt_deg(so_far.solved.camera)
    if view.picture is not None and tilt > PLUMB_DEG and len(view.names) < LEAST_BY_PLUMB:
        raise NoMatch(
            "the sights were not found (glare? too small?), and from straight above few points do not tell how "
            f"the camera leans; click {LEAST_BY_PLUMB} or more, far apart, or film from the side.",
            ("points",),
        )
    worst = _open_px(so_far.solved)
    sentence = (
        f"not locked: {so_far.sights_said} (glare? too small?). Add two points; drawn places are within ± "
        f"{worst:.0f} px."
    )
    # four places say nothing against each other
    if worst > MOST_OPEN_PX * view.scale or len(so_far.picks.at_px) < 5:
        raise NoMatch(sentence, ("points",))
    return Warned(sentence)


def _open_px(solved: Solved) -> float:
    """The 95 % within which nine tenths of the bed in the frame are drawn."""
    L, W = (solved.problem.measures_mm(solved.x)[k] / 2 for k in (0, 1))
    grid = np.stack(np.meshgrid(np.linspace(-L, L, 9), np.linspace(-W, W, 5)), -1).reshape(-1, 2)
    places = np.concatenate([grid, np.zeros((len(grid), 1))], -1)
    px = project(solved.camera, places)
    places = places[in_frame(px, solved.problem.size_px)]
    if not len(places):
        return float("inf")
    each = solved.error(lambda x: solved.problem.pixels(x, places).reshape(-1)).reshape(-1, 2).max(1)
    return float(np.quantile(each, 0.9))


def cautions(made: Match) -> list[Warned]:
    """What to know of a match: few sights, an open lens, balls seen from low down."""
    said: list[Warned] = []
    camera = made.camera
    if made.is_locked and made.sights < FEW_SIGHTS * made.sights_in_frame:
        said.append(
            Warned(
                f"only {made.sights} of {made.sights_in_frame} sights were found, and some may be other spots; "
                "compare the picture that shows the match, and click what lies beside its mark.",
                ("points",) if made.clicks.points else (),
            )
        )
    tilt = _tilt_deg(camera)
    focal_error = float(np.sqrt(made.solved.covariance[6, 6]))
    if tilt > 80 or focal_error > 0.12:
        said.append(
            Warned(
                "looking straight down the lens and the height cannot be told apart; places on the cloth "
                "are unaffected."
                if tilt > 80
                else f"the lens's focal length is open to ± {196 * focal_error:.0f} %; give `lens: "
                f"{{focal: ... mm}}` or add points."
            )
        )
    for ball in made.balls:
        way = ball.centre_mm - camera.eye_mm
        rise = degrees(np.arctan2(-way[2], np.hypot(*way[:2])))
        along = way[:2] / np.hypot(*way[:2])
        if rise < 8:
            ends = project(camera, np.stack([ball.centre_mm, ball.centre_mm + np.append(along, 0.0)]))
            px = float(np.hypot(*(ends[1] - ends[0])))
            worst = float(np.abs(along) @ ball.error_mm)
            named = {"cue": "the cue ball", "object": "the object ball"}.get(
                ball.role, f"{ordinal(ball.index)} of `others`"
            )
            seen = f"seen at {rise:.0f} degrees a millimetre along the view is {px:.2f} px"
            sentence = f"{seen}; {named}'s place is ± {worst:.0f} mm that way."
            said.append(Warned(sentence, ball_key(ball.role, ball.index)))
            break
    return said


def _tilt_deg(camera: Camera) -> float:
    """How far down a camera looks: 90 is straight down."""
    return degrees(np.arcsin(np.clip(-camera.axes[2][2], -1, 1)))
