"""Throw: the same shot without friction between the balls and with it, at three speeds, and how to make up for it.

The table from above, from the balls to the pocket. A cue ball of the speed that is told arrives, friction drags
the object ball towards its way, and the object ball runs as cloth lets it (aimgeo.running), beside the way that it
would take without friction, to the pocket, to a point or cushion that stops it, or until it stands still. Each
speed shows a band, friction times 0.6 to 1.4, never one certain line. The last step aims further out, so that the
thrown ball goes where it must.

Sentences: throw.without, throw.speed (values spin, speed, thrown, low, high; throw.speed_capped where more
friction throws no further, throw.speed_sure where less throws no less either), throw.shift (value shift).
Measures: thrown, band_low, band_high; shift, its band shift_low and shift_high. Labels of the lines: way_without,
way_thrown, aim_line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from aimgeo.aim_frame import aim_frame
from aimgeo.construct import Position, Quantity, position
from aimgeo.pocket import passes, window_into
from aimgeo.running import Run, meets_s, on_bed
from aimgeo.shot import Shot, one_of_many
from aimgeo.stops import stops_mm
from aimgeo.throw import BAND, cut_needed_rad, throw_rad
from aimgeo.turning import after as then
from aimgeo.turning import run_turn, turn_about, way_turn
from aimgeo.vectors import Array, turned
from scenes.board import UNTURNED, Area, Ball, Board, Halo, Line, Mark, Pane, Plate, Rect, Shade, TableTop, Text
from scenes.board.brief import Brief, BriefStep, OutlineStep, Subject
from scenes.board.motion import Sheet, Span, frames_of, in_turn
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.frame.column import joined
from scenes.frame.eye_words import put_heading, put_titles
from scenes.frame.framing import View, over_table
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.look.scale import plate_sizes, plate_width_px

WITHOUT, SPEED, SHIFT = "throw.without", "throw.speed", "throw.shift"
CAPPED, SURE = "_capped", "_sure"
SPEEDS_MPS = (0.5, 1.0, 2.0)
SHIFT_SPEED_MPS = 1.0
PACE = 0.5
"""How fast the balls run, of their true speed."""
BACK_BALLS = 4.0
"""How far the cue ball is seen to come, in balls."""
MOST_S = 4.5
"""A ball that runs longer, in its own time, is not followed to its end."""
OUTLINE_S = 0.25
"""Between two outlines that the object ball leaves."""
RAIL_MM, ROOM_MM = 130.0, 70.0
STAGE = "stage"
LEGEND = (("aim_line", "aim_line"), ("way_without", "target_line"), ("way_thrown", "error_line"))
"""What the lines are called, and their styles."""


@dataclass(frozen=True, slots=True)
class ThrowSettings(Settings):
    """What may be set of a throw clip."""

    roll: float = setting(
        0.0, "roll of the cue ball at impact: 0 is stun, 1 natural roll", least=0.0, greatest=1.0
    )


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """No throw, three speeds, and the aim that makes up for it."""
    shot = _asked(subject)
    roll = ThrowSettings.of(subject).roll
    spin = ("spin", Quantity("stunned" if roll == 0 else "rolling", "name"))
    steps = [OutlineStep("without", WITHOUT, (), (), _run_s(subject, SHIFT_SPEED_MPS) + 2.5)]
    for speed in SPEEDS_MPS:
        middle, low, high = (Quantity(_throw(shot, speed, roll, factor), "angle_rad") for factor in (1.0, *BAND))
        values = (spin, ("speed", Quantity(speed, "speed_mps")), ("thrown", middle), ("low", low), ("high", high))
        measures = (("thrown", middle), ("band_low", low), ("band_high", high))
        least, most = (math.isclose(float(end.value), float(middle.value), rel_tol=1e-6) for end in (low, high))
        ends = SURE if least and most else CAPPED if most else ""
        steps.append(OutlineStep(f"{speed:g} m/s", SPEED + ends, values, measures, _run_s(subject, speed) + 4.0))
    shift, low, high = (
        Quantity(abs(shift_mm(shot, SHIFT_SPEED_MPS, roll, factor)), "length_mm") for factor in (1.0, *BAND)
    )
    spoken = (("shift", shift), ("speed", Quantity(SHIFT_SPEED_MPS, "speed_mps")))
    measures = (("shift", shift), ("shift_low", low), ("shift_high", high))
    steps.append(OutlineStep("shift", SHIFT, spoken, measures, _run_s(subject, SHIFT_SPEED_MPS) + 5.0))
    return tuple(steps)


def shift_mm(shot: Shot, speed_mps: float, roll: float, factor: float = 1.0) -> float:
    """How much further out the aim passes the object ball, left positive, for the thrown ball to go where it must.

    Seen along the aim, the geometric cut must be the needed one: the line then passes the object ball's centre at
    d sin(needed cut) instead of d sin(cut). nan if none does it.
    """
    cut = abs(float(shot.cut_rad))
    needed = float(cut_needed_rad(cut, speed_mps, roll, factor))
    d = float(np.asarray(shot.ball_diameter_mm))
    return int(shot.outward) * d * (math.sin(needed) - math.sin(cut))


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    brief.check_steps(outline(brief.subject), "a throw clip")
    spans, rate = brief.spans, brief.output.rate
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet = Sheet()
    pane = _pane(frame, brief.subject)
    put_titles(sheet, frame, brief.steps, spans, rate, frame.width_px - 2 * frame.title_px[0])
    if frame.shape == "wide":
        put_heading(sheet, brief.labels, frame.heading_px, frame.heading_align)
    _put_shot(sheet, brief.subject, pane)
    roll = ThrowSettings.of(brief.subject).roll
    _put_run(sheet, brief.subject, "without", SHIFT_SPEED_MPS, 0.0, spans[0], 0.3, rate)
    for n, (speed, span) in enumerate(zip(SPEEDS_MPS, spans[1:4], strict=True)):
        _put_speed(sheet, brief.subject, speed, roll, n, span, rate)
    _put_shift(sheet, brief.subject, roll, spans[-1], rate)
    _put_legend(sheet, frame, brief, spans)
    for n, (step, span) in enumerate(zip(brief.steps, spans, strict=True)):
        _put_measures(sheet, frame, step, n, span, rate, n == len(spans) - 1)
    return sheet.board(brief, (pane,))


def _asked(subject: Subject) -> Shot:
    if subject.shot is None or subject.table is None or subject.target_name is None:
        raise ValueError("a throw clip needs a shot, a table and a pocket")
    return subject.shot


def _throw(shot: Shot, speed_mps: float, roll: float, factor: float) -> float:
    return float(throw_rad(abs(float(shot.cut_rad)), speed_mps, roll, factor))


def _thrown_way(shot: Shot, thrown_rad: float) -> np.ndarray:
    """The object ball's direction when it is thrown: its cut gets smaller by so much."""
    return turned(shot.object_direction, int(shot.outward) * thrown_rad)


