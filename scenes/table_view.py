"""The table from above: where the shot is, with diamonds and distances."""

from __future__ import annotations

import numpy as np

from aimgeo import construction
from aimgeo.table import Table
from scenes.board import LAYERS, Area, Line, Mark, Ring, TableTop, Text
from scenes.brief import Brief, BriefStep, Subject
from scenes.column import appear
from scenes.framing import INSET, TABLE, Framing
from scenes.layout import Layout
from scenes.motion import Sheet, Span

LOCATE_RADII = 2.1


def put_opening(
    sheet: Sheet, brief: Brief, frame: Layout, step: BriefStep, table: Table, off: Span, gone: Span
) -> None:
    """The table view that opens a build-up: words go off over `off`, the table itself over `gone`."""
    shot = brief.subject.shot
    assert shot is not None
    sheet.put(f"{TABLE}.top", TableTop(table), LAYERS["table"], "table", (TABLE,), opacity=1.0)
    sheet.hide(f"{TABLE}.top", gone)
    put_table_words(sheet, brief, frame, step.title.replace("\n", " "), off)
    R = float(shot.radius_mm)
    O, T = construction.position(shot.object_ball_mm), construction.position(shot.target_mm)
    sheet.put(
        f"{TABLE}.target_line",
        Line((O, T), "target_line", arrow=True),
        LAYERS["line"],
        "target_line",
        (TABLE,),
        opacity=1.0,
    )
    sheet.hide(f"{TABLE}.target_line", off)
    for role, at in (("cue_ball", shot.cue_ball_mm), ("object_ball", shot.object_ball_mm)):
        ring = Ring(construction.position(at), LOCATE_RADII * R, "thin_line")
        sheet.put(f"{TABLE}.{role}.ring", ring, LAYERS["mark"], "locate", (TABLE,), opacity=1.0)
        sheet.hide(f"{TABLE}.{role}.ring", off)


def put_table_words(sheet: Sheet, brief: Brief, frame: Layout, title: str, off: Span | None) -> None:
    """Title, heading, and the names of the table's ends."""
    words = brief.labels
    sheet.put(f"{TABLE}.title", Text(title, frame.table_title_px, "title"), LAYERS["text"], "title", opacity=1.0)
    ids = [f"{TABLE}.title"]
    if "heading" in words:
        text = Text(words["heading"], frame.heading_px, "heading", frame.heading_align)
        ids.append(sheet.put(f"{TABLE}.heading", text, LAYERS["text"], "heading", opacity=1.0))
    for id in ids:
        appear(sheet, id, None, off)


def put_inset(sheet: Sheet, subject: Subject, stage: Framing, table: Table, frame: Layout) -> None:
    """The table inset beside a build-up: both balls, the target line, and what the stage shows of the table."""
    shot = subject.shot
    assert shot is not None
    C, O, T = (construction.position(p) for p in (shot.cue_ball_mm, shot.object_ball_mm, shot.target_mm))
    sheet.put(f"{INSET}.top", TableTop(table, detail=False), LAYERS["table"], "table", (INSET,), opacity=1.0)
    if stage.is_broken:
        G = construction.position(shot.ghost_ball_mm)
        sheet.put(f"{INSET}.aim_line", Line((C, G), "aim_line"), LAYERS["line"], "aim_line", (INSET,), opacity=1.0)
    else:
        x, y, w, _ = frame.label_zone
        view = stage.main
        bottom = frame.action_safe[1] + frame.action_safe[3]
        edges = ((x, y), (x + w, y), (x + w, bottom), (x, bottom))
        middle = view.at_px[0]
        half = min(w / 2, 2.2 * float(np.asarray(shot.ball_diameter_mm)) * view.px_per_mm)
        corners = tuple((min(max(px, middle - half), middle + half), py) for px, py in edges)
        area = Area(tuple(view.to_mm(corner) for corner in corners), "region")
        sheet.put(f"{INSET}.region", area, LAYERS["area"], "region", (INSET,), opacity=1.0)
    sheet.put(
        f"{INSET}.target_line", Line((O, T), "target_line"), LAYERS["line"], "target_line", (INSET,), opacity=1.0
    )
    sheet.put(f"{INSET}.cue_ball", Mark(C, "cue_dot"), LAYERS["mark"], "cue_ball", (INSET,), opacity=1.0)
    sheet.put(f"{INSET}.object_ball", Mark(O, "object_dot"), LAYERS["mark"], "object_ball", (INSET,), opacity=1.0)
