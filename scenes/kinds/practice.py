"""Practice: a shot to set up, a list of what to do, and a circle for each ball; what the count says, honestly.

Sentences: practice.set_up (values of the shot, balls), practice.play (value balls), practice.count (values balls,
chance: one case in so many in which even odds send all to one side; needed, of: the fewest misses on one side that
tell), or practice.count_telling where so many balls suffice. Labels: practice_1 to practice_3, the list.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from aimgeo.construct import Quantity, position
from aimgeo.methods.figure import shot_values
from aimgeo.misses import needed_of, p_value
from aimgeo.shot import Shot
from aimgeo.tables import Table
from aimgeo.vectors import left
from scenes.board import Ball, Board, Halo, Line, Pane, PlanCamera, Rect, Shade, TableTop, Text, constant
from scenes.board.brief import Brief, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span, frames_of
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.frame.column import even_lines, joined
from scenes.frame.eye_words import put_titles
from scenes.frame.framing import View, over_table
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind
from scenes.kinds.table_view import counted

SET_UP, PLAY, COUNT = "practice.set_up", "practice.play", "practice.count"
TELLING = "_telling"
ITEMS = ("practice_1", "practice_2", "practice_3")
TABLE, CARD = "table", "card"
SIDES = ("left", "right")
ROOM_MM = 190.0
"""What is shown around the shot: more than a rail's width."""
MISS_MM = 170.0
"""So far beside the pocket the misses go that are shown as examples."""


@dataclass(frozen=True, slots=True)
class PracticeSettings(Settings):
    """What may be set of a practice card."""

    balls: int = setting(5, "how many balls are played", least=3, greatest=12)


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """Set it up, play and note, and what the count says."""
    shot = _asked(subject)
    count = PracticeSettings.of(subject).balls
    balls = ("balls", Quantity(count, "count"))
    needed = needed_of(count)
    told: tuple[tuple[str, Quantity], ...]
    if needed is None:
        of = next(n for n in range(count, 100) if needed_of(n) is not None)
        told = (
            ("chance", Quantity(round(1 / p_value(count, count)), "count")),
            ("needed", Quantity(needed_of(of) or of, "count")),
            ("of", Quantity(of, "count")),
        )
    else:
        told = (("needed", Quantity(needed, "count")), ("of", Quantity(count, "count")))
    places = tuple(
        (key, replace(quantity, kind="diamond_quarters") if quantity.kind == "quarters" else quantity)
        for measures in counted(subject).values()
        for key, quantity in measures
        if key.startswith("from_")
    )
    return (
        OutlineStep("set up", SET_UP, (*shot_values(shot), balls), places, 3.0),
        OutlineStep("play", PLAY, (balls,), (), 5.0),
        OutlineStep("count", COUNT + (TELLING if needed is not None else ""), (balls, *told), (), 4.0),
    )


def _asked(subject: Subject) -> Shot:
    if subject.shot is None or subject.table is None:
        raise ValueError("a practice card needs a shot on a table")
    return subject.shot


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    brief.check_steps(outline(brief.subject), "a practice card")
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    sheet, spans, rate = Sheet(), brief.spans, brief.output.rate
    put_titles(sheet, frame, brief.steps, spans, rate, frame.width_px - 2 * frame.title_px[0])
    rect, words, circles = _places(frame)
    panes = (_put_table(sheet, brief, rect), _card(frame))
    if frame.shape == "wide":
        _put_places(sheet, brief, frame, rect)
    _put_list(sheet, brief, frame, words, spans)
    count = PracticeSettings.of(brief.subject).balls
    drawn = (Part(("circle",), 0.4 * count), *(Part((side,), 1.0, grows=True) for side in SIDES))
    came, *missed = placed(Words(brief.steps[1], spans[1]), drawn, rate, 2 * TIMING.fade_s, 1.0)
    _put_circles(sheet, frame, circles, count, came)
    _put_misses(sheet, brief.subject, missed, spans[1][1], rate)
    return sheet.board(brief, panes)


