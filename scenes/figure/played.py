"""A shot as it is played: where both balls stand on every frame, from the cue's hit into the pocket.

The ways come from `aimgeo.running`; here they are cut into frames, at true speed or slower, and the object ball
falls where the cloth ends. The cue's strokes are its own: back and forth once, back, and through the ball with the
speed that it needs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from aimgeo.construct import position
from aimgeo.holes import FALL_MM, Hole, hole_of
from aimgeo.running import GRAVITY_MPS2, MM, Played, on_bed
from aimgeo.shot import Shot
from aimgeo.tables import Table
from aimgeo.turning import after, run_turn, way_turn
from aimgeo.vectors import Array, length
from scenes.board import Cue, Halo, Line, Values
from scenes.board.motion import Sheet, frames_of
from scenes.figure.eye_view import CUE_GAP_MM

AFTER_S = 0.7
"""How long the cue ball is followed after the object ball is gone, in the shot's own time."""
OUTLINE_S = 0.12
"""Between two outlines that the object ball leaves, in the shot's own time."""
CURVE_PIECES = 8
PRACTICE_MM, BACK_MM, THROUGH_MM = 90.0, 170.0, 140.0
"""How far the cue goes back in a practice stroke and before the hit, and through the ball: common practice."""
PRACTICE_S, BACK_S, REST_S = 1.3, 0.8, 0.25


@dataclass(frozen=True, slots=True)
class Rolls:
    """Offsets in mm of both balls from where they lie, (x, y, z) a frame; the first is one frame after the hit.

    `contact` is the first frame on which the balls have touched; `dropped` the one on which the object ball has
    come to rest in the pocket, None where it goes into none.
    """

    cue_ball: tuple[Values, ...]
    object_ball: tuple[Values, ...]
    cue_turn: tuple[Values, ...]
    object_turn: tuple[Values, ...]
    contact: int
    dropped: int | None

    @property
    def frames(self) -> int:
        """How many."""
        return len(self.cue_ball)


def rolls_s(played: Played, table: Table | None, pocket: str | None) -> float:
    """How long the balls are followed from the hit on, in the shot's own time."""
    gone = _gone_s(played, _hole(table, pocket))
    return gone + AFTER_S


@lru_cache(maxsize=16)  # a picture asks for what it shows, and then shows it
def rolls(
    played: Played, shot: Shot, table: Table | None, pocket: str | None, rate: tuple[int, int], pace: float = 1.0
) -> Rolls:
    """The balls on every frame, at `pace` times their true speed."""
    hole = _hole(table, pocket)
    seconds = rolls_s(played, table, pocket)
    count = max(math.ceil(seconds / pace * rate[0] / rate[1]), 1)
    t = (1 + np.arange(count)) * pace * rate[1] / rate[0]
    R = float(shot.radius_mm)
    half_bed = (np.inf, np.inf) if table is None else (table.length_mm / 2, table.width_mm / 2)
    cue_after = on_bed(played.cue_after, half_bed, R, max(seconds - played.impact_s, 0.0))
    before = (t <= played.impact_s)[:, None]
    since = t - played.impact_s
    cue_s, object_s = np.minimum(since, played.cue_meets_s), np.minimum(since, played.object_meets_s)
    cue = np.where(before, played.before.position_at(t), cue_after.position_at(cue_s))
    came = run_turn(played.before, np.minimum(t, played.impact_s), R)
    hit = run_turn(played.before, np.array([played.impact_s]), R)
    cue_turn = np.where(before, came, after(way_turn(cue_after, cue_s, R), hit))
    gone_s = _gone_s(played, hole)
    if hole is None:
        # where no pocket takes it, an object ball that would leave the bed meets the cushion
        along = on_bed(played.object_after, half_bed, R, max(seconds - played.impact_s, 0.0))
        other, fall = along.position_at(object_s), np.zeros(count)
        object_turn = way_turn(along, object_s, R)
    else:
        other, fall = _into(hole, played, R, t)
        # in the air it turns on as it did
        object_turn = run_turn(played.object_after, since, R)
    rows = np.concatenate([other - shot.object_ball_mm[:2], -fall[:, None]], axis=1)
    cue_rows = np.concatenate([cue - shot.cue_ball_mm[:2], np.zeros((count, 1))], axis=1)
    return Rolls(
        _values(cue_rows),
        _values(rows),
        _values(cue_turn),
        _values(object_turn),
        int(np.searchsorted(t, played.impact_s)),
        None if hole is None else min(int(np.searchsorted(t, gone_s)), count - 1),
    )


