"""A clip of the player's eye and one of an eye that moves: frames a second, and each part's share of the time."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from unittest.mock import patch

from benchmarks.lessons import EYE
from benchmarks.runs import planned


def measure(folder: Path) -> list[tuple[str, str, str]]:
    """Rows of the table."""
    import scenes.plate
    from scenes.film.film import Converter, Film
    from scenes.film.painter import PainterCamera
    from scenes.film.perform import render_clip
    from scenes.film.stage import Drawing

    lesson = folder / "eye.yaml"
    lesson.write_text(EYE)
    rows = []
    for clip in planned(lesson).clips:
        spent: dict[str, float] = defaultdict(float)

        def timed(part: str, function: Callable[..., Any], spent: dict[str, float] = spent) -> Callable[..., Any]:
            def run(*words: Any, **named: Any) -> Any:
                inside = sum(spent.values())
                began = time.perf_counter()
                try:
                    return function(*words, **named)
                finally:
                    # without what other parts took meanwhile
                    spent[part] += time.perf_counter() - began - (sum(spent.values()) - inside)

            return run

        with ExitStack() as held:
            for part, owner, name in (
                ("plate", scenes.plate, "pane_picture"),
                ("shapes", Drawing, "show"),
                ("painting", PainterCamera, "capture_mobjects"),
                ("conversion", Converter, "take"),
                ("encoder", Film, "_flush"),
            ):
                held.enter_context(patch.object(owner, name, timed(part, getattr(owner, name))))
            began = time.perf_counter()
            written = render_clip(clip.brief, folder / f"{clip.name}.mp4")
            seconds = time.perf_counter() - began
        changing = int(written.board.changing.sum())
        shares = ", ".join(f"{part} {100 * s / seconds:.0f} %" for part, s in spent.items())
        what = f"{clip.kind}, {clip.frames:,} frames, {changing} of them moving, one process"
        rows.append((what, f"{seconds:.1f}", f"{clip.frames / seconds:.0f} frames a second; {shares}"))
    return rows
