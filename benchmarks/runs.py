"""Running the program, timed, with its memory."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from pathlib import Path

from lessons.lesson.model import load
from lessons.planning.plan import plan
from lessons.planning.planned import Plan


def planned(lesson: Path, draft: bool = False) -> Plan:
    """A lesson's plan."""
    return plan(load(lesson), draft=draft)


def aimgeo(*words: object) -> tuple[float, dict[str, int]]:
    """Seconds from start to finish, and the peak memory in kB of the parent and of its largest worker (Linux)."""
    began = time.monotonic()
    run = subprocess.Popen(
        [sys.executable, "-m", "lessons.cli", *map(str, words)], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )
    peaks = {"parent": 0, "worker": 0}
    watcher = threading.Thread(target=_watch, args=(run, peaks), daemon=True)
    watcher.start()
    assert run.stderr is not None
    told = run.stderr.read().decode()
    if run.wait():
        raise RuntimeError(f"aimgeo {' '.join(map(str, words))} failed:\n{told}")
    return time.monotonic() - began, peaks


def _watch(run: subprocess.Popen[bytes], peaks: dict[str, int]) -> None:
    while run.poll() is None:
        peaks["parent"] = max(peaks["parent"], _peak_kb(run.pid))
        try:
            children = Path(f"/proc/{run.pid}/task/{run.pid}/children").read_text().split()
        except OSError:
            children = []
        peaks["worker"] = max([peaks["worker"], *(_peak_kb(int(child)) for child in children)])
        time.sleep(0.05)


def _peak_kb(pid: int) -> int:
    try:
        status = Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return 0
    lines = [line for line in status.splitlines() if line.startswith("VmHWM")]
    return int(lines[0].split()[1]) if lines else 0
