"""Rendering with real processes: kept, resumed, explained, refused; whole files only."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import av
import pytest

from lessons.rendering.deliveries import earlier_path, recorded, write_delivery
from lessons.rendering.manifest import read_manifest

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
"""

NAMES = ["title", "section_first", "section_second", "section_third"]

KILLS = 20
RUN_S: list[float] = []
"""How long an undisturbed run takes on this machine."""


def aimgeo(*words: object, **options: object) -> subprocess.CompletedProcess[str]:
    """Run the program as a user would."""
    return subprocess.run(
        [sys.executable, "-m", "lessons.cli", *map(str, words)],
        capture_output=True,
        text=True,
        timeout=300,
        **options,
    )  # type: ignore[call-overload]


HOOK = """\
import os, signal, sys, time

def at_its_end(event, args):
    if event == "open" and ".mp4." in str(args[0]) and "+" in str(args[1]):
        {does}

sys.addaudithook(at_its_end)
"""
"""Done by each worker when a clip is drawn and before it gets its name, however quick or slow the machine is."""


def meddled(folder: Path, does: str) -> dict[str, str]:
    """The environment of a run whose workers do something at the end of each clip: Python begins with a file."""
    folder.mkdir()
    (folder / "sitecustomize.py").write_text(HOOK.format(does=does))
    paths = [str(folder), *filter(None, [os.environ.get("PYTHONPATH")])]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths)}


def held(folder: Path) -> tuple[dict[str, str], Path]:
    """The environment of a run whose workers wait with each clip until a file is there, and that file."""
    go = folder / "go"
    return meddled(folder, f"while not os.path.exists({str(go)!r}): time.sleep(0.01)"), go


def begun(*words: object, env: dict[str, str] | None = None) -> subprocess.Popen[str]:
    """Start the program in a session of its own, with Ctrl-C as in a terminal, however the tests were started."""
    return subprocess.Popen(
        [sys.executable, "-m", "lessons.cli", *map(str, words)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=env,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )


def contents(folder: Path) -> dict[str, bytes]:
    """Every file of a folder, hidden ones too."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def processes_of(session: int) -> list[int]:
    """Living processes of a session (Linux)."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, _, of_session = stat.read_text().rsplit(")", 1)[1].split()[:4]
        except OSError:
            continue
        if int(of_session) == session and state != "Z":
            found.append(int(stat.parent.name))
    return found


def children_of(parent: int) -> list[int]:
    """Living worker processes of a render (Linux)."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, of_parent = stat.read_text().rsplit(")", 1)[1].split()[:2]
            words = (stat.parent / "cmdline").read_bytes()
        except OSError:
            continue
        if int(of_parent) == parent and state != "Z" and b"spawn_main" in words:
            found.append(int(stat.parent.name))
    return found


def until(condition: object, seconds: float = 60.0) -> None:
    """Wait until something is true."""
    end = time.monotonic() + seconds
    while not condition():  # type: ignore[operator]
        assert time.monotonic() < end, "this took too long"
        time.sleep(0.02)


@pytest.fixture(scope="module")
def lesson(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("lesson") / "tiny.yaml"
    path.write_text(LESSON)
    return path


@pytest.fixture(scope="module")
def whole(lesson: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of an undisturbed run with one worker."""
    out, temporary = tmp_path_factory.mktemp("whole") / "clips", tmp_path_factory.mktemp("temporary")
    began = time.monotonic()
    done = aimgeo("render", lesson, "--out", out, "--workers", 1, env=os.environ | {"TMPDIR": str(temporary)})
    assert list(temporary.iterdir()) == [], "temporary files are left"
    assert done.returncode == 0, done.stderr
    assert "4 rendered, 0 unchanged" in done.stdout
    RUN_S.append(time.monotonic() - began)
    return out


@pytest.fixture
def out(whole: Path, tmp_path: Path) -> Path:
    """A copy of the finished folder, with its times."""
    subprocess.run(["cp", "-a", str(whole), str(tmp_path / "clips")], check=True)
    return tmp_path / "clips"


