"""A filmed still inside the page: its points and balls are clicked, and the match follows each click.

The page for clicking is the one that opens from disk (`lessons.footage.points_page`); here it begins with what the
match file says, and tells what it has after every click.
"""

from __future__ import annotations

import base64
import hashlib
import json
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lessons.lesson.explain import Location
from lessons.lesson.faults import LessonError
from lessons.lesson.read import Items, Keys, Node, Text, plain, read_text
from lessons.lesson.write import Edit, changed

if TYPE_CHECKING:
    from lessons.footage.model import MatchFile

FILMS = (".mov", ".mp4", ".mkv", ".m4v", ".avi", ".webm")
TOOK_UP = """
"use strict";
{
  const over = document.createElement("img");
  over.id = "match";
  over.hidden = true;
  over.alt = "What the match says: noses, sights and balls";
  Object.assign(over.style, {position: "absolute", inset: 0, height: "100%", pointerEvents: "none"});
  $("over").before(over);
  $("save").textContent = "Write the match file";
  $("save").addEventListener("click", (event) => {
    event.stopImmediatePropagation();
    window.written?.($("yaml").value);
  }, true);
  $("at").addEventListener("change", () => window.moved?.($("yaml").value));
  const shown = show;
  show = () => {
    shown();
    window.clicked?.($("yaml").value);
  };
  show();
}
"""


@dataclass(frozen=True, slots=True)
class Tried:
    """What a match says: in words, and the picture with it drawn over (JPEG), none where it is refused."""

    is_matched: bool
    sentences: tuple[str, ...]
    picture: bytes = b""


def match_files(path: Path, text: str) -> tuple[Path, ...]:
    """The match files that a lesson's clips over footage name, there or not; none in a broken text."""
    try:
        tree = read_text(text, path.name)
    except LessonError:
        return ()
    clips = tree.entries["clips"][1] if isinstance(tree, Keys) and "clips" in tree.entries else None
    groups = clips.items if isinstance(clips, Items) else ()
    named = [name for group in groups if isinstance(group, Keys) for name in _footage(group)]
    return tuple(dict.fromkeys(path.parent / name for name in named))


def _footage(group: Keys) -> Iterator[str]:
    if "footage" in group.entries:
        node: Node = group.entries["footage"][1]
        for one in node.items if isinstance(node, Items) else (node,):
            if isinstance(one, Text) and one.text.strip():
                yield one.text.strip()


def page_of(path: Path, text: str = "") -> tuple[str, str]:
    """The page for clicking on a match file's footage, and its policy. `text` is what is clicked already, if any.

    Raises ValueError with a sentence.
    """
    from lessons.footage.matching import NeedsError, check_installed

    try:
        check_installed()
    except NeedsError as error:
        raise ValueError(str(error)) from None
    from lessons.footage.frames import UnreadableError, open_footage
    from lessons.footage.points_page import clicks_of, jpeg, page

    told = _merged(_told(path), text) if text else _told(path) or {"footage": _film_beside(path)}
    file = _read(path, told)
    try:
        opened = open_footage(file.footage)
        seconds = float(file.keys.at)
        picture = jpeg(opened, min(opened.frame_at(seconds), max(opened.frames - 1, 0)))
        given = clicks_of(file, opened.size_px)
    except UnreadableError as error:
        raise ValueError(str(error)) from None
    except LessonError as error:
        raise ValueError(error.faults[0].sentence) from None
    html = page(str(told["footage"]), opened.size_px, seconds, picture, given)
    digest = f"'sha256-{base64.b64encode(hashlib.sha256(TOOK_UP.encode()).digest()).decode()}'"
    html = html.replace("img-src data:", "img-src data: blob:", 1)
    html = html.replace("script-src ", f"script-src {digest} ", 1)
    policy = html.partition('http-equiv="Content-Security-Policy" content="')[2].partition('"')[0]
    return html.replace("</body>", f"<script>{TOOK_UP}</script>\n</body>"), policy


def tried(path: Path, text: str) -> Tried:
    """The match of what is clicked; nothing is written. Raises ValueError for a text that is none of ours."""
    from lessons.footage import matching
    from lessons.footage.answer import summary
    from lessons.footage.seen import drawn

    told = _merged(_told(path), text)
    footage = (path.parent / str(told["footage"])).resolve()
    with _laid_down(path, told) as file:
        try:
            made, picture = matching.answer(file)
        except LessonError as error:
            return Tried(
                False, tuple(fault.sentence.replace(str(footage), footage.name) for fault in error.faults)
            )
        lines = summary(made, []).replace(str(footage), footage.name).splitlines()
    kept = (" ".join(line.split()) for line in lines if line.split()[:1] not in (["warning"], ["written"]))
    return Tried(True, (*kept, *(one.sentence for one in made.warnings)), drawn(made.match, picture))


