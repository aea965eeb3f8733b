"""The player's eye: a method's construction step by step, where the eye really is.

The picture is the rendered table under the eye's own pinhole; lines over it are projected by the same matrix, and
what a ball hides is drawn as hidden. The target pane shows the object ball as this eye sees it, larger, over a
real ruler through its centre. Sentences: players_eye.view (values of the construction, eye_back, eye_height,
eye_offset, eye_side), then the construction's own. Labels: viewing_distance (with {widths}), off_centre, roles.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Construction, Position, Quantity, Step, position
from aimgeo.methods import METHODS
from aimgeo.methods.figure import shot_values
from aimgeo.running import Played, play_softly
from aimgeo.shot import Shot
from aimgeo.units import INCH_MM, on_a_tape
from aimgeo.vectors import cross, left
from scenes.board import Ball, Board, Halo, Leader, Line, Mark, Move, Pane, Pixel, Plate, Shade, Text, Track
from scenes.board.brief import Brief, BriefStep, EyeSpec, MeasureText, OutlineStep, Subject
from scenes.board.motion import Sheet, Span
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.figure.eye_labels import eye_labels, wanted_in_eye
from scenes.figure.eye_view import (
    EYE,
    TARGET,
    EyeLayout,
    cue_at,
    eye_layout,
    eye_mm,
    eye_pane,
    line_top,
    pixel,
    seen_ball,
    target_pane,
    viewing_distance,
)
from scenes.figure.figure import (
    PLAYED_RIGHT,
    Figure,
    aims_true,
    eye_figure,
    mark_kind,
    points_before,
    strokes_of,
)
from scenes.figure.labels import Obstacles, Port, Spacing, Stroke, Wanted, place
from scenes.figure.mistakes import Mistake, mistake
from scenes.figure.placer import Labels, plate_size
from scenes.figure.played import after_lines, put_shot, shot_s
from scenes.figure.steps import bring_cue, draw_step, put_balls, put_ghost, step_spans
from scenes.frame.column import joined, text_rect
from scenes.frame.eye_words import put_heading, put_note, put_scrim, put_titles
from scenes.frame.layout import layout
from scenes.kinds.kind import Kind

VIEW = "players_eye.view"
PACE = 0.5
"""How fast the shot is shown, of its true speed: the picture says so."""
CLEAR_S, LOOK_S = 0.5, 1.4
STAYS = frozenset({"table", "cue", "scrim", "object_ball", "cue_ball", "title", "pips"})
"""What the picture keeps while the shot is played, by role."""
RULER_MM = 5.0
HALO_RADII = 2.1
OFFSETS = {"contact_object": "contact_offset", "aim_point": "aim_offset"}
"""Points whose distance off the object ball's centre line the pane's footer tells."""
DROPS = {"object_centre": "object_ball_line", "contact_object": "contact_line", "aim_point": "aim_line"}
"""Points from which a line drops to the pane's ruler, and its style."""


@dataclass(frozen=True, slots=True)
class PlayersEyeSettings(Settings):
    """What may be set of a player's-eye clip."""

    cue: bool = setting(True, "whether the cue lies in the picture as it does for this aim")


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """What the eye sees, then one step for each of the construction's."""
    shot, eye, plan = _asked(subject)
    sentence = "players_eye.shot" if aims_true(plan, shot) else PLAYED_RIGHT
    return (
        OutlineStep("view", VIEW, (*plan.steps[0].values, *eye_values(eye)), draws_s=3.0),
        *(
            OutlineStep(step.name, step.sentence, step.values, _offsets(step, shot), _least_s(step))
            for step in plan.steps
        ),
        OutlineStep("shot", sentence, plan.steps[0].values, draws_s=_shot_s(subject)),
        *_wrong_step(subject),
    )


def _wrong_step(subject: Subject) -> tuple[OutlineStep, ...]:
    """The replay of the method's mistake, when it has one that misses the pocket."""
    wrong = mistake(subject)
    if wrong is None:
        return ()
    assert subject.construction is not None
    miss = ("miss", Quantity(wrong.miss_mm, "length_mm"))
    values = (*subject.construction.steps[0].values, miss)
    return (
        OutlineStep("mistake", f"players_eye.mistake.{wrong.reading}", values, (miss,), _wrong_s(subject, wrong)),
    )


