"""Alignments: the same shot from each of a lesson's eyes, one after the other and then side by side.

The eye moves from one place to the next; beside what it sees stands the head, from the side and from above, to
scale. Sentences: alignments.eye_over and so on, by how the body stands (values eye_back, eye_height, eye_offset,
eye_side), and alignments.together. Measures of an eye: eye_back, eye_height, and eye_offset where it is beside the
line; of the last step, the name of each eye.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Position, Quantity, position
from aimgeo.shot import Shot
from aimgeo.vectors import left as left_of
from scenes.board import (
    Area,
    Ball,
    Board,
    EyeCamera,
    Line,
    Mark,
    Move,
    Pane,
    Pixel,
    PlanCamera,
    Rect,
    Shade,
    Text,
    Track,
    constant,
)
from scenes.board.brief import Brief, BriefStep, EyeSpec, MeasureText, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span, frames_of, in_turn
from scenes.board.timing import TIMING
from scenes.figure.eye_view import EyeLayout, eye_cameras, eye_layout, eye_pane, line_top
from scenes.figure.figure import bare, eye_figure, in_reach
from scenes.figure.steps import bring_cue, put_balls
from scenes.frame.column import joined
from scenes.frame.eye_words import (
    OVER_MM,
    body_of,
    body_words,
    fitted,
    put_heading,
    put_scrim,
    put_titles,
    told_apart,
)
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.kinds.players_eye import eye_values

TOGETHER = "alignments.together"
MOST_EYES = 6
MOVE_S = 2.4
CELL_S = 0.7
"""From one small picture to the next."""
HEADS = "heads"
"""The pane with the head from the side and from above; its mm are pixels."""
NO_PANE: Rect = (0.0, 0.0, 0.0, 0.0)
# a grown-up's head and eyes in mm, about: the eye at (0, 0), the face to the right
SKULL_MM = (-85.0, 18.0, 97.0, 118.0)
NOSE_MM = ((5.0, 5.0), (34.0, -48.0), (0.0, -62.0))
NECK_MM = ((-150.0, -60.0), (-25.0, -88.0), (-45.0, -175.0), (-190.0, -175.0))
NOSE_ABOVE_MM = ((4.0, 14.0), (34.0, 0.0), (4.0, -14.0))
HALF_HEAD_MM = 76.0
HALF_BETWEEN_EYES_MM = 31.5
EYE_MM = 13.0


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """One step an eye, and one for all of them together."""
    _, eyes = _asked(subject)
    single = (
        OutlineStep(f"eye {n + 1}", f"alignments.{body_of(eye)}", eye_values(eye), _places(eye), draws_s=5.0)
        for n, eye in enumerate(eyes)
    )
    return (*single, OutlineStep("together", TOGETHER, (), told_apart(eyes), draws_s=5.0))


def _places(eye: EyeSpec) -> tuple[tuple[str, Quantity], ...]:
    back, height, offset, _ = eye_values(eye)
    beside = (("eye_offset", offset[1]),) if abs(eye.offset_mm) >= OVER_MM else ()
    return (("eye_back", back[1]), ("eye_height", height[1]), *beside)


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    shot, eyes = _asked(brief.subject)
    if len(brief.steps) != len(eyes) + 1:
        raise ValueError(f"an alignments clip of these eyes has {len(eyes) + 1} steps")
    spans = brief.spans
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    rate = brief.output.rate
    fade = frames_of(TIMING.fade_s, rate)
    sheet = Sheet()
    side = -int(shot.outward)
    places = eye_layout(frame, side, brief.steps)
    start = frames_of(TIMING.fade_s + TIMING.rest_s, rate)
    moves = [
        (first + start, min(first + start + frames_of(MOVE_S, rate), end - fade)) for first, end in spans[1:-1]
    ]
    cameras = eye_cameras(places, shot, eyes)
    stops = tuple(Move(*span, camera.track.start) for span, camera in zip(moves, cameras[1:], strict=True))
    together = spans[-1][0]
    moving = EyeCamera(Track(cameras[0].track.start, stops), cameras[0].anchor)
    leaves = Track((1.0,), (Move(together, together + fade, (0.0,)),))
    main = Pane("eye", places.full_px, "eye", moving, "plate", leaves)
    stills = [replace(main, camera=camera) for camera in cameras]
    cells = grid_cells(frame, len(eyes), places.heading_px[1])
    come = in_turn(*spans[-1], (*[CELL_S] * len(eyes), 3.0), rate)[:-1]
    shown = [(first, min(first + 2 * fade, end)) for first, end in come]
    small = [
        eye_pane(_cell_layout(rect, side), shot, eye, f"small.{n}", Track((0.0,), (Move(*when, (1.0,)),)))
        for n, (rect, eye, when) in enumerate(zip(cells, eyes, shown, strict=True))
    ]
    _put_shot(brief, frame, places, sheet, stills, [pane.id for pane in small], spans[0])
    put_scrim(sheet, frame)
    put_titles(sheet, frame, brief.steps, spans, rate, places.title_room_px)
    put_heading(sheet, brief.labels, places.heading_px, places.heading_align)
    _put_heads(sheet, brief, frame, places, spans, [(0, 0), *moves])
    _put_grid(sheet, frame, cells, brief.steps[-1], shown)
    x, y, _, _ = places.pane_px
    heads = PlanCamera(constant(x, -y, math.pi / 2, 0.0), (0.0, 0.0))
    return sheet.board(brief, (main, Pane(HEADS, places.pane_px, "plan", heads, "cloth", leaves), *small))


def _asked(subject: Subject) -> tuple[Shot, tuple[EyeSpec, ...]]:
    eyes = tuple(one.eye for one in subject.companions if one.eye is not None)
    if subject.shot is None or not 2 <= len(eyes) <= MOST_EYES:
        raise ValueError(f"an alignments clip needs a shot and two to {MOST_EYES} eyes")
    return subject.shot, eyes


def _put_shot(
    brief: Brief, frame: Layout, places: EyeLayout, sheet: Sheet, stills: list[Pane], small: list[str], span: Span
) -> None:
    """Balls, ghost, target and aim line, in all the panes; the aim point only where it does not hide the ball."""
    shot = brief.subject.shot
    assert shot is not None
    at, top, ids = shot.cue_ball_mm, line_top(places), ("eye", *small)
    figure = eye_figure(brief, sheet, frame, shot, bare(shot), stills[0], at, top, panes=ids, line_panes=ids)
    put_balls(figure, brief.subject.table, True)
    ghost = Ball(position(shot.ghost_ball_mm), figure.radius_mm, "ghost")
    sheet.put("ghost_ball", ghost, "ghost", panes=ids, opacity=1.0)
    C, O, G, T = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm, shot.target_mm))
    # one line for all the pictures: as far as the one that shows least of it
    whole = construction.Line("target_line", O, T)
    ends = [in_reach(replace(figure, windows=(pane,)), whole).end_mm for pane in stills]
    nearest = min(ends, key=lambda end: math.dist(O, end))
    for line in (Line((O, nearest), "target_line", arrow=True), Line((C, G), "aim_line")):
        sheet.put(line.style, line, "line", panes=ids, opacity=1.0)
    sheet.put("aim_point", Mark(G, "aim"), "mark", panes=("eye",), opacity=1.0)
    bring_cue(figure, (span[0], span[0] + 2))


# ------------------------------------------------------------------ where the head is


@dataclass(frozen=True, slots=True)
class _Room:
    """A picture of the head and the shot: pixels of mm along the aim from the cue ball, and across it."""

    zero_px: Pixel
    px_per_mm: float

    def at(self, along_mm: float, up_mm: float) -> Position:
        """A place in the pane of the heads: pixels, upwards."""
        return (self.zero_px[0] + self.px_per_mm * along_mm, self.px_per_mm * up_mm - self.zero_px[1], 0.0)

    def area(self, points_mm: tuple[Pixel, ...], style: str) -> Area:
        """A filled polygon."""
        return Area(tuple(self.at(*p) for p in points_mm), style)

    def oval(self, x_mm: float, y_mm: float, rx_mm: float, ry_mm: float, style: str) -> Area:
        """A filled ellipse."""
        turns = np.linspace(0, 2 * math.pi, 49)[:-1].tolist()
        return self.area(tuple((x_mm + rx_mm * math.cos(t), y_mm + ry_mm * math.sin(t)) for t in turns), style)

    def line(self, a_mm: Pixel, b_mm: Pixel, style: str = "thin_line") -> Line:
        """A line."""
        return Line((self.at(*a_mm), self.at(*b_mm)), style)


def _put_heads(
    sheet: Sheet, brief: Brief, frame: Layout, places: EyeLayout, spans: list[Span], moves: list[Span]
) -> None:
    """The head from the side and from above, moving with the eye, and where the eye is in numbers."""
    shot, eyes = _asked(brief.subject)
    s = frame.scale
    fade = frames_of(TIMING.fade_s, brief.output.rate)
    gone = (spans[-1][0], spans[-1][0] + fade)
    x, y, w, h = places.pane_px
    size, rows = s.text_px("heading"), max(len(step.measures) for step in brief.steps[:-1])
    measured = [measure for step in brief.steps[:-1] for measure in step.measures]

    def beside_px(measure: MeasureText) -> float:
        return 0.9 * w - s.text_width_px(joined(measure), "heading")

    # where a name has no room beside its number it stands over it
    is_over = any(s.text_width_px(one.name, "small") > beside_px(one) for one in measured)
    pitch = 1.3 * size + (1.1 * s.text_px("small") if is_over else 0.0)
    numbers, words = rows * pitch + 0.3 * size, 1.5 * s.text_px("small")
    shown = ["head.ground", "head.edge"]
    ground = Shade((x, y + h - numbers, w, numbers), "gutter")
    sheet.put("head.ground", ground, "area", opacity=1.0)
    sheet.put("head.edge", Shade(places.pane_px, "window_edge"), "break", opacity=1.0)
    side, above = _rooms(shot, eyes, (x, y + words, w, h - numbers - words), words)
    higher = above.zero_px[1] - above.px_per_mm * _across_mm(eyes)
    from_side, from_above = brief.labels.get("from_side", ""), brief.labels.get("from_above", "")
    for text, at_px in ((from_side, y + 0.75 * words), (from_above, higher - 0.25 * words)):
        words_at = Text(fitted(text, 0.92 * w, frame, "small"), (x + 0.04 * w, at_px), "small")
        shown.append(sheet.put(f"head.words.{len(shown)}", words_at, "text", "note", opacity=1.0))
    R = float(shot.radius_mm)
    off = (shot.object_ball_mm - shot.cue_ball_mm)[:2]
    along, aside = float(off @ shot.aim_direction), float(off @ left_of(shot.aim_direction))
    back = max(eye.back_mm for eye in eyes) + 190.0
    bed = side.area(((-back, 0.0), (along + 90.0, 0.0), (along + 90.0, -26.0), (-back, -26.0)), "bed")
    centre = above.line((-back, 0.0), (along, 0.0))
    aim = above.line(
        (0.0, 0.0), (along - float(shot.ball_diameter_mm) * math.cos(float(shot.cut_rad)), 0.0), "aim_line"
    )
    cue = side.area(((-R - 8, R + 6), (-R - 8, R - 6), (-back, R + 28), (-back, R + 54)), "wood")
    for id, shape, layer in (
        ("bed", bed, "table"), ("centre", centre, "area"), ("cue", cue, "line_under"), ("aim", aim, "line"),
        ("side.cue", side.oval(0, R, R, R, "cue_ball"), "line_under"),
        ("side.object", side.oval(along, R, R, R, "object_ball"), "line_under"),
        ("above.cue", above.oval(0, 0, R, R, "cue_ball"), "line_under"),
        ("above.object", above.oval(along, aside, R, R, "object_ball"), "line_under"),
    ):  # fmt: skip
        shown.append(sheet.put(f"head.{id}", shape, layer, "head", (HEADS,), opacity=1.0))  # type: ignore[arg-type]
    first = eyes[0]
    # the eye is the right one, or the left one where it is on the left of the line
    mid = HALF_BETWEEN_EYES_MM * (-1.0 if first.offset_mm > 0 else 1.0)
    x_mm, z_mm, side_mm = -first.back_mm, first.height_mm, first.offset_mm
    for id, room, shape in (
        ("neck", side, side.area(_moved(NECK_MM, x_mm, z_mm), "head")),
        ("skull", side, side.oval(SKULL_MM[0] + x_mm, SKULL_MM[1] + z_mm, *SKULL_MM[2:], "head")),
        ("nose", side, side.area(_moved(NOSE_MM, x_mm, z_mm), "head")),
        ("eye", side, side.oval(x_mm - 6, z_mm, EYE_MM, EYE_MM, "cue_ball")),
        ("top", above, above.oval(SKULL_MM[0] + x_mm, side_mm + mid, SKULL_MM[2], HALF_HEAD_MM, "head")),
        ("top.nose", above, above.area(_moved(NOSE_ABOVE_MM, x_mm, side_mm + mid), "head")),
        ("top.eye", above, above.oval(x_mm - 6, side_mm, EYE_MM, EYE_MM, "cue_ball")),
    ):
        name = sheet.put(f"head.{id}", shape, "bar", "head", (HEADS,), opacity=1.0)
        shown.append(name)
        for eye, span in zip(eyes[1:], moves[1:], strict=True):
            up = eye.height_mm - first.height_mm
            if room is above:
                own = HALF_BETWEEN_EYES_MM * (-1.0 if eye.offset_mm > 0 else 1.0)
                up = eye.offset_mm - first.offset_mm + (0.0 if id == "top.eye" else own - mid)
            scale = room.px_per_mm
            sheet.move(name, "offset_mm", span, -scale * (eye.back_mm - first.back_mm), scale * up, 0.0)
    rate = brief.output.rate
    for n, (eye, step, (begin, end)) in enumerate(zip(eyes, brief.steps[:-1], spans[:-1], strict=True)):
        parts = [Part(("sight",), 3 * TIMING.fade_s)]
        for measure in step.measures:
            parts += [Part((measure.key,), 0.6), Part((measure.key,), TIMING.fade_s)]
        lead_s = max(moves[n][1] - begin, 0) * rate[1] / rate[0]
        sights, *told = placed(Words(step, (begin, end)), parts, rate, lead_s, 1.0)
        drawn = [
            side.line((-eye.back_mm, eye.height_mm), (0.0, R)),
            side.line((-eye.back_mm, eye.height_mm), (along, R)),
            above.line((-eye.back_mm, eye.offset_mm), (0.0, 0.0)),
            above.line((-eye.back_mm, eye.offset_mm), (along, aside)),
        ]
        for k, line in enumerate(drawn):
            id = sheet.put(f"sight.{n}.{k}", line, "mark", "sight", (HEADS,), opacity=0.7, drawn=0.0)
            sheet.move(id, "drawn", sights, 1.0)
            sheet.hide(id, (end, end + fade))
        ways = {
            "eye_back": side.line((0.0, 0.0), (-eye.back_mm, 0.0)),
            "eye_height": side.line((-eye.back_mm, 0.0), (-eye.back_mm, eye.height_mm)),
            "eye_offset": above.line((-eye.back_mm, 0.0), (-eye.back_mm, eye.offset_mm)),
        }
        for k, measure in enumerate(step.measures):
            way = sheet.put(
                f"way.{n}.{k}", ways[measure.key], "mark", measure.key, (HEADS,), opacity=1.0, drawn=0.0
            )
            sheet.move(way, "drawn", told[2 * k], 1.0)
            sheet.hide(way, (end, end + fade))
            baseline = y + h - numbers + (k + 1) * pitch - 0.26 * size
            value = Text(joined(measure), (x + 0.96 * w, baseline), "heading", "right")
            room_px, level = beside_px(measure), baseline
            if is_over:
                room_px, level = 0.92 * w, baseline - 0.85 * size - 0.25 * s.text_px("small")
            called = Text(fitted(measure.name, room_px, frame, "small"), (x + 0.04 * w, level), "small")
            for part, words_at in (("name", called), ("value", value)):
                id = sheet.put(f"eye.{n}.{k}.{part}", words_at, "text", "readout")
                sheet.show(id, told[2 * k + 1])
                sheet.hide(id, (end, end + fade))
    for id in shown:
        sheet.hide(id, gone)


def _moved(points_mm: tuple[Pixel, ...], x_mm: float, y_mm: float) -> tuple[Pixel, ...]:
    return tuple((x + x_mm, y + y_mm) for x, y in points_mm)


def _across_mm(eyes: tuple[EyeSpec, ...]) -> float:
    """How far the head reaches to a side of the line at most."""
    return max(abs(eye.offset_mm) for eye in eyes) + HALF_BETWEEN_EYES_MM + HALF_HEAD_MM + 12.0


def _rooms(shot: Shot, eyes: tuple[EyeSpec, ...], rect: Rect, words_px: float) -> tuple[_Room, _Room]:
    """The side view above the view from above, at one scale."""
    x, y, w, h = rect
    behind = max(eye.back_mm for eye in eyes) + 200.0
    ahead = float(shot.distance_mm) + 100.0
    high, across = max(eye.height_mm for eye in eyes) + 150.0, _across_mm(eyes)
    scale = min(0.96 * w / (behind + ahead), (h - words_px) / (high + 60.0 + 2 * across))
    left = x + (w - scale * (behind + ahead)) / 2 + scale * behind
    spare = (h - words_px - scale * (high + 60.0 + 2 * across)) / 2
    floor = y + spare + scale * high
    return _Room((left, floor), scale), _Room((left, y + h - spare - scale * across), scale)


# ------------------------------------------------------------------ all of them


def grid_cells(frame: Layout, count: int, heading_px: float) -> list[Rect]:
    """The small pictures, each below its name and all below the heading's baseline: a row of up to three, else
    two; above each other where the frame is not wide, in a tall one in two columns from four on."""
    W, H = float(frame.width_px), float(frame.height_px)
    margin, gap = frame.title_px[0], frame.scale.px(14)
    columns = 2 if count == 4 else min(count, 3)
    if frame.shape != "wide" and count < 4:
        columns = 1 if frame.shape == "tall" or count == 2 else count
    elif frame.shape == "tall":
        columns = 2
    rows = -(-count // columns)
    top, bottom = (0.235 * H, 0.94 * H) if frame.shape != "tall" else (0.21 * H, 0.80 * H)
    name = 1.5 * frame.scale.text_px("small")
    if frame.shape != "wide":
        top = max(top, heading_px + name / 3)
    w, h = (W - 2 * margin - (columns - 1) * gap) / columns, (bottom - top - (rows - 1) * gap) / rows
    return [
        (
            round(margin + (n % columns) * (w + gap)),
            round(top + n // columns * (h + gap) + name),
            round(w),
            round(h - name),
        )
        for n in range(count)
    ]


def _cell_layout(rect: Rect, side: int) -> EyeLayout:
    x, y, w, h = rect
    axis = x + w * (0.5 + 0.12 * side)
    return EyeLayout(axis, y + 0.42 * h, y + 0.80 * h, NO_PANE, NO_PANE, rect, (0, y), "left", (0, y), w)


def _put_grid(sheet: Sheet, frame: Layout, cells: list[Rect], words: BriefStep, shown: list[Span]) -> None:
    """Frames and names of the small pictures."""
    for n, (rect, measure, when) in enumerate(zip(cells, words.measures, shown, strict=True)):
        x, y, w, _ = rect
        edge = sheet.put(f"cell.{n}", Shade(rect, "window_edge"), "break")
        text = fitted(body_words(measure), w, frame, "small")
        at = (float(x), y - 0.4 * frame.scale.text_px("small"))
        name = sheet.put(f"cell.{n}.name", Text(text, at, "small"), "text", "caption")
        for id in (edge, name):
            sheet.show(id, when)


KIND = Kind(
    "alignments",
    "one shot from each eye in turn, then side by side",
    outline,
    board,
    axes=("cut", "side", "distance"),
    spans=("eye",),
    least=2,
    most=MOST_EYES,
)
