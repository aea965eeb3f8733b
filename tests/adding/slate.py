"""A look of a test: grey cloth, a white object ball."""

from __future__ import annotations

from dataclasses import replace

from scenes.look.dusk import DUSK

SLATE = replace(DUSK, cloth="#50565C", surround="#20242A", object_ball="#FFFFFF")
