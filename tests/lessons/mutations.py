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
from lessons.lesson.model import load, loads
from lessons.planning.plan import plan
from tests.lessons.letters import box_font

GOOD = (Path(__file__).parent / "own_method.yaml").read_text(encoding="utf-8")
LOOK = """look:
  based_on: dusk
  colours: {cloth: "#4A2230", secondary: "#E3C9C0"}
  surfaces: {cloth_near: "#5A2A3A"}
  lines: {target_line: "#FFC94D"}
  type: {weights: {titles: 700, words: 520}, sizes: {titles: 1.1, numbers: 0.9}}
  lower_third: {name: Anna, under: {en: Aiming}, seconds: 4}
  logo: logo.svg
  corner: no
"""
LESSON_WITH_LOOK = (
    "title: A\noutput: {look: look.yaml}\nclips: [{kind: title, steps: {card: {lower_third: yes}}}]\n"
)
FONT = "boxes.ttf"
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


def tried_look(seed: int, folder: Path) -> str:
    """What comes of a mutated look file: 'good', or its faults. AssertionError for anything but that."""
    chance = random.Random(seed)
    box = folder / FONT
    if not box.exists():
        box_font(box, heavier=60)
    good = LOOK.replace("  logo: logo.svg\n", "").replace("type: {", f"type: {{font: {FONT}, bold: {FONT}, ")
    parts = re.split(r"(#?[\w-]+|[{}:,\n\"])", good)
    for _ in range(chance.randint(1, 3)):
        at = chance.randrange(len(parts))
        other = parts[chance.randrange(len(parts))]
        parts[at] = chance.choice((other, "", "#FFFFFF", "#1D4F4E", chance.choice(WORDS)))
    text = "".join(parts)
    (folder / "look.yaml").write_text(text, encoding="utf-8")
    (folder / "lesson.yaml").write_text(LESSON_WITH_LOOK, encoding="utf-8")
    began = time.process_time()
    try:
        plan(load(folder / "lesson.yaml"))
    except LessonError as error:
        told = str(error)
        for fault in error.faults:
            if not fault.sentence.endswith((".", "?")):
                raise AssertionError(f"{seed}: {fault}") from error
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
    with tempfile.TemporaryDirectory() as folder:
        looks = [tried_look(seed, Path(folder)) for seed in range(count)]
        assert sorted(os.listdir(folder)) == [FONT, "lesson.yaml", "look.yaml"]
    fine = looks.count("good")
    print(f"{count:,} look files: {fine:,} good, {count - fine:,} refused in sentences.")
    good = told.count("good")
    print(f"{count:,} method files: {good:,} good, {count - good:,} refused in sentences.")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
