"""Match files written wrong: each is read or refused in sentences with a place; a damaged answer is told."""

from __future__ import annotations

import json
import random
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from lessons.footage.model import load
from lessons.lesson.faults import LessonError
from lessons.planning.filmed import filmed
from tests.lessons.footage.clicks import MATCHED, still

GOOD = """\
footage: shot-3.mov
at: 0.5 s
table: 9ft
target: foot-left
points:
  foot-left-long: [655, 352]
  sight-left-5: [556, 391]
  spot-foot: [880, 857.5]
balls:
  cue: [985, 742]
  object: [930, 478]
  others: [[580, 470], [10, 20]]
lens: {focal: 26 mm}
measured: {corner_mouth: 118 mm, rail_top: 42 mm}
plan: {cut: 30, side: left, distance: 800 mm, object: [600 mm, 10 mm]}
picked_on: 1920 x 1080
"""
MORE = "nan inf -1 1e999 0 '' ~ *a &a !!python # {gap} { [ é null true 26 in sight-left-4 head: foot: [[]] 1/0"
WORDS = [*sorted(set(re.findall(r"[\w-]+|[{}\[\]:,]", GOOD))), *re.split(" ", MORE)]


def mutated(seed: int) -> str:
    """The good file with a few words exchanged, doubled or taken out."""
    chance = random.Random(seed)
    parts = re.split(r"([\w.-]+|[{}\[\]:,\n])", GOOD)
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(parts))
        match chance.randrange(4):
            case 0:
                parts[at] = ""
            case 1:
                parts.insert(at, chance.choice(WORDS))
            case 2:
                parts[at:at] = parts[at : at + chance.randint(1, 12)]
            case _:
                parts[at] = chance.choice(WORDS)
    return "".join(parts)


def test_four_hundred_wrong_files_are_read_or_refused_with_a_place(tmp_path: Path) -> None:
    path = tmp_path / "shot.yaml"
    refused = 0
    for seed in range(400):
        path.write_text(mutated(seed), "utf-8")
        said = refusal(path)
        refused += said is not None
        for line in (said or "").splitlines():
            assert not line.startswith("/") or re.match(rf"{re.escape(str(path))}:\d+:\d+: \S", line), line
    assert 200 < refused < 400


def refusal(path: Path) -> str | None:
    """What is said of a file; None where it can be used."""
    try:
        load(path).clicks((1920, 1080))
    except LessonError as error:
        return str(error)
    return None


def test_every_key_that_the_page_names_can_be_written(tmp_path: Path) -> None:
    path = tmp_path / "shot.yaml"
    path.write_text(GOOD, "utf-8")
    clicks = load(path).clicks((1920, 1080))
    assert clicks.measured["corner_mouth"].mm == 118
    assert clicks.focal_mm == 26


@pytest.mark.parametrize(
    "damage",
    [
        lambda told: [],
        lambda told: told | {"camera": None},
        lambda told: {key: value for key, value in told.items() if key != "balls"},
        lambda told: told | {"shot": {"cut_deg": 3}},
        lambda told: told | {"table": {"name": "11ft"}},
    ],
)
def test_a_damaged_answer_is_told(damage: object, tmp_path: Path) -> None:
    path = tmp_path / "shot.yaml"
    path.write_bytes(MATCHED.read_bytes())
    told = json.loads(MATCHED.with_name("shot.match.json").read_text())
    (tmp_path / "shot.match.json").write_text(json.dumps(damage(told)))  # type: ignore[operator]
    with pytest.raises(ValueError, match=r"run `aimgeo match .*shot\.yaml` again"):
        filmed(path, False)


def test_a_kill_leaves_the_old_answer_or_the_new_one(tmp_path: Path) -> None:
    shot = still("turned-35")
    path = shot.match_file(tmp_path, shot.picks(6, 0.5))
    answer = tmp_path / "shot.match.json"
    answer.write_text('{"older": true}')
    run = subprocess.Popen([sys.executable, "-m", "lessons.cli", "match", str(path)], stdout=subprocess.DEVNULL)
    while run.poll() is None and b"older" in answer.read_bytes():
        time.sleep(0.002)
    run.kill()  # nothing where it has ended, and been waited for, between two looks
    run.wait()
    assert json.loads(answer.read_text())["schema"] == 1
    # the picture is drawn before anything is written: what is there is whole
    seen = tmp_path / "shot.match.jpg"
    assert not seen.exists() or seen.read_bytes()[-2:] == b"\xff\xd9"
