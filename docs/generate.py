"""Write everything that is generated from the code: `make generate`. A test says when it is out of date.

The JSON Schema is written whole, and in Markdown files what stands between `<!-- made: NAME -->` and
`<!-- /made -->`. To add a part, put the two marks into the file and add a line to PARTS.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from aimgeo.construct.language import BALLS, KNOWN_LINES, KNOWN_POINTS, OPERATIONS, SIDES, WHICH
from aimgeo.tables import TABLES
from lessons.lesson.faults import FAULTS
from lessons.lesson.fields import METHOD_NAMES
from lessons.lesson.model import AXES
from lessons.lesson.schema import (
    LOOK_SCHEMA_FILE,
    METHODS_SCHEMA_FILE,
    SCHEMA_FILE,
    look_schema_text,
    methods_schema_text,
    schema_text,
)
from lessons.lesson.wording import LANGUAGES
from scenes.board.settings import Setting, settings_of
from scenes.kinds import CLIP_KINDS
from scenes.look import LOOKS

ROOT = Path(__file__).parents[1]
PART = re.compile(r"(<!-- made: ([a-z-]+) -->)(.*?)(<!-- /made -->)", re.DOTALL)


def kinds() -> str:
    """The clip kinds: what they show, and which keys choose from the lesson."""
    rows = []
    for kind in CLIP_KINDS.values():
        chosen = [", ".join(f"`{AXES[axis]}`" for axis in AXES if axis in kind.axes)]
        if kind.spans:
            most = f" ({kind.most} at most)" if kind.most else ""
            chosen.append("one clip spans " + ", ".join(f"`{AXES[a]}`" for a in AXES if a in kind.spans) + most)
        rows.append((f"`{kind.name}`", kind.shows, "; ".join(filter(None, chosen))))
    return _table(("kind", "shows", "keys that choose from the lesson"), rows)


def settings() -> str:
    """The keys that only some kinds know."""
    rows = [
        (f"`{one.key}`", f"`{kind.name}`", one.says, _allowed(one), f"`{one.written(one.default)}`")
        for kind in CLIP_KINDS.values()
        for one in settings_of(kind.settings)
    ]
    return _table(("key", "kind", "what it says", "may be", "if left out"), rows)


def _allowed(one: Setting) -> str:
    only = f", with `{one.only[0]}: {one.only[1]}`" if one.only else ""
    return (one.range or _or(map(one.written, one.corners()))) + only


def _table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    lines = [head, ("---",) * len(head), *rows]
    return "\n" + "".join(f"| {' | '.join(line)} |\n" for line in lines)


def _or(names: Iterable[str]) -> str:
    *first, last = (f"`{name}`" for name in names)
    return f"{', '.join(first)} or {last}" if first else last


WRITTEN = {
    "point": "a point", "line": "a line", "figure": "a point or a line", "two_points": "[two points]",
    "two_lines": "[two lines]", "ball": "a ball", "length": "a length", "number": "a number", "angle": "degrees",
    "side": "a side", "which": _or(WHICH),
}  # fmt: skip


def operations() -> str:
    """What a method of one's own may make points and lines with."""
    rows = [
        (
            f"`{{{', '.join(one.takes)}}}`",
            f"a {one.gives}",
            one.says,
            "; ".join(f"`{key}` {WRITTEN[kind]}" for key, kind in one.takes.items()),
        )
        for one in OPERATIONS.values()
    ]
    return _table(("keys", "makes", "which is", "takes"), rows)


def known() -> str:
    """The points and lines that every shot has."""
    points = [(f"`{name}`", "a point", says) for name, says in KNOWN_POINTS.items()]
    return _table(
        ("name", "is", "which"), [*points, *((f"`{n}`", "a line", says) for n, says in KNOWN_LINES.items())]
    )


PARTS: dict[str, Callable[[], str]] = {
    "kinds": kinds,
    "settings": settings,
    "methods": lambda: _or(METHOD_NAMES),
    "tables": lambda: _or(TABLES),
    "languages": lambda: _or(LANGUAGES),
    "operations": operations,
    "known": known,
    "sides": lambda: _or(SIDES),
    "balls": lambda: _or(BALLS),
    "looks": lambda: _or(LOOKS),
    "faults": lambda: _table(("id", "stands for"), [(f"`{id}`", says) for id, says in FAULTS.items()]),
}
"""What stands between two marks of a Markdown file, by its name there."""


def made() -> Iterator[tuple[Path, str]]:
    """Every generated file with the text that it should hold. KeyError for a part that there is not."""
    yield SCHEMA_FILE, schema_text()
    yield METHODS_SCHEMA_FILE, methods_schema_text()
    yield LOOK_SCHEMA_FILE, look_schema_text()
    for path in sorted((*ROOT.glob("*.md"), *ROOT.glob("docs/*.md"))):
        text = path.read_text(encoding="utf-8")
        yield path, PART.sub(lambda found: found[1] + PARTS[found[2]]() + found[4], text)


def main() -> None:
    """Write what is out of date, and say so."""
    for path, text in made():
        if path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")
            print(path.relative_to(ROOT))


if __name__ == "__main__":
    main()
