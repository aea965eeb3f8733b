"""`python -m benchmarks.teaching`: how the clips of the course teach, measured on their boards, no picture drawn.

Prints two Markdown tables: the measures over all clips, and the same kind by kind. What each measures stands in
`docs/teaching.md`. A clip counts once, whatever its length.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from statistics import median

import click
import numpy as np

from aimgeo.camera import Outline, ball_outline
from aimgeo.holes import hole_of
from aimgeo.vectors import Array
from benchmarks.runs import planned
from lessons.lesson.timing import PAUSE_A_SENTENCE_S, WORDS_A_MINUTE, clauses, said_by_s
from lessons.planning.planned import PlannedClip
from scenes.board import Ball, Bar, Board, Element, Leader, Line, Mark, Pane, Plate, Rect, Shade, StepSpan
from scenes.board.brief import Brief
from scenes.board.clauses import bare

COURSE = Path(__file__).parents[1] / "lessons" / "course"
FROZEN_S = 0.25
"""Shorter rests are none."""
FROZEN_LONG_S = 3.0
NEAR_HEIGHT = 24 / 1080
"""A number this near to what it measures, in frame heights, needs no leader."""
OFF_CENTRE, BESIDE = 0.1, 2.1
"""A point so far from the object ball's middle and no farther, in radii, lies on one side of it."""
SOON_S = 1.0
COVERS = {"scrim": 1.0, "scrim_top": 0.6, "band": 1.0, "plate": 1.0, "surround": 1.0, "gutter": 1.0}
"""Shades under which a learner looks for nothing, and how much of their height is dense enough for that."""


@dataclass(frozen=True, slots=True)
class Clip:
    """What is measured of one clip. None and empty: it has nothing of the sort."""

    name: str
    kind: str
    is_played: bool | None
    frames: int
    frozen: int
    longest_frozen_s: float
    gaps_s: tuple[float, ...]
    sides: tuple[bool, ...]
    leaders: tuple[bool, ...]
    target_out: bool | None
    ball_px: float | None


@click.command()
@click.option("--lesson", "lessons", multiple=True, type=click.Path(path_type=Path), help="By default the course.")
@click.option("--only", multiple=True, metavar="PATTERN", help="Only clips whose names fit.")
@click.option("--faults", is_flag=True, help="Also list the clips behind each count.")
def main(lessons: tuple[Path, ...], only: tuple[str, ...], faults: bool) -> None:
    """Measure how the course's clips teach."""
    jobs: list[PlannedClip] = []
    for lesson in lessons or sorted(COURSE.glob("*.yaml")):
        plan = planned(lesson)
        jobs += (plan.only(only) if only else plan).clips
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        clips = list(pool.map(measured, jobs, chunksize=4))
    click.echo(report(clips))
    if faults:
        click.echo("\n".join(_named(clips)))


def report(clips: Sequence[Clip]) -> str:
    """Both tables as Markdown."""
    whole = [f"| measure | {len(clips)} clips |", "|---|---|"]
    whole += [f"| {name} | {value} |" for name, value in _summary(clips)]
    kinds = defaultdict(list)
    for clip in clips:
        kinds[clip.kind].append(clip)
    told = ["| kind | clips | played | frozen | longest | wrong side | no leader | target out | smallest ball |"]
    told.append("|---" * 9 + "|")
    for kind, some in kinds.items():
        cells = [kind, str(len(some)), _count(c.is_played for c in some), _frozen(some), _longest(some)]
        cells += [_count(s for c in some for s in c.sides), _count(s for c in some for s in c.leaders)]
        cells += [_count(c.target_out for c in some), _smallest(some)]
        told.append("| " + " | ".join(cells) + " |")
    return "\n".join([*whole, "", *told])