def eye_values(eye: EyeSpec) -> tuple[tuple[str, Quantity], ...]:
    """Where the eye stands, for sentences."""
    side = "left" if eye.offset_mm > 0 else "right" if eye.offset_mm < 0 else "none"
    return (
        ("eye_back", Quantity(eye.back_mm, "distance_mm")),
        ("eye_height", Quantity(eye.height_mm, "distance_mm")),
        ("eye_offset", Quantity(abs(eye.offset_mm), "length_mm")),
        ("eye_side", Quantity(side, "name")),
    )


def board(brief: Brief) -> Board:
    """The whole clip. Raises ValueError when the brief's steps are not those of `outline`."""
    expected = [step.name for step in outline(brief.subject)]
    if [step.name for step in brief.steps] != expected:
        raise ValueError(f"a player's-eye clip of this shot has the steps {', '.join(expected)}")
    spans = brief.spans
    scene = _scene(brief)
    _put_picture(scene)
    _put_words(scene, brief.steps, spans)
    labels = _labels(scene)
    built = len(scene.figure.plan.steps)
    for index, (step, words, span) in enumerate(
        zip(scene.figure.plan.steps, brief.steps[1 : built + 1], spans[1 : built + 1], strict=True)
    ):
        _draw_step(scene, labels, index, step, words, span)
    target = _play(scene, spans[built + 1])
    if len(spans) > built + 2:
        _play_mistake(scene, brief.steps[-1], spans[-1])
    return scene.figure.sheet.board(brief, (scene.figure.pane, target))


# ------------------------------------------------------------------ the scene


@dataclass(frozen=True, slots=True)
class _Scene:
    """The figure in the eye's picture, and the pane that shows its target larger."""

    figure: Figure
    places: EyeLayout
    target: Pane


def _asked(subject: Subject) -> tuple[Shot, EyeSpec, Construction]:
    if subject.shot is None or subject.eye is None or subject.construction is None:
        raise ValueError("a player's-eye clip needs a shot, an eye and a construction")
    return subject.shot, subject.eye, subject.construction


def _scene(brief: Brief) -> _Scene:
    shot, eye, plan = _asked(brief.subject)
    frame = layout(brief.output.width_px, brief.output.height_px, brief.look)
    places = eye_layout(frame, -int(shot.outward))
    main = eye_pane(places, shot, eye)
    figure = eye_figure(
        brief,
        Sheet(),
        frame,
        shot,
        plan,
        main,
        eye_mm(shot, eye),
        line_top(places),
        panes=(EYE, TARGET),
        line_panes=(EYE,),
    )
    return _Scene(figure, places, target_pane(main, places, frame, shot))


def _offsets(step: Step, shot: Shot) -> tuple[tuple[str, Quantity], ...]:
    kinds = {key: quantity.kind for key, quantity in shot_values(shot)}
    return tuple(
        (OFFSETS[p.role], Quantity(_aside_mm(p.at_mm, shot), kinds[OFFSETS[p.role]]))
        for p in step.points
        if p.role in OFFSETS
    )


def _aside_mm(at: Position, shot: Shot) -> float:
    """How far a point lies beside the object ball's centre, square to the aim."""
    return abs(float(cross(shot.aim_direction, np.subtract(at, shot.object_ball_mm)[:2])))


def _least_s(step: Step) -> float:
    """Seconds that a step's drawing and its hold need at least, in any frame."""
    parts = [TIMING.fade_s + TIMING.rest_s, TIMING.hold_s, TIMING.fade_s]
    parts += [0.45] if step.circles else []
    parts += [TIMING.draw_s + TIMING.draw_per_height_s] if step.lines else []
    parts += [2 * TIMING.fade_s + 0.3] if step.points else []
    return sum(parts)


# ------------------------------------------------------------------ what stands from the start


def _put_picture(scene: _Scene) -> None:
    """Table, balls, the frame around the pane, and the link between the pane and what it shows."""
    sheet, shot, R = scene.figure.sheet, scene.figure.shot, scene.figure.radius_mm
    put_balls(
        scene.figure, scene.figure.brief.subject.table, PlayersEyeSettings.of(scene.figure.brief.subject).cue
    )
    put_scrim(sheet, scene.figure.frame)
    halo = Halo(position(shot.object_ball_mm), HALO_RADII * R)
    sheet.put("halo", halo, "line_under", "halo", (EYE,), opacity=1.0)
    _put_pane_frame(scene)
    _put_ruler(scene)