def test_the_folder_holds_whole_clips_and_the_manifest(whole: Path, lesson: Path) -> None:
    files = contents(whole)
    assert set(files) == {f"{n}.mp4" for n in NAMES} | {"manifest.json", ".aimgeo.jsonl"}
    manifest = json.loads(files["manifest.json"])
    assert manifest["schema"] == 1
    told = {"title": "Tiny", "identity": "tiny", "source": lesson.as_posix(), "language": "en", "units": "mm"}
    assert {key: manifest["lesson"][key] for key in told} == told
    assert set(manifest["lesson"]) == {*told, "eyes", "fonts", "names"}
    assert [c["name"] for c in manifest["clips"]] == NAMES
    for line, clip in enumerate(manifest["clips"], 6):
        assert clip["source"] == {"file": lesson.as_posix(), "line": line}
        with av.open(str(whole / clip["file"])) as container:
            stream = container.streams.video[0]
            assert sum(1 for _ in container.decode(stream)) == clip["frames"]
            assert [stream.width, stream.height] == [clip["width_px"], clip["height_px"]]
            assert stream.average_rate == clip["rate"][0] / clip["rate"][1]
        assert [s["first_frame"] for s in clip["steps"]] + [clip["frames"]] == [0] + [
            s["end_frame"] for s in clip["steps"]
        ]
        assert max(s["end_frame"] - s["first_frame"] for s in clip["still"]) >= 12


def test_two_workers_write_the_same_bytes_as_one(lesson: Path, whole: Path, tmp_path: Path) -> None:
    done = aimgeo("render", lesson, "--out", tmp_path / "clips", "--workers", 2)
    assert done.returncode == 0, done.stderr
    assert contents(tmp_path / "clips") == contents(whole)


def test_nothing_changed_nothing_rendered(lesson: Path, out: Path) -> None:
    before = contents(out)
    done = aimgeo("render", lesson, "--out", out)
    assert done.returncode == 0, done.stderr
    assert "0 rendered, 4 unchanged" in done.stdout
    assert contents(out) == before


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_killed_at_any_moment_the_next_run_goes_on(lesson: Path, whole: Path, tmp_path: Path) -> None:
    folder = tmp_path / "clips"
    choose = random.Random(11)
    stamps: dict[str, tuple[int, int]] = {}
    for k in range(KILLS):
        run = begun("render", lesson, "--out", folder, "--workers", 2)
        try:
            run.wait(choose.uniform(0.1, 1.0) * RUN_S[0])
        except subprocess.TimeoutExpired:
            run.kill()
        run.communicate()
        until(lambda run=run: not processes_of(run.pid))
        clips = {p.name: (p.stat().st_ino, p.stat().st_mtime_ns) for p in folder.glob("*.mp4")}
        for name, stamp in stamps.items():
            assert clips[name] == stamp, f"{name} was rendered twice (kill {k})"
        for name in clips:
            assert (folder / name).read_bytes() == (whole / name).read_bytes()
        stamps = clips
        if len(clips) == len(NAMES):
            for path in folder.iterdir():
                path.unlink()
            stamps = {}
    done = aimgeo("render", lesson, "--out", folder)
    assert done.returncode == 0, done.stderr
    assert contents(folder) == contents(whole)


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_ctrl_c_stops_at_once_and_says_how_to_go_on(lesson: Path, whole: Path, tmp_path: Path) -> None:
    folder = tmp_path / "clips"
    env, _ = held(tmp_path / "held")
    run = begun("render", lesson, "--out", folder, "--workers", 2, env=env)
    until(lambda: list(folder.glob(".*.part")))
    os.killpg(run.pid, signal.SIGINT)
    _, told = run.communicate(timeout=120)
    assert run.returncode == 130
    assert "run the same command again to go on" in told
    assert "Traceback" not in told
    until(lambda: not processes_of(run.pid))
    assert not list(folder.glob(".*.part"))
    assert aimgeo("render", lesson, "--out", folder).returncode == 0
    assert contents(folder) == contents(whole)


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_a_killed_worker_costs_its_clip_in_flight_only(lesson: Path, whole: Path, tmp_path: Path) -> None:
    folder = tmp_path / "clips"
    env, go = held(tmp_path / "held")
    run = begun("render", lesson, "--out", folder, "--workers", 1, env=env)
    until(lambda: list(folder.glob(".*.part")))
    (worker,) = children_of(run.pid)
    os.kill(worker, signal.SIGKILL)
    go.touch()
    _, told = run.communicate(timeout=120)
    assert run.returncode == 0, told
    assert contents(folder) == contents(whole)