def _summary(clips: Sequence[Clip]) -> Iterator[tuple[str, str]]:
    gaps = [gap for clip in clips for gap in clip.gaps_s]
    yield "clips whose shot is played into the pocket", _count(c.is_played for c in clips)
    yield "time with a frozen picture", _frozen(clips)
    yield "longest frozen picture", _longest(clips)
    long = sum(clip.longest_frozen_s > FROZEN_LONG_S for clip in clips)
    yield f"clips with a picture frozen for more than {FROZEN_LONG_S:g} s", f"{long} of {len(clips)}"
    if gaps:
        yield "between a clause and its drawing, median", f"{median(map(abs, gaps)):.1f} s"
        yield f"drawings more than {SOON_S:g} s from their clause", _count(abs(gap) > SOON_S for gap in gaps)
    yield "labels of points on the wrong side of the ball", _count(s for c in clips for s in c.sides)
    yield "numbers away from what they measure, without a leader", _count(s for c in clips for s in c.leaders)
    yield "clips that name the pocket while it is out of view", _count(c.target_out for c in clips)
    yield "smallest object ball, for a frame of 1080", _smallest(clips)


def _count(found: Iterable[bool | None]) -> str:
    told = [f for f in found if f is not None]
    return f"{sum(told)} of {len(told)}" if told else "–"


def _frozen(clips: Sequence[Clip]) -> str:
    return f"{100 * sum(c.frozen / c.frames for c in clips) / len(clips):.0f} %"


def _longest(clips: Sequence[Clip]) -> str:
    return f"{max(clip.longest_frozen_s for clip in clips):.1f} s"


def _smallest(clips: Sequence[Clip]) -> str:
    sizes = [clip.ball_px for clip in clips if clip.ball_px is not None]
    return f"{min(sizes):.0f} px" if sizes else "–"


def _named(clips: Sequence[Clip]) -> Iterator[str]:
    for clip in clips:
        found = ["not played"] * (clip.is_played is False) + ["target out of view"] * bool(clip.target_out)
        found += [f"{n} labels on the wrong side" for n in [sum(clip.sides)] if n]
        found += [f"{n} numbers without a leader" for n in [sum(clip.leaders)] if n]
        if found:
            yield f"{clip.name}: {', '.join(found)}"


# ------------------------------------------------------------------ one clip


def measured(clip: PlannedClip) -> Clip:
    """The measures of a planned clip."""
    from scenes.kinds import CLIP_KINDS

    kind = CLIP_KINDS[clip.kind]
    board, brief = kind.board(clip.brief), clip.brief
    rate = board.rate[0] / board.rate[1]
    rests = [end - first for first, end in board.still_stretches(max(2, round(FROZEN_S * rate)))]
    has_shot = brief.subject.shot is not None and not kind.is_card
    return Clip(
        clip.name,
        clip.kind,
        is_played(board, brief) if has_shot else None,
        board.frames,
        sum(rests),
        max(rests, default=0) / rate,
        tuple(gaps_s(board)),
        tuple(on_wrong_side(board)),
        tuple(without_leader(board)),
        target_is_out(board, brief) if has_shot else None,
        smallest_ball_px(board) if has_shot else None,
    )


def is_played(board: Board, brief: Brief) -> bool:
    """True when an object ball is seen to run into its pocket: there it is gone, and before it lay elsewhere."""
    table, name = brief.subject.table, brief.subject.target_name
    if table is None or name is None:
        return False
    hole = hole_of(table.pocket(name), table)
    for e in board.elements:
        if not isinstance(e.shape, Ball) or e.shape.look != "object" or not e.offset_mm.moves:
            continue
        last = max(m.end_frame for m in e.offset_mm.moves)
        at = np.add(e.shape.centre_mm, e.offset_mm.at(last))[:2]
        if float(np.hypot(*(at - np.array(hole.centre_mm)))) < hole.radius_mm:
            return True
    return False


def gaps_s(board: Board) -> Iterator[float]:
    """Seconds from the start of each clause that says a label's words to the first frame of what the label names,
    negative where the drawing is early.

    A clause lies between two commas, stops, colons or dashes; words are spoken evenly. What no clause says, or
    what stood there before, is not counted.
    """
    rate = board.rate[0] / board.rate[1]
    for label, step in _new_labels(board):
        said_s = _clause_s(label.shape.text if isinstance(label.shape, Plate) else "", step.narration)
        first = _first_drawn(board, label, step)
        if said_s is not None and first is not None:
            yield (first - step.first_frame) / rate - said_s


def _new_labels(board: Board) -> Iterator[tuple[Element, StepSpan]]:
    for e in board.elements:
        if isinstance(e.shape, Plate) and e.names and e.opacity.start[0] == 0 and e.opacity.moves:
            first = e.opacity.moves[0].first_frame
            yield from ((e, step) for step in board.steps if step.first_frame <= first < step.end_frame)


