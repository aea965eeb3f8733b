"""Title and section cards: words on the left from the first frame on, a cropped, true construction on the right.

The setting `figure` chooses the construction: a half-ball hit, any method's own on that hit (one of the lesson's
own methods, too), or the table.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from aimgeo.construct import Construction, Limit, Position, position
from aimgeo.methods import METHODS
from aimgeo.methods.method import Method
from aimgeo.methods.own import Own
from aimgeo.shot import BALL_DIAMETER_MM, Shot, place_shot
from aimgeo.tables import TABLES
from scenes.board import Ball, Bar, Board, Line, Mark, Pane, Pixel, Rect, TableTop, Text
from scenes.board.brief import Brief, OutlineStep, Subject
from scenes.board.motion import Sheet, Span, in_turn
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.frame.column import even_lines, text_rect
from scenes.frame.framing import View
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.look.roles import MARK_KIND, line_style

FIGURE = "figure"
HALF_BALL, TABLE = "half-ball", "table"
CUT_RAD = math.radians(30)
DISTANCE_MM = 600.0
"""The shot on the cards: a half-ball hit to the left, which every method reaches."""
MOST_LINES = 3
TEXTS = ("title", "over", "under")
READ_S = 2.5
"""What a card stands when all is drawn: its words are read from the first frame on."""
DRAW_S = 1.0
"""What one of its lines takes; longer on a card of many words, up to `SLOWEST` times as long."""
SLOWEST = 3.2
REACH_RADII = 1.5
"""How far past the object ball's centre the target line runs, its arrowhead included."""
BAR_BALLS = 1.06
"""How far below the object ball's centre a bar lies, in balls."""
BELOW_BALLS = 1.12
"""So much of the figure is seen below the object ball's centre, in balls."""
EYE = (600.0, 0.0, 300.0)
"""Where the eye of a method of one's own stands that goes by what an eye sees: as a lesson's does by default."""
LEFT_OUT = frozenset({"edge_line", "sight_line", "target_line_parallel", "mark_centre", "given_path"})
"""What a card leaves to the clips, by role."""
TABLE_SHOT_MM = (330.0, 300.0, 300.0)
"""On the table's figure: the object ball off the pocket along the rails, and the cue ball's distance."""
TABLE_HIGH_MM = 800.0
"""How much of the table the picture is high."""


@dataclass(frozen=True, slots=True)
class CardSettings(Settings):
    """What may be set of a card."""

    figure: str = setting(
        HALF_BALL,
        "the construction beside the words: a half-ball hit, a method's (your own, too), or the table",
        choices=(HALF_BALL, *(method.replace("_", "-") for method in METHODS), TABLE),
        takes_methods=True,
    )


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """One step: the card."""
    lines = len(_lines(subject))
    return (OutlineStep("card", f"{subject.kind}.card", draws_s=_draws_s(lines) + READ_S),)


def _draws_s(lines: int) -> float:
    return TIMING.rest_s + lines * DRAW_S + 2 * TIMING.fade_s


def _turns(brief: Brief, lines: int) -> list[Span]:
    """When each line is drawn, and then the marks: all but what the card stands for its reading."""
    rate = brief.output.rate
    free_s = brief.frames * rate[1] / rate[0] - READ_S - TIMING.rest_s
    slower = min(max(free_s / (_draws_s(lines) - TIMING.rest_s), 1.0), SLOWEST)
    seconds = [TIMING.rest_s, *[slower * DRAW_S] * lines, slower * 2 * TIMING.fade_s, TIMING.hold_s]
    return in_turn(0, brief.frames, seconds, rate)[1:-1]


@dataclass(frozen=True, slots=True)
class _Places:
    """Where a card's words and figure stand.

    The words' left edge and room, their middle (beside the figure) or their top (over it); the object ball, which
    stands under the words where they are over it.
    """

    left_px: float
    width_px: float
    middle_px: float | None
    top_px: float
    object_px: Pixel
    ball_px: float


def board(brief: Brief) -> Board:
    """The card: words and balls stand, the construction is drawn. ValueError without a title."""
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    title = brief.labels.get("title", brief.steps[0].title)
    if not title.strip():
        raise ValueError("a card needs a title")
    places, sheet = _places(frame), Sheet()
    texts = _words(brief, frame, places, title)
    for i, text in enumerate(texts):
        sheet.put(f"words.{i}", text, "text", "title", opacity=1.0)
    top = 0.0
    if places.middle_px is None:
        top = max(y + h for _, y, _, h in (text_rect(text, frame.scale) for text in texts))
        top += 0.05 * frame.scale.short_px
    figure = CardSettings.of(brief.subject).figure
    if figure == TABLE:
        return sheet.board(brief, (_put_table(sheet, frame, places, top, brief),))
    x, y = places.object_px
    ball = places.ball_px
    if places.middle_px is None:
        ball = min(ball, (0.965 * frame.height_px - top) / (REACH_RADII / 2 + BELOW_BALLS))
        y = max(y, top + REACH_RADII / 2 * ball)
        y = min(y, 0.965 * frame.height_px - BELOW_BALLS * ball)
    shot = _shot()
    turn = math.atan2(float(shot.aim_direction[1]), float(shot.aim_direction[0]))
    view = View((0.0, 0.0), (x, y), turn, ball / BALL_DIAMETER_MM)
    _put_figure(sheet, shot, brief)
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
    return sheet.board(brief, (Pane(FIGURE, full, "plan", view.camera(full), "cloth"),))


