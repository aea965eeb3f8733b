"""The looks. To add one: write its file here and add its line to LOOKS."""

from __future__ import annotations

from scenes.look.dusk import DUSK
from scenes.look.look import Look
from scenes.look.paper import PAPER

LOOKS: dict[str, Look] = {"dusk": DUSK, "paper": PAPER}
