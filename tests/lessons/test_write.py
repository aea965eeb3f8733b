"""Writing single values: other bytes stay, the tree differs in the named values alone, or nothing is written."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from lessons.lesson.explain import Location
from lessons.lesson.faults import LessonError
from lessons.lesson.read import BREAK, Items, Keys, Node, Text, plain, read_text
from lessons.lesson.write import BOM, Edit, FileChangedError, changed, retold, save
from tests.lessons.odd_files import odd_file

COURSE = sorted((Path(__file__).parents[2] / "lessons" / "course").glob("*.yaml"))


def scalars(node: Node, at: Location = ()) -> list[tuple[Location, Text]]:
    if isinstance(node, Text):
        return [(at, node)]
    if isinstance(node, Items):
        return [one for k, item in enumerate(node.items) for one in scalars(item, (*at, k))]
    assert isinstance(node, Keys)
    return [one for key, (_, value) in node.entries.items() for one in scalars(value, (*at, key))]


def leaves(tree: object, at: Location = ()) -> dict[Location, object]:
    if isinstance(tree, dict):
        return {k: v for key, value in tree.items() for k, v in leaves(value, (*at, key)).items()}
    if isinstance(tree, list):
        return {k: v for n, value in enumerate(tree) for k, v in leaves(value, (*at, n)).items()}
    return {at: tree}


def alike(one: bytes, other: bytes) -> int:
    """How many bytes two texts begin with alike."""
    return next((k for k, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))


# ------------------------------------------------------------------ generated files

words = st.from_regex(r"[a-z][a-z0-9 ]{0,8}[a-z0-9]", fullmatch=True)
names = st.from_regex(r"[a-z][a-z-]{0,6}[a-z]", fullmatch=True)
comments = st.sampled_from(["", "  # why not", "   #: {odd, [marks]}", " # ü – ß"])


@st.composite
def files(draw: st.DrawFn) -> str:
    """A file's lines: flow and block, comments, blank lines, quotes, anchors and aliases, odd indentation."""
    step = draw(st.sampled_from([1, 2, 4]))
    out: list[str] = [*draw(st.lists(st.sampled_from(["# a head", "", "---"]), max_size=1))]
    anchored: list[str] = []

    def scalar() -> str:
        value = draw(words)
        return draw(st.sampled_from([value, f'"{value}"', f"'{value}'", value]))

    def flow(depth: int = 0) -> str:
        kind = draw(st.sampled_from(["scalar", "list", "keys"] if depth < 2 else ["scalar"]))
        gap = draw(st.sampled_from(["", " "]))
        if kind == "scalar":
            return scalar()
        if kind == "list":
            return f"[{gap}" + ", ".join(flow(depth + 1) for _ in range(draw(st.integers(1, 3)))) + f"{gap}]"
        keys = draw(st.lists(names, min_size=1, max_size=3, unique=True))
        return f"{{{gap}" + ", ".join(f"{key}: {flow(depth + 1)}" for key in keys) + f"{gap}}}"

    def block(indent: int, depth: int) -> None:
        for key in draw(st.lists(names, min_size=1, max_size=4, unique=True)):
            pad, note = " " * indent, draw(comments)
            form = draw(st.sampled_from(["scalar", "flow", "keys", "items", "anchor", "alias"]))
            if form == "keys" and depth < 2:
                out.append(f"{pad}{key}:{note}")
                block(indent + step, depth + 1)
            elif form == "items" and depth < 2:
                out.append(f"{pad}{key}:{note}")
                for _ in range(draw(st.integers(1, 3))):
                    out.append(f"{pad}{draw(st.sampled_from(['', ' ' * step]))}- {flow(1)}")
                    out[-1] = f"{pad}  - {flow(1)}"
            elif form == "anchor":
                name = f"a{len(anchored)}"
                out.append(f"{pad}{key}: &{name} {flow(1)}{note}")
                anchored.append(name)
            elif form == "alias" and anchored:
                out.append(f"{pad}{key}: *{draw(st.sampled_from(anchored))}{note}")
            else:
                out.append(f"{pad}{key}: {flow()}{note}")
            if draw(st.booleans()):
                out.append(draw(st.sampled_from(["", f"{pad}# between", "\t"])) if note else "")

    block(0, 0)
    return "\n".join(out)


@st.composite
def encoded(draw: st.DrawFn) -> bytes:
    if draw(st.booleans()):
        return odd_file(draw(st.integers(0, 10**9)))
    text = draw(files())
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    last = draw(st.sampled_from(["", end]))
    return draw(st.sampled_from([b"", BOM])) + (text.replace("\n", end) + last).encode("utf-8")