def _clause_s(name: str, narration: str) -> float | None:
    """When the clause begins that says a name; None where it is not said."""
    spoken, wanted = narration.split(), bare(name)
    for clause in clauses(narration)[1]:
        words = bare(" ".join(spoken[clause.first : clause.end]))
        if wanted and any(words[k : k + len(wanted)] == wanted for k in range(len(words))):
            return said_by_s(narration, clause.first, WORDS_A_MINUTE, PAUSE_A_SENTENCE_S)
    return None


def _first_drawn(board: Board, label: Element, step: StepSpan) -> int | None:
    """The frame on which the drawing of what a label names begins, within the label's step."""
    starts = []
    for e in _called(board, label.names or ""):
        if e.is_visible(max(step.first_frame - 1, 0)):
            return None
        moves = (e.drawn.moves if e.drawn.start[0] == 0 else ()) or e.opacity.moves
        starts += [m.first_frame for m in moves if step.first_frame <= m.first_frame < step.end_frame]
    return min(starts, default=None)


def _called(board: Board, name: str) -> list[Element]:
    """The elements that a label names: by id, by the start of it, or by role."""
    exact = [e for e in board.elements if e.id == name]
    return exact or [e for e in board.elements if e.panes and (e.role == name or e.id.startswith(name + "."))]


# ------------------------------------------------------------------ labels


def on_wrong_side(board: Board) -> Iterator[bool]:
    """For each label of points beside the object ball's middle: whether it stands on the other side of the ball.

    Of points on both sides that which lies on the aim's is meant. A label that is led into a magnifier stands
    beside that, not beside the ball, and is not counted.
    """
    aim = [e for e in board.elements if e.role in ("aim_point", "ghost_centre", "ghost_ball") and e.panes]
    for label, frame in _labels(board):
        if _is_led_into_magnifier(board, label):
            continue
        marks = [e for e in _called(board, label.names or "") if isinstance(e.shape, Mark)]
        for pane in board.panes:
            ball = _object_ball(board, pane, frame)
            if ball is None or pane.view == "inset":
                continue
            sides = {side for e in marks if pane.id in e.panes if (side := _side(e, pane, frame, ball))}
            aimed = {side for e in aim if pane.id in e.panes if (side := _side(e, pane, frame, ball))}
            meant = sides & aimed or sides
            if len(meant) == 1 and isinstance(label.shape, Plate):
                left, _, width, _ = label.shape.rect_px
                yield math.copysign(1, left + width / 2 - ball.centre_px[0]) not in meant
                break


def _is_led_into_magnifier(board: Board, label: Element) -> bool:
    rounds = [pane.rect_px for pane in board.panes if pane.is_round]
    led = (e.shape for e in board.elements if e.id == label.id.replace("label.", "leader.", 1))
    return any(
        _inside(np.array(one.points_px[-1]), rect) for one in led if isinstance(one, Leader) for rect in rounds
    )


def _side(e: Element, pane: Pane, frame: int, ball: Outline) -> float:
    at = e.shape.at_mm if isinstance(e.shape, Mark) else e.shape.centre_mm if isinstance(e.shape, Ball) else None
    if at is None:
        return 0.0
    off = (pane.px(at, frame) - ball.centre_px) / ball.mean_radius_px
    return math.copysign(1, off[0]) if abs(off[0]) > OFF_CENTRE and np.hypot(*off) < BESIDE else 0.0


def _object_ball(board: Board, pane: Pane, frame: int) -> Outline | None:
    """The object ball's outline in a pane, where it is in the picture."""
    for e in board.elements:
        if isinstance(e.shape, Ball) and e.shape.look == "object" and pane.id in e.panes and e.is_visible(frame):
            outline = ball_outline(pane.projection(frame), np.array(e.shape.centre_mm), e.shape.radius_mm)
            if outline.is_seen and _inside(outline.centre_px, pane.rect_px):
                return outline
    return None


def without_leader(board: Board) -> Iterator[bool]:
    """For each number at a length of the picture: whether it stands away from it and no leader goes there."""
    leaders = {e.names for e in board.elements if isinstance(e.shape, Leader)}
    for label, frame in _labels(board):
        measured = [e for e in _called(board, label.names or "") if _is_measure(e)]
        if not measured or not isinstance(label.shape, Plate):
            continue
        near = min((_gap_px(label.shape.rect_px, e, board, frame) for e in measured), default=math.inf)
        yield label.names not in leaders and near > NEAR_HEIGHT * board.height_px


