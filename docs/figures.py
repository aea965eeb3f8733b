"""Draw the figures of geometry.md from docs/figures.yaml: python docs/figures.py (about a second each)."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

HERE = Path(__file__).parent
FIGURES = {
    "ghost-ball": "edge lines",
    "contact-points": "aim line",
    "doubled-offset": "aim line",
    "ball-fractions": "aim line",
    "fixed-marks": "aim line",
}
"""Method, which begins its clip's name, to the step at whose end it is shown."""


def main() -> None:
    """Write every figure as JPEG: the cloth's dither would make PNGs ten times as large."""
    (HERE / "figures").mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        for method, step in FIGURES.items():
            still = Path(folder) / f"{method}.png"
            lesson = str(HERE / "figures.yaml")
            arguments = ["still", lesson, "--only", f"{method}_*", "--step", step, "--out", str(still)]
            subprocess.run([sys.executable, "-m", "lessons.cli", *arguments], check=True)
            Image.open(still).convert("RGB").save(HERE / "figures" / f"{method}.jpg", quality=88, subsampling=0)


if __name__ == "__main__":
    main()
