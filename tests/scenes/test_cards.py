"""Cards: words in their place, a true construction, tables that fit."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from scenes.board import Ball, Board, HitGlyph, Line, Mark, Shade, Text
from scenes.board.brief import Brief, BriefStep, Output, Subject
from scenes.board.settings import settings_of
from scenes.frame.column import text_rect
from scenes.judge.legible import faults
from scenes.kinds.cards import CardSettings
from scenes.kinds.cards import board as card
from scenes.kinds.cards import outline as card_outline
from scenes.kinds.summary_card import board as summary
from scenes.kinds.summary_card import outline as summary_outline
from scenes.look.dusk import DUSK
from scenes.look.scale import Scale
from tests.scenes.briefs import FRAMES, shot_of

TITLES = ("Ghost ball", "Doubled\noffset", "Five ways to find the aim, near and far", "Incomprehensibilities")


def card_brief(title: str, size: tuple[int, int]) -> Brief:
    labels = {"title": title, "over": "Part 3", "under": "Twice the contact offset is the aim offset"}
    steps = (BriefStep("card", title, "", 150),)
    return Brief("card", Subject("section"), Output(*size, (30, 1)), steps, labels)


def summary_brief(count: int, size: tuple[int, int]) -> Brief:
    companions = tuple(Subject("summary", shot=shot_of(60 * (i + 1) / count, 400)) for i in range(count))
    header = ("Hit", "Overlap", "Cut", "Contact offset, mm", "Aim offset, mm")
    rows = tuple(
        ("", "5/8", f"{math.degrees(float(c.shot.cut_rad)):.1f}°", "10.7", "21.4") for c in companions if c.shot
    )
    subject = Subject("summary", companions=companions)
    output = Output(*size, (30, 1))
    steps = tuple(
        BriefStep(s.name, "What to\nremember", "", output.frames(s.draws_s)) for s in summary_outline(subject)
    )
    return Brief("summary", subject, output, steps, {}, rows=(header, *rows))


def texts(board: Board, frame: int) -> list[str]:
    return [e.shape.text for e in board.elements if isinstance(e.shape, Text) and e.is_visible(frame)]


@pytest.mark.parametrize("title", TITLES)
@pytest.mark.parametrize("frame", FRAMES)
def test_a_cards_words_are_whole_and_keep_clear_of_its_figure(title: str, frame: str) -> None:
    board = card(card_brief(title, FRAMES[frame]))
    assert faults(board) == []
    said = " ".join(texts(board, board.frames - 1))
    assert all(word in said for word in title.split())
    assert "Part 3" in said


def test_the_figure_on_a_card_is_a_true_half_ball_hit() -> None:
    board = card(card_brief("Ghost ball", FRAMES["wide"]))
    balls = {e.shape.look: np.array(e.shape.centre_mm) for e in board.elements if isinstance(e.shape, Ball)}
    contact = next(
        np.array(e.shape.at_mm) for e in board.elements if isinstance(e.shape, Mark) and e.role == "contact_object"
    )
    assert math.dist(balls["object"], balls["ghost"]) == pytest.approx(57.15)
    assert contact == pytest.approx((balls["object"] + balls["ghost"]) / 2)
    run = balls["object"] - balls["ghost"]
    turn = board.panes[0].camera.track.at(0)[2]
    assert math.atan2(run[1], run[0]) - turn == pytest.approx(math.radians(30))


def test_a_card_without_a_title_is_refused() -> None:
    brief = card_brief("x", FRAMES["wide"])
    with pytest.raises(ValueError, match="needs a title"):
        card(replace(brief, labels={"title": " "}))
    assert [s.sentence for s in card_outline(Subject("title"))] == ["title.card"]


@pytest.mark.parametrize("count", [1, 6, 8])
@pytest.mark.parametrize("frame", FRAMES)
def test_a_summarys_rows_fit_and_every_row_comes(count: int, frame: str) -> None:
    brief = summary_brief(count, FRAMES[frame])
    board = summary(brief)
    assert faults(board) == []
    assert [s.name for s in board.steps if s.name.startswith("row")] == [f"row {i + 1}" for i in range(count)]
    cards = [texts(board, s.end_frame - 1) for s in board.steps if s.name.startswith("card")]
    assert sum(cell.endswith("°") for card_texts in cards for cell in card_texts) == count
    assert max(sum(cell.endswith("°") for cell in card_texts) for card_texts in cards) <= 6
    scale = Scale(*FRAMES[frame], DUSK)
    glyphs = [e.shape for e in board.elements if isinstance(e.shape, HitGlyph)]
    assert len(glyphs) == count
    words = [
        text_rect(e.shape, scale) for e in board.elements if isinstance(e.shape, Text) and ".0" not in e.id[:5]
    ]
    for glyph in glyphs:
        right = glyph.at_px[0] + glyph.radius_px * max(1.0, 1 + glyph.offset)
        row = [x for x, y, w, h in words if y < glyph.at_px[1] < y + h]
        assert all(right < x for x in row), "the hit stands before its row"


def test_a_row_is_lit_while_it_is_spoken_and_no_other() -> None:
    board = summary(summary_brief(8, FRAMES["wide"]))
    rows = [s for s in board.steps if s.name.startswith("row")]
    for span in rows:
        frame = (span.first_frame + span.end_frame) // 2
        lit = [e for e in board.elements if e.id.startswith("row.") and e.opacity.at(frame)[0] > 0.5]
        assert len(lit) == 1
        shade = lit[0].shape
        assert isinstance(shade, Shade)
        strong = [
            e.shape.at_px[1]
            for e in board.elements
            if e.id.startswith("cell.") and isinstance(e.shape, Text) and e.strength.at(frame)[0] > 0.9
        ]
        _, y, _, h = shade.rect_px
        assert strong
        assert all(y < base < y + h for base in strong)


@pytest.mark.parametrize("figure", settings_of(CardSettings)[0].choices)
@pytest.mark.parametrize("frame", FRAMES)
def test_every_figure_stands_with_its_words_from_the_first_frame_and_is_drawn_for_its_reading(
    figure: str, frame: str
) -> None:
    brief = card_brief("Doubled\noffset", FRAMES[frame])
    subject = replace(brief.subject, settings=CardSettings(figure=figure))
    board = card(replace(brief, subject=subject, steps=(replace(brief.steps[0], frames=300),)))
    assert faults(board) == []
    assert texts(board, 0) == texts(board, board.frames - 1)
    W, H = FRAMES[frame]
    arrow = next(e for e in board.elements if isinstance(e.shape, Line) and e.shape.arrow)
    assert isinstance(arrow.shape, Line)
    x, y = board.panes[0].px(arrow.shape.points_mm[1]).tolist()
    assert 0.03 * W < x < 0.97 * W
    assert 0.03 * H < y < 0.97 * H
    rests_s = (board.frames - max(m.end_frame for e in board.elements for t in e.tracks() for m in t.moves)) / 30
    assert rests_s > 2.4  # what is read stands from the first frame on


def test_the_glyphs_ghost_is_as_far_off_as_the_cut_says() -> None:
    """2 sin(cut) radii: at 30 degrees the ghost's centre passes over the object ball's edge."""
    board = summary(summary_brief(2, FRAMES["wide"]))
    offsets = [e.shape.offset for e in board.elements if isinstance(e.shape, HitGlyph)]
    assert offsets == pytest.approx([2 * math.sin(math.radians(30)), 2 * math.sin(math.radians(60))])
    assert offsets[0] == pytest.approx(1.0)


def test_rows_that_do_not_match_the_shots_are_refused() -> None:
    brief = summary_brief(3, FRAMES["wide"])
    with pytest.raises(ValueError, match="a header and 3 rows"):
        summary(replace(brief, rows=brief.rows[:-1]))
