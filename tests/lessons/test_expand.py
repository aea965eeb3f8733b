"""The matrix: which clips a lesson makes, what they are called, and what is refused."""

from __future__ import annotations

import json
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessons.lesson.faults import LessonError
from lessons.lesson.fields import RESERVED
from lessons.lesson.model import loads
from lessons.lesson.values import Cut
from lessons.planning.expand import MOST_SHOTS, Request, expand
from tests.counting import at_most_calls

HEAD = "title: A\ncuts: [14.5, 1/2, 0]\ndistances: {near: 300 mm, far: 900 mm}\n"


def requests(clips: str, head: str = HEAD) -> tuple[Request, ...]:
    """What a lesson with these clips asks for."""
    return expand(loads(f"{head}clips:\n{clips}", "cuts.yaml"))


def names(clips: str, head: str = HEAD) -> list[str]:
    """The names of the clips."""
    return [r.name for r in requests(clips, head)]


def messages(clips: str, head: str = HEAD) -> list[str]:
    """The messages with which the clips are refused."""
    with pytest.raises(LessonError) as caught:
        requests(clips, head)
    return str(caught.value).splitlines()


def test_a_group_covers_everything_by_default() -> None:
    made = names("  - kind: build-up")
    assert len(made) == 5 * (2 * 2 + 1) * 2  # a straight shot has one side
    assert len(set(made)) == len(made)


def test_names_say_what_is_shown() -> None:
    assert names("  - {kind: build-up, methods: ghost-ball, cuts: 14.5, sides: left, distances: far}") == [
        "ghost-ball_build-up_cut-14.5_left_far"
    ]
    assert names("  - {kind: table, cuts: [1/2, 0], sides: right, distances: near}") == [
        "table_overlap-1-2_right_near",
        "table_cut-0_straight_near",
    ]
    assert names(
        "  - {kind: title}\n  - {kind: section, title: 'Über: the LINE!'}\n  - {kind: title, name: outro}"
    ) == [
        "title",
        "section_ber-the-line",
        "outro",
    ]


def test_a_name_depends_on_nothing_else_in_the_lesson() -> None:
    alone = names("  - {kind: build-up, cuts: 1/2}")
    among = names("  - {kind: table}\n  - {kind: build-up}\n  - {kind: title}")
    assert set(alone) < set(among)
    assert names("  - {kind: table, cuts: 14.50}", "title: A\ncuts: [14.5, 30]\n") == names(
        "  - {kind: table, cuts: 14.5}", "title: A\ncuts: 14.50\n"
    )


def test_cuts_are_the_same_however_they_are_written() -> None:
    assert names("  - {kind: table, cuts: 30}") == names("  - {kind: table, cuts: 8 sixteenths}") != []
    assert all("30" in name for name in names("  - {kind: table, cuts: 30}", HEAD.replace("1/2", "30")))


def test_exclusions_leave_clips_out() -> None:
    made = names(
        "  - kind: build-up\n    exclude:\n      - {cuts: 30, sides: left}\n      - {methods: [ghost-ball]}"
    )
    assert not [n for n in made if "ghost" in n or "1-2_left" in n]
    assert len(made) == 4 * (2 + 1 + 1) * 2


def test_later_overrides_come_first_and_the_group_last() -> None:
    made = requests(
        "  - kind: table\n    spot: [1 diamond, 0]\n    overrides:\n      - {cuts: 14.5, pocket: foot-right}\n"
        "      - {cuts: 14.5, sides: left, pocket: head-left}\n"
    )
    by_name = {r.name: [location[-2:] for _, location in r.changes] for r in made}
    assert by_name["table_cut-14.5_left_near"] == [("overrides", 1), ("overrides", 0), ("clips", 0)]
    assert by_name["table_cut-14.5_right_near"] == [("overrides", 0), ("clips", 0)]
    assert by_name["table_cut-0_straight_near"] == [("clips", 0)]


