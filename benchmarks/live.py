"""What the live page asks of Python: from a save to orders, for any frame, and for a step of the hand.

Processor time, not the clock: it hangs less on what else the machine does. The bounds of the design stand beside.
"""

from __future__ import annotations

import random
import shutil
import statistics
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from lessons.lesson.model import load
from lessons.live.session import Session
from lessons.planning.plan import plan
from lessons.planning.planned import PlannedClip
from scenes.draw.orders import Orders, needed
from scenes.kinds import CLIP_KINDS

COURSE = Path(__file__).parents[1] / "lessons" / "course"
SIZE_PX = (960, 540)
SAVE_BOUND_S, FRAME_BOUND_S, STEP_BOUND_S = 0.150, 0.030, 0.010


def spent(work: Callable[[], object]) -> float:
    """Seconds of this thread's processor time."""
    start = time.thread_time()
    work()
    return time.thread_time() - start


def measure(folder: Path) -> list[tuple[str, str, str]]:
    """Rows of what, seconds and note."""
    return [*saves(folder), *frames(), *steps(folder)]


def _row(what: str, times: list[float], bound_s: float) -> tuple[str, str, str]:
    ordered = sorted(times)
    late = ordered[min(round(0.95 * (len(ordered) - 1)), len(ordered) - 1)]
    note = f"95th percentile {late:.4f}, most {ordered[-1]:.4f}, bound {bound_s:.3f}, {len(times)} times"
    return what, f"{statistics.median(times):.4f}", note


def saves(folder: Path) -> list[tuple[str, str, str]]:
    """A value of each lesson of the course saved again and again, with every kind of its clips on show."""
    rows = []
    for source in sorted(COURSE.glob("*.yaml")):
        path = folder / source.name
        shutil.copy(source, path)
        session = Session(path)
        page = session.join(1, lambda message: None)
        session.reload(path.read_bytes())
        made = session.good.plan if session.good else None
        assert made is not None
        times = []
        for kind in dict.fromkeys(clip.kind for clip in made.clips):
            clip = next(clip for clip in made.clips if clip.kind == kind)
            session.show(page, clip.name, clip.frames - 1, SIZE_PX)
            for k in range(3):
                text = path.read_text("utf-8") + f"\nspeech: {{words_a_minute: {140 + k}}}\n"
                times.append(spent(partial(session.reload, text.encode())))
        rows.append(_row(f"save to orders and all that is told, {source.stem}", times, SAVE_BOUND_S))
    return rows


def frames() -> list[tuple[str, str, str]]:
    """Any frame of every kind, all of it, with nothing before it."""
    dice = random.Random(1)
    found: dict[str, PlannedClip] = {}
    for source in sorted(COURSE.glob("*.yaml")):
        for clip in plan(load(source)).clips:
            found.setdefault(clip.kind, clip)
    rows = []
    for kind, clip in found.items():
        board = CLIP_KINDS[kind].board(clip.brief)
        times = []
        for _ in range(5):
            frame, orders = dice.randrange(board.frames), Orders(board, 0.5)
            times.append(spent(partial(_whole, orders, frame)))
        rows.append(_row(f"a whole frame of {kind}", times, FRAME_BOUND_S))
    return rows


def _whole(orders: Orders, frame: int) -> None:
    needed(orders, orders.frame(frame))


def steps(folder: Path) -> list[tuple[str, str, str]]:
    """Sixty steps of the cue ball under the hand: solved, constructed, both views and all numbers."""
    path = folder / "demo.yaml"
    shutil.copy(COURSE / "demo.yaml", path)
    session = Session(path)
    page = session.join(1, lambda message: None)
    session.reload(path.read_bytes())
    session.show(page, "ghost-ball_build-up_overlap-3-4_left_near", 3000, SIZE_PX)
    session.hand(page, {})
    times = []
    for k in range(60):
        wish = {"by": "move", "grip": "cue_ball", "to_px": [700 - k, 640 + k / 2], "n": k, "gesture": 1}
        times.append(spent(partial(session.hand, page, wish)))
    return [_row("a step of the hand", times, STEP_BOUND_S)]
