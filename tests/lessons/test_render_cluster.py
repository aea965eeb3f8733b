"""Rendering on a Dask scheduler with two workers, all separate processes on this host."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("distributed")

from lessons.lesson.model import load
from lessons.planning.plan import plan
from lessons.rendering import cluster as cluster_module
from lessons.rendering.cluster import ClusterError, check_address, connected, draw_here, made_by

LESSON = """\
title: Tiny
cuts: [1/2]
distances: {near: 300 mm}
output: {size: 320x180, rate: 24}
clips:
  - {kind: title, under: One}
  - {kind: section, over: Part 1, title: First}
  - {kind: section, over: Part 2, title: Second}
  - {kind: section, over: Part 3, title: Third}
  - {kind: section, over: Part 4, title: Fourth}
  - {kind: section, over: Part 5, title: Fifth}
"""


def contents(folder: Path) -> dict[str, bytes]:
    """Every file of a folder, hidden ones too."""
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}


def dask(role: str, *words: object) -> subprocess.Popen[bytes]:
    """Start Dask's own command."""
    return subprocess.Popen(
        [sys.executable, "-m", f"distributed.cli.dask_{role}", *map(str, words)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def render(lesson: Path, out: Path, *words: object) -> subprocess.CompletedProcess[str]:
    """Run the program as a user would."""
    command = [sys.executable, "-m", "lessons.cli", "render", str(lesson), "--out", str(out), *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, timeout=300)


@pytest.fixture(scope="module")
def lesson(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("lesson") / "tiny.yaml"
    path.write_text(LESSON)
    return path


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """The scheduler's address, and its two workers."""
    file = tmp_path / "scheduler.json"
    scheduler = dask("scheduler", "--host", "127.0.0.1", "--port", 0, "--no-dashboard", "--scheduler-file", file)
    workers: list[subprocess.Popen[bytes]] = []
    try:
        end = time.monotonic() + 300
        while not file.exists() or not file.read_text().strip():
            assert time.monotonic() < end
            time.sleep(0.05)
        options = ["--nthreads", 1, "--no-nanny", "--no-dashboard", "--local-directory", tmp_path / "scratch"]
        workers += [dask("worker", "--scheduler-file", file, *options) for _ in range(2)]
        address = json.loads(file.read_text())["address"]
        from distributed import Client

        with Client(address, timeout=300, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=300)
        yield address, workers
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


def test_a_lost_worker_costs_its_clip_in_flight_and_the_bytes_are_the_same(
    lesson: Path, cluster: tuple[str, list[subprocess.Popen[bytes]]], tmp_path: Path
) -> None:
    address, workers = cluster
    assert render(lesson, tmp_path / "local").returncode == 0
    out = tmp_path / "clips"
    command = [sys.executable, "-m", "lessons.cli", "render", str(lesson), "--out", str(out), "--cluster", address]
    run = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    end = time.monotonic() + 300
    while not list(out.glob("*.mp4")):
        assert run.poll() is None, run.communicate()
        assert time.monotonic() < end
        time.sleep(0.02)
    workers[0].kill()
    told, faults = run.communicate(timeout=240)
    assert run.returncode == 0, faults
    assert "6 rendered, 0 unchanged" in told
    assert contents(out) == contents(tmp_path / "local")


def test_no_scheduler_is_told_plainly(lesson: Path, tmp_path: Path) -> None:
    done = render(lesson, tmp_path / "clips", "--cluster", "tcp://127.0.0.1:9")
    assert done.returncode == 1
    assert "no scheduler answers at tcp://127.0.0.1:9" in done.stderr
    assert "Traceback" not in done.stderr


def test_what_listens_and_says_nothing_is_no_scheduler(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster_module, "CONNECT_S", 0.2)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        address = f"tcp://127.0.0.1:{silent.getsockname()[1]}"
        with pytest.raises(ClusterError, match=r"no scheduler answers at .* \(timed out\)"), connected(address):
            pass


def test_work_goes_to_other_machines_only_protected() -> None:
    check_address("tls://192.0.2.7:8786")
    with pytest.raises(ClusterError, match="not protected"):
        check_address("tcp://192.0.2.7:8786")
    with pytest.raises(ClusterError, match="not protected"):
        check_address("192.0.2.7:8786")
    check_address("tcp://[::1]:8786")


@pytest.mark.parametrize(
    "address", ["localhost", "foo://127.0.0.1:1", "inproc://here", "tcp://:8786", "tls://h:99999"]
)
def test_what_is_no_address_is_told(address: str) -> None:
    with pytest.raises(ClusterError, match="is no address of a scheduler; write it like tls://host:8786"):
        check_address(address)


class Workers:
    """Stands in for Dask's client: what the workers say of themselves."""

    def __init__(self, said: dict[str, dict[str, str]] | Exception) -> None:
        self.said = said

    def run(self, function: object) -> dict[str, dict[str, str]]:
        if isinstance(self.said, Exception):
            raise self.said
        return self.said


def test_workers_that_would_write_other_bytes_are_refused() -> None:
    assert cluster_module._alike(Workers({"a": made_by(), "b": made_by()}), "tcp://x") == ["a", "b"]
    other = made_by() | {"the drawing code": "0123"}
    with pytest.raises(ClusterError, match=r"worker b has the drawing code 0123, .*\n.*Nothing was drawn"):
        cluster_module._alike(Workers({"a": made_by(), "b": other}), "tcp://x")
    with pytest.raises(ClusterError, match=r"cannot draw .ModuleNotFoundError: no aimgeo.; install"):
        cluster_module._alike(Workers(ModuleNotFoundError("no aimgeo")), "tcp://x")


def test_a_worker_that_joins_later_with_other_code_draws_nothing(lesson: Path) -> None:
    clip = plan(load(lesson)).clips[0]
    assert draw_here(clip, "h264", made_by() | {"the font": "another"}) == {"is_other": True}