def test_every_clip_keeps_the_place_of_its_group() -> None:
    assert {(r.place.line, r.place.column) for r in requests("  - kind: title\n  - kind: table")} == {
        (5, 5),
        (6, 5),
    }


def test_a_kind_that_spans_cuts_makes_one_clip_with_a_view_a_cut() -> None:
    (summary,) = requests("  - kind: summary")
    assert summary.name == "summary"
    assert [v.cut.text for v in summary.views] == ["14.5", "1/2", "0"]
    assert [v.side for v in summary.views] == ["left", "left", "straight"]
    (some,) = requests("  - {kind: summary, cuts: [30]}")
    assert [v.cut.text for v in some.views] == ["1/2"]


@pytest.mark.parametrize(
    ("clips", "message"),
    [
        ("  - {kind: table, distances: fra}", "5:30: unknown distance 'fra'; did you mean 'far'?"),
        ("  - {kind: table, cuts: 31}", "5:25: cut 31 is not among the lesson's cuts (14.5, 1/2, 0)."),
        ("  - {kind: table, cuts: [30, 1/2]}", "5:30: cut 1/2 is the same as 30, which is listed too."),
        ("  - {kind: table, exclude: {cuts: 31}}", "5:35: cut 31 is not among"),
        ("  - {kind: table, exclude: {}}", "an exclusion that names nothing would exclude everything."),
        ("  - {kind: table, cuts: 30, exclude: {cuts: 14.5}}", "clips[0].exclude[0] fits no clip of its group."),
        (
            "  - {kind: table, cuts: 30, overrides: {cuts: 14.5}}",
            "clips[0].overrides[0] fits no clip of its group.",
        ),
        (
            "  - {kind: table, exclude: {sides: [left, right], distances: [near, far]}, cuts: 30}",
            "excludes every clip",
        ),
        (
            "  - kind: table\n  - kind: table",
            "6:5: clip 'table_cut-14.5_left_near' is made by line 5 too; give one",
        ),
    ],
)
def test_faults_of_the_matrix(clips: str, message: str) -> None:
    found = messages(clips)
    assert any(message in line for line in found), found
    assert all(re.match(r"cuts\.yaml:\d+:\d+: .*[.?]$", line) for line in found), found


def test_a_huge_matrix_is_refused_before_it_is_walked() -> None:
    cuts = ", ".join(str(c / 100) for c in range(1, 2001))
    distances = ", ".join(f"d{i}: {100 + i} mm" for i in range(1000))
    head = f"title: A\ncuts: [{cuts}]\ndistances: {{{distances}}}\n"
    with at_most_calls(1_000_000):
        (message,) = messages("  - kind: build-up", head)
    assert message.endswith(f"the clips multiply to 20,000,000 shots; a lesson may have {MOST_SHOTS:,} at most.")


