"""Drawing clips on several machines, through a Dask scheduler: no shared disk, the same keys and the same files.

A worker draws a clip into a temporary folder of its own and sends the file's bytes back; the machine that asked
writes it. A lost worker costs the clip that it was drawing, which goes to another one.
"""

from __future__ import annotations

import hashlib
import ipaddress
import os
import socket
import tempfile
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from lessons.planning.plan import PlannedClip
from lessons.planning.sound import SoundError
from lessons.rendering.cache import drawing_code, font, libraries
from lessons.rendering.workers import STOPS_ALL, Failed, Report, Task, Wrote, sentence, speak

RETRIES = 3
CONNECT_S = 10

_one_at_a_time = threading.Lock()
"""Manim's configuration belongs to the process: a worker with several threads draws one clip after the other."""


class ClusterError(Exception):
    """A cluster that cannot be used, in a sentence."""


# ------------------------------------------------------------------ on a worker


def made_by() -> dict[str, str]:
    """What must be the same everywhere for the same bytes."""
    return {"the drawing code": drawing_code(), "the font": font(), **libraries()}


def draw_here(clip: PlannedClip, form: str) -> dict[str, Any]:
    """Draw a clip on this worker: its bytes and the manifest's part about it, or the sentence of its failure."""
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
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise ClusterError(
            f"no scheduler answers at {address} ({error}); start one with `dask scheduler` and name its address."
        ) from None
    with client:
        if not client.scheduler_info()["workers"]:
            raise ClusterError(
                f"the scheduler at {address} has no workers; start some with `dask worker {address}`."
            )
        yield client


def draw_all(tasks: Sequence[Task], address: str) -> Iterator[Report]:
    """Have the workers of the scheduler at `address` draw the tasks; every clip as it comes back.

    Raises ClusterError as `connected` does.
    """
    with connected(address) as client:
        from distributed import as_completed
        from distributed.scheduler import KilledWorker

        asked = {
            client.submit(draw_here, task.clip, task.form, pure=False, retries=RETRIES): task for task in tasks
        }
        for future in as_completed(list(asked), loop=client.loop):
            task = asked.pop(future)
            try:
                told = future.result()
            except KilledWorker as lost:
                told = {"sentence": f"{lost.allowed_failures + 1} workers were lost while drawing it."}
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
        found = speak(task) or {"size": len(content), "sha256": hashlib.sha256(content).hexdigest()}
    except (OSError, SoundError) as error:
        task.part.unlink(missing_ok=True)
        return Failed(0, task, sentence(error), getattr(error, "errno", None) in STOPS_ALL)
    return Wrote(0, task, found["size"], found["sha256"], told["drawn"])


def differences(address: str) -> list[str]:
    """How the workers differ from this machine, a sentence each; empty when all will write the same bytes.

    Raises ClusterError as `connected` does.
    """
    here = made_by()
    with connected(address) as client:
        there = client.run(made_by)
    return [
        f"worker {worker} has {what} {theirs.get(what, 'none')}, this machine {mine}: its clips may differ."
        for worker, theirs in sorted(there.items())
        for what, mine in here.items()
        if theirs.get(what) != mine
    ]


def check_address(address: str) -> None:
    """Refuse to send work unprotected to another machine: beyond this host it must be TLS.

    >>> check_address("tcp://127.0.0.1:8786")
    >>> check_address("tls://render.example:8786")
    """
    parts = urlsplit(address if "://" in address else f"tcp://{address}")
    if parts.scheme == "tls":
        return
    try:
        is_here = ipaddress.ip_address(socket.gethostbyname(parts.hostname or "")).is_loopback
    except OSError:
        raise ClusterError(f"{address} is no address of a scheduler; write it like tls://host:8786") from None
    if not is_here:
        raise ClusterError(f"{address} is on another machine and not protected; use tls:// (docs/batch.md)")