def _stage_px(frame: Layout) -> Rect:
    """The picture: beside the numbers, in other frames above them."""
    W, H, margin = float(frame.width_px), float(frame.height_px), frame.title_px[0]
    if frame.shape == "wide":
        left = margin + 0.30 * W
        return (round(left), round(0.215 * H), round(W - margin - left), round(0.70 * H))
    top = (0.21 if frame.shape == "square" else 0.20) * H
    bottom = (0.68 if frame.shape == "square" else 0.58) * H
    return (round(margin), round(top), round(W - 2 * margin), round(bottom - top))


def _pane(frame: Layout, subject: Subject) -> Pane:
    """Cue ball's last way, object ball and pocket, as large as the picture takes them."""
    shot = _asked(subject)
    assert subject.table is not None
    assert subject.target_name is not None
    R = float(shot.radius_mm)
    back = shot.ghost_ball_mm[:2] - 2 * R * BACK_BALLS * shot.aim_direction
    mouth = np.array(subject.table.pocket(subject.target_name).centre_mm)
    around = ((shot.object_ball_mm[:2], R + ROOM_MM), (back, R + ROOM_MM / 3), (mouth, RAIL_MM))
    low = np.min([p - room for p, room in around], axis=0)
    high = np.max([p + room for p, room in around], axis=0)
    x, y, w, h = rect = _stage_px(frame)
    size = high - low
    turn, scale = max(
        ((math.pi / 2, min(w / size[0], h / size[1])), (0.0, min(w / size[1], h / size[0]))),
        key=lambda one: one[1],
    )
    half = np.array([w, h] if turn else [h, w]) / 2 / scale
    middle = over_table((low + high) / 2, half, subject.table, RAIL_MM)
    view = View(middle, (x + w / 2, y + h / 2), turn, float(scale))
    return Pane(STAGE, rect, "table", view.camera(rect), "cloth")


