"""A look of a test: grey cloth, a white object ball."""

from __future__ import annotations

from dataclasses import replace

from scenes.look.dusk import DUSK

SLATE = replace(DUSK, cloth_centre="#50565C", cloth_edge="#30353A", object_ball="#FFFFFF")
