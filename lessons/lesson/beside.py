"""Files that a lesson names and that are read with it, as if what they say stood in the lesson.

Every value keeps its own file, line and column, so that what is wrong with it is told where it stands.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from lessons.lesson.faults import Fault, LessonError, Place, did_you_mean
from lessons.lesson.read import Items, Keys, Node, Text, read

MOST_FILES = 20
METHODS, OWN = "methods_files", "own_methods"


def named(tree: Keys, key: str) -> Iterator[Text]:
    """The file names under a key: one, or a list of them; what is none is left to the model."""
    if key in tree.entries:
        value = tree.entries[key][1]
        yield from (
            one for one in (value.items if isinstance(value, Items) else (value,)) if isinstance(one, Text)
        )


def path_of(file: Text, folder: Path, what: str) -> Path:
    """The file that a value names, beside the lesson. LessonError where there is none."""
    path = folder / file.text.strip()
    try:
        found = path.is_file()
    except (OSError, ValueError):  # a name that no file can have
        found = False
    if not found:
        holder = "this file" if what == "font" else "the lesson"
        sentence = f"there is no {what} '{file.text[:80]}' beside {holder}; check the name."
        raise LessonError([Fault(file.place, sentence, "file")])
    return path


def with_methods_files(tree: Keys, folder: Path, faults: list[Fault]) -> Keys:
    """The lesson's tree with the methods of the files that it names; what is wrong with them goes to `faults`."""
    files = [file for file in named(tree, METHODS) if file.text]
    if not files:
        return tree
    if len(files) > MOST_FILES:
        faults.append(Fault(files[MOST_FILES].place, f"names more than {MOST_FILES} files of methods.", "file"))
        return tree
    place, own = tree.entries.get(OWN, (files[0].place, Keys(files[0].place, {})))
    if not isinstance(own, Keys):
        return tree
    entries = dict(own.entries)
    for file in files:
        try:
            methods = _methods(read(path_of(file, folder, "file of methods")))
        except LessonError as error:
            faults += error.faults
            continue
        for name, (at, method) in methods.items():
            if name in entries:
                first = entries[name][0]
                told = f"'{name}' is a method of {first.file} too, in line {first.line}; rename one of them."
                faults.append(Fault(at, told, "given-twice"))
            else:
                entries[name] = (at, method)
    return replace(tree, entries={**tree.entries, OWN: (place, replace(own, entries=entries))})


def _methods(tree: Node) -> dict[str, tuple[Place, Node]]:
    """The methods that a file holds, by name, each with the place of its key. LessonError for another file."""
    form = "write 'own_methods:' and the methods under it, as in a lesson."
    if not isinstance(tree, Keys):
        raise LessonError([Fault(tree.place, f"is no file of methods; {form}", "wrong-shape")])
    faults = [
        Fault(at, f"unknown key '{key[:40]}' in a file of methods{did_you_mean(key, [OWN])}", "unknown-key")
        for key, (at, _) in tree.entries.items()
        if key != OWN
    ]
    if OWN not in tree.entries:
        faults.append(Fault(tree.place, f"holds no methods; {form}", "missing"))
    if faults:
        raise LessonError(faults)
    _, held = tree.entries[OWN]
    if not isinstance(held, Keys):
        raise LessonError([Fault(held.place, f"own_methods must be a mapping of keys; {form}", "wrong-shape")])
    return held.entries
