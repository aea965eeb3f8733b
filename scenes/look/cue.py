"""The cue's profile; proportions are common practice."""

from __future__ import annotations

SECTIONS = (
    (0.0, 3.2, "cue_tip"), (1.6, 5.4, "cue_tip"), (3.2, 6.2, "cue_tip"), (8.0, 6.4, "cue_tip"),
    (8.0, 6.5, "cue_ferrule"), (32.0, 6.6, "cue_ferrule"),
    (32.0, 6.6, "cue_shaft"), (400.0, 7.0, "cue_shaft"), (760.0, 10.4, "cue_shaft"),
    (760.0, 10.4, "cue_butt"), (1460.0, 14.8, "cue_butt"), (1466.0, 12.0, "cue_butt"),
)  # fmt: skip
"""Distance behind the tip and radius (mm), and the part of the cue, as `Surfaces` names its colour."""