def written(path: Path, text: str) -> tuple[bytes, bytes | None]:
    """The match file with what is clicked, and its bytes before: what the page does not know of stays.

    Raises ValueError where it can't be written.
    """
    before = path.read_bytes() if path.is_file() else None
    if before is None:
        return text.encode("utf-8"), None
    new = _merged({}, text)
    try:
        edits = list(_clicked(read_text(before, path.name), new))
        data = changed(before, [edit for edit in edits if edit.text is not None], path.name)
        # then what was taken away, one by one: each is found where the others have left it
        while edits := list(_clicked(read_text(data, path.name), new)):
            data = changed(data, edits[-1:], path.name)
        return data, before
    except LessonError as error:
        raise ValueError(str(error.faults[0])) from None


def _clicked(tree: Node, new: Mapping[str, Any]) -> Iterator[Edit]:
    """What of a match file the clicks change: of the keys that they know, what they no longer tell goes."""
    from lessons.footage.model import CLICKED

    old = tree.entries if isinstance(tree, Keys) else {}
    for key in CLICKED:
        value = new.get(key)
        if value or key not in ("points", "balls"):
            yield from _differing(old[key][1] if key in old else None, value or None, (key,))
        elif key in old:
            yield Edit((key,), None)


def _differing(node: Node | None, value: Any, at: Location) -> Iterator[Edit]:
    """The edits that make a value of the file what is clicked: entry by entry, where both have entries."""
    if node is not None and plain(node) == value:
        return
    if node is None or value is None:
        if node is not None or value is not None:
            yield Edit(at, None if value is None else _worded(value))
    elif isinstance(node, Keys) and isinstance(value, dict):
        for key in [*node.entries, *(key for key in value if key not in node.entries)]:
            entry = node.entries.get(key)
            yield from _differing(entry[1] if entry else None, value.get(key), (*at, key))
    elif isinstance(node, Items) and isinstance(value, list) and node.items and value:
        for index in range(max(len(node.items), len(value))):
            item = node.items[index] if index < len(node.items) else None
            yield from _differing(item, value[index] if index < len(value) else None, (*at, index))
    else:
        yield Edit(at, _worded(value))


def _worded(value: Any) -> str:
    """A value in YAML's own braces and brackets, numbers as they were told."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_worded(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_worded(one) for one in value) + "]"
    return str(value)


def _told(path: Path) -> dict[str, Any]:
    """What a match file says; nothing where there is none. Raises ValueError for one that can't be read."""
    if not path.is_file():
        return {}
    try:
        told = plain(read_text(path.read_bytes(), path.name))
    except LessonError as error:
        raise ValueError(str(error.faults[0])) from None
    return told if isinstance(told, dict) else {}


def _merged(old: Mapping[str, Any], text: str) -> dict[str, Any]:
    from lessons.footage.model import CLICKED

    try:
        new = plain(read_text(text, "clicks"))
    except LessonError as error:
        raise ValueError(str(error.faults[0])) from None
    if not isinstance(new, dict):
        raise ValueError("the clicks tell nothing.")
    new.setdefault("points", {})
    return {key: value for key, value in old.items() if key not in CLICKED} | new


@contextmanager
def _laid_down(path: Path, told: Mapping[str, Any]) -> Iterator[Path]:
    """A match file with these keys, for a moment, in a place of its own; what it names stays where it is."""
    own = dict(told) | {"footage": str((path.parent / str(told["footage"])).resolve())}
    if isinstance(own.get("plan"), dict) and "lesson" in own["plan"]:
        own["plan"] = own["plan"] | {"lesson": str((path.parent / own["plan"]["lesson"]).resolve())}
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / path.name
        file.write_text(json.dumps(own), encoding="utf-8")
        yield file


def _read(path: Path, told: Mapping[str, Any]) -> MatchFile:
    from lessons.footage.model import load

    with _laid_down(path, told) as file:
        try:
            return load(file)
        except LessonError as error:
            raise ValueError(f"{path.name}: {error.faults[0].sentence}") from None


def _film_beside(path: Path) -> str:
    """The clip or still that a match file which is not there yet will be of: it bears its name."""
    from lessons.footage.frames import STILLS

    there = sorted(one for one in path.parent.glob(f"{path.stem}.*") if one.suffix.lower() in (*FILMS, *STILLS))
    if not there:
        raise ValueError(f"there is no clip or still {path.stem}.mov or {path.stem}.jpg beside {path.name}.")
    return there[0].name
