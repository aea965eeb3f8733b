"""The player's eye: a method's construction step by step, where the eye really is.

The picture is the rendered table under the eye's own pinhole; lines over it are projected by the same matrix, and
what a ball hides is drawn as hidden. The target pane shows the object ball as this eye sees it, larger, over a
real ruler through its centre. Sentences: players_eye.view (values of the construction, eye_back, eye_height,
eye_offset, eye_side), then the construction's own. Labels: target, from_centre, roles.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import inf

import numpy as np

from aimgeo import construct as construction
from aimgeo.construct import Construction, Position, Quantity, Step, position
from aimgeo.methods import METHODS
from aimgeo.running import Played, play_softly
from aimgeo.shot import Shot
from aimgeo.units import INCH_MM, on_a_tape
from aimgeo.vectors import Array, cross, left, length
from scenes.board import (
    Ball,
    Board,
    EyeCamera,
    Halo,
    Leader,
    Line,
    Mark,
    Move,
    Pane,
    Pixel,
    Plate,
    Ring,
    Shade,
    Text,
    Track,
    eased,
)
from scenes.board.brief import Brief, BriefStep, EyeSpec, MeasureText, OutlineStep, Subject
from scenes.board.clauses import Part, Words, placed
from scenes.board.motion import Sheet, Span
from scenes.board.settings import Settings, setting
from scenes.board.timing import TIMING
from scenes.figure.eye_labels import (
    eye_labels,
    pocket_label,
    pocket_ring,
    rails_of,
    ring_box,
    ring_discs,
    wanted_in_eye,
)
from scenes.figure.eye_view import (
    EYE,
    TARGET,
    EyeLayout,
    cue_at,
    eye_camera,
    eye_layout,
    eye_mm,
    eye_pane,
    focal_px,
    line_top,
    pixel,
    seen_ball,
    target_pane,
)
from scenes.figure.figure import (
    PLAYED_RIGHT,
    Figure,
    aims_true,
    disc_of,
    eye_figure,
    in_reach,
    mark_kind,
    other_discs,
    pieces_of,
    points_before,
    strokes_of,
    visible,
)
from scenes.figure.labels import Obstacles, Port, Spacing, Stroke, Wanted, is_in_the_way, merged, place
from scenes.figure.mistakes import Mistake, mistake
from scenes.figure.named import other_names
from scenes.figure.placer import LINE_RANK, POINT_RANK, Labels, plate_size
from scenes.figure.played import Rolls, after_lines, is_stopped, put_shot, rolls, shot_s
from scenes.figure.steps import bring_cue, draw_step, put_balls, put_ghost, step_spans
from scenes.frame.column import joined, text_rect
from scenes.frame.eye_words import put_heading, put_scrim, put_titles
from scenes.frame.layout import Layout, layout
from scenes.kinds.kind import Kind

VIEW, LARGER = "players_eye.view", "players_eye.larger"
BEFORE = 2
"""Steps before those of the construction."""
PACE = 0.5
"""How fast the shot is shown, of its true speed: the picture says so."""
CLEAR_S, LOOK_S = 0.5, 1.4
GROW_S = 0.4
"""The pane's frame grows out of its ring in so long."""
DROP_S = 0.8
"""A point's line drops to the pane's ruler, and its number comes."""
STAYS = frozenset({"table", "cue", "scrim", "object_ball", "cue_ball", "title", "pips", "pocket"})
"""What the picture keeps while the shot is played, by role."""
RULER_MM = 5.0
EIGHTHS = 8
HALO_RADII = 2.1
LEAST_LENS, LENSES = 0.7, 13
"""So much shorter may a lens be that shows a pocket whole; so many are tried."""
MOST_PLACES = 40
"""Of a ball's way labels keep clear of about so many places."""
POCKET = "pocket"
OFFSETS = {"contact_object": "contact_offset", "aim_point": "aim_offset"}
"""Points whose distance off the object ball's centre line the pane's footer tells."""
DROPS = {
    "object_centre": "object_ball_line",
    "contact_object": "contact_line",
    "sight_point": "sight_line",
    "aim_point": "aim_line",
}
"""Points from which a line drops to the pane's ruler, and its style."""