def stroke(
    played: Played, gap_mm: float, rate: tuple[int, int], pace: float = 1.0
) -> tuple[tuple[float, ...], int]:
    """How far the cue is ahead of where it lay, in mm a frame: one practice stroke, back, through the ball.

    `gap_mm` is between the tip and the ball as it lay. Also the frame on which the tip meets the ball. The last
    part runs at `pace` times its true speed: forward with a steady push, until the tip has the ball's speed.
    """
    fps = rate[0] / rate[1]

    def swing(start: float, end: float, seconds: float) -> list[float]:
        n = max(round(seconds * fps), 1)
        return [start + (end - start) * (1 - math.cos(math.pi * (i + 1) / n)) / 2 for i in range(n)]

    way = swing(0.0, -PRACTICE_MM, 0.55 * PRACTICE_S) + swing(-PRACTICE_MM, 0.0, 0.45 * PRACTICE_S)
    way += swing(0.0, -BACK_MM, BACK_S)
    way += [-BACK_MM] * max(round(REST_S * fps), 1)
    speed = MM * played.strike_mps * pace / fps  # mm a frame
    push = BACK_MM + gap_mm
    n = max(round(2 * push / speed), 2)
    way += [-BACK_MM + push * ((i + 1) / n) ** 2 for i in range(n)]
    hit = len(way) - 1
    n = max(round(2 * THROUGH_MM / speed), 2)
    way += [gap_mm + THROUGH_MM * (1 - (1 - (i + 1) / n) ** 2) for i in range(n)]
    return tuple(way), hit


@dataclass(frozen=True, slots=True)
class Shown:
    """Frames of a played shot: the tip meets the ball, the balls meet, the object ball is gone, the end."""

    hit: int
    contact: int
    gone: int
    end: int


def shot_s(played: Played, table: Table | None, pocket: str | None, pace: float, cue: bool) -> float:
    """Seconds that a clip needs to show a shot from the first stroke to the end of the roll."""
    strokes = len(stroke(played, CUE_GAP_MM, (1000, 1), pace)[0]) / 1000 if cue else 0.0
    return strokes + rolls_s(played, table, pocket) / pace


def put_shot(
    sheet: Sheet,
    shot: Shot,
    played: Played,
    table: Table | None,
    pocket: str | None,
    panes: tuple[str, ...],
    first: int,
    rate: tuple[int, int],
    pace: float,
    prefix: str = "",
) -> Shown:
    """Cue, cue ball and object ball move as the shot is played, from a frame on; outlines stay where the ball ran.

    The elements `cue_ball`, `object_ball` and, where there is one, `cue` are there already.
    """
    cue = prefix + "cue"
    hit = first
    if cue in sheet.ids():
        shape = sheet.shape(cue)
        assert isinstance(shape, Cue)
        way, struck = stroke(played, CUE_GAP_MM, rate, pace)
        along = np.array(shape.direction)
        sheet.follow(cue, "offset_mm", first, _values(np.outer(way, along)))
        hit = first + struck
        sheet.hide(cue, (first + len(way), first + len(way) + frames_of(0.3, rate)))
    ways = rolls(played, shot, table, pocket, rate, pace)
    sheet.follow(prefix + "cue_ball", "offset_mm", hit + 1, ways.cue_ball)
    sheet.follow(prefix + "object_ball", "offset_mm", hit + 1, ways.object_ball)
    sheet.follow(prefix + "cue_ball", "turn", hit + 1, ways.cue_turn)
    sheet.follow(prefix + "object_ball", "turn", hit + 1, ways.object_turn)
    if ways.dropped is not None:
        lost = hit + 1 + ways.dropped
        sheet.hide(prefix + "object_ball", (lost, lost + 1))
    contact, end = hit + 1 + ways.contact, hit + 1 + ways.frames
    gone = end if ways.dropped is None else hit + 1 + ways.dropped
    _put_outlines(sheet, shot, ways, hit + 1, panes, rate, pace, prefix)
    return Shown(hit, contact, gone, end)


