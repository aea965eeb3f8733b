"""Method files that somebody wrote wrong, or means ill; `make trial` tries 5,000 of them.

Each is either planned or refused in sentences that have a place, in less processor time than `MOST_S`; nothing
else is raised and no file is written.
"""

from __future__ import annotations

import os
import random
import re
import sys
import tempfile
import time
from pathlib import Path

from lessons.lesson.faults import LessonError
from lessons.lesson.model import loads
from lessons.planning.plan import plan

GOOD = (Path(__file__).parent / "own_method.yaml").read_text(encoding="utf-8")
MORE = """meet mirrored tangent line which farther nan inf 1e999 -0 90 1/0 aim '' ~ *a &a !!python # ' " {gap}
{ é seen about times 0 999999999999999999999999999999"""
WORDS = [*sorted(set(re.findall(r"[\w-]+|[{}\[\]:,]|-?[\d./]+", GOOD))), *MORE.split(), "\t", "\u202e"]
NAMES = (
    "spot",
    "edge",
    "half",
    "join",
    "beside",
    "part",
    "seen",
    "turned-aim",
    "cue_centre",
    "true_aim",
    "outward",
)
MOST_S = 5.0


def mutated(seed: int) -> str:
    """The good file with a few of its words or lines exchanged, doubled, moved or taken out."""
    chance = random.Random(seed)
    parts = re.split(r"([\w-]+|[{}\[\]:,\n])", GOOD)
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(parts))
        match min(chance.randrange(15), 5):
            case 0:
                parts[at] = chance.choice(WORDS)
            case 1:
                parts[at] = ""
            case 2:
                parts.insert(at, chance.choice(WORDS))
            case 3:
                end = min(at + chance.randint(1, 40), len(parts))
                parts[at:at] = parts[at:end]
            case _:  # what stays well-formed gets farther
                named = [i for i, part in enumerate(parts) if part in NAMES]
                parts[chance.choice(named)] = chance.choice((*NAMES, chance.choice(WORDS)))
    return "".join(parts)


def tried(seed: int) -> str:
    """What comes of one of them: 'good', or its faults. AssertionError for anything but that."""
    text = mutated(seed)
    began = time.process_time()
    try:
        plan(loads(text))
    except LessonError as error:
        for fault in error.faults:
            if not (fault.sentence.endswith((".", "?")) and 1 <= fault.place.line <= text.count("\n") + 2):
                raise AssertionError(f"{seed}: {fault}") from error
        told = str(error)
    else:
        told = "good"
    assert time.process_time() - began < MOST_S, seed
    return told


def main(count: int) -> None:
    """Tries so many of them in an empty folder, and says what came of them."""
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        told = [tried(seed) for seed in range(count)]
        assert os.listdir(folder) == []
        os.chdir("/")
    good = told.count("good")
    print(f"{count:,} method files: {good:,} good, {count - good:,} refused in sentences.")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