def _put_pane_frame(scene: _Scene) -> None:
    sheet, s = scene.figure.sheet, scene.figure.frame.scale
    x, y, w, h = scene.places.pane_px
    _, py, _, ph = scene.places.picture_px
    sheet.put("pane.strip", Shade((x, py + ph, w, y + h - py - ph), "gutter"), "area", opacity=1.0)
    sheet.put("pane.edge", Shade((x, y, w, h), "window_edge", 0.0), "break", opacity=1.0)
    ring = seen_ball(scene.figure.pane, scene.figure.shot.object_ball_mm, HALO_RADII * scene.figure.radius_mm)
    cx, cy = ring.centre_px.tolist()
    across = float(ring.box_px()[2]) / 2
    if scene.figure.frame.shape == "tall":
        turn = x + w - s.px(40)
        link: tuple[Pixel, ...] = ((cx + across, cy), (turn, cy), (turn, y))
    else:
        near = x if x > cx else x + w
        side = 1 if near > cx else -1
        level = min(max(cy, y + s.px(24)), y + h)
        # where the pane begins lower than the ball, the link leaves the ring lower as well
        dy = level - cy
        link = ((cx + side * math.sqrt(max(across**2 - dy * dy, 0.0)), level), (near, level))
    sheet.put("link", Leader(link), "leader", "link", opacity=1.0)


def _put_ruler(scene: _Scene) -> None:
    """A ruler through the object ball's centre, square to the aim, as this eye sees it; notches on the ball."""
    sheet, s, R = scene.figure.sheet, scene.figure.frame.scale, scene.figure.radius_mm
    x, _, w, _ = scene.places.picture_px
    top = scene.places.picture_px[1] + scene.places.picture_px[3]
    thick = s.stroke_px(2.5)
    sheet.put("ruler", Shade((x, top - thick / 2, w, thick), "row_bar"), "bar", opacity=1.0)
    pitch, figure, widest, most_mm = _ruler_scale(scene)
    size = s.text_px("tick")
    # figures at every tick that is drawn long, or at every second one where they would touch
    gap_px = abs(_ruler_px(scene, 2 * pitch)[0] - _ruler_px(scene, 0.0)[0])
    wide = s.text_width_px(widest, "tick")
    stride = 2 if gap_px > 1.18 * wide else 4
    most = round(most_mm / pitch)
    for k in range(-16, 17):
        at = _ruler_px(scene, k * pitch)[0]
        if not x + s.px(14) < at < x + w - s.px(14):
            continue
        tall = k % 2 == 0
        length = s.px(15 if tall else 9)
        tick = (at - thick / 2, top, thick, length)
        sheet.put(f"ruler.{k}", Shade(tick, "row_bar"), "bar", opacity=1.0)
        if 0 <= k <= most and k % stride == 0 and x + wide < at < x + w - wide:
            below = (at, top + s.px(20) + 0.95 * size)
            sheet.put(f"ruler.{k}.text", Text(figure(k), below, "tick", "centre"), "text", opacity=1.0)
    for part in (-0.5, 0.0, 0.5):
        x_mm, y_mm, z_mm = _front(scene, part * R)
        ends = ((x_mm, y_mm, z_mm - 0.16 * R), (x_mm, y_mm, z_mm + 0.16 * R))
        notch = Line(ends, "thin_line")
        sheet.put(f"notch.{part}", notch, "line_under", "notch", (TARGET,), opacity=0.75)


def _ruler_scale(scene: _Scene) -> tuple[float, Callable[[int], str], str, float]:
    """The ruler's tick in mm, what stands at the k-th of them, its widest figure, and how far figures go (mm).

    It counts as the numbers beside it: in eighths of the radius for fixed marks, else in the lesson's units.
    """
    R = scene.figure.radius_mm
    method = METHODS.get(scene.figure.plan.method)
    if method is not None and method.counts_eighths:
        return R / 8, str, "00", R
    most = max(30.0, 10 * math.ceil(float(scene.figure.shot.aim_offset_mm) / 10))
    match scene.figure.brief.labels.get("units"):
        case "in":
            pitch = INCH_MM / 4
            return pitch, lambda k: on_a_tape(k * pitch), "1 1/2", pitch * math.ceil(most / pitch)
        case "ball":
            return R / 8, lambda k: str(Fraction(k, 16)), "1/2", 2 * R
        case _:
            return RULER_MM, lambda k: str(round(k * RULER_MM)), "00", most


