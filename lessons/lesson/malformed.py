"""What is wrong with a text that YAML can't read, in plain words and at the line where it went wrong."""

from __future__ import annotations

import re

import yaml

from lessons.lesson.faults import FaultId

KEY = r"^(\s*(?:- +)?)([A-Za-z_][\w-]*)"
SIGNS = "*&!%@`|>{["
"""A text without quotes can't begin with one of these."""

PLAIN: dict[str, tuple[str, FaultId]] = {
    "'-' indicator": (
        "this stands beside a list's entries: begin it with '- ', or indent it like them.",
        "yaml-indent",
    ),
    "expected key": (
        "a key and its ':' are expected here; check the indent, and the quotes before it.",
        "yaml-indent",
    ),
    "mapping values": ("a ':' makes no key here; check the indent, or put the text in quotes.", "yaml-colon"),
    "document start": ("what began before is closed already; check the brackets.", "yaml-bracket"),
    "node content": ("a value is expected here; check the commas and brackets.", "yaml-bracket"),
}
"""What is said where nothing more is known than what the parser missed."""

CLOSES = {"{": "}", "[": "]"}
NOT_CLOSED = "the '{}' that opens here is not closed."
BEHIND = "what begins this line is closed before this ','; check the brackets."
CLOSES_NOTHING = "this '{}' closes nothing; take it away, or open it."

SECOND_SINGLE = "the second ' ends the text; put a text that holds one in double quotes: \"Don't\"."

Told = tuple[int, int, str, FaultId]


def explained(text: str, error: yaml.MarkedYAMLError) -> Told:
    """Line and column, counted from 1, a sentence, and the fault's id."""
    problem, mark, context = error.problem or "", error.problem_mark or error.context_mark, error.context or ""
    if mark is None or "depth" in problem:
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        return line, column, f"this is not well-formed YAML: {problem or context}.", "yaml"
    lines = text.splitlines() or [""]
    at = min(mark.line, len(lines) - 1)
    here, opened = lines[at], error.context_mark
    if "\t" in here[: mark.column + 1]:
        return at + 1, here.index("\t") + 1, "a tab; indent with spaces.", "yaml-tab"
    if "escape" in problem:
        sign_at = max(here.rfind("\\", 0, mark.column + 1), 0)
        sign = here[sign_at : sign_at + 2]
        sentence = f"'{sign}' means nothing in double quotes; write \\\\ for a backslash, or single quotes."
        return at + 1, sign_at + 1, sentence, "yaml-quotes"
    if opened is not None and "quoted scalar" in context:
        return opened.line + 1, opened.column + 1, "the quote that opens here is not closed.", "yaml-quotes"
    if opened is not None and "flow" in context and opened.line < len(lines):
        bracket = lines[opened.line][opened.column : opened.column + 1]
        if bracket in ("{", "["):
            return _unclosed(lines, opened.line, opened.column, mark.line, mark.column)
    sign = here[mark.column : mark.column + 1]
    if sign in ("]", "}", ",") and _behind(here) == mark.column:
        sentence = BEHIND if sign == "," else CLOSES_NOTHING.format(sign)
        return at + 1, mark.column + 1, sentence, "yaml-bracket"
    for n in dict.fromkeys((at, *_before(lines, at))):
        found = _in_line(lines[n])
        if found is not None:
            return n + 1, *found
    key = re.match(KEY + ":", here)
    if key and mark.column <= len(key[1]) + len(key[2]):
        sentence = f"'{key[2]}' stands under nothing; indent it like the keys that it belongs to."
        return at + 1, len(key[1]) + 1, sentence, "yaml-indent"
    for said, (sentence, id) in PLAIN.items():
        if said in problem:
            return at + 1, mark.column + 1, sentence, id
    return at + 1, mark.column + 1, f"this is not well-formed YAML: {problem or context}.", "yaml"


def _unclosed(lines: list[str], at: int, column: int, noticed: int, noticed_at: int) -> Told:
    """A bracket that is not closed, or one too many inside of it; or a comma is missing there."""
    line = lines[at]
    bracket = line[column]
    for n in range(at, min(noticed + 1, len(lines))):
        first = column if n == at else 0
        if swallowed := re.search(r"(?<=\s)#[^\s#].*$", _unquoted(lines[n])[first:]):
            start = first + swallowed.start()
            return n + 1, start + 1, swallowed_by(lines[n][start:]), "comment"
    wrong = _wrong_bracket(lines, at, column)
    if wrong is not None and wrong[:2] <= (noticed, noticed_at):
        n, first, sentence = wrong
        return n + 1, first + 1, sentence, "yaml-bracket"
    if wrong is None:
        there = lines[noticed][noticed_at:]
        if missing := re.match(r"""['"]?([A-Za-z_][\w-]*)['"]?\s*:""", there):
            sentence = f"a ',' is missing before '{missing[1]}'."
            return noticed + 1, noticed_at + 1, sentence, "yaml-bracket"
        key = re.search(r"""(?:^|[{,])\s*((['"]?)([A-Za-z_][\w-]*)\2)\s*$""", lines[noticed][:noticed_at])
        if bracket == "{" and there[:1] in CLOSES and key:
            return noticed + 1, key.start(1) + 1, f"':' is missing after '{key[3]}'.", "yaml-colon"
        if ends := re.search(r"(?<=[\s,{\[])'[^']*'(?=\w)", line[column:]):
            return at + 1, column + ends.start() + 1, SECOND_SINGLE, "yaml-quotes"
        if ends := re.search(r'(?<=[\s,{\[])"(?:[^"\\]|\\.)*"(?=\s*[^\s#,:\]}])', line[column:]):
            sentence = 'the second " ends the text; write \\" inside, or put the text in single quotes.'
            return at + 1, column + ends.start() + 1, sentence, "yaml-quotes"
        missing = re.search(r"[^\s,{\[] +([A-Za-z_][\w-]*): ", line[column:])
        if missing:
            return (
                at + 1,
                column + missing.start(1) + 1,
                f"a ',' is missing before '{missing[1]}'.",
                "yaml-bracket",
            )
        sentence = f"inside this '{bracket}' a ',' is missing between two entries, or a text needs quotes."
        return at + 1, column + 1, sentence, "yaml-bracket"
    return at + 1, column + 1, NOT_CLOSED.format(bracket), "yaml-bracket"


