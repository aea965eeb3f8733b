"""aimgeo solve: streams of requests, the command's options and its exit status."""

from __future__ import annotations

import io
import json
import os
import random
import subprocess
import sys
import threading
import tracemalloc
from pathlib import Path
from typing import Any

import click
import numpy as np
import orjson
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from aimgeo.asking.fields import BY_KEY, KEYS
from aimgeo.asking.rows import Choice, Nullable, rows
from aimgeo.asking.solve import answer
from lessons.answering.answer import CHUNK_LINES, LINE_BYTES, answer_blocks, answer_stream, parse
from lessons.answering.answer_text import BLOCK_ROWS, blocks, texts
from lessons.commands.solve import command

PLACED = {"object_ball_mm": [0, 0], "target_mm": "foot-left", "cut_deg": 30, "side": "left", "distance_mm": 500}


def some_requests(count: int, seed: int = 1) -> list[Any]:
    """A mixture of everything that can be asked, refusals among it."""
    rng = random.Random(seed)
    made: list[Any] = []
    for i in range(count):
        r: dict[str, Any] = {
            "object_ball_mm": [rng.uniform(-700, 700), rng.uniform(-400, 400)],
            "target_mm": rng.choice(["foot-left", "side-right", [1100.0, 500.0]]),
        }
        if rng.random() < 0.6:
            r |= {"cut_deg": rng.choice([0, rng.uniform(0, 95)]), "side": rng.choice(["left", "right"]),
                  "distance_mm": rng.choice([57.15, rng.uniform(58, 600)])}  # fmt: skip
        else:
            r["cue_ball_mm"] = [rng.uniform(-1200, 1200), rng.uniform(-600, 600)]
        if "cue_ball_mm" in r and rng.random() < 0.5:
            w = np.subtract(r["object_ball_mm"], r["cue_ball_mm"])
            r["aim_deg"] = float(np.degrees(np.arctan2(w[1], w[0]))) + rng.uniform(-10, 10)
        if rng.random() < 0.7:
            r["eye"] = {"back_mm": rng.uniform(-50, 900), "offset_mm": rng.uniform(-40, 40), "height_mm": 300}
            if rng.random() < 0.7:
                look_at = rng.choice(["object_ball", "ghost_ball", [1, 2, 3]])
                r["camera"] = {"look_at": look_at, "vertical_fov_deg": 40, "width_px": 640, "height_px": 360}
                if rng.random() < 0.3:
                    r["camera"]["points_mm"] = {"a": [0, 0, 0], "ünï": [-5000, 0, 0]}
        if rng.random() < 0.3:
            r["aim_error"] = {"rotate_deg": rng.uniform(-9, 9)}
            r["fraction"] = {"object_offset_mm": 20, "cue_offset_mm": -50, "measured": "aim_line"}
        if rng.random() < 0.3:
            r |= {"speed_mps": 1.5, "cue_ball_roll": rng.random(), "others_mm": [[0, 0], [300, 100]],
                  "misses": {"left": 3, "right": 12}}  # fmt: skip
        if rng.random() < 0.5:
            r["id"] = rng.choice([i, f"n{i}", i + 0.5])
        if rng.random() < 0.05:
            made.append(rng.choice([{}, [], "x", {**r, "oops": 1}]))
        else:
            made.append(r)
    return made


def lines(requests: list[Any]) -> bytes:
    return b"".join(orjson.dumps(r) + b"\n" for r in requests)


def stream(data: bytes) -> tuple[list[Any], int]:
    out = io.BytesIO()
    refused = answer_stream(io.BytesIO(data), out)
    return [json.loads(line) for line in out.getvalue().splitlines()], refused