def _ruler_px(scene: _Scene, offset_mm: float) -> Pixel:
    outward = left(scene.figure.shot.aim_direction) * int(scene.figure.shot.outward)
    O = scene.figure.shot.object_ball_mm
    return pixel(scene.target, np.array([*(O[:2] + offset_mm * outward), O[2]]))


def _front(scene: _Scene, offset_mm: float) -> Position:
    """The point of the object ball's equator that faces the cue ball, at an offset towards the aim."""
    R = scene.figure.radius_mm
    outward = left(scene.figure.shot.aim_direction) * int(scene.figure.shot.outward)
    depth = math.sqrt(max(R * R - offset_mm * offset_mm, 0.0))
    at = scene.figure.shot.object_ball_mm[:2] - depth * scene.figure.shot.aim_direction + offset_mm * outward
    return (float(at[0]), float(at[1]), R)


def _labels(scene: _Scene) -> Labels:
    """Labels keep clear of the pane, the link to it, and the words at the top."""
    sheet, s = scene.figure.sheet, scene.figure.frame.scale
    link = sheet.shape("link")
    assert isinstance(link, Leader)
    strokes = [Stroke("link", a, b, s.stroke_px(3)) for a, b in pairwise(link.points_px)]
    rects = [scene.places.pane_px]
    for id in sheet.ids():
        shape = sheet.shape(id)
        if isinstance(shape, Text) and sheet.role(id) in ("title", "heading", "note"):
            rects.append(text_rect(shape, s))
    x, _, w, _ = scene.figure.frame.title_safe
    H = scene.figure.frame.height_px
    top, bottom = 0.22 * H, scene.places.pane_px[1] if scene.figure.frame.shape == "tall" else 0.885 * H
    return eye_labels(scene.figure, (x, top, w, bottom - top), rects, strokes)


def _put_words(scene: _Scene, steps: tuple[BriefStep, ...], spans: list[Span]) -> None:
    places, labels = scene.places, scene.figure.brief.labels
    put_titles(scene.figure.sheet, scene.figure.frame, steps, spans, scene.figure.rate, places.title_room_px)
    put_heading(scene.figure.sheet, labels, places.heading_px, places.heading_align)
    widths = viewing_distance(scene.figure.pane, scene.figure.frame)
    put_note(scene.figure.sheet, labels, widths, places.note_px, places.heading_align)


# ------------------------------------------------------------------ steps


def _draw_step(scene: _Scene, labels: Labels, index: int, step: Step, words: BriefStep, span: Span) -> None:
    figure = scene.figure
    when = step_spans(figure, step, span, number_s=0.3 if step.points else 0.0, cues=words.cues)
    draw_step(figure, index, step, when)
    before = points_before(step)
    for point in (*before, *(p for p in step.points if p not in before)):
        _put_in_pane(scene, point, words, when.number)
    if any(one.role == "aim_line" for one in step.lines):
        bring_cue(figure, when.line)
    if any(p.role == "aim_point" for p in step.points) and not figure.has_ghost:
        put_ghost(figure, (TARGET,), when.mark_after)
    wanted, first = wanted_in_eye(figure, labels, index, step), span[0]
    labels.add(index, wanted, when.label, (first, first + figure.frames(TIMING.fade_s)))


def _put_in_pane(scene: _Scene, point: construction.Point, words: BriefStep, shown: Span) -> None:
    """A point's line down to the pane's ruler, and its number."""
    sheet, kind = scene.figure.sheet, mark_kind(point.role)
    if point.role in DROPS and f"drop.{point.role}" not in sheet.ids():
        at = pixel(scene.target, point.at_mm)
        foot = scene.places.picture_px[1] + scene.places.picture_px[3]
        # lines of the frame lie over the pane: this one begins where its mark ends
        style = scene.figure.frame.look.lines[DROPS[point.role]]
        end_px = scene.figure.frame.look.marks[kind].reach_px + (style.width_px + style.casing_px) / 2
        head = min(at[1] + scene.figure.frame.scale.stroke_px(end_px), foot - 1)
        drop = Line(((at[0], head, 0.0), (at[0], foot, 0.0)), DROPS[point.role])
        sheet.put(f"drop.{point.role}", drop, "line_under", "drop", opacity=1.0, drawn=0.0)
        sheet.move(f"drop.{point.role}", "drawn", shown, 1.0)
    key = OFFSETS.get(point.role)
    told = next((m for m in words.measures if m.key == key), None)
    if told is not None and f"footer.{key}" not in sheet.ids():
        _put_number(scene, str(key), kind, told, shown)