def _wrong_bracket(lines: list[str], at: int, column: int) -> tuple[int, int, str] | None:
    """From an opening bracket up to its end: the first one that is not closed, or closes nothing, with its line
    and column counted from 0; None where all of them fit.
    """
    opened: list[tuple[str, int, int]] = []
    for n in range(at, len(lines)):
        for found in re.finditer(r"(?<!\S)#.*|[][{}]", _unquoted(lines[n])):
            sign, first = found[0], found.start()
            if sign[0] == "#" or (n == at and first < column):
                continue
            if sign in CLOSES:
                opened.append((CLOSES[sign], n, first))
            elif sign == opened[-1][0]:
                opened.pop()
                if not opened:
                    return None
            elif any(sign == one[0] for one in opened) or _is_inside(lines, at, column, sign):
                return opened[-1][1], opened[-1][2], NOT_CLOSED.format(lines[opened[-1][1]][opened[-1][2]])
            else:
                return n, first, CLOSES_NOTHING.format(sign)
    _, n, first = opened[-1]
    return n, first, NOT_CLOSED.format(lines[n][first])


def _is_inside(lines: list[str], at: int, column: int, closing: str) -> bool:
    """True where a bracket that a sign closes is open before a place."""
    before = "\n".join([*map(_unquoted, lines[:at]), _unquoted(lines[at])[:column]])
    opening = next(sign for sign, closes in CLOSES.items() if closes == closing)
    return before.count(opening) > before.count(closing)


def swallowed_by(comment: str) -> str:
    """That a # makes a comment of what is meant as a value, such as a colour."""
    told = f"everything from '{_short(comment, '')}' on is a comment; put what begins with # in quotes"
    colour = re.match(r"#[0-9a-fA-F]{6}\b", comment)
    return f'{told}: "{colour[0]}".' if colour else f"{told}."


def _unquoted(line: str) -> str:
    """A line with what stands in quotes blotted out, as long as it was."""
    return re.sub(r"""'[^']*'|"(?:[^"\\]|\\.)*\"""", lambda found: "x" * len(found[0]), line)


def _before(lines: list[str], at: int) -> list[int]:
    """The last line before one that holds something: YAML often notices a fault only after it."""
    return next(
        ([n] for n in range(at - 1, -1, -1) if lines[n].strip() and not lines[n].lstrip().startswith("#")), []
    )


def _in_line(line: str) -> tuple[int, str, FaultId] | None:
    """A slip that a line shows by itself: its column, what to write, and its id."""
    key = re.match(KEY + r":\s+", line)
    value = line[key.end() :] if key else ""
    column = key.end() + 1 if key else 1
    if re.match(r"'[^']*'\w", value):
        return column, SECOND_SINGLE, "yaml-quotes"
    if re.match(r'"(?:[^"\\]|\\.)*"\s*[^\s#,\]}]', value):
        sentence = f"the second \" ends the text; put all of it in quotes: '{_short(value, '')}'."
        return column, sentence, "yaml-quotes"
    if re.match(r"(\{[^}]*\}|\[[^]]*\])\s*[^\s#,]", value):
        return column, f'a text that begins with {value[0]} needs quotes: "{_short(value)}".', "yaml-quotes"
    if re.match(r"[*&](?![\w-]+\s*$)|[!%@`]|[-?>|] \S", value):
        return column, f'a text that begins with {value[0]} needs quotes: "{_short(value)}".', "yaml-quotes"
    if key and value[:1] not in ("'", '"', "", *SIGNS) and re.search(r":(\s|$)", value):
        return column, f"a text with ': ' in it needs quotes: \"{_short(value)}\".", "yaml-colon"
    glued = re.match(KEY + r":(?=[^\s:])", line)
    if glued and "://" not in line:
        return len(glued[1]) + 1, f"a space is missing after '{glued[2]}:'.", "yaml-space"
    bare = re.match(KEY + r" +([^:]*$|[\[{])", line)
    if bare and not line.lstrip().startswith("- "):
        return len(bare[1]) + 1, f"':' is missing after '{bare[2]}'.", "yaml-colon"
    return None


def _behind(line: str) -> int | None:
    """Where in a line something stands behind a value in brackets that is closed."""
    begun = re.match(r"\s*(?:- +)?(?:[A-Za-z_][\w-]*:\s+)?(?=[\[{])", line)
    depth = 0
    for k in range(begun.end() if begun else len(line), len(line)):
        sign = _unquoted(line)[k]
        depth += (sign in "[{") - (sign in "]}")
        if depth == 0:
            rest = re.match(r"\s*(?=[^\s#])", line[k + 1 :])
            return None if rest is None else k + 1 + rest.end()
    return None


def _short(text: str, quote: str = "'") -> str:
    text = text.strip()
    text = text.replace('"', quote) if quote else text
    return text if len(text) <= 40 else text[:37] + "..."