# ------------------------------------------------------------------ figures


def _shot() -> Shot:
    return place_shot([0.0, 0.0], [0.0, 1000.0], CUT_RAD, DISTANCE_MM, BALL_DIAMETER_MM)


def figure_limit(own: Own) -> Limit | None:
    """Why a method of one's own can't be a card's figure; None when it can."""
    return _method(own).limit(_shot())


def _method(own: Own) -> Method:
    return own.method(EYE if own.needs_eye else None)


def _construction(subject: Subject) -> Construction | None:
    method = METHODS.get(CardSettings.of(subject).figure.replace("-", "_"))
    if subject.own is not None:
        method = _method(subject.own)
    return None if method is None else method.construct(_shot())


def _lines(subject: Subject) -> list[tuple[str, Line]]:
    """A figure's lines in the order in which they are drawn: role and shape."""
    shot = _shot()
    far = position(
        shot.object_ball_mm + REACH_RADII * float(shot.radius_mm) * np.array([*shot.object_direction, 0])
    )
    O, G, C = (position(p) for p in (shot.object_ball_mm, shot.ghost_ball_mm, shot.cue_ball_mm))
    plan = _construction(subject)
    if plan is None:
        return [("target_line", Line((G, far), "target_line", arrow=True)), ("aim_line", Line((C, G), "aim_line"))]
    drawn = []
    for line in (line for step in plan.steps for line in step.lines if line.role not in LEFT_OUT):
        ends = (O, far) if line.role == "target_line" else _short(line.start_mm, line.end_mm, shot)
        drawn.append((line.role, Line(ends, line_style(line.role), arrow=line.role == "target_line")))
    return drawn


def _short(start: Position, end: Position, shot: Shot) -> tuple[Position, Position]:
    """A line as far as the figure reaches: not past the object ball's far rim."""
    a, b, O = np.array(start), np.array(end), shot.object_ball_mm
    along = (b - a) / np.linalg.norm(b - a)
    past = float((b - O) @ along) - float(shot.radius_mm)
    return start, position(b - max(past, 0.0) * along)


def _put_figure(sheet: Sheet, shot: Shot, brief: Brief) -> None:
    """The balls from the start, then line by line, then the marks and the bar."""
    O, G, R = position(shot.object_ball_mm), position(shot.ghost_ball_mm), float(shot.radius_mm)
    here = (FIGURE,)
    plan = _construction(brief.subject)
    points = [p for step in plan.steps for p in step.points if p.role not in LEFT_OUT] if plan else []
    on_ball = any(
        MARK_KIND.get(p.role, "target") in ("target", "notch") and p.role != "ghost_centre" for p in points
    )
    sheet.put("object_ball", Ball(O, R, "object"), "ball", panes=here, opacity=1.0)
    if plan is not None and brief.subject.own is not None:
        on_ball = all(circle.role != "ghost_ball" for step in plan.steps for circle in step.circles)
    if not on_ball:
        sheet.put("ghost_ball", Ball(G, R, "ghost"), "ghost", panes=here, opacity=1.0)
    lines = _lines(brief.subject)
    *turns, marked = _turns(brief, len(lines))
    for n, ((role, line), span) in enumerate(zip(lines, turns, strict=True)):
        sheet.put(f"line.{n}", line, "line", role, here, opacity=1.0, drawn=0.0)
        sheet.move(f"line.{n}", "drawn", span, 1.0)
    if plan is None:
        sheet.put("object_centre", Mark(O, "object_centre"), "mark", panes=here, opacity=1.0)
        sheet.put(
            "contact_object", Mark(position(shot.contact_object_mm), "contact"), "mark", panes=here, opacity=1.0
        )
        sheet.show(sheet.put("aim_point", Mark(G, "aim"), "mark", panes=here), marked)
        return
    for n, point in enumerate(points):
        kind = MARK_KIND.get(point.role, "target")
        mark = Mark(point.at_mm, "target" if kind == "notch" else kind)
        sheet.show(sheet.put(f"mark.{n}", mark, "mark", point.role, here), marked)
    found = {m.key: m.between_mm for step in plan.steps for m in step.measures}
    if found.get("aim_offset") and any(role == "object_ball_line" for role, _ in lines):
        pieces = 2 if "second_offset" in found else 1
        start, end = (np.array(p) for p in found["aim_offset"] or ())
        aim = np.array([*shot.aim_direction, 0.0])
        lift = (-BAR_BALLS * float(shot.ball_diameter_mm) - float((start - shot.object_ball_mm) @ aim)) * aim
        bar = Bar((position(start + lift), position(end + lift)), pieces, 1)
        sheet.show(sheet.put("bar", bar, "bar", "aim_offset", here), marked)


