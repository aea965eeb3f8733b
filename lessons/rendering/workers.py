"""Persistent worker processes that draw clips, one clip at a time each. The parent alone names finished files.

A worker that the system ends costs only its clip in flight, which is given out once more. A worker whose parent is
gone ends itself. Ctrl-C is the parent's business.
"""

from __future__ import annotations

import errno
import gc
import multiprocessing
import os
import shutil
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from lessons.planning.planned import PlannedClip, ScratchVoice
from lessons.planning.sound import Sound, add_samples, stretch
from lessons.rendering.manifest import Drawn
from scenes.files import drop, sha256
from scenes.film import boxes
from scenes.film.forms import FORMS

STARTS = 2
"""How often a clip is given out when the worker drawing it dies."""

PROGRESS_S = 0.25

STOPS_ALL = {errno.ENOSPC, errno.EDQUOT, errno.EROFS}
"""Faults that the next clip would meet as well."""


@dataclass(frozen=True, slots=True)
class Task:
    """A clip to draw into an unfinished file `part` in the form named; its timecode is of the `reel`."""

    clip: PlannedClip
    part: Path
    form: str
    reel: str


@dataclass(frozen=True, slots=True)
class Began:
    """A worker (by number) has taken the task."""

    worker: int
    task: Task


@dataclass(frozen=True, slots=True)
class Drew:
    """So many frames of the task are drawn."""

    worker: int
    task: Task
    frames: int


@dataclass(frozen=True, slots=True)
class Wrote:
    """The task's file is whole and on the disk. `drawn` is the manifest's part about the picture."""

    worker: int
    task: Task
    size: int
    sha256: str
    drawn: Drawn


@dataclass(frozen=True, slots=True)
class Failed:
    """The task came to nothing. `hopeless`: the others would meet the same fault."""

    worker: int
    task: Task
    sentence: str
    hopeless: bool = False


Report = Began | Drew | Wrote | Failed


# ------------------------------------------------------------------ in the worker


def draw(task: Task, on_frames: Any = None, is_aside: bool = False) -> dict[str, Any]:
    """Draw a task's clip, encoding aside where a processor would be idle; what to report about it."""
    from lessons.rendering.manifest import drawn
    from scenes.film.perform import film_clip

    written = film_clip(task.clip.brief, task.part, task.form, on_frames, is_aside)
    return complete(task, drawn(written.board))


def complete(task: Task, drawn: Drawn) -> dict[str, Any]:
    """Put the recording and the reel's name into the task's file: what to report about it."""
    form = FORMS[task.form]
    if task.clip.sound is not None:
        speak(task, task.clip.sound)
    if form.has_timecode:
        boxes.complete(task.part, task.reel, form.holds_once)
        drawn = replace(drawn, reel=task.reel)
    return {"size": task.part.stat().st_size, "sha256": sha256(task.part), "drawn": drawn}


def speak(task: Task, sound: Sound | ScratchVoice) -> None:
    """Put its recording into the task's file."""
    from lessons.planning.scratch_voice import spoken

    brief = task.clip.brief
    tick = 1 / Fraction(*brief.output.rate)
    lead, seconds = brief.handle_frames * tick, task.clip.frames * tick
    heard = spoken(sound, seconds, lead) if isinstance(sound, ScratchVoice) else stretch(sound, seconds, lead)
    add_samples(task.part, FORMS[task.form].container, *heard)


def sentence(error: BaseException) -> str:
    """A failure in words."""
    if isinstance(error, MemoryError):
        return "there is not enough memory to draw it; render with fewer --workers or a smaller size."
    if isinstance(error, OSError) and error.errno in (errno.EAGAIN, errno.ENOMEM):
        return "the system has no more memory or threads to give; render with fewer --workers."
    if isinstance(error, OSError) and error.errno in STOPS_ALL:
        return f"the file cannot be written: {os.strerror(error.errno)}; make room and run the same command again."
    if isinstance(error, OSError) and error.errno is not None:
        return f"the file cannot be written: {os.strerror(error.errno)}."
    if isinstance(error, ValueError | OSError | RuntimeError) and str(error):
        return f"it cannot be drawn: {error}"
    return f"it cannot be drawn: {type(error).__name__}: {error}"