def _end(shot: Shot, way: Array, far_mm: float) -> Position:
    return position(shot.object_ball_mm + far_mm * np.array([*way, 0.0]))


def _reach(subject: Subject, way: Array) -> tuple[float, bool]:
    """How far the object ball may run along a way (2,), into the mouth or to what stops it; and does it go in."""
    shot, table = _asked(subject), subject.table
    assert table is not None
    assert subject.target_name is not None
    frame = aim_frame(one_of_many(shot))
    window = window_into(table.pocket(subject.target_name), frame.object_ball_mm, frame.radius_mm)
    towards = window.towards[0]
    bearing = math.atan2(float(towards[0] * way[1] - towards[1] * way[0]), float(towards @ way))
    if bool(window.is_clean[0]) and bool(passes(window, np.array([bearing]))[0]):
        return float(window.distance_mm[0]) + 0.8 * float(shot.radius_mm), True
    stop = stops_mm(table, shot.object_ball_mm[:2], way, float(shot.radius_mm))
    return min(stop, 2 * table.length_mm), False


def _put_shot(sheet: Sheet, subject: Subject, pane: Pane) -> None:
    """Table, both balls at the moment of the hit, the aim line and the way without friction."""
    shot, here = _asked(subject), (STAGE,)
    assert subject.table is not None
    R = float(shot.radius_mm)
    G, O, C = position(shot.ghost_ball_mm), position(shot.object_ball_mm), position(shot.cue_ball_mm)
    sheet.put("table", TableTop(subject.table), "table", panes=here, opacity=1.0)
    sheet.put("edge", Shade(pane.rect_px, "window_edge"), "break", opacity=1.0)
    sheet.put("aim_line", Line((C, G), "aim_line"), "line_under", panes=here, opacity=1.0)
    target = Line((O, position(shot.target_mm)), "target_line", arrow=True)
    sheet.put("target_line", target, "line_under", panes=here, opacity=1.0)
    sheet.put("object_ball", Ball(O, R, "object"), "ball", panes=here, opacity=1.0)
    back = -2 * R * BACK_BALLS * np.array([*shot.aim_direction, 0.0])
    sheet.put("cue_ball", Ball(position(shot.ghost_ball_mm + back), R, "cue"), "ball", panes=here, opacity=1.0)


def _run_s(subject: Subject, speed_mps: float) -> float:
    """Seconds in the clip from the cue ball's coming until the object ball has come to its end, at most."""
    shot = _asked(subject)
    run = _object_run(shot, speed_mps, 0.0)
    reach, _ = _reach(subject, shot.object_direction)
    until = min(run.reaches_s(reach), run.ends_s, MOST_S)
    d = 2 * float(shot.radius_mm)
    return (BACK_BALLS * d / 1000 / speed_mps + until) / PACE + 0.6


def _object_run(shot: Shot, speed_mps: float, thrown_rad: float) -> Run:
    """The object ball from the hit on; throw turns its way and leaves its speed."""
    v = speed_mps * math.cos(float(shot.cut_rad)) * _thrown_way(shot, thrown_rad)
    return Run(shot.object_ball_mm[:2], v, np.zeros(2))