def _put_number(scene: _Scene, key: str, kind: str, told: MeasureText, shown: Span) -> None:
    """A mark and its offset in the pane's footer, and what the numbers are."""
    sheet, s = scene.figure.sheet, scene.figure.frame.scale
    x, y, w, h = scene.places.pane_px
    size = s.text_px("heading")
    baseline = y + h - 0.52 * size
    pad = 0.035 * w
    footer = [sheet.shape(id) for id in sheet.ids() if sheet.role(id) == "footer"]
    texts = [shape.text for shape in footer if isinstance(shape, Text) and shape.style == "heading"]
    start = x + pad + sum(s.text_width_px(text, "heading") + 1.25 * size for text in texts)
    dot = (start + 0.36 * size, baseline - 0.36 * size, 0.0)
    sheet.put(f"footer.{key}", Mark(dot, kind), "mark", "footer")
    number = Text(told.number, (start + 0.92 * size, baseline), "heading")
    sheet.put(f"footer.{key}.number", number, "text", "footer")
    for id in (f"footer.{key}", f"footer.{key}.number"):
        sheet.show(id, shown)
    if "footer.unit" in sheet.ids():
        return
    words = scene.figure.brief.labels.get("off_centre", "")
    unit = f"{told.unit} {words}".strip()
    # beside this number and one more
    room = w - 2 * pad - sum(s.text_width_px(text, "heading") + 1.25 * size for text in (told.number, "00.0"))
    if s.text_width_px(unit, "small") > room:
        unit = told.unit
    sheet.put("footer.unit", Text(unit, (x + w - pad, baseline), "small", "right"), "text", "footer")
    sheet.show("footer.unit", shown)


# ------------------------------------------------------------------ the shot


def _played(subject: Subject) -> Played:
    shot, _, _ = _asked(subject)
    return play_softly(shot, subject.table)


def _shot_s(subject: Subject) -> float:
    """Seconds that the last step needs: the construction goes, the shot is played, time to look."""
    cue = PlayersEyeSettings.of(subject).cue
    return CLEAR_S + shot_s(_played(subject), subject.table, subject.target_name, PACE, cue) + LOOK_S


def _play(scene: _Scene, span: Span) -> Pane:
    """The shot itself: the construction steps back, the cue strikes, the ball goes in. The pane, which closes."""
    sheet, subject, shot = scene.figure.sheet, scene.figure.brief.subject, scene.figure.shot
    first = span[0]
    cleared = (first, first + scene.figure.frames(CLEAR_S))
    for id in sheet.ids():
        if not sheet.is_shown_at_end(id) or sheet.role(id) in STAYS:
            continue
        if sheet.role(id) == "target_line":
            sheet.move(id, "strength", cleared, scene.figure.frame.look.old_strength)
        else:
            sheet.hide(id, cleared)
    played = _played(subject)
    shown = put_shot(
        sheet, shot, played, subject.table, subject.target_name, (EYE,), cleared[1], scene.figure.rate, PACE
    )
    words = scene.figure.brief.labels.get("half_speed")
    if words:
        text = Text(words, scene.places.heading_px, "small", scene.places.heading_align)
        sheet.put("half_speed", text, "text", "heading")
        sheet.show("half_speed", (cleared[1], cleared[1] + scene.figure.frames(TIMING.fade_s)))
    gone = (shown.end, shown.end + scene.figure.frames(TIMING.fade_s))
    for n, line in enumerate(after_lines(played, shot, subject.table, subject.target_name)):
        id = sheet.put(f"cue_ball_after.{n}", line, "line_under", "cue_ball_after", (EYE,))
        sheet.show(id, gone)
    return replace(scene.target, opacity=Track((1.0,), (Move(*cleared, (0.0,)),)))


def _wrong_s(subject: Subject, wrong: Mistake) -> float:
    """Seconds that the replay needs: the balls back, the wrong line, the shot, time to look."""
    cue = PlayersEyeSettings.of(subject).cue
    played = play_softly(wrong.shot, subject.table)
    return CLEAR_S + TIMING.fade_s + TIMING.draw_s + shot_s(played, subject.table, None, PACE, cue) + LOOK_S


