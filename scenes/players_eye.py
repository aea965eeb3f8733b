"""The player's eye: a method's construction step by step, where the eye really is.

The picture is the rendered table under the eye's own pinhole; lines over it are projected by the same matrix, and
what a ball hides is drawn as hidden. The target pane shows the object ball as this eye sees it, larger, over a
real ruler through its centre. Sentences: players_eye.view (values of the construction, eye_back, eye_height,
eye_offset, eye_side), then the construction's own. Labels: viewing_distance (with {widths}), off_centre, roles.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from itertools import accumulate, pairwise

import numpy as np

from aimgeo import construction
from aimgeo.construction import Construction, Position, Quantity, Step, position
from aimgeo.shot import Shot
from aimgeo.vectors import left
from scenes.board import (
    LAYERS,
    Ball,
    Board,
    Halo,
    Leader,
    Line,
    Mark,
    Pane,
    Pixel,
    Plate,
    Ring,
    Shade,
    StepSpan,
    TableTop,
    Text,
)
from scenes.brief import Brief, BriefStep, EyeSpec, MeasureText, OutlineStep, Subject
from scenes.build_up import LINE_STYLE, MARK_KIND, MARK_RADIUS_PX, UNLABELLED
from scenes.column import put_pips, text_rect
from scenes.eye_view import (
    EYE,
    TARGET,
    EyeLayout,
    cannot_be_seen,
    cue_at,
    eye_layout,
    eye_mm,
    eye_pane,
    inside_part,
    pixel,
    seen_ball,
    target_pane,
    viewing_distance,
)
from scenes.labels import Disc, Obstacles, Placed, Port, Spacing, Stroke, Wanted, place
from scenes.layout import Layout, layout
from scenes.motion import Sheet, Span, frames_of, in_turn
from scenes.theme import LINES, THEMES, TIMING, TYPES, plate_sizes, plate_width_px

VIEW = "players_eye.view"
CUE_BACK_MM = 420.0
"""The cue comes in from so far behind."""
RULER_MM = 5.0
HALO_RADII = 2.1
OFFSETS = {"contact_object": "contact_offset", "aim_point": "aim_offset"}
"""Points whose distance off the object ball's centre line the pane's footer tells."""
DROPS = {"object_centre": "object_ball_line", "contact_object": "contact_line", "aim_point": "aim_line"}
"""Points from which a line drops to the pane's ruler, and its style."""
AT_CUE_BALL = frozenset({"contact_cue", "cue_centre", "cue_mark", "sight_start"})
"""Points on the cue ball: the pane does not show them."""
OLD_LABEL = 0.8
TOP = 0.205
"""Lines of the figure end below the title, at this part of the frame's height."""


