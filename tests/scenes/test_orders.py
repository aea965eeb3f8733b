"""Orders: any frame of any kind, whatever was asked before; what they say is what the painter here paints."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import orjson
import pytest

from lessons.lesson.model import load
from lessons.planning.plan import plan
from lessons.planning.planned import PlannedClip
from scenes.board import Board
from scenes.draw.display import Display
from scenes.draw.orders import Orders, needed
from scenes.kinds import CLIP_KINDS

COURSE = Path(__file__).parents[2] / "lessons" / "course"


def clips_by_kind() -> dict[str, PlannedClip]:
    found: dict[str, PlannedClip] = {}
    for name in ("demo", "eight-cuts", "what-the-eye-sees", "ways-of-my-own"):
        for clip in plan(load(COURSE / f"{name}.yaml"), draft=True).clips:
            found.setdefault(clip.kind, clip)
    return found


CLIPS = clips_by_kind()


def board_of(kind: str) -> Board:
    return CLIP_KINDS[kind].board(CLIPS[kind].brief)


def whole(orders: Orders, frame: int) -> tuple[list, dict[str, bytes]]:
    shown = orders.frame(frame)
    return [one.told for one in shown], {name: orders.part(name) for name in needed(orders, shown)}


def head_and_floats(part: bytes) -> tuple[dict, np.ndarray]:
    size = int.from_bytes(part[:4], "little")
    return orjson.loads(part[4 : 4 + size]), np.frombuffer(part[4 + size :], "<f4")


def test_every_kind_of_the_course_is_here() -> None:
    assert set(CLIPS) == {name for name, kind in CLIP_KINDS.items() if not (kind.is_filmed or kind.is_film)}


@pytest.mark.parametrize("kind", sorted(CLIPS))
def test_a_frame_has_the_same_bytes_whatever_was_asked_before(kind: str) -> None:
    board = board_of(kind)
    wanderer, dice = Orders(board, 0.5), random.Random(kind)
    for frame in [dice.randrange(board.frames) for _ in range(4)]:
        assert whole(wanderer, frame) == whole(Orders(board, 0.5), frame)


@pytest.mark.parametrize("kind", ["build-up", "players-eye"])
def test_the_curves_are_those_of_the_display_list(kind: str) -> None:
    """Every path's curves come back from the floats, joined and closed as they were."""
    board = board_of(kind)
    frame = board.frames * 2 // 3
    display = Display(board)
    shown, parts = whole(Orders(board), frame)
    slots = [s for s in display.slots if s.element is not None and display.opacity(s, frame) > 0]
    expected = [paths for slot in slots if (paths := [p for p in display.shapes(slot, frame) if len(p.curves)])]
    told = [(*head_and_floats(parts[name]), np.array(by_px or (0, 0))) for name, _, *by_px in shown]
    told = [one for one in told if one[0]["is"] == "paths"]
    assert len(told) == len(expected)
    for (head, floats, by_px), paths in zip(told, expected, strict=True):
        at = 0
        for (pieces, *_), path in zip(head["paths"], paths, strict=True):
            curves = []
            for piece in pieces:
                count = abs(piece)
                points = floats[at : at + 2 + 6 * count].reshape(-1, 2) + by_px
                at += 2 + 6 * count
                curves += [points[3 * k : 3 * k + 4] for k in range(count)]
            assert (
                np.abs(np.array(curves) - path.curves).max() < 2e-3
            )  # float32, and ends within a thousandth join
        assert at == len(floats)


def test_what_rests_keeps_its_name_and_a_fade_changes_the_opacity_alone() -> None:
    board = board_of("build-up")
    orders = Orders(board)
    first, end = max(board.still_stretches(), key=lambda one: one[1] - one[0])
    assert orders.frame(first) == orders.frame(end - 1)
    names = {one.name for frame in range(40) for one in orders.frame(frame)}
    # forty frames, in which words fade in: not a name for each of them
    assert len(names) < 3 * max(len(orders.frame(frame)) for frame in range(40))


def test_the_names_are_the_same_in_another_process_and_at_another_time() -> None:
    one, other = Orders(board_of("table")), Orders(board_of("table"))
    assert one.frame(10) == other.frame(10)
    names = [shown.name for shown in one.frame(10)]
    assert len(names) == len(set(names))


def test_a_plate_is_told_with_its_table_and_in_the_painters_own_pixels() -> None:
    board = board_of("players-eye")
    for zoom in (0.5, 1.0):
        orders = Orders(board, zoom)
        shown, parts = whole(orders, board.frames - 1)
        plates = [
            head_and_floats(parts[name]) for name, *_ in shown if head_and_floats(parts[name])[0]["is"] == "plate"
        ]
        seen = [p for p in board.panes if p.background == "plate" and p.opacity.at(board.frames - 1)[0] > 0]
        assert len(plates) == len(seen) > 0
        for head, floats in plates:
            values, at = {}, 0
            for name, count in head["uniforms"]:
                values[name], at = floats[at : at + count], at + count
            assert values["size_px"].tolist() == [board.width_px * zoom, board.height_px * zoom]
            assert head["table"] in parts
            P = np.diag([zoom, zoom, 1.0]) @ next(p for p in board.panes if p.background == "plate").projection(0)
            if np.allclose(values["depth_row"], P[2] / np.linalg.norm(P[2, :3]), atol=1e-3):
                eye = -np.linalg.solve(P[:, :3], P[:, 3])
                assert np.allclose(values["eye_mm"], eye, atol=0.1)
            rows = sum(one[3] * sum(n for _, n in one[2]) for one in head["batches"] if len(one) == 4)
            assert at + rows == len(floats)
