"""What an aiming method is: how far it reaches, its construction, and its words taken literally."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from aimgeo.aim_frame import AimFrame
from aimgeo.construct import Construction, Limit
from aimgeo.methods.figure import reach_limit, reaches
from aimgeo.shot import Shot
from aimgeo.vectors import Array, BoolArray


@dataclass(frozen=True, slots=True)
class Reading:
    """A method taken literally: what the player does, in one sentence, and the turn of the aim that comes of it.

    `turn_rad(frame, eye, mark_cut_rad)` takes shots (N,), an eye in the aim frame (N, 3) and the unsigned cut
    whose mark is used (N,), and gives radians, left positive, (N,); nan where there is no such aim. A reading that
    `needs_eye` is left out without one; one that `uses_eye` looks from the cue ball's centre then.
    """

    says: str
    turn_rad: Callable[[AimFrame, Array, Array], Array]
    needs_eye: bool = False
    uses_eye: bool = False


@dataclass(frozen=True, slots=True)
class Method:
    """An aiming method.

    `reach` says in a sentence how far it goes, `sin_reach` is the sine of its largest cut (1: below 90 degrees).
    `construction` is the construction for one shot within that reach, `aim_point_mm` gives the aim points (..., 3)
    of many. `readings` are by name. `roles` are those of its own points and lines, each with the role of another
    method that it is drawn like. A method that `counts_eighths` tells places by eighths of the ball's radius.
    """

    name: str
    reach: str
    sin_reach: float
    construction: Callable[[Shot], Construction]
    readings: Mapping[str, Reading]
    aim_point_mm: Callable[[Shot], Array] = lambda shot: shot.ghost_ball_mm
    roles: Mapping[str, str] = field(default_factory=dict)
    counts_eighths: bool = False

    def is_usable(self, shot: Shot) -> BoolArray:
        """True up to and including the method's largest cut, and below 90 degrees, (...)."""
        return reaches(shot, self.sin_reach)

    def limit(self, shot: Shot) -> Limit | None:
        """Why one shot lies beyond the method; None when it does not.

        >>> from aimgeo.methods import METHODS
        >>> from aimgeo.shot import place_shot
        >>> METHODS["doubled_offset"].limit(place_shot([0, 0], [900, 0], 0.6, 500)).sentence
        'doubled_offset.limit'
        """
        return reach_limit(shot, self.name, self.sin_reach)

    def construct(self, shot: Shot) -> Construction:
        """The construction for one shot (scalar fields). ValueError where `limit` gives a reason."""
        reason = self.limit(shot)
        if reason is not None:  # it would draw what does not hold
            raise ValueError(f"the method cannot be used for this shot: {reason.sentence}")
        return self.construction(shot)