def outline(subject: Subject) -> tuple[OutlineStep, ...]:
    """What the eye sees, then one step for each of the construction's."""
    shot, eye, plan = _asked(subject)
    return (
        OutlineStep("view", VIEW, (*plan.steps[0].values, *eye_values(eye)), draws_s=3.0),
        *(
            OutlineStep(step.name, step.sentence, step.values, _offsets(step, shot), _least_s(step))
            for step in plan.steps
        ),
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
    spans = list(pairwise(accumulate((step.frames for step in brief.steps), initial=0)))
    scene = _scene(brief)
    _put_picture(scene)
    _put_words(scene, brief.steps, spans)
    labels = _Labels(scene)
    for index, (step, words, span) in enumerate(zip(scene.plan.steps, brief.steps[1:], spans[1:], strict=True)):
        _draw_step(scene, labels, index, step, words, span)
    return Board(
        brief.output.width_px,
        brief.output.height_px,
        brief.output.rate,
        brief.frames,
        (scene.main, scene.target),
        scene.sheet.elements(),
        tuple(StepSpan(s.name, a, b, s.narration) for s, (a, b) in zip(brief.steps, spans, strict=True)),
        brief.theme,
    )


# ------------------------------------------------------------------ the scene


@dataclass(slots=True)
class _Scene:
    """What every part of the clip needs; `sheet` is written to."""

    brief: Brief
    frame: Layout
    places: EyeLayout
    shot: Shot
    eye: EyeSpec
    plan: Construction
    main: Pane
    target: Pane
    sheet: Sheet = field(default_factory=Sheet)

    @property
    def rate(self) -> tuple[int, int]:
        """Frames a second."""
        return self.brief.output.rate

    @property
    def radius_mm(self) -> float:
        """Ball radius."""
        return float(self.shot.radius_mm)

    @property
    def aim_side(self) -> int:
        """On which side of the object ball the aim passes in the picture: +1 right, -1 left."""
        return -1 if int(self.shot.side) < 0 else 1

    def frames(self, seconds: float) -> int:
        """Frames that last about so long."""
        return frames_of(seconds, self.rate)


def _asked(subject: Subject) -> tuple[Shot, EyeSpec, Construction]:
    if subject.shot is None or subject.eye is None or subject.construction is None:
        raise ValueError("a player's-eye clip needs a shot, an eye and a construction")
    return subject.shot, subject.eye, subject.construction


def _scene(brief: Brief) -> _Scene:
    shot, eye, plan = _asked(brief.subject)
    frame = layout(brief.output.width_px, brief.output.height_px)
    places = eye_layout(frame, 1 if int(shot.side) >= 0 else -1)
    main = eye_pane(frame, places, shot, eye)
    return _Scene(brief, frame, places, shot, eye, plan, main, target_pane(main, places, frame, shot))


def _offsets(step: Step, shot: Shot) -> tuple[tuple[str, Quantity], ...]:
    known = {"contact_offset": float(shot.contact_offset_mm), "aim_offset": float(shot.aim_offset_mm)}
    keys = [OFFSETS[p.role] for p in step.points if p.role in OFFSETS]
    return tuple((key, Quantity(known[key], "length_mm")) for key in keys)


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
    sheet, shot, R = scene.sheet, scene.shot, scene.radius_mm
    both = (EYE, TARGET)
    if scene.brief.subject.table is not None:
        sheet.put("table", TableTop(scene.brief.subject.table), LAYERS["table"], panes=both, opacity=1.0)
    for role, at, look in (
        ("object_ball", shot.object_ball_mm, "object"),
        ("cue_ball", shot.cue_ball_mm, "cue"),
    ):
        sheet.put(role, Ball(position(at), R, look), LAYERS["ball"], panes=both, opacity=1.0)
    if scene.brief.subject.settings.get("cue", True):
        sheet.put("cue", cue_at(shot), LAYERS["ball"], panes=both)
    x, y, w, h = scene.places.full_px
    sheet.put("scrim", Shade((x, y, w, 0.30 * h), "scrim_top"), LAYERS["line_under"], opacity=1.0)
    halo = Halo(position(shot.object_ball_mm), HALO_RADII * R)
    sheet.put("halo", halo, LAYERS["line_under"], "halo", (EYE,), opacity=1.0)
    _put_pane_frame(scene)
    _put_ruler(scene)


def _put_pane_frame(scene: _Scene) -> None:
    sheet, s = scene.sheet, scene.frame.scale
    x, y, w, h = scene.places.pane_px
    _, py, _, ph = scene.places.picture_px
    sheet.put("pane.strip", Shade((x, py + ph, w, y + h - py - ph), "gutter"), LAYERS["area"], opacity=1.0)
    sheet.put("pane.edge", Shade((x, y, w, h), "window_edge", 0.0), LAYERS["break"], opacity=1.0)
    ring = seen_ball(scene.main, scene.shot.object_ball_mm, HALO_RADII * scene.radius_mm)
    cx, cy = ring.centre_px.tolist()
    across = float(ring.box_px()[2]) / 2
    if scene.frame.shape == "tall":
        turn = x + w - s.px(40)
        link: tuple[Pixel, ...] = ((cx + across, cy), (turn, cy), (turn, y))
    else:
        near = x if x > cx else x + w
        side = 1 if near > cx else -1
        level = min(max(cy, y + s.px(24)), y + h)
        # where the pane begins lower than the ball, the link leaves the ring lower as well
        dy = level - cy
        link = ((cx + side * math.sqrt(max(across**2 - dy * dy, 0.0)), level), (near, level))
    sheet.put("link", Leader(link), LAYERS["leader"], "link", opacity=1.0)


def _put_ruler(scene: _Scene) -> None:
    """A ruler through the object ball's centre, square to the aim, as this eye sees it; notches on the ball."""
    sheet, s, R = scene.sheet, scene.frame.scale, scene.radius_mm
    x, _, w, _ = scene.places.picture_px
    top = scene.places.picture_px[1] + scene.places.picture_px[3]
    thick = s.stroke_px(2.5)
    sheet.put("ruler", Shade((x, top - thick / 2, w, thick), "row_bar"), LAYERS["bar"], opacity=1.0)
    eighths = scene.plan.method == "fixed_marks"
    pitch = R / 8 if eighths else RULER_MM
    size = s.text_px(TYPES["tick"])
    most = 8 if eighths else max(30.0, 10 * math.ceil(float(scene.shot.aim_offset_mm) / 10)) / pitch
    for k in range(-16, 17):
        at = _ruler_px(scene, k * pitch)[0]
        if not x + s.px(14) < at < x + w - s.px(14):
            continue
        tall = k % 2 == 0
        length = s.px(15 if tall else 9)
        tick = (at - thick / 2, top, thick, length)
        sheet.put(f"ruler.{k}", Shade(tick, "row_bar"), LAYERS["bar"], opacity=1.0)
        wide = s.text_width_px("00", TYPES["tick"])
        if 0 <= k <= most and tall and x + wide < at < x + w - wide:
            words = str(k) if eighths else f"{k * RULER_MM:g}"
            below = (at, top + s.px(20) + 0.95 * size)
            sheet.put(f"ruler.{k}.text", Text(words, below, "tick", "centre"), LAYERS["text"], opacity=1.0)
    for part in (-0.5, 0.0, 0.5):
        x_mm, y_mm, z_mm = _front(scene, part * R)
        ends = ((x_mm, y_mm, z_mm - 0.16 * R), (x_mm, y_mm, z_mm + 0.16 * R))
        notch = Line(ends, "thin_line")
        sheet.put(f"notch.{part}", notch, LAYERS["line_under"], "notch", (TARGET,), opacity=0.75)


def _ruler_px(scene: _Scene, offset_mm: float) -> Pixel:
    outward = -left(scene.shot.aim_direction) * scene.aim_side
    O = scene.shot.object_ball_mm
    return pixel(scene.target, np.array([*(O[:2] + offset_mm * outward), O[2]]))


def _front(scene: _Scene, offset_mm: float) -> Position:
    """The point of the object ball's equator that faces the cue ball, at an offset towards the aim."""
    R = scene.radius_mm
    outward = -left(scene.shot.aim_direction) * scene.aim_side
    depth = math.sqrt(max(R * R - offset_mm * offset_mm, 0.0))
    at = scene.shot.object_ball_mm[:2] - depth * scene.shot.aim_direction + offset_mm * outward
    return (float(at[0]), float(at[1]), R)


def _put_words(scene: _Scene, steps: tuple[BriefStep, ...], spans: list[Span]) -> None:
    """Titles and pips of all steps, the heading, and from where the perspective is true."""
    sheet, frame, labels = scene.sheet, scene.frame, scene.brief.labels
    fade = scene.frames(TIMING.fade_s)
    half = max(fade // 2, 1)
    for i, (step, (first, end)) in enumerate(zip(steps, spans, strict=True)):
        shown = (first + half, first + fade) if i else None
        gone = (end, end + half) if i < len(steps) - 1 else None
        title = Text(" ".join(step.title.split()), frame.title_px, "title")
        sheet.put(f"title.{i}", title, LAYERS["text"], "title", opacity=0.0 if shown else 1.0)
        if shown:
            sheet.show(f"title.{i}", shown)
        if gone:
            sheet.hide(f"title.{i}", gone)
        turn = (first, first + 1) if i else None
        put_pips(sheet, frame, f"pips.{i}", len(steps), i, turn, (end, end + 1) if gone else None)
    if "heading" in labels:
        heading = Text(labels["heading"], scene.places.heading_px, "small", scene.places.heading_align)
        sheet.put("heading", heading, LAYERS["text"], "heading", opacity=1.0)
    if "viewing_distance" in labels:
        widths = f"{viewing_distance(scene.main, frame):.1f}"
        words = labels["viewing_distance"].replace("{widths}", widths)
        note = Text(words, scene.places.note_px, "small", scene.places.heading_align)
        sheet.put("note", note, LAYERS["text"], "note", opacity=1.0)


# ------------------------------------------------------------------ steps


def _draw_step(scene: _Scene, labels: _Labels, index: int, step: Step, words: BriefStep, span: Span) -> None:
    sheet = scene.sheet
    lines = {f"{line.role}.{index}.{n}": _in_reach(scene, line) for n, line in enumerate(step.lines)}
    starts = {line.start_mm for line in step.lines}
    before = [p for p in step.points if p.at_mm in starts]
    after = [p for p in step.points if p.at_mm not in starts]
    cue_in = "cue" in sheet.ids() and any(line.role == "aim_line" for line in step.lines)
    longest = max((_length_px(scene, line) for line in step.lines), default=0.0)
    times = (
        TIMING.fade_s + TIMING.rest_s,
        0.45 if step.circles else 0.0,
        TIMING.fade_s if before else 0.0,
        TIMING.draw_s + TIMING.draw_per_height_s * longest / scene.frame.height_px if lines else 0.0,
        TIMING.fade_s if after else 0.0,
        TIMING.fade_s,
        0.3 if step.points else 0.0,
        TIMING.hold_s,
    )
    title, circle, mark, line, mark_after, label, number, _ = in_turn(*span, times, scene.rate)
    _dim_old(scene, step, (title[0], title[0] + scene.frames(TIMING.dim_s)))
    for n, c in enumerate(step.circles):
        id = f"{c.role}.{index}.{n}"
        if c.role == "ghost_ball":
            sheet.put(id, Ball(c.centre_mm, c.radius_mm, "ghost"), LAYERS["ghost"], c.role, (EYE, TARGET))
        else:
            sheet.put(id, Ring(c.centre_mm, c.radius_mm, "thin_line"), LAYERS["line"], c.role, (EYE,))
        sheet.show(id, circle)
    for id, one in lines.items():
        style = LINE_STYLE.get(one.role, one.role)
        shape = Line(
            (one.start_mm, one.end_mm),
            style if style in LINES else "thin_line",
            arrow=one.role == "target_line",
            faint_after_mm=_faint_after(scene, one),
        )
        sheet.put(id, shape, LAYERS["line"], one.role, (EYE,), opacity=1.0, drawn=0.0)
        sheet.move(id, "drawn", line, 1.0)
    for points, when in ((before, mark), (after, mark_after)):
        for point in points:
            _put_point(scene, index, step.points.index(point), point, words, when, number)
    if cue_in:
        _bring_cue(scene, line)
    if any(p.role == "aim_point" for p in step.points) and not _has_ghost(scene):
        ghost = Ball(position(scene.shot.ghost_ball_mm), scene.radius_mm, "ghost")
        sheet.put("ghost_ball", ghost, LAYERS["ghost"], "ghost_ball", (TARGET,))
        sheet.show("ghost_ball", mark_after)
    labels.add(index, step, label, (title[0], title[0] + scene.frames(TIMING.fade_s)))


def _has_ghost(scene: _Scene) -> bool:
    return any(circle.role == "ghost_ball" for step in scene.plan.steps for circle in step.circles)


def _in_reach(scene: _Scene, line: construction.Line) -> construction.Line:
    """The target line, cut off where the picture ends or the title stands."""
    if line.role != "target_line":
        return line
    x, _, w, _ = scene.frame.action_safe
    H = scene.frame.height_px
    a, b = np.array(line.start_mm), np.array(line.end_mm)
    # in steps, since equal parts of the line are not equal parts of the picture
    t = np.linspace(0, 1, 400)
    px = np.array([pixel(scene.main, a + k * (b - a)) for k in t])
    inside = (px[:, 0] > x) & (px[:, 0] < x + w) & (px[:, 1] > TOP * H) & (px[:, 1] < H)
    outside = np.flatnonzero(~inside)
    return line if not len(outside) else replace(line, end_mm=position(a + t[max(outside[0] - 1, 1)] * (b - a)))


def _length_px(scene: _Scene, line: construction.Line) -> float:
    a, b = pixel(scene.main, line.start_mm), pixel(scene.main, line.end_mm)
    length = math.dist(a, b)
    return min(length, scene.frame.height_px) if math.isfinite(length) else float(scene.frame.height_px)


def _dim_old(scene: _Scene, step: Step, span: Span) -> None:
    needed = {line.role for line in step.lines}
    for id in scene.sheet.ids():
        is_line = isinstance(scene.sheet.shape(id), Line) and scene.sheet.role(id) not in ("notch", "drop")
        if is_line and scene.sheet.role(id) not in needed:
            scene.sheet.move(id, "strength", span, THEMES[scene.brief.theme].old_strength)


def _faint_after(scene: _Scene, line: construction.Line) -> float | None:
    """Where a line along the aim passes the ghost ball's centre; None when it does not."""
    aim = scene.shot.aim_direction
    run = np.subtract(line.end_mm, line.start_mm)[:2]
    length = float(np.hypot(*run))
    if length < 1e-6 or float(run @ aim) < 0.999999 * length:
        return None
    level = float((scene.shot.ghost_ball_mm[:2] - np.array(line.start_mm[:2])) @ aim)
    return max(level, 0.0) if level < length - 1e-6 else None


def _bring_cue(scene: _Scene, span: Span) -> None:
    """The cue slides up to the ball along its own line."""
    cue = cue_at(scene.shot)
    away = -CUE_BACK_MM * np.array(cue.direction)
    first, end = span
    scene.sheet.move("cue", "offset_mm", (first, first + 1), *away.tolist(), easing="linear")
    scene.sheet.move("cue", "opacity", (first, first + 1), 1.0, easing="linear")
    scene.sheet.move("cue", "offset_mm", (first + 1, end), 0.0, 0.0, 0.0)


def _put_point(
    scene: _Scene, index: int, n: int, point: construction.Point, words: BriefStep, shown: Span, number: Span
) -> None:
    """A mark, hollow where it can't be seen from here; in the pane with its drop line and its number."""
    sheet = scene.sheet
    if point.role in sheet.ids():  # a point that two steps add is drawn once
        return
    kind = MARK_KIND.get(point.role, "target")
    hollow = cannot_be_seen(point.at_mm, scene.shot, eye_mm(scene.shot, scene.eye))
    id = f"{point.role}.{index}.{n}"
    ball = seen_ball(scene.main, scene.shot.object_ball_mm, scene.radius_mm)
    panes: tuple[str, ...] = (EYE, TARGET)
    if point.role in AT_CUE_BALL:
        panes = (EYE,)
    elif ball.mean_radius_px < scene.frame.scale.px(30) and point.role != "aim_point":
        panes = (TARGET,)  # on so small a ball the marks would hide it
    sheet.put(id, Mark(point.at_mm, kind, hollow), LAYERS["mark"], point.role, panes)
    sheet.show(id, shown)
    if point.role in DROPS and f"drop.{point.role}" not in sheet.ids():
        at = pixel(scene.target, point.at_mm)
        foot = scene.places.picture_px[1] + scene.places.picture_px[3]
        head = min(at[1] + 0.8 * scene.frame.scale.stroke_px(MARK_RADIUS_PX[kind]), foot - 1)
        drop = Line(((at[0], head, 0.0), (at[0], foot, 0.0)), DROPS[point.role])
        sheet.put(f"drop.{point.role}", drop, LAYERS["line_under"], "drop", opacity=1.0, drawn=0.0)
        sheet.move(f"drop.{point.role}", "drawn", number, 1.0)
    key = OFFSETS.get(point.role)
    told = next((m for m in words.measures if m.key == key), None)
    if told is not None and f"footer.{key}" not in sheet.ids():
        _put_number(scene, str(key), kind, told, number)


def _put_number(scene: _Scene, key: str, kind: str, told: MeasureText, shown: Span) -> None:
    """A mark and its offset in the pane's footer, and what the numbers are."""
    sheet, s = scene.sheet, scene.frame.scale
    x, y, w, h = scene.places.pane_px
    size = s.text_px(TYPES["heading"])
    baseline = y + h - 0.52 * size
    pad = 0.045 * w
    slot = list(OFFSETS.values()).index(key)
    step = s.text_width_px("00.0", TYPES["heading"]) + 1.3 * size
    start = x + pad + slot * step
    dot = (start + 0.36 * size, baseline - 0.36 * size, 0.0)
    sheet.put(f"footer.{key}", Mark(dot, kind), LAYERS["mark"], "footer")
    number = Text(told.number, (start + 0.92 * size, baseline), "heading")
    sheet.put(f"footer.{key}.number", number, LAYERS["text"], "footer")
    for id in (f"footer.{key}", f"footer.{key}.number"):
        sheet.show(id, shown)
    if "footer.unit" in sheet.ids():
        return
    words = scene.brief.labels.get("off_centre", "")
    unit = f"{told.unit} {words}".strip()
    room = w - 2 * pad - 2 * step
    if s.text_width_px(unit, TYPES["small"]) > room:
        unit = told.unit
    sheet.put("footer.unit", Text(unit, (x + w - pad, baseline), "small", "right"), LAYERS["text"], "footer")
    sheet.show("footer.unit", shown)


# ------------------------------------------------------------------ labels


class _Labels:
    """The labels so far: each found its place when it appeared; the oldest give way to new ones."""

    def __init__(self, scene: _Scene) -> None:
        self.scene = scene
        self.placed: list[tuple[Placed, list[str]]] = []
        self.named: set[str] = set()
        self.obstacles = _obstacles(scene)
        self.spacing = Spacing().scaled(scene.frame.scale.k * scene.frame.scale.gain)

    def add(self, index: int, step: Step, shown: Span, turn: Span) -> None:
        """Name what a step adds."""
        for _, ids in self.placed:
            if self.scene.sheet.is_shown_at_end(ids[0]):
                self.scene.sheet.move(ids[0], "fresh", turn, 0.0)
                self.scene.sheet.move(ids[0], "strength", turn, OLD_LABEL)
        for want in self._wanted(index, step):
            for gone in range(len(self.placed) + 1):
                found = place(
                    want, self.obstacles, self._zones(), [p for p, _ in self.placed[gone:]], self.spacing
                )
                if found is not None:
                    self._drop(gone, turn)
                    self._put(found, shown)
                    break

    def _drop(self, count: int, turn: Span) -> None:
        for _, ids in self.placed[:count]:
            for id in ids:
                self.scene.sheet.hide(id, turn)
        del self.placed[:count]

    def _zones(self) -> tuple[tuple[float, float, float, float], ...]:
        sx, _, sw, _ = self.scene.frame.title_safe
        H = self.scene.frame.height_px
        bottom = 0.885 * H if self.scene.frame.shape != "tall" else self.scene.places.pane_px[1]
        return ((sx, 0.22 * H, sw, bottom - 0.22 * H),)

    def _put(self, found: Placed, shown: Span) -> None:
        sheet, want = self.scene.sheet, found.wanted
        ids = [f"label.{want.id}"]
        plate = Plate(want.text, found.rect_px, want.sample)
        sheet.put(ids[0], plate, LAYERS["label"], "label", fresh=1.0, names=want.name)
        if found.leader_px:
            ids.append(f"leader.{want.id}")
            sheet.put(ids[1], Leader(found.leader_px), LAYERS["leader"], "leader", names=want.name)
        for id in ids:
            sheet.show(id, shown)
        self.placed.append((found, ids))

    def _wanted(self, index: int, step: Step) -> list[Wanted]:
        scene, words = self.scene, self.scene.brief.labels
        out = []
        for role, ports, sample in (
            *((line.role, _line_ports(scene, line), LINE_STYLE.get(line.role, line.role)) for line in step.lines),
            *((c.role, _circle_ports(scene, c), None) for c in step.circles),
            *((p.role, _point_ports(scene, p), None) for p in step.points),
        ):
            if role in UNLABELLED or role in self.named or role not in words or not ports:
                continue
            self.named.add(role)
            sample = sample if sample in LINES else None
            width = plate_width_px(words[role], scene.frame.scale, sample is not None)
            height = plate_sizes(scene.frame.scale).height_px
            # a line's label carries its sample, so it may stand beside the line without a leader
            near = ports[len(ports) // 2].at_px if sample else None
            want = Wanted(
                f"{role}.{index}", role, words[role], width, height, ports, None, near, -scene.aim_side, sample
            )
            out.append(want)
        return out


def _visible_ends(scene: _Scene, line: construction.Line) -> tuple[Pixel, Pixel] | None:
    a, b = pixel(scene.main, line.start_mm), pixel(scene.main, line.end_mm)
    if not all(map(math.isfinite, (*a, *b))):
        return None
    lo, hi = inside_part(a, b, scene.places.full_px)
    if lo >= hi:
        return None
    return (
        (a[0] + (b[0] - a[0]) * lo, a[1] + (b[1] - a[1]) * lo),
        (a[0] + (b[0] - a[0]) * hi, a[1] + (b[1] - a[1]) * hi),
    )


def _line_ports(scene: _Scene, line: construction.Line) -> tuple[Port, ...]:
    ends = _visible_ends(scene, line)
    if ends is None:
        return ()
    (x0, y0), (x1, y1) = ends
    ports = []
    for t in np.linspace(0.12, 0.88, 20).tolist():
        at = (x0 + (x1 - x0) * t, y0 + (y1 - y0) * t)
        ports += [Port(at, side, cost=30 * abs(t - 0.5)) for side in (-1, 1)]
    return tuple(ports)


def _circle_ports(scene: _Scene, circle: construction.Circle) -> tuple[Port, ...]:
    if circle.role == "ghost_ball":
        x, y, w, h = seen_ball(scene.main, np.array(circle.centre_mm), circle.radius_mm).box_px()
        return tuple(
            Port((x + w / 2 + side * w / 2 * math.cos(t), y + h / 2 + h / 2 * math.sin(t)), side, cost=40 * abs(t))
            for side in (-1, 1)
            for t in (0.0, 0.5, -0.5, 0.9, -0.9)
        )
    return _around(pixel(scene.main, circle.centre_mm), scene)


def _point_ports(scene: _Scene, point: construction.Point) -> tuple[Port, ...]:
    return _around(pixel(scene.main, point.at_mm), scene)


def _around(at: Pixel, scene: _Scene) -> tuple[Port, ...]:
    ports = [Port(at, side) for side in (-1, 1)]
    ports += [Port(at, side, lift, 20.0) for side in (-1, 1) for lift in (-1, 1)]
    return tuple(ports)


def _obstacles(scene: _Scene) -> Obstacles:
    """Everything that the clip will ever draw, and the words around it."""
    s, shot, R = scene.frame.scale, scene.shot, scene.radius_mm
    strokes, marks = [], []
    balls = [_disc(scene, "object_ball", shot.object_ball_mm, R), _disc(scene, "cue_ball", shot.cue_ball_mm, R)]
    for step in scene.plan.steps:
        for line in step.lines:
            ends = _visible_ends(scene, _in_reach(scene, line))
            style = LINES.get(LINE_STYLE.get(line.role, line.role), LINES["thin_line"])
            if ends is not None:
                strokes.append(Stroke(line.role, *ends, s.stroke_px(0.75 * style.width_px + style.casing_px) / 2))
        for circle in step.circles:
            if circle.role == "ghost_ball":
                balls.append(_disc(scene, "ghost_ball", np.array(circle.centre_mm), R, False))
        for point in step.points:
            at = pixel(scene.main, point.at_mm)
            radius = s.stroke_px(MARK_RADIUS_PX[MARK_KIND.get(point.role, "target")])
            marks.append(Disc(at, radius, True, point.role))
    link = scene.sheet.shape("link")
    assert isinstance(link, Leader)
    strokes += [Stroke("link", a, b, s.stroke_px(3)) for a, b in pairwise(link.points_px)]
    rects = [scene.places.pane_px]
    for id in scene.sheet.ids():
        shape = scene.sheet.shape(id)
        if isinstance(shape, Text) and scene.sheet.role(id) in ("title", "heading", "note"):
            rects.append(text_rect(shape, s))
    return Obstacles(tuple(balls), tuple(marks), tuple(strokes), tuple(rects))


def _disc(scene: _Scene, name: str, centre: np.ndarray, radius_mm: float, is_solid: bool = True) -> Disc:
    ball = seen_ball(scene.main, centre, radius_mm)
    x, y = ball.centre_px.tolist()
    return Disc((x, y), ball.mean_radius_px, is_solid, name)