def written_of(data: bytes, node: Text) -> bytes:
    """What of the file is a value."""
    assert node.end is not None
    lines = BREAK.split(data.decode("utf-8-sig"))[node.place.line - 1 : node.end.line]
    lines[-1] = lines[-1][: node.end.column - 1]
    lines[0] = lines[0][node.place.column - 1 :]
    return " ".join(lines).encode()


def readable(data: bytes) -> Node | None:
    try:
        return read_text(data, "f.yaml")
    except LessonError:
        return None


@settings(max_examples=150)
@given(encoded(), st.data())
def test_one_value_changes_one_stretch_of_bytes_and_one_value_of_the_tree(
    data: bytes, chance: st.DataObject
) -> None:
    tree = readable(data)
    if tree is None or not scalars(tree):
        return
    location, node = chance.draw(st.sampled_from(scalars(tree)))
    if node.style in ("|", ">"):
        with pytest.raises(ValueError, match="lines of its own"):
            changed(data, [Edit(location, "431 mm")], "f.yaml")
        return
    new = chance.draw(st.sampled_from(["431 mm", "5/8", "0.873 overlap", "2 1/2 balls", "−3 in"]))
    made = changed(data, [Edit(location, new)], "f.yaml")
    before, after = leaves(plain(tree)), leaves(plain(read_text(made, "f.yaml")))
    assert before.keys() == after.keys()
    differing = {at for at in before if before[at] != after[at]}
    # behind an anchor its aliases change too: they are the same value
    same = {at for at, other in scalars(tree) if other is node}
    assert differing == same
    assert {after[at] for at in differing} == {new}
    # in bytes: what is before the stretch and what is behind it
    start = alike(data, made)
    tail = alike(data[start:][::-1], made[start:][::-1])
    gone = data[start : len(data) - tail]
    # nothing but the value: what YAML reads of a line's end within it is a blank
    assert b" ".join(gone.split()) in b" ".join(written_of(data, node).split())


@settings(max_examples=100)
@given(encoded(), st.data())
def test_a_new_key_is_one_line_or_one_entry_more(data: bytes, chance: st.DataObject) -> None:
    tree = readable(data)
    if not isinstance(tree, Keys) or "spot" in tree.entries:
        return
    made = changed(data, [Edit(("spot",), "[250 mm, 100 mm]")], "f.yaml")
    assert plain(read_text(made, "f.yaml")) == {**plain(tree), "spot": ["250 mm", "100 mm"]}
    start = alike(data, made)
    assert data[start:] == made[start + len(made) - len(data) :]


@settings(max_examples=100)
@given(encoded(), st.data())
def test_a_renamed_entry_is_the_same_for_a_reader_of_another_house(data: bytes, chance: st.DataObject) -> None:
    """Key and value are changed in PyYAML's graph of nodes, where an alias is its anchor's node."""
    tree = readable(data)
    if not isinstance(tree, Keys) or b"\r" in data:
        return  # what it takes for a line's end differs
    at = chance.draw(st.sampled_from([at for at, _ in scalars(tree) if at and isinstance(at[-1], str)] or [()]))
    try:
        graph: Any = yaml.compose(data.decode("utf-8-sig"), Loader=yaml.BaseLoader)
        made = changed(data, [Edit(at, "431 mm", renamed="other-key")], "f.yaml") if at else data
    except (yaml.YAMLError, ValueError):
        return
    holder = graph
    for part in at[:-1]:
        holder = (
            next(v for k, v in holder.value if k.value == part) if isinstance(part, str) else holder.value[part]
        )
    for key, value in holder.value if at else ():
        if key.value == at[-1]:
            key.value, value.value = "other-key", "431 mm"

    def told(node: yaml.Node) -> object:
        if isinstance(node, yaml.MappingNode):
            return {key.value: told(value) for key, value in node.value}
        return [told(one) for one in node.value] if isinstance(node, yaml.SequenceNode) else node.value

    again: Any = yaml.compose(made.decode("utf-8-sig"), Loader=yaml.BaseLoader)
    assert told(again) == told(graph)


@settings(max_examples=150)
@given(encoded(), st.data())
def test_an_entry_goes_with_its_own_bytes_alone_or_nothing_does(data: bytes, chance: st.DataObject) -> None:
    tree = readable(data)
    if not isinstance(tree, Keys) or len(tree.entries) < 2:
        return
    key = chance.draw(st.sampled_from(list(tree.entries)))
    try:
        made = changed(data, [Edit((key,), None)], "f.yaml")
    except ValueError:
        # what it holds is named elsewhere: that would lead nowhere
        assert b"&" in data
        return
    left = plain(tree)
    del left[key]
    assert plain(read_text(made, "f.yaml")) == left
    start = alike(data, made)
    assert data[len(data) - (len(made) - start) :] == made[start:]