def test_a_clip_whose_workers_die_is_named_with_its_line(lesson: Path, tmp_path: Path) -> None:
    folder = tmp_path / "clips"
    env = meddled(tmp_path / "dying", 'if ".title." in str(args[0]): os.kill(os.getpid(), signal.SIGKILL)')
    run = begun("render", lesson, "--out", folder, "--workers", 1, env=env)
    _, told = run.communicate(timeout=120)
    assert run.returncode == 1
    assert f"{lesson}:6:5: clip title: the worker drawing it was ended by the system 2 times (signal 9" in told
    assert {p.stem for p in folder.glob("*.mp4")} == set(NAMES) - {"title"}


def test_a_second_render_into_the_folder_is_refused(lesson: Path, tmp_path: Path) -> None:
    folder = tmp_path / "clips"
    env, go = held(tmp_path / "held")
    run = begun("render", lesson, "--out", folder, "--workers", 1, env=env)
    until(lambda: list(folder.glob(".*.part")))
    second = aimgeo("render", lesson, "--out", folder)
    go.touch()
    assert second.returncode == 1
    assert "another render or deliver is writing to" in second.stderr
    assert run.wait(120) == 0
    assert {p.stem for p in folder.glob("*.mp4")} == set(NAMES)


def test_a_changed_word_renders_only_what_shows_it(whole: Path, out: Path, tmp_path: Path) -> None:
    changed = tmp_path / "tiny.yaml"
    changed.write_text(LESSON.replace("Second", "Another").replace("under: One", "under: Two"))
    delivered = recorded(read_manifest(out))
    write_delivery(out, delivered)
    plan = aimgeo("render", changed, "--out", out)
    assert "2 rendered, 2 unchanged" in plan.stdout
    assert "section_second.mp4: no lesson names it any more; --prune removes it." in plan.stdout
    pruned = aimgeo("render", changed, "--out", out, "--prune")
    assert "0 rendered, 4 unchanged, 1 removed" in pruned.stdout
    assert not (out / "section_second.mp4").exists()
    # what was delivered is kept until the next delivery has been compared with it, and nothing else
    kept = {
        earlier_path(out, c.file, c.sha256): c for c in delivered.clips if c.name in ("title", "section_second")
    }
    assert set((out / "deliveries" / "earlier").iterdir()) == set(kept)
    assert all(path.read_bytes() == (whole / clip.file).read_bytes() for path, clip in kept.items())
    assert (out / "section_first.mp4").stat().st_mtime_ns == (whole / "section_first.mp4").stat().st_mtime_ns


def test_moving_a_clip_in_the_lesson_costs_no_render(out: Path, tmp_path: Path) -> None:
    lines = LESSON.splitlines(keepends=True)
    moved = tmp_path / "tiny.yaml"
    moved.write_text("".join([*lines[:5], lines[8], "\n", *lines[5:8]]))
    done = aimgeo("render", moved, "--out", out)
    assert "0 rendered, 4 unchanged" in done.stdout, done.stdout
    told = json.loads((out / "manifest.json").read_text())
    assert [c["name"] for c in told["clips"]] == [NAMES[3], *NAMES[:3]]
    assert [c["source"]["line"] for c in told["clips"]] == [6, 8, 9, 10]


def test_a_missing_or_altered_file_is_rendered_again(lesson: Path, whole: Path, out: Path) -> None:
    (out / "title.mp4").unlink()
    altered = out / "section_first.mp4"
    altered.write_bytes(altered.read_bytes()[:-1] + b"x")
    done = aimgeo("render", lesson, "--out", out)
    assert "2 rendered, 2 unchanged" in done.stdout
    assert contents(out) == contents(whole)


