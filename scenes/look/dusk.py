"""Dusk: a dark cloth, light lines on dark casings."""

from __future__ import annotations

from scenes.look.look import LineStyle, Look, MarkPart, MarkStyle, Surfaces, discs
from scenes.look.type_scale import TYPES

DUSK = Look(
    cloth="#1D4F4E",
    cloth_inset="#2A6664",
    cushion="#123636",
    surround="#0C1D1E",
    rail="#4A3223",
    pocket="#030607",
    sight="#CFC8B8",
    ink="#04110F",
    casing="#04110F",
    plate="#061715",
    front="#FFFFFF",
    secondary="#B4CCC6",
    cue_ball="#F5F0E3",
    object_ball="#DF6A33",
    object_rim="#FFE9DC",
    other_ball="#7E938F",
    surfaces=Surfaces(
        cloth_near="#286866",
        cloth_far="#184545",
        horizon="#0B1B1C",
        surround="#10201F",
        lamp_light="#FFFBF4",
        room_low="#24383A",
        room_high="#141C1D",
        cloth_shade="#030C0D",
        rail="#7A4E30",
        sight="#E4E0D0",
        hole="#020405",
        pocket_rim="#38322D",
        throat="#050606",
        drop="#2C1F17",
        cue_tip="#304D5C",
        cue_ferrule="#E6E0D1",
        cue_shaft="#A88C69",
        cue_butt="#291F1A",
        thrown_back=0.84,
    ),
    # every kind of line keeps its colour and its pattern in every clip
    lines={
        "aim_line": LineStyle("#FFFFFF", 8),
        "target_line": LineStyle("#FFC13D", 7, (5, 2.6)),
        "contact_line": LineStyle("#63CCFF", 7, (3.6, 2.3, 0, 2.3)),
        "object_ball_line": LineStyle("#FF9C86", 7, (1.3, 2.3)),
        "line_of_centres": LineStyle("#B493FF", 8, (0, 2.4)),
        "tangent_line": LineStyle("#B5EE9C", 6, (4, 2.2, 0, 2.2, 0, 2.2)),
        "cue_ball_after": LineStyle("#FFFFFF", 6, (2, 6)),
        "error_line": LineStyle("#FF7FB5", 6, (), 7),
        # a sight line lies where the eye looks, not where a ball goes: thin, of long strokes
        "sight_line": LineStyle("#FFFFFF", 4, (9, 3)),
        "edge_line": LineStyle("#FFFFFF", 3, (3, 4)),
        "thin_line": LineStyle("#FFFFFF", 3, casing_px=4),
    },
    marks={
        "object_centre": MarkStyle(discs((10.5, "object_rim"), (6.5, "ink"))),
        "cue_centre": MarkStyle((MarkPart("cross", 15, "ink"), MarkPart("disc", 5, "ink"))),
        "contact": MarkStyle(discs((14, "casing"), (11, "contact_line")), hollow="contact_line"),
        "aim": MarkStyle(discs((18.5, "casing"), (15.5, "front"), (10, "casing"), (4, "front"))),
        "target": MarkStyle(discs((10.5, "casing"), (8, "front"), (4.5, "casing"))),
        # where a ball that stays out ends
        "miss": MarkStyle(
            (*discs((20, "casing"), (17, "error_line"), (13.5, "casing")), MarkPart("saltire", 7, "error_line"))
        ),
        # a diamond that is counted
        "counted": MarkStyle(discs((11, "casing"), (8.5, "target_line"))),
        "notch": MarkStyle(discs((7.5, "casing"), (5, "front"))),
        # on the cloth, where nothing stands yet
        "base": MarkStyle((MarkPart("diamond", 13, "casing"), MarkPart("diamond", 8.5, "front"))),
        "cue_dot": MarkStyle(discs((12, "casing"), (8.5, "cue_ball"))),
        "object_dot": MarkStyle(discs((12, "casing"), (10, "object_rim"), (8, "object_ball"))),
    },
    types=TYPES,
)