def _play_mistake(scene: _Scene, words: BriefStep, span: Span) -> None:
    """The balls lie as they lay; the cue points the wrong way, and the object ball goes beside the pocket."""
    figure, sheet, subject = scene.figure, scene.figure.sheet, scene.figure.brief.subject
    wrong = mistake(subject)
    assert wrong is not None
    fade = figure.frames(TIMING.fade_s)
    cleared = (span[0], span[0] + figure.frames(CLEAR_S))
    back = (cleared[1], cleared[1] + fade)
    for id in sheet.ids():
        kept = sheet.role(id) in STAYS - {"cue", "object_ball", "cue_ball"} | {"target_line", "heading"}
        if sheet.is_shown_at_end(id) and not kept:
            sheet.hide(id, cleared)
    shot, R = wrong.shot, figure.radius_mm
    prefix = "mistake."
    for role, at, look in (("object_ball", shot.object_ball_mm, "object"), ("cue_ball", shot.cue_ball_mm, "cue")):
        id = sheet.put(prefix + role, Ball(position(at), R, look), "ball", role, (EYE,))
        sheet.show(id, back)
    if PlayersEyeSettings.of(subject).cue:
        sheet.show(sheet.put(prefix + "cue", cue_at(shot), "ball", "cue", (EYE,)), back)
    aim = Line((position(shot.cue_ball_mm), position(shot.ghost_ball_mm)), "error_line")
    drawn = (back[1], back[1] + figure.frames(TIMING.draw_s))
    sheet.put("mistake.aim", aim, "line_under", "error_line", (EYE,), opacity=1.0, drawn=0.0)
    sheet.move("mistake.aim", "drawn", drawn, 1.0)
    played = play_softly(shot, subject.table)
    shown = put_shot(sheet, shot, played, subject.table, None, (EYE,), drawn[1], figure.rate, PACE, prefix)
    gone = (shown.end, min(shown.end + fade, span[1]))
    assert subject.table is not None
    room = np.array([subject.table.length_mm / 2, subject.table.width_mm / 2]) - R
    with np.errstate(divide="ignore"):
        reach = ((np.sign(shot.object_direction) * room - shot.object_ball_mm[:2]) / shot.object_direction).min()
    end = position(shot.object_ball_mm + reach * np.array([*shot.object_direction, 0.0]))
    way = construction.Line("error_line", position(shot.object_ball_mm), end)
    sheet.put("mistake.way", Line((way.start_mm, end), "error_line"), "line_under", "error_line", (EYE,))
    sheet.show("mistake.way", gone)
    _name_miss(scene, words, way, gone)


def _name_miss(scene: _Scene, words: BriefStep, way: construction.Line, shown: Span) -> None:
    """How far beside the pocket, led to where the object ball meets the cushion."""
    figure, labels = scene.figure, scene.figure.brief.labels
    told = next((m for m in words.measures if m.key == "miss"), None)
    if told is None or "beside_pocket" not in labels:
        return
    text = f"{joined(told)} {labels['beside_pocket']}"
    x, y = figure.px(way.end_mm)
    ports = tuple(Port((x, y), side) for side in (-1, 1)) + tuple(Port((x, y), 0, lift) for lift in (1, -1))
    w, h = plate_size(figure, text, None)
    want = Wanted("miss", "error_line", text, w, h, ports, near_px=(x, y), prefer=figure.aim_side, is_point=True)
    s, (sx, _, sw, _) = figure.frame.scale, figure.frame.title_safe
    H = figure.frame.height_px
    kept = Obstacles((), (), tuple(strokes_of(figure, way)), ())
    zone = (sx, line_top(scene.places) * H, sw, 0.94 * H - line_top(scene.places) * H)
    found = place(want, kept, (zone,), [], Spacing().scaled(s.k * s.gain))
    if found is None:
        return
    sheet = figure.sheet
    sheet.show(sheet.put("label.miss", Plate(text, found.rect_px), "label", "label", names="error_line"), shown)
    if found.leader_px:
        sheet.show(
            sheet.put("leader.miss", Leader(found.leader_px), "leader", "leader", names="error_line"), shown
        )


KIND = Kind(
    "players-eye",
    "the construction where the eye is, with a target pane",
    outline,
    board,
    axes=("method", "cut", "side", "distance", "eye"),
    settings=PlayersEyeSettings,
)