@pytest.mark.parametrize("path", COURSE, ids=lambda path: path.stem)
def test_every_value_of_the_course_can_be_changed_alone(path: Path) -> None:
    data = path.read_bytes()
    for end in (b"\n", b"\r\n"):
        text = data.replace(b"\n", end)
        for location, node in scalars(read_text(text, path.name)):
            if node.style in ("|", ">"):
                continue
            made = changed(text, [Edit(location, "431 mm")], path.name)
            apart = [a for a, b in zip(text.split(end), made.split(end), strict=True) if a != b]
            assert len(apart) == 1 or node.text == "431 mm"


@pytest.mark.parametrize(
    ("before", "edits", "after"),
    [
        ("a: &x 1 mm   # one\nb: *x\n", [(("a",), "2 mm")], "a: &x 2 mm   # one\nb: *x\n"),
        ("a: &x 1 mm\nb: *x\n", [(("b",), "2 mm")], "a: &x 2 mm\nb: *x\n"),
        ("eyes:\n  down: {back: 1 m, height: 2 m}\n", [(("eyes", "down", "offset"), "3 mm")],
         "eyes:\n  down: {offset: 3 mm, back: 1 m, height: 2 m}\n"),
        ("eyes:\n  down:\n    back: 1 m # far\n    height: 2 m\n", [(("eyes", "down", "offset"), "3 mm")],
         "eyes:\n  down:\n    back: 1 m # far\n    height: 2 m\n    offset: 3 mm\n"),
        ("title: A\npocket: foot-left # here\nclips:\n  - kind: title", [(("spot",), "[1 mm, 2 mm]")],
         "title: A\npocket: foot-left # here\nspot: [1 mm, 2 mm]\nclips:\n  - kind: title"),
        ("clips:\n  - kind: table\n    cuts: 1/2", [(("clips", 0, "pocket"), "side-left")],
         "clips:\n  - kind: table\n    cuts: 1/2\n    pocket: side-left"),
        ("cuts: [3/4, '1/2']\n", [(("cuts", 0), "1/4"), (("cuts", 1), "5/8")], "cuts: [1/4, '5/8']\n"),
        ("spot: [1 mm,\n  2 mm]\nx: 1\n", [(("spot",), "[3 mm, 4 mm]")], "spot: [3 mm,\n  4 mm]\nx: 1\n"),
        ("spot: [ 1 mm,# along\n  2 mm ] # here\n", [(("spot",), "[1 mm, 4 mm]")],
         "spot: [ 1 mm,# along\n  4 mm ] # here\n"),
        ("a: &d {near: 1 m}\nx: *d\n", [(("a", "near"), "2 m")], "a: &d {near: 2 m}\nx: *d\n"),
        ("a:\n  ? near\n  : 300 mm\n", [(("a", "near"), "2 m")], "a:\n  ? near\n  : 2 m\n"),
        ("a: {\U0001f600b: 1 m, near: 3 m} # \U0001f600\n", [(("a", "near"), "2 m")],
         "a: {\U0001f600b: 1 m, near: 2 m} # \U0001f600\n"),
        ("t: A # x\u2028a: {near: 3 m}\n", [(("a", "near"), "2 m")], "t: A # x\u2028a: {near: 2 m}\n"),
        ("a: {near: }\n", [(("a", "near"), "2 m")], "a: {near:  2 m}\n"),
        ("a: {near: ~}\n", [(("a", "near"), "2 m")], "a: {near: 2 m}\n"),
        ("---\na: {b: 3 m}\n...\n", [(("spot",), "[1 m, 2 m]")], "---\na: {b: 3 m}\nspot: [1 m, 2 m]\n...\n"),
        ("a: {near: 3 m}\t# tab", [(("a", "near"), "2 m")], "a: {near: 2 m}\t# tab"),
        ("a:\n  - 1 mm  # one\n  - 2 mm\n", [(("a",), "[1 mm, 3 mm]")], "a:\n  - 1 mm  # one\n  - 3 mm\n"),
        ("a:\n  rail: left\n  at: 3 mm\n# b", [(("a",), "[1 mm, 2 mm]")], "a: [1 mm, 2 mm]\n# b"),
        ("a: &x\n  - 1\nb: *x\n", [(("spot",), "2")], "a: &x\n  - 1\nb: *x\n".replace("a:", "spot: 2\na:")),
        ("a:\n  - k: |\n      x\n", [(("a", 0, "spot"), "2")], "a:\n  - spot: 2\n    k: |\n      x\n"),
        ("a:\n  - 1  # one\n", [(("a", 1), "2")], "a:\n  - 1  # one\n  - 2\n"),
        ("a: [1 ]\n", [(("a", 1), "2")], "a: [1, 2 ]\n"),
    ],
)  # fmt: skip
def test_forms(before: str, edits: list[tuple[Location, str]], after: str) -> None:
    assert changed(before.encode(), [Edit(*one) for one in edits]).decode() == after


