"""What is wrong with a text that YAML can't read, in plain words and at the line where it went wrong."""

from __future__ import annotations

import re

import yaml

KEY = r"^(\s*(?:- +)?)([A-Za-z_][\w-]*)"


def explained(text: str, error: yaml.MarkedYAMLError) -> tuple[int, int, str]:
    """Line and column, counted from 1, and a sentence."""
    problem, mark, context = error.problem or "", error.problem_mark or error.context_mark, error.context or ""
    if mark is None or "depth" in problem:
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        return line, column, f"this is not well-formed YAML: {problem or context}."
    lines = text.splitlines() or [""]
    at = min(mark.line, len(lines) - 1)
    here, opened = lines[at], error.context_mark
    if "\t" in here[: mark.column + 1]:
        return at + 1, here.index("\t") + 1, "a tab; indent with spaces."
    if opened is not None and "quoted scalar" in context:
        return opened.line + 1, opened.column + 1, "the quote that opens here is not closed."
    if opened is not None and "flow" in context and opened.line < len(lines):
        bracket = lines[opened.line][opened.column : opened.column + 1]
        sentence = f"the '{bracket}' that opens here is not closed, or a ',' is missing between two entries."
        if bracket in ("{", "["):
            return opened.line + 1, opened.column + 1, sentence
    for n in dict.fromkeys((at, *_before(lines, at))):
        found = _in_line(lines[n])
        if found is not None:
            return n + 1, found[0], found[1]
    key = re.match(KEY + ":", here)
    if key and mark.column <= len(key[1]) + len(key[2]):
        return (
            at + 1,
            len(key[1]) + 1,
            f"'{key[2]}' stands under nothing; indent it like the keys that it belongs to.",
        )
    return at + 1, mark.column + 1, f"this is not well-formed YAML: {problem or context}."


def _before(lines: list[str], at: int) -> list[int]:
    """The last line before one that holds something: YAML often notices a fault only after it."""
    return next(
        ([n] for n in range(at - 1, -1, -1) if lines[n].strip() and not lines[n].lstrip().startswith("#")), []
    )


def _in_line(line: str) -> tuple[int, str] | None:
    """A slip that a line shows by itself: its column and what to write."""
    key = re.match(KEY + r":\s+", line)
    value = line[key.end() :] if key else ""
    column = key.end() + 1 if key else 1
    if re.match(r"'[^']*'\w", value):
        return column, "the second ' ends the text; put a text that holds one in double quotes: \"Don't\"."
    if re.match(r"(\{[^}]*\}|\[[^]]*\])\s*[^\s#,]", value):
        return column, f'a text that begins with {value[0]} needs quotes: "{_short(value)}".'
    if key and value[:1] not in ("'", '"', "{", "[", "|", ">", "&", "*", "") and ": " in value:
        return column, f"a text with ': ' in it needs quotes: \"{_short(value)}\"."
    glued = re.match(KEY + r":(?=[^\s:])", line)
    if glued and "://" not in line:
        return len(glued[1]) + 1, f"a space is missing after '{glued[2]}:'."
    bare = re.match(KEY + r" +[^:]*$", line)
    if bare and not line.lstrip().startswith("- "):
        return len(bare[1]) + 1, f"':' is missing after '{bare[2]}'."
    return None


def _short(text: str) -> str:
    text = text.strip().replace('"', "'")
    return text if len(text) <= 40 else text[:37] + "..."