def _places(frame: Layout) -> tuple[Rect, Rect, Rect]:
    """The table's picture, the list, the circles."""
    W, H, m = float(frame.width_px), float(frame.height_px), frame.title_px[0]
    if frame.shape == "wide":
        table = (round(m), round(0.25 * H), round(0.58 * W - m), round(0.40 * H))
        left = 0.62 * W
        return table, (left, 0.25 * H, W - m - left, 0.40 * H), (left, 0.70 * H, W - m - left, 0.15 * H)
    w = W - 2 * m
    top, bottom = (0.24 * H, 0.94 * H) if frame.shape == "square" else (0.21 * H, 0.79 * H)
    high = bottom - top
    table = (round(m), round(top), round(w), round(0.40 * high))
    return table, (m, top + 0.45 * high, w, 0.36 * high), (m, top + 0.86 * high, w, 0.14 * high)


def _card(frame: Layout) -> Pane:
    full: Rect = (0.0, 0.0, float(frame.width_px), float(frame.height_px))
    return Pane(CARD, full, "table", PlanCamera(constant(0.0, 0.0, math.pi / 2, 0.0)))


def _put_table(sheet: Sheet, brief: Brief, rect: Rect) -> Pane:
    """The shot as it is set up, from above, with the rails from which its balls are counted.

    Its lines come with the words.
    """
    shot, table = _asked(brief.subject), brief.subject.table
    assert table is not None
    view = _view(shot, table, rect)
    here, R = (TABLE,), float(shot.radius_mm)
    C, O, G, T = (position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm, shot.target_mm))
    sheet.put("table", TableTop(table), "table", panes=here, opacity=1.0)
    lines = {"target_line": Line((O, T), "target_line", arrow=True), "aim_line": Line((C, G), "aim_line")}
    parts = [Part((role,), TIMING.draw_least_s) for role in lines]
    drawn = placed(Words(brief.steps[0], brief.spans[0]), parts, brief.output.rate, TIMING.fade_s, 0.5)
    for (role, line), span in zip(lines.items(), drawn, strict=True):
        sheet.put(role, line, "line_under", panes=here, opacity=1.0, drawn=0.0)
        sheet.move(role, "drawn", span, 1.0)
    # a true ball would be a speck: rings around them
    for role, at, look in (("object_ball", O, "object"), ("cue_ball", C, "cue")):
        sheet.put(role, Ball(at, R, look), "ball", panes=here, opacity=1.0)
        sheet.put(f"{role}.ring", Halo(at, 2.0 * R), "line_under", role, here, opacity=1.0)
    return Pane(TABLE, rect, "table", view.camera(rect), "cloth")


def _view(shot: Shot, table: Table, rect: Rect) -> View:
    """Balls, target, and the noses from which the balls are counted, with their rails, as large as they fit."""
    balls = (shot.object_ball_mm, shot.cue_ball_mm)
    noses = [place.nose_mm for ball in balls for place in table.from_rails(ball)]
    points = np.array([*(ball[:2] for ball in balls), shot.target_mm[:2], *noses])
    low, high = points.min(axis=0) - ROOM_MM, points.max(axis=0) + ROOM_MM
    x, y, w, h = rect
    scale = min(w / float(high[0] - low[0]), h / float(high[1] - low[1]))
    middle = over_table((low + high) / 2, np.array([w, h]) / 2 / scale, table, ROOM_MM)
    return View(middle, (x + w / 2, y + h / 2), math.pi / 2, scale)


def _put_places(sheet: Sheet, brief: Brief, frame: Layout, rect: Rect) -> None:
    """Under the table, where the balls lie, counted from the nearer rails; "about" where a quarter isn't exact."""
    s = frame.scale
    x, y, w, h = rect
    measures = brief.steps[0].measures
    base = y + h + 1.6 * s.text_px("small")
    texts = []
    about = f"{brief.labels.get('about', '')} ".lstrip()
    for k, (role, keys) in enumerate(
        zip(("object_ball", "cue_ball"), counted(brief.subject).values(), strict=True)
    ):
        rests = [key.endswith(("_less", "_more")) for key, _ in keys if not key.startswith("from_")] or [False] * 2
        found = zip(measures[2 * k : 2 * k + 2], rests, strict=True)
        places = ", ".join(f"{about if rest else ''}{joined(one)} {one.name}" for one, rest in found)
        texts.append((f"place_{role}", f"{brief.labels.get(role, role)}: {places}"))
    for k, (role, text) in enumerate(texts):
        for i, line in enumerate(even_lines(text, w, lambda one: s.text_width_px(one, "small"))):
            sheet.put(f"place.{k}.{i}", Text(line, (x, base), "small"), "text", role, opacity=1.0)
            base += 1.3 * s.text_px("small")
        base += 0.3 * s.text_px("small")


