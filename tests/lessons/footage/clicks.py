"""Path-traced stills whose camera, table and balls are known (benchmarks/stills), and clicks on them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

STILLS = Path(__file__).parent / "stills"
MATCHED = Path(__file__).parent / "matched" / "shot.yaml"
"""A match file with its answer; its footage is not there, and need not be to plan and draw."""


@dataclass(frozen=True)
class Still:
    """A still and its truth."""

    name: str
    truth: dict[str, Any]

    @property
    def picture(self) -> Path:
        """The JPEG."""
        return STILLS / f"{self.name}.jpg"

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        wide, high = self.truth["size_px"]
        return wide, high

    def project(self, points_mm: Any) -> NDArray[np.float64]:
        """Pixels (n, 2) through the true camera: written out here once more."""
        camera = self.truth["camera"]
        w = np.atleast_2d(np.asarray(points_mm, float)) - camera["eye_mm"]
        X, Y, Z = (w @ np.array(camera[k]) for k in ("right", "down", "forward"))
        x, y = X / Z, Y / Z
        r2 = x * x + y * y
        bent = 1 + camera["k1"] * r2 + camera["k2"] * r2 * r2
        return np.stack([x * bent, y * bent], -1) * camera["focal_px"] + camera["principal_px"]

    def visible(self) -> dict[str, NDArray[np.float64]]:
        """The named points in the frame, where they truly are."""
        wide, high = self.size_px
        points = {n: np.array(p) for n, p in self.truth["points_px"].items()}
        return {n: p for n, p in points.items() if 4 < p[0] < wide - 4 and 4 < p[1] < high - 4}

    def picks(
        self, names: Sequence[str] | int, error_px: float = 0.0, seed: int = 1
    ) -> dict[str, tuple[float, float]]:
        """Clicks on some named points, or on so many of them, with a normal error."""
        draw, there = np.random.default_rng(seed), self.visible()
        chosen = list(draw.permutation(sorted(there)))[:names] if isinstance(names, int) else names
        return {n: tuple((there[n] + draw.normal(0, error_px, 2)).tolist()) for n in chosen}

    def balls_px(self, error_px: float = 3.0, seed: int = 1) -> NDArray[np.float64]:
        """A click on each ball."""
        draw = np.random.default_rng(seed)
        centres = [[*at, self.truth["radius_mm"]] for at in self.truth["balls_mm"]]
        return self.project(centres) + draw.normal(0, error_px, (len(centres), 2))

    def match_file(self, folder: Path, picks: dict[str, tuple[float, float]], **keys: Any) -> Path:
        """A match file beside a link to the picture; `keys` are written as they are."""
        (folder / f"{self.name}.jpg").symlink_to(self.picture)
        cue, obj, *others = self.balls_px().round(1).tolist()
        data: dict[str, Any] = {
            "footage": f"{self.name}.jpg",
            "points": {n: [round(x, 1), round(y, 1)] for n, (x, y) in picks.items()},
            "balls": {"cue": cue, "object": obj, "others": others},
            **keys,
        }
        path = folder / "shot.yaml"
        path.write_text(json.dumps(data, indent=1))  # JSON is YAML
        return path


def still(name: str) -> Still:
    """A still by its name."""
    return Still(name, json.loads((STILLS / f"{name}.json").read_text()))
