"""Facts about aiming that nobody published, rounded from first_principles.txt. Last digit as printed."""

DOUBLED_BY_EYE_DEG = [
    # eye behind the cue ball and above the cloth (None: from the cue ball's centre), centre distance, degrees
    (600.0, 300.0, 400.0, 0.75),
    (None, None, 400.0, 1.96),
]
DOUBLED_FAR_DEG = (1800.0, 0.33)
"""At this centre distance the doubled offset is less thick, for the same eye."""
DOUBLED_MISS_AT_1_M_MM = 13.0
AIM_LINE_ON_DISC_SLACK = 0.001
"""The aim line crosses the visible disc at 2 sin(cut) of its half-width, within this."""
OBJECT_TURN_DEG_PER_MM = 1.0
"""A millimetre at the ghost ball turns the object ball by about this, divided by cos(cut)."""
PLANE_READING_DEG = (5.0, 600.0, 0.48)
"""An eye so many mm off the line, so far behind the cue ball, read the plane way, moves the aim by this."""