def _put_list(sheet: Sheet, brief: Brief, frame: Layout, rect: Rect, spans: list[Span]) -> None:
    """What to do, one thing after the other, from the first frame on; the one that is spoken of is lit."""
    s, rate = frame.scale, brief.output.rate
    x, y, w, _ = rect
    small, indent = s.text_px("label"), s.px(56)
    base, fade = y + small, frames_of(TIMING.fade_s, rate)
    for k, item in enumerate(ITEMS):
        words = brief.labels.get(item, "")
        lines = even_lines(words, w - indent, lambda text: s.text_width_px(text, "label"))
        side = 0.7 * small
        box = Shade((x, base - 0.74 * small, side, side), "row", s.px(4))
        sheet.put(f"box.{k}", box, "area", "list", opacity=1.0)
        for i, line in enumerate(lines):
            id = sheet.put(
                f"list.{k}.{i}",
                Text(line, (x + indent, base + 1.2 * i * small), "label"),
                "text",
                item,
                opacity=1.0,
                strength=1.0 if k == 0 else 0.6,
            )
            if k:
                sheet.move(id, "strength", (spans[k][0], spans[k][0] + fade), 1.0)
        base += (1.2 * (len(lines) - 1) + 1.75) * small


def _put_misses(sheet: Sheet, subject: Subject, drawn: list[Span], gone: int, rate: tuple[int, int]) -> None:
    """A miss to the left of the pocket, and one to the right, while the words speak of them; no farther than the
    cushions."""
    shot, table = _asked(subject), subject.table
    assert table is not None
    start, end = np.array(shot.object_ball_mm[:2], float), np.array(shot.target_mm[:2], float)
    aside = MISS_MM * left(end - start) / np.linalg.norm(end - start)
    most = np.array([table.length_mm, table.width_mm]) / 2 - float(shot.radius_mm)
    fade = frames_of(TIMING.fade_s, rate)
    for side, sign, span in zip(SIDES, (1, -1), drawn, strict=True):
        way = end + sign * aside - start
        room = np.where(way > 0, most - start, most + start)
        part = min(1.0, *(room / np.maximum(np.abs(way), 1e-9)).tolist())
        z = float(shot.radius_mm)
        line = Line(((*start.tolist(), z), (*(start + part * way).tolist(), z)), "error_line", arrow=True)
        sheet.put(f"miss.{side}", line, "line_under", side, (TABLE,), opacity=1.0, drawn=0.0)
        sheet.move(f"miss.{side}", "drawn", span, 1.0)
        sheet.hide(f"miss.{side}", (gone, gone + fade))


def _put_circles(sheet: Sheet, frame: Layout, rect: Rect, count: int, span: Span) -> None:
    """A circle a ball, to be filled in on paper: they come one after the other."""
    x, y, w, h = rect
    pitch = min(w / count, 1.15 * h)
    R = 0.38 * pitch
    W, H = frame.width_px, frame.height_px
    edges = np.linspace(*span, count + 1).round().astype(int).tolist()
    for k, turn in enumerate(pairwise(edges)):
        at = (x + (k + 0.5) * pitch - W / 2, H / 2 - (y + h / 2), 0.0)
        sheet.show(sheet.put(f"circle.{k}", Halo(at, R), "ball", "circle", (CARD,)), turn)


KIND = Kind(
    "practice",
    "a shot to set up and play: what to do, a circle a ball, and what the count tells",
    outline,
    board,
    axes=("cut", "side", "distance"),
    settings=PracticeSettings,
)
