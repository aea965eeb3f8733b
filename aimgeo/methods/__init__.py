"""The aiming methods. To add one: write its module here and add its line to METHODS."""

from __future__ import annotations

from types import ModuleType

from aimgeo.methods import ghost_ball

METHODS: dict[str, ModuleType] = {
    "ghost_ball": ghost_ball,
}
"""Name to module. Each module has `limit(shot) -> Limit | None` and `construct(shot) -> Construction`."""