def _put_table(sheet: Sheet, frame: Layout, places: _Places, top: float, brief: Brief) -> Pane:
    """A corner of the table from above: a ball, the way to its pocket, the cue ball."""
    W, H = float(frame.width_px), float(frame.height_px)
    rect: Rect = (0.0, float(round(top)), W, H - round(top))
    table = TABLES["9ft"]
    pocket = table.pocket("foot-left")
    x, y = pocket.centre_mm
    along, across, distance = TABLE_SHOT_MM
    shot = place_shot([x - along, y - across], [x, y], -CUT_RAD, distance, BALL_DIAMETER_MM)
    at = (0.90 * W, rect[1] + 0.18 * rect[3])
    view = View((x, y), at, math.pi / 2, rect[3] / TABLE_HIGH_MM)
    here, R = (FIGURE,), float(shot.radius_mm)
    C, O, G = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm))
    sheet.put("table", TableTop(table), "table", panes=here, opacity=1.0)
    sheet.put("object_ball", Ball(O, R, "object"), "ball", panes=here, opacity=1.0)
    sheet.put("cue_ball", Ball(C, R, "cue"), "ball", panes=here, opacity=1.0)
    target, aim, marked = _turns(brief, 2)
    for role, line, span in (
        ("target_line", Line((O, position(shot.target_mm)), "target_line", arrow=True), target),
        ("aim_line", Line((C, G), "aim_line", ink_in=("cue_ball",)), aim),
    ):
        sheet.put(role, line, "line", role, here, opacity=1.0, drawn=0.0)
        sheet.move(role, "drawn", span, 1.0)
    sheet.show(sheet.put("ghost_ball", Ball(G, R, "ghost"), "ghost", panes=here), marked)
    return Pane(FIGURE, rect, "table", view.camera(rect), "cloth")


# ------------------------------------------------------------------ words


def _places(frame: Layout) -> _Places:
    W, H = frame.width_px, frame.height_px
    x, y, w, _ = frame.title_safe
    if frame.shape == "wide":
        left = frame.title_px[0]
        return _Places(left, 0.50 * W - left, 0.5 * H, y, (0.70 * W, 0.39 * H), 0.50 * H)
    if frame.shape == "square":
        return _Places(x, w, None, y + 0.01 * H, (0.50 * W, 0.60 * H), 0.32 * H)
    return _Places(frame.title_px[0], frame.title_width_px, None, 0.12 * H, (0.46 * W, 0.50 * H), 0.50 * W)


def _words(brief: Brief, frame: Layout, places: _Places, title: str) -> list[Text]:
    """The title as large as its place takes, with what stands over and under it."""
    scale = frame.scale
    style, lines = _title_lines(title, frame, places.width_px)
    size = scale.text_px(style)
    pitch = 1.04 * size
    over, under = brief.labels.get("over"), brief.labels.get("under")
    under_lines = (
        even_lines(under, places.width_px, lambda s: scale.text_width_px(s, "card_text")) if under else ()
    )
    under_pitch = 1.3 * scale.text_px("card_text")
    height = 0.73 * size + pitch * (len(lines) - 1)
    below = (1.1 * under_pitch + 0.35 * size + under_pitch * (len(under_lines) - 1)) if under_lines else 0.0
    over_px = 0.9 * scale.text_px("card_over") if over else 0.0
    if places.middle_px is None:
        y = places.top_px + (1.8 * over_px if over else 0.0) + 0.73 * size
    else:
        y = places.middle_px - (height + below) / 2 + 0.73 * size
    out = [Text(line, (places.left_px, y + i * pitch), style) for i, line in enumerate(lines)]
    if over:
        out.append(Text(over, (places.left_px, y - 0.73 * size - over_px), "card_over"))
    y += height - 0.73 * size + 0.35 * size + 1.1 * under_pitch
    out += [Text(line, (places.left_px, y + i * under_pitch), "card_text") for i, line in enumerate(under_lines)]
    return out


def _title_lines(title: str, frame: Layout, room_px: float) -> tuple[str, tuple[str, ...]]:
    """The largest type style in which the title fits, and its lines: its own breaks if they fit."""
    given = tuple(line.strip() for line in title.split("\n") if line.strip())
    for style in ("card_title", "card_title_long", "title"):

        def width(text: str, style: str = style) -> float:
            return frame.scale.text_width_px(text, style)

        if len(given) > 1 and all(width(line) <= room_px for line in given):
            return style, given
        lines = even_lines(" ".join(given), room_px, width)
        if len(lines) <= MOST_LINES and all(width(line) <= room_px for line in lines):
            return style, lines
    return "title", lines


TITLE = Kind(
    "title",
    "a card with the lesson's title",
    outline,
    board,
    settings=CardSettings,
    texts=TEXTS,
)
SECTION = Kind(
    "section",
    "a card with a part's title",
    outline,
    board,
    settings=CardSettings,
    texts=TEXTS,
    is_named_by_title=True,
)