def _put_outlines(
    sheet: Sheet,
    shot: Shot,
    ways: Rolls,
    first: int,
    panes: tuple[str, ...],
    rate: tuple[int, int],
    pace: float,
    prefix: str,
) -> None:
    """Circles where the object ball was, at equal times: close together where it was slow."""
    O, R = shot.object_ball_mm, float(shot.radius_mm)
    step = max(round(OUTLINE_S / pace * rate[0] / rate[1]), 1)
    last = ways.frames if ways.dropped is None else ways.dropped
    for n, i in enumerate(range(ways.contact, last, step)):
        x, y, z = ways.object_ball[i]
        # into a pocket, or off a cushion
        if z < 0 or abs(x * shot.object_direction[1] - y * shot.object_direction[0]) > 1.0:
            break
        if i > ways.contact and math.hypot(x, y) < math.hypot(*ways.object_ball[i - 1][:2]):
            break
        at = position(O + np.array([x, y, 0.0]))
        id = sheet.put(f"{prefix}was.{n}", Halo(at, R), "line_under", "object_ball_outline", panes)
        sheet.move(id, "opacity", (first + i + step // 2, first + i + step // 2 + frames_of(0.2, rate)), 0.7)


def is_stopped(played: Played, table: Table | None, pocket: str | None) -> bool:
    """True where the cue ball is followed only as far as another ball that it would touch."""
    return played.impact_s + played.cue_meets_s < rolls_s(played, table, pocket)


def after_lines(played: Played, shot: Shot, table: Table | None, pocket: str | None) -> list[Line]:
    """The cue ball's way after the hit as far as it is followed, in straight pieces, a curve in short ones."""
    seconds = min(max(rolls_s(played, table, pocket) - played.impact_s, 0.0), played.cue_meets_s)
    half_bed = (np.inf, np.inf) if table is None else (table.length_mm / 2, table.width_mm / 2)
    way = on_bed(played.cue_after, half_bed, float(shot.radius_mm), seconds)
    times = {0.0, seconds, *way.starts_s}
    slip, v = played.cue_after.slip_mps, played.cue_after.velocity_mps
    if abs(float(slip[0] * v[1] - slip[1] * v[0])) > 1e-9:
        times |= {played.cue_after.slides_s * k / CURVE_PIECES for k in range(CURVE_PIECES + 1)}
    order = sorted(t for t in times if t <= seconds)
    at = way.position_at(np.array(order))
    R = float(shot.radius_mm)
    points = [(float(x), float(y), R) for x, y in at]
    return [
        Line((a, b), "cue_ball_after", ink_in=("cue_ball",)) for a, b in pairwise(points) if math.dist(a, b) > 1.0
    ]


def _hole(table: Table | None, pocket: str | None) -> Hole | None:
    return None if table is None or pocket is None else hole_of(table.pocket(pocket), table)


def _enters_s(played: Played, hole: Hole) -> float:
    """When the object ball's centre leaves the cloth over a hole; inf when it never does. It runs straight."""
    run = played.object_after
    along = run.velocity_mps / np.hypot(*run.velocity_mps)
    w = np.array(hole.centre_mm) - run.start_mm
    ahead, aside = float(w @ along), float(w[0] * along[1] - w[1] * along[0])
    if abs(aside) >= hole.radius_mm or ahead <= 0:
        return math.inf
    way = ahead - math.sqrt((hole.radius_mm - aside) * (hole.radius_mm + aside))
    return played.impact_s + run.reaches_s(max(way, 0.0))


def _gone_s(played: Played, hole: Hole | None) -> float:
    """When the object ball lies in the pocket; without one, when it reaches its target or stands still."""
    if hole is not None and math.isfinite(enters := _enters_s(played, hole)):
        return enters + _fall_s()
    return min(played.arrives_s, played.impact_s + played.object_after.ends_s, played.impact_s + 4.0)


def _fall_s() -> float:
    return math.sqrt(2 * -FALL_MM / MM / GRAVITY_MPS2)


def _into(hole: Hole, played: Played, radius_mm: float, t: Array) -> tuple[Array, Array]:
    """The object ball's centre (n, 2) and how far it has fallen (n,), freely from the edge, held by the wall."""
    enters = _enters_s(played, hole)
    at = played.object_ball_at(t)
    if not math.isfinite(enters):
        return at, np.zeros(len(t))
    centre, room = np.array(hole.centre_mm), max(hole.radius_mm - radius_mm, 0.0)
    start = played.object_ball_at(enters)
    v = played.object_after.velocity_at(enters - played.impact_s) * MM
    rest = np.maximum(t - enters, 0.0)[:, None]
    flown = start + v * rest
    # the wall stops it: as far as its centre may go along its way
    along = v / np.hypot(*v)
    w = start - centre
    b = float(w @ along)
    most = -b + math.sqrt(max(b * b - float(w @ w) + room * room, 0.0))
    stopped = start + along * min(most, float(np.hypot(*v)) * 1e3)
    far = (length(flown - start) > most)[:, None]
    inside = np.where(far, stopped, flown)
    fallen = np.minimum(GRAVITY_MPS2 / 2 * rest[:, 0] ** 2 * MM, -FALL_MM)
    return np.where((t > enters)[:, None], inside, at), fallen


def _values(rows: Array) -> tuple[Values, ...]:
    return tuple(tuple(row) for row in rows.tolist())
