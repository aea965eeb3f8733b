"""Drawing clips on several machines, through a Dask scheduler: no shared disk, the same keys and the same files.

A worker draws a clip into a temporary folder of its own and sends the file's bytes back; the machine that asked
writes it. A lost worker costs the clip that it was drawing, which goes to another one.
"""

from __future__ import annotations

import ipaddress
import logging
import os
import socket
import tempfile
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import SplitResult, urlsplit

from lessons.planning.planned import PlannedClip
from lessons.planning.sound import SoundError
from lessons.rendering.cache import drawing_code, font, libraries
from lessons.rendering.workers import STOPS_ALL, Failed, Report, Task, Wrote, complete, sentence
from scenes.files import drop

RETRIES = 3
CONNECT_S = 10
LOOK_S, LONELY_S = 5, 60
"""How often to look whether there are workers, and how long to wait for one."""

_one_at_a_time = threading.Lock()
"""Manim's configuration belongs to the process: a worker with several threads draws one clip after the other."""


class ClusterError(Exception):
    """A cluster that cannot be used, in a sentence."""


# ------------------------------------------------------------------ on a worker


def made_by() -> dict[str, str]:
    """What must be the same everywhere for the same bytes."""
    return {"the drawing code": drawing_code(), "the font": font(), **libraries()}


def draw_here(clip: PlannedClip, form: str, asked_by: Mapping[str, str]) -> dict[str, Any]:
    """Draw a clip on this worker: its bytes and the manifest's part about it, or the sentence of its failure.

    A worker that would write other bytes than the machine that asks draws nothing and answers `is_other`: one that
    joined after the others were compared.
    """
    if made_by() != asked_by:
        return {"is_other": True}
    from manim import config

    from lessons.rendering.manifest import drawn
    from scenes.film.perform import film_clip

    with _one_at_a_time, tempfile.TemporaryDirectory(prefix="aimgeo-") as folder:
        config.media_dir = folder
        path = Path(folder, "clip")
        try:
            written = film_clip(clip.brief, path, form)
            return {"content": path.read_bytes(), "drawn": drawn(written.board)}
        # whatever goes wrong with one clip, the others are still drawn
        except Exception as error:  # noqa: BLE001
            return {"sentence": sentence(error)}


# ------------------------------------------------------------------ on the machine that asks


@contextmanager
def connected(address: str) -> Iterator[Any]:
    """A client of the scheduler at an address. ClusterError: no answer, no workers, or not protected."""
    check_address(address)
    try:
        from distributed import Client
    except ImportError:
        raise ClusterError("--cluster needs the extra: pip install 'aimgeo[cluster]'") from None
    # what it logs of a lost scheduler are tracebacks around our sentence
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    try:
        _hear(address)
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        reason = str(error) or "no answer"
        raise ClusterError(
            f"no scheduler answers at {address} ({reason}); start one with `dask scheduler` and name its address."
        ) from None
    with client:
        if not client.scheduler_info()["workers"]:
            raise ClusterError(
                f"the scheduler at {address} has no workers; start some with `dask worker {address}`."
            )
        yield client


def draw_all(tasks: Sequence[Task], address: str) -> Iterator[Report]:
    """Have the workers of the scheduler at `address` draw the tasks; every clip as it comes back.

    Raises ClusterError as `connected` does, where a worker would write other bytes than this machine, and when for
    LONELY_S there is no worker left.
    """
    with connected(address) as client:
        from distributed.scheduler import KilledWorker

        checked = _alike(client, address)

        def ask(task: Task, workers: Sequence[str] | None = None) -> Any:
            options = {"pure": False, "retries": RETRIES, "workers": workers}
            return client.submit(draw_here, task.clip, task.form, made_by(), **options)

        asked = {ask(task): task for task in tasks}
        while asked:
            future = _next_done(client, list(asked), address)
            task = asked.pop(future)
            try:
                told = future.result()
            except KilledWorker as lost:
                told = {"sentence": f"{lost.allowed_failures + 1} workers were lost while drawing it."}
            if "is_other" in told:
                asked[ask(task, checked)] = task
                continue
            future.release()
            report = _report(task, told)
            yield report
            if isinstance(report, Failed) and report.hopeless:
                return


