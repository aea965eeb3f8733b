"""The three rooms: what each may import, asked of a fresh interpreter."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
HEAVY = {
    "manim", "av", "cairo", "moderngl", "rich", "scipy", "PIL", "opentimelineio", "typst", "jinja2",
    "starlette", "uvicorn", "watchfiles", "websockets",
}  # fmt: skip


def loaded(statement: str, whole: bool = False) -> set[str]:
    """The packages that are loaded after a statement in a fresh interpreter; whole: their modules."""
    name = "name" if whole else "name.partition('.')[0]"
    code = f"{statement}\nimport sys; print(*{{{name} for name in sys.modules}})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    return set(done.stdout.split())


def modules(room: str) -> list[str]:
    """Every module of a room, by name."""
    paths = sorted((ROOT / room).rglob("*.py"))
    return [".".join(p.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__") for p in paths]


def third_parties(names: set[str]) -> set[str]:
    """Those that neither Python brings nor this project."""
    return {
        n for n in names - set(sys.stdlib_module_names) if not n.startswith(("_", "aimgeo", "scenes", "lessons"))
    }


def test_aimgeo_imports_numpy_only() -> None:
    names = loaded("\n".join(f"import {name}" for name in modules("aimgeo")))
    # what numpy brings with it is numpy's
    assert third_parties(names) - third_parties(loaded("import numpy, numpy.typing")) == set()
    assert not {"scenes", "lessons"} & names


def test_scenes_never_reads_yaml_and_knows_no_lesson() -> None:
    source = "\n".join(p.read_text(encoding="utf-8") for p in (ROOT / "scenes").rglob("*.py"))
    assert "import yaml" not in source
    assert "lessons" not in {word for line in source.splitlines() if "import " in line for word in line.split()}


def test_kind_modules_are_free_of_manim() -> None:
    names = loaded("import scenes.kinds")
    assert not {"manim", "cairo", "av", "moderngl", "yaml", "lessons"} & names


def test_checking_and_planning_import_nothing_heavy() -> None:
    names = loaded("import lessons.commands.check, lessons.commands.plan, lessons.rendering.render")
    assert not HEAVY & names
    run = (
        "from pathlib import Path; from lessons.lesson.model import load; from lessons.planning.plan import plan\n"
        "plan(load(Path('lessons/course/demo.yaml')))"
    )
    assert not HEAVY & loaded(run)


def test_the_command_line_starts_without_its_verbs() -> None:
    names = loaded("import lessons.cli")
    assert not (HEAVY | {"numpy", "pydantic", "yaml"}) & names


def test_the_live_page_leaves_geometry_to_python() -> None:
    """Whoever wants a sine there has to ask Python: the page rounds and compares, no more."""
    allowed = {"min", "max", "round", "floor", "abs"}
    for path in sorted((ROOT / "lessons" / "live" / "page").glob("*.js")):
        if path.name == "editor.js":  # made from its source by a bundler
            continue
        text = path.read_text(encoding="utf-8")
        assert set(re.findall(r"Math\.(\w+)", text)) <= allowed, path.name
        assert "57.15" not in text, path.name


AIMGEO_FLOORS = ("construct", "methods", "asking")
"""Above the geometry, which is every other module of aimgeo: each may import what stands on a lower floor."""


def test_inside_aimgeo_imports_run_one_way() -> None:
    def floor(name: str) -> int:
        return AIMGEO_FLOORS.index(name) + 1 if name in AIMGEO_FLOORS else 0

    for path in sorted((ROOT / "aimgeo").rglob("*.py")):
        own = floor(path.relative_to(ROOT / "aimgeo").parts[0])
        for name in re.findall(
            r"^\s*(?:from|import) aimgeo(?:\.| import )(\w+)", path.read_text("utf-8"), re.MULTILINE
        ):
            assert floor(name) <= own, f"{path.relative_to(ROOT)} imports {name}"


def test_nothing_that_draws_or_plans_asks_the_question_service() -> None:
    drawing = [*modules("scenes/kinds"), *modules("scenes/figure"), "lessons.planning.plan"]
    names = loaded("\n".join(f"import {name}" for name in drawing), whole=True)
    assert not {name for name in names if name.startswith("aimgeo.asking")}
    askers = {
        path.relative_to(ROOT).as_posix()
        for room in ("scenes", "lessons")
        for path in (ROOT / room).rglob("*.py")
        if "from aimgeo.asking" in path.read_text("utf-8")
    }
    assert askers <= {
        "lessons/answering/answer.py", "lessons/answering/answer_text.py", "lessons/commands/solve.py",
    }  # fmt: skip
