"""What is wrong with a text that YAML can't read, in plain words and at the line where it went wrong."""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import suppress

import yaml

from lessons.lesson.faults import FaultId

KEY = r"^(\s*(?:- +)?)([A-Za-z_][\w-]*)"
BLOCK = KEY + r": +([>|])[-+\d]*\s*$"
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
OPEN_QUOTE = "the quote that opens here is not closed."
DASH = "this '- ' begins no entry of a list; indent it like the '- ' of the list that it belongs to."
NOT_CLOSED = "the '{}' that opens here is not closed."
BEHIND = "what begins this line is closed before this ','; check the brackets."
CLOSES_NOTHING = "this '{}' closes nothing; take it away, or open it."

SECOND_SINGLE = "the second ' ends the text; put a text that holds one in double quotes: \"Don't\"."

Told = tuple[int, int, str, FaultId]


def explained(text: str, error: yaml.MarkedYAMLError, tokens: Iterable[yaml.Token] = ()) -> Told:
    """Line and column, counted from 1, a sentence, and the fault's id; `tokens` are those of the text."""
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
        return opened.line + 1, opened.column + 1, OPEN_QUOTE, "yaml-quotes"
    first = lines[min(opened.line, at)][opened.column : opened.column + 1] if opened is not None else ""
    if opened is not None and "simple key" in context and first in ("'", '"'):
        return opened.line + 1, opened.column + 1, OPEN_QUOTE, "yaml-quotes"
    if (left := _left_open(lines, tokens, at)) is not None:
        return left[0] + 1, left[1] + 1, OPEN_QUOTE, "yaml-quotes"
    if opened is not None and "flow" in context and opened.line < len(lines):
        bracket = lines[opened.line][opened.column : opened.column + 1]
        if bracket in ("{", "["):
            return _unclosed([*lines, ""], opened.line, opened.column, mark.line, mark.column)
    sign = here[mark.column : mark.column + 1]
    if sign in ("]", "}", ",") and _behind(here) == mark.column:
        sentence = BEHIND if sign == "," else CLOSES_NOTHING.format(sign)
        return at + 1, mark.column + 1, sentence, "yaml-bracket"
    if (shallow := _shallow(lines, at, problem)) is not None:
        return shallow
    for n in (at, *_before(lines, at)):
        found = _in_line(lines[n])
        if found is not None:
            return n + 1, *found
    if dash := re.match(rf"( {{{mark.column}}})-", here):
        glued = here[mark.column + 1 :].strip() and not here[mark.column + 1].isspace()
        sentence = "a space is missing after '-'." if glued else DASH
        return at + 1, dash.end(), sentence, "yaml-space" if glued else "yaml-indent"
    key = re.match(KEY + ":", here)
    if key and "-" in key[1] and mark.column <= len(key[1]):
        return at + 1, key[1].index("-") + 1, DASH, "yaml-indent"
    if key and mark.column <= len(key[1]) + len(key[2]):
        sentence = f"'{key[2]}' stands under nothing; indent it like the keys that it belongs to."
        return at + 1, len(key[1]) + 1, sentence, "yaml-indent"
    for said, (sentence, id) in PLAIN.items():
        if said in problem:
            return at + 1, mark.column + 1, sentence, id
    return at + 1, mark.column + 1, f"this is not well-formed YAML: {problem or context}.", "yaml"


def _left_open(lines: list[str], tokens: Iterable[yaml.Token], at: int) -> tuple[int, int] | None:
    """Where a quote opens that only the opening quote of a later text, in line `at`, closes."""
    quoted: yaml.Token | None = None
    with suppress(yaml.YAMLError):
        for token in tokens:
            if token.start_mark.line > at:
                break
            if isinstance(token, yaml.ScalarToken) and token.style in ("'", '"') and token.end_mark.line == at:
                quoted = token
                break
    if quoted is None or quoted.start_mark.line == at:
        return None
    first, column = quoted.start_mark.line, quoted.start_mark.column
    before = lines[at][: quoted.end_mark.column - 1]
    is_opening = not before.strip() or before[-1] in " \t[{,"
    swallows = any(re.match(KEY + r":\s", line) for line in lines[first + 1 : at + 1])
    return (first, column) if is_opening or swallows else None