@pytest.mark.parametrize(
    ("before", "at", "after"),
    [
        ("target:   # a rail\n  rail: left\n  at: 3 mm\n# b", ("target",), "pocket: new   # a rail\n# b"),
        ("target: # a rail\n  # more\n  rail: left # at\nb: 1", ("target",),
         "pocket: new # a rail\n  # more # at\nb: 1"),
        ("target:\n  # a place\n  - 1 mm\n  - 2 mm\nb: 1", ("target",), "pocket: new\n  # a place\nb: 1"),
        ('"t\\u00e9 a" : 1 mm # x\n', ("té a",), "pocket : new # x\n"),
        ("'it''s': 1 mm\n", ("it's",), "pocket: new\n"),
        ("a:b: 1 mm\n", ("a:b",), "pocket: new\n"),
        ("a: &x {target: 1 mm}\nb: *x\n", ("b", "target"), "a: &x {pocket: new}\nb: *x\n"),
        ("a: &x 1 mm\ntarget: *x\n", ("target",), "a: &x new\npocket: *x\n"),
    ],
)  # fmt: skip
def test_a_key_is_renamed_with_its_value_and_comments_stay(before: str, at: Location, after: str) -> None:
    assert changed(before.encode(), [Edit(at, "new", renamed="pocket")]).decode() == after


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize(
    ("before", "gone", "after"),
    [
        ("{\n  a: [0, 1],  # sharp\n  b: [3, 4],  # far\n  c: [5, 6]   # last\n}",
         "b", "{\n  a: [0, 1],  # sharp\n  # far\n  c: [5, 6]   # last\n}"),
        ("{\n  a: [0, 1],  # sharp\n  b: [3, 4],  # far\n  c: [5, 6]   # last\n}",
         "c", "{\n  a: [0, 1],  # sharp\n  b: [3, 4]  # far\n  # last\n}"),
        ("{\n  a: [0, 1],  # sharp\n  b: [3, 4],  # far\n  c: [5, 6]   # last\n}",
         "a", "{\n  # sharp\n  b: [3, 4],  # far\n  c: [5, 6]   # last\n}"),
        ("{a: 1, # sharp\n  b: 2, c: 3}", "a", "{ # sharp\n  b: 2, c: 3}"),
        ("{a: 1, # sharp\n  b: 2}", "b", "{a: 1 # sharp\n  }"),
        ("{a: 1, # sharp\n  b: 2\n  }", "b", "{a: 1 # sharp\n  }"),
        ("{a: 1, b: 2,\n  # of c, so\n  c: 3}", "b", "{a: 1,\n  # of c, so\n  c: 3}"),
        ("{\n  a: 1,\n  # of b, so\n  b: 2,\n  # of c\n  c: 3}", "b",
         "{\n  a: 1,\n  # of b, so\n  # of c\n  c: 3}"),
        ("{a: 1 # one, so\n  , b: 2}", "a", "{ # one, so\n   b: 2}"),
        ("{a: 1, b: 2 # two, so\n  , c: 3}", "b", "{a: 1, # two, so\n   c: 3}"),
        ("{a: 1, # one\n  b: 2, # two\n}", "b", "{a: 1, # one\n  # two\n}"),
        ("{a: 1, b: '#', c: 3}", "b", "{a: 1, c: 3}"),
        ("{a: 1, b: [ # in it\n 2], c: 3}", "b", "{a: 1, c: 3}"),
    ],
)  # fmt: skip
def test_in_brackets_an_entry_goes_and_the_comments_beside_it_stay(
    before: str, gone: str, after: str, end: str
) -> None:
    one, other = (f"k: {text} # k\n".replace("\n", end).encode() for text in (before, after))
    assert changed(one, [Edit(("k", gone), None)]) == other


gaps = st.sampled_from(
    ["", " ", "  ", "\n  ", " # so, and\n  ", "\n  # above, {it}\n  ", "  # one\n # two\n   ", "\n\n  "]
)