def test_verify_reads_the_files_whatever_their_times(lesson: Path, whole: Path, out: Path) -> None:
    altered = out / "section_first.mp4"
    stamp = altered.stat()
    altered.write_bytes(altered.read_bytes()[:-1] + b"x")
    os.utime(altered, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    assert "0 rendered, 4 unchanged" in aimgeo("render", lesson, "--out", out).stdout
    assert "1 rendered, 3 unchanged" in aimgeo("render", lesson, "--out", out, "--verify").stdout
    assert contents(out) == contents(whole)


def test_a_copied_folder_is_recognised_by_its_sha256(lesson: Path, whole: Path, tmp_path: Path) -> None:
    folder = tmp_path / "clips"
    subprocess.run(["cp", "-r", str(whole), str(folder)], check=True)
    assert "0 rendered, 4 unchanged" in aimgeo("render", lesson, "--out", folder).stdout


def test_the_same_picture_twice_in_a_lesson_is_rendered_once(tmp_path: Path) -> None:
    twins = tmp_path / "twins.yaml"
    lines = LESSON.splitlines(keepends=True)
    twins.write_text("".join([*lines[:7], lines[6].replace("First", "First, name: twin")]))
    done = aimgeo("render", twins, "--out", tmp_path / "clips")
    assert done.returncode == 0, done.stderr
    assert "2 rendered, 0 unchanged, 1 taken over" in done.stdout
    first, twin = (tmp_path / "clips" / f"{name}.mp4" for name in ("section_first", "twin"))
    assert first.read_bytes() == twin.read_bytes()


def test_several_lessons_get_a_folder_each_and_share_pictures(lesson: Path, whole: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.yaml"
    other.write_text(LESSON.replace("title: Tiny", "title: Tiny\nidentity: other"))
    done = aimgeo("render", lesson, other, "--out", tmp_path / "course")
    assert done.returncode == 0, done.stderr
    assert "4 rendered, 0 unchanged, 4 taken over" in done.stdout
    for identity in ("tiny", "other"):
        for name in NAMES:
            same = (tmp_path / "course" / identity / f"{name}.mp4").read_bytes()
            assert same == (whole / f"{name}.mp4").read_bytes()


def test_a_faulty_lesson_renders_nothing(tmp_path: Path) -> None:
    faulty = tmp_path / "faulty.yaml"
    faulty.write_text(LESSON.replace("kind: title", "kind: titel"))
    done = aimgeo("render", faulty, "--out", tmp_path / "clips")
    assert done.returncode == 1
    assert f"{faulty}:6:" in done.stderr
    assert not (tmp_path / "clips").exists()


def test_a_file_in_the_folders_way_is_told_plainly(lesson: Path, tmp_path: Path) -> None:
    (tmp_path / "clips").write_text("in the way")
    done = aimgeo("render", lesson, "--out", tmp_path / "clips")
    assert done.returncode == 1
    assert "is a file; name a folder for the clips" in done.stderr


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 100 kB, as far as this machine allows mounting one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=100k", "tmpfs", str(disk)], capture_output=True
    ).returncode:
        pytest.skip("a small file system cannot be mounted here")
    yield disk
    subprocess.run(["umount", "-l", str(disk)], check=True)


def test_a_full_and_a_read_only_disk_are_told_and_the_next_run_goes_on(
    lesson: Path, whole: Path, small_disk: Path
) -> None:
    folder = small_disk / "clips"
    done = aimgeo("render", lesson, "--out", folder, "--workers", 1)
    assert done.returncode == 1
    assert "No space left on device" in done.stderr
    assert "Traceback" not in done.stderr
    for path in folder.glob("*.mp4"):
        assert path.read_bytes() == (whole / path.name).read_bytes()
    assert not list(folder.glob(".*.part"))
    subprocess.run(["mount", "-o", "remount,size=10m,ro", str(small_disk)], check=True)
    done = aimgeo("render", lesson, "--out", folder)
    assert done.returncode == 1
    assert "nothing can be written to" in done.stderr
    subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)
    assert aimgeo("render", lesson, "--out", folder).returncode == 0
    assert contents(folder) == contents(whole)


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX limits")
def test_a_limit_on_file_size_is_told(lesson: Path, tmp_path: Path) -> None:
    """Where no small disk can be mounted: a quota-like fault while a clip is written."""
    import resource

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    done = aimgeo("render", lesson, "--out", tmp_path / "clips", "--workers", 1, preexec_fn=limit)
    assert done.returncode == 1
    assert f"{lesson}:6:5: clip title: the file cannot be written: File too large" in done.stderr
    assert not [p for p in (tmp_path / "clips").iterdir() if p.suffix in (".mp4", ".part")]
