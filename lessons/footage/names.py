"""The names of the points that can be picked, with a drawing."""

from __future__ import annotations

from aimgeo.landmarks import NAMED

TABLE = """\
            left for someone who looks from head to foot

  head-left-long   1   2   3   side-left   5   6   7   foot-left-long
              o----*---*---*----o--o----*---*---*----o
 head-left-   |                                      |   foot-left-
      short   o                                      o   short
            1 *        .           .          .      * 1
 sight-head 2 *       spot-       spot-      spot-   * 2 sight-foot
            3 *       head       centre      foot    * 3
 head-right-  o                                      o   foot-right-
      short   |                                      |   short
              o----*---*---*----o--o----*---*---*----o
  head-right-long  1   2   3   side-right  5   6   7   foot-right-long
"""


def drawing() -> str:
    """The drawing, and all names."""
    kinds = {
        "pockets' points": [n for n in NAMED if not n.startswith(("sight", "spot"))],
        "sights": [n for n in NAMED if n.startswith("sight")],
        "spots": [n for n in NAMED if n.startswith("spot")],
    }
    lines = [TABLE]
    for kind, names in kinds.items():
        lines.append(f"{kind}:")
        lines += ["  " + ", ".join(names[k : k + 4]) for k in range(0, len(names), 4)]
    lines.append("")
    lines.append(
        "x is to the right, y down, in pixels of the picture as shown; [0, 0] is the corner at the top left."
    )
    return "\n".join(lines)