def _report(task: Task, told: Mapping[str, Any]) -> Report:
    if "sentence" in told:
        return Failed(0, task, told["sentence"])
    content = told["content"]
    try:
        with open(task.part, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        # recordings lie on this machine, so it is here that a clip gets its voice
        return Wrote(0, task, **complete(task, told["drawn"]))
    except (OSError, SoundError) as error:
        drop(task.part)
        return Failed(0, task, sentence(error), getattr(error, "errno", None) in STOPS_ALL)


def _alike(client: Any, address: str) -> list[str]:
    """The workers' addresses, once it is known that all would write the same bytes as this machine."""
    here = made_by()
    try:
        there = client.run(made_by)
    # whatever a worker's Python raises comes back as it is
    except Exception as error:  # noqa: BLE001
        reason = f"{type(error).__name__}: {error}"
        raise ClusterError(
            f"a worker at {address} cannot draw ({reason}); install the same aimgeo there."
        ) from None
    told = [
        f"worker {worker} has {what} {theirs.get(what, 'none')}, this machine {mine}."
        for worker, theirs in sorted(there.items())
        for what, mine in here.items()
        if theirs.get(what) != mine
    ]
    if told:
        told.append("Its clips would differ; install the same versions there, or leave it out. Nothing was drawn.")
        raise ClusterError("\n".join(told))
    return list(there)


def _next_done(client: Any, asked: Sequence[Any], address: str) -> Any:
    """The next of some futures that is done."""
    from distributed import wait

    lonely_s = 0
    while lonely_s < LONELY_S:
        try:
            with client.as_current():
                return next(iter(wait(asked, timeout=LOOK_S, return_when="FIRST_COMPLETED").done))
        except TimeoutError:
            lonely_s = 0 if client.scheduler_info()["workers"] else lonely_s + LOOK_S
    raise ClusterError(
        f"the scheduler at {address} has had no worker for {LONELY_S} s. What was finished is kept; start workers "
        "and run the same command again."
    )


def _hear(address: str) -> None:
    """Wait for a scheduler's first bytes: it speaks first, and Dask would wait for ever for what only listens.

    OSError when nothing comes. One that is protected waits for its caller, so it is not tried.
    """
    parts = urlsplit(address if "://" in address else f"tcp://{address}")
    if parts.scheme == "tcp":
        with socket.create_connection((parts.hostname, parts.port), CONNECT_S) as heard:
            if not heard.recv(1):
                raise OSError("it closed the connection")


def _has_port(parts: SplitResult) -> bool:
    try:
        return parts.port is not None
    except ValueError:  # out of range
        return False


def check_address(address: str) -> None:
    """Refuse to send work unprotected to another machine: beyond this host it must be TLS.

    >>> check_address("tcp://127.0.0.1:8786")
    >>> check_address("tls://render.example:8786")
    """
    parts = urlsplit(address if "://" in address else f"tcp://{address}")
    if parts.scheme not in ("tcp", "tls") or not parts.hostname or not _has_port(parts):
        raise ClusterError(f"{address} is no address of a scheduler; write it like tls://host:8786")
    if parts.scheme == "tls":
        return
    try:
        found = socket.getaddrinfo(parts.hostname, None)
        is_here = all(ipaddress.ip_address(one[4][0]).is_loopback for one in found)
    except OSError:
        raise ClusterError(f"{address} is no address of a scheduler; write it like tls://host:8786") from None
    if not is_here:
        raise ClusterError(f"{address} is on another machine and not protected; use tls:// (docs/batch.md)")