def _put_run(
    sheet: Sheet,
    subject: Subject,
    id: str,
    speed_mps: float,
    thrown_rad: float,
    span: Span,
    after_s: float,
    rate: tuple[int, int],
    out_mm: Position = (0.0, 0.0, 0.0),
) -> int:
    """The cue ball comes, and the object ball runs to its end; the frame on which it has come there.

    out_mm: how far the ghost ball lies from where the unthrown aim has it.
    """
    shot, table = _asked(subject), subject.table
    assert table is not None
    roll = ThrowSettings.of(subject).roll
    R, fps = float(shot.radius_mm), rate[0] / rate[1]
    first = span[0] + frames_of(after_s, rate)
    back_mm = 2 * R * BACK_BALLS
    hit = first + max(math.ceil(back_mm / 1000 / speed_mps / PACE * fps), 1)
    t = (1 + np.arange(hit - first)) / (hit - first)
    a = np.array([*shot.aim_direction, 0.0])
    coming = t[:, None] * (back_mm * a + np.array(out_mm))
    run = _object_run(shot, speed_mps, thrown_rad)
    reach, goes_in = _reach(subject, _thrown_way(shot, thrown_rad))
    ends = min(run.reaches_s(reach), run.ends_s, MOST_S)
    frames = max(min(math.ceil(ends / PACE * fps), span[1] - hit - 2), 1)
    times = np.minimum((1 + np.arange(frames)) / fps * PACE, ends)
    moved = run.position_at(times) - shot.object_ball_mm[:2]
    cos = math.cos(float(shot.cut_rad))
    tangent = shot.aim_direction - cos * shot.object_direction
    after = Run(
        shot.ghost_ball_mm[:2] + np.array(out_mm[:2]),
        speed_mps * tangent,
        roll * speed_mps * shot.aim_direction,
    )
    half_bed = (table.length_mm / 2, table.width_mm / 2)
    way = on_bed(after, half_bed, R, float(times[-1]))
    rolled = np.minimum(times, meets_s(way, subject.others_mm, 2 * R, float(times[-1])))
    gone = way.position_at(rolled) - shot.ghost_ball_mm[:2]
    gone = gone + back_mm * shot.aim_direction
    level = np.zeros((frames, 1))
    sheet.follow("cue_ball", "offset_mm", first, [tuple(row) for row in coming.tolist()])
    sheet.follow("cue_ball", "offset_mm", hit, [tuple(row) for row in np.hstack([gone, level]).tolist()])
    sheet.follow("object_ball", "offset_mm", hit, [tuple(row) for row in np.hstack([moved, level]).tolist()])
    # it comes with the roll that it has at the hit
    axis = roll * back_mm / R * np.array([-shot.aim_direction[1], shot.aim_direction[0], 0.0])
    came = turn_about(t[:, None] * axis)
    turns = {
        ("cue_ball", first): came,
        ("cue_ball", hit): then(way_turn(way, rolled, R), came[-1]),
        ("object_ball", hit): run_turn(run, times, R),
    }
    for (ball, begins), turn in turns.items():
        sheet.follow(ball, "turn", begins, [tuple(row) for row in turn.tolist()])
    done = hit + frames
    pause = max(round(OUTLINE_S * fps), 1)
    for n, k in enumerate(range(0, frames - pause, pause)):
        at = position(shot.object_ball_mm + np.array([*moved[k], 0.0]))
        was = sheet.put(f"{id}.was.{n}", Halo(at, R), "line_under", "object_ball_outline", (STAGE,))
        sheet.move(was, "opacity", (hit + k + pause // 2, hit + k + pause), 0.7)
        sheet.hide(was, (span[1], span[1] + 2))
    if not goes_in and ends < run.ends_s and ends < MOST_S:
        mark = Mark(_end(shot, _thrown_way(shot, thrown_rad), reach), "miss")
        sheet.show(sheet.put(f"{id}.end", mark, "mark", "path_end", (STAGE,)), (done, done + 2))
        sheet.hide(f"{id}.end", (span[1], span[1] + 2))
    # back for the next one
    for ball in ("cue_ball", "object_ball"):
        sheet.move(ball, "offset_mm", (span[1], span[1] + 1), 0.0, 0.0, 0.0)
        sheet.move(ball, "turn", (span[1], span[1] + 1), *UNTURNED.start)
    return done


def _band(subject: Subject, speed_mps: float, roll: float) -> Area:
    """The wedge of ways that the friction of real balls may give."""
    shot = _asked(subject)
    ways = [_thrown_way(shot, _throw(shot, speed_mps, roll, factor)) for factor in (BAND[0], 1.0, BAND[1])]
    far = min(_reach(subject, way)[0] for way in ways)
    corners = [position(shot.object_ball_mm), *(_end(shot, way, far) for way in ways)]
    return Area(tuple(corners), "band")


def _put_speed(
    sheet: Sheet, subject: Subject, speed_mps: float, roll: float, n: int, span: Span, rate: tuple[int, int]
) -> None:
    """The ball runs; its way is drawn as it goes; then the band."""
    shot = _asked(subject)
    fade = frames_of(TIMING.fade_s, rate)
    thrown = _throw(shot, speed_mps, roll, 1.0)
    done = _put_run(sheet, subject, f"run.{n}", speed_mps, thrown, span, 1.2, rate)
    way = _thrown_way(shot, thrown)
    path = Line((position(shot.object_ball_mm), _end(shot, way, _reach(subject, way)[0])), "error_line")
    line = sheet.put(f"thrown.{n}", path, "line_under", "thrown_line", (STAGE,), opacity=1.0, drawn=0.0)
    sheet.move(line, "drawn", (done, done + frames_of(0.6, rate)), 1.0)
    area = sheet.put(f"band.{n}", _band(subject, speed_mps, roll), "area", "friction_band", (STAGE,))
    sheet.show(area, (done + frames_of(0.6, rate), done + frames_of(1.0, rate)))
    for id in (line, area):
        sheet.hide(id, (span[1], span[1] + fade))


def _put_shift(sheet: Sheet, subject: Subject, roll: float, span: Span, rate: tuple[int, int]) -> None:
    """The aim moves further out at the ghost ball, and the thrown ball goes along the target line."""
    shot = _asked(subject)
    R = float(shot.radius_mm)
    needed = float(cut_needed_rad(abs(float(shot.cut_rad)), SHIFT_SPEED_MPS, roll))
    if not math.isfinite(needed):
        return
    hit_way = turned(shot.aim_direction, -int(shot.outward) * needed)
    new_ghost = shot.object_ball_mm - 2 * R * np.array([*hit_way, 0.0])
    _, line, _ = in_turn(*span, (1.0, TIMING.draw_s + 0.4, 3.0), rate)
    sheet.move("aim_line", "strength", line, 0.5)
    aim = Line((position(shot.cue_ball_mm), position(new_ghost)), "aim_line")
    id = sheet.put("new_aim_line", aim, "line_under", "aim_line_shifted", (STAGE,), opacity=1.0, drawn=0.0)
    sheet.move(id, "drawn", line, 1.0)
    ghost = Ball(position(new_ghost), R, "ghost")
    sheet.show(sheet.put("new_ghost", ghost, "ghost", "ghost_ball", (STAGE,)), line)
    out = position(new_ghost - shot.ghost_ball_mm)
    _put_run(sheet, subject, "made_up", SHIFT_SPEED_MPS, 0.0, span, 2.2, rate, out)


def _put_legend(sheet: Sheet, frame: Layout, brief: Brief, spans: list[Span]) -> None:
    """What the lines are, each with a sample: in the wide frame under the numbers, else beside them."""
    rate, s = brief.output.rate, frame.scale
    fade = frames_of(TIMING.fade_s, rate)
    high = plate_sizes(s).height_px
    _, y, _, h = _stage_px(frame)
    at = y + h - 3 * high - 2 * s.px(10) if frame.shape == "wide" else y + h + s.px(14)
    margin = frame.title_px[0]
    widest = max(plate_width_px(brief.labels.get(key, key), s, True) for key, _ in LEGEND)
    left = margin if frame.shape == "wide" else min(0.52 * frame.width_px, frame.width_px - margin - widest)
    seen = ((spans[0][0], None), (spans[0][0], None), (spans[1][0], spans[3][1]))
    for k, ((key, style), span) in enumerate(zip(LEGEND, seen, strict=True)):
        text = brief.labels.get(key, key)
        wide = plate_width_px(text, s, True)
        top = at + k * (high + s.px(10))
        plate = Plate(text, (left, top, wide, high), style)
        first, end = span
        id = sheet.put(f"legend.{k}", plate, "label", "legend", opacity=0.0 if k == 2 else 1.0)
        if k == 2:
            sheet.show(id, (first, first + fade))
        if end is not None:
            sheet.hide(id, (end, end + fade))


def _put_measures(
    sheet: Sheet, frame: Layout, words: BriefStep, n: int, span: Span, rate: tuple[int, int], last: bool
) -> None:
    """The number, and beneath it the band from low to high."""
    if not words.measures:
        return
    middle, *band = words.measures
    size = frame.scale.text_px("measure_name")
    x, y = frame.title_px[0], 0.30 * frame.height_px
    if frame.shape != "wide":
        _, top, _, high = _stage_px(frame)
        y = top + high + 1.6 * size
    fade = frames_of(TIMING.fade_s, rate)
    texts = [
        Text(middle.name, (x, y), "measure_name"),
        Text(joined(middle), (x, y + 1.9 * size), "measure"),
    ]
    if len(band) == 2 and band[0].number != band[1].number:
        texts.append(Text(f"{band[0].number}–{joined(band[1])}", (x, y + 3.3 * size), "small"))
    for k, text in enumerate(texts):
        id = sheet.put(f"measure.{n}.{k}", text, "text", "measure")
        sheet.show(id, (span[0] + fade, span[0] + 2 * fade))
        if not last:
            sheet.hide(id, (span[1], span[1] + fade))


KIND = Kind(
    "throw",
    "the same shot with and without throw, at three speeds",
    outline,
    board,
    axes=("cut", "side"),
    settings=ThrowSettings,
    needs_cut=True,
)