@dataclass(frozen=True, slots=True)
class PlayersEyeSettings(Settings):
    """What may be set of a player's-eye clip."""

    cue: bool = setting(True, "whether the cue lies in the picture as it does for this aim")


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """What the eye sees, its target larger, then one step for each of the construction's, and the shot."""
    shot, eye, plan = _asked(subject)
    to = "" if subject.table is None or subject.pocket is not None else "_to_place"
    sentence = f"players_eye.shot{to}" if aims_true(plan, shot) else PLAYED_RIGHT
    return (
        OutlineStep("view", VIEW, (*plan.steps[0].values, *eye_values(eye)), draws_s=2.0),
        OutlineStep("larger", LARGER, plan.steps[0].values, draws_s=2.0),
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
    brief.check_steps(outline(brief.subject), "a player's-eye clip of this shot")
    spans = brief.spans
    scene = _scene(brief)
    _put_picture(scene, spans[1])
    _put_words(scene, brief.steps, spans)
    labels = _labels(scene)
    first = spans[0][0]
    fade = scene.figure.frames(TIMING.fade_s)
    led = [(replace(want, near_px=None), rank) for want, rank in _pocket_label(scene)]
    labels.add(0, led, (first + fade, first + 2 * fade), (first, first + fade))
    built = len(scene.figure.plan.steps)
    for index, (step, words, span) in enumerate(
        zip(scene.figure.plan.steps, brief.steps[BEFORE:], spans[BEFORE:], strict=False)
    ):
        _draw_step(scene, labels, index, step, words, span)
    target = _play(scene, labels, spans[BEFORE + built])
    opens = Move(*_opens(scene, spans[1]), (1.0,))
    target = replace(target, opacity=Track((0.0,), (opens, *target.opacity.moves)))
    if len(spans) > BEFORE + built + 1:
        _play_mistake(scene, labels, brief.steps[-1], spans[-1])
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
    places = eye_layout(frame, -int(shot.outward), brief.steps)
    main = _with_whole_pocket(eye_pane(places, shot, eye), brief.subject, frame, places)
    figure = eye_figure(
        brief,
        Sheet(),
        frame,
        shot,
        plan,
        main,
        eye_mm(shot, eye),
        _words_end(frame, places),
        panes=(EYE, TARGET),
        line_panes=(EYE,),
    )
    return _Scene(figure, places, target_pane(main, places, frame, shot))


def _words_end(frame: Layout, places: EyeLayout) -> float:
    """Where the picture is free of words, as a part of its height: below the title, or the heading under it."""
    last = max(frame.title_px[1], places.heading_px[1]) + 0.025 * frame.scale.short_px
    return (last - places.full_px[1]) / places.full_px[3]


def _offsets(step: Step, shot: Shot) -> tuple[tuple[str, Quantity], ...]:
    # as the words say them, and so that twice the one is the other
    return tuple(
        (
            OFFSETS[p.role],
            Quantity(_aside_mm(p.at_mm, shot), "half_mm" if p.role == "contact_object" else "length_mm"),
        )
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


def _opens(scene: _Scene, span: Span) -> Span:
    """When the pane comes, of its step: as its frame has grown out of the ring."""
    first = span[0] + scene.figure.frames(GROW_S)
    return first, first + scene.figure.frames(TIMING.fade_s)


def _grow_frame(scene: _Scene, start: int) -> None:
    """The pane's frame grows out of the ring around the object ball, once."""
    sheet, figure = scene.figure.sheet, scene.figure
    ring = seen_ball(figure.pane, figure.shot.object_ball_mm, HALO_RADII * figure.radius_mm).box_px()
    count = figure.frames(GROW_S)
    for k in range(count):
        t = eased((k + 1) / count, "cubic")
        x, y, w, h = (float(a) + t * (b - float(a)) for a, b in zip(ring, scene.places.pane_px, strict=True))
        id = sheet.put(f"pane.grows.{k}", Shade((x, y, w, h), "window_edge", 0.0), "break")
        sheet.show(id, (start + k, start + k + 1))
        # the last one stands until the pane is there
        gone = start + k + 1 + (figure.frames(TIMING.fade_s) if k == count - 1 else 0)
        sheet.hide(id, (gone, gone + 1))


def _put_picture(scene: _Scene, larger: Span) -> None:
    """Table, balls, the pocket's ring; in their step the pane's frame, ruler and link to what it shows."""
    sheet, shot, R = scene.figure.sheet, scene.figure.shot, scene.figure.radius_mm
    put_balls(
        scene.figure, scene.figure.brief.subject.table, PlayersEyeSettings.of(scene.figure.brief.subject).cue
    )
    put_scrim(sheet, scene.figure.frame)
    if (ring := _pocket_ring(scene)) is not None:
        sheet.put(POCKET, ring, "line_under", POCKET, (EYE,), opacity=1.0)
    there = sheet.ids()
    halo = Halo(position(shot.object_ball_mm), HALO_RADII * R)
    sheet.put("halo", halo, "line_under", "halo", (EYE,))
    _put_pane_frame(scene)
    _put_ruler(scene)
    for id in sheet.ids()[len(there) :]:
        opens = _opens(scene, larger)
        sheet.show(id, (larger[0], opens[0]) if id == "halo" else opens)
    _grow_frame(scene, larger[0])


def _is_whole(pane: Pane, ring: Ring, frame: Layout, places: EyeLayout) -> bool:
    """True when a ring lies in the picture below the words, and the target pane does not cover it."""
    px, py, pw, ph = places.full_px
    cx, cy, cw, ch = places.pane_px
    x, y, w, h = ring_box(pane, ring)
    inside = x > px and x + w < px + pw and y > _words_end(frame, places) * ph and y + h < py + ph
    return inside and not (x < cx + cw and cx < x + w and y < cy + ch and cy < y + h)


def _with_whole_pocket(pane: Pane, subject: Subject, frame: Layout, places: EyeLayout) -> Pane:
    """The picture through a somewhat shorter lens, where that shows the whole pocket; else as it is."""
    shot, eye, _ = _asked(subject)
    ring = pocket_ring(subject.table, subject.target_name)
    if ring is None:
        return pane
    assert isinstance(pane.camera, EyeCamera)
    focal = focal_px(pane.rect_px, pane.camera)
    shorter = (
        replace(pane, camera=eye_camera(places, shot, eye, part * focal))
        for part in np.linspace(1.0, LEAST_LENS, LENSES).tolist()
    )
    return next((one for one in shorter if _is_whole(one, ring, frame, places)), pane)


def _pocket_ring(scene: _Scene) -> Ring | None:
    """A ring around the pocket's hole; None for another target, or where it is not in the picture."""
    subject = scene.figure.brief.subject
    ring = pocket_ring(subject.table, subject.target_name)
    if ring is None:
        return None
    return ring if _is_whole(scene.figure.pane, ring, scene.figure.frame, scene.places) else None


def _pocket_label(scene: _Scene) -> list[tuple[Wanted, int]]:
    """The ringed pocket's name, with its rank."""
    sheet, text = scene.figure.sheet, scene.figure.brief.labels.get("target")
    if POCKET not in sheet.ids() or not text:
        return []
    ring = sheet.shape(POCKET)
    assert isinstance(ring, Ring)
    return [(pocket_label(scene.figure, POCKET, ring, text), POINT_RANK)]


def _other_labels(scene: _Scene) -> list[tuple[Wanted, int]]:
    """The names of other balls, as far as the pane doesn't cover these."""
    x, y, w, h = scene.places.pane_px
    return [
        (want, rank)
        for want, rank in other_names(scene.figure)
        if want.around is not None and not (x < want.around.at_px[0] < x + w and y < want.around.at_px[1] < y + h)
    ]


def _put_pane_frame(scene: _Scene) -> None:
    sheet, s = scene.figure.sheet, scene.figure.frame.scale
    x, y, w, h = scene.places.pane_px
    _, py, _, ph = scene.places.picture_px
    sheet.put("pane.strip", Shade((x, py + ph, w, y + h - py - ph), "gutter"), "area")
    sheet.put("pane.edge", Shade((x, y, w, h), "window_edge", 0.0), "break")
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
    sheet.put("link", Leader(link), "leader", "link")


def _put_ruler(scene: _Scene) -> None:
    """A ruler through the object ball's centre, square to the aim, as this eye sees it, and its unit."""
    sheet, s = scene.figure.sheet, scene.figure.frame.scale
    x, _, w, _ = scene.places.picture_px
    top = scene.places.picture_px[1] + scene.places.picture_px[3]
    thick = s.stroke_px(2.5)
    sheet.put("ruler", Shade((x, top - thick / 2, w, thick), "row_bar"), "bar")
    pitch, figure, widest, most_mm = _ruler_scale(scene)
    counts_parts = _counts_parts(scene)
    if counts_parts:
        _put_parts(scene, top)
    size = s.text_px("tick")
    # figures at every tick that is drawn long, or at every second one where they would touch
    gap_px = abs(_ruler_px(scene, 2 * pitch)[0] - _ruler_px(scene, 0.0)[0])
    wide = s.text_width_px(widest, "tick")
    stride = next((n for n in (2, 4) if n / 2 * gap_px > 1.18 * wide), 8)
    most = -1 if counts_parts else round(most_mm / pitch)
    unit = scene.figure.brief.labels.get("units", "")
    unit = "" if unit == "ball" or counts_parts else unit
    pad, unit_px = s.px(14), s.text_width_px(unit, "tick")
    side = scene.figure.aim_side
    edge = x + w - pad if side > 0 else x + pad
    if unit:
        at_px = (edge, top + s.px(20) + 0.95 * size)
        sheet.put("ruler.unit", Text(unit, at_px, "tick", "right" if side > 0 else "left"), "text")
    low, high = x + wide, x + w - wide
    if unit:
        low, high = (low, edge - 1.4 * unit_px - wide / 2) if side > 0 else (edge + 1.4 * unit_px + wide / 2, high)
    for k in range(-16, 17):
        at = _ruler_px(scene, k * pitch)[0]
        if not x + s.px(14) < at < x + w - s.px(14):
            continue
        tall = k % 2 == 0
        length = s.px(15 if tall else 9)
        tick = (at - thick / 2, top, thick, length)
        sheet.put(f"ruler.{k}", Shade(tick, "row_bar"), "bar")
        if 0 <= k <= most and k % stride == 0 and low < at < high:
            below = (at, top + s.px(20) + 0.95 * size)
            sheet.put(f"ruler.{k}.text", Text(figure(k), below, "tick", "centre"), "text")


def _put_parts(scene: _Scene, top: float) -> None:
    """Fractions of the way to the edge, as many as have room, and what its ends are, away from them."""
    sheet, s, labels = scene.figure.sheet, scene.figure.frame.scale, scene.figure.brief.labels
    x, _, w, _ = scene.places.picture_px
    ends = {k: _ruler_px(scene, k * scene.figure.radius_mm / EIGHTHS)[0] for k in range(EIGHTHS + 1)}
    out = 1 if ends[EIGHTHS] > ends[0] else -1
    fraction = s.text_width_px("1/2", "tick")
    baseline = top + s.px(20) + 0.95 * s.text_px("tick")
    stride = next((n for n in (2, 4) if n * abs(ends[1] - ends[0]) > 1.25 * fraction), EIGHTHS)
    for k in range(0, EIGHTHS + 1, stride):
        at, align, text = ends[k], "centre", str(Fraction(k, EIGHTHS))
        if k in (0, EIGHTHS):
            inward = out if k == 0 else -out
            text = labels.get("ruler_centre" if k == 0 else "ruler_edge", "")
            at, align = at + inward * fraction / 4, "right" if inward > 0 else "left"
        word = Text(text, (at, baseline), "tick", align)
        left, _, wide, _ = text_rect(word, s)
        if text and x < left and left + wide < x + w:
            sheet.put(f"ruler.{k}.text", word, "text")


def _counts_parts(scene: _Scene) -> bool:
    method = METHODS.get(scene.figure.plan.method)
    return method is not None and method.counts_eighths


def _ruler_scale(scene: _Scene) -> tuple[float, Callable[[int], str], str, float]:
    """The ruler's tick in mm, what stands at the k-th of them, its widest figure, and how far figures go (mm).

    It counts as the words beside it: in parts of the way to the edge for methods that speak of them, else in the
    lesson's units.
    """
    R = scene.figure.radius_mm
    if _counts_parts(scene):
        return R / EIGHTHS, str, "", R
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


def _labels(scene: _Scene) -> Labels:
    """Labels keep clear of the pane, the link to it, and the words at the top."""
    sheet, s = scene.figure.sheet, scene.figure.frame.scale
    link = sheet.shape("link")
    assert isinstance(link, Leader)
    strokes = [Stroke("link", a, b, s.stroke_px(3)) for a, b in pairwise(link.points_px)]
    rects = [scene.places.pane_px]
    for id in sheet.ids():
        shape = sheet.shape(id)
        if isinstance(shape, Text) and sheet.role(id) in ("title", "heading"):
            rects.append(text_rect(shape, s))
    x, _, w, _ = scene.figure.frame.title_safe
    H = scene.figure.frame.height_px
    top = _words_end(scene.figure.frame, scene.places) * H
    bottom = scene.places.pane_px[1] if scene.figure.frame.shape == "tall" else 0.885 * H
    labels = eye_labels(scene.figure, (x, top, w, bottom - top), rects, strokes)
    ring = sheet.shape(POCKET) if POCKET in sheet.ids() else None
    if isinstance(ring, Ring):
        ringed = Obstacles(marks=ring_discs(scene.figure.pane, ring, POCKET))
        labels.steps = [merged([labels.steps[0], ringed]), *labels.steps[1:]]
    return labels


def _put_words(scene: _Scene, steps: tuple[BriefStep, ...], spans: list[Span]) -> None:
    places, labels = scene.places, scene.figure.brief.labels
    put_titles(scene.figure.sheet, scene.figure.frame, steps, spans, scene.figure.rate, places.title_room_px)
    put_heading(scene.figure.sheet, labels, places.heading_px, places.heading_align)


# ------------------------------------------------------------------ steps


def _draw_step(scene: _Scene, labels: Labels, index: int, step: Step, words: BriefStep, span: Span) -> None:
    figure = scene.figure
    told = {OFFSETS[p.role]: ((OFFSETS[p.role],), DROP_S) for p in step.points if p.role in OFFSETS}
    drops = {p.role: ((p.role,), DROP_S) for p in step.points if p.role in DROPS and p.role not in OFFSETS}
    when = step_spans(figure, step, span, words, more={**told, **{f"drop.{k}": v for k, v in drops.items()}})
    draw_step(figure, index, step, when)
    before = points_before(step)
    for point in (*before, *(p for p in step.points if p not in before)):
        _put_in_pane(scene, point, words, when.of(OFFSETS.get(point.role, f"drop.{point.role}")))
    if any(one.role == "aim_line" for one in step.lines):
        bring_cue(figure, when.of("aim_line"))
    if any(p.role == "aim_point" for p in step.points) and not figure.has_ghost:
        put_ghost(figure, (TARGET,), when.of("aim_point"))
    wanted, first = wanted_in_eye(figure, labels, index, step), span[0]
    if index == 0:
        is_named = any(one.placed.wanted.name == POCKET for one in labels.standing)
        wanted = [*([] if is_named else _pocket_label(scene)), *_other_labels(scene), *wanted]
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
        sheet.put(
            f"drop.{point.role}", drop, "line_under", OFFSETS.get(point.role, "drop"), opacity=1.0, drawn=0.0
        )
        sheet.move(f"drop.{point.role}", "drawn", shown, 1.0)
    key = OFFSETS.get(point.role)
    told = next((m for m in words.measures if m.key == key), None)
    if told is not None and f"footer.{key}" not in sheet.ids():
        _put_number(scene, str(key), kind, told, shown)


def _put_number(scene: _Scene, key: str, kind: str, told: MeasureText, shown: Span) -> None:
    """A mark and its offset in the pane's footer, and what the numbers are."""
    sheet, s = scene.figure.sheet, scene.figure.frame.scale
    x, y, w, h = scene.places.pane_px
    size, pad = s.text_px("heading"), 0.035 * w
    last = y + h - 0.62 * s.text_px("small")
    baseline = last - 1.35 * s.text_px("small")
    labels = scene.figure.brief.labels
    # two of them stand side by side, each with its name: in smaller numbers, or closer, where there is less room
    n = len([id for id in sheet.ids() if id.startswith("footer.") and id.endswith(".number")])
    numbers = {m.key: m.number for step in scene.figure.brief.steps for m in step.measures if m.key in labels}
    both = [key, *(k for k in OFFSETS.values() if k != key and k in numbers)]
    both.sort(key=list(OFFSETS.values()).index)

    def wide(one: str, style: str, names: bool) -> float:
        number = told.number if one == key else numbers[one]
        name = s.text_width_px(labels.get(one, ""), "small") + 0.35 * size if names else 0.0
        return 0.92 * size + name + s.text_width_px(number, style)

    room = w - 2 * pad
    ways = (("heading", True), ("label", True), ("heading", False))
    way = next((way for way in ways if sum(wide(one, *way) for one in both) <= room), ways[-1])
    spare = max(room - sum(wide(one, *way) for one in both), 0.0) / len(both)
    start = x + pad + (wide(both[0], *way) + spare if n and len(both) > 1 else 0.0)
    dot = (start + 0.36 * size, baseline - 0.36 * size, 0.0)
    sheet.put(f"footer.{key}", Mark(dot, kind), "mark", "footer")
    name, after = labels.get(key, "") if way[1] else "", start + 0.92 * size
    number_px = after + (s.text_width_px(name, "small") + 0.35 * size if name else 0.0)
    texts = {"name": Text(name, (after, baseline), "small")} if name else {}
    texts["number"] = Text(told.number, (number_px, baseline), way[0])
    ids = [f"footer.{key}", *(sheet.put(f"footer.{key}.{k}", t, "text", "footer") for k, t in texts.items())]
    if "footer.unit" not in sheet.ids():
        about = scene.figure.brief.labels.get("from_centre", "")
        words = f"{about}, {told.unit}".strip(", ")
        ids.append(sheet.put("footer.unit", Text(words, (x + pad, last), "small"), "text", "footer"))
    for id in ids:
        sheet.show(id, shown)


# ------------------------------------------------------------------ the shot


def _played(subject: Subject) -> Played:
    shot, _, _ = _asked(subject)
    return play_softly(shot, subject.table, subject.others_mm)


def _shot_s(subject: Subject) -> float:
    """Seconds that the last step needs: the construction goes, the shot is played, time to look."""
    cue = PlayersEyeSettings.of(subject).cue
    return CLEAR_S + shot_s(_played(subject), subject.table, subject.target_name, PACE, cue) + LOOK_S


def _play(scene: _Scene, labels: Labels, span: Span) -> Pane:
    """The shot itself: the construction steps back, the cue strikes, the ball goes in. The pane, which closes."""
    sheet, subject, shot = scene.figure.sheet, scene.figure.brief.subject, scene.figure.shot
    first = span[0]
    cleared = (first, first + scene.figure.frames(CLEAR_S))
    played = _played(subject)
    after = after_lines(played, shot, subject.table, subject.target_name)
    ways = rolls(played, shot, subject.table, subject.target_name, scene.figure.rate, PACE)
    goes = construction.Line("target_line", position(shot.object_ball_mm), position(shot.target_mm))
    runs = [construction.Line("cue_ball_after", *line.points_mm) for line in after]
    met = _met(scene, shot, ways, [goes, *runs])
    _keep_pocket_named(scene, labels, met, cleared)
    kept = {id for one in labels.standing for id in one.ids}
    for id in sheet.ids():
        if not sheet.is_shown_at_end(id) or sheet.role(id) in STAYS or id in kept:
            continue
        if sheet.role(id) == "target_line":
            sheet.move(id, "strength", cleared, scene.figure.frame.look.old_strength)
        else:
            sheet.hide(id, cleared)
    shown = put_shot(
        sheet, shot, played, subject.table, subject.target_name, (EYE,), cleared[1], scene.figure.rate, PACE
    )
    words = scene.figure.brief.labels.get("half_speed")
    if words:
        text = Text(words, scene.places.heading_px, "small", scene.places.heading_align)
        sheet.put("half_speed", text, "text", "heading")
        sheet.show("half_speed", (cleared[1], cleared[1] + scene.figure.frames(TIMING.fade_s)))
    gone = (shown.end, shown.end + scene.figure.frames(TIMING.fade_s))
    for n, line in enumerate(after):
        id = sheet.put(f"cue_ball_after.{n}", line, "line_under", "cue_ball_after", (EYE,))
        sheet.show(id, gone)
    key = "cue_ball_stunned" if played.roll == 0 else "cue_ball_rolling"
    if is_stopped(played, subject.table, subject.target_name):
        key = "cue_ball_stopped"
    told = scene.figure.brief.labels.get(key)
    ends = [end for line in runs for end in _seen_ends(scene, line)]
    if told and ends:
        spots = [((1 - t) * np.array(a) + t * np.array(b)).tolist() for a, b in ends for t in (0.3, 0.5, 0.7)]
        ports = tuple(Port((x, y), 0, lift) for x, y in spots for lift in (-1, 1))
        size = plate_size(scene.figure, told, "cue_ball_after")
        near = ports[len(ports) // 2].at_px
        name = "cue_ball_after"
        want = Wanted(name, name, told, *size, ports, near_px=near, sample=name)
        there = [one.placed for one in labels.standing]
        found = place(want, met, labels.zones, there, labels.spacing)
        if found is not None:
            labels.put(found, LINE_RANK, 0, gone, is_new=True)
    return replace(scene.target, opacity=Track((1.0,), (Move(*cleared, (0.0,)),)))


def _seen_ends(scene: _Scene, line: construction.Line) -> list[tuple[Pixel, Pixel]]:
    """The ends of what the picture shows of a line."""
    ends = visible(scene.figure, pieces_of(scene.figure, in_reach(scene.figure, line))[0])
    return [] if ends is None else [ends]


def _met(scene: _Scene, shot: Shot, ways: Rolls, lines: Sequence[construction.Line]) -> Obstacles:
    """What a played shot's labels keep clear of: both balls wherever they come, and lines."""
    figure, stride = scene.figure, max(ways.frames // MOST_PLACES, 1)
    places = [shot.cue_ball_mm + np.array(at) for at in (*ways.cue_ball[::stride], ways.cue_ball[-1])]
    places += [shot.object_ball_mm + np.array(at) for at in (*ways.object_ball[::stride], ways.object_ball[-1])]
    balls = (disc_of(figure, f"ball.{n}", at, figure.radius_mm) for n, at in enumerate(places))
    words = [
        text_rect(shape, figure.frame.scale)
        for id in figure.sheet.ids()
        if isinstance(shape := figure.sheet.shape(id), Text) and figure.sheet.role(id) in ("title", "heading")
    ]
    ring = figure.sheet.shape(POCKET) if POCKET in figure.sheet.ids() else None
    return Obstacles(
        (*(b for b in balls if b is not None), *other_discs(figure)),
        ring_discs(figure.pane, ring, POCKET) if isinstance(ring, Ring) else (),
        strokes=tuple(stroke for line in lines for stroke in strokes_of(figure, line)),
        rects=tuple(words),
    )


def _keep_pocket_named(scene: _Scene, labels: Labels, met: Obstacles, turn: Span) -> None:
    """The pocket keeps its name while a shot is played into it, or beside it: at its place where nothing comes,
    else at another."""
    there = [one for one in labels.standing if one.placed.wanted.name == POCKET]
    labels.standing = [one for one in there if not is_in_the_way(one.placed, met, labels.spacing)]
    if not labels.standing:
        labels.steps = [met]
        labels.add(0, _pocket_label(scene), turn, turn)


def _wrong_s(subject: Subject, wrong: Mistake) -> float:
    """Seconds that the replay needs: the balls back, the wrong line, the shot, time to look."""
    cue = PlayersEyeSettings.of(subject).cue
    played = play_softly(wrong.shot, subject.table, subject.others_mm)
    return CLEAR_S + TIMING.fade_s + TIMING.draw_s + shot_s(played, subject.table, None, PACE, cue) + LOOK_S


def _play_mistake(scene: _Scene, labels: Labels, words: BriefStep, span: Span) -> None:
    """The balls lie as they lay; the cue points the wrong way, and the object ball goes beside the pocket."""
    figure, sheet, subject = scene.figure, scene.figure.sheet, scene.figure.brief.subject
    wrong = mistake(subject)
    assert wrong is not None
    fade = figure.frames(TIMING.fade_s)
    cleared = (span[0], span[0] + figure.frames(CLEAR_S))
    back = (cleared[1], cleared[1] + fade)
    shot, R = wrong.shot, figure.radius_mm
    aim = Line((position(shot.cue_ball_mm), position(shot.ghost_ball_mm)), "error_line")
    assert subject.table is not None
    room = np.array([subject.table.length_mm / 2, subject.table.width_mm / 2]) - R
    with np.errstate(divide="ignore"):
        reach = ((np.sign(shot.object_direction) * room - shot.object_ball_mm[:2]) / shot.object_direction).min()
    played = play_softly(shot, subject.table, subject.others_mm)
    ways = rolls(played, shot, subject.table, None, figure.rate, PACE)
    if played.object_meets_s < inf:  # as far as the ball that it would meet
        reach = min(reach, float(length(np.array(ways.object_ball[-1][:2]))))
    end = position(shot.object_ball_mm + reach * np.array([*shot.object_direction, 0.0]))
    way = construction.Line("error_line", position(shot.object_ball_mm), end)
    right = construction.Line("target_line", way.start_mm, position(figure.shot.target_mm))
    drawn_lines = (way, construction.Line("error_line", *aim.points_mm), right)
    _keep_pocket_named(scene, labels, _met(scene, shot, ways, drawn_lines), cleared)
    named = {id for one in labels.standing for id in one.ids}
    for id in sheet.ids():
        kept = sheet.role(id) in STAYS - {"cue", "object_ball", "cue_ball"} | {"target_line", "heading"}
        if sheet.is_shown_at_end(id) and not kept and id not in named:
            sheet.hide(id, cleared)
    prefix = "mistake."
    for role, at, look in (("object_ball", shot.object_ball_mm, "object"), ("cue_ball", shot.cue_ball_mm, "cue")):
        id = sheet.put(prefix + role, Ball(position(at), R, look), "ball", role, (EYE,))
        sheet.show(id, back)
    if PlayersEyeSettings.of(subject).cue:
        sheet.show(sheet.put(prefix + "cue", cue_at(shot), "ball", "cue", (EYE,)), back)
    cue = PlayersEyeSettings.of(subject).cue
    # the shot ends with its words, and time to look
    needs = figure.frames(shot_s(played, subject.table, None, PACE, cue)) + figure.frames(LOOK_S)
    starts = max(span[1] - needs, back[1] + figure.frames(TIMING.draw_s))
    said = Words(words, span, figure.brief.labels).until(max(starts, span[0] + 1))
    (drawn,) = placed(
        said, [Part(("error_line",), TIMING.draw_least_s, grows=True)], figure.rate, CLEAR_S + TIMING.fade_s, 0.0
    )
    sheet.put("mistake.aim", aim, "line_under", "error_line", (EYE,), opacity=1.0, drawn=0.0)
    sheet.move("mistake.aim", "drawn", (drawn[0], min(drawn[1], starts)), 1.0)
    shown = put_shot(sheet, shot, played, subject.table, None, (EYE,), starts, figure.rate, PACE, prefix)
    gone = (shown.end, min(shown.end + fade, span[1]))
    sheet.put("mistake.way", Line((way.start_mm, end), "error_line"), "line_under", "error_line", (EYE,))
    sheet.show("mistake.way", gone)
    stops = (shot.cue_ball_mm + np.array(ways.cue_ball[-1]), shot.object_ball_mm + np.array(ways.object_ball[-1]))
    _name_miss(scene, labels, words, way, stops, gone)


def _name_miss(
    scene: _Scene,
    labels: Labels,
    words: BriefStep,
    way: construction.Line,
    stops: tuple[Array, Array],
    shown: Span,
) -> None:
    """How far beside the pocket, led to where the object ball meets the cushion or leaves the picture; the balls
    have stopped."""
    figure, beside = scene.figure, scene.figure.brief.labels.get("beside_pocket")
    told = next((m for m in words.measures if m.key == "miss"), None)
    if told is None or beside is None:
        return
    text = f"{joined(told)} {beside}"
    seen = visible(figure, pieces_of(figure, way)[0])
    if seen is None:
        return
    x, y = seen[1]
    ports = tuple(Port((x, y), side) for side in (-1, 1)) + tuple(Port((x, y), 0, lift) for lift in (1, -1))
    w, h = plate_size(figure, text, None)
    want = Wanted("miss", "error_line", text, w, h, ports, near_px=(x, y), prefer=figure.aim_side, is_point=True)
    s, (sx, _, sw, _) = figure.frame.scale, figure.frame.title_safe
    H = figure.frame.height_px
    shot = figure.shot
    line = construction.Line("target_line", position(shot.object_ball_mm), position(shot.target_mm))
    wrong = mistake(figure.brief.subject)
    assert wrong is not None
    aim = construction.Line("error_line", position(wrong.shot.cue_ball_mm), position(wrong.shot.ghost_ball_mm))
    drawn = (way, aim, in_reach(figure, line))
    strokes = tuple(stroke for one in drawn for stroke in strokes_of(figure, one))
    zone = (sx, line_top(scene.places) * H, sw, 0.94 * H - line_top(scene.places) * H)
    table = figure.brief.subject.table
    assert table is not None
    balls = tuple(
        disc
        for name, at in zip(("cue_ball", "object_ball"), stops, strict=True)
        if (disc := disc_of(figure, name, at, figure.radius_mm))
    )
    # rather led to its end than near it, and rather on the cloth than on a rail
    found = None
    for asked in (replace(want, near_px=None), want):
        for rails in (rails_of(figure, table, want.name), []):
            kept = Obstacles(balls, strokes=(*strokes, *rails))
            others = [one.placed for one in labels.standing]
            found = found or place(asked, kept, (zone,), others, Spacing().scaled(s.k * s.gain))
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
