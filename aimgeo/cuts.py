"""Cut angles and the ways in which they are named: overlaps and sixteenths of a ball.

overlap = 1 - sin(cut): the part of the object ball's width that the cue ball covers, seen along the aim line.
sixteenths = 16 sin(cut): 8 is the half-ball hit. Cuts are unsigned radians below a quarter turn.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np

NAME_TOLERANCE_RAD = float(np.radians(0.05))
"""A cut carries a fraction's name when both are the same to the tenth of a degree that is shown."""


def cut_from_overlap(overlap: float) -> float:
    """The cut in radians of an overlap in (0, 1]: sin(cut) = 1 - overlap.

    >>> round(float(np.degrees(cut_from_overlap(3 / 4))), 2)
    14.48
    """
    return float(np.arcsin(1 - overlap))


def cut_from_sixteenths(sixteenths: float) -> float:
    """The cut in radians with sin(cut) = k/16, for k in [0, 16): 8 is the half-ball hit.

    >>> round(float(np.degrees(cut_from_sixteenths(8))), 9)
    30.0
    """
    return float(np.arcsin(sixteenths / 16))


def overlap_from_cut(cut_rad: float) -> float:
    """The overlap of a cut, in (0, 1]: 1 is a full ball.

    >>> round(overlap_from_cut(np.radians(30)), 12)
    0.5
    """
    return float(1 - np.sin(cut_rad))


def sixteenths_from_cut(cut_rad: float) -> float:
    """16 sin(cut), in [0, 16).

    >>> round(sixteenths_from_cut(np.radians(30)), 12)
    8.0
    """
    return float(16 * np.sin(cut_rad))


def overlap_name(cut_rad: float) -> Fraction | None:
    """The overlap as the fraction by which the hit is called, None when the cut has no such name.

    Whole, quarters and eighths are in common use; sixteenths name what lies between them.

    >>> overlap_name(np.radians(22.02)), overlap_name(np.radians(10.81)), overlap_name(np.radians(20))
    (Fraction(5, 8), Fraction(13, 16), None)
    """
    sixteenths = round(sixteenths_from_cut(cut_rad))
    if sixteenths > 15 or abs(cut_rad - cut_from_sixteenths(sixteenths)) > NAME_TOLERANCE_RAD:
        return None
    return Fraction(16 - sixteenths, 16)