def _is_measure(e: Element) -> bool:
    return isinstance(e.shape, Bar) or (isinstance(e.shape, Line) and e.role == "measure_line")


def _gap_px(rect: Rect, e: Element, board: Board, frame: int) -> float:
    """From a rectangle to a drawn length, in pixels, at the nearest of both."""
    assert isinstance(e.shape, Bar | Line)
    t = np.linspace(0, 1, 33)[:, None]
    a, b = (np.array(p) for p in e.shape.points_mm)
    x, y, w, h = rect
    gaps = []
    for pane in board.panes:
        if pane.id in e.panes and pane.view != "inset" and pane.opacity.at(frame)[0] > 0:
            px = pane.px(a + t * (b - a), frame)
            gaps.append(
                np.hypot(
                    np.maximum(np.maximum(x - px[:, 0], px[:, 0] - x - w), 0),
                    np.maximum(np.maximum(y - px[:, 1], px[:, 1] - y - h), 0),
                ).min()
            )
    return float(min(gaps, default=math.inf))


def _labels(board: Board) -> Iterator[tuple[Element, int]]:
    """Every label that names something, and the frame on which it is wholly there."""
    for e in board.elements:
        if isinstance(e.shape, Plate) and e.names:
            shown = [m.end_frame for m in e.opacity.moves if m.to[0] > 0]
            yield e, 0 if e.opacity.start[0] > 0 else min(shown, default=0)


# ------------------------------------------------------------------ what is in the picture


def target_is_out(board: Board, brief: Brief) -> bool | None:
    """True when in some step that names the pocket it is in view for less than half of the time; None: no step."""
    shot = brief.subject.shot
    steps = [s for s in board.steps if "pocket" in s.narration.lower()]
    if shot is None or not steps:
        return None
    at = np.asarray(shot.target_mm, float)
    return any(_share_in_view(board, at, step) < 0.5 for step in steps)


def _share_in_view(board: Board, at: Array, step: StepSpan) -> float:
    frames = range(step.first_frame, step.end_frame, max((step.end_frame - step.first_frame) // 24, 1))
    return sum(_in_view(board, at, frame) for frame in frames) / len(frames)


def _in_view(board: Board, at: Array, frame: int) -> bool:
    """True when a point lies in some pane of the picture and under nothing."""
    shades = [
        (*e.shape.rect_px[:3], e.shape.rect_px[3] * COVERS[e.shape.style])
        for e in board.elements
        if isinstance(e.shape, Shade) and e.shape.style in COVERS and e.opacity.at(frame)[0] > 0.5
    ]
    for i, pane in enumerate(board.panes):
        if pane.view == "inset" or pane.opacity.at(frame)[0] < 0.5:
            continue
        px = pane.px(at, frame)
        over = [p.rect_px for p in board.panes[i + 1 :] if p.background and p.opacity.at(frame)[0] > 0.5]
        frame_rect = (0.0, 0.0, float(board.width_px), float(board.height_px))
        if (
            _inside(px, pane.rect_px)
            and _inside(px, frame_rect)
            and not any(_inside(px, r) for r in (*over, *shades))
        ):
            return True
    return False


def _inside(px: Array, rect: Rect) -> bool:
    x, y, w, h = rect
    return bool(x <= px[0] <= x + w and y <= px[1] <= y + h)


def smallest_ball_px(board: Board) -> float | None:
    """Width of the object ball where it is largest in the picture, on the still frame where that is smallest.

    A ball that rolls may be far away; it is the pictures to be looked at that count.
    """
    sizes = []
    for frame, _ in board.still_stretches(max(2, round(FROZEN_S * board.rate[0] / board.rate[1]))):
        shown = [p for p in board.panes if p.view != "inset" and p.opacity.at(frame)[0] > 0.5]
        radii = [ball.mean_radius_px for pane in shown if (ball := _object_ball(board, pane, frame))]
        sizes += [2 * max(radii) * 1080 / min(board.width_px, board.height_px)] if radii else []
    return min(sizes, default=None)


if __name__ == "__main__":
    main()