def work(pipe: Connection, media: str) -> None:
    """A worker's life: take a task, draw it, report, until the pipe closes."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, args=(media,), daemon=True).start()
    try:
        from manim import config
    # whatever an installation lacks
    except Exception as error:  # noqa: BLE001
        pipe.recv()
        pipe.send(("failed", f"the drawing library cannot be loaded ({error!r}); install aimgeo anew.", True))
        os._exit(1)
    config.media_dir = media
    # a worker ends without a word, so whatever is temporary lies where the parent removes it
    tempfile.tempdir = media
    # what is there stays; looking for cycles in between finds none that matter before a clip is done
    gc.disable()
    gc.freeze()
    # a thread that encodes is let in between two steps of Python
    sys.setswitchinterval(3e-4)
    last = 0.0

    def tell(*what: Any) -> None:
        try:
            pipe.send(what)
        except OSError:  # nobody listens any more
            drop(task.part)
            os._exit(1)

    def on_frames(frames: int) -> None:
        nonlocal last
        if time.monotonic() - last >= PROGRESS_S:
            last = time.monotonic()
            tell("drew", frames)

    while True:
        try:
            task, is_aside = pipe.recv()
        except EOFError:
            # nothing is left to do, and taking Manim down in good order takes a while
            os._exit(0)
        try:
            tell("wrote", draw(task, on_frames, is_aside))
        # whatever goes wrong with one clip, the others are still drawn
        except Exception as error:  # noqa: BLE001
            drop(task.part)
            hopeless = isinstance(error, OSError) and error.errno in STOPS_ALL
            tell("failed", sentence(error), hopeless)
        # a scene is full of cycles, and its pictures are large
        gc.collect()


def _end_with_parent(media: str) -> None:
    parent = multiprocessing.parent_process()
    assert parent is not None
    wait([parent.sentinel])
    shutil.rmtree(media, ignore_errors=True)
    os._exit(1)


# ------------------------------------------------------------------ in the parent


@dataclass
class _Worker:
    number: int
    process: BaseProcess
    pipe: Connection
    media: str
    task: Task | None = None


def draw_all(tasks: Sequence[Task], workers: int) -> Iterator[Report]:
    """Have worker processes draw the tasks, in their order; everything that happens, as it happens.

    Closing the iterator ends the workers at once and removes the files they were writing.
    """
    waiting = list(reversed(tasks))
    starts: dict[str, int] = {}
    crew = [_start(n) for n in range(min(workers, len(tasks)))]
    try:
        while waiting or any(w.task for w in crew):
            for k, worker in enumerate(crew):
                if worker.task is None and waiting:
                    if not worker.process.is_alive():
                        _end(worker)
                        worker = crew[k] = _start(worker.number)
                    drawing = len(waiting) + sum(w.task is not None for w in crew)
                    try:
                        worker.pipe.send((waiting[-1], drawing < workers))
                    except OSError:
                        continue
                    worker.task = waiting.pop()
                    yield Began(worker.number, worker.task)
            busy = {w.pipe: w for w in crew if w.task}
            for pipe in wait(list(busy)):
                worker = busy[pipe]  # type: ignore[index]
                assert worker.task is not None
                task = worker.task
                try:
                    what, *told = worker.pipe.recv()
                except (EOFError, OSError):
                    worker.task = None
                    worker.process.join()
                    drop(task.part)
                    starts[str(task.part)] = starts.get(str(task.part), 1) + 1
                    if starts[str(task.part)] <= STARTS:
                        waiting.append(task)
                    else:
                        yield Failed(worker.number, task, _death(worker.process.exitcode))
                    continue
                if what == "drew":
                    yield Drew(worker.number, task, told[0])
                    continue
                worker.task = None
                if what == "wrote":
                    yield Wrote(worker.number, task, **told[0])
                    continue
                yield Failed(worker.number, task, *told)
                if told[1]:
                    return
    finally:
        for worker in crew:
            worker.pipe.close()
        for worker in crew:
            _end(worker)


def _start(number: int) -> _Worker:
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    media = tempfile.mkdtemp(prefix="aimgeo-")
    process = context.Process(target=work, args=(theirs, media), name=f"aimgeo-worker-{number}", daemon=True)
    with _without_ctrl_c():
        process.start()
    theirs.close()
    return _Worker(number, process, ours, media)


@contextmanager
def _without_ctrl_c() -> Iterator[None]:
    """Start processes that Ctrl-C does not reach, not even while they are importing."""
    if hasattr(signal, "pthread_sigmask"):
        # blocked, not ignored: one that comes meanwhile is delivered to this process afterwards
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            yield
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
    else:
        yield


def _end(worker: _Worker) -> None:
    worker.pipe.close()
    if worker.task is not None:
        worker.process.kill()
    worker.process.join(2)
    if worker.process.is_alive():
        worker.process.kill()
        worker.process.join()
    if worker.task is not None:
        drop(worker.task.part)
    shutil.rmtree(worker.media, ignore_errors=True)


def _death(exit_code: int | None) -> str:
    if exit_code is not None and exit_code < 0:
        how = f"signal {-exit_code}, {signal.Signals(-exit_code).name}"
    else:
        how = f"exit status {exit_code}"
    return (
        f"the worker drawing it was ended by the system {STARTS} times ({how}); "
        "if memory ran out, render with fewer --workers."
    )