@settings(max_examples=150)
@given(
    st.booleans(), st.lists(st.tuples(gaps, gaps), min_size=2, max_size=4), gaps, st.booleans(),
    st.integers(0, 3), st.sampled_from(["\n", "\r\n", "\r"]),
)  # fmt: skip
def test_in_brackets_whatever_stands_between_only_the_entry_and_a_comma_go(
    is_list: bool, around: list[tuple[str, str]], last: str, is_trailed: bool, which: int, end: str
) -> None:
    """Blanks aside, what is left is the text without the entry and one comma."""
    which %= len(around)
    entries = [f"[{k}, '#{k}']" if is_list else f"k{k}: [{k}, '#{k}']" for k in range(len(around))]

    def text(left: list[str]) -> str:
        parts = (f"{before}{one}{after}" for one, (before, after) in zip(left, around, strict=True))
        inside = ",".join(parts) + (f",{last}" if is_trailed else "")
        return ("a: [{}]" if is_list else "a: {{{}}}").format(inside) + " # a\n"

    data = text(entries).replace("\n", end).encode()
    if readable(data) is None:
        return  # a mark that follows a value at once begins no comment
    made = changed(data, [Edit(("a", which if is_list else f"k{which}"), None)]).decode()
    left = text([one if k != which else "" for k, one in enumerate(entries)])

    assert re.sub(r"[\s,]", "", made) == re.sub(r"[\s,]", "", left)
    assert left.count(",") - made.count(",") == 1


@pytest.mark.parametrize(
    ("text", "edit"),
    [
        ("a: |\n  long\n  text\n", (("a",), "short")),
        ("a:\n  - 1 # one\n  - 2\n", (("a",), "[1, 2, 3]")),
        ("a: 1\n", (("b", "c"), "2")),
        ("a: 1\n", (("a",), "x # y")),
        ("a: 1\n", (("a",), "[x: {")),
        ("a: [1, 2]\n", (("a", 0), "1, 5")),
        ("a: 'x'\n", (("a",), "it's")),
        ("a: [1, # one\n  2]\n", (("a",), "[1, 2, 3]")),
        ("a: {<<: {near: 1 m}}\n", (("a", "near"), "2 m")),
        ("a: {near: !!str 1 m}\n", (("a", "near"), "2 m")),
        ("a: {near: 1 m, near: 2 m}\n", (("a", "near"), "3 m")),
    ],
)
def test_what_cannot_be_changed_in_place_is_refused(text: str, edit: tuple[Location, str]) -> None:
    with pytest.raises((ValueError, LessonError)):
        changed(text.encode(), [Edit(*edit)])


# ------------------------------------------------------------------ whole texts


@settings(max_examples=150)
@given(
    st.lists(st.text(alphabet="ab: #-", max_size=6), max_size=8),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from([b"", BOM]),
    st.lists(st.text(alphabet="ab: #-", max_size=6), max_size=8),
)
def test_a_typed_text_keeps_the_bytes_of_the_lines_that_it_keeps(
    lines: list[str], end: str, head: bytes, typed: list[str]
) -> None:
    data = head + end.join(lines).encode()
    assert retold(data, "\n".join(lines)) == data
    made = retold(data, "\n".join(typed))
    assert made.startswith(head)
    told = made[len(head) :].decode()
    assert told.replace("\r\n", "\n").replace("\r", "\n") == "\n".join(typed)
    if end in end.join(lines):
        assert not told.replace(end, "").count("\n") + told.replace(end, "").count("\r")


def test_mixed_line_ends_stay_where_they_are() -> None:
    assert retold(b"a\r\nb\nc\rd", "a\nb\nx\nc\nd") == b"a\r\nb\nx\nc\rd"


# ------------------------------------------------------------------ the file


def test_a_file_is_replaced_whole_with_its_mode_where_a_link_leads(tmp_path: Path) -> None:
    real, link = tmp_path / "real.yaml", tmp_path / "link.yaml"
    real.write_bytes(b"a: 1\n")
    real.chmod(0o640)
    link.symlink_to(real)
    save(link, b"a: 2\n", b"a: 1\n")
    assert real.read_bytes() == b"a: 2\n"
    assert real.stat().st_mode & 0o777 == 0o640
    assert link.is_symlink()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["link.yaml", "real.yaml"]


def test_what_somebody_else_saved_meanwhile_is_not_written_over(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(b"theirs\n")
    with pytest.raises(FileChangedError):
        save(path, b"mine\n", b"before\n")
    assert path.read_bytes() == b"theirs\n"
    with pytest.raises(FileChangedError):
        save(path, b"mine\n", None)
