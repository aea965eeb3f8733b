"""Moves follow each other, spans fill their step, words break evenly, columns stand in their place."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenes.board import Leader
from scenes.board.brief import MeasureText
from scenes.board.motion import Sheet, in_turn
from scenes.frame.column import even_lines, joined, measure_texts, text_rect, wrapped
from scenes.frame.layout import layout
from scenes.look.dusk import DUSK
from tests.scenes.briefs import FRAMES


def test_moves_of_a_track_never_overlap() -> None:
    sheet = Sheet()
    sheet.put("a", Leader(((0, 0), (1, 1))), "leader")
    sheet.show("a", (10, 20))
    sheet.hide("a", (15, 18))
    (element,) = sheet.elements()
    one, other = element.opacity.moves
    assert (one.end_frame, other.first_frame) == (20, 20)
    assert element.opacity.at(19) == (1.0,)
    assert element.opacity.at(other.end_frame) == (0.0,)
    with pytest.raises(ValueError, match="two elements are called a"):
        sheet.put("a", Leader(((0, 0), (1, 1))), "leader")


@given(
    seconds=st.lists(st.floats(0, 5), min_size=1, max_size=9),
    frames=st.integers(1, 600),
    rate=st.sampled_from([(24000, 1001), (25, 1), (60, 1)]),
)
def test_spans_follow_each_other_within_the_step(seconds: list[float], frames: int, rate: tuple[int, int]) -> None:
    spans = in_turn(100, 100 + frames, seconds, rate)
    assert spans[0][0] == 100
    assert all(a <= b for a, b in spans)
    assert all(one[1] == other[0] for one, other in pairwise(spans))
    assert spans[-1][1] <= 100 + frames
    if sum(seconds) * rate[0] / rate[1] <= frames:
        for (a, b), s in zip(spans, seconds, strict=True):
            assert b - a == pytest.approx(s * rate[0] / rate[1], abs=1.01)


@given(st.lists(st.text("abcdefgh", min_size=1, max_size=9), min_size=1, max_size=8), st.integers(9, 30))
def test_words_break_into_the_fewest_lines_that_fit(words: list[str], room: int) -> None:
    lines = even_lines(" ".join(words), room, len)
    assert " ".join(lines).split() == words
    assert all(len(line) <= room for line in lines)
    greedy, line = 1, words[0]
    for word in words[1:]:
        greedy, line = (greedy, f"{line} {word}") if len(line) + 1 + len(word) <= room else (greedy + 1, word)
    assert len(lines) == greedy


@pytest.mark.parametrize("frame", FRAMES)
def test_a_title_keeps_its_own_breaks_where_they_fit_and_never_leaves_its_column(frame: str) -> None:
    place = layout(*FRAMES[frame], DUSK)
    for title in ("Aim twice as far\nout as the\ncontact point", "Find the\ncontact point", "One"):
        lines = wrapped(title, place)
        assert all(place.scale.text_width_px(line, "title") <= place.title_width_px for line in lines)
    if frame == "wide":
        assert wrapped("Find the\ncontact point", place) == ("Find the", "contact point")


def test_a_measures_unit_stands_after_its_number_and_a_degree_sign_closes_up() -> None:
    place = layout(1920, 1080, DUSK)
    name, value, unit = measure_texts(MeasureText("a", "Aim offset", "28.6", "mm"), place, 100.0, 400.0)
    assert [t.style for t in (name, value, unit)] == ["measure_name", "measure", "unit"]
    x, _, w, _ = text_rect(value, place.scale)
    assert unit.at_px[0] > x + w
    assert unit.at_px[1] == value.at_px[1]
    (_, angle) = measure_texts(MeasureText("cut", "Cut", "22.0", "°"), place, 100.0, 400.0)
    assert angle.text == "22.0°"
    assert joined(MeasureText("a", "", "28.6", "mm")) == "28.6\N{NARROW NO-BREAK SPACE}mm"