def test_the_stream_gives_the_answers_of_solve_in_order() -> None:
    requests = some_requests(3 * CHUNK_LINES // 2)
    got, refused = stream(lines(requests))
    want = answer(requests)
    assert len(got) == len(want)
    for g, w in zip(got, want, strict=True):
        assert g == w
        assert list(g) == list(w)
    assert refused == sum("error" in w for w in want) > 100
    kinds = {tuple(sorted(w)) for w in want}
    assert len(kinds) > 20


def test_one_request_is_a_batch_of_one() -> None:
    requests = some_requests(200, seed=5)
    together = answer(requests)
    for r, want in zip(requests, together, strict=True):
        (got,) = answer([r])
        assert got == want


@pytest.mark.parametrize(
    ("line", "code"),
    [
        (b"not json", "bad_json"),
        (b"", "bad_json"),
        (b"   ", "bad_json"),
        (b"[1, 2]", "bad_json"),
        (b"{} {}", "bad_json"),
        (b'{"cut_deg": 1', "bad_json"),
        (b"\xff\xfe{}", "bad_json"),
        (b"[" * 100_000, "bad_json"),
        (b'{"eye":' * 5_000 + b"1" + b"}" * 5_000, "bad_json"),
        (b'{"id": 1, "id": 2}', "bad_json"),
        (b'{"eye": {"back_mm": 1, "back_mm": 2}}', "bad_json"),
        (b'{"object_ball_mm": [0, 0], "target_mm": [9, NaN], "cut_deg": 1}', "not_finite"),
        (b'{"object_ball_mm": [0, 0], "target_mm": [9, -Infinity], "cut_deg": 1}', "not_finite"),
        (b'{"object_ball_mm": [0, 0], "target_mm": [9, 1e999], "cut_deg": 1}', "not_finite"),
        (b'{"object_ball_mm": [0, 0], "target_mm": [9, ' + b"9" * 400 + b'], "cut_deg": 1}', "bad_value"),
        (b'{"object_ball_mm": [0, 0], "target_mm": [9, ' + b"9" * 5000 + b'], "cut_deg": 1}', "bad_json"),
        (b'{"object_ball_mm": "' + b"x" * LINE_BYTES + b'"}', "bad_json"),
        (b'{"\\ud800": 1}', "unknown_key"),
        (b'{"id": "\\ud800"}', "bad_value"),
    ],
)
def test_an_unreadable_line_is_refused_on_its_own_line(line: bytes, code: str) -> None:
    good = orjson.dumps(PLACED)
    got, refused = stream(good + b"\n" + line + b"\n" + good)
    assert [next(iter(g)) for g in got] == ["shot", "error", "shot"]
    assert got[1]["error"]["code"] == code
    assert refused == 1


def test_a_point_named_by_half_a_surrogate_pair_is_projected_under_its_name() -> None:
    camera = b'{"eye_mm":[0,0,900],"look_at":"object_ball","vertical_fov_deg":40,"width_px":8,"height_px":8,'
    line = orjson.dumps(PLACED)[:-1] + b',"camera":' + camera + b'"points_mm":{"\\ud800":[0,0,0]}}}'
    (got,), refused = stream(line)
    assert refused == 0
    assert got["eye"]["pixels"]["\ud800"] == [4.0, 4.0]


def test_colons_in_texts_and_line_ends_do_no_harm() -> None:
    data = b'\xef\xbb\xbf{"id": "a:b::", ' + orjson.dumps(PLACED)[1:] + b"\r\n" + orjson.dumps(PLACED) + b"\r\n"
    got, refused = stream(data)
    assert refused == 0
    assert got[0]["id"] == "a:b::"
    assert got[0]["shot"] == got[1]["shot"]


@given(st.binary(max_size=200))
def test_any_bytes_are_answered_line_by_line(data: bytes) -> None:
    got, _ = stream(data)
    expected = data.removeprefix(b"\xef\xbb\xbf").split(b"\n")
    assert len(got) == len(expected) - (expected[-1] == b"")


@pytest.mark.parametrize("change", [{}, {"cut_deg": 95}, {"distance_mm": 50}, {"table": {}}])
def test_memory_stays_the_same_however_long_the_stream(
    change: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lessons.answering.answer.CHUNK_BYTES", 20_000)
    line = lines([{**PLACED, "eye": {"back_mm": 600, "offset_mm": 0, "height_mm": 300}, **change}])

    class Endless(io.RawIOBase):
        def __init__(self, count: int) -> None:
            self.left = count

        def read1(self, size: int) -> bytes:
            n = min(self.left, max(1, size // len(line)))
            self.left -= n
            return line * n

    class Sink(io.BytesIO):
        def write(self, data: Any) -> int:
            return len(data)

    peaks = []
    for count in (400, 2000):
        tracemalloc.start()
        answer_stream(Endless(count), Sink())  # type: ignore[arg-type]
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.5 * peaks[0]


def test_an_answer_comes_before_the_stream_ends() -> None:
    """A program may ask, read, and ask again."""
    ours, theirs = os.pipe(), os.pipe()
    with open(ours[0], "rb") as source, open(theirs[1], "wb") as sink, open(theirs[0], "rb") as back:
        worker = threading.Thread(target=answer_stream, args=(source, sink))
        worker.start()
        for cut in (10, 20):
            os.write(ours[1], lines([{**PLACED, "cut_deg": cut}]))
            assert json.loads(back.readline())["shot"]["cut_deg"] == pytest.approx(cut)
        os.close(ours[1])
        worker.join(10)
        assert not worker.is_alive()


# ------------------------------------------------------------------ text of columns


def numbers(count: int) -> st.SearchStrategy[Any]:
    """Columns that are mostly the same in every row, as those of real batches are."""
    few = st.sampled_from([0.0, -0.0, 28.575, -1e-7, 1e22, np.nan, np.inf])
    any_number = st.floats(allow_subnormal=True)
    each = st.lists(few | any_number, min_size=count, max_size=count)
    return (each | st.builds(lambda one: [one] * count, few)).map(lambda made: np.array(made, float))


def columns_of(count: int) -> st.SearchStrategy[Any]:
    same = st.booleans().map(lambda one: [one] * count)
    flags = (same | st.lists(st.booleans(), min_size=count, max_size=count)).map(lambda made: np.array(made, bool))
    words = ("left", None, 'quo"te\n', True, ["a", {"\u00e9": 1}])
    choices = st.builds(lambda a, b: Choice(3 * a + b, words), flags, flags)
    points = st.lists(numbers(count), min_size=2, max_size=3).map(lambda made: np.stack(made, axis=-1))
    lists = st.lists(st.sampled_from([{}, {"i": [1, "x"]}, None]), min_size=count, max_size=count)
    leaf = numbers(count) | points | flags | choices | lists | st.sampled_from(["always", None, 3])
    names = st.sampled_from(["number", 'a"b', "\u00fcn\u00ef", "z"])
    return st.recursive(
        st.dictionaries(names, leaf, max_size=4),
        lambda inner: st.dictionaries(names, leaf | inner | st.builds(Nullable, inner, flags), max_size=4),
        max_leaves=6,
    )


@given(
    st.sampled_from([1, 2, 5, BLOCK_ROWS, BLOCK_ROWS + 3]).flatmap(lambda n: st.tuples(st.just(n), columns_of(n)))
)
def test_the_text_of_columns_is_the_text_of_their_rows(case: tuple[int, Any]) -> None:
    count, columns = case
    want = [orjson.dumps(row) for row in rows(columns, count)]
    assert list(texts(columns, count)) == want
    assert b"".join(blocks(columns, count)) == b"".join(line + b"\n" for line in want)


# ------------------------------------------------------------------ the command


SHOT = ("--object-ball-mm", "0,0", "--target-mm", "900,0", "--distance-mm", "500")


def run(*args: str, data: bytes | None = None) -> Any:
    return CliRunner().invoke(command, args, input=data)


def test_every_key_has_its_option() -> None:
    options = {option.name: option.help for option in command.params if isinstance(option, click.Option)}
    assert options.keys() - {"batch", "form", "units", "bridge", "lesson", "clip"} == set(KEYS)
    assert all(options[key] == BY_KEY[key].says != "" for key in KEYS)


def test_options_and_json_ask_the_same() -> None:
    by_json = run(
        json.dumps({
            **PLACED, "eye": {"back_mm": 600, "alignment": "contact_line", "height_mm": 300},
            "camera": {"look_at": "object_ball", "vertical_fov_deg": 40, "width_px": 64, "height_px": 36},
            "aim_error": {"at_ghost_mm": -1.5}, "others_mm": [[100, 50]], "table": "9ft", "id": "a",
        })
    )  # fmt: skip
    by_options = run(
        "--object-ball-mm", "0,0", "--target-mm", "foot-left", "--cut-deg", "30", "--side", "left",
        "--distance-mm=500", "--eye", "back_mm=600,alignment=contact_line,height_mm=300",
        "--camera", '{"look_at":"object_ball","vertical_fov_deg":40,"width_px":64,"height_px":36}',
        "--aim-error", "at_ghost_mm=-1.5", "--others-mm", "[[100,50]]", "--table", "9ft", "--id", "a",
    )  # fmt: skip
    assert by_json.exit_code == by_options.exit_code == 0
    assert by_json.stdout == by_options.stdout
    assert by_json.stdout.count("\n") == 1


def test_an_endless_cloth_negative_numbers_and_underscores() -> None:
    got = run(
        "--object_ball_mm", "-5000,20", "--target-mm=-6000,0", "--cue-ball-mm", "-4000,10", "--table", "null"
    )
    assert got.exit_code == 0
    assert json.loads(got.stdout)["shot"]["object_ball_mm"][0] == -5000


@pytest.mark.parametrize(
    ("args", "code"),
    [
        (["--cut-deg", "30"], "missing"),
        (["--cut-deg", "nan", *SHOT], "not_finite"),
        (["--cut-deg", "thirty", *SHOT], "bad_value"),
        (["{"], "bad_json"),
        (["[]"], "bad_json"),
        (['{"x": 1}'], "unknown_key"),
    ],
)
def test_a_refused_request_exits_with_1(args: list[str], code: str) -> None:
    got = run(*args)
    assert got.exit_code == 1
    assert json.loads(got.stdout)["error"]["code"] == code


@pytest.mark.parametrize(
    "args",
    [
        [],
        ["--no-such-option"],
        ["--batch", "/no/such/file"],
        ["--batch", "-", "--cut-deg", "3"],
        ['{"cut_deg": 3}', "--cut-deg", "3"],
        ["{}", "{}"],
    ],
)
def test_an_unusable_command_line_exits_with_2(args: list[str]) -> None:
    got = run(*args)
    assert got.exit_code == 2
    assert "Traceback" not in got.output


def test_batch_files_and_exit_statuses(tmp_path: Path) -> None:
    asked = tmp_path / "asked.jsonl"
    asked.write_bytes(lines([{**PLACED, "id": 1}, {**PLACED, "id": 2}]))
    assert run("--batch", str(asked)).exit_code == 0
    asked.write_bytes(lines([{**PLACED, "id": 1}, {**PLACED, "cut_deg": 90, "id": 2}, {**PLACED, "id": 3}]))
    got = run("--batch", str(asked))
    assert got.exit_code == 1
    assert [json.loads(line)["id"] for line in got.stdout.splitlines()] == [1, 2, 3]
    assert run("--batch", "-", data=asked.read_bytes()).stdout == got.stdout
    assert run("--batch", "-", data=b"").exit_code == 0
    assert run("--batch", str(tmp_path)).exit_code == 2


def test_a_reader_that_leaves_is_no_traceback(tmp_path: Path) -> None:
    asked = tmp_path / "asked.jsonl"
    asked.write_bytes(lines([PLACED]) * 3000)
    with asked.open("rb") as source:
        solver = subprocess.Popen(
            [sys.executable, "-m", "lessons.cli", "solve", "--batch", "-"],
            stdin=source, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        assert solver.stdout is not None
        assert solver.stderr is not None
        solver.stdout.readline()
        solver.stdout.close()
        assert b"Traceback" not in solver.stderr.read()
        assert solver.wait(20) == 2


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="only Linux lists a process's threads so")
def test_the_command_runs_on_one_thread() -> None:
    code = (
        "import os, click, lessons.cli as c; c.main.get_command(click.Context(c.main), 'solve');"
        "print(len(os.listdir('/proc/self/task')))"
    )
    free = {key: value for key, value in os.environ.items() if key != "OPENBLAS_NUM_THREADS"}
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, env=free).stdout == b"1\n"


def test_parse_and_answer_blocks_agree_with_solve() -> None:
    found, refused = answer_blocks([parse(orjson.dumps(PLACED)), parse(b"x")])
    assert json.loads(b"".join(found).splitlines()[0]) == answer([PLACED])[0]
    assert refused == 1
