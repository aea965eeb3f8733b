"""The three rooms: what each may import, asked of a fresh interpreter."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
HEAVY = {
    "manim", "av", "cairo", "moderngl", "rich", "scipy", "PIL", "opentimelineio", "typst", "jinja2",
    "starlette", "uvicorn", "watchfiles", "websockets",
}  # fmt: skip

FLOORS: dict[str, tuple[set[str], ...]] = {
    "aimgeo": ({"*"}, {"construct"}, {"methods"}, {"asking"}),
    "scenes": (
        {"look", "files"}, {"board"}, {"frame", "plate"}, {"draw"}, {"figure", "judge"}, {"kinds"}, {"film"},
    ),
    "lessons": (
        {"lesson", "answering", "files", "streams"}, {"planning"}, {"rendering"}, {"footage"}, {"deliver"},
        {"live"}, {"commands"}, {"cli"}, {"__main__"},
    ),
}  # fmt: skip
"""A room's folders and modules from the ground up: each may import what stands on a lower floor. '*' is all the
others, which may import each other."""


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


def imports_within(room: str) -> list[tuple[str, str, str]]:
    """Every import between a room's folders: who imports, what is imported, and where; those in functions too."""
    found = []
    for path in sorted((ROOT / room).rglob("*.py")):
        own = path.relative_to(ROOT / room).with_suffix("").parts[0]
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom) and node.module:
                names = [f"{node.module}.{a.name}" for a in node.names]
            for parts in (name.split(".") for name in names):
                if parts[0] == room and len(parts) > 1 and parts[1] != own:
                    found.append((own, parts[1], f"{path.relative_to(ROOT)}:{getattr(node, 'lineno', 0)}"))
    return found


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


@pytest.mark.parametrize("room", FLOORS)
def test_imports_within_a_room_run_one_way(room: str) -> None:
    level = {name: n for n, floor in enumerate(FLOORS[room]) for name in floor}
    ground = level.get("*")
    upwards = []
    for own, other, where in imports_within(room):
        above, below = level.get(own, ground), level.get(other, ground)
        assert above is not None, f"{where}: give {own} a floor"
        assert below is not None, f"{where}: give {other} a floor"
        if above < below or (above == below and not {own, other}.isdisjoint(level)):
            upwards.append(f"{where}: {own} imports {other}")
    assert not upwards


def test_there_is_no_import_circle() -> None:
    """Top-level imports and those for the type checker alone; what a function imports when it runs is left out."""
    needs: dict[str, set[str]] = {
        name: set() for room in ("aimgeo", "scenes", "lessons") for name in modules(room)
    }

    def visit(name: str, node: ast.AST) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.ImportFrom) and child.module:
                found = (f"{child.module}.{a.name}" for a in child.names)
                needs[name] |= {f if f in needs else child.module for f in found} & needs.keys() - {name}
            elif not isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef):
                visit(name, child)

    for name in needs:
        path = ROOT.joinpath(*name.split("."))
        source = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
        visit(name, ast.parse(source.read_text("utf-8")))
    while ready := [name for name, others in needs.items() if not others & needs.keys()]:
        for name in ready:
            del needs[name]
    # what is left needs itself, by way of others
    assert not needs