def _shallow(lines: list[str], at: int, problem: str) -> Told | None:
    """A line above the one where YAML noticed that is indented wrong, or is an entry whose key has no ':'."""
    here = re.match(r"(\s*(?:- +)?)([A-Za-z_][\w -]*):", lines[at])
    begins = next((n for n, line in enumerate(lines) if re.match(r"\s*[^\s#]", line)), at)
    if "document start" in problem and here and not here[1] and (key := re.match(r"( +)([\w-]+):", lines[begins])):
        sentence = f"'{key[2]}' is indented, and the keys below are not; begin it at the line's start."
        return begins + 1, len(key[1]) + 1, sentence, "yaml-indent"
    for n in _before(lines, at):
        above = _bare(lines[n])
        if here is None or (key := re.match(KEY, above)) is None:
            break
        indent, rest = len(here[1]) - len(key[1]), above[key.end() :]
        is_entry = "-" in key[1] and "-" not in here[1]
        if (not rest and indent > 0) or (is_entry and indent == 0 and re.match(r" +(?!.*:\s)", rest)):
            return n + 1, len(key[1]) + 1, f"':' is missing after '{key[2]}'.", "yaml-colon"
        if is_entry and indent and re.match(r": +[^\s|>]", rest):
            sentence = f"'{here[2]}' is not indented like '{key[2]}' in line {n + 1}; indent both alike."
            return at + 1, len(here[1]) + 1, sentence, "yaml-indent"
    for n in range(at - 1, -1, -1):
        if head := re.match(BLOCK, lines[n]):
            under = next((k for k in range(n + 1, at + 1) if lines[k].strip()), at)
            column = len(lines[under]) - len(lines[under].lstrip())
            begun = [len(line) - len(line.lstrip()) for line in lines[under : at + 1] if line.strip()]
            if len(head[1]) < begun[-1] < min(begun[:-1], default=0):
                sentence = f"the text under '{head[2]}: {head[3]}' is indented less here than in line {under + 1}."
                return at + 1, begun[-1] + 1, sentence, "yaml-indent"
            if column > len(head[1]) or re.match(KEY + ":", lines[under]):
                return None
            sentence = f"the text under '{head[2]}: {head[3]}' begins here; indent it deeper than '{head[2]}'."
            return under + 1, column + 1, sentence, "yaml-indent"
    return None


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


def _bare(line: str) -> str:
    """A line without its comment and the spaces at its end."""
    return re.sub(r"\s+#\s.*", "", line).rstrip()


def _before(lines: list[str], at: int) -> list[int]:
    """The last line before one that holds something: YAML often notices a fault only after it. None in a block of
    text, where words are no keys.
    """
    last: list[int] = []
    deeper_than: int | None = None
    for n, line in enumerate(lines[:at]):
        indent = len(line) - len(line.lstrip())
        if not line.strip() or (deeper_than is not None and indent > deeper_than):
            continue
        deeper_than = None
        if head := re.match(BLOCK, line):
            last, deeper_than = [], len(head[1])
        elif line[indent] != "#":
            last = [n]
    return last


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
    if value[:1] in CLOSES and (behind := _behind(line)) is not None and line[behind] != ",":
        return column, f'a text that begins with {value[0]} needs quotes: "{_short(value)}".', "yaml-quotes"
    if re.match(r"&(?![\w-]+(\s|$))|\*(?![\w-]+\s*(#.*)?$)|[!%@`]|[-?>|] \S", value):
        return column, f'a text that begins with {value[0]} needs quotes: "{_short(value)}".', "yaml-quotes"
    if key and value[:1] not in ("'", '"', "", *SIGNS) and (closes := _closes_nothing(value)) is not None:
        return column + closes, CLOSES_NOTHING.format(value[closes]), "yaml-bracket"
    if key and value[:1] not in ("'", '"', "", *SIGNS) and re.search(r":(\s|$)", value):
        return column, f"a text with ': ' in it needs quotes: \"{_short(value)}\".", "yaml-colon"
    glued = re.match(KEY + r":(?=[^\s:])", line)
    if glued and "://" not in line:
        return len(glued[1]) + 1, f"a space is missing after '{glued[2]}:'.", "yaml-space"
    if before := re.match(KEY + r" +:(?=\S)", line):
        sentence = f"write '{before[2]}: ', with its ':' right behind it and then a space."
        return len(before[1]) + 1, sentence, "yaml-space"
    bare = re.match(KEY + r" +([^:]*$|[\[{])", _bare(line))
    if bare and not line.lstrip().startswith("- "):
        return len(bare[1]) + 1, f"':' is missing after '{bare[2]}'.", "yaml-colon"
    return None


def _closes_nothing(value: str) -> int | None:
    """Where a value that holds ': ' ends in a bracket that nothing in it opens."""
    bare = _bare(_unquoted(value))
    if not re.search(r":\s", bare) or bare[-1:] not in ("}", "]"):
        return None
    opening = "{" if bare[-1] == "}" else "["
    return len(bare) - 1 if bare.count(opening) < bare.count(bare[-1]) else None


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
