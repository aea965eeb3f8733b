"""Each aiming method taken literally: the aim that it gives to a player who does just what its words say.

The readings stand with their methods; exact definitions are in docs/geometry.md.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from aimgeo.aim_frame import AimFrame
from aimgeo.judging import Outcome, outcome
from aimgeo.methods import METHODS
from aimgeo.methods.method import Method
from aimgeo.pocket import Window
from aimgeo.vectors import Array


def reading_turns(
    frame: AimFrame, eye: Array | None, mark_cut_rad: Array, methods: Mapping[str, Method] = METHODS
) -> dict[str, dict[str, Array]]:
    """Method to reading to the turn of the aim (N,), left positive; without an eye the readings that need none.

    mark_cut: the unsigned cut whose mark is used, (N,).
    """
    watching = eye if eye is not None else _cue_centre(frame)
    return {
        method.name: {
            name: reading.turn_rad(frame, watching, mark_cut_rad)
            for name, reading in method.readings.items()
            if eye is not None or not reading.needs_eye
        }
        for method in methods.values()
    }


def judged_readings(
    frame: AimFrame,
    eye: Array | None,
    mark_cut_rad: Array | None = None,
    window: Window | None = None,
    methods: Mapping[str, Method] = METHODS,
) -> dict[str, dict[str, Outcome]]:
    """Method to name to what comes of that reading, (N,) each; without an eye the readings that need none.

    frame: the shots (N,); eye (N, 3): in the aim frame; mark_cut (N,): the unsigned cut whose mark is used, the
    shot's own when it is left out. `Outcome.has_aim` tells an eye that gives no such aim from an aim that passes
    the ball (`hit`).
    """
    mark = np.abs(frame.cut_rad) if mark_cut_rad is None else mark_cut_rad
    turns = reading_turns(frame, eye, mark, methods)
    found = outcome(frame, np.stack([turn for named in turns.values() for turn in named.values()]), window=window)
    each = (found.row(k) for k in range(len(found.hit)))
    return {method: {name: next(each) for name in named} for method, named in turns.items()}


def _cue_centre(frame: AimFrame) -> Array:
    zero = np.zeros_like(frame.cut_rad)
    return np.stack([zero, zero, frame.radius_mm], axis=-1)