def test_cuts_listed_twice_over_are_compared_a_few_times_each(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not each with each: a thousand cuts took half a million comparisons."""
    compared = []
    same = Cut.same_as

    def counted(one: Cut, other: Cut) -> bool:
        compared.append(one)
        return same(one, other)

    monkeypatch.setattr(Cut, "same_as", counted)
    listed = ", ".join(f"{c / 100:.2f}" for c in range(1, 1001))
    excluded = "".join(f"      - cuts: {c / 100:.2f}\n" for c in range(1, 501))
    head = f"title: A\ncuts: [{listed}]\nsides: left\ndistances: {{near: 300 mm}}\n"
    made = requests(f"  - kind: table\n    cuts: [{listed}]\n    exclude:\n{excluded}", head)
    assert len(made) == 500
    assert len(compared) < 10 * 1000


@given(st.data())
def test_an_exclusion_takes_out_what_fits_all_that_it_names(data: st.DataObject) -> None:
    """Against the plain rule: for each of its keys, the clip's value is among those that it names."""
    axes = {"cuts": ["14.5", "3/4", "1/2", "0"], "sides": ["left", "right"], "distances": ["near", "far"]}
    one = st.fixed_dictionaries(
        {}, optional={k: st.lists(st.sampled_from(v), min_size=1) for k, v in axes.items()}
    )
    items = data.draw(st.lists(one.filter(bool), min_size=1, max_size=4))
    for item in items:
        # the same cut may not be named twice, and 3/4 is 14.48 degrees, not 14.5
        item.update({key: sorted(set(values)) for key, values in item.items()})
    head = "title: A\ncuts: [14.5, 3/4, 1/2, 0]\ndistances: {near: 300 mm, far: 900 mm}\n"
    every = requests("  - kind: table", head)

    def fits(request: Request, item: dict[str, list[str]]) -> bool:
        on = {"cuts": request.on["cut"].text, "sides": request.on["side"], "distances": request.on["distance"]}
        return all(on[key] in values for key, values in item.items())

    kept = [r.name for r in every if not any(fits(r, item) for item in items)]
    useless = [k for k, item in enumerate(items) if not any(fits(r, item) for r in every)]
    written = "".join(f"      - {json.dumps(item)}\n" for item in items)
    if useless or not kept:
        found = messages(f"  - kind: table\n    exclude:\n{written}", head)
        told = [f"clips[0].exclude[{k}] fits no clip of its group." for k in useless]
        told += ["clips[0] excludes every clip that it makes."] * (not kept)
        assert sorted(m.split(": ", 1)[1] for m in found) == sorted(told)
    else:
        assert names(f"  - kind: table\n    exclude:\n{written}", head) == kept


def test_a_clip_that_too_many_overrides_change_is_refused_at_them() -> None:
    overrides = "      - pocket: foot-left\n" * 101
    (message,) = messages(f"  - kind: table\n    overrides:\n{overrides}")
    assert message == "cuts.yaml:7:7: 101 overrides change table_cut-14.5_left_near; at most 100 may."


def test_a_moving_eye_of_too_many_eyes_is_refused_before_they_are_placed() -> None:
    eyes = ", ".join(f"e{i}: {{back: {500 + i} mm, height: 300 mm}}" for i in range(13))
    (message,) = messages("  - kind: moving-eye", f"{HEAD}eyes: {{{eyes}}}\n")
    assert message.endswith(
        "a moving-eye clip shows 12 eyes at most, not 13; name those that it shows under 'eyes'."
    )


NAME = st.from_regex(r"[a-z][a-z0-9-]{0,31}", fullmatch=True).filter(lambda n: n not in RESERVED)


@settings(max_examples=60)
@given(
    st.lists(st.integers(0, 8999), min_size=1, max_size=3, unique=True),
    st.lists(NAME, min_size=1, max_size=3, unique=True),
    NAME,
    st.text(st.characters(codec="latin-1", exclude_categories=["C", "Z"]), min_size=1, max_size=60),
)
def test_names_are_safe_on_every_file_system(cuts: list[int], distances: list[str], name: str, title: str) -> None:
    # Windows: reserved characters and device names, no trailing dot or space; every system: at most 255 bytes
    # (Microsoft, "Naming Files, Paths, and Namespaces")
    head = f"title: A\ncuts: [{', '.join(f'{c / 100:.2f}' for c in cuts)}]\n"
    head += "distances: {" + ", ".join(f"{d}: {300 + i} mm" for i, d in enumerate(distances)) + "}\n"
    quoted = title.replace("'", "''")
    made = names(f"  - {{kind: build-up, name: {name}}}\n  - {{kind: section, title: '{quoted}'}}\n", head)
    assert len({n.casefold() for n in made}) == len(made)
    for one in made:
        assert re.fullmatch(r"[a-z0-9._-]+", one)
        assert one[-1] not in ". "
        assert one.split(".")[0] not in RESERVED
        assert len(one.encode()) + len(".manifest.json") <= 255
