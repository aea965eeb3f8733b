"""Paper: a pale cloth, dark lines on white casings, ink for text; for slides and for print."""

from __future__ import annotations

from dataclasses import replace

from scenes.look.dusk import DUSK
from scenes.look.look import LineStyle, Look, MarkStyle, Surfaces, discs
from scenes.look.type_scale import TYPES

INK = "#10262B"


def _drawn(role: str, colour: str = INK) -> LineStyle:
    """A kind of line keeps its pattern in every look."""
    return replace(DUSK.lines[role], colour=colour)


PAPER = Look(
    cloth="#E6ECE3",
    cloth_inset="#C3D3C8",
    cushion="#B4C6BA",
    surround="#F4F0E7",
    rail="#C9AD86",
    pocket="#20282A",
    sight="#5A4630",
    ink=INK,
    casing="#FFFFFF",
    plate="#FFFFFF",
    front=INK,
    secondary="#2A4147",
    cue_ball="#FFFEFA",
    cue_rim=INK,
    object_ball="#D9562B",
    object_rim="#5E1D0A",
    other_ball="#8FA6A0",
    surfaces=Surfaces(
        cloth_near="#D9E3DA",
        cloth_far="#BDCBC1",
        horizon="#D5DDD5",
        surround="#EDE8DD",
        lamp_light="#FFFDF8",
        room_low="#DAD8CF",
        room_high="#F4F2EC",
        cloth_shade="#33433D",
        rail="#E0BE8E",
        sight="#4A3A28",
        hole="#39403F",
        pocket_rim="#6E665A",
        throat="#4A4F4C",
        drop="#8A6840",
        cue_tip="#304D5C",
        cue_ferrule="#F3EFE4",
        cue_shaft="#E8CFA4",
        cue_butt="#5B3A22",
        thrown_back=0.42,
        weave_depth=0.10,
        fill_light=0.5,
        grain_depth=0.14,
    ),
    lines={
        "aim_line": _drawn("aim_line"),
        "target_line": _drawn("target_line", "#9A7000"),
        "contact_line": _drawn("contact_line", "#0E7AC0"),
        "object_ball_line": _drawn("object_ball_line", "#C24A48"),
        "line_of_centres": _drawn("line_of_centres", "#6A36CC"),
        "tangent_line": _drawn("tangent_line", "#10591C"),
        "cue_ball_after": _drawn("cue_ball_after"),
        "error_line": _drawn("error_line", "#8E2072"),
        "sight_line": _drawn("sight_line"),
        "edge_line": _drawn("edge_line"),
        "thin_line": _drawn("thin_line"),
    },
    marks={
        **DUSK.marks,
        "object_centre": MarkStyle(discs((10.5, "casing"), (6.5, "ink"))),
        "cue_dot": MarkStyle(discs((12, "ink"), (8.5, "cue_ball"))),
    },
    types=TYPES,
    plate_opacity=0.94,
    scrim_opacity=0.86,
    scrim_held=0.5,
    casing_opacity=0.88,
    shadow_opacity=0.26,
    ghost_opacity=0.10,
    old_strength=0.8,
)
