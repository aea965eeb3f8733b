"""What the live page asks of Python: from a save to orders, for any frame, and for a step of the hand.

Processor time hangs less on what else the machine does than the clock; the bounds of the design stand beside. Then
what it costs by the clock, in a browser.
"""

from __future__ import annotations

import random
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from benchmarks import live_page
from lessons.lesson.model import load
from lessons.lesson.write import Edit, changed
from lessons.live.server import steady
from lessons.live.session import Session, unpacked
from lessons.planning.plan import plan
from lessons.planning.planned import PlannedClip
from scenes.draw.orders import Orders, needed
from scenes.kinds import CLIP_KINDS

COURSE = Path(__file__).parents[1] / "lessons" / "course"
SIZE_PX = (960, 540)
SAVE_BOUND_S, WHOLE_BOUND_S, FRAME_BOUND_S, STEP_BOUND_S = 0.150, 0.400, 0.030, 0.010
OPENING_BOUND_S = 2.0


def spent(work: Callable[[], object]) -> float:
    """Seconds of this thread's processor time."""
    start = time.thread_time()
    work()
    return time.thread_time() - start


def measure(folder: Path) -> list[tuple[str, str, str]]:
    """Rows of what, seconds and note: processor time with its bounds, then the clock with its aims."""
    return [*opening(), *saves(folder), *frames(), *steps(folder), *live_page.measure(folder, COURSE)]


def _row(what: str, times: list[float], bound_s: float) -> tuple[str, str, str]:
    ordered = sorted(times)
    late = ordered[min(round(0.95 * (len(ordered) - 1)), len(ordered) - 1)]
    note = f"95th percentile {late:.4f}, most {ordered[-1]:.4f}, bound {bound_s:.3f}, {len(times)} times"
    return what, f"{statistics.median(times):.4f}", note


OPENING = """
import time
from pathlib import Path
from lessons.live.server import Server
from lessons.live.session import Session
path = Path({path!r})
session = Session(path)
session.reload(path.read_bytes())
page = session.join(1, lambda message: None)
session.show(page, "", 0)
print(time.process_time())
"""


def opening() -> list[tuple[str, str, str]]:
    """A fresh process up to the first picture's orders: what is imported, read, planned and drawn."""
    rows = []
    for name in ("first-evening", "eight-cuts"):
        code = OPENING.format(path=str(COURSE / f"{name}.yaml"))
        times = []
        for _ in range(5):
            done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
            times.append(float(done.stdout))
        rows.append(_row(f"start to the first picture's orders, {name}", times, OPENING_BOUND_S))
    return rows


def saves(folder: Path) -> list[tuple[str, str, str]]:
    """Every clip of the course on show while its lesson is saved with other distances, then with another pace."""
    whole: list[float] = []
    first: list[float] = []
    rows = []
    shutil.copytree(COURSE, folder / "course")
    steady()
    for path in sorted((folder / "course").glob("*.yaml")):
        data = path.read_bytes()
        session, clock = Session(path), _Clock()
        page = session.join(1, clock.hear)
        session.reload(data)
        assert session.good is not None
        made, lesson = session.good.plan, session.good.lesson
        assert made is not None
        assert lesson is not None
        before, keys, long_mm = len(first), lesson.keys, made.table.length_mm
        distances = {name: length.mm(keys.ball_mm(), long_mm) for name, length in keys.distances.items()}
        for k, clip in enumerate(made.clips):
            session.show(page, clip.name, clip.frames - 1, SIZE_PX)
            edits = [Edit(("distances", name), f"{mm - k % 7 - 1:g} mm") for name, mm in distances.items()]
            moved = changed(data, edits)
            for saved in (moved, moved + f"\nspeech: {{words_a_minute: {140 + k % 60}}}\n".encode()):
                clock.start()
                whole.append(spent(partial(session.reload, saved)))
                assert session.read is not None
                assert not session.read.faults
                first.append(clock.first_s)
        rows.append(_row(f"save to orders, every clip of {path.stem}", first[before:], SAVE_BOUND_S))
    rows.append(_row("save to orders, every clip of the course", first, SAVE_BOUND_S))
    rows.append(_row("save to all that is told, every clip of the course", whole, WHOLE_BOUND_S))
    return rows


class _Clock:
    """A page that notes when the first picture came."""

    def __init__(self) -> None:
        self.began_s = self.first_s = 0.0

    def start(self) -> None:
        self.began_s, self.first_s = time.thread_time(), 0.0

    def hear(self, message: bytes) -> None:
        if not self.first_s and unpacked(message)[0]["is"] == "frame":
            self.first_s = time.thread_time() - self.began_s


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
    """Sixty steps of the cue ball under the hand: solved, constructed, both views; then all numbers."""
    path = folder / "demo.yaml"
    shutil.copy(COURSE / "demo.yaml", path)
    session = Session(path)
    page = session.join(1, lambda message: None)
    session.reload(path.read_bytes())
    session.show(page, "ghost-ball_build-up_overlap-3-4_left_near", 3000, SIZE_PX)
    session.hand(page, {})
    pictures, numbers = [], []

    def timed(key: object, work: Callable[[], None]) -> None:
        numbers.append(spent(work))

    session.soon = timed
    for k in range(60):
        wish = {"by": "move", "grip": "cue_ball", "to_px": [700 - k, 640 + k / 2], "n": k, "gesture": 1}
        pictures.append(spent(partial(session.hand, page, wish)) - numbers[-1])
    return [
        _row("a step of the hand, its picture", pictures, STEP_BOUND_S),
        _row("its numbers, which come after it", numbers, STEP_BOUND_S),
    ]
